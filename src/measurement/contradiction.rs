//! Whether a part's edges contradict its marks, and what that adds to what both together are unsure of.
//!
//! # Source
//! The change of an estimate against the covariance of the one that had less to go by: J. Hausman, "Specification tests in
//! econometrics" (1978), here with the larger covariance alone, which is never too strict; the second moment of what is left
//! over is ours.
use super::settings::REGIONS;
use crate::{
    registration::{RegionErrors, RegionFit},
    statistics::chi_square_quantile,
};
use nalgebra::{Matrix5, SVector, Vector2};

/// A part whose edges lead farther from where its marks have it than these allow.
#[derive(Clone, Copy, Debug)]
pub(super) struct Contradiction {
    /// What it adds to the covariance of the part's five numbers.
    pub(super) covariance: Matrix5<f64>,
    /// How far edges and marks are apart at the anchor, render px.
    pub(super) apart_px: f64,
    /// Noise would not do it in one of a thousand parts: to be looked at.
    pub(super) is_plain: bool,
}

/// `with_edges` are the part's errors by marks and edges, `by_marks` those by its marks alone; `None` where they agree.
pub(super) fn between(
    by_marks: Option<&RegionFit>,
    with_edges: &RegionErrors,
) -> Option<Contradiction> {
    let marks = by_marks?;
    let moved = SVector::<f64, 5>::from(with_edges.to_array())
        - SVector::<f64, 5>::from(marks.errors.to_array());
    let square = moved.dot(&marks.covariance.cholesky()?.solve(&moved));
    let beyond = |level: f64| chi_square_quantile(1.0 - level, 5.0);
    let limit = beyond(REGIONS.contradiction_level.get());
    (square > limit).then(|| Contradiction {
        covariance: moved * moved.transpose() * (1.0 - limit / square),
        apart_px: Vector2::new(moved[3], moved[4]).norm(),
        is_plain: square > beyond(REGIONS.doubt_level.get()),
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    /// A part that its marks have where it should be, to a pixel and a hundredth.
    fn by_marks() -> RegionFit {
        let deviations = [0.01, 0.01, 0.01, 1.0, 1.0];
        RegionFit {
            errors: RegionErrors::default(),
            covariance: Matrix5::from_diagonal(&SVector::from(deviations.map(|d: f64| d * d))),
            freedom: 10.0,
            expected: [0.04, 0.04, 0.03, 10.0, 10.0],
            landmarks: 3,
            is_datum: false,
            by_reference: Default::default(),
        }
    }

    fn moved(px: f64) -> RegionErrors {
        RegionErrors {
            offset: [px, 0.0],
            ..RegionErrors::default()
        }
    }

    #[test]
    fn what_the_marks_allow_is_no_contradiction() {
        assert!(between(Some(&by_marks()), &moved(2.0)).is_none());
        assert!(between(None, &moved(50.0)).is_none());
    }

    #[test]
    fn what_they_do_not_allow_widens_by_what_is_left_over() {
        let found = between(Some(&by_marks()), &moved(10.0)).expect("ten deviations");
        assert_eq!((found.apart_px, found.is_plain), (10.0, true));
        let slight = between(Some(&by_marks()), &moved(3.0)).expect("three deviations");
        assert!(
            !slight.is_plain,
            "chi-square with five degrees of freedom, 0.999: 20.5"
        );
        // Chi-square with five degrees of freedom, 0.8: 7.289 (printed tables).
        let expected = 100.0 * (1.0 - 7.289 / 100.0);
        assert!((found.covariance[(3, 3)] - expected).abs() < 0.01);
        assert_eq!(found.covariance[(0, 0)], 0.0);
    }
}
