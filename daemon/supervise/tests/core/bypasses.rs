//! Bypasses: who may, for how long, what they do and what they never do.

use std::time::Duration;

use hearthward_equipment::ShopMs;
use hearthward_supervise::event::EventBody;
use hearthward_supervise::interlock::InterlockKind::{self, DriverLost, PurgeFlow, QuenchReadiness, RunTimeLimit};
use hearthward_supervise::interlock::may_be_bypassed;
use hearthward_supervise::observe::Observation;
use hearthward_supervise::plan::ShopPlan;
use hearthward_supervise::recipe::{Protection, StepKind};
use hearthward_supervise::request::Request;
use hearthward_supervise::view::{BypassView, InterlockState::Clear, InterlockState::Latched, InterlockState::Tripped};
use hearthward_supervise::{Away, BYPASS_MOST, BYPASS_USUAL};

use crate::bench::{Bench, Kind, NORTH, irons, plan};

/// A plain furnace that is open to every bypass that there is, and limits its run time.
fn open_plan() -> ShopPlan {
    let mut plan = plan(&[Kind::plain("north")]);
    plan.furnaces[0].policy.may_bypass = InterlockKind::ALL.into_iter().filter(|&kind| may_be_bypassed(kind).is_ok()).collect();
    plan.furnaces[0].run_time_limit = Some(Duration::from_secs(600));
    plan
}

/// It heats, in a ramp, for some minutes.
fn heating() -> Bench {
    let mut bench = Bench::of(open_plan(), None, Away::Unknown);
    let mut load = irons(None);
    load.protection = Protection::None;
    load.steps.remove(0);
    bench.load(NORTH, load);
    bench.scans(300);
    assert!(bench.heats(NORTH));
    bench
}

fn bypass(kind: InterlockKind, span: Option<Duration>) -> Request {
    Request::Bypass { furnace: NORTH, interlock: kind, reason: "a long ramp".to_owned(), span }
}

fn of(bench: &Bench, kind: InterlockKind) -> Option<BypassView> {
    bench.north().interlocks.iter().find(|row| row.kind == kind).expect("it applies").bypass.clone()
}

#[test]
fn only_what_is_marked_and_never_what_stands_between_heat_and_people() {
    let mut bench = heating();
    for kind in InterlockKind::ALL {
        if may_be_bypassed(kind).is_err() {
            let words = bench.refused(bypass(kind, None));
            assert!(words.contains("never bypassed"), "{kind:?}: {words}");
        }
    }
    let never = [
        InterlockKind::DoorOpen,
        InterlockKind::OverTemperature,
        InterlockKind::SensorFault,
        InterlockKind::RoomOxygen,
        InterlockKind::Stop,
    ];
    assert!(never.into_iter().all(|kind| may_be_bypassed(kind).is_err()));
    bench.plan.furnaces[0].policy.may_bypass.clear();
    let plan = bench.plan.clone();
    bench.shop.replan(bench.now, plan);
    let words = bench.refused(bypass(RunTimeLimit, None));
    assert!(words.contains("may_bypass"), "{words}");
}

#[test]
fn a_reason_and_an_expiry_are_needed() {
    let mut bench = heating();
    let reasonless = Request::Bypass { furnace: NORTH, interlock: RunTimeLimit, reason: "  ".to_owned(), span: None };
    assert!(bench.refused(reasonless).contains("Say why"));
    bench.refused(bypass(RunTimeLimit, Some(Duration::ZERO)));
    bench.refused(bypass(RunTimeLimit, Some(BYPASS_MOST + Duration::from_millis(1))));
    bench.done(bypass(RunTimeLimit, Some(BYPASS_MOST)));
    bench.refused(bypass(RunTimeLimit, None));
    bench.done(Request::Restore { furnace: NORTH, interlock: RunTimeLimit });
    bench.refused(Request::Restore { furnace: NORTH, interlock: RunTimeLimit });
    bench.done(bypass(RunTimeLimit, None));
    let usual_ms = BYPASS_USUAL.as_millis() as u64;
    assert_eq!(of(&bench, RunTimeLimit).map(|bypass| bypass.left_ms), Some(usual_ms));
}

#[test]
fn it_keeps_heat_until_it_lapses_and_then_cuts_in_that_very_tick() {
    let mut bench = heating();
    bench.done(bypass(RunTimeLimit, Some(Duration::from_secs(500))));
    bench.scans(450);
    assert_eq!(bench.row(NORTH, RunTimeLimit), Tripped, "the cause is not hidden");
    assert!(bench.heats(NORTH));
    bench.until("the lapse", |bench| of(bench, RunTimeLimit).is_none());
    assert!(!bench.out.cuts.is_empty() && !bench.heats(NORTH));
    assert_eq!(bench.said(|body| matches!(body, EventBody::Restored { lapsed: true, .. })), 1);
    bench.scan();
    assert!(matches!(bench.reset(), hearthward_supervise::request::Answer::Done(_)), "it has latched meanwhile");
}

#[test]
fn restoring_cuts_in_the_tick_of_the_request() {
    let mut bench = heating();
    bench.done(bypass(RunTimeLimit, None));
    bench.scans(400);
    assert!(bench.heats(NORTH));
    bench.done(Request::Restore { furnace: NORTH, interlock: RunTimeLimit });
    assert!(!bench.out.cuts.is_empty() && !bench.heats(NORTH));
}

#[test]
fn it_counts_only_when_it_is_on_disk_and_is_refused_without_a_record() {
    let mut bench = heating();
    bench.durable = false;
    bench.done(bypass(RunTimeLimit, None));
    bench.until("the limit", |bench| bench.row(NORTH, RunTimeLimit) != Clear);
    assert!(!bench.heats(NORTH), "what is not written widens nothing");
    bench.shop.observe(bench.now, Observation::Record { failing: Some("the disk is full".to_owned()) });
    assert!(bench.refused(bypass(DriverLost, None)).contains("record"));
}

#[test]
fn a_latch_from_before_is_there_again_afterwards() {
    let mut bench = heating();
    bench.until("the limit", |bench| !bench.heats(NORTH));
    bench.done(bypass(RunTimeLimit, Some(Duration::from_secs(60))));
    bench.scans(5);
    assert!(bench.heats(NORTH), "heat comes back, since a person said so");
    bench.scans(70);
    assert!(!bench.heats(NORTH));
    assert!(matches!(bench.row(NORTH, RunTimeLimit), Tripped | Latched));
}

#[test]
fn nobody_heats_what_nobody_can_read() {
    let mut bench = heating();
    bench.done(bypass(DriverLost, None));
    bench.plants[0].answers = false;
    bench.scans(70);
    assert!(!bench.heats(NORTH) && bench.row(NORTH, DriverLost) == Tripped);
    bench.plants[0].answers = true;
    bench.scans(4);
    assert!(bench.heats(NORTH), "a long gap needs no reset meanwhile");
}

#[test]
fn a_bypassed_question_is_not_asked_and_a_bath_that_is_not_ready_does_not_hold_the_call() {
    let mut plan = plan(&[Kind::gas("north")]);
    plan.furnaces[0].policy.may_bypass = vec![PurgeFlow, QuenchReadiness];
    let mut bench = Bench::of(plan, None, Away::Unknown);
    bench.oil_c = 30.0;
    bench.load(NORTH, irons(None));
    bench.until("the soak", |bench| bench.step() == Some(StepKind::Soak));
    bench.done(bypass(PurgeFlow, None));
    bench.plants[0].gas = false;
    bench.scans(60);
    assert_eq!(bench.row(NORTH, PurgeFlow), Tripped);
    assert!(bench.question(|ask| matches!(ask, hearthward_supervise::request::Ask::Steel { .. })).is_none());
    bench.plants[0].gas = true;
    bench.scans(700);
    assert_eq!(bench.step(), Some(StepKind::Soak), "the bath is too cold");
    bench.done(bypass(QuenchReadiness, None));
    bench.scans(3);
    assert_eq!(bench.step(), Some(StepKind::Pull));
}

#[test]
fn it_survives_a_restart_shorter_by_the_time_away_and_ends_when_nobody_knows_it() {
    let hour_ms = 3_600_000;
    for (away, left_ms) in
        [(Away::Known(ShopMs(1_200_000)), Some(hour_ms - 1_200_000)), (Away::Known(ShopMs(hour_ms)), None), (Away::Unknown, None)]
    {
        let mut bench = heating();
        bench.done(bypass(RunTimeLimit, Some(Duration::from_millis(hour_ms))));
        bench.restart(away);
        bench.scan();
        assert_eq!(of(&bench, RunTimeLimit).map(|bypass| bypass.left_ms), left_ms, "{away:?}");
        let lapses = bench.said(|body| matches!(body, EventBody::Restored { lapsed: true, .. }));
        assert_eq!(lapses, usize::from(left_ms.is_none()));
    }
}

#[test]
fn a_wall_clock_that_ran_ahead_shortens_it() {
    let mut bench = heating();
    bench.done(bypass(RunTimeLimit, Some(Duration::from_secs(3600))));
    bench.shop.observe(bench.now, Observation::WallAhead { by: ShopMs(3_000_000) });
    bench.scan();
    assert_eq!(of(&bench, RunTimeLimit).map(|bypass| bypass.left_ms), Some(599_000));
    bench.shop.observe(bench.now, Observation::WallAhead { by: ShopMs(u64::MAX) });
    bench.scan();
    assert_eq!(of(&bench, RunTimeLimit), None);
}

#[test]
fn every_event_of_the_furnace_says_so_meanwhile() {
    let mut bench = heating();
    bench.done(bypass(RunTimeLimit, Some(Duration::from_secs(100))));
    let from = bench.events.len();
    bench.done(Request::Hold { furnace: NORTH });
    let held = bench.events[from..].iter().find(|event| event.body == EventBody::Held).expect("it is held");
    assert!(held.text.ends_with("(Bypassed by ada: run-time limit.)"), "{}", held.text);
    bench.scans(120);
    let from = bench.events.len();
    bench.done(Request::Resume { furnace: NORTH });
    assert!(bench.events[from..].iter().all(|event| !event.text.contains("Bypassed")));
}

/// Goal: what a reset ends is told, exactly once. Method: a run-time limit that was passed under a bypass has no latch to reset; the reset
/// is the sign of life that it waited for.
#[test]
fn a_reset_ends_a_bypassed_run_time_limit_and_that_is_told_once() {
    let mut bench = heating();
    bench.done(bypass(RunTimeLimit, Some(Duration::from_secs(3600))));
    bench.scans(620);
    assert_eq!(bench.row(NORTH, RunTimeLimit), Tripped);
    bench.ask(Request::Reset { furnace: Some(NORTH), interlock: None });
    bench.scans(3);
    assert_eq!(bench.row(NORTH, RunTimeLimit), Clear);
    assert_eq!(bench.said(|body| matches!(body, EventBody::Cleared { interlock: RunTimeLimit })), 1);
}
