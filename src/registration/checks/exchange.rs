//! Finds two marks whose places in the reference were exchanged.
use super::{mark_test::critical_square, settings::CHECKS};
use crate::registration::{
    adjustment::{Noise, Pair, Problem, RegionErrors, Solved, State, Weighing},
    roles::Roles,
};
use nalgebra::Vector2;

/// Tries every pair of marks that fit each other's place better than their own, and exchanges the reference marks of
/// those that lower the robust cost by much.
pub(super) fn exchange_swapped(
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
                // Two marks that are wrong each for itself may gain by an exchange and still be far off.
                let explains = [i, j]
                    .iter()
                    .all(|&k| s.test_square(&tried, k, true) < critical_square());
                (gain > CHECKS.exchange_gain.get() && explains).then_some((gain, i, j, s))
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
