//! Goal: a file that cannot be used gives a clear error that names the path and the mend. Method: one bad file after another.

use std::fs;

use hearthward_journal::{Journal, JournalError, Reader};

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
