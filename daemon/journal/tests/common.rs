//! A shop of three furnaces, and a listener that takes down what it is told.

use std::path::{Path, PathBuf};
use std::sync::mpsc::{self, Receiver, Sender};
use std::time::Duration;

use hearthward_equipment::{Directory, FurnaceId, ShopMs, Tick};
use hearthward_journal::{Batch, Journal, Listener, Names, OpenOptions, Opened, Reader, Recorded, Recorder, Refused};
use hearthward_supervise::event::{Event, EventBody, Priority};
use hearthward_supervise::interlock::InterlockKind;
use std::sync::Arc;

/// What the record thread said.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(crate) enum Said {
    Durable { through: u64, seqs: Vec<u64> },
    Failing(String),
    Working,
}

pub(crate) struct Ear(pub(crate) Sender<Said>);

impl Listener for Ear {
    fn durable(&mut self, through: Tick, events: &[Arc<Recorded>]) {
        let seqs = events.iter().map(|event| event.seq).collect();
        let _ = self.0.send(Said::Durable { through: through.0, seqs });
    }

    fn failing(&mut self, why: Option<&str>) {
        let _ = self.0.send(why.map_or(Said::Working, |why| Said::Failing(why.into())));
    }
}

/// A journal in a folder of its own that goes away with it.
pub(crate) struct Home {
    pub(crate) folder: tempfile::TempDir,
}

/// An open journal with its thread running.
pub(crate) struct Running {
    pub(crate) recorder: Recorder,
    pub(crate) reader: Reader,
    pub(crate) opened: Opened,
    pub(crate) said: Receiver<Said>,
}

impl Home {
    pub(crate) fn new() -> Self {
        Self { folder: tempfile::tempdir().expect("a folder") }
    }

    pub(crate) fn path(&self) -> PathBuf {
        self.folder.path().join("journal.db")
    }

    pub(crate) fn start(&self) -> Running {
        self.start_with(options())
    }

    pub(crate) fn start_with(&self, options: OpenOptions) -> Running {
        let (ear, said) = mpsc::channel();
        let (journal, opened) = Journal::open(&self.path(), options).expect("the journal opens");
        let reader = journal.reader();
        let recorder = journal.record(Ear(ear)).expect("a thread");
        Running { recorder, reader, opened, said }
    }
}

impl Running {
    /// Records one batch of so many events and waits until it is durable.
    pub(crate) fn record(&self, tick: u64, events: u32) -> Vec<u64> {
        self.recorder.try_send(batch(tick, events)).expect("room in the queue");
        self.durable(tick)
    }

    /// Waits until a tick is durable, and gives the numbers that came meanwhile.
    pub(crate) fn durable(&self, tick: u64) -> Vec<u64> {
        let mut all = Vec::new();
        loop {
            match self.said.recv_timeout(Duration::from_secs(20)).expect("the record thread speaks") {
                Said::Durable { through, seqs } => {
                    all.extend(seqs);
                    if through >= tick {
                        return all;
                    }
                }
                other => panic!("trouble: {other:?}"),
            }
        }
    }

    /// The first thing said that is not trouble.
    pub(crate) fn after_trouble(&self) -> Said {
        loop {
            match self.said.recv_timeout(Duration::from_secs(20)).expect("the record thread speaks") {
                Said::Failing(_) => {}
                other => return other,
            }
        }
    }

    pub(crate) fn finish(self) {
        self.recorder.finish(Duration::from_secs(20)).expect("a clean end");
    }
}

pub(crate) fn options() -> OpenOptions {
    OpenOptions::new("[shop]\nname = \"Bench\"\n", names(&["north", "south", "pot"]), 1_700_000_000_000)
}

pub(crate) fn names(furnaces: &[&str]) -> Names {
    Names { furnaces: furnaces.iter().map(|name| name.parse().expect("a name")).collect(), directory: Directory::default() }
}

pub(crate) fn batch(tick: u64, events: u32) -> Batch {
    let mut batch = Batch::of_tick(Tick(tick), ShopMs(tick * 100), 1_700_000_000_000 + i64::try_from(tick).expect("small") * 100);
    batch.events = (0..events).map(|place| event(&format!("Tick {tick}, event {place}."))).collect();
    batch
}

pub(crate) fn event(text: &str) -> Event {
    Event {
        furnace: Some(FurnaceId(0)),
        priority: Priority::Warning,
        person: Some("Ada".into()),
        text: text.into(),
        body: EventBody::Withheld { by: vec![InterlockKind::DoorOpen, InterlockKind::PurgeBeforeHeat] },
    }
}

/// Sends a batch as the core does: again until there is room.
pub(crate) fn send(recorder: &Recorder, mut batch: Batch) {
    loop {
        match recorder.try_send(batch) {
            Ok(()) => return,
            Err(Refused::Full(back)) => batch = *back,
            Err(ended) => panic!("{ended}"),
        }
        std::thread::yield_now();
    }
}

/// Every event on record, read in pieces.
pub(crate) fn read_all(reader: &Reader) -> Vec<Arc<Recorded>> {
    let mut all: Vec<Arc<Recorded>> = Vec::new();
    loop {
        let next = all.last().map_or(1, |event| event.seq + 1);
        let events = reader.read(next, 700).expect("readable");
        if events.is_empty() {
            return all;
        }
        all.extend(events);
    }
}

/// A plain connection, as any tool would have.
pub(crate) fn by_hand(path: &Path) -> rusqlite::Connection {
    rusqlite::Connection::open(path).expect("any tool opens it")
}
