//! A request while it is read: the kinds of its fields, what was taken for want of a word, and why it cannot be planned.

use hearthward_process::note::Note;
use hearthward_process::plan::Answer;
use hearthward_process::units::{self, System, figures};
use hearthward_process::{ProcessError, flow::Reference};
use hearthward_proto::v1;
use uom::si::area::square_centimeter;
use uom::si::f64::{
    Area, Frequency, Length, Mass, Power, Pressure, Ratio, TemperatureInterval, ThermodynamicTemperature, Time, Volume,
    VolumeRate,
};
use uom::si::frequency::cycle_per_minute;
use uom::si::length::millimeter;
use uom::si::mass::kilogram;
use uom::si::power::watt;
use uom::si::pressure::bar;
use uom::si::ratio::{part_per_million, percent};
use uom::si::temperature_interval::kelvin;
use uom::si::thermodynamic_temperature::degree_celsius;
use uom::si::time::{hour, minute, second};
use uom::si::volume::{cubic_meter, liter};
use uom::si::volume_rate::liter_per_minute;

use crate::error::ApiError;

/// Why a question has no answer.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
pub enum Unplanned {
    /// A field cannot be taken; mend it.
    #[error("{field} {why}")]
    Field {
        /// The field's path in the request, such as `meter.full_scale_l_min`.
        field: String,
        /// What is wrong with it, with its value and what would do.
        why: String,
    },
    /// The arithmetic refuses what was asked: a gas that burns, or that harms steel.
    #[error("{0}")]
    Refused(String),
}

/// What reading a request comes to.
pub(super) type Result<T> = std::result::Result<T, Unplanned>;

impl From<Unplanned> for ApiError {
    fn from(why: Unplanned) -> Self {
        match why {
            Unplanned::Field { field, why } => Self::Field { field, why },
            Unplanned::Refused(words) => Self::Refused(words),
        }
    }
}

impl Unplanned {
    pub(super) fn field(field: impl Into<String>, why: impl Into<String>) -> Self {
        Self::Field { field: field.into(), why: why.into() }
    }

    /// What the arithmetic says against a field. Gases that burn or harm are refused outright; all else can be mended.
    pub(super) fn of(field: &str, error: &ProcessError) -> Self {
        match error {
            ProcessError::FlammableGas { .. } | ProcessError::NotProtective { .. } => Self::Refused(error.to_string()),
            _ => Self::field(field, format!("cannot be taken: {error}")),
        }
    }

    /// What the arithmetic says against the question as a whole.
    pub(super) fn whole(error: &ProcessError) -> Self {
        match Self::of("request", error) {
            Self::Field { field, .. } => Self::field(field, format!("cannot be answered: {error}")),
            refused @ Self::Refused(_) => refused,
        }
    }

    /// The same, of a request that is a field of another.
    pub(super) fn within(self, outer: &str) -> Self {
        match self {
            Self::Field { field, why } => Self::Field { field: format!("{outer}.{field}"), why },
            refused @ Self::Refused(_) => refused,
        }
    }
}

/// One kind of number: its unit, the quantity that it becomes, and how that is shown.
pub(super) struct Kind<T> {
    unit: &'static str,
    make: fn(f64) -> T,
    show: fn(T, System) -> String,
}

pub(super) const CELSIUS: Kind<ThermodynamicTemperature> =
    Kind { unit: "°C", make: ThermodynamicTemperature::new::<degree_celsius>, show: units::show_temperature };
pub(super) const KELVIN: Kind<TemperatureInterval> =
    Kind { unit: "K", make: TemperatureInterval::new::<kelvin>, show: units::show_temperature_difference };
pub(super) const LITRES: Kind<Volume> = Kind { unit: "L", make: Volume::new::<liter>, show: units::show_volume };
pub(super) const CUBIC_METRES: Kind<Volume> = Kind { unit: "m³", make: Volume::new::<cubic_meter>, show: units::show_volume };
pub(super) const LITRES_A_MINUTE: Kind<VolumeRate> =
    Kind { unit: "L/min", make: VolumeRate::new::<liter_per_minute>, show: units::show_flow };
pub(super) const MILLIMETRES: Kind<Length> = Kind { unit: "mm", make: Length::new::<millimeter>, show: units::show_length };
pub(super) const SQUARE_CENTIMETRES: Kind<Area> = Kind {
    unit: "cm²",
    make: Area::new::<square_centimeter>,
    show: |area, _| format!("{} cm²", figures(area.get::<square_centimeter>(), 3)),
};
pub(super) const MINUTES: Kind<Time> = Kind { unit: "min", make: Time::new::<minute>, show: |time, _| units::show_time(time) };
pub(super) const HOURS: Kind<Time> = Kind { unit: "h", make: Time::new::<hour>, show: |time, _| units::show_time(time) };
pub(super) const SECONDS: Kind<Time> = Kind { unit: "s", make: Time::new::<second>, show: |time, _| units::show_time(time) };
pub(super) const BAR: Kind<Pressure> = Kind { unit: "bar", make: Pressure::new::<bar>, show: units::show_pressure };
pub(super) const KILOGRAMS: Kind<Mass> = Kind { unit: "kg", make: Mass::new::<kilogram>, show: units::show_mass };
pub(super) const WATTS: Kind<Power> = Kind { unit: "W", make: Power::new::<watt>, show: |power, _| units::show_power(power) };
pub(super) const PERCENT: Kind<Ratio> =
    Kind { unit: "%", make: Ratio::new::<percent>, show: |share, _| units::show_ratio(share) };
pub(super) const PPM: Kind<Ratio> =
    Kind { unit: "ppm", make: Ratio::new::<part_per_million>, show: |share, _| units::show_ratio(share) };
pub(super) const PER_HOUR: Kind<Frequency> = Kind {
    unit: "/h",
    make: |per_hour| Frequency::new::<cycle_per_minute>(per_hour / 60.0),
    show: |rate, _| format!("{} an hour", figures(rate.get::<cycle_per_minute>() * 60.0, 3)),
};
pub(super) const HRC: Kind<f64> = Kind { unit: "HRC", make: |hrc| hrc, show: |hrc, _| format!("{} HRC", figures(hrc, 3)) };
pub(super) const KELVIN_A_MINUTE: Kind<f64> =
    Kind { unit: "K/min", make: |rate| rate, show: |rate, _| format!("{} K/min", figures(rate, 3)) };

/// The most readings of a record: more than anybody takes of a heat-up or a purge.
pub(super) const READINGS: usize = 20_000;

/// A request while it is read.
pub(super) struct Asked {
    pub(super) system: System,
    taken: Vec<Note>,
    warned: Vec<Note>,
}

impl Asked {
    pub(super) fn new(units: v1::UnitSystem) -> Self {
        let system = if units == v1::UnitSystem::Us { System::Us } else { System::Metric };
        Self { system, taken: Vec::new(), warned: Vec::new() }
    }

    /// A number that must be given; proto3 cannot tell a nought from nothing, and none of these may be nought.
    pub(super) fn need<T>(&self, kind: &Kind<T>, field: &str, value: f64, range: (f64, f64)) -> Result<T> {
        if value == 0.0 {
            let why = format!("must be given, {}; 0 counts as not given", span(kind.unit, range));
            return Err(Unplanned::field(field, why));
        }
        read(kind, field, value, range)
    }

    /// A number that must be given, of a field that tells a nought from nothing.
    pub(super) fn must<T>(&self, kind: &Kind<T>, field: &str, value: Option<f64>, range: (f64, f64)) -> Result<T> {
        let missing = || Unplanned::field(field, format!("must be given, {}", span(kind.unit, range)));
        read(kind, field, value.ok_or_else(missing)?, range)
    }

    /// A number that may be left out.
    pub(super) fn may<T>(&self, kind: &Kind<T>, field: &str, value: Option<f64>, range: (f64, f64)) -> Result<Option<T>> {
        value.map(|value| read(kind, field, value, range)).transpose()
    }

    /// A number that is taken as usual when left out, and then the answer says so: `what` is what it is, in words.
    pub(super) fn or<T: Copy>(
        &mut self,
        kind: &Kind<T>,
        field: &str,
        (value, usual): (Option<f64>, f64),
        range: (f64, f64),
        what: &str,
    ) -> Result<T> {
        if let Some(value) = value {
            return read(kind, field, value, range);
        }
        let usual = (kind.make)(usual);
        self.take(format!("{what}: {}", (kind.show)(usual, self.system)));
        Ok(usual)
    }

    /// Says something that was taken for want of a word.
    pub(super) fn take(&mut self, words: impl std::fmt::Display) {
        let note = Note::assumed(format!("not said, so taken: {words}"));
        // The parts of a cycle ask for the same things.
        if !self.taken.contains(&note) {
            self.taken.push(note);
        }
    }

    /// Says what is wrong with a value that can be taken all the same.
    pub(super) fn warn(&mut self, note: Note) {
        if !self.warned.contains(&note) {
            self.warned.push(note);
        }
    }

    /// The answer with all that was taken and warned of.
    pub(super) fn said(self, mut answer: Answer) -> Answer {
        // The arithmetic may have said the same of its own accord.
        let new: Vec<Note> = self.warned.into_iter().filter(|note| !answer.warnings.contains(note)).collect();
        answer.warnings.extend(new);
        answer.notes.extend(self.taken);
        answer
    }

    /// The reference conditions of the request's litres.
    pub(super) fn reference(&self, celsius: Option<f64>) -> Result<Reference> {
        let Some(t) = self.may(&CELSIUS, "reference_c", celsius, (-50.0, 100.0))? else { return Ok(Reference::TWENTY_ONE) };
        Reference::at(t).map_err(|error| Unplanned::of("reference_c", &error))
    }

    /// The room's temperature.
    pub(super) fn room(&mut self, celsius: Option<f64>) -> Result<ThermodynamicTemperature> {
        self.or(&CELSIUS, "room_c", (celsius, 20.0), (-20.0, 60.0), "the room")
    }
}

fn read<T>(kind: &Kind<T>, field: &str, value: f64, range: (f64, f64)) -> Result<T> {
    // Written so that a number that is none falls out too. What came from other units may be a rounding error outside.
    let room = 1e-9 * range.0.abs().max(range.1.abs());
    if value >= range.0 - room && value <= range.1 + room {
        return Ok((kind.make)(value));
    }
    let shown = format!("{} {}", figures(value, 6), kind.unit);
    Err(Unplanned::field(field, format!("is {shown}; it must lie {}", span(kind.unit, range))))
}

fn span(unit: &str, (low, high): (f64, f64)) -> String {
    format!("between {} and {} {unit}", figures(low, 6), figures(high, 6))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_refusal_names_value_and_range() {
        let asked = Asked::new(v1::UnitSystem::Metric);
        let why = |value| asked.need(&CELSIUS, "heat_c", value, (20.0, 1250.0)).expect_err("was taken").to_string();
        assert_eq!(why(1593.0), "heat_c is 1593 °C; it must lie between 20 and 1250 °C");
        assert_eq!(why(0.0), "heat_c must be given, between 20 and 1250 °C; 0 counts as not given");
        assert!(why(f64::NAN).contains("must lie between"));
    }

    #[test]
    fn what_was_taken_is_said_in_the_units_asked_for() {
        let mut asked = Asked::new(v1::UnitSystem::Us);
        asked.room(None).expect("taken as usual");
        assert_eq!(asked.taken[0].text, "not said, so taken: the room: 68 °F");
    }
}
