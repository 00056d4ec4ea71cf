//! The noise of the marks, estimated from what they leave.
use super::settings::CHECKS;
use crate::registration::{
    adjustment::{Noise, Problem, Solved},
    roles::Roles,
};

/// The factor on the deviations that are not stated.
#[derive(Clone)]
pub(crate) struct NoiseEstimate {
    pub(super) factor: f64,
    render_stated: bool,
    reference_stated: bool,
}

impl NoiseEstimate {
    /// Begins with `factor` where a deviation is not stated.
    pub(super) fn new(roles: &Roles, factor: f64) -> Self {
        Self {
            factor: if roles.render_stated && roles.reference_stated {
                1.0
            } else {
                factor
            },
            render_stated: roles.render_stated,
            reference_stated: roles.reference_stated,
        }
    }

    pub(super) fn is_known(&self) -> bool {
        self.render_stated && self.reference_stated
    }

    pub(crate) fn now(&self) -> Noise {
        let of = |stated: bool| if stated { 1.0 } else { self.factor };
        Noise {
            render: of(self.render_stated),
            reference: of(self.reference_stated),
        }
    }

    /// Takes over `ratio`, the mean square of the standardised residuals, from `freedom` observations.
    fn update(&mut self, ratio: f64, freedom: f64) {
        if self.is_known() {
            return;
        }
        let found = self.factor * self.factor * ratio;
        let prior = CHECKS.prior_freedom.get();
        let believed = (found * freedom + prior) / (freedom + prior);
        self.factor = believed
            .sqrt()
            .clamp(CHECKS.least_noise.get(), CHECKS.most_noise.get());
    }

    /// From the smaller residuals alone, for the larger ones may be those of wrong marks.
    pub(super) fn take_smaller(&mut self, solved: &Solved, problem: &Problem, active: &[bool]) {
        let mut squares: Vec<f64> = (0..problem.pairs.len())
            .filter(|&i| active[i])
            .filter_map(|i| {
                let redundancy = solved.redundancy(problem, i, true);
                (redundancy > 0.15).then(|| solved.rows[i].standardised_square() / redundancy)
            })
            .collect();
        if squares.len() < 5 {
            return;
        }
        squares.sort_by(f64::total_cmp);
        // Chi-square with two degrees of freedom exceeds x in exp(-x / 2) of the cases.
        let n = squares.len();
        let at = (CHECKS.good_share.get() * n as f64) as usize;
        let below = (at as f64 + 0.5) / n as f64;
        self.update(squares[at.min(n - 1)] / (-2.0 * (-below).ln_1p()), n as f64);
    }

    pub(crate) fn take_residuals(&mut self, solved: &Solved, problem: &Problem, active: &[bool]) {
        let taking_part = || (0..problem.pairs.len()).filter(|&i| active[i]);
        let sum: f64 = taking_part()
            .map(|i| solved.rows[i].standardised_square())
            .sum();
        let freedom = solved.freedom(problem, taking_part());
        if freedom > 0.1 {
            self.update(sum / freedom, freedom);
        }
    }

    pub(crate) fn freedom(&self, solved: &Solved, problem: &Problem, active: &[bool]) -> f64 {
        if self.is_known() {
            return f64::INFINITY;
        }
        let taking_part = (0..problem.pairs.len()).filter(|&i| active[i]);
        solved.freedom(problem, taking_part) + CHECKS.prior_freedom.get()
    }
}
