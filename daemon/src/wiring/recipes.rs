//! Recipes with the names of tanks and furnaces found.

use hearthward_api::Recipe;
use hearthward_equipment::Name;
use hearthward_supervise::fit::fits;
use hearthward_supervise::plan::ShopPlan;
use hearthward_supervise::recipe::{Load, Medium, Step};

use crate::settings::{Bath, Problems, RecipeSettings, Settings, StepSettings};

pub(super) fn resolve(settings: &Settings, plan: &ShopPlan, problems: &Problems) -> Vec<Recipe> {
    let recipes: Vec<(&RecipeSettings, Recipe)> =
        settings.recipes.iter().filter_map(|recipe| Some((recipe, one(recipe, settings, plan, problems)?))).collect();
    // What a furnace may do is not known while it, the supply of its gas, or a driver has problems of its own.
    let known = ["furnace", "supply", "driver"].iter().all(|table| !problems.tells_within(table));
    if known {
        for (written, recipe) in &recipes {
            if let Some(words) = runs_nowhere(recipe, plan) {
                problems.note(&written.source, &written.key, words);
            }
        }
    }
    recipes.into_iter().map(|(_, recipe)| recipe).collect()
}

fn one(recipe: &RecipeSettings, settings: &Settings, plan: &ShopPlan, problems: &Problems) -> Option<Recipe> {
    let steps: Vec<Step> = recipe.steps.iter().filter_map(|step| self::step(step, recipe, settings, plan, problems)).collect();
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

/// Why no furnace can take a load of this recipe, by the rule that its start would be judged by.
fn runs_nowhere(recipe: &Recipe, plan: &ShopPlan) -> Option<String> {
    let load = Load {
        name: recipe.name.clone(),
        steel: recipe.steel.clone(),
        parts: 1,
        part: recipe.part,
        protection: recipe.protection,
        steps: recipe.steps.clone(),
        drive: recipe.drive,
    };
    let mut all: Vec<String> = Vec::new();
    for furnace in &plan.furnaces {
        // One furnace that takes it is enough.
        let words = fits(plan, furnace, &load, "it").err()?;
        let words = words.trim_end_matches('.').to_owned();
        if !all.contains(&words) {
            all.push(words);
        }
    }
    (!all.is_empty()).then(|| format!("can run in no furnace: {}", all.join("; ")))
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
            Step::Temper { furnace, at, hold, within }
        }
    })
}
