//! The least-squares problem behind the known lengths: its observations, its solutions, and the tests on them.
use crate::measurement::lengths::settings::LENGTHS;
use crate::{
    job::{Axis, Side},
    measurement::own_marks::own_vector,
    registration::{Adjustment, adjustment::Gradient},
    statistics::{chi_square_quantile, f_quantile, t_quantile},
};
use nalgebra::{DMatrix, DVector, Matrix2, Vector2};

/// A known line as it is marked.
#[derive(Clone, Debug)]
pub(crate) struct KnownLine {
    /// Indices of the pairs of the adjustment at its ends.
    pub(crate) ends: [usize; 2],
    pub(crate) mm: Option<f64>,
    /// Standard deviation of `mm`, where it is stated.
    pub(crate) sigma_mm: Option<f64>,
    pub(crate) along: Option<Axis>,
}

/// The result of a test: what was found, and what noise exceeds in one of a thousand cases.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Test {
    /// The statistic.
    pub statistic: f64,
    /// Its critical value.
    pub critical: f64,
}

impl Test {
    /// Whether the statistic is beyond what noise explains.
    pub fn speaks(self) -> bool {
        self.statistic > self.critical
    }
}

/// Rounds of a fit with stretch or shear: each leaves an error of the stretch times that of the round before, so that
/// 10 % ends at 1e-10.
const MOST_ROUNDS: usize = 10;
/// A round that changes the unknowns by no more than this is the last one: far below any mark, above rounding.
const SETTLED: f64 = 1e-13;

/// The unknowns, by their place.
pub(in crate::measurement) const SCALE: usize = 0;
pub(super) const ANGLE: usize = 1;
pub(super) const STRETCH: usize = 2;
pub(super) const SHEAR: usize = 3;

/// What an observation is of.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum What {
    Length,
    Direction,
}

#[derive(Clone, Debug)]
pub(super) struct Observation {
    /// Index among the known lines.
    pub(super) line: usize,
    pub(super) what: What,
    /// From end to end, in the image's own pixels (rectified).
    pub(super) vector: Vector2<f64>,
    /// Millimetres, or the inclination on the drawing (radians).
    pub(super) target: f64,
    /// Of the logarithm of the length, or of the inclination.
    pub(super) gradient: Gradient,
}

/// All that is known of one image's lengths and directions.
pub(crate) struct Dimensions {
    pub(super) observations: Vec<Observation>,
    pub(super) covariance: DMatrix<f64>,
    /// Degrees of freedom of the marks' noise.
    pub(super) freedom: f64,
    /// Direction near which all lie, so that a drawing turned by a right angle is not split between -90° and 90°.
    pub(super) base: f64,
}

/// Observations that are kept, with the inverse of their covariance, which follows when one goes or comes.
#[derive(Clone, Debug)]
pub(super) struct Kept {
    /// Indices among the observations.
    pub(super) rows: Vec<usize>,
    inverse: DMatrix<f64>,
}

impl Kept {
    /// Inverts the covariance of these observations; `None` where they are not independent.
    fn new(rows: Vec<usize>, covariance: &DMatrix<f64>) -> Option<Self> {
        let own = DMatrix::from_fn(rows.len(), rows.len(), |r, c| {
            covariance[(rows[r], rows[c])]
        });
        let inverse = own.cholesky()?.inverse();
        Some(Self { rows, inverse })
    }

    /// The same without observation number `row`.
    ///
    /// # Source
    /// W. Hager, "Updating the inverse of a matrix", SIAM Review 31 (1989): the inverse of a partitioned matrix.
    pub(super) fn without(&self, row: usize) -> Option<Self> {
        let corner = self.inverse[(row, row)];
        if corner.is_nan() || corner <= 0.0 {
            return None;
        }
        let across = self.inverse.column(row).remove_row(row);
        let mut inverse = self.inverse.clone().remove_row(row).remove_column(row);
        inverse.ger(-1.0 / corner, &across, &across, 1.0);
        let mut rows = self.rows.clone();
        rows.remove(row);
        Some(Self { rows, inverse })
    }

    /// The same with observation `i` as the last one; `None` where it is not independent of them.
    pub(super) fn with(&self, i: usize, covariance: &DMatrix<f64>) -> Option<Self> {
        let n = self.rows.len();
        let shared = DVector::from_iterator(n, self.rows.iter().map(|&r| covariance[(r, i)]));
        let known = &self.inverse * &shared;
        let own = covariance[(i, i)] - shared.dot(&known);
        if own.is_nan() || own <= 0.0 {
            return None;
        }
        let mut inverse = self.inverse.clone().resize(n + 1, n + 1, 0.0);
        let mut block = inverse.view_mut((0, 0), (n, n));
        block.ger(1.0 / own, &known, &known, 1.0);
        for (r, value) in known.iter().enumerate() {
            inverse[(r, n)] = -value / own;
            inverse[(n, r)] = -value / own;
        }
        inverse[(n, n)] = 1.0 / own;
        let mut rows = self.rows.clone();
        rows.push(i);
        Some(Self { rows, inverse })
    }
}

/// One least-squares solution.
#[derive(Clone, Debug)]
pub(super) struct Solution {
    pub(super) kept: Kept,
    pub(super) unknowns: Vec<usize>,
    pub(super) values: [f64; 4],
    pub(super) covariance: DMatrix<f64>,
    /// Unknowns by observations: `values = weights * observed`.
    pub(super) weights: DMatrix<f64>,
    /// Unknowns by observations: `A' S^-1`.
    weighted_design: DMatrix<f64>,
    /// `S^-1 v`.
    weighted_residual: DVector<f64>,
    pub(super) square: f64,
}

impl Dimensions {
    /// The lines of one image; `None` where there are none.
    pub(crate) fn new(adjustment: &Adjustment, side: Side, lines: &[KnownLine]) -> Option<Self> {
        let mut observations = Vec::new();
        let mut drawn = Vec::new();
        for (line, known) in lines.iter().enumerate() {
            let own = own_vector(adjustment, side, known.ends);
            let square = own.vector.norm_squared();
            if square.is_nan() || square <= 0.0 {
                continue;
            }
            let along = own.vector / square;
            let across = Vector2::new(-along.y, along.x);
            let mut add = |what, target, d, stated: f64| {
                let gradient = own.gradient(adjustment, side, known.ends, d);
                drawn.push(
                    LENGTHS.drawn_deviation.get()
                        * LENGTHS.drawn_deviation.get()
                        * adjustment.variance(&gradient)
                        + stated * stated,
                );
                observations.push(Observation {
                    line,
                    what,
                    vector: own.vector,
                    target,
                    gradient,
                });
            };
            if let Some(mm) = known.mm {
                add(What::Length, mm, along, known.sigma_mm.unwrap_or(0.0) / mm);
            }
            if let Some(axis) = known.along {
                let target = match axis {
                    Axis::Horizontal => 0.0,
                    Axis::Vertical => std::f64::consts::FRAC_PI_2,
                };
                add(What::Direction, target, across, 0.0);
            }
        }
        if observations.is_empty() {
            return None;
        }
        let variances: Vec<f64> = observations
            .iter()
            .map(|o| adjustment.variance(&o.gradient))
            .collect();
        let mut covariance = DMatrix::zeros(observations.len(), observations.len());
        for i in 0..observations.len() {
            covariance[(i, i)] = variances[i] + drawn[i];
            for j in 0..i {
                let mut sum = observations[i].gradient.clone();
                sum.add(1.0, &observations[j].gradient);
                let shared = (adjustment.variance(&sum) - variances[i] - variances[j]) / 2.0;
                covariance[(i, j)] = shared;
                covariance[(j, i)] = shared;
            }
        }
        let base = observations
            .iter()
            .find(|o| o.what == What::Direction)
            .map_or(0.0, |o| half_turn(o.vector.y.atan2(o.vector.x) - o.target));
        Some(Self {
            base,
            observations,
            covariance,
            freedom: adjustment.noise_freedom(),
        })
    }

    /// These observations with the inverse of their covariance: the one step that takes the cube of their number.
    pub(super) fn keep(&self, rows: Vec<usize>) -> Option<Kept> {
        Kept::new(rows, &self.covariance)
    }

    pub(super) fn has(&self, kept: &[usize], what: What) -> bool {
        kept.iter().any(|&i| self.observations[i].what == what)
    }

    /// The observed value and its derivatives by the four unknowns, with `values` of stretch and shear taken off.
    pub(super) fn observed(&self, i: usize, values: &[f64; 4]) -> (f64, [f64; 4]) {
        let observation = &self.observations[i];
        let (e, g) = (values[STRETCH], values[SHEAR]);
        let stretch = Matrix2::new(1.0 + e, g, g, 1.0 - e);
        let plain = stretch
            .try_inverse()
            .map_or(observation.vector, |inverse| inverse * observation.vector);
        let inclination = plain.y.atan2(plain.x);
        let (sin, cos) = (2.0 * inclination).sin_cos();
        match observation.what {
            What::Length => (
                (plain.norm() / observation.target).ln() + e * cos + g * sin,
                [1.0, 0.0, cos, sin],
            ),
            What::Direction => (
                self.base + half_turn(inclination - observation.target - self.base) - e * sin
                    + g * cos,
                [0.0, 1.0, -sin, cos],
            ),
        }
    }

    /// Solves for `unknowns` from the observations `kept`, from values near the solution; `None` where they do not
    /// determine them. Takes the square of their number of steps.
    pub(super) fn solve(
        &self,
        unknowns: &[usize],
        kept: Kept,
        near: &[f64; 4],
    ) -> Option<Solution> {
        let mut values = [0.0; 4];
        if !is_too_stretched(near) {
            for &unknown in unknowns {
                values[unknown] = near[unknown];
            }
        }
        // Without stretch and shear the observations do not depend on the unknowns.
        let is_linear = unknowns.iter().all(|&u| u != STRETCH && u != SHEAR);
        let mut last = None;
        for _ in 0..if is_linear { 1 } else { MOST_ROUNDS } {
            let (design, observed) = self.equations(unknowns, &kept, &values);
            let weighted_design = design.tr_mul(&kept.inverse);
            let normal = &weighted_design * &design;
            let cofactor = normal.clone().cholesky()?.inverse();
            if !is_determined(&normal, &cofactor) {
                return None;
            }
            let weights = &cofactor * &weighted_design;
            let found = &weights * &observed;
            let mut change = 0.0_f64;
            for (column, &unknown) in unknowns.iter().enumerate() {
                change = change.max((found[column] - values[unknown]).abs());
                values[unknown] = found[column];
            }
            last = Some((
                observed - design * found,
                weighted_design,
                weights,
                cofactor,
            ));
            if change <= SETTLED {
                break;
            }
        }
        let (residual, weighted_design, weights, covariance) = last?;
        let weighted_residual = &kept.inverse * &residual;
        Some(Solution {
            square: residual.dot(&weighted_residual),
            kept,
            unknowns: unknowns.to_vec(),
            values,
            covariance,
            weights,
            weighted_design,
            weighted_residual,
        })
    }

    /// Derivatives by the unknowns and observed values of what is kept, at `values`.
    fn equations(
        &self,
        unknowns: &[usize],
        kept: &Kept,
        values: &[f64; 4],
    ) -> (DMatrix<f64>, DVector<f64>) {
        let mut design = DMatrix::zeros(kept.rows.len(), unknowns.len());
        let mut observed = DVector::zeros(kept.rows.len());
        for (row, &i) in kept.rows.iter().enumerate() {
            let (value, derivatives) = self.observed(i, values);
            observed[row] = value;
            for (column, &unknown) in unknowns.iter().enumerate() {
                design[(row, column)] = derivatives[unknown];
            }
        }
        (design, observed)
    }

    /// Variance factor and degrees of freedom of a solution without the observation whose error is `w` of its deviations;
    /// `None` where none is left.
    pub(super) fn noise_of_others(&self, solution: &Solution, w: f64) -> Option<(f64, f64)> {
        let others = solution.freedom().checked_sub(1)? as f64;
        if !self.freedom.is_finite() {
            return Some((1.0, f64::INFINITY));
        }
        let freedom = self.freedom + others;
        let rest = (solution.square - w * w).max(0.0);
        Some(((self.freedom + rest) / freedom, freedom))
    }

    /// The statistic of observation number `row` of a solution: its error over the error's deviation, by the variance of
    /// the others; with the critical value. `None` where nothing checks it.
    pub(super) fn test(&self, solution: &Solution, row: usize) -> Option<(f64, f64)> {
        let i = solution.kept.rows[row];
        let control = solution.control(row);
        if control * self.covariance[(i, i)] < LENGTHS.least_redundancy.get() {
            return None;
        }
        let w = solution.error(row)? * control.sqrt();
        let (variance, freedom) = self.noise_of_others(solution, w)?;
        Some((
            w.abs() / variance.sqrt(),
            t_quantile(1.0 - LENGTHS.length_level.get() / 2.0, freedom),
        ))
    }

    /// Leaves out the worst line as long as one is beyond its limit and can be told from the others. `start` is a solution
    /// of all that may be kept.
    pub(super) fn snoop(&self, start: Solution) -> (Solution, Vec<usize>) {
        let mut solution = start;
        let mut left_out = Vec::new();
        loop {
            let beyond = self.beyond(&solution).into_iter();
            let worst = beyond.max_by(|a, b| a.1.total_cmp(&b.1));
            let Some((row, _)) = worst.filter(|w| solution.partners(w.0).len() == 1) else {
                return (solution, left_out);
            };
            let wrong = solution.kept.rows[row];
            let next = solution.kept.without(row);
            let next = next.and_then(|k| self.solve(&solution.unknowns, k, &solution.values));
            // One observation fewer each time.
            let Some(next) = next else {
                return (solution, left_out);
            };
            left_out.push(wrong);
            solution = next;
        }
    }

    /// Rows beyond their limit, with their statistic.
    pub(super) fn beyond(&self, solution: &Solution) -> Vec<(usize, f64)> {
        (0..solution.kept.rows.len())
            .filter_map(|row| {
                let (statistic, critical) = self.test(solution, row)?;
                (statistic > critical).then_some((row, statistic))
            })
            .collect()
    }

    /// Variance of unit weight and its degrees of freedom; true where the marks' noise does not explain it.
    pub(super) fn variance(&self, solution: &Solution) -> (f64, f64, bool) {
        let redundant = solution.freedom() as f64;
        let is_beyond = redundant > 0.0
            && solution.square > chi_square_quantile(1.0 - LENGTHS.length_level.get(), redundant);
        if self.freedom.is_finite() {
            let freedom = self.freedom + redundant;
            (
                (self.freedom + solution.square) / freedom,
                freedom,
                is_beyond,
            )
        } else if is_beyond {
            (solution.square / redundant, redundant, true)
        } else {
            (1.0, f64::INFINITY, false)
        }
    }

    /// The F-test of one more unknown, on the observations that the wider solution keeps.
    pub(super) fn nested(&self, narrow: &[usize], wide: &Solution) -> Option<Test> {
        let without = self.solve(narrow, wide.kept.clone(), &wide.values)?;
        let (variance, freedom, _) = self.variance(wide);
        if variance <= 0.0 || freedom <= 0.0 {
            return None;
        }
        // Infinite degrees of freedom: chi-square; a million are that to all digits used.
        let critical = f_quantile(1.0 - LENGTHS.length_level.get(), 1.0, freedom.min(1e6));
        Some(Test {
            statistic: (without.square - wide.square).max(0.0) / variance,
            critical,
        })
    }
}

impl Solution {
    /// Observations minus unknowns.
    pub(super) fn freedom(&self) -> usize {
        self.kept.rows.len().saturating_sub(self.unknowns.len())
    }

    /// An element of `S^-1 Q_v S^-1`.
    fn projector(&self, row: usize, column: usize) -> f64 {
        let explained = self
            .weighted_design
            .column(row)
            .dot(&self.weights.column(column));
        self.kept.inverse[(row, column)] - explained
    }

    /// How strongly the others control observation number `row`: the inverse of the variance of the error that they find.
    pub(super) fn control(&self, row: usize) -> f64 {
        self.projector(row, row)
    }

    /// The error of observation number `row` that the others ask for; `None` where nothing checks it.
    pub(super) fn error(&self, row: usize) -> Option<f64> {
        let control = self.control(row);
        // P v = P y, for P takes off what the unknowns explain.
        (control > 0.0).then(|| self.weighted_residual[row] / control)
    }

    /// The rows whose errors cannot be told from that of `row`, itself among them.
    pub(super) fn partners(&self, row: usize) -> Vec<usize> {
        (0..self.kept.rows.len())
            .filter(|&other| {
                let own = (self.control(row) * self.control(other)).sqrt();
                own > 0.0 && self.projector(row, other).abs() > 0.999 * own
            })
            .collect()
    }

    /// Standard deviation of an unknown for unit weight.
    pub(super) fn deviation(&self, unknown: usize) -> Option<f64> {
        let place = self.unknowns.iter().position(|&u| u == unknown)?;
        Some(self.covariance[(place, place)].max(0.0).sqrt())
    }
}

/// Whether these values are beyond what the fit to first order is for.
pub(super) fn is_too_stretched(values: &[f64; 4]) -> bool {
    let size = values[STRETCH].hypot(values[SHEAR]);
    size.is_nan() || size > LENGTHS.most_stretch.get()
}

/// Whether the unknowns are independent enough: no variance is more than a million times what it were alone.
pub(super) fn is_determined(normal: &DMatrix<f64>, cofactor: &DMatrix<f64>) -> bool {
    (0..normal.nrows()).all(|k| normal[(k, k)] * cofactor[(k, k)] < 1e6)
}

/// The angle between two lines (not rays), in (-pi/2, pi/2].
pub(super) fn half_turn(angle: f64) -> f64 {
    use std::f64::consts::{FRAC_PI_2, PI};
    let turned = angle.rem_euclid(PI);
    if turned > FRAC_PI_2 {
        turned - PI
    } else {
        turned
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// A covariance with a common part, as marks that lines share give it.
    fn covariance(n: usize) -> DMatrix<f64> {
        DMatrix::from_fn(n, n, |r, c| {
            let apart = (r as f64 - c as f64).abs();
            (-0.7 * apart).exp()
                + if r == c {
                    0.04 * (1 + r % 3) as f64
                } else {
                    0.3
                }
        })
    }

    fn assert_same(updated: &Kept, anew: &Kept) {
        assert_eq!(updated.rows, anew.rows);
        let off = (&updated.inverse - &anew.inverse).amax();
        // Rounding of f64 over a hundred updates; the elements are near 10.
        assert!(off < 1e-11, "{off}");
    }

    #[test]
    fn what_is_left_out_and_taken_back_gives_the_inverse_that_solving_anew_gives() {
        let covariance = covariance(120);
        let mut kept = Kept::new((0..120).collect(), &covariance).expect("independent");
        while kept.rows.len() > 20 {
            let row = (7 * kept.rows.len() + 3) % kept.rows.len();
            kept = kept.without(row).expect("independent");
        }
        assert_same(
            &kept,
            &Kept::new(kept.rows.clone(), &covariance).expect("independent"),
        );
        let outside = (0..120)
            .find(|i| !kept.rows.contains(i))
            .expect("100 are out");
        let with = kept.with(outside, &covariance).expect("independent");
        assert_eq!(with.rows.last(), Some(&outside));
        assert_same(
            &with,
            &Kept::new(with.rows.clone(), &covariance).expect("independent"),
        );
    }

    #[test]
    fn an_observation_that_repeats_another_exactly_is_not_taken() {
        let covariance = DMatrix::from_element(2, 2, 1.0);
        let kept = Kept::new(vec![0], &covariance).expect("one");
        assert!(kept.with(1, &covariance).is_none());
    }
}
