//! Interlocks.

use hearthward_equipment::ShopMs;
use hearthward_proto::v1;
use hearthward_supervise::interlock::{Effect, InterlockKind, entry};
use hearthward_supervise::view::{BypassView, FurnaceView, InterlockState, InterlockView};

use super::millis;

pub(crate) fn furnace(view: &FurnaceView, now: ShopMs) -> v1::FurnaceInterlocks {
    v1::FurnaceInterlocks {
        furnace: view.name.to_string(),
        interlocks: view.interlocks.iter().map(|one| interlock(one, now)).collect(),
        ceiling_c: view.ceiling_c,
        if_computer_dies: view.if_computer_dies.clone(),
        heat: view.heat.clone(),
    }
}

pub(crate) fn interlock(view: &InterlockView, now: ShopMs) -> v1::Interlock {
    let entry = entry(view.kind);
    v1::Interlock {
        kind: kind(view.kind).into(),
        state: state(view.state).into(),
        acts: view.acts,
        first_cause: view.first,
        standing_ms: millis(now.since(view.since)),
        text: view.text.clone(),
        title: entry.title.into(),
        does: entry.does.into(),
        clears: entry.clears.into(),
        effect: effect(hearthward_supervise::interlock::effect(view.kind)).into(),
        withholds: view.withholds,
        may_bypass: view.may_bypass,
        bypass: view.bypass.as_ref().map(bypass),
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
);

fn state(state: InterlockState) -> v1::InterlockState {
    match state {
        InterlockState::Clear => v1::InterlockState::Clear,
        InterlockState::Tripped => v1::InterlockState::Tripped,
        InterlockState::Latched => v1::InterlockState::Latched,
    }
}
