//! The core of a thick plate by conduction, cell by cell: the slow, thorough answer beside the lumped one.
//!
//! One-dimensional finite volumes over half the thickness with the heat capacity and conductivity of EN 1993-1-2. The
//! state is enthalpy, so that no step can jump the transformation. Costs some milliseconds: for a page that a person
//! asks for, not for a scan of the decision core.

use super::{Section, Shape, Surroundings};
use crate::constants::STEEL_KG_M3;
use crate::error::{Result, impossible, within};
use crate::si;
use crate::thermal;
use uom::si::f64::{TemperatureInterval, ThermodynamicTemperature, Time};

/// How the core of a plate came to heat.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct CoreHeating {
    /// The time until the core was at the target.
    pub time: Time,
    /// The largest lead of the surface over the core on the way.
    pub lag: TemperatureInterval,
    /// The temperature of the surface when it led most.
    pub surface_then: ThermodynamicTemperature,
}

/// The time until the core of a plate is at a temperature below the furnace's, by conduction.
///
/// # Errors
/// A section that is not a plate or thinner than 1 mm; values outside their ranges; a target not between start and
/// furnace; a plate that is not at its target after ten million steps.
pub fn core_by_conduction(
    section: Section,
    start: ThermodynamicTemperature,
    target: ThermodynamicTemperature,
    furnace: &Surroundings,
) -> Result<CoreHeating> {
    if section.shape != Shape::Plate {
        return Err(impossible(
            "conduction by cells",
            "it is worked for plates only; use the series for bars and spheres".to_owned(),
        ));
    }
    let half_m = within("the thickness of the plate", section.checked()?.size.value * 1e3, "mm", 1.0, 500.0)? / 2e3;
    let furnace_c = furnace.checked()?;
    let start_c = within("the start", si::celsius(start), "°C", 20.0, furnace_c - 1e-3)?;
    let target_c = within("the target", si::celsius(target), "°C", start_c, furnace_c - 1e-3)?;
    let mut plate = Plate::new(half_m, start_c);
    let flux = furnace.flux_w_m2();
    // The explicit step is stable below half the time in which heat crosses a cell; conduction is fastest cold.
    let step_s = 0.4 * STEEL_KG_M3 * thermal::heat_j_kg_k(20.0) * plate.cell_m * plate.cell_m / thermal::conductivity_w_m_k(20.0);
    let (mut lag_k, mut surface_then_c, mut time_s) = (0.0, start_c, 0.0);
    for _ in 0..10_000_000_u32 {
        let before_c = plate.core_c();
        plate.step(step_s, &flux);
        time_s += step_s;
        let (core_c, surface_c) = (plate.core_c(), plate.surface_c(&flux));
        if surface_c - core_c > lag_k {
            (lag_k, surface_then_c) = (surface_c - core_c, surface_c);
        }
        if core_c >= target_c {
            let over = (core_c - target_c) / (core_c - before_c).max(1e-12);
            let time = si::seconds(time_s - step_s * over.clamp(0.0, 1.0));
            return Ok(CoreHeating { time, lag: si::difference(lag_k), surface_then: si::from_celsius(surface_then_c) });
        }
    }
    Err(impossible("conduction by cells", "the plate does not come to its target".to_owned()))
}

/// Cells over half the thickness: a parabola, which steady heating makes, is exact in any number of them.
const CELLS: usize = 8;

struct Plate {
    cell_m: f64,
    enthalpy_j_kg: [f64; CELLS],
    t_c: [f64; CELLS],
}

impl Plate {
    fn new(half_m: f64, start_c: f64) -> Self {
        Self { cell_m: half_m / CELLS as f64, enthalpy_j_kg: [thermal::enthalpy_j_kg(start_c); CELLS], t_c: [start_c; CELLS] }
    }

    fn step(&mut self, step_s: f64, flux_w_m2: &impl Fn(f64) -> f64) {
        let mut inflow = [0.0; CELLS];
        for i in 1..CELLS {
            let k = thermal::conductivity_w_m_k((self.t_c[i - 1] + self.t_c[i]) / 2.0);
            let through = k * (self.t_c[i] - self.t_c[i - 1]) / self.cell_m;
            inflow[i - 1] += through;
            inflow[i] -= through;
        }
        inflow[CELLS - 1] += flux_w_m2(self.surface_c(flux_w_m2));
        for (i, flow) in inflow.into_iter().enumerate() {
            self.enthalpy_j_kg[i] += flow * step_s / (STEEL_KG_M3 * self.cell_m);
            self.t_c[i] = temperature_c(self.enthalpy_j_kg[i], self.t_c[i]);
        }
    }

    /// The core's own temperature, half a cell inside the first middle: even in x, so a parabola through two cells.
    fn core_c(&self) -> f64 {
        self.t_c[0] - (self.t_c[1] - self.t_c[0]) / 8.0
    }

    /// The surface, half a cell beyond the last middle, by the flow that passes it.
    fn surface_c(&self, flux_w_m2: &impl Fn(f64) -> f64) -> f64 {
        let last_c = self.t_c[CELLS - 1];
        last_c + flux_w_m2(last_c) * self.cell_m / 2.0 / thermal::conductivity_w_m_k(last_c)
    }
}

/// Inverts the enthalpy by Newton's method from the temperature of the step before, which is close.
fn temperature_c(enthalpy_j_kg: f64, near_c: f64) -> f64 {
    let mut t_c = near_c;
    for _ in 0..6 {
        let off = thermal::enthalpy_j_kg(t_c) - enthalpy_j_kg;
        if libm::fabs(off) < 1e-3 {
            break;
        }
        t_c -= off / thermal::heat_j_kg_k(t_c);
    }
    t_c
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_passes_the_surface_is_what_the_plate_holds_more() {
        let flux = |t_c: f64| 60.0 * (800.0 - t_c);
        let mut plate = Plate::new(0.006, 25.0);
        let (mut passed_j_m2, cold) = (0.0, plate.enthalpy_j_kg);
        // Through the peak of the heat capacity and on, the stable step of a plate of these cells.
        for _ in 0..200_000 {
            passed_j_m2 += flux(plate.surface_c(&flux)) * 0.01;
            plate.step(0.01, &flux);
        }
        let held: f64 = plate.enthalpy_j_kg.iter().zip(cold).map(|(now, cold)| (now - cold) * STEEL_KG_M3 * plate.cell_m).sum();
        assert!(plate.core_c() > 740.0, "{}", plate.core_c());
        assert!((held / passed_j_m2 - 1.0).abs() < 1e-9, "{held} J/m² held, {passed_j_m2} passed");
    }
}
