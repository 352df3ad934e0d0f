//! The people of the shop: they answer what they are asked after a while, do it or only say so, reset what is latched, start loads.

use std::collections::BTreeMap;
use std::time::Duration;

use hearthward_equipment::quantity::{celsius, gas_flow};
use hearthward_equipment::{FurnaceId, Value};
use hearthward_supervise::alarm::AlarmAsk;
use hearthward_supervise::interlock::InterlockKind;
use hearthward_supervise::plan::{ShopPlan, SteelChoice};
use hearthward_supervise::recipe::Protection;
use hearthward_supervise::request::{Ask, Choice, QuestionId, Request};
use hearthward_supervise::view::{InterlockState, InterlockView, QuestionView, View};

use crate::chance::Chance;
use crate::loads;
use crate::plant::{Bath, Plant};
use crate::script::{Fault, Kind};

/// What a person is about.
#[derive(Clone, Copy, Debug)]
struct Errand {
    /// When they begin, in seconds of the run.
    begins_s: u32,
    /// They only say that it is done.
    lies: bool,
}

/// The people.
#[derive(Clone, Debug)]
pub struct People {
    seed: u64,
    unheard: f64,
    errands: BTreeMap<QuestionId, Errand>,
    /// Since when something is latched at each furnace.
    latched_s: Vec<Option<u32>>,
    /// When the next load is started in each furnace, and its number.
    next: Vec<(u32, u64)>,
}

/// What people see and touch in this second.
#[derive(Debug)]
pub struct Floor<'a> {
    /// The shop.
    pub plan: &'a ShopPlan,
    /// The screen.
    pub view: &'a View,
    /// The furnaces.
    pub plants: &'a mut [Plant],
    /// The baths.
    pub baths: &'a mut [Bath],
    /// What is wrong, by furnace.
    pub faults: &'a [Vec<Fault>],
    /// Furnaces that are in use at all.
    pub used: &'a [bool],
    /// The second of the run.
    pub second: u32,
}

impl People {
    /// People who work at so many furnaces. On a calm day they hear every question; else one in ten goes unheard, so that silence has its
    /// say.
    #[must_use]
    pub fn new(seed: u64, furnaces: usize, calm: bool) -> Self {
        let unheard = if calm { 0.0 } else { 0.1 };
        let next = (0..furnaces).map(|place| (Chance::of(seed, &[50, place as u64]).from_to(3, 200) as u32, 0)).collect();
        Self { seed, unheard, errands: BTreeMap::new(), latched_s: vec![None; furnaces], next }
    }

    /// What people do and ask in this second.
    pub fn act(&mut self, floor: &mut Floor<'_>, asks: &mut Vec<Request>) {
        for plant in floor.plants.iter_mut() {
            plant.opened = false;
        }
        for bath in floor.baths.iter_mut() {
            bath.under = false;
        }
        self.errands.retain(|id, _| floor.view.questions.iter().any(|question| question.id == *id));
        for question in &floor.view.questions {
            self.attend(question, floor, asks);
        }
        for place in 0..floor.view.furnaces.len() {
            self.mind(place, floor, asks);
        }
        if !floor.view.alarms.shown.is_empty() && Chance::of(self.seed, &[56, u64::from(floor.second)]).happens(0.01) {
            asks.push(Request::Alarm(AlarmAsk::Acknowledge { alarm: None }));
        }
    }

    fn attend(&mut self, question: &QuestionView, floor: &mut Floor<'_>, asks: &mut Vec<Request>) {
        let place = question.furnace.as_ref().and_then(|name| floor.plan.find_furnace(name)).map_or(0, FurnaceId::index);
        let second = floor.second;
        let is = |kind: Kind| floor.faults[place].iter().any(|fault| fault.kind == kind);
        if is(Kind::PeopleSilent) || is_taken(question, place, floor) {
            self.errands.remove(&question.id);
            return;
        }
        let errand = *self.errands.entry(question.id).or_insert_with(|| {
            let mut chance = Chance::of(self.seed, &[51, question.id.0, u64::from(second)]);
            let waits_s = if chance.happens(self.unheard) { 400 } else { chance.from_to(1, 25) };
            Errand { begins_s: second + waits_s as u32, lies: is(Kind::PeopleLie) }
        });
        let Some(gone_s) = second.checked_sub(errand.begins_s) else { return };
        if !question.choices.is_empty() {
            let mut chance = Chance::of(self.seed, &[52, question.id.0]);
            asks.push(Request::Choose { question: question.id, choice: choose(&mut chance, &question.choices) });
            return;
        }
        if errand.lies {
            if gone_s == 0 {
                asks.push(confirm(question));
            } else if gone_s > 20 {
                self.errands.remove(&question.id);
            }
            return;
        }
        let due_s = do_it(question, place, gone_s, floor);
        if gone_s == due_s {
            asks.push(confirm(question));
        } else if gone_s > due_s + 15 {
            // It was refused: once more.
            self.errands.remove(&question.id);
        }
    }

    /// Looks after a furnace that asks nothing: resets what is latched, starts the next load.
    fn mind(&mut self, place: usize, floor: &mut Floor<'_>, asks: &mut Vec<Request>) {
        open_gas_by_hand(place, floor);
        if let Some(wanted_c) = floor.view.furnaces[place].wanted_c {
            // The controller's own program goes where the load's route does.
            floor.plants[place].program_c = wanted_c;
        }
        let furnace = FurnaceId(place as u16);
        let seen = &floor.view.furnaces[place];
        let second = floor.second;
        let latched = seen.interlocks.iter().any(waits_for_reset);
        match (latched, self.latched_s[place]) {
            (false, _) => self.latched_s[place] = None,
            (true, None) => self.latched_s[place] = Some(second),
            (true, Some(since_s)) => {
                let waits_s = Chance::of(self.seed, &[53, place as u64, u64::from(since_s)]).from_to(5, 60) as u32;
                if (second - since_s) >= waits_s && (second - since_s - waits_s).is_multiple_of(20) {
                    let whole = Chance::of(self.seed, &[54, u64::from(second)]).happens(0.3);
                    asks.push(Request::Reset { furnace: Some(furnace).filter(|_| !whole), interlock: None });
                }
            }
        }
        let (due_s, number) = self.next[place];
        if seen.cycle.is_some() || second < due_s || !floor.used[place] {
            return;
        }
        let mut chance = Chance::of(self.seed, &[55, place as u64, number, u64::from(second)]);
        let load = loads::load(self.seed, floor.plan, place, number);
        self.next[place] = (second + chance.from_to(10, 90) as u32, number + 1);
        let ready_in = chance.happens(0.1).then(|| Duration::from_secs(chance.from_to(600, 7200)));
        asks.push(Request::Start { furnace, load, ready_in });
    }
}

/// The furnace that a load shall go to has another one in it: nobody opens its door for that.
fn is_taken(question: &QuestionView, place: usize, floor: &Floor<'_>) -> bool {
    let Ask::Transfer { to } = &question.ask else { return false };
    let to = floor.plan.find_furnace(to).map_or(place, FurnaceId::index);
    to != place && floor.view.furnaces[to].cycle.is_some()
}

/// A meter that nobody commands is opened by hand for a load that gas protects.
fn open_gas_by_hand(place: usize, floor: &mut Floor<'_>) {
    let Some(gas) = floor.plan.furnaces[place].gas.as_ref().filter(|gas| gas.meter.is_none() && !gas.by_eye) else { return };
    let wants = floor.view.furnaces[place].cycle.as_ref().is_some_and(|cycle| cycle.protection == Protection::Gas);
    floor.plants[place].set_flow = if wants { gas.purge.flow.value } else { 0.0 };
}

/// Does with hands what a question asks, second by second. Says in which of them it is done.
fn do_it(question: &QuestionView, place: usize, gone_s: u32, floor: &mut Floor<'_>) -> u32 {
    let plant = &mut floor.plants[place];
    match &question.ask {
        Ask::LoadAndShut => {
            plant.opened = gone_s < 6;
            9
        }
        Ask::Transfer { to } => {
            if let Some(to) = floor.plan.find_furnace(to) {
                floor.plants[to.index()].opened = gone_s < 6;
            }
            9
        }
        Ask::PartUnder { .. } => {
            plant.opened = gone_s < 7;
            let bath = floor.plan.tanks.iter().position(|tank| question.text.contains(tank.name.as_str()));
            if let Some(bath) = bath.and_then(|place| floor.baths.get_mut(place)) {
                // A switch at the tank tells of it before anybody could say so.
                bath.under = gone_s == 3;
            }
            4
        }
        Ask::SetFlow { litres_per_minute } => {
            plant.set_flow = gas_flow(*litres_per_minute, 21.1, 101.325).value;
            2
        }
        Ask::SetController { set_point_c } => {
            plant.hand_c = Some(*set_point_c);
            2
        }
        Ask::TurnOff => {
            plant.hand_c = None;
            1
        }
        Ask::BringBath { low_c, high_c } => {
            for bath in floor.baths.iter_mut() {
                (bath.temperature_c, bath.level, bath.stirred) = (0.5 * (low_c + high_c), 1.0, true);
            }
            10
        }
        _ => 1,
    }
}

fn confirm(question: &QuestionView) -> Request {
    let reading = match &question.ask {
        Ask::SetFlow { litres_per_minute } => Some(Value::GasFlow(gas_flow(*litres_per_minute, 21.1, 101.325))),
        Ask::SetController { set_point_c } => Some(Value::Temperature(celsius(*set_point_c))),
        _ => None,
    };
    Request::Confirm { question: question.id, reading }
}

/// Most people go on.
fn choose(chance: &mut Chance, choices: &[Choice]) -> Choice {
    let hopeful = [Choice::GoOn, Choice::RestartStep, Choice::Steel(SteelChoice::Finish)];
    let go_on = choices.iter().copied().find(|choice| hopeful.contains(choice));
    match go_on {
        Some(choice) if chance.happens(0.7) => choice,
        _ => chance.pick(choices),
    }
}

/// Whether a row waits for a person's reset, as the screen says.
fn waits_for_reset(row: &InterlockView) -> bool {
    let by_reset_only = matches!(row.kind, InterlockKind::QuenchOverTemperature | InterlockKind::RunTimeLimit);
    row.state == InterlockState::Latched || (by_reset_only && row.state == InterlockState::Tripped)
}
