//! What the adjustment knows of the world: the map from reference to render, its unknowns and their derivatives.
//!
//! A mark `q` of the reference is rectified, registered and, for a camera that stands elsewhere, moved by its
//! parallax: `u = T(H(q)) - s(X)`. On a part with errors of its own the model then shows it at
//! `m = R(rotation) diag(1 + width, 1 + height) (u - a + d) + a`, where `a` is the region's anchor, a point of the model,
//! and `d` the offset there (model minus subject).
use super::{
    noise::{AlongOutline, MarkNoise, Noise},
    parallax::Parallax,
};
use crate::{
    frame::{FromReference, Point, Projective, RectifiedPx, ReferencePx, RenderPx},
    job::RegistrationKind,
    rectification::Rectification,
};
use nalgebra::{Matrix2, Matrix2xX, Matrix3, SMatrix, Vector2};

/// The derivative of a point by the five numbers of a region: width, height, rotation, offset x, offset y.
pub(crate) type Matrix2x5 = SMatrix<f64, 2, 5>;

/// One landmark as the adjustment sees it.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Pair {
    pub(crate) render: Point<RenderPx>,
    pub(crate) reference: Point<ReferencePx>,
    /// How well each mark was set, in its own image's pixels.
    pub(crate) render_noise: MarkNoise,
    pub(crate) reference_noise: MarkNoise,
    /// Where it is the outermost point of an outline: how badly both marks together are known along it.
    pub(crate) along: Option<AlongOutline>,
    /// Place on the model, millimetres.
    pub(crate) space: Option<[f64; 3]>,
    /// Index of the region whose errors move it.
    pub(crate) region: Option<usize>,
    /// Index of the region that it lies on, also where that is a datum part, whose errors move nothing.
    pub(crate) part: Option<usize>,
}

impl Pair {
    /// Covariance of the mark in the render, with what both are unsure of along an outline.
    pub(crate) fn render_covariance(&self, noise: Noise) -> Matrix2<f64> {
        let across = self.render_noise.deviation(noise.render).powi(2);
        let along = self
            .along
            .map_or_else(Matrix2::zeros, |a| a.covariance(noise));
        Matrix2::identity() * across + along
    }

    /// The datum part that it lies on.
    pub(crate) fn datum_part(&self) -> Option<usize> {
        self.part.filter(|_| self.region.is_none())
    }

    /// Variance of the mark in the reference, per coordinate.
    pub(crate) fn reference_variance(&self, noise: Noise) -> f64 {
        self.reference_noise.deviation(noise.reference).powi(2)
    }
}

/// The five errors of a region.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct RegionErrors {
    /// Width factor minus 1.
    pub width: f64,
    /// Height factor minus 1.
    pub height: f64,
    /// Radians, clockwise on the screen.
    pub rotation: f64,
    /// Model minus subject at the anchor, render pixels.
    pub offset: [f64; 2],
}

impl RegionErrors {
    /// All five, in the order of the derivative's columns.
    pub(crate) fn to_array(self) -> [f64; 5] {
        [
            self.width,
            self.height,
            self.rotation,
            self.offset[0],
            self.offset[1],
        ]
    }

    pub(crate) fn from_array(a: [f64; 5]) -> Self {
        Self {
            width: a[0],
            height: a[1],
            rotation: a[2],
            offset: [a[3], a[4]],
        }
    }

    /// Rotation times stretch: the derivative of the model's point by the subject's.
    pub(crate) fn linear(&self) -> Matrix2<f64> {
        let (s, c) = self.rotation.sin_cos();
        Matrix2::new(c, -s, s, c) * Matrix2::new(1.0 + self.width, 0.0, 0.0, 1.0 + self.height)
    }

    /// Where the model shows the subject's point `u`.
    pub(crate) fn apply(&self, anchor: Vector2<f64>, u: Vector2<f64>) -> Vector2<f64> {
        self.linear() * (u - anchor + Vector2::from(self.offset)) + anchor
    }

    /// The derivative of [`Self::apply`] by the five numbers.
    pub(crate) fn derivative(&self, anchor: Vector2<f64>, u: Vector2<f64>) -> Matrix2x5 {
        let v = u - anchor + Vector2::from(self.offset);
        let (s, c) = self.rotation.sin_cos();
        let linear = self.linear();
        let turned = Matrix2::new(-s, -c, c, -s)
            * Vector2::new((1.0 + self.width) * v.x, (1.0 + self.height) * v.y);
        Matrix2x5::from_columns(&[
            Vector2::new(c * v.x, s * v.x),
            Vector2::new(-s * v.y, c * v.y),
            turned,
            linear.column(0).into_owned(),
            linear.column(1).into_owned(),
        ])
    }
}

/// The fixed part: which unknowns there are.
#[derive(Clone, Debug)]
pub(crate) struct Layout {
    pub(crate) kind: RegistrationKind,
    /// Centre and size of the marks in the render: the unknowns of the registration are pixels at this distance.
    pub(crate) centre: Vector2<f64>,
    pub(crate) size: f64,
    pub(crate) rectification: Option<Rectification>,
    /// Whether the rectification's numbers are unknowns: without a lens, a projective registration takes up all that they
    /// could change.
    pub(crate) is_rectification_free: bool,
    pub(crate) parallax: Option<Parallax>,
    pub(crate) anchors: Vec<Vector2<f64>>,
}

impl Layout {
    pub(crate) fn registration_unknowns(&self) -> usize {
        match self.kind {
            RegistrationKind::Similarity => 4,
            RegistrationKind::Affine => 6,
            RegistrationKind::Projective => 8,
        }
    }

    /// The rectification where its numbers are unknowns.
    pub(crate) fn free_rectification(&self) -> Option<&Rectification> {
        self.rectification
            .as_ref()
            .filter(|_| self.is_rectification_free)
    }

    pub(crate) fn first_rectification_unknown(&self) -> usize {
        self.registration_unknowns()
    }

    pub(crate) fn first_shift_unknown(&self) -> usize {
        let numbers = self.free_rectification().map_or(0, |s| s.observed().len());
        self.first_rectification_unknown() + numbers
    }

    /// Number of unknowns that all regions share.
    pub(crate) fn global_unknowns(&self) -> usize {
        self.first_shift_unknown() + self.parallax.as_ref().map_or(0, Parallax::unknowns)
    }

    /// How a registered point moves with the unknowns of the registration, pixels per pixel.
    pub(crate) fn registration_basis(&self, u: Vector2<f64>) -> Matrix2xX<f64> {
        let n = (u - self.centre) / self.size;
        let (x, y) = (n.x, n.y);
        // An affine registration has all of a projective one's but the last two, the keystone.
        let full = [
            [x, 0.0],
            [y, 0.0],
            [0.0, x],
            [0.0, y],
            [1.0, 0.0],
            [0.0, 1.0],
            [x * x, x * y],
            [x * y, y * y],
        ];
        let columns: &[[f64; 2]] = match self.kind {
            RegistrationKind::Similarity => &[[x, y], [-y, x], [1.0, 0.0], [0.0, 1.0]],
            RegistrationKind::Affine => &full[..6],
            RegistrationKind::Projective => &full,
        };
        Matrix2xX::from_fn(columns.len(), |r, c| columns[c][r])
    }

    /// The change of the registration that these unknowns mean, as a map of the render onto itself.
    fn registration_change(&self, d: &[f64]) -> Matrix3<f64> {
        let s = self.size;
        let d: Vec<f64> = d.iter().map(|v| v / s).collect();
        let change = match self.kind {
            RegistrationKind::Similarity => Matrix3::new(
                1.0 + d[0],
                -d[1],
                d[2],
                d[1],
                1.0 + d[0],
                d[3],
                0.0,
                0.0,
                1.0,
            ),
            RegistrationKind::Affine | RegistrationKind::Projective => {
                // An affine change has no keystone.
                let keystone = |k: usize| d.get(k).map_or(0.0, |v| -v);
                Matrix3::new(
                    1.0 + d[0],
                    d[1],
                    d[4],
                    d[2],
                    1.0 + d[3],
                    d[5],
                    keystone(6),
                    keystone(7),
                    1.0,
                )
            }
        };
        let (cx, cy) = (self.centre.x, self.centre.y);
        let back = Matrix3::new(s, 0.0, cx, 0.0, s, cy, 0.0, 0.0, 1.0);
        let there = Matrix3::new(1.0 / s, 0.0, -cx / s, 0.0, 1.0 / s, -cy / s, 0.0, 0.0, 1.0);
        back * change * there
    }
}

/// The unknowns' present values.
#[derive(Clone, Debug)]
pub(crate) struct State {
    pub(crate) render_from_rectified: Projective<RenderPx, RectifiedPx>,
    pub(crate) rectified_from_reference: FromReference<RectifiedPx>,
    /// The rectification's numbers; none where nothing is rectified.
    pub(crate) numbers: Vec<f64>,
    /// Shift of the camera; unused places are 0.
    pub(crate) shift: [f64; 3],
    pub(crate) regions: Vec<RegionErrors>,
}

impl State {
    /// This state changed by `global` and `regions`; `None` where the change makes no sense (a map that cannot be
    /// inverted, a part of no size).
    pub(crate) fn changed(
        &self,
        layout: &Layout,
        global: &[f64],
        regions: &[[f64; 5]],
    ) -> Option<Self> {
        let n = layout.registration_unknowns();
        let change = layout.registration_change(&global[..n]);
        let render_from_rectified =
            Projective::from_matrix(change * self.render_from_rectified.matrix())?;
        let mut next = Self {
            render_from_rectified,
            ..self.clone()
        };
        if let Some(rectification) = layout.free_rectification() {
            let changes = &global[layout.first_rectification_unknown()..];
            for (number, d) in next.numbers.iter_mut().zip(changes) {
                *number += d;
            }
            next.rectified_from_reference = rectification.map(&next.numbers)?;
        }
        for (s, d) in next
            .shift
            .iter_mut()
            .zip(&global[layout.first_shift_unknown()..])
        {
            *s += d;
        }
        for (errors, d) in next.regions.iter_mut().zip(regions) {
            let mut a = errors.to_array();
            a.iter_mut().zip(d).for_each(|(a, d)| *a += d);
            if a[0] <= -0.9 || a[1] <= -0.9 || a.iter().any(|v| !v.is_finite()) {
                return None;
            }
            *errors = RegionErrors::from_array(a);
        }
        Some(next)
    }

    /// The registered place of a mark of the reference, parallax taken off.
    pub(crate) fn registered(&self, layout: &Layout, pair: &Pair) -> Vector2<f64> {
        let u = self.laid_over(pair.reference);
        match (&layout.parallax, pair.space) {
            (Some(parallax), Some(space)) => u - parallax.shift(space, &self.shift),
            _ => u,
        }
    }

    /// The rectification, then the registration.
    pub(crate) fn render_from_reference(&self) -> FromReference<RenderPx> {
        self.rectified_from_reference
            .then(&self.render_from_rectified)
    }

    /// On which side of the horizon the registration sees a mark of the reference.
    pub(crate) fn is_before(&self, mark: Point<ReferencePx>) -> bool {
        let rectified = self.rectified_from_reference.apply(mark);
        let matrix = self.render_from_rectified.matrix();
        matrix[(2, 0)] * rectified.x + matrix[(2, 1)] * rectified.y + matrix[(2, 2)] > 0.0
    }

    fn laid_over(&self, q: Point<ReferencePx>) -> Vector2<f64> {
        Vector2::from(
            self.render_from_rectified
                .apply(self.rectified_from_reference.apply(q))
                .xy(),
        )
    }
}

/// Where the adjustment expects a landmark in the render, and how that depends on everything.
#[derive(Clone, Debug)]
pub(crate) struct Prediction {
    /// Registered mark of the reference, parallax taken off, before the region's errors.
    pub(crate) registered: Vector2<f64>,
    /// Registered mark with the region's errors: comparable with the mark in the render.
    pub(crate) model: Vector2<f64>,
    /// Derivative of `model` by the global unknowns.
    pub(crate) by_global: Matrix2xX<f64>,
    /// Derivative of `registered` by the global unknowns.
    pub(crate) registered_by_global: Matrix2xX<f64>,
    /// Derivative of `model` by the region's five numbers.
    pub(crate) by_region: Option<Matrix2x5>,
    /// Derivative of `model` by the mark in the reference.
    pub(crate) by_reference: Matrix2<f64>,
    /// Derivative of `registered` by the mark in the reference.
    pub(crate) registered_by_reference: Matrix2<f64>,
}

/// Predicts landmarks from one state; holds what all of them share.
pub(crate) struct Predictor<'a> {
    layout: &'a Layout,
    state: &'a State,
    /// For each number of the rectification: the rectification with it moved up and down by its step, and the step.
    moved: Vec<Moved>,
}

/// A rectification with one number moved.
struct Moved {
    up: FromReference<RectifiedPx>,
    down: FromReference<RectifiedPx>,
    step: f64,
}

impl<'a> Predictor<'a> {
    pub(crate) fn new(layout: &'a Layout, state: &'a State) -> Self {
        let moved = layout.free_rectification().map_or_else(Vec::new, |s| {
            let numbers = s.observed().iter().enumerate();
            numbers
                .map(|(k, observed)| moved(s, state, k, observed.step))
                .collect()
        });
        Self {
            layout,
            state,
            moved,
        }
    }

    pub(crate) fn predict(&self, pair: &Pair) -> Prediction {
        let (layout, state) = (self.layout, self.state);
        let rectified = state.rectified_from_reference.apply(pair.reference);
        let by_rectified = state.render_from_rectified.jacobian(rectified);
        let laid_over = Vector2::from(state.render_from_rectified.apply(rectified).xy());
        let registered = state.registered(layout, pair);
        let mut by_global = Matrix2xX::zeros(layout.global_unknowns());
        let n = layout.registration_unknowns();
        by_global
            .columns_mut(0, n)
            .copy_from(&layout.registration_basis(laid_over));
        for (k, moved) in self.moved.iter().enumerate() {
            let at = |map: &FromReference<RectifiedPx>| map.apply(pair.reference);
            let (a, b) = (at(&moved.up), at(&moved.down));
            let d = Vector2::new(a.x - b.x, a.y - b.y) / (2.0 * moved.step);
            by_global.set_column(n + k, &(by_rectified * d));
        }
        if let (Some(parallax), Some(space)) = (&layout.parallax, pair.space) {
            let by_shift = parallax.derivative(space, &state.shift);
            by_global
                .columns_mut(layout.first_shift_unknown(), parallax.unknowns())
                .copy_from(&-by_shift);
        }
        let registered_by_reference =
            by_rectified * state.rectified_from_reference.jacobian(pair.reference);
        let Some(j) = pair.region else {
            return Prediction {
                registered,
                model: registered,
                registered_by_global: by_global.clone(),
                by_global,
                by_region: None,
                by_reference: registered_by_reference,
                registered_by_reference,
            };
        };
        let (errors, anchor) = (&state.regions[j], layout.anchors[j]);
        let linear = errors.linear();
        Prediction {
            registered,
            model: errors.apply(anchor, registered),
            by_global: linear * &by_global,
            registered_by_global: by_global,
            by_region: Some(errors.derivative(anchor, registered)),
            by_reference: linear * registered_by_reference,
            registered_by_reference,
        }
    }
}

/// The rectification with number `k` moved. Where it cannot be moved (the view becomes too frontal), it is taken to stay.
fn moved(rectification: &Rectification, state: &State, k: usize, step: f64) -> Moved {
    let at = |by: f64| {
        let mut numbers = state.numbers.clone();
        numbers[k] += by;
        rectification
            .map(&numbers)
            .unwrap_or(state.rectified_from_reference)
    };
    Moved {
        up: at(step),
        down: at(-step),
        step,
    }
}
