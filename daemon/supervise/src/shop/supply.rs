//! The gas forecast: whether each supply reaches the end of the loads that draw on it, with a reserve.

use hearthward_equipment::quantity::{celsius, in_celsius};
use hearthward_process::cylinder::Cylinder;
use uom::si::catalytic_activity::katal;
use uom::si::f64::Pressure;
use uom::si::pressure::pascal;

use super::Shop;
use crate::cycle::{Cycle, highest_c};
use crate::furnace::Furnace;
use crate::gas::{chamber_holds_mol, scaling_c};
use crate::plan::{FurnacePlan, SupplyPlan};
use crate::points::Sample;
use crate::recipe::{Pace, Step};

/// How often the forecast is made: gas is used up over hours.
const EVERY_MS: u64 = 60_000;
/// Taken for a ramp at full power, in K/s, and added to every forecast as a share: both assumed, no source.
const RAMP_K_PER_S: f64 = 0.15;
const MARGIN: f64 = 1.2;
/// Gauge pressure that is left in a cylinder when it is changed, in Pa (common practice, no source).
const LEAVE_PA: f64 = 2.0e5;
/// One standard atmosphere in Pa.
const ATMOSPHERE_PA: f64 = 101_325.0;
/// The cylinder is taken to be at room temperature (assumed).
const ROOM_C: f64 = 21.0;

impl Shop {
    /// Makes the forecast when it is due.
    pub(super) fn forecast(&mut self, dt_ms: u64) {
        self.forecast_ms = self.forecast_ms.saturating_sub(dt_ms);
        if self.forecast_ms > 0 {
            return;
        }
        self.forecast_ms = EVERY_MS;
        for place in 0..self.plan.supplies.len() {
            let short = self.is_short(place);
            for (furnace, plan) in self.furnaces.iter_mut().zip(&self.plan.furnaces) {
                if plan.gas.as_ref().is_some_and(|gas| gas.supply.index() == place) {
                    furnace.gas_short = short && furnace.has_gas_load(plan);
                }
            }
        }
    }

    /// Makes the forecast in the next tick: a load has come.
    pub(super) fn forecast_soon(&mut self) {
        self.forecast_ms = 0;
    }

    fn is_short(&self, place: usize) -> bool {
        let Some(supply) = self.plan.supplies.get(place) else { return false };
        // Without a gauge and a volume there is nothing to forecast from.
        let (Some(point), Some(_)) = (supply.pressure, supply.cylinder_volume) else { return false };
        let sample = self.points.sample(Some(point), self.now, supply.stale_after);
        let needed_mol: f64 = self
            .furnaces
            .iter()
            .zip(&self.plan.furnaces)
            .filter(|(furnace, plan)| {
                furnace.has_gas_load(plan) && plan.gas.as_ref().is_some_and(|gas| gas.supply.index() == place)
            })
            .map(|(furnace, plan)| needed_mol(furnace, plan))
            .sum();
        needed_mol > 0.0 && !(usable_mol(supply, sample) >= needed_mol * MARGIN)
    }
}

/// What can be drawn at the low end of the gauge's error; nothing if the gauge cannot be read.
fn usable_mol(supply: &SupplyPlan, sample: Sample) -> f64 {
    let (Some(absolute_pa), Some(volume)) = (sample.good(), supply.cylinder_volume) else { return 0.0 };
    let gauge_pa = absolute_pa - ATMOSPHERE_PA - supply.gauge_error.get::<pascal>();
    let Ok(cylinder) = Cylinder::new(supply.gas, volume) else { return 0.0 };
    let pressure = |pa: f64| Pressure::new::<pascal>(pa);
    cylinder.usable(pressure(gauge_pa.max(0.0)), celsius(ROOM_C), pressure(LEAVE_PA)).map_or(0.0, |amount| amount.value)
}

/// What a furnace still draws to the end of its load, and to cool it below scaling if it is abandoned.
fn needed_mol(furnace: &Furnace, plan: &FurnacePlan) -> f64 {
    let (Some(cycle), Some(gas)) = (&furnace.cycle, &plan.gas) else { return 0.0 };
    let hold = gas.purge.hold.get::<katal>();
    let cold = chamber_holds_mol(furnace.air.chamber(), Sample::Good(ROOM_C)).unwrap_or(0.0);
    let purge_mol = if furnace.purge.is_proved() { 0.0 } else { gas.purge.changes * cold };
    let reserve_s = (highest_c(cycle) - scaling_c(plan)).max(0.0) / plan.falls_k_per_s.max(1e-3);
    purge_mol + hold * (seconds_ahead(cycle, furnace.last_c, plan) + reserve_s)
}

fn seconds_ahead(cycle: &Cycle, last_c: Option<f64>, plan: &FurnacePlan) -> f64 {
    let mut at_c = last_c.unwrap_or(ROOM_C);
    let mut sum_s = 0.0;
    for step in cycle.load.steps.get(usize::from(cycle.index)..).unwrap_or_default() {
        let (to_c, rate, hold_s) = match step {
            Step::Preheat { to, hold } => (in_celsius(*to), RAMP_K_PER_S, hold.as_secs_f64()),
            Step::Ramp { to, pace: Pace::Rate(k_per_h) } => (in_celsius(*to), k_per_h / 3600.0, 0.0),
            Step::Ramp { to, pace: Pace::Over(span) } => (in_celsius(*to), f64::INFINITY, span.as_secs_f64()),
            Step::Ramp { to, pace: Pace::Full } => (in_celsius(*to), RAMP_K_PER_S, 0.0),
            Step::Soak { at, minimum, .. } => (in_celsius(*at), RAMP_K_PER_S, minimum.as_secs_f64()),
            Step::Cool { to, .. } => (in_celsius(*to), plan.falls_k_per_s, 0.0),
            Step::Quench { .. } | Step::Temper { .. } => break,
            Step::Purge | Step::Pull { .. } => continue,
        };
        sum_s += (to_c - at_c).abs() / rate.max(1e-3) + hold_s;
        at_c = to_c;
    }
    (sum_s - cycle.in_band_ms as f64 / 1000.0).max(0.0)
}
