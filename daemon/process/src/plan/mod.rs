//! Whole questions, as people ask them, answered in one call: purge, cylinder, heat-up, transfer, bath, plates, temper, cycle;
//! what a furnace loses and holds, a chamber leaks, a meter really shows; and what a load is still worth after heat was cut.
//!
//! Each question is a struct of quantities; each [`Answer`] is a list of numbers, each with the words for people, the value
//! for programs, and what it rests on, and the warnings where people go wrong: a flow below what the meter can show, a
//! cylinder that will not last, oil too cold, a section too heavy for the oil, a purge that never gets there. A
//! command line, a page and an API show the same answer.
//!
//! Pure functions, some microseconds each; a whole cycle stays well under a millisecond.
//!
//! ```
//! use hearthward_process::plan::{TemperQuestion, temper};
//! use hearthward_process::steel::Steel;
//! use hearthward_process::tempering::Temper;
//! use hearthward_process::units::{self, System};
//!
//! let question = TemperQuestion {
//!     tempers: vec![Temper { temperature: units::temperature("205 C")?, time: units::time("2 h")? }; 2],
//!     steel: Some(Steel::named("L6")?),
//!     instead: None,
//! };
//! let answer = temper(&question, System::Metric)?;
//! assert!((answer.number("hardness_hrc").unwrap() - 60.97).abs() < 0.01);
//! assert!(answer.text().contains("hardness to expect, HRC: 61"));
//! # Ok::<(), hearthward_process::ProcessError>(())
//! ```

mod bath;
mod cycle;
mod cylinder;
mod furnace;
mod heat;
mod hold;
mod interrupted;
mod leak;
mod meter;
mod plates;
mod purge;
mod temper;
mod transfer;

pub use bath::{BathQuestion, TankAtHand, bath};
pub use cycle::{CycleQuestion, GasSide, QuenchSide, cycle};
pub use cylinder::{CylinderQuestion, Evening, cylinder};
pub use furnace::{FurnaceQuestion, furnace};
pub use heat::{HeatQuestion, RampWish, heat};
pub use interrupted::{InterruptedQuestion, interrupted};
pub use leak::{LeakQuestion, leak};
pub use meter::{MeterQuestion, meter};
pub use plates::{PlatesQuestion, plates};
pub use purge::{ExposedSteel, MeterAtHand, PortAtHand, PurgeQuestion, purge};
pub use temper::{TemperQuestion, temper};
pub use transfer::{TransferQuestion, transfer};

use crate::note::{Note, NoteKind};
use crate::units::{self, System};
use crate::{AmountFlow, flow::Reference};
use std::borrow::Cow;
use uom::si::f64::{
    Length, Mass, Power, Pressure, Ratio, TemperatureInterval, ThermodynamicTemperature, Time, Volume, VolumeRate,
};

/// The answer to a whole question.
#[derive(Debug, Clone, PartialEq)]
pub struct Answer {
    /// What was asked, in a few words.
    pub title: String,
    /// The numbers, in the order in which a person wants them.
    pub items: Vec<Item>,
    /// What goes wrong or can hurt people, and models used outside their range; show these first.
    pub warnings: Vec<Note>,
    /// What the numbers rest on.
    pub notes: Vec<Note>,
}

/// One number of an answer.
#[derive(Debug, Clone, PartialEq)]
pub struct Item {
    /// A name for programs; where `value` has a unit, it is the last word.
    pub key: &'static str,
    /// A name for people.
    pub label: String,
    /// The value for programs.
    pub value: Value,
    /// The value for people, in the units that they asked for.
    pub shown: String,
    /// What this number rests on; never empty.
    pub basis: Cow<'static, str>,
}

/// The value of an item.
#[derive(Debug, Clone, PartialEq)]
pub enum Value {
    /// A number in the unit that the key ends in.
    Number(f64),
    /// Yes or no.
    Flag(bool),
    /// A word.
    Word(String),
}

impl Answer {
    /// The item of a name.
    pub fn item(&self, key: &str) -> Option<&Item> {
        self.items.iter().find(|item| item.key == key)
    }

    /// The number of a name, if it is one.
    pub fn number(&self, key: &str) -> Option<f64> {
        match self.item(key)?.value {
            Value::Number(number) => Some(number),
            Value::Flag(_) | Value::Word(_) => None,
        }
    }

    /// The answer as text: title, warnings, then a line for each number with its basis, then the notes.
    pub fn text(&self) -> String {
        let mut lines = vec![self.title.clone()];
        lines.extend(self.warnings.iter().map(|note| format!("! {}", note.text)));
        for item in &self.items {
            lines.push(format!("  {}: {}  ({})", item.label, item.shown, item.basis));
        }
        lines.extend(self.notes.iter().map(|note| format!("- {}", note.text)));
        lines.join("\n")
    }

    fn new(title: impl Into<String>) -> Self {
        Self { title: title.into(), items: Vec::new(), warnings: Vec::new(), notes: Vec::new() }
    }

    /// Sorts notes: cautions and models outside their range warn, the rest explains. Each is kept once.
    fn take(&mut self, notes: impl IntoIterator<Item = Note>) {
        for note in notes {
            let list = match note.kind {
                NoteKind::Caution | NoteKind::OutsideValidity => &mut self.warnings,
                NoteKind::Basis | NoteKind::Assumed | NoteKind::Bound => &mut self.notes,
            };
            if !list.contains(&note) {
                list.push(note);
            }
        }
    }

    fn warn(&mut self, text: impl Into<Cow<'static, str>>) {
        self.take([Note::caution(text)]);
    }

    /// A warning that comes before all others: what hurts people at once.
    fn warn_first(&mut self, text: impl Into<Cow<'static, str>>) {
        self.take_first([Note::caution(text)]);
    }

    /// Sorts notes as [`Answer::take`] does, its warnings before those that there are.
    fn take_first(&mut self, notes: impl IntoIterator<Item = Note>) {
        let before = std::mem::take(&mut self.warnings);
        self.take(notes);
        self.take(before);
    }
}

/// Builds items in one system of units.
struct Writer<'a> {
    answer: &'a mut Answer,
    system: System,
}

impl<'a> Writer<'a> {
    fn new(answer: &'a mut Answer, system: System) -> Self {
        Self { answer, system }
    }

    fn put(&mut self, key: &'static str, label: &str, value: Value, shown: String, basis: impl Into<Cow<'static, str>>) {
        self.answer.items.push(Item { key, label: label.to_owned(), value, shown, basis: basis.into() });
    }

    fn number(&mut self, key: &'static str, label: &str, value: f64, digits: usize, basis: impl Into<Cow<'static, str>>) {
        self.put(key, label, Value::Number(value), units::figures(value, digits), basis);
    }

    fn time(&mut self, key: &'static str, label: &str, time: Time, basis: impl Into<Cow<'static, str>>) {
        self.put(key, label, Value::Number(time.value), units::show_time(time), basis);
    }

    fn temperature(&mut self, key: &'static str, label: &str, t: ThermodynamicTemperature, basis: impl Into<Cow<'static, str>>) {
        self.put(key, label, Value::Number(crate::si::celsius(t)), units::show_temperature(t, self.system), basis);
    }

    fn difference(&mut self, key: &'static str, label: &str, d: TemperatureInterval, basis: impl Into<Cow<'static, str>>) {
        self.put(key, label, Value::Number(d.value), units::show_temperature_difference(d, self.system), basis);
    }

    fn share(&mut self, key: &'static str, label: &str, share: Ratio, basis: impl Into<Cow<'static, str>>) {
        self.put(key, label, Value::Number(share.value), units::show_ratio(share), basis);
    }

    fn volume(&mut self, key: &'static str, label: &str, volume: Volume, basis: impl Into<Cow<'static, str>>) {
        self.put(key, label, Value::Number(volume.value * 1e3), units::show_volume(volume, self.system), basis);
    }

    fn rate(&mut self, key: &'static str, label: &str, rate: VolumeRate, basis: impl Into<Cow<'static, str>>) {
        self.put(key, label, Value::Number(rate.value * 60_000.0), units::show_flow(rate, self.system), basis);
    }

    /// A flow of gas, shown at reference conditions that the basis names.
    fn flow(&mut self, key: &'static str, label: &str, flow: AmountFlow, reference: Reference) {
        self.rate(key, label, reference.volume_flow(flow), format!("counted at {}", reference.words()));
    }

    fn pressure(&mut self, key: &'static str, label: &str, pressure: Pressure, basis: impl Into<Cow<'static, str>>) {
        self.put(key, label, Value::Number(pressure.value / 1e5), units::show_pressure(pressure, self.system), basis);
    }

    fn power(&mut self, key: &'static str, label: &str, power: Power, basis: impl Into<Cow<'static, str>>) {
        self.put(key, label, Value::Number(power.value), units::show_power(power), basis);
    }

    fn length(&mut self, key: &'static str, label: &str, length: Length, basis: impl Into<Cow<'static, str>>) {
        self.put(key, label, Value::Number(length.value * 1e3), units::show_length(length, self.system), basis);
    }

    fn mass(&mut self, key: &'static str, label: &str, mass: Mass, basis: impl Into<Cow<'static, str>>) {
        self.put(key, label, Value::Number(mass.value), units::show_mass(mass, self.system), basis);
    }

    fn flag(&mut self, key: &'static str, label: &str, flag: bool, basis: impl Into<Cow<'static, str>>) {
        self.put(key, label, Value::Flag(flag), if flag { "yes" } else { "no" }.to_owned(), basis);
    }

    fn word(&mut self, key: &'static str, label: &str, word: impl Into<String>, basis: impl Into<Cow<'static, str>>) {
        let word = word.into();
        self.put(key, label, Value::Word(word.clone()), word, basis);
    }
}
