//! The last two layers: variables of the environment, then flags. Each gives one key, and a text that is read as its key needs it.

use std::ffi::OsString;

use config::{Map, Value, ValueKind};

use super::problem::Problems;

/// What a variable or a flag says.
#[derive(Debug, PartialEq, Eq)]
pub(super) struct Override {
    /// The key, with dots between tables.
    pub(super) key: String,
    /// As typed.
    text: String,
    /// The flag or variable, for problems.
    pub(super) origin: String,
}

/// The prefix of variables: `HEARTHWARD__FURNACE__NORTH__LIMIT="1050 C"`. Two underscores stand for a dot.
const PREFIX: &str = "HEARTHWARD";
/// What flags are called in problems, where variables have their own names.
const FLAG: &str = "--set";

/// Whether a place of origin is a flag or a variable.
pub(super) fn is_over(origin: &str) -> bool {
    origin == FLAG || origin.to_ascii_uppercase().strip_prefix(PREFIX).is_some_and(|rest| rest.starts_with("__"))
}

impl Override {
    /// What a flag says.
    pub(super) fn of_flag(key: &str, text: &str) -> Self {
        // With its own place of origin, so that a problem is not looked for in a file.
        Self { key: key.to_owned(), text: text.to_owned(), origin: FLAG.to_owned() }
    }

    /// What it says, over what the layers `below` say there.
    ///
    /// A list, and a text in quotes, is read as TOML. Whether a bare number is meant as one is for its key to say: the service's own
    /// keys read it out of the text, and a driver is given a number or a truth, unless its setting is a text in the layers below.
    pub(super) fn value(&self, below: &Value) -> Value {
        let as_typed = || self.tell(ValueKind::String(self.text.clone()));
        match self.text.trim().parse() {
            Ok(toml @ (toml::Value::Array(_) | toml::Value::String(_))) => self.typed(toml),
            Ok(toml @ (toml::Value::Integer(_) | toml::Value::Float(_) | toml::Value::Boolean(_))) if self.is_for_a_driver() => {
                match found(below, &self.key).map(|value| &value.kind) {
                    Some(ValueKind::String(_)) => as_typed(),
                    _ => self.typed(toml),
                }
            }
            _ => as_typed(),
        }
    }

    fn is_for_a_driver(&self) -> bool {
        let parts: Vec<&str> = self.key.split('.').collect();
        matches!(parts[..], ["driver", _, "settings", _, ..])
    }

    fn typed(&self, toml: toml::Value) -> Value {
        self.tell(match toml {
            toml::Value::String(text) => ValueKind::String(text),
            toml::Value::Integer(whole) => ValueKind::I64(whole),
            toml::Value::Float(number) => ValueKind::Float(number),
            toml::Value::Boolean(is) => ValueKind::Boolean(is),
            toml::Value::Datetime(moment) => ValueKind::String(moment.to_string()),
            toml::Value::Array(items) => ValueKind::Array(items.into_iter().map(|item| self.typed(item)).collect()),
            toml::Value::Table(entries) => {
                ValueKind::Table(entries.into_iter().map(|(key, value)| (key, self.typed(value))).collect())
            }
        })
    }

    fn tell(&self, kind: ValueKind) -> Value {
        Value::new(Some(&self.origin), kind)
    }
}

/// What the variables say, in the order of their names; their keys as the layers `below` write them.
pub(super) fn variables(
    all: impl IntoIterator<Item = (OsString, OsString)>,
    below: &Value,
    problems: &Problems,
) -> Vec<Override> {
    let mut found = Vec::new();
    for (name, text) in all {
        let Some(name) = name.to_str() else { continue };
        let Some(rest) = name.to_ascii_lowercase().strip_prefix(&PREFIX.to_ascii_lowercase()).map(str::to_owned) else {
            continue;
        };
        let Some(key) = rest.strip_prefix("__") else {
            // Those of the command line itself, such as HEARTHWARD_AT, have no table.
            if rest.starts_with('_') && rest.contains("__") {
                let mend = name[PREFIX.len()..].trim_start_matches('_');
                let words = format!("is not read; two underscores stand for a dot: write {PREFIX}__{mend}");
                problems.note("the environment", name, words);
            }
            continue;
        };
        match text.into_string() {
            Ok(text) => found.push(Override { key: as_written(key, below), text, origin: name.to_owned() }),
            Err(_) => problems.note("the environment", name, "is no text in UTF-8"),
        }
    }
    found.sort_by(|one, other| one.origin.cmp(&other.origin));
    found
}

/// The key of a variable as it is written below: no variable's name can hold a `-`, so an unknown name with `_` is the one that is
/// known with `-`, if there is but one.
fn as_written(variable: &str, below: &Value) -> String {
    let mut table = entries(below);
    let parts = variable.split("__").map(|part| {
        let spelt = match table {
            Some(known) if !known.contains_key(part) => {
                let mut alike = known.keys().filter(|name| name.replace('-', "_") == part);
                alike.next().filter(|_| alike.next().is_none()).map_or(part, String::as_str)
            }
            _ => part,
        };
        table = table.and_then(|known| known.get(spelt)).and_then(entries);
        spelt
    });
    parts.collect::<Vec<_>>().join(".")
}

fn found<'v>(below: &'v Value, key: &str) -> Option<&'v Value> {
    key.split('.').try_fold(below, |value, part| entries(value)?.get(part))
}

fn entries(value: &Value) -> Option<&Map<String, Value>> {
    if let ValueKind::Table(entries) = &value.kind { Some(entries) } else { None }
}

#[cfg(test)]
mod tests {
    use config::{Config, File, FileFormat, Source};

    use super::*;

    fn below() -> Value {
        let text = "[driver.io.settings]\nport = \"17\"\nseed = 7\n[driver.io.settings.unit.north-box]\nface = \"points\"\n\
                    [driver.io.settings.unit.a-b_c]\n[driver.io.settings.unit.a_b-c]\n[shop]\nname = \"Alder Yard\"\n";
        let file = Config::builder().add_source(File::from_str(text, FileFormat::Toml)).build().expect("it is TOML");
        Value::new(None, ValueKind::Table(file.collect().expect("it has values")))
    }

    fn said(key: &str, text: &str) -> ValueKind {
        Override::of_flag(key, text).value(&below()).kind
    }

    #[test]
    fn a_driver_is_given_numbers_and_truths() {
        assert_eq!(said("driver.io.settings.seed", "8"), ValueKind::I64(8));
        assert_eq!(said("driver.io.settings.unit.north-box.scale", "0.1"), ValueKind::Float(0.1));
        assert_eq!(said("driver.io.settings.anything", " true "), ValueKind::Boolean(true));
        assert_eq!(said("driver.io.settings.anything", "8 L"), ValueKind::String("8 L".into()));
    }

    #[test]
    fn a_text_that_looks_like_a_number_stays_a_text() {
        assert_eq!(said("driver.io.settings.port", "18"), ValueKind::String("18".into()), "it is a text in the file");
        assert_eq!(said("driver.io.settings.seed", "\"8\""), ValueKind::String("8".into()), "in quotes it is a text");
        for text in ["17", "017", "true", "1e3", "2026-01-01", "[yard", "{ a = 1 }", ""] {
            assert_eq!(said("shop.name", text), ValueKind::String(text.into()), "the service's own keys read texts");
        }
    }

    #[test]
    fn a_list_is_a_list() {
        let ValueKind::Array(items) = said("furnace.north.may_bypass", "[\"purge-flow\", \"gas-supply\"]") else {
            panic!("no list")
        };
        let texts: Vec<_> = items.into_iter().map(|item| (item.origin().map(str::to_owned), item.kind)).collect();
        let from_a_flag = |text: &str| (Some("--set".to_owned()), ValueKind::String(text.into()));
        assert_eq!(texts, [from_a_flag("purge-flow"), from_a_flag("gas-supply")]);
    }

    #[test]
    fn a_variable_reaches_names_with_a_dash() {
        for (variable, key) in [
            ("HEARTHWARD__DRIVER__IO__SETTINGS__UNIT__NORTH_BOX__FACE", "driver.io.settings.unit.north-box.face"),
            ("hearthward__shop__name", "shop.name"),
            ("HEARTHWARD__FURNACE__SOUTH_SIDE__LIMIT", "furnace.south_side.limit"),
            // Two are meant by it, so none is.
            ("HEARTHWARD__DRIVER__IO__SETTINGS__UNIT__A_B_C__FACE", "driver.io.settings.unit.a_b_c.face"),
        ] {
            let problems = Problems::default();
            let read = variables([(variable.into(), "x".into())], &below(), &problems);
            assert_eq!(read, [Override { key: key.into(), text: "x".into(), origin: variable.into() }]);
            assert!(problems.is_empty());
        }
    }

    #[test]
    fn what_is_not_ours_is_left_alone_and_what_looks_like_ours_is_told() {
        let problems = Problems::default();
        let all = ["PATH", "HEARTHWARD_AT", "HEARTHWARDLY__X", "HEARTHWARD_SHOP__NAME"].map(|name| (name.into(), "x".into()));
        assert_eq!(variables(all, &below(), &problems), []);
        let told: Vec<String> = problems.into_list().iter().map(ToString::to_string).collect();
        let mend = "two underscores stand for a dot: write HEARTHWARD__SHOP__NAME";
        assert_eq!(told, [format!("the environment: HEARTHWARD_SHOP__NAME: is not read; {mend}")]);
    }
}
