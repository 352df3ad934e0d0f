//! Values that people enter: only where equipment is kept by hand, only in the point's own quantity.

use hearthward_equipment::quantity::{celsius, gas_flow};
use hearthward_equipment::{Evidence, Quality, Reading, Value};
use hearthward_supervise::event::EventBody;
use hearthward_supervise::interlock::InterlockKind;
use hearthward_supervise::observe::Observation;
use hearthward_supervise::output::Act;
use hearthward_supervise::plan::Heating;
use hearthward_supervise::recipe::Protection;
use hearthward_supervise::request::{Ask, Request};
use hearthward_supervise::view::InterlockState;
use uom::si::f64::{Pressure, Ratio};
use uom::si::pressure::bar;
use uom::si::ratio::percent;

use crate::bench::{Bench, Kind, NORTH, irons};

fn entered(bench: &Bench) -> usize {
    bench.out.acts.iter().filter(|act| matches!(act, Act::Enter { .. })).count()
}

#[test]
fn only_the_points_own_quantity_is_taken() {
    let mut bench = Bench::new(&[Kind { by_eye: true, ..Kind::gas("north") }]);
    let point = bench.plan.furnaces[0].gas.as_ref().expect("it has gas").flow;
    let flow = Value::GasFlow(gas_flow(8.0, 21.1, 101.325));
    assert!(bench.refused(Request::Enter { point, value: flow.clone() }).contains("Try again"), "its driver is not there yet");
    let reading = Reading { point, at: bench.now, value: None, quality: Quality::Bad, evidence: Evidence::Confirmed };
    bench.shop.observe(bench.now, Observation::Reading(reading));
    let wrong = [
        Value::Temperature(celsius(44.0)),
        Value::Pressure(Pressure::new::<bar>(5.0)),
        Value::Share(Ratio::new::<percent>(1.0)),
        Value::Number(15.0),
        Value::Flag(true),
        Value::GasFlow(gas_flow(f64::NAN, 21.1, 101.325)),
    ];
    for value in wrong {
        let words = bench.refused(Request::Enter { point, value: value.clone() });
        assert!(words.contains("takes a flow") && words.contains("Nothing was entered"), "{value:?}: {words}");
        assert_eq!(entered(&bench), 0, "{value:?}");
    }
    assert_eq!(bench.said(|body| matches!(body, EventBody::Entered { .. })), 0);
    let beyond = Value::GasFlow(gas_flow(655.0, 21.1, 101.325));
    let words = bench.refused(Request::Enter { point, value: beyond });
    assert!(words.contains("read the meter again") && entered(&bench) == 0, "{words}");
    let words = bench.done(Request::Enter { point, value: flow.clone() });
    assert!(words.contains("8.00 L/min"), "what was read is on record: {words}");
    assert_eq!(bench.said(|body| matches!(body, EventBody::Entered { value: Some(read), .. } if *read == flow)), 1);
}

#[test]
fn nothing_is_entered_where_a_device_measures() {
    let mut bench = Bench::new(&[Kind::gas("north")]);
    bench.scans(2);
    let point = bench.plan.furnaces[0].temperature;
    let words = bench.refused(Request::Enter { point, value: Value::Temperature(celsius(20.0)) });
    assert!(words.contains("not kept by hand"), "{words}");
    assert_eq!(entered(&bench), 0);
}

/// Goal: what a person reads is asked for anew when it grows old, a jump between two entries is no fault, and only what is much too old is
/// taken as lost. Method: a furnace whose thermometer is read by eye.
#[test]
fn a_thermometer_read_by_eye_is_asked_for_when_it_has_grown_old() {
    let mut bench = Bench::new(&[Kind { heating: Heating::ByHand, ..Kind::plain("north") }]);
    let mut load = irons(None);
    load.protection = Protection::None;
    load.steps.remove(0);
    bench.plants[0].answers = false;
    let point = bench.plan.furnaces[0].temperature;
    let read = |bench: &mut Bench, read_c: Option<f64>, quality| {
        let value = read_c.map(|read_c| Value::Temperature(celsius(read_c)));
        let reading = Reading { point, at: bench.now, value, quality, evidence: Evidence::Confirmed };
        bench.shop.observe(bench.now, Observation::Reading(reading));
        bench.scan();
    };
    read(&mut bench, None, Quality::Bad);
    let words = bench.refused(Request::Start { furnace: NORTH, load: load.clone(), ready_in: None });
    assert!(words.contains("enter bench/north.temperature"), "{words}");
    read(&mut bench, Some(21.0), Quality::Good);
    bench.done(Request::Start { furnace: NORTH, load, ready_in: None });
    bench.confirm(|ask| matches!(ask, Ask::LoadAndShut));
    read(&mut bench, Some(21.0), Quality::Good);
    let set = bench.question(|ask| matches!(ask, Ask::SetController { .. })).expect("somebody has to set it").text.clone();
    assert!(set.contains("enter what it shows at bench/north.temperature"), "{set}");
    assert_eq!(bench.north().wanted_c, Some(800.0), "what a person was asked to set is shown");

    let asked = |bench: &Bench| bench.question(|ask| matches!(ask, Ask::EnterReading { .. })).is_some();
    read(&mut bench, Some(21.0), Quality::Uncertain);
    assert!(asked(&bench) && bench.row(NORTH, InterlockKind::DriverLost) == InterlockState::Clear);
    read(&mut bench, Some(21.0), Quality::Bad);
    assert_eq!(bench.row(NORTH, InterlockKind::DriverLost), InterlockState::Tripped);
    assert!(bench.question(|ask| matches!(ask, Ask::TurnOff)).is_some(), "what nobody looks at is turned off");
    read(&mut bench, Some(790.0), Quality::Good);
    read(&mut bench, Some(790.0), Quality::Good);
    assert!(!asked(&bench), "it was entered");
    for kind in [InterlockKind::DriverLost, InterlockKind::SensorFault] {
        assert_eq!(bench.row(NORTH, kind), InterlockState::Clear, "{kind:?}");
    }
}
