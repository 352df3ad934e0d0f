//! How a question is asked and its answer said: text or JSON, and failures in terms of the flags that were typed.

use std::path::Path;

use clap::{Args, Command, ValueEnum};
use hearthward_api::planning::{Unplanned, message};
use hearthward_process::note::{Note, NoteKind};
use hearthward_process::plan::Answer;
use hearthward_process::units::Ramp;
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

/// A question inside another: its field, and the fields of it whose flag has another name.
pub(super) type Part = (&'static str, &'static [(&'static str, &'static str)]);

/// One of the planner's questions as a command.
pub(super) trait Question: Args {
    /// What the API answers it with.
    type Response: Message;
    /// That message's name.
    const RESPONSE: &'static str;
    /// Fields whose flag is not their own name without the unit.
    const FLAGS: &'static [(&'static str, &'static str)];
    /// The questions inside this one, each by its field and with its own such list.
    const PARTS: &'static [Part] = &[];

    fn shown(&self) -> &ShownArgs;
    fn ask(&self) -> Result<Said, Unasked>;
    fn response(said: &Said) -> Self::Response;
}

/// What is said to a question.
#[derive(Debug)]
pub(super) struct Said {
    /// The answers, first that of the whole.
    pub(super) answers: Vec<Answer>,
    /// A recipe, where one was asked for: for people it is printed in place of the answers, which stand in it as comments.
    pub(super) recipe: Option<String>,
}

impl From<Answer> for Said {
    fn from(answer: Answer) -> Self {
        Self { answers: vec![answer], recipe: None }
    }
}

impl Said {
    /// With more to say of the whole.
    pub(super) fn noted(mut self, notes: Vec<Note>) -> Self {
        if let Some(first) = self.answers.first_mut() {
            let (warnings, rest): (Vec<_>, Vec<_>) = notes.into_iter().partition(|note| note.kind == NoteKind::Caution);
            first.warnings.extend(warnings);
            first.notes.extend(rest);
        }
        self
    }

    /// The one answer of a question that has one.
    pub(super) fn only(&self) -> Option<v1::PlanAnswer> {
        self.answers.first().map(message)
    }
}

/// Answers a question on standard output.
pub(super) fn answer<Q: Question>(question: Q) -> Result<(), Ended> {
    let said = question.ask().map_err(failed::<Q>)?;
    if question.shown().json {
        return print::line(proto_json(Q::RESPONSE, &Q::response(&said)));
    }
    let texts = || said.answers.iter().map(Answer::text).collect::<Vec<_>>().join("\n\n");
    print::line(said.recipe.unwrap_or_else(texts))
}

/// A failure, said in the flags that were typed.
fn failed<Q: Question>(why: Unasked) -> Ended {
    match why {
        Unasked::Unplanned(Unplanned::Refused(words)) => Ended::new(Exit::Refused, words),
        Unasked::Unplanned(Unplanned::Field { field, why }) => {
            let flags = flags::<Q>();
            let listed = (Q::FLAGS, Q::PARTS);
            let subject = flag_of(&field, listed, &flags).unwrap_or_else(|| "the question".to_owned());
            let part = Q::PARTS.iter().find(|(part, _)| field.starts_with(&format!("{part}.")));
            // Words of a sentence about a part are fields of that part.
            let own = part.map_or(Q::FLAGS, |(_, own)| own);
            let words: Vec<String> = why.split(' ').map(|word| named(word, (own, Q::PARTS), &flags)).collect();
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

/// What is listed for a question: its own fields, and those of its parts.
type Listed<'a> = (&'a [(&'static str, &'static str)], &'a [Part]);

/// A word of a sentence, as a flag where it is a field.
fn named(word: &str, listed: Listed<'_>, flags: &[String]) -> String {
    let field = word.trim_end_matches([':', ',', ';', '.']);
    if !field.contains('_') {
        return word.to_owned();
    }
    flag_of(field, listed, flags).map_or_else(|| word.to_owned(), |flag| word.replacen(field, &flag, 1))
}

/// The flag of a field: the one listed for it; that of a part's field, by the part's own list; or the longest that its path begins
/// with, outer names left off as needed.
fn flag_of(field: &str, (own, parts): Listed<'_>, flags: &[String]) -> Option<String> {
    // A flag that is typed once for each of a list stands for all that is said of one of them.
    let listed = field.split('[').next().unwrap_or(field);
    if let Some((_, flag)) = own.iter().find(|(name, _)| *name == field || *name == listed) {
        return Some(format!("--{flag}"));
    }
    let inner = |(part, own): &Part| Some((field.strip_prefix(part)?.strip_prefix('.')?, *own));
    if let Some((field, own)) = parts.iter().find_map(inner) {
        return flag_of(field, (own, &[]), flags);
    }
    let path: Vec<&str> = field.split('.').map(|name| name.split('[').next().unwrap_or(name)).collect();
    (0..path.len()).find_map(|outer| {
        let rest = path[outer..].join("-").replace('_', "-");
        let begins = |flag: &&String| rest == **flag || rest.starts_with(&format!("{flag}-"));
        flags.iter().filter(begins).max_by_key(|flag| flag.len()).map(|flag| format!("--{flag}"))
    })
}

/// A row of a record, with the line that it stands in.
pub(super) type Row = (usize, [f64; 3]);

/// What is wrong with a reading, said of the line that it was read from.
pub(super) fn of_line(why: Unplanned, rows: &[Row]) -> Unasked {
    let found = |field: &str| {
        let (place, column) = field.strip_prefix("readings[")?.split_once("].")?;
        let (line, _) = rows.get(place.parse::<usize>().ok()?)?;
        // The unit stands in what is said of the value.
        Some((*line, column.split('_').next()?.to_owned()))
    };
    match why {
        Unplanned::Field { field, why } => match found(&field) {
            Some((line, column)) => Unasked::Shop(Ended::new(Exit::Usage, format!("--record line {line}: {column} {why}"))),
            None => Unplanned::Field { field, why }.into(),
        },
        refused => refused.into(),
    }
}

/// The rows of a file with three numbers each, parted by commas; a first line without a digit is its heading.
pub(super) fn rows(file: &Path, what: &str) -> Result<Vec<Row>, Ended> {
    let failed = |why: String| Ended::new(Exit::Usage, format!("--record {}: {why}", file.display()));
    let text = std::fs::read_to_string(file).map_err(|error| failed(error.to_string()))?;
    let lines = text.lines().enumerate().filter(|(_, line)| !line.trim().is_empty());
    let heading = |place: usize, line: &str| place == 0 && !line.contains(|c: char| c.is_ascii_digit());
    lines
        .filter(|(place, line)| !heading(*place, line))
        .map(|(place, line)| {
            let numbers: Vec<f64> = line.split(',').filter_map(|field| field.trim().parse().ok()).collect();
            let wrong = || failed(format!("line {} is not {what}, parted by commas: `{line}`", place + 1));
            <[f64; 3]>::try_from(numbers).map(|numbers| (place + 1, numbers)).map_err(|_| wrong())
        })
        .collect()
}

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

/// A fall in kelvin a minute: people write it with or without its sign.
pub(super) fn falling_k_min(fall: Ramp) -> f64 {
    (fall.kelvin_per_second() * 60.0).abs()
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
        let parts: &[Part] = &[("cylinder", &[("volume_l", "cylinder")]), ("purge", &[])];
        let of = |field| flag_of(field, (&[], parts), &flags);
        assert_eq!(of("gas_oxygen_ppm").as_deref(), Some("--gas-oxygen"));
        assert_eq!(of("purge.flow_l_min").as_deref(), Some("--flow"));
        assert_eq!(of("purge.meter.scale_gas").as_deref(), Some("--meter-scale-gas"));
        assert_eq!(of("cylinder.volume_l").as_deref(), Some("--cylinder"));
        assert_eq!(of("cylinder.gas").as_deref(), Some("--gas"), "not --cylinder, which its path begins with");
        assert_eq!(of("request"), None);
        assert_eq!(named("gas_oxygen_ppm:", (&[], &[]), &flags), "--gas-oxygen:");
    }
}
