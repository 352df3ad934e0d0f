//! The rows that are judged by what went before as well: how long, since when, what was read last.

use super::super::InterlockKind::{DoorOpen, DriverLost, OffSetPoint, PurgeFlow};
use super::{Case, DOORS, Does, Says, Why, every, fine, one_of};
use crate::facts::{Door, Facts, Situation};
use crate::gas::hot_c;
use crate::plan::FurnacePlan;
use crate::points::Sample;
use hearthward_equipment::quantity::in_kelvins;
use std::time::Duration;
use uom::si::catalytic_activity::katal;

/// Time beyond a limit.
const MORE_S: f64 = 0.5;

#[test]
fn door_open() {
    every(|[door_high, door_low, running, opening_expected, rides_longer, beyond_short, beyond_ride]| {
        let door = one_of(DOORS, door_high, door_low);
        let (short_s, ride_s) = if rides_longer { (20.0, 60.0) } else { (20.0, 10.0) };
        let mut case = Case::of(FurnacePlan { short_opening: Duration::from_secs(20), ..crate::testing::furnace("north") });
        let now = Situation { running, opening_expected, ride_through_s: ride_s, ..Situation::default() };
        let lasted_s = match (beyond_short, beyond_ride) {
            (false, false) => short_s,
            (true, false) => short_s + MORE_S,
            (false, true) => ride_s + MORE_S,
            (true, true) => f64::max(short_s, ride_s) + MORE_S,
        };
        case.says(DoorOpen, &Facts { door: Door::Open, ..fine(lasted_s - 4.0) }, &now);
        let said = case.says(DoorOpen, &Facts { door, ..fine(4.0) }, &now);
        // "cuts heat on open or unknown; … by itself if the cycle expected the opening or it was short …; by reset if it was long and
        // unexpected". Without a cycle nobody heats. A switch that cannot be read is a driver's gap, which has its own time.
        let unexpected = running && !opening_expected;
        let latched = |long| if unexpected && long { Does::CutLatched } else { Does::Cut };
        let expected = match door {
            Door::Open => Some((latched(lasted_s > short_s), Why::Main)),
            Door::Unknown => Some((latched(lasted_s > short_s && lasted_s > ride_s), Why::Other)),
            Door::Shut | Door::Absent => None,
        };
        assert_eq!(said, expected, "{door:?} for {lasted_s} s, {now:?}");
    });
}

#[test]
fn a_door_that_shuts_ends_its_opening() {
    let mut case = Case::new();
    let now = Situation { running: true, ..Situation::default() };
    let mut door = |door, dt_s| {
        let said = case.says(DoorOpen, &Facts { door, ..fine(dt_s) }, &now);
        (said, case.memory.door.gap_s)
    };
    door(Door::Open, 15.0);
    assert_eq!(door(Door::Shut, 1.0), (None, 15.0));
    assert_eq!(door(Door::Shut, 1.0), (None, 15.0), "the length of the last opening stays");
    assert_eq!(door(Door::Open, 20.0), (Some((Does::Cut, Why::Main)), 15.0), "the next is counted from its own beginning");
    assert_eq!(door(Door::Open, f64::NAN), (Some((Does::CutLatched, Why::Main)), 15.0), "a time that is none is long");
}

#[test]
fn off_its_set_point() {
    every(|[steady, heating, recovering, wanted, arms, away, read, beyond]| {
        let mut case = Case::new();
        let band_k = in_kelvins(case.plan.band);
        let quiet = Situation { steady: true, heating: true, wanted_c: Some(800.0), ..Situation::default() };
        // The edge of the band is inside.
        let start_c = 800.0 - if arms { band_k } else { band_k + 0.01 };
        case.says(OffSetPoint, &Facts { temperature: Sample::Good(start_c), ..fine(1.0) }, &quiet);
        let now = Situation { steady, heating, recovering, wanted_c: wanted.then_some(800.0), ..quiet };
        let read_c = 800.0 + if away { 2.0 * band_k + 0.01 } else { 2.0 * band_k };
        let temperature = if read { Sample::Good(read_c) } else { Sample::Stale };
        case.says(OffSetPoint, &Facts { temperature, ..fine(60.0) }, &now);
        let dt_s = if beyond { MORE_S } else { 0.0 };
        let said = case.says(OffSetPoint, &Facts { temperature, ..fine(dt_s) }, &now);
        // It "alarms … never latches", once armed, on a steady set point that heat is given for; what cannot be read is off.
        let watched = steady && heating && wanted && !recovering;
        let off = watched && arms && (away || !read) && beyond;
        assert_eq!(said, off.then_some((Does::Alarm, Why::Main)), "{now:?} {temperature:?} {start_c}");
    });
}

#[test]
fn off_its_set_point_by_the_controllers_program() {
    every(|[program_off, beyond, back_between]| {
        let mut case = Case::new();
        let off = Situation { program_off: true, ..Situation::default() };
        case.says(OffSetPoint, &fine(60.0), &off);
        if back_between {
            case.says(OffSetPoint, &fine(1.0), &Situation::default());
        }
        let now = Situation { program_off, ..off };
        let said = case.says(OffSetPoint, &fine(if beyond { MORE_S } else { 0.0 }), &now);
        let expected = program_off && beyond && !back_between;
        assert_eq!(said, expected.then_some((Does::Alarm, Why::Other)), "{program_off} {beyond} {back_between}");
    });
}

#[test]
fn off_its_set_point_re_arms_after_a_change() {
    let mut case = Case::new();
    let mut at = |read_c, wanted_c, dt_s| {
        let now = Situation { steady: true, heating: true, wanted_c: Some(wanted_c), ..Situation::default() };
        case.says(OffSetPoint, &Facts { temperature: Sample::Good(read_c), ..fine(dt_s) }, &now)
    };
    let alarm = Some((Does::Alarm, Why::Main));
    at(800.0, 800.0, 1.0);
    assert_eq!(at(700.0, 800.0, 61.0), alarm);
    assert_eq!(at(800.0, 800.0, 1.0), None, "back in band");
    assert_eq!(at(700.0, 800.0, 40.0), None);
    assert_eq!(at(800.0, 800.0, 1.0), None);
    assert_eq!(at(700.0, 800.0, 40.0), None, "time away is counted from the last time in the band");
    assert_eq!(at(700.0, 200.0, 600.0), None, "a step down to the temper raises nothing on its way");
    assert_eq!(at(700.0, 200.0, 600.0), None);
    at(203.0, 200.0, 1.0);
    assert_eq!(at(250.0, 200.0, 61.0), alarm, "and is armed there");
}

#[test]
fn driver_lost_at_the_first_look() {
    let samples = [Sample::Good(0.0), Sample::Bad, Sample::Stale, Sample::Never];
    every(|[read_high, read_low, alarm_wired, alarm_high, alarm_low, out_of_service, by_hand, aging, late]| {
        let (temperature, alarm) = (one_of(samples, read_high, read_low), one_of(samples, alarm_high, alarm_low));
        // A reading may be two seconds old.
        let dt_s = if late { 2.0 + MORE_S } else { 2.0 };
        let facts = Facts { temperature, alarm_wired, alarm, out_of_service, by_hand, aging, ..fine(dt_s) };
        let now = Situation { running: true, ride_through_s: 60.0, ..Situation::default() };
        let said = Case::new().says(DriverLost, &facts, &now);
        // "on a reading older than its limit or a driver out of service"; what is broken and not old is the sensor's row. The alarm of
        // the controller counts where it is wired. What a person read is asked for before it counts as lost. A tick that came too late has
        // watched nothing meanwhile.
        let old = matches!(temperature, Sample::Stale | Sample::Never);
        let no_alarm = alarm_wired && !matches!(alarm, Sample::Good(_));
        let lost = if out_of_service { true } else { (old || no_alarm || late) && !(by_hand && aging) };
        let why = if out_of_service { Why::Other } else { Why::Main };
        assert_eq!(said, lost.then_some((Does::Cut, why)), "{facts:?}");
    });
}

#[test]
fn driver_lost_for_long() {
    every(|[beyond, running, read_before, hot_before, by_hand]| {
        let mut case = Case::new();
        let edge_c = hot_c(&case.plan);
        let now = Situation { running, ride_through_s: 60.0, ..Situation::default() };
        if read_before {
            let temperature = Sample::Good(if hot_before { edge_c + 0.01 } else { edge_c });
            case.says(DriverLost, &Facts { temperature, ..fine(1.0) }, &now);
        }
        let lost = Facts { temperature: Sample::Stale, by_hand, ..fine(60.0) };
        case.says(DriverLost, &lost, &now);
        let said = case.says(DriverLost, &Facts { dt_s: if beyond { MORE_S } else { 0.0 }, ..lost }, &now);
        // "by itself within the ride-through, else reset", unless nothing can have been heated; what a person did not read owes nothing.
        let doubtful = running || (read_before && hot_before);
        let does = if beyond && doubtful && !by_hand { Does::CutLatched } else { Does::Cut };
        assert_eq!(said, Some((does, Why::Main)), "{beyond} {now:?} {read_before} {hot_before} {by_hand}");
    });
}

#[test]
fn a_driver_that_comes_back() {
    every(|[lost, running, agrees, by_hand_before]| {
        let mut case = Case::new();
        let now = Situation { running, ride_through_s: 60.0, ..Situation::default() };
        case.says(DriverLost, &Facts { by_hand: by_hand_before, ..fine(1.0) }, &now);
        if lost {
            case.says(DriverLost, &Facts { temperature: Sample::Stale, ..fine(20.0) }, &now);
        }
        // A furnace that falls by itself by 0.3 K/s may have fallen by twice as much in 20 s, and 15 K beside that: to 773 °C.
        let temperature = Sample::Good(if agrees { 773.0 } else { 772.9 });
        let said = case.says(DriverLost, &Facts { temperature, ..fine(1.0) }, &now);
        let expected: Says = (lost && running && !agrees).then_some((Does::CutLatched, Why::Third));
        assert_eq!(said, expected, "{lost} {running} {agrees}");
        assert_eq!(case.memory.driver.gap_s, if lost { 20.0 } else { 0.0 });
        let calm = case.says(DriverLost, &Facts { temperature, ..fine(1.0) }, &now);
        assert_eq!(calm, None, "it is said once, and the row keeps it");
        assert_eq!(case.memory.driver.gap_s, if lost { 20.0 } else { 0.0 }, "the length of the last gap stays");
    });
}

#[test]
fn a_gap_in_what_is_not_the_temperature_is_a_gap() {
    let mut case = Case::new();
    let now = Situation { running: true, ride_through_s: 60.0, ..Situation::default() };
    let away = Facts { out_of_service: true, temperature: Sample::Bad, ..fine(f64::NAN) };
    assert_eq!(case.says(DriverLost, &away, &now), Some((Does::CutLatched, Why::Other)), "a time that is none is long");
    let mut case = Case::new();
    case.says(DriverLost, &Facts { out_of_service: true, ..fine(5.0) }, &now);
    assert_eq!(case.says(DriverLost, &fine(1.0), &now), None, "nothing was read before that could disagree");
    case.says(DriverLost, &Facts { by_hand: true, ..fine(1.0) }, &now);
    assert_eq!(case.memory.driver.gap_s, 0.0, "what a person enters begins anew");
    case.says(DriverLost, &Facts { out_of_service: true, by_hand: true, ..fine(5.0) }, &now);
    let cold = Facts { temperature: Sample::Good(700.0), ..fine(1.0) };
    let disagrees = Some((Does::CutLatched, Why::Third));
    assert_eq!(case.says(DriverLost, &cold, &now), disagrees, "and is what a later reading is held against");
}

#[test]
fn purge_flow() {
    every(|[gas, running, load_in, gas_load, proved, hot, low, read, beyond]| {
        let plan = crate::testing::furnace("north");
        let mut case = Case::of(FurnacePlan { gas: plan.gas.clone().filter(|_| gas), ..plan });
        let asked_flow = 0.01;
        let flow = if low { 0.799 * asked_flow } else { 0.8 * asked_flow };
        let flow = if read { flow } else { f64::NAN };
        let now = Situation { running, load_in, gas_load, proved, hot, asked_flow, flow, ..Situation::default() };
        case.says(PurgeFlow, &fine(10.0), &now);
        let said = case.says(PurgeFlow, &fine(if beyond { MORE_S } else { 0.0 }), &now);
        // "alarms and asks (a cause for the steel)" where gas protects steel: hot, or with a purge that it would undo.
        let protects = gas && running && load_in && gas_load && (proved || hot);
        let why = if read { Why::Main } else { Why::Other };
        let expected = (protects && beyond && (low || !read)).then_some((Does::Alarm, why));
        assert_eq!(said, expected, "{gas} {now:?} {beyond}");
    });
}

#[test]
fn a_flow_that_comes_back_or_that_no_meter_can_resolve_is_not_lost() {
    let mut case = Case::new();
    let resolution = case.plan.gas.as_ref().expect("it has gas").resolution.get::<katal>();
    let mut flow = |asked_flow, flow, dt_s| {
        let now = Situation { running: true, load_in: true, gas_load: true, hot: true, asked_flow, flow, ..Situation::default() };
        case.says(PurgeFlow, &fine(dt_s), &now)
    };
    flow(0.01, 0.0, 8.0);
    assert_eq!(flow(0.01, 0.01, 1.0), None);
    assert_eq!(flow(0.01, 0.0, 8.0), None, "counted from the last time that it flowed");
    assert_eq!(flow(0.01, 0.0, 8.0), Some((Does::Alarm, Why::Main)));
    assert_eq!(flow(resolution, 0.0, 60.0), None, "\"a reading that the meter cannot resolve is not a lost flow\"");
    assert_eq!(flow(2.0 * resolution, 0.0, 60.0), Some((Does::Alarm, Why::Main)));
    assert_eq!(flow(resolution / 0.8, 0.0, 60.0), Some((Does::Alarm, Why::Main)), "what it just resolves is seen");
}
