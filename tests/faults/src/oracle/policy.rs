//! What the shop has decided for itself: rules of its own, and bypasses that name a person, a reason and an end.

use std::collections::BTreeMap;
use std::time::Duration;

use hearthward_equipment::{Name, ShopMs, Tick};
use hearthward_supervise::Away;
use hearthward_supervise::event::{Event, EventBody};
use hearthward_supervise::interlock::InterlockKind;
use hearthward_supervise::request::Request;
use hearthward_supervise::rule::RuleEffect;
use hearthward_supervise::view::InterlockState;

use super::set::Set;
use super::{Found, Moment, Oracle, must};

/// What is never bypassed, as the rules have it.
const NEVER: [InterlockKind; 5] = [
    InterlockKind::DoorOpen,
    InterlockKind::OverTemperature,
    InterlockKind::SensorFault,
    InterlockKind::RoomOxygen,
    InterlockKind::Stop,
];
/// The longest that a bypass may last.
const LONGEST: Duration = Duration::from_secs(24 * 3600);

/// The judge's books of one furnace's policy.
#[derive(Clone, Debug, Default)]
pub(super) struct Policy {
    /// Bypasses: when each was decided, and how much longer it lasts.
    bypasses: BTreeMap<InterlockKind, (Tick, u64)>,
    /// Rules that stand or are latched, and whether they are latched.
    rules: BTreeMap<Name, bool>,
    /// Since when each rule that cuts holds.
    holds: Vec<Option<ShopMs>>,
}

impl Policy {
    /// Lets bypasses grow older.
    pub(super) fn pass(&mut self, span_ms: u64) {
        self.bypasses.values_mut().for_each(|(_, left_ms)| *left_ms = left_ms.saturating_sub(span_ms));
    }

    /// What is out of force now.
    pub(super) fn in_force(&self, durable: Tick) -> Set {
        let mut set = Set::default();
        for (kind, (decided, left_ms)) in &self.bypasses {
            set.add(*kind, *left_ms > 0 && durable >= *decided);
        }
        set
    }

    /// A rule stands or is latched, as was told.
    pub(super) fn stands(&self, rule: &Name) -> bool {
        self.rules.contains_key(rule)
    }

    pub(super) fn restarted(&mut self, away: Away) {
        let gone_ms = if let Away::Known(span) = away { span.0 } else { u64::MAX };
        self.pass(gone_ms);
        self.bypasses.values_mut().for_each(|(decided, _)| *decided = Tick(0));
        self.rules.retain(|_, latched| *latched);
        self.holds.clear();
    }

    /// Notes an event that is about it.
    pub(super) fn note(&mut self, event: &Event, tick: Tick, asked: &[Request]) -> Found {
        match &event.body {
            EventBody::Bypassed { interlock, reason, for_ms } => {
                let asks = |ask: &Request| matches!(ask, Request::Bypass { interlock: kind, .. } if kind == interlock);
                must(event.person.is_some() && asked.iter().any(asks), || "a bypass that nobody asked for".to_owned())?;
                must(!NEVER.contains(interlock), || format!("invariant 5: {interlock:?} was bypassed"))?;
                let ends = u128::from(*for_ms) <= LONGEST.as_millis() && *for_ms > 0;
                must(ends && !reason.trim().is_empty(), || "invariant 5: a bypass without a reason or an end".to_owned())?;
                let known = self.bypasses.insert(*interlock, (tick, *for_ms));
                must(known.is_none(), || format!("invariant 7: {interlock:?} was bypassed twice"))
            }
            EventBody::Restored { interlock, lapsed } => {
                let (_, left_ms) = self.bypasses.remove(interlock).ok_or("invariant 7: restored and never bypassed")?;
                let asks = |ask: &Request| matches!(ask, Request::Restore { interlock: kind, .. } if kind == interlock);
                let due = if *lapsed { left_ms == 0 } else { event.person.is_some() && asked.iter().any(asks) };
                must(due, || format!("a bypass ended {left_ms} ms early and nobody asked"))
            }
            EventBody::Rule { rule, stands, latched, .. } => {
                if *stands || *latched {
                    self.rules.insert(rule.clone(), *latched);
                    return Ok(());
                }
                must(self.rules.remove(rule).is_some(), || "invariant 7: a rule cleared that did not stand".to_owned())
            }
            _ => Ok(()),
        }
    }
}

impl Oracle {
    /// Rules that cut: one that holds for longer than its time, or that reads what cannot be relied upon. Says whether one cuts now,
    /// and whether one that latches does.
    pub(super) fn weigh_rules(&mut self, place: usize, now: ShopMs) -> (bool, bool) {
        let plan = std::sync::Arc::clone(&self.plan);
        let rules = &plan.furnaces[place].policy.rules;
        let mut cuts = (false, false);
        self.known[place].policy.holds.resize(rules.len(), None);
        for (at, rule) in rules.iter().enumerate().filter(|(_, rule)| rule.effect == RuleEffect::Cut) {
            // The simulator's rules all read one switch and hold when it is off.
            let read = rule.when.inputs().next().and_then(|input| {
                let heard = self.of(Some(input.point))?;
                heard.good(now, input.stale_after)
            });
            let since = &mut self.known[place].policy.holds[at];
            *since = if read.is_some_and(|on| on <= 0.5) { since.or(Some(now)) } else { None };
            let cut = read.is_none() || since.is_some_and(|since| now.since(since) >= rule.after);
            cuts = (cuts.0 || cut, cuts.1 || (cut && rule.latch));
        }
        cuts
    }

    /// What is shown of rules and bypasses is what was told, and every event of a furnace says what is bypassed there.
    pub(super) fn check_policy(&self, moment: &Moment<'_>) -> Found {
        for (place, (known, seen)) in self.known.iter().zip(&moment.view.furnaces).enumerate() {
            let name = &self.plan.furnaces[place].name;
            for rule in &seen.rules {
                let told = known.policy.stands(&rule.name);
                must(told == (rule.state != InterlockState::Clear), || {
                    format!("invariant 7: rule {} of {name} is shown {:?} and was not told so", rule.name, rule.state)
                })?;
            }
            for row in &seen.interlocks {
                let left_ms = known.policy.bypasses.get(&row.kind).map(|(_, left_ms)| *left_ms);
                let shown_ms = row.bypass.as_ref().map(|bypass| bypass.left_ms);
                must(left_ms == shown_ms, || {
                    format!("the bypass of {:?} of {name} has {shown_ms:?} ms left, by the judge {left_ms:?}", row.kind)
                })?;
                must(left_ms != Some(0), || format!("invariant 5: the bypass of {:?} of {name} is past its end", row.kind))?;
            }
            if known.policy.bypasses.is_empty() {
                continue;
            }
            let silent = moment.out.events.iter().find(|event| {
                let own = event.furnace.is_some_and(|id| id.index() == place);
                own && !matches!(event.body, EventBody::Bypassed { .. }) && !event.text.contains("Bypassed by")
            });
            must(silent.is_none(), || format!("an event of {name} does not say what is bypassed: {silent:?}"))?;
        }
        Ok(())
    }
}
