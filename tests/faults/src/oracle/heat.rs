//! Invariants 1, 2 and 3, leases and generations: who may heat now, and what must have been cut.

use std::time::Duration;

use hearthward_equipment::FurnaceId;
use hearthward_equipment::quantity::in_celsius;
use hearthward_supervise::interlock::{HeatOrder, InterlockKind, Means};
use hearthward_supervise::output::Via;
use hearthward_supervise::plan::{FurnacePlan, Heating};
use hearthward_supervise::recipe::{Drive, Step};

use super::known::Known;
use super::obeyed::Shows;
use super::{Found, Moment, Oracle, must};

/// Whether anything is wired that can take this furnace's heat away.
pub(super) fn can_cut(plan: &FurnacePlan) -> bool {
    match plan.heating {
        Heating::SetPoint | Heating::Program => plan.controller.is_some() || plan.contactor.is_some(),
        Heating::ByHand => plan.contactor.is_some(),
        Heating::Watched => false,
    }
}

impl Oracle {
    pub(super) fn check_heat(&mut self, place: usize, moment: &Moment<'_>) -> Found {
        let id = FurnaceId(place as u16);
        let shows = self.shows(place, moment);
        let plan = &self.plan.furnaces[place];
        let scan = self.plan.scan;
        let durable = self.durable;
        let ceiling_c = self.ceiling_c(place);
        let first = self.first;
        let known = &mut self.known[place];
        let cut = take_cuts(known, plan, id, moment)?;
        if first {
            must(cut || !can_cut(plan), || "invariant 1: the first tick of a run cut nothing".to_owned())?;
        }
        let orders = moment.out.orders.iter().filter(|order| order.furnace() == id);
        let count = orders.clone().count();
        let withheld = known.seen.with(known.latches).without(known.bypassed).with(known.withholding());
        if !withheld.is_empty() {
            must(count == 0, || format!("invariant 1: heat though {withheld:?} stands"))?;
            let hot = known.heated || known.lease.is_some_and(|until| until > moment.now);
            must(!hot || cut, || format!("invariant 1: no cut in the tick that saw {withheld:?}"))?;
        }
        must(count == 0 || !known.must_answer, || "heat after an interruption that nobody answered for".to_owned())?;
        must(count == 0 || !known.stopped, || "heat after a stop though nobody chose that it goes on".to_owned())?;
        must(count == 0 || known.gap_ms.is_none(), || "heat in a gap that was not ridden through yet".to_owned())?;
        must(count == 0 || (known.load.is_some() && known.in_chamber), || "heat without a load in the chamber".to_owned())?;
        must(count == 0 || can_cut(plan), || "heat by the service though it could not be cut".to_owned())?;
        // What went into the heat was spared its purge by it; once cold the chamber has to be purged like any other.
        known.charged_hot &= known.believed_c().is_none_or(|read_c| read_c > ceiling_c);
        known.last_c = known.believed_c().or(known.last_c);
        known.hottest_c = known.believed_c().map_or(known.hottest_c, |read_c| read_c.max(known.hottest_c));
        for order in orders {
            let lease = order.expires() > moment.now && order.expires() <= moment.now + scan * LEASE_SCANS;
            must(lease, || format!("a lease of {:?}", order.expires().since(moment.now)))?;
            must(order.generation() == known.generation, || "an order of another generation than the last cut's".to_owned())?;
            check_means(known, plan, order, ceiling_c)?;
            let told_c = means_c(known, order.means());
            let written = known.permits.iter().any(|(tick, permit_c)| *tick <= durable && told_c <= *permit_c + 1e-6);
            must(written, || format!("heat to {told_c} °C before its permit was on disk ({:?}, {durable:?})", known.permits))?;
            known.lease = Some(order.expires());
        }
        // A load of the service's is heated by nobody else. An empty furnace is a person's own, and what waits is not begun.
        let ours = known.in_chamber && known.load.is_some() && known.under_way && count == 0 && !known.must_answer;
        if (!withheld.is_empty() || (ours && known.permitted.is_none())) && can_cut(plan) {
            must(!known.heat_is_back(shows), || {
                format!("invariant 1: nobody cuts what heats though {withheld:?} stands, or no heat is due")
            })?;
        }
        known.heated = count > 0;
        if known.heated {
            (known.cut_at, known.cut_doubted) = (None, false);
        }
        check_confirmed(known, plan, shows, moment)
    }
}

/// Scans that a lease may last.
const LEASE_SCANS: u32 = 3;
/// Longest time until a cut that is not read back is doubted aloud.
const DOUBT_AFTER: Duration = Duration::from_millis(3_600);

/// Takes the cuts of this tick. Says whether there is a new one.
fn take_cuts(known: &mut Known, plan: &FurnacePlan, id: FurnaceId, moment: &Moment<'_>) -> Result<bool, String> {
    let mut new = false;
    for cut in moment.out.cuts.iter().filter(|cut| cut.furnace == id) {
        must(can_cut(plan), || "a cut of what cannot be cut".to_owned())?;
        must(cut.generation >= known.generation, || "a cut of an old generation".to_owned())?;
        if cut.generation > known.generation {
            (known.generation, known.lease, new) = (cut.generation, None, true);
            (known.cut_at, known.cut_doubted) = (Some(moment.now), false);
            (known.cut_taken, known.contactor_took) = (false, false);
            known.obeyed = false;
            known.contactor_cut = false;
        }
        known.contactor_cut |= cut.via == Via::Contactor;
    }
    Ok(new)
}

/// A cut that nobody confirmed, or that its controller does not show, is said aloud, and the contactor is dropped where one is wired.
fn check_confirmed(known: &mut Known, plan: &FurnacePlan, shows: Shows, moment: &Moment<'_>) -> Found {
    known.obeyed |= known.shows_that_it_obeyed(shows);
    let Some(cut_at) = known.cut_at.filter(|_| !known.obeyed) else { return Ok(()) };
    if moment.now.since(cut_at) < DOUBT_AFTER {
        return Ok(());
    }
    must(known.cut_doubted, || "a cut was not confirmed and nobody was told".to_owned())?;
    must(known.contactor_cut || plan.contactor.is_none(), || "a cut was not confirmed and the contactor stays closed".to_owned())
}

/// The order fits the furnace, its limit and the ceiling that is due.
fn check_means(known: &Known, plan: &FurnacePlan, order: &HeatOrder, ceiling_c: f64) -> Found {
    let unproved = known.is_protected() && !known.charged_hot && !known.proved;
    match (order.means(), &plan.heating) {
        (Means::Close(output), _) => {
            let own = plan.contactor.as_ref().is_some_and(|contactor| contactor.output == *output);
            must(own, || "an order to close another's contactor".to_owned())
        }
        (Means::SetPoint(to), Heating::SetPoint) => {
            let to_c = in_celsius(*to);
            must(to_c <= in_celsius(plan.limit) + 1e-6, || format!("a set point of {to_c} °C above the furnace's limit"))?;
            must(!unproved || to_c <= ceiling_c + 1e-6, || {
                format!("invariant 2: {to_c} °C without a proved purge ({:.2} changes)", known.changes)
            })?;
            let (target_c, hottest_c) = (target_c(known), known.hottest_c);
            must(to_c <= target_c.max(hottest_c) + 1e-6, || {
                format!("a set point of {to_c} °C, though the step asks for {target_c} °C and it was never above {hottest_c} °C")
            })
        }
        (Means::RunProgram(number), Heating::Program) => {
            let own = known.load.as_ref().is_some_and(|load| load.drive == Drive::Program(*number));
            must(own, || "a program that the load did not name".to_owned())?;
            let highest_c = highest_ahead_c(known);
            must(!unproved || highest_c <= ceiling_c + 1e-6, || {
                format!("invariant 2: a program to {highest_c} °C without a proved purge")
            })
        }
        (means, heating) => Err(format!("an order {means:?} for a furnace of kind {heating:?}")),
    }
}

fn means_c(known: &Known, means: &Means) -> f64 {
    match means {
        Means::SetPoint(to) => in_celsius(*to),
        Means::RunProgram(_) => highest_ahead_c(known),
        Means::OutputShare(_) | Means::Close(_) => f64::NEG_INFINITY,
    }
}

/// What the step that runs heats to; a pull holds the heat of the soak before it.
fn target_c(known: &Known) -> f64 {
    let (Some(load), Some((index, _))) = (&known.load, known.step) else { return f64::NEG_INFINITY };
    let so_far = load.steps.iter().take(usize::from(index) + 1).rev();
    let mut targets = so_far.filter_map(|step| match step {
        Step::Preheat { to, .. } | Step::Ramp { to, .. } => Some(*to),
        Step::Soak { at, .. } | Step::Temper { at, .. } => Some(*at),
        Step::Purge | Step::Quench { .. } | Step::Pull { .. } | Step::Cool { .. } => None,
    });
    targets.next().map_or(f64::NEG_INFINITY, in_celsius)
}

/// The hottest step that is still to come before the load leaves the furnace.
fn highest_ahead_c(known: &Known) -> f64 {
    let (Some(load), Some((index, _))) = (&known.load, known.step) else { return f64::NEG_INFINITY };
    let mut highest_c = f64::NEG_INFINITY;
    for (place, step) in load.steps.iter().enumerate().skip(usize::from(index)) {
        match step {
            Step::Preheat { to, .. } | Step::Ramp { to, .. } => highest_c = highest_c.max(in_celsius(*to)),
            Step::Soak { at, .. } => highest_c = highest_c.max(in_celsius(*at)),
            Step::Temper { at, .. } if place == usize::from(index) => highest_c = highest_c.max(in_celsius(*at)),
            Step::Quench { .. } | Step::Temper { .. } => break,
            Step::Purge | Step::Pull { .. } | Step::Cool { .. } => {}
        }
    }
    highest_c
}

/// Rows that withhold heat while they stand.
pub(super) const WITHHOLDING: [InterlockKind; 10] = [
    InterlockKind::ShopRule,
    InterlockKind::DoorOpen,
    InterlockKind::OverTemperature,
    InterlockKind::SensorFault,
    InterlockKind::DriverLost,
    InterlockKind::RunTimeLimit,
    InterlockKind::Stop,
    InterlockKind::Interrupted,
    InterlockKind::Ending,
    InterlockKind::SharedElectrical,
];
