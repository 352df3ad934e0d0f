//! Real-gas equations: pressure from density, density from pressure, for the gases that come in cylinders.
//!
//! Each gas has its published equation of state, explicit in the reduced Helmholtz energy (papers in `coefficients`).
//! Saturation of carbon dioxide: the auxiliary equations of Span and Wagner 1996, from memory; against CoolProp they are
//! within 0.01 % in pressure and 0.1 % in density up to 30.7 °C.

use super::coefficients::{self, Bell, Critical, Power};
use crate::gas::Gas;
use crate::numeric::root;

/// The equation of one gas at one temperature: every factor that depends on temperature alone is worked out once.
pub(super) struct Isotherm {
    t_k: f64,
    reducing_mol_m3: f64,
    gas_constant: f64,
    powers: Vec<(f64, i32, i32)>,
    bells: Vec<(f64, &'static Bell)>,
    critical: &'static [Critical],
    tau: f64,
}

/// The states that liquid and vapour of carbon dioxide have in common at one temperature.
pub(super) struct Saturation {
    pub(super) pressure_pa: f64,
    pub(super) liquid_kg_m3: f64,
    pub(super) vapour_kg_m3: f64,
}

/// Critical temperature (K), pressure (Pa) and density (kg/m³) of carbon dioxide: Span and Wagner 1996.
pub(super) const CO2_CRITICAL: (f64, f64, f64) = (304.1282, 7.3773e6, 467.6);

impl Isotherm {
    /// The isotherm of a gas; `None` for gases that have no equation here (oxygen, air).
    pub(super) fn new(gas: Gas, t_k: f64) -> Option<Self> {
        let (critical_k, reducing_mol_m3, gas_constant, powers, bells): (f64, f64, f64, &'static [Power], &'static [Bell]) =
            match gas {
                Gas::Argon => (150.687, 13_407.429_658_556_12, 8.314_51, coefficients::ARGON_POWERS, coefficients::ARGON_BELLS),
                Gas::Nitrogen => {
                    (126.192, 11_183.901_464_580_624, 8.314_51, coefficients::NITROGEN_POWERS, coefficients::NITROGEN_BELLS)
                }
                Gas::CarbonDioxide => {
                    (304.1282, 10_624.906_3, 8.314_51, coefficients::CARBON_DIOXIDE_POWERS, coefficients::CARBON_DIOXIDE_BELLS)
                }
                Gas::Helium => (5.1953, 17_383.7, 8.314_459_8, coefficients::HELIUM_POWERS, coefficients::HELIUM_BELLS),
                Gas::Oxygen | Gas::Air => return None,
            };
        let tau = critical_k / t_k;
        let critical = if gas == Gas::CarbonDioxide { coefficients::CARBON_DIOXIDE_CRITICAL } else { &[] };
        let powers = powers.iter().map(|term| (term.n * libm::pow(tau, term.t), term.d, term.l)).collect();
        let bells = bells
            .iter()
            .map(|term| {
                let off = tau - term.gamma;
                (term.n * libm::pow(tau, term.t) * libm::exp(-term.beta * off * off), term)
            })
            .collect();
        Some(Self { t_k, reducing_mol_m3, gas_constant, powers, bells, critical, tau })
    }

    /// Pressure at a molar density: `p = ρ R T (1 + δ ∂αʳ/∂δ)`.
    pub(super) fn pressure_pa(&self, density_mol_m3: f64) -> f64 {
        let delta = density_mol_m3 / self.reducing_mol_m3;
        let mut damping = [1.0; 7];
        for (l, factor) in damping.iter_mut().enumerate().skip(1) {
            *factor = libm::exp(-whole_power(delta, l as i32));
        }
        let mut sum = 0.0;
        for &(n, d, l) in &self.powers {
            let decay = if l == 0 { 0.0 } else { f64::from(l) * whole_power(delta, l) };
            sum += n * whole_power(delta, d) * damping[l.unsigned_abs() as usize % 7] * (f64::from(d) - decay);
        }
        for &(n, term) in &self.bells {
            let off = delta - term.epsilon;
            let slope = f64::from(term.d) - 2.0 * delta * term.eta * off;
            sum += n * whole_power(delta, term.d) * libm::exp(-term.eta * off * off) * slope;
        }
        sum += self.critical.iter().map(|term| near_critical(term, delta, self.tau)).sum::<f64>();
        density_mol_m3 * self.gas_constant * self.t_k * (1.0 + sum)
    }

    /// Molar density at a pressure, on the branch between two densities; `None` if the branch does not reach it.
    pub(super) fn density_mol_m3(&self, pressure_pa: f64, low_mol_m3: f64, high_mol_m3: f64) -> Option<f64> {
        root(low_mol_m3, high_mol_m3, 1e-9, |density| self.pressure_pa(density) - pressure_pa)
    }
}

/// Saturation of carbon dioxide; `None` from the critical temperature up.
pub(super) fn saturation(t_k: f64) -> Option<Saturation> {
    let (critical_k, critical_pa, critical_kg_m3) = CO2_CRITICAL;
    if t_k >= critical_k {
        return None;
    }
    let x = 1.0 - t_k / critical_k;
    let power = |exponent: f64| libm::pow(x, exponent);
    let pressure = -7.060_208_7 * x + 1.939_121_8 * power(1.5) - 1.646_359_7 * x * x - 3.299_563_4 * power(4.0);
    let liquid = 1.924_510_8 * power(0.34) - 0.623_855_55 * power(0.5) - 0.327_311_27 * power(10.0 / 6.0)
        + 0.392_451_42 * power(11.0 / 6.0);
    let vapour = -1.707_487_9 * power(0.34)
        - 0.822_746_70 * power(0.5)
        - 4.600_854_9 * x
        - 10.111_178 * power(7.0 / 3.0)
        - 29.742_252 * power(14.0 / 3.0);
    Some(Saturation {
        pressure_pa: critical_pa * libm::exp(critical_k / t_k * pressure),
        liquid_kg_m3: critical_kg_m3 * libm::exp(liquid),
        vapour_kg_m3: critical_kg_m3 * libm::exp(vapour),
    })
}

/// `δ ∂/∂δ` of one of carbon dioxide's terms close to the critical point.
fn near_critical(term: &Critical, delta: f64, tau: f64) -> f64 {
    const BIG_A: f64 = 0.7;
    const BETA: f64 = 0.3;
    let off = delta - 1.0;
    let square = off * off;
    let theta = 1.0 - tau + BIG_A * libm::pow(square, 0.5 / BETA);
    let distance = theta * theta + term.big_b * libm::pow(square, term.a);
    if distance == 0.0 {
        return 0.0;
    }
    let bell = libm::exp(-term.c * square - term.d * (tau - 1.0) * (tau - 1.0));
    let slope = off
        * (BIG_A * theta * (2.0 / BETA) * libm::pow(square, 0.5 / BETA - 1.0)
            + 2.0 * term.big_b * term.a * libm::pow(square, term.a - 1.0));
    let power = libm::pow(distance, term.b);
    delta * term.n * (power * (bell - 2.0 * term.c * off * delta * bell) + term.b * power / distance * slope * delta * bell)
}

/// `x` to a small whole power, by multiplication alone: the same bits everywhere, and fast.
fn whole_power(x: f64, power: i32) -> f64 {
    let mut result = 1.0;
    for _ in 0..power {
        result *= x;
    }
    result
}
