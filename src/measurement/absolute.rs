//! Sizes of parts against the subject absolutely, where both images have a scale.
//!
//! A part's proportion error is relative to the registration, and the size of the model as a whole (`size` of the
//! scales) is too: where the registration is 1 % too large, one of them is 1 % too small and the other 1 % too large.
//! So the sum is told with the covariance of both.
use super::{model_scale::RegionNumber, scales::ScaleStudy};
use crate::{
    registration::{Adjustment, adjustment::Gradient},
    statistics::Measured,
};
use nalgebra::Matrix2;

/// Width (number 0) or height (1) of a region against the subject absolutely: per cent, and millimetres on the model over
/// `size_px`, the size of the outline's box along that axis.
pub(crate) fn size(
    adjustment: &Adjustment,
    scales: &ScaleStudy,
    n: f64,
    size: RegionNumber<'_>,
    size_px: f64,
) -> Option<[Measured; 2]> {
    let (r, s) = (scales.render.as_ref()?, scales.reference.as_ref()?);
    let factor = 1.0 + size.fit.errors.to_array()[size.number];
    let ratio = factor * s.px_per_mm * n / r.px_per_mm;
    let by_number = ratio / factor;
    let mut by_scales = s.log_gradient.clone();
    by_scales.add(-1.0, &r.log_gradient);
    by_scales.scale(ratio);
    let interval = |by_scales: &Gradient, extra: f64| {
        let variance = variance_with(adjustment, size, by_number, by_scales);
        let by_marks = Measured::from_deviation(ratio - 1.0, variance.sqrt(), size.fit.freedom)?;
        Measured::plus_minus(ratio - 1.0, by_marks.half_width().hypot(extra))
    };
    let relative = interval(&by_scales, ratio * r.extra.hypot(s.extra))?;
    // Millimetres are pixels over the render's scale, which is in the ratio already.
    by_scales.add(-(ratio - 1.0), &r.log_gradient);
    let extra = (ratio * s.extra).hypot((2.0 * ratio - 1.0) * r.extra);
    let over_box = interval(&by_scales, extra)?;
    Some([relative.times(100.0), over_box.times(size_px / r.px_per_mm)])
}

/// Variance of `factor` times a number of a region plus a figure with the gradient `figure`, correlation included.
pub(super) fn variance_with(
    adjustment: &Adjustment,
    RegionNumber {
        region,
        number,
        fit,
    }: RegionNumber<'_>,
    factor: f64,
    figure: &Gradient,
) -> f64 {
    let own = factor * factor * fit.covariance[(number, number)].max(0.0);
    let of_figure = adjustment.variance(figure);
    // A datum part is judged by other marks than the registration rests on: there is nothing to cancel.
    let shared = if fit.is_datum {
        0.0
    } else {
        factor * covariance(adjustment, region, number, figure)
    };
    // Edges add to the part's variance what the adjustment does not know of; no correlation exceeds 1.
    let most = (own * of_figure).sqrt();
    (own + of_figure + 2.0 * shared.clamp(-most, most)).max(0.0)
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
