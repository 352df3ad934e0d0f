//! Goal: the file's layout is a contract; a change of it shows in review. Method: the tables of a fresh journal against a checked-in text.
//! To take a wanted change over, run with `HEARTHWARD_BLESS=1`.

use std::path::Path;

use crate::common::{Home, by_hand};

#[test]
fn the_tables_are_those_that_are_checked_in() {
    let home = Home::new();
    home.start().finish();
    let connection = by_hand(&home.path());
    let mut statement =
        connection.prepare("SELECT sql FROM sqlite_schema WHERE sql IS NOT NULL ORDER BY name").expect("readable");
    let tables: Vec<String> =
        statement.query_map([], |row| row.get(0)).expect("readable").map(|sql| sql.expect("text")).collect();
    let found = format!("{};\n", tables.join(";\n"));
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
