//! The kernels against two independent crates, kornia-imgproc 0.2.0 and imageproc 0.27.0, on generated images.
//!
//! Not compared, because measured to be wrong there: kornia's distance transform above 4096 pixels, imageproc's warp
//! (a grey level too dark) and imageproc's Canny (follows 6 of 8 neighbours).
use image::RgbImage;
use kornia_image::{Image, ImageSize};
use tickstrip::kernels::{Plane, blur, canny, distance, gray, warp};

/// Smooth waves with a few discs and bars on them: sides in all directions, contrasts from weak to strong.
fn generated(width: u32, height: u32) -> RgbImage {
    RgbImage::from_fn(width, height, |x, y| {
        let (u, v) = (f64::from(x), f64::from(y));
        let waves = 25.0 * (u / 23.0).sin() + 25.0 * (v / 31.0 + u / 57.0).cos();
        let ring = ((u - 150.0).hypot(v - 110.0) / 28.0) as u32 % 2;
        let bar = u32::from((u + 2.0 * v) as u32 % 120 < 30);
        let level = 70.0 + waves + 50.0 * f64::from(ring) + 35.0 * f64::from(bar);
        image::Rgb([level as u8, (level * 0.9) as u8, (255.0 - level) as u8])
    })
}

fn size(width: u32, height: u32) -> ImageSize {
    ImageSize {
        width: width as usize,
        height: height as usize,
    }
}

fn kornia_image<const CHANNELS: usize>(
    width: u32,
    height: u32,
    pixels: Vec<u8>,
) -> Image<u8, CHANNELS> {
    Image::new(size(width, height), pixels).expect("the size fits")
}

#[test]
fn luma_is_that_of_kornia() {
    let image = generated(333, 222);
    let source = kornia_image::<3>(333, 222, image.as_raw().clone());
    let mut theirs = kornia_image::<1>(333, 222, vec![0; 333 * 222]);
    kornia_imgproc::color::gray_from_rgb_u8(&source, &mut theirs).expect("sizes agree");
    let ours = gray::luma(&image);
    // Both use whole-number weights of different precision: the rounding may differ by one.
    let worst = ours
        .iter()
        .zip(theirs.to_vec())
        .map(|(a, b)| a.abs_diff(b))
        .max();
    assert!(worst <= Some(1), "{worst:?}");
}

#[test]
fn a_warp_is_that_of_kornia() {
    let (width, height) = (400, 300);
    let image = generated(width, height);
    let ours_from = [[0.94, 0.06, 12.0], [-0.04, 1.02, 5.0], [8e-5, -5e-5, 1.0]];
    let ours = warp::warp_rgb(&image, (width, height), &ours_from);
    // kornia takes the map from the source to the target, with whole numbers at the pixel centres.
    let shift = nalgebra::Matrix3::new(1.0, 0.0, 0.5, 0.0, 1.0, 0.5, 0.0, 0.0, 1.0);
    let unshift = nalgebra::Matrix3::new(1.0, 0.0, -0.5, 0.0, 1.0, -0.5, 0.0, 0.0, 1.0);
    let matrix = unshift * nalgebra::Matrix3::from_fn(|r, c| ours_from[r][c]) * shift;
    let inverse = matrix.try_inverse().expect("invertible");
    let theirs_from: [f32; 9] = std::array::from_fn(|i| inverse[(i / 3, i % 3)] as f32);
    let source = kornia_image::<3>(width, height, image.as_raw().clone());
    let mut theirs = kornia_image::<3>(width, height, vec![0; image.as_raw().len()]);
    kornia_imgproc::warp::warp_perspective_u8(&source, &mut theirs, &theirs_from)
        .expect("sizes agree");
    let theirs = theirs.to_vec();
    let covered = warp::coverage((400, 300), (400, 300), &ours_from);
    let (mut sum, mut worst, mut count) = (0.0, 0.0f64, 0.0);
    for ((y, x), _) in covered.indexed_iter().filter(|(_, c)| **c != 0) {
        for c in 0..3 {
            let (a, b) = (
                ours[(x as u32, y as u32)].0[c],
                theirs[3 * (y * 400 + x) + c],
            );
            let error = f64::from(a) - f64::from(b);
            sum += error;
            worst = worst.max(error.abs());
            count += 1.0;
        }
    }
    // Steps of up to 85 levels a pixel, positions in 1/64 pixel here and in f32 there: 85 / 64, and both roundings.
    assert!(worst <= 3.0, "{worst}");
    assert!(
        (sum / count).abs() < 0.02,
        "bias of {} grey levels",
        sum / count
    );
    assert!(count > 0.8 * 3.0 * 400.0 * 300.0);
}

#[test]
fn edges_are_those_of_kornia_but_for_ties() {
    let (width, height) = (360, 260);
    let blurred = blur::gaussian(&gray::luma(&generated(width, height)), 1.3);
    let pixels: Vec<u8> = blurred.iter().copied().collect();
    let source = kornia_image::<1>(width, height, pixels.clone());
    let mut theirs = kornia_image::<1>(width, height, vec![0; pixels.len()]);
    kornia_imgproc::canny::canny(&source, &mut theirs, 40.0, 100.0, true).expect("sizes agree");
    let theirs = Plane::from_shape_vec(blurred.dim(), theirs.to_vec()).expect("the size fits");
    let ours = canny::canny(&blurred, 40.0, 100.0).direction_bits;
    let count = |plane: &Plane<u8>| plane.iter().filter(|v| **v != 0).count();
    let missing = theirs
        .iter()
        .zip(&ours)
        .filter(|(t, o)| **t != 0 && **o == 0)
        .count();
    let added = theirs
        .iter()
        .zip(&ours)
        .filter(|(t, o)| **t == 0 && **o != 0)
        .count();
    assert!(count(&theirs) > 3000);
    // Of two equal neighbours kornia (like OpenCV) takes one, we take both; so none of theirs may be missing here.
    assert_eq!(missing, 0);
    // Gradients of a byte image are whole numbers, and neighbours on soft slopes are often equal: a tenth here.
    assert!(added * 8 <= count(&theirs), "{added}");
    // Most lie beside their equal. On diagonals kornia drops both of two equals, and with them the weak edges that hang
    // on them: a fiftieth here.
    let far = distance::distance(&theirs);
    let away = ours
        .iter()
        .zip(&far)
        .filter(|(o, d)| **o != 0 && **d > 1.5)
        .count();
    assert!(away * 40 <= count(&theirs), "{away}");
}

#[test]
fn distances_are_those_of_imageproc() {
    // A fixed pattern of single pixels, wider than the 4096 pixels at which f32 squares end to be exact.
    for (width, height, step) in [(4500u32, 40u32, 9973usize), (97, 211, 1013), (120, 80, 17)] {
        let mask = image::GrayImage::from_fn(width, height, |x, y| {
            image::Luma([u8::from(
                (y as usize * width as usize + x as usize) % step == step / 3,
            )])
        });
        let theirs = imageproc::distance_transform::euclidean_squared_distance_transform(&mask);
        let plane = Plane::from_shape_vec((height as usize, width as usize), mask.into_raw());
        let ours = distance::distance(&plane.expect("the size fits"));
        for (x, y, squared) in theirs.enumerate_pixels() {
            let exact = squared.0[0].sqrt();
            let error = (f64::from(ours[[y as usize, x as usize]]) - exact).abs();
            // Their squares are whole numbers in f64; ours are rounded to f32 at the end, twice where above 2^24.
            assert!(
                error <= exact * 1.8e-7,
                "({x}, {y}) of {width}x{height}: {error}"
            );
        }
    }
}
