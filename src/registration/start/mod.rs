//! Start values of the adjustment: the closed-form fit of each kind, and the subsets of the marks that it is
//! tried on, and the best of them.
mod robust;
pub(crate) mod subsets;

pub(crate) use robust::{Start, robust_start};

use crate::{frame::fit, job::RegistrationKind};
use nalgebra::Matrix3;

/// The fit of `kind` that takes `from` to `to`, or `None` where the points do not determine it.
pub(crate) fn fit(
    kind: RegistrationKind,
    from: &[[f64; 2]],
    to: &[[f64; 2]],
) -> Option<Matrix3<f64>> {
    match kind {
        RegistrationKind::Similarity => fit::similarity(from, to),
        RegistrationKind::Affine => fit::affine(from, to),
        RegistrationKind::Projective => fit::projective(from, to),
    }
}

/// Datum marks with which a wrong one can be told from the others: two beyond the least number.
pub(crate) fn checked_points(kind: RegistrationKind) -> usize {
    least_points(kind) + 2
}

/// The least number of points that determine a registration.
pub(crate) fn least_points(kind: RegistrationKind) -> usize {
    match kind {
        RegistrationKind::Similarity => 2,
        RegistrationKind::Affine => 3,
        RegistrationKind::Projective => 4,
    }
}
