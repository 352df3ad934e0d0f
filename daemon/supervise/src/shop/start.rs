//! What a load needs before it may begin: a furnace that is free and that it fits, and a shop that is well.

use std::time::Duration;

use hearthward_equipment::FurnaceId;

use super::people::no_furnace;
use super::{Ending, Shop};
use crate::cycle::{Stage, Waits, forbids, may_wait, warmest_c};
use crate::fit::fits;
use crate::interlock::{InterlockKind, entry};
use crate::plan::{FurnacePlan, ShopPlan};
use crate::proof::{Needs, Proof, guide};
use crate::recipe::{Load, Medium, Step};

/// A test that is made with nothing in.
fn wants_no_load(shop: &ShopPlan, plan: &FurnacePlan, proof: &Proof) -> bool {
    guide(proof.kind, shop, plan).is_ok_and(|guide| guide.needs == Needs::NoLoad)
}

/// The furnaces that steps temper a load in, where they name one.
fn tempers_in(steps: &[Step]) -> impl Iterator<Item = FurnaceId> + '_ {
    steps.iter().filter_map(|step| if let Step::Temper { furnace, .. } = step { *furnace } else { None })
}

impl Shop {
    /// Whether a load may begin in a furnace now, or what may be done so that it is ready by a time.
    pub(super) fn may_start(&self, id: FurnaceId, load: &Load, ready_in: Option<Duration>) -> Result<Waits, String> {
        let (Some(furnace), Some(plan)) = (self.furnaces.get(id.index()), self.plan.furnace(id)) else {
            return Err(no_furnace());
        };
        let name = &plan.name;
        if let Some(cycle) = furnace.cycle.as_ref().filter(|cycle| cycle.stage == Stage::Ending) {
            let load = &cycle.load.name;
            return Err(format!(
                "{name} still cools load {load}, whose cycle is over: wait until it is cool, or let it go (`hearthward cycle skip {name}`)."
            ));
        }
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
        if let Some(why) = forbids(now, furnace.now(plan)) {
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
        fits(&self.plan, plan, load, &format!("Load {}", load.name))?;
        self.waits_for_no_circle(id, load)?;
        Ok(waits)
    }

    /// A load that goes to another furnace for its temper must not wait there for one that waits for this furnace in turn.
    fn waits_for_no_circle(&self, id: FurnaceId, load: &Load) -> Result<(), String> {
        let mut seen = vec![id];
        let mut ahead: Vec<FurnaceId> = tempers_in(&load.steps).collect();
        while let Some(target) = ahead.pop() {
            let Some(cycle) = self.furnaces.get(target.index()).and_then(|furnace| furnace.cycle.as_ref()) else { continue };
            if seen.contains(&target) {
                continue;
            }
            seen.push(target);
            let wanted = tempers_in(cycle.load.steps.get(usize::from(cycle.index)..).unwrap_or_default());
            let wanted: Vec<FurnaceId> = wanted.filter(|next| *next != target).collect();
            if wanted.contains(&id) {
                let names = [id, target].map(|one| self.plan.furnace(one).map(|plan| plan.name.to_string()).unwrap_or_default());
                let [here, there] = names;
                return Err(format!(
                    "Load {} and load {} would wait for each other for ever, since that one goes from {there} to {here} for its \
                     temper. Start this one when that is over, or temper it elsewhere.",
                    load.name, cycle.load.name
                ));
            }
            ahead.extend(wanted);
        }
        Ok(())
    }

    /// The warmest that the bath of a load may be before its first part, in °C, where that can be told.
    pub(super) fn bath_warmest_c(&self, load: &Load) -> Result<Option<f64>, String> {
        let tank = load.steps.iter().find_map(|step| match step {
            Step::Quench { medium: Medium::Tank(tank), .. } => self.plan.tanks.get(tank.index()),
            _ => None,
        });
        tank.map_or(Ok(None), |tank| warmest_c(load, tank))
    }
}
