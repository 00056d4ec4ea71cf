//! Wrong and exchanged marks among those of several photos, the noise of each photo, and what is expected of the parts.
//!
//! # Source
//! W. Baarda, "A testing procedure for use in geodetic networks" (1968): data snooping. W. Förstner, "Ein Verfahren zur
//! Schätzung von Varianz- und Kovarianzkomponenten" (1979): the deviation of a group of observations is what their residuals
//! say over their share of the redundancy; so for the marks of each photo and for sizes, turns and offsets of all parts.
use super::{
    beside,
    edge_marks::EdgesOfPart,
    joint::{Joint, Plan, Row, Solved, State},
    part::{NINE, Nine, OFFSET, SIZE, TURN},
};
use crate::{
    registration::{
        checks::settings::CHECKS,
        space::{
            marks::{self, Test},
            settings::SPACE,
            solving::Weighing,
        },
    },
    stop,
};

/// Exchanged pairs that are looked for.
const MOST_EXCHANGES: usize = 3;
/// Marks of a photo that are left out one after the other.
const MOST_WRONG: usize = 8;
/// Marks that are left out at least so many stay in all.
const LEAST_LEFT: usize = 6;
/// Steps of a robust solution, of one that a mark is tried with, and of one to the end.
const ROBUST_STEPS: usize = 15;
const TRIED_STEPS: usize = 8;
pub(super) const STEPS: usize = 40;
/// Rounds of widening.
const ROUNDS: usize = 4;
/// A part with so many marks or fewer follows each of them.
const WEAK: usize = 3;

/// Kinds of errors, each with its own expectation.
const KINDS: [std::ops::Range<usize>; 3] = [SIZE..TURN, TURN..OFFSET, OFFSET..NINE];

/// Marks that were looked through, with what they give.
#[derive(Clone, Debug)]
pub(super) struct Cleaned {
    pub(super) joint: Joint,
    pub(super) solved: Solved,
    pub(super) kept: Vec<bool>,
    /// Pairs of marks that were exchanged here.
    pub(super) exchanged: Vec<[usize; 2]>,
    /// Factor on the deviation of the marks of each photo.
    pub(super) factors: Vec<f64>,
    /// Degrees of freedom of all noise; infinite where one is stated.
    pub(super) freedom: f64,
    /// By how much what is expected of sizes, turns and offsets was widened.
    pub(super) widened: [f64; 3],
    /// Datum parts that contradict the others and are measured like any part.
    pub(super) altered: Vec<usize>,
    /// Datum parts one of which does, and it cannot be told which.
    pub(super) rivals: Vec<usize>,
    /// What became of the edges of each part, where they were looked for.
    pub(super) edges: Vec<EdgesOfPart>,
    /// Photos the edges of whose datum contradict its marks.
    pub(super) strained: Vec<usize>,
}

/// The robust solution from a start.
pub(super) fn robust(
    joint: &Joint,
    start: &State,
    kept: &[bool],
    factors: &[f64],
) -> Option<Solved> {
    let plan = Plan {
        kept,
        weighing: Weighing::Robust,
        factors,
        steps: ROBUST_STEPS,
    };
    joint.solve(start, &plan)
}

impl Cleaned {
    /// Looks through the marks from a robust solution; `None` where what is left determines nothing.
    pub(super) fn new(
        joint: Joint,
        solved: Solved,
        kept: Vec<bool>,
        factors: Vec<f64>,
    ) -> Option<Self> {
        let mut cleaned = Self {
            joint,
            solved,
            kept,
            exchanged: Vec::new(),
            factors,
            freedom: f64::INFINITY,
            widened: [1.0; 3],
            altered: Vec::new(),
            rivals: Vec::new(),
            edges: Vec::new(),
            strained: Vec::new(),
        };
        while cleaned.exchanged.len() < MOST_EXCHANGES && cleaned.exchange() {}
        let parts = cleaned.joint.parts.iter();
        let stated: Vec<Nine> = parts.map(|part| part.expected).collect();
        // Parts that are off by more than is expected would else make good marks look wrong.
        cleaned.widen(&stated, Weighing::Robust)?;
        cleaned.leave_out_gross();
        cleaned.solve(STEPS)?;
        cleaned.free_altered()?;
        for _ in 0..2 {
            cleaned.leave_out_worst()?;
            cleaned.settle()?;
            cleaned.take_back()?;
        }
        cleaned.leave_out_lengths()?;
        cleaned.leave_out_of_weak_parts()?;
        cleaned.widen(&stated, Weighing::LeastSquares)?;
        cleaned.take_back()?;
        Some(cleaned)
    }

    pub(super) fn tests(&self) -> Vec<Test> {
        let rows = self.solved.rows.iter().zip(&self.kept).enumerate();
        rows.map(|(k, (row, &is_kept))| self.test(k, row, is_kept))
            .collect()
    }

    fn test(&self, k: usize, row: &Row, is_kept: bool) -> Test {
        let spread = self
            .solved
            .of_prediction(&self.joint, &self.joint.marks[k], row);
        Test::of(row.residual, row.covariance, spread, is_kept)
    }

    fn count(&self) -> usize {
        self.kept.iter().filter(|kept| **kept).count()
    }

    fn plan<'a>(&'a self, kept: &'a [bool], steps: usize) -> Plan<'a> {
        Plan {
            kept,
            weighing: Weighing::LeastSquares,
            factors: &self.factors,
            steps,
        }
    }

    pub(super) fn solve(&mut self, steps: usize) -> Option<()> {
        let plan = self.plan(&self.kept, steps);
        self.solved = self.joint.solve(&self.solved.state, &plan)?;
        Some(())
    }

    /// Estimates the noise of each photo by what is left, with what is believed beforehand, and solves again.
    fn settle(&mut self) -> Option<()> {
        let believed = CHECKS.prior_freedom.get();
        self.freedom = 0.0;
        for photo in 0..self.joint.photos.len() {
            if self.joint.photos[photo].is_stated {
                self.freedom = f64::INFINITY;
                continue;
            }
            let (square, redundancy) = self.left_in(photo)?;
            let freedom = redundancy.max(0.0) + believed;
            self.freedom += freedom;
            let unscaled = square * self.factors[photo].powi(2);
            let factor = ((unscaled + believed) / freedom).sqrt();
            self.factors[photo] = factor.clamp(CHECKS.least_noise.get(), CHECKS.most_noise.get());
        }
        self.solve(STEPS)
    }

    /// Squares of the residuals of a photo in their deviations, and their redundancy.
    fn left_in(&self, photo: usize) -> Option<(f64, f64)> {
        let (mut square, mut redundancy) = (0.0, 0.0);
        let marks = self
            .joint
            .marks
            .iter()
            .zip(&self.solved.rows)
            .zip(&self.kept);
        for ((mark, row), _) in marks.filter(|((mark, _), kept)| **kept && mark.photo == photo) {
            let inverse = row.covariance.try_inverse()?;
            square += (row.residual.transpose() * inverse * row.residual).x;
            let spread = self.solved.of_prediction(&self.joint, mark, row);
            redundancy += 2.0 - (inverse * spread).trace();
        }
        Some((square, redundancy))
    }

    fn leave_out_gross(&mut self) {
        let limit = SPACE.gross.get() * marks::Cleaned::critical();
        let tests = self.tests().into_iter().zip(&self.kept);
        let is_good = |t: &Test| t.statistic < limit || t.redundancy < CHECKS.uncontrolled.get();
        let kept: Vec<bool> = tests.map(|(test, kept)| *kept && is_good(&test)).collect();
        if kept.iter().filter(|kept| **kept).count() >= LEAST_LEFT {
            self.kept = kept;
        }
    }

    fn leave_out_worst(&mut self) -> Option<()> {
        for _ in 0..MOST_WRONG * self.joint.photos.len() {
            let Some(worst) = self.worst() else { break };
            if self.count() <= LEAST_LEFT || stop::is_asked() {
                break;
            }
            self.kept[worst] = false;
            self.solve(STEPS)?;
            self.settle()?;
        }
        Some(())
    }

    /// The mark to leave out next.
    fn worst(&self) -> Option<usize> {
        let tests = self.tests();
        let cost_without = |k: usize| self.without(k).map_or(f64::INFINITY, |s| s.cost);
        marks::worst_of(&tests, &self.kept, cost_without)
    }

    /// The solution without a mark.
    fn without(&self, mark: usize) -> Option<Solved> {
        let mut kept = self.kept.clone();
        kept[mark] = false;
        let plan = self.plan(&kept, TRIED_STEPS);
        self.joint.solve(&self.solved.state, &plan)
    }

    /// Takes marks back that fit the others after all.
    fn take_back(&mut self) -> Option<()> {
        for k in 0..self.kept.len() {
            if !self.kept[k] && self.tests()[k].statistic < marks::Cleaned::critical() {
                self.kept[k] = true;
                self.solve(STEPS)?;
            }
        }
        Some(())
    }

    /// Leaves out known lengths that contradict the others and the marks, the worst first.
    fn leave_out_lengths(&mut self) -> Option<()> {
        for _ in 0..self.joint.lengths.len() {
            let tests = self.joint.length_tests(&self.solved);
            let Some(worst) = beside::worst(&self.joint.lengths, &tests) else {
                break;
            };
            self.joint.lengths[worst].is_kept = false;
            self.solve(STEPS)?;
        }
        Some(())
    }

    /// Of a part with few marks each is tested without it; where two cannot be told apart neither counts.
    fn leave_out_of_weak_parts(&mut self) -> Option<()> {
        for part in 0..self.joint.parts.len() {
            let marks = self.joint.marks.iter().enumerate();
            let own: Vec<usize> = marks
                .filter(|(k, mark)| mark.part == Some(part) && self.kept[*k])
                .map(|(k, _)| k)
                .collect();
            if !(2..=WEAK).contains(&own.len()) || stop::is_asked() {
                continue;
            }
            let mut tests: Vec<(f64, usize)> =
                own.iter().map(|&k| (self.test_without(k), k)).collect();
            tests.sort_by(|a, b| b.0.total_cmp(&a.0));
            if tests[0].0 <= marks::Cleaned::critical() {
                continue;
            }
            self.kept[tests[0].1] = false;
            if tests[0].0 - tests[1].0 < SPACE.told_apart.get() {
                self.kept[tests[1].1] = false;
            }
            self.solve(STEPS)?;
        }
        Some(())
    }

    fn test_without(&self, mark: usize) -> f64 {
        let Some(solved) = self.without(mark) else {
            return 0.0;
        };
        let mut without = self.clone();
        without.kept[mark] = false;
        without.solved = solved;
        without
            .test(mark, &without.solved.rows[mark], false)
            .statistic
    }

    /// Widens what is expected of the parts where the parts themselves ask for it, never below `stated`.
    fn widen(&mut self, stated: &[Nine], weighing: Weighing) -> Option<()> {
        let believed = SPACE.believed_parts.get();
        for _ in 0..ROUNDS {
            for (kind, widened) in KINDS.into_iter().zip(&mut self.widened) {
                let (mut square, mut redundancy) = (0.0, 0.0);
                for (part, stated) in stated.iter().enumerate() {
                    for k in kind.clone() {
                        redundancy += 1.0 - self.solved.spread.parts[part][(k, k)];
                        square += (self.solved.state.errors[part][k] / stated[k]).powi(2);
                    }
                }
                let factor = ((square + believed) / (redundancy.max(0.0) + believed)).sqrt();
                *widened = factor.clamp(1.0, SPACE.most_widened.get());
            }
            for (part, stated) in self.joint.parts.iter_mut().zip(stated) {
                for (kind, widened) in KINDS.into_iter().zip(self.widened) {
                    for k in kind {
                        part.expected[k] = stated[k] * widened;
                    }
                }
            }
            let plan = Plan {
                weighing,
                ..self.plan(&self.kept, STEPS)
            };
            self.solved = self.joint.solve(&self.solved.state, &plan)?;
        }
        Some(())
    }

    /// Exchanges the first two marks of a photo that each fit the other's place, where the cost says so; whether any was.
    fn exchange(&mut self) -> bool {
        let n = self.joint.marks.len();
        for a in 0..n {
            for b in a + 1..n {
                if self.joint.marks[a].photo == self.joint.marks[b].photo
                    && self.look_exchanged(a, b)
                    && self.try_exchange(a, b)
                {
                    self.exchanged.push([a, b]);
                    return true;
                }
            }
        }
        false
    }

    fn look_exchanged(&self, a: usize, b: usize) -> bool {
        let mark = |k: usize| self.joint.marks[k].mark;
        let predicted = |k: usize| mark(k) - self.solved.rows[k].residual;
        let photo = self.joint.marks[a].photo;
        let sigma = self.joint.photos[photo].problem.sigma * self.factors[photo];
        marks::look_exchanged([mark(a), mark(b)], [predicted(a), predicted(b)], sigma)
    }

    fn try_exchange(&mut self, a: usize, b: usize) -> bool {
        let mut joint = self.joint.clone();
        let (of_a, of_b) = (joint.marks[a].mark, joint.marks[b].mark);
        (joint.marks[a].mark, joint.marks[b].mark) = (of_b, of_a);
        let solved = robust(&joint, &self.solved.state, &self.kept, &self.factors);
        let Some(solved) = solved else { return false };
        if self.solved.cost - solved.cost <= CHECKS.exchange_gain.get() {
            return false;
        }
        (self.joint, self.solved) = (joint, solved);
        true
    }
}
