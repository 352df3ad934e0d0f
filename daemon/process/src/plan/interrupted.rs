//! "Heat was cut. How long can I still quench, and what does slow cooling cost?"

use super::hold::{drawn, hot_flow};
use super::{Answer, Writer};
use crate::chamber::Chamber;
use crate::error::Result;
use crate::flow::Reference;
use crate::furnace::Furnace;
use crate::gas::breathing;
use crate::note::Note;
use crate::oxide::{bound, in_air_along};
use crate::purge::{makeup_flow, oxygen_delivered};
use crate::units::{self, Ramp, System};
use crate::{AmountFlow, si};
use uom::si::f64::{Area, Ratio, ThermodynamicTemperature, Time};

/// Hot steel in a furnace whose heat was cut.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct InterruptedQuestion {
    /// The furnace.
    pub furnace: Furnace,
    /// The chamber.
    pub chamber: Chamber,
    /// The temperature now.
    pub now: ThermodynamicTemperature,
    /// The lowest temperature that the steel may still be quenched from.
    pub limit: ThermodynamicTemperature,
    /// The temperature below which steel no longer scales, 400 °C ([`crate::oxide::SCALING_ENDS_C`]) or more; gas may end there.
    pub scaling_ends: ThermodynamicTemperature,
    /// The flow of gas while it cools.
    pub flow: AmountFlow,
    /// The oxygen in that gas.
    pub gas_oxygen: Ratio,
    /// The air that leaks in.
    pub leak: AmountFlow,
    /// The steel's whole surface.
    pub surface: Area,
    /// The carbon of the steel.
    pub carbon: Ratio,
    /// The conditions that volumes are counted and shown at.
    pub reference: Reference,
}

/// Answers the question: how long the steel can still be quenched, and what slow cooling costs it in air and under gas.
///
/// # Errors
/// Values outside the ranges of the functions that it stands on.
pub fn interrupted(question: &InterruptedQuestion, system: System) -> Result<Answer> {
    let InterruptedQuestion { furnace, now, limit, scaling_ends, .. } = question;
    let mut answer = Answer::new(format!("Heat was cut at {}", units::show_temperature(*now, system)));
    let quenchable = if now > limit { furnace.stays_above(*limit, *now)? } else { Some(si::seconds(0.0)) };
    let scales = now > scaling_ends;
    let cooling = if scales { furnace.cools(*now, *scaling_ends)? } else { si::seconds(0.0) };
    let mut write = Writer::new(&mut answer, system);
    if let Some(time) = quenchable {
        write.time("quenchable_s", "still hot enough to quench for", time, "door shut, loss and capacity of the furnace alone");
    }
    write.time("cools_s", "slow cooling out of scaling takes", cooling, "door shut, loss and capacity of the furnace alone");
    if scales {
        scaled(&mut answer, question, cooling, system)?;
    } else {
        answer.take([Note::basis("scaling has ended: no scale is counted from here on")]);
    }
    let flow = question.flow;
    let first_rate = furnace.loss.value / furnace.capacity.value * (si::kelvin(*now) - si::kelvin(furnace.room));
    let cooling_now = Ramp { rise: si::difference(-first_rate), within: si::seconds(1.0) };
    let needed = makeup_flow(&question.chamber, *now, cooling_now)?;
    let mut write = Writer::new(&mut answer, system);
    write.flow("makeup_l_min", "flow that keeps it from drawing air in", needed, question.reference);
    if flow.value > 0.0 {
        hot_flow(&mut write, flow, *now)?;
        answer.take_first([breathing()]);
    }
    answer.warn("a chamber that cools breathes: its gas shrinks and draws air in at every gap; keep it shut and the gas on");
    answer.take([Note::basis(
        "steel that cools slowly comes out soft and must be hardened again from the start; a soak cut short may leave it uneven",
    )]);
    if flow < needed {
        answer.warn("the flow does not make up for the gas that shrinks: air is drawn in while it cools");
    }
    if quenchable.is_some_and(|time| time.value == 0.0) {
        answer.warn("it is already too cold to quench: let it cool under gas and start again");
    }
    Ok(answer)
}

/// What slow cooling costs the steel, in air and under gas.
fn scaled(answer: &mut Answer, question: &InterruptedQuestion, cooling: Time, system: System) -> Result<()> {
    let InterruptedQuestion { now, flow, gas_oxygen, leak, .. } = *question;
    let stretches = falls(question)?;
    let in_air = in_air_along(now, &stretches)?;
    let mut write = Writer::new(answer, system);
    write.length("scale_in_air_mm", "scale if it cools in air", in_air.thickness, "bare iron; good to a factor of 1.5");
    write.length("metal_in_air_mm", "metal that it takes", in_air.metal, "the same law, good to a factor of 1.5");
    let drawn_mean = si::mole_rate(drawn(&question.chamber, (now, flow), stretches.into_iter().map(Ok))?.value / cooling.value);
    let brought = oxygen_delivered(flow, gas_oxygen, leak + drawn_mean, cooling)?;
    let most = bound(brought, question.surface, question.carbon)?;
    let used = question.reference.volume(si::moles(flow.value * cooling.value));
    write.volume("gas_l", "gas that slow cooling under gas uses", used, format!("counted at {}", question.reference.words()));
    let basis = "all the oxygen of gas, leak and air drawn in; what chamber and pores hold at the cut is not counted";
    write.length("scale_under_gas_mm", "scale under gas", most.scale, basis);
    let basis = "the same oxygen, all as carbon monoxide";
    write.length("carbon_under_gas_mm", "or depth robbed of its carbon under gas", most.decarburised, basis);
    answer.take(in_air.notes);
    Ok(())
}

/// The way down to the end of scaling, as fast as this furnace falls: where each stretch ends and how long it takes.
fn falls(question: &InterruptedQuestion) -> Result<Vec<(ThermodynamicTemperature, Time)>> {
    let InterruptedQuestion { furnace, now, scaling_ends, .. } = question;
    let at = |step: u32| {
        let share = f64::from(step) / f64::from(STEPS);
        si::from_celsius(si::celsius(*now) + (si::celsius(*scaling_ends) - si::celsius(*now)) * share)
    };
    (1..=STEPS).map(|step| Ok((at(step), furnace.cools(at(step - 1), at(step))?))).collect()
}

/// Stretches of the cooling, each taken as even.
const STEPS: u32 = 32;
