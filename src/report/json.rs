//! The report as it is written to `report.json`: its types, and its text.
//!
//! Units stand in the keys. A figure that could not be computed is null, never 0 and never "not a number"; keys are
//! always there. New keys may be added within one `format_version`; none is renamed or taken away.
mod figure;

pub use crate::measurement::{MeasureKind, Verdict};
pub use figure::{Figure, Pair};

use super::{reference_noise::ReferenceNoiseEntry, revision::RevisionEntry};
use crate::{measurement, warning::Code};
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};
use serde_json::ser::{Formatter, PrettyFormatter, Serializer};
use std::{collections::BTreeMap, io};

/// Value of [`Report::format`].
pub const FORMAT: &str = "tickstrip-report";
/// Value of [`Report::format_version`].
pub const FORMAT_VERSION: u32 = 1;

/// All that a comparison found out.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Report {
    /// Always "tickstrip-report".
    #[schemars(extend("const" = FORMAT))]
    pub format: String,
    /// Raised when a key changes its meaning or goes.
    #[schemars(extend("const" = FORMAT_VERSION))]
    pub format_version: u32,
    /// The program that wrote the report.
    pub program: Program,
    /// What was compared.
    pub job: JobEntry,
    /// The worst verdict of the views and of the parts in space; null where no view could be compared.
    pub verdict: Option<Verdict>,
    /// What concerns more than one view.
    pub warnings: Vec<Warning>,
    /// In the order of the job.
    pub views: Vec<ViewEntry>,
    /// What to change in CAD, over all trusted views: a part's errors behind each other, the worst part first.
    #[serde(default)]
    pub changes: Vec<ChangeEntry>,
    /// What the photos of "together" tell; null where the job names none, or not all of them were compared.
    #[serde(default)]
    pub space: Option<SpaceEntry>,
    /// What became of the model since earlier results; null where none were named.
    #[serde(default)]
    pub revision: Option<RevisionEntry>,
}

/// What the photos of "together" tell: the errors of the parts in space.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct SpaceEntry {
    /// The worst verdict of the parts; null where no part has figures.
    pub verdict: Option<Verdict>,
    /// The photos, as the job lists them.
    pub views: Vec<SpaceViewEntry>,
    /// The parts, the worst first.
    pub parts: Vec<SpacePartEntry>,
    /// Parts that no photo with a camera marks.
    pub unmarked: Vec<String>,
    /// Datum parts one of which contradicts the others, where the marks do not tell which: none was taken out.
    pub datum_disagrees: Vec<String>,
    /// The sheet of the model in space, relative to the report's folder; null where the job has no mesh.
    pub picture: Option<String>,
    /// By how much the model's datum parts are larger than the scale asks for, by known lengths between them; null where none is known.
    pub model_larger_percent: Option<Figure>,
    /// Known lengths on the full-size object between landmarks of these photos.
    pub known: Vec<SpaceLengthEntry>,
    /// By how much what is expected of parts was widened, because they are off by more.
    pub expected_widened: WidenedEntry,
    /// Why the edges of the mesh could not be looked for, and the marks alone tell; null where they could, and where there is no mesh.
    #[serde(default)]
    pub edges_error: Option<ErrorEntry>,
    /// What to change in CAD, the worst first.
    pub corrections: Vec<CorrectionEntry>,
}

/// A known length between two landmarks.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct SpaceLengthEntry {
    /// One end.
    pub from: String,
    /// The other one.
    pub to: String,
    /// As it is stated.
    pub full_size_mm: f64,
    /// As the photos and all other lengths ask for where it is wrong, else as it comes out of all.
    pub asked_full_size_mm: Option<f64>,
    /// Whether it contradicts all else and is left out.
    pub wrong: bool,
    /// Whether nothing else checks it.
    pub uncontrolled: bool,
}

/// One of the photos.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct SpaceViewEntry {
    /// Its view.
    pub name: String,
    /// Why its camera could not be told, and it took no part; null where it could.
    pub error: Option<ErrorEntry>,
    /// Three rows of four numbers that take model millimetres (x, y, z, 1) to pixels of its picture, homogeneous.
    pub matrix: Option<[[f64; 4]; 3]>,
    /// Focal length by all photos, pixels; null where it cannot be told.
    pub focal_length_px: Option<Figure>,
    /// Root mean square of the residuals that are left, pixels.
    pub rms_px: Option<f64>,
    /// Standard deviation of a mark, as stated or as estimated, pixels.
    pub mark_sigma_px: Option<f64>,
    /// Landmarks that contradict the others and are left out.
    pub wrong: Vec<String>,
    /// Pairs whose marks were exchanged and are taken the other way round.
    pub exchanged: Vec<[String; 2]>,
    /// Places on edges of the mesh that count in it.
    #[serde(default)]
    pub edge_points: usize,
    /// Whether the edges of the datum parts contradict its marks and are not used.
    #[serde(default)]
    pub datum_edges_contradict: bool,
}

/// Factors on what is expected.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct WidenedEntry {
    /// Of width, depth and height.
    pub size: Option<f64>,
    /// Of turns.
    pub rotation: Option<f64>,
    /// Of offsets.
    pub offset: Option<f64>,
}

/// A part in space: model minus subject, along the axes of the model or the part's own. What cannot be told is null.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct SpacePartEntry {
    /// Its name: that of its regions.
    pub name: String,
    /// Its own x (width), y (depth) and z (height) as directions along those of the model, where the job states them: sizes, turns, offsets
    /// and extent are then along these. Left out: along the axes of the model.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub own_axes: Option<[[f64; 3]; 3]>,
    /// Middle of the box of its landmarks, about which turns, sizes and offsets are stated, model millimetres.
    pub anchor_model_mm: [f64; 3],
    /// How far its landmarks reach along each axis, model millimetres.
    pub extent_model_mm: [f64; 3],
    /// Marks that count, over all photos.
    pub marks: usize,
    /// Views that they are in.
    pub views: Vec<String>,
    /// Size errors.
    pub size_percent: SizesInSpace,
    /// Turns about the axes: from y towards z, from z towards x, from x towards y.
    pub rotation_deg: Triple,
    /// Offsets on the model.
    pub offset_model_mm: Triple,
    /// The same on the full-size object.
    pub offset_full_size_mm: Triple,
    /// What is tolerated.
    pub tolerance: Tolerance,
    /// The worst of what is told; undecided where nothing is.
    pub verdict: Verdict,
    /// The largest error in units of its tolerance.
    pub times_tolerance: Option<f64>,
    /// What the photos do not tell.
    pub cannot_tell: Vec<String>,
    /// Which further photo would tell more.
    pub would_tell: Option<String>,
    /// What to change in CAD.
    pub correction: Option<String>,
    /// Whether its landmarks were to be datum, and contradict those of the other datum parts; then it is measured like any part.
    pub altered_datum: bool,
    /// Places on its edges that count, photo by photo; empty where its marks alone tell it.
    #[serde(default)]
    pub edges: Vec<SpaceEdgesEntry>,
    /// Why edges that were looked for are not used; null where they are, and where no mesh has the part.
    #[serde(default)]
    pub edges_unused: Option<UnusedEdges>,
}

/// Places on edges of a part in one photo.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
pub struct SpaceEdgesEntry {
    /// Its view.
    pub view: String,
    /// How many count.
    pub points: usize,
}

/// Why the edges of a part are not used.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub enum UnusedEdges {
    /// Too few of them are seen.
    TooFew,
    /// They fit no better than displaced ones.
    NoBetterThanChance,
    /// They lead farther from where the marks have the part than those allow.
    AgainstMarks,
}

/// Errors of a part's sizes.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct SizesInSpace {
    /// Along x.
    pub width: Option<Figure>,
    /// Along y.
    pub depth: Option<Figure>,
    /// Along z.
    pub height: Option<Figure>,
}

/// A figure for each axis of the model.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Triple {
    /// Along or about x.
    pub x: Option<Figure>,
    /// Along or about y.
    pub y: Option<Figure>,
    /// Along or about z.
    pub z: Option<Figure>,
}

/// The program that wrote the report.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Program {
    /// Its name.
    pub name: String,
    /// Its version.
    pub version: String,
}

impl Program {
    /// This one.
    pub(super) fn own() -> Self {
        Self {
            name: env!("CARGO_PKG_NAME").to_owned(),
            version: env!("CARGO_PKG_VERSION").to_owned(),
        }
    }
}

/// The job that was compared.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct JobEntry {
    /// Its title.
    pub title: String,
    /// N of the scale 1:N.
    pub scale_denominator: f64,
    /// File name of the job, without its folder.
    pub file: String,
    /// BLAKE3 checksum of the job file, in hexadecimal.
    pub blake3: String,
    /// The tolerance that holds where a part states none of its own.
    pub tolerance: Tolerance,
    /// No correction is proposed for an error smaller than this, model millimetres.
    pub smallest_visible_mm: f64,
    /// What that follows from, such as "pixel 0.05 mm, eye at 300 mm resolves 0.087 mm"; null where it is stated alone.
    pub smallest_visible_reason: Option<String>,
    /// What was expected of parts before anything was measured: figures are drawn towards zero by it a little.
    pub expected: Expected,
}

/// Standard deviations of a part's errors before anything is measured.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Expected {
    /// Width and height error, per cent.
    pub size_percent: f64,
    /// Rotation, degrees.
    pub rotation_deg: f64,
    /// Offset in x and in y, per cent of the render's diagonal.
    pub offset_percent: f64,
    /// Stretch, shear and keystone left in a projective registration of a rectified reference, per cent at the
    /// farthest landmark; six times as much where the cameras differ.
    pub keystone_percent: f64,
}

/// Something the reader must know to trust or distrust the figures.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Warning {
    /// One of a closed list; reports of earlier versions may hold others.
    #[schemars(with = "Code")]
    pub code: String,
    /// For people.
    pub text: String,
}

impl From<&measurement::Warning> for Warning {
    fn from(warning: &measurement::Warning) -> Self {
        Self {
            code: warning.code.as_str().to_owned(),
            text: warning.text.clone(),
        }
    }
}

/// Why a view could not be compared.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct ErrorEntry {
    /// Stable code.
    pub code: String,
    /// For people: where, what was found, what is allowed, what to do.
    pub text: String,
}

/// What is tolerated in one part.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Tolerance {
    /// Proportion error, per cent.
    pub proportion_percent: f64,
    /// Offset, model millimetres.
    pub offset_mm: f64,
    /// Angle or rotation, degrees.
    pub angle_deg: f64,
    /// Least edge overlap above chance, 0 to 1.
    pub edge_overlap: f64,
}

/// What became of one view.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct ViewEntry {
    /// Its name in the job.
    pub name: String,
    /// The worst verdict of its parts; null where the view could not be compared.
    pub verdict: Option<Verdict>,
    /// Why the view could not be compared; null where it was.
    pub error: Option<ErrorEntry>,
    /// What the reader must know.
    pub warnings: Vec<Warning>,
    /// Whether a warning puts every figure of the view in doubt: then change nothing by its corrections before what the warning
    /// names is mended. Verdicts and the exit status do not depend on it.
    #[serde(default)]
    pub distrusted: bool,
    /// Which way the axes of the model run in the render, where the job says so.
    #[serde(default)]
    pub axes: Option<AxesEntry>,
    /// The image of the model.
    pub render: RenderEntry,
    /// The image of the subject.
    pub reference: ReferenceEntry,
    /// The reference laid over the render.
    pub registration: Option<RegistrationEntry>,
    /// Scales of both images, as far as known.
    pub scales: Option<ScalesEntry>,
    /// With both images scaled: how they differ in size and angle.
    pub sizes: Option<SizesEntry>,
    /// How far the reference is from symmetric, where the job says that the subject is.
    pub symmetry: Option<SymmetryEntry>,
    /// The silhouettes of both images against each other, where both have one.
    pub silhouette: Option<SilhouetteEntry>,
    /// How the print came out by calliper readings, where the render is a photo of it.
    #[serde(default)]
    pub print: Option<PrintEntry>,
    /// Whether an earlier issue of the model is back; null where the reference is no "screenshot".
    #[serde(default)]
    pub earlier_issue: Option<EarlierIssueEntry>,
    /// What a screen left in the reference, and what was done about it before edges were looked for; null where nothing
    /// was.
    #[serde(default)]
    pub screen: Option<ScreenEntry>,
    /// What became of several shots of the reference; left out where it is a single image.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub shots: Option<ShotsEntry>,
    /// Edges of the whole view.
    pub edge_overlap: Option<EdgeOverlapEntry>,
    /// What to change in CAD, worst first; not to be trusted where the view is `distrusted`.
    pub corrections: Vec<CorrectionEntry>,
    /// What is too small to be printed or seen, in tolerance or not.
    #[serde(default)]
    pub leave_alone: Vec<LeaveAloneEntry>,
    /// In the order of the job.
    pub regions: Vec<RegionEntry>,
    /// In the order of the job.
    pub spans: Vec<SpanEntry>,
    /// In the order of the job.
    pub angles: Vec<AngleEntry>,
    /// What the noise of the reference does to the figures; null in reports of versions before it, and where the view could not be
    /// compared.
    #[serde(default)]
    pub reference_noise: Option<ReferenceNoiseEntry>,
    /// Key to path, relative to the result folder.
    pub files: BTreeMap<String, String>,
}

/// The image of the model.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct RenderEntry {
    /// File name, without its folder.
    pub image: String,
    /// What sort of picture it is.
    #[serde(default)]
    pub kind: RenderKind,
}

/// What sort of picture a render is.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "lowercase")]
pub enum RenderKind {
    /// An image of the model.
    #[default]
    Model,
    /// A drawing, compared with another drawing.
    Plan,
    /// A photo of the finished print.
    Print,
}

/// The image of the subject.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct ReferenceEntry {
    /// File name, without its folder.
    pub image: String,
    /// What sort of picture it is.
    pub kind: ReferenceKind,
    /// Where the picture comes from.
    pub source: Option<String>,
    /// Where in a recording the picture is.
    pub time_code: Option<String>,
    /// Which variant of the subject it shows.
    pub variant: Option<String>,
    /// Free text of the job.
    pub note: Option<String>,
    /// By what right the picture is used.
    pub rights: Option<String>,
    /// BLAKE3 checksum of the file, in hexadecimal, or of several shots' checksums; null in reports of versions before it.
    #[serde(default)]
    pub blake3: Option<String>,
}

/// What sort of picture a reference is.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "lowercase")]
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

/// The transform that takes the rectified reference to the render.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "lowercase")]
pub enum RegistrationKind {
    /// Scale, rotation, shift.
    Similarity,
    /// Also shear and a second scale.
    Affine,
    /// Also keystone.
    Projective,
}

/// The reference laid over the render.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct RegistrationEntry {
    /// Kind of the map that was fitted.
    pub kind: RegistrationKind,
    /// Takes pixels of the reference as it is on disk (once the `lens` is taken off, where there is one) to render pixels,
    /// row by row; the first pixel's centre is (0.5, 0.5).
    pub matrix: [[f64; 3]; 3],
    /// The rectification alone, row by row; the identity where nothing is rectified.
    pub rectified_from_reference: [[f64; 3]; 3],
    /// The lens that is taken off before either matrix; left out where none is known.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub lens: Option<LensEntry>,
    /// What the rectification found by itself; left out where all was stated.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub rectification: Option<RectificationEntry>,
    /// Render pixels per pixel of the rectified reference.
    pub scale: Option<Figure>,
    /// How far the reference is turned to lie over the render, degrees, clockwise.
    pub rotation_deg: Option<Figure>,
    /// Root mean square of the datum residuals, render pixels.
    pub rms_px: Option<f64>,
    /// A-posteriori standard deviation of unit weight.
    pub sigma0: Option<f64>,
    /// Observations minus unknowns of the datum fit.
    pub degrees_of_freedom: usize,
    /// Standard deviation of a mark in the render, render pixels.
    pub render_mark_sigma_px: Option<f64>,
    /// Standard deviation of a mark in the reference, reference pixels.
    pub reference_mark_sigma_px: Option<f64>,
    /// Which errors of the model this kind of registration cannot show.
    pub hides: Vec<String>,
    /// Render pixels per millimetre of the model.
    pub render_px_per_model_mm: Option<Figure>,
    /// In the order of the job.
    pub landmarks: Vec<LandmarkEntry>,
}

/// A lens of the division model: `undistorted = centre + (marked - centre) / (1 + coefficient (r / radius_px)^2)`, `r`
/// being the distance from the centre in the reference as it is on disk.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct LensEntry {
    /// Below 0 for barrel distortion, above 0 for pincushion.
    pub coefficient: f64,
    /// Centre of the distortion, reference pixels.
    pub centre: [f64; 2],
    /// Unit of distances from the centre, reference pixels.
    pub radius_px: f64,
}

/// What the rectification found before any landmark was looked at.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct RectificationEntry {
    /// Width over height of the rectangle, where the view had to tell it.
    pub aspect: Option<Figure>,
    /// Coefficient of the lens, where straight lines tell it.
    pub lens_coefficient: Option<Figure>,
    /// Root mean square of what known points and lines leave, reference pixels.
    pub rms_px: Option<f64>,
    /// By how much the marked corners were moved onto the bezel, from the top left clockwise, reference pixels.
    pub corner_moves_px: Option<[f64; 4]>,
    /// Half the 95 % interval of each moved corner's place, from the fits of the bezel's sides, reference pixels.
    pub corners_within_px: Option<[f64; 4]>,
}

/// What a landmark is for.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "lowercase")]
pub enum LandmarkUse {
    /// It carries the registration.
    Datum,
    /// It is only measured.
    Check,
}

/// What the registration says of one landmark.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct LandmarkEntry {
    /// Its name.
    pub name: String,
    /// What it is for.
    #[serde(rename = "use")]
    pub usage: LandmarkUse,
    /// Mark in the render minus registered mark of the reference, x and y, render pixels.
    pub residual_px: [Option<f64>; 2],
    /// The same with its interval.
    pub offset_px: Pair,
    /// The same in millimetres on the model.
    pub offset_mm: Pair,
    /// How unlikely the residual is; beyond `critical_value` the mark is tested as wrong.
    pub test_statistic: Option<f64>,
    /// The value that noise exceeds in one of a thousand marks.
    pub critical_value: Option<f64>,
    /// Share of an error of this mark that shows in its residual, 0 to 1.
    pub redundancy: Option<f64>,
    /// Smallest error of this mark that the test finds four times in five, render pixels.
    pub smallest_detectable_px: Option<f64>,
    /// Where it was taken for the outermost point of a smooth outline: stated by "on", or found by the render.
    #[serde(default)]
    pub outline: Option<OutlineEntry>,
    /// Null, "wrong", "swapped with NAME", "uncontrolled", "off with NAME" (its part, a region, is altered: the datum
    /// landmark was taken as a check), "contradicts NAME" (one of the two is wrong, and nothing tells which) or "wrong place
    /// on the model" (model_mm contradicts the mark in the render).
    #[schemars(extend("pattern" = "^(wrong|wrong place on the model|uncontrolled|((swapped|off) with|contradicts) [\\s\\S]*)$"))]
    pub finding: Option<String>,
}

/// How a landmark on a smooth outline is known along it.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct OutlineEntry {
    /// Standard deviation along the outline, both marks together, render pixels.
    pub along_sigma_px: Option<f64>,
    /// Direction of the outline there in the render, degrees from x, clockwise on the screen; null where none was found.
    pub tangent_deg: Option<f64>,
}

/// Scales of the images of a view.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct ScalesEntry {
    /// Render pixels per millimetre of the model.
    pub render_px_per_model_mm: Option<Figure>,
    /// Render pixels per full-size millimetre, through the registration.
    pub registered_px_per_full_size_mm: Option<Figure>,
    /// The factor behind every figure in model millimetres.
    pub model_mm_per_render_px: Option<f64>,
    /// With both images scaled: how much the model as a whole is too large, per cent.
    pub model_size_percent: Option<Figure>,
    /// In the order of the job.
    pub known: Vec<KnownEntry>,
    /// What the known lengths of the render say of it as a whole.
    pub render_dimensions: Option<DimensionsEntry>,
    /// What the known lengths of the reference say of it as a whole.
    pub reference_dimensions: Option<DimensionsEntry>,
}

/// What the known lengths and directions of one image say of it.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct DimensionsEntry {
    /// Pixels of the image (rectified) per millimetre: of the model for the render, full size for the reference.
    pub px_per_mm: Option<Figure>,
    /// How far the drawing is turned in the image, degrees, clockwise; null where no direction is known.
    pub angle_deg: Option<Figure>,
    /// Scale along the image's x over that along y, minus 1, per cent; null where the lengths cannot tell.
    pub stretch_percent: Option<Figure>,
    /// F-test of no stretch.
    pub stretch_test: Option<TestEntry>,
    /// Whether x and y are stretched differently.
    pub stretched: bool,
    /// The drawing's right angle as the image shows it, minus 90 degrees.
    pub out_of_square_deg: Option<Figure>,
    /// F-test of squareness.
    pub square_test: Option<TestEntry>,
    /// Whether right angles are not square.
    pub out_of_square: bool,
    /// Standard deviation of unit weight; null where nothing is redundant.
    pub sigma0: Option<f64>,
    /// Observations minus unknowns.
    pub degrees_of_freedom: usize,
    /// Whether the lengths disagree by more than the noise of the marks explains.
    pub disagree: bool,
}

/// The result of a test.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct TestEntry {
    /// The statistic.
    pub statistic: Option<f64>,
    /// What noise exceeds in one of a thousand cases.
    pub critical_value: Option<f64>,
}

/// The silhouettes of both images against each other; distances along the reference's outline.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct SilhouetteEntry {
    /// Area of both over area of either, 0 to 1.
    pub overlap: Option<f64>,
    /// Mean distance, positive where the model lies beyond the outline, render pixels.
    pub mean_px: Option<f64>,
    /// 95th percentile of the distance, without sign, render pixels.
    pub p95_px: Option<f64>,
    /// Largest distance, without sign, render pixels.
    pub max_px: Option<f64>,
    /// The mean in millimetres on the model.
    pub mean_model_mm: Option<f64>,
    /// The 95th percentile in millimetres on the model.
    pub p95_model_mm: Option<f64>,
    /// The largest in millimetres on the model.
    pub max_model_mm: Option<f64>,
    /// Number of pixels of the outline that were looked at.
    pub outline_pixels: usize,
}

/// Whether an earlier issue of the model, which the reference shows, is back.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct EarlierIssueEntry {
    /// Mean structural similarity of both pictures (Wang et al. 2004), 0 to 1; what is contrary counts as 0.
    pub likeness: Option<f64>,
    /// One for each region, in the job's order.
    pub parts: Vec<PartBackEntry>,
}

/// Whether a part is back.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct PartBackEntry {
    /// The region.
    pub name: String,
    /// Mean structural similarity within its outline; null where the reference does not cover it.
    pub likeness: Option<f64>,
    /// What follows from its figures and its look.
    pub back: BackEntry,
}

/// Whether a part is as it was in an earlier issue.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "snake_case")]
pub enum BackEntry {
    /// Its figures are within their tolerances.
    Back,
    /// A figure is out of tolerance.
    NotBack,
    /// Its figures are within, but it looks much more different than the other parts do.
    LooksOther,
    /// Its figures are undecided.
    CannotTell,
}

/// What calliper readings say of a print.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct PrintEntry {
    /// The axes along which they tell something.
    pub axes: Vec<PrintAxisEntry>,
    /// In the order of the job.
    pub readings: Vec<CalliperEntry>,
}

/// How a print came out along one axis.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct PrintAxisEntry {
    /// The axis of the model: "x", "y" or "z"; "width" or "height" of the picture where the view states no axes.
    pub axis: String,
    /// How much the print is larger than designed, per cent.
    pub larger_percent: Option<Figure>,
    /// What to scale it by in the slicer.
    pub scale_by: Option<Figure>,
    /// The largest length that was read along it, millimetres.
    pub extent_mm: Option<f64>,
}

/// One calliper reading.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct CalliperEntry {
    /// Name of a landmark.
    pub from: String,
    /// Name of the other one.
    pub to: String,
    /// What was read, millimetres.
    pub read_mm: Option<f64>,
    /// What it should read; null where neither the model nor the reference tells.
    pub designed_mm: Option<f64>,
    /// How far it lies off the fitted sizes, millimetres; null where it was left out.
    pub residual_mm: Option<f64>,
    /// Whether it contradicts the others.
    pub wrong: bool,
}

/// What became of several shots of a reference, whose mean was compared.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct ShotsEntry {
    /// How many the job names.
    pub given: usize,
    /// How many the mean is of; the others are warnings.
    pub used: usize,
    /// Noise of the first shot, grey levels (standard deviation), moire that moves from shot to shot included; null where too little
    /// is shown by all.
    pub noise_of_one: Option<f64>,
    /// The same of the mean, by holding half of the shots against the other half.
    pub noise_of_mean: Option<f64>,
}

/// What a screen left in the reference, and what was done about it before edges were looked for.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct ScreenEntry {
    /// Patterns that were filtered out: the grid of the screen's pixels, moire.
    pub patterns: Vec<PatternEntry>,
    /// Patches of glare that were masked.
    pub glare: Option<GlareEntry>,
    /// Letterbox bars that were masked.
    pub letterbox: Option<LetterboxEntry>,
}

/// A pattern that was filtered out.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct PatternEntry {
    /// Median of its period over the picture, reference pixels.
    pub period_px: Option<f64>,
    /// Shortest and longest period, without a tenth at either end, reference pixels.
    pub period_range_px: [Option<f64>; 2],
    /// Direction in which it repeats, degrees, clockwise from the reference's x axis, -90 to 90.
    pub direction_deg: Option<f64>,
    /// Half of the difference between its crests and troughs, grey levels.
    pub amplitude_grey_levels: Option<f64>,
    /// How much of the amplitude was taken away, per cent.
    pub taken_percent: Option<f64>,
    /// Part of the screen that shows it, per cent.
    pub share_percent: Option<f64>,
    /// How it was taken away.
    pub removal: Removal,
    /// Standard deviation of the Gaussian, reference pixels; null for a notch.
    pub sigma_px: Option<f64>,
}

/// How a pattern is taken away.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub enum Removal {
    /// All that is as fine as the pattern.
    LowPass,
    /// The tone alone.
    Notch,
}

/// Patches of glare that were masked.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct GlareEntry {
    /// Their number.
    pub patches: usize,
    /// Part of the reference that was masked, per cent.
    pub masked_percent: Option<f64>,
}

/// Letterbox bars that were masked.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct LetterboxEntry {
    /// Where they lie.
    pub sides: LetterboxSides,
    /// Depth of the one at the top (the left), then of the other one, reference pixels.
    pub depths_px: [Option<f64>; 2],
    /// Width over height of the picture between them.
    pub picture_aspect: Option<f64>,
    /// Width over height of the whole as the job states it, bars included; null where it states none.
    pub stated_aspect: Option<f64>,
}

/// At which sides of the picture bars lie.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub enum LetterboxSides {
    /// At the top and the bottom.
    TopAndBottom,
    /// At the left and the right.
    LeftAndRight,
}

/// How far a reference is from symmetric.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct SymmetryEntry {
    /// Whether noise alone explains what is left over.
    pub symmetric: bool,
    /// Mean square of the residuals over their variance.
    pub test: TestEntry,
    /// Observations minus unknowns.
    pub degrees_of_freedom: usize,
    /// Inclination of the axis in the rectified reference, degrees, clockwise from its x axis.
    pub axis_deg: Option<Figure>,
    /// How far the lines between pairs stand from square on the axis, degrees, clockwise.
    pub skew_deg: Option<Figure>,
    /// In the order of the job.
    pub pairs: Vec<PairAsymmetryEntry>,
    /// All in one sentence.
    pub text: String,
}

/// How far one pair is from symmetric, pixels of the rectified reference.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct PairAsymmetryEntry {
    /// Names of both landmarks.
    pub names: [String; 2],
    /// Its middle from the axis, to the right of the axis as it runs.
    pub middle_px: Option<Figure>,
    /// How much further along the axis the second one lies than the first.
    pub along_px: Option<Figure>,
}

/// How the reference differs from the render in size and angle, by the scales of both.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct SizesEntry {
    /// How much the reference is larger than the render says, per cent.
    pub larger_percent: Option<Figure>,
    /// How far what the reference shows is turned against the render, degrees, clockwise.
    pub turned_deg: Option<Figure>,
    /// All in one sentence; with the first span where an image is a plan.
    pub text: String,
    /// One for each span that both images scale.
    pub spans: Vec<SpanSizesEntry>,
}

/// One span in both images.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct SpanSizesEntry {
    /// The span's name.
    pub name: String,
    /// By the render, millimetres on the model.
    pub was_model_mm: Option<Figure>,
    /// By the reference, millimetres on the model.
    pub becomes_model_mm: Option<Figure>,
    /// By the render, full-size millimetres.
    pub was_full_size_mm: Option<Figure>,
    /// By the reference, full-size millimetres.
    pub becomes_full_size_mm: Option<Figure>,
    /// In words, in feet and inches too.
    pub text: String,
}

/// An error too small to be printed or seen.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct LeaveAloneEntry {
    /// Name of the region or span.
    pub about: String,
    /// Which of its measures, such as "width".
    pub measure: String,
    /// The error, millimetres on the model.
    pub error_model_mm: Option<Figure>,
    /// Whether it is in tolerance.
    pub verdict: Verdict,
}

/// Which of the two images of a view.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "lowercase")]
pub enum Side {
    /// The render.
    Render,
    /// The reference.
    Reference,
}

/// How a known length fits the others of its image.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct KnownEntry {
    /// The image whose scale it gives.
    #[serde(rename = "in")]
    pub side: Side,
    /// Name of a landmark, or a point "[x, y]".
    pub from: String,
    /// Name of another landmark, or another point.
    pub to: String,
    /// The length as the job words it; empty where only a direction is known.
    pub length: String,
    /// The same in full-size millimetres.
    pub full_size_mm: Option<f64>,
    /// Marked over known length, relative to the fitted scale, minus 1, per cent.
    pub disagreement_percent: Option<f64>,
    /// How the line runs on the drawing: "x", "y" or null.
    pub along: Option<String>,
    /// Direction of the line against that of the drawing, degrees.
    pub direction_error_deg: Option<f64>,
    /// The disagreement over its standard deviation; null where nothing checks it.
    pub test_statistic: Option<f64>,
    /// The value that noise exceeds in one of a thousand.
    pub critical_value: Option<f64>,
    /// The full-size length that the others ask for.
    pub others_ask_for_full_size_mm: Option<Figure>,
    /// The same in feet and inches.
    pub others_ask_for_feet_and_inches: Option<String>,
    /// Probably misread.
    pub doubtful: bool,
    /// It contradicts another, and nothing tells which of them is misread.
    #[serde(default)]
    pub ambiguous: bool,
}

/// How far the edges of both images coincide.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct EdgeOverlapEntry {
    /// Harmonic mean of precision and recall, 0 to 1.
    pub score: Option<f64>,
    /// Share of the render's edge pixels that the reference has too.
    pub precision: Option<f64>,
    /// Share of the reference's edge pixels that the render has too.
    pub recall: Option<f64>,
    /// Mean score at displacements well beyond the tolerance.
    pub chance: Option<f64>,
    /// `(score - chance) / (1 - chance)`.
    pub above_chance: Option<f64>,
    /// Render pixels.
    pub tolerance_px: Option<f64>,
    /// Mean distance of the render's edge pixels from the reference's edges, render pixels.
    pub mean_distance_px: Option<f64>,
    /// 95th percentile of the same distances.
    pub p95_distance_px: Option<f64>,
    /// Number of edge pixels of the render that were looked at.
    pub render_edge_pixels: usize,
    /// Number of edge pixels of the reference that were looked at.
    pub reference_edge_pixels: usize,
}

/// What a region's figures rest on.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "lowercase")]
pub enum Method {
    /// Nothing: no figure is given.
    None,
    /// Landmarks alone.
    Landmarks,
    /// Edges alone.
    Edges,
    /// Both.
    #[serde(rename = "landmarks+edges")]
    LandmarksAndEdges,
    /// Landmarks, and the reference's marks of the other side, mirrored.
    #[serde(rename = "landmarks+symmetry")]
    LandmarksAndSymmetry,
    /// All of them.
    #[serde(rename = "landmarks+edges+symmetry")]
    LandmarksEdgesAndSymmetry,
}

/// The proportion errors of one region; positive = the model is too large.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct RegionEntry {
    /// Its name.
    pub name: String,
    /// What the figures rest on.
    pub method: Method,
    /// Model too wide or too narrow, per cent.
    pub width_percent: Option<Figure>,
    /// Model too high or too low, per cent.
    pub height_percent: Option<Figure>,
    /// With both images scaled: width of the model against the subject absolutely, per cent.
    pub absolute_width_percent: Option<Figure>,
    /// With both images scaled: height of the model against the subject absolutely, per cent.
    pub absolute_height_percent: Option<Figure>,
    /// The absolute width error over the part's size, millimetres on the model.
    pub absolute_width_model_mm: Option<Figure>,
    /// The absolute height error over the part's size, millimetres on the model.
    pub absolute_height_model_mm: Option<Figure>,
    /// Where the part lies minus where it should lie, render pixels.
    pub offset_px: Pair,
    /// The same in millimetres on the model.
    pub offset_model_mm: Pair,
    /// The same in full-size millimetres.
    pub offset_full_size_mm: Pair,
    /// Model turned against the subject, degrees, clockwise.
    pub rotation_deg: Option<Figure>,
    /// Width and height of the part, render pixels: of its marks where they span half of its outline, else of its edges, else of
    /// its outline.
    pub size_px: [Option<f64>; 2],
    /// The same in millimetres on the model.
    pub size_model_mm: Option<[Option<f64>; 2]>,
    /// Edges inside the region.
    pub edge_overlap: Option<EdgeOverlapEntry>,
    /// The tolerance that holds for it.
    pub tolerance: Tolerance,
    /// Of all its figures together.
    pub verdict: Verdict,
    /// The largest error over its tolerance: regions are ranked by verdict, then by this.
    #[serde(default)]
    pub times_tolerance: Option<f64>,
    /// Why the figures are sure or not.
    pub sureness: String,
    /// Which of its errors call for a change, each on its own.
    #[serde(default)]
    pub changes: Vec<PartChangeEntry>,
    /// The landmark about which the part is turned and scaled, where that saves moving it.
    #[serde(default)]
    pub pivot: Option<PivotEntry>,
    /// The change in CAD; null where nothing is to be done.
    pub correction: Option<String>,
    /// Free text of the job.
    pub note: Option<String>,
}

/// An error of a part that calls for a change.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct PartChangeEntry {
    /// Which of the part's errors.
    pub measure: MeasureKind,
    /// The error: per cent, degrees, or millimetres on the model.
    pub error: Option<Figure>,
    /// How much the change comes to on the model, millimetres, without sign; of a turn, at the part's corners.
    pub model_mm: Option<f64>,
    /// The error over its tolerance.
    pub times_tolerance: Option<f64>,
}

/// The point of a part that lies where it should.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct PivotEntry {
    /// The landmark's name.
    pub landmark: String,
    /// Where it lies minus where it should, millimetres on the model.
    pub offset_model_mm: Pair,
}

/// The proportion error of one span.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct SpanEntry {
    /// Its name.
    pub name: String,
    /// Length in the render, render pixels.
    pub render_px: Option<Figure>,
    /// Length in the registered reference, render pixels.
    pub reference_px: Option<Figure>,
    /// Proportion error, per cent.
    pub error_percent: Option<Figure>,
    /// The same error in millimetres on the model.
    pub error_model_mm: Option<Figure>,
    /// The same error in full-size millimetres.
    pub error_full_size_mm: Option<Figure>,
    /// Length on the model, millimetres.
    pub model_mm: Option<Figure>,
    /// Length on the subject, full-size millimetres.
    pub full_size_mm: Option<Figure>,
    /// With both images scaled: model against subject absolutely, per cent.
    pub absolute_percent: Option<Figure>,
    /// The same in millimetres on the model: its length minus that which the subject asks for.
    pub absolute_model_mm: Option<Figure>,
    /// The same in full-size millimetres.
    pub absolute_full_size_mm: Option<Figure>,
    /// The tolerance that holds for it.
    pub tolerance: Tolerance,
    /// Against the tolerance.
    pub verdict: Verdict,
    /// The error over its tolerance: what the order within a verdict goes by.
    #[serde(default)]
    pub times_tolerance: Option<f64>,
    /// The parts whose changes take this error away; then it asks for none of its own.
    #[serde(default)]
    pub goes_with: Vec<String>,
    /// The change in CAD; null where nothing is to be done.
    pub correction: Option<String>,
}

/// The error of one angle.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct AngleEntry {
    /// Its name.
    pub name: String,
    /// In the render, degrees.
    pub render_deg: Option<Figure>,
    /// In the registered reference, degrees.
    pub reference_deg: Option<Figure>,
    /// Render minus reference, degrees.
    pub error_deg: Option<Figure>,
    /// The tolerance that holds for it.
    pub tolerance: Tolerance,
    /// Against the tolerance.
    pub verdict: Verdict,
    /// The error over its tolerance: what the order within a verdict goes by.
    #[serde(default)]
    pub times_tolerance: Option<f64>,
    /// The parts whose changes take this error away; then it asks for none of its own.
    #[serde(default)]
    pub goes_with: Vec<String>,
    /// The change in CAD; null where nothing is to be done.
    pub correction: Option<String>,
}

/// One error of one part, over all views: what to change of it in CAD, or why nothing yet.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct ChangeEntry {
    /// Name of the part; of a span or an angle that no change of a part takes away, its own.
    pub part: String,
    /// Whether it is to be changed.
    pub state: ChangeState,
    /// What is off.
    pub quantity: QuantityEntry,
    /// The axis of the model along which a size or a place is off, or about which it is turned: "x", "y" or "z", "its own x" and so on of a
    /// part that has its own; null where the views
    /// do not state their axes.
    pub axis: Option<String>,
    /// The error: per cent, degrees, or millimetres on the model. A place is off towards the axis, a turn goes by the right hand; without
    /// an axis, to the right or down and clockwise. Null where views contradict each other.
    pub error: Option<Figure>,
    /// Unit of the error: "%", "deg", "mm".
    pub unit: String,
    /// What to multiply the size by; null of all else.
    pub factor: Option<Figure>,
    /// By how much the size changes on the model, millimetres, without sign; null of all else and where no scale is known.
    pub model_mm: Option<Figure>,
    /// The landmark about which it is turned or scaled, so that it need not be moved.
    pub about: Option<String>,
    /// The error over its tolerance.
    pub times_tolerance: Option<f64>,
    /// The views that tell it.
    pub views: Vec<String>,
    /// Spans and angles that tell of the same.
    pub told_too_by: Vec<String>,
    /// All in one sentence.
    pub text: String,
}

/// Whether an error is to be changed.
#[derive(
    Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize, JsonSchema,
)]
#[serde(rename_all = "lowercase")]
pub enum ChangeState {
    /// It is to be changed.
    Change,
    /// Views say different things of it: change nothing of it yet.
    Contradicted,
    /// It may be in tolerance or not.
    Undecided,
}

/// What of a part is off.
#[derive(
    Clone, Copy, Debug, PartialEq, Eq, Hash, PartialOrd, Ord, Serialize, Deserialize, JsonSchema,
)]
#[serde(rename_all = "kebab-case")]
pub enum QuantityEntry {
    /// Its size along an axis of the model.
    Size,
    /// Its width, as the view sees it.
    Width,
    /// Its height, as the view sees it.
    Height,
    /// How it is turned.
    Turn,
    /// Its place along an axis of the model.
    Place,
    /// Its place to the right, as the view sees it.
    PlaceRight,
    /// Its place down, as the view sees it.
    PlaceDown,
    /// The length of a span.
    Length,
    /// An angle.
    Angle,
}

/// The axes of the model that run to the right and down in a render.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
pub struct AxesEntry {
    /// Such as "x" or "-z".
    pub right: String,
    /// The same.
    pub down: String,
}

/// One change to make in CAD.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct CorrectionEntry {
    /// Name of the region, span or angle.
    pub about: String,
    /// What to do.
    pub text: String,
    /// The error over the tolerance.
    pub times_tolerance: Option<f64>,
}

/// The report as indented JSON with a newline at its end.
///
/// Numbers are rounded to nine significant digits; equal reports give equal bytes.
pub fn to_json(report: &Report) -> String {
    as_text(report)
}

/// The same of anything that is written.
pub(super) fn as_text(value: &impl Serialize) -> String {
    let mut bytes = Vec::new();
    write_rounded(value, &mut bytes).expect("memory takes what is written");
    String::from_utf8(bytes).expect("JSON is text")
}

/// The report as [`to_json`] gives it, written piece by piece: of a job with hundreds of views it is long.
///
/// # Errors
/// Those of `out`.
pub fn write_json(report: &Report, out: &mut dyn io::Write) -> io::Result<()> {
    write_rounded(report, out)
}

fn write_rounded(value: &impl Serialize, out: &mut dyn io::Write) -> io::Result<()> {
    let rounding = Rounding(PrettyFormatter::new());
    value.serialize(&mut Serializer::with_formatter(&mut *out, rounding))?;
    out.write_all(b"\n")
}

/// The report that these bytes of a `report.json` hold; `None` where they hold none that this version knows.
pub fn from_json(bytes: &[u8]) -> Option<Report> {
    let report: Report = serde_json::from_slice(bytes).ok()?;
    (report.format == FORMAT && report.format_version == FORMAT_VERSION).then_some(report)
}

/// Indents, and rounds every number with a fraction.
struct Rounding(PrettyFormatter<'static>);

impl Formatter for Rounding {
    fn write_f64<W: ?Sized + io::Write>(&mut self, out: &mut W, value: f64) -> io::Result<()> {
        self.0.write_f64(out, nine_digits(value))
    }

    fn begin_array<W: ?Sized + io::Write>(&mut self, out: &mut W) -> io::Result<()> {
        self.0.begin_array(out)
    }

    fn end_array<W: ?Sized + io::Write>(&mut self, out: &mut W) -> io::Result<()> {
        self.0.end_array(out)
    }

    fn begin_array_value<W: ?Sized + io::Write>(
        &mut self,
        out: &mut W,
        is_first: bool,
    ) -> io::Result<()> {
        self.0.begin_array_value(out, is_first)
    }

    fn end_array_value<W: ?Sized + io::Write>(&mut self, out: &mut W) -> io::Result<()> {
        self.0.end_array_value(out)
    }

    fn begin_object<W: ?Sized + io::Write>(&mut self, out: &mut W) -> io::Result<()> {
        self.0.begin_object(out)
    }

    fn end_object<W: ?Sized + io::Write>(&mut self, out: &mut W) -> io::Result<()> {
        self.0.end_object(out)
    }

    fn begin_object_key<W: ?Sized + io::Write>(
        &mut self,
        out: &mut W,
        is_first: bool,
    ) -> io::Result<()> {
        self.0.begin_object_key(out, is_first)
    }

    fn begin_object_value<W: ?Sized + io::Write>(&mut self, out: &mut W) -> io::Result<()> {
        self.0.begin_object_value(out)
    }

    fn end_object_value<W: ?Sized + io::Write>(&mut self, out: &mut W) -> io::Result<()> {
        self.0.end_object_value(out)
    }
}

/// The number rounded to nine significant digits; never negative zero.
pub(super) fn nine_digits(x: f64) -> f64 {
    // The decimal text is rounded correctly, which dividing by a power of ten is not.
    let rounded: f64 = format!("{x:.8e}").parse().unwrap_or(x);
    if rounded == 0.0 { 0.0 } else { rounded }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn numbers_keep_nine_significant_digits() {
        assert_eq!(nine_digits(1_234.567_890_123), 1_234.567_89);
        assert_eq!(nine_digits(-1.234_567_891_9e-7), -1.234_567_89e-7);
        assert!(nine_digits(-0.0).is_sign_positive());
    }
}
