//! Sweeping the air out: volume changes, the oxygen that is left, what a leak allows, and recovery after the door was open.
//!
//! The well-mixed law: with `n` moles in the chamber and `s` flowing in, `n dx/dt = s (x_in - x)`, so that the oxygen is
//! `x = x_in + (x_0 - x_in) e^-N` after `N = ∫ s/n dt` volume changes (the law of dilution; any text on ventilation).
//! Heating expels gas without changing the fraction. Gas that layers under the air instead of stirring does better, down
//! to the ideal displacement bound; a chimney, a leak or pores in the wall do far worse ([`crate::stack`],
//! [`crate::chamber`]). Until a chamber has been calibrated, a purge is proved by volume changes alone.
//!
//! ```
//! use hearthward_process::chamber::Chamber;
//! use hearthward_process::flow::Reference;
//! use hearthward_process::purge::{Purge, Reached, time_to};
//! use hearthward_process::units;
//!
//! let chamber = Chamber::tight(units::volume("9.4 L")?)?;
//! let purge = Purge {
//!     flow: Reference::TWENTY_ONE.amount_flow(units::flow("8 L/min")?),
//!     gas_oxygen: units::share("5 ppm")?,
//!     temperature: units::temperature("25 C")?,
//!     leak: Reference::TWENTY_ONE.amount_flow(units::flow("0 L/min")?),
//!     start: units::share("20.95 %")?,
//! };
//! match time_to(&chamber, &purge, units::share("100 ppm")?)? {
//!     Reached::After { time, .. } => assert_eq!(units::show_time(time), "8.93 min"),
//!     Reached::Never { why, .. } => panic!("{why}"),
//! }
//! # Ok::<(), hearthward_process::ProcessError>(())
//! ```

use crate::chamber::{Chamber, ChamberGas, Inputs};
use crate::constants::AIR_OXYGEN;
use crate::error::{Result, within};
use crate::gas::Gas;
use crate::note::Note;
use crate::numeric::root;
use crate::units::Ramp;
use crate::{AmountFlow, si};
use uom::si::f64::{AmountOfSubstance, Mass, Ratio, ThermodynamicTemperature, Time};

/// A purge at a steady temperature.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Purge {
    /// The flow of gas.
    pub flow: AmountFlow,
    /// The mole fraction of oxygen in that gas: 5 ppm for a good cylinder.
    pub gas_oxygen: Ratio,
    /// The temperature of the chamber; gas is taken to reach it at once.
    pub temperature: ThermodynamicTemperature,
    /// Air leaking in.
    pub leak: AmountFlow,
    /// The oxygen at the start: 20.95 % after the chamber stood open.
    pub start: Ratio,
}

/// Whether a purge reaches its level, and when.
#[derive(Debug, Clone, PartialEq)]
pub enum Reached {
    /// It does.
    After {
        /// The time.
        time: Time,
        /// The gas used.
        gas: AmountOfSubstance,
        /// Volume changes delivered by then.
        changes: Ratio,
        /// What the number rests on.
        notes: Vec<Note>,
    },
    /// It never does, however long it runs.
    Never {
        /// The level that it settles at.
        floor: Ratio,
        /// The largest leak that would still let this flow reach the level; none if the gas itself holds too much oxygen.
        largest_leak: Option<AmountFlow>,
        /// Why, for people.
        why: String,
    },
}

/// What follows an opening at heat.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Recovery {
    /// The oxygen right after the opening.
    pub start: Ratio,
    /// The time until the level is reached; `None` if never.
    pub time: Option<Time>,
    /// The integral of the oxygen fraction over that time, in seconds: what the steel has seen.
    pub exposure: Time,
    /// The integral above the gas's own oxygen, without end.
    pub exposure_without_end: Time,
    /// The gas used until the level is reached.
    pub gas: AmountOfSubstance,
    /// The oxygen in the chamber right after the opening.
    pub oxygen: Mass,
}

/// Volume changes that a flow makes in a chamber at a steady temperature.
///
/// Counted at the chamber's own temperature, where the gas fills more: in a chamber at 800 °C, 3.6 times as many as cold.
///
/// # Errors
/// A negative flow or time, a temperature outside -50 to 1300 °C.
pub fn changes(chamber: &Chamber, flow: AmountFlow, temperature: ThermodynamicTemperature, time: Time) -> Result<Ratio> {
    checked(flow, temperature)?;
    within("the time", time.value, "s", 0.0, 1e9)?;
    Ok(si::fraction(flow.value * time.value / chamber.holds(temperature).value))
}

/// Volume changes while the chamber heats or cools evenly from one temperature to another.
///
/// # Errors
/// As for [`changes`].
pub fn changes_while_heating(
    chamber: &Chamber,
    flow: AmountFlow,
    from: ThermodynamicTemperature,
    to: ThermodynamicTemperature,
    time: Time,
) -> Result<Ratio> {
    // N = ∫ s R T / (p V) dt, and T is linear in t: the mean temperature is exact.
    Ok(si::fraction((changes(chamber, flow, from, time)?.value + changes(chamber, flow, to, time)?.value) / 2.0))
}

/// The oxygen left after so many volume changes in a well-mixed chamber.
///
/// # Errors
/// Fractions outside 0 to 1, negative changes.
pub fn oxygen_after(start: Ratio, gas_oxygen: Ratio, changes: Ratio) -> Result<Ratio> {
    let (x0, gas) = (oxygen(start)?, oxygen(gas_oxygen)?);
    let n = within("the volume changes", changes.value, "", 0.0, 1e12)?;
    Ok(si::fraction(gas + (x0 - gas) * libm::exp(-n)))
}

/// The mean oxygen left if the gas pushed the air out ahead of it without mixing: the best that can be, after one change.
///
/// # Errors
/// As for [`oxygen_after`].
pub fn oxygen_if_displaced(start: Ratio, gas_oxygen: Ratio, changes: Ratio) -> Result<Ratio> {
    let (x0, gas) = (oxygen(start)?, oxygen(gas_oxygen)?);
    let swept = within("the volume changes", changes.value, "", 0.0, 1e12)?.min(1.0);
    Ok(si::fraction(x0 + (gas - x0) * swept))
}

/// Volume changes needed to bring a well-mixed chamber to a level; `None` if the gas's own oxygen does not allow it.
///
/// # Errors
/// Fractions outside 0 to 1.
pub fn changes_needed(start: Ratio, gas_oxygen: Ratio, level: Ratio) -> Result<Option<Ratio>> {
    let (x0, gas, level) = (oxygen(start)?, oxygen(gas_oxygen)?, oxygen(level)?);
    if level >= x0 {
        return Ok(Some(si::fraction(0.0)));
    }
    Ok((level > gas).then(|| si::fraction(libm::log((x0 - gas) / (level - gas)))))
}

/// The oxygen that a steady flow with a steady leak settles at.
///
/// # Errors
/// A flow or leak that is negative, both zero, a fraction outside 0 to 1.
pub fn floor(flow: AmountFlow, gas_oxygen: Ratio, leak: AmountFlow) -> Result<Ratio> {
    within("the leak", leak.value, "mol/s", 0.0, 1e3)?;
    let total = within("the flow with the leak", flow.value + leak.value, "mol/s", 1e-12, 1e3)?;
    Ok(si::fraction((flow.value * oxygen(gas_oxygen)? + leak.value * AIR_OXYGEN) / total))
}

/// The largest leak with which a flow still settles at a level; `None` if the gas itself is above the level.
///
/// # Errors
/// A negative flow, fractions outside 0 to 1, a level not below that of air.
pub fn largest_leak(flow: AmountFlow, gas_oxygen: Ratio, level: Ratio) -> Result<Option<AmountFlow>> {
    within("the flow", flow.value, "mol/s", 0.0, 1e3)?;
    let x = within("the level", oxygen(level)? * 100.0, "%", 0.0, AIR_OXYGEN * 99.999)? / 100.0;
    let gas = oxygen(gas_oxygen)?;
    Ok((x > gas).then(|| si::mole_rate(flow.value * (x - gas) / (AIR_OXYGEN - x))))
}

/// The time and gas to a level, or why it is never reached; pores in the wall are counted where the chamber has them.
///
/// # Errors
/// A value outside its range.
pub fn time_to(chamber: &Chamber, purge: &Purge, level: Ratio) -> Result<Reached> {
    checked(purge.flow, purge.temperature)?;
    let level = oxygen(level)?;
    if oxygen(purge.start)? <= level {
        return Ok(after(chamber, purge, 0.0));
    }
    if purge.flow.value + purge.leak.value <= 0.0 {
        return Ok(Reached::Never { floor: purge.start, largest_leak: None, why: "nothing flows".to_owned() });
    }
    let floor = floor(purge.flow, purge.gas_oxygen, purge.leak)?;
    if floor.value >= level {
        let allowed = if level < AIR_OXYGEN { largest_leak(purge.flow, purge.gas_oxygen, si::fraction(level))? } else { None };
        let why = match allowed {
            Some(_) => format!("the leak alone keeps the oxygen at {}", crate::units::show_ratio(floor)),
            None => format!("the gas itself holds {}", crate::units::show_ratio(purge.gas_oxygen)),
        };
        return Ok(Reached::Never { floor, largest_leak: allowed, why });
    }
    let rate_per_s = (purge.flow.value + purge.leak.value) / chamber.holds(purge.temperature).value;
    let single_s = libm::log((purge.start.value - floor.value) / (level - floor.value)) / rate_per_s;
    if chamber.pores().is_none() {
        return Ok(after(chamber, purge, single_s));
    }
    let start = ChamberGas::filled(chamber, purge.temperature, purge.start, purge.start)?;
    match stepped_to(chamber, purge, &start, level) {
        Some(time_s) => Ok(after(chamber, purge, time_s)),
        None => Ok(Reached::Never {
            floor: start.step(chamber, &inputs(purge, LONGEST_S))?.gas.oxygen(),
            largest_leak: None,
            why: "after a whole day the pores of the wall still give off too much air".to_owned(),
        }),
    }
}

/// The time to a level from gas that is already in the chamber, as after an opening; `None` if flow, leak and pores never get
/// there, or not within a day where there are pores. The purge's own `start` is not looked at.
///
/// # Errors
/// A value outside its range.
pub fn time_from(chamber: &Chamber, purge: &Purge, start: &ChamberGas, level: Ratio) -> Result<Option<Time>> {
    checked(purge.flow, purge.temperature)?;
    let level = oxygen(level)?;
    let from = start.oxygen().value;
    if from <= level {
        return Ok(Some(si::seconds(0.0)));
    }
    if chamber.pores().is_some() {
        return Ok(stepped_to(chamber, purge, start, level).map(si::seconds));
    }
    if purge.flow.value + purge.leak.value <= 0.0 {
        return Ok(None);
    }
    let floor = floor(purge.flow, purge.gas_oxygen, purge.leak)?.value;
    let rate_per_s = (purge.flow.value + purge.leak.value) / chamber.holds(purge.temperature).value;
    Ok((floor < level).then(|| si::seconds(libm::log((from - floor) / (level - floor)) / rate_per_s)))
}

/// The gas in the chamber, and in its pores, when a purge has just reached its level; `None` if it never does.
///
/// # Errors
/// As for [`time_to`].
pub fn left_by(chamber: &Chamber, purge: &Purge, level: Ratio) -> Result<Option<ChamberGas>> {
    let Reached::After { time, .. } = time_to(chamber, purge, level)? else {
        return Ok(None);
    };
    if chamber.pores().is_none() {
        let left = if purge.start < level { purge.start } else { level };
        return ChamberGas::filled(chamber, purge.temperature, left, si::fraction(0.0)).map(Some);
    }
    let start = ChamberGas::filled(chamber, purge.temperature, purge.start, purge.start)?;
    Ok(Some(start.step(chamber, &inputs(purge, time.value))?.gas))
}

/// A step at one temperature is exact however long; it may not be longer than a day.
const LONGEST_S: f64 = 86_400.0;

/// The seconds in which gas comes down to a level with the pores counted, if within a day.
fn stepped_to(chamber: &Chamber, purge: &Purge, start: &ChamberGas, level: f64) -> Option<f64> {
    let off =
        |time_s: f64| start.step(chamber, &inputs(purge, time_s)).map_or(f64::NAN, |stepped| stepped.gas.oxygen().value - level);
    root(0.0, LONGEST_S, 1e-6, off)
}

/// The gas that heating alone expels; it does not change the oxygen fraction. Zero on cooling.
///
/// # Errors
/// A temperature outside -50 to 1300 °C.
pub fn expelled(chamber: &Chamber, from: ThermodynamicTemperature, to: ThermodynamicTemperature) -> Result<AmountOfSubstance> {
    checked(si::mole_rate(0.0), from)?;
    checked(si::mole_rate(0.0), to)?;
    Ok(si::moles((chamber.holds(from).value - chamber.holds(to).value).max(0.0)))
}

/// The flow that keeps a cooling chamber from drawing in air: `n / T dT/dt`. Zero while heating.
///
/// # Errors
/// A temperature outside -50 to 1300 °C.
pub fn makeup_flow(chamber: &Chamber, temperature: ThermodynamicTemperature, cooling: Ramp) -> Result<AmountFlow> {
    checked(si::mole_rate(0.0), temperature)?;
    let rate_k_s = (-cooling.kelvin_per_second()).max(0.0);
    Ok(si::mole_rate(chamber.holds(temperature).value * rate_k_s / si::kelvin(temperature)))
}

/// The oxygen that impurity and leak bring in a time: what the steel could at most take up.
///
/// # Errors
/// Negative flows or times, a fraction outside 0 to 1.
pub fn oxygen_delivered(flow: AmountFlow, gas_oxygen: Ratio, leak: AmountFlow, time: Time) -> Result<Mass> {
    within("the flow", flow.value, "mol/s", 0.0, 1e3)?;
    within("the leak", leak.value, "mol/s", 0.0, 1e3)?;
    within("the time", time.value, "s", 0.0, 1e9)?;
    let moles = (flow.value * oxygen(gas_oxygen)? + leak.value * AIR_OXYGEN) * time.value;
    Ok(si::kilograms(moles * Gas::Oxygen.molar_kg()))
}

/// What follows a door opening that replaced a share of the chamber's gas by air.
///
/// No oxygen is taken up by steel or wall; without pores and leak, as in a tight retort. In a lined chamber step
/// [`ChamberGas`] instead.
///
/// # Errors
/// Fractions outside 0 to 1, a flow that is not positive.
pub fn recovery(chamber: &Chamber, purge: &Purge, air_share: Ratio, level: Ratio) -> Result<Recovery> {
    within("the flow", purge.flow.value, "mol/s", 1e-12, 1e3)?;
    checked(purge.flow, purge.temperature)?;
    let (gas, level) = (oxygen(purge.gas_oxygen)?, oxygen(level)?);
    let share = within("the share replaced by air", air_share.value * 100.0, "%", 0.0, 100.0)? / 100.0;
    let start = share * AIR_OXYGEN + (1.0 - share) * gas;
    let held_mol = chamber.holds(purge.temperature).value;
    let rate_per_s = purge.flow.value / held_mol;
    let needed = changes_needed(si::fraction(start), purge.gas_oxygen, si::fraction(level))?;
    let time_s = needed.map(|n| n.value / rate_per_s);
    let exposure_s = time_s.map_or(f64::INFINITY, |t| gas * t + (start - level.min(start)) / rate_per_s);
    Ok(Recovery {
        start: si::fraction(start),
        time: time_s.map(si::seconds),
        exposure: si::seconds(exposure_s),
        exposure_without_end: si::seconds((start - gas) / rate_per_s),
        gas: si::moles(time_s.map_or(f64::INFINITY, |t| t * purge.flow.value)),
        oxygen: si::kilograms(start * held_mol * Gas::Oxygen.molar_kg()),
    })
}

fn after(chamber: &Chamber, purge: &Purge, time_s: f64) -> Reached {
    let gas_mol = purge.flow.value * time_s;
    let mut notes = vec![Note::basis("well-mixed dilution; gas takes the chamber's temperature at once")];
    if chamber.pores().is_some() {
        notes.push(Note::assumed("pore volume and exchange time of the insulation, unless they were fitted to this chamber"));
    } else {
        notes
            .push(Note::assumed("no air in the pores of a lining: right for a tight retort, far too hopeful for brick or fibre"));
    }
    Reached::After {
        time: si::seconds(time_s),
        gas: si::moles(gas_mol),
        changes: si::fraction(gas_mol / chamber.holds(purge.temperature).value),
        notes,
    }
}

fn inputs(purge: &Purge, time_s: f64) -> Inputs {
    Inputs {
        time: si::seconds(time_s),
        inflow: purge.flow,
        inflow_oxygen: purge.gas_oxygen,
        leak: purge.leak,
        ..Inputs::nothing(purge.temperature)
    }
}

fn oxygen(fraction: Ratio) -> Result<f64> {
    within("an oxygen fraction", fraction.value * 100.0, "%", 0.0, 100.0).map(|percent| percent / 100.0)
}

fn checked(flow: AmountFlow, temperature: ThermodynamicTemperature) -> Result<()> {
    within("the flow", flow.value, "mol/s", 0.0, 1e3)?;
    within("the chamber's temperature", si::celsius(temperature), "°C", -50.0, 1300.0)?;
    Ok(())
}
