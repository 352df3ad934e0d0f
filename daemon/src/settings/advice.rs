//! What a recipe has against its steel. A second look is advised and nothing refused: the person at the furnace may know better.

use std::time::Duration;

use hearthward_equipment::quantity::in_celsius;
use hearthward_process::span::Span;
use hearthward_process::steel::Steel;
use hearthward_process::tempering::{USUAL_MIN, USUAL_TIMES};
use hearthward_process::units::{System, show_length, show_time};
use uom::si::f64::{Length, Time};
use uom::si::length::millimeter;
use uom::si::time::{minute, second};

use super::place::line_of;
use super::{Problem, RecipeSettings, StepSettings};

/// Temperatures are written in whole degrees of either scale.
const ROUNDED_K: f64 = 1.0;
/// The thinnest section of the steels' guidance: what it asks for, every section needs.
const THINNEST_MM: f64 = 0.1;

impl RecipeSettings {
    /// Where it leaves the austenitizing range of its steel, or the guidance for its soak and tempers, each with its value and what is
    /// usual. Not compared: a steel that the table does not have, and a recipe that quenches nothing.
    #[must_use]
    pub fn advice(&self) -> Vec<Problem> {
        let quench = self.steps.iter().position(|step| matches!(step, StepSettings::Quench(..)));
        let (Ok(steel), Some(quench)) = (Steel::named(&self.steel), quench) else { return Vec::new() };
        let mut found = Vec::new();
        for (place, step) in self.steps.iter().enumerate().take(quench) {
            if let StepSettings::Soak(at, _, least, most) = step {
                match steel.judged(*at, System::Metric) {
                    Ok(None) => {}
                    Ok(Some(note)) => found.push(self.note(&format!("[{place}].at"), note.text.to_string())),
                    Err(error) => found.push(self.note(&format!("[{place}].at"), error.to_string())),
                }
                found.extend(self.soak(steel, place, (*least, *most)));
            }
        }
        found.extend(self.tempers(steel, quench));
        found
    }

    fn soak(&self, steel: &Steel, place: usize, (least, most): (Duration, Duration)) -> Option<Problem> {
        let size = self.part.map_or_else(|| Length::new::<millimeter>(THINNEST_MM), |part| part.size);
        let Span { least: usual_least, most: usual_most } = steel.soak_for(size).ok()?;
        let section = self.part.map_or_else(String::new, |part| format!(" of {}", show_length(part.size, System::Metric)));
        let usual = format!("{}{section} ({})", steel.grade, steel.soak.basis());
        let [shown_least, shown_most] = [usual_least, usual_most].map(show_time);
        if seconds(least) < usual_least {
            let words = format!("is {}, less than the {shown_least} for {usual}", show_time(seconds(least)));
            return Some(self.note(&format!("[{place}].minimum"), words));
        }
        // How long is too long depends on the section.
        self.part.filter(|_| seconds(most) > usual_most)?;
        let words = format!("is {}, more than the {shown_most} for {usual}", show_time(seconds(most)));
        Some(self.note(&format!("[{place}].maximum"), words))
    }

    fn tempers(&self, steel: &Steel, quench: usize) -> Vec<Problem> {
        let usual_time = Time::new::<minute>(USUAL_MIN);
        let mut found = Vec::new();
        let mut count = 0;
        let Span { least: low_c, most: high_c } = steel.temper_c;
        for (place, step) in self.steps.iter().enumerate().skip(quench) {
            let StepSettings::Temper(_, at, hold, _) = step else { continue };
            count += 1;
            let at_c = in_celsius(*at);
            if !(low_c - ROUNDED_K..=high_c + ROUNDED_K).contains(&at_c) {
                let words =
                    format!("is {at_c:.0} °C; the usual tempering range of {} is {low_c:.0} to {high_c:.0} °C", steel.grade);
                found.push(self.note(&format!("[{place}].at"), words));
            }
            if seconds(*hold) < usual_time {
                let [is, usual] = [seconds(*hold), usual_time].map(show_time);
                let words = format!("is {is}, less than the {usual} of a usual temper (common practice, no source)");
                found.push(self.note(&format!("[{place}].hold"), words));
            }
        }
        if count == 0 {
            let words = "quench and do not temper: hard steel left cold cracks (common practice, no source)";
            found.push(self.note("", words.to_owned()));
        } else if count < USUAL_TIMES {
            let words =
                "temper once; twice is usual, since the second also tempers what the first made (common practice, no source)";
            found.push(self.note("", words.to_owned()));
        }
        found
    }

    fn note(&self, place: &str, message: String) -> Problem {
        let key = format!("{}{place}", self.key);
        Problem { source: self.source.clone(), line: line_of(&self.source, &key), key, message }
    }
}

fn seconds(span: Duration) -> Time {
    Time::new::<second>(span.as_secs_f64())
}

#[cfg(test)]
mod tests {
    use super::super::{Problems, Settings, Sources};

    /// What is said of a recipe: its key within the recipe, and the words.
    fn advice(steel: &str, part: &str, steps: &[&str]) -> Vec<String> {
        let steps: Vec<String> = steps.iter().map(|step| format!("{{ step = {step} }}")).collect();
        let text = format!(
            "[shop]\nname = \"x\"\n[recipe.r]\nsteel = \"{steel}\"\nprotection = \"gas\"\n{part}\nsteps = [{}]\n",
            steps.join(", ")
        );
        let problems = Problems::default();
        let settings = Settings::read(&Sources { text: Some(text), ..Sources::default() }, &problems).expect("it can be read");
        let found = settings.recipes.iter().flat_map(|recipe| recipe.advice());
        found.map(|one| format!("{}: {}", one.key.trim_start_matches("recipe.r.steps"), one.message)).collect()
    }

    const PULL: &str = "\"pull\", window = \"3 s\"";
    const QUENCH: &str = "\"quench\", tank = \"oil\", under = \"2 min\"";
    const TEMPER: &str = "\"temper\", at = \"200 C\", hold = \"2 h\", within = \"2 h\"";
    const SOAK: &str = "\"soak\", at = \"800 C\", minimum = \"20 min\", maximum = \"30 min\"";
    const IRON: &str = "part = { form = \"plate\", size = \"3 mm\" }";

    #[test]
    fn the_example_follows_what_the_planner_proposes() {
        let text = include_str!("../../../deploy/example/shop.toml").to_owned();
        let problems = Problems::default();
        let settings = Settings::read(&Sources { text: Some(text), ..Sources::default() }, &problems).expect("it can be read");
        assert_eq!(settings.recipes.len(), 3);
        let advice: Vec<_> = settings.recipes.iter().flat_map(|recipe| recipe.advice()).collect();
        assert!(advice.is_empty(), "{advice:?}");
    }

    #[test]
    fn a_recipe_within_the_guidance_of_its_steel_is_left_alone() {
        assert_eq!(advice("O1", IRON, &[SOAK, PULL, QUENCH, TEMPER, TEMPER]), [""; 0]);
        assert_eq!(
            advice("Damascus", IRON, &["\"soak\", at = \"990 C\", minimum = \"1 min\", maximum = \"2 min\"", PULL, QUENCH]),
            [""; 0]
        );
        let stress_relief = "\"soak\", at = \"650 C\", minimum = \"5 min\", maximum = \"9 min\"";
        assert_eq!(advice("O1", IRON, &[stress_relief]), [""; 0], "nothing is hardened");
    }

    /// The table's O1, from memory and a public data sheet: 790 to 815 °C, 20 to 30 min, tempered at 175 to 260 °C. Its A2 of 12 mm: a
    /// sheet's 45 min an inch.
    #[test]
    fn what_leaves_the_guidance_is_told_with_its_value_and_the_usual_one() {
        let soak =
            |at: &str, least: &str, most: &str| format!("\"soak\", at = \"{at}\", minimum = \"{least}\", maximum = \"{most}\"");
        let of = |steel: &str, part: &str, soak: String| advice(steel, part, &[&soak, PULL, QUENCH, TEMPER, TEMPER]).join("\n");
        let said = of("O1", IRON, soak("850 C", "20 min", "30 min"));
        assert!(said.starts_with("[0].at: 850 °C is too hot: the austenitizing range of O1 is 790 °C to 815 °C"), "{said}");
        assert!(of("O1", IRON, soak("1000 C", "20 min", "30 min")).contains("far above"));
        let said = of("O1", IRON, soak("800 C", "12 min", "30 min"));
        assert!(said.starts_with("[0].minimum: is 12 min, less than the 20 min for O1 of 3 mm (ASM; guidances differ"), "{said}");
        let said = of("O1", IRON, soak("800 C", "20 min", "50 min"));
        assert!(said.starts_with("[0].maximum: is 50 min, more than the 30 min for O1 of 3 mm ("), "{said}");
        assert_eq!(of("O1", "", soak("800 C", "20 min", "50 min")), "", "no section is known");
        assert!(
            of("O1", "", soak("800 C", "8 min", "50 min")).starts_with("[0].minimum: is 8 min, less than the 20 min for O1 (")
        );
        let punch = "part = { form = \"bar\", size = \"12 mm\" }";
        assert!(of("A2", punch, soak("960 C", "20 min", "40 min")).contains("is 20 min, less than the 21.3 min for A2 of 12 mm"));
        let temper = "\"temper\", at = \"300 C\", hold = \"1 h\", within = \"2 h\"";
        let said = advice("O1", IRON, &[SOAK, PULL, QUENCH, temper]);
        let begins = [
            "[3].at: is 300 °C; the usual tempering range of O1 is 175 to 260 °C",
            "[3].hold: is 60 min, less than the 120 min",
            ": temper once",
        ];
        assert!(said.len() == 3 && said.iter().zip(begins).all(|(said, begin)| said.starts_with(begin)), "{said:?}");
        let said = advice("O1", IRON, &[SOAK, PULL, QUENCH]);
        assert!(said.len() == 1 && said[0].starts_with(": quench and do not temper"), "{said:?}");
    }
}
