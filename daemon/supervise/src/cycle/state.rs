//! A cycle and what it is lent: its furnace, and the tick.

use hearthward_equipment::{FurnaceId, ShopMs};
use serde::{Deserialize, Serialize};

use crate::event::{Event, EventBody, Priority};
use crate::facts::Facts;
use crate::interlock::{InterlockKind, Rows};
use crate::plan::{FurnacePlan, ShopPlan};
use crate::purge::Purge;
use crate::questions::Questions;
use crate::recipe::{Drive, Load, Protection, Step, StepKind};
use crate::rule::RulePlan;
use crate::tanks::Tank;

/// Where a cycle stands besides its step.
///
/// ```text
/// Loading ──loaded and shut──▶ Running ──last step complete──▶ (cycle ends)
///    │ with a time    ▲        │   ▲ └─aborted, slow-cooled, complete with hot steel under gas──▶ Ending ──cool──▶ (cycle ends)
///    ▼                │        │   │ put in and shut
/// Waiting ──its time──┘        ▼   │
///            temper, load out: Transferring
/// ```
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub(crate) enum Stage {
    /// The load is being put in.
    Loading,
    /// The load is in and waits for the time at which it must begin to be ready when it was asked for.
    Waiting,
    /// The step of `index` runs.
    Running,
    /// The load is out and goes into the furnace that tempers it.
    Transferring,
    /// Heat is off; the load cools where it is.
    Ending,
}

/// How a cycle ends.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub(crate) enum Outcome {
    /// All steps were taken.
    Complete,
    /// A person ended it.
    Aborted,
    /// The load was quenched before its time.
    QuenchedEarly,
    /// The load cooled in the chamber.
    SlowCooled,
    /// All steps were taken but for those that a person skipped.
    Skipped,
}

impl Outcome {
    /// The record's word.
    pub(crate) fn word(self) -> &'static str {
        match self {
            Self::Complete => "complete",
            Self::Aborted => "aborted",
            Self::QuenchedEarly => "quenched_early",
            Self::SlowCooled => "slow_cooled",
            Self::Skipped => "skipped",
        }
    }
}

/// A load on its way. All times are spans, so that they survive a restart.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub(crate) struct Cycle {
    pub(crate) load: Load,
    pub(crate) index: u16,
    pub(crate) stage: Stage,
    /// Time in this step.
    pub(crate) step_ms: u64,
    /// Kelvins a second of the ramp that runs, where it has a pace.
    pub(crate) ramp_k_per_s: Option<f64>,
    /// Since the pull began or the last part was under.
    pub(crate) part_ms: u64,
    /// Time in band in this step.
    pub(crate) in_band_ms: u64,
    /// Time in band of all soaks.
    pub(crate) soaked_ms: u64,
    /// What heat is wanted for, in °C.
    pub(crate) wanted_c: Option<f64>,
    /// Parts that are under.
    pub(crate) parts_under: u16,
    /// Time since the door opened for the part that is pulled, while it is.
    pub(crate) transfer_ms: Option<u64>,
    /// The load is not in the chamber.
    pub(crate) out: bool,
    /// Time since the quench.
    pub(crate) since_quench_ms: Option<u64>,
    pub(crate) held: bool,
    /// The chamber was hot when the load went in.
    pub(crate) charged_hot: bool,
    /// A person must say whether to go on.
    pub(crate) interrupted: bool,
    pub(crate) outcome: Outcome,
    /// Rows about which the steel question was asked, while they stand.
    pub(crate) asked: u32,
    /// The soak's maximum was asked about.
    pub(crate) extended: bool,
    /// The temper is overdue, and that was said.
    pub(crate) overdue: bool,
    /// The steel's mean temperature as estimated, in °C, where its heaviest section is known.
    pub(crate) steel_c: Option<f64>,
    /// How much longer its core takes than its mean, counted down in band.
    pub(crate) core_lag_ms: u64,
    /// The warmest that the bath may be before the first part, in °C.
    pub(crate) bath_warmest_c: Option<f64>,
    /// A person has said that the load is cool.
    pub(crate) cooled: bool,
    /// For how long nothing has been read of its furnace.
    pub(crate) unwatched_ms: u64,
    /// The chamber before that, in °C.
    pub(crate) seen_c: Option<f64>,
    /// A loss of readings was asked about, while its row stands.
    pub(crate) lost: bool,
    /// Time until the load shall be ready, where it was given one.
    pub(crate) ready_ms: Option<u64>,
    /// It may begin by itself at its time; else people begin it, and only its bath is made ready.
    pub(crate) alone: bool,
    /// Its bath is warmed before its first step, or somebody was asked to.
    pub(crate) warms: bool,
    /// For how long it has been ready to be begun and nobody came.
    pub(crate) late_ms: u64,
    /// Where the load goes when its transfer is confirmed.
    pub(crate) moves_to: Option<FurnaceId>,
}

/// The chamber, in °C, by a thermometer that may be relied upon: from its fault on to the reset it decides nothing, since one that is
/// short reads steadily too.
pub(crate) fn believed_c(facts: &Facts, rows: &Rows) -> Option<f64> {
    facts.temperature.good().filter(|_| !rows.stands(InterlockKind::SensorFault))
}

/// What has to be well in the shop before anything may begin in it.
#[derive(Clone, Copy, Debug)]
pub(crate) struct ShopNow<'a> {
    /// The oxygen of the room is over its first level, and nothing of it waits for a reset.
    pub(crate) room_is_well: bool,
    /// Why the record cannot be written, if it cannot.
    pub(crate) record_failing: Option<&'a str>,
}

/// What has to be well in a furnace before anything may begin in it.
#[derive(Clone, Copy, Debug, Default)]
pub(crate) struct FurnaceNow<'a> {
    /// A rule of the shop's own that forbids a start.
    pub(crate) forbidden_by: Option<&'a RulePlan>,
    /// Nobody has confirmed that its last cut took its heat away.
    pub(crate) unconfirmed: bool,
}

/// What a cycle sees of its furnace.
#[derive(Debug)]
pub(crate) struct At<'a> {
    pub(crate) id: FurnaceId,
    pub(crate) plan: &'a FurnacePlan,
    pub(crate) facts: &'a Facts,
    pub(crate) rows: &'a Rows,
    pub(crate) purge: &'a mut Purge,
    /// The last temperature in °C that could be relied upon.
    pub(crate) last_c: Option<f64>,
    /// The chamber was opened at heat and is not back under its limit.
    pub(crate) recovering: bool,
    pub(crate) now: FurnaceNow<'a>,
}

impl At<'_> {
    /// The chamber, in °C, by a thermometer that may be relied upon.
    pub(crate) fn read_c(&self) -> Option<f64> {
        believed_c(self.facts, self.rows)
    }
}

/// What a tick lends to everything that decides in it.
#[derive(Debug)]
pub(crate) struct Turn<'a> {
    pub(crate) plan: &'a ShopPlan,
    pub(crate) now: ShopMs,
    pub(crate) dt_ms: u64,
    pub(crate) events: &'a mut Vec<Event>,
    pub(crate) questions: &'a mut Questions,
    pub(crate) tanks: &'a mut [Tank],
    pub(crate) shop: ShopNow<'a>,
}

impl Turn<'_> {
    /// Says something about a furnace.
    pub(crate) fn say(&mut self, furnace: FurnaceId, priority: Priority, text: String, body: EventBody) {
        self.events.push(Event { furnace: Some(furnace), priority, person: None, text, body });
    }
}

impl Cycle {
    /// A cycle whose load is not in yet.
    pub(crate) fn new(load: Load, bath_warmest_c: Option<f64>, ready_ms: Option<u64>, alone: bool) -> Self {
        Self {
            load,
            bath_warmest_c,
            ready_ms,
            alone,
            warms: false,
            late_ms: 0,
            index: 0,
            stage: Stage::Loading,
            step_ms: 0,
            ramp_k_per_s: None,
            part_ms: 0,
            in_band_ms: 0,
            soaked_ms: 0,
            wanted_c: None,
            parts_under: 0,
            transfer_ms: None,
            out: true,
            since_quench_ms: None,
            held: false,
            charged_hot: false,
            interrupted: false,
            outcome: Outcome::Complete,
            asked: 0,
            extended: false,
            overdue: false,
            steel_c: None,
            core_lag_ms: 0,
            cooled: false,
            unwatched_ms: 0,
            seen_c: None,
            lost: false,
            moves_to: None,
        }
    }

    /// The step it is in.
    pub(crate) fn step(&self) -> Option<&Step> {
        self.load.steps.get(usize::from(self.index))
    }

    /// What kind it is; cooling once the cycle is ending.
    pub(crate) fn kind(&self) -> StepKind {
        match self.stage {
            Stage::Ending => StepKind::Cool,
            _ => self.step().map_or(StepKind::Cool, Step::kind),
        }
    }

    /// Whether a step runs.
    pub(crate) fn is_running(&self) -> bool {
        self.stage == Stage::Running
    }

    /// Whether the load is to be protected by gas.
    pub(crate) fn wants_gas(&self) -> bool {
        self.load.protection == Protection::Gas
    }

    /// Whether the door may open now without surprise.
    pub(crate) fn expects_opening(&self) -> bool {
        self.out || matches!(self.stage, Stage::Loading | Stage::Waiting | Stage::Transferring) || self.pulls() || self.airs()
    }

    /// Whether the load is to be taken out to cool in air.
    pub(super) fn airs(&self) -> bool {
        self.is_running() && matches!(self.step(), Some(Step::Cool { in_air: true, .. }))
    }

    /// Whether parts are being pulled.
    pub(crate) fn pulls(&self) -> bool {
        self.is_running() && self.kind() == StepKind::Pull
    }

    /// Whether the set point stands still.
    pub(crate) fn is_steady(&self) -> bool {
        self.is_running() && matches!(self.kind(), StepKind::Soak | StepKind::Temper)
    }

    /// The program that the controller runs, if it does.
    pub(crate) fn program(&self) -> Option<u32> {
        match self.load.drive {
            Drive::Program(number) => Some(number),
            Drive::SetPoints => None,
        }
    }

    /// For the digest.
    pub(crate) fn bits(&self) -> [u64; 5] {
        [
            u64::from(self.index)
                | (self.stage as u64) << 16
                | u64::from(self.parts_under) << 20
                | u64::from(self.held) << 40
                | u64::from(self.interrupted) << 41
                | u64::from(self.out) << 42
                | u64::from(self.charged_hot) << 43
                | (self.outcome as u64) << 44,
            self.in_band_ms ^ self.step_ms.rotate_left(32),
            self.wanted_c.unwrap_or(-1.0).to_bits(),
            self.soaked_ms ^ u64::from(self.asked).rotate_left(40),
            self.steel_c.unwrap_or(-1.0).to_bits()
                ^ self.core_lag_ms
                ^ self.ready_ms.unwrap_or(0).rotate_left(24)
                ^ u64::from(self.warms) << 62,
        ]
    }
}
