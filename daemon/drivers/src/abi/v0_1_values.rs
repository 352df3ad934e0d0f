//! Contract 0.1: its records to ours, every length and number taken as from a stranger.

use std::borrow::Cow;

use hearthward_equipment::reading::field;
use hearthward_equipment::{Fault, FaultCode, Name, Quality, Value};

use super::v0_1::bindings::exports::hearthward::equipment::{driver, flow_meter, furnace, quench_tank};
use super::v0_1::bindings::hearthward::equipment::{line, types};
use super::{CallError, Complaint, Cost, Description, Face, Listed, Sample};
use crate::cut::StandingCut;
use crate::line::{Extent, FRAME_LONGEST, FrameRule, check};
use crate::plan::Setting;
use crate::values::{self, Quantity, TEXT_LONGEST, shorten};

/// Units of one driver: more than any bus has addresses.
const UNITS_MOST: usize = 256;

/// Values of one unit.
const POINTS_MOST: usize = 256;

/// Standing cuts of one unit: a set point, a run enable, a program and some air.
const CUTS_MOST: usize = 16;

/// Notes of one unit or driver.
const NOTES_MOST: usize = 8 * POINTS_MOST;

pub(super) fn description(given: driver::Description) -> Description {
    Description {
        name: shorten(given.name, TEXT_LONGEST),
        version: shorten(given.version, TEXT_LONGEST),
        notes: notes(given.notes),
    }
}

pub(super) fn complaint(given: driver::Problem) -> Complaint {
    Complaint { key: shorten(given.key, TEXT_LONGEST), message: shorten(given.message, TEXT_LONGEST) }
}

pub(super) fn opening(settings: &[(String, Setting)], lines: &[Name]) -> (Vec<types::Named>, Vec<String>) {
    let settings = settings.iter().map(|(name, value)| types::Named { name: name.clone(), value: to_guest(value) }).collect();
    (settings, lines.iter().map(|line| line.as_str().to_owned()).collect())
}

pub(super) fn to_guest(value: &Setting) -> types::Value {
    match value {
        Setting::Flag(is) => types::Value::Flag(*is),
        Setting::Number(is) => types::Value::Number(*is),
        Setting::Whole(is) => types::Value::Whole(*is),
        Setting::Text(is) => types::Value::Text(is.clone()),
    }
}

/// Fields of the records by their names in the contract's text, with `_` for `-`; everything else keeps the driver's name.
pub(super) fn point_name(face: Option<Face>, wire: &str) -> String {
    let name = match (face, wire) {
        (Some(Face::Furnace | Face::QuenchTank), "temperature_c") => field::TEMPERATURE,
        (Some(Face::Furnace), "set_point_c") => field::SET_POINT,
        (Some(Face::FlowMeter), "temperature_c") => field::GAS_TEMPERATURE,
        (Some(Face::FlowMeter), "pressure_kpa") => field::PRESSURE,
        // The others differ by the dash alone.
        (_, other) => return other.replace('_', "-"),
    };
    name.to_owned()
}

/// The units, or a fault if there are more of them, or of anything in them, than can be.
pub(super) fn units(given: Vec<driver::Unit>, lines: usize) -> Result<Vec<Listed>, CallError> {
    let too_much = |what: &str| CallError::Fault(Fault::new(FaultCode::LIMIT, format!("the driver lists {what}")));
    if given.len() > UNITS_MOST {
        return Err(too_much("too many units"));
    }
    given
        .into_iter()
        .map(|unit| {
            if unit.readings.len() > POINTS_MOST || unit.costs.len() > POINTS_MOST || unit.cuts.len() > CUTS_MOST {
                return Err(too_much(&format!("too many readings, costs or cuts of unit {}", shorten(unit.name, 40))));
            }
            if unit.notes.len() > NOTES_MOST {
                return Err(too_much(&format!("too many notes of unit {}", shorten(unit.name, 40))));
            }
            let cuts = unit.cuts.into_iter().map(|cut| standing_cut(cut, lines)).collect::<Result<_, _>>();
            Ok(Listed {
                cuts: cuts
                    .map_err(|why| too_much(&format!("a standing cut of {} that {why}", shorten(unit.name.clone(), 40))))?,
                name: shorten(unit.name, TEXT_LONGEST),
                readings: unit.readings.into_iter().map(|name| shorten(name, TEXT_LONGEST)).collect(),
                costs: unit
                    .costs
                    .into_iter()
                    .map(|cost| Cost { line: cost.line, request_bytes: cost.request_bytes, reply_bytes: cost.reply_bytes })
                    .collect(),
                notes: notes(unit.notes),
            })
        })
        .collect()
}

fn standing_cut(given: driver::StandingCut, lines: usize) -> Result<(u32, StandingCut), &'static str> {
    let reply: Vec<FrameRule> = given.reply.into_iter().map(rule).collect();
    if given.line as usize >= lines {
        return Err("names a line that was not granted");
    }
    if given.request.is_empty() || given.request.len() > FRAME_LONGEST || given.expect.len() > FRAME_LONGEST {
        return Err("is empty or too long");
    }
    if given.expect.len() != given.mask.len() {
        return Err("has a mask of another length than what it expects");
    }
    // A cut without a reply, or one that any reply confirms, could never be told from one that was not heard.
    check(&reply)?;
    if given.mask.iter().all(|mask| *mask == 0) {
        return Err("would take any reply for a confirmation");
    }
    Ok((given.line, StandingCut { request: given.request, reply, expect: given.expect, mask: given.mask }))
}

pub(super) fn rule(given: line::FrameRule) -> FrameRule {
    let extent = match given.extent {
        line::Extent::Fixed(bytes) => Extent::Fixed(bytes),
        line::Extent::Delimiter(sequence) => Extent::Delimiter(sequence),
        line::Extent::SilenceTenthsOfChar(tenths) => Extent::Silence(tenths),
        line::Extent::Length(field) => {
            Extent::Length { at: field.at, bytes: field.bytes, little_endian: field.little_endian, plus: field.plus }
        }
    };
    FrameRule { at: given.at, mask: given.mask, equals: given.equals, extent }
}

pub(super) fn furnace(read: furnace::FurnaceReading) -> Vec<Sample> {
    let mut samples = Vec::with_capacity(6 + read.points.len().min(POINTS_MOST));
    number(&mut samples, field::TEMPERATURE, Quantity::TemperatureC, read.temperature_c);
    number(&mut samples, field::SET_POINT, Quantity::TemperatureC, read.set_point_c);
    number(&mut samples, field::OUTPUT_SHARE, Quantity::Share, read.output_share);
    flag(&mut samples, field::HEAT_ON, read.heat_on);
    flag(&mut samples, field::DOOR_OPEN, read.door_open);
    flag(&mut samples, field::OVER_TEMPERATURE, read.over_temperature);
    samples.extend(points(read.points));
    samples
}

pub(super) fn flow_meter(read: flow_meter::FlowReading) -> Vec<Sample> {
    let mut samples = Vec::with_capacity(4 + read.points.len().min(POINTS_MOST));
    flow(&mut samples, field::FLOW, read.flow);
    flow(&mut samples, field::SET_FLOW, read.set_flow);
    number(&mut samples, field::PRESSURE, Quantity::PressureKpa, read.pressure_kpa);
    number(&mut samples, field::GAS_TEMPERATURE, Quantity::TemperatureC, read.temperature_c);
    samples.extend(points(read.points));
    samples
}

pub(super) fn tank(read: quench_tank::TankReading) -> Vec<Sample> {
    let mut samples = Vec::with_capacity(4 + read.points.len().min(POINTS_MOST));
    number(&mut samples, field::TEMPERATURE, Quantity::TemperatureC, read.temperature_c);
    number(&mut samples, field::LEVEL_SHARE, Quantity::Share, read.level_share);
    flag(&mut samples, field::AGITATION_ON, read.agitation_on);
    flag(&mut samples, field::HEATER_ON, read.heater_on);
    samples.extend(points(read.points));
    samples
}

pub(super) fn points(given: Vec<types::Point>) -> Vec<Sample> {
    given
        .into_iter()
        .take(POINTS_MOST)
        .map(|point| {
            let quantity = Quantity::of(&point.quantity);
            let (value, quality) = values::value(quantity, setting(point.value), quality(point.quality));
            let mut name = shorten(point.name, TEXT_LONGEST);
            if name.contains('_') {
                name = name.replace('_', "-");
            }
            Sample { name: Cow::Owned(name), value, quality }
        })
        .collect()
}

fn number(samples: &mut Vec<Sample>, name: &'static str, quantity: Quantity, given: Option<types::Number>) {
    if let Some(given) = given {
        let (value, quality) = values::number(quantity, given.value, quality(given.quality));
        samples.push(Sample { name: Cow::Borrowed(name), value, quality });
    }
}

fn flag(samples: &mut Vec<Sample>, name: &'static str, given: Option<types::Flag>) {
    if let Some(given) = given {
        samples.push(Sample {
            name: Cow::Borrowed(name),
            value: Some(Value::Flag(given.value)),
            quality: quality(given.quality),
        });
    }
}

fn flow(samples: &mut Vec<Sample>, name: &'static str, given: Option<flow_meter::GasFlow>) {
    if let Some(given) = given {
        let measured = given.standard_litres_per_minute;
        let value = values::flow(measured.value, given.reference_temperature_c, given.reference_pressure_kpa);
        let quality = if value.is_some() { quality(measured.quality) } else { Quality::Bad };
        samples.push(Sample { name: Cow::Borrowed(name), value, quality });
    }
}

fn quality(given: types::Quality) -> Quality {
    match given {
        types::Quality::Good => Quality::Good,
        types::Quality::Uncertain => Quality::Uncertain,
        types::Quality::Bad => Quality::Bad,
    }
}

fn setting(given: types::Value) -> Setting {
    match given {
        types::Value::Flag(is) => Setting::Flag(is),
        types::Value::Number(is) => Setting::Number(is),
        types::Value::Whole(is) => Setting::Whole(is),
        types::Value::Text(is) => Setting::Text(is),
    }
}

fn notes(given: Vec<types::Named>) -> Vec<(String, Setting)> {
    given
        .into_iter()
        .take(NOTES_MOST)
        .map(|note| {
            let value = match setting(note.value) {
                Setting::Text(text) => Setting::Text(shorten(text, TEXT_LONGEST)),
                other => other,
            };
            (shorten(note.name, TEXT_LONGEST), value)
        })
        .collect()
}
