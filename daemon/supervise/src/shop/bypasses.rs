//! Bypasses in a tick: asked for, restored, lapsed, and on every event made meanwhile.

use std::fmt::Write as _;
use std::time::Duration;

use hearthward_equipment::FurnaceId;

use super::Shop;
use super::people::{Outcomes, by, no_furnace};
use crate::bypass::{BYPASS_MOST, BYPASS_USUAL, Bypass};
use crate::cycle::span;
use crate::event::{Event, EventBody, Priority};
use crate::interlock::{InterlockKind, entry, may_be_bypassed};
use crate::output::Outputs;
use crate::request::Person;

/// Longest reason that is kept, in characters: it is repeated in every view.
const REASON_CHARS: usize = 200;

impl Shop {
    /// Lets bypasses grow older and tells the rows which of them are in force.
    pub(super) fn pass_bypasses(&mut self, dt_ms: u64, out: &mut Outputs) {
        let gone_ms = dt_ms.saturating_add(std::mem::take(&mut self.inbox.wall_ahead_ms));
        for (furnace, plan) in self.furnaces.iter_mut().zip(&self.plan.furnaces) {
            furnace.bypasses.pass(Some(gone_ms));
            while let Some(bypass) = furnace.bypasses.lapsed(&plan.policy.may_bypass) {
                furnace.rows.bypass(bypass.kind, None);
                let title = entry(bypass.kind).title.to_lowercase();
                let text = format!("The bypass of {title} of {} by {} is over: it is in force again.", plan.name, bypass.person);
                let body = EventBody::Restored { interlock: bypass.kind, lapsed: true };
                out.events.push(Event { furnace: Some(furnace.id), priority: Priority::Notice, person: None, text, body });
            }
            for bypass in furnace.bypasses.list() {
                // What nobody can read is never heated, whatever is bypassed.
                let withholds = bypass.kind == InterlockKind::DriverLost && furnace.facts.temperature.good().is_none();
                let so = bypass.is_in_force(self.durable).then_some(withholds);
                furnace.rows.bypass(bypass.kind, so);
            }
        }
    }

    /// A person takes an interlock out of force for a time.
    pub(super) fn bypass(&mut self, person: &Person, ask: BypassAsked<'_>, out: &mut Outputs) -> Outcomes {
        let BypassAsked { furnace: id, kind, reason, span: wanted } = ask;
        let (Some(furnace), Some(plan)) = (self.furnaces.get_mut(id.index()), self.plan.furnace(id)) else {
            return Err(no_furnace());
        };
        let (name, title) = (&plan.name, entry(kind).title.to_lowercase());
        may_be_bypassed(kind).map_err(|why| format!("{} is never bypassed: {why}.", entry(kind).title))?;
        if !plan.policy.may_bypass.contains(&kind) {
            return Err(format!(
                "The configuration does not open {title} of {name} to a bypass: `may_bypass` of the furnace would have to list it."
            ));
        }
        let reason = reason.trim();
        if reason.is_empty() || reason.chars().count() > REASON_CHARS {
            return Err(format!("Say why, in 1 to {REASON_CHARS} characters: it goes on every record made meanwhile."));
        }
        let lasts = wanted.unwrap_or(BYPASS_USUAL);
        if lasts.is_zero() || lasts > BYPASS_MOST {
            return Err(format!("A bypass lasts at most {} h; somebody decides anew each day.", BYPASS_MOST.as_secs() / 3600));
        }
        if let Some(why) = &self.record_failing {
            return Err(format!("The record cannot be written ({why}): nothing is bypassed without one."));
        }
        if let Some(known) = furnace.bypasses.find(kind) {
            let left = span(known.left_ms);
            return Err(format!(
                "{} has bypassed {title} of {name} already, for another {left}: restore it first.",
                known.person
            ));
        }
        let for_ms = u64::try_from(lasts.as_millis()).unwrap_or(u64::MAX);
        let text = format!("{} bypasses {title} of {name} for {}: {reason}.", person.name, span(for_ms));
        let body = EventBody::Bypassed { interlock: kind, reason: reason.to_owned(), for_ms };
        out.events.push(by(person, Some(id), Priority::Warning, text.clone(), body));
        let (person, reason) = (person.name.clone(), reason.to_owned());
        furnace.bypasses.add(Bypass { kind, person, reason, left_ms: for_ms, decided: self.tick });
        Ok(format!("{text} It is on every record made meanwhile, and ends by itself."))
    }

    /// A person puts an interlock into force again, at once.
    pub(super) fn restore_bypassed(
        &mut self,
        person: &Person,
        id: FurnaceId,
        kind: InterlockKind,
        out: &mut Outputs,
    ) -> Outcomes {
        let (Some(furnace), Some(plan)) = (self.furnaces.get_mut(id.index()), self.plan.furnace(id)) else {
            return Err(no_furnace());
        };
        let title = entry(kind).title.to_lowercase();
        let Some(_) = furnace.bypasses.end(kind) else { return Err(format!("{} of {} is not bypassed.", title, plan.name)) };
        furnace.rows.bypass(kind, None);
        let text = format!("{} restores {title} of {}: it is in force again.", person.name, plan.name);
        let body = EventBody::Restored { interlock: kind, lapsed: false };
        out.events.push(by(person, Some(id), Priority::Notice, text.clone(), body));
        Ok(text)
    }

    /// Every event of a furnace says what is bypassed there.
    pub(super) fn mark_bypassed(&self, out: &mut Outputs) {
        for event in &mut out.events {
            let Some(furnace) = event.furnace.and_then(|id| self.furnaces.get(id.index())) else { continue };
            for bypass in furnace.bypasses.list().iter().filter(|_| !matches!(event.body, EventBody::Bypassed { .. })) {
                let _ = write!(event.text, " (Bypassed by {}: {}.)", bypass.person, entry(bypass.kind).title.to_lowercase());
            }
        }
    }
}

/// What a person asks to be bypassed.
#[derive(Clone, Copy, Debug)]
pub(super) struct BypassAsked<'a> {
    pub(super) furnace: FurnaceId,
    pub(super) kind: InterlockKind,
    pub(super) reason: &'a str,
    pub(super) span: Option<Duration>,
}
