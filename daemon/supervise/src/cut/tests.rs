//! Goal: the small machine of one cut keeps its word to people. Method: its steps one at a time, on a furnace with or without a contactor.

use super::*;
use crate::plan::Contactor;
use hearthward_equipment::{Fault, FaultCode, HeatPointId};

const NORTH: FurnaceId = FurnaceId(1);

/// A cut on its way, in a furnace with or without a contactor.
struct Case {
    plan: FurnacePlan,
    all: Cuts,
    cuts: Vec<Cut>,
    events: Vec<Event>,
}

impl Case {
    fn cut(contactor: bool) -> Self {
        let contactor = contactor.then_some(Contactor { output: HeatPointId(3), feedback: None });
        let plan = FurnacePlan { contactor, ..crate::testing::furnace("north") };
        let mut case = Self { plan, all: Cuts::after(Generation(4)), cuts: Vec::new(), events: Vec::new() };
        case.cut_again();
        assert_eq!(case.all.generation(), Generation(5));
        assert_eq!(case.step(60_000), (Vec::new(), false), "the time of its own tick passed before it");
        case
    }

    /// Heat is taken away; the ways of the cuts that are sent.
    fn cut_again(&mut self) -> Vec<Via> {
        self.cuts.clear();
        let why = (Priority::Record, "Heat ends.".to_owned());
        self.all.cut(NORTH, &self.plan, Vec::new(), why, &mut self.cuts, &mut self.events);
        self.cuts.iter().map(|cut| cut.via).collect()
    }

    /// Time passes; the ways of the cuts that are sent, and whether people are told.
    fn step(&mut self, dt_ms: u64) -> (Vec<Via>, bool) {
        let told = self.events.len();
        self.cuts.clear();
        self.all.step(NORTH, &self.plan, dt_ms, &mut self.cuts, &mut self.events);
        assert!(self.cuts.iter().all(|cut| (cut.furnace, cut.generation) == (NORTH, self.all.generation())));
        (self.cuts.iter().map(|cut| cut.via).collect(), self.events.len() > told)
    }

    fn told(&mut self, generation: u64, is: &CutState) {
        self.all.told(Generation(generation), Via::Controller, is);
        self.shows(0, ShowsHeat::Nowhere);
    }

    /// What the controller shows, and whether people are told that the cut is confirmed.
    fn shows(&mut self, now_ms: u64, shows: ShowsHeat) -> bool {
        let told = self.events.len();
        self.all.settle(NORTH, &self.plan, ShopMs(now_ms), shows, &mut self.events);
        self.events.len() > told
    }

    fn confirmed(&self) -> Option<u64> {
        self.events.iter().find_map(|event| match event.body {
            EventBody::CutConfirmed { after_ms, .. } => Some(after_ms),
            _ => None,
        })
    }
}

fn failed() -> CutState {
    CutState::Failed(Fault::new(FaultCode::TIMED_OUT, "no answer"))
}

#[test]
fn what_is_not_read_back_is_repeated_and_the_contactor_is_dropped() {
    for contactor in [false, true] {
        let ways = if contactor { vec![Via::Controller, Via::Contactor] } else { vec![Via::Controller] };
        let mut case = Case::cut(contactor);
        assert_eq!(case.step(1_999), (Vec::new(), false));
        assert!(!case.all.is_unconfirmed());
        assert_eq!(case.step(1), (ways.clone(), true), "people are told once");
        assert!(case.all.is_unconfirmed());
        let text = &case.events.last().expect("it was told").text;
        assert_eq!(text.contains("no contactor is wired"), !contactor, "{text}");
        case.told(5, &failed());
        assert_eq!(case.step(1_999), (Vec::new(), false), "a failure hurries only the first");
        assert_eq!(case.step(1), (ways, false));
        case.told(5, &CutState::Confirmed);
        assert_eq!(case.confirmed(), Some(4_000));
        assert_eq!(case.step(60_000), (Vec::new(), false));
    }
}

#[test]
fn where_the_contactor_is_the_only_way_it_is_dropped_once_a_time() {
    let mut case = Case::cut(true);
    case.plan.heating = Heating::ByHand;
    assert_eq!(case.step(2_000), (vec![Via::Contactor], true));
}

#[test]
fn a_cut_that_failed_does_not_wait() {
    let mut case = Case::cut(true);
    case.told(5, &CutState::Sent);
    assert_eq!(case.step(1), (Vec::new(), false));
    case.told(5, &failed());
    assert_eq!(case.step(1), (vec![Via::Controller, Via::Contactor], true));
}

const HEATS: bool = true;

fn read(heats: bool, at_ms: u64) -> ShowsHeat {
    ShowsHeat::Read { heats, at: ShopMs(at_ms) }
}

/// A cut at 1 s that the device took, as far as its word goes.
fn taken(contactor: bool) -> Case {
    let mut case = Case::cut(contactor);
    case.cut_again();
    assert!(!case.shows(1_000, ShowsHeat::Nowhere), "nothing was taken yet");
    case.all.new = false;
    case.all.told(Generation(6), Via::Controller, &CutState::Confirmed);
    case
}

#[test]
fn a_device_that_took_the_cut_must_show_that_it_obeyed() {
    for unread in [ShowsHeat::Unread, read(!HEATS, 900), read(!HEATS, 1_000), read(HEATS, 1_100)] {
        let mut case = taken(false);
        assert!(!case.shows(1_200, unread), "{unread:?}");
        assert!(case.shows(1_300, read(!HEATS, 1_250)));
        assert_eq!(case.all.phase, Phase::Confirmed);
        assert!(!case.shows(1_400, read(!HEATS, 1_350)), "said once");
    }
    assert!(taken(false).shows(1_200, ShowsHeat::Nowhere), "its word is all that there is");
    let mut case = Case::cut(false);
    case.all.new = false;
    assert!(!case.shows(1_200, read(!HEATS, 1_100)), "what is read does not say that the cut arrived");
}

#[test]
fn a_contactor_stands_in_for_a_controller_that_cannot_be_read() {
    let mut case = taken(true);
    assert!(!case.shows(1_200, ShowsHeat::Unread), "it was not dropped");
    assert_eq!(case.step(2_000), (vec![Via::Controller, Via::Contactor], true));
    assert!(!case.shows(1_300, read(HEATS, 1_250)), "a controller that still heats has not obeyed, whatever the contactor does");
    assert!(!case.shows(1_400, ShowsHeat::Unread), "the controller's word does not go for it");
    case.all.told(Generation(6), Via::Controller, &CutState::Confirmed);
    assert!(!case.shows(1_410, ShowsHeat::Unread), "nor does it a second time");
    case.all.told(Generation(6), Via::Contactor, &CutState::Confirmed);
    assert!(!case.shows(1_450, read(HEATS, 1_440)));
    assert!(case.shows(1_500, ShowsHeat::Unread));
    assert!(case.events.last().is_some_and(|event| event.text.contains("The contactor of north took the cut")));
    let mut case = taken(true);
    case.all.dropped = true;
    assert!(!case.shows(1_100, ShowsHeat::Unread), "an earlier cut dropped it, not this one");
    assert!(case.shows(1_200, read(!HEATS, 1_100)));
    assert!(case.events.last().is_some_and(|event| event.text == "north says that it does not heat."));
}

#[test]
fn heat_that_nobody_gave_is_seen_once_the_cut_has_had_its_time() {
    let mut case = taken(false);
    assert!(!case.all.heat_is_back(read(HEATS, 9_000)), "the cut is on its way");
    case.shows(1_200, read(!HEATS, 1_100));
    for (shows, back) in [
        (read(HEATS, 3_000), false),
        (read(HEATS, 3_001), true),
        (read(!HEATS, 3_001), false),
        (ShowsHeat::Unread, false),
        (ShowsHeat::Nowhere, false),
    ] {
        assert_eq!(case.all.heat_is_back(shows), back, "{shows:?}");
    }
    assert!(Cuts::after(Generation(4)).heat_is_back(read(HEATS, 2_001)), "an earlier run's cut stands too");
}

/// What the switch of a contactor says at a time, and whether that is an alarm then and what was sent and told for it.
fn watch(case: &mut Case, at_ms: u64, feedback: Option<bool>) -> (bool, Vec<Via>, usize) {
    let told = case.events.len();
    case.cuts.clear();
    let feedback = feedback.map(|closed| (closed, ShopMs(at_ms)));
    case.all.watch_contactor(NORTH, &case.plan, ShopMs(at_ms), feedback, &mut case.cuts, &mut case.events);
    (case.all.is_unconfirmed(), case.cuts.iter().map(|cut| cut.via).collect(), case.events.len() - told)
}

#[test]
fn a_contactor_that_reads_closed_after_its_time_is_an_unconfirmed_cut() {
    let mut case = Case::cut(true);
    assert_eq!(watch(&mut case, 60_000, Some(true)), (false, vec![], 0), "it was not told to open, and has no heartbeat");
    case.all.dropped = true;
    case.told(5, &CutState::Confirmed);
    assert_eq!(watch(&mut case, 61_000, Some(true)), (false, vec![], 0));
    assert_eq!(watch(&mut case, 63_000, Some(true)), (false, vec![], 0), "two seconds are its time");
    assert_eq!(watch(&mut case, 63_001, None), (false, vec![], 0), "a switch that cannot be read says nothing");
    assert_eq!(watch(&mut case, 63_002, Some(true)), (true, vec![Via::Contactor], 1));
    assert!(case.events.last().is_some_and(|event| event.text.contains("reads closed")), "{:?}", case.events);
    assert_eq!(case.all.bits(), 5 << 8 | 1 << 4 | 2);
    assert_eq!(watch(&mut case, 64_000, Some(true)), (true, vec![], 0), "said once");
    assert_eq!(watch(&mut case, 65_000, None), (true, vec![], 0));
    assert_eq!(case.step(5_000), (vec![Via::Contactor], false), "it is told again while it is stuck");
    assert_eq!(case.step(1_999), (vec![], false));
    assert_eq!(case.step(1), (vec![Via::Contactor], false));
    assert_eq!(watch(&mut case, 66_000, Some(false)), (false, vec![], 1));
    assert!(matches!(case.events.last().map(|event| &event.body), Some(EventBody::CutConfirmed { after_ms: 7_000, .. })));
    assert_eq!(case.step(60_000), (vec![], false));
    case.all.heated();
    assert_eq!(watch(&mut case, 90_000, Some(true)), (false, vec![], 0), "it is to be closed now");
    assert_eq!(case.all.open_by, None);
}

#[test]
fn an_order_to_heat_mends_no_stuck_contactor() {
    let mut case = Case::cut(true);
    case.all.dropped = true;
    watch(&mut case, 0, Some(true));
    assert_eq!(watch(&mut case, 2_001, Some(true)), (true, vec![Via::Contactor], 1));
    case.all.heated();
    assert!(case.all.is_stuck());
    assert_eq!(watch(&mut case, 10_000, Some(true)), (true, vec![], 0), "the alarm stands while it heats");
    assert_eq!(case.cut_again(), [Via::Controller, Via::Contactor]);
    assert_eq!(watch(&mut case, 20_000, Some(true)), (true, vec![], 0));
    assert!(!watch(&mut case, 22_001, Some(false)).0);
    assert!(!case.all.is_stuck());
    case.plan.heating = Heating::ByHand;
    case.all.stuck = true;
    assert_eq!(case.cut_again(), [Via::Contactor], "once is enough");
}

#[test]
fn a_contactor_without_beats_has_to_drop_in_its_time() {
    let mut case = Case::cut(true);
    case.plan.dead_man = DeadMan::ContactorHeartbeat { drops_after: Duration::from_secs(3) };
    assert_eq!(watch(&mut case, 0, Some(true)), (false, vec![], 0));
    assert_eq!(watch(&mut case, 5_000, Some(true)), (false, vec![], 0));
    assert_eq!(watch(&mut case, 5_001, Some(true)), (true, vec![Via::Contactor], 1));
}

#[test]
fn a_controller_at_rest_is_no_word_for_a_contactor_that_is_stuck() {
    let mut case = Case::cut(true);
    assert_eq!(case.step(2_000), (vec![Via::Controller, Via::Contactor], true));
    assert_eq!(watch(&mut case, 0, Some(true)), (true, vec![], 0));
    assert_eq!(watch(&mut case, 2_001, Some(true)), (true, vec![Via::Contactor], 1));
    case.told(5, &CutState::Confirmed);
    assert_eq!((case.confirmed(), case.all.is_unconfirmed()), (None, true));
    assert_eq!(watch(&mut case, 3_000, Some(false)), (false, vec![], 1));
    assert_eq!(case.confirmed(), Some(2_000));
    let mut case = Case::cut(true);
    case.plan.heating = Heating::ByHand;
    case.cut_again();
    assert_eq!(watch(&mut case, 0, Some(true)), (false, vec![], 0));
    assert_eq!(watch(&mut case, 2_001, Some(true)), (true, vec![Via::Contactor], 1), "the contactor is its only way");
    assert_eq!(watch(&mut case, 2_002, Some(false)), (false, vec![], 0), "the output itself has yet to be read back");
}

#[test]
fn what_is_said_of_an_older_cut_or_of_none_counts_for_nothing() {
    let mut case = Case::cut(false);
    case.told(4, &CutState::Confirmed);
    assert_eq!(case.confirmed(), None);
    case.all.heated();
    case.told(5, &CutState::Confirmed);
    assert_eq!((case.confirmed(), case.step(60_000)), (None, (Vec::new(), false)), "heat was given since");
    let mut case = Case::cut(false);
    case.told(5, &CutState::Confirmed);
    case.told(5, &CutState::Confirmed);
    assert_eq!(case.events.len(), 2, "it is said once");
}

#[test]
fn a_cut_is_told_as_it_matters_and_its_state_is_in_the_digest() {
    let mut case = Case::cut(false);
    assert_eq!(case.events[0].priority, Priority::Record);
    assert_eq!(case.all.bits(), 5 << 8 | 1);
    let because = vec![InterlockKind::DoorOpen];
    let why = (Priority::Warning, "The door is open.".to_owned());
    case.all.cut(NORTH, &case.plan, because, why, &mut case.cuts, &mut case.events);
    assert_eq!(case.events[1].priority, Priority::Warning);
    assert_eq!((case.cuts.len(), case.all.bits()), (1, 6 << 8 | 1));
}

#[test]
fn the_first_way_is_the_controller_unless_there_is_none_or_a_person_heats() {
    for (heating, controller, via) in [
        (Heating::SetPoint, true, Via::Controller),
        (Heating::Program, true, Via::Controller),
        (Heating::SetPoint, false, Via::Contactor),
        (Heating::ByHand, true, Via::Contactor),
    ] {
        let plan = crate::testing::furnace("north");
        let plan = FurnacePlan { controller: plan.controller.filter(|_| controller), heating, ..plan };
        assert_eq!(first_via(&plan), via, "{plan:?}");
    }
}
