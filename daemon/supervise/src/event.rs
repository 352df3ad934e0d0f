//! What happened, for the record, for people and for programs.

use hearthward_equipment::{Evidence, FurnaceId, Generation, Name, PointId, UnitId, Value};
use serde::{Deserialize, Serialize};

use crate::alarm::AlarmState;
use crate::interlock::InterlockKind;
use crate::output::Via;
use crate::recipe::StepKind;
use crate::request::{Ask, Choice, QuestionId};

/// One thing that happened. It gets its number when it is on disk.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Event {
    /// The furnace it is about, if one.
    pub furnace: Option<FurnaceId>,
    /// How much it matters.
    pub priority: Priority,
    /// Who caused it, if a person did.
    pub person: Option<String>,
    /// The sentence that people read. It names the equipment and stands by itself.
    pub text: String,
    /// The same for programs.
    pub body: EventBody,
}

/// How much an event matters.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum Priority {
    /// For the record.
    Record,
    /// People want to know.
    Notice,
    /// Somebody should look soon.
    Warning,
    /// Somebody must act now.
    Urgent,
}

/// What happened, by kind. Numbers carry their unit in the name. Kinds and fields are only ever added.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case", tag = "kind")]
pub enum EventBody {
    /// The service began to look after the shop.
    Began {
        /// Time without the service, if known.
        away_ms: Option<u64>,
        /// Whether the service had ended in order.
        clean: bool,
    },
    /// The service was told to end.
    Ending,
    /// A unit came, went or failed.
    Unit {
        /// Which.
        unit: UnitId,
        /// `answering`, `silent` or `out_of_service`.
        state: String,
        /// The fault's words.
        detail: String,
    },
    /// A unit did not do what it was told, or did it after all.
    Output {
        /// Which unit; none when the point that was written is no unit's.
        unit: Option<UnitId>,
        /// Whether it is done now. What is not is told again until it is, except a person's reading.
        done: bool,
        /// The fault's words.
        detail: String,
    },
    /// A point's quality changed.
    PointQuality {
        /// Which.
        point: PointId,
        /// `good`, `uncertain`, `bad` or `stale`.
        quality: String,
    },
    /// Heat was taken away.
    Cut {
        /// Which cut.
        generation: Generation,
        /// By what.
        via: Via,
        /// Why.
        because: Vec<InterlockKind>,
    },
    /// The cut was taken, and no heat is shown where that is read.
    CutConfirmed {
        /// Which cut.
        generation: Generation,
        /// How long it took.
        after_ms: u64,
    },
    /// The cut did not read back in time.
    CutUnconfirmed {
        /// Which cut.
        generation: Generation,
        /// What is known.
        detail: String,
    },
    /// An interlock saw its cause.
    Tripped {
        /// Which.
        interlock: InterlockKind,
        /// Whether it needs a reset.
        latched: bool,
        /// Whether it was the first of its group.
        first: bool,
        /// Whether anything is wired that acts; otherwise it only warns.
        acts: bool,
    },
    /// An interlock's cause is gone, and nothing is latched.
    Cleared {
        /// Which.
        interlock: InterlockKind,
    },
    /// A person reset an interlock.
    Reset {
        /// Which.
        interlock: InterlockKind,
    },
    /// A person took an interlock out of force for a time.
    Bypassed {
        /// Which.
        interlock: InterlockKind,
        /// Why.
        reason: String,
        /// For how long at most.
        for_ms: u64,
    },
    /// A bypassed interlock is in force again.
    Restored {
        /// Which.
        interlock: InterlockKind,
        /// Whether its time was over; otherwise a person restored it.
        lapsed: bool,
    },
    /// A rule of the shop's own stands otherwise than before.
    Rule {
        /// Which.
        rule: Name,
        /// Whether its cause stands.
        stands: bool,
        /// Whether it needs a reset.
        latched: bool,
        /// Whether it could not be evaluated.
        failed: bool,
    },
    /// A guided test of an interlock is over.
    Proved {
        /// Which.
        interlock: InterlockKind,
        /// Whether it tripped and cleared as it should.
        passed: bool,
        /// Whether the service watched it, or a person told of it.
        #[serde(default = "watched")]
        evidence: Evidence,
        /// Nothing tripped in time: whether it works is not known, and an earlier outcome counts no more.
        #[serde(default)]
        untested: bool,
    },
    /// A guided test of an interlock ended and counts neither for it nor against it.
    ProofVoid {
        /// Which.
        interlock: InterlockKind,
    },
    /// Tests of interlocks are owed: never made, failed, or too old. Told once a day at most.
    ProofsOwed {
        /// Of which.
        interlocks: Vec<InterlockKind>,
    },
    /// Heat became permitted, or its ceiling changed.
    Permitted {
        /// The most the set point may be.
        ceiling_c: f64,
    },
    /// Heat became withheld.
    Withheld {
        /// By what.
        by: Vec<InterlockKind>,
    },
    /// A load's cycle began.
    CycleBegan {
        /// The load.
        load: Name,
        /// The steel as given.
        steel: String,
        /// How many steps.
        steps: u16,
    },
    /// A step began.
    StepBegan {
        /// The load.
        load: Name,
        /// Its place, from 0.
        index: u16,
        /// What kind.
        step: StepKind,
    },
    /// A step ended.
    StepEnded {
        /// The load.
        load: Name,
        /// Its place, from 0.
        index: u16,
        /// What kind.
        step: StepKind,
        /// How long it took.
        took_ms: u64,
        /// Whether it was complete; otherwise it was skipped or aborted.
        complete: bool,
    },
    /// The purge is proved for this load.
    PurgeProved {
        /// Volume changes delivered without a break.
        changes: f64,
        /// What the flow rests on.
        evidence: Evidence,
        /// Oxygen by the probe, in ppm.
        probe_ppm: Option<f64>,
        /// Oxygen by the estimate, in ppm; only of a calibrated chamber.
        estimate_ppm: Option<f64>,
    },
    /// The count of volume changes began again.
    PurgeBroken {
        /// Changes that were lost.
        changes: f64,
    },
    /// The chamber was opened at heat and is under its limit again.
    Recovered {
        /// How long it was open.
        open_ms: u64,
        /// Oxygen × time at heat that the steel has seen so far, in ppm·s.
        exposure_ppm_s: f64,
    },
    /// A part was out and is under.
    PartUnder {
        /// The load.
        load: Name,
        /// Which, from 1.
        part: u16,
        /// From door open to under.
        transfer_ms: u64,
        /// Whether that was within the window.
        in_time: bool,
    },
    /// A load's cycle ended.
    CycleEnded {
        /// The load.
        load: Name,
        /// How: `complete`, `aborted`, `quenched_early`, `slow_cooled`, `skipped` (a person skipped some of its steps).
        outcome: String,
        /// Time in band of its soaks.
        soaked_ms: u64,
    },
    /// The cycle is kept where it is.
    Held,
    /// The cycle goes on.
    Resumed,
    /// A short gap was ridden through.
    RodeThrough {
        /// How long.
        gap_ms: u64,
    },
    /// A person is asked something.
    Asked {
        /// Which question.
        question: QuestionId,
        /// What.
        ask: Ask,
        /// What happens on silence, and when, by the shop's clock.
        default: Option<(Choice, u64)>,
    },
    /// A question was answered, by a person or by silence.
    Answered {
        /// Which question.
        question: QuestionId,
        /// Whether nobody answered and the default was taken.
        by_silence: bool,
        /// What was chosen, if it was a choice.
        choice: Option<Choice>,
    },
    /// A question is void: its reason is gone.
    Withdrawn {
        /// Which question.
        question: QuestionId,
    },
    /// A person entered a reading.
    Entered {
        /// Where.
        point: PointId,
        /// What was read; absent in records of before it was kept.
        #[serde(default)]
        value: Option<Value>,
    },
    /// The journal cannot write, or can again.
    Record {
        /// Whether it fails.
        failing: bool,
    },
    /// An alarm is in another state.
    Alarm {
        /// Its name, such as `furnace/north/over-temperature`.
        alarm: String,
        /// Its state now.
        state: AlarmState,
        /// Whether it was the first of its group.
        first: bool,
        /// Why a person put it aside; empty otherwise.
        reason: String,
        /// For how long it is shelved; absent otherwise.
        shelved_ms: Option<u64>,
    },
    /// More alarms came than a person can follow, or no longer.
    AlarmFlood {
        /// Whether there are too many.
        flood: bool,
        /// How many were raised in ten minutes.
        raised: u32,
    },
    /// A person stopped the horn.
    HornSilenced,
    /// Anything that has no kind of its own.
    Noted,
}

/// Records of before it was kept are of tests that were watched.
fn watched() -> Evidence {
    Evidence::Measured
}

impl EventBody {
    /// The kind's name as the journal and the API give it.
    #[must_use]
    pub fn kind(&self) -> &'static str {
        match self {
            Self::Began { .. } => "began",
            Self::Ending => "ending",
            Self::Unit { .. } => "unit",
            Self::Output { .. } => "output",
            Self::PointQuality { .. } => "point_quality",
            Self::Cut { .. } => "cut",
            Self::CutConfirmed { .. } => "cut_confirmed",
            Self::CutUnconfirmed { .. } => "cut_unconfirmed",
            Self::Tripped { .. } => "tripped",
            Self::Cleared { .. } => "cleared",
            Self::Reset { .. } => "reset",
            Self::Bypassed { .. } => "bypassed",
            Self::Restored { .. } => "restored",
            Self::Rule { .. } => "rule",
            Self::Proved { .. } => "proved",
            Self::ProofVoid { .. } => "proof_void",
            Self::ProofsOwed { .. } => "proofs_owed",
            Self::Permitted { .. } => "permitted",
            Self::Withheld { .. } => "withheld",
            Self::CycleBegan { .. } => "cycle_began",
            Self::StepBegan { .. } => "step_began",
            Self::StepEnded { .. } => "step_ended",
            Self::PurgeProved { .. } => "purge_proved",
            Self::PurgeBroken { .. } => "purge_broken",
            Self::Recovered { .. } => "recovered",
            Self::PartUnder { .. } => "part_under",
            Self::CycleEnded { .. } => "cycle_ended",
            Self::Held => "held",
            Self::Resumed => "resumed",
            Self::RodeThrough { .. } => "rode_through",
            Self::Asked { .. } => "asked",
            Self::Answered { .. } => "answered",
            Self::Withdrawn { .. } => "withdrawn",
            Self::Entered { .. } => "entered",
            Self::Record { .. } => "record",
            Self::Alarm { .. } => "alarm",
            Self::AlarmFlood { .. } => "alarm_flood",
            Self::HornSilenced => "horn_silenced",
            Self::Noted => "noted",
        }
    }
}
