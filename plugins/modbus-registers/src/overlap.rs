//! Two entries on the same bits: two furnaces on one output, or a slip in the map.

use hearthward_driver::Form;

use crate::entry::Entry;
use crate::unit::{Face, UnitPlan};

/// Notes every overlap. Within a unit any is a mistake; between units of one device where one of them writes, or where both take
/// the bits for their own thermometer or flow. Two loops may well look at the same door.
pub(crate) fn check(form: &Form<'_>, units: &[UnitPlan]) {
    let all: Vec<(usize, &UnitPlan, &Entry)> =
        units.iter().enumerate().flat_map(|(at, unit)| unit.entries.iter().map(move |entry| (at, unit, entry))).collect();
    for (index, (at, unit, entry)) in all.iter().enumerate() {
        for (before, other_unit, other) in &all[..index] {
            let same_device = (unit.line, unit.address) == (other_unit.line, other_unit.address);
            let matters = at == before || entry.write || other.write;
            let both_measure = measures(unit.face, entry) && measures(other_unit.face, other);
            if same_device && (matters || both_measure) && overlap(entry, other) {
                let why = if matters { "both would stand on the same bits" } else { "one measurement cannot tell of two things" };
                form.problem(
                    &format!("unit.{}.map.{}.register", unit.name, entry.name),
                    format!("overlaps unit.{}.map.{}: {why}", other_unit.name, other.name),
                );
            }
        }
    }
}

/// Whether this is what the face is there to measure.
fn measures(face: Face, entry: &Entry) -> bool {
    match face {
        Face::Furnace | Face::QuenchTank => entry.name == "temperature",
        Face::FlowMeter => entry.name == "flow",
        Face::Points => false,
    }
}

fn overlap(one: &Entry, other: &Entry) -> bool {
    let span = |entry: &Entry| (u32::from(entry.at), u32::from(entry.at) + u32::from(entry.words()));
    let ((start, end), (other_start, other_end)) = (span(one), span(other));
    let bits = one.mask.unwrap_or(u16::MAX) & other.mask.unwrap_or(u16::MAX);
    one.table == other.table && start < other_end && other_start < end && bits != 0
}
