//! The two rows of the shop's own rules: one for those that cut heat, one for those that only warn, forbid a start or ask.

use std::fmt::Write as _;

use super::InterlockKind;
use super::catalogue::{Entry, For, NoHeat, Told, owed};
use super::row::Verdict;
use crate::facts::Situation;
use crate::rule::RuleEffect;

pub(super) const RULE: Entry = Entry {
    kind: InterlockKind::ShopRule,
    id: "shop_rule",
    title: "Shop rule",
    does: "cuts heat while a rule of the shop's own holds or cannot be evaluated",
    clears: "the rule holding no more; by a reset where it latches",
    causes: For::People,
};

pub(super) const WATCH: Entry = Entry {
    kind: InterlockKind::ShopWatch,
    id: "shop_watch",
    title: "Shop watch",
    does: "alarms, forbids a start or asks while a rule of the shop's own holds or cannot be evaluated; heat is left alone",
    clears: "the rule holding no more; by a reset where it latches",
    causes: For::Steel,
};

pub(super) fn rule(now: &Situation) -> Verdict {
    Verdict { latch: now.rules.cuts_latched, ..Verdict::off(now.rules.cuts) }
}

pub(super) fn watch(now: &Situation) -> Verdict {
    Verdict { latch: now.rules.warns_latched, ..Verdict::alarm(now.rules.warns) }
}

pub(super) fn say(kind: InterlockKind, told: &Told<'_>, into: &mut String) {
    let (name, now) = (&told.plan.name, &told.situation.rules);
    let no_heat = NoHeat(told.plan);
    let _ = match kind {
        InterlockKind::ShopRule => write!(into, "{no_heat}, by"),
        _ => write!(into, "{name} is warned of by"),
    };
    let mut comma = "";
    for (place, rule) in told.plan.policy.rules.iter().enumerate() {
        let cuts = rule.effect == RuleEffect::Cut;
        if cuts != (kind == InterlockKind::ShopRule) || !now.has(place) {
            continue;
        }
        let failed = if now.has_failed(place) { ", or what it reads cannot be relied upon" } else { "" };
        let no_start = if rule.effect == RuleEffect::WithholdStart { "; no load is started" } else { "" };
        let _ = write!(into, "{comma} rule {}: {}{failed}{no_start}", rule.name, rule.text);
        comma = ";";
    }
    into.push('.');
    into.push_str(owed(told));
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::rule::RulesNow;

    #[test]
    fn a_rule_that_cuts_cuts_and_the_others_leave_heat_alone() {
        for bits in 0..16_u8 {
            let bit = |place: u8| bits & (1 << place) != 0;
            let rules =
                RulesNow { cuts: bit(0), cuts_latched: bit(1), warns: bit(2), warns_latched: bit(3), ..RulesNow::default() };
            let now = Situation { rules, ..Situation::default() };
            assert_eq!(rule(&now), Verdict { latch: bit(1), ..Verdict::off(bit(0)) });
            assert_eq!(watch(&now), Verdict { latch: bit(3), ..Verdict::alarm(bit(2)) });
        }
    }
}
