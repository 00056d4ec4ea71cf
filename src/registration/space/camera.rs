//! A camera that is regular from orthographic to wide angle, with its derivatives.
//!
//! `Xc = R X`, x right, y down, z away from the camera; `u = p + (s (xc, yc) + u0 - p) / (1 + q zc)`. `q` is 1 over the
//! distance: 0 is a parallel projection and nothing special. Lengths are normalised: on the model they count from the
//! middle of the datum marks in sizes of the datum, in pictures from the middle in half diagonals.
//!
//! A photo of a screen goes on by the homography of the screen's corners, a lens by the division model (see
//! [`Lens`](crate::frame::Lens)), both in half diagonals of the photo.
use nalgebra::{Matrix2, Matrix2x3, Matrix3, SMatrix, SVector, Vector2, Vector3};

/// Numbers of a camera without a screen: turn, log s, q, u0, p, lens.
pub(super) const PLAIN: usize = 10;
/// With the eight coordinates of a screen's corners.
pub(super) const WITH_SCREEN: usize = PLAIN + 8;
/// Where each number stands.
pub(super) mod at {
    pub(in crate::registration::space) const LOG_SCALE: usize = 3;
    pub(in crate::registration::space) const PERSPECTIVE: usize = 4;
    pub(in crate::registration::space) const PRINCIPAL: usize = 7;
    pub(in crate::registration::space) const LENS: usize = 9;
    pub(in crate::registration::space) const CORNERS: usize = 10;
}

/// The nearest that a point may come to the camera's plane, in distances of the middle.
const NEAREST: f64 = 0.02;
/// The perspective that steps keep to: below it the marks' depth is reversed, above it they stand around the camera.
const LEAST_PERSPECTIVE: f64 = -0.3;
const MOST_PERSPECTIVE: f64 = 1.8;
/// Perspective below which its logarithm is not taken, and how far one step may take the logarithm.
pub(super) const LEAST_LOG: f64 = 1e-6;
const MOST_GROWTH: f64 = 2.0;
/// Largest coefficient of a lens that steps keep to: that of [`Lens::MOST`](crate::frame::Lens::MOST).
const MOST_LENS: f64 = crate::frame::Lens::MOST;
/// Step of the difference quotients of the screen's map, half diagonals: rounding and curvature both stay below 1e-9.
const CORNER_STEP: f64 = 1e-5;

/// A change of all numbers, of which the first [`PLAIN`] or [`WITH_SCREEN`] are used.
pub(super) type Step = SVector<f64, WITH_SCREEN>;
/// The derivative of a place in a picture by all numbers.
pub(super) type ByNumbers = SMatrix<f64, 2, WITH_SCREEN>;

/// A camera, normalised.
#[derive(Clone, Copy, Debug)]
pub(super) struct Camera {
    /// Model to camera axes.
    pub(super) rotation: Matrix3<f64>,
    /// Logarithm of the scale at the middle of the datum marks.
    pub(super) log_scale: f64,
    /// Size of the datum over its distance along the axis.
    pub(super) perspective: f64,
    /// Image of the middle.
    pub(super) middle: Vector2<f64>,
    /// Principal point.
    pub(super) principal: Vector2<f64>,
    /// Coefficient of the lens.
    pub(super) lens: f64,
    /// Corners of the screen in the photo as it is on disk.
    pub(super) corners: Option<[Vector2<f64>; 4]>,
    /// Whether its focal length is observed: the logarithm of the perspective is then what steps are straight in, so that a
    /// sharp observation of scale over perspective does not bend away under them.
    pub(super) has_focal: bool,
}

impl Camera {
    /// The camera after a small change: a turn to the left of its rotation, then number by number.
    pub(super) fn moved(&self, step: &Step) -> Self {
        let mut moved = *self;
        moved.rotation = turn(Vector3::new(step[0], step[1], step[2])) * self.rotation;
        moved.log_scale += step[at::LOG_SCALE];
        let by = step[at::PERSPECTIVE];
        moved.perspective = if self.has_focal && self.perspective > LEAST_LOG {
            self.perspective
                * (by / self.perspective)
                    .clamp(-MOST_GROWTH, MOST_GROWTH)
                    .exp()
        } else {
            self.perspective + by
        };
        moved.perspective = moved.perspective.clamp(LEAST_PERSPECTIVE, MOST_PERSPECTIVE);
        moved.middle += Vector2::new(step[5], step[6]);
        moved.principal += Vector2::new(step[at::PRINCIPAL], step[at::PRINCIPAL + 1]);
        moved.lens = (self.lens + step[at::LENS]).clamp(-MOST_LENS, MOST_LENS);
        if let Some(corners) = &mut moved.corners {
            for (k, corner) in corners.iter_mut().enumerate() {
                let first = at::CORNERS + 2 * k;
                *corner += Vector2::new(step[first], step[first + 1]);
            }
        }
        moved
    }

    /// How many numbers it has.
    pub(super) fn count(&self) -> usize {
        if self.corners.is_some() {
            WITH_SCREEN
        } else {
            PLAIN
        }
    }

    pub(super) fn scale(&self) -> f64 {
        self.log_scale.exp()
    }

    /// The way from the camera's centre, which lies at `-q` times it, to the middle of the datum: in model axes, per
    /// unit of depth.
    pub(super) fn sight(&self) -> Vector3<f64> {
        let aside = (self.middle - self.principal) * (self.perspective / self.scale());
        self.rotation.transpose() * Vector3::new(aside.x, aside.y, 1.0)
    }

    /// The picture without lens and screen: place, its derivative by the plain numbers and by the point.
    fn film(&self, point: &Vector3<f64>) -> Option<(Vector2<f64>, ByNumbers, Matrix2x3<f64>)> {
        let turned = self.rotation * point;
        let w = 1.0 + self.perspective * turned.z;
        if w.is_nan() || w < NEAREST {
            return None;
        }
        let s = self.scale();
        let aside = turned.xy() * s;
        let offset = (aside + self.middle - self.principal) / w;
        let q = self.perspective;
        let by_turned =
            Matrix2x3::new(s / w, 0.0, -offset.x * q / w, 0.0, s / w, -offset.y * q / w);
        let mut by_numbers = ByNumbers::zeros();
        // A small turn moves the point by its cross product with the point.
        let by_turn = by_turned * -turned.cross_matrix();
        by_numbers.fixed_columns_mut::<3>(0).copy_from(&by_turn);
        by_numbers.set_column(at::LOG_SCALE, &(aside / w));
        by_numbers.set_column(at::PERSPECTIVE, &(offset * (-turned.z / w)));
        by_numbers
            .fixed_columns_mut::<2>(5)
            .copy_from(&(Matrix2::identity() / w));
        by_numbers
            .fixed_columns_mut::<2>(at::PRINCIPAL)
            .copy_from(&(Matrix2::identity() * (1.0 - 1.0 / w)));
        Some((
            self.principal + offset,
            by_numbers,
            by_turned * self.rotation,
        ))
    }
}

/// A small or large turn about an axis (Rodrigues' formula).
pub(super) fn turn(by: Vector3<f64>) -> Matrix3<f64> {
    nalgebra::Rotation3::new(by).into_inner()
}

/// The lens's factor on radii and its derivatives by the square of the radius and by the coefficient; `None` where the
/// lens shows nothing.
fn lens_factor(lens: f64, square: f64) -> Option<(f64, f64, f64)> {
    let inner = 1.0 - 4.0 * lens * square;
    if inner.is_nan() || inner < 1e-6 {
        return None;
    }
    let root = inner.sqrt();
    let divisor = root * (1.0 + root).powi(2);
    Some((
        2.0 / (1.0 + root),
        4.0 * lens / divisor,
        4.0 * square / divisor,
    ))
}

/// Where the point in the photo would be without the lens.
pub(super) fn without_lens(p: Vector2<f64>, lens: f64) -> Vector2<f64> {
    p / (1.0 + lens * p.norm_squared())
}

/// The homography from the picture on a screen, whose half sides are `half`, to its corners in the photo; `None` where
/// three of them lie on one line.
///
/// P. Heckbert, "Fundamentals of texture mapping and image warping" (1989), section 2.2.3.
pub(super) fn screen_map(half: [f64; 2], corners: &[Vector2<f64>; 4]) -> Option<Matrix3<f64>> {
    let [p0, p1, p2, p3] = corners;
    let (d1, d2, sum) = (p1 - p2, p3 - p2, p0 - p1 + p2 - p3);
    let area = d1.perp(&d2);
    if area.abs() < 1e-12 {
        return None;
    }
    let (g, h) = (sum.perp(&d2) / area, d1.perp(&sum) / area);
    let (a, b) = (p1 - p0 + p1 * g, p3 - p0 + p3 * h);
    let of_square = Matrix3::new(a.x, b.x, p0.x, a.y, b.y, p0.y, g, h, 1.0);
    let square = Matrix3::new(
        0.5 / half[0],
        0.0,
        0.5,
        0.0,
        0.5 / half[1],
        0.5,
        0.0,
        0.0,
        1.0,
    );
    Some(of_square * square)
}

/// What lies between the picture and the photo's pixels, prepared for many points.
#[derive(Clone, Debug)]
pub(super) struct Beyond {
    screen: Option<Screen>,
    lens: f64,
}

#[derive(Clone, Debug)]
struct Screen {
    map: Matrix3<f64>,
    /// Derivatives of the map by the lens's coefficient, then by the corners.
    by_numbers: [Matrix3<f64>; 9],
}

impl Beyond {
    /// Of a camera; `half` are the half sides of the picture on the screen. `None` where the corners make no picture.
    pub(super) fn new(camera: &Camera, half: [f64; 2]) -> Option<Self> {
        let lens = camera.lens;
        let Some(corners) = camera.corners else {
            return Some(Self { screen: None, lens });
        };
        let map = |corners: &[Vector2<f64>; 4], lens: f64| {
            screen_map(half, &corners.map(|c| without_lens(c, lens)))
        };
        let slope = |k: usize| {
            let moved = |h: f64| match k.checked_sub(1) {
                None => map(&corners, lens + h),
                Some(k) => {
                    let mut corners = corners;
                    corners[k / 2][k % 2] += h;
                    map(&corners, lens)
                }
            };
            Some((moved(CORNER_STEP)? - moved(-CORNER_STEP)?) / (2.0 * CORNER_STEP))
        };
        let mut by_numbers = [Matrix3::zeros(); 9];
        for (k, entry) in by_numbers.iter_mut().enumerate() {
            *entry = slope(k)?;
        }
        let map = map(&corners, lens)?;
        Some(Self {
            screen: Some(Screen { map, by_numbers }),
            lens,
        })
    }

    /// Out of the screen: the homography.
    fn by_screen(&self, mut seen: Seen) -> Option<Seen> {
        let Some(screen) = &self.screen else {
            return Some(seen);
        };
        let film = seen.place.push(1.0);
        let shown = screen.map * film;
        if shown.z.is_nan() || shown.z < 1e-9 {
            return None;
        }
        let place = shown.xy() / shown.z;
        let row = |moved: Vector3<f64>| (moved.xy() - place * moved.z) / shown.z;
        let by_film = Matrix2::from_columns(&[
            row(screen.map.column(0).into()),
            row(screen.map.column(1).into()),
        ]);
        seen.by_numbers = by_film * seen.by_numbers;
        seen.by_point = by_film * seen.by_point;
        for (k, slope) in screen.by_numbers.iter().enumerate() {
            let column = row(slope * film);
            // The lens's coefficient stands before the corners.
            let at = at::LENS + k;
            let sum = seen.by_numbers.column(at) + column;
            seen.by_numbers.set_column(at, &sum);
        }
        seen.place = place;
        Some(seen)
    }

    fn by_lens(&self, mut seen: Seen) -> Option<Seen> {
        let u = seen.place;
        let (factor, by_square, by_lens) = lens_factor(self.lens, u.norm_squared())?;
        let by_place = Matrix2::identity() * factor + u * u.transpose() * (2.0 * by_square);
        seen.by_numbers = by_place * seen.by_numbers;
        seen.by_point = by_place * seen.by_point;
        let sum = seen.by_numbers.column(at::LENS) + u * by_lens;
        seen.by_numbers.set_column(at::LENS, &sum);
        seen.place = u * factor;
        Some(seen)
    }
}

/// Where a camera shows a point, with derivatives.
#[derive(Clone, Copy, Debug)]
pub(super) struct Seen {
    pub(super) place: Vector2<f64>,
    pub(super) by_numbers: ByNumbers,
    pub(super) by_point: Matrix2x3<f64>,
}

/// Where `camera` shows `point` in the photo as it is on disk; `None` where it does not.
pub(super) fn see(camera: &Camera, beyond: &Beyond, point: &Vector3<f64>) -> Option<Seen> {
    let (place, by_numbers, by_point) = camera.film(point)?;
    let seen = Seen {
        place,
        by_numbers,
        by_point,
    };
    beyond.by_screen(seen).and_then(|seen| beyond.by_lens(seen))
}

#[cfg(test)]
mod tests {
    use super::*;

    const HALF: [f64; 2] = [0.8, 0.6];

    fn camera(perspective: f64, corners: Option<[Vector2<f64>; 4]>) -> Camera {
        Camera {
            rotation: turn(Vector3::new(0.3, -0.7, 0.2)),
            log_scale: -1.2,
            perspective,
            middle: Vector2::new(0.1, -0.05),
            principal: Vector2::new(-0.03, 0.02),
            lens: if corners.is_some() { -0.1 } else { 0.05 },
            corners,
            has_focal: false,
        }
    }

    fn corners() -> [Vector2<f64>; 4] {
        [(-0.7, -0.5), (0.6, -0.6), (0.65, 0.5), (-0.6, 0.45)].map(|(x, y)| Vector2::new(x, y))
    }

    #[test]
    fn derivatives_are_difference_quotients() {
        let point = Vector3::new(0.5, -0.4, 0.6);
        for camera in [
            camera(0.0, None),
            camera(0.5, None),
            camera(-0.1, None),
            camera(0.4, Some(corners())),
        ] {
            let place = |camera: &Camera, point: &Vector3<f64>| {
                let beyond = Beyond::new(camera, HALF).expect("a picture");
                see(camera, &beyond, point).expect("seen")
            };
            let seen = place(&camera, &point);
            let h = 1e-5;
            for k in 0..camera.count() {
                let mut step = Step::zeros();
                step[k] = h;
                let slope = (place(&camera.moved(&step), &point).place
                    - place(&camera.moved(&-step), &point).place)
                    / (2.0 * h);
                // The quotient is good to the square of its step.
                let off = (slope - seen.by_numbers.column(k)).norm();
                assert!(off < 1e-8, "number {k}: {off:e}");
            }
            for k in 0..3 {
                let mut by = Vector3::zeros();
                by[k] = h;
                let slope = (place(&camera, &(point + by)).place
                    - place(&camera, &(point - by)).place)
                    / (2.0 * h);
                assert!((slope - seen.by_point.column(k)).norm() < 1e-8, "axis {k}");
            }
        }
    }

    #[test]
    fn a_screen_s_corners_are_shown_at_its_corners() {
        let corners = corners();
        let map = screen_map(HALF, &corners).expect("a picture");
        for (corner, [x, y]) in
            corners
                .iter()
                .zip([[-1.0, -1.0], [1.0, -1.0], [1.0, 1.0], [-1.0, 1.0]])
        {
            let shown = map * Vector3::new(x * HALF[0], y * HALF[1], 1.0);
            assert!((shown.xy() / shown.z - corner).norm() < 1e-12);
        }
        let in_line = [corners[0]; 4];
        assert!(screen_map(HALF, &in_line).is_none());
    }

    #[test]
    fn the_middle_is_shown_where_it_is_said_to_be_and_nothing_behind_the_camera() {
        let camera = camera(0.5, None);
        let (place, ..) = camera.film(&Vector3::zeros()).expect("seen");
        assert!((place - camera.middle).norm() < 1e-12);
        let behind = camera.sight() * -2.5;
        assert!(camera.film(&behind).is_none());
        // The centre is where the sights meet: a point a little before it is shown in the middle too.
        let before = camera.sight() * -1.5;
        let (place, ..) = camera.film(&before).expect("seen");
        assert!((place - camera.middle).norm() < 1e-12);
    }
}
