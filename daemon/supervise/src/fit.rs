//! Whether a load fits a furnace at all, whatever the day is like. A start asks it of the load, and `check` of every recipe.

use hearthward_equipment::quantity::{Temperature, in_celsius};

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
    drives(furnace, load.drive).map_err(|why| format!("{called} {why}."))?;
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
    let mut place = Place { furnace, out: false };
    for (at, step) in load.steps.iter().enumerate() {
        let before = at.checked_sub(1).and_then(|before| load.steps.get(before));
        place = place.after(shop, load, step, before).map_err(|why| format!("{called} {why}."))?;
    }
    Ok(())
}

/// Where the steel is on its way through its steps.
#[derive(Clone, Copy)]
struct Place<'a> {
    /// The furnace that it is in, or was last in.
    furnace: &'a FurnacePlan,
    /// It was taken out. Only a temper puts it back.
    out: bool,
}

impl<'a> Place<'a> {
    /// Where it is after a step, or what is wrong with the step there, as the rest of a sentence.
    fn after(self, shop: &'a ShopPlan, load: &Load, step: &Step, before: Option<&Step>) -> Result<Self, String> {
        let Self { furnace, out } = self;
        if let Some(target) = step.heats_to().filter(|_| !matches!(step, Step::Temper { .. })) {
            if out {
                return Err("heats its steel again after it was taken out, which only a temper does: make the rest a load of \
                            its own"
                    .to_owned());
            }
            reaches(furnace, target)?;
        }
        match step {
            Step::Purge if load.protection != Protection::Gas => {
                Err("has a purge, and is not protected by gas: leave the purge out, or protect it by gas".to_owned())
            }
            Step::Purge if out || furnace.gas.is_none() => {
                Err(format!("has a purge where {} has no gas or no steel in it", furnace.name))
            }
            Step::Ramp { pace: Pace::Rate(rate), .. } if !(*rate > 0.0 && rate.is_finite()) => {
                Err("has a ramp without a rate above zero".to_owned())
            }
            Step::Quench { under, .. } if under.is_zero() => Err("has a quench of no time".to_owned()),
            Step::Pull { .. } if out => Err("has a pull after its steel was taken out".to_owned()),
            Step::Pull { window } if window.is_zero() => Err("has a pull without any time to quench in".to_owned()),
            Step::Quench { .. } if !matches!(before, Some(Step::Pull { .. })) => {
                Err("has a quench without a pull before it".to_owned())
            }
            Step::Quench { medium: Medium::Tank(tank), .. } if shop.tanks.get(tank.index()).is_none() => {
                Err("is to be quenched in a tank that is not there".to_owned())
            }
            Step::Pull { .. } | Step::Quench { .. } | Step::Cool { in_air: true, .. } => Ok(Self { furnace, out: true }),
            Step::Temper { at, furnace: elsewhere, .. } => {
                let furnace = match elsewhere.map(|id| shop.furnace(id)) {
                    None => furnace,
                    Some(Some(other)) => other,
                    Some(None) => return Err("is to be tempered in a furnace that is not there".to_owned()),
                };
                drives(furnace, load.drive)?;
                reaches(furnace, *at)?;
                Ok(Self { furnace, out: false })
            }
            Step::Purge | Step::Preheat { .. } | Step::Ramp { .. } | Step::Soak { .. } | Step::Cool { .. } => Ok(self),
        }
    }
}

/// Whether a furnace may go to a temperature, and its controller takes it.
fn reaches(furnace: &FurnacePlan, target: Temperature) -> Result<(), String> {
    let (target_c, limit_c) = (in_celsius(target), in_celsius(furnace.limit).min(in_celsius(furnace.rated)));
    let taken_c = furnace.takes_to.map_or(f64::INFINITY, in_celsius);
    let name = &furnace.name;
    // Written so that a number that is none falls out too.
    if (0.0..=limit_c.min(taken_c)).contains(&target_c) {
        return Ok(());
    }
    Err(if target_c < 0.0 {
        format!("asks for {target_c:.0} °C, and nothing here cools below the room")
    } else if limit_c <= taken_c {
        format!("asks for {target_c:.0} °C, above the limit of {name}, which is {limit_c:.0} °C")
    } else {
        format!("asks for {target_c:.0} °C, and the controller of {name} takes a set point up to {taken_c:.0} °C only (`max`)")
    })
}

/// Whether a furnace is driven as a load wants to be. A furnace that is not would wait for its heat for ever.
fn drives(plan: &FurnacePlan, drive: Drive) -> Result<(), String> {
    let name = &plan.name;
    match (&plan.heating, drive) {
        (Heating::Watched, _) => Err(format!("cannot run in {name}, which is only watched")),
        (Heating::SetPoint, Drive::Program(_)) => Err(format!("asks for a program, and {name} works to set points")),
        (Heating::Program, Drive::SetPoints) => Err(format!("names no program, and {name} runs programs of its own")),
        _ => Ok(()),
    }
}
