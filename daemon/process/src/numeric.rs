//! The few numerical methods that the physics needs: a root, an integral, a straight line through points.
//!
//! All are deterministic: fixed orders of evaluation, bounds on the number of steps, no state.

/// The root of a continuous function between two points where its sign differs, by Brent's method.
///
/// `None` if the signs do not differ (or a value is not a number). Stops when the bracket is narrower than `tolerance`
/// plus a few rounding errors, or after 200 steps, which bisection alone would not need.
pub(crate) fn root(low: f64, high: f64, tolerance: f64, f: impl Fn(f64) -> f64) -> Option<f64> {
    let (mut a, mut b) = (low, high);
    let (mut fa, mut fb) = (f(a), f(b));
    if fa == 0.0 {
        return Some(a);
    }
    if fb == 0.0 {
        return Some(b);
    }
    if fa.is_nan() || fb.is_nan() || fa.signum() == fb.signum() {
        return None;
    }
    let (mut c, mut fc) = (a, fa);
    let (mut step, mut before) = (b - a, b - a);
    for _ in 0..200 {
        if fc.abs() < fb.abs() {
            (a, b, c) = (b, c, b);
            (fa, fb, fc) = (fb, fc, fb);
        }
        let close = 2.0 * f64::EPSILON * b.abs() + tolerance / 2.0;
        let half = (c - b) / 2.0;
        if half.abs() <= close || fb == 0.0 {
            return Some(b);
        }
        if before.abs() >= close && fa.abs() > fb.abs() {
            let (p, q) = interpolate((a, fa), (b, fb), (c, fc), half);
            if 2.0 * p < (3.0 * half * q - (close * q).abs()).min((before * q).abs()) {
                (before, step) = (step, p / q);
            } else {
                (before, step) = (half, half);
            }
        } else {
            (before, step) = (half, half);
        }
        (a, fa) = (b, fb);
        b += if step.abs() > close { step } else { close.copysign(half) };
        fb = f(b);
        if fb.signum() == fc.signum() {
            (c, fc) = (a, fa);
            (step, before) = (b - a, b - a);
        }
    }
    Some(b)
}

/// Brent's interpolation: inverse quadratic through three points, secant through two; the step is `p / q`, `p >= 0`.
fn interpolate(a: (f64, f64), b: (f64, f64), c: (f64, f64), half: f64) -> (f64, f64) {
    let s = b.1 / a.1;
    let (p, q) = if a.0 == c.0 {
        (2.0 * half * s, 1.0 - s)
    } else {
        let (r, t) = (b.1 / c.1, a.1 / c.1);
        (s * (2.0 * half * t * (t - r) - (b.0 - a.0) * (r - 1.0)), (t - 1.0) * (r - 1.0) * (s - 1.0))
    };
    if p > 0.0 { (p, -q) } else { (-p, q) }
}

/// The integral of a smooth function from `low` to `high` in equal pieces, Gauss-Legendre of eight points in each.
///
/// Nodes and weights: Abramowitz and Stegun, *Handbook of Mathematical Functions*, table 25.4.
pub(crate) fn integral(low: f64, high: f64, pieces: u32, f: impl Fn(f64) -> f64) -> f64 {
    let width = (high - low) / f64::from(pieces.max(1));
    let mut sum = 0.0;
    for piece in 0..pieces.max(1) {
        let middle = low + (f64::from(piece) + 0.5) * width;
        for (node, weight) in GAUSS {
            sum += weight * (f(middle - node * width / 2.0) + f(middle + node * width / 2.0));
        }
    }
    sum * width / 2.0
}

const GAUSS: [(f64, f64); 4] = [
    (0.183_434_642_495_650, 0.362_683_783_378_362),
    (0.525_532_409_916_329, 0.313_706_645_877_887),
    (0.796_666_477_413_627, 0.222_381_034_453_374),
    (0.960_289_856_497_536, 0.101_228_536_290_376),
];

/// The value between points sorted by their first member; beyond the ends the end value holds. `None` without points.
pub(crate) fn between(points: &[(f64, f64)], x: f64) -> Option<f64> {
    let after = points.partition_point(|point| point.0 <= x);
    let (last, next) = (after.checked_sub(1).and_then(|i| points.get(i)), points.get(after));
    match (last, next) {
        (Some(low), Some(high)) => Some(low.1 + (high.1 - low.1) * (x - low.0) / (high.0 - low.0)),
        (Some(end), None) | (None, Some(end)) => Some(end.1),
        (None, None) => None,
    }
}

/// Ten to the power `x`, exact where `libm` is.
pub(crate) fn ten_to(x: f64) -> f64 {
    libm::exp10(x)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_root_is_found_to_the_last_digits() {
        let found = root(0.0, 2.0, 1e-14, |x| x * x * x - 2.0).unwrap();
        assert!((found - libm::cbrt(2.0)).abs() < 1e-13);
        assert_eq!(root(0.0, 1.0, 1e-12, |x| x + 1.0), None);
    }

    #[test]
    fn an_integral_of_a_hard_curve_is_right() {
        // ∫ exp from 0 to 3, and a narrow peak whose integral is an arctangent.
        assert!((integral(0.0, 3.0, 1, libm::exp) - libm::expm1(3.0)).abs() < 1e-12);
        let peak = integral(-1.0, 1.0, 40, |x| 1.0 / (x * x + 0.01));
        assert!((peak - 20.0 * libm::atan(10.0)).abs() < 1e-9);
    }

    #[test]
    fn between_points_a_line_and_beyond_them_the_ends() {
        let points = [(1.0, 10.0), (2.0, 20.0)];
        assert_eq!(between(&points, 1.25), Some(12.5));
        assert_eq!(between(&points, 0.0), Some(10.0));
        assert_eq!(between(&points, 9.0), Some(20.0));
        assert_eq!(between(&[], 9.0), None);
    }
}
