//! The test of one mark against the noise that the other marks show.
//!
//! Where the noise is estimated, a test against its estimate alone would accuse good marks, the more the fewer there are, and
//! a wrong mark that is part of the estimate would hide itself: the mark is left out of the estimate, and the limit is that
//! of a ratio of variances.
//!
//! # Source
//! R. D. Cook and S. Weisberg, "Residuals and Influence in Regression" (1982), section 2.2: externally studentised
//! residuals (from memory); here of two coordinates together, and with what is believed of the noise beforehand as
//! observations more.
use super::settings::CHECKS;
use crate::{
    registration::adjustment::{Noise, Problem, Solved},
    statistics::chi_square_quantile,
};

/// The square that noise exceeds in one of a thousand marks where it is known.
pub(crate) fn critical_square() -> f64 {
    chi_square_quantile(1.0 - CHECKS.mark_level.get(), 2.0)
}

/// What the marks that take part say of the noise.
pub(crate) struct MarkTest {
    /// `None` where the noise is stated.
    estimate: Option<Estimate>,
}

struct Estimate {
    /// Sum of the squares by the present noise, what is believed beforehand included.
    sum: f64,
    /// Observations to spare, what is believed beforehand included.
    freedom: f64,
    /// The least that the mean square may be, for the noise is not believed to be smaller.
    least: f64,
}

impl MarkTest {
    /// From a solution, the marks that take part in it and its noise; `is_known` where that is stated.
    pub(crate) fn new(
        problem: &Problem,
        solved: &Solved,
        active: &[bool],
        (noise, is_known): (Noise, bool),
    ) -> Self {
        if is_known {
            return Self { estimate: None };
        }
        let taking_part = || (0..active.len()).filter(|&i| active[i]);
        let squares = taking_part().map(|i| solved.rows[i].standardised_square());
        let prior = CHECKS.test_freedom.get();
        let factor = noise.estimated();
        Self {
            estimate: Some(Estimate {
                sum: squares.sum::<f64>() + prior / (factor * factor),
                freedom: solved.freedom(problem, taking_part()) + prior,
                least: (CHECKS.least_noise.get() / factor).powi(2),
            }),
        }
    }

    /// The square of a mark, from that by the present noise; `took_part` where the mark is one of those that make it.
    pub(crate) fn square(&self, square: f64, took_part: bool) -> f64 {
        let Some(estimate) = &self.estimate else {
            return square;
        };
        let own = if took_part { square } else { 0.0 };
        let mean = (estimate.sum - own).max(0.0) / self.freedom(took_part);
        square / mean.max(estimate.least)
    }

    /// What noise exceeds in one of a thousand marks.
    pub(crate) fn critical(&self, took_part: bool) -> f64 {
        match self.estimate {
            None => critical_square(),
            // Twice the quantile of F, which has a closed form for two degrees of freedom in the numerator.
            Some(_) => {
                let freedom = self.freedom(took_part);
                freedom * (CHECKS.mark_level.get().powf(-2.0 / freedom) - 1.0)
            }
        }
    }

    /// Observations to spare that judge a mark.
    fn freedom(&self, took_part: bool) -> f64 {
        let own = if took_part { 2.0 } else { 0.0 };
        let freedom = self.estimate.as_ref().map_or(f64::INFINITY, |e| e.freedom);
        (freedom - own).max(1.0)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn test(sum: f64, freedom: f64) -> MarkTest {
        MarkTest {
            estimate: Some(Estimate {
                sum,
                freedom,
                least: 0.1,
            }),
        }
    }

    #[test]
    fn a_stated_noise_is_tested_by_chi_square() {
        let stated = MarkTest { estimate: None };
        assert_eq!(stated.square(9.0, true), 9.0);
        // 13.816: chi-square with two degrees of freedom, 0.999 (printed tables).
        assert!((stated.critical(true) - 13.816).abs() < 1e-3);
    }

    #[test]
    fn the_fewer_marks_judge_the_higher_is_the_limit() {
        // F(0.999; 2, 10) = 14.905 and F(0.999; 2, 20) = 9.953 (printed tables).
        assert!((test(12.0, 12.0).critical(true) - 2.0 * 14.905).abs() < 2e-2);
        assert!((test(20.0, 20.0).critical(false) - 2.0 * 9.953).abs() < 2e-2);
    }

    #[test]
    fn a_wrong_mark_does_not_hide_in_the_noise_that_it_makes() {
        // All of the sum is its own: the others are exact, and the noise is the least that is believed.
        let alone = test(12.0, 12.0);
        assert!((alone.square(12.0, true) - 120.0).abs() < 1e-9);
        assert!((alone.square(12.0, false) - 12.0).abs() < 1e-9);
    }
}
