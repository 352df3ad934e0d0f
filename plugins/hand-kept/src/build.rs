//! From settings to units, with every problem at once.

use hearthward_driver::quantity;
use hearthward_driver::{Form, Problem, Section, Settings, Value, is_point_name};

use crate::kept::{ASKED, Face, Kept, Slot};

/// Half an hour: what a person reads from a dial on the round.
const VALID_S: f64 = 1800.0;
const VALID_S_MAX: f64 = 31.0 * 86_400.0;

/// A table of points as it may be written.
const POINTS_LIKE: &str = "points.hood.quantity = \"state\"";

/// Reads everything.
pub(crate) fn read(settings: &Settings) -> Result<Vec<Kept>, Vec<Problem>> {
    let form = Form::new(settings);
    let root = form.root();
    let valid_s = valid(&root, VALID_S);
    let named = root.units(Some("the driver has nothing to ask for"));
    let units = named.iter().filter_map(|(name, section)| unit(section, name, valid_s)).collect();
    form.finish()?;
    Ok(units)
}

fn unit(section: &Section<'_>, name: &str, valid_s: f64) -> Option<Kept> {
    let valid_s = valid(section, valid_s);
    let how = section.text("how");
    let Some(face) = section.must("face", section.choice("face", &Face::CHOICE), "\"furnace\"") else {
        section.leave();
        return None;
    };
    let mut slots = fields(section, face, valid_s);
    slots.extend(single(section, name, face, valid_s));
    let points = section.table("points", POINTS_LIKE);
    for (table, point) in points.iter().flat_map(|table| table.names().into_iter().map(move |point| (table, point))) {
        slots.extend(table.table(&point, "{ quantity = \"state\" }").and_then(|section| point_of(&section, &point, valid_s)));
    }
    for (place, slot) in slots.iter().enumerate() {
        if slot.name == ASKED || slots[..place].iter().any(|before| before.name == slot.name) {
            section.section("points").problem(&slot.name, "is taken already: choose another name");
        }
    }
    if slots.is_empty() && !section.has("quantity") && !section.has("points") {
        section.problem("", "has nothing to read: give a `quantity`, or a table `points`");
    }
    Some(Kept::new(name, face, slots, how))
}

fn valid(section: &Section<'_>, default: f64) -> f64 {
    section.number_or("valid_for_s", 1.0..=VALID_S_MAX, default)
}

fn slot(name: &str, quantity: quantity::Quantity, valid_s: f64) -> Slot {
    Slot::new(name, quantity, (valid_s * 1000.0) as u64)
}

/// The face's own readings: the usual ones, or those that `readings` lists.
fn fields(section: &Section<'_>, face: Face, valid_s: f64) -> Vec<Slot> {
    let listed = section.list("readings");
    let wanted: Vec<String> = listed
        .iter()
        .filter_map(|item| match item {
            Value::Text(word) => Some(word.replace('_', "-")),
            _ => None,
        })
        .collect();
    if wanted.len() != listed.len() {
        section.problem("readings", "is a list of names");
    }
    for word in &wanted {
        if !face.fields().iter().any(|(name, ..)| name == word) {
            let known: Vec<&str> = face.fields().iter().map(|(name, ..)| *name).collect();
            section.problem("readings", format!("a {} has no {word}; it may have {}", face.word(), known.join(", ")));
        }
    }
    let chosen = |name: &str, usual: bool| if listed.is_empty() { usual } else { wanted.iter().any(|word| word == name) };
    let fields = face.fields().iter().filter(|(name, _, usual)| chosen(name, *usual));
    fields.map(|(name, quantity, _)| slot(name, *quantity, valid_s)).collect()
}

/// A unit of one point is called as its unit: `unit.argon-gauge.quantity = "pressure_kpa"`.
fn single(section: &Section<'_>, name: &str, face: Face, valid_s: f64) -> Option<Slot> {
    let quantity = section.choice("quantity", &quantity::CHOICE)?;
    if face != Face::Points {
        section.problem("quantity", "belongs to face \"points\"; further values of other faces go under `points`");
        return None;
    }
    Some(slot(name, quantity, valid_s))
}

fn point_of(section: &Section<'_>, name: &str, valid_s: f64) -> Option<Slot> {
    if !is_point_name(name) {
        section.problem("", "a name is lower case letters, digits, - and _, a letter first, at most 40");
    }
    let valid_s = valid(section, valid_s);
    let quantity = section.must("quantity", section.choice("quantity", &quantity::CHOICE), "\"state\"")?;
    Some(slot(&name.replace('_', "-"), quantity, valid_s))
}
