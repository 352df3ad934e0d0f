//! A gas or a mixture by mole, as one value: what a supply holds, what a meter was engraved for.

use super::{ALL, Gas};
use crate::constants::R;
use crate::error::{ProcessError, Result, impossible, within};
use crate::si;
use std::fmt;
use uom::si::dynamic_viscosity::pascal_second;
use uom::si::f64::{DynamicViscosity, MassDensity, MolarMass, Pressure, Ratio, ThermodynamicTemperature};
use uom::si::mass_density::kilogram_per_cubic_meter;
use uom::si::molar_mass::kilogram_per_mole;

/// A gas or a mixture of gases, by mole fractions that add to 1.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Mixture {
    fractions: [f64; ALL.len()],
}

impl Mixture {
    /// A mixture of parts by mole (for gases at ordinary pressure, by volume).
    ///
    /// # Errors
    /// A share outside 0 to 100 %, or shares that do not add to 100 % within 0.01 %.
    pub fn new(parts: &[(Gas, Ratio)]) -> Result<Self> {
        let mut fractions = [0.0; ALL.len()];
        for &(gas, share) in parts {
            fractions[gas as usize] += within("the share of a gas", share.value * 100.0, "%", 0.0, 100.0)? / 100.0;
        }
        let total: f64 = fractions.iter().sum();
        if (total - 1.0).abs() > 1e-4 {
            return Err(impossible(
                "a mixture",
                format!("its shares add to {} %, not to 100 %", crate::units::figures(total * 100.0, 5)),
            ));
        }
        Ok(Self { fractions: fractions.map(|share| share / total) })
    }

    /// Reads `argon`, `N2`, or a base gas with additions: `argon + 18 % CO2`, `Ar + 2 % O2`.
    ///
    /// # Errors
    /// As for [`Gas::named`]; a share that is not one; additions of more than 100 %.
    pub fn named(name: &str) -> Result<Self> {
        let mut parts = name.split('+');
        let base = parts.next().unwrap_or_default();
        let mut shares = Vec::new();
        for part in parts {
            let (share, gas) = part.split_once('%').ok_or_else(|| {
                impossible("a mixture", format!("`{}` has no share; write it as `argon + 10 % helium`", part.trim()))
            })?;
            shares.push((Gas::named(gas)?, crate::units::share(&format!("{share}%"))?));
        }
        let added: f64 = shares.iter().map(|(_, share)| share.value).sum();
        let rest = within("the share left for the first gas", (1.0 - added) * 100.0, "%", 0.0, 100.0)?;
        shares.push((Gas::named(base)?, si::fraction(rest / 100.0)));
        Self::new(&shares)
    }

    /// Reads the name of a gas that is to protect steel.
    ///
    /// # Errors
    /// [`ProcessError::NotProtective`] for whatever scales steel, welding mixtures by their usual names among them;
    /// otherwise as for [`Mixture::named`], with the names of gases that protect.
    pub fn protective(name: &str) -> Result<Self> {
        let not = |why| Err(ProcessError::NotProtective { name: name.trim().to_owned(), why });
        match Self::named(name) {
            Ok(gas) => gas.harm().map_or(Ok(gas), not),
            Err(error @ ProcessError::FlammableGas { .. }) => Err(error),
            Err(_) if super::is_for_welding(name) => {
                not("welding mixtures hold carbon dioxide or oxygen, which scale and decarburise it when hot")
            }
            Err(ProcessError::UnknownGas { name, .. }) => {
                let known = ALL.into_iter().filter(|gas| gas.protects_steel()).map(Gas::name).collect::<Vec<_>>().join(", ");
                Err(ProcessError::UnknownGas { name, known })
            }
            Err(error) => Err(error),
        }
    }

    /// The mole fraction of one gas.
    pub fn share(&self, gas: Gas) -> f64 {
        self.fractions[gas as usize]
    }

    /// The gas itself where the mixture is pure.
    pub fn pure(&self) -> Option<Gas> {
        ALL.into_iter().find(|&gas| self.share(gas) > 1.0 - 1e-9)
    }

    /// The mean molar mass.
    pub fn molar_mass(&self) -> MolarMass {
        MolarMass::new::<kilogram_per_mole>(self.molar_kg())
    }

    /// Density as an ideal mixture of ideal gases.
    ///
    /// Holds within 0.1 % at ordinary pressure from 0 °C up, within 0.7 % for carbon dioxide near 0 °C. For gas in a
    /// cylinder use [`crate::cylinder`].
    ///
    /// # Errors
    /// A temperature outside -50 to 1250 °C or a pressure outside 0 to 300 bar.
    pub fn density(&self, temperature: ThermodynamicTemperature, pressure: Pressure) -> Result<MassDensity> {
        super::properties::in_range(temperature)?;
        within("the absolute pressure", pressure.value / 1e5, "bar", 0.0, 300.0)?;
        Ok(MassDensity::new::<kilogram_per_cubic_meter>(pressure.value * self.molar_kg() / (R * si::kelvin(temperature))))
    }

    /// Viscosity by Wilke's rule on the pure gases' values.
    ///
    /// Wilke's rule (J. Chem. Phys. 18 (1950) 517; as in *The Properties of Gases and Liquids*), from memory; within
    /// 2 % for mixtures of these gases without helium.
    ///
    /// # Errors
    /// A temperature outside -50 to 1250 °C.
    pub fn viscosity(&self, temperature: ThermodynamicTemperature) -> Result<DynamicViscosity> {
        super::properties::in_range(temperature)?;
        let each = ALL.map(|gas| super::properties::viscosity_pa_s(gas, si::kelvin(temperature)));
        let mass = ALL.map(Gas::molar_kg);
        let mut mixed_pa_s = 0.0;
        for i in (0..ALL.len()).filter(|&i| self.fractions[i] > 0.0) {
            let mut weight = 0.0;
            for j in (0..ALL.len()).filter(|&j| self.fractions[j] > 0.0) {
                let root = 1.0 + libm::sqrt(each[i] / each[j]) * libm::sqrt(libm::sqrt(mass[j] / mass[i]));
                weight += self.fractions[j] * root * root / libm::sqrt(8.0 * (1.0 + mass[i] / mass[j]));
            }
            mixed_pa_s += self.fractions[i] * each[i] / weight;
        }
        Ok(DynamicViscosity::new::<pascal_second>(mixed_pa_s))
    }

    /// What the mixture does to hot steel, if it does not protect it.
    pub(super) fn harm(&self) -> Option<&'static str> {
        // 0.1 % is far above what any gas sold as pure carries, and far below what any welding mixture holds.
        const MEANT: f64 = 1e-3;
        if self.share(Gas::Air) > MEANT {
            Some("air scales it and takes carbon from its skin")
        } else if self.share(Gas::Oxygen) > MEANT {
            Some("its oxygen scales it")
        } else if self.share(Gas::CarbonDioxide) > MEANT {
            Some("carbon dioxide oxidises and decarburises it when hot")
        } else {
            None
        }
    }

    pub(crate) fn molar_kg(&self) -> f64 {
        ALL.into_iter().map(|gas| self.share(gas) * gas.molar_kg()).sum()
    }
}

impl From<Gas> for Mixture {
    fn from(gas: Gas) -> Self {
        let mut fractions = [0.0; ALL.len()];
        fractions[gas as usize] = 1.0;
        Self { fractions }
    }
}

impl fmt::Display for Mixture {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        if let Some(gas) = self.pure() {
            return f.write_str(gas.name());
        }
        let mut parts: Vec<(Gas, f64)> =
            ALL.into_iter().map(|gas| (gas, self.share(gas))).filter(|&(_, share)| share > 0.0).collect();
        parts.sort_by(|left, right| right.1.total_cmp(&left.1));
        for (place, (gas, share)) in parts.into_iter().enumerate() {
            if place == 0 {
                write!(f, "{}", gas.name())?;
            } else {
                write!(f, " + {} % {}", crate::units::figures(share * 100.0, 3), gas.name())?;
            }
        }
        Ok(())
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_mixture_is_read_and_shown_again() {
        let gas = Mixture::named("argon + 18 % CO2").unwrap();
        assert!((gas.share(Gas::CarbonDioxide) - 0.18).abs() < 1e-12);
        assert_eq!(gas.to_string(), "argon + 18 % carbon dioxide");
        assert_eq!(Mixture::named("Ar").unwrap(), Mixture::from(Gas::Argon));
    }

    #[test]
    fn a_flammable_share_is_refused() {
        assert!(matches!(Mixture::named("argon + 5 % H2"), Err(ProcessError::FlammableGas { .. })));
    }

    #[test]
    fn welding_gas_is_told_why_it_does_not_protect() {
        for name in ["C25", "MIG gas", "welding mixture", "M21", "75/25", "argon + 18 % CO2", "CO2", "argon/CO2", "air"] {
            let refused = Mixture::protective(name).unwrap_err();
            assert!(matches!(refused, ProcessError::NotProtective { .. }), "{name}: {refused}");
            assert!(refused.to_string().contains("does not protect steel"), "{refused}");
        }
        let unknown = Mixture::protective("neon").unwrap_err().to_string();
        assert!(unknown.ends_with("known are: argon, nitrogen, helium"), "{unknown}");
        assert!(matches!(Mixture::protective("argon + 5 % H2"), Err(ProcessError::FlammableGas { .. })));
        assert!(Mixture::protective("argon + 10 % helium").is_ok());
    }

    #[test]
    fn shares_must_make_a_whole() {
        assert!(Mixture::new(&[(Gas::Argon, si::fraction(0.5))]).is_err());
        assert!(Mixture::named("argon + 80 % N2 + 30 % He").unwrap_err().to_string().contains("-10"));
    }
}
