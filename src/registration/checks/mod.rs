//! Finds gross errors among the marks and judges what is left: robust fit, exchanged marks, data snooping, altered datum
//! parts, places on the model, a bend.
pub(crate) mod altered_datum;
mod bend;
mod doubts;
mod exchange;
mod gross;
pub(crate) mod landmarks;
mod mark_test;
mod noise;
pub(crate) mod places;
mod review;
pub(crate) mod settings;
mod snooping;
pub(crate) mod suspected_datum;
#[cfg(test)]
mod tests;

use super::{
    adjustment::{Problem, State, Weighing},
    roles::Roles,
    start::Start,
};
use noise::NoiseEstimate;
use snooping::{Cleaned, Snooping};

/// Robust solutions between which the noise is estimated, and the steps of each.
const ROBUST_SOLUTIONS: usize = 5;
const ROBUST_STEPS: usize = 6;
/// Steps of the last solution where it has not come to rest before; it takes two or three from a settled state.
const MOST_LAST_STEPS: usize = 100;

/// Robust fit, exchange of swapped marks, snooping. `None` where the marks do not determine the unknowns.
pub(crate) fn clean(mut problem: Problem, roles: Roles, start: &Start) -> Option<Cleaned> {
    let mut noise = NoiseEstimate::new(&roles, start.noise);
    let robust = |problem: &Problem, state: &State, kept: &[bool], noise: &NoiseEstimate| {
        problem.solve(state, kept, Weighing::Robust, noise.now(), ROBUST_STEPS)
    };
    // The start knows neither parallax nor what the marks say of the rectification, so that good marks may lie far off it.
    let is_whole = problem.layout.parallax.is_none() && !problem.layout.is_rectification_free;
    let mut kept = if is_whole {
        gross::kept(&problem, &roles, &problem.rows(&start.state, noise.now()))
    } else {
        roles.takes_part.clone()
    };
    let mut solved = robust(&problem, &start.state, &kept, &noise)?;
    for _ in 0..ROBUST_SOLUTIONS {
        noise.take_smaller(&solved, &problem, &kept);
        kept = gross::kept(&problem, &roles, &solved.rows);
        solved = robust(&problem, &solved.state, &kept, &noise)?;
    }
    let swapped = exchange::exchange_swapped(&mut problem, &roles, &mut solved, noise.now());
    kept = gross::kept(&problem, &roles, &solved.rows);
    solved = problem.least_squares(&solved, &kept, noise.now())?;
    let mut snooping = Snooping::new((problem, solved), roles, kept, noise);
    snooping.remove_worst()?;
    snooping.settle(3)?;
    snooping.take_back()?;
    // What could not be told apart is tried again by the settled noise.
    snooping.forget_rivals();
    snooping.remove_worst()?;
    snooping.settle(2)?;
    snooping.come_to_rest(MOST_LAST_STEPS)?;
    // A map whose horizon runs between the marks shows what lies behind the camera.
    snooping
        .is_before_horizon()
        .then(|| snooping.cleaned(swapped))
}
