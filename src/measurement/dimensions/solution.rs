//! The least-squares problem behind the known lengths: its observations, its solutions, and the tests on them.
use super::{KnownLine, Test};
use crate::{
    job::{Axis, Side},
    measurement::own_marks::own_vector,
    registration::{Adjustment, adjustment::Gradient},
    statistics::{chi_square_quantile, f_quantile, t_quantile},
};
use nalgebra::{DMatrix, DVector, Matrix2, Vector2};

/// Chance that noise alone makes a test speak.
pub(super) const LEVEL: f64 = 0.001;
/// A dimension is drawn and rounded too: its own deviation, as a part of that of a mark.
pub(super) const DRAWN: f64 = 0.2;
/// Below this share of an error that shows, nothing tells whether a line is misread.
pub(super) const LEAST_REDUNDANCY: f64 = 0.05;

/// The unknowns, by their place.
pub(super) const SCALE: usize = 0;
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
    /// From end to end, in the image's own pixels (straightened).
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

/// One least-squares solution.
#[derive(Clone, Debug)]
pub(super) struct Solution {
    pub(super) kept: Vec<usize>,
    pub(super) unknowns: Vec<usize>,
    pub(super) values: [f64; 4],
    pub(super) covariance: DMatrix<f64>,
    /// Unknowns by observations: `values = weights * observed`.
    pub(super) weights: DMatrix<f64>,
    pub(super) residual: DVector<f64>,
    /// `S^-1 Q_v S^-1`.
    pub(super) projector: DMatrix<f64>,
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
            let mut add = |what, target, d| {
                let gradient = own.gradient(adjustment, side, known.ends, d);
                drawn.push(DRAWN * DRAWN * adjustment.variance(&gradient));
                observations.push(Observation {
                    line,
                    what,
                    vector: own.vector,
                    target,
                    gradient,
                });
            };
            if let Some(mm) = known.mm {
                add(What::Length, mm, along);
            }
            if let Some(axis) = known.along {
                let target = match axis {
                    Axis::Horizontal => 0.0,
                    Axis::Vertical => std::f64::consts::FRAC_PI_2,
                };
                add(What::Direction, target, across);
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
            freedom: adjustment.noise_freedom,
        })
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

    /// Solves for `unknowns` from the observations `kept`; `None` where they do not determine them.
    pub(super) fn solve(&self, unknowns: &[usize], kept: &[usize]) -> Option<Solution> {
        let covariance = DMatrix::from_fn(kept.len(), kept.len(), |r, c| {
            self.covariance[(kept[r], kept[c])]
        });
        let inverse = covariance.cholesky()?.inverse();
        let mut values = [0.0; 4];
        let mut last = None;
        // Each round leaves an error of the stretch times that of the round before: 10 % ends at 1e-10.
        for _ in 0..10 {
            let mut design = DMatrix::zeros(kept.len(), unknowns.len());
            let mut observed = DVector::zeros(kept.len());
            for (row, &i) in kept.iter().enumerate() {
                let (value, derivatives) = self.observed(i, &values);
                observed[row] = value;
                for (column, &unknown) in unknowns.iter().enumerate() {
                    design[(row, column)] = derivatives[unknown];
                }
            }
            let weighted = design.transpose() * &inverse;
            let normal = &weighted * &design;
            let cofactor = normal.clone().cholesky()?.inverse();
            if !is_determined(&normal, &cofactor) {
                return None;
            }
            let weights = &cofactor * &weighted;
            let found = &weights * &observed;
            for (column, &unknown) in unknowns.iter().enumerate() {
                values[unknown] = found[column];
            }
            last = Some((design, observed, weights, cofactor));
        }
        let (design, observed, weights, covariance) = last?;
        let residual = &observed - &design * (&weights * &observed);
        let projector = &inverse - &inverse * &design * &weights;
        let square = (residual.transpose() * &inverse * &residual)[(0, 0)];
        Some(Solution {
            kept: kept.to_vec(),
            unknowns: unknowns.to_vec(),
            values,
            covariance,
            weights,
            residual,
            projector,
            square,
        })
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
        let i = solution.kept[row];
        let control = solution.projector[(row, row)];
        if control * self.covariance[(i, i)] < LEAST_REDUNDANCY {
            return None;
        }
        let w = self.error(solution, row)? * control.sqrt();
        let (variance, freedom) = self.noise_of_others(solution, w)?;
        Some((
            w.abs() / variance.sqrt(),
            t_quantile(1.0 - LEVEL / 2.0, freedom),
        ))
    }

    /// The error of one observation that the others ask for.
    pub(super) fn error(&self, solution: &Solution, row: usize) -> Option<f64> {
        let control = solution.projector[(row, row)];
        let all = self.weighted_residuals(solution);
        (control > 0.0).then(|| all[row] / control)
    }

    pub(super) fn weighted_residuals(&self, solution: &Solution) -> DVector<f64> {
        // P v = P y, for P takes off what the unknowns explain.
        let n = solution.kept.len();
        let covariance = DMatrix::from_fn(n, n, |r, c| {
            self.covariance[(solution.kept[r], solution.kept[c])]
        });
        covariance
            .cholesky()
            .map_or_else(|| DVector::zeros(n), |c| c.solve(&solution.residual))
    }

    /// Leaves out the worst line as long as one is beyond its limit and can be told from the others.
    pub(super) fn snoop(&self, unknowns: &[usize]) -> Option<(Solution, Vec<usize>)> {
        let all: Vec<usize> = (0..self.observations.len()).collect();
        let mut solution = self.solve(unknowns, &all)?;
        let mut left_out = Vec::new();
        loop {
            let beyond = self.beyond(&solution).into_iter();
            let worst = beyond.max_by(|a, b| a.1.total_cmp(&b.1));
            let Some((row, _)) = worst.filter(|w| self.partners(&solution, w.0).len() == 1) else {
                return Some((solution, left_out));
            };
            let mut kept = solution.kept.clone();
            let wrong = kept.remove(row);
            let Some(next) = self.solve(unknowns, &kept) else {
                return Some((solution, left_out));
            };
            left_out.push(wrong);
            solution = next;
        }
    }

    /// Rows beyond their limit, with their statistic.
    pub(super) fn beyond(&self, solution: &Solution) -> Vec<(usize, f64)> {
        (0..solution.kept.len())
            .filter_map(|row| {
                let (statistic, critical) = self.test(solution, row)?;
                (statistic > critical).then_some((row, statistic))
            })
            .collect()
    }

    /// The rows whose errors cannot be told from that of `row`, itself among them.
    pub(super) fn partners(&self, solution: &Solution, row: usize) -> Vec<usize> {
        let p = &solution.projector;
        (0..solution.kept.len())
            .filter(|&other| {
                let own = (p[(row, row)] * p[(other, other)]).sqrt();
                own > 0.0 && p[(row, other)].abs() > 0.999 * own
            })
            .collect()
    }

    /// Variance of unit weight and its degrees of freedom; true where the marks' noise does not explain it.
    pub(super) fn variance(&self, solution: &Solution) -> (f64, f64, bool) {
        let redundant = solution.freedom() as f64;
        let is_beyond =
            redundant > 0.0 && solution.square > chi_square_quantile(1.0 - LEVEL, redundant);
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
        let without = self.solve(narrow, &wide.kept)?;
        let (variance, freedom, _) = self.variance(wide);
        if variance <= 0.0 || freedom <= 0.0 {
            return None;
        }
        // Infinite degrees of freedom: chi-square; a million are that to all digits used.
        let critical = f_quantile(1.0 - LEVEL, 1.0, freedom.min(1e6));
        Some(Test {
            statistic: (without.square - wide.square).max(0.0) / variance,
            critical,
        })
    }
}

impl Solution {
    /// Observations minus unknowns.
    pub(super) fn freedom(&self) -> usize {
        self.kept.len().saturating_sub(self.unknowns.len())
    }

    /// Standard deviation of an unknown for unit weight.
    pub(super) fn deviation(&self, unknown: usize) -> Option<f64> {
        let place = self.unknowns.iter().position(|&u| u == unknown)?;
        Some(self.covariance[(place, place)].max(0.0).sqrt())
    }
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
