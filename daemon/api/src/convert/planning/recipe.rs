//! A proposed cycle as a recipe of the shop's configuration, with its reasons as comments.

use hearthward_equipment::Name;
use hearthward_process::heating::Shape;
use hearthward_process::plan::{Answer, CycleQuestion};
use hearthward_process::steel::{Cycle, Medium};
use hearthward_process::units::figures;
use hearthward_proto::v1;
use uom::si::f64::{ThermodynamicTemperature, Time};
use uom::si::length::millimeter;
use uom::si::thermodynamic_temperature::degree_celsius;
use uom::si::time::{minute, second};

use super::asked::{Result, Unplanned};

/// The names that a recipe is written with.
pub(super) struct Names {
    recipe: Name,
    tank: Name,
    /// Whether the tank's name was said.
    tank_said: bool,
}

impl Names {
    pub(super) fn read(asked: &v1::PlanRecipe) -> Result<Self> {
        let name = |field: &str, text: &str| Name::new(text).map_err(|why| Unplanned::field(field, format!("is no name: {why}")));
        let tank_said = !asked.tank.is_empty();
        Ok(Self {
            recipe: name("recipe.name", &asked.name)?,
            tank: name("recipe.tank", if tank_said { &asked.tank } else { "oil" })?,
            tank_said,
        })
    }
}

/// Writes the recipe; all that the answers say of the cycle and warn of stands over it.
pub(super) fn written(
    names: &Names,
    request: &v1::PlanCycleRequest,
    question: &CycleQuestion,
    cycle: &Cycle,
    answers: &[Answer],
) -> Result<String> {
    let mut taken = Vec::new();
    let steps = steps(names, request, question, cycle, answers, &mut taken)?;
    let wish = &question.wish;
    let size_mm = wish.section.size.get::<millimeter>();
    let protection = match (question.gas.is_some(), wish.protected) {
        (true, _) => "gas",
        (false, true) => {
            taken.push("protected by foil; write coating instead, if it is that".to_owned());
            "foil-pack"
        }
        (false, false) => "none",
    };
    let form = match wish.section.shape {
        Shape::Plate => "plate",
        Shape::Bar => "bar",
        Shape::Sphere => {
            taken.push("a lump is written as a bar of its diameter, which heats more slowly".to_owned());
            "bar"
        }
    };
    // A mass that was not said is left out: what the bath will do is then not predicted.
    let part_kg = request.bath.as_ref().map_or(0.0, |bath| bath.part_kg);
    let mass = if part_kg > 0.0 { format!(", mass = \"{} kg\"", figures(part_kg, 6)) } else { String::new() };
    let mut lines: Vec<String> = Vec::new();
    let said = answers.first().map(Answer::text).unwrap_or_default();
    let warned = answers.iter().skip(1).flat_map(|answer| &answer.warnings).map(|note| format!("! {}", note.text));
    let taken = taken.iter().map(|words| format!("- not said, so taken: {words}"));
    lines.extend(said.lines().map(str::to_owned).chain(warned).chain(taken).map(|line| format!("# {line}")));
    lines.push(format!("[recipe.{}]", names.recipe));
    lines.push(format!("text = \"{} of {} mm, as planned\"", wish.steel.grade, figures(size_mm, 4)));
    lines.push(format!("steel = \"{}\"", wish.steel.grade));
    lines.push(format!("protection = \"{protection}\""));
    lines.push(format!("part = {{ form = \"{form}\", size = \"{} mm\"{mass} }}", figures(size_mm, 6)));
    lines.push("steps = [".to_owned());
    lines.extend(steps.iter().map(|step| format!("    {{ step = {step} }},")));
    lines.push("]".to_owned());
    Ok(lines.join("\n"))
}

/// The steps, each as the inside of its table.
fn steps(
    names: &Names,
    request: &v1::PlanCycleRequest,
    question: &CycleQuestion,
    cycle: &Cycle,
    answers: &[Answer],
    taken: &mut Vec<String>,
) -> Result<Vec<String>> {
    let mut steps = Vec::new();
    if question.gas.is_some() {
        steps.push("\"purge\"".to_owned());
    }
    let pace = match &request.ramp {
        Some(ramp) if ramp.rate_k_min < SLOWEST_K_MIN => {
            let why = format!("is {} K/min; a recipe's ramp is 1 K/h at least", figures(ramp.rate_k_min, 4));
            return Err(Unplanned::field("ramp.rate_k_min", why));
        }
        Some(ramp) => format!(", rate = \"{} K/min\"", figures(ramp.rate_k_min, 6)),
        None => String::new(),
    };
    let number = |key: &str| answers.iter().find_map(|answer| answer.number(key));
    if let Some(preheat) = cycle.preheat {
        // Time counts from the furnace being there, so the core has the whole of its way.
        let most_min = preheat.most.get::<minute>();
        let hold_min = number("preheat_s").map_or(most_min, |s| (s / 60.0).ceil().min(most_min));
        let to = celsius(preheat.temperature);
        steps.push(format!("\"preheat\", to = \"{to}\", hold = \"{} min\"", figures(hold_min, 4)));
    }
    let heat = celsius(cycle.soak.temperature);
    steps.push(format!("\"ramp\", to = \"{heat}\"{pace}"));
    let [least, most] = [cycle.soak.least, cycle.soak.most].map(minutes);
    steps.push(format!("\"soak\", at = \"{heat}\", minimum = \"{least}\", maximum = \"{most}\""));
    let has_s = ["has_s", "last_has_s"].into_iter().filter_map(number).reduce(f64::min);
    let window_s = has_s.map_or(USUAL_WINDOW_S, |s| s.floor().max(1.0));
    if has_s.is_none() {
        taken.push(format!("from door to quench within {USUAL_WINDOW_S} s (common practice, no source)"));
    }
    steps.push(format!("\"pull\", window = \"{} s\"", figures(window_s, 4)));
    let (medium, under_min) = match cycle.medium {
        Medium::Oil => (format!("tank = \"{}\"", names.tank), 2),
        Medium::Plates => ("medium = \"plates\"".to_owned(), 5),
        Medium::Air => ("medium = \"air\"".to_owned(), 5),
        Medium::Water => {
            let why = "cannot be written: this section goes into water or brine, and a recipe knows baths of oil, plates and air";
            return Err(Unplanned::field("recipe.name", why));
        }
    };
    if cycle.medium == Medium::Oil && !names.tank_said {
        taken.push(format!("the tank is called {} in your configuration", names.tank));
    }
    taken.push(format!("in the quench for {under_min} min (common practice, no source)"));
    steps.push(format!("\"quench\", {medium}, under = \"{under_min} min\""));
    taken.push(format!("tempered in the same furnace, within {WITHIN_H} h of the quench (common practice, no source)"));
    for (place, temper) in cycle.tempering.tempers.iter().enumerate() {
        if place > 0 || cycle.medium == Medium::Air {
            steps.push("\"cool\", to = \"50 C\", where = \"air\"".to_owned());
        }
        let (at, hold) = (celsius(temper.temperature), minutes(temper.time));
        steps.push(format!("\"temper\", at = \"{at}\", hold = \"{hold}\", within = \"{WITHIN_H} h\""));
    }
    Ok(steps)
}

fn celsius(t: ThermodynamicTemperature) -> String {
    format!("{} C", figures(t.get::<degree_celsius>(), 4))
}

/// A time to the second.
fn minutes(time: Time) -> String {
    format!("{} min", figures(time.get::<second>().round() / 60.0, 6))
}

/// The slowest ramp that the configuration takes, 1 K/h.
const SLOWEST_K_MIN: f64 = 1.0 / 60.0;
/// From door to quench where nobody asked how long the part has: common practice, no source.
const USUAL_WINDOW_S: f64 = 4.0;
/// Hard steel is tempered soon: common practice, no source.
const WITHIN_H: u32 = 2;
