//! Least squares with a derivative by difference quotients, for the small fits of the rectification.
//!
//! # Source
//! Damping by K. Levenberg (1944) and D. Marquardt (1963).
use nalgebra::{DMatrix, DVector};

/// Most steps; the fits start close and take fewer than ten.
const MOST_STEPS: usize = 60;

/// A least-squares solution.
#[derive(Clone, Debug)]
pub(super) struct Fit {
    pub(super) at: DVector<f64>,
    /// Covariance of the unknowns for residuals with a variance of 1.
    pub(super) covariance: DMatrix<f64>,
    /// Sum of the squares of the residuals.
    pub(super) square: f64,
}

/// The unknowns that make the sum of squares of `residuals` least, from `start`; `steps` are those of the difference
/// quotients. `None` where the residuals cannot be had at the start or do not determine the unknowns.
pub(super) fn least_squares(
    start: &[f64],
    steps: &[f64],
    residuals: &dyn Fn(&[f64]) -> Option<DVector<f64>>,
) -> Option<Fit> {
    let mut at = DVector::from_column_slice(start);
    let mut now = residuals(at.as_slice())?;
    let mut damping = 0.0;
    for _ in 0..MOST_STEPS {
        let derivative = derivative(&at, steps, residuals)?;
        let normal = derivative.tr_mul(&derivative);
        let right = -derivative.tr_mul(&now);
        let mut damped = normal.clone();
        for k in 0..damped.nrows() {
            damped[(k, k)] *= 1.0 + damping;
        }
        let change = damped.cholesky()?.solve(&right);
        let next = &at + &change;
        let tried = residuals(next.as_slice()).filter(|r| r.norm_squared() <= now.norm_squared());
        match tried {
            Some(better) => {
                let is_settled = change.iter().zip(steps).all(|(c, s)| c.abs() < 1e-4 * s);
                (at, now) = (next, better);
                damping = if damping < 1e-6 { 0.0 } else { damping / 10.0 };
                if is_settled {
                    break;
                }
            }
            None if change.iter().zip(steps).all(|(c, s)| c.abs() < 1e-4 * s) => break,
            None => damping = if damping == 0.0 { 1e-4 } else { damping * 10.0 },
        }
    }
    let derivative = derivative(&at, steps, residuals)?;
    let covariance = derivative.tr_mul(&derivative).cholesky()?.inverse();
    let is_finite = covariance.iter().all(|v| v.is_finite());
    is_finite.then(|| Fit {
        square: now.norm_squared(),
        at,
        covariance,
    })
}

fn derivative(
    at: &DVector<f64>,
    steps: &[f64],
    residuals: &dyn Fn(&[f64]) -> Option<DVector<f64>>,
) -> Option<DMatrix<f64>> {
    let columns: Option<Vec<DVector<f64>>> = steps
        .iter()
        .enumerate()
        .map(|(k, step)| {
            let moved = |by: f64| {
                let mut at = at.clone();
                at[k] += by;
                residuals(at.as_slice())
            };
            Some((moved(*step)? - moved(-step)?) / (2.0 * step))
        })
        .collect();
    Some(DMatrix::from_columns(&columns?))
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Residuals of an exponential through three points and one off it.
    fn residuals(p: &[f64]) -> Option<DVector<f64>> {
        let data = [(0.0, 2.0), (1.0, 4.0), (2.0, 8.0), (3.0, 16.5)];
        Some(DVector::from_iterator(
            4,
            data.iter().map(|(x, y)| p[0] * f64::exp(p[1] * x) - y),
        ))
    }

    #[test]
    fn the_sum_of_squares_is_least_at_the_solution() {
        let fit = least_squares(&[1.0, 1.0], &[1e-4, 1e-4], &residuals).expect("determined");
        for (k, by) in [(0, 1e-3), (0, -1e-3), (1, 1e-3), (1, -1e-3)] {
            let mut moved = fit.at.clone();
            moved[k] += by;
            let worse = residuals(moved.as_slice()).expect("finite").norm_squared();
            assert!(worse > fit.square);
        }
    }

    #[test]
    fn unknowns_that_nothing_determines_are_refused() {
        let twice = |p: &[f64]| Some(DVector::from_vec(vec![p[0] + p[1], 2.0 * (p[0] + p[1])]));
        assert!(least_squares(&[1.0, 1.0], &[1e-4, 1e-4], &twice).is_none());
    }
}
