//! Reading settings so that every problem is found in one go.
//!
//! The host flattens the configuration's tables into a list of dotted keys. [`Form`] gives them back as sections, checks
//! kind and range as they are asked for, and knows at the end which keys nobody asked for.

use std::cell::RefCell;
use std::collections::{BTreeMap, BTreeSet};
use std::ops::RangeInclusive;

use crate::{Named, Problem, Value, nearest, reading};

/// The settings as they came.
#[derive(Clone, Debug, Default)]
pub struct Settings {
    entries: BTreeMap<String, Value>,
    twice: Vec<String>,
}

impl Settings {
    /// Takes the host's list.
    #[must_use]
    pub fn new(list: Vec<Named>) -> Self {
        let mut settings = Self::default();
        for Named { name, value } in list {
            if settings.entries.insert(name.clone(), value).is_some() {
                settings.twice.push(name);
            }
        }
        settings
    }
}

impl<const N: usize> From<[(&str, Value); N]> for Settings {
    /// For tests: settings written out in place.
    fn from(list: [(&str, Value); N]) -> Self {
        Self::new(list.into_iter().map(|(name, value)| Named { name: name.to_owned(), value }).collect())
    }
}

/// Settings while they are being read: remembers what was asked for and what was wrong.
#[derive(Debug)]
pub struct Form<'s> {
    settings: &'s Settings,
    asked: RefCell<BTreeSet<String>>,
    /// Tables that were looked into.
    opened: RefCell<BTreeSet<String>>,
    /// Tables of which enough is said.
    left: RefCell<Vec<String>>,
    problems: RefCell<Vec<Problem>>,
}

impl<'s> Form<'s> {
    /// Starts to read.
    #[must_use]
    pub fn new(settings: &'s Settings) -> Self {
        let form = Self {
            settings,
            asked: RefCell::default(),
            opened: RefCell::default(),
            left: RefCell::default(),
            problems: RefCell::default(),
        };
        for key in &settings.twice {
            form.problem(key, "is given twice");
        }
        form
    }

    /// The section with all keys.
    #[must_use]
    pub fn root(&self) -> Section<'_> {
        Section { form: self, prefix: String::new() }
    }

    /// Notes a problem under a full key.
    pub fn problem(&self, key: &str, message: impl Into<String>) {
        self.problems.borrow_mut().push(Problem { key: key.to_owned(), message: message.into() });
    }

    /// Whether nothing was wrong so far.
    #[must_use]
    pub fn is_sound(&self) -> bool {
        self.problems.borrow().is_empty()
    }

    /// Ends the reading.
    ///
    /// # Errors
    /// All problems, keys that nobody asked for among them; of a table that nobody looked into its own name alone.
    pub fn finish(self) -> Result<(), Vec<Problem>> {
        let (asked, left) = (self.asked.take(), self.left.take());
        let is_left = |key: &str| left.iter().any(|table| key.starts_with(table));
        let mut known = self.opened.take();
        known.extend(asked.iter().cloned());
        let strange: BTreeSet<&str> = self
            .settings
            .entries
            .keys()
            .filter(|key| !asked.contains(*key) && !is_left(key))
            .map(|key| first_unknown(key, &known))
            .collect();
        for key in strange {
            self.problem(key, unknown(key, &known));
        }
        let problems = self.problems.into_inner();
        if problems.is_empty() { Ok(()) } else { Err(problems) }
    }
}

/// A table of the settings.
#[derive(Clone, Debug)]
pub struct Section<'f> {
    form: &'f Form<'f>,
    /// Empty, or ends with a dot.
    prefix: String,
}

impl Section<'_> {
    /// A table inside this one.
    #[must_use]
    pub fn section(&self, name: &str) -> Self {
        self.form.opened.borrow_mut().insert(self.key(name));
        self.inside(name)
    }

    fn inside(&self, name: &str) -> Self {
        Self { form: self.form, prefix: format!("{}{name}.", self.prefix) }
    }

    /// The same, unless something else than a table is given there: that is a problem, and `like` shows how a table is written.
    #[must_use]
    pub fn table(&self, name: &str, like: &str) -> Option<Self> {
        let inside = self.section(name);
        let is_list = !inside.names().is_empty() && inside.names().iter().all(|name| name.parse::<usize>().is_ok());
        let given = match self.ask(name) {
            Some(value) => written(value),
            None if is_list => "a list".to_owned(),
            None => return Some(inside),
        };
        self.problem(name, format!("should be a table like {like}, not {given}"));
        inside.leave();
        None
    }

    /// All units by their names: the tables in the table `unit`. With `lack` there has to be one: it says what for.
    ///
    /// Units that stand elsewhere, names that no unit can have, and what is no table are noted as problems.
    #[must_use]
    pub fn units(&self, lack: Option<&str>) -> Vec<(String, Self)> {
        let mut misplaced = false;
        for name in self.names().into_iter().filter(|name| name != UNIT) {
            let inside = self.inside(&name);
            let within = inside.names().into_iter().find(|inner| inside.inside(inner).has("face"));
            let Some(unit) = Some(name.clone()).filter(|_| inside.has("face")).or(within) else { continue };
            self.problem(&name, format!("is not known; units stand under `{UNIT}`: write {UNIT}.{unit}"));
            inside.leave();
            misplaced = true;
        }
        let Some(table) = self.table(UNIT, "unit.north.face = \"furnace\"") else { return Vec::new() };
        if let Some(lack) = lack.filter(|_| !misplaced && !self.has(UNIT)) {
            self.problem(UNIT, format!("is missing: {lack}; write it like unit.north.face = \"furnace\""));
        }
        let mut units = Vec::new();
        for name in table.names() {
            if !is_unit_name(&name) {
                table.problem(&name, "a unit's name is lower case letters, digits and -, a letter first, at most 40");
            }
            units.extend(table.table(&name, "{ face = \"furnace\" }").map(|unit| (name, unit)));
        }
        units
    }

    /// Says that enough is said of this table: what is in it is not judged any more.
    pub fn leave(&self) {
        self.form.left.borrow_mut().push(self.prefix.clone());
    }

    /// The full key of a name in this table, or of the table itself for an empty name.
    #[must_use]
    pub fn key(&self, name: &str) -> String {
        format!("{}{name}", self.prefix).trim_end_matches('.').to_owned()
    }

    /// Names of the tables and values inside this one, in alphabetical order.
    #[must_use]
    pub fn names(&self) -> Vec<String> {
        let inside = self.keys().filter_map(|key| key.strip_prefix(&self.prefix)).filter_map(|rest| rest.split('.').next());
        inside.map(str::to_owned).collect::<BTreeSet<_>>().into_iter().collect()
    }

    /// Whether anything is given under this name, a value or a table.
    #[must_use]
    pub fn has(&self, name: &str) -> bool {
        let (value, table) = (self.key(name), format!("{}{name}.", self.prefix));
        self.keys().any(|key| *key == value || key.starts_with(&table))
    }

    /// Notes a problem with a name of this table.
    pub fn problem(&self, name: &str, message: impl Into<String>) {
        self.form.problem(&self.key(name), message);
    }

    /// Notes a missing name as a problem, with an example of its value; what was found but wrong has been noted already.
    pub fn must<T>(&self, name: &str, found: Option<T>, like: &str) -> Option<T> {
        if found.is_none() && !self.has(name) {
            self.problem(name, format!("is missing; write it like {name} = {like}"));
        }
        found
    }

    /// A switch.
    #[must_use]
    pub fn flag(&self, name: &str) -> Option<bool> {
        match self.ask(name)? {
            Value::Flag(flag) => Some(*flag),
            other => self.wrong(name, "true or false", other),
        }
    }

    /// A number inside the range.
    #[must_use]
    pub fn number(&self, name: &str, range: RangeInclusive<f64>) -> Option<f64> {
        let given = self.ask(name)?;
        let Some(number) = reading::as_number(given) else { return self.wrong(name, "a number", given) };
        if range.contains(&number) {
            return Some(number);
        }
        let [number, least, most] = [number, *range.start(), *range.end()].map(reading::shown);
        self.problem(name, format!("{number} is outside {least} to {most}"));
        None
    }

    /// A number inside the range, or this one if none is given (or a wrong one, which is then a problem).
    #[must_use]
    pub fn number_or(&self, name: &str, range: RangeInclusive<f64>, default: f64) -> f64 {
        self.number(name, range).unwrap_or(default)
    }

    /// A whole number inside the range.
    #[must_use]
    pub fn whole(&self, name: &str, range: RangeInclusive<i64>) -> Option<i64> {
        let given = self.ask(name)?;
        let Some(whole) = reading::as_whole(given) else { return self.wrong(name, "a whole number", given) };
        if range.contains(&whole) {
            return Some(whole);
        }
        self.problem(name, format!("{whole} is outside {} to {}", range.start(), range.end()));
        None
    }

    /// Words, not empty.
    #[must_use]
    pub fn text(&self, name: &str) -> Option<String> {
        match self.ask(name)? {
            Value::Text(text) if !text.trim().is_empty() => Some(text.clone()),
            other => self.wrong(name, "some text", other),
        }
    }

    /// One of the words of a list.
    #[must_use]
    pub fn choice<T: Copy>(&self, name: &str, list: &[(&str, T)]) -> Option<T> {
        let given = self.ask(name)?;
        let words = || list.iter().map(|(word, _)| *word).collect::<Vec<_>>().join(", ");
        let Value::Text(word) = given else { return self.wrong(name, &format!("one of {}", words()), given) };
        let found = list.iter().find(|(known, _)| known == word).map(|(_, meaning)| *meaning);
        if found.is_none() {
            self.problem(name, format!("\"{word}\" is none of {}", words()));
        }
        found
    }

    /// The value as it is, whatever its kind.
    #[must_use]
    pub fn value(&self, name: &str) -> Option<Value> {
        self.ask(name).cloned()
    }

    /// A list: `name.0`, `name.1` and so on, as the host flattens one, or a single value.
    #[must_use]
    pub fn list(&self, name: &str) -> Vec<Value> {
        if let Some(single) = self.ask(name) {
            return vec![single.clone()];
        }
        let items = self.section(name);
        (0..).map_while(|index: usize| items.ask(&index.to_string()).cloned()).collect()
    }

    fn keys(&self) -> impl Iterator<Item = &String> {
        self.form.settings.entries.keys()
    }

    fn ask(&self, name: &str) -> Option<&Value> {
        let key = self.key(name);
        let found = self.form.settings.entries.get(&key);
        self.form.asked.borrow_mut().insert(key);
        found
    }

    fn wrong<T>(&self, name: &str, wanted: &str, given: &Value) -> Option<T> {
        self.problem(name, format!("should be {wanted}, not {}", written(given)));
        None
    }
}

/// The table of units.
const UNIT: &str = "unit";

/// A value as settings write it.
fn written(value: &Value) -> String {
    match value {
        Value::Flag(flag) => flag.to_string(),
        Value::Number(number) => reading::shown(*number),
        Value::Whole(whole) => whole.to_string(),
        Value::Text(text) => format!("\"{text}\""),
    }
}

/// Whether this may be the name of a unit: a letter first, then lower case letters, digits and `-`, at most 40 in all.
#[must_use]
pub fn is_unit_name(text: &str) -> bool {
    !text.contains('_') && is_point_name(text)
}

/// Whether this may be the name of a point: as a unit's, and `_` too, which the service shows as `-`.
#[must_use]
pub fn is_point_name(text: &str) -> bool {
    text.len() <= 40
        && text.starts_with(|first: char| first.is_ascii_lowercase())
        && text.bytes().all(|byte| byte.is_ascii_lowercase() || byte.is_ascii_digit() || byte == b'-' || byte == b'_')
}

/// The key itself, or the outermost table around it that nobody looked into.
fn first_unknown<'k>(key: &'k str, known: &BTreeSet<String>) -> &'k str {
    let dots = key.match_indices('.').map(|(dot, _)| &key[..dot]);
    let is_known = |table: &str| {
        known.iter().any(|known| known.strip_prefix(table).is_some_and(|rest| rest.is_empty() || rest.starts_with('.')))
    };
    dots.into_iter().find(|table| !is_known(table)).unwrap_or(key)
}

/// Says which keys are known in the same table, since most unknown keys are mistyped ones.
fn unknown(key: &str, known: &BTreeSet<String>) -> String {
    let (table, name) = key.rsplit_once('.').map_or(("", key), |(_, name)| key.split_at(key.len() - name.len()));
    let names: BTreeSet<&str> =
        known.iter().filter_map(|known| known.strip_prefix(table)).filter_map(|rest| rest.split('.').next()).collect();
    if let Some(meant) = nearest(name, names.iter().copied()) {
        return format!("is not known; did you mean `{meant}`?");
    }
    let names = names.into_iter().collect::<Vec<_>>().join(", ");
    if names.is_empty() { "is not known".to_owned() } else { format!("is not known; known here: {names}") }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn told(problems: &[Problem]) -> Vec<String> {
        problems.iter().map(|problem| format!("{}: {}", problem.key, problem.message)).collect()
    }

    /// Goal: one reading finds wrong kinds, ranges, words, missing and unknown keys together.
    #[test]
    fn every_problem_is_told_at_once() {
        let settings = Settings::from([
            ("unit.north.address", Value::Whole(300)),
            ("unit.north.face", Value::Text("kiln".to_owned())),
            ("unit.north.scale", Value::Flag(true)),
            ("unit.north.adress", Value::Whole(1)),
        ]);
        let form = Form::new(&settings);
        let unit = form.root().section("unit").section("north");
        assert_eq!(unit.whole("address", 0..=255), None);
        assert_eq!(unit.choice("face", &[("furnace", 1), ("points", 2)]), None);
        assert_eq!(unit.number("scale", -1.0..=1.0), None);
        assert_eq!(unit.must("line", unit.text("line"), "\"loops\""), None);
        let problems = form.finish().expect_err("five problems");
        assert_eq!(
            told(&problems),
            [
                "unit.north.address: 300 is outside 0 to 255",
                "unit.north.face: \"kiln\" is none of furnace, points",
                "unit.north.scale: should be a number, not true",
                "unit.north.line: is missing; write it like line = \"loops\"",
                "unit.north.adress: is not known; did you mean `address`?",
            ]
        );
    }

    /// Goal: what has the wrong shape, or stands in the wrong place, is told once, with what it should be.
    #[test]
    fn a_wrong_shape_is_told_once() {
        let word = |word: &str| Value::Text(word.to_owned());
        let settings = Settings::from([
            ("map.text", word("input 0")),
            ("map.list.0.table", word("input")),
            ("map.list.0.scale", Value::Number(0.1)),
            ("mop.text.table", word("input")),
            ("mop.text.scale", Value::Number(0.1)),
            ("colours.red", Value::Whole(1)),
            ("map.left.anything", Value::Whole(1)),
        ]);
        let form = Form::new(&settings);
        let map = form.root().table("map", "{ }").expect("a table");
        let is_table = |name: &str| map.table(name, "{ table = \"input\" }").is_some();
        assert_eq!(["list", "text", "none"].map(is_table), [false, false, true]);
        map.section("left").leave();
        assert_eq!(
            told(&form.finish().expect_err("four problems")),
            [
                "map.list: should be a table like { table = \"input\" }, not a list",
                "map.text: should be a table like { table = \"input\" }, not \"input 0\"",
                "colours: is not known; known here: map",
                "mop: is not known; did you mean `map`?",
            ]
        );
    }

    /// Goal: units that stand elsewhere are told where they belong, and are not missing then.
    #[test]
    fn units_stand_in_their_table() {
        let face = || Value::Text("furnace".to_owned());
        for (key, says) in [
            ("north.face", "north: is not known; units stand under `unit`: write unit.north"),
            ("units.north.face", "units: is not known; units stand under `unit`: write unit.north"),
            ("unit", "unit: should be a table like unit.north.face = \"furnace\", not \"furnace\""),
            ("unit.north", "unit.north: should be a table like { face = \"furnace\" }, not \"furnace\""),
            ("seed", "unit: is missing: nothing to do; write it like unit.north.face = \"furnace\""),
        ] {
            let settings = Settings::from([(key, face())]);
            let form = Form::new(&settings);
            assert!(form.root().units(Some("nothing to do")).is_empty());
            let _ = form.root().text("seed");
            assert_eq!(told(&form.finish().expect_err("one problem")), [says]);
        }
        let settings = Settings::from([("unit.north.face", face())]);
        let form = Form::new(&settings);
        let units: Vec<String> = form.root().units(Some("nothing to do")).into_iter().map(|(name, _)| name).collect();
        assert_eq!(units, ["north"]);
    }

    /// Goal: a number may come as a whole one, and a whole one as a number that is whole.
    #[test]
    fn numbers_come_in_either_kind() {
        let settings = Settings::from([("a", Value::Whole(2)), ("b", Value::Number(3.0)), ("c", Value::Number(3.5))]);
        let form = Form::new(&settings);
        let root = form.root();
        assert_eq!(root.number("a", 0.0..=9.0), Some(2.0));
        assert_eq!(root.whole("b", 0..=9), Some(3));
        assert_eq!(root.whole("c", 0..=9), None);
        assert!(!form.is_sound());
    }

    /// Goal: lists are understood as the host flattens them, and as a single value.
    #[test]
    fn lists_are_flattened_or_single() {
        let settings = Settings::from([
            ("many.0", Value::Text("a".to_owned())),
            ("many.1", Value::Text("b".to_owned())),
            ("one", Value::Text("c".to_owned())),
        ]);
        let form = Form::new(&settings);
        assert_eq!(form.root().list("many").len(), 2);
        assert_eq!(form.root().list("one"), [Value::Text("c".to_owned())]);
        assert_eq!(form.finish(), Ok(()));
    }

    /// Goal: names are the same everywhere, and a key given twice is not silently dropped.
    #[test]
    fn names_and_repeats() {
        assert!(is_unit_name("north-door2") && is_point_name("north_door"));
        assert!(!is_unit_name("north_door") && !is_unit_name("2north"));
        assert!(!is_point_name("North") && !is_point_name("") && !is_point_name("a.b"));
        let settings = Settings::from([("a", Value::Whole(1)), ("a", Value::Whole(2))]);
        let form = Form::new(&settings);
        let _ = form.root().whole("a", 0..=9);
        assert_eq!(told(&form.finish().expect_err("twice")), ["a: is given twice"]);
    }
}
