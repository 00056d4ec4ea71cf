//! The joint least-squares adjustment of the registration, the rectification, the camera's shift and the
//! errors of every region, and what follows from it for any figure.
//!
//! Both marks of a landmark carry noise, so the residual `v = render mark - predicted place` has the covariance
//! `S = S_render + J S_reference J'`, `J` being the derivative of the predicted place by the mark in the reference.
//! What is expected of a region beforehand is one more observation of each of its five numbers.
//!
//! # Source
//! E. Mikhail and F. Ackermann, "Observations and Least Squares" (1976), chapters 7 and 9 (general case of adjustment);
//! damping by K. Levenberg (1944) and D. Marquardt (1963); propagation to figures by JCGM 100:2008 (GUM), eq. 13.
use super::{
    model::{Layout, Pair, Prediction, Predictor, RegionErrors, State},
    normal::{Covariance, Normal, Vector5},
    shape::ExpectedShape,
};
use crate::{rectification::Observed, statistics::Measured, stop};
use nalgebra::{DVector, Matrix2, Matrix2xX, Vector2};
use std::fmt;

/// What is fixed during an adjustment.
#[derive(Clone, Debug)]
pub(crate) struct Problem {
    pub(crate) layout: Layout,
    pub(crate) pairs: Vec<Pair>,
    /// Standard deviations of a region's five numbers before anything is measured.
    pub(crate) expected: [f64; 5],
    /// What is expected of a projective registration before anything is measured.
    pub(crate) shape: Option<ExpectedShape>,
}

/// Factors on the marks' standard deviations.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) struct Noise {
    pub(crate) render: f64,
    pub(crate) reference: f64,
}

impl Noise {
    pub(crate) const AS_STATED: Self = Self {
        render: 1.0,
        reference: 1.0,
    };

    /// Standard deviation of a number of the rectification.
    fn of(self, observed: &Observed) -> f64 {
        if observed.is_of_marks {
            self.reference * observed.deviation
        } else {
            observed.deviation
        }
    }
}

/// A landmark's residual at a state.
#[derive(Clone, Debug)]
pub(crate) struct Row {
    pub(crate) residual: Vector2<f64>,
    pub(crate) prediction: Prediction,
    /// Covariance of the residual from the noise of both marks.
    pub(crate) covariance: Matrix2<f64>,
}

/// A solution of the adjustment.
#[derive(Clone, Debug)]
pub(crate) struct Solved {
    pub(crate) state: State,
    pub(crate) rows: Vec<Row>,
    pub(crate) covariance: Covariance,
    pub(crate) convergence: Convergence,
}

/// How an iteration ended.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Convergence {
    /// The last step was so small that another would change no figure.
    pub is_reached: bool,
    /// Steps that were made.
    pub steps: usize,
    /// How far the last step moved the registration, render pixels at the marks' extent; infinite where none could be
    /// made.
    pub last_step_px: f64,
}

impl fmt::Display for Convergence {
    /// What the iteration did last, as the end of a sentence.
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        /// A step beyond every picture is no place to go on from.
        const FARTHEST_PX: f64 = 1e6;
        let steps = self.steps;
        if self.last_step_px < FARTHEST_PX {
            write!(
                f,
                "after {steps} steps the last moved by {:.2} px",
                self.last_step_px
            )
        } else {
            write!(f, "after {steps} steps no further one leads anywhere")
        }
    }
}

/// How far a robust fit trusts a residual: Cauchy weights with this constant, in standard deviations.
const CAUCHY: f64 = 2.0;

/// An iteration is at rest where its plain step is shorter than this, render pixels: a tenth of the least deviation that
/// figures have (a judgement).
pub(super) const AT_REST_PX: f64 = 0.02;

/// How residuals are weighed.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Weighing {
    /// By their covariance alone.
    LeastSquares,
    /// Large ones count less and less (Cauchy).
    Robust,
}

impl Problem {
    /// Residuals and derivatives of all pairs at `state`.
    pub(crate) fn rows(&self, state: &State, noise: Noise) -> Vec<Row> {
        let predictor = Predictor::new(&self.layout, state);
        self.pairs
            .iter()
            .map(|pair| {
                let prediction = predictor.predict(pair);
                let j = prediction.by_reference;
                let render = (noise.render * pair.render_sigma).powi(2);
                let reference = (noise.reference * pair.reference_sigma).powi(2);
                Row {
                    residual: Vector2::new(pair.render.x, pair.render.y) - prediction.model,
                    covariance: Matrix2::identity() * render + j * j.transpose() * reference,
                    prediction,
                }
            })
            .collect()
    }

    /// Normal equations of the active pairs and of what is expected.
    pub(crate) fn normal(
        &self,
        state: &State,
        rows: &[Row],
        active: &[bool],
        weighing: Weighing,
        noise: Noise,
    ) -> Normal {
        let mut normal = Normal::new(self.layout.global_unknowns(), self.layout.anchors.len());
        for ((row, pair), _) in rows
            .iter()
            .zip(&self.pairs)
            .zip(active)
            .filter(|(_, a)| **a)
        {
            add_row(&mut normal, row, pair.region, robust_weight(row, weighing));
        }
        self.expect(&mut normal, state, noise);
        normal
    }

    fn expect(&self, normal: &mut Normal, state: &State, noise: Noise) {
        let layout = &self.layout;
        if let Some(rectification) = layout.free_rectification() {
            let first = layout.first_rectification_unknown();
            for (k, (now, observed)) in state
                .numbers
                .iter()
                .zip(rectification.observed())
                .enumerate()
            {
                let weight = noise.of(observed).powi(-2);
                normal.expect_global(first + k, weight, observed.value - now);
            }
        }
        if let Some(shape) = &self.shape {
            let weight = shape.sigma(layout, state, noise).powi(-2);
            for row in shape.rows(layout, state) {
                normal.add(&row.by_global, None, weight, -row.deviation);
            }
        }
        if let Some(parallax) = &layout.parallax {
            let weight = parallax.expected_deviation().powi(-2);
            for k in 0..parallax.unknowns() {
                normal.expect_global(layout.first_shift_unknown() + k, weight, -state.shift[k]);
            }
        }
        for (j, errors) in state.regions.iter().enumerate() {
            for (k, (value, deviation)) in errors.to_array().iter().zip(self.expected).enumerate() {
                normal.expect_region(j, k, deviation.powi(-2), -value);
            }
        }
    }

    /// The weighted sum of squares at a state, every weight taken there.
    pub(crate) fn cost(
        &self,
        state: &State,
        rows: &[Row],
        active: &[bool],
        weighing: Weighing,
        noise: Noise,
    ) -> f64 {
        self.cost_weighed_at([(state, rows), (state, rows)], active, weighing, noise)
    }

    /// The weighted sum of squares at `next` by the weights of `now`. A step is judged by it: residuals grow less certain
    /// where the reference is enlarged, and a sum whose weights followed would fall by enlarging alone.
    fn cost_weighed_at(
        &self,
        [(now, rows_now), (next, rows_next)]: [(&State, &[Row]); 2],
        active: &[bool],
        weighing: Weighing,
        noise: Noise,
    ) -> f64 {
        let marks: f64 = (0..active.len())
            .filter(|&i| active[i])
            .map(|i| {
                let square = rows_now[i].standardised(rows_next[i].residual);
                match weighing {
                    Weighing::LeastSquares => square,
                    Weighing::Robust => CAUCHY * CAUCHY * (square / (CAUCHY * CAUCHY)).ln_1p(),
                }
            })
            .sum();
        marks + self.cost_of_expectations(now, next, noise)
    }

    fn cost_of_expectations(&self, weighed_at: &State, state: &State, noise: Noise) -> f64 {
        let mut cost = 0.0;
        if let Some(rectification) = self.layout.free_rectification() {
            for (now, observed) in state.numbers.iter().zip(rectification.observed()) {
                cost += ((now - observed.value) / noise.of(observed)).powi(2);
            }
        }
        if let Some(shape) = &self.shape {
            let sigma = shape.sigma(&self.layout, weighed_at, noise);
            let rows = shape.rows(&self.layout, state);
            cost += rows
                .iter()
                .map(|r| (r.deviation / sigma).powi(2))
                .sum::<f64>();
        }
        if let Some(parallax) = &self.layout.parallax {
            let square: f64 = state.shift.iter().map(|s| s * s).sum();
            cost += square / parallax.expected_deviation().powi(2);
        }
        for errors in &state.regions {
            cost += errors
                .to_array()
                .iter()
                .zip(self.expected)
                .map(|(v, d)| (v / d).powi(2))
                .sum::<f64>();
        }
        cost
    }

    /// Levenberg-Marquardt from `start`; `None` where the active pairs do not determine the unknowns.
    pub(crate) fn solve(
        &self,
        start: &State,
        active: &[bool],
        weighing: Weighing,
        noise: Noise,
        most_steps: usize,
    ) -> Option<Solved> {
        let mut state = start.clone();
        let mut rows = self.rows(&state, noise);
        let mut cost = self.cost(&state, &rows, active, weighing, noise);
        let mut damping = 0.0;
        let mut convergence = Convergence {
            is_reached: false,
            steps: 0,
            last_step_px: f64::INFINITY,
        };
        for _ in 0..most_steps {
            stop::check().ok()?;
            let normal = self.normal(&state, &rows, active, weighing, noise);
            let Some((next, next_rows, next_cost, step)) = self.step(
                (&state, &rows),
                &normal,
                active,
                weighing,
                noise,
                cost,
                &mut damping,
            ) else {
                // No step lowers the cost: this is rest, where the plain step is short.
                let plain = normal.solve(0.0);
                convergence.last_step_px = plain.map_or(f64::INFINITY, |(global, _)| global.amax());
                convergence.is_reached = convergence.last_step_px < AT_REST_PX;
                break;
            };
            let gained = cost - next_cost;
            (state, rows) = (next, next_rows);
            cost = self.cost(&state, &rows, active, weighing, noise);
            convergence.steps += 1;
            convergence.last_step_px = step;
            if step < 1e-7 || gained.abs() < 1e-10 * (1.0 + cost) {
                convergence.is_reached = true;
                break;
            }
        }
        let normal = self.normal(&state, &rows, active, Weighing::LeastSquares, noise);
        let covariance = normal.covariance()?;
        Some(Solved {
            state,
            rows,
            covariance,
            convergence,
        })
    }

    /// One step that does not make the cost larger, with as much damping as that needs.
    #[expect(
        clippy::too_many_arguments,
        reason = "the loop's state, used in one place"
    )]
    fn step(
        &self,
        (state, rows_now): (&State, &[Row]),
        normal: &Normal,
        active: &[bool],
        weighing: Weighing,
        noise: Noise,
        cost: f64,
        damping: &mut f64,
    ) -> Option<(State, Vec<Row>, f64, f64)> {
        for _ in 0..8 {
            if let Some((global, regions)) = normal.solve(*damping)
                && let Some(next) = state.changed(&self.layout, global.as_slice(), &regions)
            {
                let rows = self.rows(&next, noise);
                let both = [(state, rows_now), (&next, rows.as_slice())];
                let next_cost = self.cost_weighed_at(both, active, weighing, noise);
                if next_cost <= cost * (1.0 + 1e-12) + 1e-12 {
                    *damping = if *damping < 1e-6 {
                        0.0
                    } else {
                        *damping / 10.0
                    };
                    return Some((next, rows, next_cost, global.amax()));
                }
            }
            *damping = if *damping == 0.0 {
                1e-4
            } else {
                *damping * 10.0
            };
        }
        None
    }
}

impl Solved {
    /// Covariance of the predicted place of pair `i` from the unknowns: `A C A'`.
    pub(crate) fn prediction_covariance(&self, problem: &Problem, i: usize) -> Matrix2<f64> {
        let c = &self.covariance;
        let prediction = &self.rows[i].prediction;
        let a: &Matrix2xX<f64> = &prediction.by_global;
        let mut spread: Matrix2<f64> = a * &c.global * a.transpose();
        if let (Some(j), Some(b)) = (problem.pairs[i].region, &prediction.by_region) {
            let cross: Matrix2<f64> = b * (&c.region_with_global[j] * a.transpose());
            spread += b * c.regions[j] * b.transpose() + cross + cross.transpose();
        }
        spread
    }

    /// Covariance of the residual of pair `i`: smaller than the noise where it took part, larger where it did not.
    fn residual_covariance(&self, problem: &Problem, i: usize, took_part: bool) -> Matrix2<f64> {
        let spread = self.prediction_covariance(problem, i);
        if took_part {
            self.rows[i].covariance - spread
        } else {
            self.rows[i].covariance + spread
        }
    }

    /// Share of an error of the mark that shows in its residual, 0 to 1 (mean of the redundancy numbers of x and y).
    pub(crate) fn redundancy(&self, problem: &Problem, i: usize, took_part: bool) -> f64 {
        let inverse = self.rows[i]
            .covariance
            .try_inverse()
            .unwrap_or_else(Matrix2::zeros);
        ((inverse * self.residual_covariance(problem, i, took_part)).trace() / 2.0).clamp(0.0, 1.0)
    }

    /// Redundancy, in observations, that these pairs have; they took part.
    pub(crate) fn freedom(&self, problem: &Problem, pairs: impl Iterator<Item = usize>) -> f64 {
        pairs.map(|i| 2.0 * self.redundancy(problem, i, true)).sum()
    }

    /// `v' S_v^-1 v` of pair `i`; a little noise is added so that a mark without redundancy gives a small number.
    pub(crate) fn test_square(&self, problem: &Problem, i: usize, took_part: bool) -> f64 {
        let row = &self.rows[i];
        let covariance = self.residual_covariance(problem, i, took_part) + row.covariance * 1e-3;
        let v = row.residual;
        covariance.try_inverse().map_or(0.0, |inverse| {
            (v.transpose() * inverse * v)[(0, 0)].max(0.0)
        })
    }
}

impl Row {
    /// Squared length of the residual in its own standard deviations.
    pub(crate) fn standardised_square(&self) -> f64 {
        self.standardised(self.residual)
    }

    /// Squared length of a residual in the standard deviations of this one.
    fn standardised(&self, residual: Vector2<f64>) -> f64 {
        match self.covariance.try_inverse() {
            Some(inverse) => (residual.transpose() * inverse * residual)[(0, 0)],
            None => f64::INFINITY,
        }
    }
}

fn robust_weight(row: &Row, weighing: Weighing) -> f64 {
    match weighing {
        Weighing::LeastSquares => 1.0,
        Weighing::Robust => 1.0 / (1.0 + row.standardised_square() / (CAUCHY * CAUCHY)),
    }
}

/// Adds a landmark as two independent scalar observations (its residual made white).
fn add_row(normal: &mut Normal, row: &Row, region: Option<usize>, weight: f64) {
    let Some(white) = whitener(&row.covariance) else {
        return;
    };
    let residual = white * row.residual;
    let by_global = white * &row.prediction.by_global;
    let by_region = row.prediction.by_region.map(|d| white * d);
    for k in 0..2 {
        let g: DVector<f64> = by_global.row(k).transpose();
        let d: Option<Vector5> = by_region.map(|d| d.row(k).transpose());
        normal.add(&g, region.zip(d.as_ref()), weight, residual[k]);
    }
}

/// `W` with `W S W' = I`.
fn whitener(covariance: &Matrix2<f64>) -> Option<Matrix2<f64>> {
    covariance.cholesky()?.l().try_inverse()
}

/// The finished adjustment: from here on, figures and their deviations can be asked for.
#[derive(Clone, Debug)]
pub struct Adjustment {
    pub(crate) problem: Problem,
    pub(crate) solved: Solved,
    /// Pairs that the solution rests on.
    pub(crate) active: Vec<bool>,
    /// Pairs that it may rest on: datum marks, and check marks on a region.
    pub(crate) takes_part: Vec<bool>,
    pub(crate) noise: Noise,
    /// Degrees of freedom of the noise: infinite where it was stated.
    pub(crate) noise_freedom: f64,
}

/// How a figure depends on the unknowns that all share and on the marks.
#[derive(Clone, Debug)]
pub(crate) struct Gradient {
    pub(crate) global: DVector<f64>,
    /// Derivatives by marks in the render: index of the pair, derivative.
    pub(crate) render: Vec<(usize, Vector2<f64>)>,
    /// Derivatives by marks in the reference.
    pub(crate) reference: Vec<(usize, Vector2<f64>)>,
}

impl Gradient {
    /// Adds a derivative by the mark of pair `i` in the render.
    pub(crate) fn add_render(&mut self, i: usize, d: Vector2<f64>) {
        add_to(&mut self.render, i, d);
    }

    /// Adds a derivative by the mark of pair `i` in the reference.
    pub(crate) fn add_reference(&mut self, i: usize, d: Vector2<f64>) {
        add_to(&mut self.reference, i, d);
    }

    /// Multiplies all derivatives by `factor`.
    pub(crate) fn scale(&mut self, factor: f64) {
        self.global *= factor;
        for (_, d) in self.render.iter_mut().chain(&mut self.reference) {
            *d *= factor;
        }
    }

    /// Adds `factor` times another gradient.
    pub(crate) fn add(&mut self, factor: f64, other: &Self) {
        self.global.axpy(factor, &other.global, 1.0);
        for (i, d) in &other.render {
            self.add_render(*i, d * factor);
        }
        for (i, d) in &other.reference {
            self.add_reference(*i, d * factor);
        }
    }
}

/// One entry a mark: a mark that a figure uses twice counts with the sum of its derivatives.
fn add_to(list: &mut Vec<(usize, Vector2<f64>)>, i: usize, d: Vector2<f64>) {
    match list.iter_mut().find(|(k, _)| *k == i) {
        Some((_, sum)) => *sum += d,
        None => list.push((i, d)),
    }
}

impl Adjustment {
    /// A gradient of nothing, to be filled.
    pub(crate) fn no_gradient(&self) -> Gradient {
        Gradient {
            global: DVector::zeros(self.problem.layout.global_unknowns()),
            render: Vec::new(),
            reference: Vec::new(),
        }
    }

    /// The mark of landmark `i` in the render.
    pub(crate) fn render_mark(&self, i: usize) -> Vector2<f64> {
        let p = self.problem.pairs[i].render;
        Vector2::new(p.x, p.y)
    }

    /// The registered mark of landmark `i` of the reference, render pixels.
    pub(crate) fn registered_mark(&self, i: usize) -> Vector2<f64> {
        self.solved.rows[i].prediction.registered
    }

    /// Adds to `gradient` what a derivative `d` by the registered mark of landmark `i` means.
    pub(crate) fn add_registered(&self, gradient: &mut Gradient, i: usize, d: Vector2<f64>) {
        let prediction = &self.solved.rows[i].prediction;
        gradient.global += prediction.registered_by_global.tr_mul(&d);
        gradient.add_reference(i, prediction.registered_by_reference.tr_mul(&d));
    }

    /// Mark of landmark `i` in the render minus the registered mark of the reference along `axis` (0: x, 1: y), render
    /// pixels, and what it depends on.
    pub(crate) fn offset(&self, i: usize, axis: usize) -> (f64, Gradient) {
        let mut unit = Vector2::zeros();
        unit[axis] = 1.0;
        let mut gradient = self.no_gradient();
        gradient.add_render(i, unit);
        self.add_registered(&mut gradient, i, -unit);
        let value = self.render_mark(i) - self.registered_mark(i);
        (value[axis], gradient)
    }

    /// The figure with the 95 % interval that follows from its gradient; `None` where it is not finite.
    pub(crate) fn measured(&self, value: f64, gradient: &Gradient) -> Option<Measured> {
        Measured::from_deviation(value, self.variance(gradient).sqrt(), self.noise_freedom)
    }

    /// The variance of a figure with this gradient, marks and unknowns being correlated where the marks took part.
    pub(crate) fn variance(&self, gradient: &Gradient) -> f64 {
        let covariance = &self.solved.covariance;
        let g = &gradient.global;
        let mut variance = (g.transpose() * &covariance.global * g)[(0, 0)];
        for (i, d) in &gradient.render {
            let sigma = self.noise.render * self.problem.pairs[*i].render_sigma;
            variance += sigma * sigma * d.norm_squared();
            variance += 2.0 * sigma * sigma * self.with_residual(gradient, *i).dot(d);
        }
        for (i, d) in &gradient.reference {
            let sigma = self.noise.reference * self.problem.pairs[*i].reference_sigma;
            let by_reference = self.solved.rows[*i].prediction.by_reference;
            variance += sigma * sigma * d.norm_squared();
            variance -= 2.0
                * sigma
                * sigma
                * (by_reference.transpose() * self.with_residual(gradient, *i)).dot(d);
        }
        variance.max(0.0)
    }

    /// How the unknowns' part of a figure changes with the residual error of pair `i`: `g' C A' S^-1`.
    fn with_residual(&self, gradient: &Gradient, i: usize) -> Vector2<f64> {
        if !self.active[i] {
            return Vector2::zeros();
        }
        let covariance = &self.solved.covariance;
        let row = &self.solved.rows[i];
        let mut by_row: Vector2<f64> =
            &row.prediction.by_global * (&covariance.global * &gradient.global);
        if let (Some(j), Some(by_region)) =
            (self.problem.pairs[i].region, &row.prediction.by_region)
        {
            by_row += by_region * (&covariance.region_with_global[j] * &gradient.global);
        }
        row.covariance
            .try_inverse()
            .map_or_else(Vector2::zeros, |inverse| inverse * by_row)
    }

    /// How the iteration that gave it ended.
    pub fn convergence(&self) -> Convergence {
        self.solved.convergence
    }

    /// A region's errors.
    pub(crate) fn region(&self, j: usize) -> RegionErrors {
        self.solved.state.regions[j]
    }
}

#[cfg(test)]
mod tests;
