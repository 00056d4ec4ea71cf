//! The camera of a render.
use crate::job::{FaultKind, raw::RawCamera};
use nalgebra::Matrix3x4;

/// A camera as a job states it.
type Camera = [[f64; 4]; 3];

/// The same camera with numbers near 1: a homogeneous matrix means the same times any factor, and the fits look at its
/// size. A power of two, so that no digit changes.
pub(in crate::job) fn of_unit_size(camera: Camera) -> Camera {
    let largest = camera
        .iter()
        .flatten()
        .fold(0.0, |most: f64, v| most.max(v.abs()));
    let factor = if largest > 0.0 {
        (-largest.log2().round()).exp2()
    } else {
        1.0
    };
    camera.map(|row| row.map(|v| v * factor))
}

/// A camera needs three independent rows; a parallel projection, whose last row is (0, 0, 0, 1), is one.
///
/// `camera` is that of `raw` with numbers near 1.
pub(in crate::job) fn check_camera(raw: &RawCamera, camera: &Camera) -> Result<(), FaultKind> {
    let is_large = |number: &&f64| number.abs() > 1e12;
    if let Some(&found) = raw.matrix.iter().flatten().find(is_large) {
        return Err(FaultKind::NumberTooLarge { found });
    }
    let mut matrix = Matrix3x4::from_fn(|row, column| camera[row][column]);
    for mut row in matrix.row_iter_mut() {
        // Rows in pixels and the last one differ by orders; only their directions matter.
        let length = row.norm();
        if length > 0.0 {
            row /= length;
        }
    }
    let values = matrix.singular_values();
    // Far below any camera in use, far above the rounding of f64.
    if values.min() <= 1e-12 * values.max() {
        return Err(FaultKind::CameraSingular);
    }
    Ok(())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_size_of_a_camera_s_numbers_does_not_matter() {
        let camera = [
            [900.0, 0.0, 400.0, 1e4],
            [0.0, -900.0, 300.0, 2e4],
            [0.0, 0.0, 1.0, 300.0],
        ];
        let plain = of_unit_size(camera);
        let largest = plain.iter().flatten().fold(0.0, |m: f64, v| m.max(v.abs()));
        assert!((0.5..=2.0).contains(&largest));
        for factor in [1e-200, 2f64.powi(-90), 1e7] {
            let matrix = camera.map(|row| row.map(|v| v * factor));
            let same = of_unit_size(matrix);
            assert_eq!(check_camera(&RawCamera { matrix }, &same), Ok(()));
            let times = same[0][0] / plain[0][0];
            assert!((0.5..=2.0).contains(&times), "{times}");
            for (a, b) in same.iter().flatten().zip(plain.iter().flatten()) {
                // The factor 1e-200 rounds once.
                assert!((a - times * b).abs() <= 1e-15 * b.abs() * 4.0, "{a} {b}");
            }
        }
    }

    #[test]
    fn nothing_is_no_camera() {
        let matrix = [[0.0; 4]; 3];
        let found = check_camera(&RawCamera { matrix }, &of_unit_size(matrix));
        assert_eq!(found, Err(FaultKind::CameraSingular));
    }
}
