//! Finds a datum part that is altered as a whole: its marks agree with each other and not with those of all other parts.
//!
//! The test of single marks finds that late or never, for its marks bear each other out. Here all datum marks of a part
//! are tested together, for a common shift and for all five errors of a part, whichever stands out more.
//!
//! # Source
//! W. Baarda, "A testing procedure for use in geodetic networks" (1968): the test of an alternative hypothesis of several
//! dimensions. Hypotheses of different dimensions are compared by statistic over critical value (from memory: P. Teunissen,
//! "Testing theory", 2000).
use super::noise::NoiseEstimate;
use super::settings::CHECKS;
use crate::{
    registration::{
        adjustment::{Problem, RegionErrors, Solved, Weighing},
        roles::Roles,
        start,
    },
    statistics::{chi_square_quantile, f_quantile},
};
use nalgebra::{DMatrix, DVector};

/// Of a part's numbers (width, height, rotation, offset x, offset y): those of a shift, and all, which three marks tell.
const SHIFT: [usize; 2] = [3, 4];
const ALL: [usize; 5] = [0, 1, 2, 3, 4];
const MARKS_FOR_ALL: usize = 3;

/// A datum part that contradicts the other datum landmarks.
#[derive(Clone, Debug, PartialEq)]
pub struct AlteredDatum {
    /// Index of the region.
    pub region: usize,
    /// Its datum landmarks.
    pub landmarks: Vec<usize>,
    /// Regions that may as well be the altered one; where there are any, nothing was changed, else the landmarks were
    /// taken as `check`.
    pub rivals: Vec<usize>,
    /// By how much the weighted sum of squares falls with errors of the part's own.
    pub test_statistic: f64,
    /// The value that noise exceeds in one of two hundred parts.
    pub critical_value: f64,
}

/// What to do about it.
pub(crate) struct Found {
    pub(crate) altered: AlteredDatum,
    /// Statistic over critical value by the present noise: comparable with that of other hypotheses.
    pub(crate) ratio: f64,
    /// The problem with the marks on their part, and its solution.
    pub(crate) problem: Problem,
    pub(crate) solved: Solved,
}

/// The hypothesis that one part is altered.
struct Hypothesis {
    region: usize,
    marks: Vec<usize>,
    /// The numbers that stand out most.
    numbers: &'static [usize],
    /// Their statistic over the critical value.
    ratio: f64,
    /// The statistic of all numbers that the marks tell.
    statistic_of_all: f64,
}

/// The part that contradicts the others most; `None` where none does beyond noise.
pub(crate) fn find(
    problem: &Problem,
    roles: &Roles,
    active: &[bool],
    solved: &Solved,
    noise: &NoiseEstimate,
) -> Option<Found> {
    let mut all: Vec<Hypothesis> = (0..problem.layout.anchors.len())
        .filter_map(|region| hypothesis(problem, roles, active, solved, region))
        .collect();
    let best = (0..all.len()).max_by(|&a, &b| all[a].ratio.total_cmp(&all[b].ratio))?;
    let best = all.swap_remove(best);
    let mut moved = problem.clone();
    for &i in &best.marks {
        moved.pairs[i].region = Some(best.region);
    }
    let least_squares = Weighing::LeastSquares;
    let solution = moved.solve(&solved.state, active, least_squares, noise.now(), 12)?;
    // By the noise that remains without the contradiction, of which the present one may be made.
    let mut remaining = noise.clone();
    remaining.take_residuals(&solution, &moved, active);
    let again = problem.solve(&solved.state, active, least_squares, remaining.now(), 12)?;
    let test_statistic = statistic(problem, &again, &best.marks, best.region, best.numbers)?;
    let dimensions = best.numbers.len() as f64;
    let freedom = remaining.freedom(&solution, &moved, active);
    let critical_value = critical(dimensions, freedom);
    if test_statistic < critical_value {
        return None;
    }
    let by_remaining_noise =
        test_statistic / (best.ratio * critical(dimensions, f64::INFINITY)).max(f64::MIN_POSITIVE);
    let rivals = all
        .iter()
        .filter(|h| {
            (best.statistic_of_all - h.statistic_of_all) * by_remaining_noise
                < CHECKS.parts_tell_apart.get()
        })
        .map(|h| h.region)
        .collect();
    Some(Found {
        ratio: best.ratio,
        altered: AlteredDatum {
            region: best.region,
            landmarks: best.marks,
            rivals,
            test_statistic,
            critical_value,
        },
        problem: moved,
        solved: solution,
    })
}

fn critical(dimensions: f64, freedom: f64) -> f64 {
    if freedom.is_finite() {
        dimensions * f_quantile(1.0 - CHECKS.part_level.get(), dimensions, freedom)
    } else {
        chi_square_quantile(1.0 - CHECKS.part_level.get(), dimensions)
    }
}

/// `None` where fewer than two datum marks lie on the part (one is what the test of marks is for), or where the others
/// would not check themselves.
fn hypothesis(
    problem: &Problem,
    roles: &Roles,
    active: &[bool],
    solved: &Solved,
    region: usize,
) -> Option<Hypothesis> {
    let carries = |i: &usize| active[*i] && roles.datum[*i];
    let (marks, others): (Vec<usize>, Vec<usize>) = (0..active.len())
        .filter(carries)
        .partition(|&i| roles.part[i] == Some(region));
    if marks.len() < 2 || others.len() < start::least_points(problem.layout.kind) + 1 {
        return None;
    }
    let of = |numbers: &[usize]| statistic(problem, solved, &marks, region, numbers);
    let ratio = |statistic: f64, numbers: &[usize]| {
        statistic / critical(numbers.len() as f64, f64::INFINITY)
    };
    let shift = of(&SHIFT)?;
    let mut found = Hypothesis {
        region,
        numbers: &SHIFT,
        ratio: ratio(shift, &SHIFT),
        statistic_of_all: shift,
        marks: Vec::new(),
    };
    let all = (marks.len() >= MARKS_FOR_ALL).then(|| of(&ALL)).flatten();
    if let Some(all) = all {
        found.statistic_of_all = all;
        if ratio(all, &ALL) > found.ratio {
            found.numbers = &ALL;
            found.ratio = ratio(all, &ALL);
        }
    }
    found.marks = marks;
    Some(found)
}

/// `w' M^-1 w`: by how much, to first order, the weighted sum of squares falls with these errors of the part as further
/// unknowns, `w` being their normal equations' right side and `M` their matrix with all other unknowns eliminated.
fn statistic(
    problem: &Problem,
    solved: &Solved,
    marks: &[usize],
    region: usize,
    numbers: &[usize],
) -> Option<f64> {
    let unknowns = problem.layout.global_unknowns();
    let mut right = DVector::zeros(numbers.len());
    let mut matrix = DMatrix::zeros(numbers.len(), numbers.len());
    let mut with_others = DMatrix::zeros(unknowns, numbers.len());
    for row in marks.iter().map(|&i| &solved.rows[i]) {
        let prediction = &row.prediction;
        let anchor = problem.layout.anchors[region];
        let all = RegionErrors::default().derivative(anchor, prediction.registered);
        let by_numbers = DMatrix::from_fn(2, numbers.len(), |r, c| all[(r, numbers[c])]);
        let weighed = row.covariance.try_inverse()? * &by_numbers;
        right += weighed.tr_mul(&row.residual);
        matrix += weighed.tr_mul(&by_numbers);
        with_others += prediction.by_global.tr_mul(&weighed);
    }
    let eliminated = matrix - with_others.tr_mul(&(&solved.covariance.global * &with_others));
    Some(right.dot(&(eliminated.try_inverse()? * &right)))
}
