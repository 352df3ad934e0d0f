//! The cause-and-effect matrix of each furnace: on the screen, for the shop's binder, for a spreadsheet.

use std::fmt::Write as _;

use hearthward_proto::v1;
use jiff::tz::TimeZone;

use super::words;

/// The columns, in every form.
const COLUMNS: [&str; 6] = ["interlock", "when its cause stands", "now", "bypass", "last test", "cleared by"];

/// The matrix as aligned text, with what withholds heat right now above it.
pub(super) fn screen(furnaces: &[v1::FurnaceInterlocks]) -> String {
    let mut out = String::new();
    for furnace in furnaces {
        let _ = writeln!(out, "{}\n  {}", furnace.furnace, furnace.heat);
        let _ = writeln!(out, "  if this computer dies, heat is cut by: {}", furnace.if_computer_dies);
        let rows: Vec<[String; 6]> = furnace.interlocks.iter().map(row).collect();
        let width = |column: usize| {
            rows.iter().map(|row| row[column].chars().count()).chain([COLUMNS[column].chars().count()]).max().unwrap_or(0)
        };
        let widths = [width(0), width(1), width(2), width(3), width(4)];
        let mut line = |cells: [&str; 6]| {
            let _ = write!(out, "  ");
            for (cell, width) in cells.iter().zip(widths) {
                let _ = write!(out, "{cell:<width$}  ");
            }
            let _ = writeln!(out, "{}", cells[5]);
        };
        line(COLUMNS);
        rows.iter().for_each(|row| line(row.each_ref().map(String::as_str)));
        for rule in &furnace.rules {
            let _ = writeln!(out, "  rule {}", rule_line(rule));
        }
        let _ = writeln!(out);
    }
    out
}

/// The matrix for the shop's binder.
pub(super) fn markdown(furnaces: &[v1::FurnaceInterlocks]) -> String {
    let cell = |text: &str| text.replace('|', "\\|").replace('\n', " ");
    let mut out = String::from(
        "# Cause and effect\n\nThis is supervision, not a safety-rated system: hard-wired limit, door switch, disconnect and ventilation \
         come first. Local codes and a licensed practitioner decide.\n",
    );
    for furnace in furnaces {
        let _ = writeln!(out, "\n## {}\n\n{}\n", furnace.furnace, furnace.heat);
        let _ = writeln!(out, "If this computer dies, heat is cut by: {}.\n", furnace.if_computer_dies);
        let _ = writeln!(out, "| {} |\n|{}", COLUMNS.join(" | "), " --- |".repeat(COLUMNS.len()));
        for interlock in &furnace.interlocks {
            let _ = writeln!(out, "| {} |", row(interlock).map(|text| cell(&text)).join(" | "));
        }
        if !furnace.rules.is_empty() {
            let _ = writeln!(out, "\nRules of the shop's own:\n");
            for rule in &furnace.rules {
                let _ = writeln!(out, "- {}", rule_line(rule));
            }
        }
    }
    out
}

/// The matrix for a spreadsheet: one line an interlock, fields quoted as RFC 4180 has it.
pub(super) fn csv(furnaces: &[v1::FurnaceInterlocks]) -> String {
    let line = |cells: &mut dyn Iterator<Item = &str>| {
        cells.map(|cell| format!("\"{}\"", cell.replace('"', "\"\""))).collect::<Vec<_>>().join(",") + "\r\n"
    };
    let mut out = line(&mut ["furnace", "heat now"].into_iter().chain(COLUMNS));
    for furnace in furnaces {
        for interlock in &furnace.interlocks {
            let row = row(interlock);
            let of = [furnace.furnace.as_str(), furnace.heat.as_str()];
            out += &line(&mut of.into_iter().chain(row.iter().map(String::as_str)));
        }
    }
    out
}

fn rule_line(rule: &v1::ShopRule) -> String {
    let state = words::word(rule.state().as_str_name(), "INTERLOCK_STATE");
    let effect = words::word(rule.effect().as_str_name(), "RULE_EFFECT").replace('-', " ");
    let failed = if rule.failed { ", CANNOT BE EVALUATED" } else { "" };
    format!("{} ({effect}): {} [{}] {state}{failed}", rule.name, rule.text, rule.source)
}

fn row(interlock: &v1::Interlock) -> [String; 6] {
    let mut now = words::word(interlock.state().as_str_name(), "INTERLOCK_STATE");
    if interlock.withholds {
        now += ", withholds heat";
    }
    if interlock.first_cause {
        now += ", first cause";
    }
    [interlock.title.clone(), effect(interlock), now, bypass(interlock), test(interlock), interlock.clears.clone()]
}

/// What is not wired is never called protection.
fn effect(interlock: &v1::Interlock) -> String {
    use v1::InterlockEffect as Effect;
    let effect = match interlock.effect() {
        Effect::Cuts | Effect::Limits if !interlock.acts => "WARNS ONLY",
        Effect::Cuts => "cuts heat",
        Effect::Limits => "holds heat at the ceiling",
        Effect::HoldsPull if !interlock.acts => "calls no part; WARNS ONLY of the heater",
        Effect::HoldsPull => "calls no part, turns the bath's heater off",
        Effect::Asks => "alarms and asks",
        Effect::Waits => "waits",
        Effect::Alarms => "alarms",
        Effect::Unspecified => "-",
    };
    effect.to_owned()
}

fn bypass(interlock: &v1::Interlock) -> String {
    match (&interlock.bypass, interlock.may_bypass) {
        (Some(bypass), _) => {
            format!("BYPASSED by {} for another {}: {}", bypass.person, words::span(bypass.left_ms), bypass.reason)
        }
        (None, true) => "possible".to_owned(),
        (None, false) => "never".to_owned(),
    }
}

/// The last test and its day, on whose word, and whether another is owed.
fn test(interlock: &v1::Interlock) -> String {
    let owed = if interlock.proof_owed { ", TEST OWED" } else { "" };
    match &interlock.proof {
        Some(proof) => {
            let day = proof.time.as_ref().map_or_else(String::new, |time| words::day(time.seconds, TimeZone::system()));
            let word = if proof.evidence() == v1::Evidence::Confirmed { ", as a person saw" } else { "" };
            format!("{} {day}{word}{owed}", if proof.passed { "passed" } else { "FAILED" })
        }
        None if interlock.may_prove => format!("not tested{owed}"),
        None => "nothing to test".to_owned(),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn furnaces() -> Vec<v1::FurnaceInterlocks> {
        let bypass = v1::InterlockBypass { person: "Ansa".into(), reason: "a \"long\" temper|twice".into(), left_ms: 3_600_000 };
        let limit = v1::Interlock {
            title: "Run-time limit".into(),
            clears: "a reset".into(),
            effect: v1::InterlockEffect::Cuts.into(),
            state: v1::InterlockState::Tripped.into(),
            acts: true,
            first_cause: true,
            bypass: Some(bypass),
            ..v1::Interlock::default()
        };
        let door = v1::Interlock {
            title: "Door open".into(),
            effect: v1::InterlockEffect::Cuts.into(),
            state: v1::InterlockState::Clear.into(),
            ..v1::Interlock::default()
        };
        let heat = "north may heat up to 800 °C.".into();
        vec![v1::FurnaceInterlocks { furnace: "north".into(), interlocks: vec![limit, door], heat, ..Default::default() }]
    }

    #[test]
    fn what_is_not_wired_only_warns_and_a_bypass_says_who_and_why() {
        let screen = screen(&furnaces());
        let door = screen.lines().find(|line| line.contains("Door open")).expect("a line for the door");
        assert!(door.contains("WARNS ONLY") && !door.contains("cuts heat"), "{door}");
        let limit = screen.lines().find(|line| line.contains("Run-time limit")).expect("a line for the limit");
        assert!(limit.contains("BYPASSED by Ansa for another 1 h 00 min") && limit.contains("first cause"), "{limit}");
        assert!(screen.contains("north may heat up to 800 °C."));
    }

    #[test]
    fn the_forms_for_other_programs_quote_what_they_must() {
        let csv = csv(&furnaces());
        assert!(csv.contains("a \"\"long\"\" temper|twice") && csv.starts_with("\"furnace\",\"heat now\","), "{csv}");
        assert!(csv.lines().all(|line| line.matches("\",\"").count() == COLUMNS.len() + 1), "{csv}");
        let markdown = markdown(&furnaces());
        assert!(markdown.contains("temper\\|twice") && markdown.contains("not a safety-rated system"), "{markdown}");
    }
}
