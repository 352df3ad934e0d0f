//! The door that heat passes through: what a permit may be, for every grant, every wish and every state of the disk.

use std::time::Duration;

use hearthward_equipment::quantity::celsius;
use hearthward_equipment::{FurnaceId, Generation, HeatPointId, ShopMs, Tick};

use super::super::permit::{Case, Grant, GrantChange, Means, judge};
use super::super::row::{Rows, Verdict};
use super::super::{HeatOrder, InterlockKind, Permit};

const NOW: Tick = Tick(6);

/// Every grant that a few ticks can come to: nothing, something, more of it pending since tick 5.
fn grants() -> Vec<Grant> {
    let mut grants = Vec::new();
    for granted_c in [None, Some(200.0), Some(800.0)] {
        for pending_c in [None, Some(500.0), Some(900.0)] {
            let mut grant = Grant::default();
            grant.step(Tick(1), Tick(1), granted_c, true);
            if pending_c.is_some() {
                grant.step(Tick(5), Tick(4), pending_c, true);
            }
            grants.push(grant);
        }
    }
    grants
}

#[test]
fn narrowing_acts_at_once_and_widening_when_it_is_on_disk() {
    for before in grants() {
        for allowed_c in [None, Some(f64::NAN), Some(f64::INFINITY), Some(200.0), Some(500.0), Some(800.0), Some(900.0)] {
            for durable in [Tick(4), Tick(5), NOW] {
                for may_widen in [false, true] {
                    let mut after = before;
                    let change = after.step(NOW, durable, allowed_c, may_widen);
                    let at = format!("{before:?} allowed {allowed_c:?} durable {durable:?} may widen {may_widen}: {after:?}");
                    follows(&before, &after, allowed_c, durable, may_widen, &at);
                    told(&before, &after, change, &at);
                }
            }
        }
    }
}

/// "Narrowing acts, then is written; widening is written, then acts."
fn follows(before: &Grant, after: &Grant, allowed_c: Option<f64>, durable: Tick, may_widen: bool, at: &str) {
    let Some(allowed_c) = allowed_c.filter(|allowed_c| allowed_c.is_finite()) else {
        assert_eq!((after.granted_c(), after.waits()), (None, false), "{at}");
        return;
    };
    let kept_c = before.granted_c().map(|granted_c| f64::min(granted_c, allowed_c));
    if kept_c == Some(allowed_c) {
        assert_eq!((after.granted_c(), after.waits()), (kept_c, false), "what is not more waits for nothing: {at}");
        return;
    }
    let waited = before.waits() && before.told_c() == Some(allowed_c);
    let decided = if waited { Tick(5) } else { NOW };
    let widens = may_widen && durable >= decided;
    assert_eq!(after.granted_c(), if widens { Some(allowed_c) } else { kept_c }, "{at}");
    assert_eq!(after.waits(), !widens && (may_widen || waited), "{at}");
    if after.waits() {
        assert_eq!(after.told_c(), Some(allowed_c), "{at}");
        let mut later = *after;
        later.step(Tick(7), decided, Some(allowed_c), true);
        assert_eq!(later.granted_c(), Some(allowed_c), "it waits for the tick that decided it: {at}");
    }
}

/// "Every change of permit … is an event, exactly once."
fn told(before: &Grant, after: &Grant, change: Option<GrantChange>, at: &str) {
    let expected = match (before.told_c(), after.told_c()) {
        (Some(_), None) => Some(GrantChange::Withheld),
        (before_c, Some(after_c)) if before_c != Some(after_c) => Some(GrantChange::Permitted(after_c)),
        _ => None,
    };
    assert_eq!(change, expected, "{at}");
}

/// The order that a permit up to 500 °C is turned into, if there is one.
fn order(rows: &Rows, turn: impl for<'t> FnOnce(Permit<'t>) -> HeatOrder) -> Option<HeatOrder> {
    let mut grant = Grant::default();
    grant.step(NOW, NOW, Some(500.0), true);
    let (furnace, generation, scan) = (FurnaceId(2), Generation(3), Duration::from_millis(100));
    judge(&Case { furnace, rows, grant: &grant, generation, tick: NOW, now: ShopMs(1_000), scan }, turn)
}

#[test]
fn an_order_is_a_short_lease_of_what_was_granted() {
    let rows = Rows::default();
    let one = order(&rows, |permit| permit.closing(HeatPointId(4))).expect("nothing withholds");
    assert_eq!((one.furnace(), one.generation(), one.tick()), (FurnaceId(2), Generation(3), NOW));
    assert_eq!((one.means(), one.expires()), (&Means::Close(HeatPointId(4)), ShopMs(1_300)));
    for (wanted_c, given_c) in [(20.0, 20.0), (500.0, 500.0), (500.1, 500.0), (f64::INFINITY, 500.0), (f64::NAN, 0.0)] {
        let given = order(&rows, |permit| permit.set_point(celsius(wanted_c))).expect("nothing withholds");
        assert_eq!(given.means(), &Means::SetPoint(celsius(given_c)), "{wanted_c}");
    }
    let highest = order(&rows, |permit| {
        assert_eq!(permit.ceiling(), celsius(500.0));
        permit.run_program(7, celsius(500.0)).expect("it stays below the ceiling")
    });
    assert_eq!(highest.expect("nothing withholds").means(), &Means::RunProgram(7));
}

#[test]
fn each_row_that_withholds_stands_in_the_way() {
    for kind in InterlockKind::ALL {
        for (verdict, passes) in [(Verdict::alarm(true), true), (Verdict::off(true), false), (Verdict::latched(true), false)] {
            let mut rows = Rows::default();
            // A stop that only alarms does not exist.
            if passes && kind == InterlockKind::Stop {
                continue;
            }
            rows.step(kind, ShopMs(0), verdict);
            let heats = order(&rows, |permit| permit.set_point(celsius(20.0))).is_some();
            assert_eq!(heats, passes, "{kind:?} {verdict:?}");
        }
    }
}

#[test]
fn without_a_grant_nothing_is_judged() {
    let (rows, grant) = (Rows::default(), Grant::default());
    let (furnace, generation, scan) = (FurnaceId(2), Generation(3), Duration::from_millis(100));
    let case = Case { furnace, rows: &rows, grant: &grant, generation, tick: NOW, now: ShopMs(1_000), scan };
    assert!(judge(&case, |_| ()).is_none());
}
