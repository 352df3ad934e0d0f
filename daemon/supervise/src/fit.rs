//! Whether a load fits a furnace at all, whatever the day is like. A start asks it of the load, and `check` of every recipe.

use hearthward_equipment::quantity::in_celsius;

use crate::plan::{FurnacePlan, Heating, ShopPlan};
use crate::recipe::{Drive, Load, Medium, Pace, Protection, Step};

/// Most steps of one load: a route of many tempers has a dozen.
const MOST_STEPS: usize = 64;

/// Whether a furnace can take a load through all its steps: driven as it asks, each step in its place and within what the equipment
/// may reach.
///
/// # Errors
/// Why not, as a sentence in which the load is `called` so.
pub fn fits(shop: &ShopPlan, furnace: &FurnacePlan, load: &Load, called: &str) -> Result<(), String> {
    drives(furnace, load.drive)?;
    if load.steps.is_empty() || load.steps.len() > MOST_STEPS {
        return Err(format!("{called} needs 1 to {MOST_STEPS} steps."));
    }
    if load.protection == Protection::Gas && furnace.gas.is_none() {
        return Err(format!(
            "{called} is to be protected by gas, and {} has none: choose another furnace or protection.",
            furnace.name
        ));
    }
    let part = load.part.map_or((1e-3, 1.0), |part| (part.size.value, part.mass.map_or(1.0, |mass| mass.value)));
    if !((1e-4..=0.5).contains(&part.0) && part.1 > 0.0 && part.1 <= 1e4) {
        return Err(format!("{called} has parts that are not 0.1 to 500 mm thick, or weigh nothing or more than 10 t."));
    }
    (0..load.steps.len()).try_for_each(|place| step_fits(shop, furnace, load, place, called))
}

fn step_fits(shop: &ShopPlan, furnace: &FurnacePlan, load: &Load, place: usize, called: &str) -> Result<(), String> {
    let Some(step) = load.steps.get(place) else { return Ok(()) };
    let before = place.checked_sub(1).and_then(|before| load.steps.get(before));
    let (target, elsewhere) = match step {
        Step::Preheat { to, .. } | Step::Ramp { to, .. } => (*to, None),
        Step::Soak { at, .. } => (*at, None),
        Step::Temper { at, furnace, .. } => (*at, *furnace),
        Step::Quench { .. } if !matches!(before, Some(Step::Pull { .. })) => {
            return Err(format!("{called} has a quench without a pull before it."));
        }
        Step::Pull { window } if window.is_zero() => {
            return Err(format!("{called} has a pull without any time to quench in."));
        }
        Step::Quench { medium: Medium::Tank(tank), .. } if shop.tanks.get(tank.index()).is_none() => {
            return Err(format!("{called} is to be quenched in a tank that is not there."));
        }
        Step::Purge | Step::Pull { .. } | Step::Quench { .. } | Step::Cool { .. } => return Ok(()),
    };
    if let Step::Ramp { pace: Pace::Rate(rate), .. } = step
        && !(*rate > 0.0 && rate.is_finite())
    {
        return Err(format!("{called} has a ramp without a rate above zero."));
    }
    let furnace = match elsewhere.map(|id| shop.furnace(id)) {
        None => furnace,
        Some(Some(other)) => {
            drives(other, load.drive)?;
            other
        }
        Some(None) => return Err(format!("{called} is to be tempered in a furnace that is not there.")),
    };
    let (target_c, most_c) = (in_celsius(target), in_celsius(furnace.limit).min(in_celsius(furnace.rated)));
    // Written so that a number that is none falls out too.
    if !(target_c <= most_c) {
        let name = &furnace.name;
        return Err(format!("{called} asks for {target_c:.0} °C, above the limit of {name}, which is {most_c:.0} °C."));
    }
    Ok(())
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
