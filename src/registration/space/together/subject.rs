//! What is known of the subject, and along which axes the errors of its parts are, beside the photos: lengths on it, and that it is the mirror image of itself.
use crate::job::PartAxes;
use nalgebra::Vector3;

/// What is adjusted beside the cameras, and what is known of it.
#[derive(Clone, Debug)]
pub struct Subject {
    /// Parts that have errors.
    pub parts: usize,
    /// Axes of the first of them; parts that are not listed have those of the model.
    pub axes: Vec<PartAxes>,
    /// Where errors of parts are stated, model millimetres; of parts that are not listed, or have none here, in the middle of the box of
    /// their marks.
    pub middles: Vec<Option<[f64; 3]>>,
    /// What is expected of the errors of any part.
    pub expected: ExpectedOfParts,
    /// Known lengths. One between two places of the datum tells the size of the whole subject, which is then one more unknown; without
    /// any such the scale of the model is taken as right.
    pub lengths: Vec<SubjectLength>,
    /// The plane that mirrors it.
    pub mirror: Option<SubjectMirror>,
}

impl Subject {
    /// Parts of which nothing is known but what is expected.
    pub fn of(parts: usize, expected: ExpectedOfParts) -> Self {
        Self {
            parts,
            axes: Vec::new(),
            middles: Vec::new(),
            expected,
            lengths: Vec::new(),
            mirror: None,
        }
    }

    /// The axes along which the errors of a part are.
    pub(super) fn axes_of(&self, part: usize) -> PartAxes {
        self.axes.get(part).copied().unwrap_or(PartAxes::OF_MODEL)
    }

    /// Where the errors of a part are stated, where that is given.
    pub(super) fn middle_of(&self, part: usize) -> Option<Vector3<f64>> {
        self.middles.get(part).copied().flatten().map(Vector3::from)
    }
}

/// A known length on the subject.
#[derive(Clone, Debug)]
pub struct SubjectLength {
    /// Its ends.
    pub ends: [SubjectEnd; 2],
    /// The length at the scale of the model, millimetres; above 0.
    pub model_mm: f64,
}

/// An end of a known length.
#[derive(Clone, Copy, Debug)]
pub struct SubjectEnd {
    /// Its place on the model, millimetres.
    pub place_mm: [f64; 3],
    /// The part that it lies on; of the datum that part by which the datum is tested, where it is known.
    pub part: Option<usize>,
    /// Whether it lies on the datum.
    pub is_datum: bool,
}

/// The subject is its own mirror image, and so is the model: errors of one side are those of the other, mirrored. Parts with axes of their
/// own have ones that mirror each other, but for their direction.
#[derive(Clone, Debug)]
pub struct SubjectMirror {
    /// The axis of the model across the plane: 0 for x, 1 for y, 2 for z.
    pub axis: usize,
    /// Where the plane meets it, model millimetres.
    pub at_mm: f64,
    /// Parts that are each other's mirror image.
    pub pairs: Vec<[usize; 2]>,
    /// Parts that are their own.
    pub across: Vec<usize>,
}

/// What is expected of the errors of any part, as standard deviations.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct ExpectedOfParts {
    /// Width, depth and height, per cent.
    pub size_percent: f64,
    /// Turn about each axis, degrees.
    pub rotation_deg: f64,
    /// Offset along each axis, per cent of the diagonal of the photos.
    pub offset_percent: f64,
}
