//! The errors of each region as the landmarks see them.
use super::{
    adjustment::{Adjustment, ByReference, RegionErrors, Weighing},
    checks::suspected_datum,
    roles::Roles,
    start,
};
use crate::job::View;
use nalgebra::{DMatrix, Matrix5};

/// A region's errors with their covariance.
#[derive(Clone, Debug)]
pub struct RegionFit {
    /// Width, height, rotation, offset.
    pub errors: RegionErrors,
    /// In the order width, height, rotation, offset x, offset y; rotation in radians.
    pub covariance: Matrix5<f64>,
    /// Degrees of freedom of the noise.
    pub freedom: f64,
    /// Standard deviations expected beforehand, in the same order.
    pub expected: [f64; 5],
    /// Landmarks of the region that took part.
    pub landmarks: usize,
    /// Whether datum landmarks lie on it: then it is judged by the registration of all others.
    pub is_datum: bool,
    /// What the noise of the reference does to each of the five numbers.
    pub by_reference: [ByReference; 5],
}

/// Fits every region of the view.
///
/// A region with datum landmarks is judged as if they were not: they are taken out of the registration and put on the
/// region, so that a datum part that disagrees with the others shows.
pub(crate) fn fit_all(
    view: &View,
    adjustment: &Adjustment,
    roles: &Roles,
) -> Vec<Option<RegionFit>> {
    (0..view.regions.len())
        .map(|j| {
            let on_region = |i: &usize| view.regions[j].landmarks.contains(i);
            let has_datum = (0..view.landmarks.len())
                .filter(on_region)
                .any(|i| roles.datum[i]);
            if has_datum {
                without_its_datum(view, adjustment, roles, j)
            } else {
                as_solved(adjustment, j)
            }
        })
        .collect()
}

fn as_solved(adjustment: &Adjustment, j: usize) -> Option<RegionFit> {
    let landmarks = (0..adjustment.problem.pairs.len())
        .filter(|&i| adjustment.active[i] && adjustment.problem.pairs[i].region == Some(j))
        .count();
    let widened = disagreement(adjustment, j).max(1.0);
    (landmarks > 0).then(|| RegionFit {
        errors: adjustment.region(j),
        covariance: adjustment.region_covariance(j) * widened,
        freedom: adjustment.noise_freedom,
        expected: adjustment.problem.expected,
        landmarks,
        is_datum: false,
        by_reference: adjustment
            .region_by_reference(j)
            .map(|moved| moved.times(widened.sqrt())),
    })
}

/// How far a region's marks and what is expected of it disagree: the mean square of both over their redundancy, about 1
/// where they agree. A part with few marks has no other sign of a wrong one that is too small to be found.
///
/// # Source
/// R. T. Birge, "The calculation of errors by the method of least squares" (1932): deviations are widened by the square
/// root of this ratio where it is above 1.
fn disagreement(adjustment: &Adjustment, j: usize) -> f64 {
    let problem = &adjustment.problem;
    let squares: Vec<f64> = (0..problem.pairs.len())
        .filter(|&i| adjustment.active[i] && problem.pairs[i].region == Some(j))
        .map(|i| adjustment.solved.rows[i].standardised_square())
        .collect();
    let expected: f64 = adjustment
        .region(j)
        .to_array()
        .iter()
        .zip(problem.expected)
        .map(|(v, d)| (v / d).powi(2))
        .sum();
    (squares.iter().sum::<f64>() + expected) / (2.0 * squares.len().max(1) as f64)
}

fn without_its_datum(
    view: &View,
    adjustment: &Adjustment,
    roles: &Roles,
    j: usize,
) -> Option<RegionFit> {
    let region = &view.regions[j];
    let others = (0..view.landmarks.len())
        .filter(|&i| roles.datum[i] && adjustment.active[i] && !region.landmarks.contains(&i))
        .count();
    if others < start::least_points(view.registration) + 1 {
        return None;
    }
    let mut other = adjustment.clone();
    for &i in region.landmarks.iter().filter(|&&i| roles.datum[i]) {
        other.problem.pairs[i].region = Some(j);
    }
    other.problem.suspected = DMatrix::zeros(other.problem.layout.global_unknowns(), 0);
    other.solved = other.problem.solve(
        &other.solved.state,
        &other.active,
        Weighing::LeastSquares,
        other.noise,
        12,
    )?;
    suspected_datum::consider(&mut other);
    let fit = as_solved(&other, j)?;
    Some(RegionFit {
        is_datum: true,
        ..fit
    })
}
