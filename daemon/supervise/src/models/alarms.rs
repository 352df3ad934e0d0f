//! One alarm, over its delays, people's acts and restarts.
//!
//! Goal: no order of causes, delays, people's acts and restarts leaves an alarm silent that should be told, told without a cause,
//! known without a person, or on the shelf for longer than a person said.
//!
//! Method: one alarm, the machine of the core itself, beside a ledger that keeps what an outsider saw: how long the cause has stood
//! and been gone, whether a person acknowledged since, how long a person shelved it for. Every reachable state is visited.

use std::time::Duration;

use hearthward_equipment::ShopMs;
use stateright::{Model, Property};

use super::visit_all;
use crate::alarm::{Alarm, AlarmState, Aside, Condition, Delays, Heard};

/// Delays and the longest shelf, in ticks of one millisecond.
struct Bounds {
    on: u64,
    off: u64,
    shelf: u64,
}

#[derive(Clone, Debug, PartialEq, Eq, Hash)]
struct State {
    alarm: Alarm,
    cause: Condition,
    seen: Ledger,
}

/// What an outsider saw.
#[derive(Clone, Debug, Default, PartialEq, Eq, Hash)]
struct Ledger {
    /// Ticks for which the cause was seen to stand, or to be gone, without a break in this run.
    stood: u64,
    gone: u64,
    /// A person has acknowledged since the alarm was last told.
    acknowledged: bool,
    /// What a person has granted and is left of it; for ever when out of service.
    granted: Option<Granted>,
}

#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
enum Granted {
    For(u64),
    UntilReturned,
}

#[derive(Clone, Debug, PartialEq)]
enum Action {
    /// A tick passes while the cause stands so.
    Tick(Condition),
    Acknowledge,
    Shelve(u64),
    TakeOut,
    BringBack,
    Restart(Option<u64>),
}

const NOW: ShopMs = ShopMs(0);

impl Bounds {
    fn delays(&self) -> Delays {
        Delays { on: Duration::from_millis(self.on), off: Duration::from_millis(self.off) }
    }

    fn tick(&self, state: &mut State, is: Condition) {
        state.cause = is;
        if let Some(Granted::For(left)) = &mut state.seen.granted {
            *left = left.saturating_sub(1);
        }
        if state.alarm.pass(1) {
            let back = state.alarm.bring_back(NOW);
            assert_eq!(back, Some(AlarmState::Shelved), "only a shelf ends by itself");
            state.seen.granted = None;
            state.seen.acknowledged = false;
        }
        if let Heard::Changed(was) = state.alarm.hear(NOW, 1, is, self.delays()) {
            let told = |state: AlarmState| matches!(state, AlarmState::Unacknowledged | AlarmState::LatchedUnacknowledged);
            if told(state.alarm.state()) && !told(was) {
                state.seen.acknowledged = false;
            }
        }
        let most = self.on.max(self.off) + 2;
        state.seen.stood = if is == Condition::Active { (state.seen.stood + 1).min(most) } else { 0 };
        state.seen.gone = if is == Condition::Clear { (state.seen.gone + 1).min(most) } else { 0 };
    }
}

fn aside(left_ms: Option<u64>) -> Aside {
    Aside { person: String::new(), reason: String::new(), left_ms }
}

impl Model for Bounds {
    type State = State;
    type Action = Action;

    fn init_states(&self) -> Vec<State> {
        vec![State { alarm: Alarm::default(), cause: Condition::Clear, seen: Ledger::default() }]
    }

    fn actions(&self, _: &State, actions: &mut Vec<Action>) {
        actions.extend([Condition::Clear, Condition::Active, Condition::Latched].map(Action::Tick));
        actions.extend([Action::Acknowledge, Action::TakeOut, Action::BringBack]);
        actions.extend([1, self.shelf / 2, self.shelf].map(Action::Shelve));
        actions.extend([Some(0), Some(self.shelf / 3), None].map(Action::Restart));
    }

    fn next_state(&self, last: &State, action: Action) -> Option<State> {
        let mut state = last.clone();
        match action {
            Action::Tick(is) => self.tick(&mut state, is),
            Action::Acknowledge => {
                state.alarm.acknowledge(NOW)?;
                state.seen.acknowledged = true;
            }
            Action::Shelve(span) => {
                state.alarm.shelve(NOW, aside(Some(span)))?;
                let sooner = match state.seen.granted {
                    Some(Granted::For(left)) => left.min(span),
                    _ => span,
                };
                state.seen.granted = Some(Granted::For(sooner));
            }
            Action::TakeOut => {
                state.alarm.take_out(NOW, aside(None))?;
                state.seen.granted = Some(Granted::UntilReturned);
            }
            Action::BringBack => {
                state.alarm.bring_back(NOW)?;
                (state.seen.granted, state.seen.acknowledged) = (None, false);
            }
            Action::Restart(away) => {
                state.alarm.begin_again(NOW, away);
                if let Some(Granted::For(left)) = &mut state.seen.granted {
                    *left = away.map_or(0, |away| left.saturating_sub(away));
                }
                (state.seen.stood, state.seen.gone) = (0, 0);
            }
        }
        Some(state)
    }

    fn properties(&self) -> Vec<Property<Self>> {
        use AlarmState::{
            Acknowledged, LatchedAcknowledged, LatchedUnacknowledged, Normal, OutOfService, ReturnedUnacknowledged, Shelved,
            Unacknowledged,
        };
        vec![
            Property::always(
                "a cause that has stood for its delay is told, or a person put it aside",
                |bounds: &Self, state: &State| {
                    let told = matches!(state.alarm.state(), Unacknowledged | Acknowledged) || state.alarm.state().is_aside();
                    state.seen.stood <= bounds.on || told
                },
            ),
            Property::always("a latch is told in its tick, or a person put it aside", |_: &Self, state: &State| {
                let latched = matches!(state.alarm.state(), LatchedUnacknowledged | LatchedAcknowledged);
                state.cause != Condition::Latched || latched || state.alarm.state().is_aside()
            }),
            Property::always("what is gone for its delay is told as standing no more", |bounds: &Self, state: &State| {
                state.seen.gone <= bounds.off
                    || matches!(state.alarm.state(), Normal | ReturnedUnacknowledged | Shelved | OutOfService)
            }),
            Property::always("nobody knows without having said so", |_: &Self, state: &State| {
                !matches!(state.alarm.state(), Acknowledged | LatchedAcknowledged) || state.seen.acknowledged
            }),
            Property::always("put aside by a person, and for no longer than granted", |_: &Self, state: &State| {
                let left = state.alarm.aside().map(|aside| aside.left_ms);
                match (state.alarm.state(), state.seen.granted) {
                    (Shelved, Some(Granted::For(granted))) => left == Some(Some(granted)),
                    (OutOfService, Some(Granted::UntilReturned)) => left == Some(None),
                    (Shelved | OutOfService, _) => false,
                    (_, granted) => granted.is_none() && left.is_none(),
                }
            }),
            Property::sometimes("unacknowledged", |_: &Self, state: &State| state.alarm.state() == Unacknowledged),
            Property::sometimes("acknowledged", |_: &Self, state: &State| state.alarm.state() == Acknowledged),
            Property::sometimes("returned unacknowledged", |_: &Self, state: &State| {
                state.alarm.state() == ReturnedUnacknowledged
            }),
            Property::sometimes("latched unacknowledged", |_: &Self, state: &State| state.alarm.state() == LatchedUnacknowledged),
            Property::sometimes("latched acknowledged", |_: &Self, state: &State| state.alarm.state() == LatchedAcknowledged),
            Property::sometimes("shelved while its cause stands", |_: &Self, state: &State| {
                state.alarm.state() == Shelved && state.cause == Condition::Active
            }),
            Property::sometimes("out of service", |_: &Self, state: &State| state.alarm.state() == OutOfService),
        ]
    }
}

#[test]
fn no_order_of_events_misleads_people() {
    let states = visit_all(Bounds { on: 24, off: 16, shelf: 6_000 });
    assert!(states > 1_000_000, "{states} states are too few to be all of them");
}
