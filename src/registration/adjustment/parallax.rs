//! How points at different depths move in the render when the camera stands elsewhere.
//!
//! A projective registration takes up the camera's turn, its focal length and the keystone of a screen; what remains is
//! the move of its centre: three numbers for a perspective camera (in parts of its distance), two for an orthographic
//! one (in render pixels per pixel of depth).
//!
//! # Source
//! Pinhole camera with matrix `P = [A | -A C]`: R. Hartley and A. Zisserman, "Multiple View Geometry" (2nd ed., 2004),
//! eq. 6.7 and section 13.3 (plane and parallax).
use nalgebra::{Matrix2xX, Matrix3, Vector2, Vector3};

/// The render's camera, ready to be moved.
#[derive(Clone, Debug)]
pub(crate) enum Parallax {
    Perspective {
        matrix: Matrix3<f64>,
        centre: Vector3<f64>,
        /// Typical distance of the landmarks from the camera: the unit of its shift.
        distance: f64,
    },
    Orthographic {
        /// Depth in pixels = `depth . X - middle`.
        depth: Vector3<f64>,
        middle: f64,
    },
}

impl Parallax {
    /// From a 3 x 4 camera matrix and the landmarks' places on the model. `None` where the matrix has no rank for it
    /// or no landmark has a place.
    pub(crate) fn new(camera: &[[f64; 4]; 3], places: &[[f64; 3]]) -> Option<Self> {
        if places.is_empty() {
            return None;
        }
        let matrix = Matrix3::from_fn(|r, c| camera[r][c]);
        let last = Vector3::new(camera[0][3], camera[1][3], camera[2][3]);
        let is_orthographic = matrix.row(2).norm() < 1e-12 * matrix.norm();
        if is_orthographic {
            let (x, y): (Vector3<f64>, Vector3<f64>) =
                (matrix.row(0).transpose(), matrix.row(1).transpose());
            let scale = x.norm() / camera[2][3].abs();
            let axis = x.cross(&y).try_normalize(1e-12)? * scale;
            let middle = places
                .iter()
                .map(|p| axis.dot(&Vector3::from(*p)))
                .sum::<f64>()
                / places.len() as f64;
            return (scale.is_finite()).then_some(Self::Orthographic {
                depth: axis,
                middle,
            });
        }
        let centre = -(matrix.try_inverse()? * last);
        let mut distances: Vec<f64> = places
            .iter()
            .map(|p| (Vector3::from(*p) - centre).norm())
            .collect();
        distances.sort_by(f64::total_cmp);
        let distance = distances[distances.len() / 2];
        (distance.is_finite() && distance > 0.0).then_some(Self::Perspective {
            matrix,
            centre,
            distance,
        })
    }

    /// Number of unknowns.
    pub(crate) fn unknowns(&self) -> usize {
        match self {
            Self::Perspective { .. } => 3,
            Self::Orthographic { .. } => 2,
        }
    }

    /// What is expected of each unknown beforehand: a camera 5 % of its distance away, or as much tilt.
    pub(crate) fn expected_deviation(&self) -> f64 {
        match self {
            Self::Perspective { .. } => 0.05,
            Self::Orthographic { .. } => 0.04,
        }
    }

    /// How far the point appears moved in the render, pixels.
    pub(crate) fn shift(&self, space: [f64; 3], by: &[f64; 3]) -> Vector2<f64> {
        let space = Vector3::from(space);
        match self {
            Self::Perspective {
                matrix,
                centre,
                distance,
            } => {
                let ray = space - centre;
                projected(&(matrix * (ray - Vector3::from(*by) * *distance)))
                    - projected(&(matrix * ray))
            }
            Self::Orthographic { depth, middle } => {
                Vector2::new(by[0], by[1]) * (depth.dot(&space) - middle)
            }
        }
    }

    /// The derivative of [`Self::shift`] by its unknowns.
    pub(crate) fn derivative(&self, space: [f64; 3], by: &[f64; 3]) -> Matrix2xX<f64> {
        let space = Vector3::from(space);
        match self {
            Self::Perspective {
                matrix,
                centre,
                distance,
            } => {
                let v = matrix * (space - centre - Vector3::from(*by) * *distance);
                let p = projected(&v);
                Matrix2xX::from_fn(3, |r, c| {
                    -(matrix[(r, c)] - p[r] * matrix[(2, c)]) * *distance / v.z
                })
            }
            Self::Orthographic { depth, middle } => {
                let z = depth.dot(&space) - middle;
                Matrix2xX::from_row_slice(&[z, 0.0, 0.0, z])
            }
        }
    }
}

fn projected(v: &Vector3<f64>) -> Vector2<f64> {
    Vector2::new(v.x / v.z, v.y / v.z)
}

#[cfg(test)]
mod tests {
    use super::*;

    const PERSPECTIVE: [[f64; 4]; 3] = [
        [1500.0, 0.0, 720.0, 9000.0],
        [0.0, 1500.0, 540.0, -4000.0],
        [0.0, 0.0, 1.0, 60.0],
    ];
    const ORTHOGRAPHIC: [[f64; 4]; 3] = [
        [20.0, 0.0, 5.0, 400.0],
        [0.0, 20.0, 0.0, 300.0],
        [0.0, 0.0, 0.0, 1.0],
    ];
    const PLACES: [[f64; 3]; 3] = [[1.0, 2.0, 3.0], [-10.0, 4.0, 9.0], [5.0, -6.0, -8.0]];

    #[test]
    fn the_derivative_is_the_difference_quotient() {
        for camera in [PERSPECTIVE, ORTHOGRAPHIC] {
            let parallax = Parallax::new(&camera, &PLACES).expect("a camera");
            let by = [
                0.02,
                -0.01,
                if parallax.unknowns() == 3 { 0.03 } else { 0.0 },
            ];
            let d = parallax.derivative(PLACES[1], &by);
            for k in 0..parallax.unknowns() {
                let step = |h: f64| {
                    let mut moved = by;
                    moved[k] += h;
                    parallax.shift(PLACES[1], &moved)
                };
                let quotient = (step(1e-6) - step(-1e-6)) / 2e-6;
                assert!((quotient - d.column(k)).norm() < 1e-4 * (1.0 + d.column(k).norm()));
            }
        }
    }

    #[test]
    fn a_camera_that_has_not_moved_moves_nothing() {
        let parallax = Parallax::new(&PERSPECTIVE, &PLACES).expect("a camera");
        assert_eq!(parallax.shift(PLACES[2], &[0.0; 3]), Vector2::zeros());
    }

    #[test]
    fn a_camera_without_rank_is_refused() {
        assert!(Parallax::new(&[[0.0; 4]; 3], &PLACES).is_none());
        assert!(Parallax::new(&PERSPECTIVE, &[]).is_none());
    }
}
