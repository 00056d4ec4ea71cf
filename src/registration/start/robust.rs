//! The robust start: the best of the maps that small subsets of the datum marks give.
use super::{fit, least_points, subsets::subsets};
use crate::{
    frame::Projective,
    registration::{
        adjustment::{Noise, Problem, State},
        checks::settings::CHECKS,
        roles::Roles,
    },
};

/// Maps of subsets that are fitted anew to all marks near them.
const FITTED_ANEW: usize = 12;
/// Rounds of that; marks near a map change little after the second.
const ROUNDS: usize = 3;
/// Factors on the deviations that are tried where they are not stated: what is believed of the noise, in steps of a half.
const FACTORS: [f64; 5] = [1.0 / 3.0, 0.5, 0.8, 1.2, 2.0];
/// Where a wrong mark may lie, as an area in squared deviations: a picture of 400 by 400 px at 1.7 px
/// (a judgement).
const WRONG_AREA: f64 = 55_000.0;

/// The state from the best subset of datum marks, fitted anew to those near it: the likeliest, where each mark is right, with
/// noise of an unknown size, or lies anywhere. `None` where no subset gives a map.
///
/// # Source
/// P. H. S. Torr and A. Zisserman, "MLESAC" (2000), from memory: maps are compared by their likelihood. A count of marks
/// within a stated distance would take a map that many lie loosely about for better than one that fewer lie on.
/// O. Chum, J. Matas and J. Kittler, "Locally optimized RANSAC" (2003), from memory: the map of a least subset carries the
/// noise of its marks, and is fitted anew before maps are compared.
pub(crate) fn robust_start(problem: &Problem, roles: &Roles, rectified: &State) -> Option<Start> {
    let datum: Vec<usize> = (0..problem.pairs.len())
        .filter(|&i| roles.datum[i])
        .collect();
    let mut fixed = problem.clone();
    fixed.layout.is_rectification_free = false;
    let costed = |state: State| {
        let squares = squares(&fixed, &state, roles);
        let (cost, noise, near) = cost(&squares, roles);
        let start = Start { state, noise };
        cost.is_finite().then_some(Costed { cost, start, near })
    };
    let mut best: Vec<Costed> = subsets(&datum, least_points(problem.layout.kind))
        .into_iter()
        .chain(std::iter::once(datum.clone()))
        .filter_map(|subset| costed(from_subset(&fixed, rectified, &subset)?))
        .collect();
    best.sort_by(|a, b| a.cost.total_cmp(&b.cost));
    best.truncate(FITTED_ANEW);
    for _ in 0..ROUNDS {
        for one in &mut best {
            let anew = from_subset(&fixed, rectified, &one.near).and_then(costed);
            if let Some(anew) = anew.filter(|anew| anew.cost < one.cost) {
                *one = anew;
            }
        }
    }
    best.into_iter()
        .min_by(|a, b| a.cost.total_cmp(&b.cost))
        .map(|best| best.start)
}

/// Where the adjustment begins.
pub(crate) struct Start {
    pub(crate) state: State,
    /// The factor on the deviations that are not stated.
    pub(crate) noise: f64,
}

/// A map with what the marks make of it.
struct Costed {
    cost: f64,
    start: Start,
    /// The datum marks that it takes for right.
    near: Vec<usize>,
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
    let map = Projective::from_matrix(fit(problem.layout.kind, &from, &to)?)?;
    Some(State {
        render_from_rectified: map,
        ..rectified.clone()
    })
}

/// The square of each pair's residual in its own deviations. A mark beyond the horizon, as most of the datum marks see it,
/// counts as far off as can be.
fn squares(problem: &Problem, state: &State, roles: &Roles) -> Vec<f64> {
    let rows = problem.rows(state, Noise::AS_STATED);
    let sides: Vec<bool> = (problem.pairs.iter())
        .map(|pair| state.is_before(pair.reference))
        .collect();
    let datum = || sides.iter().zip(&roles.datum).filter(|(_, datum)| **datum);
    let front = 2 * datum().filter(|(side, _)| **side).count() >= datum().count();
    rows.iter()
        .zip(&sides)
        .map(|(row, side)| {
            let square = row.standardised_square();
            let is_seen = square.is_finite() && *side == front;
            if is_seen { square } else { f64::MAX }
        })
        .collect()
}

/// The negative logarithm of the likelihood, up to a constant, by the factor on the deviations that makes it least, that
/// factor, and the datum marks that are right by it. Check marks lie on parts that may be off, and count little.
fn cost(squares: &[f64], roles: &Roles) -> (f64, f64, Vec<usize>) {
    let factors: &[f64] = if roles.render_stated && roles.reference_stated {
        &[1.0]
    } else {
        &FACTORS
    };
    let datum = || (0..squares.len()).filter(|&i| roles.datum[i]);
    let wrong = WRONG_AREA.ln();
    let of_checks: f64 = (0..squares.len())
        .filter(|&i| !roles.datum[i])
        .map(|i| 0.6 * (squares[i] / 280.0).min(4.0))
        .sum();
    // A normal density in two dimensions.
    let right = |variance: f64, i: usize| {
        (std::f64::consts::TAU * variance).ln() + squares[i] / (2.0 * variance)
    };
    let by_factor = factors.iter().map(|&factor| {
        let variance = factor * factor;
        let believed = CHECKS.prior_freedom.get() / 2.0 * (variance.ln() + 1.0 / variance);
        let of_datum: f64 = datum().map(|i| right(variance, i).min(wrong)).sum();
        (of_datum + believed, factor)
    });
    let (cost, factor) = by_factor
        .min_by(|a, b| a.0.total_cmp(&b.0))
        .expect("there is a factor");
    let near = datum().filter(|&i| right(factor * factor, i) < wrong);
    (cost + of_checks, factor, near.collect())
}
