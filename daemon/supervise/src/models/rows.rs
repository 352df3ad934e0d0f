//! Trip, latch, first cause and reset, over eleven rows of both kinds at once.

use std::hash::{Hash, Hasher};

use hearthward_equipment::ShopMs;
use stateright::{Model, Property};

use super::visit_all;
use crate::interlock::{For, InterlockKind, Rows, Verdict, entry};
use crate::view::InterlockState;

/// Rows that latch always, sometimes and never, for people and for the steel.
const KINDS: [InterlockKind; 11] = [
    InterlockKind::DoorOpen,
    InterlockKind::OverTemperature,
    InterlockKind::DriverLost,
    InterlockKind::SensorFault,
    InterlockKind::RunTimeLimit,
    InterlockKind::Stop,
    InterlockKind::Interrupted,
    InterlockKind::PurgeFlow,
    InterlockKind::GasSupply,
    InterlockKind::OffSetPoint,
    InterlockKind::OpeningAtHeat,
];
const T: ShopMs = ShopMs(0);

/// What a row's expression may say.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
enum Said {
    Nothing,
    Alarm,
    Off,
    Latch,
}

impl Said {
    fn verdict(self, kind: InterlockKind) -> Verdict {
        match self {
            // Which kind of clear does not matter; take the row's own.
            Self::Nothing if latches(kind) => Verdict::latched(false),
            Self::Nothing => Verdict::CLEAR,
            Self::Alarm => Verdict::alarm(true),
            Self::Off => Verdict::off(true),
            Self::Latch => Verdict::latched(true),
        }
    }
}

fn latches(kind: InterlockKind) -> bool {
    use InterlockKind::{Interrupted, OverTemperature, RunTimeLimit, SensorFault, Stop};
    matches!(kind, OverTemperature | SensorFault | RunTimeLimit | Stop | Interrupted)
}

/// What this row's own expression may say.
fn may_say(kind: InterlockKind) -> &'static [Said] {
    match kind {
        _ if latches(kind) => &[Said::Nothing, Said::Latch],
        InterlockKind::DoorOpen | InterlockKind::DriverLost => &[Said::Nothing, Said::Off, Said::Latch],
        _ => &[Said::Nothing, Said::Alarm],
    }
}

#[derive(Clone, Debug, PartialEq)]
struct Standing {
    rows: Rows,
    /// A latch was tripped and nobody reset it.
    owed: [bool; KINDS.len()],
    /// The cause stood in the last tick.
    cause: [bool; KINDS.len()],
    /// The row that tripped while its group was calm, as long as it is not clear.
    first: [bool; KINDS.len()],
}

impl Hash for Standing {
    fn hash<H: Hasher>(&self, state: &mut H) {
        self.rows.bits().for_each(|bits| bits.hash(state));
        (self.owed, self.cause, self.first).hash(state);
    }
}

#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
enum Act {
    See(usize, Said),
    Reset(usize),
}

struct Machine;

impl Model for Machine {
    type State = Standing;
    type Action = Act;

    fn init_states(&self) -> Vec<Standing> {
        let none = [false; KINDS.len()];
        vec![Standing { rows: Rows::default(), owed: none, cause: none, first: none }]
    }

    fn actions(&self, _: &Standing, actions: &mut Vec<Act>) {
        for (at, &kind) in KINDS.iter().enumerate() {
            actions.extend(may_say(kind).iter().map(|&said| Act::See(at, said)));
            actions.push(Act::Reset(at));
        }
    }

    fn next_state(&self, last: &Standing, act: Act) -> Option<Standing> {
        let mut next = last.clone();
        match act {
            Act::See(at, said) => {
                let calm = |at: usize| !last.owed[at] && !last.cause[at];
                let group = |other: usize| entry(KINDS[other]).causes == entry(KINDS[at]).causes;
                let alone = (0..KINDS.len()).filter(|&other| group(other)).all(calm);
                next.rows.step(KINDS[at], T, said.verdict(KINDS[at]));
                next.cause[at] = said != Said::Nothing;
                next.owed[at] |= said == Said::Latch;
                next.first[at] |= alone && next.cause[at];
            }
            Act::Reset(at) => {
                if next.rows.reset(KINDS[at], T) {
                    next.owed[at] = false;
                }
            }
        }
        for at in 0..KINDS.len() {
            next.first[at] &= next.owed[at] || next.cause[at];
        }
        Some(next)
    }

    fn properties(&self) -> Vec<Property<Self>> {
        vec![
            Property::always("a latch stands until a person resets it", |_: &Self, is: &Standing| {
                each(|at, kind| is.rows.row(kind).is_latched() == is.owed[at])
            }),
            Property::always("no reset clears a cause", |_: &Self, is: &Standing| {
                each(|at, kind| is.rows.row(kind).cause() == is.cause[at])
            }),
            Property::always("heat is withheld while a row that cuts is not clear", |_: &Self, is: &Standing| {
                each(|at, kind| {
                    let cuts = entry(kind).causes == For::People;
                    is.rows.row(kind).withholds() == (cuts && (is.cause[at] || is.owed[at]))
                })
            }),
            Property::always("a row is shown as it stands", |_: &Self, is: &Standing| {
                each(|at, kind| {
                    let shown = match (is.cause[at], is.owed[at]) {
                        (true, _) => InterlockState::Tripped,
                        (false, true) => InterlockState::Latched,
                        (false, false) => InterlockState::Clear,
                    };
                    is.rows.row(kind).state() == shown
                })
            }),
            Property::always("the first of its group is kept apart, and there is one", |_: &Self, is: &Standing| {
                let own = each(|at, kind| is.rows.row(kind).is_first() == is.first[at]);
                own && [For::People, For::Steel]
                    .into_iter()
                    .all(|group| (0..KINDS.len()).filter(|&at| entry(KINDS[at]).causes == group && is.first[at]).count() <= 1)
            }),
            Property::always("everything can be cleared once the causes are gone", |_: &Self, is: &Standing| {
                let mut rows = is.rows.clone();
                for kind in KINDS {
                    rows.step(kind, T, Verdict::CLEAR);
                    rows.reset(kind, T);
                }
                KINDS.into_iter().all(|kind| !rows.stands(kind))
            }),
            Property::always("what is kept across a restart is all of it", |_: &Self, is: &Standing| {
                let bytes = postcard::to_allocvec(&is.rows).expect("rows serialise");
                postcard::from_bytes::<Rows>(&bytes).expect("and come back") == is.rows
            }),
            Property::sometimes("every latch stands at once", |_: &Self, is: &Standing| {
                is.owed.iter().filter(|&&owed| owed).count() == 7
            }),
        ]
    }
}

fn each(holds: impl Fn(usize, InterlockKind) -> bool) -> bool {
    KINDS.iter().enumerate().all(|(at, &kind)| holds(at, kind))
}

/// Goal: no order of trips and resets clears a latch, forgets the first cause or lets heat through. Method: all of them.
#[test]
fn every_order_of_trips_and_resets() {
    let states = visit_all(Machine);
    assert!(states > 1_000_000, "{states} states are too few to be all of them");
}
