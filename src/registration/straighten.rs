//! Straightening by four corners of something known to be a rectangle.
use super::start;
use crate::{
    frame::{Point, Projective, ReferencePx, StraightPx},
    job::{RegistrationKind, Straighten},
};

/// The rectangle that the four corners become: as many pixels wide and high as its sides are long in the picture, on
/// average, with the known aspect; its top left corner at (0, 0).
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct StraightRectangle {
    /// Width, straightened pixels.
    pub width: f64,
    /// Height, straightened pixels.
    pub height: f64,
}

impl StraightRectangle {
    /// The rectangle for these corners: its area in pixels is the mean of what the widths and the heights ask for.
    pub fn of(straighten: &Straighten) -> Self {
        let [a, b, c, d] = straighten.corners;
        let width = (a.distance(b) + d.distance(c)) / 2.0;
        let height = (a.distance(d) + b.distance(c)) / 2.0;
        let area_side = (width * height).sqrt();
        let root = straighten.aspect.sqrt();
        Self {
            width: area_side * root,
            height: area_side / root,
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
    pub fn map_for(
        self,
        corners: &[Point<ReferencePx>; 4],
    ) -> Option<Projective<StraightPx, ReferencePx>> {
        let from = corners.map(Point::xy);
        start::fit(RegistrationKind::Projective, &from, &self.corners())
            .and_then(Projective::from_matrix)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_corners_become_a_rectangle_of_the_known_aspect() {
        let straighten = Straighten {
            corners: [
                [412.0, 305.0],
                [3610.0, 198.0],
                [3688.0, 2120.0],
                [377.0, 2011.0],
            ]
            .map(|[x, y]| Point::new(x, y)),
            aspect: 16.0 / 9.0,
        };
        let rectangle = StraightRectangle::of(&straighten);
        let map = rectangle
            .map_for(&straighten.corners)
            .expect("a proper quadrilateral");
        let c = straighten.corners.map(|p| map.apply(p));
        let width = c[0].distance(c[1]);
        let height = c[0].distance(c[3]);
        assert!((width / height - 16.0 / 9.0).abs() < 1e-9);
        assert!(
            (c[2].x - rectangle.width).abs() < 1e-6 && (c[2].y - rectangle.height).abs() < 1e-6
        );
    }
}
