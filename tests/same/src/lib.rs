//! A scripted day of the decision core, seeded, with a hash over all of its digests: the same seed gives the same number in a debug
//! build, in a release build, in bare Wasm and on another processor, or the core is not the same everywhere.
//!
//! The plant and the people are made of additions, multiplications and `libm` only, so that a difference is the core's.

#[path = "../../../daemon/supervise/tests/core/plans.rs"]
mod plans;

use hearthward_equipment::quantity::{celsius, in_celsius};
use hearthward_equipment::{Evidence, FurnaceId, GasFlow, Generation, PointId, Quality, Reading, ShopMs, Value};
use hearthward_supervise::interlock::Means;
use hearthward_supervise::observe::{ActState, CutState, Observation};
use hearthward_supervise::output::{Act, Outputs, Via};
use hearthward_supervise::plan::{Calibration, ChamberKind, ShopPlan};
use hearthward_supervise::request::{Ask, Choice, Person, Request};
use hearthward_supervise::view::{QuestionView, View};
use hearthward_supervise::{Away, Shop};
use uom::si::f64::{Pressure, Ratio, Volume};
use uom::si::pressure::pascal;
use uom::si::ratio::ratio;
use uom::si::volume::liter;

use plans::{Kind, NORTH, SOUTH, irons, plan};

/// What a day came to: a hash over the digests of its ticks, and how many events were said.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Day {
    /// The hash.
    pub digests: u64,
    /// The events.
    pub events: u64,
}

/// Lives through a day of so many scans. Seeds differ in noise, in when the door opens, and in what people do not do.
#[must_use]
pub fn day(seed: u64, scans: u32) -> Day {
    let mut floor = Floor::new(seed);
    for scan in 0..scans {
        floor.scan(scan);
    }
    floor.came_to
}

/// As [`day`], for a caller that only has numbers: the digests' hash with the count of events mixed in.
#[expect(unsafe_code, reason = "a name that a host of bare Wasm can call")]
#[unsafe(no_mangle)]
pub extern "C" fn day_as_number(seed: u64, scans: u32) -> u64 {
    let Day { digests, events } = day(seed, scans);
    digests ^ events.rotate_left(32)
}

/// One furnace's plant.
#[derive(Clone, Copy, Debug, Default)]
struct Plant {
    read_c: f64,
    heats_to_c: Option<f64>,
    flow: GasFlow,
    confirm: Option<(Generation, Via)>,
    open_for: u32,
}

struct Floor {
    plan: ShopPlan,
    shop: Shop,
    out: Outputs,
    view: View,
    now: ShopMs,
    plants: [Plant; 2],
    chance: u64,
    came_to: Day,
}

impl Floor {
    fn new(seed: u64) -> Self {
        let mut plan = plan(&[Kind { contactor: true, ..Kind::gas("north") }, Kind::plain("south")]);
        // A calibrated brick chamber: its oxygen estimate is what exponentials could differ in.
        plan.furnaces[0].chamber.kind = ChamberKind::Brick;
        plan.furnaces[0].chamber.calibration = Some(Calibration {
            leak: GasFlow::default(),
            pore_volume: Volume::new::<liter>(20.0),
            pore_exchange: std::time::Duration::from_secs(900),
            band: 2.0,
        });
        Self {
            shop: Shop::new(plan.clone(), None, Away::Unknown),
            plan,
            out: Outputs::default(),
            view: View::default(),
            now: ShopMs(0),
            plants: [Plant { read_c: 21.0, ..Plant::default() }; 2],
            chance: seed.wrapping_mul(0x9e37_79b9_7f4a_7c15) | 1,
            came_to: Day { digests: 0, events: 0 },
        }
    }

    /// A number below `most` (xorshift, from memory).
    fn chance(&mut self, most: u64) -> u64 {
        self.chance ^= self.chance << 13;
        self.chance ^= self.chance >> 7;
        self.chance ^= self.chance << 17;
        self.chance % most
    }

    fn scan(&mut self, scan: u32) {
        self.now = ShopMs(u64::from(scan) * 1000 + self.chance(5));
        for place in 0..self.plants.len() {
            self.step(place);
        }
        self.read_shop();
        self.people(scan);
        self.shop.tick(self.now, &mut self.out);
        self.obey();
        self.came_to.digests = (self.came_to.digests.rotate_left(5) ^ self.out.digest).wrapping_mul(0x0000_0100_0000_01b3);
        self.came_to.events += self.out.events.len() as u64;
        self.shop.view(&mut self.view);
        self.shop.observe(self.now, Observation::Durable { through: self.out.tick });
    }

    fn step(&mut self, place: usize) {
        if self.chance(900) == 0 {
            self.plants[place].open_for = 4 + (self.chance >> 32) as u32 % 60;
        }
        let noise_c = self.chance(100) as f64 / 1000.0;
        let lost = self.chance(1500) == 0;
        let plant = &mut self.plants[place];
        let share = plant.heats_to_c.map_or(0.0, |to_c| ((to_c - plant.read_c) / 10.0 + 0.4).clamp(0.0, 1.0));
        let door = if plant.open_for > 0 { 0.001 } else { 0.0 };
        // Radiation beside conduction, so that heat is no plain exponential.
        let hot = (plant.read_c + 273.15) / 1000.0;
        plant.read_c += 2.4 * share - (plant.read_c - 21.0) * (0.0003 + door) - 0.02 * libm::pow(hot, 4.0);
        plant.open_for = plant.open_for.saturating_sub(1);
        let (read_c, open, flow) = (plant.read_c + noise_c, plant.open_for > 0, plant.flow);
        if let Some((generation, via)) = plant.confirm.take() {
            let furnace = FurnaceId(u16::try_from(place).unwrap_or(0));
            self.shop.observe(self.now, Observation::Cut { furnace, generation, via, is: CutState::Confirmed });
        }
        let (temperature, door) = (self.plan.furnaces[place].temperature, self.plan.furnaces[place].door);
        let quality = if lost { Quality::Bad } else { Quality::Good };
        self.read(Some(temperature), Value::Temperature(celsius(read_c)), quality);
        self.read(door, Value::Flag(open), Quality::Good);
        let meter = self.plan.furnaces[place].gas.as_ref().map(|gas| gas.flow);
        self.read(meter, Value::GasFlow(flow), Quality::Good);
    }

    fn read_shop(&mut self) {
        let (oil, level, gauge) = (self.plan.tanks[0].temperature, self.plan.tanks[0].level, self.plan.supplies[0].pressure);
        let oil_c = 50.0 + self.chance(30) as f64 / 10.0;
        self.read(Some(oil), Value::Temperature(celsius(oil_c)), Quality::Good);
        self.read(level, Value::Share(Ratio::new::<ratio>(0.95)), Quality::Good);
        self.read(self.plan.room.oxygen, Value::Share(Ratio::new::<ratio>(0.209)), Quality::Good);
        self.read(gauge, Value::Pressure(Pressure::new::<pascal>(14e6)), Quality::Good);
    }

    fn read(&mut self, point: Option<PointId>, value: Value, quality: Quality) {
        let Some(point) = point else { return };
        let reading = Reading { point, at: self.now, value: Some(value.rounded()), quality, evidence: Evidence::Measured };
        self.shop.observe(self.now, Observation::Reading(reading));
    }

    /// People start a load when there is none, do what is asked, mostly, and reset what is latched.
    fn people(&mut self, scan: u32) {
        let asks: Vec<Request> = match scan % 40 {
            5 if self.view.furnaces.first().is_some_and(|furnace| furnace.cycle.is_none()) => {
                vec![Request::Start { furnace: NORTH, load: irons(Some(SOUTH)), ready_in: None }]
            }
            20 => vec![Request::Reset { furnace: None, interlock: None }],
            10 | 30 if self.chance(8) != 0 => self.view.questions.iter().map(answer).collect(),
            _ => Vec::new(),
        };
        let smith = Person { name: "the smith".to_owned() };
        asks.into_iter().for_each(|ask| {
            self.shop.request(self.now, &smith, ask);
        });
    }

    fn obey(&mut self) {
        for cut in &self.out.cuts {
            if let Some(plant) = self.plants.get_mut(cut.furnace.index()) {
                (plant.heats_to_c, plant.confirm) = (None, Some((cut.generation, cut.via)));
            }
        }
        for order in &self.out.orders {
            if let (Means::SetPoint(to), Some(plant)) = (order.means(), self.plants.get_mut(order.furnace().index())) {
                plant.heats_to_c = Some(in_celsius(*to));
            }
        }
        for act in &self.out.acts {
            if let Act::SetFlow { flow, .. } = act {
                self.plants[0].flow = *flow;
            }
            self.shop.observe(self.now, Observation::Act { act: act.clone(), is: ActState::Done });
        }
    }
}

fn answer(question: &QuestionView) -> Request {
    match &question.ask {
        Ask::Steel { .. } | Ask::GoOn { .. } => {
            let choice = question.choices.first().copied().unwrap_or(Choice::GoOn);
            Request::Choose { question: question.id, choice }
        }
        _ => Request::Confirm { question: question.id, reading: None },
    }
}
