//! Recipes with the names of tanks and furnaces found.

use hearthward_api::Recipe;
use hearthward_equipment::Name;
use hearthward_equipment::quantity::in_celsius;
use hearthward_supervise::plan::ShopPlan;
use hearthward_supervise::recipe::{Medium, Step};

use crate::settings::{Bath, Problems, RecipeSettings, Settings, StepSettings};

pub(super) fn resolve(settings: &Settings, plan: &ShopPlan, problems: &Problems) -> Vec<Recipe> {
    settings.recipes.iter().filter_map(|recipe| one(recipe, settings, plan, problems)).collect()
}

fn one(recipe: &RecipeSettings, settings: &Settings, plan: &ShopPlan, problems: &Problems) -> Option<Recipe> {
    let steps: Vec<Step> = recipe.steps.iter().filter_map(|step| self::step(step, recipe, settings, plan, problems)).collect();
    let hottest =
        steps.iter().filter_map(heat).fold(None, |most: Option<f64>, heat| Some(most.map_or(heat, |most| most.max(heat))));
    let limit = plan.furnaces.iter().map(|furnace| in_celsius(furnace.limit)).fold(0.0, f64::max);
    // What a furnace with problems of its own may do is not known.
    let all_known = settings.furnaces.len() == settings.furnace_names.len();
    if let Some(hottest) = hottest
        && hottest > limit
        && all_known
    {
        problems.note(&recipe.source, &recipe.key, format!("reaches {hottest:.0} °C, but no furnace may go above {limit:.0} °C"));
    }
    (steps.len() == recipe.steps.len()).then(|| Recipe {
        name: recipe.name.clone(),
        text: recipe.text.clone(),
        steel: recipe.steel.clone(),
        protection: recipe.protection,
        drive: recipe.drive,
        part: recipe.part,
        steps,
    })
}

fn heat(step: &Step) -> Option<f64> {
    match step {
        Step::Preheat { to, .. } | Step::Ramp { to, .. } => Some(in_celsius(*to)),
        Step::Soak { at, .. } | Step::Temper { at, .. } => Some(in_celsius(*at)),
        Step::Purge | Step::Pull { .. } | Step::Quench { .. } | Step::Cool { .. } => None,
    }
}

fn step(step: &StepSettings, recipe: &RecipeSettings, settings: &Settings, plan: &ShopPlan, problems: &Problems) -> Option<Step> {
    let missing = |what: &str, name: &Name, configured: &[Name]| {
        // One that is configured and has problems of its own is complained about at its own place.
        if configured.contains(name) {
            return;
        }
        problems.note(&recipe.source, &recipe.key, format!("names the {what} {name}, which is not configured"));
    };
    Some(match step.clone() {
        StepSettings::Purge => Step::Purge,
        StepSettings::Preheat(to, hold) => Step::Preheat { to, hold },
        StepSettings::Ramp(to, pace) => Step::Ramp { to, pace },
        StepSettings::Soak(at, band, minimum, maximum) => Step::Soak { at, band, minimum, maximum },
        StepSettings::Pull(window) => Step::Pull { window },
        StepSettings::Quench(Bath::Plates, under) => Step::Quench { medium: Medium::Plates, under },
        StepSettings::Quench(Bath::Air, under) => Step::Quench { medium: Medium::Air, under },
        StepSettings::Quench(Bath::Tank(name), under) => {
            let tank = plan.find_tank(&name);
            if tank.is_none() {
                missing("tank", &name, &settings.tank_names);
            }
            Step::Quench { medium: Medium::Tank(tank?), under }
        }
        StepSettings::Cool(to, in_air) => Step::Cool { to, in_air },
        StepSettings::Temper(name, at, hold, within) => {
            let furnace = name.as_ref().and_then(|name| plan.find_furnace(name));
            if let Some(name) = name.as_ref().filter(|_| furnace.is_none()) {
                missing("furnace", name, &settings.furnace_names);
                return None;
            }
            let own = name.and_then(|name| plan.furnaces.iter().find(|furnace| furnace.name == name));
            if let Some(own) = own.filter(|own| at > own.limit) {
                let (at, limit) = (in_celsius(at), in_celsius(own.limit));
                let words = format!("tempers at {at:.0} °C in {}, which may not go above {limit:.0} °C", own.name);
                problems.note(&recipe.source, &recipe.key, words);
            }
            Step::Temper { furnace, at, hold, within }
        }
    })
}
