//! The thermometer's row: broken, faster than a furnace can change, deaf to heat, far below the load's.

use super::super::InterlockKind::SensorFault;
use super::{Case, DOORS, Does, Says, Why, every, fine, one_of};
use crate::facts::{Door, Facts, Situation};
use crate::plan::FurnacePlan;
use crate::points::Sample;
use hearthward_equipment::ShopMs;
use std::time::Duration;

const MORE_S: f64 = 0.5;

/// A furnace that must answer to heat within half a minute, as long as a load may seem hotter than its chamber, and may be unread for
/// ten seconds.
fn case() -> Case {
    let (no_response_after, stale_after) = (Duration::from_secs(30), Duration::from_secs(10));
    Case::of(FurnacePlan { no_response_after, stale_after, ..crate::testing::furnace("north") })
}

/// The door is long shut.
fn calm() -> Situation {
    Situation { shut_for_s: f64::INFINITY, ..Situation::default() }
}

fn fault(so: bool, why: Why) -> Says {
    so.then_some((Does::CutLatched, why))
}

fn reads(read_c: f64, at_ms: u64, dt_s: f64) -> Facts {
    Facts { temperature: Sample::Good(read_c), read_at: Some(ShopMs(at_ms)), ..fine(dt_s) }
}

#[test]
fn a_thermometer_that_is_broken() {
    every(|[bad, doubtful, empty, beyond]| {
        let mut case = case();
        let temperature = if bad { Sample::Bad } else { Sample::Good(800.0) };
        case.says(SensorFault, &Facts { empty, ..fine(5.0) }, &calm());
        let facts = Facts { temperature, doubtful, empty, ..fine(if beyond { MORE_S } else { 0.0 }) };
        // "cuts heat on a broken … thermocouple"; a controller that gives no temperature is given five seconds.
        let broken = bad || doubtful || (empty && beyond);
        assert_eq!(case.says(SensorFault, &facts, &calm()), fault(broken, Why::Main), "{facts:?}");
    });
}

#[test]
fn a_gap_in_what_a_controller_gives_is_counted_from_its_last_temperature() {
    let mut case = case();
    let mut empty = |empty, dt_s| case.says(SensorFault, &Facts { empty, ..fine(dt_s) }, &calm());
    empty(true, 4.0);
    empty(false, 1.0);
    assert_eq!(empty(true, 4.0), None);
    assert_eq!(empty(true, 1.5), fault(true, Why::Main));
}

#[test]
fn a_rate_that_no_furnace_has() {
    every(|[steep, falls, by_hand, door_high, door_low, recovering, just_shut]| {
        let mut case = case();
        let door = one_of(DOORS, door_high, door_low);
        case.says(SensorFault, &reads(800.0, 0, 1.0), &calm());
        // 5 K/s over 5 s, and two steps of a reading in whole degrees.
        let change_k = if steep { 27.01 } else { 27.0 };
        let read_c = 800.0 + if falls { -change_k } else { change_k };
        let facts = Facts { by_hand, door, ..reads(read_c, 5_000, 5.0) };
        let now = Situation { recovering, shut_for_s: if just_shut { 59.9 } else { 60.0 }, ..Situation::default() };
        let said = case.says(SensorFault, &facts, &now);
        // "the rate check sleeps while the door is open and during recovery"; a door that cannot be read may be open.
        let sleeps = recovering || just_shut || matches!(door, Door::Open | Door::Unknown);
        // Between two entries of a person there is no rate.
        assert_eq!(said, fault(steep && !sleeps && !by_hand, Why::Other), "{facts:?} {now:?}");
        if said.is_none() {
            let again = Facts { dt_s: 5.0, ..reads(read_c, 10_000, 5.0) };
            assert_eq!(case.says(SensorFault, &again, &calm()), None, "what happened in its sleep is no rate afterwards");
        }
    });
}

#[test]
fn a_rate_is_taken_over_five_seconds() {
    let mut case = case();
    let mut at = |read_c, at_ms| case.says(SensorFault, &reads(read_c, at_ms, 1.0), &calm());
    at(800.0, 0);
    assert_eq!(at(820.0, 1_000), None);
    assert_eq!(at(840.0, 2_000), fault(true, Why::Other), "two steps that are each permitted are not, in so short a time");
    let mut other = self::case();
    let mut at = |read_c, at_ms| other.says(SensorFault, &reads(read_c, at_ms, 1.0), &calm());
    at(800.0, 0);
    assert_eq!(at(825.0, 5_000), None);
    assert_eq!(at(850.0, 10_000), None, "the next is taken from where the last ended");
    assert_eq!(at(878.0, 12_000), fault(true, Why::Other));
}

#[test]
fn without_a_reading_there_is_no_rate() {
    let mut case = case();
    case.says(SensorFault, &reads(800.0, 0, 1.0), &calm());
    let stale = Facts { temperature: Sample::Stale, ..reads(0.0, 5_000, 5.0) };
    assert_eq!(case.says(SensorFault, &stale, &calm()), None);
    assert_eq!(case.says(SensorFault, &Facts { read_at: None, ..reads(20.0, 0, 5.0) }, &calm()), None);
}

#[test]
fn a_thermometer_that_does_not_answer_to_heat() {
    every(|[heating, open, shared, full, wanted, far, answers, beyond]| {
        let mut case = case();
        let share = if full { 0.9 } else { 0.89 };
        let output_share = if shared { Sample::Good(share) } else { Sample::Never };
        let start_c = if far { 799.9 } else { 800.0 };
        let now = Situation { heating, wanted_c: wanted.then_some(850.0), ..calm() };
        let push =
            |read_c, dt_s| Facts { output_share, door: if open { Door::Open } else { Door::Unknown }, ..reads(read_c, 0, dt_s) };
        case.says(SensorFault, &push(start_c - 10.0, 1.0), &Situation { heating: false, ..now });
        case.says(SensorFault, &push(start_c, 30.0), &now);
        let rise_k = if answers { 3.0 } else { 0.0 };
        let facts = push(start_c + rise_k, if beyond { MORE_S } else { 0.0 });
        let said = case.says(SensorFault, &facts, &now);
        // "one that does not answer to heat": nine tenths of full power, or far below what is wanted where no share is read.
        let pushed = heating && !open && if shared { full } else { wanted && far };
        assert_eq!(said, fault(pushed && beyond && !answers, Why::Third), "{facts:?} {now:?}");
    });
}

#[test]
fn an_answer_is_a_rise_from_the_lowest_and_begins_the_count_anew() {
    let mut case = case();
    let now = Situation { heating: true, ..calm() };
    let mut full = |read_c, dt_s| {
        let facts = Facts { output_share: Sample::Good(1.0), door: Door::Open, ..reads(read_c, 0, dt_s) };
        // An unknown door lets the rate sleep and heat be looked at.
        case.says(SensorFault, &Facts { door: Door::Unknown, ..facts }, &now)
    };
    full(800.0, 20.0);
    assert_eq!(full(790.0, 10.0), None);
    assert_eq!(full(793.0, 10.0), None, "three kelvins above the lowest");
    assert_eq!(full(795.9, 30.0), None);
    assert_eq!(full(795.9, MORE_S), fault(true, Why::Third));
    let mut other = self::case();
    let mut full = |share, dt_s| {
        let facts = Facts { output_share: Sample::Good(share), door: Door::Unknown, ..reads(800.0, 0, dt_s) };
        other.says(SensorFault, &facts, &now)
    };
    full(1.0, 20.0);
    full(0.0, 1.0);
    assert_eq!(full(1.0, 20.0), None, "counted from when full power began");
    assert_eq!(full(1.0, 20.0), fault(true, Why::Third));
}

#[test]
fn a_load_that_seems_hotter_than_its_chamber() {
    every(|[load_read, chamber_read, heating, apart, beyond, together_between]| {
        let mut case = case();
        let load = if load_read { Sample::Good(if apart { 850.1 } else { 850.0 }) } else { Sample::Bad };
        let temperature = if chamber_read { Sample::Good(800.0) } else { Sample::Stale };
        let now = Situation { heating, ..calm() };
        case.says(SensorFault, &Facts { load, temperature, ..fine(30.0) }, &now);
        if together_between {
            case.says(SensorFault, &Facts { load: Sample::Good(800.0), ..fine(1.0) }, &now);
        }
        let facts = Facts { load, temperature, ..fine(if beyond { MORE_S } else { 0.0 }) };
        let said = case.says(SensorFault, &facts, &now);
        // "disagreeing": for half a minute, while heat is given.
        let disagrees = load_read && chamber_read && heating && apart && beyond && !together_between;
        assert_eq!(said, fault(disagrees, Why::Fourth), "{facts:?} {now:?}");
    });
}

#[test]
fn the_first_of_the_reasons_is_told() {
    every(|[broken, steep, deaf, disagrees]| {
        let mut case = case();
        let now = Situation { heating: true, ..calm() };
        let output_share = Sample::Good(if deaf { 1.0 } else { 0.0 });
        let load = Sample::Good(if disagrees { 900.0 } else { 0.0 });
        let before = Facts { output_share, load, ..reads(800.0, 0, 30.0) };
        assert_eq!(case.says(SensorFault, &before, &now), None);
        let read_c = if steep { 772.0 } else { 800.0 };
        let facts = Facts { doubtful: broken, output_share, load, ..reads(read_c, 500, MORE_S) };
        let reasons = [(broken, Why::Main), (steep, Why::Other), (deaf, Why::Third), (disagrees, Why::Fourth)];
        let first = reasons.into_iter().find(|(so, _)| *so).map(|(_, why)| (Does::CutLatched, why));
        assert_eq!(case.says(SensorFault, &facts, &now), first, "{broken} {steep} {deaf} {disagrees}");
    });
}

/// "healthy for a set time and reset": ten seconds.
#[test]
fn a_fault_is_gone_when_the_thermometer_was_healthy_for_ten_seconds() {
    let mut case = case();
    let mut see = |doubtful, dt_s| case.says(SensorFault, &Facts { doubtful, ..fine(dt_s) }, &calm());
    let stands = fault(true, Why::Main);
    assert_eq!(see(true, 1.0), stands);
    assert_eq!(see(false, 6.0), stands);
    assert_eq!(see(false, 3.9), stands);
    assert_eq!(see(true, 1.0), stands, "it begins anew");
    assert_eq!(see(false, 6.0), stands);
    assert_eq!(see(false, 4.0), None);
    assert_eq!(see(false, 1.0), None);
}

/// "healthy for a set time": time in which nothing was read, or nobody looked, is none of it.
#[test]
fn a_thermometer_is_not_healthy_while_nobody_reads_it() {
    every(|[unread, unwatched]| {
        let mut case = case();
        let mut see = |facts: Facts| case.says(SensorFault, &facts, &calm());
        let stands = fault(true, Why::Main);
        assert_eq!(see(Facts { doubtful: true, ..fine(1.0) }), stands);
        assert_eq!(see(fine(5.0)), stands);
        let temperature = if unread { Sample::Stale } else { Sample::Good(800.0) };
        let absent = unread || unwatched;
        let dt_s = if unwatched { 43.0 } else { 5.0 };
        assert_eq!(see(Facts { temperature, ..fine(dt_s) }), fault(absent, Why::Main), "{unread} {unwatched}");
        assert_eq!(see(fine(5.0)), fault(absent, Why::Main), "it begins anew");
        assert_eq!(see(fine(5.0)), None);
    });
}

/// "healthy for a set time": a fault that outlived a restart needs the whole of it, and keeps its reason.
#[test]
fn a_fault_from_before_a_restart_needs_its_ten_seconds() {
    let mut case = case();
    case.memory.sensor.doubt(Why::Third);
    let mut see = |dt_s| case.says(SensorFault, &fine(dt_s), &calm());
    assert_eq!([see(5.0), see(4.9), see(1.0)], [fault(true, Why::Third), fault(true, Why::Third), None]);
}
