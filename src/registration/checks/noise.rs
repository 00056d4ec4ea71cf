//! The noise of the marks, estimated from what they leave.
use super::settings::CHECKS;
use crate::registration::{
    adjustment::{Noise, Problem, Solved},
    roles::Roles,
};

/// Observations to spare below which nothing is estimated.
const LEAST_FREEDOM: f64 = 0.1;

/// Standardised squares and the observations to spare that they stand for.
#[derive(Default)]
struct Squares {
    sum: f64,
    freedom: f64,
}

impl Squares {
    fn add(&mut self, square: f64, redundancy: f64) {
        self.sum += square;
        self.freedom += redundancy;
    }
}

/// A factor on deviations after `freedom` observations whose standardised squares have the mean `ratio`, with what is
/// believed beforehand.
fn believed(factor: f64, ratio: f64, freedom: f64) -> f64 {
    let prior = CHECKS.prior_freedom.get();
    let square = (factor * factor * ratio * freedom + prior) / (freedom + prior);
    square
        .sqrt()
        .clamp(CHECKS.least_noise.get(), CHECKS.most_noise.get())
}

/// The factor on the deviations that are not stated.
#[derive(Clone)]
pub(crate) struct NoiseEstimate {
    pub(super) factor: f64,
    /// On deviations along outlines.
    along: f64,
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
            along: 1.0,
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
            along: self.along,
        }
    }

    /// Takes over `ratio`, the mean square of the standardised residuals, from `freedom` observations.
    fn update(&mut self, ratio: f64, freedom: f64) {
        if self.is_known() {
            return;
        }
        self.factor = believed(self.factor, ratio, freedom);
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
        let mut all = Squares {
            sum: taking_part()
                .map(|i| solved.rows[i].standardised_square())
                .sum(),
            freedom: solved.freedom(problem, taking_part()),
        };
        let mut along = Squares::default();
        for i in taking_part() {
            let Some(tangent) = problem.pairs[i].along.and_then(|a| a.tangent) else {
                continue;
            };
            let (square, redundancy) = solved.along(problem, i, tangent);
            along.add(square, redundancy);
            all.add(-square, -redundancy);
        }
        if along.freedom > LEAST_FREEDOM {
            self.along = believed(self.along, along.sum / along.freedom, along.freedom);
        }
        if all.freedom > LEAST_FREEDOM {
            self.update(all.sum / all.freedom, all.freedom);
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
