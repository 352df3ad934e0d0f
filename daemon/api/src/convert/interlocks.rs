//! Interlocks.

use hearthward_equipment::ShopMs;
use hearthward_proto::v1;
use hearthward_supervise::interlock::InterlockKind;
use hearthward_supervise::view::{FurnaceView, InterlockState, InterlockView};

use super::millis;

pub(crate) fn furnace(view: &FurnaceView, now: ShopMs) -> v1::FurnaceInterlocks {
    v1::FurnaceInterlocks {
        furnace: view.name.to_string(),
        interlocks: view.interlocks.iter().map(|one| interlock(one, now)).collect(),
        ceiling_c: view.ceiling_c.map(super::tidy),
        if_computer_dies: view.if_computer_dies.clone(),
    }
}

pub(crate) fn interlock(view: &InterlockView, now: ShopMs) -> v1::Interlock {
    v1::Interlock {
        kind: kind(view.kind).into(),
        state: state(view.state).into(),
        acts: view.acts,
        first_cause: view.first,
        standing_ms: millis(now.since(view.since)),
        text: view.text.clone(),
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
