//! Data snooping with the joint adjustment: the mark that contradicts the others most is left out, and all are solved anew.
//!
//! # Source
//! W. Baarda, "A testing procedure for use in geodetic networks" (1968): one test for each mark, the worst first, solve
//! again. Here both coordinates are tested together, by `v' S_v^-1 v` against chi-square with two degrees of freedom.
use super::settings::CHECKS;
use super::{
    altered_datum::{self, AlteredDatum},
    mark_test::MarkTest,
    noise::NoiseEstimate,
    suspected_datum,
};
use crate::registration::{
    adjustment::{Adjustment, Problem, Solved, Weighing},
    roles::Roles,
    start,
};

/// Non-centrality at which the test finds an error four times in five: 19.66 for two degrees of freedom, level 0.001
/// (computed with SciPy's non-central chi-square).
pub(crate) const DETECTABLE_SQUARE: f64 = 19.662_385_609_33;

/// The adjustment without the marks that were found wrong.
#[derive(Clone, Debug)]
pub(crate) struct Cleaned {
    pub(crate) adjustment: Adjustment,
    pub(crate) swapped: Vec<(usize, usize)>,
    /// The roles as they are now: marks of altered parts carry nothing any more.
    pub(crate) roles: Roles,
    pub(crate) altered_datum: Vec<AlteredDatum>,
}

/// An adjustment from which marks are left out one by one.
pub(super) struct Snooping {
    problem: Problem,
    roles: Roles,
    /// Marks that are not left out.
    active: Vec<bool>,
    /// Marks that may be taken back.
    takes_part: Vec<bool>,
    solved: Solved,
    noise: NoiseEstimate,
    altered_datum: Vec<AlteredDatum>,
}

impl Snooping {
    /// Begins with the marks that are `kept`, by which `solved` is the solution; others that take part may come back.
    pub(super) fn new(
        (problem, solved): (Problem, Solved),
        roles: Roles,
        kept: Vec<bool>,
        noise: NoiseEstimate,
    ) -> Self {
        Self {
            problem,
            active: kept,
            takes_part: roles.takes_part.clone(),
            roles,
            solved,
            noise,
            altered_datum: Vec::new(),
        }
    }

    /// Takes out the mark with the largest statistic, or puts the marks of an altered datum part on it where that explains
    /// more, solves again, as long as a statistic is beyond its limit.
    pub(super) fn remove_worst(&mut self) -> Option<()> {
        // Each round takes out a mark or moves the marks of a part, so that there are no more rounds than marks.
        for _ in 0..self.active.len() {
            let statistics = self.statistics();
            let worst = statistics
                .iter()
                .max_by(|a, b| a.0.total_cmp(&b.0))
                .copied();
            let ratio_of_one = worst.map_or(0.0, |(square, _)| self.excess(square, true));
            let part = altered_datum::find(
                &self.problem,
                &self.roles,
                &self.active,
                &self.solved,
                &self.noise,
            );
            if let Some(found) = part.filter(|p| p.ratio > ratio_of_one) {
                if !found.altered.rivals.is_empty() {
                    // Nothing tells which part is altered: single marks must not be blamed for it.
                    self.altered_datum.push(found.altered);
                    break;
                }
                self.put_on_part(found)?;
                continue;
            }
            let Some((square, i)) = worst else { break };
            if ratio_of_one < 1.0 {
                break;
            }
            self.leave_out(i, square, &statistics);
            let before = self.noise.factor;
            self.solve()?;
            self.take_residuals();
            self.noise.factor = self.noise.factor.min(before);
            self.solve()?;
        }
        Some(())
    }

    /// A mark's square over what noise exceeds in one of a thousand marks.
    fn excess(&self, square: f64, took_part: bool) -> f64 {
        let noise = (self.noise.now(), self.noise.is_known());
        let test = MarkTest::new(&self.problem, &self.solved, &self.active, noise);
        test.square(square, took_part) / test.critical(took_part)
    }

    /// Square and index of every mark that may be left out.
    fn statistics(&self) -> Vec<(f64, usize)> {
        let (active, datum) = (&self.active, &self.roles.datum);
        let least = start::least_points(self.problem.layout.kind);
        let datum_left = (0..active.len()).filter(|&i| active[i] && datum[i]).count();
        (0..active.len())
            // What remains must still check itself: one more datum mark than the registration needs.
            .filter(|&i| active[i] && (!datum[i] || datum_left > least + 1))
            .map(|i| (self.statistic(i), i))
            .collect()
    }

    /// The statistic of a mark that takes part: by how much the weighted sum of squares falls without it.
    fn statistic(&self, i: usize) -> f64 {
        let (problem, noise) = (&self.problem, self.noise.now());
        if self.solved.redundancy(problem, i, true) > CHECKS.least_redundancy.get() {
            return self.solved.test_square(problem, i, true);
        }
        let mut without = self.active.clone();
        without[i] = false;
        let cost = |s: &Solved, active: &[bool]| {
            problem.cost(&s.state, &s.rows, active, Weighing::LeastSquares, noise)
        };
        problem
            .least_squares(&self.solved, &without, noise)
            .map_or(0.0, |s| {
                cost(&self.solved, &self.active) - cost(&s, &without)
            })
    }

    /// Leaves out mark `i`, whose statistic is `square`.
    fn leave_out(&mut self, i: usize, square: f64, statistics: &[(f64, usize)]) {
        self.active[i] = false;
        // With two marks on a part, one of them wrong, what is expected of the part may not tell which. Neither comes back,
        // for alone each of them fits.
        let rival = statistics.iter().find(|(s, k)| {
            *k != i && self.is_on_same_part(i, *k) && square - s < CHECKS.marks_tell_apart.get()
        });
        if let Some(&(_, k)) = rival {
            self.active[k] = false;
            for (mark, other) in [(i, k), (k, i)] {
                self.takes_part[mark] = false;
                self.roles.contradicts[mark] = Some(other);
            }
        }
    }

    fn is_on_same_part(&self, i: usize, k: usize) -> bool {
        let region = |i: usize| self.problem.pairs[i].region;
        region(i).is_some() && region(i) == region(k)
    }

    fn put_on_part(&mut self, found: altered_datum::Found) -> Option<()> {
        (self.problem, self.solved) = (found.problem, found.solved);
        self.roles.put_on_their_part(&found.altered.landmarks);
        self.altered_datum.push(found.altered);
        self.take_residuals();
        self.solve()
    }

    /// Estimates the noise and solves again, `times` times.
    pub(super) fn settle(&mut self, times: usize) -> Option<()> {
        for _ in 0..times {
            self.take_residuals();
            self.solve()?;
        }
        Some(())
    }

    /// Takes back removed marks that the settled solution predicts well, the best first.
    pub(super) fn take_back(&mut self) -> Option<()> {
        let test = |own: &Self, i: usize| own.solved.test_square(&own.problem, i, false);
        let mut out: Vec<(f64, usize)> = (0..self.active.len())
            .filter(|&i| self.takes_part[i] && !self.active[i])
            .map(|i| (test(self, i), i))
            .collect();
        out.sort_by(|a, b| a.0.total_cmp(&b.0));
        for (_, i) in out {
            if self.excess(test(self, i), false) < 1.0 {
                self.active[i] = true;
                self.solve()?;
            }
        }
        Some(())
    }

    /// Forgets the altered parts that could not be told from others.
    pub(super) fn forget_rivals(&mut self) {
        self.altered_datum.retain(|a| a.rivals.is_empty());
    }

    /// Goes on where the last solution has not come to rest.
    pub(super) fn come_to_rest(&mut self, most_steps: usize) -> Option<()> {
        if !self.solved.convergence.is_reached {
            self.solved = self.problem.solve(
                &self.solved.state,
                &self.active,
                Weighing::LeastSquares,
                self.noise.now(),
                most_steps,
            )?;
        }
        Some(())
    }

    /// Whether all marks that are left lie on one side of the horizon.
    pub(super) fn is_before_horizon(&self) -> bool {
        let mut sides = (self.problem.pairs.iter().zip(&self.active))
            .filter(|(_, active)| **active)
            .map(|(pair, _)| self.solved.state.is_before(pair.reference));
        sides
            .next()
            .is_none_or(|first| sides.all(|side| side == first))
    }

    pub(super) fn cleaned(self, swapped: Vec<(usize, usize)>) -> Cleaned {
        let noise_freedom = self
            .noise
            .freedom(&self.solved, &self.problem, &self.active);
        let mut adjustment = Adjustment {
            problem: self.problem,
            solved: self.solved,
            active: self.active,
            takes_part: self.takes_part,
            noise: self.noise.now(),
            noise_freedom,
        };
        suspected_datum::consider(&mut adjustment);
        Cleaned {
            adjustment,
            swapped,
            roles: self.roles,
            altered_datum: self.altered_datum,
        }
    }

    fn solve(&mut self) -> Option<()> {
        let noise = self.noise.now();
        self.solved = self
            .problem
            .least_squares(&self.solved, &self.active, noise)?;
        Some(())
    }

    fn take_residuals(&mut self) {
        self.noise
            .take_residuals(&self.solved, &self.problem, &self.active);
    }
}
