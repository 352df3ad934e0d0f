//! "I have this steel in this section: what cycle?" A proposal with its reasons and cautions, open to editing.

use super::{Medium, Steel};
use crate::error::{Result, impossible, within};
use crate::heating::Section;
use crate::note::Note;
use crate::quench::{OilSpeed, Suits, suits};
use crate::si;
use crate::span::Span;
use crate::tempering::{Temper, USUAL_MIN, USUAL_TIMES};
use crate::units::{System, show_length_both, show_temperature, show_temperature_both, show_time};
use uom::si::f64::{ThermodynamicTemperature, Time};
use uom::si::length::millimeter;

/// What is wanted.
#[derive(Debug, Clone, PartialEq)]
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
    /// What the shop sets itself.
    pub own: Own,
}

/// Values of the shop's own, in place of those of the table; what is left out stays as the table has it.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Own {
    /// The heat to soak at, up to 100 K above the steel's range.
    pub heat: Option<ThermodynamicTemperature>,
    /// The least time at that heat.
    pub soak: Option<Time>,
    /// The preheat, below the heat.
    pub preheat: Option<ThermodynamicTemperature>,
    /// The tempers, one after another; they stand in place of the hardness wanted.
    pub tempers: Vec<Temper>,
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
#[derive(Debug, Clone, PartialEq)]
pub struct Tempering {
    /// The tempers, one after another; there is one at least.
    pub tempers: Vec<Temper>,
    /// The hardness to expect of the hottest, HRC; none beyond the steel's curve.
    pub hardness_hrc: Option<f64>,
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
    pub bath: Option<Span<ThermodynamicTemperature>>,
    /// Whether the table expects this section to harden through in that medium; no hardness is to be expected otherwise.
    pub through: bool,
    /// The hardness to expect as quenched, HRC.
    pub as_quenched_hrc: Span<f64>,
    /// Tempering.
    pub tempering: Tempering,
    /// Why, step by step.
    pub reasons: Vec<Note>,
    /// What goes wrong, and what can hurt people.
    pub cautions: Vec<Note>,
}

impl Tempering {
    /// The hottest temper: the one that the hardness follows.
    pub fn hottest(&self) -> ThermodynamicTemperature {
        hottest(&self.tempers)
    }
}

/// The hottest of some tempers; absolute zero of none.
pub(crate) fn hottest(tempers: &[Temper]) -> ThermodynamicTemperature {
    tempers.iter().map(|temper| temper.temperature).fold(si::from_kelvin(0.0), |most, t| if t > most { t } else { most })
}

/// The cycle that a steel in a section asks for, with the shop's own values in place of the table's; where those leave the steel's
/// range, a caution says so. Cautions on such values are written in `system`.
///
/// # Errors
/// A section outside 0.1 to 500 mm, a hardness that the steel's tempering curve does not pass, a heat far above the steel's range, a
/// preheat that is no preheat.
pub fn cycle(wish: &Wish, system: System) -> Result<Cycle> {
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
    let soak = soak(wish, &mut cautions, system)?;
    let preheat = preheat(wish, soak.temperature, &mut cautions, system)?;
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

/// The soak: the steel's, or the shop's own and what speaks against it.
fn soak(wish: &Wish, cautions: &mut Vec<Note>, system: System) -> Result<Hold> {
    let Wish { steel, own, .. } = wish;
    let temperature = own.heat.unwrap_or_else(|| steel.usual_heat());
    cautions.extend(steel.judged(temperature, system)?);
    let Span { least, most } = steel.soak_for(wish.section.size)?;
    let Some(time) = own.soak else { return Ok(Hold { temperature, least, most }) };
    within("the soak", time.value / 60.0, "min", 0.0, 1e4)?;
    let [said, low, high] = [time, least, most].map(show_time);
    if time < least {
        cautions.push(Note::caution(format!(
            "a soak of {said} is shorter than the {low} that the table asks for: what is not dissolved does not harden"
        )));
    } else if time > most {
        cautions.push(Note::caution(format!(
            "a soak of {said} is longer than the {high} that any guidance allows: grains grow, and the skin loses carbon"
        )));
    }
    Ok(Hold { temperature, least: time, most: if time > most { time } else { most } })
}

/// The preheat: the steel's, or the shop's own, which is to stay below where austenite forms unless the table itself goes there.
fn preheat(wish: &Wish, heat: ThermodynamicTemperature, cautions: &mut Vec<Note>, system: System) -> Result<Option<Hold>> {
    let Wish { steel, own, .. } = wish;
    let Some(temperature) = own.preheat.or(steel.preheat_c.map(si::from_celsius)) else { return Ok(None) };
    let shown = |t| show_temperature(t, system);
    if temperature >= heat {
        let why = format!("{} is not below the heat of {}", shown(temperature), shown(heat));
        return Err(impossible("the preheat", why));
    }
    let ac1_c = steel.composition.critical().map_or(EUTECTOID_C, |critical| si::celsius(critical.ac1));
    let highest = si::from_celsius(ac1_c.max(steel.preheat_c.unwrap_or(0.0)));
    if temperature > highest {
        cautions.push(Note::caution(format!(
            "a preheat of {} is too hot: above {} austenite forms already, and the soak has begun in part",
            shown(temperature),
            shown(highest)
        )));
    }
    // The longest wait for a core to even out there: common practice, no source.
    Ok(Some(Hold { temperature, least: si::seconds(0.0), most: si::seconds(1800.0) }))
}

/// The eutectoid of iron and carbon, where austenite forms first in plain steel: any textbook.
const EUTECTOID_C: f64 = 727.0;

/// The medium for the section, the window of a bath, and whether it is expected to harden through; with what speaks against it.
fn quench(
    wish: &Wish,
    reasons: &mut Vec<Note>,
    cautions: &mut Vec<Note>,
) -> Result<(Medium, Option<Span<ThermodynamicTemperature>>, bool)> {
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
        cautions.push(Note::caution(
            "a steel for water hardens as a shell over a softer core in such a section: the hardness told is the shell's (common practice, no source)",
        ));
        return Ok((Medium::Water, None, true));
    }
    let oil = wish.oil.unwrap_or(needs);
    let suits = suits(oil, needs, heaviest_mm, wish.section)?;
    let through = suits == Suits::Yes;
    if let Suits::No(notes) = suits {
        cautions.extend(notes);
    }
    Ok((Medium::Oil, Some(oil.window()), through))
}

fn temper(wish: &Wish, reasons: &mut Vec<Note>, cautions: &mut Vec<Note>) -> Result<Tempering> {
    let Wish { steel, own, .. } = wish;
    let usual_c = steel.temper_c.least.max(steel.tempering.first().map_or(0.0, |point| point.temper_c));
    let wanted = match wish.hardness_hrc.filter(|_| own.tempers.is_empty()) {
        None => si::from_celsius(usual_c),
        Some(hrc) => {
            let Span { least: low, most: high } = steel.tempered_hrc();
            within("the hardness wanted", hrc, "HRC", low, high)?;
            steel.temper_for(hrc).unwrap_or_else(|| si::from_celsius(usual_c))
        }
    };
    let (tempers, why) = if own.tempers.is_empty() {
        let each = Temper { temperature: wanted, time: si::seconds(60.0 * USUAL_MIN) };
        (vec![each; USUAL_TIMES], "two tempers of 2 h, cooled between (common practice, no source)")
    } else {
        (own.tempers.clone(), "tempers of the shop's own")
    };
    for (place, temper) in tempers.iter().enumerate() {
        let t_c = si::celsius(temper.temperature);
        let told = tempers.iter().take(place).any(|before| before.temperature == temper.temperature);
        if !told && !(steel.temper_c.least - 0.5..=steel.temper_c.most + 0.5).contains(&t_c) {
            let [at, low, high] =
                [t_c, steel.temper_c.least, steel.temper_c.most].map(|t_c| show_temperature_both(si::from_celsius(t_c)));
            cautions.push(Note::outside(format!(
                "{at} lies outside this steel's usual tempering range of {low} to {high}: it may be brittle there"
            )));
        }
    }
    let hottest = hottest(&tempers);
    reasons.push(Note::basis(format!("{why}; curve: {}", steel.tempering_source(hottest))));
    Ok(Tempering { tempers, hardness_hrc: steel.hardness_after(hottest).ok() })
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
            own: Own::default(),
        }
    }

    fn cycle(wish: &Wish) -> Result<Cycle> {
        super::cycle(wish, System::Metric)
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
        assert!((tempering.hardness_hrc.unwrap() - 60.0).abs() < 1e-9);
        let refused = |grade, hrc| cycle(&Wish { hardness_hrc: Some(hrc), ..wish(grade, "3 mm") }).unwrap_err().to_string();
        assert_eq!(refused("L6", 69.0), "the hardness wanted is 69 HRC; it must lie between 46 and 62 HRC");
        assert!(refused("5160", 45.0).contains("45 HRC; it must lie between 52.5 and 63 HRC"));
    }

    #[test]
    fn the_shop_s_own_values_are_taken_and_judged() {
        let with = |own| cycle(&Wish { own, ..wish("O1", "3 mm") });
        let said = |own, words: &str| with(own).unwrap().cautions.iter().any(|note| note.text.contains(words));
        let heat = |t_c| Own { heat: Some(si::from_celsius(t_c)), ..Own::default() };
        assert_eq!(with(heat(790.0)).unwrap().soak.temperature, si::from_celsius(790.0));
        // The table's O1 is soaked at 790 to 815 °C for 20 to 30 min, preheated to 650 °C and tempered at 175 to 260 °C.
        assert!(said(heat(850.0), "850 °C is too hot") && said(heat(700.0), "too cold") && !said(heat(815.0), "too"));
        assert!(with(heat(1000.0)).unwrap_err().to_string().contains("far above"));
        let soak = |minutes| Own { soak: Some(si::seconds(60.0 * minutes)), ..Own::default() };
        assert!(said(soak(12.0), "shorter than the 20 min") && said(soak(40.0), "longer than the 30 min"));
        assert!(!said(soak(25.0), "soak of"));
        assert_eq!(with(soak(40.0)).unwrap().soak.most, si::seconds(2400.0));
        let preheat = |t_c| Own { preheat: Some(si::from_celsius(t_c)), ..Own::default() };
        assert!(said(preheat(760.0), "a preheat of 760 °C is too hot") && !said(preheat(600.0), "preheat"));
        assert!(with(preheat(800.0)).unwrap_err().to_string().contains("not below the heat of 800 °C"));
        let tempers = Own {
            tempers: [205.0, 300.0].map(|t_c| Temper { temperature: si::from_celsius(t_c), time: si::seconds(3600.0) }).into(),
            ..Own::default()
        };
        assert!(said(tempers.clone(), "300 °C (572 °F) lies outside") && !said(tempers.clone(), "205 °C (401 °F) lies outside"));
        let tempering = with(tempers).unwrap().tempering;
        let alone = Steel::named("O1").unwrap().hardness_after(si::from_celsius(300.0)).unwrap();
        assert!(tempering.hardness_hrc == Some(alone) && tempering.hottest() == si::from_celsius(300.0));
    }
}
