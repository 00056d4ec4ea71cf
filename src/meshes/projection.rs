//! The camera that a model is drawn from: a 3 x 4 matrix with a depth that tells what is nearer, for parallel projection, too.
//!
//! Over a plane the depth D = z / (1 + q z), z along the sight from the model's middle and 1/q the distance to the camera, is affine on
//! the picture: so a facet needs its corners' depths alone. Where q = 0 (parallel projection) it is z.
use super::model::{Model, cross, dot, length};

/// How much nearer than the model's middle, in parts of its distance, something may come to the camera: what is nearer is cut off.
const NEAR: f64 = 0.02;
/// A matrix whose depth falls by more than this over the model, in parts of its distance, shows it mirrored; what is less is the rounding
/// of a parallel projection or the noise of a camera found by a fit.
const MOST_REVERSED: f64 = 0.05;

/// Why nothing can be drawn with a matrix.
#[derive(Clone, Copy, Debug, PartialEq, Eq, thiserror::Error)]
#[non_exhaustive]
pub enum ProjectionError {
    /// The matrix is not that of a camera.
    #[error(
        "the matrix of the camera takes the model to a point or a line; give three rows of four numbers that take (x, y, z, 1) in \
         millimetres to pixels"
    )]
    Singular,
    /// All of the model lies behind the camera, or the matrix mirrors.
    #[error(
        "with this matrix the camera looks at the model mirrored or from within its back; check the signs of its rows, and that x runs \
         right, y down"
    )]
    Mirrored,
}

impl ProjectionError {
    /// A short name of the fault that stays the same from version to version.
    pub fn code(self) -> &'static str {
        match self {
            Self::Singular => "camera-singular",
            Self::Mirrored => "camera-mirrored",
        }
    }
}

/// A camera for drawing one model.
#[derive(Clone, Copy, Debug)]
pub struct Projection {
    /// Takes model millimetres to homogeneous pixels; the last row is 1 in the model's middle and above 0 in front of the camera.
    rows: [[f64; 4]; 3],
    /// The numerator of the depth.
    depth: [f64; 4],
}

/// A place as the camera sees it: homogeneous x, y, w, and the depth's numerator.
pub(super) type Seen = [f64; 4];

impl Projection {
    /// The camera of a matrix that takes model millimetres (x, y, z, 1) to pixels, homogeneous: (0.5, 0.5) is the first pixel's centre,
    /// x runs right, y down.
    ///
    /// # Errors
    /// [`ProjectionError`].
    pub fn new(matrix: [[f64; 4]; 3], model: &Model) -> Result<Self, ProjectionError> {
        let used = || {
            model
                .facets()
                .iter()
                .flatten()
                .map(|i| model.vertices()[*i as usize])
        };
        let [least, greatest] = model.model_box();
        let middle: [f64; 3] = std::array::from_fn(|k| (least[k] + greatest[k]) / 2.0);
        let size = length(std::array::from_fn(|k| greatest[k] - least[k]));
        let sign = side_in_front(&matrix, used().map(|place| at(&matrix[2], place)));
        // The middle itself may lie behind a camera that stands within the model.
        let w = |place: [f64; 3]| sign * at(&matrix[2], place);
        let centre = if w(middle) > 0.0 {
            middle
        } else {
            used()
                .max_by(|a, b| w(*a).total_cmp(&w(*b)))
                .unwrap_or(middle)
        };
        let scale = sign / w(centre).abs();
        if !scale.is_finite() || w(centre) <= 0.0 {
            return Err(ProjectionError::Singular);
        }
        let rows = matrix.map(|row| row.map(|v| v * scale));
        let sight = sight(&rows, centre).ok_or(ProjectionError::Singular)?;
        let fall = dot(linear(&rows[2]), sight) * size;
        if !fall.is_finite() || fall < -MOST_REVERSED {
            return Err(ProjectionError::Mirrored);
        }
        let [x, y, z] = sight;
        Ok(Self {
            rows,
            depth: [x, y, z, -dot(sight, centre)],
        })
    }

    /// A place as the camera sees it.
    pub(super) fn see(&self, place: [f64; 3]) -> Seen {
        let [x, y, w] = self.rows.map(|row| at(&row, place));
        [x, y, w, at(&self.depth, place)]
    }

    /// The direction of sight in the model's middle, of length 1.
    pub(super) fn sight(&self) -> [f64; 3] {
        linear(&self.depth)
    }

    /// Where the matrix takes a place, pixels; `None` behind the camera and too near to it.
    pub fn pixel(&self, place: [f64; 3]) -> Option<[f64; 2]> {
        let seen = self.see(place);
        is_in_front(seen).then(|| [seen[0] / seen[2], seen[1] / seen[2]])
    }
}

/// Whether a place is in front of the camera and not too near.
pub(super) fn is_in_front(seen: Seen) -> bool {
    seen[2] >= NEAR
}

/// The place on the way from `a`, in front, to `b`, behind, that is just not too near.
pub(super) fn cut(a: Seen, b: Seen) -> Seen {
    let share = (a[2] - NEAR) / (a[2] - b[2]);
    let mut place: Seen = std::array::from_fn(|k| a[k] + share * (b[k] - a[k]));
    place[2] = NEAR;
    place
}

fn at(row: &[f64; 4], place: [f64; 3]) -> f64 {
    dot(linear(row), place) + row[3]
}

fn linear(row: &[f64; 4]) -> [f64; 3] {
    [row[0], row[1], row[2]]
}

/// The sign that w has in front of the camera: that of all of the model; where it lies on both sides, that of a matrix that does not
/// mirror.
fn side_in_front(matrix: &[[f64; 4]; 3], ws: impl Iterator<Item = f64>) -> f64 {
    let (mut has_positive, mut has_negative) = (false, false);
    for w in ws {
        has_positive |= w > 0.0;
        has_negative |= w < 0.0;
    }
    let [a, b, c] = matrix.each_ref().map(linear);
    match (has_positive, has_negative) {
        (true, true) => dot(cross(a, b), c).signum(),
        (false, true) => -1.0,
        _ => 1.0,
    }
}

/// The direction in which a place stays on its pixel, away from the viewer, of length 1.
fn sight(rows: &[[f64; 4]; 3], place: [f64; 3]) -> Option<[f64; 3]> {
    let [x, y] = [&rows[0], &rows[1]].map(|row| at(row, place));
    let derivative = |row: &[f64; 4], pixel: f64| -> [f64; 3] {
        std::array::from_fn(|k| row[k] - pixel * rows[2][k])
    };
    let (right, down) = (derivative(&rows[0], x), derivative(&rows[1], y));
    let away = cross(right, down);
    let is_flat = length(away) <= 1e-9 * length(right) * length(down);
    (!is_flat && length(away).is_normal()).then(|| away.map(|v| v / length(away)))
}
