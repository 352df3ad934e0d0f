//! A furnace in parts: heater and wall, chamber, load; for a heat-up with a load before anyone has recorded one.

use super::Identified;
use crate::error::{Result, impossible, within};
use crate::si;
use crate::units::Ramp;
use uom::si::f64::{HeatCapacity, Power, ThermalConductance, ThermodynamicTemperature, Time};
use uom::si::heat_capacity::joule_per_kelvin;
use uom::si::thermal_conductance::watt_per_kelvin;

/// Heater with wall and insulation, and chamber with lining and sensor, coupled; the loss goes from the heater's side.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Nodes {
    /// Heat held by heater, wall and insulation.
    pub heater: HeatCapacity,
    /// Heat held by chamber and lining.
    pub chamber: HeatCapacity,
    /// The coupling of the two.
    pub coupling: ThermalConductance,
    /// The loss to the room.
    pub loss: ThermalConductance,
}

/// A load in the chamber.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Load {
    /// Heat held: mass times 650 J/(kg K) or so.
    pub capacity: HeatCapacity,
    /// Its coupling to the chamber.
    pub coupling: ThermalConductance,
}

/// A heat-up at steady power.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct HeatUp {
    /// The time until the chamber is at its set point.
    pub time: Time,
    /// The heater then.
    pub heater: ThermodynamicTemperature,
    /// The load then, if there is one: it is not at heat when the chamber is.
    pub load: Option<ThermodynamicTemperature>,
    /// How fast the chamber still rises then.
    pub rate: Ramp,
}

impl Nodes {
    /// Parts that answer as an identified furnace does, for a share of its capacity that is taken to be the chamber's.
    ///
    /// The share cannot be found from a record; 0.15 is a guess. It moves the load's lag, not the chamber's.
    ///
    /// # Errors
    /// A share outside 0.01 to 0.5, or one that the identified lag does not allow.
    pub fn from_identified(found: &Identified, chamber_share: f64) -> Result<Self> {
        let share = within("the chamber's share of the capacity", chamber_share, "", 0.01, 0.5)?;
        let (u, s, q) = (found.loss.value, found.capacity.value, found.lag_j_s_k);
        let chamber = share * s;
        // S = C1 + C2 + U Q / C1 and Q = C1 C2 / K, solved for C1 and K.
        let rest = s - chamber;
        let inside = rest * rest - 4.0 * u * q;
        if inside <= 0.0 {
            return Err(impossible("a furnace in parts", "its lag is too long for such a share".to_owned()));
        }
        let heater = (rest + libm::sqrt(inside)) / 2.0;
        Ok(Self {
            heater: HeatCapacity::new::<joule_per_kelvin>(heater),
            chamber: HeatCapacity::new::<joule_per_kelvin>(chamber),
            coupling: ThermalConductance::new::<watt_per_kelvin>(heater * chamber / q),
            loss: found.loss,
        })
    }

    /// The time to a set point at steady power from a furnace at room temperature.
    ///
    /// Fourth-order steps of a fiftieth of the fastest time constant.
    ///
    /// # Errors
    /// Parts that are not positive; a set point that the power never reaches; more than a week.
    pub fn heat_up(
        &self,
        power: Power,
        room: ThermodynamicTemperature,
        set_point: ThermodynamicTemperature,
        load: Option<Load>,
    ) -> Result<HeatUp> {
        for (what, value) in
            [("the heater's capacity, J/K,", self.heater.value), ("the chamber's capacity, J/K,", self.chamber.value)]
        {
            within(what, value, "", 1.0, 1e9)?;
        }
        let coupling = within("the coupling", self.coupling.value, "W/K", 1e-3, 1e6)?;
        let loss = within("the loss", self.loss.value, "W/K", 1e-6, 1e6)?;
        let room_c = si::celsius(room);
        let wanted_k = within("the set point", si::celsius(set_point), "°C", room_c, room_c + power.value / loss)? - room_c;
        let (load_j_k, load_w_k) = load.map_or((1.0, 0.0), |load| (load.capacity.value, load.coupling.value));
        let change = |[heater, chamber, load]: [f64; 3]| {
            let (across, to_load) = (coupling * (heater - chamber), load_w_k * (chamber - load));
            [
                (power.value - across - loss * heater) / self.heater.value,
                (across - to_load) / self.chamber.value,
                to_load / load_j_k,
            ]
        };
        let fastest_s = self.heater.value.min(self.chamber.value) / (coupling + loss + load_w_k);
        let step_s = fastest_s / 50.0;
        let (mut state, mut time_s) = ([0.0; 3], 0.0);
        while time_s < 604_800.0 {
            let next = advance(state, step_s, &change);
            if next[1] >= wanted_k {
                // Newton's step from the nearer side: the curve is smooth over a fiftieth of its fastest time.
                let part_s = (wanted_k - state[1]) / ((next[1] - state[1]) / step_s);
                let at = advance(state, part_s, &change);
                let rest_s = (wanted_k - at[1]) / change(at)[1];
                let at = advance(state, part_s + rest_s, &change);
                let over = |k: f64| si::from_celsius(k + room_c);
                return Ok(HeatUp {
                    time: si::seconds(time_s + part_s + rest_s),
                    heater: over(at[0]),
                    load: load.map(|_| over(at[2])),
                    rate: Ramp { rise: si::difference(change(at)[1]), within: si::seconds(1.0) },
                });
            }
            (state, time_s) = (next, time_s + step_s);
        }
        Err(impossible("a heat-up", "it takes more than a week".to_owned()))
    }
}

/// One step of Runge and Kutta's fourth order.
fn advance(state: [f64; 3], step_s: f64, change: &impl Fn([f64; 3]) -> [f64; 3]) -> [f64; 3] {
    let along = |by: [f64; 3], part: f64| core::array::from_fn(|i| state[i] + by[i] * step_s * part);
    let a = change(state);
    let b = change(along(a, 0.5));
    let c = change(along(b, 0.5));
    let d = change(along(c, 1.0));
    core::array::from_fn(|i| state[i] + step_s / 6.0 * (a[i] + 2.0 * b[i] + 2.0 * c[i] + d[i]))
}
