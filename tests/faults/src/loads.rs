//! Loads of the shop: plane irons, knives, punches, each with a route that fits its furnace, or sometimes does not.

use std::time::Duration;

use hearthward_equipment::quantity::celsius;
use hearthward_equipment::{FurnaceId, TankId};
use hearthward_supervise::plan::{FurnacePlan, Heating, ShopPlan};
use hearthward_supervise::recipe::{Drive, Form, Load, Medium, Pace, Part, Protection, Step};
use uom::si::f64::{Length, Mass};
use uom::si::length::millimeter;
use uom::si::mass::kilogram;

use crate::chance::Chance;
use crate::shops::{limit_c, name};

/// The load of this number that goes into a furnace.
#[must_use]
pub fn load(seed: u64, plan: &ShopPlan, place: usize, number: u64) -> Load {
    let mut chance = Chance::of(seed, &[20, place as u64, number]);
    let furnace = &plan.furnaces[place];
    let protection = match chance.below(10) {
        0..7 if furnace.gas.is_some() => Protection::Gas,
        0..8 => Protection::FoilPack,
        8 => Protection::Coating,
        _ => Protection::None,
    };
    let steps = steps(&mut chance, plan, place, furnace, protection);
    let word = chance.pick(&["irons", "knives", "punches"]);
    Load {
        name: name(&format!("{word}-{place}-"), number),
        steel: chance.pick(&["O1", "26C3", "S7"]).to_owned(),
        parts: chance.from_to(1, 4) as u16,
        part: chance.happens(0.3).then(|| part(&mut chance)),
        protection,
        steps,
        drive: if furnace.heating == Heating::Program { Drive::Program(number as u32) } else { Drive::SetPoints },
    }
}

fn steps(chance: &mut Chance, plan: &ShopPlan, place: usize, furnace: &FurnacePlan, protection: Protection) -> Vec<Step> {
    let seconds = |low: u64, high: u64, chance: &mut Chance| Duration::from_secs(chance.from_to(low, high));
    let mut steps = Vec::new();
    if chance.happens(0.1) {
        // A stress relief: slow, cool, no tank.
        let at = celsius(chance.between(150.0, 600.0));
        steps.push(Step::Ramp { to: at, pace: Pace::Rate(chance.between(600.0, 3000.0)) });
        steps.push(Step::Soak { at, band: None, minimum: seconds(60, 300, chance), maximum: Duration::from_secs(900) });
        steps.push(Step::Cool { to: celsius(120.0), in_air: chance.happens(0.3) });
        return steps;
    }
    let soak_c = chance.between(760.0, limit_c(furnace) - 40.0);
    if protection == Protection::Gas && chance.happens(0.9) {
        steps.push(Step::Purge);
    }
    if chance.happens(0.3) {
        steps.push(Step::Preheat { to: celsius(chance.between(400.0, 650.0)), hold: seconds(30, 120, chance) });
    }
    let pace = match chance.below(10) {
        0..3 => Pace::Rate(chance.between(1500.0, 6000.0)),
        3 => Pace::Over(seconds(600, 1800, chance)),
        _ => Pace::Full,
    };
    steps.push(Step::Ramp { to: celsius(soak_c), pace });
    let minimum = seconds(60, 300, chance);
    steps.push(Step::Soak { at: celsius(soak_c), band: None, minimum, maximum: minimum + seconds(60, 240, chance) });
    if chance.happens(0.75) {
        steps.push(Step::Pull { window: seconds(3, 8, chance) });
        let tank = TankId(chance.below(plan.tanks.len() as u64) as u16);
        let medium = match chance.below(10) {
            0 => Medium::Plates,
            1 => Medium::Air,
            _ => Medium::Tank(tank),
        };
        steps.push(Step::Quench { medium, under: seconds(20, 60, chance) });
    } else {
        steps.push(Step::Cool { to: celsius(chance.between(100.0, 300.0)), in_air: chance.happens(0.3) });
    }
    for _ in 0..chance.below(3) {
        let to = FurnaceId(chance.below(plan.furnaces.len() as u64) as u16);
        let elsewhere = Some(to).filter(|to| to.index() != place);
        let at = celsius(chance.between(150.0, 250.0));
        steps.push(Step::Temper { furnace: elsewhere, at, hold: seconds(60, 300, chance), within: Duration::from_secs(3600) });
    }
    steps
}

fn part(chance: &mut Chance) -> Part {
    let size = Length::new::<millimeter>(chance.between(2.0, 30.0));
    Part { form: chance.pick(&[Form::Plate, Form::Bar]), size, mass: Some(Mass::new::<kilogram>(chance.between(0.05, 2.0))) }
}
