//! From checked settings and what the drivers say of themselves to the core's plan and the host's: every address is found here.

mod catalogue;
mod dead_man;
mod equipment;
mod recipes;
mod roles;
mod rules;
mod sharing;

pub use catalogue::{Catalogue, UnitFacts};
use hearthward_api::Recipe;
use hearthward_drivers::HostPlan;
use hearthward_equipment::Name;
use hearthward_supervise::plan::ShopPlan;

use crate::settings::{Problems, Settings};

/// A shop that can be started.
#[derive(Debug)]
pub struct Wired {
    /// What the core is told.
    pub plan: ShopPlan,
    /// What the host is told.
    pub host: HostPlan,
    /// Recipes with their names resolved.
    pub recipes: Vec<Recipe>,
}

/// Finds every address of the settings among the units that the drivers offer.
///
/// Problems are noted; the result is complete only when none were.
pub fn wire(settings: &Settings, catalogue: &Catalogue, problems: &Problems) -> Option<Wired> {
    lines_exist(settings, problems);
    calls_outlast_waits(settings, catalogue, problems);
    sharing::check(settings, catalogue, problems);
    dead_man::check(settings, catalogue, problems);
    let (plan, wiring) = equipment::plan(settings, catalogue, problems)?;
    let recipes = recipes::resolve(settings, &plan, problems);
    let host = HostPlan {
        lines: settings.lines.clone(),
        drivers: settings.drivers.iter().map(|driver| driver.spec.clone()).collect(),
        directory: plan.directory.clone(),
        wiring,
    };
    Some(Wired { plan, host, recipes })
}

fn lines_exist(settings: &Settings, problems: &Problems) {
    for driver in &settings.drivers {
        for line in driver.spec.lines.iter().filter(|line| !settings.line_names.contains(line)) {
            let known: Vec<&str> = settings.line_names.iter().map(Name::as_str).collect();
            let known =
                if known.is_empty() { "no line is configured".to_owned() } else { format!("there is {}", known.join(", ")) };
            let words =
                format!("names the line {line}, which is not configured; {known}; add [line.{line}] with tcp = \"host:port\"");
            problems.note(&driver.home, format!("driver.{}.lines", driver.spec.name), words);
        }
    }
}

/// A driver that is stopped before it gives a silent device up would fall with all of its units.
fn calls_outlast_waits(settings: &Settings, catalogue: &Catalogue, problems: &Problems) {
    for driver in &settings.drivers {
        let (name, limit_ms) = (&driver.spec.name, driver.spec.call_limit.as_millis());
        let of_driver = catalogue.units().filter(|(unit, _)| unit.driver == *name);
        let waits_ms = of_driver.filter_map(|(_, facts)| facts.waits_ms).fold(0.0, f64::max);
        if waits_ms >= limit_ms as f64 {
            let words = format!(
                "is {limit_ms} ms, but the driver waits {waits_ms:.0} ms for one answer of a device (the register driver: \
                 `deadline_ms`): it would be stopped before it gives a silent one up; give it more, or wait less"
            );
            problems.note(&driver.home, format!("driver.{name}.call_limit"), words);
        }
    }
}
