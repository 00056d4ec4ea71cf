//! Points on the model in space, and cameras as matrices that take them to a picture.
use super::{Frame, Point, Projective};
use nalgebra::{Matrix3x4, Vector3, Vector4};
use std::marker::PhantomData;

/// A point on the model, millimetres along the axes of its CAD file.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct ModelPoint(pub [f64; 3]);

impl ModelPoint {
    pub(crate) fn vector(self) -> Vector3<f64> {
        Vector3::from(self.0)
    }
}

impl From<Vector3<f64>> for ModelPoint {
    fn from(v: Vector3<f64>) -> Self {
        Self([v.x, v.y, v.z])
    }
}

/// A camera: three rows of four numbers that take model millimetres (x, y, z, 1) to a picture, homogeneous. A parallel
/// projection is one, with a last row of (0, 0, 0, 1).
///
/// # Guarantees
/// The numbers are finite.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct CameraMatrix<To> {
    matrix: Matrix3x4<f64>,
    frame: PhantomData<To>,
}

impl<To: Frame> CameraMatrix<To> {
    /// The camera with this matrix; `None` where a number is not finite.
    pub(crate) fn new(matrix: Matrix3x4<f64>) -> Option<Self> {
        let is_finite = matrix.iter().all(|v| v.is_finite());
        is_finite.then_some(Self {
            matrix,
            frame: PhantomData,
        })
    }

    /// The same picture in another frame.
    pub(crate) fn then<Next: Frame>(&self, next: &Projective<Next, To>) -> CameraMatrix<Next> {
        CameraMatrix {
            matrix: next.matrix() * self.matrix,
            frame: PhantomData,
        }
    }

    /// Row by row.
    pub fn rows(&self) -> [[f64; 4]; 3] {
        std::array::from_fn(|row| std::array::from_fn(|column| self.matrix[(row, column)]))
    }

    /// Where the camera shows a point; `None` for a point that lies not before it.
    pub fn apply(&self, p: ModelPoint) -> Option<Point<To>> {
        let [x, y, z] = p.0;
        let shown = self.matrix * Vector4::new(x, y, z, 1.0);
        (shown.z > 0.0).then(|| Point::new(shown.x / shown.z, shown.y / shown.z))
    }
}
