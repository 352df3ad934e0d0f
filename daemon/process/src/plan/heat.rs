//! "When does soak really begin, and can my furnace do this ramp?"

use super::{Answer, Writer};
use crate::error::Result;
use crate::furnace::Furnace;
use crate::gas::Gas;
use crate::heating::{Section, Surface, Surroundings, come_to_heat};
use crate::units::{self, Ramp, System};
use crate::{AmountFlow, si};
use uom::si::f64::{Mass, TemperatureInterval, ThermodynamicTemperature, Time};

/// A load that is to come to heat.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct HeatQuestion {
    /// Its heaviest section.
    pub section: Section,
    /// Its surface; [`Surface::of_load`] picks it by its protection.
    pub surface: Surface,
    /// Where it starts.
    pub start: ThermodynamicTemperature,
    /// The furnace's temperature.
    pub heat: ThermodynamicTemperature,
    /// How close the core must be for soak to begin.
    pub band: TemperatureInterval,
    /// The soak.
    pub soak: Time,
    /// The ramp and the furnace that is to do it, if that is asked.
    pub ramp: Option<RampWish>,
}

/// A ramp that a furnace is to do.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct RampWish {
    /// The furnace.
    pub furnace: Furnace,
    /// The ramp.
    pub ramp: Ramp,
    /// The mass of the load.
    pub load: Mass,
    /// The gas that flows.
    pub gas: (Gas, AmountFlow),
}

/// Answers the question.
///
/// # Errors
/// Values outside the ranges of the functions that it stands on.
pub fn heat(question: &HeatQuestion, system: System) -> Result<Answer> {
    let (start, heat) = (question.start, question.heat);
    let [start, heat] = [start, heat].map(|temperature| units::show_temperature(temperature, system));
    let mut answer = Answer::new(format!("Heat from {start} to {heat}"));
    let around = Surroundings::furnace(question.heat, question.surface);
    let came = come_to_heat(question.section, question.start, &around, question.band)?;
    let mut write = Writer::new(&mut answer, system);
    write.time("core_in_band_s", "core in its band after", came.time, "into a furnace that holds its temperature");
    write.number("biot", "Biot number", came.biot.value, 2, "on volume over surface");
    write.time("pull_s", "pull after", came.time + question.soak, "soak counted from the core being in its band");
    let other = if question.surface == Surface::Scaled { Surface::Bright } else { Surface::Scaled };
    let otherwise = Surroundings::furnace(question.heat, other);
    let compared = come_to_heat(question.section, question.start, &otherwise, question.band)?;
    let label = if other == Surface::Scaled { "the same if the steel were scaled" } else { "the same if the steel were bright" };
    write.time("core_in_band_other_surface_s", label, compared.time, "bright steel takes up less radiation");
    answer.take(came.notes);
    if let Some(wish) = &question.ramp {
        ramp(&mut answer, question, wish, system)?;
    }
    Ok(answer)
}

fn ramp(answer: &mut Answer, question: &HeatQuestion, wish: &RampWish, system: System) -> Result<()> {
    let feasible = wish.furnace.ramp_feasible(question.start, question.heat, wish.ramp, wish.load, wish.gas)?;
    let cost = wish.furnace.gas_heat(wish.gas.0, wish.gas.1, wish.furnace.room, question.heat)?;
    let mut write = Writer::new(answer, system);
    write.flag("ramp_feasible", "ramp feasible", feasible.feasible, "power all the way");
    write.power("ramp_power_w", "most power that it asks for", feasible.needed, "loss, capacity, load and gas");
    write.temperature("ramp_hardest_c", "where it asks for most", feasible.hardest_at, "");
    if let Some(fastest) = feasible.fastest {
        write.number(
            "ramp_fastest_k_min",
            "fastest even ramp, K/min",
            fastest.kelvin_per_second() * 60.0,
            3,
            "rated power all the way",
        );
    }
    write.power("gas_heat_w", "heat that the gas carries out", cost.power, "if it leaves at chamber temperature");
    write.share("gas_heat_fraction", "its share of the rated power", cost.share, "");
    write.power("holding_w", "power that holds the heat", wish.furnace.holding(question.heat)?, "without gas");
    if let Some(time) = wish.furnace.stays_above(si::from_kelvin(si::kelvin(question.heat) - STILL_K), question.heat)? {
        write.time(
            "still_hot_s",
            "within 40 K of the heat after a cut for",
            time,
            "door shut, loss and capacity of the furnace alone",
        );
    }
    answer.take(feasible.notes);
    Ok(())
}

/// How far steel may fall after a cut and still be quenched from: a usual span of an austenitizing range.
const STILL_K: f64 = 40.0;
