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
use super::settings::LENGTHS;
mod solution;

pub(in crate::measurement) use solution::SCALE;
pub use solution::Test;
pub(crate) use solution::{Dimensions, KnownLine};

use crate::{
    registration::{Adjustment, adjustment::Gradient},
    statistics::Measured,
};
use nalgebra::DMatrix;
use solution::{ANGLE, Kept, SHEAR, STRETCH, Solution, What, is_too_stretched};
use std::borrow::Cow;

/// How a line fits the others.
#[derive(Clone, Copy, Debug, Default)]
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

/// What the known lengths and directions of one image say of it as a whole.
#[derive(Clone, Debug)]
pub struct DimensionFit {
    /// Pixels of the image (rectified) per millimetre: of the model for the render, full size for the reference.
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
    /// `None` where all was refused.
    pub(crate) plain: Option<PlainFit>,
    pub(crate) refused: RefusedDimensions,
}

/// The map that makes a drawing plain: its scale, turn, stretch and shear as they were taken, with what they depend on.
#[derive(Clone, Debug)]
pub(crate) struct PlainFit {
    /// Logarithm of the scale, turn (radians), stretch, shear; 0 where nothing was taken.
    pub(crate) values: [f64; 4],
    /// Which of them are known, with their derivatives by the marks.
    pub(crate) known: Vec<(usize, Gradient)>,
    /// Covariance of these, in their order.
    pub(crate) covariance: DMatrix<f64>,
    /// Variance of unit weight that it has, and its degrees of freedom.
    pub(crate) variance: f64,
    pub(crate) freedom: f64,
}

impl PlainFit {
    /// Whether a length gives it a scale.
    pub(crate) fn has_scale(&self) -> bool {
        self.known.iter().any(|(unknown, _)| *unknown == SCALE)
    }
}

/// Known lengths or directions of an image that contradict each other so much that nothing is taken from them: of how
/// many there are, so many contradict the others.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct RefusedDimensions {
    /// Lengths that contradict the others, and how many there are; `None` where the lengths are used.
    pub lengths: Option<[usize; 2]>,
    /// The same of the directions.
    pub directions: Option<[usize; 2]>,
}

impl Dimensions {
    /// Tries one more unknown: the wider solution, its test, and whether it is to be taken.
    fn widened(
        &self,
        all: &Kept,
        base: &(Solution, Vec<usize>),
        unknown: usize,
    ) -> Option<Widened> {
        let narrow = &base.0.unknowns;
        let mut unknowns = narrow.clone();
        unknowns.push(unknown);
        let start = self.solve(&unknowns, all.clone(), &base.0.values)?;
        let (solution, left_out) = self.snoop(start);
        let deviation = solution.deviation(unknown)?;
        let is_told =
            deviation <= LENGTHS.widest_stretch.get() && !is_too_stretched(&solution.values);
        if !is_told || solution.freedom() == 0 {
            return None;
        }
        let test = self.nested(narrow, &solution)?;
        let what = if unknown == SHEAR && self.has(&solution.kept.rows, What::Direction) {
            What::Direction
        } else {
            What::Length
        };
        let is_controlled = (0..solution.kept.rows.len()).all(|row| {
            let i = solution.kept.rows[row];
            let share = solution.control(row) * self.covariance[(i, i)];
            self.observations[i].what != what || share >= LENGTHS.least_redundancy.get()
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
        let mut used: Vec<usize> = (0..self.observations.len()).collect();
        let mut refused = RefusedDimensions::default();
        loop {
            if used.is_empty() {
                return Some(DimensionStudy::of_nothing(adjustment, lines, refused));
            }
            let fitted = self.fitted(&used)?;
            let contradicting = self.contradicting(&used, &fitted.left_out);
            let contradicting = contradicting.or_else(|| self.crossed(&used, &fitted.solution));
            // Each time lengths or directions go: it ends after two times.
            let Some((what, counts)) = contradicting else {
                return Some(self.finish(adjustment, lines, &fitted, refused));
            };
            match what {
                What::Length => refused.lengths = Some(counts),
                What::Direction => refused.directions = Some(counts),
            }
            used.retain(|&i| self.observations[i].what != what);
        }
    }

    /// The kind of observation of which so many contradict the others that nothing tells which are right, with their
    /// number and that of all.
    fn contradicting(&self, used: &[usize], left_out: &[usize]) -> Option<(What, [usize; 2])> {
        let count = |of: &[usize], what| {
            let of_kind = of.iter().filter(|i| self.observations[**i].what == what);
            of_kind.count()
        };
        [What::Length, What::Direction]
            .into_iter()
            .find_map(|what| {
                let counts = [count(left_out, what), count(used, what)];
                let is_too_many =
                    counts[0] as f64 > LENGTHS.most_contradicting.get() * counts[1] as f64;
                is_too_many.then_some((what, counts))
            })
    }

    /// Directions that are used and far from the one that all of them ask for, with their number and that of all: they cross, and
    /// nothing tells which of them is right.
    fn crossed(&self, used: &[usize], solution: &Solution) -> Option<(What, [usize; 2])> {
        let is_direction = |i: &&usize| self.observations[**i].what == What::Direction;
        let is_crossed = |i: &&usize| {
            let (value, derivatives) = self.observed(**i, &solution.values);
            let expected: f64 = (0..4).map(|u| derivatives[u] * solution.values[u]).sum();
            (value - expected).to_degrees().abs() > LENGTHS.crossed_direction.get()
        };
        let directions = solution.kept.rows.iter().filter(is_direction);
        let crossed = directions.filter(is_crossed).count();
        let all = used.iter().filter(is_direction).count();
        (crossed > 0).then_some((What::Direction, [crossed, all]))
    }

    /// The solution of these observations, with stretch and shear where they are found.
    fn fitted(&self, used: &[usize]) -> Option<Fitted> {
        let all = self.keep(used.to_vec())?;
        let mut unknowns = Vec::new();
        if self.has(used, What::Length) {
            unknowns.push(SCALE);
        }
        if self.has(used, What::Direction) {
            unknowns.push(ANGLE);
        }
        let mut base = self.snoop(self.solve(&unknowns, all.clone(), &[0.0; 4])?);
        let mut figures = [None, None];
        // Where directions contradict each other for want of a shear, only the second look shows the stretch.
        for unknown in [STRETCH, SHEAR, STRETCH] {
            if base.0.unknowns.contains(&unknown) {
                continue;
            }
            let Some(wide) = self.widened(&all, &base, unknown) else {
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
        let (solution, left_out) = base;
        let [stretch, shear] = figures;
        Some(Fitted {
            solution,
            left_out,
            stretch,
            shear,
        })
    }

    fn finish(
        &self,
        adjustment: &Adjustment,
        lines: usize,
        fitted: &Fitted,
        refused: RefusedDimensions,
    ) -> DimensionStudy {
        let solution = &fitted.solution;
        let (variance, freedom, disagree) = self.variance(solution);
        let figure = |unknown: usize| {
            let deviation = solution.deviation(unknown)? * variance.sqrt();
            Measured::from_deviation(solution.values[unknown], deviation, freedom)
        };
        // What was taken is told with all that was taken after it.
        let told = |tried: Option<(Measured, Test)>, unknown| {
            tried.map(|(m, test)| (figure(unknown).unwrap_or(m), test))
        };
        let (stretch, shear) = (told(fitted.stretch, STRETCH), told(fitted.shear, SHEAR));
        let mut log_gradient = adjustment.no_gradient();
        let mut length_weights = vec![0.0; lines];
        if let Some(row) = solution.unknowns.iter().position(|&u| u == SCALE) {
            for (column, &i) in solution.kept.rows.iter().enumerate() {
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
            let scale = log.value().exp();
            let redundant = solution.freedom();
            Some(DimensionFit {
                px_per_mm: Measured::plus_minus(scale, scale * log.half_width())?,
                angle_deg: figure(ANGLE).map(|m| m.times(180.0 / std::f64::consts::PI)),
                stretch_percent: stretch.and_then(|(m, _)| in_percent(m)),
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
                .map(|line| self.line_fit(line, solution, &fitted.left_out))
                .collect(),
            log_scale: solution.values[SCALE],
            log_gradient,
            length_weights,
            extra: (half * half - by_marks * by_marks).max(0.0).sqrt(),
            plain: Some(PlainFit {
                values: solution.values,
                known: self.gradients(adjustment, solution),
                covariance: &solution.covariance * variance,
                variance,
                freedom,
            }),
            refused,
        }
    }

    /// The unknowns of a solution with their derivatives by the marks.
    fn gradients(&self, adjustment: &Adjustment, solution: &Solution) -> Vec<(usize, Gradient)> {
        let of_row = |row: usize| {
            let mut gradient = adjustment.no_gradient();
            for (column, &i) in solution.kept.rows.iter().enumerate() {
                gradient.add(
                    solution.weights[(row, column)],
                    &self.observations[i].gradient,
                );
            }
            gradient
        };
        let unknowns = solution.unknowns.iter().enumerate();
        unknowns
            .map(|(row, &unknown)| (unknown, of_row(row)))
            .collect()
    }

    /// How one line fits: a line that was left out is tested against all that were kept.
    fn line_fit(&self, line: usize, solution: &Solution, left_out: &[usize]) -> LineFit {
        let mut fit = LineFit::default();
        let own = (0..self.observations.len()).filter(|&i| self.observations[i].line == line);
        for i in own {
            let is_left_out = left_out.contains(&i);
            let place = solution.kept.rows.iter().position(|&k| k == i);
            if place.is_none() && !is_left_out {
                // All of its kind were refused.
                continue;
            }
            let (value, derivatives) = self.observed(i, &solution.values);
            let expected: f64 = (0..4).map(|u| derivatives[u] * solution.values[u]).sum();
            match self.observations[i].what {
                What::Length => fit.disagreement = Some((value - expected).exp() - 1.0),
                What::Direction => fit.direction_deg = Some((value - expected).to_degrees()),
            }
            let (with, row) = match place {
                Some(row) => (Cow::Borrowed(solution), row),
                None => match self.taken_back(solution, i) {
                    Some(with) => (Cow::Owned(with), solution.kept.rows.len()),
                    None => continue,
                },
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
            fit.doubtful |= is_left_out;
            if test.0 > test.1 && !is_left_out && with.partners(row).len() > 1 {
                fit.doubtful = true;
                fit.ambiguous = true;
            }
        }
        fit
    }

    /// The solution with an observation that was left out, as the last one.
    fn taken_back(&self, solution: &Solution, i: usize) -> Option<Solution> {
        let kept = solution.kept.with(i, &self.covariance)?;
        self.solve(&solution.unknowns, kept, &solution.values)
    }

    /// The length that the others ask for in place of `mm`.
    fn asked(&self, solution: &Solution, row: usize, mm: f64) -> Option<Measured> {
        let error = solution.error(row)?;
        let control = solution.control(row);
        let (variance, freedom) = self.noise_of_others(solution, error * control.sqrt())?;
        let log = Measured::from_deviation(error, (variance / control).sqrt(), freedom)?;
        let value = mm * log.value().exp();
        Measured::plus_minus(value, value * log.half_width())
    }
}

impl DimensionStudy {
    /// What is left where all was refused.
    fn of_nothing(adjustment: &Adjustment, lines: usize, refused: RefusedDimensions) -> Self {
        Self {
            fit: None,
            lines: vec![LineFit::default(); lines],
            log_scale: 0.0,
            log_gradient: adjustment.no_gradient(),
            length_weights: vec![0.0; lines],
            extra: 0.0,
            plain: None,
            refused,
        }
    }
}

/// Scale along x over that along y, minus 1, per cent: (1 + e) / (1 - e) - 1 of both ends grows with e. `None` where an end
/// is no stretch at all.
fn in_percent(stretch: Measured) -> Option<Measured> {
    let percent = |e: f64| 200.0 * e / (1.0 - e);
    if stretch.low() <= -1.0 || stretch.high() >= 1.0 {
        return None;
    }
    let [value, low, high] = [stretch.value(), stretch.low(), stretch.high()].map(percent);
    Measured::new(value, low, high)
}

/// The solution of what is used, and what was tried beside it.
struct Fitted {
    solution: Solution,
    left_out: Vec<usize>,
    stretch: Option<(Measured, Test)>,
    shear: Option<(Measured, Test)>,
}

/// A solution with one more unknown.
struct Widened {
    solution: Solution,
    left_out: Vec<usize>,
    test: Test,
    is_taken: bool,
}
