//! Values between the pixels.
use super::Plane;

/// The value at (`x`, `y`), bilinear between the four nearest pixel centres; the first pixel's centre is (0.5, 0.5).
///
/// In the outermost half pixel the border value goes on unchanged. `None` outside the image, and where a coordinate
/// is NaN.
#[inline]
pub fn bilinear(plane: &Plane<f32>, x: f64, y: f64) -> Option<f32> {
    let (height, width) = plane.dim();
    let inside = x >= 0.0 && y >= 0.0 && x <= width as f64 && y <= height as f64;
    if !inside || plane.is_empty() {
        return None;
    }
    let (left, right, across) = between(x, width);
    let (top, bottom, down) = between(y, height);
    let above = plane[[top, left]] + across * (plane[[top, right]] - plane[[top, left]]);
    let below = plane[[bottom, left]] + across * (plane[[bottom, right]] - plane[[bottom, left]]);
    Some(above + down * (below - above))
}

/// The pixels on both sides of `at`, and how far it lies from the first towards the second.
#[inline]
fn between(at: f64, length: usize) -> (usize, usize, f32) {
    let at = (at - 0.5).clamp(0.0, (length - 1) as f64);
    let first = at as usize;
    (
        first,
        (first + 1).min(length - 1),
        (at - first as f64) as f32,
    )
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::kernels::test_planes::{mirrored, noise, quarter_turned};

    #[test]
    fn pixel_centres_have_the_pixels_own_values_and_halves_the_means() {
        let plane = Plane::from_shape_fn((5, 5), |(y, x)| (10 * y + x) as f32);
        assert_eq!(bilinear(&plane, 3.5, 2.5), Some(23.0));
        assert_eq!(bilinear(&plane, 4.0, 2.5), Some(23.5));
        assert_eq!(bilinear(&plane, 4.0, 2.0), Some(18.5));
        assert_eq!(bilinear(&plane, 1.75, 1.25), Some(8.75));
    }

    #[test]
    fn the_border_goes_on_for_half_a_pixel_and_nothing_lies_beyond() {
        let plane = Plane::from_shape_fn((5, 5), |(y, x)| (10 * y + x) as f32);
        assert_eq!(bilinear(&plane, 0.0, 0.0), Some(0.0));
        assert_eq!(bilinear(&plane, 5.0, 5.0), Some(44.0));
        assert_eq!(bilinear(&plane, 0.2, 3.0), Some(25.0));
        for (x, y) in [
            (-0.01, 1.0),
            (1.0, 5.01),
            (f64::NAN, 1.0),
            (1.0, f64::NAN),
            (f64::INFINITY, 1.0),
        ] {
            assert_eq!(bilinear(&plane, x, y), None);
        }
        assert_eq!(bilinear(&Plane::zeros((0, 0)), 0.0, 0.0), None);
        assert_eq!(
            bilinear(&Plane::from_elem((1, 1), 3.0), 0.9, 0.1),
            Some(3.0)
        );
        assert_eq!(
            bilinear(&Plane::from_shape_fn((1, 9), |(_, x)| x as f32), 4.0, 0.3),
            Some(3.5)
        );
    }

    #[test]
    fn turning_and_mirroring_commute_with_it() {
        let plane = noise(9, 7, 2).mapv(f32::from);
        let (mirror, turned) = (mirrored(&plane), quarter_turned(&plane));
        for (x, y) in [(0.3, 0.2), (4.0, 3.25), (7.9, 6.4), (8.8, 1.1)] {
            let value = bilinear(&plane, x, y).expect("inside");
            // Three roundings of values up to 255 in f32.
            assert!((bilinear(&mirror, 9.0 - x, y).expect("inside") - value).abs() < 1e-4);
            assert!((bilinear(&turned, 7.0 - y, x).expect("inside") - value).abs() < 1e-4);
        }
    }
}
