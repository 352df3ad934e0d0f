//! Goal: the file's layout is a contract; a change of it shows in review. Method: the tables of a fresh journal against a checked-in text.
//! To take a wanted change over, run with `HEARTHWARD_BLESS=1`.

use std::path::Path;

use hearthward_journal::Reader;

use crate::common::{Home, by_hand, read_all};

#[test]
fn the_tables_are_those_that_are_checked_in() {
    let home = Home::new();
    home.start().finish();
    let found = tables(&home);
    let file = Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/schema.sql");
    if std::env::var_os("HEARTHWARD_BLESS").is_some() {
        std::fs::write(&file, &found).expect("written");
    }
    let kept = std::fs::read_to_string(&file).expect("checked in");
    assert_eq!(
        found, kept,
        "the journal's tables changed: if that is wanted, take it over with HEARTHWARD_BLESS=1 and count the format up"
    );
}

/// Goal: a journal of format 1 goes on under this version with all that it holds, and has then the same tables as a new one. Method: the
/// tables of format 1 as they were checked in, with a start, an event and what stood.
#[test]
fn a_journal_of_format_1_goes_on() {
    let home = Home::new();
    let old = by_hand(&home.path());
    old.execute_batch(include_str!("schema-1.sql")).expect("tables");
    old.pragma_update(None, "application_id", 0x4877_4a31).expect("set");
    old.pragma_update(None, "user_version", 1).expect("set");
    old.execute_batch(
        "INSERT INTO meta VALUES ('journal_id', 'an-old-one'), ('format', '1');
         INSERT INTO plan VALUES (1, 5, x'00', '[shop]', '{\"furnaces\":[],\"directory\":{\"units\":[],\"points\":[]}}');
         INSERT INTO boot VALUES (1, 1, 5, '', 0, '0.1.0', 1);
         INSERT INTO standing VALUES (1, 0, 1, 3, 300, 5, 1, x'0102', x'');",
    )
    .expect("rows");
    drop(old);
    let reader = Reader::open(&home.path()).expect("read as it is");
    assert!(reader.starts().expect("readable").is_empty(), "format 1 kept nothing to go through again");

    let running = home.start();
    assert_eq!((running.opened.journal_id.as_str(), running.opened.boot), ("an-old-one", 2));
    assert_eq!(running.opened.standing.as_ref().map(|standing| standing.body.as_slice()), Some(&[1, 2][..]));
    running.record(1, 2);
    assert_eq!(read_all(&running.reader).len(), 2);
    running.finish();
    let new = Home::new();
    new.start().finish();
    assert_eq!(tables(&home), tables(&new));
    let format: String =
        by_hand(&home.path()).query_row("SELECT value FROM meta WHERE key = 'format'", [], |row| row.get(0)).expect("there");
    assert_eq!(format, "2");
}

fn tables(home: &Home) -> String {
    let connection = by_hand(&home.path());
    let mut statement =
        connection.prepare("SELECT sql FROM sqlite_schema WHERE sql IS NOT NULL ORDER BY name").expect("readable");
    let tables: Vec<String> =
        statement.query_map([], |row| row.get(0)).expect("readable").map(|sql| sql.expect("text")).collect();
    format!("{};\n", tables.join(";\n"))
}
