//! Goal: a changed row is seen. Method: every bit of every column of one row is turned, one at a time.

use hearthward_journal::Reader;
use rusqlite::types::Value;

use crate::common::{Home, by_hand};

const COLUMNS: [&str; 15] = [
    "seq", "boot", "mono_ms", "wall_ms", "tick", "ord", "plan", "furnace", "kind", "priority", "person", "text", "body", "prev",
    "hash",
];

#[test]
fn each_bit_of_a_row_counts() {
    let home = Home::new();
    let running = home.start();
    running.record(1, 3);
    running.finish();
    let connection = by_hand(&home.path());
    let mut turned = 0;
    for column in COLUMNS {
        let whole: Value =
            connection.query_row(&format!("SELECT {column} FROM event WHERE seq = 2"), [], |row| row.get(0)).expect("the row");
        for bit in 0..bits(&whole) {
            let Some(changed) = turn(&whole, bit) else { continue };
            // The middle row, so that a changed number is a missing event; a number that another row has cannot be stored.
            let sql = format!("UPDATE event SET {column} = ?1 WHERE seq = 2");
            if connection.execute(&sql, [&changed]).is_err() {
                continue;
            }
            let found = Reader::open(&home.path()).map(|reader| reader.verify());
            assert!(!matches!(found, Ok(Ok(_))), "bit {bit} of {column} was turned and not seen");
            let place = if column == "seq" { changed } else { Value::Integer(2) };
            connection
                .execute(&format!("UPDATE event SET {column} = ?1 WHERE seq = ?2"), rusqlite::params![whole, place])
                .expect("turned back");
            turned += 1;
        }
    }
    assert!(turned > 1500, "only {turned} bits were tried");
    assert_eq!(Reader::open(&home.path()).expect("opens").verify().expect("whole again"), 3);
}

#[test]
fn an_exchanged_row_is_seen() {
    let home = Home::new();
    let running = home.start();
    running.record(1, 4);
    running.finish();
    by_hand(&home.path())
        .execute_batch("UPDATE event SET seq = 99 WHERE seq = 2; UPDATE event SET seq = 2 WHERE seq = 3; UPDATE event SET seq = 3 WHERE seq = 99")
        .expect("exchanged");
    let error = Reader::open(&home.path()).expect("opens").verify().expect_err("was not seen");
    assert!(error.to_string().contains("event 2"), "{error}");
}

fn bits(value: &Value) -> usize {
    match value {
        Value::Integer(_) => 64,
        Value::Text(text) => text.len() * 8,
        Value::Blob(bytes) => bytes.len() * 8,
        Value::Null | Value::Real(_) => 0,
    }
}

/// The value with one bit turned; nothing when that is no longer text.
fn turn(value: &Value, bit: usize) -> Option<Value> {
    let turned = |bytes: &[u8]| {
        let mut bytes = bytes.to_vec();
        bytes[bit / 8] ^= 1 << (bit % 8);
        bytes
    };
    match value {
        Value::Integer(number) => Some(Value::Integer(number ^ (1 << bit))),
        Value::Text(text) => String::from_utf8(turned(text.as_bytes())).ok().map(Value::Text),
        Value::Blob(bytes) => Some(Value::Blob(turned(bytes))),
        Value::Null | Value::Real(_) => None,
    }
}
