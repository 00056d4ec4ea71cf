//! Gradients of the three colour channels.
//!
//! # Source
//! Scharr's 3 x 3 operator (H. Scharr, "Optimal operators in digital image processing", 2000), weights 3, 10, 3 over 32.
use crate::kernels::{Plane, blur};
use image::RgbImage;
use rayon::prelude::*;

/// Gradient in x and y of each channel after a blur of `sigma` pixels, grey levels per pixel. The outermost pixels are 0.
pub(crate) fn channels(image: &RgbImage, sigma: f64) -> [(Plane<f32>, Plane<f32>); 3] {
    let of = |c: usize| scharr(&blur::gaussian_f32(&channel(image, c), sigma));
    let ((a, b), c) = rayon::join(|| rayon::join(|| of(0), || of(1)), || of(2));
    [a, b, c]
}

/// One channel as numbers.
pub(crate) fn channel(image: &RgbImage, c: usize) -> Plane<f32> {
    let (width, height) = (image.width() as usize, image.height() as usize);
    let values = image
        .as_raw()
        .chunks_exact(3)
        .map(|p| f32::from(p[c]))
        .collect();
    Plane::from_shape_vec((height, width), values).expect("one value a pixel")
}

/// Scharr's gradient of a plane.
pub(crate) fn scharr(plane: &Plane<f32>) -> (Plane<f32>, Plane<f32>) {
    let (height, width) = plane.dim();
    let (mut gx, mut gy) = (Plane::zeros((height, width)), Plane::zeros((height, width)));
    if height < 3 || width < 3 {
        return (gx, gy);
    }
    let source = plane.as_slice().expect("rows are contiguous");
    let rows = gx
        .as_slice_mut()
        .expect("rows are contiguous")
        .par_chunks_mut(width);
    let other = gy
        .as_slice_mut()
        .expect("rows are contiguous")
        .par_chunks_mut(width);
    rows.zip(other)
        .enumerate()
        .filter(|(y, _)| *y > 0 && *y + 1 < height)
        .for_each(|(y, (gx, gy))| {
            let row = |dy: usize| &source[(y + dy - 1) * width..(y + dy) * width];
            let (above, here, below) = (row(0), row(1), row(2));
            for x in 1..width - 1 {
                let right = 3.0 * (above[x + 1] + below[x + 1]) + 10.0 * here[x + 1];
                let left = 3.0 * (above[x - 1] + below[x - 1]) + 10.0 * here[x - 1];
                gx[x] = (right - left) / 32.0;
                let down = 3.0 * (below[x - 1] + below[x + 1]) + 10.0 * below[x];
                let up = 3.0 * (above[x - 1] + above[x + 1]) + 10.0 * above[x];
                gy[x] = (down - up) / 32.0;
            }
        });
    (gx, gy)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_ramp_has_its_slope() {
        let ramp = Plane::from_shape_fn((5, 6), |(y, x)| 2.0 * x as f32 - 3.0 * y as f32);
        let (gx, gy) = scharr(&ramp);
        assert!((gx[[2, 3]] - 2.0).abs() < 1e-5 && (gy[[2, 3]] + 3.0).abs() < 1e-5);
        assert_eq!(gx[[0, 0]], 0.0);
    }
}
