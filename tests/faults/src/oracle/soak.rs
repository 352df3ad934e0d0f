//! Invariant 8: soak time counts only in band, never faster than the clock, and where it is in band it does count.

use hearthward_equipment::quantity::{in_celsius, in_kelvins};
use hearthward_supervise::interlock::InterlockKind;
use hearthward_supervise::plan::FurnacePlan;
use hearthward_supervise::recipe::{Step, StepKind};

use super::known::{Door, Known};
use super::{Found, Moment, Oracle, must};

/// Longest time in the middle of the band that may go uncounted.
const UNCOUNTED_MOST_MS: u64 = 30_000;

impl Oracle {
    pub(super) fn check_soak(&mut self, place: usize, moment: &Moment<'_>) -> Found {
        let plan = &self.plan.furnaces[place];
        let load_c = self.of(plan.load_temperature).and_then(|heard| heard.good(moment.now, plan.stale_after));
        let (held, moves) = (self.failing, self.is_moving(place));
        let known = &mut self.known[place];
        let Some(cycle) = &moment.view.furnaces[place].cycle else { return Ok(()) };
        let Some((at_c, band_k)) = band(known, plan, cycle.step).filter(|_| !moves) else {
            (known.in_band_ms, known.uncounted_ms) = (cycle.in_band_ms, 0);
            return Ok(());
        };
        let off_k = |edge: f64| {
            let chamber = known.believed_c().is_some_and(|read_c| (read_c - at_c).abs() <= band_k * edge + 1e-6);
            let load =
                plan.load_temperature.is_none() || load_c.is_some_and(|load_c| (load_c - at_c).abs() <= band_k * edge + 1e-6);
            chamber && load && matches!(known.door, Door::Shut | Door::Absent)
        };
        // Where the heaviest section is estimated it has to be there too; how long that takes the judge leaves to the core.
        let through = known.load.as_ref().is_none_or(|load| load.part.is_none());
        let (inside, middle) = (off_k(1.0), off_k(0.9) && through);
        let counted_ms = cycle.in_band_ms.saturating_sub(known.in_band_ms);
        if counted_ms > 0 {
            must(inside, || format!("invariant 8: {counted_ms} ms counted at {:?} °C, due is {at_c} ± {band_k}", known.read_c))?;
            let most_ms = moment.dt_ms.min(plan.stale_after.as_millis() as u64);
            must(counted_ms <= most_ms, || format!("invariant 8: {counted_ms} ms counted in {} ms", moment.dt_ms))?;
        }
        let doubted = known.standing.has(InterlockKind::SensorFault);
        let waits = held || cycle.held || known.must_answer || known.gap_ms.is_some() || doubted;
        known.uncounted_ms = if middle && counted_ms == 0 && !waits { known.uncounted_ms + moment.dt_ms.min(1_000) } else { 0 };
        known.in_band_ms = cycle.in_band_ms;
        must(known.uncounted_ms <= UNCOUNTED_MOST_MS, || {
            format!("time in band does not count: {:?} °C, due is {at_c} ± {band_k}", known.read_c)
        })
    }
}

/// Where the step that runs counts, if it counts.
pub(super) fn band(known: &Known, plan: &FurnacePlan, shown: StepKind) -> Option<(f64, f64)> {
    if !known.in_chamber || known.step.is_none_or(|(_, step)| step != shown) {
        return None;
    }
    let own_k = in_kelvins(plan.band);
    match known.route_step()? {
        Step::Soak { at, band, .. } => Some((in_celsius(*at), band.map_or(own_k, in_kelvins))),
        Step::Preheat { to, .. } => Some((in_celsius(*to), own_k)),
        Step::Temper { at, .. } => Some((in_celsius(*at), own_k)),
        _ => None,
    }
}
