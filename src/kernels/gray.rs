//! From colours to luma.
use super::{Plane, plane_of, wide::built_twice};
use image::RgbImage;
use rayon::prelude::*;

/// Weights of red, green and blue in 1/16384; their sum is 16384, so that grey stays what it is.
const WEIGHTS: [u32; 3] = [4899, 9617, 1868];
const PIXELS_A_TASK: usize = 1 << 15;

/// The luma of an image: 0.299 red + 0.587 green + 0.114 blue of the coded (not linear) values, rounded.
///
/// # Source
/// ITU-R BT.601-7 (2011), section 2.5.1; the weights in 14 bits differ from it by at most 3e-5.
pub fn luma(image: &RgbImage) -> Plane<u8> {
    let (width, height) = (image.width() as usize, image.height() as usize);
    let mut pixels = vec![0; width * height];
    image
        .as_raw()
        .par_chunks(3 * PIXELS_A_TASK)
        .zip(pixels.par_chunks_mut(PIXELS_A_TASK))
        .for_each(|(colours, lumas)| weigh(colours, lumas));
    plane_of(width, height, pixels)
}

built_twice! {
    fn weigh(colours: &[u8], lumas: &mut [u8]) {
        let [red, green, blue] = WEIGHTS;
        for (colour, luma) in colours.chunks_exact(3).zip(lumas) {
            let sum = u32::from(colour[0]) * red + u32::from(colour[1]) * green + u32::from(colour[2]) * blue;
            *luma = ((sum + (1 << 13)) >> 14) as u8;
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::kernels::test_planes::noise;

    #[test]
    fn pure_colours_have_the_weights_of_the_standard() {
        // 255 * 0.299 = 76.2, 255 * 0.587 = 149.7, 255 * 0.114 = 29.1
        let image = RgbImage::from_raw(
            5,
            1,
            vec![255, 0, 0, 0, 255, 0, 0, 0, 255, 255, 255, 255, 0, 0, 0],
        );
        let lumas = luma(&image.expect("five pixels"));
        assert_eq!(lumas.as_slice(), Some(&[76, 150, 29, 255, 0][..]));
    }

    #[test]
    fn the_fast_loop_agrees_with_the_formula_in_floating_point() {
        let bytes = noise(3 * 301, 217, 1).into_raw_vec_and_offset().0;
        let image = RgbImage::from_raw(301, 217, bytes).expect("the size fits");
        let lumas = luma(&image);
        for (x, y, colour) in image.enumerate_pixels() {
            let [r, g, b] = colour.0.map(f64::from);
            let exact = 0.299 * r + 0.587 * g + 0.114 * b;
            // Half a step from rounding, and 255 times the rounding of the weights (together below 6e-5).
            let got = f64::from(lumas[[y as usize, x as usize]]);
            assert!((got - exact).abs() < 0.5 + 0.016, "{exact} became {got}");
        }
    }

    #[test]
    fn greys_stay_what_they_are_and_empty_images_pass() {
        for grey in 0..=255 {
            let image = RgbImage::from_pixel(1, 3, image::Rgb([grey; 3]));
            assert!(luma(&image).iter().all(|&v| v == grey));
        }
        assert_eq!(luma(&RgbImage::new(0, 0)).dim(), (0, 0));
    }
}
