//! How points at different depths move in the render when the camera stands elsewhere.
//!
//! A projective registration takes up the camera's turn, its focal length and the keystone of a screen, and what the move of
//! its centre does to the plane of the object's mean depth; what remains is the parallax of points before and behind it,
//! by three numbers for a perspective camera (the move in parts of its distance), two for an orthographic one (in render
//! pixels per pixel of depth). So the registration is the map that lays the pictures best over each other, and a point of
//! unknown depth is taken for one of mean depth.
//!
//! # Source
//! Pinhole camera with matrix `P = [A | -A C]`: R. Hartley and A. Zisserman, "Multiple View Geometry" (2nd ed., 2004),
//! eq. 6.7 and section 13.3 (plane and parallax): the plane stands across the camera's axis.
use nalgebra::{Matrix2xX, Matrix3, Vector2, Vector3};

/// How far a camera that stands elsewhere is expected to be from the render's, in parts of its distance (standard deviation).
pub(crate) const EXPECTED_MOVE: f64 = 0.05;

/// The render's camera, ready to be moved.
#[derive(Clone, Debug)]
pub(crate) enum Parallax {
    Perspective {
        matrix: Matrix3<f64>,
        centre: Vector3<f64>,
        /// Typical distance of the landmarks from the camera: the unit of its shift.
        distance: f64,
        /// Median of the landmarks' third projective coordinate: their depth along the camera's axis, in the matrix's unit.
        depth: f64,
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
        let mut depths: Vec<f64> = places
            .iter()
            .map(|p| (matrix * (Vector3::from(*p) - centre)).z)
            .collect();
        distances.sort_by(f64::total_cmp);
        depths.sort_by(f64::total_cmp);
        let [distance, depth] = [&distances, &depths].map(|all| all[all.len() / 2]);
        let is_sound = distance.is_finite() && distance > 0.0 && depth.is_finite() && depth != 0.0;
        is_sound.then_some(Self::Perspective {
            matrix,
            centre,
            distance,
            depth,
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
            Self::Perspective { .. } => EXPECTED_MOVE,
            Self::Orthographic { .. } => 0.04,
        }
    }

    /// How far the point appears moved in the render against one of mean depth that it covers, pixels.
    pub(crate) fn shift(&self, space: [f64; 3], by: &[f64; 3]) -> Vector2<f64> {
        match self {
            Self::Perspective { .. } => self.moved(space, by).map_or(Vector2::zeros(), |m| m.shift),
            Self::Orthographic { depth, middle } => {
                Vector2::new(by[0], by[1]) * (depth.dot(&Vector3::from(space)) - middle)
            }
        }
    }

    /// The derivative of [`Self::shift`] by its unknowns.
    pub(crate) fn derivative(&self, space: [f64; 3], by: &[f64; 3]) -> Matrix2xX<f64> {
        match self {
            Self::Perspective {
                matrix, distance, ..
            } => {
                let Some(m) = self.moved(space, by) else {
                    return Matrix2xX::zeros(3);
                };
                Matrix2xX::from_fn(3, |r, c| {
                    (matrix[(r, c)] - m.seen[r] * matrix[(2, c)]) * *distance * m.by_move
                })
            }
            Self::Orthographic { depth, middle } => {
                let z = depth.dot(&Vector3::from(space)) - middle;
                Matrix2xX::from_row_slice(&[z, 0.0, 0.0, z])
            }
        }
    }

    /// What a perspective camera that is moved `by` so much sees of a point.
    ///
    /// With `w = A b d`, the move in the camera's own axes, and `Z0` the mean depth, a point of mean depth that is seen at
    /// `p` goes to `(Z0 p - w) / (Z0 - w_z)`: a similarity, which the registration takes up. What is left of the move of a
    /// point of depth `Z` that goes to `y` is `(y (Z0 - w_z) + w) / Z0 - p`, zero for `Z = Z0`.
    fn moved(&self, space: [f64; 3], by: &[f64; 3]) -> Option<Moved> {
        let Self::Perspective {
            matrix,
            centre,
            distance,
            depth,
        } = self
        else {
            return None;
        };
        let own = matrix * (Vector3::from(space) - centre);
        let moved_by = matrix * Vector3::from(*by) * *distance;
        let seen = projected(&(own - moved_by));
        let ratio = (depth - moved_by.z) / (own.z - moved_by.z);
        Some(Moved {
            shift: (seen * (depth - moved_by.z) + moved_by.xy()) / *depth - projected(&own),
            by_move: (1.0 - ratio) / *depth,
            seen,
        })
    }
}

/// A point as a moved camera sees it.
struct Moved {
    shift: Vector2<f64>,
    /// Where it is seen, before the registration takes its part off.
    seen: Vector2<f64>,
    /// How much of a move shows: `(1 - (Z0 - w_z) / (Z - w_z)) / Z0`.
    by_move: f64,
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
    fn a_point_of_mean_depth_does_not_move_and_others_go_by_inverse_depth() {
        let parallax = Parallax::new(&PERSPECTIVE, &PLACES).expect("a camera");
        // Third coordinates 60 + z: 63, 69, 52; the median is 63.
        let by = [0.03, -0.02, 0.04];
        assert!(parallax.shift([7.0, -5.0, 3.0], &by).norm() < 1e-9);
        // A move across the axis alone: f t (1/Z0 - 1/Z), here t = 0.03 of the median distance.
        let centre = Vector3::new(
            -9000.0 / 1500.0 + 720.0 * 60.0 / 1500.0,
            4000.0 / 1500.0 + 540.0 * 60.0 / 1500.0,
            -60.0,
        );
        let mut distances = PLACES.map(|p| (Vector3::from(p) - centre).norm());
        distances.sort_by(f64::total_cmp);
        let expected = 1500.0 * 0.03 * distances[1] * (1.0 / 63.0 - 1.0 / 69.0);
        let shift = parallax.shift(PLACES[1], &[0.03, 0.0, 0.0]);
        assert!(
            (shift.x - expected).abs() < 1e-9 && shift.y.abs() < 1e-9,
            "{shift} {expected}"
        );
    }

    #[test]
    fn a_camera_that_has_not_moved_moves_nothing() {
        let parallax = Parallax::new(&PERSPECTIVE, &PLACES).expect("a camera");
        // Rounding of numbers about 1000.
        assert!(parallax.shift(PLACES[2], &[0.0; 3]).norm() < 1e-9);
    }

    #[test]
    fn a_camera_without_rank_is_refused() {
        assert!(Parallax::new(&[[0.0; 4]; 3], &PLACES).is_none());
        assert!(Parallax::new(&PERSPECTIVE, &[]).is_none());
    }
}
