//! The hold under heat: what the holding flow settles at, what a door that opens costs, what cooling draws in, and all the
//! oxygen that could reach the steel.
//!
//! A way for air that the question leaves unsaid is not known, which is not the same as none: it is named as not counted,
//! and a number is called an upper bound only if nothing is left out.

use super::{Answer, PurgeQuestion, Writer};
use crate::chamber::{Chamber, ChamberGas, Inputs};
use crate::constants::{AIR_OXYGEN, ATMOSPHERE_PA};
use crate::error::{Result, within};
use crate::flow::actual;
use crate::gas::Gas;
use crate::note::Note;
use crate::oxide::{SCALING_ENDS_C, bound};
use crate::purge::{Purge, expelled, floor, left_by, makeup_flow, oxygen_delivered, time_from};
use crate::stack::{Gaps, draught};
use crate::units::{Ramp, System};
use crate::{AmountFlow, si, units};
use uom::si::f64::{AmountOfSubstance, Mass, Ratio, ThermodynamicTemperature, Time};

use super::purge::ExposedSteel;

/// The hold's floor, what heating expels, and what pores still give off.
pub(super) fn heating(answer: &mut Answer, question: &PurgeQuestion, system: System) -> Result<()> {
    let PurgeQuestion { heat, hold, .. } = *question;
    within("the holding flow", hold.value, "mol/s", 0.0, 1e3)?;
    let out = question.reference.volume(expelled(&question.chamber, question.purge.temperature, heat)?);
    let air = question.purge.leak + chimney_air(question)?;
    let mut write = Writer::new(answer, system);
    write.volume("expelled_l", "gas that heating expels", out, "does not change the oxygen fraction");
    hot_flow(&mut write, hold, heat)?;
    if hold.value + air.value <= 0.0 {
        answer.warn("nothing flows under heat: any cooling draws air in");
        return Ok(());
    }
    let floor = floor(hold, question.purge.gas_oxygen, air)?;
    let basis = match (question.leak_said, question.gaps.is_some()) {
        (true, true) => "gas, leak and chimney",
        (true, false) => "gas and leak; the chimney of the gaps not counted",
        (false, true) => "gas and chimney; any other leak not counted",
        (false, false) => "the gas alone: neither a leak nor gaps were said",
    };
    write.share("hold_floor_fraction", "oxygen that the holding flow settles at", floor, basis);
    if floor > question.level {
        let by = if air.value > 0.0 { "the air that gets in" } else { "the gas's own oxygen" };
        answer.warn(format!("the holding flow lets {by} bring the oxygen up to {}", units::show_ratio(floor)));
    }
    given_off(answer, question, air, system)
}

/// What a flow really fills in the hot chamber: litres there, not those of the meter.
pub(super) fn hot_flow(write: &mut Writer<'_>, flow: AmountFlow, heat: ThermodynamicTemperature) -> Result<()> {
    let basis = format!("as hot as the chamber, at {}, and at the room's pressure", units::show_temperature(heat, write.system));
    write.rate("hot_flow_l_min", "that flow in the hot chamber", actual(flow, heat, si::pascals(ATMOSPHERE_PA))?, basis);
    Ok(())
}

/// What the pores bring the oxygen up to after the purge, before the holding flow has swept them.
fn given_off(answer: &mut Answer, question: &PurgeQuestion, air: AmountFlow, system: System) -> Result<()> {
    let PurgeQuestion { heat, hold, .. } = *question;
    let Some(pores) = question.chamber.pores() else {
        return Ok(());
    };
    let Some(left) = left_by(&question.chamber, &question.purge, question.level)? else {
        return Ok(());
    };
    let mut gas = ChamberGas::filled(&question.chamber, heat, left.oxygen(), left.oxygen_in_pores())?;
    let inputs = Inputs {
        time: pores.exchange / PEAK_STEPS_EACH,
        inflow: hold,
        inflow_oxygen: question.purge.gas_oxygen,
        leak: air,
        ..Inputs::nothing(heat)
    };
    let mut peak = gas.oxygen();
    for _ in 0..PEAK_STEPS {
        gas = gas.step(&question.chamber, &inputs)?.gas;
        peak = if gas.oxygen() > peak { gas.oxygen() } else { peak };
    }
    let basis = "what the pores still hold after the purge, chamber already hot; heating pushes out more";
    Writer::new(answer, system).share("hold_peak_fraction", "oxygen that it rises to before", peak, basis);
    if peak > question.level {
        answer.warn(format!(
            "under the holding flow the pores bring the oxygen up to {}: purge longer, or hold more flow",
            units::show_ratio(peak)
        ));
    }
    Ok(())
}

/// Steps for each exchange time of the pores while looking for the peak.
const PEAK_STEPS_EACH: f64 = 16.0;
/// Four exchange times: the peak lies within the first two.
const PEAK_STEPS: usize = 64;

/// Recovery at the purge flow after the door was open at heat, with leak and pores.
pub(super) fn opened(answer: &mut Answer, question: &PurgeQuestion, share: Ratio, system: System) -> Result<()> {
    if question.purge.flow.value == 0.0 {
        return Ok(());
    }
    let chamber = &question.chamber;
    let hot = Purge { temperature: question.heat, ..question.purge };
    let clean = floor(hot.flow, hot.gas_oxygen, hot.leak)?;
    let start = si::fraction(share.value * AIR_OXYGEN + (1.0 - share.value) * clean.value);
    let left = left_by(chamber, &question.purge, question.level)?;
    let mut write = Writer::new(answer, system);
    let basis = "the share of gas replaced by air";
    write.share("opened_oxygen_fraction", "oxygen right after an opening at heat", start, basis);
    let back = match left {
        Some(left) => {
            let gas = ChamberGas::filled(chamber, hot.temperature, start, left.oxygen_in_pores())?;
            time_from(chamber, &hot, &gas, question.level)?
        }
        None => None,
    };
    match (back, chamber.pores().is_some()) {
        (Some(time), true) => write.time("recovery_s", "back at the level after", time, "at the purge flow, with leak and pores"),
        (Some(time), false) => {
            write.time("recovery_s", "back at the level after", time, "well mixed, at the purge flow, with the leak")
        }
        (None, _) => answer.warn(format!(
            "after an opening the level is never reached again: this flow does not bring the chamber below {}",
            units::show_ratio(question.level)
        )),
    }
    Ok(())
}

/// What the chamber draws in while it cools under the holding flow.
pub(super) fn cooling(answer: &mut Answer, question: &PurgeQuestion, cools: Ramp, system: System) -> Result<()> {
    let PurgeQuestion { heat, hold, .. } = *question;
    let needed = makeup_flow(&question.chamber, heat, falling(cools))?;
    let drawn = question.reference.volume(drawn_while_cooling(question, cools)?);
    let mut write = Writer::new(answer, system);
    write.flow("makeup_l_min", "flow that makes up for the gas that shrinks", needed, question.reference);
    write.volume("drawn_l", "air drawn in while it cools to 400 °C", drawn, "falling as fast all the way: an upper bound");
    if hold < needed {
        answer.warn("the holding flow does not make up for the gas that shrinks once heat is cut: air is drawn in");
    }
    Ok(())
}

/// The chimney of the hot chamber. Orifice and slot are upper bounds both of the flow that it asks for and of the air that it draws
/// in, so the smaller counts for either.
pub(super) fn chimney(answer: &mut Answer, question: &PurgeQuestion, gaps: &Gaps, system: System) -> Result<()> {
    let hold = question.hold;
    let hot = draught(&question.gas, question.heat, question.room, gaps, hold)?;
    let enough = hot.holds();
    let mut write = Writer::new(answer, system);
    write.flow("chimney_holding_l_min", "flow that keeps every gap blowing outward when hot", enough, question.reference);
    write.flow("chimney_holding_orifice_l_min", "the same if the gaps were sharp holes", hot.holding, question.reference);
    let basis = if hot.neutral.is_some() { "the smaller of two upper bounds" } else { "no draught: gas and air weigh the same" };
    write.flag("chimney_outward", "every gap blows outward at the holding flow", hold >= enough, basis);
    if hold < enough {
        write.flow("chimney_air_in_l_min", "air that the chimney may draw in", hot.draws(), question.reference);
        answer.warn("the hot chamber's chimney may draw air in at the lowest gap: hold more flow, or close the gaps");
    }
    answer.take(hot.notes);
    answer.take([Note::assumed("the width of the gaps and the depth of the seal: nobody has measured them until somebody has")]);
    Ok(())
}

/// The air that the chimney may draw in at the holding flow; none where no gaps were said.
fn chimney_air(question: &PurgeQuestion) -> Result<AmountFlow> {
    let Some(gaps) = &question.gaps else {
        return Ok(si::mole_rate(0.0));
    };
    Ok(draught(&question.gas, question.heat, question.room, gaps, question.hold)?.draws())
}

/// What all the oxygen that could get to the steel could at most do to it.
pub(super) fn exposed(answer: &mut Answer, question: &PurgeQuestion, steel: &ExposedSteel, system: System) -> Result<()> {
    let budget = Budget::of(question, steel.time)?;
    let brought = budget.total();
    let most = bound(brought, steel.surface, steel.carbon)?;
    let parts: Vec<String> =
        budget.counted.iter().map(|(what, mass)| format!("{what} {}", units::show_mass(*mass, system))).collect();
    let strength = if budget.left_out.is_empty() { "upper bound" } else { "of what was counted; no bound" };
    let mut write = Writer::new(answer, system);
    write.mass("oxygen_brought_kg", "oxygen that could reach the steel while hot", brought, parts.join(", "));
    write.length("scale_bound_mm", "scale if all of it went to the steel", most.scale, format!("{strength}, as FeO"));
    write.length(
        "carbon_bound_mm",
        "or depth robbed of its carbon",
        most.decarburised,
        format!("{strength}, as carbon monoxide"),
    );
    if !budget.left_out.is_empty() {
        answer.warn(format!("scale and lost carbon can be worse, for these were not counted: {}", budget.left_out.join("; ")));
    }
    Ok(())
}

/// The oxygen that could reach the steel, by where it comes from, and what nobody said.
struct Budget {
    counted: Vec<(&'static str, Mass)>,
    left_out: Vec<&'static str>,
}

impl Budget {
    fn of(question: &PurgeQuestion, hot: Time) -> Result<Self> {
        let PurgeQuestion { chamber, purge, heat, hold, .. } = question;
        let none = si::mole_rate(0.0);
        let mut budget = Self { counted: Vec::new(), left_out: Vec::new() };
        budget.count("the gas", oxygen_delivered(*hold, purge.gas_oxygen, none, hot)?);
        let by_leak = oxygen_delivered(none, purge.gas_oxygen, purge.leak, hot)?;
        budget.count_if("the leak", question.leak_said.then_some(by_leak), "a leak");
        let by_chimney = oxygen_delivered(none, purge.gas_oxygen, chimney_air(question)?, hot)?;
        budget.count_if("the chimney", question.gaps.map(|_| by_chimney), "the chimney of the hot chamber's gaps");
        match left_by(chamber, purge, question.level)? {
            Some(left) => {
                budget.count("the chamber after the purge", oxygen_mass(left.oxygen));
                let tight = chamber.pores().is_none();
                let in_pores = (!tight || question.tight_said).then(|| oxygen_mass(left.pore_oxygen));
                budget.count_if("the pores", in_pores, "the air in the pores of brick or fibre");
            }
            None => budget.left_out.push("what the chamber still holds after a purge that never gets there"),
        }
        let by_opening = question.opening.map(|share| in_air(si::moles(chamber.holds(*heat).value * share.value)));
        budget.count_if("one opening", by_opening, "openings at heat");
        let by_cooling = question.cools.map(|cools| drawn_while_cooling(question, cools)).transpose()?.map(in_air);
        budget.count_if("cooling", by_cooling, "the air that cooling draws in");
        Ok(budget)
    }

    fn count(&mut self, what: &'static str, mass: Mass) {
        self.counted.push((what, mass));
    }

    fn count_if(&mut self, what: &'static str, mass: Option<Mass>, otherwise: &'static str) {
        match mass {
            Some(mass) => self.count(what, mass),
            None => self.left_out.push(otherwise),
        }
    }

    fn total(&self) -> Mass {
        self.counted.iter().fold(si::kilograms(0.0), |sum, (_, mass)| sum + *mass)
    }
}

fn in_air(air: AmountOfSubstance) -> Mass {
    oxygen_mass(si::moles(air.value * AIR_OXYGEN))
}

fn oxygen_mass(oxygen: AmountOfSubstance) -> Mass {
    si::kilograms(oxygen.value * Gas::Oxygen.molar_kg())
}

fn falling(cools: Ramp) -> Ramp {
    Ramp { rise: si::difference(-libm::fabs(si::difference_k(cools.rise))), ..cools }
}

/// The air that cooling to the end of scaling draws in under the holding flow, falling as fast all the way.
fn drawn_while_cooling(question: &PurgeQuestion, cools: Ramp) -> Result<AmountOfSubstance> {
    let rate_k_s = libm::fabs(within("the fall", cools.kelvin_per_second() * 60.0, "K/min", -1e4, 1e4)?) / 60.0;
    let (from_c, to_c) = (si::celsius(question.heat), SCALING_ENDS_C);
    if rate_k_s == 0.0 || from_c <= to_c {
        return Ok(si::moles(0.0));
    }
    let stretches = (1..=COOLING_STEPS).map(|step| {
        let share = f64::from(step) / f64::from(COOLING_STEPS);
        let time_s = (from_c - to_c) / rate_k_s / f64::from(COOLING_STEPS);
        Ok((si::from_celsius(from_c + (to_c - from_c) * share), si::seconds(time_s)))
    });
    drawn(&question.chamber, (question.heat, question.hold), stretches)
}

/// The air drawn in under a flow while a chamber goes through stretches, each to a temperature within a time.
pub(super) fn drawn(
    chamber: &Chamber,
    (from, flow): (ThermodynamicTemperature, AmountFlow),
    stretches: impl Iterator<Item = Result<(ThermodynamicTemperature, Time)>>,
) -> Result<AmountOfSubstance> {
    let nothing = si::fraction(0.0);
    let mut gas = ChamberGas::filled(chamber, from, nothing, nothing)?;
    let mut sum = si::moles(0.0);
    for stretch in stretches {
        let (temperature, time) = stretch?;
        let stepped = gas.step(chamber, &Inputs { time, inflow: flow, ..Inputs::nothing(temperature) })?;
        (gas, sum) = (stepped.gas, sum + stepped.drawn);
    }
    Ok(sum)
}

/// Stretches of a cooling, so that none is longer than a day.
const COOLING_STEPS: u32 = 16;
