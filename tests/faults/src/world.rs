//! One shop in one run: the core, its equipment, its people, its disk and its judge, stepped a second at a time.

use std::collections::VecDeque;
use std::sync::Arc;

use hearthward_equipment::{Evidence, Fault as DriverFault, FaultCode, FurnaceId, GasFlow, Generation, Quality, Reading, ShopMs};
use hearthward_equipment::{Tick, Value};
use hearthward_supervise::observe::{ActState, CutState, Observation, UnitState, Urgency};
use hearthward_supervise::output::{Act, Cut, Outputs, Via};
use hearthward_supervise::plan::ShopPlan;
use hearthward_supervise::request::{Person, Request};
use hearthward_supervise::view::View;
use hearthward_supervise::{Away, Shop, Standing};

use crate::oracle::Oracle;
use crate::people::{Floor, People};
use crate::plant::{Bath, Plant};
use crate::script::{Fault, Kind};
use crate::shops::Built;
use crate::tally::Tally;
use crate::wires::Wires;

/// A run under way.
#[derive(Debug)]
pub struct World {
    pub(crate) seed: u64,
    pub(crate) plan: Arc<ShopPlan>,
    pub(crate) shop: Shop,
    pub(crate) out: Outputs,
    pub(crate) view: View,
    pub(crate) plants: Vec<Plant>,
    pub(crate) baths: Vec<Bath>,
    pub(crate) room_oxygen: f64,
    pub(crate) gauge_bar: Vec<f64>,
    pub(crate) wires: Wires,
    people: People,
    oracle: Oracle,
    disk: Disk,
    /// The script, by when faults begin.
    script: Vec<Fault>,
    next: usize,
    /// What is wrong now, by furnace.
    pub(crate) wrong: Vec<Vec<Fault>>,
    used: Vec<bool>,
    /// The core's clock since its start.
    pub(crate) now: ShopMs,
    /// The second of the run.
    pub(crate) second: u32,
    away: Option<Gone>,
    cuts: Vec<Cut>,
    /// Acts that were carried out, until the core hears of it.
    carried: Vec<Act>,
    arrived: Vec<Reading>,
    asks: Vec<Request>,
    /// What was said last, for whoever looks for the cause of a failure.
    pub(crate) said: VecDeque<String>,
    /// What it reached.
    pub tally: Tally,
}

/// Sentences that are kept.
const SAID_MOST: usize = 80;

/// What is on disk.
#[derive(Debug, Default)]
struct Disk {
    /// Commit only every so many seconds.
    every_s: u32,
    failing: bool,
    /// The last tick that is not on disk yet.
    pending: Option<Tick>,
    /// What stood after the last tick that is, with what the judge knew then; absent while nothing is pending.
    kept: Option<Box<(Standing, Oracle)>>,
}

/// The service is away.
#[derive(Debug)]
struct Gone {
    until_s: u32,
    since_s: u32,
    unknown: bool,
    stood: Box<(Standing, Oracle)>,
}

impl World {
    /// A shop in the morning, with the faults of its day. Furnaces that are not used get no load.
    #[must_use]
    pub fn new(seed: u64, built: Built, script: Vec<Fault>, used: Vec<bool>) -> Self {
        let plan = Arc::new(built.plan);
        let plants: Vec<Plant> =
            plan.furnaces.iter().zip(&built.rises_k_per_s).map(|(plan, rises)| Plant::new(plan, *rises)).collect();
        Self {
            seed,
            shop: Shop::new(ShopPlan::clone(&plan), None, Away::Unknown),
            out: Outputs::default(),
            view: View::default(),
            baths: plan.tanks.iter().map(|_| Bath::new()).collect(),
            room_oxygen: 0.209,
            gauge_bar: vec![150.0; plan.supplies.len()],
            wires: Wires::new(plan.directory.points().len()),
            people: People::new(seed, plants.len(), script.is_empty()),
            oracle: Oracle::new(Arc::clone(&plan)),
            disk: Disk { every_s: 1, ..Disk::default() },
            wrong: vec![Vec::new(); plants.len()],
            plants,
            script,
            next: 0,
            used,
            now: ShopMs(0),
            second: 0,
            away: None,
            cuts: Vec::new(),
            carried: Vec::new(),
            arrived: Vec::new(),
            asks: Vec::new(),
            said: VecDeque::new(),
            plan,
            tally: Tally { runs: 1, ..Tally::default() },
        }
    }

    /// Lets a second pass.
    ///
    /// # Errors
    /// The first thing that the judge found, in a sentence.
    pub fn second(&mut self) -> Result<(), String> {
        self.second += 1;
        self.tally.furnace_s += self.plants.len() as u64;
        let begins = self.begin_and_end();
        self.step_plants();
        if self.away.as_ref().is_some_and(|gone| self.second < gone.until_s) {
            return Ok(());
        }
        self.come_back();
        self.now = self.now + self.plan.scan;
        if self.is(Kind::ClockJumps) {
            return Ok(());
        }
        let torn = begins.iter().any(|fault| fault.kind == Kind::RestartTorn);
        if torn {
            self.keep();
        }
        self.confirm_cuts();
        self.confirm_acts();
        self.read_all()?;
        self.begin_at_once(&begins)?;
        self.people_act(&begins);
        self.tick()?;
        self.commit(torn);
        self.leave(&begins)
    }

    /// Faults that begin in this second; what is wrong is brought up to date.
    fn begin_and_end(&mut self) -> Vec<Fault> {
        let second = self.second;
        for list in &mut self.wrong {
            list.retain(|fault| second < fault.at_s + fault.for_s);
        }
        let mut begins = Vec::new();
        while let Some(fault) = self.script.get(self.next).filter(|fault| fault.at_s < second) {
            self.next += 1;
            self.tally.began(fault.kind);
            let place = fault.place.min(self.wrong.len() - 1);
            let fault = Fault { place, at_s: second, ..*fault };
            self.wrong[place].push(fault);
            begins.push(fault);
        }
        begins
    }

    /// Whether this is wrong anywhere.
    pub(crate) fn is(&self, kind: Kind) -> bool {
        self.wrong.iter().flatten().any(|fault| fault.kind == kind)
    }

    /// Hears a reading; one that may trip something is decided on at once.
    pub(crate) fn hear(&mut self, what: Observation) -> Result<(), String> {
        let at = self.clock();
        self.oracle.observed(at, &what);
        match self.shop.observe(at, what) {
            Urgency::Now => self.tick(),
            Urgency::Scan => Ok(()),
        }
    }

    /// The time as the core is told it: sometimes it goes back.
    fn clock(&self) -> ShopMs {
        if self.is(Kind::ClockBack) { ShopMs(self.now.0.saturating_sub(7_300)) } else { self.now }
    }

    fn read_all(&mut self) -> Result<(), String> {
        let mut arrived = std::mem::take(&mut self.arrived);
        self.wires.arrive(self.now, &mut arrived);
        self.read_out(&mut arrived);
        let mut failed = Ok(());
        for reading in arrived.drain(..) {
            if failed.is_ok() {
                failed = self.hear(Observation::Reading(reading));
            }
        }
        self.arrived = arrived;
        failed
    }

    /// Faults that are one act.
    fn begin_at_once(&mut self, begins: &[Fault]) -> Result<(), String> {
        let failing = self.is(Kind::RecordFails);
        if failing != self.disk.failing {
            self.disk.failing = failing;
            self.hear(Observation::Record { failing: failing.then(|| "the disk is full".to_owned()) })?;
        }
        self.disk.every_s = if self.is(Kind::DiskSlow) { 4 } else { 1 };
        for fault in begins {
            let furnace = FurnaceId(fault.place as u16);
            let unit = self.plan.furnaces[fault.place].controller;
            let words = DriverFault::new(FaultCode::TIMED_OUT, "the simulator says so");
            match (fault.kind, unit) {
                (Kind::DriverSilent, Some(unit)) => {
                    self.hear(Observation::Unit { unit, is: UnitState::Silent(words) })?;
                }
                (Kind::DriverOut, Some(unit)) => {
                    self.hear(Observation::Unit { unit, is: UnitState::OutOfService(words) })?;
                }
                (Kind::PanelTurned, _) => self.plants[fault.place].panel_c = Some(300.0 + 600.0 * fault.size),
                (Kind::DoorBlips, _) => self.blip(fault.place)?,
                (Kind::CutFails, _) => {
                    let generation = self.view.furnaces.get(fault.place).map_or(Generation(0), |seen| seen.generation);
                    self.hear(Observation::Cut { furnace, generation, via: Via::Controller, is: CutState::Failed(words) })?;
                }
                (Kind::WallAhead, _) => {
                    self.hear(Observation::WallAhead { by: ShopMs((fault.size * 600_000.0) as u64) })?;
                }
                (Kind::OrderlyEnd, _) => self.hear(Observation::Stopping)?,
                _ => {}
            }
        }
        self.drivers_back()
    }

    /// The door opens and shuts between two ticks.
    fn blip(&mut self, place: usize) -> Result<(), String> {
        let Some(point) = self.plan.furnaces[place].door else { return Ok(()) };
        for open in [true, false] {
            let value = Some(Value::Flag(open));
            let reading = Reading { point, at: self.now, value, quality: Quality::Good, evidence: Evidence::Measured };
            self.hear(Observation::Reading(reading))?;
        }
        Ok(())
    }

    /// Drivers whose trouble is over say so.
    fn drivers_back(&mut self) -> Result<(), String> {
        for place in 0..self.plants.len() {
            let troubled = self.wrong[place].iter().any(|fault| matches!(fault.kind, Kind::DriverSilent | Kind::DriverOut));
            if let (Some(unit), false) = (self.plan.furnaces[place].controller, troubled) {
                self.hear(Observation::Unit { unit, is: UnitState::Answering })?;
            }
        }
        Ok(())
    }

    fn people_act(&mut self, begins: &[Fault]) {
        let mut asks = std::mem::take(&mut self.asks);
        let mut floor = Floor {
            plan: &self.plan,
            view: &self.view,
            plants: &mut self.plants,
            baths: &mut self.baths,
            faults: &self.wrong,
            used: &self.used,
            second: self.second,
        };
        if floor.view.furnaces.len() == floor.plants.len() {
            self.people.act(&mut floor, &mut asks);
            crate::mischief::ask(begins, &floor, self.seed, &mut asks);
        }
        let by = Person { name: "ada".to_owned() };
        for ask in asks.drain(..) {
            self.oracle.asked(&ask);
            let _ticket = self.shop.request(self.now, &by, ask);
        }
        self.asks = asks;
    }

    /// Decides, is judged, and lets the equipment obey.
    fn tick(&mut self) -> Result<(), String> {
        if self.disk.pending.is_none() && (self.disk.failing || self.disk.every_s > 1) {
            self.keep();
        }
        let now = self.clock();
        self.shop.tick(now, &mut self.out);
        self.shop.view(&mut self.view);
        self.tally.ticked(&self.out);
        self.remember();
        self.disk.pending = Some(self.out.tick);
        let judged = self.oracle.ticked(now, &self.out, &self.view);
        self.obey();
        if self.disk.every_s == 1 && !self.disk.failing && self.disk.kept.is_none() {
            self.written();
        }
        judged.map_err(|what| format!("second {}, tick {}: {what}", self.second, self.out.tick.0))
    }

    fn remember(&mut self) {
        for event in &self.out.events {
            if self.said.len() >= SAID_MOST {
                self.said.pop_front();
            }
            let furnace = event.furnace.map_or_else(|| "shop".to_owned(), |id| format!("furnace {}", id.0));
            self.said.push_back(format!("second {}, tick {}, {furnace}: {}", self.second, self.out.tick.0, event.text));
        }
    }

    fn obey(&mut self) {
        for cut in &self.out.cuts {
            self.plants[cut.furnace.index()].cut(cut.generation, cut.via);
            self.cuts.push(*cut);
        }
        for order in &self.out.orders {
            self.plants[order.furnace().index()].ordered(order.means(), order.expires(), order.generation());
        }
        let acts = std::mem::take(&mut self.out.acts);
        for act in &acts {
            self.obey_act(act);
        }
        self.carried.extend_from_slice(&acts);
        self.out.acts = acts;
    }

    fn obey_act(&mut self, act: &Act) {
        let plan = &self.plan;
        match act {
            Act::SetFlow { meter, flow } => {
                for (plant, plan) in self.plants.iter_mut().zip(&plan.furnaces) {
                    if plan.gas.as_ref().is_some_and(|gas| gas.meter == Some(*meter)) {
                        plant.set_flow = GasFlow::clone(flow).value;
                    }
                }
            }
            Act::WritePoint { point, value: Value::Flag(open) } => {
                for (plant, plan) in self.plants.iter_mut().zip(&plan.furnaces) {
                    let valve = plan.gas.as_ref().and_then(|gas| gas.valve);
                    if valve.is_some_and(|valve| valve.output == *point) {
                        plant.valve = *open;
                    }
                }
            }
            Act::HeatTank { unit, to } => self.heat_bath(*unit, Some(hearthward_equipment::quantity::in_celsius(*to))),
            Act::TankHeaterOff { unit } => self.heat_bath(*unit, None),
            Act::Agitate { unit, on } => {
                for (bath, plan) in self.baths.iter_mut().zip(&plan.tanks) {
                    bath.stirred = if plan.unit == Some(*unit) { *on } else { bath.stirred };
                }
            }
            Act::Enter { point, value } => {
                let (point, value) = (*point, Some(value.clone()));
                self.arrived.push(Reading { point, at: self.now, value, quality: Quality::Good, evidence: Evidence::Confirmed });
            }
            Act::WritePoint { .. } => {}
        }
    }

    fn heat_bath(&mut self, unit: hearthward_equipment::UnitId, to_c: Option<f64>) {
        for (bath, plan) in self.baths.iter_mut().zip(&self.plan.tanks) {
            bath.heats_to_c = if plan.unit == Some(unit) { to_c } else { bath.heats_to_c };
        }
    }

    fn confirm_cuts(&mut self) {
        let cuts = std::mem::take(&mut self.cuts);
        for Cut { furnace, generation, via } in cuts {
            // The smaller half of such faults is the controller's own: a contactor still answers.
            let silences = |fault: &Fault| match fault.kind {
                Kind::CutSilent | Kind::CutFails => via == Via::Controller || fault.size > 0.5,
                kind => kind == Kind::RelayWelded,
            };
            if self.wrong[furnace.index()].iter().any(silences) {
                continue;
            }
            let what = Observation::Cut { furnace, generation, via, is: CutState::Confirmed };
            let at = self.clock();
            self.oracle.observed(at, &what);
            self.shop.observe(at, what);
        }
    }

    fn confirm_acts(&mut self) {
        for act in std::mem::take(&mut self.carried) {
            let what = Observation::Act { act, is: ActState::Done };
            let at = self.clock();
            self.oracle.observed(at, &what);
            self.shop.observe(at, what);
        }
    }

    /// What stands and what the judge knows, as the disk will still have it after the next tick.
    fn keep(&mut self) {
        if self.disk.kept.is_none() {
            self.disk.kept = Some(Box::new((self.shop.standing(), self.oracle.clone())));
        }
    }

    /// Commits what is pending, unless the disk is slow or broken or the service dies first.
    fn commit(&mut self, torn: bool) {
        let due = !self.disk.failing && self.second.is_multiple_of(self.disk.every_s.max(1));
        if due && !torn && self.disk.pending.is_some() {
            self.written();
        }
    }

    fn written(&mut self) {
        let Some(through) = self.disk.pending.take() else { return };
        self.disk.kept = None;
        let what = Observation::Durable { through };
        self.oracle.observed(self.now, &what);
        self.shop.observe(self.now, what);
    }

    /// The service dies in this second, if the script says so.
    fn leave(&mut self, begins: &[Fault]) -> Result<(), String> {
        let dies = |kind| matches!(kind, Kind::Restart | Kind::RestartTorn | Kind::RestartLong | Kind::OrderlyEnd);
        let Some(fault) = begins.iter().find(|fault| dies(fault.kind)) else { return Ok(()) };
        self.keep();
        let Some(stood) = self.disk.kept.take() else { return Ok(()) };
        self.disk = Disk { every_s: 1, ..Disk::default() };
        self.plants.iter_mut().for_each(Plant::abandoned);
        let unknown = fault.kind == Kind::RestartLong && fault.size > 0.5;
        let until_s = self.second + fault.for_s;
        self.away = Some(Gone { until_s, since_s: self.second, unknown, stood });
        Ok(())
    }

    /// The service starts again from what stood.
    fn come_back(&mut self) {
        let Some(Gone { since_s, unknown, stood, .. }) = self.away.take() else { return };
        let away_ms = u64::from(self.second - since_s) * 1000;
        let away = if unknown { Away::Unknown } else { Away::Known(ShopMs(away_ms)) };
        let (standing, mut oracle) = *stood;
        oracle.restarted(away);
        self.oracle = oracle;
        self.shop = Shop::new(ShopPlan::clone(&self.plan), Some(standing), away);
        self.out = Outputs::default();
        self.view = View::default();
        self.wires.restart();
        self.cuts.clear();
        self.carried.clear();
        self.arrived.clear();
        self.now = ShopMs(0);
    }
}
