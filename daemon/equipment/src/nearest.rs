//! Which known name a mistyped one was meant to be.

/// The known name nearest to what was typed, if it is near enough to be meant: one edit, and one more for each four letters.
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
    use super::*;

    #[test]
    fn edits_are_counted_as_levenshtein_did() {
        // From memory, the usual example: k→s, e→i, and a g.
        assert_eq!(edits("kitten", "sitting"), 3);
        assert_eq!((edits("", "abc"), edits("abc", ""), edits("öl", "oil")), (3, 3, 2));
    }

    #[test]
    fn only_what_is_near_is_meant() {
        let known = ["north", "south", "west"];
        assert_eq!(nearest("nort", known), Some("north"));
        assert_eq!(nearest("North", known), Some("north"));
        assert_eq!(nearest("kiln", known), None);
        assert_eq!(nearest("north", []), None);
    }
}
