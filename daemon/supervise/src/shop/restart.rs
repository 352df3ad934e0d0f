//! Going on from an earlier run, or with another plan: what stood, for the furnaces and tanks that there still are.

use hearthward_equipment::{FurnaceId, ShopMs, TankId};

use super::{Shop, furnace_id, limit_points};
use crate::alarm::Alarms;
use crate::cut::Cuts;
use crate::cycle::{Cycle, Stage};
use crate::facts::Unit;
use crate::furnace::{Furnace, FurnaceStood, Gap};
use crate::interlock::InterlockKind;
use crate::plan::ShopPlan;
use crate::points::Points;
use crate::recipe::{Medium, Step};
use crate::standing::{Away, Standing};
use crate::tanks::Tank;
use crate::wires::Wires;

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
            for (rule, state) in plan.policy.rules.iter().zip(&mut furnace.rules) {
                state.latched = old.rules_latched.contains(&rule.name);
            }
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
        self.alarms.restore(&self.plan, self.now, stood.alarms, away_ms);
        self.room.latched = stood.room_latched;
        self.next_ticket = stood.next_ticket;
        self.turns = stood.turns;
    }

    /// Works with another plan from now on. A furnace of the same name keeps its state; one that was changed loses its heat until
    /// it is permitted anew.
    pub fn replan(&mut self, at: ShopMs, plan: ShopPlan) {
        let at = at.max(self.now);
        let stood = self.standing();
        let mut old_points = std::mem::take(&mut self.points);
        let old = std::mem::replace(&mut self.plan, plan);
        if old.directory != self.plan.directory {
            // Under other numbers everything is told anew.
            self.wires = Wires::default();
        }
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
        let alarms = std::mem::replace(&mut self.alarms, Alarms::new(&self.plan));
        self.restore(stood, Away::Known(ShopMs(0)));
        self.alarms.take_over(alarms);
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
    let sensor = *furnace.rows.row(InterlockKind::SensorFault);
    if sensor.is_latched() {
        // How far it had come is not kept, and nobody has read it since.
        furnace.memory.sensor.doubt(sensor.why());
    }
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
    furnace.bypasses = stood.bypasses;
    furnace.proofs = stood.proofs;
    furnace.hand_c = stood.hand_c;
    furnace.proofs.away(away_ms);
    furnace.bypasses.pass(away_ms);
    furnace.gas = stood.gas;
    // Nobody has looked at the meter since.
    furnace.purge.by_eye = None;
    let Some(mut cycle) = stood.cycle else { return };
    // Time that nobody knows may have been any time: a temper is overdue then.
    let passed_ms = away_ms.unwrap_or(u64::MAX / 2);
    cycle.since_quench_ms = cycle.since_quench_ms.map(|since_ms| since_ms.saturating_add(passed_ms));
    cycle.late_ms = cycle.late_ms.saturating_add(cycle.ready_ms.map_or(0, |left_ms| passed_ms.saturating_sub(left_ms)));
    cycle.ready_ms = cycle.ready_ms.map(|left_ms| left_ms.saturating_sub(passed_ms));
    if away_ms.is_none() {
        // Nobody knows how late it is: no bath is warmed for a time that may be over.
        cycle.warms = false;
        cycle.ready_ms = cycle.ready_ms.filter(|_| cycle.stage != Stage::Loading);
    }
    let waits = cycle.stage == Stage::Waiting && away_ms.is_some();
    let at_rest = cycle.interrupted || cycle.out || waits || matches!(cycle.stage, Stage::Transferring | Stage::Ending);
    if at_rest {
        // No gap will be judged for it: what was proved while it waited has not been watched.
        furnace.purge.doubt();
        cycle.step_ms = cycle.step_ms.saturating_add(away_ms.unwrap_or(0));
    } else {
        // Noted at once: this run may die before its first tick and leave the gap to the next.
        cycle.unwatched_ms = away_ms.map_or(u64::MAX, |away_ms| away_ms.saturating_add(cycle.unwatched_ms));
        furnace.gap = Gap::Open {
            away_ms: cycle.unwatched_ms,
            waited_ms: 0,
            before_c: cycle.seen_c.or(stood.last_c),
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
            Step::Quench { medium: Medium::Tank(tank), .. } => *tank = tank_to(*tank).unwrap_or(TankId(u16::MAX)),
            Step::Temper { furnace: Some(furnace), .. } => *furnace = to(*furnace).unwrap_or(FurnaceId(u16::MAX)),
            _ => {}
        }
    }
}
