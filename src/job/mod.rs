//! The job: what to compare with what, resolved and checked.
//!
//! The other stages see only these types; names are resolved to indices, lengths to millimetres, paths to absolute ones.
mod aspect;
mod builder;
mod camera_file;
mod doubts;
mod error;
mod every;
mod input;
mod interior;
mod layout;
mod marked_on;
mod names;
mod outside;
mod part_axes;
mod print;
pub mod raw;
mod read;
mod rectify;
mod resolve;
mod schema;
mod shapes;
mod slips;
mod starter;
mod structure;
mod surroundings;
mod together;
#[cfg(feature = "draw")]
mod without_render;

pub use builder::{JobBuilder, LandmarkBuilder, ViewBuilder};
pub use camera_file::read_camera;
#[cfg(feature = "draw")]
pub(crate) use doubts::doubts_of;
pub use doubts::{Doubt, doubts};
pub(crate) use error::no_file_in_words;
pub use error::{Error, Fault, FaultKind, MOST_FAULTS, OutsideMark};
pub(crate) use input::{InputError, InputFile, open_input, read_input};
pub use interior::{FocalLength, Interior, PrincipalPoint, ScreenCorners};
pub use layout::document_text;
pub use marked_on::MarkedOn;
pub(crate) use names::listed_with_nearest;
#[cfg(feature = "cli")]
pub(crate) use names::nearest;
#[cfg(feature = "draw")]
pub(crate) use names::{LONGEST_FILE_NAME, is_device_name};
pub use outside::{MarksOutside, marks_outside, rectify_marks_outside};
pub use part_axes::PartAxes;
pub use print::{DEFAULT_SMALLEST_VISIBLE, Print};
#[cfg(feature = "service")]
pub(crate) use read::key_of_view;
pub use read::{MOST_BYTES, missing_images, named_files, parse, read};
pub use rectify::stated_alone as rectify;
pub use schema::schema;
pub(crate) use shapes::centre as centre_of;
pub use starter::{
    StarterModel, StarterOf, is_placeholder, starter, starter_on_model, starter_without_render,
};
pub use together::{ModelSymmetry, Together, TogetherEnd, TogetherLength, TogetherPart};

use crate::{
    frame::{Point, ReferencePx, RenderPx},
    units::{FullSizeMm, ModelMm, ScaleRatio, Unit},
};
use std::path::{Path, PathBuf};

/// A whole job file, checked.
#[derive(Clone, Debug)]
pub struct Job {
    /// Title for sheets and reports.
    pub title: String,
    /// The job file.
    pub file: PathBuf,
    /// BLAKE3 checksum of the job file's bytes, in hexadecimal.
    pub blake3: String,
    /// Scale of the model.
    pub scale: ScaleRatio,
    /// What stands in the title block of sheets.
    pub title_block: TitleBlock,
    /// No correction is proposed for an error smaller than this on the model.
    pub smallest_visible: ModelMm,
    /// How the model is made and looked at, where the job says so.
    pub print: Option<Print>,
    /// Job-wide tolerance.
    pub tolerance: Tolerance,
    /// What is expected of a region's errors before anything is measured.
    pub expected: Expected,
    /// The mesh of the model, where the job names one.
    pub model: Option<ModelSource>,
    /// At least one.
    pub views: Vec<View>,
    /// The views whose references are adjusted together, where the job says so.
    pub together: Option<Together>,
}

impl From<ReferenceKind> for raw::RawKind {
    fn from(kind: ReferenceKind) -> Self {
        match kind {
            ReferenceKind::Photo => Self::Photo,
            ReferenceKind::Plan => Self::Plan,
            ReferenceKind::Screenshot => Self::Screenshot,
            ReferenceKind::Sketch => Self::Sketch,
        }
    }
}

impl Job {
    /// Whether no view has a render: then each reference is measured by itself.
    pub fn compares_nothing(&self) -> bool {
        let has_render = |view: &View| view.render.image != RenderImage::Absent;
        !self.views.iter().any(has_render)
    }

    /// The variants of the subject that the references state, each once, in alphabetical order.
    pub fn variants(&self) -> Vec<&str> {
        let stated = self
            .views
            .iter()
            .filter_map(|v| v.reference.variant.as_deref());
        let each: std::collections::BTreeSet<&str> = stated.collect();
        each.into_iter().collect()
    }
}

/// Fields of a sheet's title block (ISO 7200); what is not stated stays empty, to be filled in by pen.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct TitleBlock {
    /// Identification number; `None`: the job's file name.
    pub number: Option<String>,
    /// Revision index.
    pub revision: Option<String>,
    /// Legal owner.
    pub owner: Option<String>,
    /// Who made it.
    pub creator: Option<String>,
    /// Who approved it.
    pub approved_by: Option<String>,
}

/// What may be tolerated. All numbers are above 0.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Tolerance {
    /// Proportion error of a width, a height or a span, per cent.
    pub proportion_percent: f64,
    /// Offset, on the model.
    pub offset: ModelMm,
    /// Angle or rotation, degrees.
    pub angle_deg: f64,
    /// Least edge overlap above chance, 0 to 1.
    pub edge_overlap: f64,
}

/// Standard deviations of a region's errors before anything is measured: the weak prior that keeps a region with few
/// marks finite.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Expected {
    /// Width and height error, per cent.
    pub size_percent: f64,
    /// Rotation, degrees.
    pub rotation_deg: f64,
    /// Offset in x and in y, per cent of the render's diagonal.
    pub offset_percent: f64,
    /// Stretch, shear and keystone that a projective registration of a rectified reference still has, per cent at the
    /// farthest landmark; six times as much where the reference's camera stands elsewhere.
    pub keystone_percent: f64,
}

/// A direction along an axis of the model.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct ModelDirection {
    /// 0, 1, 2: x, y, z.
    pub axis: usize,
    /// Against the axis.
    pub is_against: bool,
}

/// The axes of the model that run to the right and down in a render that looks along the third.
///
/// # Guarantees
/// The two are different axes.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct ViewAxes {
    right: ModelDirection,
    down: ModelDirection,
}

impl ViewAxes {
    /// `None` where both lie on the same axis.
    pub fn new(right: ModelDirection, down: ModelDirection) -> Option<Self> {
        (right.axis != down.axis).then_some(Self { right, down })
    }

    /// To the right.
    pub fn right(&self) -> ModelDirection {
        self.right
    }

    /// Down.
    pub fn down(&self) -> ModelDirection {
        self.down
    }
}

/// One render paired with one reference.
#[derive(Clone, Debug)]
pub struct View {
    /// Unique in the job; usable as a folder name.
    pub name: String,
    /// The image of the model.
    pub render: RenderSource,
    /// The image of the subject.
    pub reference: ReferenceSource,
    /// Index of the landmark from which places on the reference alone are counted, where the job names one.
    pub origin: Option<usize>,
    /// Whether both images have the same camera.
    pub same_camera: bool,
    /// Which way the axes of the model run in the render, where that is known.
    pub axes: Option<ViewAxes>,
    /// Compare although the edges of both images agree no better than chance around the datum marks.
    pub marks_are_right: bool,
    /// Kind of the registration.
    pub registration: RegistrationKind,
    /// Points marked in both images; names are unique in the view.
    pub landmarks: Vec<Landmark>,
    /// Known lengths between landmarks.
    pub known: Vec<Known>,
    /// What a calliper read on the print, where the render is a photo of it; each is a known length of the render as well.
    pub measured: Vec<CalliperReading>,
    /// Distances to judge.
    pub spans: Vec<Span>,
    /// Angles to judge.
    pub angles: Vec<Angle>,
    /// Landmarks that are symmetric on the subject.
    pub symmetry: Option<Symmetry>,
    /// Parts to judge; names are unique in the view.
    pub regions: Vec<Region>,
}

impl View {
    /// The landmarks that carry its registration.
    pub fn datum(&self) -> impl Iterator<Item = &Landmark> {
        let landmarks = self.landmarks.iter();
        landmarks.filter(|l| l.usage == LandmarkUse::Datum)
    }
}

/// Landmarks that are symmetric on the subject, as indices.
///
/// # Guarantees
/// No landmark is listed twice, and the axis is determined with at least one observation to spare.
#[derive(Clone, Debug)]
pub struct Symmetry {
    /// One on either side.
    pub pairs: Vec<[usize; 2]>,
    /// On the axis.
    pub axis: Vec<usize>,
}

/// The mesh of the model.
#[derive(Clone, Debug)]
pub struct ModelSource {
    /// At least one.
    pub files: Vec<ModelFile>,
    /// Unit of the files' lengths, where it is stated.
    pub unit: Option<Unit>,
    /// Facets that meet at a greater angle than this make an edge, degrees; `None`: as
    /// [`CREASE_DEG`](crate::meshes::CREASE_DEG).
    pub crease_deg: Option<f64>,
    /// Names of the parts that are right; empty: the landmarks alone say so.
    pub datum: Vec<String>,
    /// Names of the parts that "symmetry" says are mirror images, where it is stated.
    pub mirrored: Vec<MirroredPart>,
}

/// A part that the symmetry of the model names.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct MirroredPart {
    /// Where in the job, as a JSON pointer.
    pub pointer: String,
    /// Its name.
    pub name: String,
}

/// A file of the mesh.
#[derive(Clone, Debug)]
pub struct ModelFile {
    /// Absolute path.
    pub path: PathBuf,
    /// The part that all of it is; `None`: its objects are parts.
    pub part: Option<String>,
}

/// Where the image of the model comes from.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum RenderImage {
    /// An image file, by its absolute path.
    File(PathBuf),
    /// The model is drawn from its mesh, as the camera of the reference sees it. What such a view says of the render (marks, camera,
    /// regions) is there once it is drawn; marks are at (0, 0) until then.
    Drawn,
    /// There is none: the reference is measured alone. Marks in it are at (0, 0), and mean nothing.
    Absent,
}

impl RenderImage {
    /// The file, where it comes from one.
    pub fn file(&self) -> Option<&Path> {
        match self {
            Self::File(path) => Some(path),
            Self::Drawn | Self::Absent => None,
        }
    }
}

impl From<PathBuf> for RenderImage {
    fn from(path: PathBuf) -> Self {
        Self::File(path)
    }
}

/// The render and what is known about it.
#[derive(Clone, Debug)]
pub struct RenderSource {
    /// Where it comes from.
    pub image: RenderImage,
    /// The content that its marks were set on, where the job says so.
    pub marked_on: Option<MarkedOn>,
    /// What sort of picture it is.
    pub kind: RenderKind,
    /// Standard deviation of a mark in x and in y; `None`: estimate it.
    pub mark_sigma_px: Option<f64>,
    /// Silhouette.
    pub mask: Mask,
    /// Absolute path of a further picture of the same view, whose edges tell which of the render's are the shape's.
    pub shape: Option<PathBuf>,
    /// 3 x 4 matrix that takes model millimetres to render pixels.
    pub camera: Option<[[f64; 4]; 3]>,
}

/// The reference's file and what is known about it.
#[derive(Clone, Debug)]
pub struct ReferenceSource {
    /// Absolute path; of several shots, the first, on which the marks are set.
    pub image: PathBuf,
    /// Absolute paths of further shots of the same scene, which are laid over the first.
    pub more_shots: Vec<PathBuf>,
    /// The content that its marks were set on, where the job says so.
    pub marked_on: Option<MarkedOn>,
    /// What sort of picture it is.
    pub kind: ReferenceKind,
    /// Where the picture comes from, for sheets.
    pub source: Option<String>,
    /// Where in a recording the picture is, for sheets.
    pub time_code: Option<String>,
    /// Which variant of the subject it shows.
    pub variant: Option<String>,
    /// Free text for sheets.
    pub note: Option<String>,
    /// By what right the picture is used, for sheets.
    pub rights: Option<String>,
    /// What to rectify by.
    pub rectify: Option<Rectify>,
    /// What is done about the screen that it shows.
    pub screen: Screen,
    /// What is known of the camera that took it.
    pub interior: Interior,
    /// Standard deviation of a mark in x and in y; `None`: estimate it.
    pub mark_sigma_px: Option<f64>,
    /// Silhouette.
    pub mask: Mask,
}

impl ReferenceSource {
    /// All shots of the scene, the first one first; one where it is a single image.
    pub fn shots(&self) -> impl Iterator<Item = &Path> {
        let more = self.more_shots.iter().map(PathBuf::as_path);
        std::iter::once(self.image.as_path()).chain(more)
    }

    /// Where in the reference of a job file a shot is named, as the end of a JSON pointer.
    pub fn key_of_shot(&self, index: usize) -> String {
        match self.more_shots.is_empty() {
            true => "image".to_owned(),
            false => format!("images/{index}"),
        }
    }
}

/// Where a silhouette comes from.
#[derive(Clone, Debug, PartialEq)]
pub enum Mask {
    /// There is none.
    None,
    /// The image's own alpha channel.
    Alpha,
    /// An image file (absolute path): dark or transparent is outside.
    Image(PathBuf),
    /// Corners in order, pixels of the image as it is on disk, x first; three or more that enclose an area.
    Outline(Vec<[f64; 2]>),
}

/// What sort of picture a render is.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum RenderKind {
    /// An image of the model.
    #[default]
    Model,
    /// A drawing, compared with another drawing.
    Plan,
    /// A photo of the finished print.
    Print,
}

/// What sort of picture a reference is.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum ReferenceKind {
    /// A photograph, also of a screen.
    Photo,
    /// A drawing with lines, to scale.
    Plan,
    /// A screenshot of an earlier version.
    Screenshot,
    /// A drawing by hand.
    Sketch,
}

/// What is done about a screen in the reference before edges are looked for.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Screen {
    /// Pixel grid and moire.
    pub descreen: Descreen,
    /// Patches of glare.
    pub glare: Handling,
    /// Letterbox bars.
    pub letterbox: Handling,
}

/// Whether patterns are filtered out.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum Descreen {
    /// In a photo, those that cover nearly all of the screen.
    #[default]
    Auto,
    /// In any picture, also those that cover a part.
    On,
    /// None.
    Off,
}

/// Whether something found in the reference is dealt with.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum Handling {
    /// Where it is found.
    #[default]
    Auto,
    /// Not at all.
    Off,
}

/// What the reference is rectified by.
#[derive(Clone, Debug)]
pub struct Rectify {
    /// What is known of the plane.
    pub plane: KnownPlane,
    /// Points along lines that are straight in reality, at least three different ones each; empty: the lens is taken to
    /// bend nothing.
    pub straight_lines: Vec<Vec<Point<ReferencePx>>>,
}

/// What is known of a plane in the reference.
#[derive(Clone, Debug)]
pub enum KnownPlane {
    /// Four corners of a rectangle.
    Rectangle(Rectangle),
    /// Points of a known figure: at least four, no point marked twice.
    Figure(Vec<PlanePoint>),
    /// Lines of two directions at right angles, at least two each.
    Lines(PlaneLines),
    /// Nothing: only the lens is corrected.
    Unknown,
}

/// Four corners of something known to be a rectangle.
#[derive(Clone, Debug)]
pub struct Rectangle {
    /// Top left, top right, bottom right, bottom left, as the rectangle is when upright.
    ///
    /// # Guarantees
    /// They make a convex quadrilateral, in clockwise order on the screen.
    pub corners: [Point<ReferencePx>; 4],
    /// Width over height of the rectangle, above 0; `None`: to be found from the view.
    pub aspect: Option<f64>,
    /// Whether the corners are to be refined by the edges near them.
    pub find_bezel: bool,
}

/// A point of a known plane figure.
#[derive(Clone, Copy, Debug)]
pub struct PlanePoint {
    /// Its mark in the reference as it is on disk.
    pub reference: Point<ReferencePx>,
    /// Where it is on the figure, x right, y down.
    pub at: [FullSizeMm; 2],
}

/// Lines of two directions at right angles, each by two different points.
#[derive(Clone, Debug)]
pub struct PlaneLines {
    /// At least two.
    pub horizontal: Vec<[Point<ReferencePx>; 2]>,
    /// At least two.
    pub vertical: Vec<[Point<ReferencePx>; 2]>,
}

/// The transform that takes the rectified reference to the render.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum RegistrationKind {
    /// Scale, rotation, shift.
    Similarity,
    /// Also shear and a second scale.
    Affine,
    /// Also keystone.
    Projective,
}

impl RegistrationKind {
    /// The kind as the job file writes it.
    pub fn name(self) -> &'static str {
        match self {
            Self::Similarity => "similarity",
            Self::Affine => "affine",
            Self::Projective => "projective",
        }
    }
}

/// A named point marked in both images.
#[derive(Clone, Debug)]
pub struct Landmark {
    /// Unique in the view.
    pub name: String,
    /// Its mark in the render.
    pub render: Point<RenderPx>,
    /// Its mark in the reference as it is on disk.
    pub reference: Point<ReferencePx>,
    /// What the mark is for.
    pub usage: LandmarkUse,
    /// Where the point is on the model, millimetres.
    pub model_mm: Option<[f64; 3]>,
    /// The part of the model's mesh that it lies on, where the job says so.
    pub part: Option<String>,
    /// Standard deviation of that place along each axis, millimetres; `None`: it is exact.
    pub model_sigma_mm: Option<f64>,
    /// What the mark is set on; `None` where the job does not say and nobody looked.
    pub on: Option<MarkOn>,
    /// Standard deviations of its marks in the render and in the reference, pixels of each, where the job states them for
    /// this landmark.
    pub sigma_px: [Option<f64>; 2],
}

/// What a mark is set on.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum MarkOn {
    /// A corner, an end, a crossing.
    Corner,
    /// The outermost point of a smooth outline, whose unit tangent in the render this is; `None` where nobody looked for it
    /// or it was not found.
    Outline(Option<[f64; 2]>),
    /// The middle of something round.
    Centre,
}

/// What a landmark is for.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum LandmarkUse {
    /// It carries the registration.
    Datum,
    /// It is only measured.
    Check,
}

/// Which of the two images of a view.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Side {
    /// The render.
    Render,
    /// The reference.
    Reference,
}

impl Side {
    /// The render, then the reference.
    pub const BOTH: [Self; 2] = [Self::Render, Self::Reference];

    /// As the job file has it.
    pub fn name(self) -> &'static str {
        match self {
            Self::Render => "render",
            Self::Reference => "reference",
        }
    }
}

/// A known length, a known direction, or both, between two points of one image.
///
/// # Guarantees
/// The two ends differ, and `length` or `along` is stated.
#[derive(Clone, Debug)]
pub struct Known {
    /// The image whose scale it gives.
    pub side: Side,
    /// One end.
    pub from: End,
    /// The other end.
    pub to: End,
    /// The length, on the full-size object; above 0.
    pub length: Option<FullSizeMm>,
    /// Standard deviation of the length, where it is stated.
    pub sigma: Option<FullSizeMm>,
    /// How the line runs on the drawing.
    pub along: Option<Axis>,
    /// The length as the job file words it, for messages; empty where there is none.
    pub text: String,
}

/// What a calliper read on a print between two landmarks.
///
/// # Guarantees
/// The two differ, `length` and `sigma` are above 0.
#[derive(Clone, Debug)]
pub struct CalliperReading {
    /// Index of a landmark.
    pub from: usize,
    /// Index of another one.
    pub to: usize,
    /// The reading.
    pub length: ModelMm,
    /// Its standard deviation, where it is stated.
    pub sigma: Option<ModelMm>,
}

impl Known {
    /// The line in words, such as `"tank front" to [120, 40]`.
    pub fn ends_in_words(&self, landmarks: &[Landmark]) -> String {
        let end = |end: End| match end {
            End::Landmark(i) => landmarks
                .get(i)
                .map_or_else(String::new, |l| format!("\"{}\"", l.name)),
            End::Point([x, y]) => format!("[{x}, {y}]"),
        };
        format!("{} to {}", end(self.from), end(self.to))
    }
}

/// One end of a known length.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum End {
    /// Index of a landmark.
    Landmark(usize),
    /// A point of the image that the length is known in, pixels of the image as it is on disk.
    Point([f64; 2]),
}

/// How a line runs on a drawing that is not turned.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Axis {
    /// Horizontally.
    Horizontal,
    /// Vertically.
    Vertical,
}

/// The distance between two landmarks.
#[derive(Clone, Debug)]
pub struct Span {
    /// Unique among the view's spans.
    pub name: String,
    /// Index of a landmark.
    pub from: usize,
    /// Index of another landmark.
    pub to: usize,
    /// The tolerance that holds for it.
    pub tolerance: Tolerance,
}

/// The inclination of a span, or the angle between two spans.
#[derive(Clone, Debug)]
pub struct Angle {
    /// Unique among the view's angles.
    pub name: String,
    /// Index of a landmark.
    pub from: usize,
    /// Index of another landmark.
    pub to: usize,
    /// The span it is measured against (indices of two landmarks); `None`: against the render's x axis.
    pub against: Option<[usize; 2]>,
    /// The tolerance that holds for it.
    pub tolerance: Tolerance,
}

/// A named outline on the render.
#[derive(Clone, Debug)]
pub struct Region {
    /// Unique in the view.
    pub name: String,
    /// At least three corners, not all on one line.
    pub outline: Vec<Point<RenderPx>>,
    /// Indices of the landmarks that lie on this part.
    pub landmarks: Vec<usize>,
    /// The point at which its offset is stated.
    pub anchor: Point<RenderPx>,
    /// The tolerance that holds for it.
    pub tolerance: Tolerance,
    /// Free text for sheets.
    pub note: Option<String>,
}
