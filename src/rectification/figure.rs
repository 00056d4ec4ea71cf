//! The map of a known plane figure from four or more of its points, with the lens where straight lines are marked too.
//!
//! The unknowns are where the picture shows the corners of the box around the figure, once the lens is taken off: numbers
//! in pixels whose changes are alike. They make the sum of squared distances from the marks least (maximum likelihood for
//! exact figures; R. Hartley and A. Zisserman, "Multiple View Geometry" (2nd ed., 2004), section 4.2.3).
use super::{
    Error,
    bends::{self, COEFFICIENT_STEP},
    fit::{Fit, least_squares},
    rectangle::RectifiedRectangle,
};
use crate::{
    frame::{self, Lens, Point, RectifiedPx, ReferencePx, UndistortedPx},
    job::PlanePoint,
};
use nalgebra::{DVector, Matrix3, Vector3};

/// Step of difference quotients by a corner, px.
const CORNER_STEP: f64 = 0.01;

/// A fitted figure.
#[derive(Clone, Debug)]
pub(super) struct FigureFit {
    /// The box around the figure, rectified.
    pub(super) rectangle: RectifiedRectangle,
    /// Full-size millimetres that it is wide.
    pub(super) width_mm: f64,
    /// Eight coordinates of the box's corners in the picture, then the lens' coefficient where it is asked for.
    pub(super) fit: Fit,
    /// Observations minus unknowns.
    pub(super) freedom: usize,
}

/// Fits the figure; the lens too where there are straight lines.
///
/// # Errors
/// Where the points are not the view of the figure, or the lens cannot be told.
pub(super) fn fit(
    points: &[PlanePoint],
    lines: &[Vec<Point<ReferencePx>>],
    picture: (u32, u32),
) -> Result<FigureFit, Error> {
    let start_lens = match lines {
        [] => Lens::none(),
        _ => {
            let coefficient = bends::lens_of(lines, picture)?.coefficient;
            Lens::of_picture(coefficient, picture).ok_or(Error::LensTooStrong)?
        }
    };
    let ground = Box2::around(points);
    let corners = start_corners(points, &ground, &start_lens).ok_or(Error::NotAPlane)?;
    let rectangle = RectifiedRectangle::of(&corners, ground.width / ground.height);
    let places: Vec<Point<RectifiedPx>> = points
        .iter()
        .map(|p| ground.rectified(p, rectangle))
        .collect();
    let residuals = |p: &[f64]| {
        let lens = match lines {
            [] => Lens::none(),
            _ => Lens::of_picture(p[8], picture)?,
        };
        let back = rectangle.map_for(&corners_of(p))?.inverse();
        let mut all = Vec::with_capacity(2 * points.len());
        for (point, place) in points.iter().zip(&places) {
            let shown = lens.distort(back.apply(*place));
            all.extend([shown.x - point.reference.x, shown.y - point.reference.y]);
        }
        all.extend(bends::bends(lines, &lens)?);
        let is_finite = all.iter().all(|v| v.is_finite());
        is_finite.then(|| DVector::from_vec(all))
    };
    let mut start: Vec<f64> = corners.iter().flat_map(|c| c.xy()).collect();
    let mut steps = vec![CORNER_STEP; 8];
    if !lines.is_empty() {
        start.push(start_lens.coefficient());
        steps.push(COEFFICIENT_STEP);
    }
    let fit = least_squares(&start, &steps, &residuals).ok_or(Error::NotAPlane)?;
    Ok(FigureFit {
        rectangle,
        width_mm: ground.width,
        freedom: 2 * points.len() + bends::freedom(lines) - start.len(),
        fit,
    })
}

/// Four points from eight numbers.
pub(super) fn corners_of(p: &[f64]) -> [Point<UndistortedPx>; 4] {
    std::array::from_fn(|k| Point::new(p[2 * k], p[2 * k + 1]))
}

/// The box around a figure, millimetres.
struct Box2 {
    left: f64,
    top: f64,
    width: f64,
    height: f64,
}

impl Box2 {
    fn around(points: &[PlanePoint]) -> Self {
        let range = |k: usize| {
            let values = points.iter().map(|p| p.at[k].0);
            let least = values.clone().fold(f64::INFINITY, f64::min);
            (least, values.fold(f64::NEG_INFINITY, f64::max) - least)
        };
        let ((left, width), (top, height)) = (range(0), range(1));
        Self {
            left,
            top,
            width,
            height,
        }
    }

    fn rectified(&self, point: &PlanePoint, rectangle: RectifiedRectangle) -> Point<RectifiedPx> {
        Point::new(
            (point.at[0].0 - self.left) / self.width * rectangle.width,
            (point.at[1].0 - self.top) / self.height * rectangle.height,
        )
    }
}

/// Where the picture shows the corners of the box; `None` where the points give no map, or the box reaches behind the
/// camera.
fn start_corners(
    points: &[PlanePoint],
    ground: &Box2,
    lens: &Lens,
) -> Option<[Point<UndistortedPx>; 4]> {
    let unit = RectifiedRectangle {
        width: 1.0,
        height: 1.0,
    };
    let from: Vec<[f64; 2]> = points
        .iter()
        .map(|p| ground.rectified(p, unit).xy())
        .collect();
    let to: Vec<[f64; 2]> = points
        .iter()
        .map(|p| lens.undistort(p.reference).xy())
        .collect();
    let map: Matrix3<f64> = frame::fit::projective(&from, &to)?;
    let shown = |[x, y]: [f64; 2]| map * Vector3::new(x, y, 1.0);
    let corners = [[0.0, 0.0], [1.0, 0.0], [1.0, 1.0], [0.0, 1.0]].map(shown);
    let in_front = shown(from[0]).z.signum();
    let all = from.iter().map(|p| shown(*p)).chain(corners);
    // A plane whose picture is turned over is seen from behind.
    let is_view = map.determinant() * in_front > 0.0
        && all.into_iter().all(|v| v.z * in_front > 1e-9 * v.norm());
    is_view.then(|| corners.map(|v| Point::new(v.x / v.z, v.y / v.z)))
}
