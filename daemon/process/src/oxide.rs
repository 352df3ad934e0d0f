//! What oxygen does to hot steel: scale in air, scale from the oxygen that got in, carbon lost, and the exposure account.
//!
//! Two laws for bare iron in air, both from memory: thickness `x² = kp t`, `kp = 6.1 exp(-169452/(R T)) cm²/s` (1958, as
//! quoted in Oxidation of Metals 59 (2003) 433), and mass gain `w² = kw t`, `kw = 0.37 exp(-138000/(R T)) g² cm⁻⁴ s⁻¹`
//! (Journal of Metals 3 (1951) 889). Made for 700 to 1250 °C; good to a factor of 1.5 in thickness. Below a minute they
//! overestimate, since growth then waits for the gas. Under a protective gas the oxygen that gets in is the bound.

use crate::constants::{AIR_OXYGEN, ATMOSPHERE_PA, R};
use crate::error::{Result, within};
use crate::gas::Gas;
use crate::note::Note;
use crate::numeric::integral;
use crate::si;
use crate::transfer::StillAir;
use uom::si::f64::{Area, Length, Mass, Ratio, ThermodynamicTemperature, Time};

/// An oxide of iron.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Oxide {
    /// Wüstite, FeO: most of the scale above 570 °C.
    Wustite,
    /// Magnetite, Fe3O4.
    Magnetite,
    /// Haematite, Fe2O3.
    Haematite,
}

/// Where the laws of scaling end, °C: below, steel hardly scales any more (common practice, no source).
pub const SCALING_ENDS_C: f64 = 400.0;

/// Scale grown in air.
#[derive(Debug, Clone, PartialEq)]
pub struct Scale {
    /// The thickness of the scale.
    pub thickness: Length,
    /// The metal that it took.
    pub metal: Length,
    /// The thickness by the second law, as a second opinion.
    pub second_opinion: Length,
    /// What the number rests on.
    pub notes: Vec<Note>,
}

/// What a mass of oxygen does at most: all of it as scale, or all of it as carbon burnt from the skin.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct OxygenBound {
    /// Thickness of FeO if all of it made scale.
    pub scale: Length,
    /// The metal that this scale would take.
    pub metal: Length,
    /// Depth robbed of all its carbon if all of it made carbon monoxide.
    pub decarburised: Length,
    /// The same if it made carbon dioxide: half.
    pub decarburised_co2: Length,
}

impl Oxide {
    /// The mass share of oxygen.
    pub fn oxygen_share(self) -> Ratio {
        let (iron, oxygen) = self.atoms();
        si::fraction(oxygen * O_G_MOL / (iron * FE_G_MOL + oxygen * O_G_MOL))
    }

    /// Volume of oxide over volume of the iron that it took: the Pilling-Bedworth ratio.
    pub fn volume_ratio(self) -> Ratio {
        let (iron, oxygen) = self.atoms();
        let oxide_cm3 = (iron * FE_G_MOL + oxygen * O_G_MOL) / self.g_cm3();
        si::fraction(oxide_cm3 / (iron * FE_G_MOL / IRON_G_CM3))
    }

    /// Thickness that a mass of oxygen makes on a surface.
    pub fn thickness(self, oxygen: Mass, surface: Area) -> Length {
        si::metres(oxygen.value / surface.value / self.oxygen_share().value / (self.g_cm3() * 1e3))
    }

    /// Metal that a mass of oxygen takes from a surface.
    pub fn metal(self, oxygen: Mass, surface: Area) -> Length {
        si::metres(oxygen.value / surface.value * (1.0 / self.oxygen_share().value - 1.0) / (IRON_G_CM3 * 1e3))
    }

    const fn atoms(self) -> (f64, f64) {
        match self {
            Self::Wustite => (1.0, 1.0),
            Self::Magnetite => (3.0, 4.0),
            Self::Haematite => (2.0, 3.0),
        }
    }

    /// Densities: CRC Handbook, from memory, good to 2 %.
    const fn g_cm3(self) -> f64 {
        match self {
            Self::Wustite => 5.75,
            Self::Magnetite => 5.18,
            Self::Haematite => 5.24,
        }
    }
}

/// IUPAC standard atomic masses, conventional.
const FE_G_MOL: f64 = 55.845;
const O_G_MOL: f64 = 15.999;
const C_G_MOL: f64 = 12.011;
/// Density of iron, handbook value.
const IRON_G_CM3: f64 = 7.874;
/// Scale over metal lost, by thickness: between FeO's 1.76 and pores; usual value, from memory.
const SCALE_OVER_METAL: f64 = 1.72;

/// Scale that bare steel grows in air at a steady temperature: an upper bound for alloyed and protected steel.
///
/// # Errors
/// A temperature outside 400 to 1250 °C, a negative time.
pub fn in_air(temperature: ThermodynamicTemperature, time: Time) -> Result<Scale> {
    let t_c = in_range(temperature)?;
    let time_s = within("the time in air", time.value, "s", 0.0, 1e8)?;
    let notes = notes(t_c, time_s);
    Ok(scale(kp_cm2_s(t_c) * time_s, kw_g2_cm4_s(t_c) * time_s, notes))
}

/// Scale that bare steel grows in air along stretches, each to a temperature within a time, evenly: squares of thickness add.
///
/// # Errors
/// Temperatures outside 400 to 1250 °C, a negative time.
pub fn in_air_along(from: ThermodynamicTemperature, stretches: &[(ThermodynamicTemperature, Time)]) -> Result<Scale> {
    let mut from_c = in_range(from)?;
    let (mut coldest_c, mut time_s, mut squared_cm2, mut gained_g2_cm4) = (from_c, 0.0, 0.0, 0.0);
    for &(to, time) in stretches {
        let to_c = in_range(to)?;
        let each_s = within("the time in air", time.value, "s", 0.0, 1e8)?;
        let mean = |law: fn(f64) -> f64| integral(0.0, 1.0, 16, |part| law(from_c + (to_c - from_c) * part));
        squared_cm2 += mean(kp_cm2_s) * each_s;
        gained_g2_cm4 += mean(kw_g2_cm4_s) * each_s;
        (from_c, coldest_c, time_s) = (to_c, coldest_c.min(to_c), time_s + each_s);
    }
    Ok(scale(squared_cm2, gained_g2_cm4, notes(coldest_c, time_s)))
}

/// The share of a stretch's growth that falls below a temperature, where the law is stretched.
///
/// # Errors
/// As for [`in_air_along`].
pub fn share_below(
    from: ThermodynamicTemperature,
    to: ThermodynamicTemperature,
    limit: ThermodynamicTemperature,
) -> Result<Ratio> {
    let (high_c, low_c) = (in_range(from)?.max(in_range(to)?), in_range(from)?.min(in_range(to)?));
    let limit_c = in_range(limit)?.clamp(low_c, high_c);
    let part = |low: f64, high: f64| integral(low, high, 16, kp_cm2_s);
    let whole = part(low_c, high_c);
    Ok(si::fraction(if whole > 0.0 { part(low_c, limit_c) / whole } else { 0.0 }))
}

/// The thickest scale that the air can bring oxygen for in some seconds: the bound that counts when the law overestimates.
///
/// Transfer of oxygen to a plate in still air by the analogy of heat and mass (Chilton and Colburn), with the diffusivity
/// of oxygen in air 0.21 cm²/s at 25 °C growing with T^1.75 (from memory).
///
/// # Errors
/// A temperature outside 400 to 1250 °C, a negative time, a room outside -30 to 60 °C.
pub fn supply_limit(steel: ThermodynamicTemperature, time: Time, air: &StillAir) -> Result<Length> {
    in_range(steel)?;
    let time_s = within("the time in air", time.value, "s", 0.0, 1e8)?;
    let film_k = (si::kelvin(steel) + si::kelvin(air.temperature)) / 2.0;
    let film = Gas::Air.film(film_k);
    let capacity = film.density_kg_m3 * film.heat_j_kg_k;
    let diffusivity = 0.21e-4 * libm::pow(film_k / 298.15, 1.75);
    let lewis = film.conductivity_w_m_k / capacity / diffusivity;
    let speed_m_s = air.convection(steel)?.value / capacity / libm::cbrt(lewis * lewis);
    let oxygen_kg_m2 = speed_m_s * AIR_OXYGEN * ATMOSPHERE_PA / (R * film_k) * Gas::Oxygen.molar_kg() * time_s;
    Ok(Oxide::Wustite.thickness(si::kilograms(oxygen_kg_m2), Area::new::<uom::si::area::square_meter>(1.0)))
}

/// What a mass of oxygen does at most to a surface of steel with a carbon content: scale, or decarburisation, or some of both.
///
/// # Errors
/// A negative mass, a surface outside 0.1 cm² to 1000 m², carbon outside 0.05 to 3 %.
pub fn bound(oxygen: Mass, surface: Area, carbon: Ratio) -> Result<OxygenBound> {
    within("the oxygen", oxygen.value * 1e6, "mg", 0.0, 1e9)?;
    within("the surface of the steel", surface.value * 1e4, "cm²", 0.1, 1e7)?;
    let carbon = within("the carbon of the steel", carbon.value * 100.0, "%", 0.05, 3.0)? / 100.0;
    let carbon_kg = oxygen.value / (Gas::Oxygen.molar_kg() * 1e3) * 2.0 * C_G_MOL;
    let depth = si::metres(carbon_kg / (surface.value * crate::constants::STEEL_KG_M3 * carbon));
    Ok(OxygenBound {
        scale: Oxide::Wustite.thickness(oxygen, surface),
        metal: Oxide::Wustite.metal(oxygen, surface),
        decarburised: depth,
        decarburised_co2: depth / 2.0,
    })
}

/// The exposure of hot steel over a step: oxygen fraction times time, counted only from a temperature up.
///
/// The trapezoid of the two oxygen fractions; a thousandth for a second is one ppm for 17 minutes.
///
/// # Errors
/// Fractions outside 0 to 1, a negative time.
pub fn exposure(
    before: Ratio,
    after: Ratio,
    steel: ThermodynamicTemperature,
    from: ThermodynamicTemperature,
    time: Time,
) -> Result<Time> {
    for fraction in [before, after] {
        within("an oxygen fraction", fraction.value * 100.0, "%", 0.0, 100.0)?;
    }
    let time_s = within("the time", time.value, "s", 0.0, 1e8)?;
    Ok(si::seconds(if steel >= from { (before.value + after.value) / 2.0 * time_s } else { 0.0 }))
}

fn scale(squared_cm2: f64, gained_g2_cm4: f64, notes: Vec<Note>) -> Scale {
    let thickness_m = libm::sqrt(squared_cm2) * 1e-2;
    let oxide = Oxide::Wustite;
    let second_m = libm::sqrt(gained_g2_cm4) / oxide.oxygen_share().value / oxide.g_cm3() * 1e-2;
    Scale {
        thickness: si::metres(thickness_m),
        metal: si::metres(thickness_m / SCALE_OVER_METAL),
        second_opinion: si::metres(second_m),
        notes,
    }
}

fn notes(coldest_c: f64, time_s: f64) -> Vec<Note> {
    let mut notes =
        vec![Note::bound("bare iron in still air, both laws from memory; good to a factor of 1.5, alloy steels scale less")];
    if coldest_c < 700.0 {
        notes.push(Note::outside("the law was fitted from 700 °C up; below it overestimates"));
    }
    if time_s < 60.0 {
        notes.push(Note::outside("below a minute growth waits for the gas: an overestimate; see the supply limit"));
    }
    notes
}

fn kp_cm2_s(t_c: f64) -> f64 {
    6.1 * libm::exp(-169_452.0 / (R * (t_c + si::ICE_K)))
}

fn kw_g2_cm4_s(t_c: f64) -> f64 {
    0.37 * libm::exp(-138_000.0 / (R * (t_c + si::ICE_K)))
}

fn in_range(temperature: ThermodynamicTemperature) -> Result<f64> {
    within("the temperature of the steel", si::celsius(temperature), "°C", SCALING_ENDS_C, 1250.0)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn exposure_counts_only_while_hot() {
        let count = |t_c: f64| {
            let (before, after) = (si::fraction(2e-3), si::fraction(1e-3));
            exposure(before, after, si::from_celsius(t_c), si::from_celsius(500.0), si::seconds(10.0)).unwrap().value
        };
        assert!((count(800.0) - 0.015).abs() < 1e-12);
        assert_eq!(count(300.0), 0.0);
    }

    #[test]
    fn cold_steel_is_outside_the_law() {
        assert!(in_air(si::from_celsius(200.0), si::seconds(60.0)).unwrap_err().to_string().contains("between 400 and 1250"));
    }
}
