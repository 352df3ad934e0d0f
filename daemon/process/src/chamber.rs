//! The gas in a chamber, stepped through time: purge, heating, cooling, leaks, an open door, and the air in the pores of
//! the insulation.
//!
//! Two well-mixed compartments at the pressure of the room: the free volume, and the pore volume of brick or fibre,
//! which exchanges with the free volume alone at a first-order rate. A tight retort has no pores. Warming gas leaves;
//! cooling gas draws in what the inflow does not make up, and that is air. An open door swaps the free volume with the
//! room at a first-order rate of its own.
//!
//! Within a step the equations are linear and solved exactly, so a step may be as long as the inputs stay the same.
//!
//! What it is not: a measurement. Porosity, exchange time and door exchange are assumed until a chamber has been
//! calibrated with a probe or witness strips ([`crate::calibrate`]); gas that layers is not well mixed ([`crate::jet`]).
//!
//! ```
//! use hearthward_process::chamber::{Chamber, ChamberGas, Inputs};
//! use hearthward_process::flow::Reference;
//! use hearthward_process::units;
//!
//! let chamber = Chamber::tight(units::volume("9.4 L")?)?;
//! let mut gas = ChamberGas::air(&chamber, units::temperature("25 C")?)?;
//! let purge = Inputs {
//!     time: units::time("1 min")?,
//!     temperature: units::temperature("25 C")?,
//!     inflow: Reference::TWENTY_ONE.amount_flow(units::flow("8 L/min")?),
//!     inflow_oxygen: units::share("5 ppm")?,
//!     ..Inputs::nothing(units::temperature("25 C")?)
//! };
//! for _minute in 0..9 {
//!     gas = gas.step(&chamber, &purge)?.gas;
//! }
//! assert!(gas.oxygen().value < 100e-6);
//! # Ok::<(), hearthward_process::ProcessError>(())
//! ```

use crate::constants::{AIR_OXYGEN, ATMOSPHERE_PA, R};
use crate::error::{Result, within};
use crate::{AmountFlow, si};
use serde::{Deserialize, Serialize};
use uom::si::f64::{AmountOfSubstance, Pressure, Ratio, ThermodynamicTemperature, Time, Volume};

/// What a chamber is: its free volume, its pores, how fast an open door lets the room in.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct Chamber {
    volume_m3: f64,
    pressure_pa: f64,
    door_s: f64,
    pores: Option<Pores>,
}

/// The air in the insulation, as a second compartment.
///
/// None of its numbers can be looked up for a real furnace: fit them ([`crate::calibrate`]) or say that they are assumed.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct Pores {
    /// The gas volume in the pores: insulation volume times porosity (fibre and light brick 0.6 to 0.9).
    pub volume: Volume,
    /// The first-order time of exchange with the free volume, from minutes (fibre) to an hour (dense brick).
    pub exchange: Time,
    /// How far the mean insulation follows the chamber's rise over the room: 0.5 for a wall in steady state.
    pub warming: Ratio,
    /// The temperature of the room, from which the wall warms.
    pub room: ThermodynamicTemperature,
}

/// The state: moles of oxygen and of everything else, in the free volume and in the pores.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct ChamberGas {
    /// Oxygen in the free volume.
    pub oxygen: AmountOfSubstance,
    /// All other gas in the free volume.
    pub inert: AmountOfSubstance,
    /// Oxygen in the pores; zero where there are none.
    pub pore_oxygen: AmountOfSubstance,
    /// All other gas in the pores; zero where there are none.
    pub pore_inert: AmountOfSubstance,
}

/// What happens to the chamber during a step.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Inputs {
    /// The length of the step, 0 to one day.
    pub time: Time,
    /// The chamber's temperature at the end of the step, -50 to 1300 °C; it moves there evenly.
    pub temperature: ThermodynamicTemperature,
    /// Purge gas flowing in.
    pub inflow: AmountFlow,
    /// The mole fraction of oxygen in the purge gas.
    pub inflow_oxygen: Ratio,
    /// Air leaking in, whatever the pressure does ([`crate::stack`] says how much).
    pub leak: AmountFlow,
    /// Whether the door stands open.
    pub door_open: bool,
}

/// The outcome of a step.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Stepped {
    /// The state after the step.
    pub gas: ChamberGas,
    /// Air drawn in because the inflow could not make up for the gas that shrank.
    pub drawn: AmountOfSubstance,
    /// Gas pushed out through the vent and the gaps; an open door's exchange is not counted.
    pub vented: AmountOfSubstance,
}

impl Chamber {
    /// A tight retort: no pores.
    ///
    /// # Errors
    /// A volume outside 0.01 L to 100 m³.
    pub fn tight(volume: Volume) -> Result<Self> {
        let litres = within("the chamber's volume", volume.value * 1e3, "L", 0.01, 1e5)?;
        Ok(Self { volume_m3: litres / 1e3, pressure_pa: ATMOSPHERE_PA, door_s: DOOR_S, pores: None })
    }

    /// The same chamber, lined with porous insulation.
    ///
    /// # Errors
    /// A pore volume over 100 m³ or none, an exchange time outside 1 s to 10 days, a warming outside 0 to 1.
    pub fn with_pores(self, pores: Pores) -> Result<Self> {
        within("the pore volume", pores.volume.value * 1e3, "L", 1e-3, 1e5)?;
        within("the exchange time of the pores", pores.exchange.value / 60.0, "min", 1.0 / 60.0, 14_400.0)?;
        within("the warming of the wall", pores.warming.value, "of the chamber's rise", 0.0, 1.0)?;
        Ok(Self { pores: Some(pores), ..self })
    }

    /// The same chamber with another time in which an open door swaps the free volume with the room (5 s unless set).
    ///
    /// # Errors
    /// A time outside 0.1 s to one hour.
    pub fn with_door_exchange(self, time: Time) -> Result<Self> {
        Ok(Self { door_s: within("the exchange time of an open door", time.value, "s", 0.1, 3600.0)?, ..self })
    }

    /// The free volume.
    pub fn volume(&self) -> Volume {
        si::cubic_metres(self.volume_m3)
    }

    /// The absolute pressure in the chamber, which is the room's.
    pub fn pressure(&self) -> Pressure {
        si::pascals(self.pressure_pa)
    }

    /// The pores, if the chamber has any.
    pub fn pores(&self) -> Option<&Pores> {
        self.pores.as_ref()
    }

    /// The amount of gas that the free volume holds at a temperature.
    pub fn holds(&self, temperature: ThermodynamicTemperature) -> AmountOfSubstance {
        si::moles(self.pressure_pa * self.volume_m3 / (R * si::kelvin(temperature)))
    }

    /// The amount of gas that the pores hold while the chamber is at a temperature.
    fn pores_hold_mol(&self, chamber_k: f64) -> f64 {
        self.pores.map_or(0.0, |pores| {
            let room_k = si::kelvin(pores.room);
            self.pressure_pa * pores.volume.value / (R * (room_k + pores.warming.value * (chamber_k - room_k)))
        })
    }
}

impl ChamberGas {
    /// A chamber full of air.
    ///
    /// # Errors
    /// A temperature outside -50 to 1300 °C.
    pub fn air(chamber: &Chamber, temperature: ThermodynamicTemperature) -> Result<Self> {
        Self::filled(chamber, temperature, si::fraction(AIR_OXYGEN), si::fraction(AIR_OXYGEN))
    }

    /// A chamber filled to given mole fractions of oxygen in the free volume and in the pores.
    ///
    /// # Errors
    /// A temperature outside -50 to 1300 °C, a fraction outside 0 to 1.
    pub fn filled(chamber: &Chamber, temperature: ThermodynamicTemperature, oxygen: Ratio, pore_oxygen: Ratio) -> Result<Self> {
        let t_k = in_range(temperature)?;
        let x = within("the oxygen in the chamber", oxygen.value * 100.0, "%", 0.0, 100.0)? / 100.0;
        let y = within("the oxygen in the pores", pore_oxygen.value * 100.0, "%", 0.0, 100.0)? / 100.0;
        Ok(Self::of(chamber.holds(temperature).value, x, chamber.pores_hold_mol(t_k), y))
    }

    /// The mole fraction of oxygen in the free volume: what the steel sees.
    pub fn oxygen(&self) -> Ratio {
        share(self.oxygen, self.inert)
    }

    /// The mole fraction of oxygen in the pores; 0 where there are none.
    pub fn oxygen_in_pores(&self) -> Ratio {
        share(self.pore_oxygen, self.pore_inert)
    }

    /// Steps the gas through a time in which the inputs stay the same and the temperature moves evenly to its new value.
    ///
    /// Air is 20.95 % oxygen. The step splits itself while the temperature moves, so that its error stays below 1e-5 of
    /// the oxygen; at a steady temperature it is exact. Oxygen taken up by steel, scale or carbon is not modelled.
    ///
    /// # Errors
    /// A time, temperature, flow or fraction outside its range.
    pub fn step(&self, chamber: &Chamber, inputs: &Inputs) -> Result<Stepped> {
        let time_s = within("the step", inputs.time.value, "s", 0.0, 86_400.0)?;
        let end_k = in_range(inputs.temperature)?;
        within("the flow into the chamber", inputs.inflow.value, "mol/s", 0.0, 1e3)?;
        within("the oxygen in the gas", inputs.inflow_oxygen.value * 100.0, "%", 0.0, 100.0)?;
        within("the leak", inputs.leak.value, "mol/s", 0.0, 1e3)?;
        let held_mol = self.oxygen.value + self.inert.value;
        let start_k =
            chamber.pressure_pa * chamber.volume_m3 / (R * within("the gas in the chamber", held_mol, "mol", 1e-9, 1e9)?);
        let mut stepped = Stepped { gas: *self, drawn: si::moles(0.0), vented: si::moles(0.0) };
        let pieces = (libm::fabs(libm::log(end_k / start_k)) / PIECE).max(0.0) as u32 + 1;
        for piece in 1..=pieces {
            let to_k = start_k + (end_k - start_k) * f64::from(piece) / f64::from(pieces);
            stepped = stepped.piece(chamber, inputs, time_s / f64::from(pieces), to_k);
        }
        Ok(stepped)
    }

    fn of(free_mol: f64, x: f64, pores_mol: f64, y: f64) -> Self {
        Self {
            oxygen: si::moles(free_mol * x),
            inert: si::moles(free_mol * (1.0 - x)),
            pore_oxygen: si::moles(pores_mol * y),
            pore_inert: si::moles(pores_mol * (1.0 - y)),
        }
    }
}

impl Inputs {
    /// Nothing flows, the door is shut, no time passes: a base to write inputs from.
    pub fn nothing(temperature: ThermodynamicTemperature) -> Self {
        Self {
            time: si::seconds(0.0),
            temperature,
            inflow: si::mole_rate(0.0),
            inflow_oxygen: si::fraction(0.0),
            leak: si::mole_rate(0.0),
            door_open: false,
        }
    }
}

impl Stepped {
    /// One piece of a step, over which all coefficients are taken at the middle.
    fn piece(self, chamber: &Chamber, inputs: &Inputs, time_s: f64, to_k: f64) -> Self {
        let gas = self.gas;
        let free = (gas.oxygen.value + gas.inert.value, chamber.holds(si::from_kelvin(to_k)).value);
        let pores = (gas.pore_oxygen.value + gas.pore_inert.value, chamber.pores_hold_mol(to_k));
        let entered_mol = (inputs.inflow.value + inputs.leak.value) * time_s;
        let growth_mol = free.1 - free.0 + pores.1 - pores.0;
        let drawn_mol = (growth_mol - entered_mol).max(0.0);
        let vented_mol = (entered_mol - growth_mol).max(0.0);
        if time_s == 0.0 && drawn_mol == 0.0 {
            let gas = ChamberGas::of(free.1, gas.oxygen().value, pores.1, gas.oxygen_in_pores().value);
            return Self { gas, vented: self.vented + si::moles(vented_mol), ..self };
        }
        // All in moles over the piece, per mole held at its middle: shares of the compartment that are exchanged.
        let middle = ((free.0 + free.1) / 2.0, (pores.0 + pores.1) / 2.0);
        let pushed_mol = pores.0 - pores.1;
        let door_mol = if inputs.door_open { middle.0 * time_s / chamber.door_s } else { 0.0 };
        let air_mol = inputs.leak.value * time_s + drawn_mol + door_mol;
        let gas_mol = inputs.inflow.value * time_s;
        let mixed_mol = chamber.pores.map_or(0.0, |p| middle.1 * time_s / p.exchange.value);
        let from_pores = (mixed_mol + pushed_mol.max(0.0)) / middle.0;
        let into_pores = if middle.1 > 0.0 { (mixed_mol + (-pushed_mol).max(0.0)) / middle.1 } else { 0.0 };
        let source = (gas_mol * inputs.inflow_oxygen.value + air_mol * AIR_OXYGEN) / middle.0;
        let swept = (gas_mol + air_mol) / middle.0;
        let (x, y) = relax(gas.oxygen().value, gas.oxygen_in_pores().value, swept, source, from_pores, into_pores);
        Self {
            gas: ChamberGas::of(free.1, x, pores.1, y),
            drawn: self.drawn + si::moles(drawn_mol),
            vented: self.vented + si::moles(vented_mol),
        }
    }
}

/// Time in which an open door swaps the free volume with the room, unless the shop sets it: assumed, no source.
const DOOR_S: f64 = 5.0;
/// The largest change of the temperature's logarithm in one piece of a step; the middle rule's error goes with its square.
const PIECE: f64 = 0.004;

/// Solves `x' = source - swept x + from (y - x)`, `y' = into (x - y)` over one unit of time, exactly.
fn relax(x: f64, y: f64, swept: f64, source: f64, from: f64, into: f64) -> (f64, f64) {
    if from == 0.0 {
        // No pores: one equation. (Pores that neither exchange nor breathe keep their gas.)
        return (x * libm::exp(-swept) + source * one_less_exp_over(swept), y);
    }
    // Both eigenvalues are real and not positive, since the two couplings have one sign. With the mean m and half the
    // spread d of them, f(A) = f̄ I + f[λ1, λ2] (A - m I), f̄ the mean of f and f[·] its divided difference.
    let mean = -(swept + from + into) / 2.0;
    let spread = libm::sqrt((mean + into) * (mean + into) + from * into);
    let (slow, fast) = (mean + spread, mean - spread);
    let (decay, decay_slope) = split(slow, fast, libm::exp);
    let (gain, gain_slope) = split(slow, fast, |z| one_less_exp_over(-z));
    let apply = |level: f64, slope: f64, u: f64, v: f64| {
        let first = (-swept - from - mean) * u + from * v;
        let second = into * u + (-into - mean) * v;
        (level * u + slope * first, level * v + slope * second)
    };
    let (x_kept, y_kept) = apply(decay, decay_slope, x, y);
    let (x_fed, y_fed) = apply(gain, gain_slope, source, 0.0);
    (x_kept + x_fed, y_kept + y_fed)
}

/// Mean and divided difference of a function at two points.
fn split(slow: f64, fast: f64, f: impl Fn(f64) -> f64) -> (f64, f64) {
    let (high, low) = (f(slow), f(fast));
    let gap = slow - fast;
    // Closer than this the difference of the two values has no digits left; a centred difference has enough.
    let slope = if gap > 1e-6 { (high - low) / gap } else { (f(slow + 1e-4) - f(fast - 1e-4)) / (gap + 2e-4) };
    ((high + low) / 2.0, slope)
}

/// `(1 - e^-z) / z`, 1 at 0.
fn one_less_exp_over(z: f64) -> f64 {
    if libm::fabs(z) < 1e-12 { 1.0 } else { -libm::expm1(-z) / z }
}

fn share(oxygen: AmountOfSubstance, inert: AmountOfSubstance) -> Ratio {
    let total = oxygen.value + inert.value;
    si::fraction(if total > 0.0 { oxygen.value / total } else { 0.0 })
}

fn in_range(temperature: ThermodynamicTemperature) -> Result<f64> {
    within("the chamber's temperature", si::celsius(temperature), "°C", -50.0, 1300.0).map(|t_c| t_c + si::ICE_K)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::flow::Reference;
    use crate::units;

    fn purge(litres_a_minute: f64, seconds: f64, t_c: f64) -> Inputs {
        let flow = si::volume_rate(litres_a_minute / 60_000.0);
        Inputs {
            time: si::seconds(seconds),
            inflow: Reference::TWENTY_ONE.amount_flow(flow),
            inflow_oxygen: si::fraction(5e-6),
            ..Inputs::nothing(si::from_celsius(t_c))
        }
    }

    fn lined() -> Chamber {
        let pores = Pores {
            volume: units::volume("28.89 L").unwrap(),
            exchange: units::time("20 min").unwrap(),
            warming: si::fraction(0.5),
            room: si::from_celsius(25.0),
        };
        Chamber::tight(units::volume("9.4 L").unwrap()).unwrap().with_pores(pores).unwrap()
    }

    #[test]
    fn one_long_step_is_many_short_ones() {
        let chamber = lined();
        let start = ChamberGas::air(&chamber, si::from_celsius(25.0)).unwrap();
        let long = start.step(&chamber, &purge(8.0, 600.0, 25.0)).unwrap().gas;
        let short = (0..6000).fold(start, |gas, _| gas.step(&chamber, &purge(8.0, 0.1, 25.0)).unwrap().gas);
        assert!((long.oxygen().value / short.oxygen().value - 1.0).abs() < 1e-9);
        assert!((long.oxygen_in_pores().value / short.oxygen_in_pores().value - 1.0).abs() < 1e-9);
    }

    #[test]
    fn a_cooling_chamber_draws_in_air_unless_the_flow_makes_up_for_it() {
        let chamber = Chamber::tight(units::volume("9.4 L").unwrap()).unwrap();
        let hot = ChamberGas::filled(&chamber, si::from_celsius(800.0), si::fraction(5e-6), si::fraction(0.0)).unwrap();
        let starved = hot.step(&chamber, &purge(0.0, 60.0, 700.0)).unwrap();
        assert!(starved.drawn.value > 0.0 && starved.gas.oxygen().value > 0.01);
        let fed = hot.step(&chamber, &purge(2.0, 60.0, 700.0)).unwrap();
        assert!(fed.drawn.value == 0.0 && (fed.gas.oxygen().value - 5e-6).abs() < 1e-12);
    }

    #[test]
    fn gas_is_neither_made_nor_lost() {
        let chamber = lined();
        let start = ChamberGas::air(&chamber, si::from_celsius(25.0)).unwrap();
        let heating = Inputs { leak: si::mole_rate(1e-5), ..purge(0.6, 900.0, 400.0) };
        let after = start.step(&chamber, &heating).unwrap();
        let total = |gas: &ChamberGas| gas.oxygen.value + gas.inert.value + gas.pore_oxygen.value + gas.pore_inert.value;
        let entered = (heating.inflow.value + 1e-5) * 900.0 + after.drawn.value;
        assert!((total(&start) + entered - after.vented.value - total(&after.gas)).abs() < 1e-9 * total(&start));
    }

    #[test]
    fn an_open_door_lets_the_room_in_and_a_shut_one_keeps_it_out() {
        let chamber = Chamber::tight(units::volume("9.4 L").unwrap()).unwrap();
        let clean = ChamberGas::filled(&chamber, si::from_celsius(800.0), si::fraction(5e-6), si::fraction(0.0)).unwrap();
        let open = Inputs { door_open: true, ..purge(0.0, 5.0, 800.0) };
        let after = clean.step(&chamber, &open).unwrap().gas.oxygen().value;
        // One exchange time: 1 - 1/e of the way to air.
        assert!((after - (AIR_OXYGEN - (AIR_OXYGEN - 5e-6) * libm::exp(-1.0))).abs() < 1e-12);
        assert_eq!(clean.step(&chamber, &purge(0.0, 5.0, 800.0)).unwrap().gas.oxygen().value, clean.oxygen().value);
    }

    #[test]
    fn equal_eigenvalues_are_no_trouble() {
        let (x, y) = relax(0.2, 0.1, 0.0, 0.0, 1e-9, 1e-9);
        assert!((x - 0.2).abs() < 1e-9 && (y - 0.1).abs() < 1e-9);
    }

    #[test]
    fn a_chamber_of_no_size_is_refused() {
        assert!(Chamber::tight(si::cubic_metres(0.0)).unwrap_err().to_string().contains("0 L; it must lie between 0.01"));
    }
}
