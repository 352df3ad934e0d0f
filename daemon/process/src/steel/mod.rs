//! Steels: a table of common tool and spring steels, their hardening and tempering, and the cycle that a section asks for.
//!
//! Handbook minutes and data sheets' minutes per inch answer different questions and do not agree for thin parts: both
//! are kept, and a plan satisfies both. Everything here is a start to be edited: a test piece of your own bar decides.
//!
//! ```
//! use hearthward_process::heating::Section;
//! use hearthward_process::steel::{Medium, Own, Steel, Wish, cycle};
//! use hearthward_process::units::{self, System};
//!
//! let wish = Wish {
//!     steel: Steel::named("L6")?,
//!     section: Section::plate(units::length("3 mm")?)?,
//!     protected: true,
//!     hardness_hrc: Some(61.0),
//!     oil: None,
//!     room: units::temperature("20 C")?,
//!     own: Own::default(),
//! };
//! let proposed = cycle(&wish, System::Metric)?;
//! assert_eq!(proposed.medium, Medium::Oil);
//! assert!(!proposed.cautions.is_empty());
//! # Ok::<(), hearthward_process::ProcessError>(())
//! ```

pub mod critical;
mod cycle;
pub mod martensite;
mod table;

pub use critical::Composition;
pub(crate) use cycle::SOAK_BAND_K;
pub(crate) use cycle::hottest;
pub use cycle::{Cycle, Hold, Own, Tempering, Wish, cycle};
pub use table::STEELS;

use crate::error::{ProcessError, Result, impossible, within};
use crate::gas::SteelKind;
use crate::note::Note;
use crate::quench::OilSpeed;
use crate::si;
use crate::span::Span;
use crate::units::{System, show_temperature};
use uom::si::f64::{Length, ThermodynamicTemperature, Time};

/// One steel of the table.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Steel {
    /// The name that it is sold by.
    pub grade: &'static str,
    /// How it stands towards nitrogen at high heat.
    pub kind: SteelKind,
    /// The middle of its composition.
    pub composition: Composition,
    /// Its elements with their ranges.
    pub elements: &'static [Element],
    /// Where the ranges come from.
    pub elements_source: &'static str,
    /// Preheat, °C.
    pub preheat_c: Option<f64>,
    /// Austenitizing range, °C.
    pub austenitize_c: Span<f64>,
    /// Soak guidance.
    pub soak: Soak,
    /// The quench, in words.
    pub quench: &'static str,
    /// The medium that comes first.
    pub medium: Medium,
    /// The slowest oil that hardens it, and the heaviest section in that oil, mm.
    pub oil: Option<(OilSpeed, f64)>,
    /// The heaviest section that hardens in air, mm.
    pub heaviest_air_mm: Option<f64>,
    /// Hardness as quenched, HRC.
    pub as_quenched_hrc: Span<f64>,
    /// Usual tempering range, °C.
    pub temper_c: Span<f64>,
    /// Hardness after tempering, by rising temperature.
    pub tempering: &'static [Point],
    /// On what the tempering curve was measured.
    pub tempering_note: &'static str,
    /// Where temperatures, soak and hardness come from.
    pub source: &'static str,
}

/// One element of a steel.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Element {
    /// Its symbol.
    pub symbol: &'static str,
    /// Its range, per cent; none where only a typical value is known.
    pub range: Option<Span<f64>>,
    /// The middle or typical value, per cent.
    pub middle: f64,
}

/// Soak guidance of both kinds.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Soak {
    /// Handbook minutes at temperature for small sections.
    pub handbook_min: Span<f64>,
    /// What kind of handbook.
    pub handbook_kind: &'static str,
    /// A data sheet's minutes per inch of section.
    pub sheet_min_per_inch: Option<Span<f64>>,
    /// The least minutes that the sheet allows for any section.
    pub sheet_floor_min: Option<f64>,
    /// Minutes more for each inch of section above the first, where the handbook minutes are said to be for one inch.
    pub more_min_per_inch: f64,
    /// How the two agree.
    pub note: &'static str,
}

/// One point of a tempering curve.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Point {
    /// Tempering temperature, °C.
    pub temper_c: f64,
    /// Hardness, HRC.
    pub hrc: f64,
    /// Where it comes from.
    pub source: &'static str,
}

/// What a part is quenched in.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Medium {
    /// Still air.
    Air,
    /// Between cold plates.
    Plates,
    /// Oil of a fitting speed.
    Oil,
    /// Water or brine.
    Water,
}

impl Soak {
    /// Which guidance the soak rests on, and how the two agree.
    pub fn basis(&self) -> String {
        format!("{}; {}", self.handbook_kind, self.note)
    }
}

impl Steel {
    /// Finds a steel by its name, in any case, with or without `AISI` before it, with or without hyphens.
    ///
    /// # Errors
    /// A name that the table does not have, with those that it has.
    pub fn named(name: &str) -> Result<&'static Self> {
        let plain = name.to_uppercase().replace(['-', ' '], "");
        let plain = plain.trim_start_matches("AISI").trim_start_matches("SAE");
        STEELS.iter().find(|steel| steel.grade == plain).ok_or_else(|| ProcessError::UnknownSteel {
            name: name.trim().to_owned(),
            known: STEELS.iter().map(|steel| steel.grade).collect::<Vec<_>>().join(", "),
        })
    }

    /// The heat to soak at: the middle of its range, rounded down to the 5 °C that a controller's dial is set by.
    pub fn usual_heat(&self) -> ThermodynamicTemperature {
        si::from_celsius(libm::floor((self.austenitize_c.least + self.austenitize_c.most) / 10.0) * 5.0)
    }

    /// What a heat does to this steel; `None` within its austenitizing range.
    ///
    /// # Errors
    /// A heat more than 100 K above the range: grains grow coarse, and the melting range of some is near. Common practice, no
    /// source.
    pub fn judged(&self, heat: ThermodynamicTemperature, system: System) -> Result<Option<Note>> {
        let Span { least: low, most: high } = self.austenitize_c;
        let t_c = si::celsius(heat);
        let shown = |t_c: f64| show_temperature(si::from_celsius(t_c), system);
        let range = format!("the austenitizing range of {} is {} to {}", self.grade, shown(low), shown(high));
        let most = high + OVERHEAT_K;
        if t_c.is_nan() || t_c > most {
            let what = "the heat of the steel";
            let why = format!("{} is far above: {range}; at most {} is worked out", shown(t_c), shown(most));
            return Err(impossible(what, why));
        }
        Ok(if t_c < low - ROUNDED_K {
            Some(Note::caution(format!("{} is too cold: {range}; what is not austenitized does not harden", shown(t_c))))
        } else if t_c > high + ROUNDED_K {
            Some(Note::caution(format!("{} is too hot: {range}; grains grow coarse, and the part is brittle", shown(t_c))))
        } else {
            None
        })
    }

    /// The least and the greatest hardness of the tempering curve, HRC.
    pub fn tempered_hrc(&self) -> Span<f64> {
        let each = || self.tempering.iter().map(|point| point.hrc);
        Span { least: each().fold(f64::INFINITY, f64::min), most: each().fold(0.0, f64::max) }
    }

    /// Hardness after tempering at a temperature, straight between the points of the curve.
    ///
    /// # Errors
    /// A temperature outside the curve, which is never extrapolated.
    pub fn hardness_after(&self, temper: ThermodynamicTemperature) -> Result<f64> {
        let ends = (self.tempering.first().map_or(0.0, |p| p.temper_c), self.tempering.last().map_or(0.0, |p| p.temper_c));
        let t_c = si::celsius(temper);
        // Points come from tables in °F: half a degree of rounding is not outside.
        let t_c = if t_c < ends.0 && t_c > ends.0 - ROUNDED_K / 2.0 { ends.0 } else { t_c };
        let t_c = if t_c > ends.1 && t_c < ends.1 + ROUNDED_K / 2.0 { ends.1 } else { t_c };
        within("the tempering temperature", t_c, "°C", ends.0, ends.1)?;
        let points: Vec<(f64, f64)> = self.tempering.iter().map(|point| (point.temper_c, point.hrc)).collect();
        Ok(crate::numeric::between(&points, t_c).unwrap_or(f64::NAN))
    }

    /// Where the point of the tempering curve next to a temperature comes from.
    pub fn tempering_source(&self, temper: ThermodynamicTemperature) -> &'static str {
        let off_k = |point: &Point| libm::fabs(point.temper_c - si::celsius(temper));
        let nearest = self.tempering.iter().min_by(|a, b| off_k(a).total_cmp(&off_k(b)));
        nearest.map_or("no curve", |point| point.source)
    }

    /// What a hardness of the tempering curve rests on, next to a temperature.
    pub fn tempering_basis(&self, temper: ThermodynamicTemperature) -> String {
        let source = self.tempering_source(temper);
        if self.tempering_note.is_empty() { source.to_owned() } else { format!("{source}; {}", self.tempering_note) }
    }

    /// The tempering temperature of the curve that gives a hardness: the lowest within the steel's usual range, or else the lowest at
    /// all; `None` if the curve does not pass it.
    pub fn temper_for(&self, hrc: f64) -> Option<ThermodynamicTemperature> {
        let crossings = || {
            self.tempering.windows(2).filter_map(|pair| {
                let (from, to) = (pair.first()?, pair.last()?);
                let inside = (from.hrc - hrc) * (to.hrc - hrc) <= 0.0 && from.hrc != to.hrc;
                inside.then(|| from.temper_c + (to.temper_c - from.temper_c) * (hrc - from.hrc) / (to.hrc - from.hrc))
            })
        };
        let usual = |t_c: &f64| (self.temper_c.least - ROUNDED_K / 2.0..=self.temper_c.most + ROUNDED_K / 2.0).contains(t_c);
        crossings().find(usual).or_else(|| crossings().next()).map(si::from_celsius)
    }

    /// The soak that a section asks for: the shortest that satisfies handbook and sheet, and the longest either allows.
    ///
    /// # Errors
    /// A section outside 0.1 to 500 mm.
    pub fn soak_for(&self, section: Length) -> Result<Span<Time>> {
        let inches = within("the section", section.value * 1e3, "mm", 0.1, 500.0)? / 25.4;
        let handbook = self.soak.handbook_min;
        let floor = self.soak.sheet_floor_min.unwrap_or(0.0);
        let of_sheet = |per_inch: f64| (per_inch * inches).max(floor);
        let sheet = self.soak.sheet_min_per_inch.unwrap_or(Span { least: 0.0, most: 0.0 });
        let more = self.soak.more_min_per_inch * (inches - 1.0).max(0.0);
        let least = (handbook.least + more).max(of_sheet(sheet.least));
        let most = (handbook.most + more).max(of_sheet(sheet.most)).max(least);
        Ok(Span { least: si::seconds(least * 60.0), most: si::seconds(most * 60.0) })
    }
}

/// How far above its range a steel's heat is still worked out.
const OVERHEAT_K: f64 = 100.0;
/// Heats are typed in whole degrees of either scale.
const ROUNDED_K: f64 = 1.0;

#[cfg(test)]
mod tests {
    use super::*;
    use crate::units;

    #[test]
    fn names_are_read_with_and_without_their_society() {
        assert_eq!(Steel::named("aisi o1").unwrap().grade, "O1");
        assert_eq!(Steel::named(" 1095 ").unwrap().grade, "1095");
        assert_eq!(Steel::named("L-6").unwrap().grade, "L6");
        assert!(Steel::named("X99").unwrap_err().to_string().contains("O1, A2"));
    }

    #[test]
    fn hardness_and_temper_are_each_others_inverse_where_the_curve_falls() {
        let steel = Steel::named("L6").unwrap();
        let t = steel.temper_for(58.5).unwrap();
        assert!((steel.hardness_after(t).unwrap() - 58.5).abs() < 1e-9);
        assert!(steel.temper_for(70.0).is_none());
        // The curve of M2 rises to its secondary hardness and falls again: it passes 64 HRC at 510 °C, below the usual range, and after.
        let m2 = Steel::named("M2").unwrap();
        let t = m2.temper_for(64.0).unwrap();
        assert!((si::celsius(t) - 572.0).abs() < 1.0 && (m2.hardness_after(t).unwrap() - 64.0).abs() < 1e-9, "{t:?}");
        assert!(steel.hardness_after(units::temperature("700 C").unwrap()).is_err());
    }

    #[test]
    fn a_heat_is_judged_against_the_steel() {
        let judged = |grade: &str, heat_c| Steel::named(grade).unwrap().judged(si::from_celsius(heat_c), System::Metric);
        assert_eq!(judged("O1", 800.0).unwrap(), None);
        assert!(
            judged("O1", 900.0)
                .unwrap()
                .unwrap()
                .text
                .contains("900 °C is too hot: the austenitizing range of O1 is 790 °C to 815 °C")
        );
        assert!(judged("D2", 800.0).unwrap().unwrap().text.contains("does not harden"));
        let refused = judged("O1", 1100.0).unwrap_err().to_string();
        assert!(refused.contains("1100 °C") && refused.contains("790 °C to 815 °C"), "{refused}");
        assert!(judged("O1", f64::NAN).is_err());
    }

    #[test]
    fn a_soak_satisfies_handbook_and_sheet() {
        let minutes = |grade: &str, size: &str| {
            let soak = Steel::named(grade).unwrap().soak_for(units::length(size).unwrap()).unwrap();
            (soak.least.value / 60.0, soak.most.value / 60.0)
        };
        assert_eq!(minutes("O1", "3 mm"), (20.0, 30.0));
        assert_eq!(minutes("S7", "3 mm"), (45.0, 45.0));
        assert_eq!(minutes("D2", "2 in"), (120.0, 120.0));
        assert_eq!(minutes("52100", "2 in"), (45.0, 70.0));
    }
}
