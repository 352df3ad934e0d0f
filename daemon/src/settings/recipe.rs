//! Recipes: cycles as planned, with names that are resolved when a load takes them.

use std::time::Duration;

use hearthward_equipment::Name;
use hearthward_equipment::quantity::{Temperature, TemperatureStep};
use hearthward_supervise::recipe::{Drive, Form, Pace, Part, Protection};

use super::quantities;
use super::section::{Section, words};

/// A recipe.
#[derive(Clone, Debug)]
pub struct RecipeSettings {
    /// Its name.
    pub name: Name,
    /// What it is for, in words.
    pub text: String,
    /// The steel's trade designation.
    pub steel: String,
    /// What keeps air off it.
    pub protection: Protection,
    /// Who drives the temperature.
    pub drive: Drive,
    /// What one part is like, if it is said.
    pub part: Option<Part>,
    /// The steps.
    pub steps: Vec<StepSettings>,
    /// The key of the recipe, for problems.
    pub key: String,
    /// Where it is written, for problems.
    pub source: String,
}

/// A step, with names where the core has numbers.
#[derive(Clone, Debug)]
pub enum StepSettings {
    /// Sweep the air out.
    Purge,
    /// Even out below the soak.
    Preheat(Temperature, Duration),
    /// Heat, at a pace.
    Ramp(Temperature, Pace),
    /// Hold: temperature, band, least and longest time in band.
    Soak(Temperature, Option<TemperatureStep>, Duration, Duration),
    /// Take out within the window.
    Pull(Duration),
    /// In what quenches them for a time.
    Quench(Bath, Duration),
    /// Cool down to, in air or where it is.
    Cool(Temperature, bool),
    /// Temper: furnace, temperature, time in band, and within which time of the quench.
    Temper(Option<Name>, Temperature, Duration, Duration),
}

/// What parts are quenched in.
#[derive(Clone, Debug)]
pub enum Bath {
    /// The named tank.
    Tank(Name),
    /// Between plates.
    Plates,
    /// Still air.
    Air,
}

pub(super) fn recipes(root: &Section<'_>) -> Vec<RecipeSettings> {
    root.named("recipe").into_iter().filter_map(|(name, section)| recipe(name, section)).collect()
}

fn recipe(name: Name, section: Section<'_>) -> Option<RecipeSettings> {
    let steel = section.need("steel", "steel = \"O1\"", words);
    let protection = section.need("protection", "protection = \"gas\"", |text| match text {
        "gas" => Ok(Protection::Gas),
        "foil-pack" => Ok(Protection::FoilPack),
        "coating" => Ok(Protection::Coating),
        "none" => Ok(Protection::None),
        _ => Err(format!("{text:?} is none of: gas, foil-pack, coating, none")),
    });
    let text = section.text("text").unwrap_or_default();
    let program = section.number("program", 1.0, 9_999.0);
    let whole = program.is_none_or(|number| number.fract() == 0.0);
    if !whole {
        section.problem("program", "is the number of a program of the controller: write it without a fraction");
    }
    let part = section.section("part").and_then(part);
    let listed = section.list("steps");
    if listed.is_empty() {
        section.missing("steps", "steps = [ { step = \"purge\" }, { step = \"ramp\", to = \"800 C\" } ]");
    }
    let count = listed.len();
    let steps: Vec<StepSettings> = listed.into_iter().filter_map(step).collect();
    let complete = whole && count > 0 && steps.len() == count;
    let key = section.key("steps");
    let source = section.home().to_owned();
    section.finish();
    // Program numbers are whole on every controller.
    let drive = program.map_or(Drive::SetPoints, |number| Drive::Program(number as u32));
    complete.then_some(())?;
    Some(RecipeSettings { name, text, steel: steel?, protection: protection?, drive, part, steps, key, source })
}

fn step(section: Section<'_>) -> Option<StepSettings> {
    let kind = section.need("step", "step = \"soak\"", |text| Ok::<_, String>(text.to_owned()))?;
    let temperature = |entry, mend: &str| section.need(entry, mend, quantities::steel_temperature);
    let timed = |entry, mend: &str, least, most| section.need(entry, mend, |text| quantities::duration_in(text, least, most));
    let span = |entry, mend: &str| timed(entry, mend, 0, 172_800_000);
    let built = match kind.as_str() {
        "purge" => Some(StepSettings::Purge),
        "preheat" => temperature("to", "to = \"600 C\"")
            .zip(span("hold", "hold = \"10 min\""))
            .map(|(to, hold)| StepSettings::Preheat(to, hold)),
        "ramp" => {
            let rate = section.read("rate", quantities::rate_k_per_h);
            let over = section.read("over", |text| quantities::duration_in(text, 1_000, 172_800_000));
            let pace = match (rate, over) {
                (None, None) => Pace::Full,
                (Some(rate), None) => Pace::Rate(rate),
                (None, Some(over)) => Pace::Over(over),
                (Some(_), Some(_)) => {
                    section.problem("over", "stands beside `rate`: give one of the two, or neither for full power");
                    Pace::Full
                }
            };
            temperature("to", "to = \"800 C\"").map(|to| StepSettings::Ramp(to, pace))
        }
        "soak" => soak(&section),
        // Nobody has a part out and under in less than a second, and steel that is out for ten minutes is cold.
        "pull" => timed("window", "window = \"3 s\"", 1_000, 600_000).map(StepSettings::Pull),
        "quench" => {
            let bath = match section.text("medium").as_deref() {
                None => section.need("tank", "tank = \"oil\", or medium = \"plates\"", str::parse::<Name>).map(Bath::Tank),
                Some("plates") => Some(Bath::Plates),
                Some("air") => Some(Bath::Air),
                Some(other) => {
                    section.problem("medium", format!("{other:?} is neither plates nor air; a bath is named as `tank`"));
                    None
                }
            };
            bath.zip(timed("under", "under = \"2 min\"", 1_000, 172_800_000))
                .map(|(bath, under)| StepSettings::Quench(bath, under))
        }
        "cool" => {
            let in_air = section.read("where", |text| match text {
                "air" => Ok(true),
                "chamber" => Ok(false),
                other => Err(format!("{other:?} is neither air nor chamber")),
            });
            temperature("to", "to = \"60 C\"").map(|to| StepSettings::Cool(to, in_air.unwrap_or(false)))
        }
        "temper" => {
            let furnace = section.read("furnace", str::parse::<Name>);
            let within = span("within", "within = \"2 h\"");
            let at = temperature("at", "at = \"200 C\"").zip(span("hold", "hold = \"1 h\""));
            at.zip(within).map(|((at, hold), within)| StepSettings::Temper(furnace, at, hold, within))
        }
        other => {
            section.problem("step", format!("{other:?} is none of: purge, preheat, ramp, soak, pull, quench, cool, temper"));
            return None;
        }
    };
    section.finish();
    built
}

/// `part = { form = "plate", size = "3 mm", mass = "150 g" }`.
fn part(section: Section<'_>) -> Option<Part> {
    let form = section.need("form", "form = \"plate\"", |text| match text {
        "plate" => Ok(Form::Plate),
        "bar" => Ok(Form::Bar),
        other => Err(format!("{other:?} is neither plate nor bar")),
    });
    let size = section.need("size", "size = \"3 mm\"", quantities::section_size);
    let mass = section.read("mass", quantities::part_mass);
    section.finish();
    Some(Part { form: form?, size: size?, mass })
}

fn soak(section: &Section<'_>) -> Option<StepSettings> {
    let at = section.need("at", "at = \"800 C\"", quantities::steel_temperature);
    let band = section.read("band", quantities::step);
    let span = |text: &str| quantities::duration_in(text, 0, 172_800_000);
    let minimum = section.need("minimum", "minimum = \"15 min\"", span);
    let maximum = section.need("maximum", "maximum = \"30 min\"", span);
    if let (Some(minimum), Some(maximum)) = (minimum, maximum)
        && maximum < minimum
    {
        section.problem("maximum", "is less than `minimum`");
    }
    Some(StepSettings::Soak(at?, band, minimum?, maximum?))
}
