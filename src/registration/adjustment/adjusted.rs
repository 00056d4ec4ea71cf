//! The finished adjustment and the propagation to any figure. Its parts are seen by the registration alone: others ask
//! for what they need.
//!
//! # Source
//! JCGM 100:2008 (GUM), eq. 13.
use super::{
    gradient::Gradient,
    model::{Layout, Pair, Predictor, RegionErrors, State},
    noise::Noise,
    solving::{Convergence, Problem, Row, Solved},
};
use crate::{
    frame::{Point, ReferencePx, RenderPx},
    statistics::Measured,
};
use nalgebra::{DVector, Matrix2, Matrix2xX, Matrix5, Vector2};

/// A mark whose partner is not set yet, or that never has one.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum SingleMark {
    /// In the render.
    Render(Point<RenderPx>),
    /// In the reference as it is on disk.
    Reference(Point<ReferencePx>),
}

/// The finished adjustment: from here on, figures and their deviations can be asked for.
#[derive(Clone, Debug)]
pub struct Adjustment {
    pub(in crate::registration) problem: Problem,
    pub(in crate::registration) solved: Solved,
    /// Pairs that the solution rests on.
    pub(in crate::registration) active: Vec<bool>,
    /// Pairs that it may rest on: datum marks, and check marks on a region.
    pub(in crate::registration) takes_part: Vec<bool>,
    pub(in crate::registration) noise: Noise,
    /// Degrees of freedom of the noise: infinite where it was stated.
    pub(in crate::registration) noise_freedom: f64,
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
        variance += covariance.by_datum_parts(g);
        for (i, d) in &gradient.render {
            let of_mark = self.problem.pairs[*i].render_covariance(self.noise) * d;
            variance += of_mark.dot(d);
            variance += 2.0 * self.with_residual(gradient, *i).dot(&of_mark);
        }
        for (i, d) in &gradient.reference {
            let of_mark = self.problem.pairs[*i].reference_variance(self.noise);
            let by_reference = self.solved.rows[*i].prediction.by_reference;
            variance += of_mark * d.norm_squared();
            variance -= 2.0
                * of_mark
                * (by_reference.transpose() * self.with_residual(gradient, *i)).dot(d);
        }
        variance.max(0.0)
    }

    /// How the unknowns' part of a figure changes with the residual error of pair `i`: `g' C A' S^-1`.
    pub(super) fn with_residual(&self, gradient: &Gradient, i: usize) -> Vector2<f64> {
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

    /// The same, as if the iteration had ended so.
    #[cfg(test)]
    pub(crate) fn ended(mut self, end: Convergence) -> Self {
        self.solved.convergence = end;
        self
    }

    /// A region's errors.
    pub(crate) fn region(&self, j: usize) -> RegionErrors {
        self.solved.state.regions[j]
    }

    /// Degrees of freedom of the noise: infinite where it was stated.
    pub(crate) fn noise_freedom(&self) -> f64 {
        self.noise_freedom
    }

    /// The marks of the view's landmarks, then those that were added.
    pub(crate) fn pairs(&self) -> &[Pair] {
        &self.problem.pairs
    }

    /// The maps as adjusted.
    pub(crate) fn state(&self) -> &State {
        &self.solved.state
    }

    /// Which unknowns there are.
    pub(crate) fn layout(&self) -> &Layout {
        &self.problem.layout
    }

    /// Derivatives of the registered mark of landmark `i` by the unknowns that all share.
    pub(crate) fn registered_by_global(&self, i: usize) -> &Matrix2xX<f64> {
        &self.solved.rows[i].prediction.registered_by_global
    }

    /// Covariance of a region's five numbers.
    pub(crate) fn region_covariance(&self, j: usize) -> Matrix5<f64> {
        self.solved.covariance.of_region(j)
    }

    /// Standard deviations of a region's five numbers before anything is measured.
    pub(crate) fn expected(&self) -> &[f64; 5] {
        &self.problem.expected
    }

    /// The place on the model of a point of the render; see [`Problem::space_of`].
    pub(crate) fn space_of(&self, landmarks: &[usize], place: Vector2<f64>) -> Option<[f64; 3]> {
        self.problem.space_of(landmarks, place)
    }

    /// Appends a pair with a mark in one image, with the deviation of that image's landmarks; the other mark is where the
    /// registration puts it, and never used. Returns its index.
    pub(crate) fn add_single(&mut self, mark: SingleMark) -> usize {
        let state = &self.solved.state;
        let map = state
            .rectified_from_reference
            .then(&state.render_from_rectified);
        let (render, reference) = match mark {
            SingleMark::Render(mark) => (mark, map.inverse().apply(mark)),
            SingleMark::Reference(mark) => (map.apply(mark), mark),
        };
        let [render_noise, reference_noise] = self.problem.unstated_noise;
        let pair = Pair {
            render,
            reference,
            render_noise,
            reference_noise,
            along: None,
            space: None,
            region: None,
            part: None,
        };
        let prediction = Predictor::new(&self.problem.layout, state).predict(&pair);
        self.problem.pairs.push(pair);
        self.solved.rows.push(Row {
            residual: Vector2::zeros(),
            // It takes no part, so nothing is weighed by it.
            covariance: Matrix2::identity(),
            prediction,
        });
        self.active.push(false);
        self.takes_part.push(false);
        self.problem.pairs.len() - 1
    }

    /// Covariance of number `k` of region `j` with a figure, through the unknowns and the marks that both rest on.
    pub(crate) fn covariance_with(&self, figure: &Gradient, j: usize, k: usize) -> f64 {
        let solved = &self.solved;
        let with_global = solved.covariance.region_with_global[j].row(k);
        let mut sum = (with_global * &figure.global)[(0, 0)];
        sum += solved
            .covariance
            .with_region_by_datum_parts(&figure.global, j, k);
        let shared = self.shared_by_regions(j, k);
        let by_residual = |i: usize| self.region_by_residual((j, k), i, &shared);
        let active = |i: &usize| self.active[*i];
        for (i, d) in figure.render.iter().filter(|(i, _)| active(i)) {
            let of_mark = self.problem.pairs[*i].render_covariance(self.noise) * d;
            sum += by_residual(*i).dot(&of_mark);
        }
        for (i, d) in figure.reference.iter().filter(|(i, _)| active(i)) {
            let of_mark = self.problem.pairs[*i].reference_variance(self.noise);
            let by_reference = solved.rows[*i].prediction.by_reference;
            sum -= of_mark * by_reference.tr_mul(&by_residual(*i)).dot(d);
        }
        sum
    }

    /// What number `k` of region `j` has in common with the unknowns that all share, as their combination.
    pub(super) fn shared_by_regions(&self, j: usize, k: usize) -> DVector<f64> {
        let covariance = &self.solved.covariance;
        let with_global = covariance.region_with_global[j].row(k);
        let global = covariance.global.clone().cholesky();
        global.map_or_else(
            || DVector::zeros(with_global.len()),
            |global| global.solve(&with_global.transpose()),
        )
    }

    /// How number `k` of region `j` changes with the residual of pair `i`: its covariance with the prediction, weighed.
    /// `shared` is what [`Self::shared_by_regions`] gives of it.
    pub(super) fn region_by_residual(
        &self,
        (j, k): (usize, usize),
        i: usize,
        shared: &DVector<f64>,
    ) -> Vector2<f64> {
        let covariance = &self.solved.covariance;
        let row = &self.solved.rows[i];
        let with_global = covariance.region_with_global[j].row(k);
        let mut with_prediction = &row.prediction.by_global * with_global.transpose();
        if let (Some(l), Some(by_region)) =
            (self.problem.pairs[i].region, &row.prediction.by_region)
        {
            let in_common = if l == j {
                covariance.regions[j].row(k).transpose()
            } else {
                // Two regions have in common what the unknowns that all share bring to both.
                &covariance.region_with_global[l] * shared
            };
            with_prediction += by_region * in_common;
        }
        let inverse = row.covariance.try_inverse().unwrap_or_else(Matrix2::zeros);
        inverse * with_prediction
    }
}
