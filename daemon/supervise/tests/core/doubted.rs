//! A thermometer that shows a fault decides nothing: no ramp starts from what it shows, no time counts, no chamber is taken for cool or hot.

use std::time::Duration;

use hearthward_equipment::quantity::celsius;
use hearthward_supervise::interlock::InterlockKind::{PurgeBeforeHeat, SensorFault};
use hearthward_supervise::plan::SteelChoice;
use hearthward_supervise::recipe::{Load, Pace, Protection, Step, StepKind};
use hearthward_supervise::request::{Answer, Ask, Choice, Request};
use hearthward_supervise::view::InterlockState;

use crate::bench::{Bench, Kind, NORTH, irons};

/// The thermometer shows something that no furnace can have come to, for one scan.
fn jumps(bench: &mut Bench, shown_c: f64) {
    let was_c = std::mem::replace(&mut bench.plants[0].read_c, shown_c);
    bench.scan();
    assert_eq!(bench.row(NORTH, SensorFault), InterlockState::Tripped);
    bench.plants[0].read_c = was_c;
}

/// Its load is put in while it shows that.
fn loaded_at_a_jump(bench: &mut Bench, load: Load, shown_c: f64) {
    bench.scans(70);
    bench.done(Request::Start { furnace: NORTH, load, ready_in: None });
    jumps(bench, shown_c);
    let was_c = std::mem::replace(&mut bench.plants[0].read_c, shown_c);
    bench.confirm(|ask| matches!(ask, Ask::LoadAndShut));
    bench.plants[0].read_c = was_c;
}

/// It has healed, and a person says that all goes on.
fn goes_on(bench: &mut Bench) {
    bench.scans(30);
    if bench.question(|ask| matches!(ask, Ask::Steel { .. })).is_some() {
        bench.choose(|ask| matches!(ask, Ask::Steel { .. }), Choice::Steel(SteelChoice::Finish));
    }
    assert!(matches!(bench.reset(), Answer::Done(_)));
    if bench.question(|ask| matches!(ask, Ask::GoOn { .. })).is_some() {
        bench.choose(|ask| matches!(ask, Ask::GoOn { .. }), Choice::GoOn);
    }
}

fn in_band_ms(bench: &Bench) -> u64 {
    bench.north().cycle.as_ref().expect("a cycle").in_band_ms
}

#[test]
fn no_ramp_starts_from_what_a_faulty_thermometer_shows() {
    for (pace, in_ten_minutes_c) in [(Pace::Rate(600.0), 121.0), (Pace::Over(Duration::from_secs(1674)), 121.0)] {
        let mut bench = Bench::new(&[Kind::plain("north")]);
        let steps = vec![Step::Ramp { to: celsius(300.0), pace }];
        loaded_at_a_jump(&mut bench, Load { protection: Protection::None, steps, ..irons(None) }, 900.0);
        goes_on(&mut bench);
        for _ in 0..600 {
            bench.scan();
            let wanted_c = bench.north().wanted_c.expect("it heats");
            assert!(wanted_c <= 300.0, "its set point is {wanted_c} °C on a ramp to 300 °C");
        }
        let wanted_c = bench.north().wanted_c.expect("it heats");
        assert!((wanted_c - in_ten_minutes_c).abs() < 8.0, "100 K in ten minutes from 21 °C, not {wanted_c}");
    }
}

/// Goal: a ramp does not heat past its end where a jump was no fault either. Method: the rate check sleeps after a door was shut.
#[test]
fn no_ramp_goes_on_from_what_was_never_there() {
    let mut bench = Bench::new(&[Kind::plain("north")]);
    let steps = vec![Step::Ramp { to: celsius(300.0), pace: Pace::Rate(600.0) }];
    bench.scans(70);
    bench.done(Request::Start {
        furnace: NORTH,
        load: Load { protection: Protection::None, steps, ..irons(None) },
        ready_in: None,
    });
    bench.plants[0].open = true;
    bench.scans(5);
    (bench.plants[0].open, bench.plants[0].read_c) = (false, 900.0);
    bench.scan();
    bench.confirm(|ask| matches!(ask, Ask::LoadAndShut));
    assert_eq!((bench.row(NORTH, SensorFault), bench.step()), (InterlockState::Clear, Some(StepKind::Ramp)));
    bench.plants[0].read_c = 21.0;
    bench.scans(2);
    assert!(bench.north().wanted_c.is_some_and(|wanted_c| wanted_c < 25.0), "{:?}", bench.north().wanted_c);
    bench.until("its end", |bench| bench.north().cycle.is_none());
    assert!(bench.plants[0].read_c < 310.0);
}

#[test]
fn no_chamber_is_taken_for_hot_by_a_faulty_thermometer() {
    let mut bench = Bench::new(&[Kind::gas("north")]);
    bench.plants[0].gas = false;
    loaded_at_a_jump(&mut bench, irons(None), 900.0);
    goes_on(&mut bench);
    bench.scans(1200);
    assert_eq!(bench.step(), Some(StepKind::Purge), "steel that went into a cold chamber is purged first");
    assert_eq!(bench.row(NORTH, PurgeBeforeHeat), InterlockState::Tripped);
    assert!(bench.plants[0].read_c < 205.0, "{}", bench.plants[0].read_c);
}

#[test]
fn no_time_counts_by_a_faulty_thermometer() {
    let mut bench = Bench::soaking(&[Kind::gas("north")]);
    bench.scans(30);
    let before_ms = in_band_ms(&bench);
    assert!(before_ms > 0);
    jumps(&mut bench, 700.0);
    bench.scans(5);
    assert_eq!((bench.row(NORTH, SensorFault), in_band_ms(&bench)), (InterlockState::Tripped, before_ms));
    goes_on(&mut bench);
    bench.until("it counts again", |bench| in_band_ms(bench) > before_ms);
}

#[test]
fn no_chamber_is_taken_for_cool_by_a_faulty_thermometer() {
    let mut bench = Bench::soaking(&[Kind::gas("north")]);
    bench.done(Request::Abort { furnace: NORTH });
    bench.scans(120);
    assert!(bench.north().cycle.is_some(), "it cools under its gas");
    jumps(&mut bench, 30.0);
    bench.scans(30);
    assert!(bench.plants[0].read_c > 500.0 && bench.north().cycle.is_some(), "it is hot, whatever was shown");
    assert!(matches!(bench.reset(), Answer::Done(_)));
    bench.until("it is cool", |bench| bench.north().cycle.is_none());
    assert!(bench.plants[0].read_c < 205.0, "{}", bench.plants[0].read_c);
}

/// Its thermocouple is short: from 800 °C on it shows a room's temperature, steadily.
fn short(bench: &mut Bench, scans: u32) {
    for _ in 0..scans {
        bench.plants[0].read_c = 30.0;
        bench.scan();
    }
}

#[test]
fn people_are_asked_about_hot_steel_whose_thermometer_is_short() {
    let mut bench = Bench::soaking(&[Kind::gas("north")]);
    short(&mut bench, 1);
    assert_eq!(bench.row(NORTH, SensorFault), InterlockState::Tripped);
    let steel = bench.question(|ask| matches!(ask, Ask::Steel { .. })).expect("the steel is hot").clone();
    assert!(steel.choices.contains(&Choice::Steel(SteelChoice::QuenchNow)), "{}", steel.text);
    short(&mut bench, 30);
    let row = bench.north().interlocks.iter().find(|row| row.kind == SensorFault).expect("it applies");
    assert!(row.text.contains("It shows 30 °C and showed 800 °C before: see which is true"), "{}", row.text);
}

#[test]
fn a_short_thermometer_takes_no_gas_from_hot_steel_until_a_person_says_so() {
    let mut bench = Bench::soaking(&[Kind::gas("north")]);
    bench.done(Request::Abort { furnace: NORTH });
    bench.scans(2);
    short(&mut bench, 600);
    assert!(bench.north().cycle.is_some() && bench.plants[0].flow.value > 0.0, "nobody knows that it is cool");
    bench.refused(Request::Skip { furnace: NORTH, reason: " ".to_owned() });
    let words = bench.done(Request::Skip { furnace: NORTH, reason: "it is out, and cool".to_owned() });
    assert!(words.contains("need not cool in north any longer: it is out, and cool"), "{words}");
    assert!(bench.north().cycle.is_none());
}
