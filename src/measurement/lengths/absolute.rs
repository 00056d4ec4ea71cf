//! Sizes of parts against the subject absolutely, where both images have a scale.
//!
//! A part's proportion error is relative to the registration, and the size of the model as a whole (`size` of the
//! scales) is too: where the registration is 1 % too large, one of them is 1 % too small and the other 1 % too large.
//! So the sum is told with the covariance of both.
use super::{region_number::RegionNumber, scales::ScaleStudy};
use crate::{
    registration::{Adjustment, adjustment::Gradient},
    statistics::Measured,
};

/// Width (number 0) or height (1) of a region against the subject absolutely: per cent, and millimetres on the model over
/// `size_px`, the part's size along that axis.
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
        let variance = size.variance_with(adjustment, by_number, by_scales);
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
