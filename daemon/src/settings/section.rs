//! Reads one table of the configuration and remembers what was asked for, so that whatever is left over is an unknown key.

use std::cell::RefCell;
use std::collections::BTreeMap;

use config::{Value, ValueKind};
use hearthward_equipment::{Name, nearest};

use super::overrides;
use super::problem::Problems;

/// One table on the way from text to checked values.
///
/// Every `take` of a key that is missing or wrong notes a problem and yields nothing, so that one pass finds all of them.
pub(super) struct Section<'p> {
    path: String,
    entries: BTreeMap<String, Value>,
    known: RefCell<Vec<&'static str>>,
    home: String,
    problems: &'p Problems,
}

impl<'p> Section<'p> {
    /// The whole configuration as one table.
    pub(super) fn root(values: impl IntoIterator<Item = (String, Value)>, problems: &'p Problems) -> Self {
        let entries: BTreeMap<_, _> = values.into_iter().collect();
        // What is said over a text without a file is not where the text was written.
        let home = place(entries.values()).filter(|place| !overrides::is_over(place)).unwrap_or_default().to_owned();
        Self { path: String::new(), entries, known: RefCell::default(), home, problems }
    }

    fn new(path: String, value: &Value, table: &config::Map<String, Value>, home: &str, problems: &'p Problems) -> Self {
        let entries: BTreeMap<String, Value> = table.iter().map(|(key, value)| (key.clone(), value.clone())).collect();
        let home = origin(value).unwrap_or(home).to_owned();
        Self { path, entries, known: RefCell::default(), home, problems }
    }

    /// The dotted key of an entry of this table.
    pub(super) fn key(&self, entry: &str) -> String {
        if self.path.is_empty() { entry.to_owned() } else { format!("{}.{entry}", self.path) }
    }

    /// Where this table was written: the file or other source.
    pub(super) fn home(&self) -> &str {
        &self.home
    }

    /// Notes a problem with an entry.
    pub(super) fn problem(&self, entry: &str, message: impl Into<String>) {
        let source = self.entries.get(entry).and_then(origin).unwrap_or(&self.home);
        let key = if entry.is_empty() { self.path.clone() } else { self.key(entry) };
        self.problems.note(source, key, message);
    }

    /// Whether the entry is written at all.
    pub(super) fn has(&self, entry: &'static str) -> bool {
        self.peek(entry).is_some()
    }

    fn peek(&self, entry: &'static str) -> Option<&Value> {
        let mut known = self.known.borrow_mut();
        if !known.contains(&entry) {
            known.push(entry);
        }
        self.entries.get(entry)
    }

    /// Says that an entry is missing that has to be there; `mend` shows how it is written.
    ///
    /// Nothing when its key has a problem already: what is written wrongly is not missing.
    pub(super) fn missing(&self, entry: &'static str, mend: &str) {
        if self.has(entry) && self.problems.tells_of(&self.key(entry)) {
            return;
        }
        self.lacks(entry, format!("is missing; write it like {mend}"));
    }

    /// Notes that something is not written which has to be; nothing while a file that may hold it could not be read.
    pub(super) fn lacks(&self, entry: &str, message: impl Into<String>) {
        if !self.problems.is_partial() {
            self.problem(entry, message);
        }
    }

    /// A text.
    pub(super) fn text(&self, entry: &'static str) -> Option<String> {
        let value = self.peek(entry)?;
        match &value.kind {
            ValueKind::String(text) => Some(text.clone()),
            _ => {
                self.problem(entry, format!("is {}, but a text in quotes is needed", said(value)));
                None
            }
        }
    }

    /// A text that reads as something: a quantity, a name, an address, a word of a list.
    pub(super) fn read<T, E: ToString>(&self, entry: &'static str, read: impl Fn(&str) -> Result<T, E>) -> Option<T> {
        let value = self.peek(entry)?;
        let text = match &value.kind {
            ValueKind::String(text) => text.clone(),
            // A bare number reaches the reader too: its own words say best which units it would take.
            ValueKind::I64(_) | ValueKind::Float(_) | ValueKind::I128(_) | ValueKind::U64(_) | ValueKind::U128(_) => {
                value.clone().into_string().ok()?
            }
            _ => {
                self.problem(entry, format!("is {}, but a text in quotes is needed", said(value)));
                return None;
            }
        };
        match read(&text) {
            Ok(read) => Some(read),
            Err(words) => {
                self.problem(entry, words.to_string());
                None
            }
        }
    }

    /// As [`Section::read`], but the entry has to be there.
    pub(super) fn need<T, E: ToString>(&self, entry: &'static str, mend: &str, read: impl Fn(&str) -> Result<T, E>) -> Option<T> {
        if !self.has(entry) {
            self.missing(entry, mend);
            return None;
        }
        self.read(entry, read)
    }

    /// A plain number within a range.
    pub(super) fn number(&self, entry: &'static str, least: f64, most: f64) -> Option<f64> {
        let value = self.peek(entry)?;
        match value.clone().into_float() {
            Ok(number) if (least..=most).contains(&number) => Some(number),
            _ => {
                self.problem(entry, format!("is {}, but a number from {least} to {most} is needed", said(value)));
                None
            }
        }
    }

    /// A list of texts; empty when not written.
    pub(super) fn texts(&self, entry: &'static str) -> Vec<String> {
        let Some(value) = self.peek(entry) else { return Vec::new() };
        let text = |item: &Value| if let ValueKind::String(text) = &item.kind { Some(text.clone()) } else { None };
        let list = if let ValueKind::Array(items) = &value.kind { items.iter().map(text).collect() } else { None };
        list.unwrap_or_else(|| {
            self.problem(entry, format!("is {}, but a list of texts is needed", said(value)));
            Vec::new()
        })
    }

    /// The same for names: one that stands without a list is noted, and taken as it is plainly meant.
    pub(super) fn listed(&self, entry: &'static str) -> Vec<String> {
        match self.peek(entry).map(|value| &value.kind) {
            Some(ValueKind::String(text)) => {
                self.problem(entry, format!("is {text:?}, but a list is needed; write it like {entry} = [{text:?}]"));
                vec![text.clone()]
            }
            _ => self.texts(entry),
        }
    }

    /// A table within this one.
    pub(super) fn section(&self, entry: &'static str) -> Option<Self> {
        let value = self.peek(entry)?;
        self.as_section(self.key(entry), value, entry)
    }

    fn as_section(&self, path: String, value: &Value, entry: &str) -> Option<Self> {
        if let ValueKind::Table(table) = &value.kind {
            return Some(Self::new(path, value, table, &self.home, self.problems));
        }
        self.problem(entry, format!("is {}, but a table is needed", said(value)));
        None
    }

    /// All tables of a kind by name, such as every `[furnace.NAME]`.
    pub(super) fn named(&self, entry: &'static str) -> Vec<(Name, Self)> {
        let Some(parent) = self.section(entry) else {
            if self.has(entry) {
                self.problems.read_in_part();
            }
            return Vec::new();
        };
        // The keys of one thing, written where the things are: what its tables are cannot be told from names.
        if let Some((text, value)) = parent.entries.iter().find(|(_, value)| !matches!(value.kind, ValueKind::Table(_))) {
            let like = format!("[{}.{}]", self.key(entry), example(entry));
            self.problem(
                entry,
                format!("needs a name, like {like}: `{text}` is {}, where names with tables are needed", said(value)),
            );
            self.problems.read_in_part();
            return Vec::new();
        }
        let mut found = Vec::new();
        for (text, section) in parent.tables() {
            match Name::new(text.clone()) {
                Ok(name) => found.push((name, section)),
                Err(words) => parent.problem(&text, words.to_string()),
            }
        }
        found
    }

    /// All tables within this one, by their keys as written.
    pub(super) fn tables(&self) -> Vec<(String, Self)> {
        let tables = self.entries.iter();
        tables.filter_map(|(text, value)| Some((text.clone(), self.as_section(self.key(text), value, text)?))).collect()
    }

    /// The listed names of all tables within this one, whatever else is wrong with them.
    pub(super) fn listed_within(&self, entry: &'static str) -> Vec<String> {
        let tables = self.entries.iter().filter(|(_, value)| matches!(value.kind, ValueKind::Table(_)));
        tables
            .filter_map(|(text, value)| self.as_section(self.key(text), value, text))
            .flat_map(|table| table.listed(entry))
            .collect()
    }

    /// All tables of a list of tables.
    pub(super) fn list(&self, entry: &'static str) -> Vec<Self> {
        let Some(value) = self.peek(entry) else { return Vec::new() };
        let ValueKind::Array(items) = &value.kind else {
            self.problem(entry, format!("is {}, but a list of tables is needed", said(value)));
            return Vec::new();
        };
        let place = |at: usize| format!("{}[{at}]", self.key(entry));
        items.iter().enumerate().filter_map(|(at, item)| self.as_section(place(at), item, entry)).collect()
    }

    /// Every scalar of a nested table, with dots between the tables: settings that the service itself does not read.
    pub(super) fn flattened(&self, entry: &'static str) -> Vec<(String, Value)> {
        let mut flat = Vec::new();
        if let Some(section) = self.section(entry) {
            for (key, value) in section.entries {
                flatten(key, value, &mut flat);
            }
        }
        flat
    }

    /// Says which entries nobody asked for.
    pub(super) fn finish(self) {
        for entry in self.entries.keys() {
            let known = self.known.borrow();
            if known.iter().any(|name| name == entry) {
                continue;
            }
            let hint = match nearest(entry, known.iter().copied()) {
                Some(name) => format!("; did you mean `{name}`?"),
                None => format!("; known here: {}", known.join(", ")),
            };
            self.problem(entry, format!("is not a key of this table{hint}"));
        }
    }
}

/// A name that a thing of this kind might have.
fn example(kind: &str) -> &'static str {
    match kind {
        "line" | "driver" => "loops",
        "supply" => "argon",
        "tank" => "oil",
        "recipe" => "irons",
        "rule" => "hood",
        _ => "north",
    }
}

/// A text that says something.
pub(super) fn words(text: &str) -> Result<String, String> {
    if text.trim().is_empty() { Err("is empty; write what people call it".to_owned()) } else { Ok(text.to_owned()) }
}

/// Where a value was written. A table has no place of its own; it has that of what is in it.
fn origin(value: &Value) -> Option<&str> {
    value.origin().or_else(|| match &value.kind {
        ValueKind::Table(table) => place(table.values()),
        ValueKind::Array(items) => place(items),
        _ => None,
    })
}

/// Where the value of a dotted key was written; nothing for a table, which may be written in several places.
pub(super) fn written<'v>(values: &'v BTreeMap<String, Value>, key: &str) -> Option<&'v str> {
    // A place in a list is written `steps[3]`.
    let key = key.replace('[', ".").replace(']', "");
    let mut parts = key.split('.');
    let mut value = values.get(parts.next()?)?;
    for part in parts {
        value = match &value.kind {
            ValueKind::Table(table) => table.get(part)?,
            ValueKind::Array(items) => items.get(part.parse::<usize>().ok()?)?,
            _ => return None,
        };
    }
    if matches!(value.kind, ValueKind::Table(_)) { None } else { origin(value) }
}

/// Where several values were written: rather what a file says there than what was said over it, and the same in each run.
fn place<'v>(values: impl IntoIterator<Item = &'v Value>) -> Option<&'v str> {
    values.into_iter().filter_map(origin).min_by_key(|place| (overrides::is_over(place), *place))
}

/// Every scalar of a value under its dotted key; list entries by their place.
pub(super) fn flatten(key: String, value: Value, into: &mut Vec<(String, Value)>) {
    match value.kind {
        ValueKind::Table(table) => {
            let sorted: BTreeMap<_, _> = table.into_iter().collect();
            sorted.into_iter().for_each(|(inner, value)| flatten(format!("{key}.{inner}"), value, into));
        }
        ValueKind::Array(items) => {
            items.into_iter().enumerate().for_each(|(at, value)| flatten(format!("{key}.{at}"), value, into));
        }
        _ => into.push((key, value)),
    }
}

fn said(value: &Value) -> String {
    match &value.kind {
        ValueKind::Table(_) => "a table".to_owned(),
        ValueKind::Array(_) => "a list".to_owned(),
        ValueKind::Nil => "nothing".to_owned(),
        ValueKind::String(text) => format!("{text:?}"),
        _ => value.clone().into_string().unwrap_or_else(|_| "something else".to_owned()),
    }
}
