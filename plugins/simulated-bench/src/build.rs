//! From settings to a bench. Everything has a default; without any unit the whole example bench stands there.

use hearthward_driver::{Form, Named, Problem, Section, Settings, Value};

use crate::bench::{Bench, Which};
use crate::controller::{Controller, Segment};
use crate::furnace::{Build, Furnace};
use crate::gas::Chamber;
use crate::noise::Noise;
use crate::supply::{Cylinder, Meter, Room};
use crate::tank::Tank;

#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Sort {
    Furnace,
    Meter,
    Tank,
    Points,
}

const SORTS: [(&str, Sort); 4] =
    [("furnace", Sort::Furnace), ("flow-meter", Sort::Meter), ("quench-tank", Sort::Tank), ("points", Sort::Points)];

#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Kind {
    Cylinder,
    Room,
    Contactors,
}

const KINDS: [(&str, Kind); 3] = [("cylinder", Kind::Cylinder), ("room", Kind::Room), ("contactors", Kind::Contactors)];

/// Scripted openings and program segments that are looked for.
const LIST_MAX: usize = 16;

/// Reads everything.
pub(crate) fn read(settings: &Settings) -> Result<Bench, Vec<Problem>> {
    let form = Form::new(settings);
    let root = form.root();
    let seed = root.whole("seed", 0..=i64::MAX).unwrap_or(1);
    let room_c = root.number_or("room_c", -20.0..=45.0, 20.0);
    let mut bench = Bench::new(Noise::new(seed as u64), Room::new(room_c));
    units(&mut bench, &root);
    let has_units = root.has("unit");
    form.finish()?;
    if !has_units {
        let example = example();
        let form = Form::new(&example);
        units(&mut bench, &form.root());
        form.finish()?;
    }
    Ok(bench)
}

/// The bench of the demo shop: two furnaces and a little one, each with its meter on one cylinder, and an oil tank.
fn example() -> Settings {
    const FACES: [(&str, &str); 10] = [
        ("north", "furnace"),
        ("south", "furnace"),
        ("little", "furnace"),
        ("north-meter", "flow-meter"),
        ("south-meter", "flow-meter"),
        ("little-meter", "flow-meter"),
        ("oil", "quench-tank"),
        ("argon", "points"),
        ("room", "points"),
        ("contactors", "points"),
    ];
    const WORDS: [(&str, &str); 6] = [
        ("north-meter.furnace", "north"),
        ("south-meter.furnace", "south"),
        ("little-meter.furnace", "little"),
        ("argon.kind", "cylinder"),
        ("room.kind", "room"),
        ("contactors.kind", "contactors"),
    ];
    const NUMBERS: [(&str, f64); 9] = [
        ("south.power_kw", 2.0),
        ("south.volume_l", 20.0),
        ("south.pore_l", 3.0),
        ("south.high_limit_c", 700.0),
        ("little.power_kw", 1.0),
        ("little.chamber_kj_per_k", 2.5),
        ("little.loss_w_per_k", 0.7),
        ("little.volume_l", 2.0),
        ("little.load_kg", 0.1),
    ];
    let faces = FACES.iter().map(|(unit, face)| (format!("{unit}.face"), Value::Text((*face).to_owned())));
    let words = WORDS.iter().map(|(key, word)| ((*key).to_owned(), Value::Text((*word).to_owned())));
    let numbers = NUMBERS.iter().map(|(key, number)| ((*key).to_owned(), Value::Number(*number)));
    let all = faces.chain(words).chain(numbers);
    Settings::new(all.map(|(key, value)| Named { name: format!("unit.{key}"), value }).collect())
}

/// Units in two rounds: meters name their furnace and their cylinder, which may come later in the alphabet.
fn units(bench: &mut Bench, root: &Section<'_>) {
    let mut named: Vec<(String, Option<Sort>)> = Vec::new();
    for (name, section) in root.units(None) {
        let sort = section.must("face", section.choice("face", &SORTS), "\"furnace\"");
        if sort.is_none() {
            section.leave();
        }
        named.push((name, sort));
    }
    let table = root.section("unit");
    let of = |wanted: Sort| named.iter().filter(move |(_, sort)| *sort == Some(wanted)).map(|(name, _)| name.clone());
    for name in of(Sort::Furnace) {
        let furnace = furnace(&table.section(&name), bench.room.temperature_c);
        bench.units.push((name, Which::Furnace(bench.furnaces.len())));
        bench.furnaces.push(furnace);
    }
    for name in of(Sort::Points) {
        points(bench, &table.section(&name), &name);
    }
    for name in of(Sort::Meter) {
        if let Some(meter) = meter(&table.section(&name), bench) {
            bench.units.push((name, Which::Meter(bench.meters.len())));
            bench.meters.push(meter);
        }
    }
    for name in of(Sort::Tank) {
        let tank = tank(&table.section(&name), bench.room.temperature_c);
        bench.units.push((name, Which::Tank(bench.tanks.len())));
        bench.tanks.push(tank);
    }
}

fn furnace(section: &Section<'_>, room_c: f64) -> Furnace {
    let build = Build {
        power_kw: section.number_or("power_kw", 0.05..=100.0, 2.2),
        chamber_kj_per_k: section.number_or("chamber_kj_per_k", 0.1..=1000.0, 6.0),
        loss_w_per_k: section.number_or("loss_w_per_k", 0.05..=100.0, 1.5),
        door_loss_w_per_k: section.number_or("door_loss_w_per_k", 0.0..=1000.0, 8.0),
        sensor_s: section.number_or("sensor_s", 0.1..=600.0, 8.0),
        sensor_noise_k: section.number_or("sensor_noise_k", 0.0..=20.0, 0.15),
        load_area_m2_per_kg: section.number_or("load_area_m2_per_kg", 0.001..=1.0, 0.085),
        chamber: Chamber {
            volume_l: section.number_or("volume_l", 0.1..=2000.0, 9.4),
            pore_l: section.number_or("pore_l", 0.0..=500.0, 0.1),
            pore_s: section.number_or("pore_s", 1.0..=36_000.0, 900.0),
            leak_l_min: section.number_or("leak_l_min", 0.0..=50.0, 0.001),
            door_s: section.number_or("door_s", 0.1..=600.0, 5.0),
        },
        contactor_timeout_s: section.number_or("contactor_timeout_s", 0.0..=3600.0, 0.0),
        openings_s: openings(section),
    };
    let controller = Controller::new(section.number_or("high_limit_c", 50.0..=1500.0, 1100.0), program(section));
    let start_c = section.number_or("start_c", -20.0..=1300.0, room_c);
    let mut furnace = Furnace::new(build, controller, start_c, section.number_or("load_kg", 0.0..=500.0, 0.6));
    furnace.contactor_closed = section.flag("contactor_closed").unwrap_or(true);
    furnace
}

/// `door.0.from_s`, `door.0.to_s` and so on.
fn openings(section: &Section<'_>) -> Vec<(f64, f64)> {
    const LONGEST_S: f64 = 1e7;
    listed(section, "door", |opening| {
        let from_s = opening.must("from_s", opening.number("from_s", 0.0..=LONGEST_S), "600")?;
        let to_s = opening.must("to_s", opening.number("to_s", 0.0..=LONGEST_S), "630")?;
        if from_s >= to_s {
            opening.problem("to_s", "must be after from_s");
        }
        Some((from_s, to_s))
    })
}

/// `program.0.to_c`, `program.0.rate_c_per_min`, `program.0.soak_min` and so on.
fn program(section: &Section<'_>) -> Vec<Segment> {
    if !section.has("program") {
        let segment = |to_c, rate_c_per_min, soak_min| Segment { to_c, rate_c_per_min, soak_min };
        return vec![segment(650.0, 12.0, 10.0), segment(800.0, 6.0, 15.0)];
    }
    listed(section, "program", |segment| {
        Some(Segment {
            to_c: segment.must("to_c", segment.number("to_c", 0.0..=1300.0), "800")?,
            rate_c_per_min: segment.number_or("rate_c_per_min", 0.1..=1000.0, 10.0),
            soak_min: segment.number_or("soak_min", 0.0..=6000.0, 10.0),
        })
    })
}

fn listed<T>(section: &Section<'_>, name: &str, read: impl Fn(&Section<'_>) -> Option<T>) -> Vec<T> {
    let list = section.section(name);
    let numbers = (0..LIST_MAX).map(|index| index.to_string()).take_while(|index| list.has(index));
    numbers.filter_map(|index| read(&list.section(&index))).collect()
}

fn points(bench: &mut Bench, section: &Section<'_>, name: &str) {
    let which = match section.must("kind", section.choice("kind", &KINDS), "\"room\"") {
        Some(Kind::Cylinder) => {
            bench.cylinders.push(Cylinder {
                volume_l: section.number_or("volume_l", 0.5..=1000.0, 43.8),
                pressure_kpa: section.number_or("pressure_kpa", 101.325..=40_000.0, 15_000.0),
                oxygen: section.number_or("oxygen_ppm", 0.0..=210_000.0, 5.0) * 1e-6,
                capacity_l_min: section.number_or("capacity_l_min", 0.1..=500.0, 20.0),
                valve_open: true,
                flow_l_min: 0.0,
            });
            Which::Cylinder(bench.cylinders.len() - 1)
        }
        Some(Kind::Room) => {
            bench.room.volume_l = section.number_or("volume_m3", 1.0..=10_000.0, 60.0) * 1000.0;
            bench.room.air_changes_per_h = section.number_or("air_changes_per_h", 0.0..=100.0, 2.0);
            Which::Room
        }
        Some(Kind::Contactors) => Which::Contactors,
        None => {
            section.leave();
            return;
        }
    };
    bench.units.push((name.to_owned(), which));
}

fn meter(section: &Section<'_>, bench: &Bench) -> Option<Meter> {
    let furnace = named(section, "furnace", bench, |which| if let Which::Furnace(index) = which { Some(index) } else { None });
    let cylinder = named(section, "supply", bench, |which| if let Which::Cylinder(index) = which { Some(index) } else { None });
    let most_l_min = section.number_or("most_l_min", 0.1..=500.0, 20.0);
    let meter = Meter {
        furnace: section.must("furnace", furnace, "\"north\"").unwrap_or(0),
        // The example shop has one cylinder, and a bench with one needs no more words.
        cylinder: cylinder.or((!section.has("supply") && !bench.cylinders.is_empty()).then_some(0)),
        most_l_min,
        settable: section.flag("settable").unwrap_or(true),
        noise_share: section.number_or("noise_share", 0.0..=0.5, 0.003),
        set_l_min: section.number_or("start_l_min", 0.0..=most_l_min, 0.0),
        flow_l_min: 0.0,
        stuck_at_l_min: None,
        blocked: false,
    };
    furnace.map(|_| meter)
}

/// Another unit of the bench by its name.
fn named(section: &Section<'_>, key: &str, bench: &Bench, sort: impl Fn(Which) -> Option<usize>) -> Option<usize> {
    let wanted = section.text(key)?;
    let found = bench.units.iter().find(|(name, _)| *name == wanted).and_then(|(_, which)| sort(*which));
    if found.is_none() {
        section.problem(key, format!("there is no such {key} as \"{wanted}\" on this bench"));
    }
    found
}

fn tank(section: &Section<'_>, room_c: f64) -> Tank {
    Tank {
        volume_l: section.number_or("volume_l", 0.5..=5000.0, 12.0),
        heater_kw: section.number_or("heater_kw", 0.0..=100.0, 1.0),
        loss_w_per_k: section.number_or("loss_w_per_k", 0.01..=1000.0, 3.0),
        level_share: section.number_or("level_share", 0.0..=1.5, 1.0),
        bath_c: section.number_or("start_c", -10.0..=300.0, room_c),
        agitation_on: section.flag("agitation").unwrap_or(false),
        heat_to_c: section.number("heat_to_c", 0.0..=250.0),
        heater_on: false,
        thermometer_broken: false,
        steel_kg: 0.0,
        steel_c: room_c,
    }
}
