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
    let mut found: Option<Range<usize>> = None;
    let mut around: Option<&DeValue<'_>> = None;
    // A place in a list is written `steps[3]` or `steps.3`.
    let key = key.replace('[', ".").replace(']', "");
    for part in key.split('.') {
        let inner = match around {
            None => entry(root.get_ref(), part),
            Some(DeValue::Table(table)) => entry(table, part),
            Some(DeValue::Array(items)) => {
                part.parse().ok().and_then(|at: usize| items.get(at)).map(|item| (item.span(), item.get_ref()))
            }
            Some(_) => None,
        };
        let Some((span, value)) = inner else { break };
        (found, around) = (Some(span), Some(value));
    }
    found.map(|span| line_at(text, span.start))
}

/// The name and the value of an entry of a table.
fn entry<'t, 'i>(table: &'t DeTable<'i>, part: &str) -> Option<(Range<usize>, &'t DeValue<'i>)> {
    let (name, value) = table.iter().find(|(name, _)| name.get_ref() == part)?;
    Some((name.span(), value.get_ref()))
}

/// The line, from 1, of a place in a text.
pub(super) fn line_at(text: &str, at: usize) -> usize {
    text[..at.min(text.len())].matches('\n').count() + 1
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

    #[test]
    fn a_place_in_a_list_is_found_too() {
        let text =
            "[recipe.irons]\nsteel = \"O1\"\nsteps = [\n  { step = \"purge\" },\n  { step = \"soak\",\n    at = \"x\" },\n]\n";
        assert_eq!(line_in(text, "recipe.irons.steps"), Some(3));
        assert_eq!(line_in(text, "recipe.irons.steps[0].hold"), Some(4), "a missing key is shown at its step");
        assert_eq!(line_in(text, "recipe.irons.steps[1].at"), Some(6));
        assert_eq!(line_in(text, "recipe.irons.steps.1.step"), Some(5));
        assert_eq!(line_in(text, "recipe.irons.steps[7]"), Some(3));
        let tables = "[[unit]]\nname = \"a\"\n[[unit]]\nname = \"b\"\n";
        assert_eq!(line_in(tables, "unit[1].name"), Some(4));
    }
}
