//! Rectification by lines of two directions at right angles: their vanishing points, the camera's axis being known, tell
//! how the plane is turned.
//!
//! # Source
//! B. Caprile and V. Torre, "Using vanishing points for camera calibration", Int. J. Computer Vision 4 (1990): two
//! vanishing points of directions at right angles give the focal length where the principal point is known.
use super::{
    Error,
    bends::{self, COEFFICIENT_STEP},
    fit::{Fit, least_squares},
    rectangle::Seen,
};
use crate::{
    frame::{Lens, Point, Projective, RectifiedPx, ReferencePx, UndistortedPx},
    job::PlaneLines,
};
use nalgebra::{DVector, Matrix3, SMatrix, SymmetricEigen, Vector3};

/// Step of difference quotients by a vanishing point's direction, radians: its image moves by far less than a pixel.
const DIRECTION_STEP: f64 = 1e-6;

/// Coordinates in which vanishing points are directions: from the middle of the picture, in half diagonals.
#[derive(Clone, Copy, Debug)]
pub(super) struct Rays {
    pub(super) centre: [f64; 2],
    pub(super) unit: f64,
}

impl Rays {
    pub(super) fn of_picture((width, height): (u32, u32)) -> Self {
        let (width, height) = (f64::from(width), f64::from(height));
        Self {
            centre: [width / 2.0, height / 2.0],
            unit: width.hypot(height) / 2.0,
        }
    }

    fn of(&self, p: Point<UndistortedPx>) -> Vector3<f64> {
        Vector3::new(
            (p.x - self.centre[0]) / self.unit,
            (p.y - self.centre[1]) / self.unit,
            1.0,
        )
    }
}

/// A vanishing point near a fixed direction: two small numbers move it.
#[derive(Clone, Copy, Debug)]
pub(super) struct Vanishing {
    direction: Vector3<f64>,
    across: [Vector3<f64>; 2],
}

impl Vanishing {
    /// The common point of the lines, by least squares of their unit normals.
    fn of(lines: &[[Vector3<f64>; 2]]) -> Option<Self> {
        let mut square = SMatrix::<f64, 3, 3>::zeros();
        for [a, b] in lines {
            let normal = a.cross(b).try_normalize(1e-12)?;
            square += normal * normal.transpose();
        }
        let eigen = SymmetricEigen::new(square);
        let mut order = [0, 1, 2];
        order.sort_by(|&i, &j| eigen.eigenvalues[i].total_cmp(&eigen.eigenvalues[j]));
        let column = |k: usize| eigen.eigenvectors.column(order[k]).into_owned();
        // All lines one: they meet everywhere.
        if eigen.eigenvalues[order[1]] < 1e-12 {
            return None;
        }
        Some(Self {
            direction: column(0),
            across: [column(1), column(2)],
        })
    }

    pub(super) fn at(&self, by: &[f64]) -> Vector3<f64> {
        (self.direction + self.across[0] * by[0] + self.across[1] * by[1]).normalize()
    }
}

/// Fitted lines.
#[derive(Clone, Debug)]
pub(super) struct LinesFit {
    pub(super) rays: Rays,
    /// Of the horizontal and of the vertical lines.
    pub(super) vanishing: [Vanishing; 2],
    /// Two small numbers each, then the lens' coefficient where it is asked for.
    pub(super) fit: Fit,
    /// Observations minus unknowns.
    pub(super) freedom: usize,
}

/// Fits both vanishing points; the lens too where there are straight lines.
///
/// # Errors
/// Where lines of one direction are all the same line, or the lens cannot be told.
pub(super) fn fit(
    lines: &PlaneLines,
    straight_lines: &[Vec<Point<ReferencePx>>],
    picture: (u32, u32),
) -> Result<LinesFit, Error> {
    let rays = Rays::of_picture(picture);
    let start_lens = match straight_lines {
        [] => Lens::none(),
        _ => {
            let coefficient = bends::lens_of(straight_lines, picture)?.coefficient;
            Lens::of_picture(coefficient, picture).ok_or(Error::LensTooStrong)?
        }
    };
    let groups = [&lines.horizontal, &lines.vertical];
    let without = |lens: &Lens| groups.map(|group| undistorted(group, lens, &rays));
    let [horizontal, vertical] = without(&start_lens);
    let vanishing = [
        Vanishing::of(&horizontal).ok_or(Error::NotAPlane)?,
        Vanishing::of(&vertical).ok_or(Error::NotAPlane)?,
    ];
    let residuals = |p: &[f64]| {
        let lens = match straight_lines {
            [] => Lens::none(),
            _ => Lens::of_picture(p[4], picture)?,
        };
        let mut all = Vec::new();
        for ((group, point), by) in without(&lens)
            .iter()
            .zip(&vanishing)
            .zip([&p[..2], &p[2..4]])
        {
            let point = point.at(by);
            all.extend(group.iter().map(|ends| missed(ends, &point, rays.unit)));
        }
        all.extend(bends::bends(straight_lines, &lens)?);
        let is_finite = all.iter().all(|v: &f64| v.is_finite());
        is_finite.then(|| DVector::from_vec(all))
    };
    let (mut start, mut steps) = (vec![0.0; 4], vec![DIRECTION_STEP; 4]);
    if !straight_lines.is_empty() {
        start.push(start_lens.coefficient());
        steps.push(COEFFICIENT_STEP);
    }
    let fit = least_squares(&start, &steps, &residuals).ok_or(Error::NotAPlane)?;
    let observations: usize = groups.iter().map(|g| g.len()).sum();
    Ok(LinesFit {
        rays,
        vanishing,
        freedom: observations + bends::freedom(straight_lines) - start.len(),
        fit,
    })
}

fn undistorted(
    lines: &[[Point<ReferencePx>; 2]],
    lens: &Lens,
    rays: &Rays,
) -> Vec<[Vector3<f64>; 2]> {
    lines
        .iter()
        .map(|ends| ends.map(|p| rays.of(lens.undistort(p))))
        .collect()
}

/// How far a line misses the vanishing point, in standard deviations of marks with one of a pixel: the distance of its ends
/// from the line through its middle and the point, of both ends together.
fn missed(ends: &[Vector3<f64>; 2], point: &Vector3<f64>, unit: f64) -> f64 {
    let middle = (ends[0] + ends[1]) / 2.0;
    let through = middle.cross(point);
    let distance = through.dot(&ends[0]) / through.x.hypot(through.y);
    std::f64::consts::SQRT_2 * distance * unit
}

/// What the view tells of a square in the middle of the picture: its width over height as if the plane were the picture's,
/// and the focal length.
pub(super) fn seen(rays: &Rays, vanishing: [Vector3<f64>; 2], axis: [f64; 2]) -> Option<Seen> {
    let [h, v] = from_axis(rays, vanishing, axis);
    let focal = focal(&h, &v)? * rays.unit;
    let map = rectified(rays, vanishing, axis)?;
    let j = map.jacobian(Point::new(rays.centre[0], rays.centre[1]));
    let aspect = j.row(0).norm() / j.row(1).norm();
    aspect.is_finite().then_some(Seen { aspect, focal })
}

/// Vanishing points as seen from the camera's axis.
fn from_axis(rays: &Rays, vanishing: [Vector3<f64>; 2], axis: [f64; 2]) -> [Vector3<f64>; 2] {
    let offset = [0, 1].map(|k| (axis[k] - rays.centre[k]) / rays.unit);
    vanishing.map(|v| Vector3::new(v.x - offset[0] * v.z, v.y - offset[1] * v.z, v.z))
}

/// The focal length in half diagonals; `None` where the directions cannot be at right angles.
fn focal(horizontal: &Vector3<f64>, vertical: &Vector3<f64>) -> Option<f64> {
    let dot = horizontal.x * vertical.x + horizontal.y * vertical.y;
    let square = -dot / (horizontal.z * vertical.z);
    (square.is_finite() && square > 0.0).then(|| square.sqrt())
}

/// The map that shows the plane from its front, as large as it is at the picture's middle, which stays in place. `horizontal`
/// and `vertical` are vanishing points, `axis` is where the camera's axis meets the picture. `None` where they do not
/// belong to directions at right angles.
pub(super) fn rectified(
    rays: &Rays,
    vanishing: [Vector3<f64>; 2],
    axis: [f64; 2],
) -> Option<Projective<RectifiedPx, UndistortedPx>> {
    let [h, v] = from_axis(rays, vanishing, axis);
    let focal = focal(&h, &v)?;
    let direction = |v: Vector3<f64>| Vector3::new(v.x / focal, v.y / focal, v.z).normalize();
    let (mut right, mut down) = (direction(h), direction(v));
    // A vanishing point lies at either end of its lines: to the right, and down.
    if right.x < 0.0 {
        right = -right;
    }
    if down.y < 0.0 {
        down = -down;
    }
    let away = right.cross(&down);
    if away.z <= 1e-6 {
        return None;
    }
    let turn = Matrix3::from_rows(&[right.transpose(), down.transpose(), away.transpose()]);
    let f = focal * rays.unit;
    let ray = Matrix3::new(
        1.0 / f,
        0.0,
        -axis[0] / f,
        0.0,
        1.0 / f,
        -axis[1] / f,
        0.0,
        0.0,
        1.0,
    );
    let map = Projective::<RectifiedPx, UndistortedPx>::from_matrix(turn * ray)?;
    let middle = Point::new(rays.centre[0], rays.centre[1]);
    let scale = map.jacobian(middle).determinant().abs().sqrt();
    let place = map.apply(middle);
    let shift = [middle.x - place.x / scale, middle.y - place.y / scale];
    (scale.is_finite() && scale > 0.0).then(|| {
        let adjust = Projective::<RectifiedPx, RectifiedPx>::similarity(1.0 / scale, 0.0, shift);
        adjust.after(&map)
    })
}
