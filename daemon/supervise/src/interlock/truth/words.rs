//! Goal: a tired person understands why heat is withheld and what would clear it; no change of these words goes by unseen.
//! Method: each sentence of each row, against `words.txt`. `HEARTHWARD_BLESS=1` writes what is said now; read it before it is committed.

use std::fmt::Write as _;
use std::path::Path;
use std::time::Duration;

use super::super::row::{Row, Rows, Verdict};
use super::super::{Effect, InterlockKind, Told, effect, say};
use super::catalogue::{contactor, rule};
use super::{DOORS, Why, fine};
use crate::facts::{DoorTold, Facts, Room, Situation, Tank};
use crate::plan::{FurnacePlan, Heating};
use crate::points::Sample;
use crate::rule::{RuleEffect, RulesNow};
use hearthward_equipment::ShopMs;

const WHYS: [Why; 4] = [Why::Main, Why::Other, Why::Third, Why::Fourth];

/// A row that stands, that is latched meanwhile, and that waits for its reset.
fn rows(kind: InterlockKind, why: Why) -> [Row; 3] {
    let off = effect(kind) == Effect::Cuts || kind == InterlockKind::SharedElectrical;
    let mut all = Rows::default();
    let mut after = |cause, latch| {
        all.step(kind, ShopMs(0), Verdict { cause, latch, off, why });
        *all.row(kind)
    };
    [after(true, false), after(true, true), after(false, false)]
}

fn furnace() -> FurnacePlan {
    let mut plan = crate::testing::furnace("north");
    plan.run_time_limit = Some(Duration::from_secs(5_400));
    let effects = [RuleEffect::Cut, RuleEffect::WithholdStart, RuleEffect::Ask, RuleEffect::Cut, RuleEffect::Alarm];
    let names = ["hood", "fan", "lamp", "lid", "pump"];
    plan.policy.rules = names.iter().zip(effects).map(|(name, effect)| rule(name, effect)).collect();
    plan
}

/// Everything that words may differ by, one thing at a time.
fn cases() -> Vec<(FurnacePlan, Facts, Situation)> {
    let rules = |standing, failed| RulesNow { standing, failed, ..RulesNow::default() };
    let now = Situation { wanted_c: Some(820.0), last_c: Some(100.0), rules: rules(0b00111, 0b00100), ..Situation::default() };
    let mut cases = vec![(furnace(), fine(1.0), now)];
    for contactor in [None, Some(contactor())] {
        cases.push((FurnacePlan { heating: Heating::ByHand, contactor, ..furnace() }, fine(1.0), now));
    }
    for door in DOORS {
        for door_told in [DoorTold::Nobody, DoorTold::Person, DoorTold::Switch] {
            cases.push((furnace(), Facts { door, door_told, ..fine(1.0) }, now));
        }
    }
    for temperature in [Sample::Never, Sample::Stale] {
        for by_hand in [false, true] {
            cases.push((furnace(), Facts { temperature, by_hand, ..fine(1.0) }, now));
        }
    }
    cases.push((furnace(), Facts { set_point: Sample::Good(780.0), ..fine(1.0) }, now));
    for read_c in [820.0, 840.0] {
        cases.push((furnace(), Facts { temperature: Sample::Good(read_c), ..fine(1.0) }, now));
    }
    cases.push((furnace(), Facts { flow_beyond: true, ..fine(1.0) }, now));
    let situations = [
        Situation { exposed: true, ..now },
        Situation { seen_open: true, ..now },
        Situation { interrupted: true, ..now },
        Situation { in_gap: true, ..now },
        Situation { in_gap: true, gap_rides: true, ..now },
        Situation { tank: Tank { heater: true, ..Tank::default() }, ..now },
        Situation { room: Room::Low, ..now },
        Situation { room: Room::Unknown, ..now },
        Situation { room: Room::Danger, ..now },
        Situation { rules: rules(0b11001, 0b01000), ..now },
    ];
    cases.extend(situations.map(|now| (furnace(), fine(1.0), now)));
    cases
}

/// All that a row can say, each sentence once, in the order in which they are met: every reason in every case, and in the first case
/// what is owed besides.
fn sentences(kind: InterlockKind) -> Vec<String> {
    let mut said = Vec::new();
    for (place, (plan, facts, situation)) in cases().iter().enumerate() {
        for row in WHYS.into_iter().flat_map(|why| rows(kind, why).into_iter().take(if place == 0 { 3 } else { 1 })) {
            let mut text = String::new();
            say(kind, &Told { plan, facts, situation, row: &row }, &mut text);
            if !said.contains(&text) {
                said.push(text);
            }
        }
    }
    said
}

#[test]
fn every_sentence_is_the_one_that_is_checked_in() {
    let mut found = String::new();
    for kind in InterlockKind::ALL {
        let _ = writeln!(found, "{kind:?}");
        for sentence in sentences(kind) {
            let _ = writeln!(found, "    {sentence}");
        }
    }
    let kept_at = Path::new(env!("CARGO_MANIFEST_DIR")).join("src/interlock/truth/words.txt");
    if std::env::var_os("HEARTHWARD_BLESS").is_some() {
        std::fs::write(&kept_at, &found).expect("written");
    }
    let kept = std::fs::read_to_string(&kept_at).expect("words.txt is checked in");
    let differs = found.lines().zip(kept.lines()).position(|(one, other)| one != other);
    assert!(
        found == kept,
        "what rows say changed, first at line {differs:?}: if that is wanted, HEARTHWARD_BLESS=1 takes it over"
    );
}

#[test]
fn every_sentence_names_the_furnace_and_is_one() {
    for kind in InterlockKind::ALL {
        for sentence in sentences(kind) {
            assert!(sentence.contains("north") && sentence.ends_with('.'), "{kind:?}: {sentence}");
        }
    }
}
