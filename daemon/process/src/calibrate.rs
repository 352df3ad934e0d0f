//! Finding out what a chamber really does: its leak and pore air from a probe's record, or the oxygen that witness strips took.
//!
//! Until one of these was done, a purge is proved by volume changes alone and no ppm is shown as fact. A fit tells what
//! explains the record, not what is true: a leak that grows with the chimney of the hot chamber looks like pore air.

use crate::chamber::{Chamber, ChamberGas, Inputs, Pores};
use crate::constants::AIR_OXYGEN;
use crate::error::{Result, impossible, within};
use crate::fit::least_squares;
use crate::gas::Gas;
use crate::note::Note;
use crate::{AmountFlow, si};
use uom::si::f64::{Area, Mass, Ratio, ThermodynamicTemperature, Time, Volume};

/// One reading of an oxygen probe, with what happened since the one before.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct ProbeReading {
    /// The inputs from the reading before up to this one; their `leak` is ignored.
    pub inputs: Inputs,
    /// What the probe showed at the end.
    pub oxygen: Ratio,
}

/// What explains a probe's record.
#[derive(Debug, Clone, PartialEq)]
pub struct Calibrated {
    /// The leak of air.
    pub leak: AmountFlow,
    /// The volume of the pores.
    pub pores: Volume,
    /// Their exchange time.
    pub exchange: Time,
    /// Standard errors of the three, as shares of them.
    pub errors: [Ratio; 3],
    /// The factor by which the model misses the readings, in the mean: 1.05 is 5 %.
    pub scatter: Ratio,
    /// What the numbers rest on.
    pub notes: Vec<Note>,
}

/// Fits leak, pore volume and exchange time to a probe's record of a purge that began with the chamber full of air.
///
/// Residuals are of the logarithm, so that ppm count as much as per cent.
///
/// # Errors
/// Fewer than 8 readings, readings outside 0.1 ppm to 21 %, inputs that the chamber refuses, a fit that finds no bottom.
pub fn from_probe(
    volume: Volume,
    start: ThermodynamicTemperature,
    warming: Ratio,
    record: &[ProbeReading],
) -> Result<Calibrated> {
    within("the number of readings", record.len() as f64, "", 8.0, 1e6)?;
    let bare = Chamber::tight(volume)?;
    for reading in record {
        within("a probe's reading", reading.oxygen.value * 1e6, "ppm", 0.1, 210_000.0)?;
        ChamberGas::air(&bare, start)?.step(&bare, &reading.inputs)?;
    }
    let model = |&[leak_mol_s, pores_m3, exchange_s]: &[f64; 3]| -> Result<Vec<f64>> {
        let pores = Pores { volume: si::cubic_metres(pores_m3), exchange: si::seconds(exchange_s), warming, room: start };
        let chamber = bare.with_pores(pores)?;
        let mut gas = ChamberGas::air(&chamber, start)?;
        let mut off = Vec::with_capacity(record.len());
        for reading in record {
            gas = gas.step(&chamber, &Inputs { leak: si::mole_rate(leak_mol_s), ..reading.inputs })?.gas;
            off.push(libm::log(gas.oxygen().value / reading.oxygen.value));
        }
        Ok(off)
    };
    let mean_flow = record.iter().map(|reading| reading.inputs.inflow.value).sum::<f64>() / record.len() as f64;
    let begin = [(mean_flow * 1e-3).max(1e-9), volume.value, 600.0];
    // A parameter that strays out of its range makes the model refuse; not a number then, which the fit turns back from.
    let fit = least_squares(begin, |parameters| model(parameters).unwrap_or_else(|_| vec![f64::NAN; record.len()]))
        .filter(|fit| fit.settled)
        .ok_or_else(|| impossible("calibrating a chamber", "no leak and pores explain the record".to_owned()))?;
    let mut notes = vec![Note::basis("two mixed volumes with a steady leak, fitted to the logarithm of the probe's readings")];
    if fit.relative_errors.iter().any(|error| *error > 0.5) {
        notes.push(Note::outside("the record does not tell one of the numbers: purge longer, at two flows"));
    }
    Ok(Calibrated {
        leak: si::mole_rate(fit.values[0]),
        pores: si::cubic_metres(fit.values[1]),
        exchange: si::seconds(fit.values[2]),
        errors: fit.relative_errors.map(si::fraction),
        scatter: si::fraction(libm::exp(fit.rms)),
        notes,
    })
}

/// What witness strips say of the oxygen that got in.
#[derive(Debug, Clone, PartialEq)]
pub struct FromStrips {
    /// The oxygen that all the steel took, scaled from the strips to its whole surface.
    pub oxygen: Mass,
    /// The steady leak of air that would bring it, beside the gas's own oxygen; zero if the gas explains it all.
    pub leak: AmountFlow,
    /// What the numbers rest on.
    pub notes: Vec<Note>,
}

/// The leak that explains the weight that bright strips gained while hot.
///
/// A lower bound: walls, fixture and burnt carbon took oxygen as well. Strips that lost weight, by carbon burnt off, tell
/// nothing this way.
///
/// # Errors
/// A gain that is negative, strips larger than all the steel, a time outside 1 min to 10 days, fractions outside 0 to 1.
pub fn from_strips(gain: Mass, strips: Area, steel: Area, time: Time, gas: AmountFlow, gas_oxygen: Ratio) -> Result<FromStrips> {
    let gain_kg = within("the gain of the strips", gain.value * 1e6, "mg", 0.0, 1e6)? / 1e6;
    let strips_m2 = within("the surface of the strips", strips.value * 1e4, "cm²", 1e-2, 1e6)? / 1e4;
    let steel_m2 = within("the surface of all the steel", steel.value * 1e4, "cm²", strips_m2 * 1e4, 1e7)? / 1e4;
    let time_s = within("the time at heat", time.value / 60.0, "min", 1.0, 14_400.0)? * 60.0;
    let own = within("the oxygen in the gas", gas_oxygen.value * 100.0, "%", 0.0, 100.0)? / 100.0;
    within("the flow", gas.value, "mol/s", 0.0, 1e3)?;
    let oxygen_kg = gain_kg * steel_m2 / strips_m2;
    let rate_mol_s = oxygen_kg / Gas::Oxygen.molar_kg() / time_s;
    Ok(FromStrips {
        oxygen: si::kilograms(oxygen_kg),
        leak: si::mole_rate(((rate_mol_s - gas.value * own) / AIR_OXYGEN).max(0.0)),
        notes: vec![Note::bound(
            "a lower bound: walls and fixtures took oxygen too, and carbon that burns off weighs against the gain",
        )],
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::flow::Reference;
    use crate::units;

    #[test]
    fn a_made_up_chamber_is_found_again() {
        let volume = units::volume("9.4 L").unwrap();
        let cold = si::from_celsius(25.0);
        let pores = Pores {
            volume: units::volume("20 L").unwrap(),
            exchange: units::time("15 min").unwrap(),
            warming: si::fraction(0.5),
            room: cold,
        };
        let truth = Chamber::tight(volume).unwrap().with_pores(pores).unwrap();
        let leak = si::mole_rate(4e-6);
        let mut gas = ChamberGas::air(&truth, cold).unwrap();
        let record: Vec<ProbeReading> = (0..60)
            .map(|minute| {
                let flow = if minute < 30 { "8 L/min" } else { "2 L/min" };
                let inputs = Inputs {
                    time: units::time("2 min").unwrap(),
                    inflow: Reference::TWENTY_ONE.amount_flow(units::flow(flow).unwrap()),
                    inflow_oxygen: units::share("5 ppm").unwrap(),
                    ..Inputs::nothing(cold)
                };
                gas = gas.step(&truth, &Inputs { leak, ..inputs }).unwrap().gas;
                ProbeReading { inputs, oxygen: gas.oxygen() }
            })
            .collect();
        let found = from_probe(volume, cold, si::fraction(0.5), &record).unwrap();
        assert!((found.leak.value / leak.value - 1.0).abs() < 1e-3, "{found:?}");
        assert!((found.pores.value / 0.020 - 1.0).abs() < 1e-3 && (found.exchange.value / 900.0 - 1.0).abs() < 1e-3);
    }

    #[test]
    fn strips_tell_the_leak_beyond_the_gas() {
        let (strips, steel) = (units::area("20 cm2").unwrap(), units::area("800 cm2").unwrap());
        let flow = Reference::TWENTY_ONE.amount_flow(units::flow("2 L/min").unwrap());
        let ask = |gain: &str| {
            let gain = units::mass(gain).unwrap();
            from_strips(gain, strips, steel, units::time("70 min").unwrap(), flow, units::share("5 ppm").unwrap()).unwrap()
        };
        // The first worked example the other way round: 98 mg in 70 min came of 5 mL/min of air and 5 ppm.
        let leak = Reference::TWENTY_ONE.volume_flow(ask("2.4525 mg").leak);
        assert!((leak.value * 60e6 - 5.0).abs() < 0.01, "{}", leak.value * 60e6);
        assert_eq!(ask("0.01 mg").leak.value, 0.0);
    }
}
