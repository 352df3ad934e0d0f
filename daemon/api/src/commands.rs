//! Commands: each is carried out once, however often and over however many connections it is sent.

use std::collections::BTreeMap;
use std::collections::btree_map::Entry;
use std::sync::{Arc, Mutex, MutexGuard, PoisonError};
use std::time::Duration;

use hearthward_journal::Reader;
use hearthward_supervise::request::{Answer, Person, Request};
use prost::Message;
use tokio::sync::watch;

use crate::door::{Command, NotAsked, ShopDoor};
use crate::error::ApiError;

/// Commands that may wait for their answers at one time: four times the core's own inbox.
const PENDING: usize = 256;

/// How long a client waits at most. An answer needs a tick and a commit; a record that fails needs as long as it takes.
const ANSWER_WAIT: Duration = Duration::from_secs(10);

/// The longest id that is taken.
const REQUEST_ID_CHARS: usize = 64;

/// The longest name of a person that is taken.
const PERSON_CHARS: usize = 100;

/// The way of every command to the core.
#[derive(Clone)]
pub(crate) struct Commands {
    shop: Arc<dyn ShopDoor>,
    reader: Reader,
    pending: Arc<Mutex<BTreeMap<String, Pending>>>,
}

/// A command that waits for its answer; whoever sends it again waits with it.
struct Pending {
    fingerprint: u64,
    outcome: watch::Receiver<Option<Result<Answer, ApiError>>>,
}

/// What every command carries beside what it asks.
pub(crate) struct Envelope {
    person: Person,
    request_id: String,
    fingerprint: u64,
}

impl Envelope {
    /// Checks what every command carries. `message` is the whole request, for telling a repeat from a mistake.
    pub(crate) fn new(method: &str, message: &impl Message, request_id: &str, person: &str) -> Result<Self, ApiError> {
        let printable = |text: &str| !text.is_empty() && !text.chars().any(char::is_control);
        if !printable(request_id) || request_id.chars().count() > REQUEST_ID_CHARS {
            return Err(ApiError::field(
                "request_id",
                format!("must be 1 to {REQUEST_ID_CHARS} printable characters, best a UUID"),
            ));
        }
        if !printable(person.trim()) || person.chars().count() > PERSON_CHARS {
            return Err(ApiError::field("person", format!("must say who acts, in 1 to {PERSON_CHARS} printable characters")));
        }
        Ok(Self {
            person: Person { name: person.trim().into() },
            request_id: request_id.into(),
            fingerprint: fingerprint(method, &message.encode_to_vec()),
        })
    }
}

impl Commands {
    pub(crate) fn new(shop: Arc<dyn ShopDoor>, reader: Reader) -> Self {
        Self { shop, reader, pending: Arc::default() }
    }

    /// Carries a command out, or finds the answer that it got before. Gives the sentence of what happens next.
    ///
    /// The work is done by a task of its own: a client that hangs up ends its waiting, not the command.
    pub(crate) async fn run(&self, envelope: Envelope, request: Request) -> Result<String, ApiError> {
        let mut outcome = self.enter(envelope, request)?;
        let answered = tokio::time::timeout(ANSWER_WAIT, outcome.wait_for(Option::is_some)).await;
        let answer = match answered {
            Err(_) => return Err(ApiError::AnswerPending),
            // The task ended without an answer, which only a panic or the end of the runtime can do.
            Ok(Err(_)) => return Err(ApiError::Ending),
            Ok(Ok(answer)) => answer.clone(),
        };
        match answer {
            Some(Ok(Answer::Done(text))) => Ok(text),
            Some(Ok(Answer::Refused(why))) => Err(ApiError::Refused(why)),
            Some(Err(error)) => Err(error),
            None => unreachable!("waited for an outcome"),
        }
    }

    /// Joins a command of the same id that waits already, or begins it.
    fn enter(&self, envelope: Envelope, request: Request) -> Result<watch::Receiver<Option<Result<Answer, ApiError>>>, ApiError> {
        let mut pending = self.pending();
        let waiting = pending.len();
        let place = match pending.entry(envelope.request_id.clone()) {
            Entry::Occupied(known) if known.get().fingerprint == envelope.fingerprint => return Ok(known.get().outcome.clone()),
            Entry::Occupied(_) => return Err(ApiError::RequestIdReused),
            Entry::Vacant(_) if waiting >= PENDING => return Err(ApiError::Busy),
            Entry::Vacant(place) => place,
        };
        let (say, outcome) = watch::channel(None);
        place.insert(Pending { fingerprint: envelope.fingerprint, outcome: outcome.clone() });
        drop(pending);
        let commands = self.clone();
        tokio::spawn(async move {
            // Takes the entry out however this ends, so that a panic does not block the id.
            let _leave = Leave { commands: &commands, request_id: envelope.request_id.clone() };
            let answer = commands.carry_out(envelope, request).await;
            say.send_replace(Some(answer));
        });
        Ok(outcome)
    }

    /// The answer on record, else the core's.
    async fn carry_out(&self, envelope: Envelope, request: Request) -> Result<Answer, ApiError> {
        let (reader, id) = (self.reader.clone(), envelope.request_id.clone());
        let looking =
            tokio::task::spawn_blocking(move || reader.answer(&id).map_err(|error| ApiError::of_read(&error, 0, &reader)));
        let known = if matches!(request, Request::Stop { .. } | Request::Abort { .. }) {
            // Taking heat away does not wait for the record: a repeat that is not known as one cuts once more, and nothing worse.
            match tokio::time::timeout(LOOK_BEFORE_STOP, looking).await {
                Ok(Ok(Ok(known))) => known,
                Ok(Ok(Err(_)) | Err(_)) | Err(_) => None,
            }
        } else {
            looking.await.map_err(|_| ApiError::Unreadable)??
        };
        match known {
            Some(known) if known.fingerprint == envelope.fingerprint => Ok(known.answer),
            Some(_) => Err(ApiError::RequestIdReused),
            None => {
                let Envelope { person, request_id, fingerprint } = envelope;
                let command = Command { person, request, request_id, fingerprint };
                self.shop.ask(command).await.map_err(|why| match why {
                    NotAsked::Busy => ApiError::Busy,
                    NotAsked::Ending => ApiError::Ending,
                })
            }
        }
    }

    fn pending(&self) -> MutexGuard<'_, BTreeMap<String, Pending>> {
        self.pending.lock().unwrap_or_else(PoisonError::into_inner)
    }
}

struct Leave<'a> {
    commands: &'a Commands,
    request_id: String,
}

impl Drop for Leave<'_> {
    fn drop(&mut self) {
        self.commands.pending().remove(&self.request_id);
    }
}

/// How long a stop waits to learn whether it is a repeat.
const LOOK_BEFORE_STOP: Duration = Duration::from_millis(100);

/// FNV-1a, 64 bit. It tells mistakes from repeats and guards against nobody: whoever may send commands need not forge one.
fn fingerprint(method: &str, message: &[u8]) -> u64 {
    const OFFSET: u64 = 0xcbf2_9ce4_8422_2325;
    const PRIME: u64 = 0x0100_0000_01b3;
    method
        .bytes()
        .chain([0])
        .chain(message.iter().copied())
        .fold(OFFSET, |hash, byte| (hash ^ u64::from(byte)).wrapping_mul(PRIME))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn fingerprints_follow_the_published_function() {
        // FNV-1a of "a\0" and "foobar\0", worked out from the published constants.
        assert_eq!(fingerprint("", &[]), 0xaf63_bd4c_8601_b7df);
        assert_ne!(fingerprint("HoldCycle", b"x"), fingerprint("ResumeCycle", b"x"));
    }
}
