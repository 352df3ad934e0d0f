//! What furnaces share, in fair turns: gas of a manifold, electrical power.
//!
//! First asked, first served; nobody overtakes the one who waits in front, so that nobody waits for ever while others make progress.

use uom::si::catalytic_activity::katal;
use uom::si::power::watt;

use crate::furnace::Furnace;
use crate::plan::ShopPlan;

/// Room for rounding when shares are added up.
const SLACK: f64 = 1e-9;

/// Gives every furnace its share of its manifold. Less is given at once, more when there is room and it is its turn.
pub(crate) fn gas(plan: &ShopPlan, furnaces: &mut [Furnace], turns: &mut u64) {
    let mut waits = false;
    for (furnace, plan) in furnaces.iter_mut().zip(&plan.furnaces) {
        if plan.gas.is_none() {
            continue;
        }
        let share = &mut furnace.gas;
        if share.wanted <= share.given {
            (share.given, share.turn) = (share.wanted, None);
        } else {
            waits = true;
            if share.turn.is_none() {
                *turns += 1;
                share.turn = Some(*turns);
            }
        }
    }
    if !waits {
        return;
    }
    for (place, supply) in plan.supplies.iter().enumerate() {
        let capacity = supply.capacity.get::<katal>() * (1.0 + SLACK);
        let here = |plan: &crate::plan::FurnacePlan| plan.gas.as_ref().is_some_and(|gas| gas.supply.index() == place);
        let mut given: f64 =
            furnaces.iter().zip(&plan.furnaces).filter(|(_, plan)| here(plan)).map(|(furnace, _)| furnace.gas.given).sum();
        while let Some(next) = (0..furnaces.len())
            .filter(|&at| plan.furnaces.get(at).is_some_and(here))
            .filter_map(|at| furnaces[at].gas.turn.map(|turn| (turn, at)))
            .min()
            .map(|(_, at)| &mut furnaces[at].gas)
        {
            let after = given - next.given + next.wanted;
            if !(after <= capacity) {
                break;
            }
            given = after;
            (next.given, next.turn) = (next.wanted, None);
        }
    }
}

/// Gives power to those who want to heat, up to the demand limit. Who has it keeps it until no more heat is wanted, or until a latch
/// takes it away: what waits for a person must not keep power from those who could use it.
pub(crate) fn power(plan: &ShopPlan, furnaces: &mut [Furnace], turns: &mut u64) {
    let limit_w = plan.electrical_demand.map(|demand| demand.get::<watt>() * (1.0 + SLACK));
    let mut waits = false;
    for furnace in furnaces.iter_mut() {
        let wants = furnace.cycle.as_ref().is_some_and(|cycle| cycle.wanted_c.is_some());
        let wants = wants && !furnace.rows.withhold_until_reset();
        let share = &mut furnace.power;
        if !wants {
            (share.given, share.turn) = (false, None);
        } else if limit_w.is_none() {
            (share.given, share.turn) = (true, None);
        } else if !share.given {
            waits = true;
            if share.turn.is_none() {
                *turns += 1;
                share.turn = Some(*turns);
            }
        }
    }
    let (Some(limit_w), true) = (limit_w, waits) else { return };
    let power_w = |at: usize| plan.furnaces.get(at).map_or(f64::INFINITY, |plan| plan.power.get::<watt>());
    let mut given_w: f64 = (0..furnaces.len()).filter(|&at| furnaces[at].power.given).map(power_w).sum();
    while let Some((_, at)) = (0..furnaces.len()).filter_map(|at| furnaces[at].power.turn.map(|turn| (turn, at))).min() {
        let after_w = given_w + power_w(at);
        if !(after_w <= limit_w) {
            break;
        }
        given_w = after_w;
        (furnaces[at].power.given, furnaces[at].power.turn) = (true, None);
    }
}
