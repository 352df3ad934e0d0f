//! A scripted bench: a shop on a plain plant, stepped one scan at a time, with people who do what a test tells them.
//!
//! The plant obeys as a line does: an order counts until its lease ends or a cut of a newer generation comes.

use hearthward_equipment::quantity::{celsius, in_celsius};
use hearthward_equipment::{
    Evidence, Fault, FaultCode, FurnaceId, GasFlow, Generation, PointId, Quality, Reading, ShopMs, Tick, Value,
};
use hearthward_supervise::event::{Event, EventBody};
use hearthward_supervise::interlock::{InterlockKind, Means};
use hearthward_supervise::observe::{ActState, CutState, Observation};
use hearthward_supervise::output::{Act, Outputs, Via};
use hearthward_supervise::plan::ShopPlan;
use hearthward_supervise::recipe::Load;
use hearthward_supervise::request::{Answer, Ask, Choice, Person, QuestionId, Request};
use hearthward_supervise::view::{FurnaceView, InterlockState, QuestionView, View};
use hearthward_supervise::{Away, Shop, Standing};
use uom::si::f64::{Pressure, Ratio};
use uom::si::pressure::bar;
use uom::si::ratio::ratio;

use crate::oracle::{Oracle, Seen};
pub(crate) use crate::plans::{Kind, NORTH, SOUTH, irons, plan};

pub(crate) fn person() -> Person {
    Person { name: "ada".to_owned() }
}

/// The plant of one furnace.
#[derive(Clone, Debug)]
pub(crate) struct Plant {
    pub(crate) read_c: f64,
    pub(crate) open: bool,
    pub(crate) quality: Quality,
    /// The driver answers.
    pub(crate) answers: bool,
    /// The door's switch answers.
    pub(crate) switch: bool,
    pub(crate) flow: GasFlow,
    /// Gas arrives.
    pub(crate) gas: bool,
    /// What a thermometer at the load reads, where one is wired.
    pub(crate) load_c: Option<f64>,
    /// What the controller says its set point is, where that can be read.
    pub(crate) set_c: Option<f64>,
    /// It is read in whole degrees; else in tenths.
    pub(crate) whole: bool,
    /// A cut is read back.
    pub(crate) confirms: bool,
    /// Its controller goes on heating whatever it is told, and says yes to all of it.
    pub(crate) deaf: bool,
    /// Somebody turned its heat on at the panel.
    pub(crate) panel: bool,
    /// How many times faster than a real furnace.
    pub(crate) pace: f64,
    pub(crate) order: Option<(Means, ShopMs, Generation)>,
    pub(crate) closed: Option<ShopMs>,
    /// The contactor's tips stick together.
    pub(crate) welded: bool,
    pub(crate) cuts: Vec<(Generation, Via)>,
    confirm: Option<(Generation, Via)>,
}

impl Plant {
    fn new() -> Self {
        Self {
            read_c: 21.0,
            open: false,
            quality: Quality::Good,
            answers: true,
            switch: true,
            flow: GasFlow::default(),
            gas: true,
            load_c: None,
            set_c: None,
            whole: false,
            confirms: true,
            deaf: false,
            panel: false,
            pace: 1.0,
            order: None,
            closed: None,
            welded: false,
            cuts: Vec::new(),
            confirm: None,
        }
    }

    /// What the order in force heats to, in °C.
    pub(crate) fn heats_to(&self, now: ShopMs) -> Option<f64> {
        match &self.order {
            Some((Means::SetPoint(to), expires, _)) if *expires > now => Some(in_celsius(*to)),
            Some((Means::RunProgram(_), expires, _)) if *expires > now => Some(800.0),
            _ => None,
        }
    }

    fn step(&mut self, now: ShopMs, dt_s: f64) {
        let share = self.heats_to(now).map_or(0.0, |to| ((to - self.read_c) / 10.0 + 0.4).clamp(0.0, 1.0));
        let door = if self.open { 0.001 } else { 0.0 };
        self.read_c += self.pace * dt_s * (0.6 * share - (self.read_c - 21.0) * (0.0003 + door));
    }
}

/// The shop, the plant and what was said.
pub(crate) struct Bench {
    pub(crate) plan: ShopPlan,
    pub(crate) shop: Shop,
    pub(crate) out: Outputs,
    pub(crate) view: View,
    pub(crate) now: ShopMs,
    pub(crate) plants: Vec<Plant>,
    pub(crate) oil_c: f64,
    pub(crate) level: f64,
    pub(crate) oxygen: Option<f64>,
    pub(crate) gauge_bar: f64,
    /// The disk keeps up.
    pub(crate) durable: bool,
    /// Meters, valves, horns and baths do what they are told.
    pub(crate) obeys: bool,
    pub(crate) events: Vec<Event>,
    pub(crate) answers: Vec<Answer>,
    pub(crate) digests: Vec<u64>,
    pub(crate) acts: Vec<Act>,
    /// What becomes of acts, told in the next scan.
    pub(crate) became: Vec<Observation>,
    /// What the core was told since the last tick, for the oracle.
    pub(crate) seen: Seen,
    pub(crate) oracle: Option<Box<Oracle>>,
    /// Points of which nothing is read.
    pub(crate) blind: Vec<PointId>,
}

impl Bench {
    pub(crate) fn new(kinds: &[Kind]) -> Self {
        Self::of(plan(kinds), None, Away::Unknown)
    }

    pub(crate) fn of(plan: ShopPlan, stood: Option<Standing>, away: Away) -> Self {
        let plants = plan.furnaces.iter().map(|_| Plant::new()).collect();
        Self {
            shop: Shop::new(plan.clone(), stood, away),
            plan,
            out: Outputs::default(),
            view: View::default(),
            now: ShopMs(0),
            plants,
            oil_c: 50.0,
            level: 1.0,
            oxygen: Some(0.209),
            gauge_bar: 150.0,
            durable: true,
            obeys: true,
            events: Vec::new(),
            answers: Vec::new(),
            digests: Vec::new(),
            acts: Vec::new(),
            became: Vec::new(),
            seen: Seen::default(),
            oracle: None,
            blind: Vec::new(),
        }
    }

    /// The service dies and comes back after so long; the plant stays as it is, its heat lapses.
    pub(crate) fn restart(&mut self, away: Away) {
        let stood = self.shop.standing();
        let mut plants = std::mem::take(&mut self.plants);
        let gap_s = if let Away::Known(gap) = away { gap.0 as f64 / 1000.0 } else { 600.0 };
        for plant in &mut plants {
            for _ in 0..(gap_s as u64) {
                plant.step(ShopMs(u64::MAX), 1.0);
            }
            (plant.order, plant.closed, plant.confirm) = (None, None, None);
        }
        let (oil_c, oxygen, events) = (self.oil_c, self.oxygen, std::mem::take(&mut self.events));
        let mut oracle = self.oracle.take();
        if let Some(oracle) = &mut oracle {
            oracle.restarted(away);
        }
        *self = Self { plants, oil_c, oxygen, events, oracle, ..Self::of(self.plan.clone(), Some(stood), away) };
    }

    pub(crate) fn reading(&mut self, point: PointId, value: Option<Value>, quality: Quality) {
        if self.blind.contains(&point) {
            return;
        }
        let reading = Reading { point, at: self.now, value, quality, evidence: Evidence::Measured };
        self.seen.readings.push(reading.clone());
        self.shop.observe(self.now, Observation::Reading(reading));
    }

    pub(crate) fn read_all(&mut self) {
        for place in 0..self.plants.len() {
            let plan = self.plan.furnaces[place].clone();
            let plant = self.plants[place].clone();
            if plant.answers {
                let steps = if plant.whole { 1.0 } else { 10.0 };
                let read_c = (plant.read_c * steps).round() / steps;
                self.reading(plan.temperature, Some(Value::Temperature(celsius(read_c))), plant.quality);
            }
            for (point, value_c) in [(plan.load_temperature, plant.load_c), (plan.set_point, plant.set_c)] {
                if let (Some(point), Some(value_c)) = (point, value_c) {
                    self.reading(point, Some(Value::Temperature(celsius(value_c))), Quality::Good);
                }
            }
            if let Some(point) = plan.heat_on {
                let on = plant.deaf || plant.panel || plant.heats_to(self.now).is_some();
                self.reading(point, Some(Value::Flag(on)), Quality::Good);
            }
            if let (Some(door), true) = (plan.door, plant.switch) {
                self.reading(door, Some(Value::Flag(plant.open)), Quality::Good);
            }
            if let Some(feedback) = plan.contactor.and_then(|contactor| contactor.feedback) {
                let closed = plant.welded || plant.closed.is_some_and(|until| until > self.now);
                self.reading(feedback, Some(Value::Flag(closed)), Quality::Good);
            }
            if let Some(gas) = plan.gas.filter(|gas| !gas.by_eye) {
                let flow = if plant.gas { plant.flow } else { GasFlow::default() };
                self.reading(gas.flow, Some(Value::GasFlow(flow)), Quality::Good);
            }
        }
        let tank = self.plan.tanks[0].clone();
        self.reading(tank.temperature, Some(Value::Temperature(celsius(self.oil_c))), Quality::Good);
        self.reading(
            tank.level.expect("the bench's tank has one"),
            Some(Value::Share(Ratio::new::<ratio>(self.level))),
            Quality::Good,
        );
        if let (Some(point), Some(oxygen)) = (self.plan.room.oxygen, self.oxygen) {
            self.reading(point, Some(Value::Share(Ratio::new::<ratio>(oxygen))), Quality::Good);
        }
        let gauge = self.plan.supplies[0].pressure.expect("the bench's supply has one");
        self.reading(gauge, Some(Value::Pressure(Pressure::new::<bar>(self.gauge_bar + 1.01325))), Quality::Good);
    }

    /// Decides at once, and lets the plant obey.
    pub(crate) fn tick(&mut self) {
        self.shop.tick(self.now, &mut self.out);
        self.shop.view(&mut self.view);
        if let Some(oracle) = &mut self.oracle {
            oracle.ticked(&self.plan, self.now, &self.seen, &self.out, &self.view);
        }
        self.seen = Seen::default();
        for cut in &self.out.cuts {
            let plant = &mut self.plants[cut.furnace.index()];
            plant.cuts.push((cut.generation, cut.via));
            plant.panel = false;
            if plant.order.as_ref().is_some_and(|(_, _, generation)| *generation < cut.generation) {
                plant.order = None;
            }
            if cut.via == Via::Contactor {
                plant.closed = None;
            }
            plant.confirm = plant.confirms.then_some((cut.generation, cut.via));
        }
        for order in &self.out.orders {
            let plant = &mut self.plants[order.furnace().index()];
            match order.means() {
                Means::Close(_) => plant.closed = Some(order.expires()),
                means => plant.order = Some((means.clone(), order.expires(), order.generation())),
            }
        }
        for act in self.out.acts.drain(..) {
            let fault = Fault::new(FaultCode::TIMED_OUT, "it does not answer");
            let is = if self.obeys { ActState::Done } else { ActState::Failed(fault) };
            self.became.push(Observation::Act { act: act.clone(), is });
            if let (Act::SetFlow { meter, flow }, true) = (&act, self.obeys) {
                for (plan, plant) in self.plan.furnaces.iter().zip(&mut self.plants) {
                    if plan.gas.as_ref().is_some_and(|gas| gas.meter == Some(*meter)) {
                        plant.flow = *flow;
                    }
                }
            }
            self.acts.push(act);
        }
        self.events.append(&mut self.out.events);
        self.answers.extend(self.out.answers.drain(..).map(|(_, answer)| answer));
        self.digests.push(self.out.digest);
        if self.durable {
            self.seen.durable = Some(self.out.tick);
            self.shop.observe(self.now, Observation::Durable { through: self.out.tick });
        }
    }

    /// One scan passes.
    pub(crate) fn scan(&mut self) {
        let scan = self.plan.scan;
        self.now = self.now + scan;
        for place in 0..self.plants.len() {
            self.plants[place].step(self.now, scan.as_secs_f64());
            if let Some((generation, via)) = self.plants[place].confirm.take() {
                let furnace = FurnaceId(place as u16);
                self.shop.observe(self.now, Observation::Cut { furnace, generation, via, is: CutState::Confirmed });
            }
        }
        for what in std::mem::take(&mut self.became) {
            self.shop.observe(self.now, what);
        }
        self.read_all();
        self.tick();
    }

    pub(crate) fn scans(&mut self, count: u32) {
        for _ in 0..count {
            self.scan();
        }
    }

    /// Scans until it is so; fails after a shop day.
    pub(crate) fn until(&mut self, what: &str, is: impl Fn(&Self) -> bool) {
        for _ in 0..86_400 {
            if is(self) {
                return;
            }
            self.scan();
        }
        let said: Vec<_> = self.events.iter().rev().take(20).map(|event| &event.text).collect();
        panic!("never came to: {what}; last said: {said:#?}");
    }

    /// A person asks; the answer comes in the next scan.
    pub(crate) fn ask(&mut self, request: Request) -> Answer {
        self.seen.requests.push(request.clone());
        self.shop.request(self.now, &person(), request);
        self.scan();
        self.answers.pop().expect("every request is answered in the next tick")
    }

    pub(crate) fn done(&mut self, request: Request) -> String {
        match self.ask(request) {
            Answer::Done(text) => text,
            Answer::Refused(text) => panic!("refused: {text}"),
        }
    }

    pub(crate) fn refused(&mut self, request: Request) -> String {
        match self.ask(request) {
            Answer::Done(text) => panic!("done: {text}"),
            Answer::Refused(text) => text,
        }
    }

    pub(crate) fn question(&self, is: impl Fn(&Ask) -> bool) -> Option<&QuestionView> {
        self.view.questions.iter().find(|question| is(&question.ask))
    }

    pub(crate) fn open(&self, is: impl Fn(&Ask) -> bool) -> QuestionId {
        self.question(is).unwrap_or_else(|| panic!("no such question among {:#?}", self.view.questions)).id
    }

    pub(crate) fn confirm(&mut self, is: impl Fn(&Ask) -> bool) -> String {
        let question = self.open(is);
        self.done(Request::Confirm { question, reading: None })
    }

    pub(crate) fn choose(&mut self, is: impl Fn(&Ask) -> bool, choice: Choice) -> String {
        let question = self.open(is);
        self.done(Request::Choose { question, choice })
    }

    /// Starts a load in a furnace and puts it in. What goes into another than the first is called after it.
    pub(crate) fn load(&mut self, furnace: FurnaceId, mut load: Load) {
        if furnace != NORTH {
            load.name = format!("{}-{}", load.name, furnace.index()).parse().expect("a name");
        }
        self.scans(2);
        self.done(Request::Start { furnace, load, ready_in: None });
        self.confirm(|ask| matches!(ask, Ask::LoadAndShut));
    }

    /// Starts the irons in the north furnace and waits until they soak.
    pub(crate) fn soaking(kinds: &[Kind]) -> Self {
        let mut bench = Self::new(kinds);
        bench.load(NORTH, irons(None));
        bench.until("the soak", |bench| bench.step() == Some(hearthward_supervise::recipe::StepKind::Soak) && bench.heats(NORTH));
        bench.scans(60);
        bench
    }

    pub(crate) fn step(&self) -> Option<hearthward_supervise::recipe::StepKind> {
        self.north().cycle.as_ref().map(|cycle| cycle.step)
    }

    pub(crate) fn north(&self) -> &FurnaceView {
        &self.view.furnaces[0]
    }

    /// The plant of this furnace heats.
    pub(crate) fn heats(&self, furnace: FurnaceId) -> bool {
        self.plants[furnace.index()].heats_to(self.now).is_some()
    }

    pub(crate) fn row(&self, furnace: FurnaceId, kind: InterlockKind) -> InterlockState {
        let rows = &self.view.furnaces[furnace.index()].interlocks;
        rows.iter().find(|row| row.kind == kind).unwrap_or_else(|| panic!("{kind:?} does not apply")).state
    }

    pub(crate) fn said(&self, is: impl Fn(&EventBody) -> bool) -> usize {
        self.events.iter().filter(|event| is(&event.body)).count()
    }

    pub(crate) fn reset(&mut self) -> Answer {
        self.ask(Request::Reset { furnace: None, interlock: None })
    }

    pub(crate) fn tick_number(&self) -> Tick {
        self.out.tick
    }
}
