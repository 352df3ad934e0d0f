//! The steel itself: what its heaviest section is estimated to be at, carried from tick to tick, and the lag of its core.
//!
//! A thermometer at the load, where one is wired, speaks for the load and this estimate stands back. Without a part to estimate from
//! the chamber speaks for the load.

use hearthward_equipment::quantity::{celsius, in_celsius, kelvins};
use hearthward_process::heating::{Section, Shape, Surface, Surroundings, come_to_heat, step_on};
use uom::si::f64::Time;
use uom::si::time::second;

use super::{At, Cycle};
use crate::recipe::{Form, Load, Protection};

/// A load comes from the room (assumed, no source).
const ROOM_C: f64 = 21.0;

/// The heaviest section of one part.
fn section(load: &Load) -> Option<Section> {
    let part = load.part?;
    let shape = match part.form {
        Form::Plate => Shape::Plate,
        Form::Bar => Shape::Bar,
    };
    Some(Section { shape, size: part.size })
}

fn around(load: &Load, chamber_c: f64) -> Surroundings {
    Surroundings::furnace(celsius(chamber_c), Surface::of_load(load.protection != Protection::None))
}

/// The load goes in, cold.
pub(super) fn put_in(cycle: &mut Cycle) {
    cycle.steel_c = section(&cycle.load).map(|_| ROOM_C);
}

/// Lets the estimate follow the chamber for so long.
pub(crate) fn follow(cycle: &mut Cycle, chamber_c: Option<f64>, span_s: f64) {
    let (Some(steel_c), Some(chamber_c), Some(section)) = (cycle.steel_c, chamber_c, section(&cycle.load)) else { return };
    let moved = step_on(section, celsius(steel_c), &around(&cycle.load, chamber_c), Time::new::<second>(span_s));
    // What the physics refuses leaves the estimate where it is.
    cycle.steel_c = moved.map_or(Some(steel_c), |moved| Some(in_celsius(moved)));
}

/// Stretches that a gap is gone through in; each is taken as even.
const STRETCHES: u32 = 32;

/// Lets the estimate follow a chamber through a time in which nobody read it: from where it was to where it is, as a closed furnace without
/// heat falls. What rose, or came from or to the room's own temperature, is taken to have done so evenly.
pub(crate) fn follow_through(cycle: &mut Cycle, from_c: Option<f64>, to_c: Option<f64>, span_s: f64) {
    let (Some(from_c), Some(to_c)) = (from_c, to_c) else { return follow(cycle, to_c, span_s) };
    let (from_k, to_k) = (from_c - ROOM_C, to_c - ROOM_C);
    let falls = to_k > 0.0 && from_k >= to_k;
    for stretch in 0..STRETCHES {
        let share = (f64::from(stretch) + 0.5) / f64::from(STRETCHES);
        let chamber_c = if falls { ROOM_C + from_k * libm::pow(to_k / from_k, share) } else { from_c + (to_c - from_c) * share };
        follow(cycle, Some(chamber_c), span_s / f64::from(STRETCHES));
    }
}

/// How much longer than its mean the core of the section takes into a band around a heat, in milliseconds.
pub(super) fn core_lag_ms(cycle: &Cycle, heat_c: f64, band_k: f64) -> u64 {
    let (Some(section), Some(steel_c)) = (section(&cycle.load), cycle.steel_c) else { return 0 };
    if !(heat_c - steel_c > band_k) {
        return 0;
    }
    let came = come_to_heat(section, celsius(steel_c), &around(&cycle.load, heat_c), kelvins(band_k));
    came.map_or(0, |came| libm::ceil((came.time - came.lumped).value.max(0.0) * 1000.0) as u64)
}

/// How long the load takes from cold into a band around a heat, core and all, in seconds.
pub(super) fn takes_s(load: &Load, heat_c: f64, band_k: f64) -> f64 {
    let Some(section) = section(load) else { return 0.0 };
    come_to_heat(section, celsius(ROOM_C), &around(load, heat_c), kelvins(band_k)).map_or(0.0, |came| came.time.value)
}

/// Whether the load is in the band: by its own thermometer, else by the estimate, else by the chamber, which is judged elsewhere.
pub(super) fn is_in_band(cycle: &Cycle, at: &At<'_>, heat_c: f64, band_k: f64) -> bool {
    if at.plan.load_temperature.is_some() {
        return (at.facts.load.or_nan() - heat_c).abs() <= band_k;
    }
    cycle.steel_c.is_none_or(|steel_c| (steel_c - heat_c).abs() <= band_k && cycle.core_lag_ms == 0)
}

/// What the load is at, as it is shown, in °C.
pub(crate) fn load_c(cycle: &Cycle, at: &At<'_>) -> Option<f64> {
    if cycle.out {
        return None;
    }
    if at.plan.load_temperature.is_some() { at.facts.load.good() } else { cycle.steel_c }
}
