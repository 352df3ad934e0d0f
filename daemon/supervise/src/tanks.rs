//! The quench tanks: ready or not, near the flash point, and held by one load at a time.

use std::fmt::Write as _;

use hearthward_equipment::quantity::{celsius, in_celsius};
use hearthward_equipment::{FurnaceId, ShopMs};
use serde::{Deserialize, Serialize};
use uom::si::ratio::ratio;

use crate::cycle::flash_limit_c;
use crate::output::Act;
use crate::plan::TankPlan;
use crate::points::{Points, Sample};

/// What is kept of a tank.
///
/// ```text
/// free ──asked for──▶ held by one furnace ──released──▶ held by the next that waits, or free
/// ```
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
pub(crate) struct Tank {
    /// Bath temperature in °C.
    pub(crate) temperature: Reading,
    /// A person reads its thermometer.
    pub(crate) by_hand: bool,
    pub(crate) level: Reading,
    pub(crate) stirred: Option<bool>,
    /// A part is under now, by the tank's own switch.
    under: bool,
    /// A part went under since the last tick, by the same.
    pub(crate) went_under: bool,
    /// Whether a part may go in.
    pub(crate) ready: bool,
    /// The reading is past the margin now.
    pub(crate) too_hot: bool,
    /// It was, and nobody has reset it.
    pub(crate) latched: bool,
    held_by: Option<FurnaceId>,
    waiting: Vec<FurnaceId>,
}

/// A number that may be relied upon, if there is one.
type Reading = Option<f64>;

/// What is kept of a tank across a restart.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
pub(crate) struct TankStood {
    pub(crate) latched: bool,
    pub(crate) held_by: Option<FurnaceId>,
}

/// How far above the lower end of the window a commanded bath is warmed, as a share of the window.
const WARM_TO: f64 = 0.3;

impl Tank {
    /// Reads it.
    pub(crate) fn read(&mut self, plan: &TankPlan, points: &Points, now: ShopMs) {
        let of = |point| points.sample(point, now, plan.stale_after);
        self.temperature = of(Some(plan.temperature)).good();
        self.by_hand = points.by_hand(Some(plan.temperature));
        self.level = of(plan.level).good();
        let stirred = of(plan.agitation);
        self.stirred = stirred.good().map(|on| on > 0.5);
        let switch = of(plan.part_under).good().map(|on| on > 0.5);
        // What was on for a moment between two ticks was on; what cannot be read is as it was.
        let under = if points.high(plan.part_under) > 0.5 { true } else { switch.unwrap_or(self.under) };
        (self.went_under, self.under) = (under && !self.under, under);
        let level = plan.level.is_none() || is_covered(self.level, plan.level_least.get::<ratio>());
        let stir = plan.agitation.is_none() || self.stirred == Some(true);
        let peak_c = points.high(Some(plan.temperature)).max(self.temperature.unwrap_or(f64::NEG_INFINITY));
        self.too_hot = is_too_hot(peak_c, flash_limit_c(plan));
        self.latched |= self.too_hot;
        let window = is_in(self.temperature, in_celsius(plan.window_low), in_celsius(plan.window_high));
        self.ready = window && level && stir && !self.latched && !matches!(stirred, Sample::Bad);
    }

    /// Whether a sequence may begin that needs the bath to be no warmer than this at its first part.
    pub(crate) fn is_ready_for(&self, warmest_c: Option<f64>) -> bool {
        self.ready && warmest_c.is_none_or(|warmest_c| is_in(self.temperature, f64::NEG_INFINITY, warmest_c))
    }

    /// Asks to hold the tank for a whole sequence; says whether it is held now. The first that asks is the first that gets it.
    pub(crate) fn hold(&mut self, furnace: FurnaceId) -> bool {
        if self.held_by == Some(furnace) {
            return true;
        }
        if !self.waiting.contains(&furnace) {
            self.waiting.push(furnace);
        }
        if self.held_by.is_none() && self.waiting.first() == Some(&furnace) {
            self.held_by = Some(furnace);
            self.waiting.remove(0);
        }
        self.held_by == Some(furnace)
    }

    /// Gives it free, and leaves the queue.
    pub(crate) fn release(&mut self, furnace: FurnaceId) {
        if self.held_by == Some(furnace) {
            self.held_by = None;
        }
        self.step_aside(furnace);
    }

    /// Leaves the queue and keeps what it holds: for a load that waits while its first part is under.
    pub(crate) fn step_aside(&mut self, furnace: FurnaceId) {
        self.waiting.retain(|&waits| waits != furnace);
    }

    /// Who holds it.
    pub(crate) fn held_by(&self) -> Option<FurnaceId> {
        self.held_by
    }

    /// Whether this furnace waits while another holds it.
    pub(crate) fn waits(&self, furnace: FurnaceId) -> bool {
        self.waiting.contains(&furnace)
    }

    /// Clears the latch if the bath is below its limit. A reading that is missing does not show that.
    pub(crate) fn reset(&mut self) -> bool {
        let can = self.latched && !self.too_hot && self.temperature.is_some();
        if can {
            self.latched = false;
        }
        can
    }

    /// What a commanded bath shall do: stir and keep warm while a load comes its way, no warmer than its sequence allows.
    pub(crate) fn shall(&self, plan: &TankPlan, wanted: bool, warmest_c: Option<f64>) -> Option<[Act; 2]> {
        let unit = plan.unit?;
        // A bath that cannot be read is not warmed.
        let heat = wanted && !self.latched && self.temperature.is_some();
        let bath = match heat {
            true => Act::HeatTank { unit, to: celsius(warm_to_c(plan, warmest_c)) },
            false => Act::TankHeaterOff { unit },
        };
        Some([Act::Agitate { unit, on: wanted }, bath])
    }

    /// Writes why no part may go in.
    pub(crate) fn say(&self, plan: &TankPlan, into: &mut String) {
        let (name, low_c, high_c) = (&plan.name, in_celsius(plan.window_low), in_celsius(plan.window_high));
        let _ = match self.temperature {
            _ if self.latched => write!(into, "{name} was too near its flash point: let it cool below the margin and reset it."),
            None if self.by_hand => {
                write!(into, "nobody has read {name} lately: read its thermometer and enter what it shows.")
            }
            None => write!(into, "{name} cannot be read: look at its thermometer and its driver."),
            Some(read_c) if !is_in(Some(read_c), low_c, high_c) => {
                write!(into, "{name} is at {read_c:.0} °C; its window is {low_c:.0} to {high_c:.0} °C.")
            }
            Some(_) if plan.agitation.is_some() && self.stirred != Some(true) => {
                write!(into, "{name} is not stirred, or that cannot be read.")
            }
            Some(_) => write!(into, "{name} does not cover a part, or its level cannot be read."),
        };
    }

    /// What is kept across a restart.
    pub(crate) fn stood(&self) -> TankStood {
        TankStood { latched: self.latched, held_by: self.held_by }
    }

    /// As it stood.
    pub(crate) fn restore(stood: TankStood) -> Self {
        // Whether the switch rose while nobody looked is not known: it has to be seen off before it tells of a part.
        Self { latched: stood.latched, held_by: stood.held_by, under: true, ..Self::default() }
    }

    /// For the digest.
    pub(crate) fn bits(&self) -> u64 {
        u64::from(self.ready)
            | u64::from(self.latched) << 1
            | self.held_by.map_or(0, |by| u64::from(by.0) + 1) << 8
            | (self.waiting.len() as u64) << 32
    }
}

/// Where a commanded bath is warmed to, in °C: no warmer than its sequence allows.
pub(crate) fn warm_to_c(plan: &TankPlan, warmest_c: Option<f64>) -> f64 {
    let (low_c, high_c) = (in_celsius(plan.window_low), in_celsius(plan.window_high));
    let high_c = warmest_c.map_or(high_c, |warmest_c| warmest_c.min(high_c));
    low_c + WARM_TO * (high_c - low_c)
}

/// In the window, and known to be.
fn is_in(read: Option<f64>, low: f64, high: f64) -> bool {
    read.is_some_and(|read| read >= low && read <= high)
}

/// Covered, and known to be.
fn is_covered(level: Option<f64>, least: f64) -> bool {
    level.is_some_and(|level| level >= least)
}

/// At or past the margin; a margin that is not a number is passed at once.
fn is_too_hot(peak_c: f64, limit_c: f64) -> bool {
    !(peak_c < limit_c)
}

#[cfg(test)]
mod tests {
    use super::*;

    const A: FurnaceId = FurnaceId(0);
    const B: FurnaceId = FurnaceId(1);
    const C: FurnaceId = FurnaceId(2);

    #[test]
    fn a_tank_is_held_by_one_and_goes_to_the_next_in_turn() {
        let mut tank = Tank::default();
        assert!(tank.hold(A));
        assert!(!tank.hold(B) && !tank.hold(C) && tank.hold(A));
        tank.release(A);
        assert!(!tank.hold(C), "B was first");
        assert!(tank.hold(B));
        tank.release(B);
        assert!(tank.hold(C));
    }

    #[test]
    fn the_expressions_take_a_missing_reading_as_unsafe() {
        let window = [
            (Some(40.0), true),
            (Some(70.0), true),
            (Some(39.9), false),
            (Some(70.1), false),
            (Some(f64::NAN), false),
            (None, false),
        ];
        for (read, ready) in window {
            assert_eq!(is_in(read, 40.0, 70.0), ready, "{read:?}");
        }
        for (level, covered) in [(Some(0.9), true), (Some(0.89), false), (None, false), (Some(f64::NAN), false)] {
            assert_eq!(is_covered(level, 0.9), covered, "{level:?}");
        }
        for (peak_c, hot) in [(152.1, false), (152.2, true), (153.0, true), (f64::NAN, true), (f64::NEG_INFINITY, false)] {
            assert_eq!(is_too_hot(peak_c, 152.2), hot, "{peak_c}");
        }
    }

    #[test]
    fn a_latch_needs_a_cool_bath_that_can_be_read() {
        let mut tank = Tank { latched: true, too_hot: true, temperature: Some(160.0), ..Tank::default() };
        assert!(!tank.reset());
        (tank.too_hot, tank.temperature) = (false, None);
        assert!(!tank.reset());
        tank.temperature = Some(60.0);
        assert!(tank.reset() && !tank.latched);
    }
}
