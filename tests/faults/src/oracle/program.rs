//! Off its set point: a controller's program that asks for something else than the recipe is told of; nothing of the kind ever latches.

use hearthward_supervise::event::EventBody;
use hearthward_supervise::interlock::InterlockKind;
use hearthward_supervise::recipe::{Drive, StepKind};

use super::{Found, Moment, Oracle, must};

/// How long a program may ask for something else before it is told: the minute that people are told of, and some seconds.
const ASTRAY_MOST_MS: u64 = 75_000;

/// How long after the proof the ceiling may still be what it was told.
const FREE_AFTER_MS: u64 = 2_000;

impl Oracle {
    /// A program that asks for something else than the recipe is told of; nothing of the kind ever latches or is told of a furnace that is
    /// where it should be.
    pub(super) fn check_program(&mut self, place: usize, moment: &Moment<'_>) -> Found {
        let plan = &self.plan.furnaces[place];
        let set_c = self.of(plan.set_point).and_then(|heard| heard.good(moment.now, plan.stale_after));
        let shown = moment.view.furnaces[place].cycle.as_ref().map(|cycle| cycle.step);
        let quiet = !self.is_moving(place) && !self.known[place].must_answer && self.known[place].gap_ms.is_none();
        let ceiling_c = self.ceiling_c(place);
        let known = &mut self.known[place];
        let latched = known.latched.has(InterlockKind::OffSetPoint);
        must(!latched, || "a furnace off its set point is latched".to_owned())?;
        let due = shown.filter(|_| quiet).and_then(|step| super::soak::band(known, plan, step));
        // Until its purge is proved, and a tick or two longer, it is held under the ceiling, and should be there.
        let unproved = known.is_protected() && !known.charged_hot && !known.proved;
        known.free_ms = if unproved { 0 } else { known.free_ms.saturating_add(moment.dt_ms) };
        let due = due.filter(|(at_c, _)| known.free_ms > FREE_AFTER_MS || *at_c <= ceiling_c);
        // What passed before the step began is none of its time.
        let begins = std::mem::replace(&mut known.astray_in, known.step) != known.step;
        let follows = plan.set_point.is_some() && known.load.as_ref().is_some_and(|load| matches!(load.drive, Drive::Program(_)));
        let Some((at_c, band_k)) = due.filter(|_| shown != Some(StepKind::Preheat)) else {
            known.astray_ms = 0;
            return Ok(());
        };
        let astray = follows && set_c.is_none_or(|set_c| (set_c - at_c).abs() > band_k + 0.05);
        known.astray_ms = if astray && !begins { known.astray_ms + moment.dt_ms } else { 0 };
        let stands = known.standing.has(InterlockKind::OffSetPoint);
        must(stands || known.astray_ms <= ASTRAY_MOST_MS, || {
            format!("the program asks for {set_c:?} °C, due is {at_c} ± {band_k}, and nobody is told")
        })?;
        let there = known.read_c.is_some_and(|read_c| (read_c - at_c).abs() <= band_k);
        let tripped = moment.out.events.iter().any(|event| {
            let own = event.furnace.is_some_and(|id| id.index() == place);
            own && matches!(event.body, EventBody::Tripped { interlock: InterlockKind::OffSetPoint, .. })
        });
        must(!tripped || !there || astray, || format!("off its set point at {:?} °C, due is {at_c} ± {band_k}", known.read_c))
    }
}
