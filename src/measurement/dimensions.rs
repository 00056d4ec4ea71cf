//! Known lengths and directions of one image by least squares: its scale, its angle, different stretch in x and y, and
//! whether its right angles are square; and which of them is probably misread.
//!
//! A line from the true drawing, turned by the angle `f` and then stretched by `S = e^k [[1 + e, g], [g, 1 - e]]`, has
//! the length `p` and the inclination `t` in the image, so that to first order
//! `log(p / L) = k + e cos 2t + g sin 2t` and `t = f + axis - e sin 2t + g cos 2t`; the fit repeats this with the
//! stretch found so far taken off, until nothing changes.
//!
//! # Source
//! Generalised least squares: E. Mikhail and F. Ackermann, "Observations and Least Squares" (1976), chapters 4 and 7.
//! Misread ones: W. Baarda, "A testing procedure for use in geodetic networks" (1968), data snooping, with the variance of
//! the others where it is estimated (A. Pope 1976). Stretch: F-test of a nested hypothesis, K.-R. Koch, "Parameter
//! Estimation and Hypothesis Testing in Linear Models" (1999), section 4.2.
use super::figures::Figure;
use crate::{
    job::{Axis, Side},
    registration::{Adjustment, adjustment::Gradient},
    statistics::{Measured, chi_square_quantile, f_quantile, t_quantile},
};
use nalgebra::{DMatrix, DVector, Matrix2, Matrix2xX, Vector2};

/// Chance that noise alone makes a test speak.
const LEVEL: f64 = 0.001;
/// A dimension is drawn and rounded too: its own deviation, as a part of that of a mark.
const DRAWN: f64 = 0.2;
/// Below this share of an error that shows, nothing tells whether a line is misread.
const LEAST_REDUNDANCY: f64 = 0.05;
/// A stretch known no better than this (standard deviation) is not told.
const WIDEST_STRETCH: f64 = 0.05;

/// The unknowns, by their place.
const SCALE: usize = 0;
const ANGLE: usize = 1;
const STRETCH: usize = 2;
const SHEAR: usize = 3;

/// A known line as it is marked.
#[derive(Clone, Debug)]
pub(crate) struct KnownLine {
    /// Indices of the pairs of the adjustment at its ends.
    pub(crate) ends: [usize; 2],
    pub(crate) mm: Option<f64>,
    pub(crate) along: Option<Axis>,
}

/// What an observation is of.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum What {
    Length,
    Direction,
}

#[derive(Clone, Debug)]
struct Observation {
    /// Index among the known lines.
    line: usize,
    what: What,
    /// From end to end, in the image's own pixels (straightened).
    vector: Vector2<f64>,
    /// Millimetres, or the inclination on the drawing (radians).
    target: f64,
    /// Of the logarithm of the length, or of the inclination.
    gradient: Gradient,
}

/// All that is known of one image's lengths and directions.
pub(crate) struct Dimensions {
    observations: Vec<Observation>,
    covariance: DMatrix<f64>,
    /// Degrees of freedom of the marks' noise.
    freedom: f64,
    /// Direction near which all lie, so that a drawing turned by a right angle is not split between -90° and 90°.
    base: f64,
}

/// One least-squares solution.
#[derive(Clone, Debug)]
struct Solution {
    kept: Vec<usize>,
    unknowns: Vec<usize>,
    values: [f64; 4],
    covariance: DMatrix<f64>,
    /// Unknowns by observations: `values = weights * observed`.
    weights: DMatrix<f64>,
    residual: DVector<f64>,
    /// `S^-1 Q_v S^-1`.
    projector: DMatrix<f64>,
    square: f64,
}

/// How a line fits the others.
#[derive(Clone, Copy, Debug)]
pub(crate) struct LineFit {
    /// Marked over known length by the fit, minus 1.
    pub(crate) disagreement: Option<f64>,
    /// Over its standard deviation, and the value that noise exceeds in one of a thousand; `None` where nothing checks it.
    pub(crate) test: Option<(f64, f64)>,
    /// The length that the others ask for, in the unit of `mm`.
    pub(crate) asked_mm: Option<Measured>,
    /// Its direction against the one that the others ask for, degrees.
    pub(crate) direction_deg: Option<f64>,
    /// Probably misread; more than one where nothing tells which of them.
    pub(crate) doubtful: bool,
    /// Contradicts others, and nothing tells which is wrong.
    pub(crate) ambiguous: bool,
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

/// What the known lengths and directions of one image say of it as a whole.
#[derive(Clone, Debug)]
pub struct DimensionFit {
    /// Pixels of the image (straightened) per millimetre: of the model for the render, full size for the reference.
    pub px_per_mm: Measured,
    /// How far the drawing is turned in the image, degrees, clockwise; `None` where no direction is known.
    pub angle_deg: Option<Measured>,
    /// Scale along the image's x over that along y, minus 1, per cent; `None` where the lengths cannot tell.
    pub stretch_percent: Option<Measured>,
    /// F-test of no stretch.
    pub stretch_test: Option<Test>,
    /// The right angle between the drawing's x and y as the image shows it, minus 90 degrees.
    pub out_of_square_deg: Option<Measured>,
    /// F-test of squareness.
    pub square_test: Option<Test>,
    /// Standard deviation of unit weight; `None` where nothing is redundant.
    pub sigma0: Option<f64>,
    /// Observations minus unknowns.
    pub degrees_of_freedom: usize,
    /// x and y are stretched differently: the test speaks, and no single misread length explains it as well.
    pub is_stretched: bool,
    /// Right angles are not square.
    pub is_out_of_square: bool,
    /// They disagree by more than the noise of the marks explains; the intervals are widened by it.
    pub disagree: bool,
}

/// The whole study of one image's dimensions.
pub(crate) struct DimensionStudy {
    /// `None` where no length is known.
    pub(crate) fit: Option<DimensionFit>,
    /// One a line, in their order.
    pub(crate) lines: Vec<LineFit>,
    /// Logarithm of the scale and its derivatives by the marks.
    pub(crate) log_scale: f64,
    pub(crate) log_gradient: Gradient,
    /// Weight of each line's length in the logarithm of the scale.
    pub(crate) length_weights: Vec<f64>,
    /// Half-width of the part of the interval that does not come from the marks, relative.
    pub(crate) extra: f64,
}

/// A mark of the reference in its own pixels (straightened), and what it depends on.
pub(crate) struct OwnPoint {
    pub(crate) at: Vector2<f64>,
    /// Derivative by the mark.
    pub(crate) by_mark: Matrix2<f64>,
    /// Derivatives by the unknowns that all share.
    pub(crate) by_global: Matrix2xX<f64>,
}

/// The reference's mark of pair `i` in the reference's own pixels (straightened).
pub(crate) fn own_point(adjustment: &Adjustment, i: usize) -> OwnPoint {
    let layout = &adjustment.problem.layout;
    let state = &adjustment.solved.state;
    let mark = adjustment.problem.pairs[i].reference;
    let straight = state.straight_from_reference.apply(mark);
    let mut by_global = Matrix2xX::zeros(layout.global_unknowns());
    if layout.free_corners {
        // The corners' derivatives are known in the render: back to the straightened reference.
        let (first, count) = (layout.registration_unknowns(), layout.corner_unknowns());
        let back = state.render_from_straight.jacobian(straight).try_inverse();
        let in_render = &adjustment.solved.rows[i].prediction.registered_by_global;
        let own = back.unwrap_or_else(Matrix2::zeros) * in_render.columns(first, count);
        by_global.columns_mut(first, count).copy_from(&own);
    }
    OwnPoint {
        at: Vector2::from(straight.xy()),
        by_mark: state.straight_from_reference.jacobian(mark),
        by_global,
    }
}

/// The vector between two marks of an image in its own pixels, and a function of it as a gradient.
struct OwnVector {
    vector: Vector2<f64>,
    /// Derivatives by the marks at its start and end (for the start with the sign of the end).
    by_mark: [Matrix2<f64>; 2],
    /// Derivatives by the unknowns that all share.
    by_global: Matrix2xX<f64>,
}

fn own_vector(adjustment: &Adjustment, side: Side, ends: [usize; 2]) -> OwnVector {
    if side == Side::Render {
        return OwnVector {
            vector: adjustment.render_mark(ends[1]) - adjustment.render_mark(ends[0]),
            by_mark: [Matrix2::identity(); 2],
            by_global: Matrix2xX::zeros(adjustment.problem.layout.global_unknowns()),
        };
    }
    let [from, to] = ends.map(|i| own_point(adjustment, i));
    OwnVector {
        vector: to.at - from.at,
        by_mark: [from.by_mark, to.by_mark],
        by_global: to.by_global - from.by_global,
    }
}

impl OwnVector {
    /// The gradient of a figure with this derivative by the vector.
    fn gradient(
        &self,
        adjustment: &Adjustment,
        side: Side,
        ends: [usize; 2],
        d: Vector2<f64>,
    ) -> Gradient {
        let mut gradient = adjustment.no_gradient();
        gradient.global += self.by_global.tr_mul(&d);
        for ((i, by_mark), sign) in ends.into_iter().zip(&self.by_mark).zip([-1.0, 1.0]) {
            let d = by_mark.tr_mul(&d) * sign;
            match side {
                Side::Render => gradient.add_render(i, d),
                Side::Reference => gradient.add_reference(i, d),
            }
        }
        gradient
    }
}

/// Length between two marks of an image, in its own pixels (the reference straightened).
pub(crate) fn own_length(adjustment: &Adjustment, side: Side, ends: [usize; 2]) -> Figure {
    let own = own_vector(adjustment, side, ends);
    let value = own.vector.norm();
    let along = own.vector.try_normalize(0.0).unwrap_or_else(Vector2::zeros);
    Figure {
        value,
        gradient: own.gradient(adjustment, side, ends, along),
    }
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

    fn has(&self, kept: &[usize], what: What) -> bool {
        kept.iter().any(|&i| self.observations[i].what == what)
    }

    /// The observed value and its derivatives by the four unknowns, with `values` of stretch and shear taken off.
    fn observed(&self, i: usize, values: &[f64; 4]) -> (f64, [f64; 4]) {
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
    fn solve(&self, unknowns: &[usize], kept: &[usize]) -> Option<Solution> {
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

    /// The statistic of observation number `row` of a solution: its error over the error's deviation, by the variance of
    /// the others; with the critical value. `None` where nothing checks it.
    fn test(&self, solution: &Solution, row: usize) -> Option<(f64, f64)> {
        let i = solution.kept[row];
        let control = solution.projector[(row, row)];
        if control * self.covariance[(i, i)] < LEAST_REDUNDANCY {
            return None;
        }
        let w = self.error(solution, row)? * control.sqrt();
        let others = solution.freedom().checked_sub(1)? as f64;
        let (variance, freedom) = if self.freedom.is_finite() {
            let freedom = self.freedom + others;
            let rest = (solution.square - w * w).max(0.0);
            ((self.freedom + rest) / freedom, freedom)
        } else {
            (1.0, f64::INFINITY)
        };
        Some((
            w.abs() / variance.sqrt(),
            t_quantile(1.0 - LEVEL / 2.0, freedom),
        ))
    }

    /// The error of one observation that the others ask for.
    fn error(&self, solution: &Solution, row: usize) -> Option<f64> {
        let control = solution.projector[(row, row)];
        let all = self.weighted_residuals(solution);
        (control > 0.0).then(|| all[row] / control)
    }

    fn weighted_residuals(&self, solution: &Solution) -> DVector<f64> {
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
    fn snoop(&self, unknowns: &[usize]) -> Option<(Solution, Vec<usize>)> {
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
    fn beyond(&self, solution: &Solution) -> Vec<(usize, f64)> {
        (0..solution.kept.len())
            .filter_map(|row| {
                let (statistic, critical) = self.test(solution, row)?;
                (statistic > critical).then_some((row, statistic))
            })
            .collect()
    }

    /// The rows whose errors cannot be told from that of `row`, itself among them.
    fn partners(&self, solution: &Solution, row: usize) -> Vec<usize> {
        let p = &solution.projector;
        (0..solution.kept.len())
            .filter(|&other| {
                let own = (p[(row, row)] * p[(other, other)]).sqrt();
                own > 0.0 && p[(row, other)].abs() > 0.999 * own
            })
            .collect()
    }

    /// Variance of unit weight and its degrees of freedom; true where the marks' noise does not explain it.
    fn variance(&self, solution: &Solution) -> (f64, f64, bool) {
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
    fn nested(&self, narrow: &[usize], wide: &Solution) -> Option<Test> {
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

    /// Tries one more unknown: the wider solution, its test, and whether it is to be taken.
    fn widened(&self, base: &(Solution, Vec<usize>), unknown: usize) -> Option<Widened> {
        let narrow = &base.0.unknowns;
        let mut unknowns = narrow.clone();
        unknowns.push(unknown);
        let (solution, left_out) = self.snoop(&unknowns)?;
        let deviation = solution.deviation(unknown)?;
        if deviation > WIDEST_STRETCH || solution.freedom() == 0 {
            return None;
        }
        let test = self.nested(narrow, &solution)?;
        let what = if unknown == SHEAR && self.has(&solution.kept, What::Direction) {
            What::Direction
        } else {
            What::Length
        };
        let is_controlled = (0..solution.kept.len()).all(|row| {
            let i = solution.kept[row];
            let share = solution.projector[(row, row)] * self.covariance[(i, i)];
            self.observations[i].what != what || share >= LEAST_REDUNDANCY
        });
        // A single line left out explains as much as a stretch: the stretch has to save one.
        let saves = left_out.len() < base.1.len().max(1);
        Some(Widened {
            is_taken: test.speaks() && is_controlled && saves,
            solution,
            left_out,
            test,
        })
    }

    /// The study of all lines; `lines` is their number.
    pub(crate) fn study(&self, adjustment: &Adjustment, lines: usize) -> Option<DimensionStudy> {
        let all: Vec<usize> = (0..self.observations.len()).collect();
        let mut unknowns = Vec::new();
        if self.has(&all, What::Length) {
            unknowns.push(SCALE);
        }
        if self.has(&all, What::Direction) {
            unknowns.push(ANGLE);
        }
        let mut base = self.snoop(&unknowns)?;
        let mut figures = [None, None];
        // Where directions contradict each other for want of a shear, only the second look shows the stretch.
        for unknown in [STRETCH, SHEAR, STRETCH] {
            if base.0.unknowns.contains(&unknown) {
                continue;
            }
            let Some(wide) = self.widened(&base, unknown) else {
                continue;
            };
            let place = unknown - STRETCH;
            let (variance, freedom, _) = self.variance(&wide.solution);
            let deviation = wide.solution.deviation(unknown)? * variance.sqrt();
            let figure =
                Measured::from_deviation(wide.solution.values[unknown], deviation, freedom)?;
            figures[place] = Some((figure, wide.test));
            if wide.is_taken {
                base = (wide.solution, wide.left_out);
            }
        }
        Some(self.finish(adjustment, lines, &base, figures))
    }

    fn finish(
        &self,
        adjustment: &Adjustment,
        lines: usize,
        (solution, left_out): &(Solution, Vec<usize>),
        [stretch, shear]: [Option<(Measured, Test)>; 2],
    ) -> DimensionStudy {
        let (variance, freedom, disagree) = self.variance(solution);
        let figure = |unknown: usize| {
            let deviation = solution.deviation(unknown)? * variance.sqrt();
            Measured::from_deviation(solution.values[unknown], deviation, freedom)
        };
        // What was taken is told with all that was taken after it.
        let told = |tried: Option<(Measured, Test)>, unknown| {
            tried.map(|(m, test)| (figure(unknown).unwrap_or(m), test))
        };
        let (stretch, shear) = (told(stretch, STRETCH), told(shear, SHEAR));
        let mut log_gradient = adjustment.no_gradient();
        let mut length_weights = vec![0.0; lines];
        if let Some(row) = solution.unknowns.iter().position(|&u| u == SCALE) {
            for (column, &i) in solution.kept.iter().enumerate() {
                let weight = solution.weights[(row, column)];
                log_gradient.add(weight, &self.observations[i].gradient);
                if self.observations[i].what == What::Length {
                    length_weights[self.observations[i].line] += weight;
                }
            }
        }
        let log = figure(SCALE);
        let by_marks = adjustment
            .measured(0.0, &log_gradient)
            .map_or(0.0, |m| m.half_width());
        let half = log.map_or(0.0, |m| m.half_width());
        let fit = log.and_then(|log| {
            let scale = log.value.exp();
            let redundant = solution.freedom();
            Some(DimensionFit {
                px_per_mm: Measured::plus_minus(scale, scale * log.half_width())?,
                angle_deg: figure(ANGLE).map(|m| m.times(180.0 / std::f64::consts::PI)),
                // (1 + e) / (1 - e) - 1 of both ends: it grows with e.
                stretch_percent: stretch.map(|(m, _)| Measured {
                    value: 200.0 * m.value / (1.0 - m.value),
                    low: 200.0 * m.low / (1.0 - m.low),
                    high: 200.0 * m.high / (1.0 - m.high),
                }),
                stretch_test: stretch.map(|(_, test)| test),
                out_of_square_deg: shear.map(|(m, _)| m.times(-360.0 / std::f64::consts::PI)),
                square_test: shear.map(|(_, test)| test),
                is_stretched: solution.unknowns.contains(&STRETCH),
                is_out_of_square: solution.unknowns.contains(&SHEAR),
                sigma0: (redundant > 0).then(|| (solution.square / redundant as f64).sqrt()),
                degrees_of_freedom: redundant,
                disagree,
            })
        });
        DimensionStudy {
            fit,
            lines: (0..lines)
                .map(|line| self.line_fit(line, solution, left_out))
                .collect(),
            log_scale: solution.values[SCALE],
            log_gradient,
            length_weights,
            extra: (half * half - by_marks * by_marks).max(0.0).sqrt(),
        }
    }

    /// How one line fits: a line that was left out is tested against all that were kept.
    fn line_fit(&self, line: usize, solution: &Solution, left_out: &[usize]) -> LineFit {
        let mut fit = LineFit {
            disagreement: None,
            test: None,
            asked_mm: None,
            direction_deg: None,
            doubtful: false,
            ambiguous: false,
        };
        let own = (0..self.observations.len()).filter(|&i| self.observations[i].line == line);
        for i in own {
            let (value, derivatives) = self.observed(i, &solution.values);
            let expected: f64 = (0..4).map(|u| derivatives[u] * solution.values[u]).sum();
            match self.observations[i].what {
                What::Length => fit.disagreement = Some((value - expected).exp() - 1.0),
                What::Direction => fit.direction_deg = Some((value - expected).to_degrees()),
            }
            let mut kept = solution.kept.clone();
            if !kept.contains(&i) {
                kept.push(i);
            }
            let Some(with) = self.solve(&solution.unknowns, &kept) else {
                continue;
            };
            let Some(row) = kept.iter().position(|&k| k == i) else {
                continue;
            };
            let Some(test) = self.test(&with, row) else {
                continue;
            };
            if fit.test.is_none_or(|(statistic, _)| statistic < test.0) {
                fit.test = Some(test);
            }
            if self.observations[i].what == What::Length {
                fit.asked_mm = self.asked(&with, row, self.observations[i].target);
            }
            fit.doubtful |= left_out.contains(&i);
            if test.0 > test.1 && !left_out.contains(&i) && self.partners(&with, row).len() > 1 {
                fit.doubtful = true;
                fit.ambiguous = true;
            }
        }
        fit
    }

    /// The length that the others ask for in place of `mm`.
    fn asked(&self, solution: &Solution, row: usize, mm: f64) -> Option<Measured> {
        let error = self.error(solution, row)?;
        let control = solution.projector[(row, row)];
        let w = error * control.sqrt();
        let others = solution.freedom().checked_sub(1)? as f64;
        let (variance, freedom) = if self.freedom.is_finite() {
            let freedom = self.freedom + others;
            let rest = (solution.square - w * w).max(0.0);
            ((self.freedom + rest) / freedom, freedom)
        } else {
            (1.0, f64::INFINITY)
        };
        let log = Measured::from_deviation(error, (variance / control).sqrt(), freedom)?;
        let value = mm * log.value.exp();
        Measured::plus_minus(value, value * log.half_width())
    }
}

/// A solution with one more unknown.
struct Widened {
    solution: Solution,
    left_out: Vec<usize>,
    test: Test,
    is_taken: bool,
}

impl Solution {
    /// Observations minus unknowns.
    fn freedom(&self) -> usize {
        self.kept.len().saturating_sub(self.unknowns.len())
    }

    /// Standard deviation of an unknown for unit weight.
    fn deviation(&self, unknown: usize) -> Option<f64> {
        let place = self.unknowns.iter().position(|&u| u == unknown)?;
        Some(self.covariance[(place, place)].max(0.0).sqrt())
    }
}

/// Whether the unknowns are independent enough: no variance is more than a million times what it were alone.
fn is_determined(normal: &DMatrix<f64>, cofactor: &DMatrix<f64>) -> bool {
    (0..normal.nrows()).all(|k| normal[(k, k)] * cofactor[(k, k)] < 1e6)
}

/// The angle between two lines (not rays), in (-pi/2, pi/2].
fn half_turn(angle: f64) -> f64 {
    use std::f64::consts::{FRAC_PI_2, PI};
    let turned = angle.rem_euclid(PI);
    if turned > FRAC_PI_2 {
        turned - PI
    } else {
        turned
    }
}
