//! What can be wrong with a job file, worded: where, what was found, what is allowed, what to do.
mod collected;
mod outside_mark;

pub(super) use collected::Faults;
pub use outside_mark::OutsideMark;

use crate::{
    printable::{on_one_line, shortened},
    units::{LengthError, ScaleError, unit_between},
};
use outside_mark::{lying, named};
use std::{
    fmt,
    path::{Path, PathBuf},
};

/// Faults that are kept; further ones are only counted.
pub const MOST_FAULTS: usize = 200;

/// Why a job file cannot be used.
#[derive(Debug)]
#[non_exhaustive]
pub enum Error {
    /// The file cannot be read at all.
    Unreadable {
        /// The job file.
        file: PathBuf,
        /// What the operating system says.
        source: std::io::Error,
    },
    /// The file was read and is faulty.
    Faulty {
        /// The job file.
        file: PathBuf,
        /// All that is wrong, at least one.
        faults: Vec<Fault>,
        /// How many more there are beyond [`MOST_FAULTS`].
        more: usize,
    },
}

impl Error {
    /// Stable code for scripts.
    pub fn code(&self) -> &'static str {
        match self {
            Self::Unreadable { .. } => "job-unreadable",
            Self::Faulty { .. } => "job-faulty",
        }
    }

    /// The faults of the file; empty where it could not be read.
    pub fn faults(&self) -> &[Fault] {
        match self {
            Self::Unreadable { .. } => &[],
            Self::Faulty { faults, .. } => faults,
        }
    }

    /// The error of a job file with this fault alone.
    #[cfg(feature = "draw")]
    pub(crate) fn from_fault(file: &Path, fault: Fault) -> Self {
        Self::one(file, &fault.pointer, fault.kind)
    }

    pub(super) fn one(file: &Path, pointer: &str, kind: FaultKind) -> Self {
        let mut faults = Faults::default();
        faults.push(pointer, kind);
        faults.into_error(file)
    }
}

impl fmt::Display for Error {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Unreadable { file, source } => {
                let file = on_one_line(&file.display().to_string());
                write!(f, "{file}: cannot be read: {source}")
            }
            Self::Faulty { file, faults, more } => {
                let file = on_one_line(&file.display().to_string());
                for (index, fault) in faults.iter().enumerate() {
                    let end = if index == 0 { "" } else { "\n" };
                    write!(f, "{end}{file}: {fault}")?;
                }
                if *more > 0 {
                    write!(f, "\n{file}: and {more} more faults")?;
                }
                Ok(())
            }
        }
    }
}

impl std::error::Error for Error {
    fn source(&self) -> Option<&(dyn std::error::Error + 'static)> {
        match self {
            Self::Unreadable { source, .. } => Some(source),
            Self::Faulty { .. } => None,
        }
    }
}

/// One thing that is wrong in a job file.
#[derive(Clone, Debug, PartialEq)]
pub struct Fault {
    /// Where, as a JSON pointer such as `/views/0/name`; empty for the file as a whole.
    pub pointer: String,
    /// What.
    pub kind: FaultKind,
}

impl Fault {
    /// What was found, what is allowed, what to do; one line.
    pub fn text(&self) -> String {
        on_one_line(&self.kind.to_string())
    }

    /// Stable code for scripts.
    pub fn code(&self) -> &'static str {
        self.kind.code()
    }
}

impl fmt::Display for Fault {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self.pointer.as_str() {
            "" => f.write_str(&self.text()),
            pointer => write!(f, "{}: {}", on_one_line(pointer), self.text()),
        }
    }
}

/// Such as ` (0.1 times as far from each other: 10 lies between millimetres and centimetres)`.
fn in_times(times: f64) -> String {
    let unit = match unit_between(times.max(1.0 / times)) {
        Some((factor, units)) => format!(": {factor} lies between {units}"),
        None => String::new(),
    };
    let digits = if times < 1.0 { 3 } else { 1 };
    format!(" ({times:.digits$} times as far from each other{unit})")
}

/// A file of a job that is not there, in a sentence without its full stop; `named` is what names it.
pub(crate) fn no_file_in_words(path: &Path, named: &str) -> String {
    let path = path.display();
    format!(
        "there is no file {path}, which {named} names; put it there, or mend the name (it is taken relative to the job file)"
    )
}

macro_rules! fault_kinds {
    ($($(#[$meta:meta])* $code:literal $name:ident $({ $($(#[$field_meta:meta])* $field:ident: $ty:ty,)+ })?)+) => {
        /// What is wrong.
        #[derive(Clone, Debug, PartialEq, thiserror::Error)]
        #[non_exhaustive]
        pub enum FaultKind {
            /// A length that cannot be used.
            #[error(transparent)]
            Length(#[from] LengthError),
            /// A scale that cannot be used.
            #[error(transparent)]
            Scale(#[from] ScaleError),
            $($(#[$meta])* $name $({ $($(#[$field_meta])* $field: $ty,)+ })?,)+
        }

        impl FaultKind {
            /// Stable code for scripts.
            pub fn code(&self) -> &'static str {
                match self {
                    Self::Length(error) => error.code(),
                    Self::Scale(error) => error.code(),
                    $(Self::$name { .. } => $code,)+
                }
            }
        }
    };
}

fault_kinds! {
    /// Larger than a job file can sensibly be.
    #[error("the file is larger than {} MB; a job file holds marks, images stay in their own files", most / (1 << 20))]
    "file-too-large" FileTooLarge {
        /// Bytes allowed.
        most: u64,
    }
    /// Bytes that are not UTF-8.
    #[error("byte {offset} is not UTF-8; save the file as UTF-8. A job is a text; from pictures \"tickstrip new\" starts one")]
    "file-not-utf-8" NotUtf8 {
        /// Bytes before it.
        offset: usize,
    }
    /// Text that is not JSON.
    #[error("not JSON: {text}")]
    "file-not-json" NotJson {
        /// What is wrong, with its line and column.
        text: String,
    }
    /// A key that the format does not have.
    #[error("no key \"{key}\" here; {advice}")]
    "unknown-key" UnknownKey {
        /// The key.
        key: String,
        /// The nearest known key, or all of them.
        advice: String,
    }
    /// A key that must be there.
    #[error("the key \"{key}\" is missing")]
    "missing-key" MissingKey {
        /// The key.
        key: String,
    }
    /// A value of the wrong type.
    #[error("found {found}; it must be {expected}")]
    "wrong-type" WrongType {
        /// What was found.
        found: String,
        /// What is allowed.
        expected: String,
    }
    /// A text that is none of the allowed ones.
    #[error("found {found}; allowed are {allowed}")]
    "not-allowed" NotAllowed {
        /// What was found.
        found: String,
        /// What is allowed.
        allowed: String,
    }
    /// A list or text that is too short or too long, a number too small or too large.
    #[error("found {found}; it must {limit}")]
    "out-of-range" OutOfRange {
        /// What was found.
        found: String,
        /// What is allowed.
        limit: String,
    }
    /// A name used twice.
    #[error("the {what} name \"{name}\" is used already at {first}; names must differ")]
    "duplicate-name" DuplicateName {
        /// What has the name.
        what: &'static str,
        /// The name.
        name: String,
        /// Pointer to the first use.
        first: String,
    }
    /// A name of spaces, or with line breaks.
    #[error("the name {name:?} cannot be printed on one line; use letters, digits and signs, no space at either end")]
    "bad-name" BadName {
        /// The name.
        name: String,
    }
    /// A view name that cannot be a folder.
    #[error("the view name {name:?} cannot be a folder name: {reason}; allowed are letters, digits, spaces, - _ and points")]
    "bad-view-name" BadViewName {
        /// The name.
        name: String,
        /// Why not.
        reason: &'static str,
    }
    /// Neither an image nor a drawn one.
    #[error("the render has no picture; name its \"image\", or state \"drawn\": true to have the job's \"model\" drawn; leave \"render\" out where there is none yet and \"tickstrip measure\" is to measure the reference alone")]
    "no-render" NoRender
    /// Something of a render in a view that has none.
    #[error("the view names no \"render\", and \"{key}\" says something of one; name the render's image, or leave \"{key}\" out")]
    "without-render" WithoutRender {
        /// The key.
        key: &'static str,
    }
    /// A deviation of a length that is not there.
    #[error("\"sigma\" says how well a length is known, and neither \"full_size\" nor \"model\" is stated; state one, or leave \"sigma\" out")]
    "sigma-of-no-length" SigmaOfNoLength
    /// Something of a drawn render that it has by itself.
    #[error("the render is drawn, and has its \"{key}\" from the mesh and the camera of the reference; leave \"{key}\" out")]
    "beside-drawn" BesideDrawn {
        /// The key.
        key: &'static str,
    }
    /// A drawn render of a reference with an unknown lens.
    #[error("the render is drawn, which follows no lens that only the landmarks tell; state \"straight_lines\" in \"rectify\", or leave \"lens\" out")]
    "lens-of-drawn" LensOfDrawn
    /// A registration that a drawn render does not have.
    #[error("the render is drawn by the camera that its landmarks tell, and laid over its reference by a projective registration; leave \"registration\" out")]
    "registration-of-drawn" RegistrationOfDrawn
    /// A plane of the subject, which a drawn render does not need.
    #[error("the render is drawn by the camera that its landmarks tell, which shows planes of the subject as it saw them; of \"rectify\" it needs the corners of a screen and \"straight_lines\": leave \"{key}\" out")]
    "plane-of-drawn" PlaneOfDrawn {
        /// The key.
        key: &'static str,
    }
    /// A landmark that cannot be seen in a drawn render.
    #[error("the landmark \"{name}\" has no \"model_mm\", by which it is found in a drawn render; state its place on the model, or leave it out")]
    "no-place-of-drawn" NoPlaceOfDrawn {
        /// The name.
        name: String,
    }
    /// A drawn render without a mesh.
    #[error("the render is to be drawn, and the job names no mesh; add \"model\": {{ \"files\": [\"pump.obj\"], \"unit\": \"mm\" }} to the job")]
    "drawn-without-model" DrawnWithoutModel
    /// Two view names that differ in capitals only.
    #[error("the view names \"{name}\" and \"{other}\" are the same folder on some systems; change one")]
    "duplicate-view-name" DuplicateViewName {
        /// The name.
        name: String,
        /// The earlier one.
        other: String,
    }
    /// A landmark that the view does not have.
    #[error("no landmark \"{name}\"; {known}")]
    "unknown-landmark" UnknownLandmark {
        /// The name.
        name: String,
        /// Which one may have been meant, and which ones there are.
        known: String,
    }
    /// Both ends of a distance are one landmark.
    #[error("both ends are the landmark \"{name}\"; name two different ones")]
    "same-landmark" SameLandmark {
        /// The name.
        name: String,
    }
    /// A landmark listed twice in a region.
    #[error("the landmark \"{name}\" is listed twice")]
    "landmark-listed-twice" LandmarkListedTwice {
        /// The name.
        name: String,
    }
    /// Too few different corners.
    #[error("the outline has {found} different corners; it needs 3 or more")]
    "outline-too-few" OutlineTooFew {
        /// Different corners.
        found: usize,
    }
    /// All corners on one line.
    #[error("the corners of the outline lie on one line; it must enclose an area")]
    "outline-flat" OutlineFlat
    /// Edges that cross.
    #[error("the outline crosses itself: the edge after corner {first} meets the edge after corner {second} (counted from 0); give the corners in order")]
    "outline-crosses" OutlineCrosses {
        /// Index of a corner.
        first: usize,
        /// Index of a corner.
        second: usize,
    }
    /// Corners in the wrong direction.
    #[error("the corners run counter-clockwise; give them as top left, top right, bottom right, bottom left")]
    "corners-counter-clockwise" CornersCounterClockwise
    /// Corners in the wrong order.
    #[error("the sides between the corners cross; give them as top left, top right, bottom right, bottom left")]
    "corners-crossed" CornersCrossed
    /// A corner that points inwards.
    #[error("corner {index} (counted from 0) points inwards; the picture of a rectangle is convex")]
    "corners-not-convex" CornersNotConvex {
        /// Index of the corner.
        index: usize,
    }
    /// Three corners on one line, or two in one place.
    #[error("corner {index} (counted from 0) lies on one line with its neighbours; three corners of a rectangle never do")]
    "corners-in-line" CornersInLine {
        /// Index of the corner.
        index: usize,
    }
    /// An aspect that is not two numbers.
    #[error("the aspect {found} cannot be read; write \"16:9\", \"2.39:1\", a number such as 1.85, or \"210 mm x 297 mm\"")]
    "aspect-unreadable" AspectUnreadable {
        /// The aspect.
        found: String,
    }
    /// An aspect that is no shape.
    #[error("the aspect is {found}; width over height must be from 0.01 to 100")]
    "aspect-out-of-range" AspectOutOfRange {
        /// The aspect.
        found: String,
    }
    /// One side of the aspect has a unit.
    #[error("the aspect \"{found}\" has a unit on one side only; give both or neither")]
    "aspect-half-unit" AspectHalfUnit {
        /// The aspect.
        found: String,
    }
    /// Nothing to rectify by.
    #[error("nothing is stated to rectify by; give \"corners\", \"points\", \"horizontal\" and \"vertical\", or \"straight_lines\"")]
    "rectify-by-nothing" RectifyByNothing
    /// Two statements about the plane.
    #[error("both {first} and {second} are stated; they may contradict each other: keep one")]
    "rectify-twice" RectifyTwice {
        /// Key or keys.
        first: &'static str,
        /// Key or keys.
        second: &'static str,
    }
    /// A key that only a rectangle has.
    #[error("\"{key}\" belongs to the corners of a rectangle, and no \"corners\" are stated; leave it out or give them")]
    "needs-corners" NeedsCorners {
        /// The key.
        key: &'static str,
    }
    /// Too few points of a figure.
    #[error("{found} points; a plane figure needs 4 or more")]
    "plane-points-too-few" PlanePointsTooFew {
        /// How many there are.
        found: usize,
    }
    /// Points that do not determine a map.
    #[error("all points but one lie on one line (by their \"{key}\"); mark 4 or more of which no three are on one line")]
    "plane-points-in-line" PlanePointsInLine {
        /// `reference` or `at`.
        key: &'static str,
    }
    /// Points whose figure is the mirror image of the picture's.
    #[error("the figure is the mirror image of what the picture shows; in \"at\" x runs to the right and y down")]
    "plane-points-mirrored" PlanePointsMirrored
    /// Too few lines of a direction.
    #[error("{found} \"{key}\" line{}; each of \"horizontal\" and \"vertical\" needs 2 or more", if *found == 1 { "" } else { "s" })]
    "plane-lines-too-few" PlaneLinesTooFew {
        /// The direction.
        key: &'static str,
        /// How many there are.
        found: usize,
    }
    /// A line whose direction cannot be told.
    #[error("the line is {found:.1} px long; mark points at least 10 px apart, better across the picture")]
    "line-too-short" LineTooShort {
        /// Its length, px.
        found: f64,
    }
    /// Too few points on a line.
    #[error("line {index} (counted from 0) has {found} different points; it takes 3 or more to see a bend")]
    "straight-line-too-few" StraightLineTooFew {
        /// Index of the line.
        index: usize,
        /// Different points.
        found: usize,
    }
    /// Too little to find an axis and check it.
    #[error("one pair alone gives the axis and nothing to check it by; name another pair, or landmarks on the \"axis\"")]
    "symmetry-too-few" SymmetryTooFew
    /// Calliper readings beside something else than a print.
    #[error("callipers measure a print; state \"kind\": \"print\" in \"render\" where it is a photo of one, else give the length as \"known\"")]
    "measured-without-print" MeasuredWithoutPrint
    /// Two directions on one axis.
    #[error("it lies on the same axis as \"right\"; state the axis of the model that runs down in the render, such as \"-z\"")]
    "same-axis" SameAxis
    /// A silhouette stated twice.
    #[error("both \"mask\" and \"outline\" are stated; keep one, each is the silhouette")]
    "mask-and-outline" MaskAndOutline
    /// An image stated twice.
    #[error("both \"image\" and \"images\" are stated; keep one: \"images\" lists several shots of one scene, the one that is marked first")]
    "image-and-images" ImageAndImages
    /// A shot that is listed twice.
    #[error("this is the same file as entry {first} (counted from 0); name each shot once")]
    "same-shot" SameShot {
        /// Index of the first one.
        first: usize,
    }
    /// A print without a key.
    #[error("\"print\" states nothing; state \"pixel_mm\", \"layer_mm\" or \"viewing_distance_mm\", or leave it out")]
    "print-empty" PrintEmpty
    /// Two different smallest visible errors.
    #[error("{stated} mm is stated, but \"print\" gives {by_print:.3} mm ({reason}); keep one of them")]
    "visible-contradicts" VisibleContradicts {
        /// What is stated.
        stated: f64,
        /// What the print gives.
        by_print: f64,
        /// How it gives it.
        reason: String,
    }
    /// Both ends of a known length are one point.
    #[error("both ends are the point [{}, {}]; mark two different ones", point[0], point[1])]
    "same-point" SamePoint {
        /// The point.
        point: [f64; 2],
    }
    /// A known length between points that have one already.
    #[error("the distance between the same two points is \"{other}\" at {first} already and \"{found}\" here; keep the one that is right")]
    "known-twice" KnownTwice {
        /// Pointer to the first one.
        first: String,
        /// Its words.
        other: String,
        /// The words here.
        found: String,
    }
    /// A point of a known length that no pixel of the image is near.
    #[error("the point [{}, {}] lies outside the {image}, which has {} x {} pixels; mark it in the image as it is on disk", point[0], point[1], size[0], size[1])]
    "point-outside" PointOutside {
        /// The point.
        point: [f64; 2],
        /// "render" or "reference".
        image: &'static str,
        /// Its width and height.
        size: [u32; 2],
    }
    /// A checksum that is none.
    #[error("found {:?}; it must be the BLAKE3 checksum of the image's bytes, 64 hexadecimal digits; take \"marked_on\" out to have it written anew by \"tickstrip mark\"", shortened(found))]
    "bad-checksum" BadChecksum {
        /// What was found.
        found: String,
    }
    /// An image of another size than the one that was marked.
    #[error("view \"{view}\": the {image} {} has {} x {} pixels, and had {} x {} when it was marked: its marks belong to another picture; put that picture back, or mark this one in \"tickstrip mark\" and confirm", file.display(), found[0], found[1], marked[0], marked[1])]
    "marked-on-other-size" MarkedOnOtherSize {
        /// The view.
        view: String,
        /// "render" or "reference".
        image: &'static str,
        /// Its file.
        file: PathBuf,
        /// Its width and height.
        found: [u32; 2],
        /// Those of the image that was marked.
        marked: [u32; 2],
    }
    /// What `new` put into the job and nobody has replaced.
    #[error("{} still where \"tickstrip new\" put {}: placeholders tell nothing; mark points that you see in both images (\"tickstrip mark\"), or take out what you do not need", left.join(", ") + if left.len() == 1 { " is" } else { " are" }, if left.len() == 1 { "it" } else { "them" })]
    "placeholders-left" PlaceholdersLeft {
        /// What it is, such as `the landmark "PLACEHOLDER top left"`.
        left: Vec<String>,
    }
    /// Marks that no pixel of the image is near.
    #[error("{} outside the {image}, which has {} x {} pixels: {}; mark in the image as it is on disk, or see whether it is the image that was marked", lying(what, marks.len() + more), size[0], size[1], named(marks, *more))]
    "marks-outside" MarksOutside {
        /// Such as "landmark".
        what: &'static str,
        /// The first ones.
        marks: Vec<OutsideMark>,
        /// How many more there are.
        more: usize,
        /// "render", "reference" or "picture".
        image: &'static str,
        /// Its width and height.
        size: [u32; 2],
    }
    /// An outline without a part in the image.
    #[error("{what} lies outside the {image}, which has {} x {} pixels; draw it on the image as it is on disk", size[0], size[1])]
    "outline-outside" OutlineOutside {
        /// Which outline.
        what: String,
        /// "render" or "reference".
        image: &'static str,
        /// Its width and height.
        size: [u32; 2],
    }
    /// A known length that no picture of a model or its subject has.
    #[error("the length is {model_mm:e} mm on the model and {px:.1} px long; a millimetre has from 0.001 to 100000 px: see whether the unit, the job's \"scale\" and both ends are right")]
    "known-out-of-scale" KnownOutOfScale {
        /// The length on the model.
        model_mm: f64,
        /// The distance of its ends.
        px: f64,
    }
    /// Neither `full_size` nor `model`.
    #[error("the known length is missing; state \"full_size\" or \"model\", or \"along\" where only the direction is known")]
    "known-without-length" KnownWithoutLength
    /// Both `full_size` and `model`.
    #[error("both \"full_size\" and \"model\" are stated; keep one, the job's scale gives the other")]
    "known-with-two-lengths" KnownWithTwoLengths
    /// A camera that sees no picture.
    #[error("the rows of the camera matrix do not make a camera; three independent rows are needed that take model millimetres to render pixels")]
    "camera-singular" CameraSingular
    /// A number that is far beyond any camera or model.
    #[error("found {found}; the number must be between -1e12 and 1e12")]
    "number-too-large" NumberTooLarge {
        /// The number.
        found: f64,
    }
    /// Two statements about the focal length.
    #[error("both \"{first}\" and \"{second}\" are stated; each tells how far off the camera is: keep one")]
    "focal-twice" FocalTwice {
        /// Key.
        first: &'static str,
        /// Key.
        second: &'static str,
    }
    /// The deviation of no focal length.
    #[error("no focal length is stated that this could be the deviation of; state \"focal_length_px\" or \"focal_length_mm_35\", or leave it out")]
    "percent-of-nothing" PercentOfNothing
    /// A focal length of film for a part of it.
    #[error("a focal length for 35 mm film belongs to the whole picture, and this one is cropped; state \"focal_length_px\", or leave it out")]
    "film-of-cropped" FilmOfCropped
    /// The render's camera is needed.
    #[error("the perspective is to be that of the render, whose camera is not stated; give its \"camera\" (\"matrix\"), or leave this out")]
    "render-without-camera" RenderWithoutCamera
    /// Two statements about the principal point.
    #[error("both \"principal_point_px\" and \"principal_point\": \"cropped\" are stated; keep one, a point that is known is no longer lost by cropping")]
    "principal-twice" PrincipalTwice
    /// A principal point in pixels of a photo of a screen.
    #[error("in a photo of a screen the camera is that of the picture on it, and its principal point has no place in the photo; leave it out, or state \"principal_point\": \"cropped\"")]
    "principal-of-screen" PrincipalOfScreen
    /// Corners that are not marked.
    #[error("the screen's corners are said to be marked, and \"rectify\" has no \"corners\"; mark them, or state \"outside\"")]
    "screen-unmarked" ScreenUnmarked
    /// Corners that are marked.
    #[error("the screen's corners are said to lie outside of the photo, and \"rectify\" has \"corners\"; keep one")]
    "screen-marked" ScreenMarked
    /// A view that the job does not have.
    #[error("no view \"{name}\"; the job has {known}")]
    "unknown-view" UnknownView {
        /// The name.
        name: String,
        /// The nearest names.
        known: String,
    }
    /// A part that no view of those that are taken together marks.
    #[error("no view that is taken \"together\" marks the part \"{name}\"; they have {known}")]
    "unknown-part-of-symmetry" UnknownPartOfSymmetry {
        /// The name.
        name: String,
        /// The parts there are.
        known: String,
    }
    /// A part that is said to mirror more than one.
    #[error("the part \"{name}\" is listed twice; a part has one mirror image")]
    "part-mirrored-twice" PartMirroredTwice {
        /// The name.
        name: String,
    }
    /// A part's axes that nothing uses.
    #[error("no views are taken \"together\", which is what the axes of parts are for; name them, or leave \"axes\" out")]
    "axes-without-together" AxesWithoutTogether
    /// Axes of a part that no view of those that are taken together marks.
    #[error("no view that is taken \"together\" marks the part \"{name}\"; they have {known}")]
    "unknown-part-of-axes" UnknownPartOfAxes {
        /// The name.
        name: String,
        /// The parts there are.
        known: String,
    }
    /// A part whose axes are stated twice.
    #[error("the axes of the part \"{name}\" are stated twice; keep one entry")]
    "axes-stated-twice" AxesStatedTwice {
        /// The name.
        name: String,
    }
    /// A direction that is none.
    #[error("({}, {}, {}) is no direction; give three numbers, not all 0 and of ordinary size, such as [0, 0, 1]", direction[0], direction[1], direction[2])]
    "no-direction" NoDirection {
        /// What is stated.
        direction: [f64; 3],
    }
    /// Axes of a part that are not at right angles.
    #[error("it is at {degrees:.1}° to the \"width\"; state a direction at right angles to it, with three decimals or more")]
    "axes-not-square" AxesNotSquare {
        /// The angle.
        degrees: f64,
    }
    /// Axes of parts that mirror each other and do not.
    #[error("the axes of \"{first}\" and \"{second}\" are no mirror images across {axis}; state for one of them the directions of the other with the {axis} of each reversed")]
    "axes-not-mirrored" AxesNotMirrored {
        /// The first part.
        first: String,
        /// The second one.
        second: String,
        /// The axis across the plane.
        axis: &'static str,
    }
    /// Axes of a part across the plane that the plane does not mirror into each other.
    #[error("the part \"{name}\" is its own mirror image across {axis}, and none of its axes runs along {axis}; state its \"width\" or its \"height\" along {axis}, or both at right angles to it")]
    "axes-not-across" AxesNotAcross {
        /// The part.
        name: String,
        /// The axis across the plane.
        axis: &'static str,
    }
    /// Symmetry that nothing uses.
    #[error("no views are taken \"together\", which is what the symmetry of the model is for; name them, or leave \"symmetry\" out")]
    "symmetry-without-together" SymmetryWithoutTogether
    /// A view listed twice.
    #[error("the view \"{name}\" is listed twice; each photo counts once")]
    "view-listed-twice" ViewListedTwice {
        /// The name.
        name: String,
    }
    /// One name for two places on the model.
    #[error("the landmark \"{name}\" lies at ({}, {}, {}) on the model here and at ({}, {}, {}) in the view \"{view}\"; in views that are taken \"together\" landmarks of one name are one point: mend one, or give it another name", place[0], place[1], place[2], other[0], other[1], other[2])]
    "place-differs" PlaceDiffers {
        /// The landmark.
        name: String,
        /// Its place here.
        place: [f64; 3],
        /// The earlier view.
        view: String,
        /// Its place there.
        other: [f64; 3],
    }
    /// Many names for two places on the model each.
    #[error("{count} landmarks lie elsewhere on the model here than in the view \"{view}\"{}, such as {names}; in views that are taken \"together\" landmarks of one name are one point: mend one of the views{}", times.map_or(String::new(), in_times), times.map_or("", |_| ", \"model_mm\" being millimetres of the model in all of them"))]
    "places-differ" PlacesDiffer {
        /// How many.
        count: usize,
        /// The earlier view.
        view: String,
        /// Distances between the places here, in those of the earlier view, where one number says it.
        times: Option<f64>,
        /// The first few.
        names: String,
    }
    /// Datum in one view, check in the other.
    #[error("the landmark \"{name}\" is datum in one and check in the other of this view and \"{view}\"; in views that are taken \"together\" it is one point of one part: state the same \"use\"")]
    "use-differs" UseDiffers {
        /// The landmark.
        name: String,
        /// The earlier view.
        view: String,
    }
    /// One landmark on two parts.
    #[error("the landmark \"{name}\" belongs to the parts \"{first}\" and \"{second}\"; in views that are taken \"together\" a point lies on one of them: list it there alone")]
    "landmark-of-two-parts" LandmarkOfTwoParts {
        /// The landmark.
        name: String,
        /// The earlier part.
        first: String,
        /// The part here.
        second: String,
    }
    /// The same camera as itself, or as one that is the same as another.
    #[error("\"{name}\" is this view or takes its own camera from another one; name the view where the camera is described")]
    "same-as-chain" SameAsChain {
        /// The view.
        name: String,
    }
    /// A shared camera that is described twice.
    #[error("the camera is that of \"{name}\", and more is stated of it here; state it there")]
    "same-as-and-more" SameAsAndMore {
        /// The view.
        name: String,
    }
    /// Shared cameras of a screen.
    #[error("this reference or that of \"{name}\" is a photo of a screen, whose picture has its own camera; leave this out")]
    "same-as-of-screen" SameAsOfScreen {
        /// The view.
        name: String,
    }
    /// A deviation of no place.
    #[error("the landmark has no \"model_mm\" that this could be the deviation of; state it, or leave this out")]
    "sigma-of-no-place" SigmaOfNoPlace
    /// A path with a zero byte or of spaces only.
    #[error("the path {found:?} cannot be a file")]
    "bad-path" BadPath {
        /// The path.
        found: String,
    }
    /// An image that is not there.
    #[error("{}", no_file_in_words(path, named))]
    "missing-image" MissingImage {
        /// The absolute path.
        path: PathBuf,
        /// What names it.
        named: String,
    }
}
