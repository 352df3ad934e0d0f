//! Interlocks.

use std::time::Duration;

use hearthward_equipment::ShopMs;
use hearthward_proto::v1;
use hearthward_supervise::interlock::{Effect, InterlockKind, entry};
use hearthward_supervise::plan::{FurnacePlan, PROOF_STANDS};
use hearthward_supervise::rule::RuleEffect;
use hearthward_supervise::view::{BypassView, FurnaceView, InterlockState, InterlockView, ProofView, RuleView};

use super::{millis, timestamp};

/// The clocks that an interlock is shown by, and how long its test stands.
#[derive(Clone, Copy)]
pub(crate) struct Clocks {
    pub(crate) now: ShopMs,
    pub(crate) wall_ms: i64,
    pub(crate) proof_stands: Duration,
}

impl Clocks {
    pub(crate) fn of(plan: Option<&FurnacePlan>, now: ShopMs, wall_ms: i64) -> Self {
        Self { now, wall_ms, proof_stands: plan.map_or(PROOF_STANDS, |plan| plan.policy.proof_stands) }
    }

    /// A test that failed, or that is older than it may be, is owed; so is one with a date to come, which nobody can vouch for.
    fn owes(&self, proof: Option<ProofView>) -> bool {
        let stands_ms = i64::try_from(self.proof_stands.as_millis()).unwrap_or(i64::MAX);
        let is_young = |at_ms: i64| at_ms <= self.wall_ms && self.wall_ms.saturating_sub(at_ms) <= stands_ms;
        !proof.is_some_and(|proof| proof.passed && is_young(proof.wall_ms))
    }
}

pub(crate) fn furnace(view: &FurnaceView, clocks: Clocks) -> v1::FurnaceInterlocks {
    v1::FurnaceInterlocks {
        furnace: view.name.to_string(),
        interlocks: view.interlocks.iter().map(|one| interlock(one, clocks)).collect(),
        ceiling_c: view.ceiling_c.map(super::tidy),
        if_computer_dies: view.if_computer_dies.clone(),
        heat: view.heat.clone(),
        rules: view.rules.iter().map(rule).collect(),
    }
}

pub(crate) fn interlock(view: &InterlockView, clocks: Clocks) -> v1::Interlock {
    let entry = entry(view.kind);
    v1::Interlock {
        kind: kind(view.kind).into(),
        state: state(view.state).into(),
        acts: view.acts,
        first_cause: view.first,
        standing_ms: millis(clocks.now.since(view.since)),
        text: view.text.clone(),
        title: entry.title.into(),
        does: entry.does.into(),
        clears: entry.clears.into(),
        effect: effect(hearthward_supervise::interlock::effect(view.kind)).into(),
        withholds: view.withholds,
        may_bypass: view.may_bypass,
        bypass: view.bypass.as_ref().map(bypass),
        may_prove: view.may_prove,
        proof: view.proof.map(proof),
        // By the time that the core has looked after the furnace or by the date, whichever is first.
        proof_owed: view.proof_owed || (view.may_prove && clocks.owes(view.proof)),
    }
}

fn proof(view: ProofView) -> v1::InterlockProof {
    v1::InterlockProof {
        passed: view.passed,
        time: Some(timestamp(view.wall_ms)),
        evidence: super::values::evidence(view.evidence).into(),
    }
}

fn rule(view: &RuleView) -> v1::ShopRule {
    v1::ShopRule {
        name: view.name.to_string(),
        source: view.source.clone(),
        text: view.text.clone(),
        effect: match view.effect {
            RuleEffect::Cut => v1::RuleEffect::Cut,
            RuleEffect::WithholdStart => v1::RuleEffect::WithholdStart,
            RuleEffect::Alarm => v1::RuleEffect::Alarm,
            RuleEffect::Ask => v1::RuleEffect::Ask,
        }
        .into(),
        state: state(view.state).into(),
        failed: view.failed,
    }
}

fn bypass(view: &BypassView) -> v1::InterlockBypass {
    v1::InterlockBypass { person: view.person.clone(), reason: view.reason.clone(), left_ms: view.left_ms }
}

fn effect(effect: Effect) -> v1::InterlockEffect {
    match effect {
        Effect::Cuts => v1::InterlockEffect::Cuts,
        Effect::Limits => v1::InterlockEffect::Limits,
        Effect::Asks => v1::InterlockEffect::Asks,
        Effect::HoldsPull => v1::InterlockEffect::HoldsPull,
        Effect::Waits => v1::InterlockEffect::Waits,
        Effect::Alarms => v1::InterlockEffect::Alarms,
    }
}

pub(crate) fn kinds(all: &[InterlockKind]) -> Vec<i32> {
    all.iter().map(|one| kind(*one).into()).collect()
}

/// Both directions from one list, so that they cannot disagree.
macro_rules! both_ways {
    ($($name:ident),+ $(,)?) => {
        pub(crate) fn kind(kind: InterlockKind) -> v1::InterlockKind {
            match kind {
                $(InterlockKind::$name => v1::InterlockKind::$name,)+
            }
        }

        /// The interlock that a client names; none when it names none.
        pub(crate) fn kind_from(kind: v1::InterlockKind) -> Option<InterlockKind> {
            match kind {
                v1::InterlockKind::Unspecified => None,
                $(v1::InterlockKind::$name => Some(InterlockKind::$name),)+
            }
        }
    };
}

both_ways!(
    PurgeBeforeHeat,
    OpeningAtHeat,
    DoorOpen,
    OverTemperature,
    OffSetPoint,
    SensorFault,
    DriverLost,
    PurgeFlow,
    GasSupply,
    QuenchReadiness,
    QuenchOverTemperature,
    RoomOxygen,
    OneTankOneLoad,
    SharedSupply,
    SharedElectrical,
    RunTimeLimit,
    Stop,
    Interrupted,
    Ending,
    ShopRule,
    ShopWatch,
);

fn state(state: InterlockState) -> v1::InterlockState {
    match state {
        InterlockState::Clear => v1::InterlockState::Clear,
        InterlockState::Tripped => v1::InterlockState::Tripped,
        InterlockState::Latched => v1::InterlockState::Latched,
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use hearthward_equipment::Evidence;

    #[test]
    fn a_test_is_owed_when_there_is_none_it_failed_or_it_is_too_old() {
        let clocks = Clocks { now: ShopMs(0), wall_ms: 10_000, proof_stands: Duration::from_millis(1_000) };
        let proof = |passed, wall_ms| Some(ProofView { passed, evidence: Evidence::Measured, wall_ms });
        for (proof, owed) in [
            (None, true),
            (proof(true, 9_000), false),
            (proof(true, 10_000), false),
            (proof(true, 8_999), true),
            (proof(false, 10_000), true),
            (proof(true, 10_001), true),
        ] {
            assert_eq!(clocks.owes(proof), owed, "{proof:?}");
        }
    }
}
