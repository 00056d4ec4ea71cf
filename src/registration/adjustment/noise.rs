//! The noise of marks, as factors on the deviations that are stated or believed beforehand.
use crate::rectification::Observed;
use nalgebra::{Matrix2, Vector2};

/// Factors on the marks' standard deviations.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) struct Noise {
    pub(crate) render: f64,
    pub(crate) reference: f64,
    /// On deviations along outlines.
    pub(crate) along: f64,
}

impl Noise {
    pub(crate) const AS_STATED: Self = Self {
        render: 1.0,
        reference: 1.0,
        along: 1.0,
    };

    /// The factor that is estimated, where one is: on the deviations that are not stated.
    pub(crate) fn estimated(self) -> f64 {
        if self.render == 1.0 {
            self.reference
        } else {
            self.render
        }
    }

    /// Standard deviation of a number of the rectification.
    pub(super) fn of(self, observed: &Observed) -> f64 {
        if observed.is_of_marks {
            self.reference * observed.deviation
        } else {
            observed.deviation
        }
    }
}

/// How well one mark was set.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) struct MarkNoise {
    /// Standard deviation per coordinate, pixels of its image.
    pub(crate) sigma: f64,
    /// Stated for this mark alone: no factor changes it.
    pub(crate) is_own: bool,
}

impl MarkNoise {
    /// A mark without noise: a place that was computed.
    pub(crate) const NONE: Self = Self {
        sigma: 0.0,
        is_own: true,
    };

    /// The same with a further deviation.
    pub(crate) fn and(self, further: f64) -> Self {
        Self {
            sigma: self.sigma.hypot(further),
            ..self
        }
    }

    /// With the factor of its image.
    pub(crate) fn deviation(self, factor: f64) -> f64 {
        if self.is_own {
            self.sigma
        } else {
            factor * self.sigma
        }
    }
}

/// How badly a landmark is known along the outline that it is the outermost point of.
///
/// Across the outline the marks of two images agree to first order wherever along it they were set, for the outline's own
/// direction is the one in which they differ.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) struct AlongOutline {
    /// Unit tangent of the outline in the render; `None` where it is not known, and the landmark bad in both directions.
    pub(crate) tangent: Option<Vector2<f64>>,
    /// Standard deviation, render pixels, before the factor.
    pub(crate) sigma: f64,
}

impl AlongOutline {
    pub(super) fn covariance(self, noise: Noise) -> Matrix2<f64> {
        let shape = self
            .tangent
            .map_or_else(Matrix2::identity, |t| t * t.transpose());
        shape * (noise.along * self.sigma).powi(2)
    }
}
