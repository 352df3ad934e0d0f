//! Least squares for a handful of positive parameters: Levenberg and Marquardt's damping, derivatives by differences.
//!
//! Parameters are fitted by their logarithms, so that they stay positive and one step is a share of each.

/// A fit of N parameters.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Fit<const N: usize> {
    pub(crate) values: [f64; N],
    /// Standard errors, as shares of the values.
    pub(crate) relative_errors: [f64; N],
    /// Root mean square of the residuals.
    pub(crate) rms: f64,
    /// Whether the last steps changed nothing more.
    pub(crate) settled: bool,
}

/// Fits parameters so that the squares of the residuals are least; `None` where residuals are not numbers or too few.
pub(crate) fn least_squares<const N: usize>(start: [f64; N], residuals: impl Fn(&[f64; N]) -> Vec<f64>) -> Option<Fit<N>> {
    let mut log = start.map(libm::log);
    let of = |log: &[f64; N]| residuals(&log.map(libm::exp));
    let mut off = of(&log);
    let mut cost = squares(&off)?;
    if off.len() <= N {
        return None;
    }
    let (mut damping, mut settled) = (1e-3, false);
    for _ in 0..STEPS {
        let (matrix, gradient) = normal(&log, &off, &of);
        let mut damped = matrix;
        for (i, row) in damped.iter_mut().enumerate() {
            row[i] *= 1.0 + damping;
        }
        let Some(step) = solve(damped, gradient) else {
            damping *= 10.0;
            continue;
        };
        let mut next = log;
        next.iter_mut().zip(step).for_each(|(value, step)| *value -= step.clamp(-1.0, 1.0));
        let next_off = of(&next);
        match squares(&next_off) {
            Some(next_cost) if next_cost <= cost => {
                settled = cost - next_cost <= 1e-12 * cost || cost < 1e-300;
                (log, off, cost) = (next, next_off, next_cost);
                damping = (damping / 10.0_f64).max(1e-12);
            }
            _ => {
                // No step however small helps any more: this is the bottom.
                settled = damping > 1e12;
                damping *= 10.0;
            }
        }
        if settled {
            break;
        }
    }
    let (matrix, _) = normal(&log, &off, &of);
    let variance = cost / (off.len() - N) as f64;
    let mut relative_errors = [0.0; N];
    for (i, error) in relative_errors.iter_mut().enumerate() {
        let mut unit = [0.0; N];
        unit[i] = 1.0;
        *error = solve(matrix, unit).map_or(f64::INFINITY, |column| libm::sqrt((column[i] * variance).max(0.0)));
    }
    Some(Fit { values: log.map(libm::exp), relative_errors, rms: libm::sqrt(cost / off.len() as f64), settled })
}

/// Enough for a fit that starts within a factor of ten; each costs N + 1 runs of the model.
const STEPS: u32 = 60;

/// The normal equations at a point: `JᵀJ` and `Jᵀr`, the derivatives by central differences.
fn normal<const N: usize>(log: &[f64; N], off: &[f64], of: &impl Fn(&[f64; N]) -> Vec<f64>) -> ([[f64; N]; N], [f64; N]) {
    let columns: Vec<Vec<f64>> = (0..N)
        .map(|i| {
            let (mut up, mut down) = (*log, *log);
            up[i] += SHIFT;
            down[i] -= SHIFT;
            of(&up).iter().zip(of(&down)).map(|(up, down)| (up - down) / (2.0 * SHIFT)).collect()
        })
        .collect();
    let dot = |a: &[f64], b: &[f64]| a.iter().zip(b).map(|(a, b)| a * b).sum::<f64>();
    let (mut matrix, mut gradient) = ([[0.0; N]; N], [0.0; N]);
    for i in 0..N {
        gradient[i] = dot(&columns[i], off);
        for j in 0..N {
            matrix[i][j] = dot(&columns[i], &columns[j]);
        }
    }
    (matrix, gradient)
}

/// Shift of a logarithm for the differences: the cube root of the rounding error, about.
const SHIFT: f64 = 1e-5;

fn squares(off: &[f64]) -> Option<f64> {
    let sum: f64 = off.iter().map(|x| x * x).sum();
    sum.is_finite().then_some(sum)
}

/// Solves a small system by elimination with pivots; `None` if it has no single answer.
fn solve<const N: usize>(mut matrix: [[f64; N]; N], mut right: [f64; N]) -> Option<[f64; N]> {
    for column in 0..N {
        let pivot = (column..N).max_by(|&a, &b| matrix[a][column].abs().total_cmp(&matrix[b][column].abs()))?;
        if matrix[pivot][column] == 0.0 || !matrix[pivot][column].is_finite() {
            return None;
        }
        matrix.swap(column, pivot);
        right.swap(column, pivot);
        let pivot_row = matrix[column];
        for row in column + 1..N {
            let factor = matrix[row][column] / pivot_row[column];
            matrix[row].iter_mut().zip(pivot_row).for_each(|(cell, above)| *cell -= factor * above);
            right[row] -= factor * right[column];
        }
    }
    for row in (0..N).rev() {
        let known: f64 = (row + 1..N).map(|k| matrix[row][k] * right[k]).sum();
        right[row] = (right[row] - known) / matrix[row][row];
    }
    Some(right)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn an_exponential_is_found_again() {
        let points: Vec<(f64, f64)> = (0..20).map(|i| f64::from(i) * 0.2).map(|t| (t, 3.0 * libm::exp(-0.7 * t))).collect();
        let fit = least_squares([1.0, 0.2], |&[a, k]| points.iter().map(|(t, y)| a * libm::exp(-k * t) - y).collect()).unwrap();
        assert!(fit.settled && fit.rms < 1e-9);
        assert!((fit.values[0] - 3.0).abs() < 1e-7 && (fit.values[1] - 0.7).abs() < 1e-7);
    }

    #[test]
    fn too_few_points_give_nothing() {
        assert!(least_squares([1.0, 1.0], |_| vec![0.0, 0.0]).is_none());
    }
}
