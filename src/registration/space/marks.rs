//! Wrong and exchanged marks, and the noise of the others.
//!
//! # Source
//! W. Baarda, "A testing procedure for use in geodetic networks" (1968): data snooping.
use super::{
    camera::Camera,
    settings::SPACE,
    solving::{Plan, Problem, Row, Solved},
};
use crate::{registration::checks::settings::CHECKS, statistics::chi_square_quantile};
use nalgebra::{Matrix2, Vector2};

/// Exchanged pairs that are looked for.
const MOST_EXCHANGES: usize = 3;
/// Marks that are left out one after the other.
const MOST_WRONG: usize = 8;
/// Marks that are left out at least one stays above this count.
const LEAST_LEFT: usize = 5;
/// A mark without this redundancy shows no error of its own.
const LEAST_REDUNDANCY: f64 = 0.03;
/// Below this redundancy an error shows at other marks too: what to leave out is tried.
const SHARED_REDUNDANCY: f64 = 0.35;
/// Marks that are then tried.
const TRIED: usize = 3;
/// Part of a mark's own noise that is added to the deviation of its residual, so that none divides by nothing.
const FLOOR: f64 = 1e-3;

/// The test of one mark.
#[derive(Clone, Copy, Debug)]
pub(super) struct Test {
    /// Chi-square with two degrees of freedom, were the mark good.
    pub(super) statistic: f64,
    /// The part of its own error that its residual shows.
    pub(super) redundancy: f64,
}

impl Test {
    /// Of a mark with this residual and covariance; `spread` is the covariance of its prediction, in which it has a share where it
    /// `is_kept`.
    pub(super) fn of(
        residual: Vector2<f64>,
        own: Matrix2<f64>,
        spread: Matrix2<f64>,
        is_kept: bool,
    ) -> Self {
        let of_residual: Matrix2<f64> = if is_kept { own - spread } else { own + spread };
        let floored = of_residual + own * FLOOR;
        let statistic = floored
            .try_inverse()
            .map_or(0.0, |inverse| (residual.transpose() * inverse * residual).x);
        let redundancy = if is_kept {
            (1.0 - spread.trace() / own.trace()).clamp(0.0, 1.0)
        } else {
            1.0
        };
        Self {
            statistic: statistic.max(0.0),
            redundancy,
        }
    }
}

/// The mark to leave out next: the one with the largest statistic, or, where errors show at other marks too, the one of a few without
/// which all is cheapest.
pub(super) fn worst_of(
    tests: &[Test],
    kept: &[bool],
    cost_without: impl Fn(usize) -> f64,
) -> Option<usize> {
    let is_bad = |&k: &usize| {
        kept[k]
            && tests[k].redundancy > LEAST_REDUNDANCY
            && tests[k].statistic > Cleaned::critical()
    };
    let mut bad: Vec<usize> = (0..tests.len()).filter(is_bad).collect();
    bad.sort_by(|&a, &b| tests[b].statistic.total_cmp(&tests[a].statistic));
    bad.truncate(TRIED);
    let is_shared = bad.len() > 1 && bad.iter().any(|&k| tests[k].redundancy < SHARED_REDUNDANCY);
    if !is_shared {
        return bad.first().copied();
    }
    bad.into_iter()
        .map(|k| (cost_without(k), k))
        .min_by(|a, b| a.0.total_cmp(&b.0))
        .map(|(_, k)| k)
}

/// Marks that are looked through, with the camera that they give.
#[derive(Clone, Debug)]
pub(super) struct Cleaned {
    pub(super) problem: Problem,
    pub(super) solved: Solved,
    pub(super) kept: Vec<bool>,
    /// Pairs whose marks were exchanged and are taken the other way round.
    pub(super) exchanged: Vec<[usize; 2]>,
    /// Factor on the deviation of marks.
    pub(super) factor: f64,
    /// Degrees of freedom of the factor; infinite where it is stated.
    pub(super) freedom: f64,
    is_stated: bool,
}

impl Cleaned {
    /// Looks through the marks from a robust solution; the noise is estimated unless it is stated. `None` where what is
    /// left determines nothing.
    pub(super) fn new(problem: Problem, start: &Camera, is_stated: bool) -> Option<Self> {
        let kept = vec![true; problem.marks.len()];
        let solved = problem.solve(start, &Plan::robust(&kept, 1.0))?;
        let mut cleaned = Self {
            problem,
            solved,
            kept,
            exchanged: Vec::new(),
            factor: 1.0,
            freedom: f64::INFINITY,
            is_stated,
        };
        while cleaned.exchanged.len() < MOST_EXCHANGES && cleaned.exchange() {}
        cleaned.leave_out_gross();
        cleaned.solve()?;
        for _ in 0..2 {
            cleaned.leave_out_worst()?;
            cleaned.settle()?;
            cleaned.take_back()?;
        }
        Some(cleaned)
    }

    pub(super) fn tests(&self) -> Vec<Test> {
        let rows = self.solved.rows.iter().zip(&self.kept);
        rows.map(|(row, &is_kept)| self.test(row, is_kept))
            .collect()
    }

    fn test(&self, row: &Row, is_kept: bool) -> Test {
        Test::of(
            row.residual,
            row.covariance,
            self.solved.of_prediction(row),
            is_kept,
        )
    }

    /// Largest statistic that a good mark has.
    pub(super) fn critical() -> f64 {
        chi_square_quantile(1.0 - CHECKS.mark_level.get(), 2.0)
    }

    fn count(&self) -> usize {
        self.kept.iter().filter(|kept| **kept).count()
    }

    fn solve(&mut self) -> Option<()> {
        let plan = Plan::least_squares(&self.kept, self.factor);
        self.solved = self.problem.solve(&self.solved.camera, &plan)?;
        Some(())
    }

    /// Estimates the noise by what is left, with what is believed beforehand, and solves again.
    fn settle(&mut self) -> Option<()> {
        if !self.is_stated {
            let (mut square, mut redundancy) = (0.0, 0.0);
            for (row, _) in self.solved.rows.iter().zip(&self.kept).filter(|(_, k)| **k) {
                square += row.square() * self.factor.powi(2);
                let inverse = row.covariance.try_inverse()?;
                redundancy += 2.0 - (inverse * self.solved.of_prediction(row)).trace();
            }
            let believed = CHECKS.prior_freedom.get();
            self.freedom = redundancy.max(0.0) + believed;
            let factor = ((square + believed) / self.freedom).sqrt();
            self.factor = factor.clamp(CHECKS.least_noise.get(), CHECKS.most_noise.get());
        }
        self.solve()
    }

    fn leave_out_gross(&mut self) {
        let limit = SPACE.gross.get() * Self::critical();
        let tests = self.tests();
        let is_good = |t: &Test| t.statistic < limit || t.redundancy < CHECKS.uncontrolled.get();
        let kept: Vec<bool> = tests.iter().map(is_good).collect();
        if kept.iter().filter(|kept| **kept).count() >= LEAST_LEFT {
            self.kept = kept;
        }
    }

    fn leave_out_worst(&mut self) -> Option<()> {
        for _ in 0..MOST_WRONG {
            let Some(worst) = self.worst() else { break };
            if self.count() <= LEAST_LEFT {
                break;
            }
            self.kept[worst] = false;
            self.solve()?;
            self.settle()?;
        }
        Some(())
    }

    /// The mark to leave out next.
    fn worst(&self) -> Option<usize> {
        let tests = self.tests();
        let cost_without = |k: usize| {
            let mut kept = self.kept.clone();
            kept[k] = false;
            let plan = Plan {
                steps: 8,
                ..Plan::least_squares(&kept, self.factor)
            };
            let solved = self.problem.solve(&self.solved.camera, &plan);
            solved.map_or(f64::INFINITY, |s| s.cost)
        };
        worst_of(&tests, &self.kept, cost_without)
    }

    /// Takes marks back that fit the others after all.
    fn take_back(&mut self) -> Option<()> {
        for k in 0..self.kept.len() {
            if !self.kept[k] && self.tests()[k].statistic < Self::critical() {
                self.kept[k] = true;
                self.solve()?;
            }
        }
        Some(())
    }

    /// Exchanges the first two marks that each fit the other's place, where the cost says so; whether any was.
    fn exchange(&mut self) -> bool {
        let n = self.problem.marks.len();
        for a in 0..n {
            for b in a + 1..n {
                if self.look_exchanged(a, b) && self.try_exchange(a, b) {
                    self.exchanged.push([a, b]);
                    return true;
                }
            }
        }
        false
    }

    fn look_exchanged(&self, a: usize, b: usize) -> bool {
        let mark = |k: usize| self.problem.marks[k].mark;
        let predicted = |k: usize| mark(k) - self.solved.rows[k].residual;
        let sigma = self.problem.sigma * self.factor;
        look_exchanged([mark(a), mark(b)], [predicted(a), predicted(b)], sigma)
    }

    fn try_exchange(&mut self, a: usize, b: usize) -> bool {
        let mut problem = self.problem.clone();
        let (of_a, of_b) = (problem.marks[a].mark, problem.marks[b].mark);
        (problem.marks[a].mark, problem.marks[b].mark) = (of_b, of_a);
        let plan = Plan::robust(&self.kept, self.factor);
        let Some(solved) = problem.solve(&self.solved.camera, &plan) else {
            return false;
        };
        if self.solved.cost - solved.cost <= CHECKS.exchange_gain.get() {
            return false;
        }
        (self.problem, self.solved) = (problem, solved);
        true
    }
}

/// Whether each of two marks fits the other's prediction, half diagonals.
pub(super) fn look_exchanged(
    marks: [Vector2<f64>; 2],
    predicted: [Vector2<f64>; 2],
    sigma: f64,
) -> bool {
    let off = |m: usize, p: usize| (marks[m] - predicted[p]).norm();
    let apart = (predicted[0] - predicted[1]).norm();
    let worst = off(0, 1).max(off(1, 0));
    let gain = off(0, 0).powi(2) + off(1, 1).powi(2) - off(0, 1).powi(2) - off(1, 0).powi(2);
    apart > 5.0 * sigma && worst < (0.35 * apart).max(6.0 * sigma) && gain > 0.25 * apart * apart
}
