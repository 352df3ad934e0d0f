//! Reading one line of the map from the settings.

use hearthward_driver::modbus::Table;
use hearthward_driver::quantity::{self, Quantity};
use hearthward_driver::{Section, Value, is_point_name, nearest, reading};

use crate::entry::{Entry, Kind};
use crate::unit::Face;

/// A table as settings write it.
pub(crate) fn word(table: Table) -> &'static str {
    TABLES.iter().find(|(_, known)| *known == table).map_or("", |(word, _)| word)
}

const TABLES: [(&str, Table); 4] =
    [("coil", Table::Coil), ("discrete-input", Table::DiscreteInput), ("holding", Table::Holding), ("input", Table::Input)];

const KINDS: [(&str, Kind); 6] =
    [("bool", Kind::Bool), ("u16", Kind::U16), ("i16", Kind::I16), ("u32", Kind::U32), ("i32", Kind::I32), ("f32", Kind::F32)];

const LOW_FIRST: [(&str, bool); 2] = [("high-first", false), ("low-first", true)];

/// An entry as it may be written.
pub(crate) const LIKE: &str = "{ table = \"holding\", register = 0, type = \"i16\", unit = \"C\", scale = 0.1 }";

/// Larger scales, offsets and bounds are slips of the pen.
const LARGEST: f64 = 1e9;

/// Degrees in one step of a temperature's register: controllers count whole ones, tenths or hundredths (common practice, no source).
const COARSEST: f64 = 10.0;

/// Reads `map.<name>`. A face's own fields have their quantities; other names say theirs. `from_zero`: registers are meant as they
/// stand, however large.
///
/// Everything is asked for even after a first problem, so that all of them are told at once.
pub(crate) fn entry(section: &Section<'_>, name: &str, face: Face, from_zero: bool) -> Option<Entry> {
    let field = face.fields().iter().find(|field| field.name == name);
    if field.is_none()
        && !section.has("quantity")
        && let Some(meant) = nearest(name, face.fields().iter().map(|field| field.name))
    {
        let words = format!("is no field of a {}; did you mean `{meant}`? A point of your own says its `quantity`", face.word());
        section.problem("", words);
        section.leave();
        return None;
    }
    if !is_point_name(name) {
        section.problem("", "a name is lower case letters, digits, - and _, a letter first, at most 40");
    }
    let quantity = match field {
        Some(field) => Some(field.quantity),
        None => section.must("quantity", section.choice("quantity", &quantity::CHOICE), "\"state\""),
    };
    let table = section.must("table", section.choice("table", &TABLES), "\"holding\"");
    let at = register(section, table, from_zero);
    let kind = kind(section, table, quantity);
    let measure = measure(section, quantity);
    let scaling = scaling(section, quantity);
    let bounds = bounds(section, quantity);
    let bits = bits(section, table, kind);
    let low_first = section.choice("words", &LOW_FIRST);
    let writing = writing(section, table, kind, bits.0);

    let broken = broken(section, kind, bits.0);
    let (quantity, table, at, kind) = (quantity?, table?, at?, kind?);
    if low_first.is_some() && kind.words() == 1 {
        section.problem("words", "only a value of two registers has an order of words");
    }
    if !table.is_bits() && at > u16::MAX - (kind.words() - 1) {
        section.problem("register", "the second register would be past the last address, 65535");
    }
    check_bounds(section, (kind, bits.0), scaling, bounds);
    let (factor, shift) = measure?;
    let writing = writing?;
    Some(Entry {
        name: name.to_owned(),
        shown: name.replace('_', "-"),
        quantity,
        table,
        at,
        kind,
        low_first: low_first.unwrap_or(false),
        mask: bits.0,
        invert: bits.1,
        scale: scaling.0,
        offset: scaling.1,
        factor,
        shift,
        least: bounds.0,
        most: bounds.1,
        broken,
        write: writing.write,
        often: writing.often,
        function: writing.function,
        cuts_heat: writing.cuts_heat,
    })
}

/// The address on the wire. Most manuals number registers from 1 behind a digit for the table: what looks like such a number is one,
/// unless the unit says otherwise.
fn register(section: &Section<'_>, table: Option<Table>, from_zero: bool) -> Option<u16> {
    let given = section.value("register").as_ref().and_then(reading::as_whole);
    if !from_zero
        && let Some(table) = table
        && let Some(given) = given
        && let Some((digit, meant, at)) = numbered(given, table)
    {
        let elsewhere = if meant == table { String::new() } else { format!("table = \"{}\" and ", word(meant)) };
        let words = format!(
            "{given} is how manuals number it that count from {digit}0001; over the wire goes {at}: write {elsewhere}register = {at} \
             (if the device really has {given}, the unit needs from_zero = true)"
        );
        section.problem("register", words);
        return None;
    }
    section.must("register", section.whole("register", 0..=0xFFFF), "0").map(|at| at as u16)
}

/// The digit, the table and the address on the wire that a manual's number stands for, of five digits or six; none where it is none,
/// or is one of bits for a table of registers.
fn numbered(number: i64, table: Table) -> Option<(i64, Table, i64)> {
    let digits = [(1, Table::DiscreteInput), (3, Table::Input), (4, Table::Holding)];
    let alike = digits.into_iter().filter(|(_, meant)| meant.is_bits() == table.is_bits());
    alike.into_iter().find_map(|(digit, meant)| {
        let at = |base: i64, most: i64| Some(number - digit * base - 1).filter(|at| (0..most).contains(at));
        Some((digit, meant, at(10_000, 9_999).or_else(|| at(100_000, 65_536))?))
    })
}

/// A bit table holds bits, a state is a bit; anything else must say its type.
fn kind(section: &Section<'_>, table: Option<Table>, quantity: Option<Quantity>) -> Option<Kind> {
    let given = section.choice("type", &KINDS);
    let (table, quantity) = (table?, quantity?);
    let is_state = quantity.kind == quantity::Kind::Flag;
    if quantity.kind == quantity::Kind::Text {
        section.problem("quantity", "a register map has no text");
        return None;
    }
    if table.is_bits() && !is_state {
        section.problem("table", format!("single bits cannot hold a {}", quantity.word));
        return None;
    }
    match given {
        Some(kind) if is_state != (kind == Kind::Bool) => {
            section.problem("type", format!("a {} is {}a bool", quantity.word, if is_state { "" } else { "not " }));
            None
        }
        Some(kind) => Some(kind),
        None if is_state && !section.has("type") => Some(Kind::Bool),
        None => section.must("type", None, "\"i16\""),
    }
}

/// Factor and shift to the quantity's own unit. A measure without a unit is refused: a bare 1900 may be anything.
fn measure(section: &Section<'_>, quantity: Option<Quantity>) -> Option<(f64, f64)> {
    let unit = section.text("unit");
    let quantity = quantity?;
    if quantity.kind != quantity::Kind::Number {
        if unit.is_some() {
            section.problem("unit", format!("a {} has no unit of measure", quantity.word));
        }
        return Some((1.0, 0.0));
    }
    let found = section.must("unit", unit, &format!("\"{}\"", quantity.units().split(", ").next().unwrap_or_default()))?;
    let measure = quantity.measure(&found);
    if measure.is_none() {
        section.problem("unit", format!("\"{found}\" is no unit of {}; use one of {}", quantity.word, quantity.units()));
    }
    measure
}

fn scaling(section: &Section<'_>, quantity: Option<Quantity>) -> (f64, f64) {
    let scale = section.number_or("scale", -LARGEST..=LARGEST, 1.0);
    let offset = section.number_or("offset", -LARGEST..=LARGEST, 0.0);
    if scale == 0.0 {
        section.problem("scale", "0 would make every value the same");
    }
    if quantity == Some(quantity::TEMPERATURE_C) && scale.abs() > COARSEST {
        let words = format!("{scale} would make {scale} degrees of each step; a register that counts tenths has 0.1");
        section.problem("scale", words);
    }
    if quantity.is_some_and(|quantity| quantity.kind == quantity::Kind::Flag) && (scale, offset) != (1.0, 0.0) {
        section.problem(if scale == 1.0 { "offset" } else { "scale" }, "a state has no scale and no offset");
    }
    (scale, offset)
}

fn bounds(section: &Section<'_>, quantity: Option<Quantity>) -> (f64, f64) {
    let least = section.number("min", -LARGEST..=LARGEST);
    let most = section.number("max", -LARGEST..=LARGEST);
    if quantity.is_some_and(|quantity| quantity.kind == quantity::Kind::Flag) && (least.is_some() || most.is_some()) {
        section.problem(if least.is_some() { "min" } else { "max" }, "a state has no bounds");
    }
    if let (Some(least), Some(most)) = (least, most)
        && least > most
    {
        section.problem("min", format!("{least} is above max, {most}"));
    }
    (least.unwrap_or(f64::NEG_INFINITY), most.unwrap_or(f64::INFINITY))
}

/// A bound that no content of the register reaches bounds nothing: it was meant for another type or scale.
fn check_bounds(section: &Section<'_>, (kind, mask): (Kind, Option<u16>), scaling: (f64, f64), bounds: (f64, f64)) {
    let Some((lowest, highest)) = kind.range(mask) else { return };
    let (scale, offset) = scaling;
    let (one, other) = (lowest * scale + offset, highest * scale + offset);
    let (lowest, highest) = (one.min(other), one.max(other));
    // A tenth has no exact number in a computer: a bound at the very end may miss it by a hair.
    let hair = (highest - lowest) * 1e-9;
    let inside = lowest - hair..=highest + hair;
    for (entry, bound) in [("min", bounds.0), ("max", bounds.1)] {
        if bound.is_finite() && !inside.contains(&bound) {
            let than = if bound < lowest { "less" } else { "more" };
            let [lowest, highest] = [lowest, highest].map(|end| (end * 1e6).round() / 1e6);
            let words = format!("with this type, scale and offset it goes from {lowest} to {highest}");
            section.problem(entry, format!("{bound} is {than} than the register can hold: {words}"));
        }
    }
}

/// Register contents, before scale and offset, that stand for "no value".
fn broken(section: &Section<'_>, kind: Option<Kind>, mask: Option<u16>) -> Vec<u32> {
    let given = section.list("broken");
    let Some(kind) = kind else { return Vec::new() };
    if kind == Kind::Bool && !given.is_empty() {
        section.problem("broken", "a state has no content that could stand for no value");
        return Vec::new();
    }
    let contents = |value: &Value| match reading::as_whole(value) {
        Some(whole) => {
            let contents = kind.contents(whole, mask);
            if contents.is_empty() {
                section.problem("broken", format!("{whole} is nothing that this register can hold"));
            }
            contents
        }
        None => {
            section.problem("broken", "should be whole numbers, as the register holds them");
            Vec::new()
        }
    };
    given.iter().flat_map(contents).collect()
}

/// Mask and inversion.
fn bits(section: &Section<'_>, table: Option<Table>, kind: Option<Kind>) -> (Option<u16>, bool) {
    let mask = section.whole("mask", 1..=0xFFFF).map(|mask| mask as u16);
    let invert = section.flag("invert");
    if mask.is_some() && table.is_some_and(Table::is_bits) {
        section.problem("mask", "a single bit needs no mask");
    }
    if mask.is_some() && kind.is_some_and(|kind| !matches!(kind, Kind::Bool | Kind::U16)) {
        section.problem("mask", "only a bool or a u16 can be a part of a register");
    }
    if let Some(mask) = mask
        && kind == Some(Kind::U16)
        && !(u32::from(mask >> mask.trailing_zeros()) + 1).is_power_of_two()
    {
        section.problem("mask", "the bits of a number must stand side by side");
    }
    if invert.is_some() && kind.is_some_and(|kind| kind != Kind::Bool) {
        section.problem("invert", "only a bool can be inverted; for a number use a negative scale");
    }
    (mask, invert.unwrap_or(false))
}

struct Writing {
    write: bool,
    often: bool,
    function: u8,
    cuts_heat: bool,
}

fn writing(section: &Section<'_>, table: Option<Table>, kind: Option<Kind>, mask: Option<u16>) -> Option<Writing> {
    let write = section.flag("write").unwrap_or(false);
    let often = section.flag("often").unwrap_or(false);
    let cuts_heat = section.flag("cuts_heat").unwrap_or(false);
    let function = section.whole("write_function", 5..=22);
    let (table, kind) = (table?, kind?);
    if write && !table.is_writable() {
        section.problem("write", "this table can only be read: use coil or holding");
    }
    if !write && (often || cuts_heat || function.is_some()) {
        let key = if often {
            "often"
        } else if cuts_heat {
            "cuts_heat"
        } else {
            "write_function"
        };
        section.problem(key, "means nothing without write = true");
    }
    let allowed: &[i64] = match (table.is_bits(), mask, kind.words()) {
        (true, ..) => &[5, 15],
        (false, Some(_), _) => &[22],
        (false, None, 1) => &[6, 16],
        _ => &[16],
    };
    let function = function.unwrap_or(allowed[0]);
    if !allowed.contains(&function) {
        let list: Vec<String> = allowed.iter().map(i64::to_string).collect();
        section.problem("write_function", format!("{function} cannot write this value; it may be {}", list.join(" or ")));
    }
    Some(Writing { write, often, function: function as u8, cuts_heat })
}
