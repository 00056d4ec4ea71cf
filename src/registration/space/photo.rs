//! What is known of a photo and of the points marked in it, before anything is solved.
use super::{camera::Camera, settings::SPACE};
use crate::{
    frame::{ModelPoint, Point, RectifiedPx, ReferencePx},
    rectification,
};
use nalgebra::{Vector2, Vector3};

/// A photo, and what is known of the camera that took it.
#[derive(Clone, Copy, Debug)]
pub struct Photo {
    /// Width and height, pixels, as it is on disk.
    pub size: (u32, u32),
    /// Standard deviation of a mark in x and in y; `None`: estimated from the residuals.
    pub mark_sigma_px: Option<f64>,
    /// Focal length or perspective.
    pub focal: KnownFocal,
    /// Where the axis meets the picture.
    pub principal_point: KnownPoint,
    /// The lens.
    pub lens: KnownLens,
    /// What the photo shows the picture on, where it is a photo of a screen.
    pub screen: Option<Screen>,
}

/// What is known of a focal length.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum KnownFocal {
    /// Nothing.
    Unknown,
    /// The focal length.
    Length {
        /// Pixels of the picture.
        px: f64,
        /// Standard deviation of its logarithm.
        deviation: f64,
    },
    /// 1 over the distance at a point.
    Perspective {
        /// The plane of depth 0: (a, b, c, d) with `1 + q z = a x + b y + c z + d` up to a factor, of model millimetres.
        depth: [f64; 4],
    },
}

/// What is known of the principal point, pixels of the picture.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum KnownPoint {
    /// Near the middle.
    Middle {
        /// Standard deviation, parts of the picture's diagonal.
        deviation: f64,
    },
    /// Elsewhere.
    At {
        /// Where.
        point: Point<RectifiedPx>,
        /// Standard deviation.
        deviation_px: f64,
    },
}

/// What is known of the lens of the photo.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct KnownLens {
    /// Its coefficient (see [`Lens`](crate::frame::Lens)).
    pub coefficient: f64,
    /// Standard deviation; 0 where it is exact.
    pub deviation: f64,
}

impl KnownLens {
    /// A lens that bends nothing.
    pub const NONE: Self = Self {
        coefficient: 0.0,
        deviation: 0.0,
    };

    /// A lens of a photo that bends little, as nobody has said anything of it.
    pub(crate) fn slight() -> Self {
        Self {
            coefficient: 0.0,
            deviation: SPACE.slight_lens.get(),
        }
    }

    /// A lens of which nothing is known.
    pub fn unknown() -> Self {
        Self {
            coefficient: 0.0,
            deviation: SPACE.unknown_lens.get(),
        }
    }
}

/// The screen that a photo was taken from.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Screen {
    /// Its corners: top left, top right, bottom right, bottom left; `None`: they are not in the photo.
    pub corners: Option<[Point<ReferencePx>; 4]>,
    /// Width and height of the picture on it, pixels of the rectified picture.
    pub picture: [f64; 2],
}

/// A landmark with its place on the model and its mark in the photo.
#[derive(Clone, Debug, PartialEq)]
pub struct SpaceMark {
    /// Its name.
    pub name: String,
    /// Its place.
    pub place: ModelPoint,
    /// Standard deviation of the place along each axis, millimetres.
    pub place_sigma_mm: f64,
    /// Its mark, photo as it is on disk.
    pub mark: Point<ReferencePx>,
    /// Whether it carries the camera; else it is only predicted.
    pub is_datum: bool,
}

/// Units that make all numbers of order 1, and what is known in them.
#[derive(Clone, Debug)]
pub(super) struct Units {
    /// Middle of the datum marks, model millimetres.
    pub(super) middle: Vector3<f64>,
    /// Size of the datum, millimetres.
    pub(super) size: f64,
    /// Half diagonals of the picture and of the photo, pixels.
    pub(super) picture_radius: f64,
    pub(super) photo_radius: f64,
    /// Middles of both, pixels.
    pub(super) picture_middle: Vector2<f64>,
    photo_middle: Vector2<f64>,
}

impl Units {
    pub(super) fn new(photo: &Photo, middle: Vector3<f64>, size: f64) -> Self {
        let own = [f64::from(photo.size.0), f64::from(photo.size.1)];
        let picture = photo.screen.map_or(own, |screen| screen.picture);
        let of = |[width, height]: [f64; 2]| {
            let middle = Vector2::new(width / 2.0, height / 2.0);
            (middle, middle.norm())
        };
        let (picture_middle, picture_radius) = of(picture);
        let (photo_middle, photo_radius) = of(own);
        Self {
            middle,
            size,
            picture_radius,
            photo_radius,
            picture_middle,
            photo_middle,
        }
    }

    pub(super) fn point(&self, place: ModelPoint) -> Vector3<f64> {
        (place.vector() - self.middle) / self.size
    }

    pub(super) fn mark(&self, mark: Point<ReferencePx>) -> Vector2<f64> {
        self.mark_at(Vector2::from(mark.xy()))
    }

    pub(super) fn mark_at(&self, px: Vector2<f64>) -> Vector2<f64> {
        (px - self.photo_middle) / self.photo_radius
    }

    pub(super) fn photo_px(&self, place: Vector2<f64>) -> Vector2<f64> {
        place * self.photo_radius + self.photo_middle
    }

    pub(super) fn picture_px(&self, place: Vector2<f64>) -> Vector2<f64> {
        place * self.picture_radius + self.picture_middle
    }

    /// Half sides of the picture in its half diagonals.
    pub(super) fn half_sides(&self) -> [f64; 2] {
        (self.picture_middle / self.picture_radius).into()
    }

    /// Half sides of the photo in its half diagonals.
    fn photo_half_sides(&self) -> [f64; 2] {
        (self.photo_middle / self.photo_radius).into()
    }
}

/// An observation of one number of the camera beforehand.
#[derive(Clone, Copy, Debug)]
pub(super) struct Observed {
    pub(super) value: f64,
    pub(super) deviation: f64,
}

/// What is observed of the camera before any mark, normalised.
#[derive(Clone, Debug)]
pub(super) struct Beforehand {
    pub(super) principal: [Observed; 2],
    pub(super) lens: Observed,
    pub(super) corners: Option<Corners>,
    /// Logarithm of the focal length in half diagonals.
    pub(super) log_focal: Option<Observed>,
    /// Stated perspective; else what any camera before its subject has.
    pub(super) perspective: Observed,
}

/// The screen's corners in the photo.
#[derive(Clone, Copy, Debug)]
pub(super) struct Corners {
    pub(super) places: [Vector2<f64>; 4],
    pub(super) deviation: f64,
    /// Whether their noise is that of marks, and so goes with its factor.
    pub(super) is_of_marks: bool,
}

/// Smallest deviation of what is exact, half diagonals: far below any mark's, far above rounding.
const EXACT: f64 = 1e-9;
/// Deviation of the perspective of any camera: it stands before its subject, so in sizes of the datum over the distance it
/// is far below this, which only keeps marks that tell nothing of it from leaving it undetermined.
const ANY_PERSPECTIVE: f64 = 10.0;
/// Where corners that are not in the photo are taken to be, in half sides of the photo: their deviation is what counts.
const CORNERS_ABOUT: f64 = 1.0;

impl Beforehand {
    pub(super) fn new(photo: &Photo, units: &Units) -> Self {
        let (principal, deviation) = match photo.principal_point {
            KnownPoint::Middle { deviation } => (Vector2::zeros(), 2.0 * deviation),
            KnownPoint::At {
                point,
                deviation_px,
            } => (
                (Vector2::from(point.xy()) - units.picture_middle) / units.picture_radius,
                deviation_px / units.picture_radius,
            ),
        };
        let deviation = deviation.max(EXACT);
        let principal = [principal.x, principal.y].map(|value| Observed { value, deviation });
        let log_focal = match photo.focal {
            KnownFocal::Length { px, deviation } => Some(Observed {
                value: (px / units.picture_radius).ln(),
                deviation: deviation.max(EXACT),
            }),
            _ => None,
        };
        Self {
            principal,
            lens: Observed {
                value: photo.lens.coefficient,
                deviation: photo.lens.deviation.max(EXACT),
            },
            corners: photo.screen.map(|screen| corners(photo, &screen, units)),
            log_focal,
            perspective: match photo.focal {
                KnownFocal::Perspective { depth } => perspective(depth, units),
                _ => Observed {
                    value: 0.0,
                    deviation: ANY_PERSPECTIVE,
                },
            },
        }
    }

    /// Stated perspective, where one is.
    pub(super) fn stated_perspective(&self) -> Option<f64> {
        (self.perspective.deviation < ANY_PERSPECTIVE).then_some(self.perspective.value)
    }

    /// A camera with what is known beforehand and nothing else.
    pub(super) fn camera(&self) -> Camera {
        Camera {
            rotation: nalgebra::Matrix3::identity(),
            log_scale: 0.0,
            perspective: 0.0,
            middle: Vector2::zeros(),
            principal: Vector2::new(self.principal[0].value, self.principal[1].value),
            lens: self.lens.value,
            corners: self.corners.map(|corners| corners.places),
            has_focal: self.log_focal.is_some(),
        }
    }
}

fn corners(photo: &Photo, screen: &Screen, units: &Units) -> Corners {
    match screen.corners {
        Some(corners) => {
            let sigma = photo
                .mark_sigma_px
                .unwrap_or_else(rectification::mark_sigma_px);
            Corners {
                places: corners.map(|c| units.mark(c)),
                deviation: sigma / units.photo_radius,
                is_of_marks: true,
            }
        }
        None => {
            let [x, y] = units.photo_half_sides().map(|side| CORNERS_ABOUT * side);
            Corners {
                places: [(-x, -y), (x, -y), (x, y), (-x, y)].map(|(x, y)| Vector2::new(x, y)),
                deviation: SPACE.corners_outside.get() * 2.0 * x.max(y),
                is_of_marks: false,
            }
        }
    }
}

/// Perspective of the render at the middle of the datum.
fn perspective([a, b, c, d]: [f64; 4], units: &Units) -> Observed {
    let direction = Vector3::new(a, b, c);
    let depth = direction.dot(&units.middle) + d;
    // Behind the render's camera nothing can be told of it: parallel is as good as any.
    let value = if depth == 0.0 {
        0.0
    } else {
        (direction.norm() / depth.abs() * units.size).min(1.0)
    };
    Observed {
        value,
        deviation: SPACE.as_render_share.get() * value + SPACE.as_render_least.get(),
    }
}
