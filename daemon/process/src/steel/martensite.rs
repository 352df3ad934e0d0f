//! Martensite: where it starts, how much there is at a bath temperature, what stays austenite; and hardenability.
//!
//! - Fraction: Koistinen and Marburger, Acta Metallurgica 7 (1959) 59: `1 - exp(-0.011 (Ms - T))`.
//! - Ideal diameter: ASTM A255 factors, from memory of the standard's formula table; grain size 7, no boron; printed for
//!   C 0.10-0.70, Mn 0.50-1.65, Si 0.15-0.60 %, Ni up to 1.50 %.
//! - Severity of quench: Grossmann's H, ASM Handbook vol. 4, mid values, from memory.

use super::critical::Composition;
use crate::constants::INCH_M;
use crate::error::{Result, within};
use crate::note::Note;
use crate::si;
use uom::si::f64::{Length, Ratio, ThermodynamicTemperature};

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

/// The factors of the ideal diameter and their product.
#[derive(Debug, Clone, PartialEq)]
pub struct Hardenability {
    /// Carbon's base diameter in inches, then the factors of Mn, Si, Ni, Cr, Mo, Cu, V.
    pub factors: [f64; 8],
    /// The ideal critical diameter: half martensite at its core in a quench of infinite severity.
    pub ideal_diameter: Length,
    /// Where the composition leaves the standard's range.
    pub notes: Vec<Note>,
}

/// The ideal diameter by ASTM A255.
///
/// # Errors
/// A composition outside what [`Composition`] takes.
pub fn ideal_diameter(steel: &Composition) -> Result<Hardenability> {
    let c = steel.carbon;
    let base = if c <= 0.39 {
        0.54 * c
    } else if c <= 0.55 {
        0.171 + 0.001 * c + 0.265 * c * c
    } else if c <= 0.65 {
        0.115 + 0.268 * c - 0.038 * c * c
    } else if c <= 0.75 {
        0.143 + 0.2 * c
    } else {
        0.062 + 0.409 * c - 0.135 * c * c
    };
    let manganese = if steel.manganese <= 1.2 { 3.3333 * steel.manganese + 1.0 } else { 5.10 * steel.manganese - 1.12 };
    let factors = [
        base,
        manganese,
        0.70 * steel.silicon + 1.0,
        0.363 * steel.nickel + 1.0,
        2.16 * steel.chromium + 1.0,
        3.00 * steel.molybdenum + 1.0,
        0.365 * steel.copper + 1.0,
        1.73 * steel.vanadium + 1.0,
    ];
    steel.checked()?;
    let mut notes = vec![Note::basis("ASTM A255 factors from memory, grain size 7, no boron")];
    let printed =
        (0.10..=0.70).contains(&c) && (0.50..=1.65).contains(&steel.manganese) && (0.15..=0.60).contains(&steel.silicon);
    if !printed || steel.nickel > 1.50 {
        notes.push(Note::outside("the composition lies outside the range that ASTM A255 prints its factors for"));
    }
    Ok(Hardenability { factors, ideal_diameter: si::metres(factors.iter().product::<f64>() * INCH_M), notes })
}

/// A quench of Grossmann's table.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Severity {
    /// The quench and its agitation.
    pub quench: &'static str,
    /// H, per inch.
    pub h_per_inch: f64,
}

/// Grossmann's H: ASM Handbook vol. 4, mid values, from memory.
pub static SEVERITIES: [Severity; 9] = [
    Severity { quench: "still air", h_per_inch: 0.02 },
    Severity { quench: "still oil", h_per_inch: 0.28 },
    Severity { quench: "moderate oil", h_per_inch: 0.38 },
    Severity { quench: "good oil circulation", h_per_inch: 0.45 },
    Severity { quench: "violent oil", h_per_inch: 0.9 },
    Severity { quench: "still water", h_per_inch: 0.95 },
    Severity { quench: "moderate water", h_per_inch: 1.2 },
    Severity { quench: "still brine", h_per_inch: 2.0 },
    Severity { quench: "violent brine", h_per_inch: 5.0 },
];

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
