//! Whether the datum landmarks lie as if a lens had bent the reference, where nothing in the job corrects one.
//!
//! # Source
//! The one-dimensional test of an alternative hypothesis: W. Baarda, "A testing procedure for use in geodetic networks"
//! (1968), there for one mark, here for a displacement of all marks by one factor. The displacement is the division
//! model's (A. Fitzgibbon, "Simultaneous linear estimation of multiple view geometry and lens distortion", 2001), to first
//! order.
use super::settings::CHECKS;
use crate::registration::adjustment::Adjustment;
use nalgebra::{DVector, Vector2};

impl Adjustment {
    /// How much better the datum marks fit with a bend about the middle of the reference, in standard deviations: noise
    /// alone gives a number of standard normal distribution (of Student's t, where the noise was estimated).
    ///
    /// `size` is the reference's width and height in pixels, `is_datum` tells which marks carry the registration. `None`
    /// where the marks cannot tell a bend. Left out: that the bend moves what the reference was rectified by as well,
    /// which makes the test a little weaker.
    pub(crate) fn bend_statistic(&self, is_datum: &[bool], size: (u32, u32)) -> Option<f64> {
        let half = [size.0, size.1].map(|s| f64::from(s) / 2.0);
        let half_diagonal = half[0].hypot(half[1]);
        let mut by_unknowns = DVector::zeros(self.problem.layout.global_unknowns());
        let (mut gain, mut weight) = (0.0, 0.0);
        for (i, row) in self.solved.rows.iter().enumerate() {
            let pair = &self.problem.pairs[i];
            // A datum mark on a region is one whose part is altered.
            if !(self.active[i] && is_datum.get(i) == Some(&true) && pair.region.is_none()) {
                continue;
            }
            let mark = pair.reference;
            let from_middle = Vector2::new(mark.x - half[0], mark.y - half[1]);
            let outwards = from_middle * (from_middle.norm() / half_diagonal).powi(2);
            let moved = row.prediction.by_reference * outwards;
            let weighed = row.covariance.try_inverse()? * moved;
            gain += weighed.dot(&row.residual);
            weight += weighed.dot(&moved);
            by_unknowns += row.prediction.by_global.tr_mul(&weighed);
        }
        let taken_up = by_unknowns.dot(&(&self.solved.covariance.global * &by_unknowns));
        let left = weight - taken_up;
        (left > CHECKS.bend_share.get() * weight).then(|| gain / left.sqrt())
    }
}
