//! How gas enters a chamber: as a jet that stirs, or so slowly that it layers.
//!
//! The densimetric Froude number at the port, `Fr = v / √(g' d)` with `g' = g |ρ_jet - ρ_air| / ρ_air`, decides: below 1
//! heavy gas pools on the floor and fills the chamber from there; above, it stirs as high as its fountain reaches. A
//! turbulent fountain blown straight up reaches `z = 1.74 d Fr` (J. Fluid Mech. 26 (1966) 779; the constant from memory);
//! a laminar one, below a Reynolds number of about 2000 at the port, goes further, so that `z` is a lower bound there.
//! A factor of 2 is what the height is good for.

use crate::constants::{ATMOSPHERE_PA, GRAVITY};
use crate::error::{Result, impossible, within};
use crate::gas::Gas;
use crate::note::Note;
use crate::units::figures;
use crate::{AmountFlow, si};
use uom::si::diffusion_coefficient::square_meter_per_second;
use uom::si::f64::{DiffusionCoefficient, Length, Pressure, Ratio, ThermodynamicTemperature, Time, Velocity};
use uom::si::velocity::meter_per_second;

/// A port that gas enters by.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Port {
    /// The gas.
    pub gas: Gas,
    /// Its temperature where it leaves the port.
    pub temperature: ThermodynamicTemperature,
    /// The bore.
    pub bore: Length,
    /// The flow.
    pub flow: AmountFlow,
}

/// What the gas does in the chamber.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Regime {
    /// The fountain reaches the roof: the chamber is stirred.
    Stirs,
    /// A fountain that falls back: it mixes the lower part only.
    StirsBelow,
    /// Heavy gas runs out along the floor and fills the chamber from the bottom.
    Pools,
    /// Gas lighter than what it enters rises and collects under the roof.
    Rises,
}

/// How gas enters.
#[derive(Debug, Clone, PartialEq)]
pub struct Entry {
    /// Speed at the port.
    pub velocity: Velocity,
    /// Reynolds number at the port.
    pub reynolds: Ratio,
    /// Speed over that of sound in the gas: the Mach number.
    pub mach: Ratio,
    /// Densimetric Froude number, on the density of the air around.
    pub froude: Ratio,
    /// The same on the density of the gas itself, as some texts have it.
    pub froude_by_gas: Ratio,
    /// The height of an upward fountain; none for light gas.
    pub fountain: Option<Length>,
    /// The dynamic pressure at the port.
    pub dynamic_pressure: Pressure,
    /// What follows for a chamber of the height given: our own classification.
    pub regime: Regime,
    /// What the numbers rest on.
    pub notes: Vec<Note>,
}

/// How gas enters air of a temperature in a chamber of a height.
///
/// # Errors
/// A bore outside 0.5 to 100 mm, a flow that is not positive, temperatures outside -50 to 1250 °C, a height outside 1 cm
/// to 5 m; a flow that would leave the port faster than sound, which no plain port does.
pub fn entry(port: &Port, air: ThermodynamicTemperature, height: Length) -> Result<Entry> {
    let bore_m = within("the bore of the port", port.bore.value * 1e3, "mm", 0.5, 100.0)? / 1e3;
    let height_m = within("the height of the chamber", height.value, "m", 0.01, 5.0)?;
    let flow_mol_s = within("the flow", port.flow.value, "mol/s", 1e-9, 10.0)?;
    let room = si::pascals(ATMOSPHERE_PA);
    let gas_kg_m3 = port.gas.density(port.temperature, room)?.value;
    let air_kg_m3 = Gas::Air.density(air, room)?.value;
    let viscosity_pa_s = port.gas.viscosity(port.temperature)?.value;
    let area_m2 = core::f64::consts::PI * bore_m * bore_m / 4.0;
    let velocity_m_s = flow_mol_s * crate::constants::R * si::kelvin(port.temperature) / ATMOSPHERE_PA / area_m2;
    let reynolds = gas_kg_m3 * velocity_m_s * bore_m / viscosity_pa_s;
    let sound_m_s = sound_m_s(port)?;
    let mach = velocity_m_s / sound_m_s;
    if mach > 1.0 {
        return Err(impossible(
            "gas through the port",
            format!(
                "{} m/s through {} mm is faster than sound in it, {} m/s: so much does not pass; less flow, or a wider port",
                figures(velocity_m_s, 3),
                figures(bore_m * 1e3, 3),
                figures(sound_m_s, 3)
            ),
        ));
    }
    let lift = |base_kg_m3: f64| libm::sqrt(GRAVITY * libm::fabs(gas_kg_m3 - air_kg_m3) / base_kg_m3 * bore_m);
    let froude = velocity_m_s / lift(air_kg_m3);
    let fountain_m = 1.74 * bore_m * froude;
    let heavy = gas_kg_m3 > air_kg_m3;
    let mut notes = vec![Note::basis("fountain of a turbulent jet blown upward, constant from memory; good to a factor of 2")];
    if heavy && reynolds < 2000.0 {
        notes.push(Note::outside("the jet is laminar at the port: it reaches further than the height given"));
    }
    if mach > 0.3 {
        notes.push(Note::outside(
            "the gas leaves the port at more than 0.3 of the speed of sound: it is squeezed there, and speed and reach are off",
        ));
    }
    Ok(Entry {
        velocity: Velocity::new::<meter_per_second>(velocity_m_s),
        reynolds: si::fraction(reynolds),
        mach: si::fraction(mach),
        froude: si::fraction(froude),
        froude_by_gas: si::fraction(velocity_m_s / lift(gas_kg_m3)),
        fountain: heavy.then(|| si::metres(fountain_m)),
        dynamic_pressure: si::pascals(0.5 * gas_kg_m3 * velocity_m_s * velocity_m_s),
        regime: match heavy {
            false => Regime::Rises,
            true if fountain_m > height_m => Regime::Stirs,
            true if froude < 1.0 => Regime::Pools,
            true => Regime::StirsBelow,
        },
        notes,
    })
}

/// The speed of sound in the gas of a port, `√(γ R T / M)` with γ from its heat capacity.
fn sound_m_s(port: &Port) -> Result<f64> {
    let molar_kg = port.gas.molar_kg();
    let heat_j_mol_k = port.gas.heat_capacity(port.temperature)?.value * molar_kg;
    let ratio = heat_j_mol_k / (heat_j_mol_k - crate::constants::R);
    Ok(libm::sqrt(ratio * crate::constants::R * si::kelvin(port.temperature) / molar_kg))
}

/// Diffusion of argon in air at one atmosphere by Fuller's method.
///
/// Fuller, Schettler and Giddings, as in *The Properties of Gases and Liquids*, 5th edition, with diffusion volumes 16.2
/// for argon and 19.7 for air; all from memory. Within about 5 %.
///
/// # Errors
/// A temperature outside -50 to 1250 °C.
pub fn argon_in_air(temperature: ThermodynamicTemperature) -> Result<DiffusionCoefficient> {
    within("the temperature of the gas", si::celsius(temperature), "°C", -50.0, 1250.0)?;
    let mean_g_mol = 2.0 / (1.0 / 39.948 + 1.0 / 28.965);
    let size = libm::cbrt(16.2) + libm::cbrt(19.7);
    let cm2_s = 0.001_43 * libm::pow(si::kelvin(temperature), 1.75) / (1.013_25 * libm::sqrt(mean_g_mol) * size * size);
    Ok(DiffusionCoefficient::new::<square_meter_per_second>(cm2_s * 1e-4))
}

/// The time in which diffusion alone evens out a layer of a height: `height² / D`.
///
/// # Errors
/// A height outside 1 mm to 5 m, a temperature outside -50 to 1250 °C.
pub fn diffusion_time(height: Length, temperature: ThermodynamicTemperature) -> Result<Time> {
    let height_m = within("the height", height.value, "m", 1e-3, 5.0)?;
    Ok(si::seconds(height_m * height_m / argon_in_air(temperature)?.value))
}
