//! A knife's taper in air: thin at the edge, thick at the back, heat flowing along the width to where it is lost most.
//!
//! `ρ c s(y) dT/dt = d/dy(k s dT/dy) - 2 h(T) (T - T_room)` by finite volumes, finer towards the edge, stepped by Crank and
//! Nicolson's rule; `k = 27.3 W/(m K)` and
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
    let pieces = ((start_c - room_c) / 20.0) as u32 + 1;
    let table: Vec<(f64, f64)> = (0..=pieces)
        .map(|i| room_c + (start_c - room_c) * f64::from(i) / f64::from(pieces))
        .map(|t_c| (t_c, air.coefficient_w_m2_k(t_c)))
        .collect();
    let grid = Grid::new(edge_m, back_m, width_m);
    let count = (time_s / LONGEST_STEP_S) as u32 + 1;
    let mut over_k = [start_c - room_c; CELLS];
    for _ in 0..count {
        over_k = grid.step(&over_k, time_s / f64::from(count), |over_k| between(&table, room_c + over_k).unwrap_or(0.0));
    }
    let (edge_k, mean_k, back_k) = grid.summary(&over_k);
    Ok(TaperAfter {
        edge: si::from_celsius(room_c + edge_k),
        mean: si::from_celsius(room_c + mean_k),
        back: si::from_celsius(room_c + back_k),
    })
}

/// A taper cut into cells; all per metre of its length.
struct Grid {
    /// Heat held, J/(m K).
    held: [f64; CELLS],
    /// Coupling to the next cell, W/(m K); none for the last.
    coupling: [f64; CELLS],
    /// Surface, both faces, m.
    surface: [f64; CELLS],
}

impl Grid {
    fn new(edge_m: f64, back_m: f64, width_m: f64) -> Self {
        let face = |i: usize| {
            let part = i as f64 / CELLS as f64;
            part * libm::sqrt(part) * width_m
        };
        let thickness = |y_m: f64| edge_m + (back_m - edge_m) * y_m / width_m;
        let middle = |i: usize| (face(i) + face(i + 1)) / 2.0;
        Self {
            held: core::array::from_fn(|i| STEEL_KG_M3 * AUSTENITE_J_KG_K * thickness(middle(i)) * (face(i + 1) - face(i))),
            coupling: core::array::from_fn(|i| {
                let next = i + 1;
                if next == CELLS { 0.0 } else { CONDUCTIVITY_W_M_K * thickness(face(next)) / (middle(next) - middle(i)) }
            }),
            surface: core::array::from_fn(|i| 2.0 * (face(i + 1) - face(i))),
        }
    }

    /// One step of the temperatures over the room: `(C/dt + A/2) T' = (C/dt - A/2) T`, solved from the edge to the back.
    fn step(&self, over_k: &[f64; CELLS], step_s: f64, coefficient: impl Fn(f64) -> f64) -> [f64; CELLS] {
        let (mut upper, mut right) = ([0.0; CELLS], [0.0; CELLS]);
        let (mut upper_before, mut right_before) = (0.0, 0.0);
        for i in 0..CELLS {
            let before = if i == 0 { 0.0 } else { self.coupling[i - 1] };
            let loss = self.surface[i] * coefficient(over_k[i]);
            let inflow = before * (over_k[i.saturating_sub(1)] - over_k[i])
                + self.coupling[i] * (over_k[(i + 1).min(CELLS - 1)] - over_k[i])
                - loss * over_k[i];
            let held = if step_s > 0.0 { self.held[i] / step_s } else { f64::INFINITY };
            let middle = held + (before + self.coupling[i] + loss) / 2.0 - before / 2.0 * upper_before;
            // Solved for the change, so that nothing cancels: (C/dt + A/2) ΔT = -A T.
            upper[i] = self.coupling[i] / 2.0 / middle;
            right[i] = (inflow + before / 2.0 * right_before) / middle;
            (upper_before, right_before) = (upper[i], right[i]);
        }
        let mut next = *over_k;
        let mut change = 0.0;
        for i in (0..CELLS).rev() {
            change = right[i] + upper[i] * change;
            next[i] += change;
        }
        next
    }

    /// Edge, mean by mass, and back.
    fn summary(&self, over_k: &[f64; CELLS]) -> (f64, f64, f64) {
        let held: f64 = self.held.iter().sum();
        let mean = self.held.iter().zip(over_k).map(|(held, t)| held * t).sum::<f64>() / held;
        // No heat passes the ends, so that the curve is even about them: a parabola through the middles of two cells.
        let end = |at: usize, next: usize| {
            let (x1, x2) = (self.surface[at] / 4.0, self.surface[at] / 2.0 + self.surface[next] / 4.0);
            over_k[at] + (over_k[at] - over_k[next]) * x1 * x1 / (x2 * x2 - x1 * x1)
        };
        (end(0, 1), mean, end(CELLS - 1, CELLS - 2))
    }
}

/// Cells along the width: against ten times as many within 0.1 K.
const CELLS: usize = 32;
/// The coefficient is taken at the start of a step; over this time it moves by some thousandths.
const LONGEST_STEP_S: f64 = 0.02;
/// Of austenite.
const CONDUCTIVITY_W_M_K: f64 = 27.3;

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_taper_loses_what_passes_its_faces() {
        let grid = Grid::new(0.000_5, 0.004, 0.03);
        let mut over_k: [f64; CELLS] = core::array::from_fn(|i| 400.0 + 12.0 * i as f64);
        let held = |over_k: &[f64; CELLS]| -> f64 { grid.held.iter().zip(over_k).map(|(held, t)| held * t).sum() };
        let first = held(&over_k);
        let mut lost = 0.0;
        for _ in 0..500 {
            let coefficient = |t: f64| 20.0 + 0.1 * t;
            let next = grid.step(&over_k, 0.02, coefficient);
            for i in 0..CELLS {
                // The rule of Crank and Nicolson: the mean of before and after, with the coefficient of before.
                lost += grid.surface[i] * coefficient(over_k[i]) * (over_k[i] + next[i]) / 2.0 * 0.02;
            }
            over_k = next;
        }
        assert!(lost > 0.01 * first, "{lost} of {first}");
        assert!(((first - held(&over_k)) / lost - 1.0).abs() < 1e-9, "{first} {} {lost}", held(&over_k));
        // What only flows inside is not lost, however steep it was.
        let steep: [f64; CELLS] = core::array::from_fn(|i| if i % 2 == 0 { 500.0 } else { 100.0 });
        let even = grid.step(&steep, 0.02, |_| 0.0);
        assert!((held(&even) / held(&steep) - 1.0).abs() < 1e-12 && (even[0] - steep[0]).abs() > 1.0);
    }
}
