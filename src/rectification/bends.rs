//! How much lines that are straight in reality are bent in the picture, for a lens of a given coefficient.
//!
//! # Source
//! D. Brown, "Close-range camera calibration", Photogrammetric Engineering 37 (1971): lines that are straight in reality
//! (plumb lines) tell a lens' distortion, whatever the view.
use super::{Error, fit::least_squares};
use crate::frame::{Lens, Point, ReferencePx};
use nalgebra::{DVector, Matrix2, SymmetricEigen, Vector2};

/// Step of difference quotients by the coefficient: a hundredth of a pixel at the corners of a picture of a thousand.
pub(super) const COEFFICIENT_STEP: f64 = 1e-5;

/// Distances of all points from the lines fitted to them without the distortion, in pixels of the marks. `None` where a
/// point has no place without the distortion.
pub(super) fn bends(lines: &[Vec<Point<ReferencePx>>], lens: &Lens) -> Option<Vec<f64>> {
    let mut all = Vec::with_capacity(lines.iter().map(Vec::len).sum());
    for line in lines {
        let points: Vec<Vector2<f64>> = line
            .iter()
            .map(|p| Vector2::from(lens.undistort(*p).xy()))
            .collect();
        let (centre, normal) = line_through(&points)?;
        for (mark, p) in line.iter().zip(&points) {
            // Noise of the mark across the line grows as the lens stretches the picture there.
            let growth = lens.jacobian(*mark).tr_mul(&normal).norm();
            all.push((p - centre).dot(&normal) / growth);
        }
    }
    all.iter().all(|v| v.is_finite()).then_some(all)
}

/// Centre and unit normal of the line with the least squares of the distances; `None` where the points are not finite.
pub(super) fn line_through(points: &[Vector2<f64>]) -> Option<(Vector2<f64>, Vector2<f64>)> {
    let centre = points.iter().sum::<Vector2<f64>>() / points.len() as f64;
    let spread: Matrix2<f64> = points
        .iter()
        .map(|p| (p - centre) * (p - centre).transpose())
        .sum();
    if !spread.iter().all(|v| v.is_finite()) {
        return None;
    }
    let eigen = SymmetricEigen::new(spread);
    let across = usize::from(eigen.eigenvalues[1] < eigen.eigenvalues[0]);
    Some((centre, eigen.eigenvectors.column(across).into_owned()))
}

/// Observations of straightness beyond what the lines themselves take up.
pub(super) fn freedom(lines: &[Vec<Point<ReferencePx>>]) -> usize {
    lines.iter().map(|line| line.len() - 2).sum()
}

/// A lens told by straight lines alone.
#[derive(Clone, Copy, Debug)]
pub(super) struct LensFit {
    pub(super) coefficient: f64,
    /// For marks with a deviation of one pixel.
    pub(super) deviation: f64,
    /// Sum of the squares of what remains bent, px^2.
    pub(super) square: f64,
}

/// The coefficient that makes the lines straightest.
///
/// # Errors
/// Where no lens within [`Lens::MOST`] does.
pub(super) fn lens_of(
    lines: &[Vec<Point<ReferencePx>>],
    picture: (u32, u32),
) -> Result<LensFit, Error> {
    let residuals = |p: &[f64]| {
        let lens = Lens::of_picture(p[0], picture)?;
        bends(lines, &lens).map(DVector::from_vec)
    };
    let fit = least_squares(&[0.0], &[COEFFICIENT_STEP], &residuals).ok_or(Error::LensUnclear)?;
    if fit.at[0].abs() > 0.95 * Lens::MOST {
        return Err(Error::LensTooStrong);
    }
    Ok(LensFit {
        coefficient: fit.at[0],
        deviation: fit.covariance[(0, 0)].sqrt(),
        square: fit.square,
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::rectification::settings::RECTIFICATION;

    const PICTURE: (u32, u32) = (1600, 1000);

    /// Points along straight lines, as a lens shows them.
    fn shown(coefficient: f64, ends: &[[[f64; 2]; 2]]) -> Vec<Vec<Point<ReferencePx>>> {
        let lens = Lens::of_picture(coefficient, PICTURE).expect("within the limits");
        let along = |[[x0, y0], [x1, y1]]: &[[f64; 2]; 2]| {
            (0..9)
                .map(|k| {
                    let t = f64::from(k) / 8.0;
                    lens.distort(Point::new(x0 + t * (x1 - x0), y0 + t * (y1 - y0)))
                })
                .collect()
        };
        ends.iter().map(along).collect()
    }

    #[test]
    fn the_lens_that_bent_the_lines_is_found() {
        let ends = [
            [[100.0, 90.0], [1500.0, 60.0]],
            [[1500.0, 100.0], [1450.0, 940.0]],
        ];
        for coefficient in [-0.3, -0.05, 0.0, 0.08] {
            let lines = shown(coefficient, &ends);
            let found = lens_of(&lines, PICTURE).expect("long lines far from the centre");
            // What the difference quotient leaves of a sum of squares of nothing.
            assert!(
                (found.coefficient - coefficient).abs() < 1e-7,
                "{coefficient}: {found:?}"
            );
            assert!(found.deviation < 0.01);
        }
    }

    #[test]
    fn lines_through_the_centre_tell_nothing() {
        let lines = shown(-0.1, &[[[100.0, 500.0], [1500.0, 500.0]]]);
        match lens_of(&lines, PICTURE) {
            Ok(found) => assert!(found.deviation > RECTIFICATION.most_bend_deviation.get()),
            Err(error) => assert_eq!(error, Error::LensUnclear),
        }
    }
}
