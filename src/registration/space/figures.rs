//! From a solved camera to figures with intervals.
//!
//! # Source
//! Focal length: E. Fieller, "Some problems in interval estimation", Journal of the Royal Statistical Society B 16 (1954):
//! the interval of a ratio. What depends on the perspective in a bent way: quantiles of draws from the covariance.
use super::{
    camera::{self, Camera, Step, at},
    photo::{KnownPoint, Photo, Units},
    settings::SPACE,
    solving::Solved,
    told::{Told, Untold},
};
use crate::{
    frame::{CameraMatrix, IntoReference, Lens, Point, Projective, RectifiedPx, UndistortedPx},
    statistics::{Measured, t_quantile},
};
use nalgebra::{DVector, Matrix3, Matrix3x4, Vector3};
use std::f64::consts::PI;

/// Draws from the covariance: their quantiles scatter by a thirtieth of the interval.
const DRAWS: usize = 2000;
/// Elevation above which azimuth and roll are one turn, degrees.
const ALONG_Z: f64 = 85.0;
/// An angle that is known worse than this, half a 95 % interval in degrees, is not told.
const MOST_ANGLE: f64 = 45.0;
/// Diagonal of a frame of 35 mm film, 36 mm by 24 mm.
pub(super) const FILM_DIAGONAL: f64 = 43.266_615_305_567_87;

/// One attitude from which the marks may be seen, with its figures.
#[derive(Clone, Debug)]
pub struct Attitude {
    /// Model millimetres to pixels of the picture: the reference with its lens and its screen taken off.
    pub camera: CameraMatrix<RectifiedPx>,
    /// From the picture to the reference as it is on disk.
    pub reference_from_picture: IntoReference<RectifiedPx>,
    /// Focal length, pixels of the picture.
    pub focal_px: Told,
    /// The same for 35 mm film, millimetres, by the diagonal.
    pub focal_35mm: Told,
    /// Angle between the left and the right border, degrees.
    pub field_of_view_deg: Told,
    /// From the camera to the middle of the datum landmarks, model millimetres.
    pub distance_mm: Told,
    /// Place of the camera, model millimetres.
    pub centre_mm: [Told; 3],
    /// Where the camera stands, seen from the middle of the datum landmarks: from the x axis of the model towards its y
    /// axis, degrees.
    pub azimuth_deg: Told,
    /// The same above the plane of the x and the y axis.
    pub elevation_deg: Told,
    /// How far the camera is turned clockwise, as seen from behind it, from where the z axis points up in the picture.
    pub roll_deg: Told,
    /// Where the camera's axis meets the picture, pixels.
    pub principal_point_px: [Measured; 2],
    /// Coefficient of the lens, where it was an unknown.
    pub lens: Option<Measured>,
    /// Direction of the camera's axis, away from it, in model axes; of length 1.
    pub axis: [f64; 3],
    /// What is up in the picture, in model axes; of length 1.
    pub up: [f64; 3],
}

/// What figures are made from.
pub(super) struct Basis<'a> {
    pub(super) photo: &'a Photo,
    pub(super) units: &'a Units,
    pub(super) is_flat: bool,
    /// Degrees of freedom of the noise.
    pub(super) freedom: f64,
}

/// Place and turn of a camera, as far as they are numbers whatever the perspective.
#[derive(Clone, Copy)]
struct Pose {
    perspective: f64,
    /// Logarithm of the distance, sizes of the datum; only for a perspective above 0.
    log_distance: f64,
    centre: Vector3<f64>,
    azimuth: f64,
    elevation: f64,
    roll: f64,
}

impl Pose {
    fn of(camera: &Camera) -> Self {
        let sight = camera.sight();
        let towards = -sight.normalize();
        let forward = camera.rotation.row(2).transpose();
        let right = forward.cross(&Vector3::z());
        let right = right.try_normalize(1e-12).unwrap_or_else(Vector3::x);
        let up_in_picture = -camera.rotation.row(1).transpose();
        let up = right.cross(&forward);
        let perspective = camera.perspective;
        Self {
            perspective,
            log_distance: (sight.norm() / perspective.max(1e-12)).ln(),
            centre: -sight / perspective.max(1e-12),
            azimuth: towards.y.atan2(towards.x),
            elevation: towards.z.clamp(-1.0, 1.0).asin(),
            roll: up_in_picture.dot(&right).atan2(up_in_picture.dot(&up)),
        }
    }
}

impl Basis<'_> {
    /// The figures of a solved camera; `None` where its matrix is no camera.
    pub(super) fn attitude(&self, solved: &Solved) -> Option<Attitude> {
        let camera = &solved.camera;
        let draws = self.draws(solved);
        let focal_px = self.focal(solved).times(self.units.picture_radius);
        let angle = |of: fn(&Pose) -> f64| self.angle(camera, &draws, of);
        let elevation_deg = angle(|pose| pose.elevation);
        let about_z = |of: fn(&Pose) -> f64| {
            let upright = camera.rotation[(2, 2)].abs().min(1.0).asin();
            let is_steep = Pose::of(camera).elevation.abs().max(upright).to_degrees() > ALONG_Z;
            if is_steep {
                Told::Not(Untold::AlongZ)
            } else {
                angle(of)
            }
        };
        let roll_deg = if self.lacks_corners() {
            Told::Not(Untold::ScreenCorners)
        } else {
            about_z(|pose| pose.roll)
        };
        Some(Attitude {
            camera: self.matrix(camera)?,
            reference_from_picture: self.reference_from_picture(camera)?,
            focal_px,
            focal_35mm: self.focal_35mm(focal_px),
            field_of_view_deg: self.field_of_view(focal_px),
            distance_mm: self.distance(solved, &draws),
            centre_mm: self.centre(solved, &draws),
            azimuth_deg: about_z(|pose| pose.azimuth),
            elevation_deg,
            roll_deg,
            principal_point_px: self.principal(solved)?,
            lens: self.lens(solved),
            axis: camera.rotation.row(2).transpose().into(),
            up: (-camera.rotation.row(1).transpose()).into(),
        })
    }

    fn quantile(&self) -> f64 {
        t_quantile(0.975, self.freedom)
    }

    fn lacks_corners(&self) -> bool {
        self.photo.screen.is_some_and(|s| s.corners.is_none())
    }

    pub(super) fn focal(&self, solved: &Solved) -> Told {
        if self.lacks_corners() {
            return Told::Not(Untold::ScreenCorners);
        }
        let is_loose = matches!(self.photo.principal_point, KnownPoint::Middle { deviation }
            if deviation > SPACE.loose_principal_point.get());
        if self.is_flat && is_loose {
            return Told::Not(Untold::PlaneAndPrincipalPoint);
        }
        let ratio = Ratio::of(solved, self.quantile());
        let Some(low) = ratio.low.filter(|low| *low > 0.0) else {
            return Told::Not(Untold::NoPerspective);
        };
        let at_least = |reason| Told::AtLeast { low, reason };
        let figure = ratio
            .high
            .and_then(|high| Measured::new(ratio.value, low, high));
        match figure {
            None => at_least(Untold::NoPerspective),
            Some(_) if ratio.log_deviation > SPACE.most_focal_deviation.get() => {
                at_least(Untold::LittlePerspective)
            }
            Some(figure) => Told::Figure(figure),
        }
    }

    fn focal_35mm(&self, focal_px: Told) -> Told {
        let is_cropped = match self.photo.principal_point {
            KnownPoint::Middle { deviation } => deviation > SPACE.loose_principal_point.get(),
            KnownPoint::At { .. } => false,
        };
        if is_cropped {
            return Told::Not(Untold::Cropped);
        }
        focal_px.times(FILM_DIAGONAL / (2.0 * self.units.picture_radius))
    }

    fn field_of_view(&self, focal_px: Told) -> Told {
        let half = self.units.picture_middle.x;
        let angle = |f: f64| 2.0 * (half / f).atan().to_degrees();
        match focal_px {
            Told::Figure(f) => Measured::new(angle(f.value()), angle(f.high()), angle(f.low()))
                .map_or(Told::Not(Untold::NoPerspective), Told::Figure),
            Told::AtLeast { reason, .. } | Told::Not(reason) => Told::Not(reason),
        }
    }

    /// Cameras drawn from the covariance, as poses; as far from the solved one as the degrees of freedom ask for.
    fn draws(&self, solved: &Solved) -> Vec<Pose> {
        let n = solved.camera.count();
        let wider = self.quantile() / t_quantile(0.975, f64::INFINITY);
        let mut noise = Noise::new();
        let draw = |_| {
            let normal = DVector::from_fn(n, |_, _| noise.normal());
            let by = &solved.root * normal * wider;
            let mut step = Step::zeros();
            step.rows_mut(0, n).copy_from(&by);
            Pose::of(&solved.camera.moved(&step))
        };
        (0..DRAWS).map(draw).collect()
    }

    fn angle(&self, camera: &Camera, draws: &[Pose], of: fn(&Pose) -> f64) -> Told {
        let value = of(&Pose::of(camera));
        let around = |x: f64| (x - value + 3.0 * PI).rem_euclid(2.0 * PI) - PI;
        let figure = interval(value, draws.iter().map(|d| value + around(of(d))));
        match figure.map(|f| f.times(180.0 / PI)) {
            Some(figure) if figure.half_width() < MOST_ANGLE => Told::Figure(figure),
            _ => Told::Not(Untold::LittlePerspective),
        }
    }

    /// Why there is no upper end to the distance; `None` where there is one.
    fn untold_distance(&self, solved: &Solved, draws: &[Pose]) -> Option<Untold> {
        let q = solved.camera.perspective;
        let deviation = solved
            .covariance(at::PERSPECTIVE, at::PERSPECTIVE)
            .max(0.0)
            .sqrt();
        if q - self.quantile() * deviation <= 0.0 {
            return Some(Untold::NoPerspective);
        }
        let logs = || {
            draws
                .iter()
                .filter(|d| d.perspective > 0.0)
                .map(|d| d.log_distance)
        };
        let count = logs().count().max(1) as f64;
        let mean = logs().sum::<f64>() / count;
        let variance = logs().map(|x| (x - mean).powi(2)).sum::<f64>() / count;
        (variance.sqrt() > SPACE.most_focal_deviation.get()).then_some(Untold::LittlePerspective)
    }

    fn distance(&self, solved: &Solved, draws: &[Pose]) -> Told {
        let value = Pose::of(&solved.camera).log_distance;
        let far = |d: &Pose| {
            if d.perspective > 0.0 {
                d.log_distance
            } else {
                f64::MAX.ln()
            }
        };
        let mut sorted: Vec<f64> = draws.iter().map(far).collect();
        sorted.sort_by(f64::total_cmp);
        let size = self.units.size;
        let low = sorted[DRAWS / 40].exp() * size;
        match self.untold_distance(solved, draws) {
            Some(reason) => Told::AtLeast { low, reason },
            None => {
                let high = sorted[DRAWS - 1 - DRAWS / 40].exp() * size;
                let value = value.exp() * size;
                Measured::new(value, low.min(value), high.max(value))
                    .map_or(Told::Not(Untold::NoPerspective), Told::Figure)
            }
        }
    }

    fn centre(&self, solved: &Solved, draws: &[Pose]) -> [Told; 3] {
        if let Some(reason) = self.untold_distance(solved, draws) {
            return [Told::Not(reason); 3];
        }
        let centre = Pose::of(&solved.camera).centre;
        [0, 1, 2].map(|axis| {
            let before = draws.iter().filter(|d| d.perspective > 0.0);
            interval(centre[axis], before.map(|d| d.centre[axis]))
                .map_or(Told::Not(Untold::NoPerspective), |figure| {
                    Told::Figure(figure.times(self.units.size).plus(self.units.middle[axis]))
                })
        })
    }

    fn principal(&self, solved: &Solved) -> Option<[Measured; 2]> {
        let place = self.units.picture_px(solved.camera.principal);
        let axis = |k: usize| {
            let variance = solved.covariance(at::PRINCIPAL + k, at::PRINCIPAL + k);
            let deviation = variance.max(0.0).sqrt() * self.units.picture_radius;
            Measured::from_deviation(place[k], deviation, self.freedom)
        };
        Some([axis(0)?, axis(1)?])
    }

    fn lens(&self, solved: &Solved) -> Option<Measured> {
        if self.photo.lens.deviation == 0.0 {
            return None;
        }
        let deviation = solved.covariance(at::LENS, at::LENS).max(0.0).sqrt();
        Measured::from_deviation(solved.camera.lens, deviation, self.freedom)
    }

    /// Model millimetres to pixels of the picture. A reversed depth within the noise of 0 is a parallel projection.
    pub(super) fn matrix(&self, camera: &Camera) -> Option<CameraMatrix<RectifiedPx>> {
        let units = self.units;
        let s = camera.scale() * units.picture_radius / units.size;
        let q = camera.perspective.max(0.0) / units.size;
        let (middle, principal) = (
            units.picture_px(camera.middle),
            units.picture_px(camera.principal),
        );
        let depth = camera.rotation.row(2) * q;
        let depth_0 = 1.0 - (depth * units.middle).x;
        let mut matrix = Matrix3x4::zeros();
        for k in 0..2 {
            let row = camera.rotation.row(k) * s;
            let own = row + depth * principal[k];
            let constant =
                middle[k] - principal[k] - (row * units.middle).x + principal[k] * depth_0;
            matrix.fixed_view_mut::<1, 3>(k, 0).copy_from(&own);
            matrix[(k, 3)] = constant;
        }
        matrix.fixed_view_mut::<1, 3>(2, 0).copy_from(&depth);
        matrix[(2, 3)] = depth_0;
        CameraMatrix::new(matrix)
    }

    /// The screen's homography and the lens, in pixels.
    pub(super) fn reference_from_picture(
        &self,
        camera: &Camera,
    ) -> Option<IntoReference<RectifiedPx>> {
        let units = self.units;
        let lens = Lens::of_picture(camera.lens, self.photo.size)?;
        let back = match &camera.corners {
            None => Projective::<UndistortedPx, RectifiedPx>::identity(),
            Some(corners) => {
                let corners = corners.map(|c| camera::without_lens(c, camera.lens));
                let map = camera::screen_map(units.half_sides(), &corners)?;
                let to_half = affine(units.picture_radius, units.picture_px(Default::default()))
                    .try_inverse()?;
                let to_px = affine(units.photo_radius, units.photo_px(Default::default()));
                Projective::from_matrix(to_px * map * to_half)?
            }
        };
        let lens_map = crate::frame::FromReference::new(lens, back.inverse());
        Some(lens_map.inverse())
    }
}

/// Half diagonals about a middle to pixels.
fn affine(radius: f64, middle: nalgebra::Vector2<f64>) -> Matrix3<f64> {
    Matrix3::new(radius, 0.0, middle.x, 0.0, radius, middle.y, 0.0, 0.0, 1.0)
}

/// The middle 95 % of values, with the estimate in it.
fn interval(value: f64, values: impl Iterator<Item = f64>) -> Option<Measured> {
    let mut sorted: Vec<f64> = values.collect();
    sorted.sort_by(f64::total_cmp);
    let outside = sorted.len() / 40;
    let low = *sorted.get(outside)?;
    let high = *sorted.get(sorted.len().checked_sub(1 + outside)?)?;
    Measured::new(value, low.min(value), high.max(value))
}

/// Focal length over half a diagonal, s / q, with Fieller's interval.
struct Ratio {
    value: f64,
    low: Option<f64>,
    high: Option<f64>,
    log_deviation: f64,
}

impl Ratio {
    fn of(solved: &Solved, z: f64) -> Self {
        let (s, q) = (solved.camera.scale(), solved.camera.perspective);
        let log = at::LOG_SCALE;
        let of_s = solved.covariance(log, log) * s * s;
        let of_q = solved.covariance(at::PERSPECTIVE, at::PERSPECTIVE);
        let mixed = solved.covariance(log, at::PERSPECTIVE) * s;
        // The f for which s - f q is 0 within its own deviation: a f^2 - 2 b f + c <= 0.
        let a = q * q - z * z * of_q;
        let b = s * q - z * z * mixed;
        let c = s * s - z * z * of_s;
        let root = (b * b - a * c).max(0.0).sqrt();
        let (low, high) = if a > 0.0 && q > 0.0 {
            // The quotient by c does not lose digits where both ends are near each other.
            (Some(c / (b + root)), Some((b + root) / a))
        } else if b + root > 0.0 {
            (Some(c / (b + root)), None)
        } else {
            (None, None)
        };
        let relative = solved.covariance(log, log) + of_q / (q * q) - 2.0 * mixed / (s * q);
        Self {
            value: s / q,
            low: low.filter(|v| v.is_finite()),
            high: high.filter(|v| v.is_finite()),
            log_deviation: if q > 0.0 {
                relative.max(0.0).sqrt()
            } else {
                f64::INFINITY
            },
        }
    }
}

/// Normal noise from a linear congruential generator of a fixed seed (Box and Muller 1958).
struct Noise(u64);

impl Noise {
    fn new() -> Self {
        Self(0x2545_F491_4F6C_DD1D)
    }

    fn uniform(&mut self) -> f64 {
        self.0 = self
            .0
            .wrapping_mul(6_364_136_223_846_793_005)
            .wrapping_add(1_442_695_040_888_963_407);
        ((self.0 >> 11) as f64 + 0.5) / (1_u64 << 53) as f64
    }

    fn normal(&mut self) -> f64 {
        let radius = (-2.0 * libm::log(self.uniform())).sqrt();
        radius * libm::cos(2.0 * PI * self.uniform())
    }
}

/// Points of the picture for the reader: where it shows a place.
pub(super) fn shown(
    attitude: &Attitude,
    place: crate::frame::ModelPoint,
) -> Option<Point<crate::frame::ReferencePx>> {
    let in_picture = attitude.camera.apply(place)?;
    let shown = attitude.reference_from_picture.apply(in_picture);
    shown.x.is_finite().then_some(shown)
}
