//! The kernels against values that general-purpose libraries computed (`golden/` of the reference data, whose pixel
//! centres lie on whole numbers): NumPy 2.4.6, SciPy 1.17.1, scikit-image 0.26.0, OpenCV 4.14.0, as its JSON files say.
use crate::reference;
use serde_json::Value;
use std::path::Path;
use tickstrip::kernels::{Plane, blur, canny, distance, fill, likeness, warp};

fn read(folder: &Path, name: &str) -> Value {
    let bytes = std::fs::read(folder.join(name)).expect("the file can be read");
    serde_json::from_slice(&bytes).expect("the file is JSON")
}

fn numbers(value: &Value) -> Vec<Vec<f64>> {
    serde_json::from_value(value.clone()).expect("rows of numbers")
}

fn rows(value: &Value) -> Plane<u8> {
    let rows: Vec<String> = serde_json::from_value(value.clone()).expect("rows of text");
    Plane::from_shape_fn((rows.len(), rows[0].len()), |(y, x)| {
        u8::from(rows[y].as_bytes()[x] == b'#')
    })
}

fn picture(folder: &Path) -> Plane<u8> {
    named_picture(folder, "edge_test.png")
}

fn named_picture(folder: &Path, name: &str) -> Plane<u8> {
    let file = image::open(folder.join(name)).expect("the picture can be read");
    let gray = file.into_luma8();
    Plane::from_shape_fn((gray.height() as usize, gray.width() as usize), |(y, x)| {
        gray[(x as u32, y as u32)].0[0]
    })
}

/// skimage.metrics.structural_similarity 0.26.0 with gaussian_weights, sigma 1.5, population covariance: the mean without the 5 px
/// at the border, where it mirrors about the pixels' borders and we about their centres.
#[test]
fn structural_similarity_is_that_of_scikit_image() {
    let name = "structural_similarity_is_that_of_scikit_image";
    let Some(folder) = reference::folder(name, "golden") else {
        return;
    };
    let golden = read(&folder, "ssim.json");
    let planes = ["image_a", "image_b"]
        .map(|key| named_picture(&folder, golden[key].as_str().expect("a name")));
    let mean = |a, b| {
        let found = likeness::structural_similarity(a, b);
        let (height, width) = found.dim();
        let inner = found.slice(ndarray::s![5..height - 5, 5..width - 5]);
        inner.iter().map(|v| f64::from(*v)).sum::<f64>() / inner.len() as f64
    };
    let expected = golden["ssim_wang2004"].as_f64().expect("a number");
    let found = mean(&planes[0], &planes[1]);
    assert!((found - expected).abs() < 1e-4, "{found} {expected}");
    assert!((mean(&planes[0], &planes[0]) - 1.0).abs() < 1e-5);
}

#[test]
fn distances_are_those_of_scipy() {
    let Some(folder) = reference::folder("distances_are_those_of_scipy", "golden") else {
        return;
    };
    let golden = read(&folder, "distance_transform.json");
    let ours = distance::distance(&rows(&golden["mask_rows"]));
    // scipy.ndimage.distance_transform_edt 1.17.1; whole squares below 2^24 have correctly rounded f32 roots.
    for (y, row) in numbers(&golden["squared_distance"]).iter().enumerate() {
        for (x, squared) in row.iter().enumerate() {
            assert_eq!(ours[[y, x]], squared.sqrt() as f32, "({x}, {y})");
        }
    }
}

/// `source_from_target` in our coordinates, from the map of the source to the target with whole numbers at centres.
fn our_matrix(target_from_source: &Value) -> [[f64; 3]; 3] {
    let rows = numbers(target_from_source);
    let to_centres = nalgebra::Matrix3::new(1.0, 0.0, 0.5, 0.0, 1.0, 0.5, 0.0, 0.0, 1.0);
    let matrix = nalgebra::Matrix3::from_fn(|r, c| rows[r][c]);
    let back = to_centres
        * matrix.try_inverse().expect("invertible")
        * to_centres.try_inverse().expect("a shift");
    std::array::from_fn(|r| std::array::from_fn(|c| back[(r, c)]))
}

#[test]
fn a_perspective_warp_is_that_of_two_libraries() {
    let Some(folder) = reference::folder("a_perspective_warp_is_that_of_two_libraries", "golden")
    else {
        return;
    };
    let golden = read(&folder, "warp.json");
    let gray = picture(&folder);
    let (height, width) = gray.dim();
    let source = image::RgbImage::from_fn(width as u32, height as u32, |x, y| {
        image::Rgb([gray[[y as usize, x as usize]]; 3])
    });
    let matrix = our_matrix(&golden["H_input_to_output"]);
    let warped = warp::warp_rgb(&source, source.dimensions(), &matrix);
    let picked = warp::warp_mask(&gray, (width, height), &matrix);
    let compare = |name: &str, tolerance: f64, ours: &dyn Fn(usize, usize) -> u8| {
        // The grid is rows 20, 30 .. 60, columns 20, 30 .. 90.
        for (i, row) in numbers(&golden[name]).iter().enumerate() {
            for (j, &theirs) in row.iter().enumerate() {
                let value = ours(20 + 10 * j, 20 + 10 * i);
                let error = (f64::from(value) - theirs).abs();
                assert!(
                    error <= tolerance,
                    "{name} ({j}, {i}): {value}, not {theirs}"
                );
            }
        }
    };
    let blended = |x: usize, y: usize| warped[(x as u32, y as u32)].0[1];
    // scikit-image 0.26 works in f64: half a level from rounding, and the error of positions in 1/64 pixel, which
    // is half the 0.51 levels that OpenCV's 1/32 pixel makes on this grid.
    compare("scikit_image_bilinear", 0.5 + 0.26, &blended);
    // OpenCV 4.14 adds its own 0.51.
    compare("opencv_bilinear", 0.5 + 0.26 + 0.51, &blended);
    // A half pixel of error in the convention would pick other pixels.
    compare("scikit_image_nearest", 0.0, &|x, y| picked[[y, x]]);
}

#[test]
fn the_blur_is_that_of_scipy() {
    let Some(folder) = reference::folder("the_blur_is_that_of_scipy", "golden") else {
        return;
    };
    let golden = read(&folder, "edges.json");
    let gray = picture(&folder);
    let (whole, real) = (
        blur::gaussian(&gray, 1.0),
        blur::gaussian_f32(&gray.mapv(f32::from), 1.0),
    );
    for (i, row) in numbers(&golden["gaussian_sigma1_patch"]).iter().enumerate() {
        for (j, &theirs) in row.iter().enumerate() {
            let at = [40 + i, 40 + j];
            // scipy sums up to 4 sigma, we up to 3; 2 * 0.0044 of the weight lies beyond 3 in each direction, but the
            // grey levels there differ from the mean by less than 40.
            assert!((f64::from(real[at]) - theirs).abs() < 0.3, "{at:?}");
            assert!((f64::from(whole[at]) - theirs).abs() < 0.8, "{at:?}");
        }
    }
}

/// The share of the pixels of `some` that have one of `others` within 1.5 pixels.
fn share_near(some: &Plane<u8>, others: &Plane<u8>) -> f64 {
    let far = distance::distance(others);
    let distances = some
        .indexed_iter()
        .filter(|(_, v)| **v != 0)
        .map(|(at, _)| far[at]);
    let near: Vec<bool> = distances.map(|d| d <= 1.5).collect();
    near.iter().filter(|n| **n).count() as f64 / near.len() as f64
}

#[test]
fn edges_lie_where_two_libraries_have_them() {
    let Some(folder) = reference::folder("edges_lie_where_two_libraries_have_them", "golden")
    else {
        return;
    };
    let golden = read(&folder, "edges.json");
    let gray = picture(&folder);
    let opencv = &golden["opencv_after_gaussian_sigma_1"];
    let scikit = |sigma: &str| &golden["scikit_image"][sigma];
    // scikit-image takes its thresholds on an image from 0 to 1: 0.05 and 0.12 of 255 on our scale.
    let low_high = (0.05 * 255.0, 0.12 * 255.0);
    for (name, theirs, sigma, (low, high), least) in [
        ("OpenCV", opencv, 1.0, (50.0, 120.0), 0.97),
        ("scikit-image, 1 px", scikit("sigma_1"), 1.0, low_high, 0.97),
        ("scikit-image, 2 px", scikit("sigma_2"), 2.0, low_high, 0.97),
    ] {
        let theirs = rows(&theirs["rows"]);
        let ours = canny::canny(&blur::gaussian(&gray, sigma), low, high).direction_bits;
        let (found, confirmed) = (share_near(&theirs, &ours), share_near(&ours, &theirs));
        assert!(
            found >= least,
            "{name}: only {found} of their edge pixels are near ours"
        );
        assert!(
            confirmed >= least,
            "{name}: only {confirmed} of our edge pixels are near theirs"
        );
    }
}

#[test]
fn filled_outlines_have_the_area_and_centroid_of_opencv() {
    let Some(folder) = reference::folder(
        "filled_outlines_have_the_area_and_centroid_of_opencv",
        "golden",
    ) else {
        return;
    };
    let golden = read(&folder, "polygons.json");
    for name in ["L", "triangle", "random14"] {
        let shape = &golden[name];
        let outline: Vec<[f64; 2]> = numbers(&shape["points"])
            .iter()
            .map(|p| [10.0 * p[0], 10.0 * p[1]])
            .collect();
        let filled = fill::fill_polygon(&outline, (2500, 2000));
        let centres: Vec<[f64; 2]> = filled
            .indexed_iter()
            .filter(|(_, v)| **v != 0)
            .map(|((y, x), _)| [x as f64 + 0.5, y as f64 + 0.5])
            .collect();
        let count = centres.len() as f64;
        let (area, perimeter) = (shape["area_signed"].as_f64(), shape["perimeter"].as_f64());
        let (area, perimeter) = (area.expect("a number"), perimeter.expect("a number"));
        // At ten times the size. A side errs by at most half a pixel along its whole length; in practice both signs
        // nearly cancel, so a twentieth of that bound.
        let error = (count / 100.0 - area).abs();
        assert!(
            error <= 0.5 * perimeter / 10.0 / 20.0,
            "{name}: {error} of {area}"
        );
        for axis in 0..2 {
            let mean = centres.iter().map(|c| c[axis]).sum::<f64>() / count / 10.0;
            let theirs = shape["centroid"][axis].as_f64().expect("a number");
            // The same bound on the area, at an arm of at most 85, shared by the whole area: below 0.02.
            assert!((mean - theirs).abs() < 0.02, "{name}: {mean}, not {theirs}");
        }
    }
}
