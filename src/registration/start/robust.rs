//! The robust start: the best of the maps that small subsets of the datum marks give.
use super::{fit, least_points, subsets::subsets};
use crate::{
    frame::Projective,
    registration::{
        adjustment::{Noise, Problem, Row, State},
        roles::Roles,
    },
};

/// The state from the best subset of datum marks: the least sum of truncated squares over all marks. `None` where no
/// subset gives a map.
pub(crate) fn robust_start(problem: &Problem, roles: &Roles, rectified: &State) -> Option<State> {
    let datum: Vec<usize> = (0..problem.pairs.len())
        .filter(|&i| roles.datum[i])
        .collect();
    let mut fixed = problem.clone();
    fixed.layout.is_rectification_free = false;
    subsets(&datum, least_points(problem.layout.kind))
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
    let map = Projective::from_matrix(fit(problem.layout.kind, &from, &to)?)?;
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
