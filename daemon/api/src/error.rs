//! What a client is told when something does not work.
//!
//! Errors flow in one direction. A domain refusal ("the door is open") is a *value* of the core; it becomes an error only here,
//! with the core's own sentence. A request that cannot be understood is answered here and never reaches the core. Trouble of this
//! service (the disk, the core's inbox) is told to the client in words that help it, without the system's text, which goes to the log.
//!
//! Every status carries `google.rpc.ErrorInfo`: the reason is what programs act on, the sentence is for people. Reasons are
//! part of the contract; sentences are not.

use std::collections::HashMap;
use std::time::Duration;

use hearthward_equipment::nearest;
use hearthward_journal::{ReadError, Reader};
use tonic::{Code, Status};
use tonic_types::{ErrorDetails, StatusExt};

/// The domain of every reason.
pub(crate) const DOMAIN: &str = hearthward_proto::PACKAGE;

/// When a client may try again after "too many at once": long enough for a few ticks.
const RETRY_AFTER: Duration = Duration::from_millis(500);

/// Characters of what a client sent that are told back to it. A status travels in the head of an answer, which clients bound at
/// 16 KiB, and it holds the text three times, escaped.
const ECHOED: usize = 300;

/// Known names in one sentence; a person reads no more.
const LISTED: usize = 12;

/// An error before it becomes a status.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(crate) enum ApiError {
    /// A field holds what cannot be taken.
    Field { field: String, why: String },
    /// A name that nothing has.
    Unknown { what: &'static str, name: String, hint: String },
    /// The shop refuses, in its own words.
    Refused(String),
    /// The same id was used for another command.
    RequestIdReused,
    /// Too much waits already.
    Busy,
    /// The answer is not there yet; the command goes on.
    AnswerPending,
    /// The service ends.
    Ending,
    /// The events asked for are no longer kept, or not yet there.
    Cursor { too_old: bool, asked: u64, oldest: u64, last: u64, journal_id: String },
    /// The numbers belong to another journal.
    OtherJournal { asked: String, journal_id: String },
    /// The disk or the file fails.
    Unreadable,
}

impl ApiError {
    /// A field that cannot be taken.
    pub(crate) fn field(field: impl Into<String>, why: impl Into<String>) -> Self {
        Self::Field { field: field.into(), why: shortened(why.into()) }
    }

    /// A name that nothing has, with the one that was probably meant, or those that there are.
    pub(crate) fn unknown(what: &'static str, name: impl Into<String>, known: impl IntoIterator<Item = impl ToString>) -> Self {
        let name = name.into();
        let known: Vec<String> = known.into_iter().map(|one| one.to_string()).collect();
        let hint = match nearest(&name, known.iter().map(String::as_str)) {
            Some(meant) => format!("; did you mean {meant:?}?"),
            None if known.is_empty() => format!("; no {what} is configured"),
            None => {
                let more = known.len().saturating_sub(LISTED);
                let more = if more > 0 { format!(" and {more} more") } else { String::new() };
                format!("; there are: {}{more}", known[..known.len().min(LISTED)].join(", "))
            }
        };
        Self::Unknown { what, name: shortened(name), hint }
    }

    /// What reading the journal came to. The system's text goes to the log.
    pub(crate) fn of_read(error: &ReadError, asked: u64, reader: &Reader) -> Self {
        match error {
            ReadError::TooOld { oldest } => Self::Cursor {
                too_old: true,
                asked,
                oldest: *oldest,
                last: reader.last_seq(),
                journal_id: reader.journal_id().into(),
            },
            other => {
                tracing::error!(error = %other, "events cannot be read");
                Self::Unreadable
            }
        }
    }

    fn code(&self) -> Code {
        match self {
            Self::Field { .. } => Code::InvalidArgument,
            Self::Unknown { .. } => Code::NotFound,
            Self::Refused(_) | Self::OtherJournal { .. } => Code::FailedPrecondition,
            Self::RequestIdReused => Code::AlreadyExists,
            Self::Busy => Code::ResourceExhausted,
            Self::AnswerPending => Code::DeadlineExceeded,
            Self::Ending | Self::Unreadable => Code::Unavailable,
            Self::Cursor { .. } => Code::OutOfRange,
        }
    }

    fn reason(&self) -> &'static str {
        match self {
            Self::Field { .. } => "BAD_FIELD",
            Self::Unknown { .. } => "UNKNOWN_NAME",
            Self::Refused(_) => "REFUSED",
            Self::RequestIdReused => "REQUEST_ID_REUSED",
            Self::Busy => "TOO_MANY_COMMANDS",
            Self::AnswerPending => "ANSWER_PENDING",
            Self::Ending => "ENDING",
            Self::Cursor { too_old: true, .. } => "CURSOR_TOO_OLD",
            Self::Cursor { too_old: false, .. } => "CURSOR_AHEAD",
            Self::OtherJournal { .. } => "OTHER_JOURNAL",
            Self::Unreadable => "RECORD_UNREADABLE",
        }
    }

    fn sentence(&self) -> String {
        match self {
            Self::Field { field, why } => format!("{field} {why}"),
            Self::Unknown { what, name, hint } => format!("there is no {what} named {name:?}{hint}"),
            Self::Refused(why) => why.clone(),
            Self::RequestIdReused => "request_id was used for another command; give each command an id of its own".into(),
            Self::Busy => "the shop has too many commands waiting; try again in a moment".into(),
            Self::AnswerPending => {
                "whether it was accepted is not on record yet; a stop acts all the same. The record may be failing, which `status` \
                 shows; a program may ask again with the same request_id"
                    .into()
            }
            Self::Ending => "the service is ending".into(),
            Self::Cursor { too_old: true, asked, oldest, .. } => {
                format!("event {asked} is no longer kept; the oldest is {oldest}")
            }
            Self::Cursor { too_old: false, asked, last, .. } => {
                format!("the journal does not reach event {asked}; the newest is {last}")
            }
            Self::OtherJournal { asked, journal_id } => {
                format!("the numbers belong to journal {asked}, and this is journal {journal_id}")
            }
            Self::Unreadable => "the record cannot be read at present; the service's log says why".into(),
        }
    }

    fn metadata(&self) -> HashMap<String, String> {
        let pairs: Vec<(&str, String)> = match self {
            Self::Field { field, .. } => vec![("field", field.clone())],
            Self::Unknown { what, name, .. } => vec![("what", (*what).into()), ("name", name.clone())],
            Self::Cursor { asked, oldest, last, journal_id, .. } => vec![
                ("asked_seq", asked.to_string()),
                ("oldest_seq", oldest.to_string()),
                ("last_seq", last.to_string()),
                ("journal_id", journal_id.clone()),
            ],
            Self::OtherJournal { journal_id, .. } => vec![("journal_id", journal_id.clone())],
            _ => Vec::new(),
        };
        pairs.into_iter().map(|(key, value)| (key.into(), value)).collect()
    }
}

impl From<ApiError> for Status {
    fn from(error: ApiError) -> Self {
        let mut details = ErrorDetails::with_error_info(error.reason(), DOMAIN, error.metadata());
        match &error {
            ApiError::Field { field, why } => {
                details.add_bad_request_violation(field, why);
            }
            ApiError::Busy => {
                details.set_retry_info(Some(RETRY_AFTER));
            }
            _ => {}
        }
        Self::with_error_details(error.code(), error.sentence(), details)
    }
}

/// A text that may hold what a client sent, no longer than fits into a status: its beginning and its end.
fn shortened(text: String) -> String {
    let letters: Vec<char> = text.chars().collect();
    if letters.len() <= ECHOED {
        return text;
    }
    let (head, tail) = (&letters[..ECHOED / 2], &letters[letters.len() - ECHOED / 2..]);
    head.iter().chain(&[' ', '…', ' ']).chain(tail).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    /// What clients take as the head of an answer, by the usual setting of HTTP/2 clients.
    const HEAD_BYTES: usize = 16 * 1024;

    #[test]
    fn however_much_was_sent_the_refusal_arrives() {
        for sent in ["x".repeat(100_000), "\u{1F525}".repeat(100_000)] {
            let field = ApiError::field("load", format!("{sent:?} is not a name: use a-z"));
            assert!(field.sentence().starts_with("load \"") && field.sentence().ends_with(" is not a name: use a-z"));
            for error in [field, ApiError::unknown("furnace", sent.clone(), ["north"])] {
                let status = Status::from(error);
                // As HTTP carries it: each byte of a letter outside ASCII as three, the details in base 64.
                let letters = |letter: char| if letter.is_ascii() { 1 } else { 3 * letter.len_utf8() };
                let message: usize = status.message().chars().map(letters).sum();
                assert!(message + status.details().len() * 4 / 3 < HEAD_BYTES, "{message} and {}", status.details().len());
            }
        }
    }

    #[test]
    fn of_many_known_names_some_are_listed() {
        let known: Vec<String> = (0..20).map(|place| format!("io/board.point-{place}")).collect();
        let words = ApiError::unknown("point", "x", &known).sentence();
        assert!(words.contains("io/board.point-11 and 8 more") && !words.contains("point-12"), "{words}");
        assert!(ApiError::unknown("recipe", "x", [""; 0]).sentence().ends_with("no recipe is configured"));
    }

    #[test]
    fn every_error_says_its_reason_as_programs_expect_it() {
        let cursor = |too_old| ApiError::Cursor { too_old, asked: 1, oldest: 2, last: 3, journal_id: "j".into() };
        let all = [
            ApiError::field("parts", "must be 1 to 1000"),
            ApiError::unknown("furnace", "west", ["north"]),
            ApiError::Refused("The door is open.".into()),
            ApiError::RequestIdReused,
            ApiError::Busy,
            ApiError::AnswerPending,
            ApiError::Ending,
            cursor(true),
            cursor(false),
            ApiError::OtherJournal { asked: "a".into(), journal_id: "b".into() },
            ApiError::Unreadable,
        ];
        for error in all {
            let status = Status::from(error);
            let details = status.get_error_details();
            let info = details.error_info().expect("every error has its ErrorInfo");
            assert_eq!(info.domain, DOMAIN);
            assert!(info.reason.len() <= 63 && info.reason.chars().all(|c| c.is_ascii_uppercase() || c == '_'));
            assert!(!status.message().is_empty());
            assert_eq!(status.code() == Code::InvalidArgument, details.bad_request().is_some());
            assert_eq!(status.code() == Code::ResourceExhausted, details.retry_info().is_some());
        }
    }
}
