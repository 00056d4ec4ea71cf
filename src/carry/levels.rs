//! An image at half, a quarter and so on of its size.
use crate::kernels::{Plane, sample};
use image::RgbImage;
use nalgebra::Vector2;

/// Smaller than this no level gets, pixels of its shorter side.
const SMALLEST: usize = 24;

/// Grey values of an image; level `k` has one sample for `2^k` by `2^k` pixels.
pub(super) struct Levels {
    planes: Vec<Plane<f32>>,
}

impl Levels {
    pub(super) fn of(image: &RgbImage) -> Self {
        let size = (image.height() as usize, image.width() as usize);
        let grey = image
            .as_raw()
            .chunks_exact(3)
            .map(|p| 0.299 * f32::from(p[0]) + 0.587 * f32::from(p[1]) + 0.114 * f32::from(p[2]));
        let first = Plane::from_shape_vec(size, grey.collect()).expect("one value a pixel");
        let mut planes = vec![first];
        while let Some(next) = planes.last().and_then(halved) {
            planes.push(next);
        }
        Self { planes }
    }

    /// Number of levels, 1 or more.
    pub(super) fn count(&self) -> usize {
        self.planes.len()
    }

    pub(super) fn plane(&self, level: usize) -> &Plane<f32> {
        &self.planes[level.min(self.planes.len() - 1)]
    }

    /// The value of a level at a place in pixels of the image; `None` outside.
    pub(super) fn value(&self, level: usize, place: Vector2<f64>) -> Option<f64> {
        let level = level.min(self.planes.len() - 1);
        let shrink = 1.0 / f64::from(1_u32 << level);
        sample::bilinear(&self.planes[level], place.x * shrink, place.y * shrink).map(f64::from)
    }

    /// Width and height in pixels.
    pub(super) fn size(&self) -> [f64; 2] {
        let (height, width) = self.planes[0].dim();
        [width as f64, height as f64]
    }
}

/// The means of two by two samples; a last odd row or column is left out, so that places stay what they are.
fn halved(plane: &Plane<f32>) -> Option<Plane<f32>> {
    let (height, width) = (plane.nrows() / 2, plane.ncols() / 2);
    (height.min(width) >= SMALLEST).then(|| {
        Plane::from_shape_fn((height, width), |(y, x)| {
            let [top, left] = [2 * y, 2 * x];
            let sum = plane[[top, left]]
                + plane[[top, left + 1]]
                + plane[[top + 1, left]]
                + plane[[top + 1, left + 1]];
            sum / 4.0
        })
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use image::Rgb;

    #[test]
    fn a_slope_has_the_same_value_at_the_same_place_on_every_level() {
        let image = RgbImage::from_fn(201, 150, |x, y| Rgb([(x / 2 + y / 2) as u8; 3]));
        let levels = Levels::of(&image);
        assert_eq!(levels.count(), 3, "201 x 150, 100 x 75, 50 x 37");
        let place = Vector2::new(80.0, 60.0);
        for level in 0..3 {
            let value = levels.value(level, place).expect("inside");
            assert!((value - 69.25).abs() < 0.8, "level {level}: {value}");
        }
        assert!(levels.value(0, Vector2::new(-1.0, 5.0)).is_none());
    }
}
