//! "I have this steel in this section: what cycle?" A proposal with its reasons and cautions, open to editing.

use super::{Medium, Steel};
use crate::error::{Result, within};
use crate::heating::Section;
use crate::note::Note;
use crate::quench::{OilSpeed, Suits, suits};
use crate::si;
use crate::units::{show_length_both, show_temperature_both};
use uom::si::f64::{ThermodynamicTemperature, Time};
use uom::si::length::millimeter;

/// What is wanted.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Wish {
    /// The steel.
    pub steel: &'static Steel,
    /// The heaviest section that must harden.
    pub section: Section,
    /// Whether gas, foil or coating keeps it bright.
    pub protected: bool,
    /// The hardness wanted after tempering, HRC.
    pub hardness_hrc: Option<f64>,
    /// The speed of the oil that the shop has.
    pub oil: Option<OilSpeed>,
    /// The room, from which the load starts.
    pub room: ThermodynamicTemperature,
}

/// A temperature held for a time.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Hold {
    /// The temperature.
    pub temperature: ThermodynamicTemperature,
    /// The least time at temperature, counted from the core being there.
    pub least: Time,
    /// The most.
    pub most: Time,
}

/// Tempering.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Tempering {
    /// The temperature.
    pub temperature: ThermodynamicTemperature,
    /// The time of each temper at temperature.
    pub time: Time,
    /// How many.
    pub times: u32,
    /// The hardness to expect, HRC.
    pub hardness_hrc: f64,
}

/// A proposed cycle; every value may be changed before it becomes a recipe.
#[derive(Debug, Clone, PartialEq)]
pub struct Cycle {
    /// Preheat, where the steel asks for one.
    pub preheat: Option<Hold>,
    /// The soak at austenitizing temperature.
    pub soak: Hold,
    /// What to quench in.
    pub medium: Medium,
    /// The window of the bath, for oil.
    pub bath: Option<(ThermodynamicTemperature, ThermodynamicTemperature)>,
    /// Whether the table expects this section to harden through in that medium; no hardness is to be expected otherwise.
    pub through: bool,
    /// The hardness to expect as quenched, HRC.
    pub as_quenched_hrc: (f64, f64),
    /// Tempering.
    pub tempering: Tempering,
    /// Why, step by step.
    pub reasons: Vec<Note>,
    /// What goes wrong, and what can hurt people.
    pub cautions: Vec<Note>,
}

/// The cycle that a steel in a section asks for.
///
/// # Errors
/// A section outside 0.1 to 500 mm, a hardness that the steel's tempering curve does not pass.
pub fn cycle(wish: &Wish) -> Result<Cycle> {
    let steel = wish.steel;
    wish.section.checked()?;
    let mut reasons = vec![
        Note::basis(format!("{}: {}", steel.grade, steel.source)),
        Note::basis(format!("soak counts from the core within 5 K of the furnace; {}", steel.soak.note)),
    ];
    let mut cautions = Vec::new();
    if wish.protected {
        reasons.push(Note::basis(
            "bright steel under gas takes up less than half the radiation of scaled steel and heats more slowly",
        ));
    } else {
        cautions.push(Note::caution(
            "without gas, foil or coating the skin scales and loses carbon: leave stock to grind, or protect it",
        ));
    }
    let most = si::seconds(1800.0);
    let preheat = steel.preheat_c.map(|t_c| Hold { temperature: si::from_celsius(t_c), least: si::seconds(0.0), most });
    let (least, most) = steel.soak_for(wish.section.size)?;
    let soak = Hold { temperature: steel.usual_heat(), least, most };
    let (medium, bath, through) = quench(wish, &mut reasons, &mut cautions)?;
    let tempering = temper(wish, &mut reasons, &mut cautions)?;
    cautions.push(Note::caution(
        "temper as soon as the part can be held in the hand (50 to 65 °C, 120 to 150 °F): hard steel left cold cracks",
    ));
    if medium == Medium::Oil {
        // First of all: what hurts people at once.
        cautions.insert(
            0,
            Note::caution("hot oil burns and catches fire: the whole part under, a lid and an extinguisher for oil at hand"),
        );
    }
    Ok(Cycle { preheat, soak, medium, bath, through, as_quenched_hrc: steel.as_quenched_hrc, tempering, reasons, cautions })
}

/// The least and the greatest temperature of a bath.
type Window = (ThermodynamicTemperature, ThermodynamicTemperature);

/// The medium for the section, the window of a bath, and whether it is expected to harden through; with what speaks against it.
fn quench(wish: &Wish, reasons: &mut Vec<Note>, cautions: &mut Vec<Note>) -> Result<(Medium, Option<Window>, bool)> {
    let (steel, size_mm) = (wish.steel, wish.section.size.get::<millimeter>());
    reasons.push(Note::basis(format!("quench: {}", steel.quench)));
    if let Some(heaviest_mm) = steel.heaviest_air_mm {
        if size_mm <= heaviest_mm {
            return Ok((if steel.medium == Medium::Plates { Medium::Plates } else { Medium::Air }, None, true));
        }
        cautions.push(Note::caution(format!(
            "{} is heavier than the {} that hardens in air (common practice, no source)",
            show_length_both(wish.section.size),
            show_length_both(si::metres(heaviest_mm * 1e-3))
        )));
    }
    let Some((needs, heaviest_mm)) = steel.oil else {
        return Ok((steel.medium, None, false));
    };
    // Water steels go into oil only where the section is thin enough for it; water cracks thin parts.
    if steel.medium == Medium::Water && size_mm > heaviest_mm {
        cautions.push(Note::caution(
            "water and brine crack parts with sharp corners or holes; thinner sections of this steel go into fast oil",
        ));
        return Ok((Medium::Water, None, true));
    }
    let oil = wish.oil.unwrap_or(needs);
    let suits = suits(oil, needs, heaviest_mm, wish.section)?;
    let through = suits == Suits::Yes;
    if let Suits::No(notes) = suits {
        cautions.extend(notes);
    }
    let (low_c, high_c) = oil.window_c();
    Ok((Medium::Oil, Some((si::from_celsius(low_c), si::from_celsius(high_c))), through))
}

fn temper(wish: &Wish, reasons: &mut Vec<Note>, cautions: &mut Vec<Note>) -> Result<Tempering> {
    let steel = wish.steel;
    let usual_c = steel.temper_c.0.max(steel.tempering.first().map_or(0.0, |point| point.temper_c));
    let temperature = match wish.hardness_hrc {
        None => si::from_celsius(usual_c),
        Some(hrc) => {
            let (low, high) = steel.tempered_hrc();
            within("the hardness wanted", hrc, "HRC", low, high)?;
            steel.temper_for(hrc).unwrap_or_else(|| si::from_celsius(usual_c))
        }
    };
    let t_c = si::celsius(temperature);
    if !(steel.temper_c.0 - 0.5..=steel.temper_c.1 + 0.5).contains(&t_c) {
        let [at, low, high] = [t_c, steel.temper_c.0, steel.temper_c.1].map(|t_c| show_temperature_both(si::from_celsius(t_c)));
        cautions.push(Note::outside(format!(
            "{at} lies outside this steel's usual tempering range of {low} to {high}: it may be brittle there"
        )));
    }
    reasons.push(Note::basis(format!(
        "two tempers of 2 h, cooled between (common practice, no source); curve: {}",
        steel.tempering_source(temperature)
    )));
    Ok(Tempering { temperature, time: si::seconds(7200.0), times: 2, hardness_hrc: steel.hardness_after(temperature)? })
}

/// The core counts as at heat within this of the furnace, in K.
pub(crate) const SOAK_BAND_K: f64 = 5.0;

#[cfg(test)]
mod tests {
    use super::*;
    use crate::units;

    fn wish(grade: &str, size: &str) -> Wish {
        let section = Section::plate(units::length(size).unwrap()).unwrap();
        Wish {
            steel: Steel::named(grade).unwrap(),
            section,
            protected: true,
            hardness_hrc: None,
            oil: None,
            room: si::from_celsius(20.0),
        }
    }

    #[test]
    fn every_steel_has_a_cycle() {
        for steel in &super::super::STEELS {
            let cycle = cycle(&wish(steel.grade, "3 mm")).unwrap();
            assert!(cycle.soak.least <= cycle.soak.most, "{}", steel.grade);
            assert!(!cycle.reasons.is_empty() && !cycle.cautions.is_empty());
        }
    }

    #[test]
    fn the_section_picks_the_medium() {
        assert_eq!(cycle(&wish("1095", "1.5 mm")).unwrap().medium, Medium::Oil);
        assert_eq!(cycle(&wish("1095", "10 mm")).unwrap().medium, Medium::Water);
        assert_eq!(cycle(&wish("A2", "6 mm")).unwrap().medium, Medium::Plates);
        assert_eq!(cycle(&wish("S7", "80 mm")).unwrap().medium, Medium::Oil);
    }

    #[test]
    fn a_section_too_heavy_for_the_oil_is_said() {
        let slow = Wish { oil: Some(OilSpeed::Medium), ..wish("1084", "5 mm") };
        assert!(cycle(&slow).unwrap().cautions.iter().any(|note| note.text.contains("heavier")));
        assert!(!cycle(&wish("1084", "5 mm")).unwrap().cautions.iter().any(|note| note.text.contains("heavier")));
    }

    #[test]
    fn wanted_hardness_sets_the_temper() {
        let hard = Wish { hardness_hrc: Some(60.0), ..wish("L6", "3 mm") };
        let tempering = cycle(&hard).unwrap().tempering;
        assert!((tempering.hardness_hrc - 60.0).abs() < 1e-9);
        let refused = |grade, hrc| cycle(&Wish { hardness_hrc: Some(hrc), ..wish(grade, "3 mm") }).unwrap_err().to_string();
        assert_eq!(refused("L6", 69.0), "the hardness wanted is 69 HRC; it must lie between 46 and 62 HRC");
        assert!(refused("5160", 45.0).contains("45 HRC; it must lie between 52.5 and 63 HRC"));
    }
}
