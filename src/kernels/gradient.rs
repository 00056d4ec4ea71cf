//! Gradients of colour channels.
//!
//! # Source
//! Scharr's 3 x 3 operator (H. Scharr, "Optimal operators in digital image processing", 2000), weights 3, 10, 3.
use super::{Plane, blur};
use image::RgbImage;
use rayon::prelude::*;

/// Grey levels per pixel of one unit of [`scharr`].
pub(crate) const UNIT: f32 = 1.0 / 32.0;

/// Gradient in x and y, in [`UNIT`]s. The outermost pixels are 0.
pub(crate) struct Gradient {
    pub(crate) x: Plane<i16>,
    pub(crate) y: Plane<i16>,
}

/// Gradient of channel `c` after a blur of `sigma` pixels.
pub(crate) fn of_channel(image: &RgbImage, c: usize, sigma: f64) -> Gradient {
    let (width, height) = (image.width() as usize, image.height() as usize);
    let values = image.as_raw().chunks_exact(3).map(|p| p[c]).collect();
    let channel = Plane::from_shape_vec((height, width), values).expect("one value a pixel");
    scharr(&blur::gaussian(&channel, sigma))
}

/// Gradient of the channel that has the strongest one at each pixel, and its magnitude, grey levels per pixel; after a blur of
/// `sigma` pixels.
pub(crate) fn strongest_channel(image: &RgbImage, sigma: f64) -> (Gradient, Plane<f32>) {
    let mut strongest = of_channel(image, 0, sigma);
    for c in 1..3 {
        let other = of_channel(image, c, sigma);
        ndarray::Zip::from(&mut strongest.x)
            .and(&mut strongest.y)
            .and(&other.x)
            .and(&other.y)
            .par_for_each(|x, y, &u, &v| {
                if square(u, v) > square(*x, *y) {
                    (*x, *y) = (u, v);
                }
            });
    }
    let magnitude = ndarray::Zip::from(&strongest.x)
        .and(&strongest.y)
        .par_map_collect(|&x, &y| (square(x, y) as f32).sqrt() * UNIT);
    (strongest, magnitude)
}

fn square(x: i16, y: i16) -> i32 {
    i32::from(x) * i32::from(x) + i32::from(y) * i32::from(y)
}

/// Scharr's gradient of a plane.
fn scharr(plane: &Plane<u8>) -> Gradient {
    let (height, width) = plane.dim();
    let (mut gx, mut gy) = (Plane::zeros((height, width)), Plane::zeros((height, width)));
    if height < 3 || width < 3 {
        return Gradient { x: gx, y: gy };
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
            scharr_row([row(0), row(1), row(2)], gx, gy);
        });
    Gradient { x: gx, y: gy }
}

/// The largest sum is 16 * 255: it fits an `i16`.
fn scharr_row([above, here, below]: [&[u8]; 3], gx: &mut [i16], gy: &mut [i16]) {
    let n = gx.len();
    let inner = n - 2;
    let (a0, a1, a2) = (&above[..inner], &above[1..n - 1], &above[2..]);
    let (h0, h2) = (&here[..inner], &here[2..]);
    let (b0, b1, b2) = (&below[..inner], &below[1..n - 1], &below[2..]);
    let (gx, gy) = (&mut gx[1..n - 1], &mut gy[1..n - 1]);
    let w = |v: u8| i16::from(v);
    for x in 0..inner {
        gx[x] = 3 * (w(a2[x]) - w(a0[x]) + w(b2[x]) - w(b0[x])) + 10 * (w(h2[x]) - w(h0[x]));
        gy[x] = 3 * (w(b0[x]) - w(a0[x]) + w(b2[x]) - w(a2[x])) + 10 * (w(b1[x]) - w(a1[x]));
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_ramp_has_its_slope() {
        let ramp = Plane::from_shape_fn((5, 6), |(y, x)| (100 + 2 * x - 3 * y) as u8);
        let gradient = scharr(&ramp);
        assert_eq!(f32::from(gradient.x[[2, 3]]) * UNIT, 2.0);
        assert_eq!(f32::from(gradient.y[[2, 3]]) * UNIT, -3.0);
        assert_eq!(gradient.x[[0, 0]], 0);
    }

    #[test]
    fn the_steepest_edge_does_not_overflow() {
        let step = Plane::from_shape_fn((5, 6), |(_, x)| if x < 3 { 0 } else { 255 });
        assert_eq!(scharr(&step).x[[2, 3]], 16 * 255);
    }
}
