//! Rules of the shop's own: what they do, what trips them, and what an expression may be.

use std::time::Duration;

use hearthward_equipment::{Evidence, PointId, Quality, Reading, Value};
use hearthward_supervise::event::EventBody;
use hearthward_supervise::interlock::InterlockKind::{ShopRule, ShopWatch};
use hearthward_supervise::observe::{Observation, Urgency};
use hearthward_supervise::request::{Answer, Ask, Request};
use hearthward_supervise::rule::{Draft, Expression, Input, MOST_NODES, Misfit, Operator, Quantity, RuleEffect, RulePlan};
use hearthward_supervise::view::InterlockState::{Clear, Latched, Tripped};
use hearthward_supervise::{Away, interlock::InterlockKind};
use uom::si::f64::Ratio;
use uom::si::ratio::percent;

use crate::bench::{Bench, Kind, NORTH, irons, plan};
use crate::plans::name;

/// A rule on a hood's switch, which is a point of no other use.
struct Hood {
    bench: Bench,
    point: PointId,
}

impl Hood {
    fn new(effect: RuleEffect, latch: bool, after_s: u64) -> Self {
        let mut plan = plan(&[Kind::gas("north")]);
        let point = plan.directory.point(&"io/north.hood".parse().expect("a test's address"));
        let input = Input { point, quantity: Quantity::Flag, stale_after: Duration::from_secs(3) };
        let when = Draft::apply(Operator::Not, vec![Draft::input(input)]).and_then(Draft::finish).expect("it fits");
        plan.furnaces[0].policy.rules = vec![RulePlan {
            name: name("hood"),
            text: "the hood is off".to_owned(),
            source: "!hood_on".to_owned(),
            when,
            effect,
            latch,
            after: Duration::from_secs(after_s),
        }];
        plan.furnaces[0].policy.may_bypass = vec![ShopRule];
        let mut hood = Self { bench: Bench::of(plan, None, Away::Unknown), point };
        hood.scans(2, Some(true));
        hood
    }

    /// Scans with the hood's switch as given, or silent.
    fn scans(&mut self, count: u32, on: Option<bool>) {
        for _ in 0..count {
            if let Some(on) = on {
                self.bench.reading(self.point, Some(Value::Flag(on)), Quality::Good);
            }
            self.bench.scan();
        }
    }

    fn heat(&mut self) {
        self.bench.done(Request::Start { furnace: NORTH, load: irons(None), ready_in: None });
        self.scans(1, Some(true));
        self.bench.confirm(|ask| matches!(ask, Ask::LoadAndShut));
        for _ in 0..5_000 {
            self.scans(1, Some(true));
            if self.bench.step() == Some(hearthward_supervise::recipe::StepKind::Soak) && self.bench.heats(NORTH) {
                return;
            }
        }
        panic!("it never soaked");
    }
}

#[test]
fn a_rule_that_cuts_cuts_in_the_tick_that_saw_it_and_clears_by_itself() {
    let mut hood = Hood::new(RuleEffect::Cut, false, 0);
    hood.heat();
    hood.scans(1, Some(false));
    assert!(!hood.bench.out.cuts.is_empty() && !hood.bench.heats(NORTH));
    assert_eq!(hood.bench.row(NORTH, ShopRule), Tripped);
    let row = hood.bench.north().interlocks.iter().find(|row| row.kind == ShopRule).expect("it applies");
    assert!(row.text.contains("the hood is off") && row.text.contains("rule hood"), "{}", row.text);
    hood.scans(3, Some(true));
    assert!(hood.bench.heats(NORTH) && hood.bench.row(NORTH, ShopRule) == Clear);
    assert_eq!(hood.bench.said(|body| matches!(body, EventBody::Rule { .. })), 2, "when it came and when it went");
}

#[test]
fn what_cannot_be_evaluated_trips_at_once_whatever_the_delay() {
    for (value, quality) in [
        (None, Quality::Good),
        (Some(Value::Flag(true)), Quality::Bad),
        (Some(Value::Flag(true)), Quality::Uncertain),
        (Some(Value::Share(Ratio::new::<percent>(50.0))), Quality::Good),
        (Some(Value::Number(f64::NAN)), Quality::Good),
    ] {
        let mut hood = Hood::new(RuleEffect::Cut, false, 60);
        hood.heat();
        hood.bench.reading(hood.point, value.clone(), quality);
        hood.bench.scan();
        assert!(!hood.bench.heats(NORTH), "{value:?} {quality:?}");
        assert!(hood.bench.north().rules[0].failed);
    }
    let mut hood = Hood::new(RuleEffect::Cut, false, 60);
    hood.heat();
    hood.scans(5, None);
    assert!(!hood.bench.heats(NORTH), "a reading that is too old");
}

/// Goal: what a rule that cuts reads hurries a tick, as the door does. Method: the urgency of each reading, between scans.
#[test]
fn a_reading_that_trips_a_rule_is_decided_on_at_once() {
    let tell = |hood: &mut Hood, value: Option<Value>, quality: Quality| {
        let (point, at) = (hood.point, hood.bench.now);
        let reading = Reading { point, at, value, quality, evidence: Evidence::Measured };
        hood.bench.shop.observe(at, Observation::Reading(reading))
    };
    let (on, off) = (Some(Value::Flag(true)), Some(Value::Flag(false)));
    let mut hood = Hood::new(RuleEffect::Cut, false, 0);
    hood.heat();
    assert_eq!(tell(&mut hood, on.clone(), Quality::Good), Urgency::Scan, "nothing new");
    assert_eq!(tell(&mut hood, off.clone(), Quality::Good), Urgency::Now);
    hood.bench.tick();
    assert!(!hood.bench.heats(NORTH), "without a scan in between");
    assert_eq!(tell(&mut hood, off.clone(), Quality::Good), Urgency::Scan, "it stands already");
    assert_eq!(tell(&mut hood, on.clone(), Quality::Good), Urgency::Scan, "what clears waits for the scan");
    hood.bench.tick();
    assert_eq!(tell(&mut hood, on.clone(), Quality::Bad), Urgency::Now, "it cannot be evaluated");
    let mut waits = Hood::new(RuleEffect::Cut, false, 60);
    waits.heat();
    assert_eq!(tell(&mut waits, off.clone(), Quality::Good), Urgency::Scan, "it waits for its time");
    assert_eq!(tell(&mut waits, None, Quality::Bad), Urgency::Now, "and for nothing if it cannot be evaluated");
    let mut warns = Hood::new(RuleEffect::Alarm, false, 0);
    warns.heat();
    assert_eq!(tell(&mut warns, off, Quality::Good), Urgency::Scan, "it leaves heat alone");
}

#[test]
fn it_waits_for_its_time_and_latches_where_it_is_to() {
    let mut hood = Hood::new(RuleEffect::Cut, true, 10);
    hood.heat();
    hood.scans(9, Some(false));
    hood.scans(1, Some(true));
    assert!(hood.bench.heats(NORTH), "off for too short");
    hood.scans(12, Some(false));
    assert!(!hood.bench.heats(NORTH));
    hood.scans(5, Some(true));
    assert_eq!((hood.bench.row(NORTH, ShopRule), hood.bench.north().rules[0].state), (Latched, Latched));
    hood.bench.restart(Away::Known(hearthward_equipment::ShopMs(1_000)));
    hood.scans(2, Some(true));
    assert_eq!(hood.bench.row(NORTH, ShopRule), Latched, "a restart resets nothing");
    hood.bench.reading(hood.point, Some(Value::Flag(true)), Quality::Good);
    assert!(matches!(hood.bench.reset(), Answer::Done(_)));
    assert_eq!((hood.bench.row(NORTH, ShopRule), hood.bench.north().rules[0].state), (Clear, Clear));
}

#[test]
fn the_effects_that_leave_heat_alone() {
    let mut hood = Hood::new(RuleEffect::Ask, false, 0);
    hood.heat();
    hood.scans(1, Some(false));
    assert!(hood.bench.heats(NORTH) && hood.bench.row(NORTH, ShopWatch) == Tripped);
    assert!(hood.bench.question(|ask| matches!(ask, Ask::Steel { .. })).is_some());
    let mut hood = Hood::new(RuleEffect::Alarm, false, 0);
    hood.heat();
    hood.scans(1, Some(false));
    assert!(hood.bench.heats(NORTH) && hood.bench.view.questions.is_empty());
    let mut hood = Hood::new(RuleEffect::WithholdStart, false, 0);
    hood.scans(2, Some(false));
    let words = hood.bench.refused(Request::Start { furnace: NORTH, load: irons(None), ready_in: None });
    assert!(words.contains("rule hood") && words.contains("the hood is off"), "{words}");
}

#[test]
fn a_bypass_takes_the_rules_out_of_force() {
    let mut hood = Hood::new(RuleEffect::Cut, true, 0);
    hood.heat();
    let (interlock, reason) = (InterlockKind::ShopRule, "the switch is being changed".to_owned());
    hood.bench.done(Request::Bypass { furnace: NORTH, interlock, reason, span: None });
    hood.scans(5, Some(false));
    assert!(hood.bench.heats(NORTH) && hood.bench.row(NORTH, ShopRule) == Tripped);
    hood.bench.done(Request::Restore { furnace: NORTH, interlock });
    assert!(!hood.bench.heats(NORTH));
}

fn input(quantity: Quantity) -> Draft {
    Draft::input(Input { point: PointId(0), quantity, stale_after: Duration::from_secs(1) })
}

fn two(operator: Operator, one: Draft, other: Draft) -> Result<Draft, Misfit> {
    Draft::apply(operator, vec![one, other])
}

#[test]
fn quantities_that_do_not_go_together_are_refused() {
    use Quantity::{Flag, GasFlow, Number, Share, Temperature};
    let plain = || Draft::number(1.0).expect("a number");
    let table: [(Operator, Draft, Draft, bool); 14] = [
        (Operator::Less, input(Temperature), plain(), true),
        (Operator::Less, input(Temperature), input(Temperature), true),
        (Operator::Less, input(Temperature), input(Share), false),
        (Operator::Less, input(Flag), plain(), false),
        (Operator::Add, input(GasFlow), input(GasFlow), true),
        (Operator::Add, input(GasFlow), input(Temperature), false),
        (Operator::Multiply, input(GasFlow), plain(), true),
        (Operator::Multiply, input(GasFlow), input(GasFlow), false),
        (Operator::Divide, input(GasFlow), input(GasFlow), true),
        (Operator::Divide, plain(), input(GasFlow), false),
        (Operator::Equal, input(Flag), Draft::flag(true), true),
        (Operator::Equal, input(Number), plain(), true),
        (Operator::Equal, input(Share), plain(), false),
        (Operator::And, input(Flag), input(Temperature), false),
    ];
    for (operator, one, other, fits) in table {
        let words = format!("{operator:?} {one:?} {other:?}");
        assert_eq!(two(operator, one, other).is_ok(), fits, "{words}");
    }
    let difference = two(Operator::Subtract, input(Temperature), input(Temperature)).expect("it fits");
    assert!(
        two(Operator::Less, difference, input(Share)).is_ok(),
        "a difference of temperatures is none, a plain number goes with all"
    );
    assert!(Draft::number(f64::INFINITY).is_err() && input(Temperature).finish().is_err() && Draft::flag(true).finish().is_err());
    assert!(Draft::apply(Operator::Not, vec![]).is_err());
}

#[test]
fn an_expression_is_bounded() {
    let more = |draft: Draft| two(Operator::And, draft, input(Quantity::Flag));
    let mut draft = input(Quantity::Flag);
    let mut nodes = 1;
    while let Ok(next) = more(draft.clone()) {
        (draft, nodes) = (next, nodes + 2);
        assert!(nodes <= MOST_NODES);
    }
    assert!(nodes > MOST_NODES - 3);
    let deeper = |draft: Draft| two(Operator::And, input(Quantity::Flag), draft);
    let mut draft = input(Quantity::Flag);
    let mut deep = 1;
    while let Ok(next) = deeper(draft.clone()) {
        (draft, deep) = (next, deep + 1);
        assert!(deep < MOST_NODES / 2);
    }
    let whole: Expression = draft.finish().expect("it says yes or no");
    assert_eq!(whole.inputs().count(), deep);
}
