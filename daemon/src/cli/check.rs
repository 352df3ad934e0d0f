//! Looks at a configuration without starting anything.

use std::fmt::Write as _;

use clap::Args;
use hearthward_equipment::Name;
use hearthward_equipment::quantity::in_celsius;
use serde_json::json;

use super::{ConfigArgs, print};
use crate::assembly::{Assembly, ReadCost, UnitCard, look};
use crate::exit::{Ended, Exit};
use crate::settings::{Problem, RecipeSettings};

#[derive(Debug, Args)]
pub(super) struct Check {
    #[command(flatten)]
    config: ConfigArgs,
    /// Print for programs: one JSON object a line.
    #[arg(long)]
    json: bool,
}

impl Check {
    pub(super) fn run(self) -> Result<(), Ended> {
        match look(&self.config.sources()) {
            Ok(assembly) => print::line(if self.json { report_json(&assembly) } else { report(&assembly) }),
            Err(problems) => Err(refused(&problems, self.json)),
        }
    }
}

/// All problems, as the last words of a command that will not start anything.
pub(super) fn refused(problems: &[Problem], json: bool) -> Ended {
    let mut words = String::new();
    for problem in problems {
        if json {
            if let Err(ended) = print::line(json!({ "problem": problem })) {
                return ended;
            }
        } else {
            let _ = writeln!(words, "{problem}");
        }
    }
    let count = problems.len();
    let _ = write!(words, "{count} problem{} in the configuration; nothing was started", if count == 1 { "" } else { "s" });
    Ended::new(Exit::Configuration, words)
}

fn report(assembly: &Assembly) -> String {
    let plan = &assembly.wired.plan;
    let mut text = format!("{}: the configuration is good.\n", plan.name);
    for furnace in assembly.furnaces() {
        let _ = writeln!(text, "\nfurnace {}: limit {:.0} °C of {:.0} °C rated", furnace.name, furnace.limit_c, furnace.rated_c);
        let _ = writeln!(text, "  if this computer dies, heat is cut by: {}", furnace.if_computer_dies);
        if !furnace.warns_only.is_empty() {
            let _ = writeln!(text, "  warns only: {}", furnace.warns_only.join(", "));
        }
        for lacks in &furnace.not_wired {
            let _ = writeln!(text, "  {lacks}");
        }
        if let Some(silence) = &furnace.on_silence {
            let _ = writeln!(text, "  if nobody answers: {silence}");
        }
    }
    for tank in &plan.tanks {
        let (low, high) = (in_celsius(tank.window_low), in_celsius(tank.window_high));
        let _ = writeln!(text, "\ntank {}: window {low:.0} to {high:.0} °C", tank.name);
    }
    for line in assembly.lines() {
        let _ = writeln!(text, "\n{line}");
    }
    for card in assembly.drivers() {
        let (name, component) = (&card.name, card.component.display());
        let _ = writeln!(text, "\ndriver {name}: {} {}, contract {}, {component}", card.driver, card.version, card.contract);
        let _ = writeln!(text, "  exports {}", card.exports.join(", "));
        for unit in &card.units {
            let _ = writeln!(text, "  {} ({}){}", unit.name, unit.faces.join(", "), cost(unit));
        }
    }
    let _ = writeln!(text, "\n{}", assembly.room_card());
    let _ = writeln!(text, "\njournal: {}", assembly.settings.journal.display());
    let _ = writeln!(text, "compiled drivers: {}", assembly.settings.host.cache.display());
    let advice = advice(assembly);
    if !advice.is_empty() {
        let _ = writeln!(text, "\nworth a second look (nothing is refused for it):");
        advice.iter().for_each(|one| {
            let _ = writeln!(text, "  {one}");
        });
    }
    let _ = write!(text, "\n{CAUTIONS}");
    text
}

/// What one read of a unit costs on each of its lines.
fn cost(unit: &UnitCard) -> String {
    let cost = |(line, cost): (&Name, &ReadCost)| {
        let ReadCost { exchanges, request_bytes, reply_bytes } = cost;
        let many = if *exchanges == 1 { "exchange" } else { "exchanges" };
        format!("{exchanges} {many} on {line}, {request_bytes} bytes out and {reply_bytes} back")
    };
    let costs: Vec<String> = unit.read_costs.iter().map(cost).collect();
    if costs.is_empty() { String::new() } else { format!(": a read is {}", costs.join("; ")) }
}

fn report_json(assembly: &Assembly) -> String {
    let furnaces: Vec<_> = assembly.furnaces();
    let tanks = assembly.wired.plan.tanks.iter().map(|tank| {
        let (low, high) = (in_celsius(tank.window_low), in_celsius(tank.window_high));
        json!({ "name": tank.name.as_str(), "window_low_c": low, "window_high_c": high })
    });
    let tanks: Vec<_> = tanks.collect();
    let (journal, cache) = (&assembly.settings.journal, &assembly.settings.host.cache);
    json!({
        "shop": assembly.wired.plan.name,
        "furnaces": furnaces,
        "tanks": tanks,
        "lines": assembly.lines(),
        "drivers": assembly.drivers(),
        "room": assembly.room_card(),
        "journal": journal,
        "cache": cache,
        "advice": advice(assembly),
    })
    .to_string()
}

/// Where recipes leave what is known of their steels.
fn advice(assembly: &Assembly) -> Vec<Problem> {
    assembly.settings.recipes.iter().flat_map(RecipeSettings::advice).collect()
}

/// What is said wherever people set something up.
pub(super) const CAUTIONS: &str = "\
This is supervision, not a safety-rated system. A hard-wired high limit, door switch and disconnect come first; what is not wired
protects nobody. Inert gas displaces the air that people breathe: ventilate, monitor room oxygen. Hot oil burns: a lid and an
extinguisher for oil at hand, no water in the tank. Local codes and a licensed practitioner decide.";
