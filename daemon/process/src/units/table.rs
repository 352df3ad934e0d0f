//! The units that are read, and how a text is taken apart into a number and one of them.

use crate::constants::{CUBIC_FOOT_M3, INCH_M};
use crate::error::{ProcessError, Result};

/// What a text measures; only the edges need to tell these apart at run time.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Dimension {
    Volume,
    Flow,
    Length,
    Area,
    Time,
    Temperature,
    TemperatureDifference,
    Ramp,
    Power,
    Pressure,
    Mass,
    Share,
    PerTime,
}

/// A number read in SI units, with the unit that it was written in.
#[derive(Debug)]
pub(super) struct Reading {
    pub(super) value: f64,
    pub(super) unit: &'static str,
    pub(super) factor: f64,
}

/// One unit: its spellings (the first is how it is shown), what it measures, and `SI = factor × (number + offset)`.
struct Unit {
    spellings: &'static [&'static str],
    dimension: Dimension,
    factor: f64,
    offset: f64,
}

impl Dimension {
    pub(super) const fn with_article(self) -> &'static str {
        match self {
            Self::Volume => "a volume",
            Self::Flow => "a flow",
            Self::Length => "a length",
            Self::Area => "an area",
            Self::Time => "a time",
            Self::Temperature => "a temperature",
            Self::TemperatureDifference => "a temperature difference",
            Self::Ramp => "a rate of temperature",
            Self::Power => "a power",
            Self::Pressure => "a pressure",
            Self::Mass => "a mass",
            Self::Share => "a share",
            Self::PerTime => "a rate of changes",
        }
    }

    const fn example(self) -> &'static str {
        match self {
            Self::Volume => "9.4 L",
            Self::Flow => "2 L/min",
            Self::Length => "3 mm",
            Self::Area => "300 cm2",
            Self::Time => "20 min",
            Self::Temperature => "800 C",
            Self::TemperatureDifference => "5 K",
            Self::Ramp => "5 K/min",
            Self::Power => "2.2 kW",
            Self::Pressure => "5 bar",
            Self::Mass => "0.2 kg",
            Self::Share => "5 ppm",
            Self::PerTime => "2 /h",
        }
    }

    /// The units offered in a refusal; every spelling of the table is read, these are the ones worth proposing.
    const fn offered(self) -> &'static str {
        match self {
            Self::Volume => "L, mL, m3, cm3, in3, ft3, gal",
            Self::Flow => "L/min, L/h, mL/min, m3/h, ft3/h, ft3/min, in3/min",
            Self::Length => "mm, cm, m, um, in, ft",
            Self::Area => "mm2, cm2, m2, in2, ft2",
            Self::Time => "ms, s, min, h, d",
            Self::Temperature => "C, F, K",
            Self::TemperatureDifference => "K, C, F",
            Self::Ramp => "K/min, K/h, C/min, C/h, F/min, F/h",
            Self::Power => "W, kW",
            Self::Pressure => "bar, mbar, psi, kPa, MPa, Pa",
            Self::Mass => "kg, g, mg, lb, oz",
            Self::Share => "%, ppm, ppb",
            Self::PerTime => "/h, /min, per hour",
        }
    }
}

const fn unit(spellings: &'static [&'static str], dimension: Dimension, factor: f64) -> Unit {
    Unit { spellings, dimension, factor, offset: 0.0 }
}

/// Simple units. Case counts, since `mPa` and `MPa` differ; the common careless spellings are listed one by one.
/// Customary units by their exact definitions (international foot and pound 1959; US gallon of 231 in³).
static UNITS: &[Unit] = &[
    unit(&["L", "l", "litre", "litres", "liter", "liters"], Dimension::Volume, 1e-3),
    unit(&["mL", "ml"], Dimension::Volume, 1e-6),
    unit(&["m3"], Dimension::Volume, 1.0),
    unit(&["cm3", "cc"], Dimension::Volume, 1e-6),
    unit(&["in3", "cu in", "cuin"], Dimension::Volume, INCH_M * INCH_M * INCH_M),
    unit(&["ft3", "cu ft", "cuft", "cf"], Dimension::Volume, CUBIC_FOOT_M3),
    unit(&["gal", "US gal"], Dimension::Volume, 231.0 * INCH_M * INCH_M * INCH_M),
    unit(&["cfh", "CFH", "scfh", "SCFH"], Dimension::Flow, CUBIC_FOOT_M3 / 3600.0),
    unit(&["lpm", "LPM"], Dimension::Flow, 1e-3 / 60.0),
    unit(&["mm"], Dimension::Length, 1e-3),
    unit(&["cm"], Dimension::Length, 1e-2),
    unit(&["m"], Dimension::Length, 1.0),
    unit(&["um"], Dimension::Length, 1e-6),
    unit(&["in", "inch", "inches", "\""], Dimension::Length, INCH_M),
    unit(&["uin"], Dimension::Length, INCH_M * 1e-6),
    unit(&["ft", "foot", "feet"], Dimension::Length, 12.0 * INCH_M),
    unit(&["mm2"], Dimension::Area, 1e-6),
    unit(&["cm2"], Dimension::Area, 1e-4),
    unit(&["m2"], Dimension::Area, 1.0),
    unit(&["in2", "sq in"], Dimension::Area, INCH_M * INCH_M),
    unit(&["ft2", "sq ft"], Dimension::Area, 144.0 * INCH_M * INCH_M),
    unit(&["ms"], Dimension::Time, 1e-3),
    unit(&["s", "sec", "secs", "second", "seconds"], Dimension::Time, 1.0),
    unit(&["min", "mins", "minute", "minutes"], Dimension::Time, 60.0),
    unit(&["h", "hr", "hrs", "hour", "hours"], Dimension::Time, 3600.0),
    unit(&["d", "day", "days"], Dimension::Time, 86_400.0),
    Unit { spellings: &["C", "c", "degC", "celsius"], dimension: Dimension::Temperature, factor: 1.0, offset: 273.15 },
    Unit { spellings: &["F", "f", "degF", "fahrenheit"], dimension: Dimension::Temperature, factor: 5.0 / 9.0, offset: 459.67 },
    unit(&["K", "kelvin"], Dimension::Temperature, 1.0),
    unit(&["K", "C", "degC", "kelvin"], Dimension::TemperatureDifference, 1.0),
    unit(&["F", "degF"], Dimension::TemperatureDifference, 5.0 / 9.0),
    unit(&["W", "watt", "watts"], Dimension::Power, 1.0),
    unit(&["kW"], Dimension::Power, 1e3),
    unit(&["bar", "bar g", "barg", "bar(g)"], Dimension::Pressure, 1e5),
    unit(&["mbar"], Dimension::Pressure, 100.0),
    unit(&["psi", "psi g", "psig"], Dimension::Pressure, 6_894.757_293_168),
    unit(&["kPa", "kPa g"], Dimension::Pressure, 1e3),
    unit(&["MPa", "MPa g"], Dimension::Pressure, 1e6),
    unit(&["Pa"], Dimension::Pressure, 1.0),
    unit(&["kg"], Dimension::Mass, 1.0),
    unit(&["g"], Dimension::Mass, 1e-3),
    unit(&["mg"], Dimension::Mass, 1e-6),
    unit(&["lb", "lbs", "pound", "pounds"], Dimension::Mass, 0.453_592_37),
    unit(&["oz"], Dimension::Mass, 0.028_349_523_125),
    unit(&["%", "percent"], Dimension::Share, 1e-2),
    unit(&["ppm"], Dimension::Share, 1e-6),
    unit(&["ppb"], Dimension::Share, 1e-9),
    unit(&["/h", "1/h", "per hour", "/hr", "/hour"], Dimension::PerTime, 1.0 / 3600.0),
    unit(&["/min", "1/min", "per minute"], Dimension::PerTime, 1.0 / 60.0),
];

/// Reads `text` as a quantity of the wanted dimension.
pub(super) fn lookup(text: &str, wanted: Dimension) -> Result<Reading> {
    let plain = plain(text);
    if plain.contains(',') {
        return Err(ProcessError::Comma { text: text.to_owned(), example: wanted.example() });
    }
    let mut sum: Option<Reading> = None;
    let mut rest = plain.as_str();
    while !rest.is_empty() {
        let (reading, left) = one(text, rest, wanted)?;
        // Only times are written in parts (`1 h 20 min`): a second part of anything else is left in `rest` by `one`.
        sum = Some(match sum {
            Some(earlier) => Reading { value: earlier.value + reading.value, ..reading },
            None => reading,
        });
        rest = left;
    }
    sum.ok_or_else(|| not_a_number(text, wanted))
}

/// Reads one number with its unit off the front of `rest`, and returns what is left.
fn one<'a>(text: &str, rest: &'a str, wanted: Dimension) -> Result<(Reading, &'a str)> {
    let (number, after) = number(rest).ok_or_else(|| not_a_number(text, wanted))?;
    let end =
        if wanted == Dimension::Time { after.find(|c: char| c.is_ascii_digit()).unwrap_or(after.len()) } else { after.len() };
    let (written, left) = after.split_at(end);
    let written = written.trim();
    if written.is_empty() {
        return Err(ProcessError::MissingUnit {
            text: text.to_owned(),
            wanted: wanted.with_article(),
            units: wanted.offered().to_owned(),
        });
    }
    if let Some((unit, factor, offset)) = find(written, wanted) {
        return Ok((Reading { value: factor * (number + offset), unit, factor }, left));
    }
    let found = ALL.iter().find(|&&other| find(written, other).is_some());
    Err(match found {
        Some(other) => ProcessError::WrongDimension {
            text: text.to_owned(),
            found: other.with_article(),
            wanted: wanted.with_article(),
            units: wanted.offered().to_owned(),
        },
        None => ProcessError::UnknownUnit {
            text: text.to_owned(),
            unit: written.to_owned(),
            wanted: wanted.with_article(),
            units: wanted.offered().to_owned(),
        },
    })
}

/// In the order in which a spelling that several share is described to a person who wanted something else.
const ALL: &[Dimension] = &[
    Dimension::Volume,
    Dimension::Flow,
    Dimension::Length,
    Dimension::Area,
    Dimension::Time,
    Dimension::Temperature,
    Dimension::Ramp,
    Dimension::Power,
    Dimension::Pressure,
    Dimension::Mass,
    Dimension::Share,
    Dimension::PerTime,
];

/// The unit that `written` spells in `dimension`: its shown spelling, factor and offset. Flows and ramps are put
/// together from the two units that they are made of.
fn find(written: &str, dimension: Dimension) -> Option<(&'static str, f64, f64)> {
    let simple = UNITS.iter().find(|unit| unit.dimension == dimension && unit.spellings.contains(&written));
    if let Some(unit) = simple {
        return Some((unit.spellings[0], unit.factor, unit.offset));
    }
    let upper = match dimension {
        Dimension::Flow => Dimension::Volume,
        Dimension::Ramp => Dimension::TemperatureDifference,
        _ => return None,
    };
    let (over, under) = written.split_once('/').or_else(|| written.split_once(" per "))?;
    let (_, over, _) = find(over.trim(), upper)?;
    let (_, under, _) = find(under.trim(), Dimension::Time)?;
    Some((if dimension == Dimension::Flow { "m3/s" } else { "K/s" }, over / under, 0.0))
}

/// Reads a decimal, a fraction (`3/16`) or a whole and a fraction (`1 1/2`, `1-1/2`) off the front, with its sign; the rest
/// follows.
fn number(text: &str) -> Option<(f64, &str)> {
    let text = text.trim_start();
    let (sign, text) = match text.strip_prefix('-') {
        Some(after) => (-1.0, after),
        None => (1.0, text.strip_prefix('+').unwrap_or(text)),
    };
    let (first, rest) = decimal(text)?;
    if let Some(below) = rest.strip_prefix('/') {
        let (below, rest) = decimal(below)?;
        return Some((sign * first / below, rest));
    }
    // The hyphen of `1-1/2` joins, it does not subtract.
    let tail = rest.strip_prefix('-').unwrap_or_else(|| rest.trim_start());
    if let Some((above, after)) = decimal(tail)
        && let Some(below) = after.strip_prefix('/')
        && let Some((below, rest)) = decimal(below)
    {
        return Some((sign * (first + above / below), rest));
    }
    Some((sign * first, rest))
}

fn decimal(text: &str) -> Option<(f64, &str)> {
    let digits = text.find(|c: char| !(c.is_ascii_digit() || c == '.')).unwrap_or(text.len());
    text[..digits].parse().ok().map(|value| (value, &text[digits..]))
}

/// Folds the typographer's signs into the plain ones that the table spells.
fn plain(text: &str) -> String {
    text.trim()
        .chars()
        .map(|c| match c {
            '²' => '2',
            '³' => '3',
            'µ' | 'μ' => 'u',
            '−' => '-',
            other => other,
        })
        .filter(|&c| c != '°')
        .collect()
}

fn not_a_number(text: &str, wanted: Dimension) -> ProcessError {
    ProcessError::NotANumber { text: text.to_owned(), wanted: wanted.with_article(), example: wanted.example() }
}
