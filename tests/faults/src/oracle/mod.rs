//! The judge: written from the list of what the core must guarantee, sharing nothing with the core but the words of its interface.
//!
//! It hears every observation and request that the core hears, sees every output and the view after every tick, keeps its own
//! books, and names the first invariant that does not hold. Where the rules leave a margin (how a meter settles, how a rate is
//! measured) the judge gives the core the benefit of it: what it reports is wrong by any reading.

mod alarms;
mod causes;
mod events;
mod heard;
mod heat;
mod known;
mod lively;
mod obeyed;
mod parts;
mod policy;
mod program;
mod proofs;
mod purge;
mod set;
mod shares;
mod shown;
mod soak;

use std::collections::BTreeMap;
use std::sync::Arc;

use hearthward_equipment::{FurnaceId, PointId, ShopMs, Tick};
use hearthward_supervise::Away;
use hearthward_supervise::observe::{CutState, Observation, UnitState};
use hearthward_supervise::output::{Outputs, Via};
use hearthward_supervise::plan::ShopPlan;
use hearthward_supervise::request::{Ask, QuestionId, Request};
use hearthward_supervise::view::View;

use alarms::Alarms;
use causes::Room;
use heard::Heard;
use known::Known;
use shares::Bath;

/// What the judge found, in a sentence.
pub(crate) type Found = Result<(), String>;

/// The judge.
#[derive(Clone, Debug)]
pub struct Oracle {
    plan: Arc<ShopPlan>,
    heard: Vec<Heard>,
    /// Units whose driver is out of service.
    out_of_service: Vec<bool>,
    known: Vec<Known>,
    baths: Vec<Bath>,
    room: Room,
    alarms: Alarms,
    asked: Vec<Request>,
    questions: BTreeMap<QuestionId, Waiting>,
    durable: Tick,
    /// Ticks since the disk last kept up, counted from the last hitch.
    steady: u32,
    ended: bool,
    failing: bool,
    now: ShopMs,
    /// How far the wall clock ran ahead since the last tick.
    wall_ahead_ms: u64,
    /// No tick was made since the start.
    first: bool,
}

/// A question that waits.
#[derive(Clone, Debug)]
struct Waiting {
    furnace: Option<FurnaceId>,
    ask: Ask,
    /// When silence counts.
    silent_at: Option<ShopMs>,
}

/// What one tick is judged by.
#[derive(Clone, Copy, Debug)]
struct Moment<'a> {
    now: ShopMs,
    /// Time since the last tick in milliseconds.
    dt_ms: u64,
    out: &'a Outputs,
    view: &'a View,
}

impl Moment<'_> {
    fn dt_s(&self) -> f64 {
        self.dt_ms as f64 / 1000.0
    }
}

impl Oracle {
    /// A judge who knows nothing yet.
    #[must_use]
    pub fn new(plan: Arc<ShopPlan>) -> Self {
        Self {
            heard: vec![Heard::default(); plan.directory.points().len()],
            out_of_service: vec![false; plan.directory.units().len()],
            known: plan.furnaces.iter().map(|_| Known::default()).collect(),
            baths: plan.tanks.iter().map(|_| Bath::default()).collect(),
            room: Room::default(),
            alarms: Alarms::new(&plan),
            asked: Vec::new(),
            questions: BTreeMap::new(),
            durable: Tick(0),
            steady: 0,
            ended: false,
            failing: false,
            now: ShopMs(0),
            wall_ahead_ms: 0,
            first: true,
            plan,
        }
    }

    /// The core was told this.
    pub fn observed(&mut self, at: ShopMs, what: &Observation) {
        let at = at.max(self.now);
        match what {
            Observation::Reading(reading) => {
                if let Some(heard) = self.heard.get_mut(reading.point.index()) {
                    heard.take(at, reading);
                }
            }
            Observation::Unit { unit, is } => {
                if let Some(out) = self.out_of_service.get_mut(unit.index()) {
                    *out = matches!(is, UnitState::OutOfService(_));
                }
            }
            Observation::Cut { furnace, generation, via, is } => {
                let known = &mut self.known[furnace.index()];
                let taken = *is == CutState::Confirmed && *generation >= known.generation;
                known.cut_taken |= taken && *via == Via::Controller;
                known.contactor_took |= taken && *via == Via::Contactor;
            }
            Observation::Durable { through } => self.durable = *through,
            Observation::Record { failing } => self.failing = failing.is_some(),
            Observation::Stopping => self.ended = true,
            Observation::WallAhead { by } => self.wall_ahead_ms = self.wall_ahead_ms.saturating_add(by.0),
            // What equipment was told is judged by what it does.
            Observation::Order { .. } | Observation::Act { .. } => {}
        }
    }

    /// A person asked this.
    pub fn asked(&mut self, ask: &Request) {
        self.asked.push(ask.clone());
    }

    /// The service began again from what stood when this judge was copied.
    pub fn restarted(&mut self, away: Away) {
        self.heard.fill(Heard::default());
        self.out_of_service.fill(false);
        self.asked.clear();
        self.room.restarted();
        self.baths.iter_mut().for_each(|bath| bath.under = true);
        self.alarms.restarted(away);
        (self.durable, self.steady, self.ended, self.failing) = (Tick(0), 0, false, false);
        (self.now, self.first, self.wall_ahead_ms) = (ShopMs(0), true, 0);
        let ride_ms = self.plan.ride_through.as_millis() as u64;
        for place in 0..self.known.len() {
            let moves = self.is_moving(place);
            self.known[place].restarted(away, ride_ms, moves);
        }
        for waiting in self.questions.values_mut() {
            waiting.silent_at = None;
        }
    }

    /// The core decided.
    ///
    /// # Errors
    /// The first invariant that does not hold.
    pub fn ticked(&mut self, now: ShopMs, out: &Outputs, view: &View) -> Found {
        let now = now.max(self.now);
        let dt_ms = if self.first { 0 } else { now.0 - self.now.0 };
        let moment = Moment { now, dt_ms, out, view };
        self.steady = if self.durable.0 + 1 >= out.tick.0 && !self.failing { self.steady + 1 } else { 0 };
        let gone_ms = dt_ms.saturating_add(std::mem::take(&mut self.wall_ahead_ms));
        self.known.iter_mut().for_each(|known| known.policy.pass(gone_ms));
        self.alarms.pass(dt_ms);
        self.look(&moment);
        self.hear_stops();
        self.begin_proofs(&moment)?;
        self.check_events(&moment)?;
        for place in 0..self.known.len() {
            self.check_heat(place, &moment).map_err(|what| format!("{}: {what}", self.plan.furnaces[place].name))?;
            self.check_purge(place, &moment).map_err(|what| format!("{}: {what}", self.plan.furnaces[place].name))?;
            self.check_soak(place, &moment).map_err(|what| format!("{}: {what}", self.plan.furnaces[place].name))?;
            self.check_program(place, &moment).map_err(|what| format!("{}: {what}", self.plan.furnaces[place].name))?;
            self.check_lively(place, &moment).map_err(|what| format!("{}: {what}", self.plan.furnaces[place].name))?;
        }
        self.check_standing(&moment)?;
        self.check_proofs(&moment)?;
        self.check_policy(&moment)?;
        self.check_alarms(&moment)?;
        self.check_shares(&moment)?;
        self.check_gas(&moment)?;
        self.check_turns(&moment)?;
        self.check_silence(&moment)?;
        if self.first || out.tick.0.is_multiple_of(64) {
            self.check_shown(view)?;
        }
        self.look_at_switches(&moment);
        self.known.iter_mut().for_each(|known| known.said_under = false);
        self.heard.iter_mut().for_each(Heard::forget_marks);
        self.asked.clear();
        (self.now, self.first) = (now, false);
        Ok(())
    }

    /// The load of this furnace is between two furnaces: no step runs.
    fn is_moving(&self, place: usize) -> bool {
        let moves = |waiting: &Waiting| matches!(waiting.ask, Ask::Transfer { .. });
        self.questions.values().any(|waiting| moves(waiting) && waiting.furnace.is_some_and(|id| id.index() == place))
    }

    fn of(&self, point: Option<PointId>) -> Option<&Heard> {
        self.heard.get(point?.index())
    }
}

/// Fails with words unless it holds.
fn must(holds: bool, what: impl FnOnce() -> String) -> Found {
    if holds { Ok(()) } else { Err(what()) }
}
