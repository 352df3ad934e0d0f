//! The small machine of one cut: sent, read back, or not; then the contactor, again and again until it is read back.

use std::time::Duration;

use hearthward_equipment::{FurnaceId, Generation, ShopMs};

use crate::event::{Event, EventBody, Priority};
use crate::interlock::InterlockKind;
use crate::observe::CutState;
use crate::output::{Cut, Via};
use crate::plan::{DeadMan, FurnacePlan, Heating};
use serde::{Deserialize, Serialize};

/// How far a cut has come.
///
/// ```text
/// None ──heat taken away──▶ Waiting ──taken, and no heat is shown──▶ Confirmed
///   ▲                          └─2 s, or it failed──▶ Unconfirmed ──repeated each 2 s, then the same──▶ Confirmed
///   └──────────── an order to heat was given ◀── any
/// ```
///
/// Beside it, a contactor that its own switch shows closed after its time is stuck, until the switch shows it open after a cut: no
/// order to heat in between mends it. While it is stuck every cut goes to it too, and is repeated.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
enum Phase {
    /// Heat was not taken away, or was given since.
    #[default]
    None,
    /// The cut is on its way.
    Waiting,
    /// It was taken, and no heat is shown.
    Confirmed,
    /// It did not say so in time.
    Unconfirmed,
}

/// The cuts of one furnace.
#[derive(Clone, Copy, Debug, Default, Serialize, Deserialize)]
pub(crate) struct Cuts {
    generation: Generation,
    phase: Phase,
    for_ms: u64,
    again_ms: u64,
    failed: bool,
    /// That it was not confirmed in time was said.
    said: bool,
    /// It was given in this tick, whose time passed before it.
    new: bool,
    /// When it was given.
    at: ShopMs,
    /// The controller has said that it took it.
    taken: bool,
    /// The contactor has.
    opened: bool,
    /// The contactor was told to open.
    dropped: bool,
    /// When the contactor's own switch may say no more that it is closed.
    open_by: Option<ShopMs>,
    /// It said so after that, and has not been seen open since.
    stuck: bool,
}

/// How long a cut may take to be read back: a frame, the unit's turnaround and two polls (common practice, no source).
const UNCONFIRMED_AFTER_MS: u64 = 2_000;

/// What a contactor's own switch said, and when: closed or not.
pub(crate) type Feedback = Option<(bool, ShopMs)>;

/// What a controller shows of its heat. That a device took a cut is the echo of a write; whether it heats is what is read after.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
pub(crate) enum ShowsHeat {
    /// It has nothing that shows it, or nobody orders heat there.
    #[default]
    Nowhere,
    /// It cannot be read now.
    Unread,
    /// It was read.
    Read {
        /// Whether it heats, or would.
        heats: bool,
        /// When.
        at: ShopMs,
    },
}

impl Cuts {
    /// Goes on from an earlier run.
    pub(crate) fn after(generation: Generation) -> Self {
        Self { generation, ..Self::default() }
    }

    /// The count of cuts.
    pub(crate) fn generation(&self) -> Generation {
        self.generation
    }

    /// Takes heat away.
    pub(crate) fn cut(
        &mut self,
        id: FurnaceId,
        plan: &FurnacePlan,
        because: Vec<InterlockKind>,
        (priority, why): (Priority, String),
        cuts: &mut Vec<Cut>,
        events: &mut Vec<Event>,
    ) {
        self.generation = self.generation.next();
        // One that was not confirmed is not mended by another that is on its way.
        let phase = if self.phase == Phase::Unconfirmed { Phase::Unconfirmed } else { Phase::Waiting };
        (self.phase, self.for_ms, self.again_ms) = (phase, 0, 0);
        (self.failed, self.said, self.taken, self.opened, self.new) = (false, false, false, false, true);
        let via = first_via(plan);
        self.dropped |= via == Via::Contactor || self.stuck;
        cuts.push(Cut { furnace: id, generation: self.generation, via });
        if self.stuck && via != Via::Contactor {
            cuts.push(Cut { furnace: id, generation: self.generation, via: Via::Contactor });
        }
        let body = EventBody::Cut { generation: self.generation, via, because };
        events.push(Event { furnace: Some(id), priority, person: None, text: why, body });
    }

    /// The host tells how far a cut has come.
    pub(crate) fn told(&mut self, generation: Generation, via: Via, is: &CutState) {
        if generation < self.generation || !matches!(self.phase, Phase::Waiting | Phase::Unconfirmed) {
            return;
        }
        match is {
            CutState::Sent => {}
            CutState::Failed(_) => self.failed = true,
            CutState::Confirmed if via == Via::Contactor => self.opened = true,
            CutState::Confirmed => self.taken = true,
        }
    }

    /// A cut that the device took is confirmed by what the controller shows after it. Where that cannot be read, the contactor that was
    /// dropped for it will do; where a controller has nothing to show, its word does.
    pub(crate) fn settle(&mut self, id: FurnaceId, plan: &FurnacePlan, now: ShopMs, shows: ShowsHeat, events: &mut Vec<Event>) {
        if self.new {
            self.at = now;
        }
        let seen_off = match shows {
            ShowsHeat::Read { heats, at } if at > self.at => !heats,
            ShowsHeat::Read { .. } | ShowsHeat::Unread => false,
            ShowsHeat::Nowhere => true,
        };
        // The controller's word does not go for the contactor.
        let by_contactor = shows == ShowsHeat::Unread && self.opened;
        let by_sight = seen_off && (self.taken || self.opened);
        if !matches!(self.phase, Phase::Waiting | Phase::Unconfirmed) || !(by_sight || by_contactor) {
            return;
        }
        self.phase = Phase::Confirmed;
        let name = &plan.name;
        let text = if by_contactor {
            format!("The contactor of {name} took the cut. {name} itself cannot be read: go and look.")
        } else {
            format!("{name} says that it does not heat.")
        };
        // A controller at rest is no word for a contactor that is stuck.
        if !self.stuck {
            self.say_confirmed(id, text, events);
        }
    }

    /// Whether a controller shows heat though nobody gave it any for longer than a cut may take.
    pub(crate) fn heat_is_back(&self, shows: ShowsHeat) -> bool {
        let after_ms = Duration::from_millis(UNCONFIRMED_AFTER_MS);
        matches!(self.phase, Phase::None | Phase::Confirmed)
            && matches!(shows, ShowsHeat::Read { heats: true, at } if at > self.at + after_ms)
    }

    /// Lets time pass: a cut that is not read back is repeated, and the contactor is dropped where one is wired.
    pub(crate) fn step(&mut self, id: FurnaceId, plan: &FurnacePlan, dt_ms: u64, cuts: &mut Vec<Cut>, events: &mut Vec<Event>) {
        if std::mem::take(&mut self.new) {
            return;
        }
        self.for_ms = self.for_ms.saturating_add(dt_ms);
        let stuck = self.stuck && self.phase == Phase::Confirmed;
        if !stuck && !matches!(self.phase, Phase::Waiting | Phase::Unconfirmed) {
            return;
        }
        self.again_ms = self.again_ms.saturating_add(dt_ms);
        let due = self.again_ms >= UNCONFIRMED_AFTER_MS || (self.failed && !self.said && !stuck);
        if !due {
            return;
        }
        if !stuck && !std::mem::replace(&mut self.said, true) {
            self.phase = Phase::Unconfirmed;
            self.say_silent(id, plan, events);
        }
        (self.again_ms, self.failed) = (0, false);
        let generation = self.generation;
        if stuck {
            cuts.push(Cut { furnace: id, generation, via: Via::Contactor });
            return;
        }
        cuts.push(Cut { furnace: id, generation, via: first_via(plan) });
        if plan.contactor.is_some() && first_via(plan) == Via::Controller {
            self.dropped = true;
            cuts.push(Cut { furnace: id, generation, via: Via::Contactor });
        }
    }

    /// Holds what the contactor's own switch says against what it was told. One that reads closed when it must have opened is a cut
    /// that is not confirmed, whatever the controller says. A switch that cannot be read says nothing: its unit is told of as lost.
    pub(crate) fn watch_contactor(
        &mut self,
        id: FurnaceId,
        plan: &FurnacePlan,
        now: ShopMs,
        feedback: Feedback,
        cuts: &mut Vec<Cut>,
        events: &mut Vec<Event>,
    ) {
        if self.phase == Phase::None {
            return;
        }
        let opens_within = match plan.dead_man {
            _ if self.dropped => Duration::ZERO,
            // Heat was taken away, so nobody gives it another beat.
            DeadMan::ContactorHeartbeat { drops_after } => drops_after,
            DeadMan::ControllerTimeOut { .. } | DeadMan::Nothing => return,
        };
        let new = now + opens_within + Duration::from_millis(UNCONFIRMED_AFTER_MS);
        let open_by = self.open_by.map_or(new, |open_by| open_by.min(new));
        self.open_by = Some(open_by);
        // What was read before then may show it as it was.
        let Some((closed, _)) = feedback.filter(|(_, read_at)| *read_at > open_by) else { return };
        if std::mem::replace(&mut self.stuck, closed) == closed {
            return;
        }
        let name = &plan.name;
        if closed {
            self.dropped = true;
            cuts.push(Cut { furnace: id, generation: self.generation, via: Via::Contactor });
            let text = format!(
                "The contactor of {name} reads closed after its heat was cut: turn the furnace off by hand now. It may be welded."
            );
            self.say_unconfirmed(id, "the contactor reads closed", text, events);
        } else if self.phase == Phase::Confirmed {
            self.say_confirmed(id, format!("The contactor of {name} reads open: it does not heat."), events);
        }
    }

    fn say_confirmed(&self, id: FurnaceId, text: String, events: &mut Vec<Event>) {
        let body = EventBody::CutConfirmed { generation: self.generation, after_ms: self.for_ms };
        events.push(Event { furnace: Some(id), priority: Priority::Record, person: None, text, body });
    }

    fn say_silent(&self, id: FurnaceId, plan: &FurnacePlan, events: &mut Vec<Event>) {
        let name = &plan.name;
        let (detail, text) = if plan.contactor.is_some() {
            (
                "the contactor is told to drop",
                format!("{name} has not confirmed that it does not heat: its contactor is told to drop. Go and look."),
            )
        } else {
            (
                "no contactor is wired",
                format!("{name} has not confirmed that it does not heat, and no contactor is wired: turn it off by hand now."),
            )
        };
        self.say_unconfirmed(id, detail, text, events);
    }

    fn say_unconfirmed(&self, id: FurnaceId, detail: &str, text: String, events: &mut Vec<Event>) {
        let body = EventBody::CutUnconfirmed { generation: self.generation, detail: detail.to_owned() };
        events.push(Event { furnace: Some(id), priority: Priority::Urgent, person: None, text, body });
    }

    /// An order to heat was given: what was cut before is over, but not what is known of the contactor.
    pub(crate) fn heated(&mut self) {
        self.phase = Phase::None;
        (self.dropped, self.open_by) = (false, None);
    }

    /// The contactor was last seen closed when it had to be open.
    pub(crate) fn is_stuck(&self) -> bool {
        self.stuck
    }

    /// The device has not confirmed in time that it does not heat, or its contactor denies it.
    pub(crate) fn is_unconfirmed(&self) -> bool {
        self.phase == Phase::Unconfirmed || self.stuck
    }

    /// For the digest.
    pub(crate) fn bits(&self) -> u64 {
        self.generation.0 << 8 | u64::from(self.stuck) << 4 | self.phase as u64
    }
}

fn first_via(plan: &FurnacePlan) -> Via {
    match plan.heating {
        Heating::ByHand => Via::Contactor,
        _ if plan.controller.is_none() => Via::Contactor,
        _ => Via::Controller,
    }
}

#[cfg(test)]
mod tests;
