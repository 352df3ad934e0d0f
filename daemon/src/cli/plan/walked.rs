//! Goal: no flag of the planner is dropped in silence. Method: every flag of every question is added to the least question that has
//! an answer, which must change the answer or be refused, and is taken out of a question with every flag, which must change it
//! too. That a value was "not said, so taken" does not count as a change.

use clap::error::ErrorKind;
use clap::{Command, FromArgMatches, Subcommand};
use hearthward_process::note::NoteKind;
use hearthward_process::plan::Answer;

use super::Plan;
use super::said::Question;

/// A question: its name, what it needs at least, the values of its flags where they differ from [`value`], and flags that exclude
/// each other, of which a question with every flag has the one or the other.
struct Walk {
    name: &'static str,
    least: &'static [&'static str],
    own: &'static [(&'static str, &'static str)],
    either: &'static [&'static [&'static str]],
}

const WALKS: [Walk; 12] = [
    Walk { name: "purge", least: &["chamber", "flow"], own: &[("steel", "D2")], either: &[&["gas-oxygen"], &["gas-purity"]] },
    Walk { name: "cylinder", least: &["cylinder", "gauge"], own: &[], either: &[&["cylinder"], &["contents"]] },
    Walk { name: "heat-up", least: &["section", "heat"], own: &[("flow", "2 L/min")], either: &[] },
    Walk { name: "transfer", least: &["section", "heat", "in-air"], own: &[], either: &[] },
    Walk { name: "bath", least: &["bath", "bath-temperature", "section", "part-mass", "heat"], own: &[], either: &[] },
    Walk { name: "temper", least: &["temperature"], own: &[("time", "3 h")], either: &[&["temperature"], &["hardness"]] },
    Walk { name: "interrupted", least: &["chamber", "now", "holding", "falls", "surface"], own: &[], either: &[] },
    Walk { name: "furnace", least: &["record"], own: &[("record", HEAT_UP)], either: &[] },
    Walk {
        name: "leak",
        least: &["strips-gain", "strips-surface", "steel-surface", "time", "flow"],
        own: &[("record", PURGE), ("time", "70 min"), ("flow", "2 L/min")],
        either: &[&["record", "chamber", "room"], &["strips-gain", "strips-surface", "steel-surface", "time", "flow"]],
    },
    Walk { name: "meter", least: &["bag", "time", "reading"], own: &[("time", "175 s")], either: &[] },
    Walk {
        name: "plates",
        least: &["plates", "section", "part-mass", "heat"],
        own: &[("plates-temperature", "45 C")],
        either: &[],
    },
    Walk {
        name: "cycle",
        least: &["steel", "section"],
        own: &[],
        either: &[
            &["gas-oxygen", "cylinder", "hardness"],
            &["gas-purity", "contents", "temper"],
            &["gas-oxygen", "cylinder", "protected", "hardness"],
        ],
    },
];

const HEAT_UP: &str = concat!(env!("CARGO_MANIFEST_DIR"), "/../deploy/example/heat-up.csv");
const PURGE: &str = concat!(env!("CARGO_MANIFEST_DIR"), "/../deploy/example/purge.csv");

/// Flags that are not of the question: how it is shown, and a configuration, which has tests of its own.
const ASIDE: [&str; 8] = ["help", "json", "units", "config", "furnace", "supply", "tank", "as-recipe"];

/// A value that differs from what is taken where nothing is said; none for a switch.
fn value(flag: &str) -> Option<&'static str> {
    Some(match flag {
        "protected" | "in-turn" => return None,
        "chamber" => "9.4 L",
        "flow" => "8 L/min",
        "hold" => "1.5 L/min",
        "leak" => "0.001 L/min",
        "start-oxygen" => "15 %",
        "level" => "150 ppm",
        "purged-at" => "60 C",
        "opening" => "50 %",
        "cools" | "falls" => "5 K/min",
        "pores" => "2 L",
        "pores-exchange" => "25 min",
        "pores-warming" => "30 %",
        "meter-scale" => "10 L/min",
        "meter-scale-gas" | "scale-gas" => "helium",
        "meter-accuracy" => "3 %",
        "meter-valve" => "after-tube",
        "meter-line" => "1.5 bar",
        "meter-back" => "0.3 bar",
        "meter-float" => "sharp-edged",
        "meter-bore" => "6 mm",
        "port-bore" => "4.5 mm",
        "port-height" | "gaps-height" => "150 mm",
        "gaps-width" => "0.3 mm",
        "gaps-length" => "200 mm",
        "gaps-depth" => "35 mm",
        "exposed-surface" | "surface" => "300 cm2",
        "exposed-time" => "40 min",
        "gas" => "nitrogen",
        "reference" | "scale-temperature" => "0 C",
        "gas-oxygen" => "4 ppm",
        "gas-purity" => "99.999 %",
        "heat" => "850 C",
        "steel" => "O1",
        "room" | "plates-temperature" => "35 C",
        "cylinder" => "10 L",
        "contents" => "1900 L",
        "filled" => "200 bar",
        "gauge" => "140 bar",
        "gauge-error" => "8 bar",
        "cylinder-temperature" => "5 C",
        "leave" => "20 bar",
        "draw" => "3 L/min for 50 min",
        "reserve" => "40 L",
        "evening" => "160 bar",
        "evening-temperature" => "30 C",
        "ago" => "10 h",
        "room-volume" => "60 m3",
        "room-changes" => "2 /h",
        "room-alarm" => "20.5 %",
        "section" => "6 mm",
        "shape" => "bar",
        "ramp" => "6 K/min",
        "power" => "2.2 kW",
        "holding" => "0.7 kW",
        "load" => "0.9 kg",
        "start" => "60 C",
        "band" => "9 K",
        "soak" | "cooling" => "33 min",
        "in-air" => "3 s",
        "limit" => "750 C",
        "edge" => "0.5 mm",
        "edge-width" => "15 mm",
        "bath" => "12 L",
        "bath-temperature" => "48 C",
        "oil" => "slow",
        "window-low" => "45 C",
        "window-high" => "90 C",
        "flash-point" => "180 C",
        "part-mass" => "0.3 kg",
        "parts" | "tempers" => "3",
        "view" => "40 %",
        "open" => "9 s",
        "shut" => "80 s",
        "tank-surface" => "400 cm2",
        "tank-freeboard" => "30 mm",
        "part-length" => "180 mm",
        "bath-cooling" => "90 min",
        "temperature" => "205 C",
        "hardness" => "58",
        "instead" => "1 h",
        "temper" => "230 C for 3 h",
        "preheat" => "600 C",
        "now" => "800 C",
        "scaling-ends" => "450 C",
        "bag" => "5 L",
        "reading" => "2 L/min",
        "tube" => "0.5 bar",
        "plates" => "6 kg",
        "strips-gain" => "2.5 mg",
        "strips-surface" => "20 cm2",
        "steel-surface" => "800 cm2",
        _ => panic!("--{flag} has no value here: give it one that differs from what is taken unsaid"),
    })
}

impl Walk {
    /// All flags of the question.
    fn flags(&self) -> Vec<String> {
        let plan = Plan::augment_subcommands(Command::new("plan"));
        let question = plan.find_subcommand(self.name).expect("a question");
        let flags = question.get_arguments().filter_map(|flag| flag.get_long().map(str::to_owned));
        flags.filter(|flag| !ASIDE.contains(&flag.as_str()) || (self.name == "furnace" && flag == "record")).collect()
    }

    /// What is said for some flags: a failure's words, or the numbers, warnings and notes.
    fn said(&self, flags: &[&str]) -> Result<Vec<String>, String> {
        let mut words = vec!["plan".to_owned(), self.name.to_owned()];
        for flag in flags {
            words.push(format!("--{flag}"));
            let own = self.own.iter().find(|(name, _)| name == flag).map(|(_, value)| *value);
            words.extend(own.or_else(|| value(flag)).map(str::to_owned));
        }
        let matches = Plan::augment_subcommands(Command::new("plan")).try_get_matches_from(words);
        let matches = matches.map_err(|error| {
            // A slip of this test, such as a value that cannot be read, is no refusal of the flag.
            let meant = matches!(error.kind(), ErrorKind::ArgumentConflict | ErrorKind::MissingRequiredArgument);
            assert!(meant, "plan {} {flags:?}: {error}", self.name);
            error.to_string()
        });
        let plan = Plan::from_arg_matches(&matches?).map_err(|error| error.to_string())?;
        asked(&plan).map(|answers| answers.iter().flat_map(lines).collect())
    }
}

fn asked(plan: &Plan) -> Result<Vec<Answer>, String> {
    fn of<Q: Question>(question: &Q) -> Result<Vec<Answer>, String> {
        question.ask().map(|said| said.answers).map_err(|why| format!("{why:?}"))
    }
    match plan {
        Plan::Purge(question) => of(question.as_ref()),
        Plan::Cylinder(question) => of(question.as_ref()),
        Plan::HeatUp(question) => of(question.as_ref()),
        Plan::Transfer(question) => of(question.as_ref()),
        Plan::Bath(question) => of(question.as_ref()),
        Plan::Temper(question) => of(question.as_ref()),
        Plan::Interrupted(question) => of(question.as_ref()),
        Plan::Furnace(question) => of(question.as_ref()),
        Plan::Leak(question) => of(question.as_ref()),
        Plan::Meter(question) => of(question.as_ref()),
        Plan::Plates(question) => of(question.as_ref()),
        Plan::Cycle(question) => of(question.as_ref()),
    }
}

fn lines(answer: &Answer) -> Vec<String> {
    let items = answer.items.iter().map(|item| format!("{}: {:?} {}", item.key, item.value, item.basis));
    let notes = answer.warnings.iter().chain(&answer.notes);
    let notes = notes.filter(|note| note.kind != NoteKind::Assumed).map(|note| note.text.to_string());
    std::iter::once(answer.title.clone()).chain(items).chain(notes).collect()
}

#[test]
fn a_flag_added_to_the_least_question_changes_its_answer_or_is_refused() {
    let mut dropped = Vec::new();
    for walk in WALKS {
        let least = walk.said(walk.least).unwrap_or_else(|why| panic!("{}: {why}", walk.name));
        for flag in walk.flags().iter().filter(|flag| !walk.least.contains(&flag.as_str())) {
            let more = walk.said(&[walk.least, &[flag]].concat());
            if more.as_ref() == Ok(&least) {
                dropped.push(format!("plan {} --{flag}", walk.name));
            }
        }
    }
    assert!(dropped.is_empty(), "nothing comes of {dropped:?}");
}

#[test]
fn a_flag_taken_out_of_a_full_question_changes_its_answer() {
    let mut dropped = Vec::new();
    for walk in WALKS {
        let flags = walk.flags();
        let no_choice: &[&[&str]] = &[&[]];
        for kept in if walk.either.is_empty() { no_choice } else { walk.either } {
            let out = |flag: &str| walk.either.iter().any(|one| one.contains(&flag)) && !kept.contains(&flag);
            let mut all: Vec<&str> = flags.iter().map(String::as_str).filter(|flag| !out(flag)).collect();
            if kept.contains(&"protected") {
                all.retain(|flag| {
                    ["protected", "steel", "section", "shape", "hardness", "oil", "room", "heat", "soak", "preheat"]
                        .contains(flag)
                });
            }
            let full = walk.said(&all).unwrap_or_else(|why| panic!("{} with every flag: {why}", walk.name));
            for flag in &all {
                let rest: Vec<&str> = all.iter().copied().filter(|one| one != flag).collect();
                let less = walk.said(&rest);
                if less.as_ref() == Ok(&full) {
                    dropped.push(format!("plan {} --{flag}", walk.name));
                }
            }
        }
    }
    assert!(dropped.is_empty(), "all is the same without {dropped:?}");
}

#[test]
fn a_configuration_is_not_read_for_nothing() {
    for question in ["purge", "cylinder", "bath", "cycle"] {
        let words = ["plan", question, "-c", "shop.toml"];
        let refused =
            Plan::augment_subcommands(Command::new("plan")).try_get_matches_from(words).expect_err("was taken").to_string();
        assert!(refused.contains("were not provided"), "{question}: {refused}");
    }
}
