//! What a reset does and does not do, what a person's word is good for, and what is noted of a gap.

use std::time::Duration;

use hearthward_equipment::{PointId, Quality, Value};
use hearthward_supervise::event::EventBody;
use hearthward_supervise::interlock::InterlockKind::{
    DriverLost, GasSupply, Interrupted, QuenchOverTemperature, RoomOxygen, SensorFault, Stop,
};
use hearthward_supervise::output::Act;
use hearthward_supervise::plan::SteelChoice;
use hearthward_supervise::request::{Answer, Ask, Choice, Request};
use hearthward_supervise::view::InterlockState::{Clear, Latched, Tripped};

use crate::bench::{Bench, Kind, NORTH, SOUTH, irons};

#[test]
fn a_gap_that_a_load_is_carried_over_is_noted() {
    let mut bench = Bench::soaking(&[Kind::gas("north")]);
    bench.plants[0].answers = false;
    bench.scans(20);
    assert!(!bench.heats(NORTH) && bench.row(NORTH, DriverLost) == Tripped);
    bench.plants[0].answers = true;
    bench.scans(3);
    assert!(bench.heats(NORTH) && bench.row(NORTH, DriverLost) == Clear);
    assert_eq!(bench.said(|body| matches!(body, EventBody::RodeThrough { gap_ms } if (10_000..21_000).contains(gap_ms))), 1);
}

#[test]
fn a_cold_furnace_may_be_switched_off_and_a_hot_one_that_nobody_could_read_is_doubtful() {
    for (read_c, state) in [(21.0, Clear), (500.0, Latched)] {
        let mut bench = Bench::new(&[Kind::gas("north")]);
        bench.plants[0].read_c = read_c;
        bench.scans(20);
        bench.plants[0].answers = false;
        bench.scans(90);
        assert_eq!(bench.row(NORTH, DriverLost), Tripped);
        bench.plants[0].answers = true;
        bench.scans(3);
        assert_eq!(bench.row(NORTH, DriverLost), state, "from {read_c} °C");
    }
}

/// Goal: nobody's absence counts as health. Method: while a thermometer that was bad gets well the service sleeps, or its driver gives
/// nothing, for longer than the healthy time; after either it has been healthy for too short.
#[test]
fn a_thermometer_that_nobody_read_has_not_been_healthy_meanwhile() {
    type Absence = fn(&mut Bench);
    let absences: [Absence; 2] = [
        |bench| bench.now = bench.now + Duration::from_secs(43),
        |bench| {
            bench.plants[0].answers = false;
            bench.scans(20);
            bench.plants[0].answers = true;
        },
    ];
    for (place, absence) in absences.into_iter().enumerate() {
        let mut bench = Bench::soaking(&[Kind::gas("north")]);
        bench.plants[0].quality = Quality::Bad;
        bench.scans(2);
        bench.plants[0].quality = Quality::Good;
        bench.scans(4);
        absence(&mut bench);
        let reset = Request::Reset { furnace: Some(NORTH), interlock: Some(SensorFault) };
        assert!(bench.refused(reset.clone()).contains("healthy for ten seconds"), "absence {place}");
        bench.scans(12);
        bench.done(reset);
        assert_eq!(bench.row(NORTH, SensorFault), Clear, "absence {place}");
    }
}

#[test]
fn after_a_reset_a_load_goes_on_only_on_a_persons_word_given_once() {
    let mut bench = Bench::soaking(&[Kind::gas("north")]);
    let words = bench.done(Request::Stop { furnace: None });
    assert!(words.contains("The cut is sent") && words.contains("`hearthward watch`"), "{words}");
    let alarm = |bench: &Bench| {
        let stop = bench.view.alarms.shown.iter().find(|alarm| alarm.name == "furnace/north/stop");
        stop.expect("nobody has acknowledged it").text.clone()
    };
    assert!(bench.north().heat.contains("reset it when it is safe to heat again"), "{}", bench.north().heat);
    assert!(alarm(&bench).contains("Reset when it is safe"), "{}", alarm(&bench));
    bench.done(Request::Reset { furnace: None, interlock: Some(Stop) });
    bench.scans(60);
    assert!(alarm(&bench).ends_with("It is over: acknowledge it."), "{}", alarm(&bench));
    let told = bench.events.iter().filter(|event| event.text.contains("Heat is withheld from north: its load was interrupted"));
    assert_eq!(told.count(), 1);
    assert!(!bench.events.iter().any(|event| event.text.contains("was away")), "nobody was away");
    assert!(!bench.heats(NORTH));
    assert_eq!(bench.row(NORTH, Interrupted), Tripped);
    assert_eq!(bench.view.questions.len(), 1, "one question, and no other about the same steel");
    assert!(matches!(bench.reset(), Answer::Refused(_)), "the cause is that nobody has said so");
    bench.choose(|ask| matches!(ask, Ask::GoOn { .. }), Choice::GoOn);
    bench.scans(3);
    assert!(bench.heats(NORTH) && bench.row(NORTH, Interrupted) == Clear);
    bench.done(Request::Stop { furnace: Some(NORTH) });
    bench.done(Request::Reset { furnace: None, interlock: Some(Stop) });
    bench.scans(60);
    assert!(!bench.heats(NORTH), "the word was given before the second stop");
    assert!(bench.question(|ask| matches!(ask, Ask::GoOn { .. })).is_some());
}

#[test]
fn a_persons_word_answers_for_a_short_supply() {
    let mut bench = Bench::soaking(&[Kind::gas("north")]);
    bench.gauge_bar = 8.0;
    bench.scans(70);
    assert_eq!(bench.row(NORTH, GasSupply), Tripped);
    bench.choose(|ask| matches!(ask, Ask::Steel { .. }), Choice::Steel(SteelChoice::Finish));
    bench.scans(70);
    assert_eq!(bench.row(NORTH, GasSupply), Clear);
    assert!(bench.heats(NORTH) && bench.view.questions.is_empty());
}

/// Goal: who resets one furnace does not reset a bath unawares. Method: the bath is latched while the north's load goes there and the south
/// has none; it counts as meant by the furnace whose load goes there, by name, or with the whole shop.
#[test]
fn a_furnaces_reset_is_not_meant_for_a_bath_that_its_load_does_not_go_to() {
    for (furnace, interlock, resets) in [
        (Some(SOUTH), None, false),
        (Some(NORTH), None, true),
        (Some(SOUTH), Some(QuenchOverTemperature), true),
        (None, None, true),
    ] {
        let mut bench = Bench::new(&[Kind::gas("north"), Kind::plain("south")]);
        bench.load(NORTH, irons(None));
        bench.oil_c = 160.0;
        bench.scans(2);
        assert_eq!(bench.row(NORTH, QuenchOverTemperature), Tripped);
        bench.oil_c = 50.0;
        bench.scans(2);
        bench.ask(Request::Reset { furnace, interlock });
        bench.scan();
        assert_eq!(bench.row(NORTH, QuenchOverTemperature) == Clear, resets, "{furnace:?} {interlock:?}");
    }
}

/// Goal: who resets one furnace does not reset the room unawares, and who resets the room is on record with it. Method: the room's second
/// level has latched and its air is good again; it is meant by name, or with the whole shop.
#[test]
fn a_furnaces_reset_is_not_meant_for_the_room() {
    for (furnace, interlock, resets) in
        [(Some(NORTH), None, false), (Some(NORTH), Some(Stop), false), (Some(NORTH), Some(RoomOxygen), true), (None, None, true)]
    {
        let mut bench = Bench::new(&[Kind::gas("north")]);
        bench.oxygen = Some(0.17);
        bench.scans(8);
        bench.oxygen = Some(0.209);
        bench.scans(3);
        assert_eq!(bench.row(NORTH, RoomOxygen), Latched);
        bench.ask(Request::Stop { furnace: None });
        let answer = bench.ask(Request::Reset { furnace, interlock });
        let told = bench.events.iter().filter(|event| event.furnace.is_none());
        let told = told.filter(|event| matches!(event.body, EventBody::Reset { interlock: RoomOxygen })).count();
        assert_eq!(told, usize::from(resets), "{furnace:?} {interlock:?}");
        assert_eq!(bench.row(NORTH, RoomOxygen) == Clear, resets, "{furnace:?} {interlock:?}");
        let stays = matches!(&answer, Answer::Done(text) if text.contains("by its name"));
        assert_eq!(stays, interlock.is_none() && !resets, "{answer:?}");
        let refused = bench.ask(Request::Start { furnace: NORTH, load: irons(None), ready_in: None });
        assert_eq!(matches!(&refused, Answer::Refused(text) if text.contains("oxygen")), !resets, "{refused:?}");
    }
}

/// Goal: the room is reset as one, by whatever furnace it is named with. Method: two furnaces, the second level latched in both. Under that
/// level nothing of it is reset; between the two levels, over the first, and where its monitor was taken out of the plan, all of it is. Air
/// under the first level still warns.
#[test]
fn the_room_is_reset_for_every_furnace_at_once_or_for_none() {
    for (oxygen, resets, then) in
        [(Some(0.17), false, Tripped), (None, false, Tripped), (Some(0.185), true, Tripped), (Some(0.209), true, Clear)]
    {
        for furnace in [Some(NORTH), Some(SOUTH), None] {
            let mut bench = Bench::new(&[Kind::gas("north"), Kind::plain("south")]);
            bench.load(NORTH, irons(None));
            bench.until("heat", |bench| bench.heats(NORTH));
            bench.oxygen = Some(0.17);
            bench.scans(8);
            bench.oxygen = oxygen;
            bench.scans(12);
            let output = bench.plan.furnaces[0].gas.as_ref().and_then(|gas| gas.valve).expect("it has one").output;
            let gas = |bench: &Bench| bench.acts.iter().rev().find_map(|act| valve(act, output));
            assert_eq!(gas(&bench), Some(false), "{oxygen:?}");
            let answer = bench.ask(Request::Reset { furnace, interlock: Some(RoomOxygen) });
            assert_eq!(matches!(answer, Answer::Done(_)), resets, "{oxygen:?} {furnace:?}: {answer:?}");
            bench.scans(2);
            assert_eq!(gas(&bench), Some(resets), "{oxygen:?} {furnace:?}");
            for one in [NORTH, SOUTH] {
                assert_eq!(bench.row(one, RoomOxygen), then, "{oxygen:?} {furnace:?}");
                let rows = &bench.view.furnaces[one.index()].interlocks;
                let withholds = rows.iter().any(|row| row.kind == RoomOxygen && row.withholds);
                assert_eq!(withholds, !resets, "{oxygen:?} {furnace:?}");
            }
            assert!(!bench.heats(NORTH), "nobody has said that its load goes on");
        }
    }
}

/// What an act does to a valve.
fn valve(act: &Act, output: PointId) -> Option<bool> {
    match act {
        Act::WritePoint { point, value: Value::Flag(open) } if *point == output => Some(*open),
        _ => None,
    }
}

/// Goal: a latch of the room outlives its monitor and does not block the shop for ever. Method: the monitor is taken out of the plan with
/// the second level latched.
#[test]
fn a_room_whose_monitor_was_taken_out_can_still_be_reset() {
    let mut bench = Bench::new(&[Kind::gas("north")]);
    bench.oxygen = Some(0.17);
    bench.scans(8);
    bench.plan.room.oxygen = None;
    bench.shop.replan(bench.now, bench.plan.clone());
    bench.scans(2);
    let start = Request::Start { furnace: NORTH, load: irons(None), ready_in: None };
    assert!(bench.refused(start.clone()).contains("was not reset"));
    bench.done(Request::Reset { furnace: None, interlock: None });
    bench.done(start);
    bench.confirm(|ask| matches!(ask, Ask::LoadAndShut));
    bench.until("heat", |bench| bench.heats(NORTH));
}
