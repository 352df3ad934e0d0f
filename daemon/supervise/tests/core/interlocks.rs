//! Each interlock from outside: what trips it, what it does in that very tick, what clears it.

use std::time::Duration;

use hearthward_equipment::quantity::celsius;
use hearthward_equipment::{Evidence, Fault, FaultCode, Quality, Reading, ShopMs, UnitId, Value};
use hearthward_supervise::event::{Event, EventBody, Priority};
use hearthward_supervise::interlock::InterlockKind::{
    self, DoorOpen, DriverLost, GasSupply, OffSetPoint, OneTankOneLoad, OverTemperature, QuenchOverTemperature, RoomOxygen,
    RunTimeLimit, SensorFault, Stop,
};
use hearthward_supervise::observe::{Observation, UnitState, Urgency};
use hearthward_supervise::output::{Act, Via};
use hearthward_supervise::plan::SteelChoice;
use hearthward_supervise::recipe::StepKind;
use hearthward_supervise::request::{Answer, Ask, Choice, Request};
use hearthward_supervise::view::InterlockState::{Clear, Latched, Tripped};

use crate::bench::{Bench, Kind, NORTH, SOUTH, irons, plan};

fn cut_in_the_last_tick(bench: &Bench) -> bool {
    !bench.out.cuts.is_empty() && bench.out.orders.is_empty()
}

#[test]
fn an_open_door_cuts_in_the_tick_that_saw_it_and_heat_comes_back_by_itself_after_a_short_look() {
    let mut bench = Bench::soaking(&[Kind::gas("north")]);
    bench.plants[0].open = true;
    bench.scan();
    assert!(cut_in_the_last_tick(&bench) && !bench.heats(NORTH));
    assert_eq!(bench.row(NORTH, DoorOpen), Tripped);
    bench.scans(8);
    bench.plants[0].open = false;
    bench.scans(3);
    assert_eq!(bench.row(NORTH, DoorOpen), Clear);
    assert!(bench.heats(NORTH));
}

/// Goal: people are warned of an opening that nobody expected, and not of one that they were asked for.
#[test]
fn an_opening_that_was_asked_for_is_no_warning() {
    let cuts = |bench: &Bench| -> Vec<Priority> {
        let cut = |event: &&Event| matches!(&event.body, EventBody::Cut { because, .. } if because.contains(&DoorOpen));
        bench.events.iter().filter(cut).map(|event| event.priority).collect()
    };
    let mut bench = Bench::new(&[Kind::gas("north")]);
    bench.load(NORTH, irons(None));
    bench.until("the call", |bench| bench.question(|ask| matches!(ask, Ask::PartUnder { .. })).is_some());
    let before = cuts(&bench).len();
    bench.plants[0].open = true;
    bench.scans(2);
    assert_eq!(cuts(&bench)[before..], [Priority::Record]);
    let mut bench = Bench::soaking(&[Kind::gas("north")]);
    let before = cuts(&bench).len();
    bench.plants[0].open = true;
    bench.scans(2);
    assert_eq!(cuts(&bench)[before..], [Priority::Warning]);
}

/// Goal: the record reads in the order in which things came about, and a load that never soaked is not said to have soaked for 0 s.
#[test]
fn a_persons_word_comes_before_what_came_of_it() {
    let mut bench = Bench::new(&[Kind::gas("north")]);
    bench.load(NORTH, irons(None));
    let place = |is: fn(&EventBody) -> bool| bench.events.iter().position(|event| is(&event.body)).expect("it was told");
    let confirmed = place(|body| matches!(body, EventBody::Answered { .. }));
    assert!(confirmed < place(|body| matches!(body, EventBody::StepBegan { .. })), "{:#?}", bench.events);
    bench.done(Request::Abort { furnace: NORTH });
    let ended = bench.events.iter().find(|event| matches!(event.body, EventBody::CycleEnded { .. })).expect("it was told");
    assert!(ended.text.ends_with("it was never soaked in band."), "{}", ended.text);
}

#[test]
fn a_long_unexpected_opening_latches_and_asks_about_the_steel() {
    let mut bench = Bench::soaking(&[Kind::gas("north")]);
    bench.plants[0].open = true;
    bench.scans(25);
    assert!(bench.question(|ask| matches!(ask, Ask::Steel { .. })).is_some());
    bench.plants[0].open = false;
    bench.scans(5);
    assert_eq!(bench.row(NORTH, DoorOpen), Latched);
    assert!(!bench.heats(NORTH));
    bench.choose(|ask| matches!(ask, Ask::Steel { .. }), Choice::Steel(SteelChoice::Finish));
    assert!(!bench.heats(NORTH), "a choice about the steel resets nothing");
    assert!(matches!(bench.reset(), Answer::Done(_)));
    bench.scans(3);
    assert!(bench.heats(NORTH));
}

#[test]
fn a_door_that_opened_and_shut_between_two_ticks_is_not_lost() {
    let mut bench = Bench::soaking(&[Kind::gas("north")]);
    let door = bench.plan.furnaces[0].door.expect("it is wired");
    let flag = |at, open| {
        let value = Some(Value::Flag(open));
        Observation::Reading(Reading { point: door, at, value, quality: Quality::Good, evidence: Evidence::Measured })
    };
    let now = bench.now;
    assert_eq!(bench.shop.observe(now, flag(ShopMs(now.0 + 100), true)), Urgency::Now);
    assert_eq!(bench.shop.observe(now, flag(ShopMs(now.0 + 200), false)), Urgency::Scan);
    bench.tick();
    assert!(cut_in_the_last_tick(&bench));
    assert_eq!(bench.said(|body| matches!(body, EventBody::Tripped { interlock: DoorOpen, .. })), 1);
}

#[test]
fn a_door_switch_that_cannot_be_read_is_an_open_door() {
    let mut bench = Bench::soaking(&[Kind::gas("north")]);
    bench.plants[0].switch = false;
    bench.scans(5);
    assert!(bench.heats(NORTH));
    bench.scan();
    assert!(!bench.heats(NORTH) && bench.row(NORTH, DoorOpen) == Tripped);
    bench.plants[0].switch = true;
    bench.scans(3);
    assert!(bench.heats(NORTH), "a driver's short gap is ridden through");
}

#[test]
fn over_temperature_latches_and_even_a_peak_between_two_ticks_counts() {
    let mut bench = Bench::soaking(&[Kind::gas("north")]);
    let point = bench.plan.furnaces[0].temperature;
    let now = bench.now;
    let peak = |at: u64, read_c| {
        let value = Some(Value::Temperature(celsius(read_c)));
        Observation::Reading(Reading { point, at: ShopMs(at), value, quality: Quality::Good, evidence: Evidence::Measured })
    };
    assert_eq!(bench.shop.observe(now, peak(now.0 + 1, 1000.5)), Urgency::Now);
    bench.shop.observe(now, peak(now.0 + 2, 800.0));
    bench.tick();
    assert!(cut_in_the_last_tick(&bench));
    bench.scans(30);
    assert_eq!(bench.row(NORTH, OverTemperature), Latched);
    assert!(!bench.heats(NORTH));
    assert!(bench.question(|ask| matches!(ask, Ask::Steel { .. })).is_some(), "the steel is hot, so somebody must decide");
    bench.reset();
    bench.scans(15);
    bench.reset();
    bench.scans(3);
    assert!(!bench.heats(NORTH), "a reset starts no heat by itself");
    bench.choose(|ask| matches!(ask, Ask::GoOn { .. }), Choice::GoOn);
    bench.scans(3);
    assert!(bench.heats(NORTH));
}

#[test]
fn a_reset_is_refused_while_the_cause_stands() {
    let mut bench = Bench::soaking(&[Kind::gas("north")]);
    bench.plants[0].quality = Quality::Bad;
    bench.scan();
    assert!(!bench.heats(NORTH));
    assert_eq!(bench.row(NORTH, SensorFault), Tripped);
    assert!(matches!(bench.reset(), Answer::Refused(_)));
    bench.plants[0].quality = Quality::Good;
    bench.scans(5);
    assert!(matches!(bench.reset(), Answer::Refused(_)), "healthy for too short");
    bench.scans(10);
    assert_eq!(bench.row(NORTH, SensorFault), Latched);
    assert!(matches!(bench.reset(), Answer::Done(_)));
    assert_eq!(bench.row(NORTH, SensorFault), Clear);
}

#[test]
fn a_jump_that_no_furnace_can_make_is_a_sensor_fault() {
    let mut bench = Bench::soaking(&[Kind::gas("north")]);
    bench.plants[0].read_c = 740.0;
    bench.scan();
    assert_eq!(bench.row(NORTH, SensorFault), Tripped);
    assert!(cut_in_the_last_tick(&bench));
}

#[test]
fn the_rate_check_sleeps_while_the_door_is_open() {
    let mut bench = Bench::soaking(&[Kind::gas("north")]);
    bench.plants[0].open = true;
    bench.scan();
    bench.plants[0].read_c = 700.0;
    bench.scans(3);
    bench.plants[0].open = false;
    bench.scans(5);
    assert_eq!(bench.row(NORTH, SensorFault), Clear);
}

#[test]
fn a_thermometer_that_does_not_answer_to_heat_is_a_sensor_fault() {
    let mut bench = Bench::new(&[Kind::gas("north")]);
    bench.load(NORTH, irons(None));
    bench.until("heat", |bench| bench.plants[0].read_c > 300.0);
    let frozen = bench.plants[0].read_c;
    for _ in 0..590 {
        bench.plants[0].read_c = frozen;
        bench.scan();
    }
    assert!(bench.heats(NORTH));
    for _ in 0..20 {
        bench.plants[0].read_c = frozen;
        bench.scan();
    }
    assert_eq!(bench.row(NORTH, SensorFault), Tripped);
    assert!(!bench.heats(NORTH));
}

#[test]
fn a_lost_driver_cuts_and_is_ridden_through_when_it_is_back_soon() {
    let mut bench = Bench::soaking(&[Kind::gas("north")]);
    bench.plants[0].answers = false;
    bench.scans(6);
    assert_eq!(bench.row(NORTH, DriverLost), Tripped);
    assert!(!bench.heats(NORTH));
    bench.scans(20);
    bench.plants[0].answers = true;
    bench.scans(3);
    assert_eq!(bench.row(NORTH, DriverLost), Clear);
    assert!(bench.heats(NORTH));
}

#[test]
fn a_driver_lost_for_long_needs_a_reset() {
    let mut bench = Bench::soaking(&[Kind::gas("north")]);
    bench.plants[0].answers = false;
    bench.scans(6);
    assert!(bench.question(|ask| matches!(ask, Ask::Steel { .. })).is_some(), "hot steel is asked about at once");
    bench.scans(64);
    bench.plants[0].answers = true;
    bench.scans(15);
    assert_eq!(bench.row(NORTH, DriverLost), Latched);
    assert!(!bench.heats(NORTH));
    let question = bench.question(|ask| matches!(ask, Ask::GoOn { .. })).expect("what it reads now is told").clone();
    let Ask::GoOn { away_ms, before_c, now_c, .. } = question.ask else { panic!("it is about going on") };
    assert!(away_ms.is_some_and(|away_ms| (60_000..72_000).contains(&away_ms)), "{away_ms:?}");
    assert!(before_c.zip(now_c).is_some_and(|(before_c, now_c)| before_c > now_c), "{before_c:?} {now_c:?}");
    assert_eq!(bench.view.questions.len(), 1, "one question stands for a load");
    bench.reset();
    bench.scans(3);
    assert_eq!(bench.row(NORTH, DriverLost), Clear);
    assert!(!bench.heats(NORTH), "a reset starts no heat by itself");
    bench.choose(|ask| matches!(ask, Ask::GoOn { .. }), Choice::GoOn);
    bench.scans(3);
    assert!(bench.heats(NORTH));
}

#[test]
fn readings_that_do_not_agree_across_a_gap_need_a_reset() {
    let mut bench = Bench::soaking(&[Kind::gas("north")]);
    bench.plants[0].answers = false;
    bench.scans(10);
    bench.plants[0].read_c = 600.0;
    bench.plants[0].answers = true;
    bench.scans(3);
    assert_ne!(bench.row(NORTH, DriverLost), Clear);
    assert!(!bench.heats(NORTH));
}

/// Goal: a controller that is switched off for the night does not fill the record. Method: each attempt is bad, and its reading grows
/// old before the next.
#[test]
fn a_point_that_stays_useless_is_told_once() {
    let mut bench = Bench::new(&[Kind::plain("north")]);
    bench.scans(3);
    let point = bench.plan.furnaces[0].temperature;
    let told = |bench: &Bench| bench.said(|body| matches!(body, EventBody::PointQuality { point: of, .. } if *of == point));
    bench.plants[0].answers = false;
    for _ in 0..20 {
        bench.reading(point, None, Quality::Bad);
        bench.scans(10);
    }
    assert_eq!(told(&bench), 1);
    bench.plants[0].answers = true;
    bench.scan();
    assert_eq!(told(&bench), 2, "and that it is good again");
}

#[test]
fn a_driver_out_of_service_cuts_at_once() {
    let mut bench = Bench::soaking(&[Kind::gas("north")]);
    let unit = bench.plan.furnaces[0].controller.expect("it has one");
    let is = UnitState::OutOfService(Fault::new(FaultCode::LIMIT, "it used up its time"));
    assert_eq!(bench.shop.observe(bench.now, Observation::Unit { unit, is }), Urgency::Now);
    bench.tick();
    assert!(cut_in_the_last_tick(&bench));
    assert_eq!(bench.said(|body| matches!(body, EventBody::Unit { unit: UnitId(_), .. })), 1);
}

#[test]
fn a_silent_device_is_a_lost_driver_and_not_a_broken_sensor() {
    let mut bench = Bench::soaking(&[Kind::gas("north")]);
    let (unit, point) = (bench.plan.furnaces[0].controller.expect("it has one"), bench.plan.furnaces[0].temperature);
    bench.plants[0].answers = false;
    let is = UnitState::Silent(Fault::new(FaultCode::TIMED_OUT, "no answer"));
    bench.shop.observe(bench.now, Observation::Unit { unit, is });
    for _ in 0..10 {
        bench.reading(point, None, Quality::Bad);
        bench.scan();
    }
    assert_eq!((bench.row(NORTH, DriverLost), bench.row(NORTH, SensorFault)), (Tripped, Clear));
    bench.shop.observe(bench.now, Observation::Unit { unit, is: UnitState::Answering });
    for _ in 0..10 {
        bench.reading(point, None, Quality::Bad);
        bench.scan();
    }
    assert_eq!(bench.row(NORTH, SensorFault), Tripped, "it answers, and gives no temperature");
}

#[test]
fn off_its_set_point_alarms_and_cuts_nothing() {
    let mut bench = Bench::soaking(&[Kind::gas("north")]);
    for _ in 0..70 {
        bench.plants[0].read_c = 785.0;
        bench.scan();
    }
    assert_eq!(bench.row(NORTH, OffSetPoint), Tripped);
    assert!(bench.heats(NORTH));
    bench.until("back in band", |bench| bench.row(NORTH, OffSetPoint) == Clear);
}

#[test]
fn stop_cuts_everything_and_a_reset_starts_nothing_that_was_not_wanted() {
    let mut bench = Bench::soaking(&[Kind::gas("north"), Kind::plain("south")]);
    bench.done(Request::Stop { furnace: None });
    assert!(cut_in_the_last_tick(&bench));
    assert_eq!((bench.row(NORTH, Stop), bench.row(SOUTH, Stop)), (Latched, Latched));
    bench.scans(20);
    assert!(!bench.heats(NORTH));
    bench.done(Request::Reset { furnace: Some(SOUTH), interlock: None });
    assert_eq!((bench.row(NORTH, Stop), bench.row(SOUTH, Stop)), (Latched, Clear));
    bench.scans(3);
    assert!(!bench.heats(SOUTH) && !bench.heats(NORTH));
}

#[test]
fn the_first_cause_is_kept_apart_from_those_that_followed() {
    let mut bench = Bench::soaking(&[Kind::gas("north")]);
    bench.plants[0].quality = Quality::Bad;
    bench.scan();
    bench.done(Request::Stop { furnace: Some(NORTH) });
    bench.plants[0].open = true;
    bench.scans(2);
    let first: Vec<InterlockKind> = bench.north().interlocks.iter().filter(|row| row.first).map(|row| row.kind).collect();
    assert!(first.contains(&SensorFault) && !first.contains(&Stop) && !first.contains(&DoorOpen), "{first:?}");
}

#[test]
fn low_room_oxygen_forbids_a_start_and_dangerous_oxygen_cuts_and_shuts_gas() {
    let mut bench = Bench::soaking(&[Kind::gas("north")]);
    bench.oxygen = Some(0.19);
    bench.scans(20);
    assert!(bench.heats(NORTH) && bench.row(NORTH, RoomOxygen) == Tripped);
    bench.oxygen = Some(0.17);
    bench.scans(2);
    assert!(bench.heats(NORTH), "debounced");
    bench.acts.clear();
    bench.scans(2);
    assert!(!bench.heats(NORTH));
    let valve = bench.plan.furnaces[0].gas.as_ref().and_then(|gas| gas.valve).expect("one is wired").output;
    let horn = bench.plan.room.horn.expect("one is wired");
    assert!(bench.acts.contains(&Act::WritePoint { point: valve, value: Value::Flag(false) }));
    assert!(bench.acts.contains(&Act::WritePoint { point: horn, value: Value::Flag(true) }));
    bench.oxygen = Some(0.209);
    bench.scans(5);
    assert_eq!(bench.row(NORTH, RoomOxygen), Latched);
    assert!(bench.plants[0].flow.value == 0.0);
    bench.reset();
    bench.scans(3);
    assert_eq!(bench.row(NORTH, RoomOxygen), Clear);
}

#[test]
fn a_bad_oxygen_monitor_never_shuts_gas_off_under_a_hot_load() {
    let mut bench = Bench::soaking(&[Kind::gas("north"), Kind::plain("south")]);
    bench.oxygen = None;
    bench.scans(60);
    assert_eq!(bench.row(NORTH, RoomOxygen), Tripped);
    assert!(bench.heats(NORTH) && bench.plants[0].flow.value > 0.0);
    let mut load = irons(None);
    load.protection = hearthward_supervise::recipe::Protection::None;
    load.name = "spokeshaves".parse().expect("a name");
    assert!(bench.refused(Request::Start { furnace: SOUTH, load, ready_in: None }).contains("oxygen"));
}

#[test]
fn a_furnace_that_nobody_looks_after_stops_at_its_run_time_limit() {
    let mut plan = plan(&[Kind::plain("north")]);
    plan.furnaces[0].run_time_limit = Some(Duration::from_secs(600));
    let mut bench = Bench::of(plan, None, hearthward_supervise::Away::Unknown);
    let mut load = irons(None);
    load.protection = hearthward_supervise::recipe::Protection::None;
    load.steps.remove(0);
    bench.load(NORTH, load);
    bench.scans(500);
    bench.done(Request::Hold { furnace: NORTH });
    bench.scans(590);
    assert!(bench.heats(NORTH), "a person's request is a sign of life");
    bench.scans(20);
    assert!(!bench.heats(NORTH));
    assert!(matches!(bench.reset(), Answer::Done(_)));
    bench.scans(3);
    assert!(!bench.heats(NORTH), "a reset starts no heat by itself");
    bench.choose(|ask| matches!(ask, Ask::GoOn { .. }), Choice::GoOn);
    bench.scans(3);
    assert!(bench.heats(NORTH) && bench.row(NORTH, RunTimeLimit) == Clear);
}

#[test]
fn a_bath_near_its_flash_point_lets_no_part_be_pulled() {
    let mut bench = Bench::soaking(&[Kind::gas("north")]);
    bench.oil_c = 153.0;
    bench.scan();
    assert_eq!(bench.row(NORTH, QuenchOverTemperature), Tripped);
    bench.oil_c = 50.0;
    bench.scans(900);
    assert_eq!(bench.step(), Some(StepKind::Soak), "latched: no pull");
    assert!(bench.heats(NORTH), "the steel waits at heat");
    bench.done(Request::Reset { furnace: None, interlock: Some(QuenchOverTemperature) });
    bench.until("the pull", |bench| bench.step() == Some(StepKind::Pull));
}

#[test]
fn a_second_furnace_waits_for_the_tank() {
    let mut bench = Bench::new(&[Kind::gas("north"), Kind::gas("south")]);
    bench.load(NORTH, irons(None));
    bench.load(SOUTH, irons(None));
    bench.until("the pull", |bench| bench.step() == Some(StepKind::Pull));
    bench.until("the other waits", |bench| bench.row(SOUTH, OneTankOneLoad) == Tripped);
    bench.scans(30);
    assert!(bench.heats(SOUTH), "it waits at heat");
    let parts = bench.view.questions.iter().filter(|question| matches!(question.ask, Ask::PartUnder { .. })).count();
    assert_eq!(parts, 1);
    bench.plants[0].open = true;
    bench.scans(2);
    bench.confirm(|ask| matches!(ask, Ask::PartUnder { .. }));
    bench.plants[0].open = false;
    bench.until("its own pull", |bench| bench.view.furnaces[1].cycle.as_ref().is_some_and(|cycle| cycle.step == StepKind::Pull));
    assert_eq!(bench.row(SOUTH, OneTankOneLoad), Clear);
}

#[test]
fn a_cylinder_that_will_not_reach_is_told_at_the_start() {
    let mut bench = Bench::new(&[Kind::gas("north")]);
    bench.gauge_bar = 9.0;
    bench.load(NORTH, irons(None));
    bench.scans(3);
    assert_eq!(bench.row(NORTH, GasSupply), Tripped);
    bench.gauge_bar = 150.0;
    bench.scans(65);
    assert_eq!(bench.row(NORTH, GasSupply), Clear);
}

#[test]
fn a_cut_that_is_not_read_back_drops_the_contactor_and_is_repeated() {
    let mut bench = Bench::soaking(&[Kind { contactor: true, ..Kind::gas("north") }]);
    assert!(bench.plants[0].closed.is_some_and(|until| until > bench.now), "the contactor is kept closed by orders");
    bench.plants[0].confirms = false;
    bench.plants[0].cuts.clear();
    bench.plants[0].open = true;
    bench.scan();
    assert!(bench.plants[0].cuts.iter().all(|(_, via)| *via == Via::Controller));
    bench.scans(2);
    assert!(bench.plants[0].cuts.iter().any(|(_, via)| *via == Via::Contactor));
    let unconfirmed = |bench: &Bench| bench.said(|body| matches!(body, EventBody::CutUnconfirmed { .. }));
    assert_eq!(unconfirmed(&bench), 1);
    let so_far = bench.plants[0].cuts.len();
    bench.scans(4);
    assert!(bench.plants[0].cuts.len() > so_far, "again and again until it is read back");
    assert_eq!(unconfirmed(&bench), 1, "said once");
    bench.plants[0].confirms = true;
    bench.scans(4);
    let so_far = bench.plants[0].cuts.len();
    bench.scans(6);
    assert_eq!(bench.plants[0].cuts.len(), so_far);
}

#[test]
fn an_end_in_order_cuts_heat_and_leaves_gas() {
    let mut bench = Bench::soaking(&[Kind::gas("north")]);
    let flow = bench.plants[0].flow;
    assert_eq!(bench.shop.observe(bench.now, Observation::Stopping), Urgency::Now);
    bench.tick();
    assert!(cut_in_the_last_tick(&bench));
    bench.scans(5);
    assert!(!bench.heats(NORTH));
    assert!((bench.plants[0].flow.value - flow.value).abs() < 1e-15);
    assert_eq!(bench.said(|body| matches!(body, EventBody::Ending)), 1);
    assert!(bench.shop.standing().is_clean());
    bench.refused(Request::Start { furnace: NORTH, load: irons(None), ready_in: None });
}

#[test]
fn every_sentence_stands_alone() {
    let mut bench = Bench::soaking(&[Kind::gas("north"), Kind::plain("south")]);
    bench.plants[0].open = true;
    bench.scans(30);
    bench.plants[0].quality = Quality::Bad;
    bench.oxygen = Some(0.17);
    bench.scans(30);
    bench.done(Request::Stop { furnace: None });
    for event in &bench.events {
        assert!(event.text.len() > 10 && event.text.len() < 700, "{}", event.text);
        if let Some(furnace) = event.furnace {
            let name = bench.plan.furnaces[furnace.index()].name.as_str();
            assert!(event.text.contains(name), "does not name {name}: {}", event.text);
        }
    }
    for row in bench.view.furnaces.iter().flat_map(|furnace| &furnace.interlocks) {
        assert_eq!(row.text.is_empty(), row.state == Clear, "{row:?}");
    }
    assert!(bench.events.iter().any(|event| event.priority == Priority::Urgent));
}
