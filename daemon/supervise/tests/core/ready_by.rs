//! "Ready by seven" where the load itself may not begin without a person: its bath is made ready by then, by the service or by people.

use std::time::Duration;

use hearthward_equipment::ShopMs;
use hearthward_equipment::quantity::{celsius, in_celsius};
use hearthward_process::quench::Bath;
use hearthward_supervise::Away;
use hearthward_supervise::event::Priority;
use hearthward_supervise::output::Act;
use hearthward_supervise::plan::ShopPlan;
use hearthward_supervise::recipe::{Load, Protection, StepKind};
use hearthward_supervise::request::{Ask, Request};
use uom::si::f64::{Mass, Power, Volume};
use uom::si::power::kilowatt;
use uom::si::volume::liter;

use crate::bench::{Bench, Kind, NORTH, SOUTH, irons, plan};

const HOUR_MS: u64 = 3_600_000;

/// A furnace whose gas is set by hand, and a tank with a heater of 1 kW that the service commands or a person does.
fn shop(commanded: bool, heater_kw: Option<f64>) -> ShopPlan {
    let mut plan = plan(&[Kind { by_eye: true, ..Kind::gas("north") }]);
    plan.tanks[0].heater = heater_kw.map(Power::new::<kilowatt>);
    plan.tanks[0].unit = plan.directory.find_unit(&"bench/oil".parse().expect("a test's unit")).filter(|_| commanded);
    plan
}

/// The irons to be ready in eight hours; the bath is cold.
fn evening(plan: ShopPlan) -> Bench {
    let mut bench = Bench::of(plan, None, Away::Unknown);
    bench.oil_c = 20.0;
    bench.scans(2);
    bench.done(Request::Start { furnace: NORTH, load: irons(None), ready_in: Some(Duration::from_millis(8 * HOUR_MS)) });
    bench
}

fn left_ms(bench: &Bench) -> u64 {
    bench.north().cycle.as_ref().and_then(|cycle| cycle.ready_in_ms).expect("it has a time")
}

fn warmed_to_c(bench: &Bench) -> Option<f64> {
    bench.acts.iter().find_map(|act| if let Act::HeatTank { to, .. } = act { Some(in_celsius(*to)) } else { None })
}

fn asked_to_warm(bench: &Bench) -> bool {
    bench.question(|ask| matches!(ask, Ask::BringBath { .. })).is_some()
}

/// How long the bench's bath takes from 20 °C, by the physics, with the core's allowance for losses and its slack.
fn takes_ms(to_c: f64) -> f64 {
    let bath = Bath::oil(Volume::new::<liter>(12.0), celsius(20.0)).expect("a bath");
    let time =
        bath.time_to(celsius(to_c), Power::new::<kilowatt>(1.0), Mass::default()).expect("in range").expect("it has power");
    (time.value * 1.3 + 600.0) * 1000.0
}

#[test]
fn nobody_is_told_to_warm_a_bath_that_the_service_warms() {
    for (commanded, oil_c, told) in [
        (true, 20.0, "the service warms it once the load is in"),
        (false, 20.0, "See to it meanwhile"),
        (true, 90.0, "See to it meanwhile"),
    ] {
        let mut bench = Bench::of(shop(commanded, Some(1.0)), None, Away::Unknown);
        bench.oil_c = oil_c;
        bench.scans(2);
        let said = bench.done(Request::Start { furnace: NORTH, load: irons(None), ready_in: None });
        assert!(said.contains(told), "{commanded} {oil_c}: {said}");
        bench.confirm(|ask| matches!(ask, Ask::LoadAndShut));
        bench.scans(2);
        assert_eq!(warmed_to_c(&bench).is_some(), commanded, "the words are kept");
    }
}

#[test]
fn a_commanded_bath_is_warmed_in_time_and_nothing_else_moves() {
    let mut bench = evening(shop(true, Some(1.0)));
    bench.until("the heater", |bench| warmed_to_c(bench).is_some());
    let to_c = warmed_to_c(&bench).expect("it is warmed");
    let (left, takes) = (left_ms(&bench) as f64, takes_ms(to_c));
    assert!((left - takes).abs() < 2_000.0, "{left} ms before its time, and it takes {takes} ms");
    assert!(bench.events.iter().any(|event| event.text.contains("warms oil now") && event.text.contains("extinguisher")));
    bench.oil_c = to_c;
    bench.scans(600);
    assert!(!bench.heats(NORTH) && bench.plants[0].flow.value == 0.0, "the furnace and its gas wait for people");
    bench.confirm(|ask| matches!(ask, Ask::LoadAndShut));
    bench.scans(2);
    assert_eq!(bench.step(), Some(StepKind::Purge), "it begins when somebody is there");
}

#[test]
fn a_person_is_asked_to_warm_a_bath_that_is_heated_by_hand_and_told_how_long_it_takes() {
    let mut bench = evening(shop(false, Some(1.0)));
    bench.until("the question", asked_to_warm);
    let left = left_ms(&bench) as f64;
    // As a commanded bath: to 30 % of the window of 40 to 70 °C.
    assert!((left - takes_ms(49.0)).abs() < 2_000.0, "{left}");
    let text = bench.question(|ask| matches!(ask, Ask::BringBath { .. })).expect("asked").text.clone();
    assert!(text.starts_with("Warm oil now") && text.contains("40 to 70 °C") && text.contains("load irons"), "{text}");
    bench.oil_c = 50.0;
    bench.scans(2);
    assert!(!asked_to_warm(&bench), "it is there");
    assert!(warmed_to_c(&bench).is_none(), "nothing is wired that could warm it");
}

#[test]
fn without_the_power_of_its_heater_a_usual_time_is_taken_and_said_to_be() {
    let mut bench = evening(shop(false, None));
    bench.until("the question", asked_to_warm);
    let hours = left_ms(&bench) as f64 / HOUR_MS as f64;
    assert!((hours - (2.0 + 600.0 / 3600.0)).abs() < 0.01, "{hours}");
    let text = bench.question(|ask| matches!(ask, Ask::BringBath { .. })).expect("asked").text.clone();
    assert!(text.contains("the power of its heater is not given"), "{text}");
}

#[test]
fn a_bath_that_nobody_came_for_is_let_cool() {
    let mut bench = evening(shop(true, Some(1.0)));
    bench.until("the heater", |bench| warmed_to_c(bench).is_some());
    bench.oil_c = 50.0;
    bench.acts.clear();
    bench.until("its time", |bench| left_ms(bench) == 0);
    bench.scans(3600);
    assert!(!bench.acts.iter().any(|act| matches!(act, Act::TankHeaterOff { .. })), "an hour late is kept for");
    bench.scans(3610);
    assert!(bench.acts.iter().any(|act| matches!(act, Act::TankHeaterOff { .. })));
    let told =
        |event: &&hearthward_supervise::event::Event| event.priority == Priority::Warning && event.text.contains("Nobody came");
    assert_eq!(bench.events.iter().filter(told).count(), 1);
    bench.confirm(|ask| matches!(ask, Ask::LoadAndShut));
    bench.scans(2);
    assert_eq!(bench.step(), Some(StepKind::Purge), "the load may still begin");
}

#[test]
fn after_a_time_that_nobody_knows_no_bath_is_warmed_for_it() {
    for (away, warmed) in [(Away::Known(ShopMs(7 * HOUR_MS)), true), (Away::Unknown, false)] {
        let mut bench = evening(shop(true, Some(1.0)));
        bench.scans(1800);
        bench.restart(away);
        bench.oil_c = 20.0;
        bench.scans(1800);
        assert_eq!(warmed_to_c(&bench).is_some(), warmed, "{away:?}");
    }
}

/// A load that may begin by itself, put in and waiting; after so many hours something forbids a start.
fn waiting(plan: ShopPlan) -> Bench {
    let mut bench = Bench::of(plan, None, Away::Unknown);
    bench.scans(2);
    bench.done(Request::Start { furnace: NORTH, load: irons(None), ready_in: Some(Duration::from_millis(4 * HOUR_MS)) });
    bench.confirm(|ask| matches!(ask, Ask::LoadAndShut));
    bench
}

fn moves(bench: &Bench) -> bool {
    bench.heats(NORTH) || bench.plants[0].flow.value > 0.0
}

/// Goal: with nobody there nothing begins that a person would be refused, and a person is asked once. Method: the air of the room, its
/// monitor, the record, the door and a latch are bad at the load's time.
#[test]
fn what_forbids_a_start_forbids_one_that_nobody_is_there_for() {
    type Hinders = fn(&mut Bench);
    let hindrances: [(&str, Hinders); 5] = [
        ("oxygen", |bench| bench.oxygen = Some(0.19)),
        ("oxygen", |bench| bench.oxygen = None),
        ("record", |bench| {
            let failing = Some("the disk is full".to_owned());
            bench.shop.observe(bench.now, hearthward_supervise::observe::Observation::Record { failing });
            bench.durable = false;
        }),
        ("door open", |bench| bench.plants[0].open = true),
        ("over-temperature", |bench| {
            bench.plants[0].read_c = 1001.0;
            bench.scan();
            bench.plants[0].read_c = 21.0;
        }),
    ];
    for (words, hinders) in hindrances {
        let mut bench = waiting(plan(&[Kind::gas("north")]));
        bench.scans(1800);
        hinders(&mut bench);
        bench.scans(4 * 3600);
        assert!(!moves(&bench), "{words}");
        let asked: Vec<_> =
            bench.events.iter().filter(|event| event.text.contains("did not begin in north at its time")).collect();
        assert!(asked.len() == 1 && asked[0].text.contains(words), "{words}: {asked:#?}");
        assert_eq!(asked[0].priority, Priority::Warning);
    }
}

/// Goal: a monitor that fails for some minutes costs some minutes. Method: the same load with a monitor that does, and with one that is
/// away from a minute before its time to five after it.
#[test]
fn what_passes_within_the_slack_of_the_plan_is_waited_out() {
    let mut well = waiting(plan(&[Kind::gas("north")]));
    well.until("its time", moves);
    let mut bench = waiting(plan(&[Kind::gas("north")]));
    bench.until("a minute before", |bench| bench.now.0 + 60_000 >= well.now.0);
    bench.oxygen = None;
    bench.scans(360);
    assert!(!moves(&bench) && !asked_to_load(&bench));
    bench.oxygen = Some(0.209);
    bench.scans(3);
    assert!(moves(&bench) && !asked_to_load(&bench));
}

fn asked_to_load(bench: &Bench) -> bool {
    bench.question(|ask| matches!(ask, Ask::LoadAndShut)).is_some()
}

#[test]
fn a_load_that_did_not_begin_begins_when_a_person_says_so_and_nothing_forbids_it() {
    let mut bench = waiting(plan(&[Kind::gas("north")]));
    bench.scans(1800);
    bench.oxygen = Some(0.19);
    bench.scans(4 * 3600);
    let question = bench.open(|ask| matches!(ask, Ask::LoadAndShut));
    let words = bench.refused(Request::Confirm { question, reading: None });
    assert!(words.contains("oxygen") && words.contains("say so again"), "{words}");
    bench.restart(Away::Known(ShopMs(HOUR_MS)));
    bench.oxygen = Some(0.209);
    bench.scans(15);
    bench.confirm(|ask| matches!(ask, Ask::LoadAndShut));
    bench.scans(3);
    assert_eq!(bench.step(), Some(StepKind::Purge));
    assert!(moves(&bench));
}

/// Goal: one rule forbids a start and a load that is put in. Method: what forbids both comes between the two, and a start is asked for beside
/// it: the reason is the same, word for word.
#[test]
fn a_start_and_a_load_put_in_are_refused_for_the_same_reason() {
    type Hinders = fn(&mut Bench);
    let failing = |bench: &mut Bench| {
        let failing = Some("the disk is full".to_owned());
        bench.shop.observe(bench.now, hearthward_supervise::observe::Observation::Record { failing });
        bench.durable = false;
    };
    let unreset = |bench: &mut Bench| {
        bench.oxygen = Some(0.17);
        bench.scans(8);
        bench.oxygen = Some(0.209);
    };
    let hindrances: [(&str, Hinders); 4] = [
        ("the room's oxygen is low, cannot be read or was not reset", |bench| bench.oxygen = Some(0.19)),
        ("the room's oxygen is low, cannot be read or was not reset", |bench| bench.oxygen = None),
        ("the room's oxygen is low, cannot be read or was not reset", unreset),
        ("the record cannot be written (the disk is full)", failing),
    ];
    for (words, hinders) in hindrances {
        let mut bench = Bench::new(&[Kind::gas("north"), Kind::plain("south")]);
        bench.scans(2);
        bench.done(Request::Start { furnace: NORTH, load: irons(None), ready_in: None });
        hinders(&mut bench);
        bench.scans(12);
        let question = bench.open(|ask| matches!(ask, Ask::LoadAndShut));
        let put_in = bench.refused(Request::Confirm { question, reading: None });
        let punches = Load { name: "punches".parse().expect("a name"), protection: Protection::None, ..irons(None) };
        let started = bench.refused(Request::Start { furnace: SOUTH, load: punches, ready_in: None });
        for (said, name) in [(put_in, "north"), (started, "south")] {
            assert!(said.starts_with(&format!("Nothing begins in {name} now, since {words}")), "{said}");
        }
    }
}
