//! Gaps of every kind: ticks that come late, readings that do not come, people and latches that hold what others could use.

use std::time::Duration;

use hearthward_equipment::quantity::gas_flow;
use hearthward_equipment::{FurnaceId, PointId, Quality, ShopMs, Value};
use hearthward_supervise::Away;
use hearthward_supervise::event::EventBody;
use hearthward_supervise::interlock::InterlockKind::{DoorOpen, DriverLost, OneTankOneLoad, RoomOxygen};
use hearthward_supervise::output::Act;
use hearthward_supervise::plan::{Heating, SteelChoice};
use hearthward_supervise::request::{Ask, Choice, Request};
use hearthward_supervise::view::InterlockState::{Clear, Latched, Tripped};
use hearthward_supervise::view::QuestionView;
use uom::si::f64::{Power, Ratio};
use uom::si::power::kilowatt;
use uom::si::ratio::ratio;

use crate::bench::{Bench, Kind, NORTH, SOUTH, irons, plan};

/// The computer sleeps for so long between two ticks; every reading is fresh when it wakes.
fn sleep(bench: &mut Bench, seconds: u64) {
    bench.now = bench.now + Duration::from_secs(seconds);
    bench.scan();
}

#[test]
fn a_tick_that_came_late_cuts_and_a_short_one_is_ridden_through() {
    let mut bench = Bench::soaking(&[Kind::gas("north")]);
    sleep(&mut bench, 20);
    assert!(bench.out.orders.is_empty() && bench.out.cuts.len() == 1, "nobody watched for 20 s");
    assert_eq!(bench.row(NORTH, DriverLost), Tripped);
    bench.scans(4);
    assert_eq!(bench.row(NORTH, DriverLost), Clear);
    assert!(bench.heats(NORTH));
}

#[test]
fn a_tick_that_came_later_than_is_ridden_through_latches() {
    let mut bench = Bench::soaking(&[Kind::gas("north")]);
    sleep(&mut bench, 70);
    bench.scans(10);
    assert_eq!(bench.row(NORTH, DriverLost), Latched);
    assert!(!bench.heats(NORTH));
}

#[test]
fn a_purge_does_not_count_what_nobody_watched() {
    let mut bench = Bench::new(&[Kind::gas("north")]);
    bench.load(NORTH, irons(None));
    bench.until("half a purge", |bench| bench.north().changes.is_some_and(|(done, _)| done > 4.0));
    // As short as is ridden through: nothing but the purge itself looks at it.
    sleep(&mut bench, 20);
    bench.scan();
    assert!(!bench.north().purge_proved);
    assert!(bench.north().changes.is_some_and(|(done, _)| done < 0.5), "{:?}", bench.north().changes);
}

#[test]
fn a_cut_in_a_late_tick_has_its_time_to_be_confirmed() {
    let mut bench = Bench::soaking(&[Kind { contactor: true, ..Kind::gas("north") }]);
    sleep(&mut bench, 30);
    assert_eq!(bench.out.cuts.len(), 1, "the contactor is not dropped before anybody could answer: {:?}", bench.out.cuts);
    bench.scans(3);
    assert_eq!(bench.said(|body| matches!(body, EventBody::CutUnconfirmed { .. })), 0);
}

#[test]
fn one_look_at_thin_air_is_no_danger_however_late_it_comes() {
    let mut bench = Bench::soaking(&[Kind::gas("north")]);
    bench.oxygen = Some(0.17);
    sleep(&mut bench, 4);
    assert_eq!(bench.said(|body| matches!(body, EventBody::Tripped { interlock: RoomOxygen, latched: true, .. })), 0);
    bench.oxygen = Some(0.209);
    bench.scan();
    assert_eq!(bench.row(NORTH, RoomOxygen), Clear);
    bench.oxygen = Some(0.17);
    bench.scans(3);
    assert_eq!(bench.said(|body| matches!(body, EventBody::Tripped { interlock: RoomOxygen, latched: true, .. })), 1);
}

#[test]
fn a_meter_is_told_to_shut_by_the_run_after_the_one_that_opened_it() {
    let mut bench = Bench::soaking(&[Kind::gas("north")]);
    bench.done(Request::Abort { furnace: NORTH });
    assert!(bench.plants[0].flow.value > 0.0, "gas stays on while it is hot");
    // The next run finds it cold.
    let mut next = Bench::of(bench.plan.clone(), Some(bench.shop.standing()), Away::Unknown);
    next.scans(3);
    let told: Vec<f64> =
        next.acts.iter().filter_map(|act| if let Act::SetFlow { flow, .. } = act { Some(flow.value) } else { None }).collect();
    assert_eq!(told.last(), Some(&0.0), "{told:?}");
}

#[test]
fn a_latched_furnace_gives_its_power_to_one_that_waits() {
    let mut plan = plan(&[Kind::plain("north"), Kind::plain("south")]);
    plan.electrical_demand = Some(Power::new::<kilowatt>(3.0));
    let mut bench = Bench::of(plan, None, Away::Unknown);
    for furnace in [NORTH, SOUTH] {
        let mut load = irons(None);
        load.protection = hearthward_supervise::recipe::Protection::FoilPack;
        load.steps.remove(0);
        bench.load(furnace, load);
    }
    bench.scans(10);
    assert!(bench.heats(NORTH) && !bench.heats(SOUTH), "there is power for one");
    bench.done(Request::Stop { furnace: Some(NORTH) });
    bench.scans(5);
    assert!(bench.heats(SOUTH), "what waits for a reset keeps no power");
    bench.done(Request::Reset { furnace: Some(NORTH), interlock: None });
    bench.scans(5);
    assert!(bench.heats(SOUTH) && !bench.heats(NORTH), "whoever comes back waits its turn");
}

#[test]
fn a_temper_in_a_furnace_that_is_driven_otherwise_is_refused() {
    let program = Kind { heating: Heating::Program, ..Kind::gas("south") };
    let mut bench = Bench::new(&[Kind::gas("north"), program]);
    bench.scans(2);
    let text = bench.refused(Request::Start { furnace: NORTH, load: irons(Some(SOUTH)), ready_in: None });
    assert!(text.contains("south runs programs of its own"), "{text}");
}

#[test]
fn a_soak_that_is_skipped_waits_for_the_tank_that_another_load_holds() {
    let mut bench = Bench::new(&[Kind::gas("north"), Kind::gas("south")]);
    bench.load(NORTH, irons(None));
    bench.load(SOUTH, irons(None));
    let soaks = |bench: &Bench, at: usize| {
        let cycle = bench.view.furnaces[at].cycle.as_ref();
        cycle.is_some_and(|cycle| cycle.step == hearthward_supervise::recipe::StepKind::Soak)
    };
    bench.until("both soaks", |bench| soaks(bench, 0) && soaks(bench, 1));
    for furnace in [NORTH, SOUTH] {
        bench.done(Request::Skip { furnace, reason: "a test".to_owned() });
    }
    bench.scans(3);
    let calls =
        |bench: &Bench| bench.view.questions.iter().filter(|question| matches!(question.ask, Ask::PartUnder { .. })).count();
    assert_eq!(calls(&bench), 1, "one tank, one load");
    assert_eq!(bench.row(SOUTH, OneTankOneLoad), Tripped);
    bench.confirm(|ask| matches!(ask, Ask::PartUnder { .. }));
    bench.until("the second call", |bench| calls(bench) == 1 && bench.row(SOUTH, OneTankOneLoad) == Clear);
}

/// Two loads at the end of their soaks and one bath that is too cold: the first holds the tank, the second waits.
fn at_a_cold_tank() -> Bench {
    let mut bench = Bench::new(&[Kind::gas("north"), Kind::gas("south")]);
    bench.oil_c = 20.0;
    bench.load(NORTH, irons(None));
    bench.scans(60);
    bench.load(SOUTH, irons(None));
    bench.until("both at their ends", |bench| bench.row(SOUTH, OneTankOneLoad) == Tripped);
    bench
}

#[test]
fn a_soak_that_is_skipped_keeps_its_place_at_the_tank() {
    let mut bench = at_a_cold_tank();
    bench.done(Request::Skip { furnace: NORTH, reason: "a test".to_owned() });
    assert_eq!(bench.view.tanks[0].kept_for.as_ref(), Some(&bench.plan.furnaces[0].name), "it was first");
    assert_eq!((bench.row(NORTH, OneTankOneLoad), bench.row(SOUTH, OneTankOneLoad)), (Clear, Tripped));
}

/// Goal: a load that a person holds keeps nobody from a free tank. Method: three loads; the second waits for the tank of the first and is
/// held; the third gets it.
#[test]
fn a_load_that_is_held_lets_others_go_first_to_the_tank() {
    let third = hearthward_equipment::FurnaceId(2);
    let mut bench = Bench::new(&[Kind::gas("north"), Kind::gas("south"), Kind::gas("west")]);
    for furnace in [NORTH, SOUTH, third] {
        bench.load(furnace, irons(None));
        bench.scans(60);
    }
    bench.until("the third waits", |bench| bench.row(third, OneTankOneLoad) == Tripped);
    assert_eq!(bench.row(SOUTH, OneTankOneLoad), Tripped);
    bench.done(Request::Hold { furnace: SOUTH });
    for furnace in [NORTH, third] {
        let name = bench.plan.furnaces[furnace.index()].name.clone();
        let part =
            |question: &&QuestionView| matches!(question.ask, Ask::PartUnder { .. }) && question.furnace.as_ref() == Some(&name);
        bench.until("the call", |bench| bench.view.questions.iter().any(|question| part(&question)));
        let question = bench.view.questions.iter().find(part).expect("called").id;
        bench.done(Request::Confirm { question, reading: None });
    }
    bench.done(Request::Resume { furnace: SOUTH });
    bench.until("the call", |bench| bench.question(|ask| matches!(ask, Ask::PartUnder { .. })).is_some());
}

/// Goal: a load that waits for a reset keeps no tank from those who could use it. Method: the first load holds a tank that is too cold, and
/// is stopped; the bath is ready when the second comes to its end.
#[test]
fn a_load_that_waits_for_a_reset_gives_its_tank_to_one_that_waits() {
    let mut bench = at_a_cold_tank();
    bench.done(Request::Stop { furnace: Some(NORTH) });
    bench.plants[0].read_c = 780.0;
    bench.oil_c = 50.0;
    bench.scans(3);
    assert_eq!(bench.view.tanks[0].kept_for.as_ref(), Some(&bench.plan.furnaces[1].name));
    let part = |question: &QuestionView| matches!(question.ask, Ask::PartUnder { .. });
    let called: Vec<_> = bench.view.questions.iter().filter(|question| part(question)).collect();
    assert!(called.len() == 1 && called[0].furnace.as_ref() == Some(&bench.plan.furnaces[1].name), "{called:#?}");
}

/// Goal: a load that holds the tank and cannot use it keeps nobody from it. Method: the first load holds a tank that is too cold; a person
/// holds the load, or its chamber falls; the bath is ready then, the second is called, and the first after it.
#[test]
fn a_load_that_holds_the_tank_and_waits_gives_it_to_one_that_can_use_it() {
    let called = |bench: &Bench, furnace: FurnaceId| {
        let name = &bench.plan.furnaces[furnace.index()].name;
        let mut questions = bench.view.questions.iter();
        let part = |question: &&QuestionView| matches!(question.ask, Ask::PartUnder { .. });
        questions.find(|question| part(question) && question.furnace.as_ref() == Some(name)).map(|question| question.id)
    };
    for by_a_person in [true, false] {
        let mut bench = at_a_cold_tank();
        assert_eq!(bench.view.tanks[0].kept_for.as_ref(), Some(&bench.plan.furnaces[0].name));
        if by_a_person {
            bench.done(Request::Hold { furnace: NORTH });
        } else {
            bench.plants[0].read_c = 780.0;
            bench.scan();
        }
        bench.oil_c = 50.0;
        bench.scans(3);
        assert_eq!(bench.view.tanks[0].kept_for.as_ref(), Some(&bench.plan.furnaces[1].name), "{by_a_person}");
        let question = called(&bench, SOUTH).expect("the second is called");
        assert_eq!(called(&bench, NORTH), None, "{by_a_person}");
        if by_a_person {
            bench.done(Request::Resume { furnace: NORTH });
        }
        bench.done(Request::Confirm { question, reading: None });
        bench.until("the first call", |bench| called(bench, NORTH).is_some());
    }
}

#[test]
fn steel_that_is_quenched_at_once_waits_for_no_tank() {
    let mut bench = Bench::new(&[Kind::gas("north"), Kind::gas("south")]);
    bench.load(NORTH, irons(None));
    bench.scans(60);
    bench.load(SOUTH, irons(None));
    let calls = |ask: &Ask| matches!(ask, Ask::PartUnder { .. });
    bench.until("the first call", |bench| bench.question(calls).is_some());
    bench.until("the second waits", |bench| bench.row(SOUTH, OneTankOneLoad) == Tripped);
    bench.plants[1].gas = false;
    bench.until("the question", |bench| bench.question(|ask| matches!(ask, Ask::Steel { .. })).is_some());
    bench.choose(|ask| matches!(ask, Ask::Steel { .. }), Choice::Steel(SteelChoice::QuenchNow));
    bench.scans(2);
    assert_eq!(bench.view.questions.iter().filter(|question| calls(&question.ask)).count(), 2);
    assert_eq!(bench.row(SOUTH, OneTankOneLoad), Clear, "what is called waits no more");
}

#[test]
fn nobody_knows_twice_how_long_a_temper_has_waited() {
    let mut bench = Bench::new(&[Kind::gas("north"), Kind::gas("south")]);
    bench.load(NORTH, irons(Some(SOUTH)));
    bench.until("the call", |bench| bench.question(|ask| matches!(ask, Ask::PartUnder { .. })).is_some());
    bench.confirm(|ask| matches!(ask, Ask::PartUnder { .. }));
    bench.until("the move", |bench| bench.question(|ask| matches!(ask, Ask::Transfer { .. })).is_some());
    for _ in 0..3 {
        bench.restart(Away::Unknown);
        bench.scans(2);
    }
    assert!(bench.question(|ask| matches!(ask, Ask::Transfer { .. })).is_some());
}

/// A furnace whose meter is read by eye and that has a probe, until the end of its purge is to be confirmed.
fn confirming() -> (Bench, PointId) {
    let mut plan = plan(&[Kind { by_eye: true, ..Kind::gas("north") }]);
    let probe = plan.directory.point(&"bench/probe.oxygen".parse().expect("a test's address"));
    plan.furnaces[0].probe = Some(probe);
    let mut bench = Bench::of(plan, None, Away::Unknown);
    bench.load(NORTH, irons(None));
    bench.scans(2);
    say_flow(&mut bench, 8.0);
    for _ in 0..3600 {
        read_probe(&mut bench, probe, 20e-6);
        bench.scan();
        if bench.question(|ask| matches!(ask, Ask::SetFlow { .. })).is_some() {
            return (bench, probe);
        }
    }
    panic!("nobody is asked at the end of the purge");
}

fn read_probe(bench: &mut Bench, probe: PointId, oxygen: f64) {
    bench.reading(probe, Some(Value::Share(Ratio::new::<ratio>(oxygen))), Quality::Good);
}

fn say_flow(bench: &mut Bench, litres_per_minute: f64) {
    let question = bench.open(|ask| matches!(ask, Ask::SetFlow { .. }));
    let reading = Some(Value::GasFlow(gas_flow(litres_per_minute, 21.1, 101.325)));
    bench.ask(Request::Confirm { question, reading });
}

#[test]
fn a_purge_by_eye_is_not_confirmed_past_a_probe_that_changed_its_mind() {
    for (oxygen, proves) in [(20e-6, true), (0.1, false)] {
        let (mut bench, probe) = confirming();
        read_probe(&mut bench, probe, oxygen);
        bench.scan();
        if let Some(question) = bench.question(|ask| matches!(ask, Ask::SetFlow { .. })).map(|question| question.id) {
            let reading = Some(Value::GasFlow(gas_flow(2.0, 21.1, 101.325)));
            read_probe(&mut bench, probe, oxygen);
            bench.ask(Request::Confirm { question, reading });
        }
        assert_eq!(bench.north().purge_proved, proves, "the probe reads {oxygen}");
    }
}

#[test]
fn a_run_goes_on_from_one_whose_meter_was_read_by_eye() {
    let (mut bench, _) = confirming();
    bench.restart(Away::Known(ShopMs(5_000)));
    bench.scans(3);
    assert!(!bench.north().purge_proved, "nobody has looked at the meter since");
}

#[test]
fn what_could_not_be_ridden_through_is_not_said_to_be() {
    let ridden = |bench: &Bench| bench.said(|body| matches!(body, EventBody::RodeThrough { .. }));
    let mut bench = Bench::new(&[Kind::gas("north")]);
    bench.scans(2);
    bench.done(Request::Start { furnace: NORTH, load: irons(None), ready_in: None });
    bench.plants[0].switch = false;
    bench.scans(90);
    bench.plants[0].switch = true;
    bench.scans(5);
    assert_eq!((bench.row(NORTH, DoorOpen), ridden(&bench)), (Clear, 0), "longer than a gap may be");

    let mut bench = Bench::soaking(&[Kind::gas("north")]);
    bench.done(Request::Stop { furnace: None });
    bench.plants[0].answers = false;
    bench.scans(20);
    bench.plants[0].answers = true;
    bench.scans(5);
    assert_eq!((bench.row(NORTH, DriverLost), ridden(&bench)), (Clear, 0), "a stop stands: its load does not go on");
}

#[test]
fn an_interrupted_furnace_gives_its_power_to_one_that_may_go_on() {
    let mut plan = plan(&[Kind::plain("north"), Kind::plain("south")]);
    plan.electrical_demand = Some(Power::new::<kilowatt>(3.0));
    let mut bench = Bench::of(plan, None, Away::Unknown);
    for furnace in [NORTH, SOUTH] {
        let mut load = irons(None);
        load.protection = hearthward_supervise::recipe::Protection::FoilPack;
        load.steps.remove(0);
        bench.load(furnace, load);
    }
    bench.until("one is at heat", |bench| bench.north().temperature_c.is_some_and(|read_c| read_c > 300.0));
    bench.restart(Away::Unknown);
    bench.scans(20);
    let south = bench.plan.furnaces[1].name.clone();
    let question = bench.view.questions.iter().find(|question| question.furnace.as_ref() == Some(&south)).expect("it asks").id;
    bench.done(Request::Choose { question, choice: Choice::GoOn });
    bench.scans(5);
    assert!(bench.heats(SOUTH), "whoever waits for an answer keeps no power");
}

#[test]
fn a_run_that_dies_before_its_first_tick_leaves_its_gap_to_the_next() {
    let mut bench = Bench::soaking(&[Kind::gas("north")]);
    bench.restart(Away::Known(ShopMs(50_000)));
    bench.restart(Away::Known(ShopMs(20_000)));
    bench.scans(3);
    assert_eq!(bench.said(|body| matches!(body, EventBody::RodeThrough { .. })), 0, "it is 70 s together");
    assert!(bench.question(|ask| matches!(ask, Ask::GoOn { .. })).is_some());
}
