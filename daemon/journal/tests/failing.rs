//! Goal: a disk that cannot be written loses nothing, acknowledges nothing falsely, and is used again by itself.
//! Method: a size limit stands for a full disk, a foreign lock for a disk that is away, a listener that does not return for a slow one.

use std::sync::mpsc;
use std::time::{Duration, Instant};

use hearthward_equipment::{ShopMs, Tick};
use hearthward_journal::{Batch, Journal, JournalError, QUEUE_BATCHES, Reader, Refused};

use crate::common::{Ear, Home, Said, batch, by_hand, options, read_all};

const SOON: Duration = Duration::from_secs(20);

#[test]
fn a_full_disk_holds_everything_back_and_lets_it_through_in_order() {
    let home = Home::new();
    let mut small = options();
    small.limit_bytes = 160 * 1024;
    let running = home.start_with(small);
    let mut sent = 0;
    let mut acknowledged = Vec::new();
    // Until it is full.
    let why = loop {
        sent += 1;
        running.recorder.try_send(batch(sent, 20)).expect("room in the queue");
        match running.said.recv_timeout(SOON).expect("the thread speaks") {
            Said::Durable { seqs, .. } => acknowledged.extend(seqs),
            Said::Failing(why) => break why,
            Said::Working => panic!("it never failed"),
        }
    };
    assert!(why.contains("full"), "{why}");
    // More comes while it is full; nothing of it is shown or on disk.
    for _ in 0..10 {
        sent += 1;
        running.recorder.try_send(batch(sent, 20)).expect("room in the queue");
    }
    let meanwhile = Instant::now() + Duration::from_millis(300);
    while let Ok(said) = running.said.recv_timeout(meanwhile.saturating_duration_since(Instant::now())) {
        assert!(matches!(said, Said::Failing(_)), "nothing is acknowledged: {said:?}");
    }
    assert_eq!(running.reader.last_seq(), acknowledged.len() as u64);
    assert_eq!(Reader::open(&home.path()).expect("opens").last_seq(), acknowledged.len() as u64);
    // Space again: it goes on by itself.
    running.recorder.limit_bytes(u64::MAX);
    assert_eq!(running.after_trouble(), Said::Working);
    acknowledged.extend(running.durable(sent));
    assert!(acknowledged.iter().copied().eq(1..=sent * 20), "in order and without a gap");
    let texts: Vec<_> = read_all(&running.reader).iter().map(|event| event.text.clone()).collect();
    let expected: Vec<_> = (1..=sent).flat_map(|tick| (0..20).map(move |place| format!("Tick {tick}, event {place}."))).collect();
    assert_eq!(texts, expected);
    running.finish();
    assert_eq!(Reader::open(&home.path()).expect("opens").verify().expect("the chain holds"), sent * 20);
}

#[test]
fn a_foreign_lock_is_waited_out() {
    let home = Home::new();
    let running = home.start();
    running.record(1, 1);
    let other = by_hand(&home.path());
    other.execute_batch("BEGIN IMMEDIATE").expect("locked");
    running.recorder.try_send(batch(2, 1)).expect("room in the queue");
    assert!(matches!(running.said.recv_timeout(SOON), Ok(Said::Failing(why)) if why.contains("lock")));
    other.execute_batch("ROLLBACK").expect("unlocked");
    assert_eq!(running.after_trouble(), Said::Working);
    assert_eq!(running.durable(2), [2]);
}

/// Goal: a record that was deleted under a running service is no record. Method: each of its files is moved away, seen without
/// anything to write, and put back.
#[test]
fn a_file_that_is_gone_is_told_and_taken_up_again_when_it_is_back() {
    for (name, aside) in [("journal.db", "aside"), ("journal.db-wal", "aside-wal")] {
        let home = Home::new();
        let running = home.start();
        running.record(1, 1);
        let (path, aside) = (home.folder.path().join(name), home.folder.path().join(aside));
        std::fs::rename(&path, &aside).expect("moved away");
        running.recorder.try_send(batch(2, 0)).expect("room in the queue");
        let said = running.said.recv_timeout(SOON);
        assert!(
            matches!(&said, Ok(Said::Failing(why)) if why.contains(name) && why.contains("move that same file back")),
            "{said:?}"
        );
        std::fs::write(&path, b"another file of the same name").expect("written");
        running.recorder.try_send(batch(3, 1)).expect("room in the queue");
        assert!(matches!(running.said.recv_timeout(SOON), Ok(Said::Failing(_))), "another file is not the record");
        std::fs::rename(&aside, &path).expect("put back");
        assert_eq!(running.after_trouble(), Said::Working);
        assert_eq!(running.durable(3), [2]);
        running.finish();
        assert_eq!(Reader::open(&home.path()).expect("opens").verify().expect("the chain holds"), 2);
    }
}

#[test]
fn a_full_queue_gives_the_batch_back() {
    /// Holds the record thread until it is let go.
    struct Slow(mpsc::Receiver<()>, Ear);
    impl hearthward_journal::Listener for Slow {
        fn durable(&mut self, through: Tick, events: &[std::sync::Arc<hearthward_journal::Recorded>]) {
            let _ = self.0.recv();
            self.1.durable(through, events);
        }
        fn failing(&mut self, why: Option<&str>) {
            self.1.failing(why);
        }
    }
    let home = Home::new();
    let (journal, _) = Journal::open(&home.path(), options()).expect("opens");
    let (go, held) = mpsc::channel();
    let (ear, said) = mpsc::channel();
    let recorder = journal.record(Slow(held, Ear(ear))).expect("a thread");
    let mut tick = 0;
    let back = loop {
        tick += 1;
        match recorder.try_send(batch(tick, 1)) {
            Ok(()) => {}
            Err(Refused::Full(back)) => break *back,
            Err(ended) => panic!("{ended}"),
        }
    };
    assert!(tick as usize > QUEUE_BATCHES, "full after {tick}");
    assert_eq!(back, batch(tick, 1), "what comes back is what was sent");
    drop(go);
    while recorder.try_send(back.clone()).is_err() {}
    let mut seqs = Vec::new();
    while seqs.len() < usize::try_from(tick).expect("small") {
        let Ok(Said::Durable { seqs: more, .. }) = said.recv_timeout(SOON) else { panic!("silent") };
        seqs.extend(more);
    }
    assert!(seqs.into_iter().eq(1..=tick));
}

#[test]
fn an_end_on_a_full_disk_is_said_in_time_and_nothing_is_claimed() {
    let home = Home::new();
    let running = home.start();
    running.record(1, 1);
    running.recorder.limit_bytes(4096);
    running.recorder.try_send(batch(2, 200)).expect("room in the queue");
    assert!(matches!(running.said.recv_timeout(SOON), Ok(Said::Failing(_))));
    let error = running.recorder.finish(Duration::from_millis(200)).expect_err("it cannot be written");
    assert!(matches!(&error, JournalError::Unwritten { .. }) && error.to_string().contains("free space"), "{error}");
    let again = home.start();
    assert_eq!((again.opened.last_seq, again.opened.clean_stop), (1, false));
    assert_eq!(again.record(1, 1), [2]);
}

#[test]
fn a_batch_of_nothing_is_durable_behind_what_went_before() {
    let home = Home::new();
    let running = home.start();
    running.recorder.try_send(batch(1, 3)).expect("room in the queue");
    running.recorder.try_send(Batch::of_tick(Tick(2), ShopMs(200), 0)).expect("room in the queue");
    assert_eq!(running.durable(2), [1, 2, 3]);
}
