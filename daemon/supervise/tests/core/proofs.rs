//! Guided proof tests: what a person does is watched, and the outcome stays on record.

use hearthward_supervise::Away;
use hearthward_supervise::event::EventBody;
use hearthward_supervise::interlock::InterlockKind::{self, DoorOpen, OverTemperature, PurgeFlow, Stop};
use hearthward_supervise::request::Request;
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
    assert_eq!(outcome(&bench, DoorOpen), None);
    bench.plants[0].open = true;
    bench.scans(3);
    assert_eq!(bench.said(|body| matches!(body, EventBody::Proved { .. })), 0, "it has only tripped");
    bench.plants[0].open = false;
    bench.scans(3);
    let passed = Some(ProofView { passed: true, wall_ms: 1_700_000_000_000 });
    assert_eq!(outcome(&bench, DoorOpen), passed);
    bench.restart(Away::Unknown);
    bench.scans(3);
    assert_eq!(outcome(&bench, DoorOpen), passed, "it is kept across a restart");
}

#[test]
fn a_switch_that_does_not_tell_fails() {
    let mut bench = idle();
    bench.done(test(DoorOpen));
    bench.scans(601);
    assert_eq!(outcome(&bench, DoorOpen).map(|proof| proof.passed), Some(false));
    bench.done(test(DoorOpen));
    bench.plants[0].open = true;
    bench.scans(620);
    assert_eq!(bench.said(|body| matches!(body, EventBody::Proved { passed: false, .. })), 2, "one that sticks fails too");
}

#[test]
fn a_stop_is_tested_by_stopping() {
    let mut bench = idle();
    bench.done(test(Stop));
    bench.done(Request::Stop { furnace: Some(NORTH) });
    bench.scans(2);
    assert_eq!(outcome(&bench, Stop).map(|proof| proof.passed), Some(true));
}

#[test]
fn with_a_load_in_or_without_anything_to_test_it_is_refused() {
    let mut bench = idle();
    assert!(bench.refused(test(PurgeFlow)).contains("only for a load"));
    assert!(bench.refused(test(OverTemperature)).contains("no alarm"));
    bench.done(test(DoorOpen));
    assert!(bench.refused(Request::Start { furnace: NORTH, load: irons(None), ready_in: None }).contains("test"));
    let mut bench = idle();
    bench.load(NORTH, irons(None));
    assert!(bench.refused(test(DoorOpen)).contains("load irons"));
}
