//! Restarts: what outlives the service, what is ridden through, and what a person is asked.

use hearthward_equipment::{Quality, ShopMs};
use hearthward_supervise::event::EventBody;
use hearthward_supervise::interlock::InterlockKind::{Interrupted, OverTemperature, SensorFault, Stop};
use hearthward_supervise::recipe::{Form, Load, Part, StepKind};
use hearthward_supervise::request::{Answer, Ask, Choice, Request};
use hearthward_supervise::view::InterlockState::{Clear, Latched, Tripped};
use hearthward_supervise::{Away, STANDING_FORMAT, Standing};

use uom::si::f64::Length;
use uom::si::length::millimeter;

use crate::bench::{Bench, Kind, NORTH, SOUTH, irons};

fn packed(standing: &Standing) -> Standing {
    let bytes = postcard::to_allocvec(standing).expect("it is written");
    postcard::from_bytes(&bytes).expect("it is read back")
}

#[test]
fn what_stands_is_written_and_read_back_as_it_was() {
    let mut bench = Bench::soaking(&[Kind::gas("north"), Kind::plain("south")]);
    bench.done(Request::Stop { furnace: None });
    bench.plants[0].gas = false;
    bench.scans(15);
    let standing = bench.shop.standing();
    assert_eq!(standing.format(), STANDING_FORMAT);
    assert_eq!(packed(&standing), standing);
}

#[test]
fn a_latch_outlives_a_restart_and_so_does_the_generation() {
    let mut bench = Bench::soaking(&[Kind::gas("north")]);
    bench.plants[0].read_c = 1001.0;
    bench.scan();
    bench.done(Request::Stop { furnace: None });
    let generation = bench.north().generation;
    bench.plants[0].read_c = 750.0;
    bench.restart(Away::Known(ShopMs(5_000)));
    bench.scan();
    assert!(bench.out.cuts[0].generation > generation, "an order of the old run cannot be newer than the cut of the new one");
    bench.scans(20);
    for kind in [OverTemperature, SensorFault, Stop] {
        assert_eq!(bench.row(NORTH, kind), Latched, "{kind:?}");
    }
    assert!(!bench.heats(NORTH));
}

#[test]
fn a_short_gap_with_agreeing_readings_is_ridden_through() {
    let mut bench = Bench::soaking(&[Kind::gas("north")]);
    let step_ms = |bench: &Bench| bench.north().cycle.as_ref().expect("it goes on").step_ms;
    bench.scans(30);
    let before_ms = step_ms(&bench);
    assert!(before_ms >= 30_000, "{before_ms}");
    bench.restart(Away::Known(ShopMs(20_000)));
    bench.scan();
    assert!(bench.out.orders.is_empty(), "the first tick is cold");
    bench.scans(5);
    assert!(bench.heats(NORTH));
    assert_eq!(bench.said(|body| matches!(body, EventBody::RodeThrough { .. })), 1);
    assert_eq!(bench.step(), Some(StepKind::Soak));
    assert!(bench.north().purge_proved);
    assert_eq!(bench.row(NORTH, Interrupted), Clear);
    assert!(step_ms(&bench) >= before_ms, "a step is as old as it is, whatever the clock of this run says");
}

/// Makes a gap in the soak and says whether it was ridden through.
fn rides(away: Away, meanwhile: impl Fn(&mut Bench)) -> bool {
    let mut bench = Bench::soaking(&[Kind::gas("north")]);
    bench.restart(away);
    meanwhile(&mut bench);
    bench.scans(70);
    let heats = bench.heats(NORTH);
    if !heats {
        assert!(bench.question(|ask| matches!(ask, Ask::GoOn { .. })).is_some(), "somebody is asked");
        assert_eq!(bench.row(NORTH, Interrupted), Tripped);
    }
    heats
}

#[test]
fn a_gap_that_is_long_or_doubtful_is_not_resumed() {
    let short = Away::Known(ShopMs(20_000));
    assert!(rides(short, |_| {}));
    assert!(!rides(Away::Known(ShopMs(61_000)), |_| {}), "too long");
    assert!(!rides(Away::Unknown, |_| {}), "nobody knows how long");
    assert!(!rides(short, |bench| bench.plants[0].open = true), "the door was opened");
    assert!(!rides(short, |bench| bench.plants[0].read_c = 600.0), "the readings do not agree");
    assert!(!rides(short, |bench| bench.plants[0].switch = false), "the door cannot be read");
    assert!(!rides(short, |bench| bench.plants[0].gas = false), "the flow is not proved again");
    assert!(!rides(short, |bench| bench.plants[0].answers = false), "no readings came");
}

#[test]
fn after_an_interruption_only_a_persons_word_brings_heat_back() {
    let mut bench = Bench::soaking(&[Kind::gas("north")]);
    bench.restart(Away::Known(ShopMs(100_000)));
    bench.scans(3);
    assert!(!bench.heats(NORTH));
    assert!(matches!(bench.reset(), Answer::Refused(_)), "the answer is the reset");
    bench.scans(5);
    assert!(!bench.heats(NORTH));
    let question = bench.question(|ask| matches!(ask, Ask::GoOn { .. })).expect("somebody is asked").clone();
    let Ask::GoOn { because, .. } = &question.ask else { panic!("it is about going on") };
    assert!(because.contains("purge") && because.contains("band"), "{because}");
    assert!(question.text.starts_with(because.as_str()) && question.text.contains("Quench now"), "{}", question.text);
    let texts = |what: &str| bench.events.iter().filter(|event| event.text.contains(what)).count();
    assert_eq!(texts("goes on by itself"), 0, "a person was asked");
    assert_eq!((texts("may have been open at heat"), texts("was opened at heat")), (1, 0), "nobody saw it open");
    bench.choose(|ask| matches!(ask, Ask::GoOn { .. }), Choice::GoOn);
    bench.scans(3);
    assert_eq!(bench.row(NORTH, Interrupted), Clear);
    assert_eq!(bench.said(|body| matches!(body, EventBody::Reset { interlock: Interrupted })), 1);
    let said = |text: &str| bench.events.iter().filter(|event| event.text.starts_with(text)).count();
    assert_eq!(said("ada chose: go on."), 1, "the record says what was chosen");
    assert_eq!(said("ada said what becomes of the load in north: go on."), 1);
}

#[test]
fn an_interrupted_load_that_nobody_answers_for_cools() {
    let mut bench = Bench::soaking(&[Kind::gas("north")]);
    bench.restart(Away::Unknown);
    bench.scans(200);
    assert!(!bench.heats(NORTH));
    assert_eq!(bench.said(|body| matches!(body, EventBody::Answered { by_silence: true, .. })), 1);
    bench.until("the end", |bench| bench.said(|body| matches!(body, EventBody::CycleEnded { .. })) == 1);
    assert_eq!(bench.row(NORTH, Interrupted), Latched, "silence clears no latch");
}

#[test]
fn a_question_outlives_a_restart_with_its_number() {
    let mut bench = Bench::soaking(&[Kind::gas("north")]);
    bench.restart(Away::Unknown);
    bench.scans(2);
    let id = bench.open(|ask| matches!(ask, Ask::GoOn { .. }));
    bench.restart(Away::Unknown);
    bench.scans(2);
    assert_eq!(bench.open(|ask| matches!(ask, Ask::GoOn { .. })), id);
    assert_eq!(bench.view.questions.len(), 1);
}

#[test]
fn a_purge_is_proved_anew_after_every_restart_that_was_not_ridden_through() {
    let mut plan = crate::bench::plan(&[Kind::gas("north")]);
    plan.furnaces[0].on_silence.after = std::time::Duration::from_secs(3600);
    let mut bench = Bench::of(plan, None, Away::Unknown);
    bench.load(NORTH, crate::bench::irons(None));
    bench.until("the proof", |bench| bench.north().purge_proved);
    bench.restart(Away::Unknown);
    bench.scans(2);
    assert!(!bench.north().purge_proved);
    // The question waits; the purge is made again meanwhile, and the service dies once more.
    bench.until("a new proof", |bench| bench.north().purge_proved);
    bench.restart(Away::Unknown);
    bench.scans(2);
    assert!(!bench.north().purge_proved, "nobody watched the second time either");
}

#[test]
fn a_count_does_not_go_on_across_a_gap() {
    let mut bench = Bench::new(&[Kind::gas("north")]);
    bench.load(NORTH, crate::bench::irons(None));
    bench.until("half a purge", |bench| bench.north().changes.is_some_and(|(done, _)| done > 4.0));
    bench.restart(Away::Known(ShopMs(2_000)));
    bench.scans(3);
    assert!(bench.north().changes.is_some_and(|(done, _)| done < 0.5), "{:?}", bench.north().changes);
}

#[test]
fn a_restart_without_any_standing_is_cold() {
    let mut bench = Bench::soaking(&[Kind::gas("north")]);
    let plan = bench.plan.clone();
    let mut plants = std::mem::take(&mut bench.plants);
    plants[0].order = None;
    let mut bench = Bench { plants, ..Bench::of(plan, None, Away::Unknown) };
    bench.scans(20);
    assert!(!bench.heats(NORTH) && bench.north().cycle.is_none());
}

#[test]
fn a_changed_plan_leaves_untouched_furnaces_alone() {
    let mut bench = Bench::soaking(&[Kind::gas("north"), Kind::plain("south")]);
    let mut plan = bench.plan.clone();
    plan.furnaces[1].limit = hearthward_equipment::quantity::celsius(600.0);
    bench.shop.replan(bench.now, plan.clone());
    bench.plan = plan;
    bench.scan();
    assert!(bench.heats(NORTH) && bench.out.cuts.iter().all(|cut| cut.furnace != NORTH));
    let mut plan = bench.plan.clone();
    plan.furnaces[0].limit = hearthward_equipment::quantity::celsius(900.0);
    bench.shop.replan(bench.now, plan.clone());
    bench.plan = plan;
    bench.scan();
    assert!(bench.out.cuts.iter().any(|cut| cut.furnace == NORTH), "a changed furnace begins cold");
    bench.scans(5);
    assert!(bench.heats(NORTH), "and goes on: nobody was away");
    assert_eq!(bench.step(), Some(StepKind::Soak));
}

#[test]
fn a_bad_reading_after_a_restart_widens_nothing() {
    let mut bench = Bench::soaking(&[Kind::gas("north")]);
    bench.restart(Away::Known(ShopMs(10_000)));
    bench.plants[0].quality = Quality::Uncertain;
    bench.scans(30);
    assert!(!bench.heats(NORTH));
}

#[test]
fn an_interruption_says_how_long_and_what_chamber_and_steel_are_at_in_one_question() {
    let mut bench = Bench::new(&[Kind::gas("north")]);
    let part = Part { form: Form::Plate, size: Length::new::<millimeter>(6.0), mass: None };
    bench.load(NORTH, Load { part: Some(part), ..irons(None) });
    bench.until("time in band", |bench| bench.north().cycle.as_ref().is_some_and(|cycle| cycle.in_band_ms > 60_000));
    // The flow is lost, and the steel is asked about; then the service dies.
    bench.plants[0].gas = false;
    bench.until("the steel question", |bench| bench.question(|ask| matches!(ask, Ask::Steel { .. })).is_some());
    let before = bench.plants[0].read_c;
    bench.restart(Away::Known(ShopMs(300_000)));
    bench.scans(3);
    assert_eq!(bench.view.questions.len(), 1, "{:#?}", bench.view.questions);
    let Ask::GoOn { because, away_ms, before_c, now_c, steel_c, quenchable_s } = bench.view.questions[0].ask.clone() else {
        panic!("it is about going on")
    };
    assert!(away_ms.is_some_and(|away_ms| (300_000..302_000).contains(&away_ms)), "{away_ms:?}");
    let (before_c, now_c, steel_c) = (before_c.expect("read"), now_c.expect("read"), steel_c.expect("estimated"));
    assert!((before_c - before).abs() < 2.0 && now_c < before_c - 30.0, "{before_c} {now_c}");
    assert!(steel_c >= now_c - 1.0 && steel_c < before_c, "it lags behind the chamber: {steel_c} between {now_c} and {before_c}");
    assert_eq!(quenchable_s, None, "{now_c} °C is below what can be quenched");
    assert!(because.contains("5 min") && because.contains("steel"), "{because}");
}

#[test]
fn two_short_gaps_in_a_row_that_nobody_could_settle_are_one() {
    let mut bench = Bench::soaking(&[Kind::gas("north")]);
    bench.restart(Away::Known(ShopMs(40_000)));
    bench.plants[0].answers = false;
    bench.scans(2);
    bench.restart(Away::Known(ShopMs(30_000)));
    bench.plants[0].answers = true;
    bench.scans(5);
    assert!(!bench.heats(NORTH));
    assert!(bench.question(|ask| matches!(ask, Ask::GoOn { .. })).is_some(), "seventy seconds are too long");
}

#[test]
fn a_temper_is_overdue_after_a_time_that_nobody_knows_and_a_load_that_is_out_is_not_asked_about() {
    let mut bench = Bench::new(&[Kind::gas("north"), Kind::plain("south")]);
    bench.load(NORTH, irons(Some(SOUTH)));
    bench.until("the call", |bench| bench.question(|ask| matches!(ask, Ask::PartUnder { .. })).is_some());
    bench.plants[0].open = true;
    bench.scans(2);
    bench.confirm(|ask| matches!(ask, Ask::PartUnder { .. }));
    bench.plants[0].open = false;
    bench.scans(5);
    assert_eq!(bench.step(), Some(StepKind::Quench));
    bench.restart(Away::Unknown);
    bench.until("the transfer", |bench| bench.question(|ask| matches!(ask, Ask::Transfer { .. })).is_some());
    assert_eq!(bench.said(|body| matches!(body, EventBody::Asked { ask: Ask::GoOn { .. }, .. })), 0, "nothing there can heat");
    let noted = bench.events.iter().filter(|event| event.body == EventBody::Noted && event.text.contains("overdue"));
    assert_eq!(noted.count(), 1);
}

/// Goal: one load is asked about once. Method: a restart while the load's own question stands, beyond what is ridden through.
#[test]
fn one_question_stands_for_a_load_after_a_restart() {
    let mut bench = Bench::soaking(&[Kind::gas("north")]);
    bench.until("the call to pull", |bench| bench.question(|ask| matches!(ask, Ask::PartUnder { .. })).is_some());
    bench.restart(Away::Unknown);
    bench.scans(3);
    let open: Vec<_> = bench.view.questions.iter().map(|question| question.ask.clone()).collect();
    assert!(matches!(open.as_slice(), [Ask::GoOn { .. }]), "{open:?}");
    let words = bench.north().interlocks.iter().find(|row| row.kind == Interrupted).expect("it applies").text.clone();
    assert!(words.contains("Answer the question"), "{words}");
}

/// Goal: nobody is sent to a question that is not there, and an unread door is no open one. Method: a restart in mid-soak, nothing read yet.
#[test]
fn what_is_not_read_yet_is_told_so() {
    let mut bench = Bench::soaking(&[Kind::gas("north")]);
    bench.restart(Away::Known(ShopMs(5_000)));
    bench.tick();
    let words = bench.north().interlocks.iter().find(|row| row.kind == Interrupted).expect("it applies").text.clone();
    assert!(words.contains("goes on by itself") && bench.view.questions.is_empty(), "{words}");
    let cut = bench.events.iter().rfind(|event| matches!(event.body, EventBody::Cut { .. })).expect("the first tick cuts");
    assert!(cut.text.contains("has not been yet"), "{}", cut.text);
}

/// Goal: a restart is no health. Method: a thermometer that was bad has been healthy for four seconds, then the service dies; the ten begin
/// anew with the first reading after it.
#[test]
fn the_healthy_time_of_a_thermometer_begins_anew_after_a_restart() {
    let mut bench = Bench::soaking(&[Kind::gas("north")]);
    bench.plants[0].quality = Quality::Bad;
    bench.scans(2);
    bench.plants[0].quality = Quality::Good;
    bench.scans(4);
    let read_c = bench.plants[0].read_c;
    bench.restart(Away::Known(ShopMs(5_000)));
    bench.plants[0].read_c = read_c;
    bench.scans(4);
    let reset = Request::Reset { furnace: Some(NORTH), interlock: Some(SensorFault) };
    assert!(bench.refused(reset.clone()).contains("healthy for ten seconds"));
    bench.scans(4);
    assert_eq!(bench.row(NORTH, SensorFault), Tripped);
    bench.scans(4);
    bench.done(reset);
    assert_eq!(bench.row(NORTH, SensorFault), Clear);
}
