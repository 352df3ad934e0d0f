//! What equipment was told and did not do stays owed until it is done.

use hearthward_equipment::{GasFlow, UnitId, Value};
use hearthward_supervise::event::{EventBody, Priority};
use hearthward_supervise::observe::{Observation, UnitState};
use hearthward_supervise::output::Act;

use crate::bench::{Bench, Kind, NORTH, irons};

fn high(bench: &Bench) -> GasFlow {
    bench.plan.furnaces[0].gas.as_ref().expect("it has gas").purge.flow
}

fn meter(bench: &Bench) -> UnitId {
    bench.plan.furnaces[0].gas.as_ref().and_then(|gas| gas.meter).expect("it has a meter")
}

fn outputs(bench: &Bench, is_done: bool) -> usize {
    let meter = meter(bench);
    bench.said(|body| matches!(body, EventBody::Output { unit: Some(unit), done, .. } if *unit == meter && *done == is_done))
}

/// A bench whose purge flow was ordered and not taken.
fn refused() -> Bench {
    let mut bench = Bench::new(&[Kind::gas("north")]);
    bench.obeys = false;
    bench.load(NORTH, irons(None));
    bench.scans(5);
    assert_eq!((bench.plants[0].flow, outputs(&bench, false)), (GasFlow::default(), 1));
    bench
}

#[test]
fn a_flow_that_was_not_taken_is_told_until_it_is_and_said_once() {
    let mut bench = refused();
    bench.scans(60);
    assert_eq!((outputs(&bench, false), outputs(&bench, true)), (1, 0), "said once");
    let address = bench.plan.directory.unit_address(meter(&bench)).expect("it has one");
    let alarm = format!("Alarm of {address}: unit lost");
    assert_eq!(bench.events.iter().filter(|event| event.text.starts_with(&alarm)).count(), 1, "and its alarm raised");
    bench.obeys = true;
    bench.scans(18);
    assert_eq!((bench.plants[0].flow, outputs(&bench, true)), (high(&bench), 1));
    bench.scans(120);
    assert_eq!((outputs(&bench, false), outputs(&bench, true)), (1, 1));
}

#[test]
fn a_meter_that_answers_again_is_told_at_once() {
    let mut bench = refused();
    bench.scans(120);
    bench.obeys = true;
    let unit = meter(&bench);
    bench.shop.observe(bench.now, Observation::Unit { unit, is: UnitState::Answering });
    bench.scan();
    assert_eq!(bench.plants[0].flow, high(&bench));
}

/// Goal: the one write that shuts gas where people cannot breathe is never lost. Method: the valve and the meter miss the first.
#[test]
fn gas_that_does_not_shut_in_bad_air_is_shut_as_soon_as_it_can_be() {
    let mut bench = Bench::soaking(&[Kind::gas("north")]);
    let valve = bench.plan.furnaces[0].gas.as_ref().and_then(|gas| gas.valve).expect("one is wired").output;
    let shut = Act::WritePoint { point: valve, value: Value::Flag(false) };
    (bench.oxygen, bench.obeys) = (Some(0.17), false);
    bench.scans(10);
    assert!(bench.plants[0].flow.value > 0.0);
    let urgent = bench.events.iter().filter(|event| event.priority == Priority::Urgent);
    assert!(urgent.filter(|event| event.text.contains("does not shut the gas off")).count() >= 1);
    bench.acts.clear();
    bench.obeys = true;
    bench.scans(18);
    assert!(bench.acts.contains(&shut) && bench.plants[0].flow.value == 0.0);
}
