//! The driver as a whole, against a stand-in for the line.

use hearthward_driver::{
    Driver, FlowMeter, Furnace, GasFlow, HeatCommand, Points, Problem, Quality, QuenchTank, Settings, TankCommand, Unit, Value,
    fault, reading,
};

use crate::Registers;
use crate::stand_in::{StandIn, Trouble};

type Driven = Registers<StandIn>;

/// Settings as the host would flatten them: "key = value" a line.
fn settings(text: &str) -> Settings {
    let value = |word: &str| match word.parse::<i64>() {
        Ok(whole) => Value::Whole(whole),
        Err(_) => match (word.parse::<f64>(), word) {
            (Ok(number), _) => Value::Number(number),
            (_, "true" | "false") => Value::Flag(word == "true"),
            _ => Value::Text(word.trim_matches('"').to_owned()),
        },
    };
    let lines = text.lines().map(str::trim).filter(|line| !line.is_empty());
    let pairs = lines.map(|line| line.split_once(" = ").expect("key = value"));
    Settings::new(pairs.map(|(name, word)| hearthward_driver::Named { name: name.to_owned(), value: value(word) }).collect())
}

fn build(text: &str) -> Result<(Driven, Vec<Unit>), Vec<Problem>> {
    Driven::build(&settings(text), &["bus".to_owned()])
}

fn problems(text: &str) -> Vec<String> {
    let problems = build(text).expect_err("settings with problems");
    problems.iter().map(|problem| format!("{}: {}", problem.key, problem.message)).collect()
}

/// A made-up controller of the demo shop: tenths of a degree, run-enable coil, a status word with two bits.
const NORTH: &str = "
    unit.north.face = furnace
    unit.north.address = 1
    unit.north.map.temperature.register = 100
    unit.north.map.temperature.table = holding
    unit.north.map.temperature.type = i16
    unit.north.map.temperature.scale = 0.1
    unit.north.map.temperature.unit = C
    unit.north.map.temperature.broken = 32767
    unit.north.map.set_point.register = 102
    unit.north.map.set_point.table = holding
    unit.north.map.set_point.type = u16
    unit.north.map.set_point.unit = C
    unit.north.map.set_point.max = 1060
    unit.north.map.set_point.write = true
    unit.north.map.heat_on.register = 3
    unit.north.map.heat_on.table = coil
    unit.north.map.heat_on.write = true
    unit.north.map.over_temperature.register = 104
    unit.north.map.over_temperature.table = holding
    unit.north.map.over_temperature.mask = 1
    unit.north.map.door_open.register = 104
    unit.north.map.door_open.table = holding
    unit.north.map.door_open.mask = 2
    unit.north.map.fan.register = 104
    unit.north.map.fan.table = holding
    unit.north.map.fan.mask = 256
    unit.north.map.fan.write = true
    unit.north.map.fan.quantity = state
    unit.north.cut.set_point = 0
    unit.north.cut.heat_on = false
";

fn north() -> (Driven, Vec<Unit>) {
    let (mut driver, units) = build(NORTH).expect("sound settings");
    driver.link.bus.hold(1, 100, &[2153, 0, 640, 0, 0x0002]);
    (driver, units)
}

/// Goal: one read brings all fields, out of two requests: the registers stand near enough to be joined.
#[test]
fn a_furnace_is_read_in_two_requests() {
    let (mut driver, units) = north();
    let read = Furnace::read(&mut driver, 0).expect("a reading");
    assert_eq!(read.temperature_c, Some(reading::number(2153.0 * 0.1)));
    assert_eq!(read.set_point_c, Some(reading::number(640.0)));
    assert_eq!(read.heat_on, Some(reading::flag(false)));
    assert_eq!((read.door_open, read.over_temperature), (Some(reading::flag(true)), Some(reading::flag(false))));
    assert_eq!(read.output_share, None);
    assert_eq!(read.points, [reading::point("fan", "state", Value::Flag(false), Quality::Good)]);
    assert_eq!(driver.link.bus.seen.len(), 2);
    let costs: Vec<(u32, u32)> = units[0].costs.iter().map(|cost| (cost.request_bytes, cost.reply_bytes)).collect();
    // Header of 7 bytes, request of 5; answers of 2 + 1 bytes for a coil, 2 + 2 × 5 for five registers (Application
    // Protocol V1.1b3, 6.1 and 6.3, from memory).
    assert_eq!(costs, [(12, 10), (12, 19)]);
    assert_eq!(units[0].readings, ["temperature", "set-point", "heat-on", "door-open", "over-temperature", "fan"]);
}

/// Goal: a device that says "no value" gives a bad one, not 3276.7 degrees.
#[test]
fn a_broken_sensor_is_bad() {
    let (mut driver, _) = north();
    driver.link.bus.hold(1, 100, &[32767]);
    let read = Furnace::read(&mut driver, 0).expect("a reading");
    assert_eq!(read.temperature_c.map(|number| number.quality), Some(Quality::Bad));
}

/// Goal: heat is the set point, then the run-enable; both are confirmed; what stands already is not written again.
#[test]
fn heat_is_confirmed_and_spares_registers() {
    let (mut driver, _) = north();
    let read = driver.heat(0, HeatCommand::SetPointC(780.0)).expect("confirmed");
    assert_eq!((read.set_point_c, read.heat_on), (Some(reading::number(780.0)), Some(reading::flag(true))));
    assert_eq!(driver.link.bus.writes(), [(6, 102), (5, 3)]);
    driver.heat(0, HeatCommand::SetPointC(780.0)).expect("confirmed");
    assert_eq!(driver.link.bus.writes().len(), 2);
    let refused = driver.heat(0, HeatCommand::SetPointC(1100.0)).expect_err("above the map's max");
    assert_eq!(refused.code, fault::NOT_ALLOWED);
    let missing = driver.heat(0, HeatCommand::RunProgram(1)).expect_err("no program register");
    assert_eq!(missing.code, fault::NOT_SUPPORTED);
}

/// Goal: a cut switches off first, reads nothing before, and is confirmed by what the device shows.
#[test]
fn a_cut_is_confirmed() {
    let (mut driver, _) = north();
    driver.heat(0, HeatCommand::SetPointC(780.0)).expect("confirmed");
    driver.link.bus.seen.clear();
    let read = driver.cut(0).expect("confirmed");
    assert_eq!((read.set_point_c, read.heat_on), (Some(reading::number(0.0)), Some(reading::flag(false))));
    assert_eq!(driver.link.bus.writes(), [(5, 3), (6, 102)]);
    assert_eq!(driver.link.bus.seen[0].1[0], 5);
    driver.heat(0, HeatCommand::SetPointC(700.0)).expect("confirmed");
    driver.link.bus.trouble = Trouble::Forgets;
    let fault = driver.cut(0).expect_err("the device forgets");
    assert_eq!(fault.code, fault::NOT_CONFIRMED);
    assert!(fault.detail.contains("heat-on was written as [0] but the device shows [1]"), "{}", fault.detail);
}

/// Goal: the standing cuts do the same as the driver's own cut, and their echo is as expected.
#[test]
fn standing_cuts_work_without_the_driver() {
    for rtu in [false, true] {
        let text = format!("framing = {}\n{NORTH}", if rtu { "rtu" } else { "tcp" });
        let (mut driver, units) = build(&text).expect("sound settings");
        driver.link.bus.rtu = rtu;
        driver.heat(0, HeatCommand::SetPointC(780.0)).expect("confirmed");
        for cut in &units[0].cuts {
            let came = hearthward_driver::Bus::exchange(&mut driver.link.bus, cut.line, &cut.request, &cut.reply, 500);
            let came = came.expect("an echo");
            assert_eq!(came.len(), cut.expect.len());
            assert!(came.iter().zip(&cut.mask).map(|(byte, mask)| byte & mask).eq(cut.expect.iter().copied()));
        }
        assert_eq!((driver.link.bus.holding[&(1, 102)], driver.link.bus.coils[&(1, 3)]), (0, false));
        let named: Vec<&Value> = units[0].notes.iter().filter(|note| note.name == "cut").map(|note| &note.value).collect();
        assert_eq!(named, [&Value::Text("heat-on".to_owned()), &Value::Text("set-point".to_owned())]);
    }
}

/// Goal: a reply that came too late, to a request before, is not the end of a read; it is asked again.
#[test]
fn a_late_reply_is_passed_over() {
    let (mut driver, _) = north();
    Furnace::read(&mut driver, 0).expect("a read");
    let asked = driver.link.bus.seen.len();
    driver.link.bus.trouble = Trouble::LateOnce;
    assert_eq!(Furnace::read(&mut driver, 0).expect("a read").set_point_c, Some(reading::number(640.0)));
    assert_eq!(driver.link.bus.seen.len(), 2 * asked + 1);
}

/// Goal: silence, another request's and another unit's reply are faults that say so; only the second is asked again, and not for ever.
#[test]
fn wrong_replies_are_faults() {
    let cases = [
        (Trouble::Silent, fault::TIMED_OUT, "no answer within 500 ms", 0),
        (Trouble::Late, fault::BAD_ANSWER, "it came too late", 4),
        (Trouble::OtherUnit, fault::BAD_ANSWER, "unit 1 was asked, unit 2 answered", 1),
    ];
    for (trouble, code, words, asked) in cases {
        let (mut driver, _) = north();
        driver.link.bus.trouble = trouble;
        let fault = Furnace::read(&mut driver, 0).expect_err("a fault");
        assert_eq!(fault.code, code);
        assert!(fault.detail.starts_with("north (unit 1 on bus): reading coil 3: "), "{}", fault.detail);
        assert!(fault.detail.contains(words), "{}", fault.detail);
        assert_eq!(driver.link.bus.seen.len(), asked);
    }
}

/// Goal: registers that the device refuses are bad; the others are still read.
#[test]
fn a_refused_block_leaves_the_rest() {
    let (mut driver, _) = north();
    driver.link.bus.trouble = Trouble::Refuses(1);
    let read = Furnace::read(&mut driver, 0).expect("most of it");
    assert_eq!(read.heat_on.map(|flag| flag.quality), Some(Quality::Bad));
    assert_eq!(read.set_point_c, Some(reading::number(640.0)));
}

/// Goal: a point is written by its shown name, with its neighbours' bits left alone; a set point is no point.
#[test]
fn points_beside_a_furnace() {
    let (mut driver, _) = north();
    let fan = Points::write(&mut driver, 0, "fan", Value::Flag(true)).expect("confirmed");
    assert_eq!(fan.value, Value::Flag(true));
    assert_eq!(driver.link.bus.holding[&(1, 104)], 0x0102);
    let hidden = Points::write(&mut driver, 0, "set-point", Value::Number(900.0)).expect_err("heat has its own door");
    assert_eq!(hidden.code, fault::NOT_SUPPORTED);
}

/// Goal: each contactor of an I/O unit has a standing cut of its own, named in the notes in the same order.
#[test]
fn contactors_have_cuts_of_their_own() {
    let (mut driver, units) = build(
        "
        unit.io.face = points
        unit.io.address = 9
        unit.io.map.north_contactor.register = 0
        unit.io.map.north_contactor.table = coil
        unit.io.map.north_contactor.quantity = state
        unit.io.map.north_contactor.write = true
        unit.io.map.north_contactor.often = true
        unit.io.map.north_contactor.cuts_heat = true
        unit.io.map.door.register = 0
        unit.io.map.door.table = discrete-input
        unit.io.map.door.quantity = state
        unit.io.map.oxygen.register = 0
        unit.io.map.oxygen.table = input
        unit.io.map.oxygen.type = f32
        unit.io.map.oxygen.quantity = volume_fraction
        unit.io.map.oxygen.unit = %
        ",
    )
    .expect("sound settings");
    assert_eq!(units[0].cuts.len(), 1);
    assert!(units[0].notes.contains(&reading::note("cut", "north-contactor")));
    assert!(units[0].notes.contains(&reading::note("write_often", "north-contactor")));
    driver.link.bus.hold(9, 0, &[0x41A7, 0x3333]);
    let closed = Points::write(&mut driver, 0, "north-contactor", Value::Flag(true)).expect("confirmed");
    assert_eq!(closed.value, Value::Flag(true));
    let points = Points::read(&mut driver, 0).expect("points");
    let oxygen = points.iter().find(|point| point.name == "oxygen").expect("mapped");
    // 0x41A73333 is 20.9 as a single: 1.30625 × 2⁴ (IEEE 754, worked by hand).
    assert!(matches!(oxygen.value, Value::Number(share) if (share - 0.209).abs() < 1e-7));
}

/// Goal: flows keep their amount of gas between reference conditions: 8 L/min at 21.1 °C is 8 × 273.15 / 294.25 at 0 °C
/// (ideal gas).
#[test]
fn flow_and_tank() {
    let (mut driver, _) = build(
        "
        unit.meter.face = flow-meter
        unit.meter.address = 4
        unit.meter.reference_temperature_c = 0
        unit.meter.reference_pressure_kpa = 101.325
        unit.meter.map.set_flow.register = 0
        unit.meter.map.set_flow.table = holding
        unit.meter.map.set_flow.type = u16
        unit.meter.map.set_flow.scale = 0.001
        unit.meter.map.set_flow.unit = L/min
        unit.meter.map.set_flow.write = true
        unit.oil.face = quench-tank
        unit.oil.address = 5
        unit.oil.map.temperature.register = 0
        unit.oil.map.temperature.table = holding
        unit.oil.map.temperature.type = u16
        unit.oil.map.temperature.unit = F
        unit.oil.map.agitation.register = 0
        unit.oil.map.agitation.table = coil
        unit.oil.map.agitation.write = true
        ",
    )
    .expect("sound settings");
    let wanted = GasFlow {
        standard_litres_per_minute: reading::number(8.0),
        reference_temperature_c: 21.1,
        reference_pressure_kpa: 101.325,
    };
    let read = driver.set_flow(0, wanted).expect("confirmed");
    let set = read.set_flow.expect("mapped").standard_litres_per_minute.value;
    assert!((set - 8.0 * 273.15 / 294.25).abs() < 0.001, "{set}");
    driver.link.bus.hold(5, 0, &[140]);
    let read = QuenchTank::write(&mut driver, 1, TankCommand::Agitate(true)).expect("confirmed");
    assert_eq!(read.agitation_on, Some(reading::flag(true)));
    // 140 °F is 60 °C by definition of the scales.
    assert!((read.temperature_c.expect("mapped").value - 60.0).abs() < 1e-9);
    assert!(QuenchTank::write(&mut driver, 1, TankCommand::HeaterOff).is_err());
    assert!(FlowMeter::read(&mut driver, 1).is_err());
    assert_eq!(FlowMeter::read(&mut driver, 2).expect_err("no such unit").code, fault::NOT_SUPPORTED);
}

/// Goal: every mistake of a map is told, at once, with its key.
#[test]
fn all_problems_of_a_map() {
    let told = problems(
        "
        unit.north.face = furnace
        unit.north.address = 1
        unit.north.line = attic
        unit.north.map.temperature.register = 70000
        unit.north.map.temperature.table = holding
        unit.north.map.temperature.type = i16
        unit.north.map.temperature.unit = bar
        unit.north.map.set_point.register = 10
        unit.north.map.set_point.table = holding
        unit.north.map.set_point.type = u32
        unit.north.map.set_point.unit = C
        unit.north.map.set_point.write = true
        unit.north.map.output_share.register = 11
        unit.north.map.output_share.table = holding
        unit.north.map.output_share.type = u16
        unit.north.map.door_open.register = 1
        unit.north.map.door_open.table = input
        unit.north.map.door_open.write = true
        unit.north.map.fan.register = 2
        unit.north.map.fan.table = coil
        unit.north.map.fan.quantity = share
        unit.north.map.fan.typ = bool
        ",
    );
    let wanted = [
        "unit.north.line: \"attic\" is not granted to this driver; granted: bus",
        "unit.north.map.temperature.register: 70000 is outside 0 to 65535",
        "unit.north.map.temperature.unit: \"bar\" is no unit of temperature_c; use one of C, K, F",
        "unit.north.map.output_share.unit: is missing; write it like unit = \"share\"",
        "unit.north.map.door_open.write: this table can only be read: use coil or holding",
        "unit.north.map.fan.table: single bits cannot hold a share",
        "unit.north.map.fan.unit: is missing; write it like unit = \"share\"",
        "unit.north.cut: is missing: say which writes take heat away, for example cut.set_point = 0",
    ];
    for problem in wanted {
        assert!(told.iter().any(|line| line == problem), "not told: {problem}\n{}", told.join("\n"));
    }
    assert!(told.iter().any(|line| line == "unit.north.map.fan.typ: is not known; did you mean `type`?"));
    assert_eq!(
        problems("framing = morse"),
        [
            "framing: \"morse\" is none of tcp, rtu",
            "unit: is missing: the driver has nothing to speak for; write it like unit.north.face = \"furnace\""
        ]
    );
}

/// Goal: one slip is one problem. Without a face the rest of the unit is not judged, what is no table is told as that, and an entry
/// with problems of its own is not called missing where it is written.
#[test]
fn one_slip_is_told_once() {
    let like = crate::map::LIKE;
    let faceless = NORTH.replace("unit.north.face = furnace\n", "");
    let entry_as_text: String =
        NORTH.lines().filter(|line| !line.contains("map.temperature")).flat_map(|line| [line, "\n"]).collect();
    for (text, says) in [
        (faceless, "unit.north.face: is missing; write it like face = \"furnace\"".to_owned()),
        (
            NORTH.replace("face = furnace", "face = kiln"),
            "unit.north.face: \"kiln\" is none of furnace, flow-meter, quench-tank, points".to_owned(),
        ),
        (
            entry_as_text + "unit.north.map.temperature = input 0",
            format!("unit.north.map.temperature: should be a table like {like}, not \"input 0\""),
        ),
        (
            NORTH.replace("map.temperature", "map.tempreture"),
            "unit.north.map.tempreture: is no field of a furnace; did you mean `temperature`? A point of your own says its `quantity`"
                .to_owned(),
        ),
        (
            NORTH.replace("set_point.register = 102", "set_point.register = 70000"),
            "unit.north.map.set_point.register: 70000 is outside 0 to 65535".to_owned(),
        ),
    ] {
        assert_eq!(problems(&text), [says]);
    }
}

/// Goal: what cannot be meant is refused with what may be: a manual's number for an address, steps of a thousand degrees, a start that
/// undoes what was ordered, contents that the register cannot hold. 40103 is the 103rd holding register, 102 on the wire (Application
/// Protocol V1.1b3, 4.4, from memory; the digit in front is common practice, no source).
#[test]
fn what_cannot_be_meant() {
    let numbered = NORTH.replace("set_point.register = 102", "set_point.register = 40103");
    for (text, says) in [
        (
            numbered.clone(),
            "unit.north.map.set_point.register: 40103 is how manuals number it that count from 40001; over the wire goes 102: write \
             register = 102 (if the device really has 40103, the unit needs from_zero = true)",
        ),
        (
            NORTH.replace("set_point.register = 102", "set_point.register = 300103"),
            "unit.north.map.set_point.register: 300103 is how manuals number it that count from 30001; over the wire goes 102: write \
             table = \"input\" and register = 102 (if the device really has 300103, the unit needs from_zero = true)",
        ),
        (
            NORTH.replace("temperature.scale = 0.1", "temperature.scale = 1000"),
            "unit.north.map.temperature.scale: 1000 would make 1000 degrees of each step; a register that counts tenths has 0.1",
        ),
        (
            format!("{NORTH}unit.north.start.heat_on = false"),
            "unit.north.start.heat_on: would switch heat off whenever heat is ordered; write true",
        ),
        (
            format!("{NORTH}unit.north.start.set_point = 900"),
            "unit.north.start.set_point: would be written over what was ordered; leave it out: the order itself writes it",
        ),
        (
            NORTH.replace("broken = 32767", "broken = 70000"),
            "unit.north.map.temperature.broken: 70000 is nothing that this register can hold",
        ),
        (
            format!("{NORTH}unit.north.map.heat_on.broken = 1"),
            "unit.north.map.heat_on.broken: a state has no content that could stand for no value",
        ),
    ] {
        assert_eq!(problems(&text), [says]);
    }
    assert!(build(&format!("{numbered}unit.north.from_zero = true")).is_ok());
    assert!(build(&format!("{NORTH}unit.north.start.heat_on = true")).is_ok());
}

/// Goal: a bound that no content of the register reaches is told, with what it reaches; the very ends are fine. Worked by hand:
/// 65535 × 0.1 = 6553.5; 15 × -2 + 3 = -27; -2³¹ = -2147483648.
#[test]
fn bounds_that_the_register_cannot_hold() {
    let map = |ty: &str, more: &str, least: f64, most: f64| {
        format!(
            "unit.u.face = points\nunit.u.address = 1\nunit.u.map.p.quantity = temperature_c\nunit.u.map.p.table = input\n\
             unit.u.map.p.register = 0\nunit.u.map.p.unit = C\nunit.u.map.p.type = {ty}\nunit.u.map.p.min = {least:?}\n\
             unit.u.map.p.max = {most:?}\n{}",
            more.replace("+", "unit.u.map.p.")
        )
    };
    for (ty, more, least, most) in [
        ("u16", "+scale = 0.1", 0.0, 6553.5),
        ("u16", "+mask = 240\n+scale = -2\n+offset = 3", -27.0, 3.0),
        ("i32", "", -1e9, 1e9),
        ("f32", "", -1e9, 1e9),
    ] {
        assert!(build(&map(ty, more, least, most)).is_ok(), "{ty} {more}");
    }
    let says = |key: &str, words: &str, from: &str| {
        format!("unit.u.map.p.{key}: {words} than the register can hold: with this type, scale and offset it goes from {from}")
    };
    assert_eq!(
        problems(&map("u16", "+scale = 0.1", -1.0, 6554.0)),
        [says("min", "-1 is less", "0 to 6553.5"), says("max", "6554 is more", "0 to 6553.5"),]
    );
    assert_eq!(
        problems(&map("u16", "+mask = 240\n+scale = -2\n+offset = 3", -28.0, 3.0)),
        [says("min", "-28 is less", "-27 to 3")]
    );
}

/// Goal: an upper bound is noted in the unit of its quantity, so that no recipe is planned past it: 932 °F is 500 °C by definition of
/// the scales.
#[test]
fn an_upper_bound_is_noted() {
    let (_, units) = build(
        "
        unit.north.face = furnace
        unit.north.address = 1
        unit.north.map.set_point.register = 0
        unit.north.map.set_point.table = holding
        unit.north.map.set_point.type = u16
        unit.north.map.set_point.unit = F
        unit.north.map.set_point.max = 932
        unit.north.map.set_point.write = true
        unit.north.map.temperature.register = 0
        unit.north.map.temperature.table = input
        unit.north.map.temperature.type = u16
        unit.north.map.temperature.unit = C
        unit.north.cut.set_point = 0
        ",
    )
    .expect("sound settings");
    let noted: Vec<_> = units[0].notes.iter().filter(|note| note.name.starts_with("most.")).collect();
    let [hearthward_driver::Named { name, value: Value::Number(most) }] = noted[..] else { panic!("{noted:?}") };
    assert!(name == "most.set-point" && (most - 500.0).abs() < 1e-9, "{name}: {most}");
}

/// Goal: a point that would be shown under a field's name, or another point's, is found.
#[test]
fn names_that_meet() {
    let entry =
        |name: &str, at: u16, more: &str| format!("unit.u.map.{name}.register = {at}\nunit.u.map.{name}.table = coil\n{more}");
    let quantity = |name: &str| format!("unit.u.map.{name}.quantity = state\n");
    let text = [
        "unit.u.face = quench-tank\nunit.u.address = 1\n".to_owned(),
        entry("agitation", 0, ""),
        entry("agitation-on", 1, &quantity("agitation-on")),
        entry("a_b", 2, &quantity("a_b")),
        entry("a-b", 3, &quantity("a-b")),
    ];
    assert_eq!(
        problems(&text.concat()),
        [
            "unit.u.map.a_b: would be shown as a-b, like a-b: choose another name",
            "unit.u.map.agitation-on: would be shown as agitation-on, like agitation: choose another name",
        ]
    );
}

/// Goal: two furnaces on one output, or on one thermometer, are found, across units of one device; two that look at one door are not.
#[test]
fn two_units_on_the_same_bits() {
    let loop_at = |name: &str, set_point: u16, temperature: u16| {
        format!(
            "
            unit.{name}.face = furnace
            unit.{name}.address = 1
            unit.{name}.map.set_point.register = {set_point}
            unit.{name}.map.set_point.table = holding
            unit.{name}.map.set_point.type = u16
            unit.{name}.map.set_point.unit = C
            unit.{name}.map.set_point.write = true
            unit.{name}.map.door_open.register = 0
            unit.{name}.map.door_open.table = discrete-input
            unit.{name}.map.temperature.register = {temperature}
            unit.{name}.map.temperature.table = input
            unit.{name}.map.temperature.type = i16
            unit.{name}.map.temperature.unit = C
            unit.{name}.cut.set_point = 0
            "
        )
    };
    assert!(build(&[loop_at("north", 1, 1), loop_at("south", 2, 2)].concat()).is_ok());
    assert_eq!(
        problems(&[loop_at("north", 1, 1), loop_at("south", 1, 2)].concat()),
        ["unit.south.map.set_point.register: overlaps unit.north.map.set_point: both would stand on the same bits"]
    );
    assert_eq!(
        problems(&[loop_at("north", 1, 1), loop_at("south", 2, 1)].concat()),
        ["unit.south.map.temperature.register: overlaps unit.north.map.temperature: one measurement cannot tell of two things"]
    );
}

/// Goal: joining stops at the gap and at the most that a device takes; bits count a sixteenth.
#[test]
fn joining_has_bounds() {
    let unit = |joining: &str| {
        let entry = |name: &str, at: u16| {
            format!(
                "
                unit.u.map.{name}.register = {at}
                unit.u.map.{name}.table = input
                unit.u.map.{name}.type = u16
                unit.u.map.{name}.quantity = count
                "
            )
        };
        let head = format!("{joining}\nunit.u.face = points\nunit.u.address = 1\n");
        let text = [head, entry("a", 0), entry("b", 9), entry("c", 19), entry("d", 20)].concat();
        build(&text).expect("sound settings").1[0].costs.len()
    };
    assert_eq!(unit(""), 2, "0 to 9, and 19 to 20 behind a gap of 9");
    assert_eq!(unit("join_gap = 9"), 1);
    assert_eq!(unit("join_gap = 0"), 3);
    assert_eq!(unit("join_gap = 9\nread_max = 10"), 2);
}
