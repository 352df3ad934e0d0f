//! Going on from an earlier run, or not: what stood, and whether the gap was short and clear enough.

use hearthward_equipment::{FurnaceId, ShopMs, TankId};

use super::{Shop, furnace_id, limit_points};
use crate::cut::Cuts;
use crate::cycle::{Cycle, Stage, ask_to_go_on};
use crate::event::{EventBody, Priority};
use crate::facts::{Door, Unit};
use crate::furnace::{Furnace, FurnaceStood, Gap};
use crate::interlock::{InterlockKind, Verdict, agrees, flow_is_lost};
use crate::output::Outputs;
use crate::plan::ShopPlan;
use crate::points::Points;
use crate::recipe::Step;
use crate::standing::{Away, Standing};
use crate::tanks::Tank;

impl Shop {
    /// Takes over what stood, for the furnaces and tanks that there still are.
    pub(super) fn restore(&mut self, stood: Standing, away: Away) {
        let names: Vec<_> = stood.furnaces.iter().map(|furnace| furnace.name.clone()).collect();
        let tank_names: Vec<_> = stood.tanks.iter().map(|(name, _)| name.clone()).collect();
        let to = |old: FurnaceId| names.get(old.index()).and_then(|name| self.plan.find_furnace(name));
        let tank_to = |old: TankId| tank_names.get(old.index()).and_then(|name| self.plan.find_tank(name));
        let away_ms = match away {
            Away::Known(span) => Some(span.0),
            Away::Unknown => None,
        };
        self.questions.restore(stood.questions, to);
        for old in stood.furnaces {
            let Some(id) = self.plan.find_furnace(&old.name) else { continue };
            let Some(plan) = self.plan.furnaces.get(id.index()) else { continue };
            let mut furnace = Furnace::new(id, plan);
            take_over(&mut furnace, old, away_ms);
            if let Some(cycle) = &mut furnace.cycle {
                renumber(cycle, to, tank_to);
            }
            if let Some(place) = self.furnaces.get_mut(id.index()) {
                *place = furnace;
            }
        }
        for (name, mut tank) in stood.tanks {
            let Some(id) = self.plan.find_tank(&name) else { continue };
            tank.held_by = tank.held_by.and_then(to);
            if let Some(place) = self.tanks.get_mut(id.index()) {
                *place = Tank::restore(tank);
            }
        }
        self.room.latched = stood.room_latched;
        self.next_ticket = stood.next_ticket;
        self.turns = stood.turns;
    }

    /// Looks whether gaps may be ridden through, or a person has to be asked.
    pub(super) fn bridge_gaps(&mut self, dt_ms: u64, out: &mut Outputs) {
        let ride_ms = u64::try_from(self.plan.ride_through.as_millis()).unwrap_or(u64::MAX);
        let (mut turn, furnaces) = self.turn(dt_ms, out);
        let shop = turn.plan;
        for (furnace, plan) in furnaces.iter_mut().zip(&shop.furnaces) {
            let Gap::Open { away_ms, waited_ms, before_c, flowed } = furnace.gap else { continue };
            let waited_ms = waited_ms + dt_ms;
            let gap_ms = away_ms.saturating_add(waited_ms);
            let door_opened = furnace.facts.door == Door::Open;
            let latched = InterlockKind::ALL.iter().any(|&kind| furnace.rows.row(kind).is_latched());
            let flow = plan.gas.as_ref().is_none_or(|_| !flowed || !flow_is_lost(furnace.flow(plan), furnace.gas.given, 0.0));
            let ready = furnace.facts.temperature.good().filter(|_| furnace.facts.door != Door::Unknown && flow);
            let over = gap_ms > ride_ms;
            let agree = ready.map(|read_c| {
                before_c.is_some_and(|before_c| agrees(before_c - read_c, gap_ms as f64 / 1000.0, plan.falls_k_per_s))
            });
            if !over && !door_opened && !latched && agree == Some(true) {
                furnace.gap = Gap::None;
                let text = format!(
                    "{} was without the service for {} s; its readings agree, so its load goes on.",
                    plan.name,
                    gap_ms / 1000
                );
                turn.say(furnace.id, Priority::Notice, text, EventBody::RodeThrough { gap_ms });
            } else if over || door_opened || latched || agree == Some(false) {
                furnace.gap = Gap::None;
                furnace.cut_now = true;
                let because = worth(furnace, plan, away_ms, door_opened, latched);
                let hot_gas_load = furnace.is_hot(plan) && furnace.has_gas_load(plan);
                furnace.purge.doubt();
                furnace.air.doubt(hot_gas_load);
                if let (Some(cycle), at) = furnace.parts(plan) {
                    ask_to_go_on(cycle, &at, &mut turn, because);
                }
                let kind = InterlockKind::Interrupted;
                if let Some(change) = furnace.rows.step(kind, turn.now, Verdict::latched(true)) {
                    super::rows::tell(furnace, plan, kind, change, turn.events);
                }
            } else {
                furnace.gap = Gap::Open { away_ms, waited_ms, before_c, flowed };
            }
        }
    }

    /// Works with another plan from now on. A furnace of the same name keeps its state; one that was changed loses its heat until
    /// it is permitted anew.
    pub fn replan(&mut self, at: ShopMs, plan: ShopPlan) {
        let at = at.max(self.now);
        let stood = self.standing();
        let mut old_points = std::mem::take(&mut self.points);
        let old = std::mem::replace(&mut self.plan, plan);
        let mut points = Points::default();
        limit_points(&self.plan, &mut points);
        points.take_over(&mut old_points, |new| {
            let address = self.plan.directory.points().get(new)?;
            old.directory.find_point(address).map(hearthward_equipment::PointId::index)
        });
        self.points = points;
        let units = std::mem::take(&mut self.units);
        self.units = self
            .plan
            .directory
            .units()
            .iter()
            .map(|address| {
                old.directory.find_unit(address).and_then(|unit| units.get(unit.index()).copied()).unwrap_or(Unit::Answering)
            })
            .collect();
        let kept = std::mem::take(&mut self.furnaces);
        self.furnaces =
            self.plan.furnaces.iter().enumerate().map(|(place, plan)| Furnace::new(furnace_id(place), plan)).collect();
        self.tanks = self.plan.tanks.iter().map(|_| Tank::default()).collect();
        self.restore(stood, Away::Known(ShopMs(0)));
        // Nothing was away: what did not change goes on as if nothing had happened.
        for (mut furnace, was) in kept.into_iter().zip(&old.furnaces) {
            let Some(id) = self.plan.find_furnace(&was.name) else { continue };
            let same =
                self.plan.furnaces.get(id.index()) == Some(was) && id == furnace.id && old.directory == self.plan.directory;
            let Some(place) = self.furnaces.get_mut(id.index()) else { continue };
            if same {
                furnace.cycle = place.cycle.take();
                *place = furnace;
            } else {
                place.gap = Gap::None;
                place.facts = furnace.facts;
            }
        }
        self.now = at;
    }
}

fn take_over(furnace: &mut Furnace, stood: FurnaceStood, away_ms: Option<u64>) {
    furnace.rows = stood.rows;
    furnace.rows.begin_again(ShopMs(0));
    furnace.cuts = Cuts::after(stood.generation);
    furnace.purge = stood.purge;
    if !furnace.purge.is_proved() {
        // A count without a break cannot have one that nobody saw.
        furnace.purge.doubt();
    }
    furnace.air.account = stood.account;
    furnace.kept_for = stood.kept_for;
    furnace.last_c = stood.last_c;
    furnace.alone_s = stood.alone_s;
    furnace.gas = stood.gas;
    let Some(mut cycle) = stood.cycle else { return };
    if let Some(since_ms) = &mut cycle.since_quench_ms {
        *since_ms = since_ms.saturating_add(away_ms.unwrap_or(0));
    }
    let at_rest = cycle.interrupted || matches!(cycle.stage, Stage::Loading | Stage::Transferring | Stage::Ending);
    if at_rest {
        // No gap will be judged for it: what was proved while it waited has not been watched.
        furnace.purge.doubt();
    } else {
        furnace.gap = Gap::Open {
            away_ms: away_ms.unwrap_or(u64::MAX),
            waited_ms: 0,
            before_c: stood.last_c,
            flowed: stood.gas.given > 0.0,
        };
    }
    furnace.cycle = Some(cycle);
}

fn renumber(cycle: &mut Cycle, to: impl Fn(FurnaceId) -> Option<FurnaceId>, tank_to: impl Fn(TankId) -> Option<TankId>) {
    cycle.moves_to = cycle.moves_to.and_then(&to);
    for step in &mut cycle.load.steps {
        match step {
            // A tank or furnace that is gone becomes one that no list has.
            Step::Quench { tank, .. } => *tank = tank_to(*tank).unwrap_or(TankId(u16::MAX)),
            Step::Temper { furnace: Some(furnace), .. } => *furnace = to(*furnace).unwrap_or(FurnaceId(u16::MAX)),
            _ => {}
        }
    }
}

/// What happened, and what the purge, the soak and the steel are still worth.
fn worth(furnace: &Furnace, plan: &crate::plan::FurnacePlan, away_ms: u64, door_opened: bool, latched: bool) -> String {
    let name = &plan.name;
    let Some(cycle) = &furnace.cycle else { return String::new() };
    let what = match (door_opened, latched, away_ms) {
        (true, ..) => "its door was opened while the service was away".to_owned(),
        (_, true, _) => "an interlock is latched".to_owned(),
        (.., u64::MAX) => "the service was away, nobody knows how long".to_owned(),
        _ => format!("the service was away for {} s, or its readings do not agree", away_ms / 1000),
    };
    let purge = if furnace.has_gas_load(plan) { " Its purge counts no more." } else { "" };
    let soaked_s = cycle.in_band_ms / 1000;
    let steel = match (furnace.last_c, crate::cycle::can_quench(cycle, plan, furnace.facts.temperature.good())) {
        (Some(last_c), Some(left_s)) => format!("It was at {last_c:.0} °C and can be quenched for another {left_s} s."),
        (Some(last_c), None) => format!("It was at {last_c:.0} °C and is too cool to be quenched, or cannot be read."),
        (None, _) => "Its temperature is not known.".to_owned(),
    };
    format!(
        "The cycle of load {} in {name} was interrupted: {what}.{purge} {soaked_s} s in band are done. {steel}",
        cycle.load.name
    )
}
