//! How the places of marks lie in space: what a camera can be told from.
use super::{settings::SPACE, start::Extents};
use nalgebra::Vector3;

/// How places lie.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Shape {
    /// On one point, or on a line.
    Line,
    /// In a plane.
    Plane(Plane),
    /// In a plane or so nearly that a camera is told badly.
    NearlyPlane(Plane),
    /// In all three directions.
    Space,
}

/// The plane through places.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Plane {
    /// The middle of the places, millimetres.
    pub middle: [f64; 3],
    /// Across the plane, of length 1.
    pub normal: [f64; 3],
}

impl Plane {
    /// How far a place lies off the plane, millimetres.
    pub fn off(&self, place: [f64; 3]) -> f64 {
        let along = |k: usize| (place[k] - self.middle[k]) * self.normal[k];
        (along(0) + along(1) + along(2)).abs()
    }
}

impl Shape {
    /// How these places lie; fewer than two are a line, three always a plane.
    pub fn of(places: &[[f64; 3]]) -> Self {
        let points: Vec<Vector3<f64>> = places.iter().map(|p| Vector3::from(*p)).collect();
        let extents = Extents::of(&points);
        let is_point = extents.along[0].is_nan() || extents.along[0] <= 1e-9;
        if points.len() < 2 || is_point || extents.is_line() {
            return Self::Line;
        }
        let plane = Plane {
            middle: extents.mean.into(),
            normal: extents.axes.row(2).transpose().into(),
        };
        if extents.is_flat() {
            Self::Plane(plane)
        } else if extents.along[2] < SPACE.nearly_flat.get() * extents.along[0] {
            Self::NearlyPlane(plane)
        } else {
            Self::Space
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Corners of a plate of 100 mm by 60 mm that is `thick`, turned about all axes.
    fn plate(thick: f64) -> Vec<[f64; 3]> {
        let turn = nalgebra::Rotation3::from_euler_angles(0.3, -0.8, 1.1);
        let corner = |k: usize| {
            let side = |axis: usize, length: f64| if k >> axis & 1 == 1 { length } else { 0.0 };
            (turn * Vector3::new(side(0, 100.0), side(1, 60.0), side(2, thick))).into()
        };
        (0..8).map(corner).collect()
    }

    #[test]
    fn places_in_a_plane_are_told_from_those_in_space() {
        assert!(matches!(Shape::of(&plate(0.0)), Shape::Plane(_)));
        assert!(matches!(Shape::of(&plate(1.0)), Shape::Plane(_)));
        let Shape::NearlyPlane(plane) = Shape::of(&plate(5.0)) else {
            panic!("{:?}", Shape::of(&plate(5.0)));
        };
        for place in plate(5.0) {
            assert!((plane.off(place) - 2.5).abs() < 1e-9);
        }
        assert_eq!(Shape::of(&plate(30.0)), Shape::Space);
    }

    #[test]
    fn few_places_and_those_of_one_edge_are_a_line() {
        let all = plate(30.0);
        assert_eq!(Shape::of(&[]), Shape::Line);
        assert_eq!(Shape::of(&all[..1]), Shape::Line);
        assert_eq!(Shape::of(&all[..2]), Shape::Line);
        assert_eq!(Shape::of(&[all[0]; 4]), Shape::Line);
        assert!(matches!(Shape::of(&all[..3]), Shape::Plane(_)));
    }
}
