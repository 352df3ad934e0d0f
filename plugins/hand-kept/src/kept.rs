//! A unit kept by hand: entered values that age, and what is asked of a person.

use hearthward_driver::quantity::{FLOW_STANDARD_L_MIN, Kind, PRESSURE_KPA, Quantity, SHARE, STATE, TEMPERATURE_C};
use hearthward_driver::{Fault, Point, Quality, Unit, Value, fault, reading};

/// Which face a unit has beside `points`.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Face {
    Furnace,
    FlowMeter,
    QuenchTank,
    Points,
}

impl Face {
    pub(crate) const CHOICE: [(&'static str, Self); 4] = [
        ("furnace", Self::Furnace),
        ("flow-meter", Self::FlowMeter),
        ("quench-tank", Self::QuenchTank),
        ("points", Self::Points),
    ];

    pub(crate) fn word(self) -> &'static str {
        Self::CHOICE.iter().find(|(_, face)| *face == self).map_or("", |(word, _)| word)
    }

    /// What a person can read on such a unit, and whether it is there unless the settings say otherwise.
    pub(crate) fn fields(self) -> &'static [(&'static str, Quantity, bool)] {
        match self {
            Self::Furnace => &[
                ("temperature", TEMPERATURE_C, true),
                ("heat-on", STATE, true),
                ("door-open", STATE, true),
                ("set-point", TEMPERATURE_C, false),
                ("output-share", SHARE, false),
                ("over-temperature", STATE, false),
            ],
            Self::FlowMeter => &[
                ("flow", FLOW_STANDARD_L_MIN, true),
                ("pressure", PRESSURE_KPA, false),
                ("gas-temperature", TEMPERATURE_C, false),
            ],
            Self::QuenchTank => &[
                ("temperature", TEMPERATURE_C, true),
                ("agitation-on", STATE, true),
                ("level-share", SHARE, false),
                ("heater-on", STATE, false),
            ],
            Self::Points => &[],
        }
    }
}

/// One value that a person reads.
#[derive(Clone, Debug)]
pub(crate) struct Slot {
    pub(crate) name: String,
    pub(crate) quantity: Quantity,
    /// How long an entered value is good.
    pub(crate) valid_ms: u64,
    /// The last value and when it was entered.
    entered: Option<(Value, u64)>,
}

impl Slot {
    pub(crate) fn new(name: &str, quantity: Quantity, valid_ms: u64) -> Self {
        Self { name: name.to_owned(), quantity, valid_ms, entered: None }
    }

    /// The value and what it is worth by its age; none if there never was one.
    pub(crate) fn aged(&self, now_ms: u64) -> Option<(&Value, Quality)> {
        let (value, entered_ms) = self.entered.as_ref()?;
        let age_ms = now_ms.saturating_sub(*entered_ms);
        let quality = if age_ms <= self.valid_ms {
            Quality::Good
        } else if age_ms <= self.valid_ms.saturating_mul(2) {
            Quality::Uncertain
        } else {
            Quality::Bad
        };
        Some((value, quality))
    }

    /// As a point; one that never was entered is bad.
    pub(crate) fn point(&self, now_ms: u64) -> Point {
        let (value, quality) = match self.aged(now_ms) {
            Some((value, quality)) => (value.clone(), quality),
            None => (nothing(self.quantity.kind), Quality::Bad),
        };
        reading::point(&self.name, self.quantity.word, value, quality)
    }
}

/// Something that a person is to do.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(crate) struct Ask {
    /// A newer ask about the same takes its place.
    about: &'static str,
    words: String,
    /// Entries that answer it.
    answers: &'static [&'static str],
    /// Only `false` answers.
    off_only: bool,
}

impl Ask {
    pub(crate) fn new(about: &'static str, words: String, answers: &'static [&'static str]) -> Self {
        Self { about, words, answers, off_only: false }
    }

    /// To switch something off: only the word that it is off answers that.
    pub(crate) fn off(about: &'static str, words: &str, answers: &'static [&'static str]) -> Self {
        Self { about, words: words.to_owned(), answers, off_only: true }
    }
}

/// A unit.
#[derive(Clone, Debug)]
pub(crate) struct Kept {
    pub(crate) name: String,
    pub(crate) face: Face,
    pub(crate) slots: Vec<Slot>,
    /// Words for the person, from the settings.
    pub(crate) how: Option<String>,
    asks: Vec<Ask>,
}

/// The point that shows what is asked.
pub(crate) const ASKED: &str = "asked";
/// Longest text that may be entered, in bytes: as much as the contract lets the host keep.
const TEXT_MAX: usize = 1024;

impl Kept {
    pub(crate) fn new(name: &str, face: Face, slots: Vec<Slot>, how: Option<String>) -> Self {
        Self { name: name.to_owned(), face, slots, how, asks: Vec::new() }
    }

    /// As the contract lists it.
    pub(crate) fn listed(&self) -> Unit {
        let mut unit = reading::unit(&self.name, self.face.word(), &[]);
        unit.readings = self.slots.iter().map(|slot| slot.name.clone()).collect();
        unit.notes.push(reading::note("evidence", "confirmed"));
        unit.notes.extend(self.how.iter().map(|how| reading::note("how", how)));
        for slot in &self.slots {
            unit.notes.push(reading::note("write", &slot.name));
            unit.notes.push(reading::note("write_often", &slot.name));
            unit.notes.push(reading::quantity_note(&slot.name, slot.quantity.word));
        }
        if self.face != Face::Points {
            unit.readings.push(ASKED.to_owned());
        }
        unit
    }

    pub(crate) fn slot(&self, name: &str) -> Option<&Slot> {
        self.slots.iter().find(|slot| slot.name == name)
    }

    /// Enters what a person read, which answers what was asked about it.
    pub(crate) fn enter(&mut self, name: &str, value: Value, now_ms: u64) -> Result<Point, Fault> {
        let Some(slot) = self.slots.iter_mut().find(|slot| slot.name == name) else {
            return Err(if name == ASKED && self.face != Face::Points {
                fault::not_allowed("what is asked is answered by entering a value, not by writing here")
            } else {
                fault::not_supported(format!("nothing called {name} is read on {}", self.name))
            });
        };
        let value = fit(slot, value)?;
        let off = value == Value::Flag(false);
        slot.entered = Some((value, now_ms));
        let point = slot.point(now_ms);
        self.asks.retain(|ask| !ask.answers.contains(&name) || (ask.off_only && !off));
        Ok(point)
    }

    /// Remembers what a person is to do.
    pub(crate) fn ask(&mut self, ask: Ask) {
        self.asks.retain(|known| known.about != ask.about);
        self.asks.push(ask);
    }

    /// What is asked, in words; empty for nothing.
    pub(crate) fn asked(&self) -> Point {
        let words: Vec<&str> = self.asks.iter().map(|ask| ask.words.as_str()).collect();
        reading::point(ASKED, "text", Value::Text(words.join("; ")), Quality::Good)
    }
}

/// The value in the slot's own kind.
fn fit(slot: &Slot, value: Value) -> Result<Value, Fault> {
    let misfit = |wanted: &str| Err(fault::not_allowed(format!("{} is {wanted}", slot.name)));
    match slot.quantity.kind {
        Kind::Flag => match value {
            Value::Flag(_) => Ok(value),
            _ => misfit("true or false"),
        },
        Kind::Number => match reading::as_number(&value) {
            Some(number) if number.is_finite() && (number >= 0.0 || may_be_negative(slot.quantity)) => Ok(Value::Number(number)),
            _ => misfit("a number, and one that can be"),
        },
        Kind::Whole => reading::as_whole(&value).map_or_else(|| misfit("a whole number"), |whole| Ok(Value::Whole(whole))),
        Kind::Text => match value {
            Value::Text(text) if text.len() <= TEXT_MAX => Ok(Value::Text(text)),
            _ => misfit("a text of up to 1024 bytes"),
        },
    }
}

/// A gauge may show less than nothing, and it may freeze; amounts and flows are what they are.
fn may_be_negative(quantity: Quantity) -> bool {
    [TEMPERATURE_C, PRESSURE_KPA].contains(&quantity)
}

fn nothing(kind: Kind) -> Value {
    match kind {
        Kind::Flag => Value::Flag(false),
        Kind::Number => Value::Number(0.0),
        Kind::Whole => Value::Whole(0),
        Kind::Text => Value::Text(String::new()),
    }
}
