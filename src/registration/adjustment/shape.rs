//! What is expected beforehand of a projective registration: little beyond a similarity, where the reference is rectified.
//!
//! A rectified photo, or a picture that was never taken off a screen, seen by the render's camera differs from the
//! render by a similarity and by what the rectification left. Four weak observations say so: stretch, shear and two of
//! keystone. Where marks are few or far away, they keep the map from bending beyond them.
use super::settings::ADJUSTMENT;
use super::{
    model::{Layout, State},
    noise::Noise,
};
use crate::{
    frame::Point,
    job::{KnownPlane, RegistrationKind, RenderImage, View},
    rectification::mark_sigma_px,
};
use nalgebra::{DVector, Matrix2, Matrix3, Vector2};

/// Expected deviations of a projective registration from a similarity.
#[derive(Clone, Copy, Debug)]
pub(crate) struct ExpectedShape {
    /// Standard deviation at the distance of the farthest mark, in parts of it.
    part: f64,
    /// Standard deviation of the rectification's marks before the variance factor, reference pixels.
    mark_sigma: f64,
}

/// One weak observation: how far the map is from a similarity now, and how that changes with the registration's unknowns.
pub(crate) struct ShapeRow {
    pub(crate) by_global: DVector<f64>,
    pub(crate) deviation: f64,
}

impl ExpectedShape {
    /// `None` where nothing is known beforehand: another kind of registration, or a reference that no plane of known
    /// proportions rectifies. A drawn render was seen by the reference's own camera, but for the noise of the marks that it was
    /// solved from.
    pub(crate) fn of(view: &View, percent: f64) -> Option<Self> {
        if view.render.image == RenderImage::Drawn {
            let rectify = view.reference.rectify.as_ref();
            let is_plane = rectify.is_some_and(|r| !matches!(r.plane, KnownPlane::Unknown));
            return Some(Self {
                part: ADJUSTMENT.drawn_camera.get() * percent / 100.0,
                mark_sigma: if is_plane {
                    view.reference.mark_sigma_px.unwrap_or_else(mark_sigma_px)
                } else {
                    0.0
                },
            });
        }
        let rectify = view.reference.rectify.as_ref()?;
        let is_known = match &rectify.plane {
            KnownPlane::Rectangle(rectangle) => rectangle.aspect.is_some(),
            KnownPlane::Figure(_) => true,
            KnownPlane::Lines(_) | KnownPlane::Unknown => false,
        };
        // A camera that stands elsewhere is turned as well, and that is keystone.
        let factor = if view.same_camera {
            1.0
        } else {
            ADJUSTMENT.other_camera.get()
        };
        (is_known && view.registration == RegistrationKind::Projective).then_some(Self {
            part: factor * percent / 100.0,
            mark_sigma: view.reference.mark_sigma_px.unwrap_or_else(mark_sigma_px),
        })
    }

    /// Standard deviation of each row, render pixels at the distance of the farthest mark.
    pub(crate) fn sigma(&self, layout: &Layout, state: &State, noise: Noise) -> f64 {
        let centre = Point::new(layout.centre.x, layout.centre.y);
        let rectified = state.render_from_rectified.inverse().apply(centre);
        let reference = state.rectified_from_reference.inverse().apply(rectified);
        let jacobian = state.render_from_rectified.jacobian(rectified)
            * state.rectified_from_reference.jacobian(reference);
        let scale = jacobian.determinant().abs().sqrt();
        (self.part * layout.size).hypot(self.mark_sigma * noise.reference * scale)
    }

    /// Stretch, shear and keystone of the present map, in render pixels at the distance of the farthest mark.
    pub(crate) fn rows(&self, layout: &Layout, state: &State) -> [ShapeRow; 4] {
        let c = beyond_similarity(layout, state);
        let size = layout.size;
        let row = |deviation: f64, of: &[(usize, f64)]| {
            let mut by_global = DVector::zeros(layout.global_unknowns());
            for (k, d) in of {
                by_global[*k] = *d;
            }
            ShapeRow {
                by_global,
                deviation: deviation * size,
            }
        };
        [
            row((c[(0, 0)] - c[(1, 1)]) / 2.0, &[(0, 0.5), (3, -0.5)]),
            row((c[(0, 1)] + c[(1, 0)]) / 2.0, &[(1, 0.5), (2, 0.5)]),
            row(c[(2, 0)], &[(6, -1.0)]),
            row(c[(2, 1)], &[(7, -1.0)]),
        ]
    }
}

/// The registration after the similarity that is nearest to it at the marks' centre, on coordinates centred there and
/// scaled by their extent.
fn beyond_similarity(layout: &Layout, state: &State) -> Matrix3<f64> {
    let (s, centre) = (layout.size, layout.centre);
    let normalise = Matrix3::new(
        1.0 / s,
        0.0,
        -centre.x / s,
        0.0,
        1.0 / s,
        -centre.y / s,
        0.0,
        0.0,
        1.0,
    );
    let map = &state.render_from_rectified;
    let from = map.inverse().apply(Point::new(centre.x, centre.y));
    let j = map.jacobian(from) / s;
    let (a, b) = ((j[(0, 0)] + j[(1, 1)]) / 2.0, (j[(1, 0)] - j[(0, 1)]) / 2.0);
    let turn = Matrix2::new(a, -b, b, a);
    let shift = -(turn * Vector2::new(from.x, from.y));
    let similarity = Matrix3::new(a, -b, shift.x, b, a, shift.y, 0.0, 0.0, 1.0);
    let c = normalise * map.matrix() * similarity.try_inverse().unwrap_or_else(Matrix3::identity);
    c / c[(2, 2)]
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::frame::{FromReference, Projective};
    use nalgebra::Matrix3;

    fn layout() -> Layout {
        Layout {
            kind: RegistrationKind::Projective,
            centre: Vector2::new(700.0, 500.0),
            size: 600.0,
            rectification: None,
            is_rectification_free: false,
            parallax: None,
            anchors: Vec::new(),
        }
    }

    fn state(map: Matrix3<f64>) -> State {
        State {
            render_from_rectified: Projective::from_matrix(map).expect("a map"),
            rectified_from_reference: FromReference::identity(),
            numbers: Vec::new(),
            shift: [0.0; 3],
            regions: Vec::new(),
        }
    }

    const EXPECTED: ExpectedShape = ExpectedShape {
        part: 0.003,
        mark_sigma: 0.0,
    };

    #[test]
    fn a_similarity_is_as_expected() {
        let map = Matrix3::new(0.8, -0.3, 40.0, 0.3, 0.8, -90.0, 0.0, 0.0, 1.0);
        for row in EXPECTED.rows(&layout(), &state(map)) {
            assert!(row.deviation.abs() < 1e-9, "{}", row.deviation);
        }
    }

    #[test]
    fn the_derivative_is_the_difference_quotient() {
        let map = Matrix3::new(0.81, -0.31, 40.0, 0.29, 0.8, -90.0, 1e-5, -2e-5, 1.0);
        let (layout, state) = (layout(), state(map));
        let rows = EXPECTED.rows(&layout, &state);
        for k in 0..8 {
            let mut step = [0.0; 8];
            step[k] = 1e-3;
            let moved = state.changed(&layout, &step, &[]).expect("a small change");
            for (before, after) in rows.iter().zip(EXPECTED.rows(&layout, &moved)) {
                let quotient = (after.deviation - before.deviation) / 1e-3;
                // First order about a map that is within a few per cent of a similarity.
                assert!((quotient - before.by_global[k]).abs() < 0.05, "unknown {k}");
            }
        }
    }

    #[test]
    fn what_is_expected_grows_with_the_noise_of_the_rectification() {
        let map = state(Matrix3::new(0.5, 0.0, 0.0, 0.0, 0.5, 0.0, 0.0, 0.0, 1.0));
        let noisy = ExpectedShape {
            mark_sigma: 4.0,
            ..EXPECTED
        };
        let sigma = |shape: ExpectedShape| shape.sigma(&layout(), &map, Noise::AS_STATED);
        assert!((sigma(EXPECTED) - 1.8).abs() < 1e-9);
        // Half a render pixel for each of the reference's.
        assert!((sigma(noisy) - 1.8_f64.hypot(2.0)).abs() < 1e-9);
    }
}
