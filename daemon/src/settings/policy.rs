//! What a shop has decided about a furnace's interlocks beside the table.

use std::time::Duration;

use hearthward_equipment::Name;
use hearthward_supervise::interlock::{InterlockKind, entry, may_be_bypassed};
use hearthward_supervise::plan::PROOF_STANDS;
use hearthward_supervise::rule::{Quantity, RuleEffect};

use super::PointRef;
use super::quantities;
use super::section::Section;

/// A furnace's interlocks as its owner wants them.
#[derive(Clone, Debug)]
pub struct PolicySettings {
    /// Those that a person may bypass for a time.
    pub may_bypass: Vec<InterlockKind>,
    /// How long a passed proof test stands.
    pub proof_stands: Duration,
}

/// Reads the keys of a furnace that are about its interlocks.
pub(super) fn policy(section: &Section<'_>) -> PolicySettings {
    let mut may_bypass = Vec::new();
    for word in section.texts("may_bypass") {
        match openable(&word) {
            Ok(kind) if may_bypass.contains(&kind) => section.problem("may_bypass", format!("lists {word} twice")),
            Ok(kind) => may_bypass.push(kind),
            Err(words) => section.problem("may_bypass", words),
        }
    }
    let stands = section.read("proof_test_every", |text| quantities::duration_in(text, 86_400_000, 10 * 365 * 86_400_000));
    PolicySettings { may_bypass, proof_stands: stands.unwrap_or(PROOF_STANDS) }
}

/// The interlock of a word, if it may ever be bypassed.
fn openable(word: &str) -> Result<InterlockKind, String> {
    let open = || InterlockKind::ALL.into_iter().filter(|&kind| may_be_bypassed(kind).is_ok());
    let Some(kind) = InterlockKind::ALL.into_iter().find(|&kind| entry(kind).word() == word) else {
        let words: Vec<String> = open().map(|kind| entry(kind).word()).collect();
        return Err(format!("{word:?} is no interlock; a bypass may be opened for {}", words.join(", ")));
    };
    may_be_bypassed(kind).map(|()| kind).map_err(|why| format!("must not list {word}, which is never bypassed: {why}"))
}

/// A rule of the shop's own.
#[derive(Clone, Debug)]
pub struct RuleSettings {
    /// Its name.
    pub name: Name,
    /// The furnaces that it is for; all of them if empty.
    pub furnaces: Vec<Name>,
    /// The expression as written, on one line.
    pub when: String,
    /// What it means when it holds.
    pub text: String,
    /// What follows.
    pub effect: RuleEffect,
    /// Whether it needs a reset once it holds no more.
    pub latch: bool,
    /// How long it must hold.
    pub after: Duration,
    /// Points that it names beside the furnace's own.
    pub points: Vec<RulePoint>,
    /// Age at which a reading of those counts as missing.
    pub stale_after: Duration,
    /// Where it is written, for problems that are found later.
    pub home: String,
}

/// A point that a rule names.
#[derive(Clone, Debug)]
pub struct RulePoint {
    /// Its name in the expression.
    pub name: String,
    /// Where it is.
    pub point: PointRef,
    /// What it gives.
    pub quantity: Quantity,
}

impl RuleSettings {
    /// The key of an entry, for problems.
    #[must_use]
    pub fn key(&self, entry: &str) -> String {
        format!("rule.{}.{entry}", self.name)
    }
}

pub(super) fn rules(root: &Section<'_>) -> Vec<RuleSettings> {
    root.named("rule").into_iter().filter_map(|(name, section)| rule(name, section)).collect()
}

fn rule(name: Name, section: Section<'_>) -> Option<RuleSettings> {
    // One line, so that a column points at a place.
    let one_line = |text: &str| Ok::<_, String>(text.split_whitespace().collect::<Vec<_>>().join(" "));
    let when = section.need("when", "when = \"temperature_c > 900 && !hood_on\"", one_line);
    let text = section.need("text", "text = \"the hood is off over a hot furnace\"", one_line);
    let effect = section.need("effect", "effect = \"alarm\"", effect);
    let latch = section.read("clears", |text| match text {
        "by itself" => Ok(false),
        "by reset" => Ok(true),
        _ => Err(format!("{text:?} is neither \"by itself\" nor \"by reset\"")),
    });
    let span = |entry, usual| {
        section.read(entry, |text| quantities::duration_in(text, 0, 86_400_000)).unwrap_or(Duration::from_secs(usual))
    };
    let mut furnaces = Vec::new();
    for text in section.texts("furnaces") {
        match Name::new(text) {
            Ok(name) => furnaces.push(name),
            Err(words) => section.problem("furnaces", words.to_string()),
        }
    }
    let points = section.section("points").map_or_else(Vec::new, rule_points);
    let built = RuleSettings {
        name,
        furnaces,
        when: when?,
        text: text?,
        effect: effect?,
        latch: latch.unwrap_or(false),
        after: span("after", 0),
        points,
        stale_after: span("stale_after", 5),
        home: section.home().to_owned(),
    };
    section.finish();
    Some(built)
}

fn effect(text: &str) -> Result<RuleEffect, String> {
    match text {
        "cut" => Ok(RuleEffect::Cut),
        "withhold start" => Ok(RuleEffect::WithholdStart),
        "alarm" => Ok(RuleEffect::Alarm),
        "ask" => Ok(RuleEffect::Ask),
        _ => Err(format!(
            "{text:?} is none of: cut (heat is cut), withhold start (no load begins), alarm, ask (alarm, and ask about hot steel)"
        )),
    }
}

fn rule_points(section: Section<'_>) -> Vec<RulePoint> {
    let found = section.tables().into_iter().filter_map(|(name, table)| {
        let plain = name.starts_with(|first: char| first.is_ascii_lowercase())
            && name.chars().all(|letter| letter.is_ascii_lowercase() || letter.is_ascii_digit() || letter == '_');
        if !plain {
            section.problem(&name, "is no name for a rule: lower-case letters, digits and _, such as hood_on");
        }
        let text = table.need("point", "point = \"io/board.hood-on\"", |text| Ok::<_, String>(text.to_owned()));
        let point = text.map(|text| PointRef { text, key: table.key("point"), source: table.home().to_owned() });
        let quantity = table.need("is", "is = \"yes or no\"", |text| match text {
            "yes or no" => Ok(Quantity::Flag),
            "temperature" => Ok(Quantity::Temperature),
            "share" => Ok(Quantity::Share),
            "gas flow" => Ok(Quantity::GasFlow),
            "pressure" => Ok(Quantity::Pressure),
            "number" => Ok(Quantity::Number),
            _ => Err(format!(
                "{text:?} is none of: yes or no, temperature (read in °C), share (0 to 1), gas flow (L/min), pressure (kPa, absolute), number"
            )),
        });
        table.finish();
        plain.then_some(())?;
        Some(RulePoint { name, point: point?, quantity: quantity? })
    });
    found.collect()
}
