//! What the demo came to, from its own record.

use std::collections::{BTreeMap, BTreeSet};
use std::fmt::Write as _;
use std::time::Duration;

use hearthward_equipment::Generation;
use hearthward_journal::Recorded;
use hearthward_supervise::event::EventBody;
use hearthward_supervise::interlock::InterlockKind;
use hearthward_supervise::plan::ShopPlan;
use serde::Serialize;

/// What is counted while the demo runs.
#[derive(Debug, Default, Serialize)]
pub(crate) struct Summary {
    shop: String,
    events: u64,
    shop_time_s: u64,
    /// Cuts by an interlock of heat that was permitted; the service's own end is none, nor is a door of a furnace that does not heat.
    cuts: u32,
    /// Furnaces whose heat was permitted since it was last cut.
    #[serde(skip)]
    permitted: BTreeSet<String>,
    /// Furnaces that have not said yet that they do not heat, with their last cut.
    unconfirmed: BTreeMap<String, Generation>,
    /// How long the slowest furnace took to say so, in milliseconds of shop time; none where each did within the scan of its cut: the
    /// demo's clock stands still between two scans.
    #[serde(skip_serializing_if = "Option::is_none")]
    slowest_confirmation_ms: Option<u64>,
    #[serde(skip)]
    charged: Vec<(String, Option<String>)>,
    #[serde(skip)]
    proved: Vec<String>,
    parts_under: u32,
    parts_in_time: u32,
    slowest_transfer_ms: u64,
    door_openings_at_heat: u32,
    ended: Vec<Outcome>,
    refused: Vec<String>,
}

/// How one load ended.
#[derive(Debug, Serialize)]
struct Outcome {
    load: String,
    outcome: String,
    soaked_s: u64,
    purge_proved: bool,
}

impl Summary {
    pub(super) fn new(plan: &ShopPlan) -> Self {
        Self { shop: plan.name.clone(), ..Self::default() }
    }

    /// Whether both loads have ended.
    pub(super) fn is_over(&self) -> bool {
        self.ended.len() >= 2
    }

    /// Whether it went as the demo shows it: the irons complete, the knives never heated.
    pub(crate) fn is_good(&self) -> bool {
        let outcome = |load: &str| self.ended.iter().find(|ended| ended.load == load);
        outcome("irons-17").is_some_and(|irons| irons.outcome == "complete" && irons.purge_proved)
            && outcome("knives-4").is_some_and(|knives| knives.outcome == "aborted" && !knives.purge_proved)
            && self.parts_under == 4
            && self.is_cold()
            && self.door_openings_at_heat > 0
    }

    pub(super) fn refused(&mut self, words: String) {
        self.refused.push(words);
    }

    pub(super) fn take(&mut self, event: &Recorded) {
        self.events = event.seq;
        self.shop_time_s = event.at.0 / 1000;
        match &event.body {
            Some(EventBody::CycleBegan { load, .. }) => {
                self.charged.push((load.to_string(), event.furnace.as_ref().map(ToString::to_string)));
            }
            Some(EventBody::Permitted { .. }) => self.permitted.extend(event.furnace.as_ref().map(ToString::to_string)),
            Some(EventBody::Cut { generation, because, .. }) => {
                let furnace = event.furnace.as_ref().map(ToString::to_string).unwrap_or_default();
                self.cut(&furnace, because);
                self.unconfirmed.insert(furnace, *generation);
            }
            Some(EventBody::CutConfirmed { after_ms, generation }) => {
                self.unconfirmed.retain(|_, cut| *cut > *generation);
                self.slowest_confirmation_ms = self.slowest_confirmation_ms.max(Some(*after_ms).filter(|ms| *ms > 0));
            }
            Some(EventBody::PurgeProved { .. }) => {
                // Proved for the load that is in this furnace now: the last one that was charged there.
                let furnace = event.furnace.as_ref().map(ToString::to_string);
                self.proved
                    .extend(self.charged.iter().rev().find(|(_, charged)| *charged == furnace).map(|(load, _)| load.clone()));
            }
            Some(EventBody::Tripped { interlock: InterlockKind::OpeningAtHeat, .. }) => self.door_openings_at_heat += 1,
            Some(EventBody::PartUnder { transfer_ms, in_time, .. }) => {
                self.parts_under += 1;
                self.parts_in_time += u32::from(*in_time);
                self.slowest_transfer_ms = self.slowest_transfer_ms.max(*transfer_ms);
            }
            Some(EventBody::CycleEnded { load, outcome, soaked_ms }) => {
                self.ended.push(Outcome {
                    load: load.to_string(),
                    outcome: outcome.clone(),
                    soaked_s: soaked_ms / 1000,
                    purge_proved: self.proved.contains(&load.to_string()),
                });
            }
            _ => {}
        }
    }

    fn cut(&mut self, furnace: &str, because: &[InterlockKind]) {
        let by_interlock = because.iter().any(|kind| *kind != InterlockKind::Ending);
        self.cuts += u32::from(self.permitted.remove(furnace) && by_interlock);
    }

    /// Whether every furnace has said that it does not heat.
    pub(super) fn is_cold(&self) -> bool {
        self.unconfirmed.is_empty()
    }

    fn confirmed(&self) -> String {
        if self.is_cold() {
            let when = self.slowest_confirmation_ms.map_or_else(
                || "each within the scan of its cut".to_owned(),
                |ms| format!("the slowest after {:.1} s", ms as f64 / 1000.0),
            );
            return format!("every furnace confirmed that it does not heat, {when}");
        }
        let names: Vec<&str> = self.unconfirmed.keys().map(String::as_str).collect();
        format!("NOT confirmed: {}", names.join(", "))
    }

    /// The summary for people.
    pub(crate) fn text(&self, took: Duration) -> String {
        let time = Duration::from_secs(self.shop_time_s);
        let faster = time.as_secs_f64() / took.as_secs_f64().max(0.001);
        let mut text = format!(
            "Summary of {}\n  {} h {:02} min of shop time in {:.1} s ({faster:.0} times as fast), {} events on record\n",
            self.shop,
            self.shop_time_s / 3600,
            self.shop_time_s / 60 % 60,
            took.as_secs_f64(),
            self.events
        );
        for Outcome { load, outcome, soaked_s, purge_proved } in &self.ended {
            let purge = if *purge_proved {
                "purge proved before heat"
            } else {
                "purge never proved, so it was never heated above its ceiling"
            };
            let _ = writeln!(text, "  load {load}: {outcome}; {purge}; {} min in its soak band", soaked_s / 60);
        }
        let _ = writeln!(
            text,
            "  {} parts under, {} of them in time, the slowest {:.1} s from door to oil",
            self.parts_under,
            self.parts_in_time,
            self.slowest_transfer_ms as f64 / 1000.0
        );
        let _ = writeln!(
            text,
            "  {} at heat; interlocks took heat away {}; {}",
            counted(self.door_openings_at_heat, "opening"),
            counted(self.cuts, "time"),
            self.confirmed()
        );
        for words in &self.refused {
            let _ = writeln!(text, "  refused: {words}");
        }
        text
    }
}

fn counted(count: u32, of: &str) -> String {
    format!("{count} {of}{}", if count == 1 { "" } else { "s" })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn no_confirmation_is_called_slow_that_came_at_once() {
        let confirmed = |slowest_confirmation_ms| Summary { slowest_confirmation_ms, ..Summary::default() }.confirmed();
        assert!(confirmed(None).ends_with("each within the scan of its cut"));
        assert!(confirmed(Some(2_000)).ends_with("the slowest after 2.0 s"));
        let said = serde_json::to_value(Summary::default()).expect("it can be written");
        assert!(said.get("slowest_confirmation_ms").is_none(), "{said}");
    }

    #[test]
    fn only_heat_that_was_permitted_is_taken_away() {
        let mut summary = Summary::default();
        summary.cut("north", &[InterlockKind::DoorOpen]);
        summary.permitted.insert("north".to_owned());
        summary.cut("little", &[InterlockKind::DoorOpen]);
        summary.cut("north", &[InterlockKind::Ending]);
        summary.permitted.insert("north".to_owned());
        summary.cut("north", &[]);
        assert_eq!(summary.cuts, 0);
        summary.permitted.insert("north".to_owned());
        summary.cut("north", &[InterlockKind::DoorOpen]);
        summary.cut("north", &[InterlockKind::DoorOpen, InterlockKind::DriverLost]);
        assert_eq!((summary.cuts, counted(1, "time"), counted(2, "time")), (1, "1 time".to_owned(), "2 times".to_owned()));
    }
}
