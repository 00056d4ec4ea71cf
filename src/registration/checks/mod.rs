//! Finds gross errors among the marks and judges what is left: robust fit, exchanged marks, data snooping, altered datum
//! parts, places on the model, a bend.
pub(crate) mod altered_datum;
mod bend;
mod doubts;
mod exchange;
pub(crate) mod landmarks;
mod noise;
pub(crate) mod places;
mod review;
pub(crate) mod settings;
mod snooping;
#[cfg(test)]
mod tests;

use super::{
    adjustment::{Problem, State, Weighing},
    roles::Roles,
};
use noise::NoiseEstimate;
use snooping::{Cleaned, Snooping};

/// Robust solutions between which the noise is estimated, and the steps of each.
const ROBUST_SOLUTIONS: usize = 5;
const ROBUST_STEPS: usize = 6;
/// Steps of the last solution where it has not come to rest before; it takes two or three from a settled state.
const MOST_LAST_STEPS: usize = 100;

/// Robust fit, exchange of swapped marks, snooping. `None` where the marks do not determine the unknowns.
pub(crate) fn clean(mut problem: Problem, roles: Roles, start: &State) -> Option<Cleaned> {
    let mut noise = NoiseEstimate::new(&roles);
    let active = roles.takes_part.clone();
    let robust = |problem: &Problem, state: &State, noise: &NoiseEstimate| {
        problem.solve(state, &active, Weighing::Robust, noise.now(), ROBUST_STEPS)
    };
    let mut solved = robust(&problem, start, &noise)?;
    for _ in 0..ROBUST_SOLUTIONS {
        noise.take_median(&solved, &problem, &active);
        solved = robust(&problem, &solved.state, &noise)?;
    }
    let swapped = exchange::exchange_swapped(&mut problem, &roles, &mut solved, noise.now());
    solved = problem.least_squares(&solved, &active, noise.now())?;
    let mut snooping = Snooping::new(problem, roles, solved, noise);
    snooping.remove_worst()?;
    snooping.settle(3)?;
    snooping.take_back()?;
    // What could not be told apart is tried again by the settled noise.
    snooping.forget_rivals();
    snooping.remove_worst()?;
    snooping.settle(2)?;
    snooping.come_to_rest(MOST_LAST_STEPS)?;
    Some(snooping.cleaned(swapped))
}
