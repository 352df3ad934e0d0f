//! Goal: a file that cannot be used gives a clear error that names the path and the mend. Method: one bad file after another.

use std::fs;

use hearthward_journal::{Journal, JournalError, ReadError, Reader};

use crate::common::{Home, by_hand, options};

/// The error of opening the home's file, which must name it and say what to do.
fn refusal(home: &Home) -> JournalError {
    let error = Journal::open(&home.path(), options()).expect_err("was opened");
    let text = error.to_string();
    assert!(text.contains(&home.path().display().to_string()), "{text}");
    assert!(text.contains("; "), "no mend: {text}");
    error
}

#[test]
fn rubbish_is_foreign() {
    let home = Home::new();
    fs::write(home.path(), "this is a shopping list, and not a journal".repeat(200)).expect("written");
    assert!(matches!(refusal(&home), JournalError::Foreign { .. }));
    assert!(fs::read_to_string(home.path()).expect("still there").starts_with("this is a shopping list"));
}

#[test]
fn another_programs_database_is_foreign_and_left_alone() {
    let home = Home::new();
    by_hand(&home.path()).execute_batch("CREATE TABLE recipes (dish TEXT)").expect("made");
    assert!(matches!(refusal(&home), JournalError::Foreign { .. }));
    let tables: i64 =
        by_hand(&home.path()).query_row("SELECT count(*) FROM sqlite_schema", [], |row| row.get(0)).expect("readable");
    assert_eq!(tables, 1);
}

#[test]
fn a_later_format_is_refused_in_words() {
    let home = Home::new();
    home.start().finish();
    by_hand(&home.path()).pragma_update(None, "user_version", 3).expect("set");
    let error = refusal(&home);
    assert!(matches!(error, JournalError::Newer { found: 3, known: 2, .. }));
    assert!(error.to_string().contains("use the version that wrote it"), "{error}");
    assert!(matches!(Reader::open(&home.path()), Err(JournalError::Newer { .. })));
}

#[test]
fn a_damaged_end_is_seen_at_the_start() {
    let home = Home::new();
    let running = home.start();
    running.record(1, 10);
    running.finish();
    by_hand(&home.path()).execute("UPDATE event SET text = 'Nothing happened.' WHERE seq = 9", []).expect("changed");
    let error = refusal(&home);
    assert!(matches!(error, JournalError::Damaged { .. }), "{error:?}");
    assert!(error.to_string().contains("event 9"), "{error}");
}

#[test]
fn overwritten_pages_are_damage() {
    let home = Home::new();
    let running = home.start();
    running.record(1, 400);
    running.finish();
    let mut bytes = fs::read(home.path()).expect("readable");
    for byte in bytes.iter_mut().skip(4096) {
        *byte = 0xa5;
    }
    fs::write(home.path(), bytes).expect("written");
    assert!(matches!(refusal(&home), JournalError::Damaged { .. }));
}

#[test]
fn a_journal_has_one_writer() {
    let home = Home::new();
    let running = home.start();
    assert!(matches!(refusal(&home), JournalError::InUse { .. }));
    running.finish();
    home.start().finish();
}

#[test]
fn a_missing_folder_is_said() {
    let home = Home::new();
    let path = home.folder.path().join("nowhere/journal.db");
    let error = Journal::open(&path, options()).expect_err("was opened");
    assert!(matches!(&error, JournalError::Unreachable { .. }) && error.to_string().contains("make its folder"), "{error}");
    assert!(matches!(Reader::open(&path), Err(JournalError::Unreachable { .. })));
}

#[test]
fn an_empty_file_becomes_a_journal() {
    let home = Home::new();
    fs::write(home.path(), "").expect("written");
    let running = home.start();
    assert_eq!((running.opened.boot, running.opened.last_seq, running.opened.clean_stop), (1, 0, true));
    assert_eq!(running.record(1, 2), [1, 2]);
}

#[test]
fn a_damaged_page_is_told_with_the_file_and_the_mend() {
    let home = Home::new();
    let running = home.start();
    running.record(1, 3000);
    running.finish();
    let mut bytes = fs::read(home.path()).expect("readable");
    let middle = bytes.len() / 2 / 4096 * 4096;
    bytes[middle..middle + 8 * 4096].fill(0xa5);
    fs::write(home.path(), bytes).expect("written");
    let reader = Reader::open(&home.path()).expect("its head is whole");
    let error = (1..3000).step_by(100).find_map(|from| reader.read(from, 100).err()).expect("the page is read");
    assert!(matches!(error, ReadError::Storage(_)), "{error:?}");
    let told = error.of_file(&home.path()).to_string();
    assert!(
        told.contains(&home.path().display().to_string()) && told.contains("is damaged") && told.contains("move it away"),
        "{told}"
    );
}

/// The home as it would be after the computer died now, with its log changed.
fn died(home: &Home, change: impl FnOnce(&mut Vec<u8>)) -> Home {
    let after = Home::new();
    let log = |home: &Home| home.folder.path().join("journal.db-wal");
    fs::copy(home.path(), after.path()).expect("copied");
    let mut bytes = fs::read(log(home)).expect("a log");
    change(&mut bytes);
    fs::write(log(&after), bytes).expect("written");
    after
}

/// Bytes that look like nothing.
fn noise(bytes: &mut [u8]) {
    let mut state = 1_u64;
    for byte in bytes {
        // The numbers of a common generator; only that they are mixed matters.
        state = state.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
        *byte = state.to_be_bytes()[0];
    }
}

/// Goal: what SQLite drops of a log in silence is told and never taken for the same record, and what a power cut leaves is in order.
/// Method: a log of forty commits, damaged in several places before the next start.
#[test]
fn a_damaged_log_begins_a_new_journal_id_and_a_torn_one_does_not() {
    let home = Home::new();
    let running = home.start();
    for tick in 1..=40 {
        running.record(tick, 20);
    }
    let id = running.opened.journal_id.clone();
    let all = 40 * 20;

    let untouched = died(&home, |_| {});
    let whole = untouched.start();
    assert_eq!((whole.opened.journal_id.as_str(), whole.opened.last_seq), (id.as_str(), all));

    // Inside the last commit, and nothing behind it: nobody was told of what a power cut leaves like this.
    let torn = died(&home, |log| {
        let end = log.len();
        log[end - 100..].fill(0);
    });
    let running_on = torn.start();
    assert_eq!((running_on.opened.journal_id.as_str(), running_on.opened.last_seq), (id.as_str(), all - 20));
    assert_eq!(running_on.opened.standing, None);

    let damages: [fn(&mut Vec<u8>); 4] = [
        |log| noise(&mut log[40_000..]),
        |log| noise(&mut log[40_000..40_016]),
        |log| noise(&mut log[120_000..200_000]),
        |log| log[20] ^= 1,
    ];
    for (case, damage) in damages.into_iter().enumerate() {
        let damaged = died(&home, damage);
        let running = damaged.start();
        let opened = &running.opened;
        assert_ne!(opened.journal_id, id, "case {case}");
        assert!(opened.last_seq < all, "case {case}: {opened:?}");
        let standing = opened.standing.as_ref().expect("one that cannot be read");
        assert!(standing.unpack::<hearthward_supervise::Standing>().is_err() && opened.away_ms.is_none(), "case {case}");
        assert_eq!(running.record(1, 3)[0], opened.last_seq + 1);
        // Told once: what was left of the old log is not found again.
        let later = died(&damaged, |_| {});
        let again = later.start();
        assert_eq!((&again.opened.journal_id, again.opened.last_seq), (&opened.journal_id, opened.last_seq + 3), "case {case}");
        assert_eq!(again.reader.verify().expect("the chain holds"), opened.last_seq + 3);
    }
}
