//! What is measured in one view, as others read it.
use super::{
    DimensionFit, MarkPatches, PrintSize, RefusedDimensions, ScreenFindings, SilhouetteOverlap,
    SizeComparison, SymmetryCheck,
};
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use crate::{
    frame::{Point, Projective, RenderPx, WorkPx},
    images::Shots,
    job::{Angle, Span, View},
    kernels::Plane,
    registration::{ByReference, Registration},
    statistics::Measured,
    units::ScaleRatio,
    warning::Code,
};

/// Everything measured in one view.
#[derive(Clone, Debug)]
pub struct ViewMeasurement {
    /// Out if anything is out, undecided if anything is undecided, else within. A view that is distrusted has its verdict by
    /// the same rule.
    pub verdict: Verdict,
    /// What the reader must know to trust or distrust the figures.
    pub warnings: Vec<Warning>,
    /// The reference laid over the render.
    pub registration: Registration,
    /// Scales of both images, as far as known.
    pub scales: Scales,
    /// With both images scaled: how they differ in size and angle, in words too.
    pub sizes: Option<SizeComparison>,
    /// How far the reference is from symmetric, where the job says that the subject is.
    pub symmetry: Option<SymmetryCheck>,
    /// The silhouettes of both images against each other, where both have one.
    pub silhouette: Option<SilhouetteOverlap>,
    /// How much the print came out larger or smaller, where the render is a photo of it and it was measured.
    pub print: Option<PrintSize>,
    /// Whether an earlier issue of the model is back, where the reference is a picture of one.
    pub earlier_issue: Option<EarlierIssue>,
    /// What a screen left in the reference, and what was done about it before edges were looked for.
    pub screen: ScreenFindings,
    /// What became of several shots of the reference; `None` where it is a single image.
    pub shots: Option<Shots>,
    /// Edges of the whole view; `None` where an image has no edges to compare.
    pub edge_overlap: Option<EdgeOverlap>,
    /// Offset (x, y) of each landmark of the view in millimetres on the model, where a scale is known.
    pub landmark_offsets_model_mm: Vec<[Option<Measured>; 2]>,
    /// One for each region of the view, in its order.
    pub regions: Vec<RegionMeasure>,
    /// In the order of the view; a span whose marks coincide or lie beyond the horizon has none.
    pub spans: Vec<SpanMeasure>,
    /// In the order of the view; an angle whose marks coincide or lie beyond the horizon has none.
    pub angles: Vec<AngleMeasure>,
    /// What to change in CAD, worst first; nothing smaller than the eye can see.
    pub corrections: Vec<Correction>,
    /// What is too small to be printed or seen, whether in tolerance or not.
    pub leave_alone: Vec<LeftAlone>,
    /// What the noise of the reference does to the figures of regions, spans and angles.
    pub by_reference: ReferenceNoise,
}

impl ViewMeasurement {
    /// Whether a warning puts every figure of the view in doubt. Its corrections are then shown apart from those of other
    /// views; verdicts and the exit status stay what the figures say.
    pub fn is_distrusted(&self) -> bool {
        self.why_distrusted().is_some()
    }

    /// Why it is, in words that end a sentence; `None` where it is not.
    pub fn why_distrusted(&self) -> Option<String> {
        why_distrusted(self.warnings.iter().map(|w| w.code))
    }

    /// The measured spans beside what `view`, the one that was measured, says of them.
    pub fn spans_of<'a>(
        &'a self,
        view: &'a View,
    ) -> impl Iterator<Item = (&'a Span, &'a SpanMeasure)> {
        let find = |m: &SpanMeasure| view.spans.iter().find(|s| s.name == m.name);
        self.spans.iter().filter_map(move |m| Some((find(m)?, m)))
    }

    /// The measured angles beside what `view`, the one that was measured, says of them.
    pub fn angles_of<'a>(
        &'a self,
        view: &'a View,
    ) -> impl Iterator<Item = (&'a Angle, &'a AngleMeasure)> {
        let find = |m: &AngleMeasure| view.angles.iter().find(|a| a.name == m.name);
        self.angles.iter().filter_map(move |m| Some((find(m)?, m)))
    }
}

/// Why a view with warnings of these codes is distrusted, each reason once; `None` where it is not.
pub(crate) fn why_distrusted(codes: impl Iterator<Item = Code>) -> Option<String> {
    let codes: Vec<Code> = codes.collect();
    let mut reasons: Vec<&str> = codes.iter().filter_map(|c| c.why_distrusted()).collect();
    reasons.dedup();
    // Seen at an angle, good marks contradict each other just so.
    if [Code::NotRectified, Code::WrongMark]
        .iter()
        .all(|code| codes.contains(code))
    {
        reasons.insert(0, "its picture is not rectified, and its marks contradict each other as they do in one taken at an angle");
    }
    (!reasons.is_empty()).then(|| reasons.join("; "))
}

/// By the decision rule of ISO 14253-1.
#[derive(
    Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize, JsonSchema,
)]
#[serde(rename_all = "lowercase")]
pub enum Verdict {
    /// The whole interval lies inside the tolerance.
    Within,
    /// Neither: the picture cannot tell.
    Undecided,
    /// The whole interval lies outside the tolerance.
    Out,
}

impl Verdict {
    /// Its word, the same wherever it is told.
    pub fn word(self) -> &'static str {
        match self {
            Self::Within => "within",
            Self::Undecided => "undecided",
            Self::Out => "out",
        }
    }

    /// The sign that doubles its colour.
    pub fn sign(self) -> char {
        match self {
            Self::Within => '✓',
            Self::Undecided => '?',
            Self::Out => '✕',
        }
    }

    /// "out ✕", "within ✓", "undecided ?": the sign tells verdicts apart at a glance, without colour.
    pub fn signed(self) -> String {
        format!("{} {}", self.word(), self.sign())
    }
}

/// What the noise of the reference does to the figures of a view: by it a later comparison with the same marks on the same
/// reference knows what both have in common.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct ReferenceNoise {
    /// The mark of each landmark in the reference as it was taken, reference pixels.
    pub marks: Vec<[f64; 2]>,
    /// The rectification as observed: what it is known again by. Empty where nothing of it is unsure.
    pub rectification: Vec<f64>,
    /// Those figures that are told.
    pub figures: Vec<FigureByReference>,
}

/// What the noise of the reference does to one figure.
#[derive(Clone, Debug, PartialEq)]
pub struct FigureByReference {
    /// What the figure is of.
    pub of: PartKind,
    /// Name of the region, span or angle.
    pub name: String,
    /// Which of its figures.
    pub measure: MeasureKind,
    /// How far 95 % of the noise of each input move it: per cent, degrees, or render pixels for an offset.
    pub moved: ByReference,
}

/// What a figure can be of.
#[derive(
    Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize, JsonSchema,
)]
#[serde(rename_all = "lowercase")]
pub enum PartKind {
    /// A part of the model.
    Region,
    /// A distance between landmarks.
    Span,
    /// An inclination, or an angle at a landmark.
    Angle,
    /// A part in space, by several photos together.
    Part,
}

/// Which figure of a region, span or angle.
#[derive(
    Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize, JsonSchema,
)]
#[serde(rename_all = "kebab-case")]
pub enum MeasureKind {
    /// Width error of a region, per cent.
    Width,
    /// Height error of a region, per cent.
    Height,
    /// Rotation of a region, degrees.
    Rotation,
    /// Offset of a region to the right.
    OffsetX,
    /// Offset of a region down.
    OffsetY,
    /// Proportion error of a span, per cent.
    Length,
    /// Error of an angle, degrees.
    Angle,
    /// Depth error of a part in space, along y, per cent; its width lies along x, its height along z.
    Depth,
    /// Turn of a part in space about x, degrees.
    TurnX,
    /// About y.
    TurnY,
    /// About z.
    TurnZ,
    /// Offset of a part in space along x, millimetres on the model.
    AlongX,
    /// Along y.
    AlongY,
    /// Along z.
    AlongZ,
}

impl MeasureKind {
    /// Those of a part in space, in the order of its nine.
    pub const IN_SPACE: [Self; 9] = [
        Self::Width,
        Self::Depth,
        Self::Height,
        Self::TurnX,
        Self::TurnY,
        Self::TurnZ,
        Self::AlongX,
        Self::AlongY,
        Self::AlongZ,
    ];

    /// Those of a region, in the order of its five numbers.
    pub const OF_REGION: [Self; 5] = [
        Self::Width,
        Self::Height,
        Self::Rotation,
        Self::OffsetX,
        Self::OffsetY,
    ];
}

/// Something the reader must know. The code is stable, the text is for people.
#[derive(Clone, Debug, PartialEq)]
pub struct Warning {
    /// What it is about.
    pub code: Code,
    /// One or two sentences, with what to do.
    pub text: String,
}

/// Scales of the images of a view.
#[derive(Clone, Debug, Default)]
pub struct Scales {
    /// Render pixels per millimetre of the model: from known lengths in the render, or from its camera.
    pub render_px_per_model_mm: Option<Measured>,
    /// Render pixels per full-size millimetre of the subject, through the registration: from known lengths in the
    /// reference.
    pub registered_px_per_full_size_mm: Option<Measured>,
    /// With both images scaled: how much the model as a whole is too large, per cent.
    pub model_size_percent: Option<Measured>,
    /// One for each known length of the view, in its order.
    pub known: Vec<KnownFit>,
    /// What the known lengths of the render say of it as a whole.
    pub render_dimensions: Option<DimensionFit>,
    /// What the known lengths of the reference say of it as a whole.
    pub reference_dimensions: Option<DimensionFit>,
    /// Known lengths and directions of the render, of the reference, from which nothing was taken.
    pub refused: [RefusedDimensions; 2],
}

impl Scales {
    /// The factor that takes render pixels to model millimetres in every figure: from the render's own scale, else from
    /// the reference's and `scale`, the job's; `None` where neither is known.
    pub fn model_mm_per_render_px(&self, scale: ScaleRatio) -> Option<Measured> {
        let of_reference = || {
            let per_full_size_mm = self.registered_px_per_full_size_mm?;
            Some(per_full_size_mm.times(scale.denominator()))
        };
        let px_per_mm = self.render_px_per_model_mm.or_else(of_reference)?;
        let mm_per_px = 1.0 / px_per_mm.value();
        Measured::plus_minus(mm_per_px, mm_per_px * mm_per_px * px_per_mm.half_width())
    }
}

/// How a known length fits the others of its image.
#[derive(Clone, Debug, Default)]
pub struct KnownFit {
    /// Marked length over known length, relative to the fitted scale, minus 1, per cent; `None` where only a direction
    /// is known.
    pub disagreement_percent: Option<f64>,
    /// Direction of the line against that of the drawing, degrees; `None` where none is stated.
    pub direction_error_deg: Option<f64>,
    /// The disagreement over its standard deviation; `None` where nothing checks it.
    pub test_statistic: Option<f64>,
    /// The value that noise exceeds in one of a thousand.
    pub critical_value: Option<f64>,
    /// The full-size length that the others ask for.
    pub others_ask_for_full_size_mm: Option<Measured>,
    /// Probably misread.
    pub doubtful: bool,
    /// It contradicts another, and nothing tells which of them is misread.
    pub ambiguous: bool,
}

/// How far the edges of both images coincide.
#[derive(Clone, Debug, PartialEq)]
pub struct EdgeOverlap {
    /// Harmonic mean of precision and recall, 0 to 1.
    pub score: f64,
    /// Share of the render's edge pixels that the reference has too.
    pub precision: f64,
    /// Share of the reference's edge pixels that the render has too.
    pub recall: f64,
    /// Mean score at displacements well beyond the tolerance.
    pub chance: f64,
    /// `(score - chance) / (1 - chance)`.
    pub above_chance: f64,
    /// Render pixels.
    pub tolerance_px: f64,
    /// Mean distance of the render's edge pixels from the reference's edges, render pixels.
    pub mean_distance_px: f64,
    /// 95th percentile of the same distances.
    pub p95_distance_px: f64,
    /// Number of edge pixels of the render that were looked at (working grid).
    pub render_edge_pixels: usize,
    /// Number of edge pixels of the reference that were looked at (working grid).
    pub reference_edge_pixels: usize,
}

/// What a region's figures rest on.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Method {
    /// Nothing: no figure is given.
    None,
    /// Landmarks alone.
    Landmarks,
    /// Edges alone.
    Edges,
    /// Both.
    LandmarksAndEdges,
    /// Landmarks, and the reference's marks of the other side, mirrored.
    LandmarksAndSymmetry,
    /// All of them.
    LandmarksEdgesAndSymmetry,
}

/// The proportion errors of one region; a figure is absent where the picture cannot tell.
#[derive(Clone, Debug)]
pub struct RegionMeasure {
    /// The region's name.
    pub name: String,
    /// What the figures rest on.
    pub method: Method,
    /// Model too wide (positive) or too narrow, per cent.
    pub width_percent: Option<Measured>,
    /// Model too high (positive) or too low, per cent.
    pub height_percent: Option<Measured>,
    /// Model turned against the subject, degrees, clockwise.
    pub rotation_deg: Option<Measured>,
    /// Where the part lies minus where it should lie, at the anchor: x right, y down; render pixels.
    pub offset_px: [Option<Measured>; 2],
    /// The same in millimetres on the model.
    pub offset_model_mm: [Option<Measured>; 2],
    /// The same in full-size millimetres.
    pub offset_full_size_mm: [Option<Measured>; 2],
    /// With both images scaled: width and height of the model against the subject absolutely, per cent.
    pub absolute_percent: [Option<Measured>; 2],
    /// The same over the part's size, millimetres on the model.
    pub absolute_model_mm: [Option<Measured>; 2],
    /// Width and height of the part by its marks, its edges or its outline, render pixels; what its millimetres refer to.
    pub size_px: [f64; 2],
    /// The same in millimetres on the model, where the scale is known.
    pub size_model_mm: Option<[f64; 2]>,
    /// Edges inside the region.
    pub edge_overlap: Option<EdgeOverlap>,
    /// Against the region's tolerance.
    pub verdict: Verdict,
    /// The largest error over its tolerance: what regions are ordered by within a verdict.
    pub times_tolerance: f64,
    /// Why the figures are sure or not, in a few words.
    pub sureness: String,
    /// Which of its errors call for a change: sizes, turn, moves, in this order. What a turn or a new size about `pivot` takes
    /// away is none of them.
    pub changes: Vec<PartChange>,
    /// The landmark about which it is turned and scaled, where that saves moving it.
    pub pivot: Option<Pivot>,
    /// The change in CAD, in words; `None` where nothing is to be done.
    pub correction: Option<String>,
    /// The job's note.
    pub note: Option<String>,
}

/// An error of a part that calls for a change.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct PartChange {
    /// Which of the part's five numbers.
    pub measure: MeasureKind,
    /// The error that the change takes off: per cent, degrees, or millimetres on the model.
    pub error: Measured,
    /// How much the change comes to on the model, millimetres, without sign: of a turn, at the part's corners. `None` where no
    /// scale is known.
    pub model_mm: Option<f64>,
    /// The error over its tolerance.
    pub times_tolerance: f64,
}

/// The point of a part that lies where it should: turned and scaled about it, the part needs not be moved.
#[derive(Clone, Debug, PartialEq)]
pub struct Pivot {
    /// The landmark's name.
    pub landmark: String,
    /// Where it lies minus where it should, x right, y down, millimetres on the model.
    pub offset_model_mm: [Measured; 2],
}

/// The proportion error of one span.
#[derive(Clone, Debug)]
pub struct SpanMeasure {
    /// The span's name.
    pub name: String,
    /// Length in the render, render pixels.
    pub render_px: Measured,
    /// Length in the registered reference, render pixels.
    pub reference_px: Measured,
    /// Proportion error, per cent.
    pub error_percent: Measured,
    /// The same error in millimetres on the model.
    pub error_model_mm: Option<Measured>,
    /// The same error in full-size millimetres.
    pub error_full_size_mm: Option<Measured>,
    /// Length on the model, millimetres, where the render has a scale.
    pub model_mm: Option<Measured>,
    /// Length on the subject, full-size millimetres, where the reference has a scale.
    pub full_size_mm: Option<Measured>,
    /// With both images scaled: model against subject absolutely, per cent.
    pub absolute_percent: Option<Measured>,
    /// The same in millimetres on the model: its length minus that which the subject asks for.
    pub absolute_model_mm: Option<Measured>,
    /// The same in full-size millimetres.
    pub absolute_full_size_mm: Option<Measured>,
    /// Against the span's tolerance.
    pub verdict: Verdict,
    /// The error over its tolerance: what spans are ordered by within a verdict.
    pub times_tolerance: f64,
    /// The parts whose changes take this error away; then it asks for none of its own.
    pub goes_with: Vec<String>,
    /// The change in CAD, in words.
    pub correction: Option<String>,
}

/// The error of one angle.
#[derive(Clone, Debug)]
pub struct AngleMeasure {
    /// The angle's name.
    pub name: String,
    /// In the render, degrees.
    pub render_deg: Measured,
    /// In the registered reference, degrees.
    pub reference_deg: Measured,
    /// Render minus reference, degrees.
    pub error_deg: Measured,
    /// Against the angle's tolerance.
    pub verdict: Verdict,
    /// The error over its tolerance: what angles are ordered by within a verdict.
    pub times_tolerance: f64,
    /// The parts whose changes take this error away; then it asks for none of its own.
    pub goes_with: Vec<String>,
    /// The change in CAD, in words.
    pub correction: Option<String>,
}

/// An error too small to be printed or seen.
#[derive(Clone, Debug, PartialEq)]
pub struct LeftAlone {
    /// Name of the region or span.
    pub about: String,
    /// Which of its measures.
    pub measure: &'static str,
    /// The error, millimetres on the model.
    pub error_model_mm: Measured,
    /// Whether it is in tolerance.
    pub verdict: Verdict,
}

/// What the likeness of both pictures says beside the figures.
#[derive(Clone, Debug, PartialEq)]
pub struct EarlierIssue {
    /// Mean likeness where both pictures are, 0 to 1; what is contrary counts as 0.
    pub likeness: f64,
    /// One for each region, in the view's order.
    pub parts: Vec<PartBack>,
}

/// Whether a part is back.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct PartBack {
    /// Mean likeness within the outline, 0 to 1; `None` where the reference does not cover it.
    pub likeness: Option<f64>,
    /// What follows.
    pub back: Back,
}

/// Whether a part is as it was in an earlier issue.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Back {
    /// Size, place and attitude are within their tolerances, and it looks no more different than the others.
    Back,
    /// A figure is out of tolerance.
    NotBack,
    /// Size and place are back, but it looks much more different than the others do.
    LooksOther,
    /// Its figures are undecided.
    CannotTell,
}

impl Back {
    /// What is said of the part, the same wherever it is told.
    pub fn words(self) -> &'static str {
        match self {
            Self::Back => "back",
            Self::NotBack => "not back",
            Self::LooksOther => "looks other",
            Self::CannotTell => "cannot tell",
        }
    }
}

/// One change to make in CAD.
#[derive(Clone, Debug, PartialEq)]
pub struct Correction {
    /// Name of the region, span or angle.
    pub about: String,
    /// What to do, such as "make the lantern 3.2 % narrower (0.41 mm on the model)".
    pub text: String,
    /// The error over the tolerance: what the list is ordered by.
    pub times_tolerance: f64,
}

/// The rasters that the pictures are drawn from, on the working grid.
#[derive(Clone, Debug)]
pub struct WorkImages {
    /// Takes working pixels to render pixels: a scale about the top left corner.
    pub render_from_work: Projective<RenderPx, WorkPx>,
    /// The render, on plain grey where it is transparent.
    pub render: image::RgbImage,
    /// The registered reference; black outside of it.
    pub reference: image::RgbImage,
    /// 255 where the reference covers the working grid and both masks allow it, else 0.
    pub common: Plane<u8>,
    /// The silhouettes, where both images have one.
    pub silhouettes: Option<Silhouettes>,
    /// How alike both pictures are, 255 where they are equal, where both are pictures of models.
    pub likeness: Option<Plane<u8>>,
    /// 255 on the render's edges, else 0.
    pub render_edges: Plane<u8>,
    /// 255 on the reference's edges, else 0.
    pub reference_edges: Plane<u8>,
    /// Distance of every working pixel from the nearest edge of the render, working pixels (infinite where it has none).
    pub distance_to_render_edges: Plane<f32>,
    /// Distance of every working pixel from the nearest edge of the reference, working pixels.
    pub distance_to_reference_edges: Plane<f32>,
    /// What both images show at the marks, in the view's order.
    pub patches: Vec<MarkPatches>,
}

/// The silhouettes of both images on the working grid: 255 inside, else 0.
#[derive(Clone, Debug)]
pub struct Silhouettes {
    /// Of the render.
    pub render: Plane<u8>,
    /// Of the registered reference.
    pub reference: Plane<u8>,
    /// Where the reference covers the grid.
    pub covered: Plane<u8>,
}

/// Landmarks as they are drawn: a mark of the render and the registered mark of the reference.
#[derive(Clone, Copy, Debug)]
pub struct DrawnPair {
    /// In the render.
    pub render: Point<RenderPx>,
    /// The reference's mark, registered.
    pub reference: Point<RenderPx>,
}
