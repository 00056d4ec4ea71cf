//! The attitudes that marks may be seen from: the minima of the cost.
use super::{
    camera::Camera,
    marks::Cleaned,
    settings::SPACE,
    solving::{Plan, Problem, Solved},
    start::{is_turned, starts},
};
use nalgebra::Vector2;

/// Trace of the turn between two minima, below which they are not one (6 degrees).
const DISTINCT: f64 = 2.99;
/// The same for a second attitude that is told (18 degrees).
const SECOND: f64 = 2.9;

/// The minima of the robust cost, the least first, each once. `places` are the marks in the picture.
pub(super) fn minima(problem: &Problem, places: &[Vector2<f64>]) -> Vec<Solved> {
    let kept = vec![true; problem.marks.len()];
    let mut solved: Vec<(f64, Solved)> = starts(problem, places)
        .iter()
        .filter_map(|start| problem.solve(start, &Plan::robust(&kept, 1.0)))
        .map(|solved| (solved.judged_cost(), solved))
        .collect();
    solved.sort_by(|a, b| a.0.total_cmp(&b.0));
    let mut minima: Vec<Solved> = Vec::new();
    for (_, solved) in solved {
        let is_new = |m: &Solved| is_turned(&m.camera, &solved.camera, DISTINCT);
        if minima.iter().all(is_new) {
            minima.push(solved);
        }
    }
    minima
}

/// Another attitude that the marks cannot tell from the one they were looked through with, and what it costs more.
pub(super) fn second(cleaned: &Cleaned, minima: &[Solved]) -> Option<(Solved, f64)> {
    let first = cleaned.solved.judged_cost();
    let plan = Plan::least_squares(&cleaned.kept, cleaned.factor);
    let is_elsewhere = |camera: &Camera| is_turned(camera, &cleaned.solved.camera, SECOND);
    let found = minima
        .iter()
        .filter(|m| is_elsewhere(&m.camera))
        .filter_map(|m| cleaned.problem.solve(&m.camera, &plan))
        .filter(|solved| is_elsewhere(&solved.camera))
        .map(|solved| (solved.judged_cost() - first, solved))
        .min_by(|a, b| a.0.total_cmp(&b.0));
    let (more, solved) = found?;
    (more < SPACE.attitude_cost.get()).then_some((solved, more))
}
