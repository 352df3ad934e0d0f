//! The gas in a chamber: a well-mixed volume with a flow through it, a leak, air held in the lining's pores, and a door.
//!
//! Amounts of gas are counted in litres at the flow meters' reference conditions, which saves the gas constant everywhere:
//! a litre of chamber at temperature T holds `reference / T` of them.

use libm::exp;

/// Oxygen in dry air by volume (20.946 %, from memory).
pub(crate) const AIR_OXYGEN: f64 = 0.209_46;
/// Reference temperature of the bench's flow meters, 21.1 °C.
pub(crate) const REFERENCE_K: f64 = 294.25;

/// What a chamber is like.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Chamber {
    pub(crate) volume_l: f64,
    /// Air that the lining's pores hold, as a volume.
    pub(crate) pore_l: f64,
    /// Time in which pores and chamber come to agree.
    pub(crate) pore_s: f64,
    /// Air that finds its way in while the gas flows.
    pub(crate) leak_l_min: f64,
    /// Time in which an open door replaces the chamber's gas.
    pub(crate) door_s: f64,
}

/// What happens to the gas during one step.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Step {
    pub(crate) seconds: f64,
    pub(crate) flow_l_min: f64,
    /// Oxygen in the gas that flows in.
    pub(crate) supply_oxygen: f64,
    pub(crate) room_oxygen: f64,
    pub(crate) chamber_k: f64,
    /// Kelvins a second; falling temperature draws gas in.
    pub(crate) rate_k_s: f64,
    pub(crate) door_open: bool,
}

/// The oxygen in chamber and pores, by volume.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Gas {
    pub(crate) oxygen: f64,
    pore_oxygen: f64,
}

/// Without a flow nothing keeps the room out: the leak is this much larger.
const LEAK_WITHOUT_FLOW: f64 = 5.0;

impl Gas {
    /// A chamber full of air.
    pub(crate) fn air() -> Self {
        Self { oxygen: AIR_OXYGEN, pore_oxygen: AIR_OXYGEN }
    }

    /// One step. Coefficients are held during it and the mixing solved exactly, so that no length of step is unstable.
    pub(crate) fn step(&mut self, chamber: &Chamber, step: &Step) {
        let held_l = chamber.volume_l * REFERENCE_K / step.chamber_k;
        let pores_l = chamber.pore_l * REFERENCE_K / step.chamber_k;
        let flow_l_s = step.flow_l_min / 60.0;
        let leak = if step.flow_l_min > 0.0 { 1.0 } else { LEAK_WITHOUT_FLOW };
        let leak_l_s = chamber.leak_l_min / 60.0 * leak;
        // Contraction is fed by the gas as far as it goes; the room supplies the rest.
        let contraction_l_s = (-held_l * step.rate_k_s / step.chamber_k).max(0.0);
        let drawn_l_s = (contraction_l_s - flow_l_s).max(0.0);
        let door_l_s = if step.door_open { held_l / chamber.door_s } else { 0.0 };
        let air_l_s = leak_l_s + drawn_l_s + door_l_s;
        let pore_l_s = pores_l / chamber.pore_s;

        let in_l_s = flow_l_s + air_l_s + pore_l_s;
        let feeding = flow_l_s * step.supply_oxygen + air_l_s * step.room_oxygen + pore_l_s * self.pore_oxygen;
        let before = self.oxygen;
        if in_l_s > 0.0 {
            let settled = feeding / in_l_s;
            self.oxygen = settled + (self.oxygen - settled) * exp(-in_l_s / held_l * step.seconds);
        }
        if chamber.pore_l > 0.0 {
            let mean = f64::midpoint(before, self.oxygen);
            self.pore_oxygen = mean + (self.pore_oxygen - mean) * exp(-step.seconds / chamber.pore_s);
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const TIGHT: Chamber = Chamber { volume_l: 9.4, pore_l: 0.0, pore_s: 600.0, leak_l_min: 0.0, door_s: 5.0 };

    fn step(flow_l_min: f64) -> Step {
        Step {
            seconds: 0.5,
            flow_l_min,
            supply_oxygen: 0.0,
            room_oxygen: AIR_OXYGEN,
            chamber_k: REFERENCE_K,
            rate_k_s: 0.0,
            door_open: false,
        }
    }

    fn run(chamber: &Chamber, gas: &mut Gas, step: &Step, seconds: f64) {
        (0..(seconds / step.seconds) as u32).for_each(|_| gas.step(chamber, step));
    }

    /// Goal: a tight, well-mixed chamber follows the dilution law c = c₀ e^(−Qt/V) (general knowledge): after eight volume
    /// changes at reference temperature e⁻⁸ of the air's oxygen is left.
    #[test]
    fn dilution_of_a_tight_chamber() {
        let mut gas = Gas::air();
        run(&TIGHT, &mut gas, &step(9.4), 480.0);
        assert!((gas.oxygen / (AIR_OXYGEN * exp(-8.0)) - 1.0).abs() < 1e-9);
    }

    /// Goal: pores feed oxygen back for long; a leak sets a floor of leak ÷ (leak + flow) of the room's oxygen.
    #[test]
    fn pores_and_leak() {
        let porous = Chamber { pore_l: 4.0, ..TIGHT };
        let mut gas = Gas::air();
        run(&porous, &mut gas, &step(9.4), 480.0);
        assert!(gas.oxygen > 20.0 * AIR_OXYGEN * exp(-8.0));
        let leaky = Chamber { leak_l_min: 0.01, ..TIGHT };
        run(&leaky, &mut gas, &step(8.0), 7200.0);
        assert!((gas.oxygen / (AIR_OXYGEN * 0.01 / 8.01) - 1.0).abs() < 1e-3);
    }

    /// Goal: cooling draws air in when the flow is smaller than the contraction, and not when it is larger.
    #[test]
    fn cooling_draws_air_in() {
        let cooling = |flow_l_min| Step { chamber_k: 1073.0, rate_k_s: -3.0, ..step(flow_l_min) };
        let pure = Gas { oxygen: 0.0, pore_oxygen: 0.0 };
        let (mut small, mut large) = (pure, pure);
        // Contraction: 9.4 × 294.25 / 1073 × 3 / 1073 L/s = 0.43 L/min (worked by hand).
        run(&TIGHT, &mut small, &cooling(0.2), 60.0);
        run(&TIGHT, &mut large, &cooling(0.5), 60.0);
        assert!(small.oxygen > 0.01 && large.oxygen == 0.0, "{} {}", small.oxygen, large.oxygen);
    }

    /// Goal: an open door brings the room in within its time, whatever the flow, and a step of a minute is as stable as a
    /// short one.
    #[test]
    fn an_open_door() {
        let mut gas = Gas { oxygen: 0.0, pore_oxygen: 0.0 };
        gas.step(&TIGHT, &Step { seconds: 60.0, door_open: true, ..step(0.0) });
        assert!(gas.oxygen > 0.2 && gas.oxygen <= AIR_OXYGEN);
    }
}
