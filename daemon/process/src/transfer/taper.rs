//! A knife's taper in air: thin at the edge, thick at the back, heat flowing along the width to where it is lost most.
//!
//! `ρ c s(y) dT/dt = d/dy(k s dT/dy) - 2 h(T) (T - T_room)` by explicit finite volumes; `k = 27.3 W/(m K)` and
//! `c = 650 J/(kg K)` of austenite (EN 1993-1-2 above 800 and 900 °C). The thin end face is left out and the back is
//! insulated, so that the bounds stay strict. Convection is stronger at a real edge: it will be a little colder.

use super::StillAir;
use crate::constants::STEEL_KG_M3;
use crate::error::{Result, within};
use crate::numeric::between;
use crate::si;
use crate::thermal::AUSTENITE_J_KG_K;
use uom::si::f64::{Length, ThermodynamicTemperature, Time};

/// A straight taper.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Taper {
    /// Thickness at the edge.
    pub edge: Length,
    /// Thickness at the back.
    pub back: Length,
    /// From edge to back.
    pub width: Length,
}

/// A taper after some seconds in air.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct TaperAfter {
    /// At the edge.
    pub edge: ThermodynamicTemperature,
    /// The mean of the section, by mass.
    pub mean: ThermodynamicTemperature,
    /// At the back.
    pub back: ThermodynamicTemperature,
}

/// The temperatures of a taper after a time in still air.
///
/// # Errors
/// Thicknesses outside 0.1 to 50 mm, a back thinner than the edge, a width outside 2 to 200 mm, a start outside 100 to
/// 1300 °C, a time over two minutes.
pub fn taper(shape: &Taper, start: ThermodynamicTemperature, time: Time, air: &StillAir) -> Result<TaperAfter> {
    let room_c = air.checked()?;
    let edge_m = within("the thickness of the edge", shape.edge.value * 1e3, "mm", 0.1, 50.0)? / 1e3;
    let back_m = within("the thickness of the back", shape.back.value * 1e3, "mm", edge_m * 1e3, 50.0)? / 1e3;
    let width_m = within("the width of the taper", shape.width.value * 1e3, "mm", 2.0, 200.0)? / 1e3;
    let start_c = within("the temperature at the door", si::celsius(start), "°C", 100.0, 1300.0)?;
    let time_s = within("the time in air", time.value, "s", 0.0, 120.0)?;
    // The coefficient is smooth: a table every 20 K is within 0.01 % of it, and a hundred times cheaper.
    let steps = ((start_c - room_c) / 20.0) as u32 + 1;
    let table: Vec<(f64, f64)> = (0..=steps)
        .map(|i| room_c + (start_c - room_c) * f64::from(i) / f64::from(steps))
        .map(|t_c| (t_c, air.coefficient_w_m2_k(t_c)))
        .collect();
    let cell_m = width_m / CELLS as f64;
    let thickness_m = |y_cells: f64| edge_m + (back_m - edge_m) * y_cells / CELLS as f64;
    let longest_s = 0.4 * cell_m * cell_m * STEEL_KG_M3 * AUSTENITE_J_KG_K / CONDUCTIVITY_W_M_K;
    let count = (time_s / longest_s) as u32 + 1;
    let step_s = time_s / f64::from(count);
    let mut t_c = [start_c; CELLS];
    for _ in 0..count {
        let mut gain_w_m = [0.0; CELLS];
        for i in 1..CELLS {
            let through = CONDUCTIVITY_W_M_K * thickness_m(i as f64) * (t_c[i] - t_c[i - 1]) / cell_m;
            gain_w_m[i - 1] += through;
            gain_w_m[i] -= through;
        }
        for i in 0..CELLS {
            let coefficient = between(&table, t_c[i]).unwrap_or(0.0);
            let lost = 2.0 * cell_m * coefficient * (t_c[i] - room_c);
            let held = STEEL_KG_M3 * AUSTENITE_J_KG_K * thickness_m(i as f64 + 0.5) * cell_m;
            t_c[i] += (gain_w_m[i] - lost) * step_s / held;
        }
    }
    let weight: f64 = (0..CELLS).map(|i| thickness_m(i as f64 + 0.5)).sum();
    let mean_c = (0..CELLS).map(|i| thickness_m(i as f64 + 0.5) * t_c[i]).sum::<f64>() / weight;
    Ok(TaperAfter {
        // No heat passes the ends, so that the curve is even about them: a parabola half a cell beyond the last middle.
        edge: si::from_celsius(t_c[0] - (t_c[1] - t_c[0]) / 8.0),
        mean: si::from_celsius(mean_c),
        back: si::from_celsius(t_c[CELLS - 1] - (t_c[CELLS - 2] - t_c[CELLS - 1]) / 8.0),
    })
}

/// Cells along the width: against 320 graded cells within 0.1 K.
const CELLS: usize = 64;
/// Of austenite.
const CONDUCTIVITY_W_M_K: f64 = 27.3;
