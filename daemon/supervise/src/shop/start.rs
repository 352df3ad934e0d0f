//! What a load needs before it may begin: a furnace that is free, a shop that is well, steps that the equipment can take.

use std::time::Duration;

use hearthward_equipment::FurnaceId;
use hearthward_equipment::quantity::in_celsius;

use super::people::no_furnace;
use super::{Ending, Shop};
use crate::cycle::{Waits, forbids, may_wait, warmest_c};
use crate::interlock::{InterlockKind, entry};
use crate::plan::{FurnacePlan, Heating, ShopPlan};
use crate::proof::{Needs, Proof, guide};
use crate::recipe::{Drive, Load, Medium, Pace, Protection, Step};

/// A test that is made with nothing in.
fn wants_no_load(shop: &ShopPlan, plan: &FurnacePlan, proof: &Proof) -> bool {
    guide(proof.kind, shop, plan).is_ok_and(|guide| guide.needs == Needs::NoLoad)
}

/// Most steps of one load: a route of many tempers has a dozen.
const MOST_STEPS: usize = 64;

impl Shop {
    /// Whether a load may begin in a furnace now, or what may be done so that it is ready by a time.
    pub(super) fn may_start(&self, id: FurnaceId, load: &Load, ready_in: Option<Duration>) -> Result<Waits, String> {
        let (Some(furnace), Some(plan)) = (self.furnaces.get(id.index()), self.plan.furnace(id)) else {
            return Err(no_furnace());
        };
        let name = &plan.name;
        if let Some(cycle) = &furnace.cycle {
            return Err(format!("{name} has load {} in it: end that cycle first.", cycle.load.name));
        }
        if let Some(place) =
            self.furnaces.iter().position(|other| other.cycle.as_ref().is_some_and(|cycle| cycle.load.name == load.name))
        {
            let other = self.plan.furnaces.get(place).map(|plan| plan.name.to_string()).unwrap_or_default();
            return Err(format!("Load {} is in progress in {other}: give this one another name.", load.name));
        }
        if let Some(kept) = &furnace.kept_for {
            return Err(format!("{name} is kept for the temper of load {kept}: wait for it, or choose another furnace."));
        }
        if self.ending != Ending::No {
            return Err("The service is ending: start the load when it runs again.".to_owned());
        }
        let now = super::shop_now(&self.room, &self.record_failing);
        if let Some(why) = forbids(now, furnace.forbidding_rule(plan)) {
            return Err(format!("Nothing begins in {name} now, since {why}: mend that, then start."));
        }
        if let Some(proof) = furnace.proofs.running.as_ref().filter(|proof| wants_no_load(&self.plan, plan, proof)) {
            return Err(format!(
                "{} tests {} of {name}: wait until that test is over.",
                proof.person,
                entry(proof.kind).title.to_lowercase()
            ));
        }
        let stands = |kind: &InterlockKind| *kind != InterlockKind::DoorOpen && furnace.rows.row(*kind).withholds();
        if furnace.facts.by_hand && furnace.facts.temperature.good().is_none() {
            let at = self.plan.directory.point_address(plan.temperature).map(ToString::to_string).unwrap_or_default();
            return Err(format!("Nobody has read {name} lately: read its thermometer and enter {at}, then start."));
        }
        if let Some(kind) = InterlockKind::ALL.iter().find(|kind| stands(kind)) {
            return Err(format!(
                "{name} may not heat ({}): clear that first. It is cleared by: {}.",
                entry(*kind).title.to_lowercase(),
                entry(*kind).clears
            ));
        }
        let waits = match ready_in {
            Some(ready_in) => may_wait(&self.plan, plan, load, ready_in)?,
            None => Waits::Alone,
        };
        self.fits(plan, load)?;
        Ok(waits)
    }

    /// The warmest that the bath of a load may be before its first part, in °C, where that can be told.
    pub(super) fn bath_warmest_c(&self, load: &Load) -> Result<Option<f64>, String> {
        let tank = load.steps.iter().find_map(|step| match step {
            Step::Quench { medium: Medium::Tank(tank), .. } => self.plan.tanks.get(tank.index()),
            _ => None,
        });
        tank.map_or(Ok(None), |tank| warmest_c(load, tank))
    }

    /// Whether a load fits a furnace at all.
    fn fits(&self, plan: &FurnacePlan, load: &Load) -> Result<(), String> {
        let name = &plan.name;
        let highest_c = in_celsius(plan.limit).min(in_celsius(plan.rated));
        drives(plan, load.drive)?;
        if load.steps.is_empty() || load.steps.len() > MOST_STEPS {
            return Err(format!("Load {} needs 1 to {MOST_STEPS} steps.", load.name));
        }
        if load.protection == Protection::Gas && plan.gas.is_none() {
            return Err(format!(
                "Load {} is to be protected by gas, and {name} has none: choose another furnace or protection.",
                load.name
            ));
        }
        let part = load.part.map_or((1e-3, 1.0), |part| (part.size.value, part.mass.map_or(1.0, |mass| mass.value)));
        if !((1e-4..=0.5).contains(&part.0) && part.1 > 0.0 && part.1 <= 1e4) {
            return Err(format!("A part of load {} must be 0.1 to 500 mm thick and weigh up to 10 t.", load.name));
        }
        load.steps.iter().enumerate().try_for_each(|(place, step)| self.step_fits(load, place, step, highest_c))
    }

    /// Whether a step can be taken: in its place, within what the equipment may reach.
    fn step_fits(&self, load: &Load, place: usize, step: &Step, here_c: f64) -> Result<(), String> {
        let before = place.checked_sub(1).and_then(|before| load.steps.get(before));
        let (target, elsewhere) = match step {
            Step::Preheat { to, .. } | Step::Ramp { to, .. } => (Some(*to), None),
            Step::Soak { at, .. } => (Some(*at), None),
            Step::Temper { at, furnace, .. } => (Some(*at), *furnace),
            Step::Purge | Step::Pull { .. } | Step::Quench { .. } | Step::Cool { .. } => (None, None),
        };
        match step {
            Step::Quench { .. } if !matches!(before, Some(Step::Pull { .. })) => {
                return Err(format!("Load {} has a quench without a pull before it.", load.name));
            }
            Step::Quench { medium: Medium::Tank(tank), .. } if self.plan.tanks.get(tank.index()).is_none() => {
                return Err(format!("Load {} is to be quenched in a tank that is not there.", load.name));
            }
            Step::Ramp { pace: Pace::Rate(rate), .. } if !(*rate > 0.0 && rate.is_finite()) => {
                return Err(format!("Load {} has a ramp without a rate above zero.", load.name));
            }
            _ => {}
        }
        let most_c = match elsewhere.map(|id| self.plan.furnace(id)) {
            None => here_c,
            Some(Some(other)) => {
                drives(other, load.drive)?;
                in_celsius(other.limit).min(in_celsius(other.rated))
            }
            Some(None) => return Err(format!("Load {} is to be tempered in a furnace that is not there.", load.name)),
        };
        match target.map(in_celsius) {
            Some(target_c) if !(target_c <= most_c) => {
                Err(format!("Load {} asks for {target_c:.0} °C, above the furnace's limit of {most_c:.0} °C.", load.name))
            }
            _ => Ok(()),
        }
    }
}

/// Whether a furnace is driven as a load wants to be. A furnace that is not would wait for its heat for ever.
fn drives(plan: &FurnacePlan, drive: Drive) -> Result<(), String> {
    let name = &plan.name;
    match (&plan.heating, drive) {
        (Heating::Watched, _) => Err(format!("{name} is only watched: it takes no load from the service.")),
        (Heating::SetPoint, Drive::Program(_)) => {
            Err(format!("{name} works to set points: the load must not ask for a program."))
        }
        (Heating::Program, Drive::SetPoints) => Err(format!("{name} runs programs of its own: the load must name one.")),
        _ => Ok(()),
    }
}
