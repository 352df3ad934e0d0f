//! "When does soak really begin, and can my furnace do this ramp?"

use super::{Answer, Writer};
use crate::error::Result;
use crate::furnace::Furnace;
use crate::gas::Gas;
use crate::heating::{CameToHeat, Section, Surface, Surroundings, come_to_heat, come_to_heat_on_ramp};
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
    /// The ramp and the furnace that is to do it, if that is asked: the load then starts with the furnace.
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
    pub gas: Gas,
    /// Its flow.
    pub flow: AmountFlow,
}

/// Answers the question. With a ramp the load starts with its furnace and follows it; where the furnace falls behind the ramp it is
/// counted at its rated power, and one that never gets to the heat is an answer without times.
///
/// # Errors
/// Values outside the ranges of the functions that it stands on.
pub fn heat(question: &HeatQuestion, system: System) -> Result<Answer> {
    let (start, heat) = (question.start, question.heat);
    let [start, heat] = [start, heat].map(|temperature| units::show_temperature(temperature, system));
    let mut answer = Answer::new(format!("Heat from {start} to {heat}"));
    let other = if question.surface == Surface::Scaled { Surface::Bright } else { Surface::Scaled };
    let [way, otherwise] = [question.surface, other].map(|surface| Way { surface, ..Way::of(question) });
    match (way.arrival()?, otherwise.arrival()?) {
        (Some(arrival), Some(compared)) => arrives(&mut answer, question, (&arrival, &compared), system),
        _ => answer.warn(format!("the furnace never comes to {heat}: its rated power does not hold it with this gas")),
    }
    if let Some(wish) = &question.ramp {
        ramp(&mut answer, question, wish, system)?;
    }
    Ok(answer)
}

fn arrives(answer: &mut Answer, question: &HeatQuestion, (arrival, compared): (&Arrival, &Arrival), system: System) {
    let mut write = Writer::new(answer, system);
    if let Some(ramp) = arrival.ramp {
        write.time("ramp_s", "the ramp takes", ramp, arrival.pace());
    }
    write.time("core_in_band_s", "core in its band after", arrival.came.time, arrival.basis());
    write.number("biot", "Biot number", arrival.came.biot.value, 2, "on volume over surface");
    let soaked = arrival.came.time + question.soak;
    write.time("pull_s", "pull after", soaked, "soak counted from the core being in its band");
    let label = if question.surface == Surface::Scaled {
        "the same if the steel were bright"
    } else {
        "the same if the steel were scaled"
    };
    write.time("core_in_band_other_surface_s", label, compared.came.time, "bright steel takes up less radiation");
    answer.take(arrival.came.notes.iter().cloned());
}

/// A section on its way from one temperature to another.
#[derive(Debug, Clone, Copy)]
pub(super) struct Way<'a> {
    pub(super) section: Section,
    pub(super) surface: Surface,
    pub(super) from: ThermodynamicTemperature,
    pub(super) to: ThermodynamicTemperature,
    pub(super) band: TemperatureInterval,
    pub(super) ramp: Option<&'a RampWish>,
}

/// A section come to heat.
#[derive(Debug, Clone)]
pub(super) struct Arrival {
    pub(super) came: CameToHeat,
    /// How long the furnace's own ramp takes, if there is one, and whether it is the one that was wished.
    ramp: Option<Time>,
    as_wished: bool,
}

impl<'a> Way<'a> {
    fn of(question: &'a HeatQuestion) -> Self {
        let HeatQuestion { section, surface, start, heat, band, ref ramp, .. } = *question;
        Self { section, surface, from: start, to: heat, band, ramp: ramp.as_ref() }
    }

    /// When the core is there; `None` where the furnace never is.
    pub(super) fn arrival(&self) -> Result<Option<Arrival>> {
        let around = Surroundings::furnace(self.to, self.surface);
        let Some(wish) = self.ramp else {
            let came = come_to_heat(self.section, self.from, &around, self.band)?;
            return Ok(Some(Arrival { came, ramp: None, as_wished: true }));
        };
        let climb = wish.furnace.climb(self.from, self.to, wish.ramp, wish.load, (wish.gas, wish.flow))?;
        let Some(climb) = climb else { return Ok(None) };
        let came = come_to_heat_on_ramp(self.section, self.from, &around, &climb, self.band)?;
        let ramp_s: f64 = climb.iter().map(|(_, step)| step.value).sum();
        let asked_s = (si::kelvin(self.to) - si::kelvin(self.from)) / wish.ramp.kelvin_per_second();
        Ok(Some(Arrival { came, ramp: Some(si::seconds(ramp_s)), as_wished: ramp_s <= asked_s + ROUNDED_S }))
    }
}

impl Arrival {
    fn pace(&self) -> &'static str {
        if self.as_wished {
            "furnace and load start together"
        } else {
            "the furnace falls behind the ramp asked for: at its rated power where it does"
        }
    }

    /// What the time rests on.
    pub(super) fn basis(&self) -> String {
        self.ramp.map_or_else(
            || "into a furnace that holds its temperature".to_owned(),
            |ramp| format!("the load follows the furnace: the ramp takes {}", units::show_time(ramp)),
        )
    }
}

fn ramp(answer: &mut Answer, question: &HeatQuestion, wish: &RampWish, system: System) -> Result<()> {
    let feasible = wish.furnace.ramp_feasible(question.start, question.heat, wish.ramp, wish.load, (wish.gas, wish.flow))?;
    let cost = wish.furnace.gas_heat(wish.gas, wish.flow, wish.furnace.room, question.heat)?;
    let mut write = Writer::new(answer, system);
    write.flag("ramp_feasible", "ramp feasible", feasible.feasible, "power all the way");
    write.power("ramp_power_w", "most power that it asks for", feasible.needed, "loss, capacity, load and gas");
    write.temperature(
        "ramp_hardest_c",
        "where it asks for most",
        feasible.hardest_at,
        "looked at every 5 K of the way, and where the heat capacity bends",
    );
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
    write.share("gas_heat_fraction", "its share of the rated power", cost.share, "that heat over the power on the plate");
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

/// What the sum of a ramp's steps may be off by their rounding; less than this nobody calls falling behind.
const ROUNDED_S: f64 = 1.0;
/// How far steel may fall after a cut and still be quenched from: a usual span of an austenitizing range.
const STILL_K: f64 = 40.0;
