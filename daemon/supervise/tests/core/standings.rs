//! What is kept across a restart, as a format: its shape is frozen under its number, and what has another number is not trusted.

use std::collections::BTreeSet;
use std::path::Path;

use hearthward_supervise::event::Priority;
use hearthward_supervise::interlock::InterlockKind::{DoorOpen, Stop};
use hearthward_supervise::request::{Answer, Request};
use hearthward_supervise::view::InterlockState::{Clear, Latched};
use hearthward_supervise::{Away, STANDING_FORMAT, Shop};
use serde_json::Value;

use crate::bench::{Bench, Kind, NORTH, irons, plan};

#[test]
fn after_something_that_cannot_be_read_nothing_heats_until_a_person_has_looked_and_resets() {
    let mut bench = Bench::new(&[Kind::gas("north")]);
    bench.shop = Shop::after_unread(bench.plan.clone(), Away::Unknown);
    bench.scans(5);
    assert_eq!(bench.row(NORTH, Stop), Latched);
    let told = bench.events.iter().filter(|event| event.priority == Priority::Urgent && event.text.contains("another version"));
    assert_eq!(told.count(), 1);
    let row = bench.north().interlocks.iter().find(|row| row.kind == Stop).expect("it applies");
    assert!(row.text.contains("nobody knows what was latched") && row.text.contains("reset"), "{}", row.text);
    let start = Request::Start { furnace: NORTH, load: irons(None), ready_in: None };
    assert!(bench.refused(start.clone()).contains("stop"));
    assert!(matches!(bench.reset(), Answer::Done(_)));
    assert_eq!(bench.row(NORTH, Stop), Clear);
    bench.done(start);
}

#[test]
fn a_first_start_is_stopped_by_nothing() {
    let mut bench = Bench::new(&[Kind::gas("north")]);
    bench.scans(5);
    assert_eq!((bench.row(NORTH, Stop), bench.row(NORTH, DoorOpen)), (Clear, Clear));
}

/// Every path of names in a value; the places of lists are one, and values are left out.
fn shape(value: &Value, at: &str, into: &mut BTreeSet<String>) {
    match value {
        Value::Object(fields) => fields.iter().for_each(|(name, value)| shape(value, &format!("{at}/{name}"), into)),
        Value::Array(items) => items.iter().for_each(|value| shape(value, &format!("{at}/*"), into)),
        _ => {
            into.insert(at.to_owned());
        }
    }
}

/// A standing with as much in it as one day can bring: a cycle with a section, questions, alarms, a bypass, tests, a tank that is held.
fn full() -> Value {
    let mut plan = plan(&[Kind::gas("north"), Kind::gas("south")]);
    plan.furnaces[0].policy.may_bypass = vec![hearthward_supervise::interlock::InterlockKind::PurgeFlow];
    let mut bench = Bench::of(plan, None, Away::Unknown);
    bench.load(NORTH, irons(None));
    bench.until("the call", |bench| !bench.view.questions.is_empty());
    bench.done(Request::Bypass {
        furnace: NORTH,
        interlock: hearthward_supervise::interlock::InterlockKind::PurgeFlow,
        reason: "a meter that sticks".to_owned(),
        span: None,
    });
    bench.done(Request::Attest { furnace: NORTH, interlock: Stop, passed: true, how: "seen".to_owned(), wall_ms: 1 });
    bench.done(Request::Prove {
        furnace: NORTH,
        interlock: hearthward_supervise::interlock::InterlockKind::PurgeBeforeHeat,
        wall_ms: 1,
    });
    bench.plants[1].read_c = 1001.0;
    bench.scans(3);
    serde_json::to_value(bench.shop.standing()).expect("plain data has a form in JSON")
}

/// Goal: who changes what is kept raises its number, so that an older one is refused and not misread. Method: the shape of a full
/// standing is frozen in a file under its number; `HEARTHWARD_BLESS=1` writes another, but not under the same number.
#[test]
fn another_shape_has_another_number() {
    let path = Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/core/standing.txt");
    let mut names = BTreeSet::new();
    shape(&full(), "", &mut names);
    let now = format!("format {STANDING_FORMAT}\n{}\n", names.into_iter().collect::<Vec<_>>().join("\n"));
    let kept = std::fs::read_to_string(&path).unwrap_or_default();
    if kept == now {
        return;
    }
    let same_number = kept.lines().next() == now.lines().next();
    assert!(
        !same_number,
        "what is kept across a restart has another shape: raise STANDING_FORMAT, then run with HEARTHWARD_BLESS=1"
    );
    assert!(std::env::var_os("HEARTHWARD_BLESS").is_some(), "STANDING_FORMAT was raised: run with HEARTHWARD_BLESS=1");
    std::fs::write(&path, now).expect("the shape is written");
}
