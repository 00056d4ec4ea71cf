//! Lengths that cannot be mixed up: on the model, on the full-size object, and pixels per millimetre.

/// Millimetres on the scale model.
#[derive(Clone, Copy, Debug, PartialEq, PartialOrd)]
pub struct ModelMm(pub f64);

/// Millimetres on the full-size object.
#[derive(Clone, Copy, Debug, PartialEq, PartialOrd)]
pub struct FullSizeMm(pub f64);

/// A model scale 1:N.
///
/// # Guarantees
/// N is finite and above 0.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct ScaleRatio(f64);

impl ScaleRatio {
    /// The scale 1:`denominator`; `None` unless the denominator is finite and above 0.
    pub fn one_to(denominator: f64) -> Option<Self> {
        (denominator.is_finite() && denominator > 0.0).then_some(Self(denominator))
    }

    /// N of 1:N.
    pub fn denominator(self) -> f64 {
        self.0
    }
}

impl FullSizeMm {
    /// The same length on a model of this scale.
    pub fn at(self, scale: ScaleRatio) -> ModelMm {
        ModelMm(self.0 / scale.0)
    }
}

impl ModelMm {
    /// The same length on the full-size object.
    pub fn full_size(self, scale: ScaleRatio) -> FullSizeMm {
        FullSizeMm(self.0 * scale.0)
    }
}
