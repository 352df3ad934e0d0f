//! Loads, cycles and questions.

use std::time::Duration;

use hearthward_equipment::quantity::{celsius, in_celsius, in_kelvins, kelvins};
use hearthward_equipment::{Name, ShopMs};
use hearthward_proto::v1;
use hearthward_proto::v1::step::Step as StepOf;
use hearthward_supervise::plan::{ShopPlan, SteelChoice};
use hearthward_supervise::recipe::{Drive, Form, Load, Medium, Pace, Part, Protection, Step, StepKind};
use hearthward_supervise::request::{Ask, Choice};
use hearthward_supervise::view::{CycleView, QuestionView};
use uom::si::f64::{Length, Mass};
use uom::si::length::millimeter;
use uom::si::mass::kilogram;

use super::{millis, tidy};
use crate::door::Recipe;
use crate::error::ApiError;

/// Most steps of a cycle. Three tempers and two preheats make eleven; the rest is room.
const STEPS: usize = 64;

/// Most parts of a load.
const PARTS: u32 = 1000;

/// The longest span that a step may name, in milliseconds: a week.
const SPAN_MS: u64 = 7 * 24 * 3600 * 1000;

/// The range of temperatures that a step may name, in degrees Celsius. What a furnace is rated for is the core's to judge.
const STEP_C: std::ops::RangeInclusive<f64> = -100.0..=1600.0;

/// The range of heating rates, in kelvins an hour.
const RATE_K_H: std::ops::RangeInclusive<f64> = 1.0..=20_000.0;

/// The range of half bands, in kelvins.
const BAND_K: std::ops::RangeInclusive<f64> = 0.1..=100.0;

/// The range of sections of a part, in millimetres: what the heating of steel is worked out for.
const SIZE_MM: std::ops::RangeInclusive<f64> = 0.1..=500.0;

/// The range of a part's mass, in kilograms.
const MASS_KG: std::ops::RangeInclusive<f64> = 0.001..=10_000.0;

/// The longest trade designation of a steel.
const STEEL_CHARS: usize = 60;

pub(crate) fn recipe(recipe: &Recipe, plan: &ShopPlan) -> v1::Recipe {
    v1::Recipe {
        name: recipe.name.to_string(),
        text: recipe.text.clone(),
        plan: Some(v1::CyclePlan {
            steel: recipe.steel.clone(),
            protection: protection(recipe.protection).into(),
            steps: recipe.steps.iter().map(|one| step(one, plan)).collect(),
            controller_program: match recipe.drive {
                Drive::SetPoints => None,
                Drive::Program(number) => Some(number),
            },
            part: recipe.part.map(part),
        }),
    }
}

/// The load of a request to start, from a recipe or from steps given in full.
pub(crate) fn load(request: &v1::StartCycleRequest, recipes: &[Recipe], plan: &ShopPlan) -> Result<Load, ApiError> {
    if request.load.is_empty() {
        return Err(ApiError::field("load", "is needed: the name that the load goes by"));
    }
    let name = Name::new(request.load.as_str()).map_err(|error| ApiError::field("load", error.to_string()))?;
    if request.parts > PARTS {
        return Err(ApiError::field("parts", format!("must be 1 to {PARTS}")));
    }
    let parts = u16::try_from(request.parts.max(1)).unwrap_or(u16::MAX);
    match &request.cycle {
        None => Err(ApiError::field("cycle", "must be the name of a recipe or a plan in full")),
        Some(v1::start_cycle_request::Cycle::Recipe(wanted)) => {
            let recipe = recipes
                .iter()
                .find(|recipe| recipe.name.as_str() == wanted)
                .ok_or_else(|| ApiError::unknown("recipe", wanted, recipes.iter().map(|one| &one.name)))?;
            let Recipe { steel, protection, drive, steps, part, .. } = recipe.clone();
            Ok(Load { name, steel, parts, part, protection, steps, drive })
        }
        Some(v1::start_cycle_request::Cycle::Plan(cycle)) => {
            let (steel, protection, drive, steps) = plan_from(cycle, plan)?;
            let part = cycle.part.as_ref().map(part_from).transpose()?;
            Ok(Load { name, steel, parts, part, protection, steps, drive })
        }
    }
}

fn plan_from(cycle: &v1::CyclePlan, plan: &ShopPlan) -> Result<(String, Protection, Drive, Vec<Step>), ApiError> {
    let steel = cycle.steel.trim();
    if steel.is_empty() || steel.chars().count() > STEEL_CHARS || steel.chars().any(char::is_control) {
        return Err(ApiError::field("plan.steel", format!("must be 1 to {STEEL_CHARS} printable characters")));
    }
    let protection = match cycle.protection() {
        v1::Protection::Unspecified => return Err(ApiError::field("plan.protection", "must say what keeps air off the steel")),
        v1::Protection::Gas => Protection::Gas,
        v1::Protection::FoilPack => Protection::FoilPack,
        v1::Protection::Coating => Protection::Coating,
        v1::Protection::None => Protection::None,
    };
    if !(1..=STEPS).contains(&cycle.steps.len()) {
        return Err(ApiError::field("plan.steps", format!("must be 1 to {STEPS} steps")));
    }
    let steps = cycle.steps.iter().enumerate().map(|(place, one)| step_from(one, place, plan)).collect::<Result<_, _>>()?;
    Ok((steel.into(), protection, cycle.controller_program.map_or(Drive::SetPoints, Drive::Program), steps))
}

fn part_from(part: &v1::Part) -> Result<Part, ApiError> {
    let form = match part.form() {
        v1::Form::Unspecified => return Err(ApiError::field("plan.part.form", "must be a plate or a bar")),
        v1::Form::Plate => Form::Plate,
        v1::Form::Bar => Form::Bar,
    };
    if !SIZE_MM.contains(&part.size_mm) {
        return Err(ApiError::field("plan.part.size_mm", format!("must be {} to {}", SIZE_MM.start(), SIZE_MM.end())));
    }
    if part.mass_kg.is_some_and(|mass_kg| !MASS_KG.contains(&mass_kg)) {
        return Err(ApiError::field("plan.part.mass_kg", format!("must be {} to {}", MASS_KG.start(), MASS_KG.end())));
    }
    Ok(Part { form, size: Length::new::<millimeter>(part.size_mm), mass: part.mass_kg.map(Mass::new::<kilogram>) })
}

fn part(part: Part) -> v1::Part {
    let form = match part.form {
        Form::Plate => v1::Form::Plate,
        Form::Bar => v1::Form::Bar,
    };
    let (size_mm, mass_kg) = (tidy(part.size.get::<millimeter>()), part.mass.map(|mass| tidy(mass.get::<kilogram>())));
    v1::Part { form: form.into(), size_mm, mass_kg }
}

fn step_from(step: &v1::Step, place: usize, plan: &ShopPlan) -> Result<Step, ApiError> {
    let field = |name: &str| format!("plan.steps[{place}].{name}");
    let within = |value: f64, range: &std::ops::RangeInclusive<f64>, name: &str| {
        if range.contains(&value) {
            Ok(value)
        } else {
            Err(ApiError::field(field(name), format!("must be {} to {}", range.start(), range.end())))
        }
    };
    let temperature = |value: f64, name: &str| within(value, &STEP_C, name).map(celsius);
    let span = |value: u64, name: &str| {
        if value <= SPAN_MS {
            Ok(Duration::from_millis(value))
        } else {
            Err(ApiError::field(field(name), "must be at most a week"))
        }
    };
    let name_of = |text: &str, name: &str| Name::new(text).map_err(|error| ApiError::field(field(name), error.to_string()));
    Ok(match step.step.as_ref().ok_or_else(|| ApiError::field(field("step"), "must be one of the kinds of step"))? {
        StepOf::Purge(v1::PurgeStep {}) => Step::Purge,
        StepOf::Preheat(s) => Step::Preheat {
            to: temperature(s.temperature_c, "preheat.temperature_c")?,
            hold: span(s.hold_ms, "preheat.hold_ms")?,
        },
        StepOf::Ramp(s) => Step::Ramp {
            to: temperature(s.temperature_c, "ramp.temperature_c")?,
            pace: match (s.rate_k_h, s.over_ms) {
                (None, None) => Pace::Full,
                (Some(rate), None) => Pace::Rate(within(rate, &RATE_K_H, "ramp.rate_k_h")?),
                (None, Some(over_ms)) => Pace::Over(span(over_ms, "ramp.over_ms")?),
                (Some(_), Some(_)) => return Err(ApiError::field(field("ramp.over_ms"), "must not stand beside a rate")),
            },
        },
        StepOf::Soak(s) if s.maximum_ms < s.minimum_ms => {
            return Err(ApiError::field(field("soak.maximum_ms"), "must be at least minimum_ms"));
        }
        StepOf::Soak(s) => Step::Soak {
            at: temperature(s.temperature_c, "soak.temperature_c")?,
            band: s.band_k.map(|band| within(band, &BAND_K, "soak.band_k").map(kelvins)).transpose()?,
            minimum: span(s.minimum_ms, "soak.minimum_ms")?,
            maximum: span(s.maximum_ms, "soak.maximum_ms")?,
        },
        StepOf::Pull(s) => Step::Pull { window: span(s.window_ms, "pull.window_ms")? },
        StepOf::Quench(s) => Step::Quench {
            medium: match s.medium() {
                v1::Medium::Unspecified | v1::Medium::Tank => Medium::Tank(
                    plan.find_tank(&name_of(&s.tank, "quench.tank")?)
                        .ok_or_else(|| ApiError::unknown("tank", &s.tank, plan.tanks.iter().map(|one| &one.name)))?,
                ),
                v1::Medium::Plates => Medium::Plates,
                v1::Medium::Air => Medium::Air,
            },
            under: span(s.under_ms, "quench.under_ms")?,
        },
        StepOf::Cool(s) => Step::Cool { to: temperature(s.temperature_c, "cool.temperature_c")?, in_air: s.in_air },
        StepOf::Temper(s) => Step::Temper {
            furnace: match s.furnace.as_str() {
                "" => None,
                name => Some(
                    plan.find_furnace(&name_of(name, "temper.furnace")?)
                        .ok_or_else(|| ApiError::unknown("furnace", name, plan.furnaces.iter().map(|one| &one.name)))?,
                ),
            },
            at: temperature(s.temperature_c, "temper.temperature_c")?,
            hold: span(s.hold_ms, "temper.hold_ms")?,
            within: span(s.within_ms, "temper.within_ms")?,
        },
    })
}

fn step(step: &Step, plan: &ShopPlan) -> v1::Step {
    let of = match step {
        Step::Purge => StepOf::Purge(v1::PurgeStep {}),
        Step::Preheat { to, hold } => {
            StepOf::Preheat(v1::PreheatStep { temperature_c: tidy(in_celsius(*to)), hold_ms: millis(*hold) })
        }
        Step::Ramp { to, pace } => {
            let (rate_k_h, over_ms) = match pace {
                Pace::Full => (None, None),
                Pace::Rate(rate) => (Some(tidy(*rate)), None),
                Pace::Over(span) => (None, Some(millis(*span))),
            };
            StepOf::Ramp(v1::RampStep { temperature_c: tidy(in_celsius(*to)), rate_k_h, over_ms })
        }
        Step::Soak { at, band, minimum, maximum } => StepOf::Soak(v1::SoakStep {
            temperature_c: tidy(in_celsius(*at)),
            band_k: band.map(|band| tidy(in_kelvins(band))),
            minimum_ms: millis(*minimum),
            maximum_ms: millis(*maximum),
        }),
        Step::Pull { window } => StepOf::Pull(v1::PullStep { window_ms: millis(*window) }),
        Step::Quench { medium, under } => {
            let (tank, medium) = match medium {
                Medium::Tank(id) => (plan.tanks.get(id.index()).map(|tank| tank.name.to_string()), v1::Medium::Tank),
                Medium::Plates => (None, v1::Medium::Plates),
                Medium::Air => (None, v1::Medium::Air),
            };
            let (tank, medium) = (tank.unwrap_or_default(), medium.into());
            StepOf::Quench(v1::QuenchStep { tank, under_ms: millis(*under), medium })
        }
        Step::Cool { to, in_air } => StepOf::Cool(v1::CoolStep { temperature_c: tidy(in_celsius(*to)), in_air: *in_air }),
        Step::Temper { furnace, at, hold, within } => StepOf::Temper(v1::TemperStep {
            furnace: furnace.and_then(|id| plan.furnace(id)).map(|furnace| furnace.name.to_string()).unwrap_or_default(),
            temperature_c: tidy(in_celsius(*at)),
            hold_ms: millis(*hold),
            within_ms: millis(*within),
        }),
    };
    v1::Step { step: Some(of) }
}

pub(crate) fn cycle(view: &CycleView) -> v1::Cycle {
    v1::Cycle {
        load: view.load.to_string(),
        steel: view.steel.clone(),
        protection: protection(view.protection).into(),
        step_index: view.index.into(),
        steps: view.steps.into(),
        step: step_kind(view.step).into(),
        step_ms: view.step_ms,
        waiting_for: view.waiting_for.clone(),
        in_band_ms: view.in_band_ms,
        owed_ms: view.owed_ms,
        held: view.held,
        load_c: view.load_c.map(tidy),
        temper_due_ms: view.temper_due_ms,
        ready_in_ms: view.ready_in_ms,
    }
}

pub(crate) fn question(view: &QuestionView, now: ShopMs) -> v1::Question {
    v1::Question {
        id: view.id.0,
        furnace: view.furnace.as_ref().map(ToString::to_string).unwrap_or_default(),
        ask: Some(ask(&view.ask)),
        text: view.text.clone(),
        choices: view.choices.iter().map(|one| choice(*one).into()).collect(),
        default_choice: view.default.map_or(v1::Choice::Unspecified, |(default, _)| choice(default)).into(),
        default_in_ms: view.default.map(|(_, at)| millis(at.since(now))),
        waiting_ms: millis(now.since(view.since)),
    }
}

pub(crate) fn ask(ask: &Ask) -> v1::Ask {
    use v1::ask::{self as of, Ask as AskOf};
    let inner = match ask {
        Ask::LoadAndShut => AskOf::LoadAndShut(of::LoadAndShut {}),
        Ask::SetFlow { litres_per_minute } => AskOf::SetFlow(of::SetFlow { flow_l_min: tidy(*litres_per_minute) }),
        Ask::ReadFlow => AskOf::ReadFlow(of::ReadFlow {}),
        Ask::EnterReading { point } => AskOf::EnterReading(of::EnterReading { point: point.clone() }),
        Ask::SetController { set_point_c } => AskOf::SetController(of::SetController { temperature_c: tidy(*set_point_c) }),
        Ask::TurnOff => AskOf::TurnOff(of::TurnOff {}),
        Ask::BringBath { low_c, high_c } => AskOf::BringBath(of::BringBath { low_c: tidy(*low_c), high_c: tidy(*high_c) }),
        Ask::PartUnder { part, of: parts } => AskOf::PartUnder(of::PartUnder { part: (*part).into(), parts: (*parts).into() }),
        Ask::Transfer { to } => AskOf::Transfer(of::Transfer { furnace: to.to_string() }),
        Ask::Steel { because, quenchable_s } => AskOf::Steel(of::Steel { because: because.clone(), quenchable_s: *quenchable_s }),
        Ask::LetCool { to_c } => AskOf::LetCool(of::LetCool { temperature_c: tidy(*to_c) }),
        Ask::GoOn { because, away_ms, before_c, now_c, steel_c, quenchable_s } => AskOf::GoOn(of::GoOn {
            because: because.clone(),
            away_ms: *away_ms,
            before_c: before_c.map(tidy),
            now_c: now_c.map(tidy),
            steel_c: steel_c.map(tidy),
            quenchable_s: *quenchable_s,
        }),
    };
    v1::Ask { ask: Some(inner) }
}

pub(crate) fn choice(choice: Choice) -> v1::Choice {
    match choice {
        Choice::Steel(SteelChoice::QuenchNow) => v1::Choice::QuenchNow,
        Choice::Steel(SteelChoice::Finish) => v1::Choice::Finish,
        Choice::Steel(SteelChoice::SlowCoolUnderGas) => v1::Choice::SlowCoolUnderGas,
        Choice::GoOn => v1::Choice::GoOn,
        Choice::RestartStep => v1::Choice::RestartStep,
        Choice::End => v1::Choice::End,
    }
}

/// The choice that a client names; none when it names none.
pub(crate) fn choice_from(choice: v1::Choice) -> Option<Choice> {
    Some(match choice {
        v1::Choice::Unspecified => return None,
        v1::Choice::QuenchNow => Choice::Steel(SteelChoice::QuenchNow),
        v1::Choice::Finish => Choice::Steel(SteelChoice::Finish),
        v1::Choice::SlowCoolUnderGas => Choice::Steel(SteelChoice::SlowCoolUnderGas),
        v1::Choice::GoOn => Choice::GoOn,
        v1::Choice::RestartStep => Choice::RestartStep,
        v1::Choice::End => Choice::End,
    })
}

pub(crate) fn step_kind(kind: StepKind) -> v1::StepKind {
    match kind {
        StepKind::Purge => v1::StepKind::Purge,
        StepKind::Preheat => v1::StepKind::Preheat,
        StepKind::Ramp => v1::StepKind::Ramp,
        StepKind::Soak => v1::StepKind::Soak,
        StepKind::Pull => v1::StepKind::Pull,
        StepKind::Quench => v1::StepKind::Quench,
        StepKind::Cool => v1::StepKind::Cool,
        StepKind::Temper => v1::StepKind::Temper,
    }
}

fn protection(protection: Protection) -> v1::Protection {
    match protection {
        Protection::Gas => v1::Protection::Gas,
        Protection::FoilPack => v1::Protection::FoilPack,
        Protection::Coating => v1::Protection::Coating,
        Protection::None => v1::Protection::None,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_temperature_leaves_as_it_was_written() {
        let plan = ShopPlan::default();
        let mut mended = 0;
        for whole in 0..=1600_i32 {
            let written = f64::from(whole);
            let kept = celsius(written);
            let steps = [
                Step::Preheat { to: kept, hold: Duration::ZERO },
                Step::Ramp { to: kept, pace: Pace::Full },
                Step::Soak { at: kept, band: Some(kelvins(written)), minimum: Duration::ZERO, maximum: Duration::ZERO },
                Step::Cool { to: kept, in_air: true },
                Step::Temper { furnace: None, at: kept, hold: Duration::ZERO, within: Duration::ZERO },
            ];
            for one in steps {
                let left = match step(&one, &plan).step.expect("a step") {
                    StepOf::Preheat(of) => of.temperature_c,
                    StepOf::Ramp(of) => of.temperature_c,
                    StepOf::Soak(of) => {
                        assert_eq!(of.band_k.map(f64::to_bits), Some(written.to_bits()), "{one:?}");
                        of.temperature_c
                    }
                    StepOf::Cool(of) => of.temperature_c,
                    StepOf::Temper(of) => of.temperature_c,
                    other => panic!("became {other:?}"),
                };
                assert_eq!(left.to_bits(), written.to_bits(), "{one:?}");
            }
            mended += u32::from(in_celsius(kept).to_bits() != written.to_bits());
        }
        assert!(mended > 0, "nothing of this needed mending");
    }
}
