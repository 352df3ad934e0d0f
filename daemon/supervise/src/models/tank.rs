//! Holding a tank: four furnaces that ask and give back in any order, over a bath that is fit, too hot or unread.

use std::hash::{Hash, Hasher};

use hearthward_equipment::FurnaceId;
use stateright::{Model, Property};

use super::visit_all;
use crate::tanks::Tank;

const FURNACES: u16 = 5;

#[derive(Clone, Debug, PartialEq)]
struct Held {
    tank: Tank,
    /// Who asked and did not get it, in order.
    queue: Vec<FurnaceId>,
    /// Who was told that it has it.
    told: Option<FurnaceId>,
    /// The bath passed its margin and nobody reset it.
    owed: bool,
}

impl Hash for Held {
    fn hash<H: Hasher>(&self, state: &mut H) {
        (self.tank.bits(), self.tank.too_hot, self.tank.temperature.map(f64::to_bits), self.owed).hash(state);
        (&self.queue, self.told).hash(state);
    }
}

#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
enum Act {
    Ask(FurnaceId),
    GiveBack(FurnaceId),
    StepAside(FurnaceId),
    Heats,
    Cools,
    Unread,
    Reset,
}

struct Machine;

impl Model for Machine {
    type State = Held;
    type Action = Act;

    fn init_states(&self) -> Vec<Held> {
        vec![Held { tank: Tank::default(), queue: Vec::new(), told: None, owed: false }]
    }

    fn actions(&self, _: &Held, actions: &mut Vec<Act>) {
        for furnace in (0..FURNACES).map(FurnaceId) {
            actions.extend([Act::Ask(furnace), Act::GiveBack(furnace), Act::StepAside(furnace)]);
        }
        actions.extend([Act::Heats, Act::Cools, Act::Unread, Act::Reset]);
    }

    fn next_state(&self, last: &Held, act: Act) -> Option<Held> {
        let mut next = last.clone();
        match act {
            Act::Ask(furnace) => {
                if next.tank.hold(furnace) {
                    next.told = Some(furnace);
                    next.queue.retain(|&waits| waits != furnace);
                } else if !next.queue.contains(&furnace) {
                    next.queue.push(furnace);
                }
            }
            Act::GiveBack(furnace) => {
                next.tank.release(furnace);
                next.told = next.told.filter(|&holds| holds != furnace);
                next.queue.retain(|&waits| waits != furnace);
            }
            Act::StepAside(furnace) => {
                next.tank.step_aside(furnace);
                next.queue.retain(|&waits| waits != furnace);
            }
            Act::Heats => {
                (next.tank.too_hot, next.tank.temperature) = (true, Some(170.0));
                next.tank.latched = true;
                next.owed = true;
            }
            Act::Cools => (next.tank.too_hot, next.tank.temperature) = (false, Some(60.0)),
            Act::Unread => (next.tank.too_hot, next.tank.temperature) = (false, None),
            Act::Reset => {
                if next.tank.reset() {
                    next.owed = false;
                }
            }
        }
        Some(next)
    }

    fn properties(&self) -> Vec<Property<Self>> {
        vec![
            Property::always("one load at a time", |_: &Self, is: &Held| is.tank.held_by() == is.told),
            Property::always("who holds it does not wait for it", |_: &Self, is: &Held| {
                (0..FURNACES).map(FurnaceId).all(|furnace| is.tank.waits(furnace) == is.queue.contains(&furnace))
                    && is.told.is_none_or(|holds| !is.queue.contains(&holds))
            }),
            Property::always("everybody who waits gets it in turn, though others ask again at once", |_: &Self, is: &Held| {
                let mut tank = is.tank.clone();
                is.queue.iter().all(|&next| {
                    if let Some(holds) = tank.held_by() {
                        tank.release(holds);
                        // It is back in the queue before the next has looked.
                        tank.hold(holds);
                    }
                    tank.hold(next)
                })
            }),
            Property::always("the flash latch needs a cool bath that was read, and a person", |_: &Self, is: &Held| {
                is.tank.latched == is.owed
            }),
            Property::sometimes("everybody waits", |_: &Self, is: &Held| is.queue.len() + 1 == usize::from(FURNACES)),
        ]
    }
}

/// Goal: the tank is never held twice, nobody starves. Method: every order of asking and giving back.
#[test]
fn every_order_of_asking_and_giving_back() {
    let states = visit_all(Machine);
    assert!(states > 1_000, "{states} states are too few to be all of them");
}
