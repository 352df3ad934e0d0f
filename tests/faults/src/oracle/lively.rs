//! Liveness: where nothing withholds, heat comes; where a purge runs undisturbed, it gets proved.

use hearthward_supervise::plan::Heating;
use hearthward_supervise::recipe::StepKind;
use hearthward_supervise::request::Ask;

use super::heat::{WITHHOLDING, can_cut};
use super::known::Door;
use super::{Found, Moment, Oracle, must};

/// Ticks in which heat that is due has to come: one for the permit, one for the disk, and room for the step that begins.
const DUE_TICKS: u32 = 12;
/// How far past its volume changes an undisturbed purge may go.
const OVERDUE: f64 = 1.3;
/// And how much longer: a meter settles, a person confirms.
const OVERDUE_MS: u64 = 30_000;

impl Oracle {
    pub(super) fn check_lively(&mut self, place: usize, moment: &Moment<'_>) -> Found {
        self.check_heat_comes(place, moment)?;
        self.check_purge_ends(place, moment)
    }

    fn check_heat_comes(&mut self, place: usize, moment: &Moment<'_>) -> Found {
        let plan = &self.plan.furnaces[place];
        let seen = &moment.view.furnaces[place];
        let waits = self.questions.values().any(|waiting| {
            let own = waiting.furnace.is_some_and(|id| id.index() == place);
            own && matches!(waiting.ask, Ask::LoadAndShut | Ask::Transfer { .. } | Ask::GoOn { .. })
        });
        let heats = matches!(
            seen.cycle.as_ref().map(|cycle| cycle.step),
            Some(StepKind::Preheat | StepKind::Ramp | StepKind::Soak | StepKind::Temper)
        );
        let steady = self.steady > DUE_TICKS && !self.ended;
        let known = &mut self.known[place];
        // What is bypassed withholds nothing.
        let withheld = WITHHOLDING.iter().any(|kind| known.standing.has(*kind) && !known.bypassed.has(*kind))
            || !known.seen.with(known.latches).without(known.bypassed).with(known.withholding()).is_empty();
        // A program is permitted as a whole, so that it waits for the purge.
        let program = plan.heating == Heating::Program && known.is_protected() && !known.proved;
        let due = steady
            && heats
            && !waits
            && !withheld
            && !program
            && can_cut(plan)
            && known.in_chamber
            && known.step.is_some()
            && !known.must_answer
            && known.gap_ms.is_none()
            && known.read_c.is_some();
        known.due = if due && !known.heated { known.due + 1 } else { 0 };
        must(known.due <= DUE_TICKS, || format!("heat is due in {:?} and does not come, for {} ticks", known.step, known.due))
    }

    fn check_purge_ends(&mut self, place: usize, moment: &Moment<'_>) -> Found {
        let plan = &self.plan.furnaces[place];
        let Some(gas) = &plan.gas else { return Ok(()) };
        let judged = plan.probe.is_some() || plan.chamber.calibration.is_some() || gas.by_eye;
        let known = &mut self.known[place];
        let shown = moment.view.furnaces[place].cycle.as_ref().map(|cycle| cycle.step);
        let purges = shown == Some(StepKind::Purge) && matches!(known.step, Some((_, StepKind::Purge)));
        known.doubted = known.doubted.min(known.changes);
        let runs = purges && known.is_protected() && !known.must_answer;
        let quiet = runs
            && !judged
            && known.gap_ms.is_none()
            && known.read_c.is_some()
            && matches!(known.door, Door::Shut | Door::Absent)
            && known.changes - known.doubted > OVERDUE * gas.purge.changes;
        known.overdue_ms = if quiet && !known.proved { known.overdue_ms + moment.dt_ms } else { 0 };
        must(known.overdue_ms <= OVERDUE_MS, || {
            format!("a purge of {:.1} changes is not proved after {:.1}", gas.purge.changes, known.changes - known.doubted)
        })
    }
}
