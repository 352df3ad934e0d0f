//! Comparing two ways of treating by hardness: whether a difference is more than scatter, how large it is, how many parts tell.
//!
//! Welch's t with Welch and Satterthwaite's degrees of freedom (Biometrika 34 (1947) 28, from memory), Hedges' g with the
//! exact correction, and the number of parts by the power of the two-sided t test. The readings must be of different
//! parts: ten readings on one part are one part.

mod distribution;

use crate::error::{Result, impossible, within};
use crate::note::Note;
use crate::span::Span;
use distribution::{normal_quantile, power, student_quantile, student_tail};

/// Two groups compared; hardness in HRC, but any unit serves as long as both have it.
#[derive(Debug, Clone, PartialEq)]
pub struct Comparison {
    /// Of the first group.
    pub first: Scatter,
    /// Of the second group.
    pub second: Scatter,
    /// First mean less second.
    pub difference: f64,
    /// Welch's t.
    pub t: f64,
    /// Its degrees of freedom.
    pub degrees: f64,
    /// The chance of a t at least as large either way if there were no difference.
    pub p: f64,
    /// The 95 % interval of the difference.
    pub interval: Span<f64>,
    /// The standard deviation pooled over both groups.
    pub pooled: f64,
    /// Hedges' g: the difference in pooled standard deviations, corrected for small groups.
    pub hedges_g: f64,
    /// The correction in it.
    pub correction: f64,
    /// What to make of it.
    pub notes: Vec<Note>,
}

/// What the readings of a group come to.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Scatter {
    /// Their mean.
    pub mean: f64,
    /// Their standard deviation.
    pub deviation: f64,
}

/// Compares two groups of readings, one a part.
///
/// # Errors
/// Fewer than 2 or more than 10 000 readings in a group, readings that are not finite, no scatter in either group.
pub fn compare(first: &[f64], second: &[f64]) -> Result<Comparison> {
    let (a, b) = (Group::new(first)?, Group::new(second)?);
    let (share_a, share_b) = (a.variance / a.n, b.variance / b.n);
    let error = libm::sqrt(share_a + share_b);
    if error == 0.0 {
        return Err(impossible("comparing two groups", "neither group scatters at all".to_owned()));
    }
    let degrees = (share_a + share_b) * (share_a + share_b) / (share_a * share_a / (a.n - 1.0) + share_b * share_b / (b.n - 1.0));
    let difference = a.mean - b.mean;
    let t = difference / error;
    let half = student_quantile(0.975, degrees) * error;
    let k = a.n + b.n - 2.0;
    let pooled = libm::sqrt(((a.n - 1.0) * a.variance + (b.n - 1.0) * b.variance) / k);
    let correction = libm::exp(libm::lgamma(k / 2.0) - libm::lgamma((k - 1.0) / 2.0)) / libm::sqrt(k / 2.0);
    let mut notes = vec![Note::basis("Welch's t test, two-sided; one reading a part")];
    if a.n.min(b.n) < 5.0 {
        notes.push(Note::caution("with so few parts only large differences show; no difference seen is not no difference"));
    }
    Ok(Comparison {
        first: a.scatter(),
        second: b.scatter(),
        difference,
        t,
        degrees,
        p: 2.0 * student_tail(libm::fabs(t), degrees),
        interval: Span { least: difference - half, most: difference + half },
        pooled,
        hedges_g: correction * difference / pooled,
        correction,
        notes,
    })
}

/// The least number of parts in each of two equal groups that shows a difference four times in five.
///
/// Two-sided t test at 5 %, power 80 %, by the noncentral t distribution. `None` where 10 000 parts would not do.
///
/// # Errors
/// A difference or deviation that is not positive and finite.
pub fn parts_needed(difference: f64, deviation: f64) -> Result<Option<u32>> {
    let size = size(difference, deviation)?;
    // The normal estimate is a little low: look from half of it up.
    let from = (normal_estimate(size) / 2.0).max(2.0);
    if from > MOST {
        return Ok(None);
    }
    let (mut low, mut high) = (from as u32, (2.0 * from + 10.0) as u32 * 2);
    while power(size, high) < 0.8 {
        high *= 2;
    }
    while low < high {
        let middle = u32::midpoint(low, high);
        if power(size, middle) >= 0.8 { high = middle } else { low = middle + 1 }
    }
    Ok((f64::from(low) <= MOST).then_some(low))
}

/// The same number by the normal distribution: a quick estimate, too low for few parts.
///
/// # Errors
/// As for [`parts_needed`].
pub fn parts_estimate(difference: f64, deviation: f64) -> Result<f64> {
    Ok(normal_estimate(size(difference, deviation)?))
}

const MOST: f64 = 10_000.0;

fn size(difference: f64, deviation: f64) -> Result<f64> {
    let size =
        within("the difference", libm::fabs(difference), "", 1e-9, 1e9)? / within("the deviation", deviation, "", 1e-9, 1e9)?;
    Ok(size)
}

fn normal_estimate(size: f64) -> f64 {
    let sum = (normal_quantile(0.975) + normal_quantile(0.8)) / size;
    2.0 * sum * sum
}

struct Group {
    n: f64,
    mean: f64,
    variance: f64,
}

impl Group {
    fn new(readings: &[f64]) -> Result<Self> {
        let n = within("the number of parts in a group", readings.len() as f64, "", 2.0, MOST)?;
        for &reading in readings {
            within("a reading", reading, "", -1e9, 1e9)?;
        }
        let mean = readings.iter().sum::<f64>() / n;
        let variance = readings.iter().map(|reading| (reading - mean) * (reading - mean)).sum::<f64>() / (n - 1.0);
        Ok(Self { n, mean, variance })
    }

    fn scatter(&self) -> Scatter {
        Scatter { mean: self.mean, deviation: libm::sqrt(self.variance) }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn one_part_is_no_group() {
        assert!(compare(&[60.0], &[61.0, 62.0]).unwrap_err().to_string().contains("is 1; it must lie between 2 and"));
    }

    #[test]
    fn a_smaller_difference_needs_more_parts() {
        let needs = |d| parts_needed(d, 0.5).unwrap().unwrap();
        assert!(needs(0.5) < needs(0.3) && needs(0.3) < needs(0.1));
        assert_eq!(parts_needed(1e-4, 0.5).unwrap(), None);
    }
}
