//! How a question is asked and its answer said: text or JSON, and failures in terms of the flags that were typed.

use clap::{Args, Command, ValueEnum};
use hearthward_api::planning::{Unplanned, message};
use hearthward_process::plan::Answer;
use hearthward_proto::v1;
use prost::Message;
use uom::si::f64::{
    Length, Mass, Power, Pressure, Ratio, TemperatureInterval, ThermodynamicTemperature, Time, Volume, VolumeRate,
};
use uom::si::length::millimeter;
use uom::si::mass::kilogram;
use uom::si::power::watt;
use uom::si::pressure::bar;
use uom::si::ratio::{part_per_million, percent};
use uom::si::temperature_interval::kelvin;
use uom::si::thermodynamic_temperature::degree_celsius;
use uom::si::time::{minute, second};
use uom::si::volume::liter;
use uom::si::volume_rate::liter_per_minute;

use super::ShownArgs;
use crate::cli::call::json as proto_json;
use crate::cli::print;
use crate::exit::{Ended, Exit};

/// Why there is no answer.
#[derive(Debug)]
pub(super) enum Unasked {
    /// The question cannot be planned.
    Unplanned(Unplanned),
    /// The configuration that it builds on cannot be used.
    Shop(Ended),
}

impl From<Unplanned> for Unasked {
    fn from(why: Unplanned) -> Self {
        Self::Unplanned(why)
    }
}

/// One of the planner's questions as a command.
pub(super) trait Question: Args {
    /// What the API answers it with.
    type Response: Message;
    /// That message's name.
    const RESPONSE: &'static str;
    /// Fields whose flag is not their own name without the unit.
    const FLAGS: &'static [(&'static str, &'static str)];

    fn shown(&self) -> &ShownArgs;
    fn ask(&self) -> Result<Vec<Answer>, Unasked>;
    fn response(answers: Vec<v1::PlanAnswer>) -> Self::Response;
}

/// Answers a question on standard output.
pub(super) fn answer<Q: Question>(question: Q) -> Result<(), Ended> {
    let answers = question.ask().map_err(failed::<Q>)?;
    if question.shown().json {
        return print::line(proto_json(Q::RESPONSE, &Q::response(answers.iter().map(message).collect())));
    }
    let texts: Vec<String> = answers.iter().map(Answer::text).collect();
    print::line(texts.join("\n\n"))
}

/// A failure, said in the flags that were typed.
fn failed<Q: Question>(why: Unasked) -> Ended {
    match why {
        Unasked::Unplanned(Unplanned::Refused(words)) => Ended::new(Exit::Refused, words),
        Unasked::Unplanned(Unplanned::Field { field, why }) => {
            let flags = flags::<Q>();
            let subject = flag_of(&field, Q::FLAGS, &flags).unwrap_or_else(|| "the question".to_owned());
            let words: Vec<String> = why.split(' ').map(|word| named(word, Q::FLAGS, &flags)).collect();
            Ended::new(Exit::Usage, format!("{subject} {}", words.join(" ")))
        }
        Unasked::Shop(ended) => ended,
    }
}

/// The flags of a command.
fn flags<Q: Question>() -> Vec<String> {
    let command = Q::augment_args(Command::new("plan"));
    command.get_arguments().filter_map(|flag| flag.get_long().map(str::to_owned)).collect()
}

/// A word of a sentence, as a flag where it is a field.
fn named(word: &str, own: &[(&str, &str)], flags: &[String]) -> String {
    let field = word.trim_end_matches([':', ',', ';', '.']);
    if !field.contains('_') {
        return word.to_owned();
    }
    flag_of(field, own, flags).map_or_else(|| word.to_owned(), |flag| word.replacen(field, &flag, 1))
}

/// The flag of a field: the one listed for it, or the longest that its path begins with, outer names left off as needed.
fn flag_of(field: &str, own: &[(&str, &str)], flags: &[String]) -> Option<String> {
    if let Some((_, flag)) = own.iter().find(|(name, _)| *name == field) {
        return Some(format!("--{flag}"));
    }
    let path: Vec<&str> = field.split('.').map(|name| name.split('[').next().unwrap_or(name)).collect();
    (0..path.len()).find_map(|outer| {
        let rest = path[outer..].join("-").replace('_', "-");
        let begins = |flag: &&String| rest == **flag || rest.starts_with(&format!("{flag}-"));
        flags.iter().filter(begins).max_by_key(|flag| flag.len()).map(|flag| format!("--{flag}"))
    })
}

/// Fields of a cycle's parts whose flags have other names.
pub(super) const FLAGS_OF_PARTS: &[(&str, &str)] = &[
    ("cylinder.volume_l", "cylinder"),
    ("cylinder.temperature_c", "cylinder-temperature"),
    ("cylinder.room.volume_m3", "room-volume"),
    ("cylinder.room.air_changes_per_h", "room-changes"),
    ("section.size_mm", "section"),
    ("transfer.section.size_mm", "section"),
    ("transfer.time_s", "in-air"),
    ("bath.section.size_mm", "section"),
    ("bath.volume_l", "bath"),
    ("bath.time_s", "in-air"),
    ("bath.part_kg", "part-mass"),
    ("bath.tank.part_mm", "part-length"),
    ("bath.cooling_min", "bath-cooling"),
    ("ramp.rate_k_min", "ramp"),
    ("ramp.rated_w", "power"),
    ("ramp.load_kg", "load"),
    ("taper.width_mm", "edge-width"),
    ("transfer.taper.width_mm", "edge-width"),
    ("purge.pores.volume_l", "pores"),
    ("purge.meter.full_scale_l_min", "meter-scale"),
];

/// Units by the word that is typed.
#[derive(Clone, Copy, Debug, PartialEq, Eq, ValueEnum)]
pub(super) enum UnitsWord {
    /// Litres, millimetres, degrees Celsius, bar.
    Metric,
    /// Cubic feet and inches, inches, degrees Fahrenheit, psi.
    Us,
}

impl From<UnitsWord> for i32 {
    fn from(word: UnitsWord) -> Self {
        match word {
            UnitsWord::Metric => v1::UnitSystem::Metric.into(),
            UnitsWord::Us => v1::UnitSystem::Us.into(),
        }
    }
}

pub(super) fn in_celsius(quantity: ThermodynamicTemperature) -> f64 {
    quantity.get::<degree_celsius>()
}

pub(super) fn in_kelvins(quantity: TemperatureInterval) -> f64 {
    quantity.get::<kelvin>()
}

pub(super) fn in_litres(quantity: Volume) -> f64 {
    quantity.get::<liter>()
}

pub(super) fn in_litres_a_minute(quantity: VolumeRate) -> f64 {
    quantity.get::<liter_per_minute>()
}

pub(super) fn in_millimetres(quantity: Length) -> f64 {
    quantity.get::<millimeter>()
}

pub(super) fn in_minutes(quantity: Time) -> f64 {
    quantity.get::<minute>()
}

pub(super) fn in_seconds(quantity: Time) -> f64 {
    quantity.get::<second>()
}

pub(super) fn in_bar(quantity: Pressure) -> f64 {
    quantity.get::<bar>()
}

pub(super) fn in_kilograms(quantity: Mass) -> f64 {
    quantity.get::<kilogram>()
}

pub(super) fn in_watts(quantity: Power) -> f64 {
    quantity.get::<watt>()
}

pub(super) fn in_percent(quantity: Ratio) -> f64 {
    quantity.get::<percent>()
}

pub(super) fn in_ppm(quantity: Ratio) -> f64 {
    quantity.get::<part_per_million>()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_field_leads_to_the_flag_that_was_typed() {
        let flags: Vec<String> =
            ["gas", "gas-oxygen", "flow", "meter-scale", "meter-scale-gas", "draw", "cylinder"].map(str::to_owned).into();
        let of = |field| flag_of(field, FLAGS_OF_PARTS, &flags);
        assert_eq!(of("gas_oxygen_ppm").as_deref(), Some("--gas-oxygen"));
        assert_eq!(of("purge.flow_l_min").as_deref(), Some("--flow"));
        assert_eq!(of("meter.scale_gas").as_deref(), Some("--meter-scale-gas"));
        assert_eq!(of("cylinder.volume_l").as_deref(), Some("--cylinder"));
        assert_eq!(of("request"), None);
        assert_eq!(named("gas_oxygen_ppm:", &[], &flags), "--gas-oxygen:");
    }
}
