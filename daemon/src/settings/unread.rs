//! Why a file is not TOML, in words that lead to the slip of the pen.

use std::path::Path;

use toml::de::DeTable;

use super::place::line_at;

/// Why the file at `path` cannot be read as TOML; none where that is not what is wrong with it.
pub(super) fn why(path: &Path) -> Option<String> {
    why_in(&std::fs::read_to_string(path).ok()?)
}

fn why_in(text: &str) -> Option<String> {
    let error = DeTable::parse(text).err()?;
    let at = error.span().map_or(0, |span| span.start);
    let message = error.message();
    // What is read after a string without an end is told of places where nothing is wrong.
    if let Some((from, quote)) = unclosed(text)
        && line_at(text, from) <= line_at(text, at)
        && !message.starts_with("missing opening quote")
    {
        let (line, column) = (line_at(text, from), column_at(text, from));
        let mend = if quote.len() > 1 { "" } else { " in its line; look for a quote that is missing there or before it" };
        return Some(format!("line {line}: the text that begins with {quote} in column {column} has no end{mend}"));
    }
    let line = line_at(text, at);
    let written = text.lines().nth(line - 1).unwrap_or_default();
    // Where a value begins, such a letter was meant as a quote; within a text it may well stand.
    let begins = |at: usize| written[..at].trim_end().ends_with(['=', '[', ',']);
    if let Some((_, quote)) = written.char_indices().find(|(at, letter)| "“”„«»‘’".contains(*letter) && begins(*at)) {
        return Some(format!(
            "line {line}: a text stands in straight quotes, like \"1060 C\"; here is {quote}, in `{}`",
            written.trim()
        ));
    }
    // What the reader would have liked better is told in words of the format's grammar.
    let message = message.split(", expected literal string").next().unwrap_or(message);
    Some(format!("line {line}, column {}: {message}, in `{}`", column_at(text, at), written.trim()))
}

fn column_at(text: &str, at: usize) -> usize {
    let before = &text[..at.min(text.len())];
    before.chars().rev().take_while(|letter| *letter != '\n').count() + 1
}

/// Where the first text begins that its line, or of three quotes the file, does not end; and with which quotes.
fn unclosed(text: &str) -> Option<(usize, &str)> {
    let mut at = 0;
    while let Some(first) = text[at..].chars().next() {
        let rest = &text[at..];
        at = match first {
            '#' => rest.find('\n').map_or(text.len(), |end| at + end),
            '"' | '\'' => {
                let quote = if rest.starts_with("\"\"\"") || rest.starts_with("'''") { &rest[..3] } else { &rest[..1] };
                match end_of(&rest[quote.len()..], quote) {
                    Some(end) => at + quote.len() + end,
                    None => return Some((at, quote)),
                }
            }
            other => at + other.len_utf8(),
        };
    }
    None
}

/// Behind the closing quotes of a text that has begun.
fn end_of(rest: &str, quote: &str) -> Option<usize> {
    let mut skip = false;
    for (at, letter) in rest.char_indices() {
        match letter {
            _ if std::mem::take(&mut skip) => {}
            '\n' if quote.len() == 1 => return None,
            '\\' if quote.starts_with('"') => skip = true,
            _ if rest[at..].starts_with(quote) => return Some(at + quote.len()),
            _ => {}
        }
    }
    None
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_missing_quote_is_shown_where_its_text_began() {
        for (text, begins) in [
            (
                "[shop]\nname = \"Alder\nscan = \"1 s\"\n",
                "line 2: the text that begins with \" in column 8 has no end in its line",
            ),
            (
                "steps = [\n  { step = \"purge },\n  { step = \"soak\" },\n]\n",
                "line 2: the text that begins with \" in column 12 ",
            ),
            ("a = [\"40 C, \"70 C\"]\n", "line 1: the text that begins with \" in column 18 has no end in its line"),
            ("a = 'x\n", "line 1: the text that begins with ' in column 5 "),
            ("a = 1\nb = \"\"\"x\n[api]\n", "line 2: the text that begins with \"\"\" in column 5 has no end"),
        ] {
            let said = why_in(text).expect("it is no TOML");
            assert!(said.starts_with(begins), "{text:?}: {said}");
        }
    }

    #[test]
    fn other_slips_are_shown_where_the_reader_stopped() {
        assert_eq!(why_in("name = 12 L\n").as_deref(), Some("line 1, column 8: string values must be quoted, in `name = 12 L`"));
        let curly =
            "line 1: a text stands in straight quotes, like \"1060 C\"; here is \u{201c}, in `limit = \u{201c}1060 C\u{201d}`";
        assert_eq!(why_in("limit = \u{201c}1060 C\u{201d}\n").as_deref(), Some(curly));
        assert!(why_in("[a]\nname = Alder\"\n").is_some_and(|said| said.starts_with("line 2, column 8: missing opening quote")));
        let sound = "a = \"it's \\\" # no comment\" # it's one\nb = '\\'\nc = \"\"\"two\n\"lines\\\"\"\"\"\n";
        assert_eq!((why_in(sound), unclosed(sound)), (None, None));
    }
}
