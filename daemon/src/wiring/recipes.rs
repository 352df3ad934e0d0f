//! Recipes with the names of tanks and furnaces found.

use hearthward_api::Recipe;
use hearthward_equipment::Name;
use hearthward_equipment::quantity::celsius;
use hearthward_equipment::reading::field;
use hearthward_supervise::fit::fits;
use hearthward_supervise::plan::{FurnacePlan, Heating, ShopPlan};
use hearthward_supervise::recipe::{Load, Medium, Step};

use super::catalogue::Catalogue;
use crate::settings::{Bath, Problems, RecipeSettings, Settings, StepSettings};

pub(super) fn resolve(settings: &Settings, catalogue: &Catalogue, plan: &ShopPlan, problems: &Problems) -> Vec<Recipe> {
    let recipes: Vec<(&RecipeSettings, Recipe)> =
        settings.recipes.iter().filter_map(|recipe| Some((recipe, one(recipe, settings, plan, problems)?))).collect();
    // What a furnace may do is not known while it, the supply of its gas, or a driver has problems of its own.
    let known = ["furnace", "supply", "driver"].iter().all(|table| !problems.tells_within(table));
    if known {
        let reached = as_controllers_take(settings, catalogue, plan);
        for (written, recipe) in &recipes {
            if let Some(words) = runs_nowhere(recipe, plan, &reached) {
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

/// The plan with the limit of each furnace no higher than its controller takes a set point.
fn as_controllers_take(settings: &Settings, catalogue: &Catalogue, plan: &ShopPlan) -> ShopPlan {
    let mut reached = plan.clone();
    for (furnace, written) in reached.furnaces.iter_mut().zip(&settings.furnaces) {
        let facts = written.controller.as_ref().and_then(|unit| catalogue.facts(unit));
        if let Some(most_c) =
            facts.and_then(|facts| facts.most(field::SET_POINT)).filter(|_| furnace.heating == Heating::SetPoint)
        {
            furnace.limit = furnace.limit.min(celsius(most_c));
        }
    }
    reached
}

/// Why no furnace can take a load of this recipe, by the rule that its start would be judged by.
fn runs_nowhere(recipe: &Recipe, plan: &ShopPlan, reached: &ShopPlan) -> Option<String> {
    let load = Load {
        name: recipe.name.clone(),
        steel: recipe.steel.clone(),
        parts: 1,
        part: recipe.part,
        protection: recipe.protection,
        steps: recipe.steps.clone(),
        drive: recipe.drive,
    };
    let why = |furnace: &FurnacePlan, lowered: &FurnacePlan| {
        let words = fits(reached, lowered, &load, "it").err()?;
        let words = words.trim_end_matches('.');
        let by_its_map = fits(plan, furnace, &load, "it").is_ok();
        Some(if by_its_map { format!("{words}, by the `max` of its controller's set point") } else { words.to_owned() })
    };
    let mut all: Vec<String> = Vec::new();
    for (furnace, lowered) in plan.furnaces.iter().zip(&reached.furnaces) {
        // One furnace that takes it is enough.
        let words = why(furnace, lowered)?;
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
