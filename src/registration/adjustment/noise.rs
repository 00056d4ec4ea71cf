//! The noise of marks, as factors on the deviations that are stated or believed beforehand.
use crate::rectification::Observed;

/// Factors on the marks' standard deviations.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) struct Noise {
    pub(crate) render: f64,
    pub(crate) reference: f64,
}

impl Noise {
    pub(crate) const AS_STATED: Self = Self {
        render: 1.0,
        reference: 1.0,
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
