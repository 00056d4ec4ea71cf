//! Figures in pixels of the render as model millimetres, with the scale's uncertainty and what figure and scale share.
//!
//! Known lengths rest on marks that figures rest on as well, and on one registration: the two are not independent, so
//! each figure's gradient and the scale's are added before the interval is taken.
//!
//! # Source
//! JCGM 100:2008 (GUM), 5.2.2, eq. 13: propagation with correlated inputs.
use super::region_number::RegionNumber;
use crate::{
    measurement::figures::Figure,
    registration::{Adjustment, adjustment::Gradient},
    statistics::Measured,
};

/// Model millimetres a pixel of the render, with what they depend on.
#[derive(Clone, Debug)]
pub(crate) struct ModelScale {
    /// Above 0.
    pub(crate) mm_per_px: f64,
    /// Derivative of its logarithm.
    pub(crate) log_gradient: Gradient,
    /// Half-width of the part of its interval that does not come from the marks, relative.
    pub(crate) extra: f64,
}

impl ModelScale {
    /// A figure in pixels of the render, in model millimetres.
    pub(crate) fn of_figure(&self, adjustment: &Adjustment, px: &Figure) -> Option<Measured> {
        let mut gradient = px.gradient.clone();
        gradient.add(px.value, &self.log_gradient);
        let by_marks = adjustment.measured(px.value, &gradient)?;
        self.in_mm(by_marks)
    }

    /// An offset of a region, in model millimetres.
    pub(crate) fn of_region(
        &self,
        adjustment: &Adjustment,
        offset: RegionNumber<'_>,
    ) -> Option<Measured> {
        let value = offset.fit.errors.to_array()[offset.number];
        let mut by_scale = self.log_gradient.clone();
        by_scale.scale(value);
        let variance = offset.variance_with(adjustment, 1.0, &by_scale);
        let by_marks = Measured::from_deviation(value, variance.sqrt(), offset.fit.freedom)?;
        self.in_mm(by_marks)
    }

    /// Pixels, whose interval holds what comes from the marks, in millimetres with the rest of the scale's interval.
    fn in_mm(&self, px: Measured) -> Option<Measured> {
        let half = px.half_width().hypot(px.value() * self.extra);
        Measured::plus_minus(px.value() * self.mm_per_px, half * self.mm_per_px)
    }
}
