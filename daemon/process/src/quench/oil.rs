//! Quenchants: working windows, the classes of oil speed, and which section suits which.
//!
//! Almost all of this is handbook matter from memory or the trade's own practice; each value says which.

use crate::error::Result;
use crate::heating::Section;
use crate::note::Note;
use crate::si;
use crate::span::Span;
use crate::units::show_length_both;
use uom::si::f64::ThermodynamicTemperature;
use uom::si::length::millimeter;

/// One published or customary limit.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Window {
    /// What it limits.
    pub item: &'static str,
    /// The value, in `unit`.
    pub value: f64,
    /// Its unit.
    pub unit: WindowUnit,
    /// Where it comes from.
    pub source: &'static str,
}

/// The unit of a window's value.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum WindowUnit {
    /// A temperature in degrees Celsius.
    Celsius,
    /// A difference in kelvin.
    Kelvin,
    /// A volume in litres.
    Litre,
    /// Per cent by mass.
    Percent,
}

const ASM: &str = "ASM Handbook vol. 4, from memory";
const PRACTICE: &str = "common practice, from memory";
const CODE: &str = "Washington Administrative Code 296-835-13005, read";

/// Working windows of baths and the margins to keep.
pub static WINDOWS: [Window; 15] = [
    celsius("conventional (cold) oil, low working limit", 40.0, ASM),
    celsius("conventional (cold) oil, high working limit", 70.0, ASM),
    celsius("fast or accelerated oil, low working limit", 50.0, PRACTICE),
    celsius("fast or accelerated oil, high working limit", 80.0, PRACTICE),
    celsius("martempering (hot) oil, low working limit", 95.0, ASM),
    celsius("martempering (hot) oil, high working limit", 205.0, ASM),
    kelvin("open bath margin below flash point (difference, K)", 50.0, PRACTICE),
    kelvin("bath under inert cover margin below flash point (difference, K)", 35.0, PRACTICE),
    kelvin("alarm and limit-switch margin below flash point (difference, K)", 27.8, CODE),
    celsius("water bath, low working limit", 15.0, ASM),
    celsius("water bath, high working limit", 25.0, ASM),
    celsius("brine (5-10 % NaCl), high working limit", 40.0, PRACTICE),
    celsius("tool steel O1 typical oil temperature", 50.0, "public data sheets: warm oil; temper when at 50-65 °C"),
    Window {
        item: "automatic extinguishing needed from tank volume (litre)",
        value: 1893.0,
        unit: WindowUnit::Litre,
        source: CODE,
    },
    Window { item: "bath water content limit (percent by mass)", value: 0.1, unit: WindowUnit::Percent, source: PRACTICE },
];

/// The class of an oil's speed, by the seconds of the nickel-ball test (ASTM D3520, withdrawn; classes from memory).
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum OilSpeed {
    /// About 8 to 11 s: shallow-hardening steels.
    Fast,
    /// About 11 to 14 s: oil-hardening steels in small to middling sections.
    Medium,
    /// About 14 to 20 s and over: deep-hardening alloy steels.
    Slow,
}

/// Whether a section suits an oil.
#[derive(Debug, Clone, PartialEq)]
pub enum Suits {
    /// It does.
    Yes,
    /// It does not, or nobody can say; the notes tell why and what would.
    No(Vec<Note>),
}

impl OilSpeed {
    /// The class in a word, and its seconds.
    pub const fn words(self) -> (&'static str, &'static str) {
        match self {
            Self::Fast => ("fast", "about 8 to 11 s"),
            Self::Medium => ("medium", "about 11 to 14 s"),
            Self::Slow => ("slow", "about 14 to 20 s and over"),
        }
    }

    /// The usual working window of the class: conventional 40 to 70 °C, fast 50 to 80 ([`WINDOWS`]).
    pub fn window(self) -> Span<ThermodynamicTemperature> {
        let (least_c, most_c) = match self {
            Self::Fast => (50.0, 80.0),
            Self::Medium | Self::Slow => (40.0, 70.0),
        };
        Span { least: si::from_celsius(least_c), most: si::from_celsius(most_c) }
    }
}

/// Whether a section of steel with a given need suits an oil; `heaviest_mm` is the heaviest section of the steel's table.
///
/// `needs` is the slowest class that still hardens the steel in that section; slower oil needs a thinner section. The
/// rule halves the section for each class too slow: common practice in size only, no source. Only a test piece proves it.
///
/// # Errors
/// A section outside 0.1 to 500 mm.
pub fn suits(oil: OilSpeed, needs: OilSpeed, heaviest_mm: f64, section: Section) -> Result<Suits> {
    let size_mm = section.checked()?.size.get::<millimeter>();
    let classes_too_slow = match (oil, needs) {
        (OilSpeed::Medium, OilSpeed::Fast) | (OilSpeed::Slow, OilSpeed::Medium) => 1.0,
        (OilSpeed::Slow, OilSpeed::Fast) => 2.0,
        _ => 0.0,
    };
    let allowed_mm = heaviest_mm / (1.0 + classes_too_slow);
    if size_mm <= allowed_mm {
        return Ok(Suits::Yes);
    }
    let shown = |mm: f64| show_length_both(si::metres(mm * 1e-3));
    Ok(Suits::No(vec![Note::caution(format!(
        "{} is heavier than the {} that this steel is expected to harden through in this oil: take a faster quenchant, a deeper-hardening steel, or prove it on a test piece (common practice, no source)",
        shown(size_mm),
        shown(allowed_mm)
    ))]))
}

const fn celsius(item: &'static str, value: f64, source: &'static str) -> Window {
    Window { item, value, unit: WindowUnit::Celsius, source }
}

const fn kelvin(item: &'static str, value: f64, source: &'static str) -> Window {
    Window { item, value, unit: WindowUnit::Kelvin, source }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::units;

    #[test]
    fn a_slow_oil_takes_thinner_sections() {
        let plate = |text| Section::plate(units::length(text).unwrap()).unwrap();
        assert_eq!(suits(OilSpeed::Fast, OilSpeed::Fast, 5.0, plate("4 mm")).unwrap(), Suits::Yes);
        assert!(matches!(suits(OilSpeed::Medium, OilSpeed::Fast, 5.0, plate("4 mm")).unwrap(), Suits::No(_)));
        assert_eq!(suits(OilSpeed::Medium, OilSpeed::Fast, 5.0, plate("2 mm")).unwrap(), Suits::Yes);
    }
}
