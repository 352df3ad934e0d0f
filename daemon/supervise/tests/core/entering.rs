//! Values that people enter: only where equipment is kept by hand, only in the point's own quantity.

use hearthward_equipment::quantity::{celsius, gas_flow};
use hearthward_equipment::{Evidence, Quality, Reading, Value};
use hearthward_supervise::event::EventBody;
use hearthward_supervise::observe::Observation;
use hearthward_supervise::output::Act;
use hearthward_supervise::request::Request;
use uom::si::f64::{Pressure, Ratio};
use uom::si::pressure::bar;
use uom::si::ratio::percent;

use crate::bench::{Bench, Kind};

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
    let words = bench.done(Request::Enter { point, value: flow.clone() });
    assert!(words.contains("8.00 L/min"), "what was read is on record: {words}");
    assert_eq!(bench.said(|body| matches!(body, EventBody::Entered { .. })), 1);
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
