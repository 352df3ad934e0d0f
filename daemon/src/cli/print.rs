//! What goes to standard output and standard error: a reader that has gone ends a command quietly, a full disk ends it in words.

use std::fmt::Display;
use std::io::{ErrorKind, Write, stderr, stdout};

use serde_json::json;

use crate::exit::{Ended, Exit};

/// One line, or several, to standard output.
///
/// # Errors
/// [`Ended`] without words when nobody reads any more (`hearthward watch | head`), with words when it cannot be written.
pub(super) fn line(text: impl Display) -> Result<(), Ended> {
    let mut out = stdout().lock();
    writeln!(out, "{text}").and_then(|()| out.flush()).map_err(|error| match error.kind() {
        ErrorKind::BrokenPipe => Ended::quietly(),
        _ => {
            Ended::new(Exit::Failed, format!("standard output cannot be written: {error}; free space there, or write elsewhere"))
        }
    })
}

/// The last words of a command that did not do what was asked. Where even they cannot be written, the exit code remains.
pub(super) fn last_words(ended: &Ended, as_json: bool) {
    if ended.words.is_empty() {
        return;
    }
    let words = if as_json {
        json!({ "error": ended.words, "reason": ended.exit.word(), "exit": ended.exit as i32 }).to_string()
    } else {
        ended.words.clone()
    };
    let _ = writeln!(stderr(), "{words}");
}
