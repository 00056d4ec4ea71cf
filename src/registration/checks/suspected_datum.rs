//! What datum parts that may be altered do to the registration, where the test does not name them.
//!
//! A datum part that is off by little more than its marks' noise is seldom named, and pulls the registration all the same;
//! and where two parts contradict each other, either may be the altered one. So every datum part is altered with some
//! probability: how well errors of its own explain the marks, against those that each datum part may have anyway. The
//! registration stays where all datum parts have it; that it would lie elsewhere without this one is added to its
//! covariance, with that probability. A part that fits the others adds next to nothing.
//!
//! # Source
//! Averages over hypotheses: J. Hoeting, D. Madigan, A. Raftery and C. Volinsky, "Bayesian Model Averaging: A Tutorial",
//! Statistical Science 14 (1999), eq. 1 to 3; the mean square about one hypothesis' estimate in place of the variance about
//! the mean of all. The evidence is that of normal errors, with an unknown variance that of Student's (A. Zellner, "An
//! Introduction to Bayesian Inference in Econometrics", 1971, from memory).
use super::settings::CHECKS;
use crate::registration::{
    adjustment::{ADJUSTMENT, Adjustment, RegionErrors},
    start,
};
use nalgebra::{DMatrix, DVector, SMatrix, SVector};

type Five = SVector<f64, 5>;
type FiveByFive = SMatrix<f64, 5, 5>;

/// Considers in the deviations of an adjustment, from now on, what datum parts that may be altered do to it; to be called
/// where nothing is considered of them yet.
pub(crate) fn consider(adjustment: &mut Adjustment) {
    let suspected = root(adjustment);
    let covariance = &mut adjustment.solved.covariance;
    let columns = covariance.datum_root.ncols();
    let added = suspected.ncols();
    let known = std::mem::replace(&mut covariance.datum_root, DMatrix::zeros(0, 0));
    covariance.datum_root = known.resize_horizontally(columns + added, 0.0);
    covariance
        .datum_root
        .columns_mut(columns, added)
        .copy_from(&suspected);
    adjustment.problem.suspected = suspected;
}

/// What says how surely a sum of squares is one of noise.
#[derive(Clone, Copy)]
struct Squares {
    /// Sum of the standardised squares, what is believed of the noise beforehand included.
    sum: f64,
    /// Observations to spare behind it: infinite where the noise is stated.
    freedom: f64,
}

impl Squares {
    /// Of the marks that take part in a solution.
    fn of(adjustment: &Adjustment) -> Self {
        let rows = adjustment.solved.rows.iter().zip(&adjustment.active);
        let taking_part = rows.filter(|(_, a)| **a);
        let sum: f64 = taking_part.map(|(row, _)| row.standardised_square()).sum();
        let factor = adjustment.noise.estimated();
        Self {
            sum: sum + CHECKS.prior_freedom.get() / (factor * factor),
            freedom: adjustment.noise_freedom,
        }
    }

    /// How much more a fall of the sum by the first number speaks for what brings it than a fall by the second: the
    /// logarithm of the ratio of likelihoods.
    fn evidence(self, [of_more, of_less]: [f64; 2]) -> f64 {
        if self.freedom.is_finite() {
            let left = |fall: f64| (self.sum - fall).max(1e-3 * self.sum);
            self.freedom / 2.0 * (left(of_less) / left(of_more)).ln()
        } else {
            (of_more - of_less) / 2.0
        }
    }
}

/// A datum part as one that may be altered.
struct Suspect {
    /// Logarithm of the evidence for errors of its own.
    evidence: f64,
    /// A root of the mean square of what they make of the shared unknowns, were it altered.
    root: DMatrix<f64>,
}

/// A root of what all datum parts add to the covariance of the shared unknowns; without columns where no part can be tested
/// against the others.
fn root(adjustment: &Adjustment) -> DMatrix<f64> {
    let problem = &adjustment.problem;
    let squares = Squares::of(adjustment);
    let parts = 0..problem.layout.anchors.len();
    let suspects: Vec<Suspect> = parts
        .filter_map(|region| suspect(adjustment, region, squares))
        .collect();
    let beforehand = CHECKS.altered_beforehand.get();
    let odds = beforehand / (1.0 - beforehand);
    let most = suspects.iter().map(|s| s.evidence).fold(0.0, f64::max);
    let weight = |evidence: f64| odds * (evidence - most).exp();
    let all = (-most).exp() + suspects.iter().map(|s| weight(s.evidence)).sum::<f64>();
    let unknowns = problem.layout.global_unknowns();
    let mut root = DMatrix::zeros(unknowns, 6 * suspects.len());
    for (k, suspect) in suspects.iter().enumerate() {
        let probability = weight(suspect.evidence) / all;
        root.columns_mut(6 * k, 6)
            .copy_from(&(probability.sqrt() * &suspect.root));
    }
    root
}

/// Deviations of the five errors that a datum part may have without being altered.
fn own_deviations() -> Five {
    let size = ADJUSTMENT.datum_size.get() / 100.0;
    let offset = ADJUSTMENT.datum_offset.get();
    Five::from([
        size,
        size,
        ADJUSTMENT.datum_rotation.get().to_radians(),
        offset,
        offset,
    ])
}

/// `None` where fewer than two datum marks lie on the part, or where the others would not check themselves.
fn suspect(adjustment: &Adjustment, region: usize, squares: Squares) -> Option<Suspect> {
    let (problem, solved) = (&adjustment.problem, &adjustment.solved);
    let active = &adjustment.active;
    let carries = |i: &usize| active[*i] && problem.pairs[*i].region.is_none();
    let (marks, others): (Vec<usize>, Vec<usize>) = (0..active.len())
        .filter(carries)
        .partition(|&i| problem.pairs[i].datum_part() == Some(region));
    if marks.len() < 2 || others.len() < start::least_points(problem.layout.kind) + 1 {
        return None;
    }
    let mut right = Five::zeros();
    let mut matrix = FiveByFive::zeros();
    let mut with_others = DMatrix::zeros(problem.layout.global_unknowns(), 5);
    for row in marks.iter().map(|&i| &solved.rows[i]) {
        let prediction = &row.prediction;
        let anchor = problem.layout.anchors[region];
        let by_errors = RegionErrors::default().derivative(anchor, prediction.registered);
        let weighed = row.covariance.try_inverse()? * by_errors;
        right += weighed.tr_mul(&row.residual);
        matrix += weighed.tr_mul(&by_errors);
        with_others += prediction.by_global.tr_mul(&weighed);
    }
    let moved = &solved.covariance.global * &with_others;
    let eliminated =
        FiveByFive::from_fn(|r, c| matrix[(r, c)] - with_others.column(r).dot(&moved.column(c)));
    let own = own_deviations();
    let altered = Five::from(problem.expected).zip_map(&own, f64::hypot);
    let explained = Explained::by(altered, &eliminated, &right)?;
    let anyway = Explained::by(own, &eliminated, &right)?;
    let evidence = squares.evidence([explained.fall, anyway.fall])
        - (explained.log_determinant - anyway.log_determinant) / 2.0;
    let errors = DVector::from_column_slice(explained.errors.as_slice());
    let mut root = DMatrix::zeros(moved.nrows(), 6);
    root.set_column(0, &(&moved * errors));
    root.columns_mut(1, 5).copy_from(&(&moved * explained.root));
    Some(Suspect { evidence, root })
}

/// What five errors with a deviation each explain.
struct Explained {
    /// By how much the sum of squares falls.
    fall: f64,
    /// Logarithm of how much narrower they are known afterwards than before, squared.
    log_determinant: f64,
    /// What they most likely are, and a root of their covariance.
    errors: Five,
    root: FiveByFive,
}

impl Explained {
    /// `matrix` and `right` are the normal equations of the errors with all other unknowns eliminated.
    fn by(deviations: Five, matrix: &FiveByFive, right: &Five) -> Option<Self> {
        let scale = FiveByFive::from_diagonal(&deviations);
        let scaled = FiveByFive::identity() + scale * matrix * scale;
        let known = scaled.cholesky()?;
        let right = scale * right;
        let errors = known.solve(&right);
        let lower = known.l();
        Some(Self {
            fall: right.dot(&errors),
            log_determinant: 2.0 * lower.diagonal().map(f64::ln).sum(),
            errors: scale * errors,
            // (L L')^-1 = L'^-1 L^-1
            root: scale * lower.try_inverse()?.transpose(),
        })
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::{
        job::{Expected, RegistrationKind},
        registration::{
            Registered,
            invented::{DATUM, right, view},
            register,
        },
    };
    use nalgebra::Vector2;

    const EXPECTED: Expected = Expected {
        size_percent: 4.0,
        rotation_deg: 1.5,
        offset_percent: 0.8,
        keystone_percent: 0.3,
    };
    /// The four lowest datum marks lie on one part.
    const PART: [usize; 4] = [0, 1, 5, 6];

    /// That part is moved by so many px in the render; the other datum marks lie on another part or on none.
    fn adjusted(moved: f64, has_other: bool) -> Registered {
        let mut marks = right(&DATUM);
        for i in PART {
            marks[i].0[0] += moved;
        }
        let mut view = view(RegistrationKind::Similarity, &marks, &[], 1.0);
        view.regions[0].landmarks = PART.to_vec();
        if has_other {
            let mut other = view.regions[0].clone();
            other.landmarks = (0..DATUM.len()).filter(|i| !PART.contains(i)).collect();
            view.regions.push(other);
        }
        register(&view, EXPECTED, (1000, 1000), None).expect("eight datum marks")
    }

    /// What is considered of the place of a mark, px along x: its deviation.
    fn considered(registered: &Registered) -> f64 {
        let adjustment = &registered.adjustment;
        let mut gradient = adjustment.no_gradient();
        adjustment.add_registered(&mut gradient, 7, Vector2::x());
        let suspected = &adjustment.problem.suspected;
        suspected.tr_mul(&gradient.global).norm()
    }

    #[test]
    fn a_part_that_fits_adds_nothing_and_one_that_is_nearly_named_much() {
        let [right, off] = [0.0, 6.0].map(|moved| adjusted(moved, false));
        assert!(off.altered_datum.is_empty(), "{:?}", off.altered_datum);
        let [right, off] = [right, off].map(|r| considered(&r));
        // The other deviations of that place are about 1 px.
        assert!(right < 0.03 && off > 8.0 * right, "{right} {off}");
    }

    #[test]
    fn of_two_parts_that_contradict_each_other_either_may_be_right() {
        let moved = 16.0;
        let found = adjusted(moved, true);
        assert!(!found.altered_datum[0].rivals.is_empty());
        // The registration lies between them, 8 px from where either has it.
        let considered = considered(&found);
        assert!(
            considered > 0.3 * moved && considered < moved,
            "{considered}"
        );
    }

    #[test]
    fn a_fall_speaks_by_half_of_it_where_the_noise_is_stated_and_nearly_so_where_much_tells_it() {
        let by = |sum: f64, freedom: f64| Squares { sum, freedom }.evidence([9.0, 1.0]);
        assert!((by(20.0, f64::INFINITY) - 4.0).abs() < 1e-12);
        assert!((by(1e4, 1e4) - 4.0).abs() < 0.01);
        // Little tells the noise, which may be larger: (20 - 1) / (20 - 9) to the power of 5.
        assert!((by(20.0, 10.0) - 5.0 * (19.0_f64 / 11.0).ln()).abs() < 1e-12);
    }

    #[test]
    fn what_nothing_tells_stays_as_it_was_believed() {
        let deviations = Five::from([0.1, 0.2, 0.3, 4.0, 5.0]);
        let nothing = FiveByFive::zeros();
        let found = Explained::by(deviations, &nothing, &Five::zeros()).expect("positive");
        assert_eq!((found.fall, found.log_determinant), (0.0, 0.0));
        let covariance = found.root * found.root.transpose();
        let believed = FiveByFive::from_diagonal(&deviations.map(|d| d * d));
        assert!((covariance - believed).norm() < 1e-12);
    }
}
