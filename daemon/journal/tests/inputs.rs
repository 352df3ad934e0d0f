//! Goal: what a tick was given comes back bit for bit, within its bounds, and never at the cost of an event.

use std::time::Duration;

use hearthward_equipment::quantity::celsius;
use hearthward_equipment::{Evidence, FurnaceId, Generation, PointId, Quality, Reading, ShopMs, Tick, UnitId, Value};
use hearthward_journal::{Batch, Inputs, InputsKept, PastTick, ReadError, Reader, StandingRow, Told, fold};
use hearthward_supervise::observe::{CutState, Observation, UnitState};
use hearthward_supervise::output::Via;
use hearthward_supervise::request::{Person, Request};
use uom::si::f64::{Pressure, Ratio};
use uom::si::pressure::pascal;
use uom::si::ratio::ratio;

use crate::common::{Home, batch, by_hand, options, send};

/// A tick with readings of every kind, some of them odd, and with things told in an order that matters.
pub(crate) fn inputs(tick: u64) -> Inputs {
    let now = tick * 100;
    let reading = |point: u16, age_ms: u64, value: Option<Value>, quality| Reading {
        point: PointId(point),
        at: ShopMs(now.saturating_sub(age_ms)),
        value: value.map(Value::rounded),
        quality,
        evidence: if point == 4 { Evidence::Confirmed } else { Evidence::Measured },
    };
    let wave = (tick * 2_654_435_761 % 97) as f64;
    let mut readings = vec![
        reading(0, 3, Some(Value::Temperature(celsius(800.0 + wave / 10.0))), Quality::Good),
        reading(1, 3, Some(Value::Flag(tick % 50 == 7)), Quality::Good),
        reading(2, 3, Some(Value::Share(Ratio::new::<ratio>(wave / 97.0))), Quality::Good),
        reading(3, tick % 3, Some(Value::Pressure(Pressure::new::<pascal>(15e6 + wave))), Quality::Uncertain),
        reading(4, now, Some(Value::Text(format!("oil {tick}"))), Quality::Good),
    ];
    // Twice in one tick, out of service, not a number: all of it happens.
    match tick % 10 {
        3 => readings.push(reading(1, 0, Some(Value::Flag(true)), Quality::Good)),
        5 => readings.push(reading(3, 0, None, Quality::Bad)),
        7 => readings.push(reading(2, 0, Some(Value::Number(f64::INFINITY)), Quality::Bad)),
        _ => {}
    }
    let durable = Told::Observed(Observation::Durable { through: Tick(tick.saturating_sub(1)) });
    let mut others = vec![durable.clone()];
    if tick % 20 == 11 {
        others.insert(0, Told::Observed(Observation::Record { failing: Some("no space".into()) }));
        others.push(Told::Observed(Observation::Unit { unit: UnitId(2), is: UnitState::Answering }));
        others.push(durable);
        let cut = Observation::Cut {
            furnace: FurnaceId(0),
            generation: Generation(tick),
            via: Via::Controller,
            is: CutState::Confirmed,
        };
        others.push(Told::Observed(cut));
        let by = Person { name: "Ada".into() };
        others.push(Told::Asked { by, ask: Request::Enter { point: PointId(4), value: Value::Number(0.1 + 0.2) } });
    }
    Inputs { readings, others, digest: tick.wrapping_mul(0x9e37_79b9_7f4a_7c15) }
}

/// A batch of inputs and of so many events.
pub(crate) fn given(tick: u64, events: u32) -> Batch {
    Batch { inputs: Some(inputs(tick)), ..batch(tick, events) }
}

fn past(reader: &Reader, boot: u64, after: u64) -> Vec<PastTick> {
    reader.past(boot, Tick(after)).collect::<Result<_, _>>().expect("readable")
}

/// What comes back is what was given: digests folded, readings point by point.
pub(crate) fn assert_same(past: &[PastTick], first: u64) {
    for (tick, found) in (first..).zip(past) {
        let mut given = inputs(tick);
        given.readings.sort_by_key(|reading| reading.point);
        assert_eq!((found.tick, found.now, found.digest), (Tick(tick), ShopMs(tick * 100), fold(given.digest)));
        assert_eq!(found.others, given.others, "tick {tick}");
        assert_eq!(found.readings, given.readings, "tick {tick}");
    }
}

#[test]
fn they_come_back_as_they_were_given_however_they_were_cut_up() {
    let home = Home::new();
    let running = home.start();
    let last = 2_000;
    for tick in 1..=last {
        // Now and then an event, which takes what waits with it: after one tick, after thirteen, after a minute.
        send(&running.recorder, given(tick, u32::from(tick % 13 == 0 && tick < 900 || tick == 1)));
    }
    running.finish();
    let reader = Reader::open(&home.path()).expect("opens");
    let all = past(&reader, 1, 0);
    assert_eq!(all.len() as u64, last);
    assert_same(&all, 1);
    let from_the_middle = past(&reader, 1, 1_234);
    assert_eq!(from_the_middle.len() as u64, last - 1_234);
    assert_same(&from_the_middle, 1_235);
}

#[test]
fn an_event_never_goes_to_disk_without_what_led_to_it() {
    let home = Home::new();
    let running = home.start();
    for tick in 1..=8 {
        send(&running.recorder, given(tick, u32::from(tick == 8)));
    }
    running.durable(8);
    send(&running.recorder, given(9, 0));
    running.durable(9);
    assert_eq!(past(&Reader::open(&home.path()).expect("opens"), 1, 0).len(), 8, "the ninth still waits");
    running.finish();
    assert_eq!(past(&Reader::open(&home.path()).expect("opens"), 1, 0).len(), 9);
}

#[test]
fn a_gap_ends_a_stretch_and_a_kept_state_begins_the_next() {
    let home = Home::new();
    let running = home.start();
    for tick in 1..=30 {
        let mut batch = given(tick, 0);
        if (11..20).contains(&tick) {
            batch.inputs = None;
        }
        if tick == 20 {
            batch.kept = Some(StandingRow { format: 5, body: vec![1, 2, 3], cuts: Vec::new() });
        }
        send(&running.recorder, batch);
    }
    running.finish();
    let reader = Reader::open(&home.path()).expect("opens");
    assert_eq!(past(&reader, 1, 0).len(), 10);
    assert_eq!(reader.starts().expect("readable"), [(1, Tick(0)), (1, Tick(20))]);
    let start = reader.start(1, Tick(20)).expect("there");
    assert_eq!((start.at, start.format, start.body), (ShopMs(2_000), 5, Some(vec![1, 2, 3])));
    let next = past(&reader, 1, 20);
    assert_eq!(next.len(), 10);
    assert_same(&next, 21);
}

#[test]
fn a_start_keeps_what_stood_and_the_plan_that_it_was_under() {
    let home = Home::new();
    let mut under = options();
    under.core = "{\"name\":\"first\"}".into();
    let running = home.start_with(under.clone());
    let mut standing = batch(1, 1);
    standing.standing = Some(StandingRow { format: 7, body: vec![9, 8], cuts: vec![1] });
    send(&running.recorder, standing);
    running.finish();
    under.core = "{\"name\":\"second\"}".into();
    home.start_with(under).finish();
    let reader = Reader::open(&home.path()).expect("opens");
    let (first, second) = (reader.start(1, Tick(0)).expect("there"), reader.start(2, Tick(0)).expect("there"));
    assert_eq!((first.body, first.core.as_str()), (None, "{\"name\":\"first\"}"));
    assert_eq!((second.format, second.body, second.core.as_str()), (7, Some(vec![9, 8]), "{\"name\":\"second\"}"));
}

#[test]
fn the_oldest_go_when_they_are_too_many_and_events_stay() {
    let home = Home::new();
    let mut bounded = options();
    // Ten minutes of the shop's time; a tick is a tenth of a second here.
    bounded.inputs = InputsKept { time: Duration::from_secs(600), bytes: u64::MAX };
    let running = home.start_with(bounded);
    for tick in 1..=20_000_u64 {
        let mut batch = given(tick, u32::from(tick % 500 == 0));
        batch.kept = (tick % 5_000 == 0).then(|| StandingRow { format: 1, body: vec![0; 10], cuts: Vec::new() });
        send(&running.recorder, batch);
    }
    running.finish();
    let reader = Reader::open(&home.path()).expect("opens");
    assert_eq!(reader.last_seq(), 40);
    assert_eq!(reader.verify().expect("the chain holds"), 40);
    assert!(past(&reader, 1, 0).is_empty(), "the first ticks are given up");
    let starts = reader.starts().expect("readable");
    assert_eq!(starts, [(1, Tick(15_000)), (1, Tick(20_000))], "a start that nothing follows is of no use");
    assert_same(&past(&reader, 1, 15_000), 15_001);
    let ms: i64 = by_hand(&home.path()).query_row("SELECT sum(took_ms) FROM tick_log", [], |row| row.get(0)).expect("readable");
    assert!((500_000..=600_000).contains(&ms), "{ms} ms are kept");
}

#[test]
fn a_full_disk_gives_inputs_up_before_it_holds_an_event_back() {
    let home = Home::new();
    let mut small = options();
    small.limit_bytes = 200 * 1024;
    let running = home.start_with(small);
    for tick in 1..=12_000 {
        send(&running.recorder, given(tick, u32::from(tick % 100 == 0)));
    }
    running.finish();
    let reader = Reader::open(&home.path()).expect("opens");
    assert_eq!(reader.verify().expect("the chain holds"), 120, "every event is there");
    assert!(past(&reader, 1, 0).is_empty(), "the oldest inputs made room");
    let first: i64 =
        by_hand(&home.path()).query_row("SELECT min(tick_from) FROM tick_log", [], |row| row.get(0)).expect("readable");
    let newest = past(&reader, 1, u64::try_from(first - 1).expect("a tick"));
    assert_same(&newest, u64::try_from(first).expect("a tick"));
    assert_eq!(newest.last().map(|tick| tick.tick), Some(Tick(12_000)));
}

#[test]
fn changed_inputs_are_seen() {
    let home = Home::new();
    let running = home.start();
    for tick in [1, 2] {
        send(&running.recorder, given(tick, 1));
        running.durable(tick);
    }
    running.finish();
    by_hand(&home.path()).execute("UPDATE input SET body = x'00' WHERE span = 2", []).expect("changed");
    let reader = Reader::open(&home.path()).expect("opens");
    let mut past = reader.past(1, Tick(0));
    assert!(matches!(past.next(), Some(Ok(_))));
    assert!(matches!(past.next(), Some(Err(ReadError::Inputs { boot: 1, tick: 2 }))));
    assert!(past.next().is_none());
}
