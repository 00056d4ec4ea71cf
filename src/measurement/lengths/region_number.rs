//! One of a region's five numbers together with a figure that may share marks with it.
use crate::registration::{Adjustment, RegionFit, adjustment::Gradient};

/// One of the five numbers of a region.
#[derive(Clone, Copy, Debug)]
pub(crate) struct RegionNumber<'a> {
    /// The region's place among those of the view.
    pub(crate) region: usize,
    /// Which of the five, in the order of [`crate::registration::RegionErrors::to_array`].
    pub(crate) number: usize,
    /// What is known of all five.
    pub(crate) fit: &'a RegionFit,
}

impl RegionNumber<'_> {
    /// Variance of `factor` times this number plus a figure with the gradient `figure`, correlation included.
    pub(crate) fn variance_with(
        self,
        adjustment: &Adjustment,
        factor: f64,
        figure: &Gradient,
    ) -> f64 {
        let Self {
            region,
            number,
            fit,
        } = self;
        let own = factor * factor * fit.covariance[(number, number)].max(0.0);
        let of_figure = adjustment.variance(figure);
        // A datum part is judged by other marks than the registration rests on: there is nothing to cancel.
        let shared = if fit.is_datum {
            0.0
        } else {
            factor * adjustment.covariance_with(figure, region, number)
        };
        // Edges add to the part's variance what the adjustment does not know of; no correlation exceeds 1.
        let most = (own * of_figure).sqrt();
        (own + of_figure + 2.0 * shared.clamp(-most, most)).max(0.0)
    }
}
