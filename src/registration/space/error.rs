//! Why a photo's camera cannot be solved.
use crate::rectification;

/// Why a photo's camera cannot be solved.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
#[non_exhaustive]
pub enum Error {
    /// The screen in the photo cannot be rectified.
    #[error(transparent)]
    Rectify(#[from] rectification::Error),
    /// The screen's aspect is not stated.
    #[error(
        "camera: the aspect of the screen's picture is not stated; state \"aspect\" beside the \"corners\", or \"screen_corners\": \"none\" where they are those of a rectangle on the subject"
    )]
    NoAspect,
    /// Too few marks with places on the model.
    #[error(
        "camera: {found} datum landmark{} a place on the model (\"model_mm\"), {reason} needs {needed}; give {} more, 8 or more so that a wrong mark is noticed",
        if *found == 1 { " has" } else { "s have" }, needed - found
    )]
    TooFewPlaces {
        /// How many there are.
        found: usize,
        /// How many it takes.
        needed: usize,
        /// What needs them.
        reason: &'static str,
    },
    /// Places that determine no camera.
    #[error(
        "camera: the places of the datum landmarks on the model ({names}) lie on one {what}; mark others, far apart in all three directions"
    )]
    PlacesInLine {
        /// "point" or "line".
        what: &'static str,
        /// Names of the landmarks.
        names: String,
    },
    /// Places in a plane where the screen's corners are not known.
    #[error(
        "camera: the places of the datum landmarks on the model ({names}) lie in one plane, and the screen's corners are not in the photo; mark some nearer and farther, or the corners"
    )]
    PlacesInPlane {
        /// Names of the landmarks.
        names: String,
    },
    /// Marks that determine no camera.
    #[error(
        "camera: no camera shows the places of the datum landmarks ({names}) where they are marked; see whether marks are mixed up and \"model_mm\" is in millimetres of one model"
    )]
    NoCamera {
        /// Names of the landmarks.
        names: String,
    },
    /// More than half of the marks contradict the others.
    #[error(
        "camera: {wrong} of {all} datum landmarks contradict the others, so nothing tells which are right; see whether the places (\"model_mm\") belong to these marks and to this model"
    )]
    Contradict {
        /// Marks that were left out.
        wrong: usize,
        /// Marks there are.
        all: usize,
    },
    /// Two photos of one camera that differ in size.
    #[error(
        "camera: the photo has {} x {} pixels and that of the view \"{view}\", whose camera it is said to be taken with (\"same_as\"), {} x {}; one of them was cropped or reduced: leave \"same_as\" out",
        size.0, size.1, other.0, other.1
    )]
    OtherSize {
        /// Width and height of the photo.
        size: (u32, u32),
        /// The view of the other one.
        view: String,
        /// Its width and height.
        other: (u32, u32),
    },
    /// Photos that determine nothing together.
    #[error(
        "camera: the photos of \"together\" determine no cameras and parts; see whether landmarks of the same name are the same point in each of them"
    )]
    NotTogether,
    /// Marks that fit the mirror image of the places.
    #[error(
        "camera: {wrong} of {all} datum landmarks contradict the others as they are, and {left} once the model is mirrored: the picture is turned left to right, or an axis of \"model_mm\" has the wrong sign; mend that, or mark the picture as it was taken"
    )]
    MirrorImage {
        /// Marks that contradict the others.
        wrong: usize,
        /// Marks there are.
        all: usize,
        /// Marks that do so once the places are mirrored.
        left: usize,
    },
    /// A stated focal length that the marks contradict.
    #[error(
        "camera: the stated focal length, {px:.0} px to {percent:.1} %, contradicts the marks, which ask for {found} ({deviations:.1} deviations apart); see whether it belongs to this picture at this size, or leave it out"
    )]
    FocalContradicts {
        /// What is stated, pixels of the picture.
        px: f64,
        /// Its standard deviation, per cent.
        percent: f64,
        /// What the marks ask for, in words.
        found: String,
        /// How far both lie apart, in standard deviations.
        deviations: f64,
    },
    /// Places whose mirror images fit: seen from the other side, a mirrored model looks smaller where it is nearer.
    #[error(
        "camera: the datum landmarks are seen smaller where they are nearer ({deviations:.0} deviations of noise), so the places on the model are a mirror image; see whether two axes of \"model_mm\" are exchanged or one has the wrong sign"
    )]
    Mirrored {
        /// How far the perspective lies below 0, in its standard deviations.
        deviations: f64,
    },
}

impl Error {
    /// Stable code for scripts.
    pub fn code(&self) -> &'static str {
        match self {
            Self::Rectify(error) => error.code(),
            Self::NoAspect => "screen-without-aspect",
            Self::TooFewPlaces { .. } => "too-few-places",
            Self::PlacesInLine { .. } => "places-in-line",
            Self::PlacesInPlane { .. } => "places-in-plane",
            Self::NoCamera { .. } => "no-camera",
            Self::Contradict { .. } => "marks-contradict",
            Self::OtherSize { .. } => "same-as-other-size",
            Self::NotTogether => "not-together",
            Self::MirrorImage { .. } => "mirror-image",
            Self::FocalContradicts { .. } => "focal-contradicts",
            Self::Mirrored { .. } => "places-mirrored",
        }
    }
}
