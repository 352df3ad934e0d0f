//! Goal: what a restart needs is there again: numbers, standing, answers, names, and how long the service was away.

use std::time::Duration;

use hearthward_equipment::{Directory, FurnaceId, ShopMs, Tick};
use hearthward_journal::{AnswerRow, Batch, Journal, Names, Reader, StandingRow};
use hearthward_supervise::event::{EventBody, Priority};
use hearthward_supervise::request::Answer;

use crate::common::{Home, batch, by_hand, event, names, options, read_all};

#[test]
fn numbers_go_on_over_clean_and_unclean_ends() {
    let home = Home::new();
    let mut expected = 0;
    for start in 1..=6 {
        let running = home.start();
        assert_eq!(running.opened.boot, start);
        assert_eq!(running.opened.last_seq, expected);
        // Odd starts end in order, even ones are dropped.
        assert_eq!(running.opened.clean_stop, start == 1 || start % 2 == 0);
        for tick in 1..=3 {
            let seqs = running.record(tick, 2);
            assert_eq!(seqs, [expected + 1, expected + 2]);
            expected += 2;
        }
        if start % 2 == 1 {
            running.finish();
        } else {
            // Sent, never waited for: a recorder that is dropped still writes it.
            running.recorder.try_send(batch(4, 1)).expect("room in the queue");
            drop(running);
            expected += 1;
        }
    }
    let reader = Reader::open(&home.path()).expect("opens");
    assert_eq!(reader.verify().expect("the chain holds"), expected);
    let all = read_all(&reader);
    assert!(all.iter().map(|event| event.seq).eq(1..=expected));
    assert_eq!(all.last().map(|event| (event.boot, event.tick)), Some((6, Tick(4))));
}

#[test]
fn an_event_comes_back_as_it_went_in() {
    let home = Home::new();
    let running = home.start();
    running.record(7, 1);
    let live = running.reader.read(1, 1).expect("readable");
    running.finish();
    let cold = read_all(&Reader::open(&home.path()).expect("opens"));
    for event in [&live[0], &cold[0]] {
        assert_eq!(event.seq, 1);
        assert_eq!((event.boot, event.tick, event.at), (1, Tick(7), ShopMs(700)));
        assert_eq!(event.wall_ms, 1_700_000_000_700);
        assert_eq!(event.furnace.as_ref().map(|name| name.as_str()), Some("north"));
        assert_eq!(event.priority, Priority::Warning);
        assert_eq!(event.person.as_deref(), Some("Ada"));
        assert_eq!(event.kind, "withheld");
        assert_eq!(event.text, "Tick 7, event 0.");
        assert_eq!(event.body, Some(crate::common::event("").body));
    }
}

#[test]
fn standing_and_answers_are_kept_with_their_events() {
    let home = Home::new();
    let running = home.start();
    for tick in 1..=3 {
        let mut batch = batch(tick, 1);
        batch.standing = Some(StandingRow::pack(3, &("soak", tick), vec![1, 2, 3]).expect("packs"));
        batch.answers = vec![answer("start-1", tick, &format!("Started at {tick}."))];
        running.recorder.try_send(batch).expect("room in the queue");
    }
    running.durable(3);
    drop(running);
    let running = home.start();
    let standing = running.opened.standing.clone().expect("something stood");
    assert_eq!((standing.format, standing.cuts.as_slice()), (3, [1, 2, 3].as_slice()));
    assert_eq!(standing.unpack::<(String, u64)>().expect("unpacks"), ("soak".to_owned(), 3));
    // The first answer stands: a repeat must not change what was said.
    assert_eq!(running.reader.answer("start-1").expect("readable"), Some(answer("start-1", 1, "Started at 1.")));
    assert_eq!(running.reader.answer("start-2").expect("readable"), None);
}

#[test]
fn the_newest_answers_are_kept_and_no_more() {
    let home = Home::new();
    let running = home.start();
    let mut batch = batch(1, 1);
    batch.answers = (1..=5000).map(|place| answer(&format!("command-{place}"), place, "Done.")).collect();
    running.recorder.try_send(batch).expect("room in the queue");
    running.durable(1);
    assert_eq!(running.reader.answer("command-904").expect("readable"), None);
    assert!(running.reader.answer("command-905").expect("readable").is_some());
    assert!(running.reader.answer("command-5000").expect("readable").is_some());
}

#[test]
fn time_away_is_known_within_one_run_of_the_system_only() {
    let home = Home::new();
    let start = |boot: &str, os_ms| {
        let mut options = options();
        options.os_boot_id = boot.into();
        options.os_ms = os_ms;
        home.start_with(options)
    };
    let running = start("morning", 10_000);
    assert_eq!(running.opened.away_ms, None, "nothing before the first start");
    // A sign of life at 10 s + 3 s.
    running.record(30, 1);
    drop(running);
    let running = start("morning", 15_500);
    assert_eq!(running.opened.away_ms, Some(2_500));
    let mut batch = Batch::of_tick(Tick(1), ShopMs(4_000), 0);
    batch.standing = Some(StandingRow { format: 1, body: Vec::new(), cuts: Vec::new() });
    running.recorder.try_send(batch).expect("room in the queue");
    running.durable(1);
    drop(running);
    let running = start("morning", 20_000);
    assert_eq!(running.opened.away_ms, Some(500), "what stood is a sign of life too");
    drop(running);
    assert_eq!(start("evening", 30_000).opened.away_ms, None);
    assert_eq!(start("", 40_000).opened.away_ms, None);
    assert_eq!(start("", 50_000).opened.away_ms, None, "two unknown runs are not the same one");
}

#[test]
fn old_events_keep_the_names_of_their_day() {
    let home = Home::new();
    let running = home.start();
    running.record(1, 1);
    running.finish();
    let mut moved = options();
    moved.names = names(&["south", "north"]);
    let running = home.start_with(moved);
    running.record(1, 1);
    let all = running.reader.read(1, 10).expect("readable");
    assert_eq!(all[0].furnace.as_ref().map(|name| name.as_str()), Some("north"));
    assert_eq!(all[0].names.furnace(FurnaceId(0)).map(|name| name.as_str()), Some("north"));
    assert_eq!(all[1].furnace.as_ref().map(|name| name.as_str()), Some("south"));
    let plans: i64 = by_hand(&home.path()).query_row("SELECT count(*) FROM plan", [], |row| row.get(0)).expect("readable");
    assert_eq!(plans, 2);
}

#[test]
fn units_and_points_are_named_from_the_plan() {
    let home = Home::new();
    let mut directory = Directory::default();
    let unit = directory.unit(&"controllers/north".parse().expect("an address"));
    let mut options = options();
    options.names = Names { directory, ..options.names };
    let running = home.start_with(options);
    let mut silent = event("The north controller does not answer.");
    silent.body = EventBody::Unit { unit, state: "silent".into(), detail: "no answer within 200 ms".into() };
    let mut batch = batch(1, 0);
    batch.events.push(silent);
    running.recorder.try_send(batch).expect("room in the queue");
    running.durable(1);
    running.finish();
    let all = read_all(&Reader::open(&home.path()).expect("opens"));
    assert_eq!(all[0].names.unit(unit).map(ToString::to_string).as_deref(), Some("controllers/north"));
}

#[test]
fn a_kind_that_is_not_known_yet_still_has_its_word_and_sentence() {
    let home = Home::new();
    let running = home.start();
    running.record(1, 1);
    running.finish();
    by_hand(&home.path())
        .execute("UPDATE event SET kind = 'levitated', body = '{\"kind\":\"levitated\",\"height_mm\":3}', priority = 7", [])
        .expect("changed");
    let all = read_all(&Reader::open(&home.path()).expect("opens"));
    assert_eq!((all[0].kind.as_str(), all[0].body.as_ref(), all[0].priority), ("levitated", None, Priority::Urgent));
    assert_eq!(all[0].text, "Tick 1, event 0.");
}

#[test]
fn a_second_journal_has_another_id() {
    let ids: Vec<_> = [Home::new(), Home::new()].iter().map(|home| home.start().opened.journal_id).collect();
    assert_eq!(ids[0].len(), 16);
    assert_ne!(ids[0], ids[1]);
}

#[test]
fn the_lock_is_let_go_before_finish_returns() {
    let home = Home::new();
    for _ in 0..5 {
        let (journal, _) = Journal::open(&home.path(), options()).expect("opens");
        let (ear, _said) = std::sync::mpsc::channel();
        let recorder = journal.record(crate::common::Ear(ear)).expect("a thread");
        recorder.finish(Duration::from_secs(20)).expect("ends");
    }
}

fn answer(id: &str, fingerprint: u64, text: &str) -> AnswerRow {
    AnswerRow { request_id: id.into(), fingerprint, answer: Answer::Done(text.into()) }
}
