//! Questions to people: each has a number, a reason to be asked, and perhaps a default on silence.
//!
//! ```text
//! asked ──a person confirms or chooses──▶ answered
//!   ├─silence past its time, where it has a default──▶ answered by silence
//!   └─its reason is gone──▶ withdrawn
//! ```

use hearthward_equipment::{FurnaceId, ShopMs};
use serde::{Deserialize, Serialize};

use crate::event::{Event, EventBody, Priority};
use crate::interlock::InterlockKind;
use crate::request::{Ask, Choice, QuestionId};

/// Why a question is asked; one of a kind at a time for each furnace.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
pub(crate) enum Purpose {
    /// Before the cycle: load and shut.
    LoadAndShut,
    /// Flow of a meter that is set by hand, for the purge.
    PurgeFlow,
    /// The same meter at the end of the purge, down to the holding flow.
    HoldFlow,
    /// Set a controller that is set by hand.
    SetController,
    /// Turn a furnace off by hand.
    TurnOff,
    /// The bath, by hand.
    BringBath,
    /// A part is under.
    PartUnder,
    /// The load into the furnace that tempers it.
    Transfer,
    /// The load cools outside the furnace.
    LetCool,
    /// What becomes of the steel, and which row asks.
    Steel(InterlockKind),
    /// Whether to go on after an interruption.
    GoOn,
    /// A meter read by eye was read too long ago.
    ReadFlow,
    /// A thermometer read by eye was read too long ago.
    ReadTemperature,
}

/// A question that waits.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub(crate) struct Question {
    pub(crate) id: QuestionId,
    pub(crate) furnace: FurnaceId,
    pub(crate) purpose: Purpose,
    pub(crate) ask: Ask,
    pub(crate) text: String,
    pub(crate) choices: Vec<Choice>,
    /// What silence means, and how much longer it takes, in milliseconds.
    pub(crate) default: Option<(Choice, u64)>,
    #[serde(skip)]
    pub(crate) since: ShopMs,
}

/// What is asked, before it has a number.
#[derive(Debug)]
pub(crate) struct Asked {
    pub(crate) ask: Ask,
    pub(crate) text: String,
    pub(crate) choices: Vec<Choice>,
    pub(crate) default: Option<(Choice, u64)>,
    pub(crate) priority: Priority,
}

impl Asked {
    /// Something to do and to confirm.
    pub(crate) fn to_do(ask: Ask, text: String) -> Self {
        Self { ask, text, choices: Vec::new(), default: None, priority: Priority::Notice }
    }
}

/// All questions that wait.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
pub(crate) struct Questions {
    next: u64,
    open: Vec<Question>,
}

/// Most questions that wait at one time: each furnace has at most a few kinds, and beyond this nobody reads them.
const MOST: usize = 4096;

impl Questions {
    /// The question of that purpose, if it waits.
    pub(crate) fn find(&self, furnace: FurnaceId, purpose: Purpose) -> Option<&Question> {
        self.open.iter().find(|question| question.furnace == furnace && question.purpose == purpose)
    }

    /// Asks, unless the same is asked already. `make` is called only when it is.
    pub(crate) fn ask(
        &mut self,
        furnace: FurnaceId,
        purpose: Purpose,
        now: ShopMs,
        events: &mut Vec<Event>,
        make: impl FnOnce() -> Asked,
    ) {
        if self.find(furnace, purpose).is_some() || self.open.len() >= MOST {
            return;
        }
        self.next += 1;
        let id = QuestionId(self.next);
        let Asked { ask, text, choices, default, priority } = make();
        let told = default.map(|(choice, after_ms)| (choice, now.0.saturating_add(after_ms)));
        let body = EventBody::Asked { question: id, ask: ask.clone(), default: told };
        events.push(Event { furnace: Some(furnace), priority, person: None, text: text.clone(), body });
        self.open.push(Question { id, furnace, purpose, ask, text, choices, default, since: now });
    }

    /// Takes the question of that number away, because it is answered.
    pub(crate) fn take(&mut self, id: QuestionId) -> Option<Question> {
        let place = self.open.iter().position(|question| question.id == id)?;
        Some(self.open.remove(place))
    }

    /// The question of that number.
    pub(crate) fn get(&self, id: QuestionId) -> Option<&Question> {
        self.open.iter().find(|question| question.id == id)
    }

    /// Lets time pass, and takes the first question away whose silence counts now.
    pub(crate) fn silent(&mut self) -> Option<(Question, Choice)> {
        let place = self.open.iter().position(|question| question.default.is_some_and(|(_, left_ms)| left_ms == 0))?;
        let question = self.open.remove(place);
        let (choice, _) = question.default?;
        Some((question, choice))
    }

    /// Lets time pass.
    pub(crate) fn pass(&mut self, dt_ms: u64) {
        for question in &mut self.open {
            if let Some((_, left_ms)) = &mut question.default {
                *left_ms = left_ms.saturating_sub(dt_ms);
            }
        }
    }

    /// Withdraws every question of this furnace that `gone` names.
    pub(crate) fn withdraw(&mut self, furnace: FurnaceId, events: &mut Vec<Event>, gone: impl Fn(Purpose) -> bool) {
        if self.open.is_empty() {
            return;
        }
        self.open.retain(|question| {
            let goes = question.furnace == furnace && gone(question.purpose);
            if goes {
                let text = format!("No answer is needed any more to: {}", question.text);
                let body = EventBody::Withdrawn { question: question.id };
                events.push(Event { furnace: Some(furnace), priority: Priority::Record, person: None, text, body });
            }
            !goes
        });
    }

    /// All that wait.
    pub(crate) fn open(&self) -> &[Question] {
        &self.open
    }

    /// What is kept across a restart: times of this run mean nothing in the next.
    pub(crate) fn stood(&self) -> Self {
        let mut stood = self.clone();
        stood.open.iter_mut().for_each(|question| question.since = ShopMs(0));
        stood
    }

    /// The questions of an earlier run, for furnaces that `to` finds in this one.
    pub(crate) fn restore(&mut self, mut stood: Self, to: impl Fn(FurnaceId) -> Option<FurnaceId>) {
        stood.open.retain_mut(|question| match to(question.furnace) {
            Some(furnace) => {
                question.furnace = furnace;
                true
            }
            None => false,
        });
        *self = stood;
    }

    /// For the digest.
    pub(crate) fn bits(&self) -> u64 {
        self.next << 16 | self.open.len() as u64
    }
}
