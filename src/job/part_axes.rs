//! The axes of a part of the model: along which its width, depth and height are told, where they are not those of the model.

/// Directions that are off a right angle, or off a mirror image, by less are exact but for their digits, degrees: a direction with three
/// decimals is good to 0.05.
const DIGITS_DEG: f64 = 0.2;
/// Shorter and longer ones are no directions: their squares lose digits.
const LENGTHS: std::ops::RangeInclusive<f64> = 1e-9..=1e9;

/// The axes of a part: x along its width, y along its depth, z along its height.
///
/// # Guarantees
/// Three unit vectors at right angles to each other, right-handed, in the axes of the model.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct PartAxes([[f64; 3]; 3]);

/// Why directions are no axes.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) enum NoAxes {
    /// The width, or the height, has no direction.
    Width,
    Height,
    /// They meet at this angle, degrees.
    Angle(f64),
}

impl PartAxes {
    /// Those of the model.
    pub const OF_MODEL: Self = Self([[1.0, 0.0, 0.0], [0.0, 1.0, 0.0], [0.0, 0.0, 1.0]]);

    /// Width and height run along these directions, the depth at right angles to both, so that the three are right-handed. `None` where
    /// one of them has no direction, or they are not at right angles to each other.
    pub fn new(width: [f64; 3], height: [f64; 3]) -> Option<Self> {
        Self::checked(width, height).ok()
    }

    pub(super) fn checked(width: [f64; 3], height: [f64; 3]) -> Result<Self, NoAxes> {
        let x = unit(width).ok_or(NoAxes::Width)?;
        let z = unit(height).ok_or(NoAxes::Height)?;
        let along = dot(x, z);
        let degrees = along.clamp(-1.0, 1.0).acos().to_degrees();
        if (degrees - 90.0).abs() > DIGITS_DEG {
            return Err(NoAxes::Angle(degrees));
        }
        let square = std::array::from_fn(|k| z[k] - along * x[k]);
        let z = unit(square).ok_or(NoAxes::Angle(degrees))?;
        Ok(Self([x, cross(z, x), z]))
    }

    /// Its x, y and z, in the axes of the model.
    pub fn vectors(&self) -> [[f64; 3]; 3] {
        self.0
    }

    /// Whether these are the mirror image of others across a plane at right angles to an axis of the model, but for their direction.
    pub(super) fn mirror(&self, other: &Self, axis: usize) -> bool {
        let least = DIGITS_DEG.to_radians().cos();
        self.0.iter().zip(&other.0).all(|(own, other)| {
            let mut image = *own;
            image[axis] = -image[axis];
            dot(image, *other).abs() >= least
        })
    }
}

fn dot(a: [f64; 3], b: [f64; 3]) -> f64 {
    a.iter().zip(b).map(|(a, b)| a * b).sum()
}

fn cross(a: [f64; 3], b: [f64; 3]) -> [f64; 3] {
    std::array::from_fn(|k| {
        let (next, last) = ((k + 1) % 3, (k + 2) % 3);
        a[next] * b[last] - a[last] * b[next]
    })
}

fn unit(vector: [f64; 3]) -> Option<[f64; 3]> {
    let length = dot(vector, vector).sqrt();
    LENGTHS
        .contains(&length)
        .then(|| vector.map(|v| v / length))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn axes_are_a_turn_whatever_the_lengths_of_the_directions() {
        let axes = PartAxes::new([2.0, 0.0, 0.0], [0.0, 0.0, 0.5]).expect("axes");
        assert_eq!(axes, PartAxes::OF_MODEL);
        let axes = PartAxes::new([0.94, 0.342, 0.0], [0.0, 0.0, 7.0]).expect("axes");
        let [x, y, z] = axes.vectors();
        for (a, b) in [(x, y), (y, z), (z, x)] {
            assert!(dot(a, b).abs() < 1e-12 && (dot(a, a) - 1.0).abs() < 1e-12);
        }
        assert!((dot(cross(x, y), z) - 1.0).abs() < 1e-12);
    }

    #[test]
    fn what_is_off_a_right_angle_by_more_than_its_digits_is_refused() {
        let at = |degrees: f64| {
            let (sin, cos) = degrees.to_radians().sin_cos();
            PartAxes::checked([1.0, 0.0, 0.0], [cos, 0.0, sin])
        };
        let axes = at(90.1).expect("by its digits");
        assert!(dot(axes.0[0], axes.0[2]).abs() < 1e-12);
        assert!(matches!(at(88.0), Err(NoAxes::Angle(d)) if (d - 88.0).abs() < 1e-9));
        assert!(matches!(at(0.0), Err(NoAxes::Angle(d)) if d.abs() < 1e-5));
    }

    #[test]
    fn what_has_no_direction_is_refused() {
        let z = [0.0, 0.0, 1.0];
        for none in [
            [0.0; 3],
            [f64::NAN, 1.0, 0.0],
            [f64::INFINITY, 0.0, 0.0],
            [1e200; 3],
            [1e-200; 3],
        ] {
            assert_eq!(PartAxes::checked(none, z), Err(NoAxes::Width), "{none:?}");
            assert_eq!(PartAxes::checked(z, none), Err(NoAxes::Height), "{none:?}");
        }
    }

    #[test]
    fn mirror_images_may_run_the_other_way() {
        let a = PartAxes::new([0.8, 0.6, 0.0], [0.0, 0.0, 1.0]).expect("axes");
        let image = PartAxes::new([-0.8, 0.6, 0.0], [0.0, 0.0, 1.0]).expect("axes");
        let against = PartAxes::new([0.8, -0.6, 0.0], [0.0, 0.0, 1.0]).expect("axes");
        assert!(a.mirror(&image, 0) && a.mirror(&against, 0) && a.mirror(&image, 1));
        assert!(!a.mirror(&a, 0) && a.mirror(&a, 2));
        assert!(!a.mirror(&PartAxes::OF_MODEL, 0));
        assert!(PartAxes::OF_MODEL.mirror(&PartAxes::OF_MODEL, 1));
    }
}
