//! The shop's own rules in a tick: evaluated, told of once a change, and what the rows are to make of them.

use hearthward_equipment::{FurnaceId, PointId, ShopMs};

use super::Shop;
use crate::event::{Event, EventBody, Priority};
use crate::furnace::Furnace;
use crate::interlock::InterlockKind;
use crate::output::Outputs;
use crate::plan::FurnacePlan;
use crate::points::Points;
use crate::rule::{RuleEffect, RulePlan, RuleState, RulesNow};

impl Shop {
    /// Evaluates every rule of every furnace.
    pub(super) fn weigh_rules(&mut self, out: &mut Outputs) {
        let (points, now) = (&self.points, self.now);
        for (furnace, plan) in self.furnaces.iter_mut().zip(&self.plan.furnaces) {
            let mut sum = RulesNow::default();
            for (place, rule) in plan.policy.rules.iter().enumerate() {
                let bypassed = furnace.rows.row(row_of(rule.effect)).is_bypassed();
                let running = furnace.cycle.is_some();
                let Some(state) = furnace.rules.get_mut(place) else { break };
                let holds = rule.when.holds(points, now);
                // Before the first readings nothing can be evaluated, and nothing was heated that could be in doubt.
                let may_latch = !bypassed && (holds.is_some() || running);
                if state.step(rule, holds, furnace.facts.dt_s, may_latch) {
                    tell(furnace.id, plan, (rule, state), running, &mut out.events);
                }
                sum.add(place, rule, state);
            }
            furnace.rules_now = sum;
        }
    }

    /// Whether what was read last of a point trips a rule that cuts at once and does not stand already.
    pub(super) fn trips_rule(&self, now: ShopMs, point: PointId) -> bool {
        self.points.cuts_by(point).iter().any(|&(id, place)| {
            let place = usize::from(place);
            let rule = self.plan.furnace(id).and_then(|plan| plan.policy.rules.get(place));
            let state = self.furnaces.get(id.index()).and_then(|furnace| furnace.rules.get(place));
            let (Some(rule), Some(state)) = (rule, state) else { return false };
            // One that waits for its time is looked at by every scan anyway; what cannot be evaluated waits for nothing.
            !state.cause && rule.when.holds(&self.points, now).is_none_or(|holds| holds && rule.after.is_zero())
        })
    }
}

/// What the rules that cut read shall be decided on at once.
pub(super) fn hurry(id: FurnaceId, plan: &FurnacePlan, points: &mut Points) {
    for (place, rule) in (0_u16..).zip(&plan.policy.rules).filter(|(_, rule)| rule.effect == RuleEffect::Cut) {
        rule.when.inputs().for_each(|input| points.hurry_rule(input.point, id, place));
    }
}

/// The row that a rule of this effect acts through.
pub(super) fn row_of(effect: RuleEffect) -> InterlockKind {
    match effect {
        RuleEffect::Cut => InterlockKind::ShopRule,
        RuleEffect::WithholdStart | RuleEffect::Alarm | RuleEffect::Ask => InterlockKind::ShopWatch,
    }
}

/// A row was reset: what its rules have latched is clear, where the cause is gone.
pub(super) fn reset(furnace: &mut Furnace, plan: &FurnacePlan, kind: InterlockKind, events: &mut Vec<Event>) {
    let id = furnace.id;
    for (rule, state) in plan.policy.rules.iter().zip(&mut furnace.rules) {
        if row_of(rule.effect) == kind && state.latched && !state.cause {
            state.latched = false;
            tell(id, plan, (rule, state), false, events);
        }
    }
}

fn tell(id: FurnaceId, plan: &FurnacePlan, (rule, state): (&RulePlan, &RuleState), running: bool, events: &mut Vec<Event>) {
    let (name, furnace, text) = (&rule.name, &plan.name, &rule.text);
    let said = match (state.cause, state.failed, state.latched) {
        (true, true, _) => {
            format!("Rule {name} of {furnace} cannot be evaluated, which counts as if {text}: look at what it reads.")
        }
        (true, false, _) => format!("Rule {name} of {furnace}: {text}."),
        (false, _, true) => format!("Rule {name} of {furnace} holds no more, and is latched."),
        (false, _, false) => format!("Rule {name} of {furnace} is clear."),
    };
    let priority = match (state.cause, state.failed && !running) {
        (true, false) => Priority::Warning,
        _ => Priority::Record,
    };
    let body = EventBody::Rule { rule: name.clone(), stands: state.cause, latched: state.latched, failed: state.failed };
    events.push(Event { furnace: Some(id), priority, person: None, text: said, body });
}
