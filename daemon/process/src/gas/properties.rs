//! Density, heat capacity, viscosity and conductivity of the gases at ordinary pressure, -50 to 1250 °C.
//!
//! Correlations, each as published:
//! - density and the pressure part of the heat capacity: second virial coefficient by Tsonopoulos, AIChE J. 20 (1974)
//!   263 (from memory), from critical temperature, critical pressure and acentric factor; helium by a fit of ours;
//! - heat capacity without pressure: Shomate equations of the NIST Chemistry WebBook (from memory); 5/2 R for argon and
//!   helium; air as 78.12 % nitrogen, 20.96 % oxygen, 0.92 % argon;
//! - viscosity and conductivity of argon, nitrogen, oxygen and air at low density: Lemmon and Jacobsen, Int. J.
//!   Thermophys. 25 (2004) 21; carbon dioxide: Fenghour, Wakeham and Vesovic, J. Phys. Chem. Ref. Data 27 (1998) 31 for
//!   viscosity (from memory), Huber and others, J. Phys. Chem. Ref. Data 45 (2016) 013102 for conductivity; helium: the
//!   power law 3.674e-7 T^0.7 of Petersen, Risø report 224 (1970) (from memory); conductivity of argon and helium by the
//!   exact ratio 15 R/(4 M) of a monatomic gas.
//!
//! Against the reference table (0 to 1100 °C) they stay within 0.05 % in density, 0.2 % in heat capacity, 0.6 % in
//! viscosity and 0.7 % in conductivity. Above 1100 °C nothing was compared; the correlations are made for more.

use super::Gas;
use crate::constants::R;
use crate::error::{Result, within};
use crate::si;
use uom::si::available_energy::joule_per_kilogram;
use uom::si::dynamic_viscosity::pascal_second;
use uom::si::f64::{
    AvailableEnergy, DynamicViscosity, MassDensity, MolarMass, Pressure, SpecificHeatCapacity, ThermalConductivity,
    ThermodynamicTemperature,
};
use uom::si::mass_density::kilogram_per_cubic_meter;
use uom::si::molar_mass::kilogram_per_mole;
use uom::si::specific_heat_capacity::joule_per_kilogram_kelvin;
use uom::si::thermal_conductivity::watt_per_meter_kelvin;

impl Gas {
    /// The molar mass: IUPAC 2021 conventional values; dry air 28.96546 g/mol.
    pub fn molar_mass(self) -> MolarMass {
        MolarMass::new::<kilogram_per_mole>(self.molar_kg())
    }

    /// Density at a temperature and an absolute pressure.
    ///
    /// Second virial coefficient: for ordinary pressures, up to about 10 bar. A cylinder needs [`crate::cylinder`].
    ///
    /// # Errors
    /// A temperature outside -50 to 1250 °C, a pressure outside 0 to 10 bar.
    pub fn density(self, temperature: ThermodynamicTemperature, pressure: Pressure) -> Result<MassDensity> {
        let t_k = in_range(temperature)?;
        within("the absolute pressure", pressure.value / 1e5, "bar", 0.0, 10.0)?;
        let z = 1.0 + self.virial(t_k).b_m3_mol * pressure.value / (R * t_k);
        Ok(MassDensity::new::<kilogram_per_cubic_meter>(pressure.value * self.molar_kg() / (z * R * t_k)))
    }

    /// Heat capacity at constant pressure, at one atmosphere.
    ///
    /// # Errors
    /// A temperature outside -50 to 1250 °C.
    pub fn heat_capacity(self, temperature: ThermodynamicTemperature) -> Result<SpecificHeatCapacity> {
        let t_k = in_range(temperature)?;
        let real = self.molar_heat(t_k) - t_k * crate::constants::ATMOSPHERE_PA * self.virial(t_k).curvature_m3_mol_k2;
        Ok(SpecificHeatCapacity::new::<joule_per_kilogram_kelvin>(real / self.molar_kg()))
    }

    /// The heat that a kilogram takes up from one temperature to another at one atmosphere; negative on cooling.
    ///
    /// # Errors
    /// A temperature outside -50 to 1250 °C.
    pub fn enthalpy_rise(self, from: ThermodynamicTemperature, to: ThermodynamicTemperature) -> Result<AvailableEnergy> {
        let (from_k, to_k) = (in_range(from)?, in_range(to)?);
        // The residual enthalpy of the virial gas is p (B - T B').
        let residual = |t_k: f64| {
            let virial = self.virial(t_k);
            crate::constants::ATMOSPHERE_PA * (virial.b_m3_mol - t_k * virial.slope_m3_mol_k)
        };
        let molar = self.molar_enthalpy(from_k, to_k) + residual(to_k) - residual(from_k);
        Ok(AvailableEnergy::new::<joule_per_kilogram>(molar / self.molar_kg()))
    }

    /// Dynamic viscosity at ordinary pressure, on which it does not depend.
    ///
    /// # Errors
    /// A temperature outside -50 to 1250 °C.
    pub fn viscosity(self, temperature: ThermodynamicTemperature) -> Result<DynamicViscosity> {
        in_range(temperature).map(|t_k| DynamicViscosity::new::<pascal_second>(viscosity_pa_s(self, t_k)))
    }

    /// Thermal conductivity at ordinary pressure.
    ///
    /// # Errors
    /// A temperature outside -50 to 1250 °C.
    pub fn conductivity(self, temperature: ThermodynamicTemperature) -> Result<ThermalConductivity> {
        in_range(temperature).map(|t_k| ThermalConductivity::new::<watt_per_meter_kelvin>(self.conductivity_w_m_k(t_k)))
    }

    /// Density (ideal), heat capacity (without pressure), viscosity and conductivity at one atmosphere, for inner loops
    /// that have checked their range.
    pub(crate) fn film(self, t_k: f64) -> Film {
        Film {
            density_kg_m3: crate::constants::ATMOSPHERE_PA * self.molar_kg() / (R * t_k),
            heat_j_kg_k: self.molar_heat(t_k) / self.molar_kg(),
            viscosity_pa_s: viscosity_pa_s(self, t_k),
            conductivity_w_m_k: self.conductivity_w_m_k(t_k),
        }
    }

    pub(crate) const fn molar_kg(self) -> f64 {
        match self {
            Self::Argon => 39.948e-3,
            Self::Nitrogen => 28.0134e-3,
            Self::Helium => 4.002_602e-3,
            Self::CarbonDioxide => 44.0095e-3,
            Self::Oxygen => 31.9988e-3,
            Self::Air => 28.965_46e-3,
        }
    }

    /// Critical temperature (K), critical pressure (Pa), acentric factor, as in the reference equations of state.
    const fn critical(self) -> (f64, f64, f64) {
        match self {
            Self::Argon => (150.687, 4.863e6, -0.002_19),
            Self::Nitrogen => (126.192, 3.3958e6, 0.0372),
            Self::Helium => (5.1953, 0.2276e6, -0.385),
            Self::CarbonDioxide => (304.1282, 7.3773e6, 0.223_94),
            Self::Oxygen => (154.581, 5.043e6, 0.0222),
            Self::Air => (132.6312, 3.786e6, 0.0335),
        }
    }

    /// Second virial coefficient by Tsonopoulos with its first and second derivatives in temperature.
    fn virial(self, t_k: f64) -> Virial {
        if self == Self::Helium {
            let b_m3_mol = HELIUM_B_M3_MOL * libm::pow(si::ICE_K / t_k, HELIUM_POWER);
            let slope_m3_mol_k = -HELIUM_POWER * b_m3_mol / t_k;
            return Virial { b_m3_mol, slope_m3_mol_k, curvature_m3_mol_k2: -(HELIUM_POWER + 1.0) * slope_m3_mol_k / t_k };
        }
        let (critical_k, critical_pa, acentric) = self.critical();
        let inverse = critical_k / t_k;
        let scale = R * critical_k / critical_pa;
        let mut sums = [0.0; 3];
        for (plain, shape, power) in VIRIAL_TERMS {
            let term = (plain + acentric * shape) * libm::pow(inverse, f64::from(power));
            let n = f64::from(power);
            sums[0] += term;
            sums[1] -= n * term / t_k;
            sums[2] += n * (n + 1.0) * term / (t_k * t_k);
        }
        Virial { b_m3_mol: scale * sums[0], slope_m3_mol_k: scale * sums[1], curvature_m3_mol_k2: scale * sums[2] }
    }

    /// Molar heat capacity without pressure, J/(mol K).
    fn molar_heat(self, t_k: f64) -> f64 {
        match self {
            Self::Argon | Self::Helium => 2.5 * R,
            Self::Air => AIR.into_iter().map(|(gas, share)| share * gas.molar_heat(t_k)).sum(),
            Self::Nitrogen | Self::Oxygen | Self::CarbonDioxide => {
                let [a, b, c, d, e] = self.shomate(t_k).1;
                let t = t_k / 1000.0;
                a + t * (b + t * (c + t * d)) + e / (t * t)
            }
        }
    }

    /// Integral of the molar heat capacity without pressure, J/mol.
    fn molar_enthalpy(self, from_k: f64, to_k: f64) -> f64 {
        match self {
            Self::Argon | Self::Helium => 2.5 * R * (to_k - from_k),
            Self::Air => AIR.into_iter().map(|(gas, share)| share * gas.molar_enthalpy(from_k, to_k)).sum(),
            Self::Nitrogen | Self::Oxygen | Self::CarbonDioxide => self.past_seam(to_k) - self.past_seam(from_k),
        }
    }

    /// Enthalpy over that at the seam of the two Shomate pieces, J/mol.
    fn past_seam(self, t_k: f64) -> f64 {
        let (seam_k, [a, b, c, d, e]) = self.shomate(t_k);
        let primitive = |t: f64| t * (a + t * (b / 2.0 + t * (c / 3.0 + t * d / 4.0))) - e / t;
        1000.0 * (primitive(t_k / 1000.0) - primitive(seam_k / 1000.0))
    }

    /// The seam between the two pieces (K) and the piece that holds at `t_k`.
    fn shomate(self, t_k: f64) -> (f64, [f64; 5]) {
        let (seam_k, low, high) = match self {
            Self::Oxygen => (
                700.0,
                [31.322_34, -20.235_31, 57.866_44, -36.506_24, -0.007_374],
                [30.032_35, 8.772_972, -3.988_133, 0.788_313, -0.741_599],
            ),
            Self::CarbonDioxide => (
                1200.0,
                [24.997_35, 55.186_96, -33.691_37, 7.948_387, -0.136_638],
                [58.166_39, 2.720_074, -0.492_289, 0.038_844, -6.447_293],
            ),
            _ => (
                500.0,
                [28.986_41, 1.853_978, -9.647_459, 16.635_37, 0.000_117],
                [19.505_83, 19.887_05, -8.598_535, 1.369_784, 0.527_601],
            ),
        };
        (seam_k, if t_k <= seam_k { low } else { high })
    }

    #[expect(clippy::approx_constant, reason = "6.283 is a fitted coefficient of oxygen, not a circle")]
    fn conductivity_w_m_k(self, t_k: f64) -> f64 {
        // Lemmon and Jacobsen: λ = N1 η + N2 τ^t2 + N3 τ^t3, in mW/(m K) with η in µPa s and τ = critical T over T.
        let dense = |n1: f64, n2: f64, t2: f64, n3: f64, t3: f64| {
            let tau = self.critical().0 / t_k;
            1e-3 * (n1 * viscosity_pa_s(self, t_k) * 1e6 + n2 * libm::pow(tau, t2) + n3 * libm::pow(tau, t3))
        };
        match self {
            Self::Argon | Self::Helium => 3.75 * R / self.molar_kg() * viscosity_pa_s(self, t_k),
            Self::Nitrogen => dense(1.511, 2.117, -1.0, -3.332, -0.7),
            Self::Oxygen => dense(1.036, 6.283, -0.9, -4.262, -0.6),
            Self::Air => dense(1.308, 1.405, -1.1, -1.036, -0.3),
            Self::CarbonDioxide => {
                let reduced = t_k / self.critical().0;
                let below = 0.015_187_430_7 + 0.028_067_404_0 / reduced + 0.022_856_419_0 / (reduced * reduced)
                    - 0.007_416_242_10 / (reduced * reduced * reduced);
                1e-3 * libm::sqrt(reduced) / below
            }
        }
    }
}

/// Properties of a gas film, in SI numbers.
pub(crate) struct Film {
    pub(crate) density_kg_m3: f64,
    pub(crate) heat_j_kg_k: f64,
    pub(crate) viscosity_pa_s: f64,
    pub(crate) conductivity_w_m_k: f64,
}

/// Second virial coefficient and its derivatives.
struct Virial {
    b_m3_mol: f64,
    slope_m3_mol_k: f64,
    curvature_m3_mol_k2: f64,
}

/// Tsonopoulos' two functions: (simple fluid, acentric part, power of 1/Tr).
const VIRIAL_TERMS: [(f64, f64, u8); 5] =
    [(0.1445, 0.0637, 0), (-0.330, 0.0, 1), (-0.1385, 0.331, 2), (-0.0121, -0.423, 3), (-0.000_607, -0.008, 8)];

/// Helium lies outside Tsonopoulos' correlation: a power law through CoolProp's densities at 0 and 1100 °C, fitted by us.
const HELIUM_B_M3_MOL: f64 = 11.9e-6;
const HELIUM_POWER: f64 = 0.18;

/// Standard air by mole, as in its reference equation of state.
const AIR: [(Gas, f64); 3] = [(Gas::Nitrogen, 0.7812), (Gas::Oxygen, 0.2096), (Gas::Argon, 0.0092)];

/// The temperature in kelvin, if the correlations hold there.
pub(super) fn in_range(temperature: ThermodynamicTemperature) -> Result<f64> {
    within("the temperature of the gas", si::celsius(temperature), "°C", -50.0, 1250.0).map(|t_c| t_c + si::ICE_K)
}

/// Viscosity at low density.
pub(super) fn viscosity_pa_s(gas: Gas, t_k: f64) -> f64 {
    // Lennard-Jones: well depth over k (K) and size (nm).
    let (well_k, size_nm) = match gas {
        Gas::Helium => return 3.674e-7 * libm::pow(t_k, 0.7),
        Gas::CarbonDioxide => {
            let omega = collision([0.235_156, -0.491_266, 5.211_155e-2, 5.347_906e-2, -1.537_102e-2], t_k / 251.196);
            return 1.006_97e-6 * libm::sqrt(t_k) / omega;
        }
        Gas::Argon => (143.2, 0.335),
        Gas::Nitrogen => (98.94, 0.3656),
        Gas::Oxygen => (118.5, 0.3428),
        Gas::Air => (103.3, 0.360),
    };
    let omega = collision([0.431, -0.4623, 0.084_06, 0.005_341, -0.003_31], t_k / well_k);
    0.026_695_8e-6 * libm::sqrt(gas.molar_kg() * 1000.0 * t_k) / (size_nm * size_nm * omega)
}

/// A collision integral as the exponential of a polynomial in the logarithm of the reduced temperature.
fn collision(terms: [f64; 5], reduced: f64) -> f64 {
    let log = libm::log(reduced);
    libm::exp(terms.iter().rev().fold(0.0, |sum, term| sum * log + term))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::units::temperature;

    #[test]
    fn enthalpy_is_the_integral_of_heat_capacity() {
        for gas in super::super::ALL {
            let steps = 4000;
            let at = |i: i32| si::from_celsius(20.0 + f64::from(i) * 1000.0 / f64::from(steps));
            let sum: f64 = (0..steps)
                .map(|i| (gas.heat_capacity(at(i)).unwrap().value + gas.heat_capacity(at(i + 1)).unwrap().value) / 2.0)
                .sum();
            let rise = gas.enthalpy_rise(at(0), at(steps)).unwrap().value;
            assert!((sum * 0.25 / rise - 1.0).abs() < 1e-4, "{gas:?}: {} against {rise}", sum * 0.25);
        }
    }

    #[test]
    fn outside_the_correlations_the_range_is_named() {
        let said = Gas::Argon.viscosity(temperature("1300 C").unwrap()).unwrap_err().to_string();
        assert!(said.contains("1300 °C; it must lie between -50 and 1250"), "{said}");
    }
}
