//! A body at one temperature, heated or cooled through its surface: times and temperatures to the rounding of the integral.
//!
//! The equation `m c(T) dT/dt = A q(T)` is not stepped through time: `dt = (m/A) c(T) / q(T) dT` is integrated over
//! temperature, in the logarithm of the distance to equilibrium, split where the heat capacity has its corners. That
//! is exact to a part in 10⁹ with some dozens of points, and no step can jump the peak at 735 °C.

use crate::numeric::integral;
use crate::thermal::HeatCapacity;

/// A body and what flows into its surface.
pub(crate) struct Body<F> {
    /// Mass over surface: density times volume over area.
    pub(crate) kg_m2: f64,
    pub(crate) capacity: HeatCapacity,
    /// The temperature at which nothing flows.
    pub(crate) equilibrium_c: f64,
    /// Flow of heat into the surface at a temperature (°C), W/m².
    pub(crate) flux_w_m2: F,
}

/// Closest approach to equilibrium that is followed: nobody can tell it from equilibrium.
const CLOSEST_K: f64 = 1e-6;

impl<F: Fn(f64) -> f64> Body<F> {
    /// The time from one temperature to another that lies on the way to equilibrium; `None` if it does not.
    pub(crate) fn time_s(&self, from_c: f64, to_c: f64) -> Option<f64> {
        let (start, end) = (self.equilibrium_c - from_c, self.equilibrium_c - to_c);
        if start == end {
            return Some(0.0);
        }
        let on_the_way = start * end > 0.0 && start.abs() > end.abs();
        on_the_way.then(|| self.integrate(start.abs(), end.abs(), start.signum()))
    }

    /// The temperature after a time.
    pub(crate) fn after_c(&self, from_c: f64, time_s: f64) -> f64 {
        let start = self.equilibrium_c - from_c;
        let (distance, side) = (start.abs(), start.signum());
        if time_s <= 0.0 || distance <= CLOSEST_K {
            return from_c;
        }
        // Newton's method on the logarithm of the distance, whose derivative is the integrand itself; each trial adds only
        // the stretch from the one before. A trial outside what is known to hold the answer is replaced by its middle.
        let (mut far, mut near) = (libm::log(distance), libm::log(CLOSEST_K));
        let (mut log, mut elapsed_s) = (far, 0.0);
        for _ in 0..100 {
            let left_s = time_s - elapsed_s;
            if left_s > 0.0 {
                far = log
            } else {
                near = log
            }
            let trial = log - left_s / self.pace_s(libm::exp(log), side);
            let next = if trial > near && trial < far { trial } else { (near + far) / 2.0 };
            let (high, low) = (libm::exp(log.max(next)), libm::exp(log.min(next)));
            elapsed_s += self.integrate(high, low, side) * (log - next).signum();
            let moved = libm::fabs(next - log);
            log = next;
            if moved < 1e-11 || libm::fabs(time_s - elapsed_s) < 1e-11 * time_s {
                break;
            }
        }
        self.equilibrium_c - side * libm::exp(log)
    }

    /// The time from one distance to a smaller one, on one side of equilibrium.
    fn integrate(&self, far: f64, near: f64, side: f64) -> f64 {
        let mut sum = 0.0;
        let mut from = far;
        loop {
            let to = self.next_corner(from, side).max(near);
            // Pieces of at most half a unit of the logarithm: the integrand is smooth on that scale.
            let span = libm::log(from / to);
            let pieces = (span * 2.0) as u32 + 1;
            sum += integral(libm::log(to), libm::log(from), pieces, |log| self.pace_s(libm::exp(log), side));
            if to <= near {
                return sum;
            }
            from = to;
        }
    }

    /// The time per unit of the distance's logarithm, at a distance from equilibrium.
    fn pace_s(&self, distance: f64, side: f64) -> f64 {
        let t_c = self.equilibrium_c - side * distance;
        self.kg_m2 * self.capacity.j_kg_k(t_c) * distance / (side * (self.flux_w_m2)(t_c))
    }

    /// The distance of the next corner of the heat capacity on the way to equilibrium; 0 if there is none.
    fn next_corner(&self, from: f64, side: f64) -> f64 {
        if self.capacity == HeatCapacity::Austenite {
            return 0.0;
        }
        CORNERS_C
            .into_iter()
            .map(|corner_c| (self.equilibrium_c - corner_c) * side)
            .filter(|&distance| distance > 0.0 && distance < from * (1.0 - 1e-12))
            .fold(0.0, f64::max)
    }
}

/// Where the heating curve bends (20, 600, 735, 900 °C), and marks on the flanks of its peak that grow with the distance
/// from the poles of its formula at 731 and 738 °C.
const CORNERS_C: [f64; 12] = [20.0, 600.0, 660.0, 705.0, 723.0, 731.0, 735.0, 739.0, 747.0, 765.0, 810.0, 900.0];

#[cfg(test)]
mod tests {
    use super::*;
    use crate::constants::SIGMA;

    #[test]
    fn radiation_alone_has_a_closed_form() {
        // t = m c / (4 ε σ T∞³) [ln((T∞+T)/(T∞-T)) + 2 atan(T/T∞)], from heating by T∞⁴ - T⁴ with constant c.
        let hot_k = 1073.15;
        let body = Body {
            kg_m2: 7850.0 * 0.0015,
            capacity: HeatCapacity::Austenite,
            equilibrium_c: 800.0,
            flux_w_m2: |t_c: f64| 0.8 * SIGMA * (libm::pow(hot_k, 4.0) - libm::pow(t_c + 273.15, 4.0)),
        };
        let part = |t_k: f64| libm::log((hot_k + t_k) / (hot_k - t_k)) + 2.0 * libm::atan(t_k / hot_k);
        let expected = 7850.0 * 0.0015 * 650.0 / (4.0 * 0.8 * SIGMA * hot_k * hot_k * hot_k) * (part(1063.15) - part(298.15));
        let ours = body.time_s(25.0, 790.0).unwrap();
        assert!((ours / expected - 1.0).abs() < 1e-9, "{ours} {expected}");
        assert!((body.after_c(25.0, ours) - 790.0).abs() < 1e-6);
    }

    #[test]
    fn a_temperature_on_the_peak_is_found() {
        let body =
            Body { kg_m2: 12.0, capacity: HeatCapacity::Heating, equilibrium_c: 800.0, flux_w_m2: |t: f64| 60.0 * (800.0 - t) };
        for target_c in [25.5, 300.0, 600.0, 733.0, 735.0, 737.0, 760.0, 799.999] {
            let time_s = body.time_s(25.0, target_c).unwrap();
            assert!((body.after_c(25.0, time_s) - target_c).abs() < 1e-7, "{target_c}: {}", body.after_c(25.0, time_s));
        }
        assert!(800.0 - body.after_c(25.0, 1e9) < 1e-5);
    }

    #[test]
    fn what_is_not_on_the_way_is_never_reached() {
        let body = Body { kg_m2: 1.0, capacity: HeatCapacity::Austenite, equilibrium_c: 100.0, flux_w_m2: |t: f64| 100.0 - t };
        assert_eq!(body.time_s(25.0, 110.0), None);
        assert_eq!(body.time_s(50.0, 25.0), None);
    }
}
