//! The small machine of one cut: sent, read back, or not; then the contactor, again and again until it is read back.

use hearthward_equipment::{FurnaceId, Generation};

use crate::event::{Event, EventBody, Priority};
use crate::interlock::InterlockKind;
use crate::observe::CutState;
use crate::output::{Cut, Via};
use crate::plan::{FurnacePlan, Heating};
use serde::{Deserialize, Serialize};

/// How far a cut has come.
///
/// ```text
/// None ──heat taken away──▶ Waiting ──read back──▶ Confirmed
///   ▲                          └─2 s, or it failed──▶ Unconfirmed ──repeated each 2 s, read back──▶ Confirmed
///   └──────────── an order to heat was given ◀── any
/// ```
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
enum Phase {
    /// Heat was not taken away, or was given since.
    #[default]
    None,
    /// The cut is on its way.
    Waiting,
    /// The device says that it does not heat.
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
    /// It was given in this tick, whose time passed before it.
    new: bool,
}

/// How long a cut may take to be read back: a frame, the unit's turnaround and two polls (common practice, no source).
const UNCONFIRMED_AFTER_MS: u64 = 2_000;

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
        why: String,
        cuts: &mut Vec<Cut>,
        events: &mut Vec<Event>,
    ) {
        self.generation = self.generation.next();
        (self.phase, self.for_ms, self.again_ms, self.failed, self.new) = (Phase::Waiting, 0, 0, false, true);
        let via = first_via(plan);
        cuts.push(Cut { furnace: id, generation: self.generation, via });
        let priority = if because.is_empty() { Priority::Record } else { Priority::Warning };
        let body = EventBody::Cut { generation: self.generation, via, because };
        events.push(Event { furnace: Some(id), priority, person: None, text: why, body });
    }

    /// The host tells how far a cut has come.
    pub(crate) fn told(
        &mut self,
        id: FurnaceId,
        plan: &FurnacePlan,
        generation: Generation,
        is: &CutState,
        events: &mut Vec<Event>,
    ) {
        if generation < self.generation || !matches!(self.phase, Phase::Waiting | Phase::Unconfirmed) {
            return;
        }
        match is {
            CutState::Sent => {}
            CutState::Failed(_) => self.failed = true,
            CutState::Confirmed => {
                self.phase = Phase::Confirmed;
                let text = format!("{} says that it does not heat.", plan.name);
                let body = EventBody::CutConfirmed { generation: self.generation, after_ms: self.for_ms };
                events.push(Event { furnace: Some(id), priority: Priority::Record, person: None, text, body });
            }
        }
    }

    /// Lets time pass: a cut that is not read back is repeated, and the contactor is dropped where one is wired.
    pub(crate) fn step(&mut self, id: FurnaceId, plan: &FurnacePlan, dt_ms: u64, cuts: &mut Vec<Cut>, events: &mut Vec<Event>) {
        if !matches!(self.phase, Phase::Waiting | Phase::Unconfirmed) {
            return;
        }
        if std::mem::take(&mut self.new) {
            return;
        }
        self.for_ms = self.for_ms.saturating_add(dt_ms);
        self.again_ms = self.again_ms.saturating_add(dt_ms);
        let due = self.again_ms >= UNCONFIRMED_AFTER_MS || (self.failed && self.phase == Phase::Waiting);
        if !due {
            return;
        }
        if self.phase == Phase::Waiting {
            self.phase = Phase::Unconfirmed;
            self.say_unconfirmed(id, plan, events);
        }
        (self.again_ms, self.failed) = (0, false);
        let generation = self.generation;
        cuts.push(Cut { furnace: id, generation, via: first_via(plan) });
        if plan.contactor.is_some() && first_via(plan) == Via::Controller {
            cuts.push(Cut { furnace: id, generation, via: Via::Contactor });
        }
    }

    fn say_unconfirmed(&self, id: FurnaceId, plan: &FurnacePlan, events: &mut Vec<Event>) {
        let name = &plan.name;
        let (detail, text) = if plan.contactor.is_some() {
            (
                "the contactor is dropped",
                format!("{name} has not confirmed that it does not heat: its contactor is dropped. Go and look."),
            )
        } else {
            (
                "no contactor is wired",
                format!("{name} has not confirmed that it does not heat, and no contactor is wired: turn it off by hand now."),
            )
        };
        let body = EventBody::CutUnconfirmed { generation: self.generation, detail: detail.to_owned() };
        events.push(Event { furnace: Some(id), priority: Priority::Urgent, person: None, text, body });
    }

    /// An order to heat was given: what was cut before is over.
    pub(crate) fn heated(&mut self) {
        self.phase = Phase::None;
    }

    /// The device has not confirmed in time that it does not heat.
    pub(crate) fn is_unconfirmed(&self) -> bool {
        self.phase == Phase::Unconfirmed
    }

    /// For the digest.
    pub(crate) fn bits(&self) -> u64 {
        self.generation.0 << 8 | self.phase as u64
    }
}

fn first_via(plan: &FurnacePlan) -> Via {
    match plan.heating {
        Heating::ByHand => Via::Contactor,
        _ if plan.controller.is_none() => Via::Contactor,
        _ => Via::Controller,
    }
}
