//! Goal: every key that a configuration may hold stands in the guide, and the guide names no other. Method: a key that is none in every
//! table; what is said to it lists the keys that are known there.

use std::collections::{BTreeMap, BTreeSet};

use hearthward::settings::{Problems, Settings, Sources};

/// Near no key, so that all of them are listed.
const STRANGE: &str = "qqqqqqqqqqqq";

/// Every table of a configuration, and every kind of step, with what has to be there for its other keys to be asked for.
const EVERY_TABLE: &str = r#"
[shop]
[api]
[journal]
[host]
[line.bus]
[driver.loops]
[supply.argon]
[supply.argon.cylinder]
[furnace.north]
supply = "argon"
contactor = "loops/box.contactor"
[furnace.north.if_computer_dies]
[furnace.north.chamber]
[furnace.north.chamber.calibration]
[furnace.north.purge]
flow = "8 L/min"
hold = "2 L/min"
[furnace.north.if_nobody_answers]
[tank.oil]
[tank.oil.oil]
[room]
[alarms]
[alarms.delays.unit-lost]
[share]
[rule.hood]
when = "hood_on"
text = "the hood is off"
effect = "alarm"
[rule.hood.points.hood_on]
[recipe.knives]
steps = [STEPS]
[recipe.knives.part]
"#;

const STEPS: [&str; 8] = ["purge", "preheat", "ramp", "soak", "pull", "quench", "cool", "temper"];

type Keys = BTreeMap<String, BTreeSet<String>>;

/// The keys that the service asks for, by their table.
fn known() -> Keys {
    let steps = STEPS.map(|kind| format!("{{ step = \"{kind}\", {STRANGE} = 1 }}")).join(", ");
    let mut text = format!("{STRANGE} = 1\n");
    for line in EVERY_TABLE.replace("STEPS", &steps).lines() {
        text += &format!("{line}\n");
        if line.starts_with('[') {
            text += &format!("{STRANGE} = 1\n");
        }
    }
    let problems = Problems::default();
    let _ = Settings::read(&Sources { text: Some(text), ..Sources::default() }, &problems);
    let mut found = Keys::new();
    for problem in problems.into_list() {
        let Some(table) = problem.key.strip_suffix(STRANGE) else { continue };
        let (_, keys) = problem.message.split_once("known here: ").expect("the keys that are known");
        found.insert(heading(table.trim_end_matches('.')), keys.split(", ").map(str::to_owned).collect());
    }
    found
}

/// A table as the guide calls it.
fn heading(table: &str) -> String {
    if let Some(place) = table.strip_prefix("recipe.knives.steps[") {
        let place: usize = place.trim_end_matches(']').parse().expect("a step's place");
        return format!("step = \"{}\"", STEPS[place]);
    }
    let named = ["bus", "loops", "argon", "north", "unit-lost", "hood", "hood_on", "knives"];
    let parts: Vec<&str> = table.split('.').collect();
    let part = |(place, part): (usize, &&str)| match *part {
        "oil" if place == 1 => "NAME".to_owned(),
        part if named.contains(&part) => "NAME".to_owned(),
        part => part.to_owned(),
    };
    let parts: Vec<String> = parts.iter().enumerate().map(part).collect();
    if table.is_empty() { "The file".to_owned() } else { format!("[{}]", parts.join(".")) }
}

/// The keys that the guide has, by its headings.
fn told(guide: &str) -> Keys {
    let (mut found, mut table) = (Keys::new(), String::new());
    for line in guide.lines() {
        if let Some(words) = line.strip_prefix("##") {
            table = words.trim_matches(['#', ' ', '`']).to_owned();
        } else if let Some((key, _)) = line.strip_prefix("| `").and_then(|rest| rest.split_once('`')) {
            assert!(found.entry(table.clone()).or_default().insert(key.to_owned()), "{table} has {key} twice");
        }
    }
    found
}

#[test]
fn the_guide_has_every_key_and_no_other() {
    let (known, told) = (known(), told(include_str!("../../deploy/configuration.md")));
    assert_eq!(known.keys().collect::<Vec<_>>(), told.keys().collect::<Vec<_>>(), "tables that the service knows, and the guide");
    for (table, keys) in &known {
        assert_eq!(*keys, told[table], "{table}: keys that the service knows, and those of the guide");
    }
}
