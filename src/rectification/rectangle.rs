//! The rectangle that four corners become, and its width over height where only the view can tell it.
//!
//! # Source
//! Z. Zhang and L.-W. He, "Whiteboard scanning and image enhancement", Digital Signal Processing 17 (2007), section 4.2:
//! focal length and aspect of a rectangle from one view, the principal point being known (eqs. 11, 12, 14, 16, 20, 21).
use crate::frame::{Frame, Point, Projective, RectifiedPx, UndistortedPx, fit};
use nalgebra::Vector3;

/// The rectangle that the four corners become: as many pixels wide and high as its sides are long in the picture, on
/// average, with its aspect; its top left corner at (0, 0).
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct RectifiedRectangle {
    /// Width, rectified pixels.
    pub width: f64,
    /// Height, rectified pixels.
    pub height: f64,
}

impl RectifiedRectangle {
    /// The rectangle for these corners: its area in pixels is the mean of what the widths and the heights ask for.
    pub(crate) fn of<F: Frame>(corners: &[Point<F>; 4], aspect: f64) -> Self {
        Self::of_area(area_side(corners), aspect)
    }

    /// The rectangle as large as a square with sides of `side`.
    pub(super) fn of_area(side: f64, aspect: f64) -> Self {
        let root = aspect.sqrt();
        Self {
            width: side * root,
            height: side / root,
        }
    }

    fn corners(self) -> [[f64; 2]; 4] {
        [
            [0.0, 0.0],
            [self.width, 0.0],
            [self.width, self.height],
            [0.0, self.height],
        ]
    }

    /// The map that takes the corners to the rectangle; `None` where three corners lie on one line.
    pub(crate) fn map_for<F: Frame>(
        self,
        corners: &[Point<F>; 4],
    ) -> Option<Projective<RectifiedPx, F>> {
        let from = corners.map(Point::xy);
        fit::projective(&from, &self.corners()).and_then(Projective::from_matrix)
    }
}

/// Side of the square with the area that these corners ask for, pixels.
pub(super) fn area_side<F: Frame>(corners: &[Point<F>; 4]) -> f64 {
    let [a, b, c, d] = *corners;
    let width = (a.distance(b) + d.distance(c)) / 2.0;
    let height = (a.distance(d) + b.distance(c)) / 2.0;
    (width * height).sqrt()
}

/// What one view tells of a rectangle.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Seen {
    /// Width over height.
    pub(super) aspect: f64,
    /// Focal length, pixels.
    pub(super) focal: f64,
}

/// Width over height of the rectangle with these corners, and the focal length, for a camera with square pixels whose axis
/// meets the picture at `axis`. `None` where a vanishing point lies at infinity or no focal length fits.
pub(super) fn seen(
    corners: &[Point<UndistortedPx>; 4],
    axis: Point<UndistortedPx>,
) -> Option<Seen> {
    // Pixels in units of the rectangle's size keep the numbers near 1.
    let unit = area_side(corners);
    let ray = |k: usize| {
        let p = corners[k];
        Vector3::new((p.x - axis.x) / unit, (p.y - axis.y) / unit, 1.0)
    };
    // m1 to m4 of the source: top left, top right, bottom left, bottom right.
    let (m1, m2, m3, m4) = (ray(0), ray(1), ray(3), ray(2));
    let k2 = m1.cross(&m4).dot(&m3) / m2.cross(&m4).dot(&m3);
    let k3 = m1.cross(&m4).dot(&m2) / m3.cross(&m4).dot(&m2);
    let (n2, n3) = (k2 * m2 - m1, k3 * m3 - m1);
    let square = -(n2.x * n3.x + n2.y * n3.y) / (n2.z * n3.z);
    if !(square.is_finite() && square > 0.0) {
        return None;
    }
    let length = |n: &Vector3<f64>| (n.x * n.x + n.y * n.y + square * n.z * n.z).sqrt();
    let aspect = length(&n2) / length(&n3);
    (aspect.is_finite() && aspect > 0.0).then(|| Seen {
        aspect,
        focal: square.sqrt() * unit,
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::{frame::ReferencePx, rectification::tests::Camera};

    #[test]
    fn the_corners_become_a_rectangle_of_the_known_aspect() {
        let corners: [Point<ReferencePx>; 4] = [
            [412.0, 305.0],
            [3610.0, 198.0],
            [3688.0, 2120.0],
            [377.0, 2011.0],
        ]
        .map(|[x, y]| Point::new(x, y));
        let rectangle = RectifiedRectangle::of(&corners, 16.0 / 9.0);
        let map = rectangle.map_for(&corners).expect("a proper quadrilateral");
        let c = corners.map(|p| map.apply(p));
        let width = c[0].distance(c[1]);
        let height = c[0].distance(c[3]);
        assert!((width / height - 16.0 / 9.0).abs() < 1e-9);
        assert!(
            (c[2].x - rectangle.width).abs() < 1e-6 && (c[2].y - rectangle.height).abs() < 1e-6
        );
    }

    #[test]
    fn aspect_and_focal_length_are_found_from_one_view() {
        for (aspect, turned) in [(16.0 / 9.0, [0.5, -0.6, 0.1]), (0.7, [-0.4, 0.3, -0.2])] {
            let camera = Camera::turned(turned);
            let corners = camera.rectangle(aspect).map(|[x, y]| Point::new(x, y));
            let found = seen(&corners, Point::new(960.0, 540.0)).expect("well off the axis");
            // Rounding, made larger by the division of near-equal numbers.
            assert!((found.aspect - aspect).abs() < 1e-9, "{found:?}");
            assert!((found.focal - 2000.0).abs() < 1e-5, "{found:?}");
        }
    }
}
