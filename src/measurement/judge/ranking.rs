//! Which error is worse: one order for the table, the page, the pictures, the sheet and the list of changes.
//!
//! First by verdict (out, undecided, within), then by the largest error in units of its tolerance. An offset is judged
//! along x and y, and so it is ranked: by the larger of the two, not by its length. The edge overlap has no interval, gives
//! no verdict and takes no part. The measure is our own judgement; no source.
use crate::{job::Tolerance, measurement::RegionMeasure, statistics::Measured};
use std::cmp::Ordering;

/// An error over its tolerance, without sign; 0 where the error is not told.
pub(crate) fn times_tolerance(error: Option<Measured>, tolerance: f64) -> f64 {
    let times = error.map_or(0.0, |e| e.value().abs() / tolerance);
    if times.is_finite() { times } else { 0.0 }
}

/// The largest error of a region in units of its tolerance; offsets count where they are known in millimetres, for only
/// those are judged.
pub(crate) fn of_region(region: &RegionMeasure, tolerance: &Tolerance) -> f64 {
    let [x, y] = region.offset_model_mm;
    [
        (region.width_percent, tolerance.proportion_percent),
        (region.height_percent, tolerance.proportion_percent),
        (region.rotation_deg, tolerance.angle_deg),
        (x, tolerance.offset.0),
        (y, tolerance.offset.0),
    ]
    .into_iter()
    .map(|(error, limit)| times_tolerance(error, limit))
    .fold(0.0, f64::max)
}

/// The order of two measures with their verdicts (ordered as [`crate::measurement::Verdict`]) and errors over tolerance: the
/// worse first.
pub(crate) fn worse_first<V: Ord>(a: (V, f64), b: (V, f64)) -> Ordering {
    b.0.cmp(&a.0).then(b.1.total_cmp(&a.1))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::measurement::Verdict;

    #[test]
    fn the_verdict_comes_before_the_size_of_the_error() {
        let mut all = [
            (Verdict::Within, 0.9),
            (Verdict::Undecided, 3.0),
            (Verdict::Out, 1.2),
            (Verdict::Out, 4.0),
        ];
        all.sort_by(|a, b| worse_first(*a, *b));
        let times: Vec<f64> = all.iter().map(|(_, t)| *t).collect();
        assert_eq!(times, [4.0, 1.2, 3.0, 0.9]);
    }

    #[test]
    fn an_error_that_is_not_told_ranks_last() {
        assert_eq!(times_tolerance(None, 2.0), 0.0);
        let error = Measured::plus_minus(-3.0, 0.5);
        assert_eq!(times_tolerance(error, 2.0), 1.5);
        assert_eq!(times_tolerance(error, 0.0), 0.0, "no tolerance, no rank");
    }
}
