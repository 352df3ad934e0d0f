//! What equipment was last told to be, and whether it did it: nothing that was ordered counts as done before its unit said so.

use std::time::Duration;

use hearthward_equipment::{Directory, PointId, ShopMs, UnitId};
use serde::{Deserialize, Serialize};

use crate::observe::ActState;
use crate::output::Act;

/// Every output that was told something in this run, sorted.
///
/// ```text
///       ┌─── another value, or time to tell it again ────┐
///       ▼                                                │
///     told ──done──▶ done (told again slowly, and when its unit answers anew)
///       └──failed──▶ owed (told again soon, later each time, at once when its unit answers)
/// ```
#[derive(Clone, Debug, Default, Serialize, Deserialize)]
pub(crate) struct Wires {
    told: Vec<Wire>,
    /// Units that do not take the orders to heat that they are given.
    refusing: Vec<UnitId>,
}

#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
struct Wire {
    output: Output,
    /// Whose it is; none for a point that the shop does not have.
    unit: Option<UnitId>,
    /// What it was last told.
    act: Act,
    /// When it is told the same again.
    due_at: ShopMs,
    /// How often in a row it failed.
    failed: u32,
}

/// One thing that holds what it is told.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
enum Output {
    Flow(UnitId),
    Point(PointId),
    Stir(UnitId),
    Bath(UnitId),
}

/// Tells outputs what they shall be.
pub(crate) struct Teller<'a> {
    pub(crate) wires: &'a mut Wires,
    pub(crate) now: ShopMs,
    pub(crate) directory: &'a Directory,
    pub(crate) acts: &'a mut Vec<Act>,
}

/// What an outcome changes.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Heard {
    /// It is not done, and was not known to fail.
    Fails,
    /// It failed before and is done now.
    Recovers,
}

/// How often what stays the same is told again: a device that lost its power forgets it.
const AGAIN: Duration = Duration::from_secs(60);
/// An outcome that is not there by then got lost; longer than any call into a driver may take.
const LOST_AFTER: Duration = Duration::from_secs(10);
/// The first pause after a failure, and the longest: short beside the time in which hot steel loses its gas.
const FIRST_PAUSE: Duration = Duration::from_secs(1);
const LONGEST_PAUSE: Duration = Duration::from_secs(15);

impl Teller<'_> {
    /// Tells an output what it shall be, if that is news to it or it is time to say it again.
    pub(crate) fn tell(&mut self, act: Act) {
        let Some(output) = Output::of(&act) else { return };
        let (wires, due_at) = (&mut self.wires.told, self.now + LOST_AFTER);
        match wires.binary_search_by_key(&output, |wire| wire.output) {
            Ok(place) => {
                let wire = &mut wires[place];
                let news = wire.act != act;
                if !news && self.now < wire.due_at {
                    return;
                }
                wire.due_at = due_at;
                if news {
                    (wire.act, wire.failed) = (act.clone(), 0);
                }
            }
            Err(place) => {
                let unit = output.unit(self.directory);
                wires.insert(place, Wire { output, unit, act: act.clone(), due_at, failed: 0 });
            }
        }
        self.acts.push(act);
    }

    /// Whether the output that this act goes to was told anything in this run.
    pub(crate) fn has_told(&self, act: &Act) -> bool {
        Output::of(act).is_some_and(|output| self.wires.told.binary_search_by_key(&output, |wire| wire.output).is_ok())
    }
}

impl Wires {
    /// Takes what became of an act. The outcome of one that was overtaken by another value is no news. One that was overtaken and
    /// is wanted again counts, until that of the later act comes: a unit answers in the order in which it was told.
    pub(crate) fn hear(&mut self, act: &Act, is: &ActState, now: ShopMs) -> Option<Heard> {
        let output = Output::of(act)?;
        let place = self.told.binary_search_by_key(&output, |wire| wire.output).ok()?;
        let wire = self.told.get_mut(place).filter(|wire| wire.act == *act)?;
        if matches!(is, ActState::Failed(_)) {
            let pause = FIRST_PAUSE.saturating_mul(1 << wire.failed.min(8)).min(LONGEST_PAUSE);
            (wire.due_at, wire.failed) = (now + pause, wire.failed.saturating_add(1));
            return (wire.failed == 1).then_some(Heard::Fails);
        }
        let failed = std::mem::take(&mut wire.failed);
        wire.due_at = now + AGAIN;
        (failed > 0).then_some(Heard::Recovers)
    }

    /// A unit answers that did not: it may have missed or forgotten what it was told.
    pub(crate) fn answers(&mut self, unit: UnitId, now: ShopMs) {
        self.told.iter_mut().filter(|wire| wire.unit == Some(unit)).for_each(|wire| wire.due_at = now);
    }

    /// Takes whether a unit takes the orders to heat that it is given. Says what changed.
    pub(crate) fn hear_order(&mut self, unit: UnitId, is: &ActState) -> Option<Heard> {
        let known = self.refusing.contains(&unit);
        match is {
            ActState::Failed(_) if !known => {
                self.refusing.push(unit);
                Some(Heard::Fails)
            }
            ActState::Done if known => {
                self.refusing.retain(|other| *other != unit);
                Some(Heard::Recovers)
            }
            _ => None,
        }
    }

    /// Whether a unit does not do what it was told.
    pub(crate) fn fails(&self, unit: UnitId) -> bool {
        self.refusing.contains(&unit) || self.told.iter().any(|wire| wire.failed > 0 && wire.unit == Some(unit))
    }

    /// For the digest.
    pub(crate) fn bits(&self) -> impl Iterator<Item = u64> + '_ {
        let told = self.told.iter().map(|wire| wire.due_at.0 ^ u64::from(wire.failed) << 48);
        told.chain(self.refusing.iter().map(|unit| u64::from(unit.0) << 32 | 1))
    }
}

impl Output {
    fn of(act: &Act) -> Option<Self> {
        match *act {
            Act::SetFlow { meter, .. } => Some(Self::Flow(meter)),
            Act::WritePoint { point, .. } => Some(Self::Point(point)),
            Act::Agitate { unit, .. } => Some(Self::Stir(unit)),
            Act::HeatTank { unit, .. } | Act::TankHeaterOff { unit } => Some(Self::Bath(unit)),
            // Handed on once: a driver that keeps what people read holds nothing else.
            Act::Enter { .. } => None,
        }
    }

    fn unit(self, directory: &Directory) -> Option<UnitId> {
        match self {
            Self::Flow(unit) | Self::Stir(unit) | Self::Bath(unit) => Some(unit),
            Self::Point(point) => directory.find_unit(&directory.point_address(point)?.unit),
        }
    }
}

#[cfg(test)]
mod tests {
    use hearthward_equipment::quantity::{GasFlow, celsius};
    use hearthward_equipment::{Fault, FaultCode, Value};

    use super::*;

    const POINT: PointId = PointId(0);

    /// A valve on a unit of its own, told something at each of these times.
    struct Valve {
        wires: Wires,
        directory: Directory,
    }

    impl Valve {
        fn new() -> Self {
            let mut directory = Directory::default();
            directory.point(&"io/north.valve".parse().expect("an address"));
            Self { wires: Wires::default(), directory }
        }

        /// Whether it was told.
        fn told(&mut self, open: bool, at_ms: u64) -> bool {
            let mut acts = Vec::new();
            let (wires, directory) = (&mut self.wires, &self.directory);
            Teller { wires, now: ShopMs(at_ms), directory, acts: &mut acts }.tell(valve(open));
            acts == [valve(open)]
        }

        fn fails(&mut self, open: bool, at_ms: u64) -> Option<Heard> {
            let fault = Fault::new(FaultCode::TIMED_OUT, "no answer");
            self.wires.hear(&valve(open), &ActState::Failed(fault), ShopMs(at_ms))
        }

        fn does(&mut self, open: bool, at_ms: u64) -> Option<Heard> {
            self.wires.hear(&valve(open), &ActState::Done, ShopMs(at_ms))
        }
    }

    fn valve(open: bool) -> Act {
        Act::WritePoint { point: POINT, value: Value::Flag(open) }
    }

    #[test]
    fn what_is_done_is_told_again_after_a_minute_and_what_is_lost_sooner() {
        let mut valve = Valve::new();
        assert!(valve.told(true, 0) && !valve.told(true, 9_999) && valve.told(true, 10_000));
        assert_eq!(valve.does(true, 11_000), None);
        assert!(!valve.told(true, 70_999) && valve.told(true, 71_000));
    }

    /// Goal: a bath whose power came back meanwhile is warmed and stirred again, as a valve is opened again.
    #[test]
    fn every_output_is_told_again() {
        let (meter, unit) = (UnitId(0), UnitId(0));
        let acts = [
            Act::SetFlow { meter, flow: GasFlow::default() },
            valve(true),
            Act::Agitate { unit, on: true },
            Act::HeatTank { unit, to: celsius(60.0) },
            Act::TankHeaterOff { unit },
        ];
        for act in acts {
            let (mut wires, directory) = (Wires::default(), Directory::default());
            let told = |wires: &mut Wires, at_ms: u64| {
                let mut acts = Vec::new();
                Teller { wires, now: ShopMs(at_ms), directory: &directory, acts: &mut acts }.tell(act.clone());
                acts.len()
            };
            assert_eq!(told(&mut wires, 0), 1, "{act:?}");
            assert_eq!(wires.hear(&act, &ActState::Done, ShopMs(100)), None);
            assert_eq!((told(&mut wires, 60_099), told(&mut wires, 60_100)), (0, 1), "{act:?}");
        }
        assert!(Output::of(&Act::Enter { point: POINT, value: Value::Flag(true) }).is_none());
    }

    #[test]
    fn what_failed_is_owed_and_said_once_until_it_is_done() {
        let mut valve = Valve::new();
        assert!(valve.told(true, 0));
        assert_eq!(valve.fails(true, 0), Some(Heard::Fails));
        let mut times = Vec::new();
        for at_ms in (0..120_000).step_by(1000) {
            if valve.told(true, at_ms) {
                times.push(at_ms / 1000);
                assert_eq!(valve.fails(true, at_ms), None, "said before");
            }
        }
        assert_eq!(times[..6], [1, 3, 7, 15, 30, 45]);
        assert_eq!((valve.does(true, 120_000), valve.does(true, 121_000)), (Some(Heard::Recovers), None));
    }

    /// Goal: who does not take orders to heat is told once, as lost until it takes one, and once that it does.
    #[test]
    fn a_unit_that_refuses_heat_fails_until_it_takes_an_order() {
        let (mut wires, unit) = (Wires::default(), UnitId(3));
        let refused = ActState::Failed(Fault::new(FaultCode::REFUSED, "exception 4"));
        assert_eq!((wires.hear_order(unit, &ActState::Done), wires.fails(unit)), (None, false));
        assert_eq!((wires.hear_order(unit, &refused), wires.fails(unit)), (Some(Heard::Fails), true));
        assert_eq!((wires.hear_order(unit, &refused), wires.fails(UnitId(4))), (None, false));
        assert_eq!((wires.hear_order(unit, &ActState::Done), wires.fails(unit)), (Some(Heard::Recovers), false));
    }

    #[test]
    fn an_outcome_counts_only_for_what_was_told_last() {
        let mut valve = Valve::new();
        assert!(valve.told(true, 0) && valve.told(false, 100));
        assert_eq!(valve.fails(true, 200), None);
        assert_eq!(valve.does(true, 200), None);
        assert_eq!(valve.fails(false, 300), Some(Heard::Fails));
        assert!(valve.told(true, 400), "another value never waits");
        assert_eq!(valve.fails(true, 500), Some(Heard::Fails), "another act, another word");
    }

    #[test]
    fn a_unit_that_answers_is_told_at_once() {
        let mut valve = Valve::new();
        assert!(valve.told(true, 0));
        for at_ms in [0, 1_000, 3_000] {
            valve.fails(true, at_ms);
        }
        assert!(!valve.told(true, 4_000) && valve.wires.fails(UnitId(0)));
        valve.wires.answers(UnitId(1), ShopMs(4_000));
        assert!(!valve.told(true, 4_000), "another unit's word");
        valve.wires.answers(UnitId(0), ShopMs(4_000));
        assert!(valve.told(true, 4_000));
        valve.does(true, 4_100);
        assert!(!valve.wires.fails(UnitId(0)));
    }
}
