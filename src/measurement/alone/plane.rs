//! A plane: the reference rectified, its turn and stretch taken off as its known lengths tell them, scaled by them or by the points
//! that it was rectified by.
use super::{
    basis::{Basis, Untold},
    found::ScaleFrom,
};
use crate::{
    frame::{FromReference, PlainMm, Projective, RectifiedPx},
    job::{Job, KnownPlane, View},
    measurement::{
        DimensionFit, Scales,
        lengths::{
            PlainFit, SCALE,
            scales::{self, KnownMarks},
            sizes,
        },
        own_marks::own_point,
    },
    rectification::Rectification,
    registration::{
        Adjustment,
        alone::{OwnNoise, alone},
    },
    statistics::{Measured, t_quantile},
    warning::Code,
};
use nalgebra::{DMatrix, DVector, Matrix2, Matrix3, Vector2};

/// A view's reference as a plane.
pub(super) struct Plane {
    /// Marks and numbers of the rectification; nothing is registered.
    adjustment: Adjustment,
    map: PlainMap,
    fit: Option<PlainFit>,
    /// Covariance of what is fitted that does not come from the marks, squared half-widths.
    beyond_marks: DMatrix<f64>,
    noise: OwnNoise,
    scales: Scales,
    scale_from: Option<ScaleFrom>,
    /// Pixels a millimetre by the points of the rectification.
    by_points: Option<f64>,
}

/// From the rectified reference to the drawing: no turn, no stretch, millimetres where there is a scale.
#[derive(Clone, Copy, Debug)]
pub(super) struct PlainMap {
    rectified_from_reference: FromReference<RectifiedPx>,
    /// Logarithm of the scale, turn, stretch, shear.
    values: [f64; 4],
}

impl PlainMap {
    fn stretch(&self) -> Matrix2<f64> {
        let [log, _, e, g] = self.values;
        Matrix2::new(1.0 + e, g, g, 1.0 - e) * log.exp()
    }

    fn back_turn(&self) -> Matrix2<f64> {
        let (s, c) = self.values[1].sin_cos();
        Matrix2::new(c, s, -s, c)
    }

    fn stretch_inverse(&self) -> Matrix2<f64> {
        // A fit beyond 0.2 is not taken, so that it can be inverted.
        self.stretch().try_inverse().unwrap_or_else(Matrix2::zeros)
    }

    /// The derivative of a place by the rectified one.
    fn linear(&self) -> Matrix2<f64> {
        self.back_turn() * self.stretch_inverse()
    }

    /// The derivative of the place of `rectified` by one of the four values.
    fn by_value(&self, value: usize, rectified: Vector2<f64>) -> Vector2<f64> {
        let [log, turn, ..] = self.values;
        let plain = self.stretch_inverse() * rectified;
        let stretched = |by: Matrix2<f64>| -(self.linear() * by * log.exp() * plain);
        match value {
            0 => -(self.back_turn() * plain),
            1 => {
                let (s, c) = turn.sin_cos();
                Matrix2::new(-s, c, -c, -s) * plain
            }
            2 => stretched(Matrix2::new(1.0, 0.0, 0.0, -1.0)),
            _ => stretched(Matrix2::new(0.0, 1.0, 1.0, 0.0)),
        }
    }

    /// The whole way from the reference.
    pub(super) fn plain_from_reference(&self) -> FromReference<PlainMm> {
        let m = self.linear();
        let matrix = Matrix3::new(
            m[(0, 0)],
            m[(0, 1)],
            0.0,
            m[(1, 0)],
            m[(1, 1)],
            0.0,
            0.0,
            0.0,
            1.0,
        );
        let map = Projective::<PlainMm, RectifiedPx>::from_matrix(matrix);
        self.rectified_from_reference
            .then(&map.unwrap_or_else(|| Projective::similarity(1.0, 0.0, [0.0; 2])))
    }
}

/// Whether known lengths tell a scale: one whose interval is wider than itself says nothing.
fn is_told(scales: &Scales) -> bool {
    let fit = scales.reference_dimensions.as_ref();
    fit.is_some_and(|fit| fit.px_per_mm.half_width() < fit.px_per_mm.value())
}

impl Plane {
    pub(super) fn new(job: &Job, view: &View, rectification: Option<&Rectification>) -> Self {
        let believed = OwnNoise::beforehand(view);
        let first = alone(view, rectification, believed);
        let marks = KnownMarks::new(view, &first);
        let (study, scales) = scales::of_reference_alone(job, view, &marks);
        let fit = study.and_then(|study| study.plain);
        // What the known lengths leave tells how well was marked, where nobody says so.
        let noise = match &fit {
            Some(fit) if believed.freedom.is_finite() => OwnNoise {
                factor: fit.variance.sqrt(),
                freedom: fit.freedom,
            },
            _ => believed,
        };
        let adjustment = KnownMarks::new(view, &alone(view, rectification, noise)).adjustment;
        let by_points = rectification.and_then(|r| r.px_per_full_size_mm());
        let scale_from = match &fit {
            Some(fit) if fit.has_scale() && is_told(&scales) => Some(ScaleFrom::KnownLengths),
            _ => by_points.map(|_| ScaleFrom::Points),
        };
        let mut values = fit.as_ref().map_or([0.0; 4], |fit| fit.values);
        match (scale_from, by_points) {
            (Some(ScaleFrom::Points), Some(px)) => values[SCALE] = px.ln(),
            (None, _) => values[SCALE] = 0.0,
            _ => {}
        }
        let beyond_marks = fit.as_ref().map_or_else(
            || DMatrix::zeros(0, 0),
            |fit| beyond_marks(&adjustment, fit),
        );
        Self {
            map: PlainMap {
                rectified_from_reference: adjustment.state().rectified_from_reference,
                values,
            },
            adjustment,
            fit,
            beyond_marks,
            noise,
            scales,
            scale_from,
            by_points,
        }
    }

    pub(super) fn scale_from(&self) -> Option<ScaleFrom> {
        self.scale_from
    }

    pub(super) fn dimensions(&self) -> Option<&DimensionFit> {
        self.scales.reference_dimensions.as_ref()
    }

    pub(super) fn noise(&self) -> OwnNoise {
        self.noise
    }

    pub(super) fn map(&self) -> &PlainMap {
        &self.map
    }

    pub(super) fn px_per_mm(&self) -> Option<Measured> {
        match self.scale_from? {
            ScaleFrom::KnownLengths => self.dimensions().map(|fit| fit.px_per_mm),
            _ => Measured::plus_minus(self.by_points?, 0.0),
        }
    }

    /// Whether what runs to the right is known, so that places lie along the axes of the model.
    pub(super) fn is_upright(&self, view: &View) -> bool {
        let plane = view.reference.rectify.as_ref().map(|r| &r.plane);
        let is_stated = matches!(plane, Some(KnownPlane::Figure(_) | KnownPlane::Lines(_)));
        is_stated || self.dimensions().is_some_and(|fit| fit.angle_deg.is_some())
    }

    /// Both scales where points and known lengths contradict each other: by the points, by the lengths.
    pub(super) fn contradiction(&self) -> Option<[Measured; 2]> {
        let by_lengths = self.dimensions()?.px_per_mm;
        let by_points = self.by_points?;
        let apart = !by_lengths.holds(by_points);
        Some([Measured::plus_minus(by_points, 0.0)?, by_lengths]).filter(|_| apart)
    }

    pub(super) fn about_known(&self, view: &View, warn: &mut dyn FnMut(Code, String)) {
        sizes::about_dimensions(view, &self.scales, warn);
    }
}

/// What of the covariance of a fit does not come from its marks, as squared half-widths.
fn beyond_marks(adjustment: &Adjustment, fit: &PlainFit) -> DMatrix<f64> {
    let quantile = t_quantile(0.975, fit.freedom).powi(2);
    let of_marks = t_quantile(0.975, adjustment.noise_freedom()).powi(2);
    let variances: Vec<f64> = (fit.known.iter())
        .map(|(_, gradient)| adjustment.variance(gradient))
        .collect();
    DMatrix::from_fn(fit.known.len(), fit.known.len(), |i, j| {
        let by_marks = if i == j {
            variances[i]
        } else {
            let mut sum = fit.known[i].1.clone();
            sum.add(1.0, &fit.known[j].1);
            (adjustment.variance(&sum) - variances[i] - variances[j]) / 2.0
        };
        quantile * fit.covariance[(i, j)] - of_marks * by_marks
    })
}

impl Basis for Plane {
    fn place(&self, landmark: usize) -> Result<Vector2<f64>, Untold> {
        let own = own_point(&self.adjustment, landmark);
        // Beyond the horizon a plane comes out turned over.
        let turns_over = own.by_mark.determinant();
        if turns_over.is_nan() || turns_over <= 0.0 || !own.at.iter().all(|v| v.is_finite()) {
            return Err(Untold::BeyondHorizon);
        }
        Ok(self.map.linear() * own.at)
    }

    fn depth_between(&self, _: [usize; 2]) -> (f64, f64) {
        (0.0, 0.0)
    }

    fn half_width(&self, by: &[(usize, Vector2<f64>)]) -> f64 {
        let adjustment = &self.adjustment;
        let known = self.fit.as_ref().map_or(&[][..], |fit| &fit.known);
        let mut gradient = adjustment.no_gradient();
        let mut by_fit = DVector::zeros(known.len());
        let linear = self.map.linear();
        for (landmark, d) in by {
            let own = own_point(adjustment, *landmark);
            let by_rectified = linear.tr_mul(d);
            gradient.global += own.by_global.tr_mul(&by_rectified);
            gradient.add_reference(*landmark, own.by_mark.tr_mul(&by_rectified));
            for (k, (value, _)) in known.iter().enumerate() {
                by_fit[k] += d.dot(&self.map.by_value(*value, own.at));
            }
        }
        for (k, (_, by_marks)) in known.iter().enumerate() {
            gradient.add(by_fit[k], by_marks);
        }
        let quantile = t_quantile(0.975, adjustment.noise_freedom());
        let by_marks = quantile.powi(2) * adjustment.variance(&gradient);
        let beyond = (by_fit.transpose() * &self.beyond_marks * &by_fit)[(0, 0)];
        (by_marks + beyond).max(0.0).sqrt()
    }

    fn freedom(&self) -> f64 {
        self.adjustment.noise_freedom()
    }

    fn has_scale(&self) -> bool {
        self.scale_from.is_some()
    }
}
