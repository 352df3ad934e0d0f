//! The shop as it is now, for people and programs: copied out after a tick, never read back in.

use hearthward_equipment::{Evidence, Generation, Name, Quality, ShopMs, Tick, Value};
use serde::{Deserialize, Serialize};

use crate::alarm::{AlarmKey, AlarmState, Aside};
use crate::interlock::InterlockKind;
use crate::recipe::{Protection, StepKind};
use crate::request::{Ask, Choice, QuestionId};
use crate::rule::RuleEffect;

/// Everything that is shown.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
pub struct View {
    /// The tick it was taken after.
    pub tick: Tick,
    /// The shop's time of that tick.
    pub at: ShopMs,
    /// The furnaces in order of their numbers.
    pub furnaces: Vec<FurnaceView>,
    /// The tanks.
    pub tanks: Vec<TankView>,
    /// The supplies.
    pub supplies: Vec<SupplyView>,
    /// Room oxygen as a share, if there is a good reading.
    pub room_oxygen: Option<f64>,
    /// Every point of the directory in order of its numbers.
    pub points: Vec<PointView>,
    /// Questions that wait for a person.
    pub questions: Vec<QuestionView>,
    /// Why the record cannot be written, if so.
    pub record_failing: Option<String>,
    /// The alarms.
    pub alarms: AlarmsView,
}

/// The alarms as they are now.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
pub struct AlarmsView {
    /// Every alarm that is not normal, in the order of furnaces, tanks, units and the shop.
    pub shown: Vec<AlarmView>,
    /// How many were raised in the last ten minutes.
    pub raised: u32,
    /// Whether that is more than a person can follow.
    pub flood: bool,
    /// Whether the horn shall sound.
    pub horn: bool,
    /// Grows with every change of an alarm.
    pub revision: u64,
}

/// An alarm as it is now.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct AlarmView {
    /// Which.
    pub key: AlarmKey,
    /// Its name, such as `furnace/north/over-temperature`.
    pub name: String,
    /// Its state.
    pub state: AlarmState,
    /// Whether it was the first of its group.
    pub first: bool,
    /// For how long it has been in this state, in milliseconds, earlier runs of the service included where they are known.
    pub for_ms: u64,
    /// Where it is, what it is and what to do, in sentences.
    pub text: String,
    /// Who put it aside, why, and for how much longer, in milliseconds, if anybody did.
    pub aside: Option<Aside>,
}

/// A point as it is now.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct PointView {
    /// The last value that the device gave.
    pub value: Option<Value>,
    /// Its quality, [`Quality::Bad`] when too old.
    pub quality: Quality,
    /// What it rests on.
    pub evidence: Evidence,
    /// When it was read; absent when never.
    pub at: Option<ShopMs>,
}

/// A furnace as it is now.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct FurnaceView {
    /// Its name.
    pub name: Name,
    /// Chamber temperature in °C, if there is a good reading.
    pub temperature_c: Option<f64>,
    /// What the service wants now, in °C, when it orders heat; for a furnace set by hand, what a person was asked to set.
    pub wanted_c: Option<f64>,
    /// Most the set point may be, in °C; absent while heat is withheld.
    pub ceiling_c: Option<f64>,
    /// The count of cuts.
    pub generation: Generation,
    /// Whether the door is open, if known.
    pub door_open: Option<bool>,
    /// Gas flow in litres a minute at the shown reference conditions, if there is a good reading.
    pub flow_l_min: Option<f64>,
    /// Oxygen by the probe, in ppm.
    pub probe_ppm: Option<f64>,
    /// Oxygen as estimated.
    pub estimate: Option<OxygenEstimate>,
    /// Volume changes delivered without a break, and how many prove the purge.
    pub changes: Option<(f64, f64)>,
    /// Whether the purge is proved for the load in it.
    pub purge_proved: bool,
    /// Every interlock that applies to this furnace.
    pub interlocks: Vec<InterlockView>,
    /// The shop's own rules for it.
    pub rules: Vec<RuleView>,
    /// The load and its cycle.
    pub cycle: Option<CycleView>,
    /// By what heat is cut if this computer dies, in one line.
    pub if_computer_dies: String,
    /// Whether it may heat right now, what withholds heat and what would clear that, in sentences.
    pub heat: String,
}

/// Oxygen in the chamber as estimated, with what it rests on.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct OxygenEstimate {
    /// Lower end, in ppm; absent for a chamber that was never calibrated, of which no ppm is shown as fact.
    pub low_ppm: Option<f64>,
    /// Upper end, in ppm.
    pub high_ppm: Option<f64>,
    /// What it rests on, in words.
    pub basis: String,
}

/// An interlock as it is now.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct InterlockView {
    /// Which.
    pub kind: InterlockKind,
    /// How it stands.
    pub state: InterlockState,
    /// Whether anything is wired that acts; otherwise it only warns.
    pub acts: bool,
    /// Whether it was the first cause of its group.
    pub first: bool,
    /// Since when it stands so.
    pub since: ShopMs,
    /// Why, and what would clear it, in a sentence. Empty while clear.
    pub text: String,
    /// Whether it withholds heat right now.
    pub withholds: bool,
    /// Whether the configuration is open to a bypass.
    pub may_bypass: bool,
    /// The bypass, if there is one.
    pub bypass: Option<BypassView>,
    /// Whether it can be tested in this shop.
    pub may_prove: bool,
    /// What came of its last test.
    pub proof: Option<ProofView>,
    /// A test is owed, by the time that the furnace has been looked after: there was none, it failed, or it is too old.
    pub proof_owed: bool,
}

/// What came of the last guided test of an interlock.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct ProofView {
    /// Whether it tripped and cleared as it should.
    pub passed: bool,
    /// Whether the service watched it, or a person told of it.
    pub evidence: Evidence,
    /// Time of day when the test was begun, in milliseconds since 1970.
    pub wall_ms: i64,
}

/// A rule of the shop's own as it is now.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct RuleView {
    /// Its name.
    pub name: Name,
    /// The expression as it was written.
    pub source: String,
    /// What it means when it holds.
    pub text: String,
    /// What follows.
    pub effect: RuleEffect,
    /// How it stands.
    pub state: InterlockState,
    /// It could not be evaluated.
    pub failed: bool,
}

/// A bypass as it is now.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct BypassView {
    /// Who.
    pub person: String,
    /// Why.
    pub reason: String,
    /// How much longer at most.
    pub left_ms: u64,
}

/// How an interlock stands.
///
/// ```text
/// Clear ──cause──▶ Tripped ──cause gone, no latch──▶ Clear
///                     └─cause gone, latches──▶ Latched ──reset──▶ Clear
/// ```
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum InterlockState {
    /// No cause.
    Clear,
    /// Its cause stands.
    Tripped,
    /// Its cause is gone and a reset is owed.
    Latched,
}

/// A load's cycle as it is now.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct CycleView {
    /// The load.
    pub load: Name,
    /// The steel as given.
    pub steel: String,
    /// What keeps air off it.
    pub protection: Protection,
    /// Which step, from 0.
    pub index: u16,
    /// Of how many.
    pub steps: u16,
    /// What kind it is.
    pub step: StepKind,
    /// For how long, in milliseconds, earlier runs of the service included where they are known.
    pub step_ms: u64,
    /// What it waits for, in a sentence.
    pub waiting_for: String,
    /// Time in band of this step.
    pub in_band_ms: u64,
    /// Time in band that is owed.
    pub owed_ms: u64,
    /// Whether it is held.
    pub held: bool,
    /// The load's temperature in °C: by its own thermometer, else as estimated from its heaviest section; absent without either.
    pub load_c: Option<f64>,
    /// Milliseconds until the temper must have begun, once it was quenched; zero when it is overdue.
    pub temper_due_ms: Option<u64>,
    /// Milliseconds until a load that waits for its time shall be ready.
    pub ready_in_ms: Option<u64>,
}

/// A tank as it is now.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct TankView {
    /// Its name.
    pub name: Name,
    /// Bath temperature in °C, if there is a good reading.
    pub temperature_c: Option<f64>,
    /// Whether a part may go in now.
    pub ready: bool,
    /// Why not, or an empty text.
    pub text: String,
    /// The furnace that it is kept for.
    pub kept_for: Option<Name>,
}

/// A supply as it is now.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct SupplyView {
    /// Its name.
    pub name: Name,
    /// Gauge pressure in kPa, if there is a good reading.
    pub pressure_kpa: Option<f64>,
    /// Flow to all furnaces, in litres a minute at the shown reference conditions; nothing while that to one of them is not known.
    pub flow_l_min: Option<f64>,
}

/// A question as it is now.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct QuestionView {
    /// Which.
    pub id: QuestionId,
    /// The furnace it is about.
    pub furnace: Option<Name>,
    /// What is asked.
    pub ask: Ask,
    /// The question in words.
    pub text: String,
    /// What may be chosen; empty when a confirmation is enough.
    pub choices: Vec<Choice>,
    /// What silence means, and when it counts.
    pub default: Option<(Choice, ShopMs)>,
    /// Since when it waits.
    pub since: ShopMs,
}
