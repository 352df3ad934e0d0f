//! The distributions that the t test needs: normal, Student's t, and the noncentral t for its power.

use crate::numeric::{integral, root};

/// The chance that Student's t with so many degrees of freedom is above a positive value.
pub(super) fn student_tail(t: f64, degrees: f64) -> f64 {
    0.5 * beta_share(degrees / (degrees + t * t), degrees / 2.0, 0.5)
}

/// The value that Student's t stays below with a chance of more than a half.
pub(super) fn student_quantile(chance: f64, degrees: f64) -> f64 {
    root(0.0, 1e4, 1e-12, |t| student_tail(t, degrees) - (1.0 - chance)).unwrap_or(f64::INFINITY)
}

/// The value that a standard normal variable stays below with a chance.
pub(super) fn normal_quantile(chance: f64) -> f64 {
    root(-40.0, 40.0, 1e-13, |z| normal(z) - chance).unwrap_or(f64::INFINITY)
}

/// The chance that two groups of n parts, a size of effect apart, differ by the two-sided t test at 5 %.
pub(super) fn power(size: f64, n: u32) -> f64 {
    let n = f64::from(n);
    let (degrees, shift) = (2.0 * n - 2.0, size * libm::sqrt(n / 2.0));
    let limit = student_quantile(0.975, degrees);
    1.0 - noncentral(limit, degrees, shift) + noncentral(-limit, degrees, shift)
}

/// The chance that noncentral t stays below a value: the normal chance averaged over the spread of the deviation.
fn noncentral(t: f64, degrees: f64, shift: f64) -> f64 {
    let half = degrees / 2.0;
    let log_scale = libm::log(2.0) + half * libm::log(half) - libm::lgamma(half);
    let reach = 12.0 / libm::sqrt(2.0 * degrees);
    integral((1.0 - reach).max(1e-12), 1.0 + reach, 60, |s| {
        normal(t * s - shift) * libm::exp(log_scale + (degrees - 1.0) * libm::log(s) - half * s * s)
    })
}

fn normal(z: f64) -> f64 {
    0.5 * libm::erfc(-z / core::f64::consts::SQRT_2)
}

/// The regularised incomplete beta function, by its continued fraction (Abramowitz and Stegun, 26.5.8).
fn beta_share(x: f64, a: f64, b: f64) -> f64 {
    if x <= 0.0 || x >= 1.0 {
        return x.clamp(0.0, 1.0);
    }
    // The fraction converges fast below the mean; above it the function is mirrored.
    if x > (a + 1.0) / (a + b + 2.0) {
        return 1.0 - beta_share(1.0 - x, b, a);
    }
    let log_front = libm::lgamma(a + b) - libm::lgamma(a) - libm::lgamma(b) + a * libm::log(x) + b * libm::log1p(-x);
    libm::exp(log_front) / (a * fraction(x, a, b))
}

/// The denominator of the continued fraction, by Lentz's method.
fn fraction(x: f64, a: f64, b: f64) -> f64 {
    let held = |v: f64| if libm::fabs(v) < 1e-300 { 1e-300 } else { v };
    let (mut value, mut c, mut d) = (1.0, 1.0, 0.0);
    for step in 1..400_u32 {
        let m = f64::from(step / 2);
        let term = if step % 2 == 0 {
            m * (b - m) * x / ((a + 2.0 * m - 1.0) * (a + 2.0 * m))
        } else {
            -(a + m) * (a + b + m) * x / ((a + 2.0 * m) * (a + 2.0 * m + 1.0))
        };
        d = 1.0 / held(1.0 + term * d);
        c = held(1.0 + term / c);
        value *= c * d;
        if libm::fabs(c * d - 1.0) < 1e-16 {
            break;
        }
    }
    value
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn quantiles_are_the_tables() {
        // Student's t, two-sided 5 %: 12.706, 2.228, 1.960 at 1, 10 and many degrees (printed in every table; from memory).
        assert!((student_quantile(0.975, 1.0) - 12.706).abs() < 5e-4);
        assert!((student_quantile(0.975, 10.0) - 2.228).abs() < 5e-4);
        assert!((normal_quantile(0.975) - 1.959_964).abs() < 1e-6);
    }

    #[test]
    fn without_effect_the_power_is_the_level() {
        assert!((power(0.0, 8) - 0.05).abs() < 1e-9);
    }
}
