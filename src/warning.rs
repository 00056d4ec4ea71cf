//! The closed list of what a reader must know to trust or distrust the figures: doubts about a job, warnings of a comparison.
use schemars::JsonSchema;
use serde::Serialize;
use std::fmt;

macro_rules! codes { ($($name:ident = $text:literal $meaning:literal,)+) => {
    /// What a doubt or a warning is about. Its text is stable, for scripts.
    #[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, JsonSchema)]
    #[non_exhaustive]
    pub enum Code {$(
        #[doc = $meaning]
        #[serde(rename = $text)]
        $name,
    )+}

    impl Code {
        /// All there are.
        pub const ALL: &[Self] = &[$(Self::$name),+];

        /// As it is written: lower case with hyphens.
        pub fn as_str(self) -> &'static str {
            match self { $(Self::$name => $text),+ }
        }
    }
}; }

codes! {
    Enlargement = "enlargement" "The model is larger than the subject.",
    MixedVariants = "mixed-variants" "The views do not all show the same variant of the subject.",
    RegionWithoutLandmarks = "region-without-landmarks" "A part has no landmarks of its own.",
    TooFewLandmarks = "too-few-landmarks" "Hardly more datum landmarks than the registration needs.",
    NothingRedundant = "nothing-redundant" "No datum landmark checks the others.",
    RegistrationHides = "registration-hides" "Errors that the kind of registration takes up.",
    NotRectified = "not-rectified" "A photo that nothing rectifies.",
    AspectUnlikeCorners = "aspect-unlike-corners" "The stated aspect and the corners contradict each other.",
    AspectFromView = "aspect-from-view" "The aspect is found from the view alone.",
    NoKnownLength = "no-known-length" "No length is known, so figures are in pixels and per cent.",
    OneImageScaled = "one-image-scaled" "Only one image has a scale, so sizes are not compared absolutely.",
    MarksCoincide = "marks-coincide" "Two landmarks lie on one point.",
    MarksAtBorder = "marks-at-border" "Marks a little outside of their picture.",
    AnchorOutside = "anchor-outside" "An anchor outside of the picture.",
    OutlineClipped = "outline-clipped" "An outline that leaves the picture.",
    CornersOutside = "corners-outside" "Corners of a screen outside of the picture.",
    RectificationScatters = "rectification-scatters" "What is marked to rectify by scatters more than its marks should.",
    AspectUnsure = "aspect-unsure" "The view tells the aspect badly.",
    AspectUnlikeView = "aspect-unlike-view" "The stated aspect and the view contradict each other.",
    BezelNotFound = "bezel-not-found" "The corners were not moved onto the bezel.",
    ImageNote = "image-note" "Something of an image could not be honoured.",
    AlteredDatum = "altered-datum" "A datum part is altered as a whole.",
    DatumPartsDisagree = "datum-parts-disagree" "Datum parts disagree, and nothing tells which is altered.",
    WrongPlace = "wrong-place" "A landmark's place on the model contradicts its mark in the render.",
    CameraMisses = "camera-misses" "The render's camera misses the landmarks' places.",
    ManyWrongMarks = "many-wrong-marks" "So many marks are wrong that the rest may be too.",
    MarksScatter = "marks-scatter" "The datum landmarks scatter beyond what clicks explain.",
    BentPicture = "bent-picture" "The landmarks lie as if a lens had bent the reference.",
    FarCamera = "far-camera" "The reference's camera stands farther off than was expected.",
    WrongMark = "wrong-mark" "A mark with a gross error is left out.",
    SwappedMarks = "swapped-marks" "Two marks are exchanged.",
    UncontrolledMarks = "uncontrolled-marks" "Marks that nothing else checks.",
    MarksDisagree = "marks-disagree" "The marks disagree more than their stated deviation allows.",
    NotAtRest = "not-at-rest" "The adjustment did not come quite to rest.",
    DatumEdgesRefused = "datum-edges-refused" "The edges of datum parts contradict the datum marks and were not used.",
    HiddenErrors = "hidden-errors" "Errors that this registration cannot show.",
    Parallax = "parallax" "Depth shows up as offset.",
    NoScale = "no-scale" "Nothing tells a scale.",
    ImplausibleSize = "implausible-size" "The model is several times too large or too small as a whole: a unit is asked about.",
    ProportionsOnly = "proportions-only" "Only proportions are compared.",
    DoubtfulLength = "doubtful-length" "A known length that is probably misread.",
    ContradictingLengths = "contradicting-lengths" "Known lengths of which nothing tells which is wrong.",
    LengthsRefused = "lengths-refused" "Known lengths that contradict each other throughout.",
    DirectionsRefused = "directions-refused" "Known directions that contradict each other throughout.",
    LengthsDisagree = "lengths-disagree" "Known lengths that scatter beyond their marks.",
    Stretched = "stretched" "The reference is stretched differently along x and y.",
    OutOfSquare = "out-of-square" "Right angles of the drawing are not square in the image.",
    NoEdges = "no-edges" "No edges to compare.",
    LowEdgeOverlap = "low-edge-overlap" "Edges overlap hardly more than by chance.",
    NotSymmetric = "not-symmetric" "The reference is not symmetric where the subject is.",
}

impl fmt::Display for Code {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(self.as_str())
    }
}

impl PartialEq<&str> for Code {
    fn eq(&self, other: &&str) -> bool {
        self.as_str() == *other
    }
}
