//! Invariant 2's own account: how often the chamber was swept, and whether that may be called proved.

use hearthward_equipment::FurnaceId;
use hearthward_equipment::quantity::in_celsius;
use hearthward_supervise::plan::{FurnacePlan, GasPlan};
use hearthward_supervise::request::Ask;

use super::known::{Door, Known};
use super::{Found, Moment, Oracle, must};
use crate::plant::{AIR, ATMOSPHERE_PA, R};

/// A flow below this share of what was asked for is no proof (common practice, no source).
const LEAST_SHARE: f64 = 0.8;
/// How long gas may be missing before a cold purge is worth nothing: a meter needs its time to settle.
const LOST_AFTER_MS: u64 = 15_000;
/// Room for the rounding of an integral taken in steps.
const NEARLY: f64 = 0.97;

impl Oracle {
    /// Counts, and takes a proof back that is worth nothing any more.
    pub(super) fn check_purge(&mut self, place: usize, moment: &Moment<'_>) -> Found {
        let plan = &self.plan.furnaces[place];
        let Some(gas) = &plan.gas else { return Ok(()) };
        let heard = self.of(Some(gas.flow)).copied().unwrap_or_default();
        let measured = heard.good(moment.now, plan.stale_after);
        let ceiling_c = self.ceiling_c(place);
        let known = &mut self.known[place];
        if gas.by_eye && heard.high.is_finite() {
            known.by_eye = heard.good(moment.now, std::time::Duration::MAX).or(known.by_eye);
        }
        let flow = if gas.by_eye { known.by_eye } else { measured };
        let shut = matches!(known.door, Door::Shut | Door::Absent);
        let least = LEAST_SHARE * gas.purge.flow.value;
        // Nobody watched the flow for longer than a reading may grow old.
        let slept = !gas.by_eye && moment.dt_ms > plan.stale_after.as_millis() as u64;
        let low = if gas.by_eye { flow.unwrap_or(0.0) } else { flow.unwrap_or(0.0).min(heard.low) };
        let swept = changes(plan, known, flow.unwrap_or(0.0), moment.dt_s());
        // How much air an open door lets in is anybody's guess; none is the least.
        known.swept += swept;
        known.changes = if shut && low >= least && !slept { known.changes + swept } else { 0.0 };
        let cold = known.last_c.is_none_or(|last_c| last_c <= ceiling_c);
        let asked = if gas.meter.is_some() && !gas.by_eye { known.told_flow } else { 0.0 };
        let lost = flow.unwrap_or(0.0) < 0.7 * asked && asked * LEAST_SHARE > gas.resolution.value;
        known.flow_lost_ms = if lost { known.flow_lost_ms + moment.dt_ms } else { 0 };
        // An interruption takes a proof back too, and says so in its question.
        let taken_back = !moment.view.furnaces[place].purge_proved;
        if taken_back || (cold && (!shut || known.flow_lost_ms > LOST_AFTER_MS)) {
            known.proved = false;
        }
        Ok(())
    }

    /// The core says that a purge is proved.
    pub(super) fn proved(&mut self, id: Option<FurnaceId>, moment: &Moment<'_>) -> Found {
        let place = id.map(FurnaceId::index).ok_or("a purge without a furnace")?;
        let plan = &self.plan.furnaces[place];
        let gas = plan.gas.as_ref().ok_or("a purge without gas")?;
        let probe = self.of(plan.probe).and_then(|heard| heard.good(moment.now, plan.stale_after));
        let known = &self.known[place];
        // The books of this tick are kept after its events: what this tick adds is added here.
        let heard = self.of(Some(gas.flow)).copied().unwrap_or_default();
        let flow = if gas.by_eye { known.by_eye } else { heard.good(moment.now, plan.stale_after) };
        let now = changes(plan, known, flow.unwrap_or(0.0), moment.dt_s());
        must(matches!(known.door, Door::Shut | Door::Absent), || "invariant 2: a purge was proved past an open door".to_owned())?;
        must(known.changes + now >= NEARLY * gas.purge.changes, || {
            format!("invariant 2: a purge was proved by {:.2} changes of {:.2}", known.changes + now, gas.purge.changes)
        })?;
        let limit = gas.purge.oxygen_limit.value;
        must(plan.probe.is_none() || probe.is_some_and(|oxygen| oxygen <= limit), || {
            format!("invariant 2: a purge was proved though its probe reads {probe:?}")
        })?;
        check_estimate(plan, gas, known.swept + now, limit)?;
        self.known[place].proved = true;
        self.known[place].overdue_ms = 0;
        Ok(())
    }

    /// What a person is asked to set by hand keeps to the ceiling too.
    pub(super) fn check_asked(&self, id: Option<FurnaceId>, ask: &Ask) -> Found {
        let Some(place) = id.map(FurnaceId::index) else { return Ok(()) };
        let (known, plan) = (&self.known[place], &self.plan.furnaces[place]);
        match ask {
            Ask::SetController { set_point_c } => {
                let unproved = known.is_protected() && !known.charged_hot && !known.proved;
                must(!unproved || *set_point_c <= self.ceiling_c(place) + 0.1, || {
                    format!("invariant 2: a person is asked to set {set_point_c} °C without a proved purge")
                })?;
                must(*set_point_c <= in_celsius(plan.limit) + 0.1, || "a person is asked to pass the limit".to_owned())
            }
            Ask::PartUnder { .. } => self.check_pull(place),
            _ => Ok(()),
        }
    }
}

/// Volume changes of so much flow: n = flow · time · R T / (p V).
fn changes(plan: &FurnacePlan, known: &Known, flow: f64, dt_s: f64) -> f64 {
    let kelvin = known.read_c.or(known.last_c).unwrap_or(21.0) + 273.15;
    flow.max(0.0) * dt_s * R * kelvin / (ATMOSPHERE_PA * plan.chamber.volume.value)
}

/// A chamber that is swept cannot hold less oxygen than a tight one that mixes at once: x = s + (air − s) e^−n. Where its estimate
/// speaks, the upper end of its band has to be under the limit.
fn check_estimate(plan: &FurnacePlan, gas: &GasPlan, swept: f64, limit: f64) -> Found {
    let Some(calibration) = &plan.chamber.calibration else { return Ok(()) };
    let supply = 5e-6_f64;
    let least = supply + (AIR - supply) * libm::exp(-swept * 1.05);
    must(least * calibration.band.max(1.0) <= limit * 1.1, || {
        format!("invariant 2: {swept:.2} changes cannot bring the estimate under {limit} ({:?})", gas.supply)
    })
}
