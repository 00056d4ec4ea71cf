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
    RegionAwayFromMarks = "region-away-from-marks" "The outline of a part lies elsewhere than its marks.",
    TooFewLandmarks = "too-few-landmarks" "Hardly more datum landmarks than the registration needs.",
    NothingRedundant = "nothing-redundant" "No datum landmark checks the others.",
    RegistrationHides = "registration-hides" "Errors that the kind of registration takes up.",
    NotRectified = "not-rectified" "A photo that nothing rectifies.",
    AspectUnlikeCorners = "aspect-unlike-corners" "The stated aspect and the corners contradict each other.",
    AspectFromView = "aspect-from-view" "The aspect is found from the view alone.",
    NoKnownLength = "no-known-length" "No length is known, so figures are in pixels and per cent.",
    OneImageScaled = "one-image-scaled" "Only one image has a scale, so sizes are not compared absolutely.",
    ModelSizeAbsurd = "model-size-absurd" "The places on the model, or the known lengths, make it absurdly small or large: a unit is asked about.",
    MarksCoincide = "marks-coincide" "Two landmarks lie on one point.",
    MarksAtBorder = "marks-at-border" "Marks a little outside of their picture.",
    AnchorOutside = "anchor-outside" "An anchor outside of the picture.",
    OutlineClipped = "outline-clipped" "An outline that leaves the picture.",
    CornersOutside = "corners-outside" "Corners of a screen outside of the picture.",
    RectificationScatters = "rectification-scatters" "What is marked to rectify by scatters more than its marks should.",
    AspectUnsure = "aspect-unsure" "The view tells the aspect badly.",
    AspectUnlikeView = "aspect-unlike-view" "The stated aspect and the view contradict each other.",
    BezelNotFound = "bezel-not-found" "The corners were not moved onto the bezel.",
    ChangedImage = "changed-image" "An image has changed since it was marked.",
    MarksCarried = "marks-carried" "Marks were carried over to an image that has changed since they were set.",
    HiddenParts = "hidden-parts" "Parts of the mesh that a drawn render does not show.",
    ShotLeftOut = "shot-left-out" "One of several shots of a reference is not used.",
    ImageNote = "image-note" "Something of an image could not be honoured.",
    AlteredDatum = "altered-datum" "A datum part is altered as a whole.",
    DatumPartsDisagree = "datum-parts-disagree" "Datum parts disagree, and nothing tells which is altered.",
    WrongPlace = "wrong-place" "A landmark's place on the model contradicts its mark in the render.",
    CameraMisses = "camera-misses" "The render's camera misses the landmarks' places.",
    ManyWrongMarks = "many-wrong-marks" "So many marks are wrong that the rest may be too.",
    MarksScatter = "marks-scatter" "The datum landmarks scatter beyond what clicks explain.",
    BentPicture = "bent-picture" "The landmarks lie as if a lens had bent the reference.",
    LensByMarks = "lens-by-marks" "The landmarks tell of a lens of which the job says nothing; it was taken off.",
    FarCamera = "far-camera" "The reference's camera stands farther off than was expected.",
    FarFromDatum = "far-from-datum" "The registration is much less well known at a part than at the datum marks.",
    WrongMark = "wrong-mark" "A mark with a gross error is left out.",
    ContradictingMarks = "contradicting-marks" "Two marks of a part, one of them wrong, and nothing tells which.",
    SwappedMarks = "swapped-marks" "Two marks are exchanged.",
    UncontrolledMarks = "uncontrolled-marks" "Marks that nothing else checks.",
    MarksDisagree = "marks-disagree" "The marks disagree more than their stated deviation allows.",
    NotAtRest = "not-at-rest" "The adjustment did not come quite to rest.",
    DatumEdgesRefused = "datum-edges-refused" "The edges of datum parts contradict the datum marks and were not used.",
    ShapeUnlikeRender = "shape-unlike-render" "The further picture of a render's view has hardly any of its edges and was not used.",
    HiddenErrors = "hidden-errors" "Errors that this registration cannot show.",
    Parallax = "parallax" "Depth shows up as offset.",
    NoScale = "no-scale" "Nothing tells a scale.",
    ImplausibleSize = "implausible-size" "The model is several times too large or too small as a whole: a unit is asked about.",
    ViewsDisagree = "views-disagree" "By their known lengths two views show models of very different size: a unit is asked about.",
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

impl Code {
    /// What of the job's doubts a comparison repeats: all its figures, or those of a part, may be of something else.
    pub fn is_repeated(self) -> bool {
        matches!(
            self,
            Self::NotRectified
                | Self::AspectUnlikeCorners
                | Self::AspectUnlikeView
                | Self::RectificationScatters
                | Self::RegionAwayFromMarks
        )
    }

    /// Why no figure of a view with such a warning may be acted on, as the end of a sentence; `None` where the warning does not
    /// put all of them in doubt.
    ///
    /// Figures all hang on the registration. It is in doubt as a whole where its marks may be the wrong ones, where they
    /// scatter so much that all intervals are too narrow, and where they ask for a lens or a camera that are not there.
    ///
    /// It is not by what concerns a part or a mark that is left out already (`altered-datum`, `wrong-mark`, `swapped-marks`,
    /// `wrong-place`); by depth (`parallax`, `camera-misses`), for then offsets are not given; by what is told with its amount
    /// (`not-at-rest`, below 0.1 px, else there is no comparison; `stretched`, `out-of-square`); by scales and lengths, which
    /// leave proportions alone; by `low-edge-overlap`, which clutter lowers as well; nor by what may hold or not (`aspect-from-view`,
    /// `uncontrolled-marks`, and `not-rectified` by itself: beside a `wrong-mark` it does).
    pub fn why_distrusted(self) -> Option<&'static str> {
        match self {
            Self::DatumPartsDisagree => {
                Some("its datum parts contradict each other, and nothing tells which is altered")
            }
            Self::ManyWrongMarks => Some("so many of its marks are wrong that the rest may be too"),
            Self::MarksScatter => Some("its marks scatter beyond what clicks explain"),
            Self::MarksDisagree => Some("its marks disagree more than is stated of them"),
            Self::BentPicture => Some("its marks lie as if a lens had bent the reference"),
            Self::FarCamera => Some("its marks ask for a camera that stands too far off"),
            Self::AspectUnlikeCorners | Self::AspectUnlikeView => Some(
                "what is stated of its picture's aspect and what it shows contradict each other",
            ),
            _ => None,
        }
    }
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

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_concerns_one_part_or_is_told_with_its_amount_leaves_the_others_trusted() {
        let all = Code::ALL.iter().copied();
        let distrusting: Vec<Code> = all.filter(|c| c.why_distrusted().is_some()).collect();
        let expected = [
            Code::AspectUnlikeCorners,
            Code::AspectUnlikeView,
            Code::DatumPartsDisagree,
            Code::ManyWrongMarks,
            Code::MarksScatter,
            Code::BentPicture,
            Code::FarCamera,
            Code::MarksDisagree,
        ];
        assert_eq!(distrusting, expected);
    }
}
