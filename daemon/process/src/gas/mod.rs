//! The gases of the shop: their names, which of them protect steel, and which are refused.
//!
//! Argon, nitrogen and helium protect. Carbon dioxide, welding mixtures and air scale and decarburise hot steel and are
//! refused as protective gas. Anything flammable is refused outright, by name, whatever its share.
//!
//! Inert gas displaces the air that people breathe, without smell or warning: see [`crate::room`].
//!
//! ```
//! use hearthward_process::gas::{Gas, Mixture, SteelKind, protection};
//! use hearthward_process::units;
//!
//! let heat = units::temperature("800 C")?;
//! assert!(protection(&Gas::Argon.into(), SteelKind::Plain, heat).is_ok());
//! let welding = Mixture::named("argon + 18 % CO2")?;
//! assert!(protection(&welding, SteelKind::Plain, heat).unwrap_err().to_string().contains("does not protect steel"));
//! # Ok::<(), hearthward_process::ProcessError>(())
//! ```

mod mixture;
mod properties;

pub use mixture::Mixture;

use crate::error::{ProcessError, Result};
use crate::note::Note;
use crate::si;
use serde::{Deserialize, Serialize};
use uom::si::f64::ThermodynamicTemperature;

/// A gas that this crate has properties for.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
pub enum Gas {
    /// Argon: protects every steel; heavier than air, so it fills a chamber, a pit and a low room from the floor.
    Argon,
    /// Nitrogen: protects carbon and low-alloy steels; a caution for stainless and high-alloy steels at high heat.
    Nitrogen,
    /// Helium: protects; light, so it escapes through the top, and it conducts heat well.
    Helium,
    /// Carbon dioxide: oxidises and decarburises hot steel.
    CarbonDioxide,
    /// Oxygen.
    Oxygen,
    /// Dry air, 20.95 % oxygen.
    Air,
}

/// How a steel stands towards nitrogen at high heat.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum SteelKind {
    /// Carbon and low-alloy steels: they take up next to no nitrogen in the time of a soak.
    Plain,
    /// Stainless steels, and tool steels with several per cent of chromium, vanadium or molybdenum.
    HighAlloy,
}

/// All gases, in the order in which mixtures keep their fractions.
pub const ALL: [Gas; 6] = [Gas::Argon, Gas::Nitrogen, Gas::Helium, Gas::CarbonDioxide, Gas::Oxygen, Gas::Air];

impl Gas {
    /// Reads the name of a pure gas: English name or formula, in any case.
    ///
    /// # Errors
    /// Flammable gases are refused as such; any other name is refused with the names that are known.
    pub fn named(name: &str) -> Result<Self> {
        let plain = plain(name);
        if FLAMMABLE.iter().any(|&(word, whole)| if whole { plain == word } else { plain.contains(word) }) {
            return Err(ProcessError::FlammableGas { name: name.trim().to_owned() });
        }
        ALL.into_iter()
            .find(|gas| plain == gas.name() || plain == gas.formula().to_ascii_lowercase())
            .ok_or_else(|| ProcessError::UnknownGas { name: name.trim().to_owned(), known: known() })
    }

    /// The English name, in small letters.
    pub const fn name(self) -> &'static str {
        match self {
            Self::Argon => "argon",
            Self::Nitrogen => "nitrogen",
            Self::Helium => "helium",
            Self::CarbonDioxide => "carbon dioxide",
            Self::Oxygen => "oxygen",
            Self::Air => "air",
        }
    }

    /// The formula; `air` for air.
    pub const fn formula(self) -> &'static str {
        match self {
            Self::Argon => "Ar",
            Self::Nitrogen => "N2",
            Self::Helium => "He",
            Self::CarbonDioxide => "CO2",
            Self::Oxygen => "O2",
            Self::Air => "air",
        }
    }

    /// Whether the gas keeps hot steel from scaling and losing carbon.
    pub const fn protects_steel(self) -> bool {
        matches!(self, Self::Argon | Self::Nitrogen | Self::Helium)
    }

    /// The mole fraction of oxygen that the pure gas holds: 1 for oxygen, 0.2095 for air, 0 otherwise.
    pub const fn oxygen_content(self) -> f64 {
        match self {
            Self::Oxygen => 1.0,
            Self::Air => crate::constants::AIR_OXYGEN,
            _ => 0.0,
        }
    }
}

/// What is to be said about a protective gas over a steel at its heat.
///
/// Returns the cautions (none for argon, beyond ventilation). Impurities are not looked at here: a cylinder's 5 ppm of
/// oxygen is a number for [`crate::purge`].
///
/// # Errors
/// [`ProcessError::NotProtective`] for carbon dioxide, welding mixtures, oxygen and air.
pub fn protection(gas: &Mixture, steel: SteelKind, heat: ThermodynamicTemperature) -> Result<Vec<Note>> {
    if let Some(why) = gas.harm() {
        return Err(ProcessError::NotProtective { name: gas.to_string(), why });
    }
    let mut notes = vec![breathing()];
    if gas.share(Gas::Nitrogen) > 0.05 && steel == SteelKind::HighAlloy && si::celsius(heat) > NITROGEN_CAUTION_C {
        notes.push(Note::caution(format!(
            "nitrogen above {NITROGEN_CAUTION_C} °C is taken up by stainless and high-alloy steels at the skin; argon is the safer gas (common practice, no source)"
        )));
    }
    if gas.share(Gas::Helium) > 0.5 {
        notes.push(Note::caution(
            "helium is far lighter than air: it leaves through the top of a chamber, so gaps at the top cost most",
        ));
    }
    Ok(notes)
}

/// The caution that goes with every flow of protective gas.
pub fn breathing() -> Note {
    Note::caution(
        "inert gas displaces the air that people breathe, without smell or warning: ventilate, monitor room oxygen, never lean in",
    )
}

/// Heat from which nitrogen carries its caution for high-alloy steels. Common practice, no source.
const NITROGEN_CAUTION_C: f64 = 950.0;

/// Words for gases that burn or explode; the flag says that the whole name must be the word, since it hides in others.
const FLAMMABLE: &[(&str, bool)] = &[
    ("hydrogen", false),
    ("h2", true),
    ("methane", false),
    ("ch4", true),
    ("natural gas", false),
    ("propane", false),
    ("lpg", false),
    ("butane", false),
    ("acetylene", false),
    ("ethylene", false),
    ("ammonia", false),
    ("nh3", true),
    ("carbon monoxide", false),
    ("co", true),
    ("forming gas", false),
    ("endothermic", false),
    ("town gas", false),
    ("methanol", false),
    ("alcohol", false),
];

/// Whether a name that could not be read is one that welding mixtures go by: in words, by their shares (`75/25`), by the
/// letter C and the share of carbon dioxide, or as a group M of ISO 14175 (from memory).
fn is_for_welding(name: &str) -> bool {
    let plain = plain(name);
    let words = ["weld", "mig", "mag", "shielding", "co2", "carbon dioxide"];
    let numbered =
        |front: char| plain.strip_prefix(front).is_some_and(|rest| !rest.is_empty() && rest.chars().all(|c| c.is_ascii_digit()));
    let shares = |text: &str| !text.trim().is_empty() && text.trim().chars().all(|c| c.is_ascii_digit());
    words.iter().any(|word| plain.contains(word))
        || numbered('c')
        || numbered('m')
        || plain.split_once('/').is_some_and(|(one, other)| shares(one) && shares(other))
}

fn known() -> String {
    ALL.map(Gas::name).join(", ")
}

/// Lower case, one space between words, subscripts as plain digits.
fn plain(name: &str) -> String {
    name.replace('₂', "2").to_lowercase().split_whitespace().collect::<Vec<_>>().join(" ")
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::units::temperature;

    #[test]
    fn names_and_formulae_are_read_in_any_case() {
        assert_eq!(Gas::named(" Argon ").unwrap(), Gas::Argon);
        assert_eq!(Gas::named("n2").unwrap(), Gas::Nitrogen);
        assert_eq!(Gas::named("CO₂").unwrap(), Gas::CarbonDioxide);
    }

    #[test]
    fn anything_flammable_is_refused_as_such() {
        for name in ["hydrogen", "H2", "propane", "5 % hydrogen in argon", "forming gas", "CO", "Acetylene"] {
            assert!(matches!(Gas::named(name), Err(ProcessError::FlammableGas { .. })), "{name}");
        }
    }

    #[test]
    fn an_unknown_gas_names_the_known_ones() {
        assert!(Gas::named("neon").unwrap_err().to_string().contains("argon, nitrogen, helium"));
    }

    #[test]
    fn what_scales_steel_is_refused_as_protection() {
        let heat = temperature("800 C").unwrap();
        for name in ["carbon dioxide", "air", "oxygen", "argon + 18 % CO2", "argon + 2 % O2"] {
            let gas = Mixture::named(name).unwrap();
            assert!(matches!(protection(&gas, SteelKind::Plain, heat), Err(ProcessError::NotProtective { .. })), "{name}");
        }
    }

    #[test]
    fn nitrogen_is_cautioned_only_over_high_alloy_steel_at_high_heat() {
        let gas = Mixture::from(Gas::Nitrogen);
        let cautions = |steel, heat| protection(&gas, steel, temperature(heat).unwrap()).unwrap().len();
        assert_eq!(cautions(SteelKind::Plain, "1040 C"), 1);
        assert_eq!(cautions(SteelKind::HighAlloy, "800 C"), 1);
        assert_eq!(cautions(SteelKind::HighAlloy, "1040 C"), 2);
    }
}
