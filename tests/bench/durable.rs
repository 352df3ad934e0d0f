//! Durable events against a bare append and `fdatasync` of the same bytes on the same disk, in batches of 1, 10 and 100, batch by
//! batch in turns.

use std::fs::File;
use std::io::Write;
use std::sync::Arc;
use std::sync::mpsc::{Receiver, Sender, channel};
use std::time::{Duration, Instant};

use hearthward_equipment::{FurnaceId, Generation, ShopMs, Tick};
use hearthward_journal::{Batch, Journal, Listener, Names, OpenOptions, Recorded, Recorder};
use hearthward_supervise::event::{Event, EventBody, Priority};
use hearthward_tests::place;

use crate::numbers::{Report, Row, Target};

const LASTS: Duration = Duration::from_secs(4);

pub(crate) fn measure(report: &mut Report) {
    for size in [1, 10, 100] {
        let (ours, bare) = in_turns(size, report.lasts(LASTS));
        report.row(&Row {
            name: format!("durable events in batches of {size}, against append and fdatasync"),
            value: ours,
            unit: "events/s",
            baseline: Some(bare),
            target: Target::RatioLeast(0.45),
        });
    }
}

/// Events a second of the journal, and of the bare file.
fn in_turns(size: u64, lasts: Duration) -> (f64, f64) {
    // On the disk of the repository: the system's folder for temporary files may be memory.
    let folder = tempfile::tempdir_in(place::root().join("target")).expect("target/ can be written");
    let (recorder, durable) = open(folder.path());
    let mut bare = File::create(folder.path().join("bare")).expect("it can be written");
    let bytes = vec![0x5A; size as usize * bytes_of_an_event()];
    let (mut ours, mut theirs, mut batches) = (Duration::ZERO, Duration::ZERO, 0_u32);
    let until = Instant::now() + lasts;
    while Instant::now() < until {
        batches += 1;
        let tick = Tick(u64::from(batches));
        let mut batch = Batch::of_tick(tick, ShopMs(tick.0 * 100), 1_764_000_000_000);
        batch.events = (0..size).map(event).collect();
        let began = Instant::now();
        recorder.try_send(batch).expect("there is room: every batch is waited for");
        while durable.recv().expect("the record thread lives") < tick {}
        ours += began.elapsed();
        let began = Instant::now();
        bare.write_all(&bytes).and_then(|()| bare.sync_data()).expect("the disk takes it");
        theirs += began.elapsed();
    }
    recorder.finish(Duration::from_secs(5)).expect("everything is written");
    let events = f64::from(batches) * size as f64;
    (events / ours.as_secs_f64(), events / theirs.as_secs_f64())
}

struct Tell(Sender<Tick>);

impl Listener for Tell {
    fn durable(&mut self, through: Tick, _events: &[Arc<Recorded>]) {
        let _ = self.0.send(through);
    }

    fn failing(&mut self, why: Option<&str>) {
        assert!(why.is_none(), "the journal cannot write: {why:?}");
    }
}

fn open(folder: &std::path::Path) -> (Recorder, Receiver<Tick>) {
    let options = OpenOptions::new("# a benchmark", Names::default(), 1_764_000_000_000);
    let (journal, _) = Journal::open(&folder.join("journal.sqlite"), options).expect("a journal");
    let (tell, told) = channel();
    (journal.record(Tell(tell)).expect("a thread"), told)
}

/// An event as they are: a sentence and a few fields.
pub(crate) fn event(number: u64) -> Event {
    Event {
        furnace: Some(FurnaceId(0)),
        priority: Priority::Notice,
        person: None,
        text: format!(
            "North: heat was cut because the door is open at 612 °C; it comes back when the door is shut and the chamber is swept ({number})."
        ),
        body: EventBody::CutConfirmed { generation: Generation(number), after_ms: 12 },
    }
}

/// What such an event is as JSON, with its number, times and name: what the bare file is given for each.
fn bytes_of_an_event() -> usize {
    serde_json::to_vec(&event(1)).expect("an event has a JSON form").len() + 64
}
