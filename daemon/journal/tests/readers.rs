//! Goal: a reader gets every event once and in order, however slow it is, and never holds up the record.

use hearthward_journal::{RING_EVENTS, ReadError, Reader};
use tokio_test::task::spawn;
use tokio_test::{assert_pending, assert_ready};

use crate::common::{Home, batch, by_hand, read_all, send};

#[test]
fn a_reader_that_fell_behind_goes_on_from_the_file() {
    let home = Home::new();
    let running = home.start();
    let total = RING_EVENTS as u64 * 3;
    let slow = {
        let reader = running.reader.clone();
        std::thread::spawn(move || {
            let mut seen = 0;
            while seen < total {
                // Some from memory, most from the file, some before they are there.
                for event in reader.read(seen + 1, 97).expect("readable") {
                    assert_eq!(event.seq, seen + 1);
                    seen = event.seq;
                }
            }
        })
    };
    for tick in 1..=total / 64 {
        send(&running.recorder, batch(tick, 64));
    }
    running.durable(total / 64);
    slow.join().expect("in order");
    assert!(running.reader.read_ring(1, 10).is_none(), "the oldest are no longer in memory");
    let newest = running.reader.read_ring(total - RING_EVENTS as u64 + 1, usize::MAX).expect("in memory");
    assert_eq!(newest.len(), RING_EVENTS);
}

#[test]
fn memory_and_file_say_the_same() {
    let home = Home::new();
    let running = home.start();
    running.record(1, 500);
    let cold = Reader::open(&home.path()).expect("opens");
    for from in [1, 2, 250, 500] {
        let (warm, cold) = (running.reader.read(from, 300).expect("readable"), cold.read(from, 300).expect("readable"));
        assert_eq!(warm.len(), cold.len());
        for (warm, cold) in warm.iter().zip(&cold) {
            assert_eq!((warm.seq, &warm.text, &warm.body), (cold.seq, &cold.text, &cold.body));
        }
    }
    assert!(running.reader.read(501, 10).expect("readable").is_empty());
    let back: Vec<_> = running.reader.read_back(499, 3).expect("readable").iter().map(|event| event.seq).collect();
    assert_eq!(back, [499, 498, 497]);
}

#[test]
fn what_is_no_longer_kept_is_an_error_that_names_the_oldest() {
    let home = Home::new();
    let running = home.start();
    running.record(1, 50);
    running.finish();
    by_hand(&home.path()).execute("DELETE FROM event WHERE seq <= 20", []).expect("pruned");
    let running = home.start();
    assert_eq!((running.opened.oldest_seq, running.opened.last_seq), (21, 50));
    assert!(matches!(running.reader.read(20, 10), Err(ReadError::TooOld { oldest: 21 })));
    assert_eq!(running.reader.read(21, 10).expect("kept").len(), 10);
    assert_eq!(running.record(1, 1), [51]);
    assert_eq!(running.reader.verify().expect("holds from the oldest on"), 31);
}

#[test]
fn a_hole_is_told_with_its_place_and_not_passed_over() {
    let home = Home::new();
    let running = home.start();
    running.record(1, 600);
    running.finish();
    by_hand(&home.path()).execute("DELETE FROM event WHERE seq BETWEEN 12 AND 14 OR seq BETWEEN 101 AND 250", []).expect("cut");
    let reader = Reader::open(&home.path()).expect("opens");
    assert_eq!(reader.read(1, 11).expect("before it").len(), 11);
    assert_eq!(reader.read(15, 86).expect("behind it").len(), 86);
    // In the middle of what is asked for, at its end, at its beginning, and longer than all of it.
    for (from, limit, first, last) in
        [(1, 50, 12, 14), (1, 12, 12, 14), (13, 50, 13, 14), (101, 50, 101, 250), (90, 20, 101, 250)]
    {
        let error = reader.read(from, limit).expect_err("was passed over");
        assert!(matches!(error, ReadError::Hole { from, to } if (from, to) == (first, last)), "{from}: {error}");
        let told = error.of_file(&home.path()).to_string();
        assert!(told.contains(&home.path().display().to_string()) && told.contains("move it away"), "{told}");
    }
    assert!(reader.read(601, 5).expect("beyond the end").is_empty());
}

#[test]
fn whoever_waits_is_woken_by_the_next_event() {
    let home = Home::new();
    let running = home.start();
    let mut waiting: Vec<_> = (0..50).map(|_| spawn(running.reader.beyond(0))).collect();
    // One that loses interest must not disturb the others.
    drop(spawn(running.reader.beyond(0)));
    for one in &mut waiting {
        assert_pending!(one.poll());
    }
    running.record(1, 2);
    for one in &mut waiting {
        assert!(one.is_woken());
        assert_eq!(assert_ready!(one.poll()), 2);
    }
    assert_eq!(assert_ready!(spawn(running.reader.beyond(1)).poll()), 2, "no waiting for what is there");
}

#[test]
fn a_file_without_its_service_can_be_read() {
    let home = Home::new();
    let running = home.start();
    running.record(1, 5);
    // While it is written …
    let reader = Reader::open(&home.path()).expect("opens");
    assert_eq!((reader.last_seq(), reader.oldest_seq()), (5, 1));
    running.record(2, 5);
    assert_eq!(reader.last_seq(), 5);
    reader.refresh().expect("readable");
    assert_eq!(reader.last_seq(), 10);
    assert_eq!(reader.journal_id(), running.opened.journal_id);
    // … and after its service has ended.
    running.finish();
    assert_eq!(read_all(&Reader::open(&home.path()).expect("opens")).len(), 10);
}

#[test]
fn bytes_are_made_once_for_all_subscribers() {
    let home = Home::new();
    let running = home.start();
    running.record(1, 1);
    let (one, other) = (running.reader.read(1, 1).expect("readable"), running.reader.read(1, 1).expect("readable"));
    assert_eq!(one[0].encoded(|event| event.text.clone().into_bytes()), b"Tick 1, event 0.");
    assert_eq!(other[0].encoded(|_| unreachable!("made before")), b"Tick 1, event 0.");
}
