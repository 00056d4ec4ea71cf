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
    pub(super) fn new(roles: &Roles) -> Self {
        Self {
            factor: if roles.render_stated && roles.reference_stated {
                1.0
            } else {
                2.0
            },
            render_stated: roles.render_stated,
            reference_stated: roles.reference_stated,
        }
    }

    fn is_known(&self) -> bool {
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

    pub(super) fn take_median(&mut self, solved: &Solved, problem: &Problem, active: &[bool]) {
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
        // 1.386 = 2 ln 2 is the median of chi-square with two degrees of freedom.
        self.update(
            squares[squares.len() / 2] / (2.0 * std::f64::consts::LN_2),
            squares.len() as f64,
        );
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
