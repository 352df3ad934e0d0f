//! Guided proof tests: what a person does is watched, and the outcome stays on record.

use hearthward_equipment::{Evidence, ShopMs};
use hearthward_supervise::Away;
use hearthward_supervise::event::{EventBody, Priority};
use hearthward_supervise::interlock::InterlockKind::{
    self, DoorOpen, Ending, OneTankOneLoad, PurgeBeforeHeat, PurgeFlow, SharedSupply, Stop,
};
use hearthward_supervise::request::Request;
use hearthward_supervise::view::InterlockState::Tripped;
use hearthward_supervise::view::ProofView;

use crate::bench::{Bench, Kind, NORTH, irons};

fn test(interlock: InterlockKind) -> Request {
    Request::Prove { furnace: NORTH, interlock, wall_ms: 1_700_000_000_000 }
}

fn outcome(bench: &Bench, kind: InterlockKind) -> Option<ProofView> {
    bench.north().interlocks.iter().find(|row| row.kind == kind).expect("it applies").proof
}

fn idle() -> Bench {
    let mut bench = Bench::new(&[Kind::gas("north")]);
    bench.scans(3);
    bench
}

#[test]
fn a_door_that_trips_and_clears_passes_and_the_date_stays() {
    let mut bench = idle();
    assert!(bench.done(test(DoorOpen)).contains("open its door"));
    bench.refused(test(DoorOpen));
    bench.scans(30);
    let heat = &bench.north().heat;
    assert!(heat.contains("ada tests door open of north, for another 9 min"), "{heat}");
    assert_eq!(outcome(&bench, DoorOpen), None);
    bench.plants[0].open = true;
    bench.scans(3);
    assert_eq!(bench.said(|body| matches!(body, EventBody::Proved { .. })), 0, "it has only tripped");
    bench.plants[0].open = false;
    bench.scans(3);
    let passed = Some(ProofView { passed: true, evidence: Evidence::Measured, wall_ms: 1_700_000_000_000 });
    assert_eq!(outcome(&bench, DoorOpen), passed);
    assert!(!bench.north().heat.contains("tests"));
    bench.restart(Away::Unknown);
    bench.scans(3);
    assert_eq!(outcome(&bench, DoorOpen), passed, "it is kept across a restart");
}

/// Goal: what stands before anything was read passes for no person's act. Method: the service dies in the first half of a test, and in the
/// second; the door's row trips at the next start because its switch has not been read yet.
#[test]
fn a_test_that_the_service_died_in_counts_for_nothing_and_says_what_to_take_back() {
    for opened in [false, true] {
        let mut bench = idle();
        bench.done(test(DoorOpen));
        bench.plants[0].open = opened;
        bench.scans(3);
        bench.restart(Away::Known(ShopMs(20_000)));
        bench.plants[0].open = false;
        bench.plants[0].switch = false;
        bench.scans(3);
        bench.plants[0].switch = true;
        bench.scans(700);
        assert_eq!((outcome(&bench, DoorOpen), bench.said(|body| matches!(body, EventBody::Proved { .. }))), (None, 0));
        let told: Vec<_> = bench.events.iter().filter(|event| event.text.contains("neither for it nor against it")).collect();
        assert_eq!(told.len(), 1);
        for words in ["open its door", "Take back", "hearthward interlock test door-open --furnace north"] {
            assert!(told[0].text.contains(words), "{words}: {}", told[0].text);
        }
        assert_eq!((told[0].priority, told[0].person.as_deref()), (Priority::Warning, Some("ada")));
        bench.done(test(DoorOpen));
    }
}

/// Goal: nobody waits out a test that they do not want. Method: a test that may run for hours is called off by its name, in either half,
/// after a first one has passed: the outcome stands, the record says who and what to take back, and the next test may begin.
#[test]
fn a_test_that_runs_can_be_called_off_and_leaves_the_last_outcome() {
    let off = |interlock| Request::CallOff { furnace: NORTH, interlock };
    for opened in [false, true] {
        let mut bench = idle();
        assert!(bench.refused(off(DoorOpen)).contains("No test of door open runs in north"));
        bench.done(test(DoorOpen));
        bench.plants[0].open = true;
        bench.scans(3);
        bench.plants[0].open = false;
        bench.scans(3);
        bench.done(test(DoorOpen));
        bench.plants[0].open = opened;
        bench.scans(3);
        assert!(bench.refused(test(Stop)).contains("hearthward interlock test door-open --furnace north --call-off"));
        assert!(bench.refused(off(Stop)).contains("No test of stop"));
        let words = bench.done(off(DoorOpen));
        assert!(words.contains("since ada called it off") && words.contains("Take back"), "{words}");
        bench.plants[0].open = false;
        bench.scans(700);
        assert_eq!(outcome(&bench, DoorOpen).map(|proof| proof.passed), Some(true));
        assert_eq!(bench.said(|body| matches!(body, EventBody::Proved { .. })), 1);
        assert_eq!(bench.said(|body| matches!(body, EventBody::ProofVoid { interlock: DoorOpen })), 1);
        bench.done(test(Stop));
    }
    let mut bench = idle();
    bench.done(test(PurgeBeforeHeat));
    bench.done(off(PurgeBeforeHeat));
    bench.done(test(DoorOpen));
}

#[test]
fn a_test_of_what_another_plan_no_longer_has_counts_for_nothing() {
    let mut bench = idle();
    bench.done(test(DoorOpen));
    bench.plan.furnaces[0].door = None;
    bench.shop.replan(bench.now, bench.plan.clone());
    bench.scans(700);
    assert_eq!(bench.said(|body| matches!(body, EventBody::Proved { .. })), 0);
    assert!(bench.events.iter().any(|event| event.text.contains("no such interlock any more")));
}

/// Goal: what nobody saw is called neither passed nor failed, and an older outcome does not hide it. Method: a door that passed is tested
/// again and never opens, by its switch; then one opens and never shuts.
#[test]
fn a_switch_that_does_not_tell_leaves_the_row_untested_and_one_that_sticks_fails() {
    let mut bench = idle();
    bench.done(Request::Attest { furnace: NORTH, interlock: DoorOpen, passed: true, how: "opened it".into(), wall_ms: 9 });
    bench.scan();
    assert_eq!(outcome(&bench, DoorOpen).map(|proof| proof.passed), Some(true));
    bench.done(test(DoorOpen));
    bench.scans(601);
    assert_eq!(outcome(&bench, DoorOpen), None);
    assert!(bench.north().interlocks.iter().any(|row| row.kind == DoorOpen && row.proof_owed));
    let not_passed = |body: &EventBody| matches!(body, EventBody::Proved { passed: false, .. });
    let told = bench.events.iter().find(|event| not_passed(&event.body)).expect("it was told");
    assert!(matches!(told.body, EventBody::Proved { untested: true, .. }));
    for words in ["NOT TESTED", "(open its door)", "test door-open --furnace north --saw failed"] {
        assert!(told.text.contains(words), "{words}: {}", told.text);
    }
    bench.done(test(DoorOpen));
    bench.plants[0].open = true;
    bench.scans(620);
    assert_eq!((bench.said(not_passed), outcome(&bench, DoorOpen).map(|proof| proof.passed)), (2, Some(false)));
}

#[test]
fn a_stop_is_tested_by_stopping() {
    let mut bench = idle();
    assert!(bench.done(test(Stop)).contains("`hearthward interlock stop north`"));
    bench.done(Request::Stop { furnace: Some(NORTH) });
    bench.scans(2);
    assert_eq!(outcome(&bench, Stop).map(|proof| proof.passed), Some(true));
}

#[test]
fn with_a_load_in_or_without_one_where_it_takes_one_it_is_refused() {
    let mut bench = idle();
    let words = bench.refused(test(PurgeFlow));
    assert!(words.contains("scrap") && words.contains("shut the valve"), "what to do is said beforehand: {words}");
    assert!(bench.refused(test(SharedSupply)).contains("no other furnace"));
    bench.done(test(DoorOpen));
    assert!(bench.refused(Request::Start { furnace: NORTH, load: irons(None), ready_in: None }).contains("test"));
    let mut bench = idle();
    bench.load(NORTH, irons(None));
    assert!(bench.refused(test(DoorOpen)).contains("load irons"));
}

#[test]
fn a_flow_that_is_lost_and_comes_back_passes_with_scrap_in() {
    let mut bench = Bench::soaking(&[Kind::gas("north")]);
    bench.done(test(PurgeFlow));
    bench.plants[0].gas = false;
    bench.until("the trip", |bench| bench.row(NORTH, PurgeFlow) == Tripped);
    bench.scans(2);
    assert_eq!(outcome(&bench, PurgeFlow), None, "it has only tripped");
    bench.plants[0].gas = true;
    bench.scans(3);
    assert_eq!(outcome(&bench, PurgeFlow).map(|proof| (proof.passed, proof.evidence)), Some((true, Evidence::Measured)));
}

#[test]
fn a_load_that_is_over_before_anything_was_seen_leaves_the_row_untested() {
    let mut bench = Bench::soaking(&[Kind::gas("north")]);
    bench.done(test(PurgeFlow));
    bench.done(Request::Abort { furnace: NORTH });
    bench.until("the end", |bench| bench.north().cycle.is_none());
    bench.scan();
    assert_eq!(outcome(&bench, PurgeFlow), None);
    assert!(bench.events.iter().any(|event| event.text.contains("Purge flow of north was NOT TESTED")));
}

#[test]
fn a_load_that_is_over_before_its_row_clears_fails_it() {
    let mut bench = Bench::soaking(&[Kind::gas("north")]);
    bench.done(test(PurgeFlow));
    bench.plants[0].gas = false;
    bench.until("the trip", |bench| bench.row(NORTH, PurgeFlow) == Tripped);
    bench.scan();
    bench.done(Request::Abort { furnace: NORTH });
    bench.until("the end", |bench| bench.north().cycle.is_none());
    bench.scan();
    assert_eq!(outcome(&bench, PurgeFlow).map(|proof| proof.passed), Some(false));
}

#[test]
fn the_purge_is_tested_by_an_ordinary_load() {
    let mut bench = idle();
    bench.done(test(PurgeBeforeHeat));
    bench.load(NORTH, irons(None));
    bench.scans(5);
    assert_eq!((bench.row(NORTH, PurgeBeforeHeat), outcome(&bench, PurgeBeforeHeat)), (Tripped, None));
    bench.until("the proof", |bench| bench.north().purge_proved);
    bench.scans(2);
    assert_eq!(outcome(&bench, PurgeBeforeHeat).map(|proof| proof.passed), Some(true));
}

#[test]
fn what_cannot_be_watched_goes_on_record_on_a_persons_word() {
    let mut bench = idle();
    let words = bench.refused(test(Ending));
    assert!(words.contains("end the service") && words.contains("--saw"), "{words}");
    let saw = |passed, how: &str| Request::Attest { furnace: NORTH, interlock: Ending, passed, how: how.to_owned(), wall_ms: 9 };
    assert!(bench.refused(saw(true, " ")).contains("Say how"));
    bench.done(saw(true, "the ammeter fell to none with the service"));
    let told = Some(ProofView { passed: true, evidence: Evidence::Confirmed, wall_ms: 9 });
    assert_eq!(outcome(&bench, Ending), told);
    assert!(bench.events.iter().any(|event| event.person.as_deref() == Some("ada") && event.text.contains("the ammeter")));
    bench.done(saw(false, "it went on heating"));
    assert_eq!(bench.said(|body| matches!(body, EventBody::Proved { passed: false, evidence: Evidence::Confirmed, .. })), 1);
    bench.done(test(DoorOpen));
    let door = Request::Attest { furnace: NORTH, interlock: DoorOpen, passed: true, how: "seen".to_owned(), wall_ms: 9 };
    assert!(bench.refused(door).contains("is watched"));
}

/// Goal: every row of the table has a test. Method: a shop that has everything, and one whose only furnace has nobody to wait for.
#[test]
fn every_row_can_be_tested_where_there_is_something_to_test() {
    let untested = |kinds: &[Kind]| {
        let mut bench = Bench::new(kinds);
        bench.scans(2);
        let rows = bench.north().interlocks.iter().filter(|row| !row.may_prove).map(|row| row.kind);
        rows.collect::<Vec<InterlockKind>>()
    };
    assert_eq!(untested(&[Kind::gas("north"), Kind::gas("south")]), []);
    assert_eq!(untested(&[Kind::gas("north")]), [OneTankOneLoad, SharedSupply]);
    assert_eq!(untested(&[Kind::gas("north"), Kind::plain("south")]), [SharedSupply], "the other draws no gas");
}

fn reminders(bench: &Bench) -> Vec<Vec<InterlockKind>> {
    let owed = |body: &EventBody| if let EventBody::ProofsOwed { interlocks } = body { Some(interlocks.clone()) } else { None };
    bench.events.iter().filter_map(|event| owed(&event.body)).collect()
}

/// Goal: what is owed is reminded of once a day at most, a restart included, and no more once it was tested.
#[test]
fn a_test_that_is_owed_is_reminded_of_once_a_day() {
    const HOUR: u32 = 3600;
    let mut bench = idle();
    bench.scans(23 * HOUR);
    assert!(reminders(&bench).is_empty(), "who has just begun has enough to do");
    bench.scans(HOUR);
    let first = reminders(&bench);
    assert!(first.len() == 1 && first[0].contains(&DoorOpen) && first[0].contains(&Ending), "{first:?}");
    bench.restart(Away::Known(ShopMs(20 * 3_600_000)));
    bench.scans(HOUR);
    assert_eq!(reminders(&bench).len(), 1, "not twice a day, whatever restarts");
    let tested: Vec<InterlockKind> = bench.north().interlocks.iter().filter(|row| row.proof_owed).map(|row| row.kind).collect();
    assert_eq!(tested, first[0]);
    for interlock in tested {
        bench.done(Request::Attest { furnace: NORTH, interlock, passed: true, how: "seen".to_owned(), wall_ms: 9 });
    }
    bench.scans(30 * HOUR);
    assert_eq!(reminders(&bench).len(), 1, "nothing is owed");
    let year = bench.plan.furnaces[0].policy.proof_stands;
    bench.restart(Away::Known(ShopMs(year.as_millis() as u64)));
    bench.scans(HOUR + 2);
    assert_eq!(reminders(&bench).len(), 2, "a year later they are owed again");
}
