//! Proving a purge: flow that comes and goes, a door that opens, a thermometer that fails, a load that is taken away.

use std::hash::{Hash, Hasher};

use hearthward_process::chamber::Chamber;
use stateright::{Model, Property};
use uom::si::catalytic_activity::katal;

use super::visit_all;
use crate::facts::{Door, Facts};
use crate::gas::Atmosphere;
use crate::plan::FurnacePlan;
use crate::points::Sample;
use crate::purge::{Purge, PurgeCase, PurgePhase};
use crate::testing;

/// One step of time, in seconds, and the volume changes that the asked flow gives in it.
const STEP_S: f64 = 30.0;
const CHANGES: f64 = 8.0;

#[derive(Clone, Copy, Debug, PartialEq, Eq)]
struct Seen {
    flow: Flow,
    door: Door,
    read: bool,
    hot: bool,
    probe: Probe,
    wanted: bool,
}

#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
enum Flow {
    Full,
    Dipped,
    Gone,
    Unread,
}

#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
enum Probe {
    Low,
    High,
    Unread,
}

#[derive(Clone, Debug, PartialEq)]
struct Purged {
    purge: Purge,
    /// Steps in a row in which the flow stood, the door was shut and the chamber could be read, counted up to enough.
    clean: u32,
    /// The probe was low in the step that ended the last such row.
    low: bool,
    /// Since it was proved, nothing broke it.
    kept: bool,
}

impl Hash for Purged {
    fn hash<H: Hasher>(&self, state: &mut H) {
        let mut purge = self.purge;
        // What was delivered beyond enough is for the screen alone.
        purge.changes = if purge.is_proved() { 0.0 } else { purge.changes.min(CHANGES) };
        format!("{purge:?}").hash(state);
        (self.clean, self.low, self.kept).hash(state);
    }
}

#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Act {
    Tick(Seen),
    Confirm,
    Doubt,
}

struct Machine {
    plan: FurnacePlan,
    chamber: Chamber,
    /// Steps of clean flow that give all changes, none left out.
    enough: u32,
}

impl Machine {
    fn new(by_eye: bool) -> Self {
        let mut plan = testing::furnace("kiln");
        plan.probe = Some(hearthward_equipment::PointId(7));
        // A step is watched from end to end.
        plan.stale_after = std::time::Duration::from_secs(STEP_S as u64);
        let gas = plan.gas.as_mut().expect("the test's furnace has gas");
        (gas.by_eye, gas.purge.changes) = (by_eye, CHANGES);
        let chamber = *Atmosphere::new(&plan).chamber().expect("the test's chamber");
        let held_mol = chamber.holds(hearthward_equipment::quantity::celsius(21.0)).value;
        let per_step = plan.gas.as_ref().map_or(0.0, |gas| gas.purge.flow.get::<katal>()) * STEP_S / held_mol;
        let enough = libm::ceil(CHANGES / per_step) as u32;
        Self { plan, chamber, enough }
    }

    fn facts(&self, seen: Seen) -> (Facts, f64) {
        let full = self.plan.gas.as_ref().map_or(0.0, |gas| gas.purge.flow.get::<katal>());
        let (flow, low) = match seen.flow {
            Flow::Full => (Sample::Good(full), full),
            Flow::Dipped => (Sample::Good(full), 0.0),
            Flow::Gone => (Sample::Good(0.0), 0.0),
            Flow::Unread => (Sample::Stale, f64::INFINITY),
        };
        let probe = match seen.probe {
            Probe::Low => Sample::Good(20e-6),
            Probe::High => Sample::Good(5e-3),
            Probe::Unread => Sample::Bad,
        };
        let temperature = if seen.read { Sample::Good(21.0) } else { Sample::Stale };
        (Facts { dt_s: STEP_S, temperature, flow, flow_low: low, door: seen.door, probe, ..Facts::nothing() }, full)
    }
}

impl Model for Machine {
    type State = Purged;
    type Action = Act;

    fn init_states(&self) -> Vec<Purged> {
        vec![Purged { purge: Purge::default(), clean: 0, low: false, kept: false }]
    }

    fn actions(&self, _: &Purged, actions: &mut Vec<Act>) {
        actions.extend([Act::Confirm, Act::Doubt]);
        for flow in [Flow::Full, Flow::Dipped, Flow::Gone, Flow::Unread] {
            for door in [Door::Shut, Door::Open, Door::Unknown] {
                for probe in [Probe::Low, Probe::High, Probe::Unread] {
                    for (read, hot, wanted) in
                        [(true, false, true), (false, false, true), (true, true, true), (true, false, false)]
                    {
                        actions.push(Act::Tick(Seen { flow, door, read, hot, probe, wanted }));
                    }
                }
            }
        }
    }

    fn next_state(&self, last: &Purged, act: Act) -> Option<Purged> {
        let mut next = last.clone();
        match act {
            Act::Confirm => {
                next.purge.confirm();
                next.kept = next.purge.is_proved();
            }
            Act::Doubt => {
                next.purge.doubt();
                (next.clean, next.kept) = (0, false);
            }
            Act::Tick(seen) => self.tick(&mut next, seen),
        }
        Some(next)
    }

    fn properties(&self) -> Vec<Property<Self>> {
        vec![
            Property::always("proved only by all changes in a row, and a probe that is low", |machine: &Self, is: &Purged| {
                !is.purge.is_proved() || (is.clean >= machine.enough && is.low)
            }),
            Property::always("a cold break ends it", |_: &Self, is: &Purged| is.purge.is_proved() == is.kept),
            Property::sometimes("it can be proved", |_: &Self, is: &Purged| is.purge.is_proved()),
        ]
    }
}

impl Machine {
    fn tick(&self, next: &mut Purged, seen: Seen) {
        let Some(gas) = &self.plan.gas else { return };
        let (facts, full) = self.facts(seen);
        if gas.by_eye {
            next.purge.by_eye = Some(if matches!(seen.flow, Flow::Full) { full } else { 0.0 });
        }
        let flow_lost = seen.flow != Flow::Full;
        let case = PurgeCase { facts: &facts, wanted: seen.wanted, hot: seen.hot, flow_lost, estimate_high: None };
        let was_proved = next.purge.is_proved();
        next.purge.step(&self.plan, gas, Some(&self.chamber), &case);
        // The shadow: what safety asks for, by itself.
        let shut = seen.door == Door::Shut;
        let flows = seen.flow == Flow::Full;
        if was_proved {
            next.kept = seen.wanted && (seen.hot || (shut && flows));
            if !next.kept {
                (next.clean, next.low) = (0, false);
            }
            return;
        }
        let counts = seen.wanted && shut && flows;
        next.clean = match (counts, seen.read) {
            (true, true) => (next.clean + 1).min(self.enough),
            (true, false) => next.clean,
            (false, _) => 0,
        };
        // Which step ends the count is the machine's own; the probe must have been low in one of the row.
        next.low = counts && (seen.probe == Probe::Low || (next.low && next.purge.phase == PurgePhase::Confirming));
        next.kept = next.purge.is_proved();
    }
}

/// Goal: no order of flow, door, probe and thermometer proves a purge that was not delivered. Method: all of them.
#[test]
fn every_way_to_a_proved_purge() {
    for by_eye in [false, true] {
        let states = visit_all(Machine::new(by_eye));
        assert!(states > 20, "{states} states are too few to be all of them");
    }
}
