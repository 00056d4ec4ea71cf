//! Finds gross errors among the marks: robust start, exchanged pairs, then data snooping with the joint adjustment.
//!
//! # Source
//! W. Baarda, "A testing procedure for use in geodetic networks" (1968): one test for each mark, the worst first, solve
//! again. Here both coordinates are tested together, by `v' S_v^-1 v` against chi-square with two degrees of freedom.
use super::{
    adjustment::{Adjustment, Noise, Problem, Row, Solved, Weighing},
    altered_datum::{self, AlteredDatum},
    model::{Pair, RegionErrors, State},
    start::{self, subsets},
};
use crate::{frame::Projective, statistics::chi_square_quantile};
use nalgebra::Vector2;

/// Which marks take part in what way. All vectors have one entry a pair.
#[derive(Clone, Debug)]
pub(crate) struct Roles {
    /// Carries the registration.
    pub(crate) datum: Vec<bool>,
    /// Takes part in the adjustment: datum marks, and check marks that lie on a region.
    pub(crate) takes_part: Vec<bool>,
    /// The region that a mark lies on, be it datum or check.
    pub(crate) part: Vec<Option<usize>>,
    /// Was to carry the registration and was put on its part, which is altered.
    pub(crate) off_with_part: Vec<bool>,
    /// Its place on the model contradicts the render, and the camera's shift would need it: takes no part.
    pub(crate) wrong_place: Vec<bool>,
    /// Whether the deviation of a mark in the render is stated.
    pub(crate) render_stated: bool,
    /// Whether the deviation of a mark in the reference is stated.
    pub(crate) reference_stated: bool,
}

impl Roles {
    /// These datum marks belong to an altered part: from now on they carry nothing.
    fn put_on_their_part(&mut self, marks: &[usize]) {
        for &i in marks {
            self.datum[i] = false;
            self.off_with_part[i] = true;
        }
    }
}

/// The adjustment without the marks that were found wrong.
#[derive(Clone, Debug)]
pub(crate) struct Cleaned {
    pub(crate) adjustment: Adjustment,
    pub(crate) swapped: Vec<(usize, usize)>,
    /// The roles as they are now: marks of altered parts carry nothing any more.
    pub(crate) roles: Roles,
    pub(crate) altered_datum: Vec<AlteredDatum>,
}

/// Level of the test of one mark.
const LEVEL: f64 = 0.001;
/// Below this redundancy a mark's residual is too small a part of its error for first-order arithmetic: the statistic is
/// then found by solving without the mark.
const LEAST_REDUNDANCY: f64 = 0.2;
/// Two marks of one part whose statistics differ by less than this cannot be told apart: odds of seven to one.
const TELLS_APART: f64 = 4.0;
/// How many marks may be taken out one after the other before the rest is asked again.
const MOST_REMOVALS: usize = 8;
/// Steps of the last solution where it has not come to rest before; it takes two or three from a settled state.
const MOST_LAST_STEPS: usize = 100;
/// Weight, in observations, of what is believed about the noise beforehand.
const PRIOR_FREEDOM: f64 = 3.0;
/// How far the noise may lie from what is believed beforehand, as a factor.
pub(crate) const NOISE_RANGE: (f64, f64) = (1.0 / 3.0, 10.0 / 3.0);
/// How much an exchange of two marks must lower the robust cost.
const SWAP_GAIN: f64 = 8.0;

/// The square that noise exceeds in one of a thousand marks.
pub(crate) fn critical_square() -> f64 {
    chi_square_quantile(1.0 - LEVEL, 2.0)
}

/// Non-centrality at which the test finds an error four times in five: 19.66 for two degrees of freedom, level 0.001
/// (computed with SciPy's non-central chi-square).
pub(crate) const DETECTABLE_SQUARE: f64 = 19.662_385_609_33;

/// The state from the best subset of datum marks: the least sum of truncated squares over all marks. `None` where no
/// subset gives a map.
pub(crate) fn robust_start(problem: &Problem, roles: &Roles, rectified: &State) -> Option<State> {
    let datum: Vec<usize> = (0..problem.pairs.len())
        .filter(|&i| roles.datum[i])
        .collect();
    let mut fixed = problem.clone();
    fixed.layout.is_rectification_free = false;
    subsets(&datum, start::least_points(problem.layout.kind))
        .into_iter()
        .chain(std::iter::once(datum.clone()))
        .filter_map(|subset| {
            let state = from_subset(&fixed, rectified, &subset)?;
            let cost = truncated_cost(&fixed.rows(&state, Noise::AS_STATED), roles);
            cost.is_finite().then_some((cost, state))
        })
        .min_by(|a, b| a.0.total_cmp(&b.0))
        .map(|(_, state)| state)
}

fn from_subset(problem: &Problem, rectified: &State, subset: &[usize]) -> Option<State> {
    let from: Vec<_> = subset
        .iter()
        .map(|&i| {
            rectified
                .rectified_from_reference
                .apply(problem.pairs[i].reference)
                .xy()
        })
        .collect();
    let to: Vec<_> = subset
        .iter()
        .map(|&i| problem.pairs[i].render.xy())
        .collect();
    let map = Projective::from_matrix(start::fit(problem.layout.kind, &from, &to)?)?;
    Some(State {
        render_from_rectified: map,
        ..rectified.clone()
    })
}

fn truncated_cost(rows: &[Row], roles: &Roles) -> f64 {
    let datum = |square: f64| (square / 7.0).min(9.0);
    let check = |square: f64| 0.3 * (square / 280.0).min(4.0);
    rows.iter()
        .zip(&roles.datum)
        .map(|(row, is_datum)| {
            let square = row.standardised_square();
            let square = if square.is_finite() { square } else { f64::MAX };
            if *is_datum {
                datum(square)
            } else {
                check(square)
            }
        })
        .sum()
}

/// Robust fit, exchange of swapped marks, snooping. `None` where the marks do not determine the unknowns.
pub(crate) fn clean(mut problem: Problem, mut roles: Roles, start: &State) -> Option<Cleaned> {
    let mut noise = NoiseEstimate::new(&roles);
    let mut altered_datum = Vec::new();
    let mut active = roles.takes_part.clone();
    let mut solved = problem.solve(start, &active, Weighing::Robust, noise.now(), 6)?;
    for _ in 0..5 {
        noise.take_median(&solved, &problem, &active);
        solved = problem.solve(&solved.state, &active, Weighing::Robust, noise.now(), 6)?;
    }
    let swapped = exchange_swapped(&mut problem, &roles, &mut solved, noise.now());
    solved = least_squares(&problem, &solved, &active, noise.now())?;
    let mut takes_part = roles.takes_part.clone();
    solved = remove_worst(
        &mut problem,
        &mut roles,
        &mut active,
        &mut takes_part,
        solved,
        &mut noise,
        &mut altered_datum,
    )?;
    solved = settle(&problem, &active, solved, &mut noise, 3)?;
    solved = take_back(&problem, &takes_part, &mut active, solved, noise.now())?;
    // What could not be told apart is tried again by the settled noise.
    altered_datum.retain(|a: &AlteredDatum| a.rivals.is_empty());
    solved = remove_worst(
        &mut problem,
        &mut roles,
        &mut active,
        &mut takes_part,
        solved,
        &mut noise,
        &mut altered_datum,
    )?;
    solved = settle(&problem, &active, solved, &mut noise, 2)?;
    if !solved.convergence.is_reached {
        solved = problem.solve(
            &solved.state,
            &active,
            Weighing::LeastSquares,
            noise.now(),
            MOST_LAST_STEPS,
        )?;
    }
    let noise_freedom = noise.freedom(&solved, &problem, &active);
    Some(Cleaned {
        adjustment: Adjustment {
            problem,
            solved,
            active,
            takes_part,
            noise: noise.now(),
            noise_freedom,
        },
        swapped,
        roles,
        altered_datum,
    })
}

/// The least-squares solution from where `solved` stands.
fn least_squares(
    problem: &Problem,
    solved: &Solved,
    active: &[bool],
    noise: Noise,
) -> Option<Solved> {
    problem.solve(&solved.state, active, Weighing::LeastSquares, noise, 12)
}

/// Estimates the noise and solves again, `times` times.
fn settle(
    problem: &Problem,
    active: &[bool],
    mut solved: Solved,
    noise: &mut NoiseEstimate,
    times: usize,
) -> Option<Solved> {
    for _ in 0..times {
        noise.take_residuals(&solved, problem, active);
        solved = least_squares(problem, &solved, active, noise.now())?;
    }
    Some(solved)
}

/// The factor on the deviations that are not stated.
#[derive(Clone)]
pub(crate) struct NoiseEstimate {
    factor: f64,
    render_stated: bool,
    reference_stated: bool,
}

impl NoiseEstimate {
    fn new(roles: &Roles) -> Self {
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
        let believed = (found * freedom + PRIOR_FREEDOM) / (freedom + PRIOR_FREEDOM);
        self.factor = believed.sqrt().clamp(NOISE_RANGE.0, NOISE_RANGE.1);
    }

    fn take_median(&mut self, solved: &Solved, problem: &Problem, active: &[bool]) {
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
        solved.freedom(problem, taking_part) + PRIOR_FREEDOM
    }
}

/// Takes out the mark with the largest statistic, or puts the marks of an altered datum part on it where that explains
/// more, solves again, as long as a statistic is beyond its limit.
fn remove_worst(
    problem: &mut Problem,
    roles: &mut Roles,
    active: &mut [bool],
    takes_part: &mut [bool],
    mut solved: Solved,
    noise: &mut NoiseEstimate,
    altered_datum: &mut Vec<AlteredDatum>,
) -> Option<Solved> {
    let least = start::least_points(problem.layout.kind);
    for _ in 0..MOST_REMOVALS {
        let datum_left = (0..active.len())
            .filter(|&i| active[i] && roles.datum[i])
            .count();
        let statistics: Vec<(f64, usize)> = (0..active.len())
            // What remains must still check itself: one more datum mark than the registration needs.
            .filter(|&i| active[i] && (!roles.datum[i] || datum_left > least + 1))
            .map(|i| (statistic(problem, &solved, active, noise.now(), i), i))
            .collect();
        let worst = statistics.iter().max_by(|a, b| a.0.total_cmp(&b.0));
        let ratio_of_one = worst.map_or(0.0, |(square, _)| square / critical_square());
        let part = altered_datum::find(problem, roles, active, &solved, noise);
        if let Some(found) = part.filter(|p| p.ratio > ratio_of_one) {
            if !found.altered.rivals.is_empty() {
                // Nothing tells which part is altered: single marks must not be blamed for it.
                altered_datum.push(found.altered);
                break;
            }
            (*problem, solved) = (found.problem, found.solved);
            roles.put_on_their_part(&found.altered.landmarks);
            altered_datum.push(found.altered);
            noise.take_residuals(&solved, problem, active);
            solved = least_squares(problem, &solved, active, noise.now())?;
            continue;
        }
        let Some(&(square, i)) = worst else { break };
        if square < critical_square() {
            break;
        }
        active[i] = false;
        // With two marks on a part, one of them wrong, what is expected of the part may not tell which.
        let rival = statistics
            .iter()
            .find(|(s, k)| *k != i && is_on_same_part(problem, i, *k) && square - s < TELLS_APART);
        if let Some(&(_, k)) = rival {
            active[k] = false;
            takes_part[k] = false;
        }
        let before = noise.factor;
        solved = least_squares(problem, &solved, active, noise.now())?;
        noise.take_residuals(&solved, problem, active);
        noise.factor = noise.factor.min(before);
        solved = least_squares(problem, &solved, active, noise.now())?;
    }
    Some(solved)
}

/// The statistic of a mark that takes part: by how much the weighted sum of squares falls without it.
fn statistic(problem: &Problem, solved: &Solved, active: &[bool], noise: Noise, i: usize) -> f64 {
    if solved.redundancy(problem, i, true) > LEAST_REDUNDANCY {
        return solved.test_square(problem, i, true);
    }
    let mut without = active.to_vec();
    without[i] = false;
    let cost = |s: &Solved, active: &[bool]| {
        problem.cost(&s.state, &s.rows, active, Weighing::LeastSquares, noise)
    };
    least_squares(problem, solved, &without, noise)
        .map_or(0.0, |s| cost(solved, active) - cost(&s, &without))
}

fn is_on_same_part(problem: &Problem, i: usize, k: usize) -> bool {
    let region = |i: usize| problem.pairs[i].region;
    region(i).is_some() && region(i) == region(k)
}

/// Takes back removed marks that the settled solution predicts well, the best first.
fn take_back(
    problem: &Problem,
    takes_part: &[bool],
    active: &mut [bool],
    mut solved: Solved,
    noise: Noise,
) -> Option<Solved> {
    let mut out: Vec<(f64, usize)> = (0..active.len())
        .filter(|&i| takes_part[i] && !active[i])
        .map(|i| (solved.test_square(problem, i, false), i))
        .collect();
    out.sort_by(|a, b| a.0.total_cmp(&b.0));
    for (_, i) in out {
        if solved.test_square(problem, i, false) < critical_square() {
            active[i] = true;
            solved = least_squares(problem, &solved, active, noise)?;
        }
    }
    Some(solved)
}

/// Tries every pair of marks that fit each other's place better than their own, and exchanges the reference marks of
/// those that lower the robust cost by much.
fn exchange_swapped(
    problem: &mut Problem,
    roles: &Roles,
    solved: &mut Solved,
    noise: Noise,
) -> Vec<(usize, usize)> {
    let mut swapped = Vec::new();
    for _ in 0..2 {
        let cost = problem.cost(
            &solved.state,
            &solved.rows,
            &roles.takes_part,
            Weighing::Robust,
            noise,
        );
        let best = swap_candidates(problem, roles, solved)
            .into_iter()
            .filter_map(|(i, j)| {
                let mut tried = problem.clone();
                exchange(&mut tried.pairs, i, j);
                let mut start = solved.state.clone();
                forget_regions(&mut start, &tried, i, j);
                let s = tried.solve(&start, &roles.takes_part, Weighing::Robust, noise, 10)?;
                let gain = cost
                    - tried.cost(
                        &s.state,
                        &s.rows,
                        &roles.takes_part,
                        Weighing::Robust,
                        noise,
                    );
                (gain > SWAP_GAIN).then_some((gain, i, j, s))
            })
            .max_by(|a, b| a.0.total_cmp(&b.0));
        let Some((_, i, j, s)) = best else { break };
        exchange(&mut problem.pairs, i, j);
        *solved = s;
        swapped.push((i, j));
    }
    swapped
}

/// The errors that swapped marks had feigned are no start for the exchanged ones.
fn forget_regions(state: &mut State, problem: &Problem, i: usize, j: usize) {
    for k in [i, j].into_iter().filter_map(|k| problem.pairs[k].region) {
        state.regions[k] = RegionErrors::default();
    }
}

fn exchange(pairs: &mut [Pair], i: usize, j: usize) {
    let kept = pairs[i].reference;
    pairs[i].reference = pairs[j].reference;
    pairs[j].reference = kept;
}

fn swap_candidates(problem: &Problem, roles: &Roles, solved: &Solved) -> Vec<(usize, usize)> {
    let n = problem.pairs.len();
    let place = |i: usize| solved.rows[i].prediction.model;
    let mark = |i: usize| Vector2::new(problem.pairs[i].render.x, problem.pairs[i].render.y);
    let taking_part: Vec<usize> = (0..n).filter(|&i| roles.takes_part[i]).collect();
    let mut found = Vec::new();
    for (k, &i) in taking_part.iter().enumerate() {
        for &j in &taking_part[k + 1..] {
            let apart = (place(i) - place(j)).norm();
            let deviation = (solved.rows[i].covariance.trace() / 2.0).sqrt();
            let own = (mark(i) - place(i)).norm_squared() + (mark(j) - place(j)).norm_squared();
            let (ij, ji) = ((mark(i) - place(j)).norm(), (mark(j) - place(i)).norm());
            let gain = own - ij * ij - ji * ji;
            let near = ij.max(ji) < (0.35 * apart).max(6.0 * deviation);
            if gain > 0.25 * apart * apart && near && apart > 5.0 * deviation {
                found.push((i, j));
            }
        }
    }
    found
}

#[cfg(test)]
mod tests;
