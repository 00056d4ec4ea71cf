//! Levenberg-Marquardt on the marks of a view, robust or not.
use super::settings::ADJUSTMENT;
use super::{
    datum_parts::DatumParts,
    model::{Layout, Pair, Prediction, Predictor, State},
    noise::{MarkNoise, Noise},
    normal::{Covariance, Normal, Vector5},
    shape::ExpectedShape,
};
use crate::stop;
use nalgebra::{DMatrix, DVector, Matrix2, Matrix2xX, Vector2};
use std::fmt;

/// What is fixed during an adjustment.
#[derive(Clone, Debug)]
pub(crate) struct Problem {
    pub(crate) layout: Layout,
    pub(crate) pairs: Vec<Pair>,
    /// How well a mark of the render and one of the reference are set that say nothing of themselves.
    pub(crate) unstated_noise: [MarkNoise; 2],
    /// Standard deviations of a region's five numbers before anything is measured.
    pub(crate) expected: [f64; 5],
    /// What is expected of a projective registration before anything is measured.
    pub(crate) shape: Option<ExpectedShape>,
    /// A root of what datum parts that may be altered add to the covariance of the shared unknowns.
    pub(crate) suspected: DMatrix<f64>,
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

/// What takes part in a sum of squares, and how it is weighed.
#[derive(Clone, Copy)]
struct Terms<'a> {
    /// Pairs that count.
    active: &'a [bool],
    weighing: Weighing,
    noise: Noise,
}

/// A state with the rows of all pairs there, and its cost.
struct Place {
    state: State,
    rows: Vec<Row>,
    cost: f64,
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
                let reference = pair.reference_variance(noise);
                Row {
                    residual: Vector2::new(pair.render.x, pair.render.y) - prediction.model,
                    covariance: pair.render_covariance(noise) + j * j.transpose() * reference,
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

    /// What the active pairs on datum parts make of those parts' own errors.
    pub(super) fn datum_parts(&self, rows: &[Row], active: &[bool]) -> DatumParts<'_> {
        let mut parts = DatumParts::new(&self.layout);
        for ((row, pair), _) in rows
            .iter()
            .zip(&self.pairs)
            .zip(active)
            .filter(|(_, a)| **a)
        {
            let (Some(part), Some(white)) = (pair.datum_part(), whitener(&row.covariance)) else {
                continue;
            };
            let by_global = white * &row.prediction.by_global;
            for k in 0..2 {
                let direction = white.row(k).transpose();
                let place = row.prediction.registered;
                parts.add(part, &by_global.row(k).transpose(), (place, direction), 1.0);
            }
        }
        parts
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
        let terms = Terms {
            active,
            weighing,
            noise,
        };
        self.cost_weighed_at([(state, rows), (state, rows)], terms)
    }

    /// The weighted sum of squares at `next` by the weights of `now`. A step is judged by it: residuals grow less certain
    /// where the reference is enlarged, and a sum whose weights followed would fall by enlarging alone.
    fn cost_weighed_at(
        &self,
        [(now, rows_now), (next, rows_next)]: [(&State, &[Row]); 2],
        terms: Terms<'_>,
    ) -> f64 {
        let robust_square = ADJUSTMENT.robust_constant.get().powi(2);
        let marks: f64 = (0..terms.active.len())
            .filter(|&i| terms.active[i])
            .map(|i| {
                let square = rows_now[i].standardised(rows_next[i].residual);
                match terms.weighing {
                    Weighing::LeastSquares => square,
                    Weighing::Robust => robust_square * (square / robust_square).ln_1p(),
                }
            })
            .sum();
        marks + self.cost_of_expectations(now, next, terms.noise)
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
        let terms = Terms {
            active,
            weighing,
            noise,
        };
        let rows = self.rows(start, noise);
        let mut at = Place {
            cost: self.cost(start, &rows, active, weighing, noise),
            state: start.clone(),
            rows,
        };
        let mut damping = 0.0;
        let mut convergence = Convergence {
            is_reached: false,
            steps: 0,
            last_step_px: f64::INFINITY,
        };
        for _ in 0..most_steps {
            stop::check().ok()?;
            let normal = self.normal(&at.state, &at.rows, active, weighing, noise);
            let Some((next, step)) = self.step(&at, &normal, terms, &mut damping) else {
                // No step lowers the cost: this is rest, where the plain step is short.
                let plain = normal.solve(0.0);
                convergence.last_step_px = plain.map_or(f64::INFINITY, |(global, _)| global.amax());
                convergence.is_reached = convergence.last_step_px < AT_REST_PX;
                break;
            };
            let gained = at.cost - next.cost;
            at = next;
            at.cost = self.cost(&at.state, &at.rows, active, weighing, noise);
            convergence.steps += 1;
            convergence.last_step_px = step;
            if step < 1e-7 || gained.abs() < 1e-10 * (1.0 + at.cost) {
                convergence.is_reached = true;
                break;
            }
        }
        let Place { state, rows, .. } = at;
        let normal = self.normal(&state, &rows, active, Weighing::LeastSquares, noise);
        let mut covariance = normal.covariance()?;
        let datum_parts = self.datum_parts(&rows, active);
        covariance.datum_root = datum_parts.root(&covariance.global, &self.suspected);
        Some(Solved {
            state,
            rows,
            covariance,
            convergence,
        })
    }

    /// The least-squares solution from where `solved` stands.
    pub(crate) fn least_squares(
        &self,
        solved: &Solved,
        active: &[bool],
        noise: Noise,
    ) -> Option<Solved> {
        /// From a solution nearby; it takes two or three.
        const MOST_STEPS: usize = 12;
        self.solve(
            &solved.state,
            active,
            Weighing::LeastSquares,
            noise,
            MOST_STEPS,
        )
    }

    /// Whether no mark that counts goes over the horizon.
    fn keeps_sides(&self, from: &State, to: &State, active: &[bool]) -> bool {
        let mut counting = self.pairs.iter().zip(active).filter(|(_, active)| **active);
        counting.all(|(pair, _)| from.is_before(pair.reference) == to.is_before(pair.reference))
    }

    /// One step that does not make the cost larger, with as much damping as that needs, and its length in render pixels;
    /// the cost is by the weights of `at`.
    fn step(
        &self,
        at: &Place,
        normal: &Normal,
        terms: Terms<'_>,
        damping: &mut f64,
    ) -> Option<(Place, f64)> {
        for _ in 0..8 {
            if let Some((global, regions)) = normal.solve(*damping)
                && let Some(state) = at.state.changed(&self.layout, global.as_slice(), &regions)
                && self.keeps_sides(&at.state, &state, terms.active)
            {
                let rows = self.rows(&state, terms.noise);
                let both = [(&at.state, at.rows.as_slice()), (&state, rows.as_slice())];
                let cost = self.cost_weighed_at(both, terms);
                if cost <= at.cost * (1.0 + 1e-12) + 1e-12 {
                    *damping = if *damping < 1e-6 {
                        0.0
                    } else {
                        *damping / 10.0
                    };
                    return Some((Place { state, rows, cost }, global.amax()));
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

    /// Standardised square and redundancy of the residual of pair `i` along a direction; it took part.
    pub(crate) fn along(&self, problem: &Problem, i: usize, direction: Vector2<f64>) -> (f64, f64) {
        let row = &self.rows[i];
        let of = |covariance: Matrix2<f64>| direction.dot(&(covariance * direction));
        let variance = of(row.covariance);
        let redundancy = of(self.residual_covariance(problem, i, true)) / variance;
        (
            direction.dot(&row.residual).powi(2) / variance,
            redundancy.clamp(0.0, 1.0),
        )
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
        Weighing::Robust => {
            1.0 / (1.0
                + row.standardised_square()
                    / (ADJUSTMENT.robust_constant.get() * ADJUSTMENT.robust_constant.get()))
        }
    }
}

/// Adds a landmark as two independent scalar observations (its residual made white).
pub(super) fn add_row(normal: &mut Normal, row: &Row, region: Option<usize>, weight: f64) {
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
