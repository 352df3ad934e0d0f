//! How a cycle leaves its way: a step skipped, the pull before its time, the end, and hot steel that cools under its gas first.

use super::{At, Cycle, Outcome, Stage, Turn, enter, leave, route};
use crate::questions::Purpose;
use crate::recipe::{Step, StepKind};

/// The last step is over. Hot steel that is still in the chamber under gas cools there until it is safe to open.
pub(super) fn finish(cycle: &mut Cycle, at: &At<'_>) -> Option<Outcome> {
    if cycle.out || route::is_cool(cycle, at) || !cycle.wants_gas() || at.plan.gas.is_none() {
        return Some(cycle.outcome);
    }
    (cycle.stage, cycle.wanted_c, cycle.step_ms) = (Stage::Ending, None, 0);
    None
}

/// Ends the step that runs before it is complete, on a person's word.
pub(crate) fn skip(cycle: &mut Cycle, at: &mut At<'_>, turn: &mut Turn<'_>) -> Option<Outcome> {
    leave(cycle, at, turn, false);
    if cycle.outcome == Outcome::Complete {
        cycle.outcome = Outcome::Skipped;
    }
    let pulled = cycle.kind() != StepKind::Pull;
    let mut next = cycle.index + 1;
    // A pull that was skipped leaves the steel where it is, so that nothing is under that could be quenched.
    if !pulled && matches!(cycle.load.steps.get(usize::from(next)), Some(Step::Quench { .. })) {
        next += 1;
    }
    if usize::from(next) >= cycle.load.steps.len() {
        route::free_tanks(at.id, turn);
        return finish(cycle, at);
    }
    // A soak that was skipped keeps its place at the tank; what leads there no more gives it free.
    if !matches!(cycle.load.steps.get(usize::from(next)), Some(Step::Pull { .. } | Step::Quench { .. })) {
        route::free_tanks(at.id, turn);
    }
    enter(cycle, at, turn, next);
    None
}

/// Turns the cycle to its end: heat off, gas as it is until the steel is cool.
pub(crate) fn turn_to_end(cycle: &mut Cycle, at: &mut At<'_>, turn: &mut Turn<'_>, outcome: Outcome) {
    if cycle.stage == Stage::Running {
        leave(cycle, at, turn, false);
    }
    route::free_tanks(at.id, turn);
    turn.questions.withdraw(at.id, turn.events, |purpose| purpose != Purpose::TurnOff);
    cycle.stage = Stage::Ending;
    cycle.outcome = outcome;
    (cycle.wanted_c, cycle.held, cycle.interrupted, cycle.step_ms) = (None, false, false, 0);
}

/// Turns the cycle to its pull, before its time.
pub(crate) fn turn_to_quench(cycle: &mut Cycle, at: &mut At<'_>, turn: &mut Turn<'_>) -> bool {
    let Some(index) = route::pull_from(cycle) else { return false };
    if cycle.out {
        return false;
    }
    leave(cycle, at, turn, false);
    cycle.outcome = Outcome::QuenchedEarly;
    (cycle.held, cycle.interrupted) = (false, false);
    enter(cycle, at, turn, index);
    true
}
