//! Sizes of parts against the subject absolutely, where both images have a scale.
//!
//! A part's proportion error is relative to the registration, and the size of the model as a whole (`size` of the
//! scales) is too: where the registration is 1 % too large, one of them is 1 % too small and the other 1 % too large.
//! So the sum is told with the covariance of both.
use super::scales::ScaleStudy;
use crate::{
    registration::{Adjustment, RegionFit, adjustment::Gradient},
    statistics::Measured,
};
use nalgebra::Matrix2;

/// Width (`axis` 0) or height (1) of region `j` against the subject absolutely, per cent.
pub(crate) fn size_percent(
    adjustment: &Adjustment,
    scales: &ScaleStudy,
    n: f64,
    j: usize,
    fit: &RegionFit,
    axis: usize,
) -> Option<Measured> {
    let (r, s) = (scales.render.as_ref()?, scales.reference.as_ref()?);
    let mut log_size = s.log_gradient.clone();
    log_size.add(-1.0, &r.log_gradient);
    let factor = 1.0 + fit.errors.to_array()[axis];
    let own = fit.covariance[(axis, axis)] / (factor * factor);
    let of_size = adjustment.variance(&log_size);
    // A datum part is judged by other marks than the registration rests on: there is nothing to cancel.
    let shared = if fit.is_datum {
        0.0
    } else {
        covariance(adjustment, j, axis, &log_size) / factor
    };
    // Edges add to the part's variance what the adjustment does not know of; no correlation exceeds 1.
    let most = (own * of_size).sqrt();
    let variance = (own + of_size + 2.0 * shared.clamp(-most, most)).max(0.0);
    let log = Measured::from_deviation(0.0, variance.sqrt(), fit.freedom)?;
    let log = r.widened(s.widened(log)?)?;
    let ratio = factor * s.px_per_mm * n / r.px_per_mm;
    Measured::plus_minus(100.0 * (ratio - 1.0), 100.0 * ratio * log.half_width())
}

/// Covariance of number `k` of region `j` with a figure, through the unknowns and the marks that both rest on.
pub(super) fn covariance(adjustment: &Adjustment, j: usize, k: usize, figure: &Gradient) -> f64 {
    let solved = &adjustment.solved;
    let with_global = solved.covariance.region_with_global[j].row(k);
    let mut sum = (with_global * &figure.global)[(0, 0)];
    let global = solved.covariance.global.clone().cholesky();
    let by_global = global.map_or_else(
        || nalgebra::DVector::zeros(with_global.len()),
        |global| global.solve(&with_global.transpose()),
    );
    // How number k changes with the residual of pair i: its covariance with the prediction, weighed.
    let by_residual = |i: usize| {
        let row = &solved.rows[i];
        let mut with_prediction = &row.prediction.by_global * with_global.transpose();
        if let (Some(l), Some(by_region)) = (
            adjustment.problem.pairs[i].region,
            &row.prediction.by_region,
        ) {
            let shared = if l == j {
                solved.covariance.regions[j].row(k).transpose()
            } else {
                // Two regions have in common what the unknowns that all share bring to both.
                &solved.covariance.region_with_global[l] * &by_global
            };
            with_prediction += by_region * shared;
        }
        let inverse = row.covariance.try_inverse().unwrap_or_else(Matrix2::zeros);
        inverse * with_prediction
    };
    let active = |i: &usize| adjustment.active[*i];
    for (i, d) in figure.render.iter().filter(|(i, _)| active(i)) {
        let sigma = adjustment.noise.render * adjustment.problem.pairs[*i].render_sigma;
        sum += sigma * sigma * by_residual(*i).dot(d);
    }
    for (i, d) in figure.reference.iter().filter(|(i, _)| active(i)) {
        let sigma = adjustment.noise.reference * adjustment.problem.pairs[*i].reference_sigma;
        let by_reference = solved.rows[*i].prediction.by_reference;
        sum -= sigma * sigma * by_reference.tr_mul(&by_residual(*i)).dot(d);
    }
    sum
}
