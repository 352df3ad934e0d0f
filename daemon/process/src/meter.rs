//! Reading a variable-area meter: what flows when the float stands at a mark.
//!
//! A scale is true for one gas, at one temperature and pressure in the tube. On another the square-root rule corrects it:
//! `true / read = √((M0/M) (p/p0) (T0/T))` in litres at reference conditions (variable-area meters, *Perry's Chemical
//! Engineers' Handbook*, from memory). Which pressure stands in the tube depends on where the needle valve sits: before
//! the tube, it is nearly the room's; after the tube, it is the line's. A [`Correction`] names all that it has in it,
//! so that nothing is corrected twice.
//!
//! The rule holds for sharp-edged floats from a tube Reynolds number of a few hundred; for balls there is no range worth
//! the name below about 2000 (both from memory, orders of magnitude). Below, a factor lies between the square-root one
//! and the viscous one, and only a bag and a stopwatch tell.
//!
//! ```
//! use hearthward_process::flow::Reference;
//! use hearthward_process::gas::Gas;
//! use hearthward_process::meter::{Scale, Service, Valve, reading_for};
//! use hearthward_process::units::{self, System};
//!
//! let (shop, room) = (units::temperature("21.1 C")?, units::pressure("0 bar")?);
//! let scale = Scale { gas: Gas::Air.into(), gauge: room, temperature: shop, reference: Reference::TWENTY_ONE };
//! let argon = Service { gas: Gas::Argon.into(), valve: Valve::BeforeTube, line: units::pressure("2 bar")?, back: room, temperature: shop };
//! let flow = Reference::TWENTY_ONE.amount_flow(units::flow("2 L/min")?);
//! assert_eq!(units::show_flow(reading_for(flow, &scale, &argon)?, System::Metric), "2.35 L/min");
//! # Ok::<(), hearthward_process::ProcessError>(())
//! ```

use crate::constants::ATMOSPHERE_PA;
use crate::error::{Result, within};
use crate::flow::Reference;
use crate::gas::Mixture;
use crate::note::Note;
use crate::span::Span;
use crate::{AmountFlow, si};
use uom::si::f64::{Length, Pressure, Ratio, ThermodynamicTemperature, Time, Volume, VolumeRate};

/// What a meter's scale is engraved for.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Scale {
    /// The gas.
    pub gas: Mixture,
    /// The gauge pressure in the tube; zero for most.
    pub gauge: Pressure,
    /// The temperature in the tube.
    pub temperature: ThermodynamicTemperature,
    /// The conditions that its litres or cubic feet count at.
    pub reference: Reference,
}

/// Where the needle valve sits.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Valve {
    /// Before the tube: the tube stands at the back pressure of the furnace line, nearly the room's.
    BeforeTube,
    /// After the tube: the tube stands at line pressure.
    AfterTube,
}

/// What goes through the tube now.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Service {
    /// The gas.
    pub gas: Mixture,
    /// Where the needle valve sits.
    pub valve: Valve,
    /// The gauge pressure of the supply line, as the regulator shows it.
    pub line: Pressure,
    /// The gauge pressure after the meter and its valve: what hose, port and chamber hold back. Nearly zero.
    pub back: Pressure,
    /// The temperature in the tube.
    pub temperature: ThermodynamicTemperature,
}

/// The factor from a reading to what flows, with everything that is in it.
#[derive(Debug, Clone, PartialEq)]
pub struct Correction {
    /// True flow over reading, both in the scale's own litres, by the square-root rule.
    pub factor: Ratio,
    /// The same if viscosity alone carried the float: the other limit, for balls and very small flows.
    pub viscous_factor: Ratio,
    /// True volume flow in the tube over reading, where the scale is in litres as they stand in the tube.
    pub actual_factor: Ratio,
    /// The gauge pressure in the tube that was used.
    pub tube: Pressure,
    /// What is in the factor, and what to watch.
    pub notes: Vec<Note>,
}

/// The float's shape.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Float {
    /// A ball, as in most small panel meters.
    Ball,
    /// A float with a sharp edge.
    SharpEdged,
}

/// Whether the square-root rule can be trusted.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Trust {
    /// It holds.
    Holds,
    /// It may be some way off.
    Doubtful,
    /// It does not hold: calibrate on the gas and at the pressure used.
    Fails,
}

/// How accuracy is stated.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Accuracy {
    /// So many per cent of full scale, everywhere.
    FullScale(Ratio),
    /// VDI/VDE 3513-2: `class` of the reading from `from` of full scale up, `class × from / reading` below.
    ReadingAbove {
        /// The class G.
        class: Ratio,
        /// The share of full scale qG from which it is of the reading.
        from: Ratio,
    },
}

/// Corrects a scale for the gas, pressure and temperature that the tube really has.
///
/// # Errors
/// Gauge pressures outside -0.2 to 20 bar, temperatures outside -20 to 60 °C.
pub fn correction(scale: &Scale, service: &Service) -> Result<Correction> {
    let tube = match service.valve {
        Valve::BeforeTube => service.back,
        Valve::AfterTube => service.line,
    };
    let pressures = gauge(tube)? / gauge(scale.gauge)?;
    let temperatures = in_range(scale.temperature)? / in_range(service.temperature)?;
    let masses = scale.gas.molar_kg() / service.gas.molar_kg();
    let viscosities = scale.gas.viscosity(scale.temperature)?.value / service.gas.viscosity(service.temperature)?.value;
    let mut notes = vec![Note::basis(format!(
        "square-root rule for {} on a scale for {}, tube at {} bar gauge: do not correct the reading again",
        service.gas,
        scale.gas,
        crate::units::figures(tube.value / 1e5, 3)
    ))];
    if service.valve == Valve::BeforeTube && service.line.value > 1e4 {
        notes.push(Note::basis("the valve sits before the tube, so the line pressure does not count"));
    }
    if service.valve == Valve::AfterTube && service.back.value > 0.0 {
        notes.push(Note::basis("the valve sits after the tube, so the pressure behind the meter does not count"));
    }
    if libm::fabs(viscosities * pressures * temperatures / libm::sqrt(masses * pressures * temperatures) - 1.0) > 0.05 {
        notes.push(Note::bound("a ball float at small flow lies between the two factors; a bag and a stopwatch tell where"));
    }
    Ok(Correction {
        factor: si::fraction(libm::sqrt(masses * pressures * temperatures)),
        viscous_factor: si::fraction(viscosities * pressures * temperatures),
        actual_factor: si::fraction(libm::sqrt(masses / (pressures * temperatures))),
        tube,
        notes,
    })
}

/// The flow of gas at a reading.
///
/// # Errors
/// As for [`correction`]; a negative reading.
pub fn flow_at(reading: VolumeRate, scale: &Scale, service: &Service) -> Result<AmountFlow> {
    within("the reading", reading.value * 60_000.0, "L/min", 0.0, 1e6)?;
    let factor = correction(scale, service)?.factor.value;
    Ok(si::mole_rate(scale.reference.amount_flow(reading).value * factor))
}

/// The reading to set for a flow.
///
/// # Errors
/// As for [`correction`]; a negative flow.
pub fn reading_for(flow: AmountFlow, scale: &Scale, service: &Service) -> Result<VolumeRate> {
    within("the flow", flow.value, "mol/s", 0.0, 1e3)?;
    let factor = correction(scale, service)?.factor.value;
    Ok(si::volume_rate(scale.reference.volume_flow(flow).value / factor))
}

/// The Reynolds number of a flow in the tube's bore, `4 ṁ / (π d μ)`: the same at any pressure.
///
/// # Errors
/// A negative flow, a bore outside 0.5 to 100 mm, a temperature outside -20 to 60 °C.
pub fn reynolds(flow: AmountFlow, gas: &Mixture, temperature: ThermodynamicTemperature, bore: Length) -> Result<Ratio> {
    within("the flow", flow.value, "mol/s", 0.0, 1e3)?;
    let bore_m = within("the bore of the tube", bore.value * 1e3, "mm", 0.5, 100.0)? / 1e3;
    in_range(temperature)?;
    let viscosity = gas.viscosity(temperature)?.value;
    Ok(si::fraction(4.0 * flow.value * gas.molar_kg() / (core::f64::consts::PI * bore_m * viscosity)))
}

/// Whether the square-root rule holds for a float at a Reynolds number. Limits 300 and 2000 from memory, orders of magnitude.
pub fn trust(float: Float, reynolds: Ratio) -> Trust {
    match float {
        Float::SharpEdged if reynolds.value < 300.0 => Trust::Doubtful,
        Float::SharpEdged => Trust::Holds,
        Float::Ball if reynolds.value < 2000.0 => Trust::Fails,
        Float::Ball => Trust::Doubtful,
    }
}

/// The error of a reading, as a share of the reading: at a tenth of the scale, ten times the full-scale class.
///
/// # Errors
/// A reading that is not between 0.1 and 100 % of the scale, a class outside 0 to 50 %.
pub fn error_at(accuracy: Accuracy, share_of_scale: Ratio) -> Result<Ratio> {
    let q = within("the reading", share_of_scale.value * 100.0, "% of full scale", 0.1, 100.0)? / 100.0;
    match accuracy {
        Accuracy::FullScale(class) => Ok(si::fraction(checked_class(class)? / q)),
        Accuracy::ReadingAbove { class, from } => {
            let from = within("qG", from.value * 100.0, "% of full scale", 1.0, 100.0)? / 100.0;
            Ok(si::fraction(checked_class(class)? * if q >= from { 1.0 } else { from / q }))
        }
    }
}

/// The smallest and the largest full scale that show a flow within an error: the smallest leaves the top tenth free.
///
/// `None` if no scale does, since even at nine tenths the error is larger. Reading and scale in the same litres.
///
/// # Errors
/// A flow that is not positive, a class or error outside its range.
pub fn full_scale_for(flow: VolumeRate, accuracy: Accuracy, error: Ratio) -> Result<Option<Span<VolumeRate>>> {
    within("the flow", flow.value * 60_000.0, "L/min", 1e-6, 1e6)?;
    let wanted = within("the error allowed", error.value * 100.0, "%", 0.01, 100.0)? / 100.0;
    let least_share = match accuracy {
        Accuracy::FullScale(class) => checked_class(class)? / wanted,
        Accuracy::ReadingAbove { class, from } if checked_class(class)? <= wanted => class.value * from.value / wanted,
        Accuracy::ReadingAbove { .. } => f64::INFINITY,
    };
    let most_share = 0.9;
    Ok((least_share <= most_share)
        .then(|| Span { least: si::volume_rate(flow.value / most_share), most: si::volume_rate(flow.value / least_share) }))
}

/// The flow that filled a bag: the calibration that needs no theory.
///
/// A bag of known volume, flat at first, filled without back pressure; its gas at the temperature given, at the room's
/// pressure. Divide by the reading's own flow for the factor of that meter at that mark.
///
/// # Errors
/// A volume outside 0.01 to 1000 L, a time outside 1 s to 1 day, a temperature outside -20 to 60 °C.
pub fn flow_from_bag(bag: Volume, time: Time, temperature: ThermodynamicTemperature, room: Pressure) -> Result<AmountFlow> {
    let litres = within("the bag", bag.value * 1e3, "L", 0.01, 1000.0)?;
    let time_s = within("the time of filling", time.value, "s", 1.0, 86_400.0)?;
    let reference = Reference::new(si::from_kelvin(in_range(temperature)?), room)?;
    Ok(reference.amount_flow(si::volume_rate(litres / 1e3 / time_s)))
}

fn gauge(pressure: Pressure) -> Result<f64> {
    within("the gauge pressure in the tube", pressure.value / 1e5, "bar", -0.2, 20.0).map(|bar| bar * 1e5 + ATMOSPHERE_PA)
}

fn in_range(temperature: ThermodynamicTemperature) -> Result<f64> {
    within("the temperature in the tube", si::celsius(temperature), "°C", -20.0, 60.0).map(|t_c| t_c + si::ICE_K)
}

fn checked_class(class: Ratio) -> Result<f64> {
    within("the accuracy class", class.value * 100.0, "%", 0.0, 50.0).map(|percent| percent / 100.0)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::gas::Gas;
    use crate::units;

    fn air_scale() -> Scale {
        Scale {
            gas: Gas::Air.into(),
            gauge: si::pascals(0.0),
            temperature: si::from_celsius(21.1),
            reference: Reference::TWENTY_ONE,
        }
    }

    fn argon(valve: Valve, line: &str) -> Service {
        let line = units::pressure(line).unwrap();
        Service { gas: Gas::Argon.into(), valve, line, back: si::pascals(0.0), temperature: si::from_celsius(21.1) }
    }

    #[test]
    fn the_valve_decides_which_pressure_counts() {
        let before = correction(&air_scale(), &argon(Valve::BeforeTube, "2 bar")).unwrap();
        let after = correction(&air_scale(), &argon(Valve::AfterTube, "2 bar")).unwrap();
        assert!(before.tube.value == 0.0 && after.tube.value == 2e5);
        assert!(after.factor.value / before.factor.value > 1.7);
    }

    #[test]
    fn a_reading_set_for_a_flow_reads_back_as_that_flow() {
        let service = argon(Valve::AfterTube, "0.5 bar");
        let flow = Reference::TWENTY_ONE.amount_flow(units::flow("8 L/min").unwrap());
        let mark = reading_for(flow, &air_scale(), &service).unwrap();
        assert!((flow_at(mark, &air_scale(), &service).unwrap().value / flow.value - 1.0).abs() < 1e-12);
    }

    #[test]
    fn a_large_tube_cannot_show_a_small_flow() {
        let class = Accuracy::FullScale(si::fraction(0.05));
        let Span { least: small, most: large } =
            full_scale_for(units::flow("2 L/min").unwrap(), class, si::fraction(0.1)).unwrap().unwrap();
        // 5 % of 4 L/min is 10 % of 2 L/min.
        assert!((large.value * 60_000.0 - 4.0).abs() < 1e-9 && small.value < large.value);
        assert_eq!(full_scale_for(units::flow("2 L/min").unwrap(), class, si::fraction(0.05)).unwrap(), None);
    }

    #[test]
    fn a_bag_and_a_stopwatch_give_an_amount() {
        let flow = flow_from_bag(
            units::volume("10 L").unwrap(),
            units::time("5 min").unwrap(),
            si::from_celsius(21.1),
            si::pascals(ATMOSPHERE_PA),
        );
        let expected = Reference::TWENTY_ONE.amount_flow(units::flow("2 L/min").unwrap());
        assert!((flow.unwrap().value / expected.value - 1.0).abs() < 1e-12);
    }
}
