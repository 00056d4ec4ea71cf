//! Points and transforms that know which image they belong to.
//!
//! All frames are continuous image coordinates: the top left corner of the top left pixel is (0, 0), its centre
//! (0.5, 0.5), x runs right, y down, and a positive angle turns clockwise on the screen.
//!
//! ```
//! use tickstrip::frame::*;
//! let render_from_rectified = Projective::<RenderPx, RectifiedPx>::similarity(2.0, 0.0, [10.0, 0.0]);
//! let eye_in_rectified = Point::<RectifiedPx>::new(10.0, 20.0);
//! let eye_in_render: Point<RenderPx> = render_from_rectified.apply(eye_in_rectified);
//! assert_eq!((eye_in_render.x, eye_in_render.y), (30.0, 40.0));
//! ```
//! A point of the wrong frame does not compile:
//! ```compile_fail
//! use tickstrip::frame::*;
//! let render_from_rectified = Projective::<RenderPx, RectifiedPx>::similarity(2.0, 0.0, [10.0, 0.0]);
//! let eye_in_render = Point::<RenderPx>::new(10.0, 20.0);
//! let _ = render_from_rectified.apply(eye_in_render);
//! ```
pub(crate) mod fit;
mod lens;
mod space;
#[cfg(test)]
pub(crate) mod truth;

pub use lens::{FromReference, IntoReference, Lens};
pub use space::{CameraMatrix, ModelPoint};

use nalgebra::{Matrix2, Matrix3, Vector3};
use std::{fmt::Debug, marker::PhantomData};

/// A coordinate frame: which image or page, and in which unit.
pub trait Frame: Copy + Debug + PartialEq + Send + Sync + 'static {
    /// The name that messages use, as in "outside the reference".
    const NAME: &'static str;
}

macro_rules! frames { ($($(#[$doc:meta])* $name:ident = $text:literal;)+) => {$(
    $(#[$doc])* #[derive(Clone, Copy, Debug, PartialEq)] pub struct $name;
    impl Frame for $name { const NAME: &'static str = $text; }
)+}; }

frames! {
    /// Native pixels of the render, upright.
    RenderPx = "render";
    /// Native pixels of the reference as it is on disk, upright.
    ReferencePx = "reference";
    /// Pixels of the reference once the lens' distortion is taken off (the same as [`ReferencePx`] where none is known).
    UndistortedPx = "reference without its lens' distortion";
    /// Pixels of the rectified reference (the same as [`ReferencePx`] where nothing is rectified).
    RectifiedPx = "rectified reference";
    /// Pixels of the working grid: the render, reduced by a whole-image factor where it is very large.
    WorkPx = "working grid";
    /// Pixels of a tile of a picture that a page shows.
    TilePx = "tile";
    /// Full-size millimetres in the plane of a reference that is measured alone, turn and stretch taken off; rectified pixels where
    /// nothing tells a scale.
    PlainMm = "plane of the reference";
    /// Millimetres on the printed sheet.
    SheetMm = "sheet";
}

/// A point in the frame `F`.
#[derive(Clone, Copy, PartialEq)]
pub struct Point<F> {
    /// To the right.
    pub x: f64,
    /// Down.
    pub y: f64,
    frame: PhantomData<F>,
}

impl<F: Frame> Debug for Point<F> {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        write!(f, "({}, {}) in the {}", self.x, self.y, F::NAME)
    }
}

impl<F: Frame> Point<F> {
    /// The point (`x`, `y`).
    pub const fn new(x: f64, y: f64) -> Self {
        Self {
            x,
            y,
            frame: PhantomData,
        }
    }

    /// Both coordinates, x first.
    pub const fn xy(self) -> [f64; 2] {
        [self.x, self.y]
    }

    /// The distance to another point of the same frame, in the frame's unit.
    pub fn distance(self, other: Self) -> f64 {
        (self.x - other.x).hypot(self.y - other.y)
    }
}

/// A plane projective map (homography): `x_in_to ~ matrix * x_in_from`, in homogeneous coordinates.
///
/// Similarities and affine maps are special cases, with a last row of (0, 0, 1).
///
/// # Guarantees
/// The matrix is finite and can be inverted.
#[derive(Clone, Copy, PartialEq)]
pub struct Projective<To, From> {
    matrix: Matrix3<f64>,
    frames: PhantomData<(To, From)>,
}

impl<To: Frame, From: Frame> Debug for Projective<To, From> {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        write!(f, "{} from {}: {:?}", To::NAME, From::NAME, self.rows())
    }
}

impl<To: Frame, From: Frame> Projective<To, From> {
    /// The map with this matrix, or `None` where the matrix is not finite or cannot be inverted.
    ///
    /// The matrix is scaled so that its last element is 1 where that element is not (nearly) zero.
    pub fn from_matrix(matrix: Matrix3<f64>) -> Option<Self> {
        let size = matrix.norm();
        if !size.is_finite() || size == 0.0 || matrix.determinant() == 0.0 {
            return None;
        }
        let last = matrix[(2, 2)];
        let divisor = if last.abs() > 1e-12 * size {
            last
        } else {
            size
        };
        let matrix = matrix / divisor;
        matrix.try_inverse()?;
        Some(Self {
            matrix,
            frames: PhantomData,
        })
    }

    /// The map that changes nothing but the frame.
    pub fn identity() -> Self {
        Self {
            matrix: Matrix3::identity(),
            frames: PhantomData,
        }
    }

    /// `x_in_to = scale * R(angle) x_in_from + shift`, the angle in radians, clockwise on the screen.
    ///
    /// # Panics
    /// Where `scale` is 0 or an argument is not finite.
    pub fn similarity(scale: f64, angle: f64, shift: [f64; 2]) -> Self {
        let (a, b) = (scale * angle.cos(), scale * angle.sin());
        Self::from_matrix(Matrix3::new(a, -b, shift[0], b, a, shift[1], 0.0, 0.0, 1.0))
            .expect("a similarity with a scale other than 0 can be inverted")
    }

    /// The 3 x 3 matrix, row by row.
    pub fn rows(&self) -> [[f64; 3]; 3] {
        std::array::from_fn(|r| std::array::from_fn(|c| self.matrix[(r, c)]))
    }

    /// The 3 x 3 matrix.
    pub fn matrix(&self) -> &Matrix3<f64> {
        &self.matrix
    }

    /// The image of a point. Points on the horizon come out as infinite or NaN.
    pub fn apply(&self, p: Point<From>) -> Point<To> {
        let v = self.matrix * Vector3::new(p.x, p.y, 1.0);
        Point::new(v.x / v.z, v.y / v.z)
    }

    /// The homogeneous third coordinate at a point: its sign tells on which side of the horizon the point lies.
    fn depth(&self, p: Point<From>) -> f64 {
        self.matrix[(2, 0)] * p.x + self.matrix[(2, 1)] * p.y + self.matrix[(2, 2)]
    }

    /// The derivative of [`Self::apply`] at a point: rows are (x, y) of the image, columns (x, y) of the point.
    pub fn jacobian(&self, p: Point<From>) -> Matrix2<f64> {
        let m = &self.matrix;
        let w = self.depth(p);
        let q = self.apply(p);
        Matrix2::new(
            (m[(0, 0)] - q.x * m[(2, 0)]) / w,
            (m[(0, 1)] - q.x * m[(2, 1)]) / w,
            (m[(1, 0)] - q.y * m[(2, 0)]) / w,
            (m[(1, 1)] - q.y * m[(2, 1)]) / w,
        )
    }

    /// The map back.
    pub fn inverse(&self) -> Projective<From, To> {
        let matrix = self
            .matrix
            .try_inverse()
            .expect("a Projective can always be inverted");
        Projective::from_matrix(matrix).expect("the inverse of an invertible matrix is invertible")
    }

    /// First `first`, then this map.
    pub fn after<A: Frame>(&self, first: &Projective<From, A>) -> Projective<To, A> {
        Projective::from_matrix(self.matrix * first.matrix)
            .expect("the product of invertible matrices is invertible")
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn sample() -> Projective<RenderPx, ReferencePx> {
        Projective::from_matrix(Matrix3::new(
            1.1, 0.1, 5.0, -0.05, 0.9, -3.0, 1e-4, -2e-4, 1.0,
        ))
        .expect("invertible")
    }

    #[test]
    fn the_inverse_returns_the_point() {
        let map = sample();
        let p = Point::new(310.0, 205.0);
        let back = map.inverse().apply(map.apply(p));
        assert!(back.distance(p) < 1e-10);
    }

    #[test]
    fn composition_is_one_map_after_the_other() {
        let map = sample();
        let first = Projective::<ReferencePx, RectifiedPx>::similarity(0.5, 0.3, [7.0, 8.0]);
        let p = Point::<RectifiedPx>::new(20.0, 30.0);
        let both = map.after(&first).apply(p);
        assert!(both.distance(map.apply(first.apply(p))) < 1e-10);
    }

    #[test]
    fn the_jacobian_is_the_difference_quotient() {
        let map = sample();
        let j = map.jacobian(Point::new(100.0, 50.0));
        let h = 1e-4;
        let dx = (map.apply(Point::new(100.0 + h, 50.0)).x
            - map.apply(Point::new(100.0 - h, 50.0)).x)
            / (2.0 * h);
        let dy = (map.apply(Point::new(100.0, 50.0 + h)).y
            - map.apply(Point::new(100.0, 50.0 - h)).y)
            / (2.0 * h);
        assert!((j[(0, 0)] - dx).abs() < 1e-8 && (j[(1, 1)] - dy).abs() < 1e-8);
    }

    #[test]
    fn singular_and_infinite_matrices_are_refused() {
        assert!(Projective::<RenderPx, ReferencePx>::from_matrix(Matrix3::zeros()).is_none());
        let nan = Matrix3::from_element(f64::NAN);
        assert!(Projective::<RenderPx, ReferencePx>::from_matrix(nan).is_none());
    }

    #[test]
    fn positive_angles_turn_clockwise_on_the_screen() {
        let quarter = Projective::<RenderPx, ReferencePx>::similarity(
            1.0,
            std::f64::consts::FRAC_PI_2,
            [0.0, 0.0],
        );
        let right_becomes_down = quarter.apply(Point::new(1.0, 0.0));
        assert!((right_becomes_down.y - 1.0).abs() < 1e-12);
    }
}
