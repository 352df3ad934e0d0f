//! A load's cycle: which step it is in, what heat it wants, what it waits for.
//!
//! A cycle wants; the interlocks permit. Nothing here can make a furnace heat.

mod ask;
mod bath;
mod chamber;
mod ends;
mod heat;
mod program;
mod pull;
mod route;
mod steel;
mod wait;
mod words;

use hearthward_equipment::quantity::in_celsius;
use hearthward_equipment::{FurnaceId, ShopMs};
use serde::{Deserialize, Serialize};

pub(crate) use ask::{Gone, apply_choice, ask_about_steel, ask_to_go_on};
pub(crate) use bath::{flash_limit_c, warmest_c};
pub(crate) use chamber::falls_to_c;
pub(crate) use ends::{skip, turn_to_end, turn_to_quench};
pub(crate) use program::{is_off as program_is_off, words as program_words};
pub(crate) use pull::is_emptied;
pub(crate) use steel::{follow, follow_through, load_c};
pub(crate) use wait::{FurnaceNow, ShopNow, Waits, forbids, may_wait};
pub(crate) use words::{span, waiting_for};

use crate::event::{Event, EventBody, Priority};
use crate::facts::{Door, Facts};
use crate::gas::hot_c;
use crate::interlock::{InterlockKind, Rows};
use crate::plan::{FurnacePlan, ShopPlan};
use crate::purge::{Purge, PurgePhase};
use crate::questions::{Asked, Purpose, Questions};
use crate::recipe::{Drive, Load, Protection, Step, StepKind};
use crate::request::Ask;
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
}

impl Outcome {
    /// The record's word.
    pub(crate) fn word(self) -> &'static str {
        match self {
            Self::Complete => "complete",
            Self::Aborted => "aborted",
            Self::QuenchedEarly => "quenched_early",
            Self::SlowCooled => "slow_cooled",
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
    fn airs(&self) -> bool {
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

/// The cycle begins: says so, and asks for the load.
pub(crate) fn begin(cycle: &mut Cycle, at: &At<'_>, turn: &mut Turn<'_>) {
    let (name, load) = (&at.plan.name, &cycle.load);
    let steps = u16::try_from(load.steps.len()).unwrap_or(u16::MAX);
    let body = EventBody::CycleBegan { load: load.name.clone(), steel: load.steel.clone(), steps };
    turn.say(at.id, Priority::Notice, format!("The cycle of load {} ({}) began in {name}.", load.name, load.steel), body);
    if let Some(words) = program::words(load, at.plan) {
        turn.say(at.id, Priority::Notice, words, EventBody::Noted);
    }
    let load = load.name.clone();
    let when = if cycle.ready_ms.is_some() && !cycle.alone { "When you are there to begin: put" } else { "Put" };
    turn.questions.ask(at.id, Purpose::LoadAndShut, turn.now, turn.events, || {
        Asked::to_do(Ask::LoadAndShut, format!("{when} load {load} into {name}, shut the door, and say so."))
    });
}

/// The load is in and the door is shut, a person says.
pub(crate) fn loaded(cycle: &mut Cycle, at: &mut At<'_>, turn: &mut Turn<'_>) -> Result<(), String> {
    if matches!(at.facts.door, Door::Open) {
        return Err(format!("The door of {} reads open: shut it, then say so again.", at.plan.name));
    }
    if let Some(why) = forbids(turn.shop, at.now) {
        return Err(format!("Nothing begins in {} now, since {why}: mend that, then say so again.", at.plan.name));
    }
    cycle.out = false;
    // Unknown counts as cold, which asks for the purge.
    cycle.charged_hot = cycle.wants_gas() && at.read_c().is_some_and(|read_c| read_c > hot_c(at.plan));
    steel::put_in(cycle);
    if cycle.ready_ms.is_some() && cycle.alone {
        wait::begin(cycle, at, turn);
        return Ok(());
    }
    cycle.ready_ms = None;
    cycle.stage = Stage::Running;
    let index = cycle.index;
    enter(cycle, at, turn, index);
    Ok(())
}

/// Lets a tick pass over a cycle. Says how it ended, if it did.
pub(crate) fn step(cycle: &mut Cycle, at: &mut At<'_>, turn: &mut Turn<'_>) -> Option<Outcome> {
    if let Some(since_ms) = &mut cycle.since_quench_ms {
        // A time that nobody knows counts as one that never ends, and two of them too.
        *since_ms = since_ms.saturating_add(turn.dt_ms);
    }
    cycle.step_ms += turn.dt_ms;
    cycle.part_ms += turn.dt_ms;
    cycle.ready_ms = cycle.ready_ms.map(|ready_ms| ready_ms.saturating_sub(turn.dt_ms));
    watch(cycle, at, turn.dt_ms);
    if cycle.interrupted {
        return None;
    }
    match cycle.stage {
        Stage::Loading => {
            wait::prepare(cycle, at, turn);
            None
        }
        Stage::Waiting => {
            wait::prepare(cycle, at, turn);
            wait::wait(cycle, at, turn);
            None
        }
        Stage::Transferring => {
            // An interruption's own question put this one away.
            if let Some(to) = cycle.moves_to
                && turn.questions.find(at.id, Purpose::Transfer).is_none()
            {
                route::ask_transfer(cycle, at, turn, to);
            }
            route::watch_overdue(cycle, at, turn);
            None
        }
        Stage::Ending => {
            cycle.wanted_c = None;
            (cycle.out || route::is_cool(cycle, at)).then_some(cycle.outcome)
        }
        Stage::Running => {
            route::watch_overdue(cycle, at, turn);
            run(cycle, at, turn)
        }
    }
}

/// Keeps what an interruption would be judged by: how long nothing was read, where the chamber was before, where the steel is.
fn watch(cycle: &mut Cycle, at: &At<'_>, dt_ms: u64) {
    if at.rows.row(InterlockKind::DriverLost).cause() {
        cycle.unwatched_ms = cycle.unwatched_ms.saturating_add(dt_ms);
        return;
    }
    // What was lost and is not answered for yet is still to be told.
    let untold = at.rows.row(InterlockKind::DriverLost).is_latched() && !cycle.lost;
    if !cycle.interrupted && !untold {
        (cycle.unwatched_ms, cycle.seen_c) = (0, at.read_c().or(cycle.seen_c));
    }
    if !cycle.out {
        follow(cycle, at.read_c(), dt_ms as f64 / 1000.0);
    }
}

fn run(cycle: &mut Cycle, at: &mut At<'_>, turn: &mut Turn<'_>) -> Option<Outcome> {
    let Some(step) = cycle.step().cloned() else { return Some(cycle.outcome) };
    let done = match &step {
        Step::Purge => {
            cycle.wanted_c = None;
            say_if_no_gas_comes(cycle, at, turn);
            at.purge.is_proved() || cycle.charged_hot
        }
        Step::Preheat { to, hold } => heat::preheat(cycle, at, turn, *to, *hold),
        Step::Ramp { to, .. } => heat::ramp(cycle, at, *to),
        Step::Soak { at: soak, band, minimum, maximum } => {
            heat::soak(cycle, at, turn, heat::SoakStep { at: *soak, band: *band, minimum: *minimum, maximum: *maximum })
        }
        Step::Pull { .. } => pull::pull(cycle, at, turn),
        Step::Quench { under, .. } => pull::quench(cycle, at, turn, *under),
        Step::Cool { to, in_air } => heat::cool(cycle, at, turn, *to, *in_air),
        Step::Temper { at: temper, hold, .. } => heat::temper(cycle, at, turn, *temper, *hold),
    };
    if !done || cycle.held {
        return None;
    }
    leave(cycle, at, turn, true);
    let next = cycle.index + 1;
    if usize::from(next) >= cycle.load.steps.len() {
        return ends::finish(cycle, at);
    }
    enter(cycle, at, turn, next);
    None
}

/// A purge whose flow is not proved after this long is told to people (common practice, no source: a valve left shut shows at once).
const NO_GAS_MS: u64 = 60_000;

/// Says once a step that the gas does not come.
fn say_if_no_gas_comes(cycle: &Cycle, at: &At<'_>, turn: &mut Turn<'_>) {
    let due = cycle.step_ms >= NO_GAS_MS && cycle.step_ms - turn.dt_ms < NO_GAS_MS;
    let waits = matches!(at.purge.phase, PurgePhase::Idle | PurgePhase::Settling);
    if due && waits && !at.rows.stands(InterlockKind::SharedSupply) {
        let name = &at.plan.name;
        let text = format!(
            "{name}: the purge cannot begin, since its meter does not show the purge flow. Open the valve, look at the cylinder and the meter."
        );
        turn.say(at.id, Priority::Warning, text, EventBody::Noted);
    }
}

/// A step begins.
pub(crate) fn enter(cycle: &mut Cycle, at: &mut At<'_>, turn: &mut Turn<'_>, index: u16) {
    cycle.index = index;
    (cycle.step_ms, cycle.part_ms, cycle.in_band_ms, cycle.transfer_ms, cycle.extended) = (0, 0, 0, None, false);
    (cycle.ramp_k_per_s, cycle.core_lag_ms, cycle.cooled) = (None, 0, false);
    let Some(step) = cycle.step().cloned() else { return };
    match step {
        Step::Ramp { to, pace } => heat::begin_ramp(cycle, at, to, pace),
        Step::Preheat { to, .. } => {
            cycle.wanted_c = Some(in_celsius(to));
            heat::begin_band(cycle, at, to, None);
        }
        Step::Soak { at: soak, band, .. } => {
            cycle.wanted_c = Some(in_celsius(soak));
            heat::begin_band(cycle, at, soak, band);
        }
        Step::Pull { .. } => pull::begin(cycle, at, turn),
        Step::Temper { at: temper, furnace, .. } => {
            cycle.wanted_c = None;
            heat::begin_band(cycle, at, temper, None);
            if cycle.out || furnace.is_some_and(|to| to != at.id) {
                route::ask_transfer(cycle, at, turn, furnace.unwrap_or(at.id));
                return;
            }
        }
        Step::Purge | Step::Quench { .. } | Step::Cool { .. } => cycle.wanted_c = None,
    }
    say_began(cycle, at, turn);
}

/// Says that the step began.
pub(crate) fn say_began(cycle: &Cycle, at: &At<'_>, turn: &mut Turn<'_>) {
    let (name, load, kind) = (&at.plan.name, &cycle.load.name, cycle.kind());
    let body = EventBody::StepBegan { load: load.clone(), index: cycle.index, step: kind };
    turn.say(at.id, Priority::Notice, format!("{name}: {} of load {load} began.", words::step(kind)), body);
}

/// A step ends.
pub(crate) fn leave(cycle: &mut Cycle, at: &mut At<'_>, turn: &mut Turn<'_>, complete: bool) {
    let (name, load, kind) = (&at.plan.name, cycle.load.name.clone(), cycle.kind());
    if kind == StepKind::Soak {
        cycle.soaked_ms += cycle.in_band_ms;
    }
    let took_ms = cycle.step_ms;
    let how = if complete { "is complete" } else { "was ended early" };
    let text = format!("{name}: {} of load {load} {how} after {}.", words::step(kind), words::span(took_ms));
    let body = EventBody::StepEnded { load, index: cycle.index, step: kind, took_ms, complete };
    turn.say(at.id, Priority::Notice, text, body);
    turn.questions.withdraw(at.id, turn.events, |purpose| {
        matches!(purpose, Purpose::PartUnder | Purpose::BringBath | Purpose::LoadAndShut | Purpose::Transfer | Purpose::LetCool)
    });
}

pub(crate) use heat::cooled;
pub(crate) use pull::{NextPart, part_under, watch_door};
pub(crate) use route::{arrived, can_quench, free_tanks, highest_c, tank_ahead, temper_due_ms};
