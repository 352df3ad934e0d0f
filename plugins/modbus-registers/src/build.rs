//! From settings to units, with every problem at once.

use hearthward_driver::modbus::Framing;
use hearthward_driver::{Form, Problem, Section, Settings, Value, reading};

use crate::entry::Entry;
use crate::map;
use crate::overlap;
use crate::plan::{self, Joining};
use crate::unit::{Face, UnitPlan, Write, furnace, meter};

/// What is the same for all units.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Shape {
    pub(crate) framing: Framing,
    pub(crate) deadline_ms: u32,
}

const FRAMINGS: [(&str, Framing); 2] = [("tcp", Framing::Tcp), ("rtu", Framing::Rtu)];
/// Devices answer within tens of milliseconds; half a second is a device that is gone.
const DEADLINE_MS: i64 = 500;
/// On 19200 baud a turnaround of 10 ms is worth ten registers; a few less leave room for slow devices' own time per register.
const GAP: i64 = 8;

/// Reads everything.
pub(crate) fn read(settings: &Settings, lines: &[String]) -> Result<(Shape, Vec<UnitPlan>), Vec<Problem>> {
    let form = Form::new(settings);
    let root = form.root();
    let framing = root.choice("framing", &FRAMINGS).unwrap_or(Framing::Tcp);
    let deadline_ms = root.whole("deadline_ms", 20..=10_000).unwrap_or(DEADLINE_MS) as u32;
    let named = root.units(Some("the driver has nothing to speak for"));
    let units: Vec<UnitPlan> = named.iter().filter_map(|(name, section)| unit(&root, section, name, lines, framing)).collect();
    if lines.is_empty() {
        root.problem("", "needs one line at least; name it in the driver's `lines`, like lines = [\"loops\"]");
    }
    overlap::check(&form, &units);
    form.finish()?;
    Ok((Shape { framing, deadline_ms }, units))
}

fn unit(root: &Section<'_>, section: &Section<'_>, name: &str, lines: &[String], framing: Framing) -> Option<UnitPlan> {
    let face = section.must("face", section.choice("face", &Face::CHOICE), "\"furnace\"");
    let addresses = if framing == Framing::Rtu { 1..=247 } else { 0..=255 };
    let address = section.must("address", section.whole("address", addresses), "1");
    let line = line(section, lines);
    let joining = joining(root, section);
    let from_zero = section.flag("from_zero").unwrap_or(false);
    // Without a face it is not known what the unit's tables are to hold.
    let Some(face) = face else {
        section.leave();
        return None;
    };
    let entries = entries(section, face, from_zero);
    check_names(section, face, &entries);
    let reference = reference(section, face, &entries);
    let fields: Vec<Option<usize>> = face.fields().iter().map(|field| find(&entries, field.name)).collect();
    let extras = (0..entries.len()).filter(|&entry| !fields.contains(&Some(entry))).collect();
    let (blocks, places) = plan::plan(&entries, framing, joining);
    let cuts = cuts(section, face, &entries);
    let start = start(section, face, &entries);
    let unit = UnitPlan {
        name: name.to_owned(),
        face,
        line: line.unwrap_or(0) as u32,
        line_name: line.and_then(|line| lines.get(line)).cloned().unwrap_or_default(),
        address: address.unwrap_or(0) as u8,
        entries,
        fields,
        extras,
        blocks,
        places,
        cuts,
        start,
        reference,
    };
    check_heat(section, &unit);
    (address.is_some() && line.is_some()).then_some(unit)
}

/// The place of the unit's line among those granted; the first if none is named.
fn line(section: &Section<'_>, lines: &[String]) -> Option<usize> {
    let Some(wanted) = section.text("line") else { return (!section.has("line")).then_some(0) };
    let found = lines.iter().position(|line| *line == wanted);
    if found.is_none() {
        section.problem("line", format!("\"{wanted}\" is not granted to this driver; granted: {}", lines.join(", ")));
    }
    found
}

fn joining(root: &Section<'_>, section: &Section<'_>) -> Joining {
    let either = |name: &str, range: std::ops::RangeInclusive<i64>| {
        let (own, general) = (section.whole(name, range.clone()), root.whole(name, range));
        own.or(general)
    };
    Joining { gap: either("join_gap", 0..=64).unwrap_or(GAP) as u16, most: either("read_max", 1..=125).unwrap_or(125) as u16 }
}

fn entries(section: &Section<'_>, face: Face, from_zero: bool) -> Vec<Entry> {
    let Some(map) = section.table("map", &format!("map.temperature = {}", map::LIKE)) else { return Vec::new() };
    let entry = |name: &String| map::entry(&map.table(name, map::LIKE)?, name, face, from_zero);
    let entries: Vec<Entry> = map.names().iter().filter_map(entry).collect();
    if !section.has("map") {
        section.problem("map", format!("is missing: nothing can be read; write it like map.temperature = {}", map::LIKE));
    }
    for entry in &entries {
        let field = face.fields().iter().find(|field| field.name == entry.name);
        if entry.write && field.is_some_and(|field| !field.may_write) {
            map.section(&entry.name).problem("write", "this is never written");
        }
        if entry.cuts_heat && face != Face::Points {
            map.section(&entry.name).problem("cuts_heat", "belongs to a unit with face \"points\"; a furnace has a table `cut`");
        }
    }
    entries
}

/// Fields are shown under names of their own, and `_` as `-`: two entries must not meet there.
fn check_names(section: &Section<'_>, face: Face, entries: &[Entry]) {
    let field = |entry: &Entry| face.fields().iter().find(|field| field.name == entry.name);
    let shown = |entry: &Entry| field(entry).map_or_else(|| entry.shown.clone(), |field| field.shown.to_owned());
    for (place, entry) in entries.iter().enumerate() {
        // A field keeps its name; it is the point that has to give way.
        let taken = entries
            .iter()
            .enumerate()
            .find(|(other, known)| *other != place && shown(known) == shown(entry) && (field(known).is_some() || *other < place));
        if let Some((_, known)) = taken
            && field(entry).is_none()
        {
            let words = format!("would be shown as {}, like {}: choose another name", shown(entry), known.name);
            section.section("map").problem(&entry.name, words);
        }
    }
}

fn find(entries: &[Entry], name: &str) -> Option<usize> {
    entries.iter().position(|entry| entry.name == name)
}

/// A flow without reference conditions is not an amount of gas.
fn reference(section: &Section<'_>, face: Face, entries: &[Entry]) -> (f64, f64) {
    if face != Face::FlowMeter {
        return (0.0, 0.0);
    }
    let temperature_c = section.number("reference_temperature_c", -50.0..=50.0);
    let pressure_kpa = section.number("reference_pressure_kpa", 50.0..=200.0);
    let fields = face.fields();
    if find(entries, fields[meter::FLOW].name).or_else(|| find(entries, fields[meter::SET_FLOW].name)).is_some() {
        section.must("reference_temperature_c", temperature_c, "0");
        section.must("reference_pressure_kpa", pressure_kpa, "101.325");
    }
    (temperature_c.unwrap_or(0.0), pressure_kpa.unwrap_or(0.0))
}

/// What makes the unit safe: a furnace's table `cut`, the contactors of a unit of points.
fn cuts(section: &Section<'_>, face: Face, entries: &[Entry]) -> Vec<Write> {
    match face {
        Face::Furnace => {
            check_cut(section);
            writes(section, "cut", entries)
        }
        Face::Points => {
            let contactors = entries.iter().enumerate().filter(|(_, entry)| entry.cuts_heat);
            contactors.filter_map(|(index, entry)| contactor(section, index, entry)).collect()
        }
        Face::FlowMeter | Face::QuenchTank => Vec::new(),
    }
}

/// The highest set point that still takes heat away, degrees Celsius: what a hot workshop reaches in summer.
const COLD_C: f64 = 50.0;

/// A slip in the table that takes heat away would give it instead, at the moment when it is needed most.
fn check_cut(section: &Section<'_>) {
    let cut = section.section("cut");
    let problem = |field: usize, words: &str| cut.problem(Face::Furnace.fields()[field].name, words);
    let value = |field: usize| {
        let name = Face::Furnace.fields()[field].name;
        cut.has(name).then(|| cut.value(name)).flatten()
    };
    let number = |field: usize| value(field).as_ref().and_then(reading::as_number);
    if value(furnace::HEAT_ON) == Some(Value::Flag(true)) {
        problem(furnace::HEAT_ON, "would switch heat on; a cut writes false");
    }
    if number(furnace::SET_POINT).is_some_and(|set_point_c| set_point_c > COLD_C) {
        problem(furnace::SET_POINT, "would heat; a cut writes a set point of 50 \u{b0}C at most, such as 0");
    }
    if number(furnace::OUTPUT_SHARE).is_some_and(|share| share > 0.0) {
        problem(furnace::OUTPUT_SHARE, "would heat; a cut writes 0");
    }
}

/// What is written after an order to heat must not undo it.
fn check_start(section: &Section<'_>) {
    let start = section.section("start");
    let name = |field: usize| Face::Furnace.fields()[field].name;
    let heat_on = name(furnace::HEAT_ON);
    if start.has(heat_on) && start.value(heat_on) == Some(Value::Flag(false)) {
        start.problem(heat_on, "would switch heat off whenever heat is ordered; write true");
    }
    for order in [furnace::SET_POINT, furnace::OUTPUT_SHARE].map(name).into_iter().filter(|order| start.has(order)) {
        start.problem(order, "would be written over what was ordered; leave it out: the order itself writes it");
    }
}

fn contactor(section: &Section<'_>, index: usize, entry: &Entry) -> Option<Write> {
    let open = Value::Flag(false);
    match entry.encode(&open) {
        Ok(raw) => Some((index, raw)),
        Err(_) => {
            let map = section.section("map").section(&entry.name);
            map.problem("cuts_heat", "only a state can cut heat: true lets the furnace heat, false cuts it");
            None
        }
    }
}

/// What follows a heat command: the table `start`, or the run-enable if there is one.
fn start(section: &Section<'_>, face: Face, entries: &[Entry]) -> Vec<Write> {
    if face != Face::Furnace {
        return Vec::new();
    }
    if section.has("start") {
        check_start(section);
        return writes(section, "start", entries);
    }
    let heat_on = find(entries, face.fields()[furnace::HEAT_ON].name).filter(|&entry| entries[entry].write);
    heat_on.and_then(|entry| Some((entry, entries[entry].encode(&Value::Flag(true)).ok()?))).into_iter().collect()
}

/// A table of values to write, by names of the map. States come first: switching off acts sooner than a lower set point.
fn writes(section: &Section<'_>, table: &str, entries: &[Entry]) -> Vec<Write> {
    let Some(inner) = section.table(table, &format!("{table} = {{ set_point = 0 }}")) else { return Vec::new() };
    let map = section.section("map");
    let mut writes: Vec<Write> = inner.names().iter().filter_map(|name| write(&inner, &map, name, entries)).collect();
    writes.sort_by_key(|(entry, _)| !matches!(entries[*entry].kind, crate::entry::Kind::Bool));
    writes
}

fn write(table: &Section<'_>, map: &Section<'_>, name: &str, entries: &[Entry]) -> Option<Write> {
    let value = table.value(name)?;
    let Some(entry) = find(entries, name) else {
        // What is wrong with an entry that is there is told there.
        if !map.has(name) {
            table.problem(name, "is not in this unit's map, so nothing is known of where to write it");
        }
        return None;
    };
    if !entries[entry].write {
        table.problem(name, "cannot be written: its entry in the map needs write = true");
        return None;
    }
    match entries[entry].encode(&value) {
        Ok(raw) => Some((entry, raw)),
        Err(fault) => {
            table.problem(name, fault.detail);
            None
        }
    }
}

/// Whoever can be told to heat can be told to stop.
fn check_heat(section: &Section<'_>, unit: &UnitPlan) {
    if unit.face == Face::Furnace && !unit.heated_by().is_empty() && !section.has("cut") {
        section.problem("cut", "is missing: say which writes take heat away, for example cut.set_point = 0");
    }
}
