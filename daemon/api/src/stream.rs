//! One subscriber's way through the journal: replay, then live, in order and without a gap.
//!
//! The stream is a cursor and nothing more. It takes the next events from memory when they are still there, else from the
//! file, and it is only asked for one when the client's window has room. So a slow client costs one bounded buffer, and falls back to
//! the file by itself.

use std::collections::VecDeque;
use std::pin::Pin;
use std::sync::Arc;
use std::task::{Context, Poll, ready};
use std::time::Duration;

use hearthward_journal::{Beyond, ReadError, Reader, Recorded};
use hearthward_proto::v1;
use hearthward_supervise::plan::ShopPlan;
use prost::Message;
use tokio::sync::{Semaphore, watch};
use tokio::task::JoinHandle;
use tokio::time::{Instant, Sleep, sleep};
use tokio_stream::Stream;
use tonic::Status;

use crate::convert::events;
use crate::error::ApiError;
use crate::serve::told;

/// Events that are taken in one look at the journal. Two looks at most are held for a client: some 300 KiB.
pub(crate) const LOOK: usize = 256;

/// How long a stream may be silent. The contract says 5 seconds; a client that waits so long has a second to spare.
const SILENCE: Duration = Duration::from_secs(4);

/// One message of the stream.
pub(crate) enum Item {
    /// An event; its bytes are shared with every other subscriber.
    Event(Arc<Recorded>),
    /// A progress mark.
    Mark(v1::Progress),
}

impl Item {
    /// Hands the message's bytes to `write`.
    pub(crate) fn with_bytes<T>(&self, write: impl FnOnce(&[u8]) -> T) -> T {
        match self {
            Self::Event(event) => write(event.encoded(events::encoded)),
            Self::Mark(mark) => {
                let item = v1::stream_events_response::Item::Progress(mark.clone());
                write(&v1::StreamEventsResponse { item: Some(item) }.encode_to_vec())
            }
        }
    }
}

/// The stream of one subscriber.
pub(crate) struct EventStream {
    reader: Reader,
    looks: Arc<Semaphore>,
    filter: Filter,
    /// The first event that was not looked at yet.
    next: u64,
    /// What passed and waits to be taken.
    buffer: VecDeque<Arc<Recorded>>,
    /// A look at the file under way, begun early so that the disk and the client work at the same time.
    look: Option<JoinHandle<Result<Vec<Arc<Recorded>>, ReadError>>>,
    /// Waits for the next event, once everything was looked at.
    beyond: Option<Beyond>,
    silence: Pin<Box<Sleep>>,
    /// Whether something was sent since the silence began to count.
    spoke: bool,
    /// The first message is a mark.
    opened: bool,
    told: Pin<Box<dyn Future<Output = ()> + Send>>,
    ending: bool,
    ended: bool,
}

impl EventStream {
    /// Begins at `next`.
    pub(crate) fn new(reader: Reader, looks: Arc<Semaphore>, filter: Filter, next: u64, ending: watch::Receiver<bool>) -> Self {
        Self {
            reader,
            looks,
            filter,
            next,
            buffer: VecDeque::new(),
            look: None,
            beyond: None,
            silence: Box::pin(sleep(SILENCE)),
            spoke: false,
            opened: false,
            told: Box::pin(told(ending)),
            ending: false,
            ended: false,
        }
    }

    /// How far everything was sent or did not pass.
    fn mark(&self) -> Item {
        Item::Mark(v1::Progress {
            through_seq: self.next - 1,
            journal_id: self.reader.journal_id().into(),
            oldest_seq: self.reader.oldest_seq(),
            last_seq: self.reader.last_seq(),
        })
    }

    fn take(&mut self, events: Vec<Arc<Recorded>>) {
        if let Some(last) = events.last() {
            self.next = last.seq + 1;
        }
        self.buffer.extend(events.into_iter().filter(|event| self.filter.passes(event)));
    }

    /// Looks at the file on a thread that may wait, with few others at the same time.
    fn begin_look(&mut self) {
        let (reader, looks, next) = (self.reader.clone(), Arc::clone(&self.looks), self.next);
        self.look = Some(tokio::spawn(async move {
            let _turn = looks.acquire_owned().await;
            let looked = tokio::task::spawn_blocking(move || {
                let events = reader.read(next, LOOK)?;
                // Encoded here, where it holds up nobody.
                for event in &events {
                    event.encoded(events::encoded);
                }
                Ok(events)
            });
            // The closure does not panic; a runtime that ends cancels it.
            looked.await.unwrap_or(Ok(Vec::new()))
        }));
    }

    /// Fills the buffer from the journal. `Pending` when there is nothing beyond.
    fn poll_look(&mut self, context: &mut Context<'_>) -> Poll<Result<(), Status>> {
        loop {
            if let Some(look) = &mut self.look {
                let looked = ready!(Pin::new(look).poll(context));
                self.look = None;
                match looked {
                    Ok(Ok(events)) => self.take(events),
                    Ok(Err(error)) => return Poll::Ready(Err(ApiError::of_read(&error, self.next, &self.reader).into())),
                    Err(_) => return Poll::Ready(Err(ApiError::Ending.into())),
                }
                if self.next <= self.reader.last_seq() && self.reader.read_ring(self.next, 0).is_none() {
                    self.begin_look();
                }
            } else if self.next <= self.reader.last_seq() {
                match self.reader.read_ring(self.next, LOOK) {
                    Some(events) => self.take(events),
                    None => self.begin_look(),
                }
            } else {
                let (reader, next) = (&self.reader, self.next);
                let beyond = self.beyond.get_or_insert_with(|| reader.beyond(next - 1));
                ready!(Pin::new(beyond).poll(context));
                self.beyond = None;
            }
            if !self.buffer.is_empty() {
                return Poll::Ready(Ok(()));
            }
        }
    }
}

impl Stream for EventStream {
    type Item = Result<Item, Status>;

    fn poll_next(self: Pin<&mut Self>, context: &mut Context<'_>) -> Poll<Option<Self::Item>> {
        let this = self.get_mut();
        if this.ended {
            return Poll::Ready(None);
        }
        if !this.opened {
            this.opened = true;
            return Poll::Ready(Some(Ok(this.mark())));
        }
        if this.buffer.is_empty() {
            match this.poll_look(context) {
                Poll::Ready(Ok(())) => {}
                Poll::Ready(Err(status)) => {
                    this.ended = true;
                    return Poll::Ready(Some(Err(status)));
                }
                Poll::Pending => return this.poll_quiet(context),
            }
        }
        this.spoke = true;
        Poll::Ready(this.buffer.pop_front().map(|event| Ok(Item::Event(event))))
    }
}

impl EventStream {
    /// Nothing to send: the end of the service, or a mark after a while.
    fn poll_quiet(&mut self, context: &mut Context<'_>) -> Poll<Option<Result<Item, Status>>> {
        if self.ending {
            // Its last number was sent as a mark.
            self.ended = true;
            return Poll::Ready(Some(Err(ApiError::Ending.into())));
        }
        if self.look.is_none() && self.told.as_mut().poll(context).is_ready() {
            self.ending = true;
            return Poll::Ready(Some(Ok(self.mark())));
        }
        if std::mem::take(&mut self.spoke) {
            self.silence.as_mut().reset(Instant::now() + SILENCE);
        }
        ready!(self.silence.as_mut().poll(context));
        self.silence.as_mut().reset(Instant::now() + SILENCE);
        Poll::Ready(Some(Ok(self.mark())))
    }
}

impl Drop for EventStream {
    fn drop(&mut self) {
        if let Some(look) = &self.look {
            look.abort();
        }
    }
}

/// Which events a client wants.
#[derive(Clone, Debug, Default)]
pub(crate) struct Filter {
    furnaces: Vec<String>,
    kinds: Vec<String>,
    least: Option<hearthward_supervise::event::Priority>,
}

impl Filter {
    /// Most names in each list.
    const NAMES: usize = 256;

    pub(crate) fn new(wanted: Option<v1::EventFilter>) -> Result<Self, ApiError> {
        let Some(wanted) = wanted else { return Ok(Self::default()) };
        let least = v1::Priority::try_from(wanted.least_priority)
            .map_err(|_| ApiError::field("filter.least_priority", "must be one of the priorities"))?;
        for (names, field) in [(&wanted.furnaces, "filter.furnaces"), (&wanted.kinds, "filter.kinds")] {
            if names.len() > Self::NAMES {
                return Err(ApiError::field(field, format!("must be at most {} names", Self::NAMES)));
            }
        }
        let least = (least != v1::Priority::Unspecified).then(|| events::priority_from(least));
        Ok(Self { furnaces: wanted.furnaces, kinds: wanted.kinds, least })
    }

    /// Refuses a furnace that the shop does not have.
    pub(crate) fn names_furnaces_of(&self, plan: &ShopPlan) -> Result<(), ApiError> {
        let known = |name: &&String| plan.furnaces.iter().any(|furnace| furnace.name.as_str() == name.as_str());
        match self.furnaces.iter().find(|name| !known(name)) {
            Some(name) => Err(ApiError::unknown("furnace", name, plan.furnaces.iter().map(|one| &one.name))),
            None => Ok(()),
        }
    }

    /// Whether nothing is held back.
    pub(crate) fn passes_all(&self) -> bool {
        self.furnaces.is_empty() && self.kinds.is_empty() && self.least.is_none()
    }

    pub(crate) fn passes(&self, event: &Recorded) -> bool {
        let furnace = || event.furnace.as_ref().is_some_and(|name| self.furnaces.iter().any(|one| one == name.as_str()));
        (self.furnaces.is_empty() || furnace())
            && (self.kinds.is_empty() || self.kinds.contains(&event.kind))
            && self.least.is_none_or(|least| event.priority >= least)
    }
}
