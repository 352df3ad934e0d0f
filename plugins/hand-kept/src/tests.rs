//! The driver as a whole, on a clock that tests set.

use std::cell::Cell;

use hearthward_driver::{
    Clock, Driver, FlowMeter, Furnace, HeatCommand, Named, Points, Quality, QuenchTank, Settings, TankCommand, Value, fault,
    reading,
};

use crate::HandKept;

#[derive(Debug, Default)]
struct Hand(Cell<u64>);

impl Clock for Hand {
    fn now_ms(&self) -> u64 {
        self.0.get()
    }
}

type Driven = HandKept<Hand>;

fn text(word: &str) -> Value {
    Value::Text(word.to_owned())
}

/// Units in alphabetical order: bench furnace 0, gauge 1, meter 2, oil 3.
fn shop() -> Driven {
    let list = [
        ("unit.bench.face", text("furnace")),
        ("unit.gauge.face", text("points")),
        ("unit.gauge.quantity", text("pressure_kpa")),
        ("unit.meter.face", text("flow-meter")),
        ("unit.meter.valid_for_s", Value::Whole(1800)),
        ("unit.meter.how", text("read the middle of the ball")),
        ("unit.oil.face", text("quench-tank")),
        ("unit.oil.points.colour.quantity", text("text")),
    ];
    let (driver, units) = Driven::build(&Settings::from(list), &[]).expect("sound settings");
    assert!(units.iter().all(|unit| unit.cuts.is_empty() && unit.notes.contains(&reading::note("evidence", "confirmed"))));
    assert_eq!(units[1].readings, ["gauge"]);
    assert_eq!(units[2].readings, ["flow", "asked"]);
    assert!(units[2].notes.contains(&reading::note("how", "read the middle of the ball")));
    driver
}

fn asked(driver: &mut Driven, unit: usize) -> Value {
    let points = Points::read(driver, unit).expect("points");
    points.into_iter().find(|point| point.name == "asked").expect("shown").value
}

/// Goal: an entered value is good for its time, uncertain for as long again, then bad; before the first it is not there.
#[test]
fn values_age() {
    let mut driver = shop();
    assert_eq!(FlowMeter::read(&mut driver, 2).expect("a reading").flow, None);
    driver.clock.0.set(5_000);
    let entered = Points::write(&mut driver, 2, "flow", Value::Whole(8)).expect("entered");
    assert_eq!((entered.value, entered.quality), (Value::Number(8.0), Quality::Good));
    for (age_s, quality) in [(1800, Quality::Good), (1801, Quality::Uncertain), (3600, Quality::Uncertain), (3601, Quality::Bad)]
    {
        driver.clock.0.set(5_000 + age_s * 1000);
        let flow = FlowMeter::read(&mut driver, 2).expect("a reading").flow.expect("entered");
        assert_eq!((flow.standard_litres_per_minute.value, flow.standard_litres_per_minute.quality), (8.0, quality), "{age_s} s");
    }
}

/// Goal: a command is what is asked, in words, until a value answers it; a newer one takes its place.
#[test]
fn commands_are_asked() {
    let mut driver = shop();
    assert_eq!(asked(&mut driver, 2), text(""));
    // 4 L/min at 0 °C is 4 × 294.25 / 273.15 = 4.3 at 21.1 °C (ideal gas).
    driver.set_flow(2, reading::flow(4.0, 0.0, 101.325)).expect("asked");
    assert_eq!(asked(&mut driver, 2), text("set the flow to 4.3 L/min"));
    driver.set_flow(2, reading::flow(2.0, 21.1, 101.325)).expect("asked");
    assert_eq!(asked(&mut driver, 2), text("set the flow to 2.0 L/min"));
    Points::write(&mut driver, 2, "flow", Value::Number(2.1)).expect("entered");
    assert_eq!(asked(&mut driver, 2), text(""));
    QuenchTank::write(&mut driver, 3, TankCommand::Agitate(true)).expect("asked");
    QuenchTank::write(&mut driver, 3, TankCommand::HeatToC(50.0)).expect("asked");
    assert_eq!(asked(&mut driver, 3), text("stir the bath; warm the bath to 50 °C"));
    Points::write(&mut driver, 3, "temperature", Value::Number(50.0)).expect("entered");
    assert_eq!(asked(&mut driver, 3), text("stir the bath"));
}

/// Goal: a cut replaces a wish for heat and stands until a person says that heat is off.
#[test]
fn a_cut_stands_until_heat_is_off() {
    let mut driver = shop();
    driver.heat(0, HeatCommand::SetPointC(780.0)).expect("asked");
    assert_eq!(asked(&mut driver, 0), text("hold 780 °C"));
    let read = driver.cut(0).expect("asked");
    assert_eq!(read.heat_on, None);
    Points::write(&mut driver, 0, "heat_on", Value::Flag(true)).expect("entered");
    assert_eq!(asked(&mut driver, 0), text("switch the heat off"));
    Points::write(&mut driver, 0, "heat-on", Value::Flag(false)).expect("entered");
    assert_eq!(asked(&mut driver, 0), text(""));
}

/// Goal: what does not fit is refused with its reason, and changes nothing.
#[test]
fn misfits() {
    let mut driver = shop();
    let codes = [
        Points::write(&mut driver, 1, "gauge", Value::Flag(true)),
        Points::write(&mut driver, 1, "gauge", Value::Number(f64::NAN)),
        Points::write(&mut driver, 2, "flow", Value::Number(-1.0)),
        Points::write(&mut driver, 2, "asked", text("done")),
        Points::write(&mut driver, 3, "colour", text(&"x".repeat(1025))),
    ]
    .map(|result| result.map_err(|fault| fault.code));
    assert!(codes.iter().all(|code| *code == Err(fault::NOT_ALLOWED)), "{codes:?}");
    let missing = Points::write(&mut driver, 1, "level", Value::Number(1.0)).expect_err("not read there");
    assert_eq!(missing.code, fault::NOT_SUPPORTED);
    let point = Points::read(&mut driver, 1).expect("points").remove(0);
    assert_eq!((point.value, point.quality), (Value::Number(0.0), Quality::Bad));
    assert!(Furnace::read(&mut driver, 1).is_err() && Points::read(&mut driver, 4).is_err());
}

/// Goal: mistakes in the settings are told together.
#[test]
fn problems() {
    let list = vec![
        ("unit.a.face", text("furnace")),
        ("unit.a.readings.0", text("temperature")),
        ("unit.a.readings.1", text("smell")),
        ("unit.a.quantity", text("share")),
        ("unit.b.face", text("points")),
        ("unit.c.face", text("points")),
        ("unit.c.quantity", text("pressure")),
        ("unit.d.face", text("flow-meter")),
        ("unit.d.valid_for_s", Value::Whole(0)),
        ("unit.d.points.flow.quantity", text("share")),
    ];
    let list = list.into_iter().map(|(name, value)| Named { name: name.to_owned(), value }).collect();
    let problems = Driven::build(&Settings::new(list), &[]).expect_err("mistakes");
    let mut keys: Vec<&str> = problems.iter().map(|problem| problem.key.as_str()).collect();
    keys.sort_unstable();
    assert_eq!(
        keys,
        ["unit.a.quantity", "unit.a.readings", "unit.b", "unit.c.quantity", "unit.d.points.flow", "unit.d.valid_for_s"]
    );
}
