//! Recipes: cycles as planned, with names that are resolved when a load takes them.

use std::time::Duration;

use hearthward_equipment::Name;
use hearthward_equipment::quantity::{Temperature, TemperatureStep};
use hearthward_supervise::recipe::{Drive, Protection};

use super::quantities;
use super::section::Section;

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
    /// Heat, at a rate in K/h or at full power.
    Ramp(Temperature, Option<f64>),
    /// Hold: temperature, band, least and longest time in band.
    Soak(Temperature, Option<TemperatureStep>, Duration, Duration),
    /// Take out within the window.
    Pull(Duration),
    /// Under in the named tank for a time.
    Quench(Name, Duration),
    /// Cool down to.
    Cool(Temperature),
    /// Temper: furnace, temperature, time in band, and within which time of the quench.
    Temper(Option<Name>, Temperature, Duration, Duration),
}

pub(super) fn recipes(root: &Section<'_>) -> Vec<RecipeSettings> {
    root.named("recipe").into_iter().filter_map(|(name, section)| recipe(name, section)).collect()
}

fn recipe(name: Name, section: Section<'_>) -> Option<RecipeSettings> {
    let steel = section.need("steel", "steel = \"O1\"", |text| Ok::<_, String>(text.to_owned()));
    let protection = section.need("protection", "protection = \"gas\"", |text| match text {
        "gas" => Ok(Protection::Gas),
        "foil-pack" => Ok(Protection::FoilPack),
        "coating" => Ok(Protection::Coating),
        "none" => Ok(Protection::None),
        _ => Err(format!("{text:?} is none of: gas, foil-pack, coating, none")),
    });
    let text = section.text("text").unwrap_or_default();
    let program = section.number("program", 1.0, 9_999.0);
    let listed = section.list("steps");
    if listed.is_empty() {
        section.missing("steps", "steps = [ { step = \"purge\" }, { step = \"ramp\", to = \"800 C\" } ]");
    }
    let count = listed.len();
    let steps: Vec<StepSettings> = listed.into_iter().filter_map(step).collect();
    let complete = count > 0 && steps.len() == count;
    let key = section.key("steps");
    let source = section.home().to_owned();
    section.finish();
    // Program numbers are whole on every controller.
    let drive = program.map_or(Drive::SetPoints, |number| Drive::Program(number as u32));
    complete.then_some(())?;
    Some(RecipeSettings { name, text, steel: steel?, protection: protection?, drive, steps, key, source })
}

fn step(section: Section<'_>) -> Option<StepSettings> {
    let kind = section.need("step", "step = \"soak\"", |text| Ok::<_, String>(text.to_owned()))?;
    let temperature = |entry, mend: &str| section.need(entry, mend, quantities::steel_temperature);
    let span = |entry, mend: &str| section.need(entry, mend, |text| quantities::duration_in(text, 0, 172_800_000));
    let built = match kind.as_str() {
        "purge" => Some(StepSettings::Purge),
        "preheat" => temperature("to", "to = \"600 C\"")
            .zip(span("hold", "hold = \"10 min\""))
            .map(|(to, hold)| StepSettings::Preheat(to, hold)),
        "ramp" => {
            let rate = section.read("rate", quantities::rate_k_per_h);
            temperature("to", "to = \"800 C\"").map(|to| StepSettings::Ramp(to, rate))
        }
        "soak" => soak(&section),
        "pull" => span("window", "window = \"3 s\"").map(StepSettings::Pull),
        "quench" => {
            let tank = section.need("tank", "tank = \"oil\"", str::parse::<Name>);
            tank.zip(span("under", "under = \"2 min\"")).map(|(tank, under)| StepSettings::Quench(tank, under))
        }
        "cool" => temperature("to", "to = \"60 C\"").map(StepSettings::Cool),
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
