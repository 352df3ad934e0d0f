//! Martensite: how much there is at a bath temperature, and what stays austenite.
//!
//! Koistinen and Marburger, Acta Metallurgica 7 (1959) 59: `1 - exp(-0.011 (Ms - T))`.

use crate::error::{Result, within};
use crate::si;
use uom::si::f64::{Ratio, ThermodynamicTemperature};

/// Koistinen and Marburger's constant, per kelvin.
const PER_K: f64 = 0.011;

/// The share of martensite after a quench to a temperature; 0 above Ms.
///
/// # Errors
/// An Ms outside -200 to 600 °C, a temperature outside -200 to 1200 °C.
pub fn martensite(ms: ThermodynamicTemperature, quenched_to: ThermodynamicTemperature) -> Result<Ratio> {
    let ms_c = within("Ms", si::celsius(ms), "°C", -200.0, 600.0)?;
    let t_c = within("the temperature quenched to", si::celsius(quenched_to), "°C", -200.0, 1200.0)?;
    Ok(si::fraction(if t_c < ms_c { -libm::expm1(-PER_K * (ms_c - t_c)) } else { 0.0 }))
}

/// The share that stays austenite after a quench to a temperature.
///
/// # Errors
/// As for [`martensite`].
pub fn retained_austenite(ms: ThermodynamicTemperature, quenched_to: ThermodynamicTemperature) -> Result<Ratio> {
    Ok(si::fraction(1.0 - martensite(ms, quenched_to)?.value))
}

/// The temperature to cool to for a share of martensite; `None` if it would lie below absolute zero.
///
/// # Errors
/// An Ms outside -200 to 600 °C, a share outside 0 to 99.99 %.
pub fn cool_to(ms: ThermodynamicTemperature, share: Ratio) -> Result<Option<ThermodynamicTemperature>> {
    let ms_c = within("Ms", si::celsius(ms), "°C", -200.0, 600.0)?;
    let share = within("the share of martensite", share.value * 100.0, "%", 0.0, 99.99)? / 100.0;
    let t_c = ms_c + libm::log1p(-share) / PER_K;
    Ok((t_c > -si::ICE_K).then(|| si::from_celsius(t_c)))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_warm_bath_leaves_more_austenite() {
        let ms = si::from_celsius(228.0);
        let at = |t_c| retained_austenite(ms, si::from_celsius(t_c)).unwrap().value;
        assert!(at(60.0) > at(25.0));
        assert_eq!(at(300.0), 1.0);
        let to = cool_to(ms, si::fraction(0.9)).unwrap().unwrap();
        assert!((martensite(ms, to).unwrap().value - 0.9).abs() < 1e-12);
    }
}
