//! A lens with one coefficient of distortion, and the maps out of and into a reference that was taken through it.
//!
//! # Source
//! A. Fitzgibbon, "Simultaneous linear estimation of multiple view geometry and lens distortion", CVPR (2001), eq. 2: the
//! division model `x_undistorted = x / (1 + lambda r^2)`, `x` and `r` being measured from the centre of distortion.
use super::{Frame, Point, Projective, ReferencePx, UndistortedPx};
use nalgebra::Matrix2;

/// A lens that bends straight lines about a centre.
///
/// The coefficient (`lambda`) belongs to radii in units of [`Lens::radius`]: below 0 for barrel distortion, above 0 for
/// pincushion. At 0 the lens changes nothing, to the last bit.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Lens {
    coefficient: f64,
    centre: Point<ReferencePx>,
    radius: f64,
}

impl Lens {
    /// Largest magnitude of a coefficient: beyond it the corners of the picture would have no place.
    pub const MOST: f64 = 0.8;

    /// A lens that bends nothing.
    pub const fn none() -> Self {
        Self {
            coefficient: 0.0,
            centre: Point::new(0.0, 0.0),
            radius: 1.0,
        }
    }

    /// The lens of a picture of this size: its centre of distortion is the picture's, radii are in half diagonals.
    /// `None` where the coefficient is beyond [`Self::MOST`] or not a number.
    pub fn of_picture(coefficient: f64, (width, height): (u32, u32)) -> Option<Self> {
        let (width, height) = (f64::from(width), f64::from(height));
        (coefficient.abs() <= Self::MOST).then(|| Self {
            coefficient,
            centre: Point::new(width / 2.0, height / 2.0),
            radius: width.hypot(height) / 2.0,
        })
    }

    /// `lambda`, for radii in units of [`Self::radius`].
    pub const fn coefficient(&self) -> f64 {
        self.coefficient
    }

    /// The centre of distortion.
    pub const fn centre(&self) -> Point<ReferencePx> {
        self.centre
    }

    /// The unit of radii, pixels.
    pub const fn radius(&self) -> f64 {
        self.radius
    }

    /// Whether the lens changes nothing.
    pub fn is_none(&self) -> bool {
        self.coefficient == 0.0
    }

    /// Where the point would be without the distortion; not a number beyond the radius that the model reaches.
    pub fn undistort(&self, p: Point<ReferencePx>) -> Point<UndistortedPx> {
        if self.is_none() {
            return Point::new(p.x, p.y);
        }
        let (x, y) = (p.x - self.centre.x, p.y - self.centre.y);
        let divisor = 1.0 + self.coefficient * (x * x + y * y) / (self.radius * self.radius);
        let factor = if divisor > 0.0 {
            1.0 / divisor
        } else {
            f64::NAN
        };
        Point::new(self.centre.x + x * factor, self.centre.y + y * factor)
    }

    /// The derivative of [`Self::undistort`].
    pub fn jacobian(&self, p: Point<ReferencePx>) -> Matrix2<f64> {
        if self.is_none() {
            return Matrix2::identity();
        }
        let (x, y) = (p.x - self.centre.x, p.y - self.centre.y);
        let l = self.coefficient / (self.radius * self.radius);
        let divisor = 1.0 + l * (x * x + y * y);
        let square = divisor * divisor;
        let mixed = -2.0 * l * x * y / square;
        Matrix2::new(
            1.0 / divisor - 2.0 * l * x * x / square,
            mixed,
            mixed,
            1.0 / divisor - 2.0 * l * y * y / square,
        )
    }

    /// Where the lens shows a point: the inverse of [`Self::undistort`]; not a number where it shows it nowhere.
    pub fn distort(&self, p: Point<UndistortedPx>) -> Point<ReferencePx> {
        if self.is_none() {
            return Point::new(p.x, p.y);
        }
        let (x, y) = (p.x - self.centre.x, p.y - self.centre.y);
        let factor = self.distortion_factor((x * x + y * y) / (self.radius * self.radius));
        Point::new(self.centre.x + x * factor, self.centre.y + y * factor)
    }

    /// Distorted over undistorted radius, for the square of the undistorted one in units of [`Self::radius`]: the root of
    /// the division model's quadratic equation that is 1 in the centre.
    #[inline(always)]
    pub fn distortion_factor(&self, square: f64) -> f64 {
        2.0 / (1.0 + (1.0 - 4.0 * self.coefficient * square).sqrt())
    }
}

/// A map out of the reference: the lens is taken off, then a projective map follows.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct FromReference<To: Frame> {
    lens: Lens,
    map: Projective<To, UndistortedPx>,
}

impl<To: Frame> FromReference<To> {
    /// First `lens` is taken off, then `map` follows.
    pub const fn new(lens: Lens, map: Projective<To, UndistortedPx>) -> Self {
        Self { lens, map }
    }

    /// The map that changes nothing but the frame.
    pub fn identity() -> Self {
        Self::new(Lens::none(), Projective::identity())
    }

    /// What is taken off first.
    pub const fn lens(&self) -> Lens {
        self.lens
    }

    /// What follows.
    pub const fn projective(&self) -> &Projective<To, UndistortedPx> {
        &self.map
    }

    /// The matrix of [`Self::projective`], row by row.
    pub fn rows(&self) -> [[f64; 3]; 3] {
        self.map.rows()
    }

    /// The image of a point. Points on the horizon, and such that the lens cannot have shown, come out as infinite or NaN.
    pub fn apply(&self, p: Point<ReferencePx>) -> Point<To> {
        self.map.apply(self.lens.undistort(p))
    }

    /// The derivative of [`Self::apply`].
    pub fn jacobian(&self, p: Point<ReferencePx>) -> Matrix2<f64> {
        if self.lens.is_none() {
            return self.map.jacobian(Point::new(p.x, p.y));
        }
        self.map.jacobian(self.lens.undistort(p)) * self.lens.jacobian(p)
    }

    /// This map, then `next`.
    pub fn then<Last: Frame>(&self, next: &Projective<Last, To>) -> FromReference<Last> {
        FromReference::new(self.lens, next.after(&self.map))
    }

    /// The map back.
    pub fn inverse(&self) -> IntoReference<To> {
        IntoReference {
            undistorted: self.map.inverse(),
            lens: self.lens,
        }
    }
}

impl<To: Frame> From<Projective<To, ReferencePx>> for FromReference<To> {
    /// Without a lens.
    fn from(map: Projective<To, ReferencePx>) -> Self {
        let from_undistorted = Projective::from_matrix(*map.matrix());
        Self::new(
            Lens::none(),
            from_undistorted.expect("it was a map before its frame changed"),
        )
    }
}

/// A map into the reference: a projective map, then the lens.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct IntoReference<From: Frame> {
    undistorted: Projective<UndistortedPx, From>,
    lens: Lens,
}

impl<From: Frame> IntoReference<From> {
    /// The lens that comes last.
    pub const fn lens(&self) -> Lens {
        self.lens
    }

    /// The projective map that comes first.
    pub const fn projective(&self) -> &Projective<UndistortedPx, From> {
        &self.undistorted
    }

    /// The matrix of the projective map that comes first, row by row.
    pub fn rows(&self) -> [[f64; 3]; 3] {
        self.undistorted.rows()
    }

    /// The image of a point; infinite or NaN where the reference cannot show it.
    pub fn apply(&self, p: Point<From>) -> Point<ReferencePx> {
        self.lens.distort(self.undistorted.apply(p))
    }

    /// First `first`, then this map.
    pub fn after<First: Frame>(&self, first: &Projective<From, First>) -> IntoReference<First> {
        IntoReference {
            undistorted: self.undistorted.after(first),
            lens: self.lens,
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::frame::RenderPx;

    fn lens(coefficient: f64) -> Lens {
        Lens::of_picture(coefficient, (1600, 1000)).expect("within the limits")
    }

    #[test]
    fn distorting_takes_undistorting_back() {
        for coefficient in [-0.3, -0.01, 0.0, 0.01, 0.2] {
            let lens = lens(coefficient);
            for (x, y) in [(3.0, 5.0), (800.0, 500.0), (1500.0, 20.0), (700.0, 990.0)] {
                let p = Point::new(x, y);
                // Rounding of numbers of a thousand.
                assert!(lens.distort(lens.undistort(p)).distance(p) < 1e-9, "{p:?}");
            }
        }
    }

    #[test]
    fn barrel_distortion_is_pushed_outwards_and_the_centre_stays() {
        let lens = lens(-0.2);
        let centre = Point::new(800.0, 500.0);
        assert_eq!(lens.undistort(centre).xy(), centre.xy());
        // By hand: at the corner the radius is 1, so the factor is 1 / (1 - 0.2).
        let corner = lens.undistort(Point::new(1600.0, 1000.0));
        assert!((corner.x - (800.0 + 800.0 / 0.8)).abs() < 1e-9);
    }

    #[test]
    fn no_lens_changes_no_bit() {
        let p = Point::new(0.1, 777.777_777_7);
        assert_eq!(lens(0.0).undistort(p).xy(), p.xy());
        let map = Projective::<RenderPx, ReferencePx>::similarity(1.3, 0.2, [4.0, 5.0]);
        let both = FromReference::from(map);
        assert_eq!(both.apply(p), map.apply(p));
        assert_eq!(both.jacobian(p), map.jacobian(p));
    }

    #[test]
    fn the_jacobian_is_the_difference_quotient() {
        let map = FromReference::new(
            lens(-0.25),
            Projective::<RenderPx, UndistortedPx>::similarity(1.3, 0.2, [4.0, 5.0]),
        );
        let (p, h) = (Point::new(300.0, 120.0), 1e-3);
        let j = map.jacobian(p);
        let (a, b) = (
            map.apply(Point::new(p.x + h, p.y)),
            map.apply(Point::new(p.x - h, p.y)),
        );
        // The quotient's own error, of third order, is far below.
        assert!((j[(0, 0)] - (a.x - b.x) / (2.0 * h)).abs() < 1e-7);
        assert!((j[(1, 0)] - (a.y - b.y) / (2.0 * h)).abs() < 1e-7);
        let back = map.inverse().apply(map.apply(p));
        assert!(back.distance(p) < 1e-9);
    }

    #[test]
    fn what_the_model_does_not_reach_is_no_number() {
        assert!(Lens::of_picture(0.9, (10, 10)).is_none());
        assert!(Lens::of_picture(f64::NAN, (10, 10)).is_none());
        assert!(lens(0.2).distort(Point::new(9000.0, 0.0)).x.is_nan());
        assert!(lens(-0.8).undistort(Point::new(9000.0, 0.0)).x.is_nan());
    }
}
