//! Whether the datum marks bear what edges make of the registration.
//!
//! # Source
//! Change of the weighted sum of squares between two solutions that differ in `p` numbers against chi-square with `p`
//! degrees of freedom, with F where the noise is estimated: K.-R. Koch, "Parameter Estimation and Hypothesis Testing in
//! Linear Models" (1999), section 4.2.
use super::{adjusted::Adjustment, settings::ADJUSTMENT};
use crate::statistics::{chi_square_quantile, f_quantile};

impl Adjustment {
    /// How much less well the datum marks fit `refined` than this adjustment of the marks alone, over what noise exceeds in
    /// one of a thousand registrations: above 1, the edges contradict the marks.
    pub(crate) fn strain(&self, refined: &Self) -> f64 {
        let squares = |of: &Self| -> f64 {
            let rows = self.problem.rows(&of.solved.state, self.noise);
            self.datum_marks()
                .map(|i| rows[i].standardised_square())
                .sum()
        };
        let numbers = self.problem.layout.registration_unknowns() as f64;
        let level = 1.0 - ADJUSTMENT.strain_level.get();
        let limit = if self.noise_freedom.is_finite() {
            numbers * f_quantile(level, numbers, self.noise_freedom)
        } else {
            chi_square_quantile(level, numbers)
        };
        (squares(refined) - squares(self)) / limit
    }

    /// How far `refined` moves the datum marks, root mean square, render pixels.
    pub(crate) fn moved_px(&self, refined: &Self) -> f64 {
        let squares = self
            .datum_marks()
            .map(|i| (refined.registered_mark(i) - self.registered_mark(i)).norm_squared());
        (squares.sum::<f64>() / self.datum_marks().count().max(1) as f64).sqrt()
    }

    /// The pairs that carry the registration.
    fn datum_marks(&self) -> impl Iterator<Item = usize> {
        let carries = |i: &usize| self.active[*i] && self.problem.pairs[*i].region.is_none();
        (0..self.problem.pairs.len()).filter(carries)
    }
}
