//! Finds the line of a key in a TOML file.

use std::ops::Range;

use toml::de::{DeTable, DeValue};

/// The line, from 1, on which `key` (dotted) or the nearest table around it is written in the file at `path`.
///
/// None when the file cannot be read as TOML or does not hold even the first part of the key: the problem is then shown without a line.
pub(super) fn line_of(path: &str, key: &str) -> Option<usize> {
    let text = std::fs::read_to_string(path).ok()?;
    line_in(&text, key)
}

fn line_in(text: &str, key: &str) -> Option<usize> {
    let root = DeTable::parse(text).ok()?;
    let mut table = root.get_ref();
    let mut found: Option<Range<usize>> = None;
    for part in key.split('.') {
        let Some((name, value)) = table.iter().find(|(name, _)| name.get_ref() == part) else { break };
        found = Some(name.span());
        match value.get_ref() {
            DeValue::Table(inner) => table = inner,
            _ => break,
        }
    }
    found.map(|span| text[..span.start].matches('\n').count() + 1)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_key_is_found_in_its_table() {
        let text = "[shop]\nname = \"x\"\n\n[furnace.north]\nlimit = \"1900\"\npurge = { flow = \"8 L/min\" }\n";
        assert_eq!(line_in(text, "furnace.north.limit"), Some(5));
        assert_eq!(line_in(text, "furnace.north.purge.flow"), Some(6));
        assert_eq!(line_in(text, "furnace.north.rated"), Some(4), "a missing key is shown at its table");
        assert_eq!(line_in(text, "tank.oil"), None);
    }
}
