//! Colours of an embedded profile against the published primaries.
//!
//! Source: SMPTE EG 432-1 (P3 primaries) with the D65 white point and the transfer curve of IEC 61966-2-1 (sRGB), all
//! from memory.
use image::{ExtendedColorType, ImageEncoder, codecs::png::PngEncoder, codecs::tiff::TiffEncoder};
use nalgebra::{Matrix3, Vector3};
use tickstrip::images::{self, Limits};

const P3: [[f64; 2]; 3] = [[0.680, 0.320], [0.265, 0.690], [0.150, 0.060]];
const SRGB: [[f64; 2]; 3] = [[0.640, 0.330], [0.300, 0.600], [0.150, 0.060]];
const D65: [f64; 2] = [0.3127, 0.3290];

fn xyz([x, y]: [f64; 2]) -> Vector3<f64> {
    Vector3::new(x / y, 1.0, (1.0 - x - y) / y)
}

/// XYZ from linear RGB: columns are the primaries, scaled so that (1, 1, 1) is the white point.
fn xyz_from_rgb(primaries: [[f64; 2]; 3]) -> Matrix3<f64> {
    let columns = Matrix3::from_columns(&primaries.map(xyz));
    let scale = columns.try_inverse().expect("three primaries") * xyz(D65);
    columns * Matrix3::from_diagonal(&scale)
}

fn to_linear(level: u8) -> f64 {
    let v = f64::from(level) / 255.0;
    if v <= 0.04045 {
        v / 12.92
    } else {
        ((v + 0.055) / 1.055).powf(2.4)
    }
}

fn to_level(linear: f64) -> u8 {
    let v = linear.clamp(0.0, 1.0);
    let encoded = if v <= 0.003_130_8 {
        12.92 * v
    } else {
        1.055 * v.powf(1.0 / 2.4) - 0.055
    };
    (encoded * 255.0).round() as u8
}

/// Colours inside sRGB, colours outside it (they are cut off), greys.
const P3_LEVELS: [[u8; 3]; 8] = [
    [128, 128, 128],
    [255, 255, 255],
    [0, 0, 0],
    [180, 120, 90],
    [60, 140, 200],
    [90, 160, 80],
    [255, 0, 0],
    [0, 255, 0],
];

fn check(picture: &images::Picture) {
    let srgb_from_p3 = xyz_from_rgb(SRGB).try_inverse().expect("invertible") * xyz_from_rgb(P3);
    assert!(picture.notes.is_empty(), "{:?}", picture.notes);
    for (pixel, p3) in picture.rgb.pixels().zip(P3_LEVELS) {
        let linear = srgb_from_p3 * Vector3::from(p3.map(to_linear));
        let expected = [linear.x, linear.y, linear.z].map(to_level);
        for channel in 0..3 {
            // The profile holds 16-bit fixed-point numbers and the conversion works in 13 bits: one level, two at a cut.
            let difference = pixel[channel].abs_diff(expected[channel]);
            assert!(
                difference <= 2,
                "{p3:?}: {:?} against {expected:?}",
                pixel.0
            );
        }
    }
    assert!(
        picture.rgb[(3, 0)][0] >= 185,
        "P3 reds are stronger than sRGB's"
    );
}

#[test]
fn display_p3_colours_come_out_as_srgb() {
    let profile = moxcms::ColorProfile::new_display_p3();
    let icc = profile.encode().expect("a profile of the crate's own");
    let folder = tempfile::tempdir().expect("a folder for the test");
    let samples: Vec<u8> = P3_LEVELS.concat();
    let (width, color) = (P3_LEVELS.len() as u32, ExtendedColorType::Rgb8);

    let path = folder.path().join("p3.png");
    let mut encoder = PngEncoder::new(std::fs::File::create(&path).expect("a new file"));
    encoder.set_icc_profile(icc.clone()).expect("PNG has ICC");
    encoder
        .write_image(&samples, width, 1, color)
        .expect("a PNG");
    check(&images::read(&path, &Limits::default()).expect("a good file"));

    let path = folder.path().join("p3.tif");
    let mut encoder = TiffEncoder::new(std::fs::File::create(&path).expect("a new file"));
    encoder.set_icc_profile(icc).expect("TIFF has ICC");
    encoder
        .write_image(&samples, width, 1, color)
        .expect("a TIFF");
    check(&images::read(&path, &Limits::default()).expect("a good file"));
}
