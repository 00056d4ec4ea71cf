//! Points of the subject measured in a photo: where the sight through a mark meets the plane at a known depth.
//!
//! A mark `u` is the camera's picture of the place: `f(x, P) = u`, with the camera's numbers `x` and one coordinate of `P` known. To
//! first order `B dP = du + b dc - A dx`: `A`, `B`, `b` are derivatives of `f` by the numbers, by the two coordinates that are asked
//! for and by the known one `c`. A mark that carries the camera moves `x` too: `dx = C A' S^-1 (du + b dc)`.
//!
//! # Source
//! JCGM 100:2008 (GUM), eq. 13; Newton's method for the sight.
use super::{
    attitudes,
    error::Error,
    photo::{Photo, SpaceMark, Units},
    resection::look_through,
    settings::SPACE,
    solving::{Row, predicted},
};
use crate::statistics::t_quantile;
use nalgebra::{DMatrix, DVector, Matrix2, Matrix2x3, Matrix2xX, Matrix3xX, Vector2, Vector3};

/// Steps of Newton's method: each squares the error.
const MOST_STEPS: usize = 30;
/// A step that is smaller, in sizes of the datum, is the last one.
const AT_REST: f64 = 1e-12;

/// Why a mark's place cannot be told.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum NotPlaced {
    /// Its mark contradicts the others or was exchanged.
    InDoubt,
    /// The camera looks along the plane.
    EdgeOn,
    /// The sight does not meet the plane before the camera.
    NotShown,
}

/// A place that was measured.
#[derive(Clone, Debug)]
struct Placed {
    /// Along the two axes, model millimetres.
    at: Vector2<f64>,
    /// Derivatives by the camera's numbers, millimetres.
    by_camera: Matrix2xX<f64>,
    /// Derivatives by what is its own, in standard deviations: the mark's x and y, the depth.
    by_own: Matrix2x3<f64>,
    /// Covariance of what is its own with the camera's numbers, where it carries the camera.
    with_camera: Option<Matrix3xX<f64>>,
}

/// All marks of a photo, measured at the depths of their places on the model.
#[derive(Clone, Debug)]
pub(crate) struct MeasuredPlaces {
    places: Vec<Result<Placed, NotPlaced>>,
    /// `covariance = root * root'` of the camera's numbers.
    root: DMatrix<f64>,
    freedom: f64,
    mark_sigma_px: f64,
    has_second: bool,
}

impl MeasuredPlaces {
    /// Measures all marks, each in the plane across the axis (0, 1, 2: x, y, z) that `depth_along` chooses through its place on the
    /// model. It is told how far a step along each axis moves to the right and down in the picture.
    ///
    /// # Errors
    /// As [`resect`](super::resect).
    pub(crate) fn new(
        photo: &Photo,
        marks: &[SpaceMark],
        depth_along: impl FnOnce([[f64; 2]; 3]) -> usize,
    ) -> Result<Self, Error> {
        let looked = look_through(photo, marks)?;
        let cleaned = &looked.cleaned;
        let sigma = cleaned.problem.sigma * cleaned.factor;
        let middle = predicted(
            &cleaned.solved.camera,
            cleaned.problem.half,
            &Vector3::zeros(),
        );
        let by_point = middle.map_or_else(Matrix2x3::zeros, |seen| seen.by_point);
        let depth = depth_along([0, 1, 2].map(|axis| [by_point[(0, axis)], by_point[(1, axis)]]));
        let sight = Sight {
            camera: &cleaned.solved.camera,
            half: cleaned.problem.half,
            units: &looked.units,
            depth,
            sigma,
        };
        let is_exchanged = |number: usize| cleaned.exchanged.iter().flatten().any(|k| *k == number);
        let of = |k: usize| {
            let number = looked.datum.iter().position(|d| *d == k);
            let is_doubtful = number.is_some_and(|n| !cleaned.kept[n] || is_exchanged(n));
            if is_doubtful {
                return Err(NotPlaced::InDoubt);
            }
            let row = number.map(|n| &cleaned.solved.rows[n]);
            sight.meets(&marks[k], row, &cleaned.solved.root)
        };
        Ok(Self {
            places: (0..marks.len()).map(of).collect(),
            root: cleaned.solved.root.clone(),
            freedom: cleaned.freedom,
            mark_sigma_px: sigma * looked.units.photo_radius,
            has_second: attitudes::second(cleaned, &looked.minima).is_some(),
        })
    }

    /// Whether another camera explains the marks as well.
    pub(crate) fn has_second(&self) -> bool {
        self.has_second
    }

    /// Degrees of freedom of the noise.
    pub(crate) fn freedom(&self) -> f64 {
        self.freedom
    }

    /// Standard deviation of a mark, as stated or as estimated, pixels.
    pub(crate) fn mark_sigma_px(&self) -> f64 {
        self.mark_sigma_px
    }

    /// Where mark `k` lies along the two axes, in the order x, y, z, model millimetres.
    pub(crate) fn place(&self, k: usize) -> Result<Vector2<f64>, NotPlaced> {
        self.places[k].as_ref().map(|p| p.at).map_err(|why| *why)
    }

    /// Half the width of the 95 % interval of a figure with these derivatives by places.
    pub(crate) fn half_width(&self, by: &[(usize, Vector2<f64>)]) -> f64 {
        let placed = || {
            by.iter()
                .filter_map(|(k, d)| Some((self.places[*k].as_ref().ok()?, d)))
        };
        let mut by_camera = DVector::zeros(self.root.nrows());
        for (place, d) in placed() {
            by_camera += place.by_camera.tr_mul(d);
        }
        let mut variance = self.root.tr_mul(&by_camera).norm_squared();
        for (place, d) in placed() {
            let own = place.by_own.tr_mul(d);
            variance += own.norm_squared();
            if let Some(with) = &place.with_camera {
                variance += 2.0 * own.dot(&(with * &by_camera));
            }
        }
        variance.max(0.0).sqrt() * t_quantile(0.975, self.freedom)
    }
}

/// What all sights share.
struct Sight<'a> {
    camera: &'a super::camera::Camera,
    half: [f64; 2],
    units: &'a Units,
    depth: usize,
    /// Standard deviation of a mark, half diagonals.
    sigma: f64,
}

impl Sight<'_> {
    /// The two axes that are asked for.
    fn axes(&self) -> [usize; 2] {
        match self.depth {
            0 => [1, 2],
            1 => [0, 2],
            _ => [0, 1],
        }
    }

    /// Where the sight through a mark meets its plane; `row` is that of a mark that carries the camera.
    fn meets(
        &self,
        mark: &SpaceMark,
        row: Option<&Row>,
        root: &DMatrix<f64>,
    ) -> Result<Placed, NotPlaced> {
        let [first, second] = self.axes();
        let shown = self.units.mark(mark.mark);
        let mut point = self.units.point(mark.place);
        let mut found = None;
        for _ in 0..MOST_STEPS {
            let seen = predicted(self.camera, self.half, &point).ok_or(NotPlaced::NotShown)?;
            let by_axes =
                Matrix2::from_columns(&[seen.by_point.column(first), seen.by_point.column(second)]);
            let inverse = by_axes.try_inverse().ok_or(NotPlaced::EdgeOn)?;
            if facing(&by_axes) < SPACE.least_facing.get() {
                return Err(NotPlaced::EdgeOn);
            }
            let step = inverse * (shown - seen.place);
            point[first] += step.x;
            point[second] += step.y;
            if step.norm() < AT_REST {
                found = Some((seen, inverse));
                break;
            }
        }
        let (seen, inverse) = found.ok_or(NotPlaced::NotShown)?;
        let size = self.units.size;
        let numbers = root.nrows();
        let by_mark = Matrix2::identity() * self.sigma;
        let by_depth: Vector2<f64> =
            seen.by_point.column(self.depth) * (mark.place_sigma_mm / size);
        let own = Matrix2x3::from_columns(&[
            by_mark.column(0).into_owned(),
            by_mark.column(1).into_owned(),
            by_depth,
        ]);
        let by_numbers = seen.by_numbers.columns(0, numbers).into_owned();
        let with_camera = row.map(|row| {
            let of_mark = row.covariance.try_inverse().unwrap_or_else(Matrix2::zeros) * own;
            let by_numbers = row.by_numbers.columns(0, numbers);
            of_mark.tr_mul(&by_numbers) * root * root.transpose()
        });
        let place = self.units.middle + point * size;
        Ok(Placed {
            at: Vector2::new(place[first], place[second]),
            by_camera: inverse * by_numbers * -size,
            by_own: inverse * own * size,
            with_camera,
        })
    }
}

/// The smaller over the larger of the factors by which a plane is shown along its directions: 1 seen square on, 0 edge-on.
fn facing(by_axes: &Matrix2<f64>) -> f64 {
    let values = by_axes.singular_values();
    values.min() / values.max()
}
