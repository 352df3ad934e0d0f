//! The word that a mistyped one was meant to be.

/// The known word that takes the fewest single edits, if few enough that it was likely meant.
#[must_use]
pub fn nearest<'a>(typed: &str, known: impl IntoIterator<Item = &'a str>) -> Option<&'a str> {
    let most = 1 + typed.chars().count() / 4;
    let near = known.into_iter().map(|name| (edits(name, typed), name)).filter(|(edits, _)| *edits <= most);
    near.min().map(|(_, name)| name)
}

/// Number of single edits from one word to another (Levenshtein).
fn edits(from: &str, to: &str) -> usize {
    let to: Vec<char> = to.chars().collect();
    let mut row: Vec<usize> = (0..=to.len()).collect();
    for (i, a) in from.chars().enumerate() {
        let mut diagonal = row[0];
        row[0] = i + 1;
        for (j, b) in to.iter().enumerate() {
            let replaced = diagonal + usize::from(a != *b);
            diagonal = row[j + 1];
            row[j + 1] = replaced.min(row[j] + 1).min(diagonal + 1);
        }
    }
    row[to.len()]
}

#[cfg(test)]
mod tests {
    use super::nearest;

    /// Goal: a slip finds its word, another word finds none.
    #[test]
    fn a_slip_finds_its_word() {
        let known = ["temperature", "set_point", "unit"];
        assert_eq!(nearest("tempreture", known), Some("temperature"));
        assert_eq!(nearest("units", known), Some("unit"));
        assert_eq!(nearest("door", known), None);
    }
}
