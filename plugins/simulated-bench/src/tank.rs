//! A quench tank: oil, a heater with a thermostat, an agitator, and hot steel that gives its heat away.

use crate::furnace::{STEEL_KJ_PER_KG_K, toward};

/// A tank and its state.
#[derive(Clone, Debug)]
pub(crate) struct Tank {
    pub(crate) volume_l: f64,
    pub(crate) heater_kw: f64,
    pub(crate) loss_w_per_k: f64,
    pub(crate) level_share: f64,
    pub(crate) bath_c: f64,
    pub(crate) agitation_on: bool,
    /// The thermostat's goal; none is off.
    pub(crate) heat_to_c: Option<f64>,
    pub(crate) heater_on: bool,
    pub(crate) thermometer_broken: bool,
    /// Steel in the oil, and its temperature.
    pub(crate) steel_kg: f64,
    pub(crate) steel_c: f64,
}

/// Density times specific heat of quench oil, kJ/(L·K): 0.87 kg/L × 2.0 kJ/(kg·K), about (common practice).
const OIL_KJ_PER_L_K: f64 = 1.74;
/// Time in which steel of tool size gives its heat to moving oil, and to still oil, about.
const AGITATED_S: f64 = 12.0;
const STILL_S: f64 = 30.0;
/// Half the thermostat's switching span.
const THERMOSTAT_K: f64 = 0.5;

impl Tank {
    /// Puts hot steel in. What is in there already is taken out first: it has had its quench.
    pub(crate) fn quench(&mut self, steel_kg: f64, steel_c: f64) {
        self.steel_kg = steel_kg;
        self.steel_c = steel_c;
    }

    pub(crate) fn step(&mut self, seconds: f64, room_c: f64) {
        self.heater_on = match self.heat_to_c {
            None => false,
            Some(goal_c) if self.heater_on => self.bath_c < goal_c + THERMOSTAT_K,
            Some(goal_c) => self.bath_c < goal_c - THERMOSTAT_K,
        };
        let oil_j_per_k = (self.volume_l * self.level_share * OIL_KJ_PER_L_K * 1000.0).max(1.0);
        let steel_before_c = self.steel_c;
        let steel_s = if self.agitation_on { AGITATED_S } else { STILL_S };
        self.steel_c = toward(self.steel_c, self.bath_c, seconds / steel_s);
        self.bath_c += self.steel_kg * STEEL_KJ_PER_KG_K * 1000.0 * (steel_before_c - self.steel_c) / oil_j_per_k;
        let heater_w = if self.heater_on { self.heater_kw * 1000.0 } else { 0.0 };
        let balance_c = room_c + heater_w / self.loss_w_per_k;
        self.bath_c = toward(self.bath_c, balance_c, self.loss_w_per_k * seconds / oil_j_per_k);
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn tank() -> Tank {
        Tank {
            volume_l: 12.0,
            heater_kw: 1.0,
            loss_w_per_k: 3.0,
            level_share: 1.0,
            bath_c: 50.0,
            agitation_on: true,
            heat_to_c: None,
            heater_on: false,
            thermometer_broken: false,
            steel_kg: 0.0,
            steel_c: 20.0,
        }
    }

    /// Goal: heat is kept: 1 kg from 800 °C into 12 L at 50 °C ends where both agree, at (0.65 × 800 + 20.88 × 50) ÷ 21.53 °C
    /// = 72.64 °C (balance worked by hand), but for the loss to the room.
    #[test]
    fn a_quench_keeps_the_heat() {
        let mut tank = Tank { loss_w_per_k: 1e-6, ..tank() };
        tank.quench(1.0, 800.0);
        (0..600).for_each(|_| tank.step(0.5, 20.0));
        assert!((tank.bath_c - 72.64).abs() < 0.5, "{}", tank.bath_c);
        assert!((tank.steel_c - tank.bath_c).abs() < 0.5);
    }

    /// Goal: the thermostat warms to its goal and holds it, in short steps and in long ones.
    #[test]
    fn the_thermostat_holds() {
        for seconds in [0.5, 30.0] {
            let mut tank = tank();
            tank.heat_to_c = Some(60.0);
            (0..(7200.0 / seconds) as u32).for_each(|_| tank.step(seconds, 20.0));
            assert!((tank.bath_c - 60.0).abs() < 2.5, "{seconds}: {}", tank.bath_c);
        }
    }
}
