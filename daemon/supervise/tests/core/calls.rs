//! The call to pull: it stands for as long as the bath that it was made on, until the door opens for the part.

use hearthward_supervise::Away;
use hearthward_supervise::event::Priority;
use hearthward_supervise::interlock::{Effect, InterlockKind, effect};
use hearthward_supervise::recipe::{Load, StepKind};
use hearthward_supervise::request::{Ask, Choice, Request};

use crate::bench::{Bench, Kind, NORTH, irons, person, plan};

const OVER: InterlockKind = InterlockKind::QuenchOverTemperature;

fn called(bench: &Bench) -> bool {
    bench.question(|ask| matches!(ask, Ask::PartUnder { .. })).is_some()
}

fn at_the_call(kind: Kind) -> Bench {
    let mut bench = Bench::new(&[kind]);
    bench.load(NORTH, irons(None));
    bench.until("the call", called);
    bench
}

fn told_to_wait(bench: &Bench) -> usize {
    bench.events.iter().filter(|event| event.priority == Priority::Urgent && event.text.starts_with("Do not open")).count()
}

#[test]
fn a_bath_that_comes_near_its_flash_point_takes_the_call_back_and_heat_stays() {
    let mut bench = at_the_call(Kind::gas("north"));
    bench.oil_c = 153.0;
    bench.scan();
    assert!(!called(&bench) && told_to_wait(&bench) == 1);
    bench.oil_c = 50.0;
    bench.scans(30);
    assert!(!called(&bench) && bench.heats(NORTH), "latched: it waits at heat");
    assert_eq!(told_to_wait(&bench), 1, "once");
    bench.done(Request::Reset { furnace: None, interlock: Some(OVER) });
    bench.scans(2);
    assert!(called(&bench), "and is called again after the reset");
}

#[test]
fn readings_that_age_between_the_call_and_the_pull_take_it_back() {
    let mut bench = at_the_call(Kind::gas("north"));
    bench.oil_c = f64::NAN;
    bench.scans(2);
    assert!(!called(&bench) && told_to_wait(&bench) == 1);
    assert!(bench.question(|ask| matches!(ask, Ask::BringBath { .. })).is_some(), "somebody is asked to see to the bath");
    bench.oil_c = 50.0;
    bench.scans(2);
    assert!(called(&bench));
}

#[test]
fn once_the_door_is_open_for_the_part_nothing_is_taken_back() {
    for oil_c in [153.0, f64::NAN] {
        let mut bench = at_the_call(Kind::gas("north"));
        bench.plants[0].open = true;
        bench.scan();
        bench.oil_c = oil_c;
        bench.scans(3);
        assert!(called(&bench) && told_to_wait(&bench) == 0, "{oil_c}");
    }
}

/// Goal: the first part is not called out of a chamber that has fallen while its bath was waited for, and keeps the tank from nobody
/// meanwhile. Method: a soak is skipped onto a cold bath, or a call is taken back; the chamber falls, then the bath is ready.
#[test]
fn a_first_part_that_waited_for_its_bath_is_called_at_its_heat() {
    for skipped in [true, false] {
        let mut bench = if skipped { Bench::soaking(&[Kind::gas("north")]) } else { at_the_call(Kind::gas("north")) };
        bench.oil_c = if skipped { 20.0 } else { f64::NAN };
        if skipped {
            bench.done(Request::Skip { furnace: NORTH, reason: "it has soaked before".to_owned() });
        }
        bench.scans(2);
        assert!(bench.step() == Some(StepKind::Pull) && !called(&bench));
        assert!(bench.view.tanks[0].kept_for.is_some(), "held while the bath is brought there");
        bench.plants[0].read_c = 780.0;
        bench.scan();
        bench.oil_c = 50.0;
        bench.scans(3);
        assert!(bench.plants[0].read_c < 794.0 && !called(&bench), "{skipped}: {}", bench.plants[0].read_c);
        assert_eq!(bench.view.tanks[0].kept_for, None, "{skipped}");
        bench.until("the call", called);
        assert!((bench.plants[0].read_c - 800.0).abs() < 5.5, "{skipped}: {}", bench.plants[0].read_c);
    }
}

#[test]
fn steel_that_is_to_be_quenched_now_waits_for_no_reading() {
    let mut bench = Bench::soaking(&[Kind::gas("north")]);
    bench.plants[0].gas = false;
    bench.until("the question", |bench| bench.question(|ask| matches!(ask, Ask::Steel { .. })).is_some());
    bench.choose(|ask| matches!(ask, Ask::Steel { .. }), Choice::Steel(hearthward_supervise::plan::SteelChoice::QuenchNow));
    bench.until("the call", called);
    bench.oil_c = f64::NAN;
    bench.scans(5);
    assert!(called(&bench) && bench.step() == Some(StepKind::Pull));
}

/// Goal: steel that is under is not called again. Method: the steel is asked about while its last part is on the way, and whoever says
/// that it is under also answers, before the next tick.
#[test]
fn what_is_chosen_for_steel_that_is_under_calls_nothing_back() {
    use hearthward_supervise::plan::SteelChoice;
    for choice in [SteelChoice::QuenchNow, SteelChoice::Finish, SteelChoice::SlowCoolUnderGas] {
        let mut bench = Bench::new(&[Kind::gas("north")]);
        bench.load(NORTH, Load { parts: 1, ..irons(None) });
        bench.until("the call", called);
        bench.plants[0].gas = false;
        bench.until("the question", |bench| bench.question(|ask| matches!(ask, Ask::Steel { .. })).is_some());
        let (part, steel) =
            (bench.open(|ask| matches!(ask, Ask::PartUnder { .. })), bench.open(|ask| matches!(ask, Ask::Steel { .. })));
        let under = Request::Confirm { question: part, reading: None };
        bench.shop.request(bench.now, &person(), under);
        bench.done(Request::Choose { question: steel, choice: Choice::Steel(choice) });
        bench.scans(3);
        assert!(!called(&bench), "{choice:?}");
        assert_eq!(bench.step(), Some(StepKind::Quench), "{choice:?}");
    }
}

/// Goal: what is shown as protection is wired. Method: the row of a shop whose bath is heated by hand, and of one that commands it.
#[test]
fn the_heater_of_a_bath_is_protection_only_where_it_is_commanded() {
    assert_eq!(effect(OVER), Effect::HoldsPull);
    for commanded in [false, true] {
        let mut plan = plan(&[Kind::gas("north")]);
        let oil = plan.directory.find_unit(&"bench/oil".parse().expect("a test's unit"));
        plan.tanks[0].unit = oil.filter(|_| commanded);
        let mut bench = Bench::of(plan, None, Away::Unknown);
        bench.load(NORTH, irons(None));
        bench.oil_c = 153.0;
        bench.scan();
        let row = bench.north().interlocks.iter().find(|row| row.kind == OVER).expect("it applies");
        assert_eq!(row.acts, commanded);
        assert_eq!(row.text.contains("by hand"), !commanded, "{}", row.text);
    }
}

#[test]
fn a_pull_whose_parts_are_all_under_is_over_and_not_skipped() {
    let mut bench = at_the_call(Kind::gas("north"));
    bench.plants[0].open = true;
    bench.scans(2);
    let question = bench.open(|ask| matches!(ask, Ask::PartUnder { .. }));
    bench.shop.request(bench.now, &person(), Request::Confirm { question, reading: None });
    let words = bench.refused(Request::Skip { furnace: NORTH, reason: "it is late".to_owned() });
    assert!(words.contains("All parts of load irons are under"), "{words}");
    bench.scan();
    assert_eq!(bench.step(), Some(StepKind::Quench));
}
