//! From measurements to the report's entries.
//!
//! Nothing is computed here but units; a number that is not finite becomes absent.
use super::{
    finite::{figure, finite, pair},
    json::*,
};
use crate::{
    frame::Lens,
    job::{self, Job, RenderImage, View},
    measurement::{self, EdgeOverlap, MarkedScale, RegionMeasure, ViewMeasurement},
    rectification::{BezelFinding, RectificationFigures},
    registration::{Finding, LandmarkFit},
    report::{
        ViewOutcome,
        cad_changes::{self, Limits},
        print, reference_noise, screen, shots,
    },
    statistics::Measured,
    units::{FullSizeMm, ModelMm},
    warning::Code,
};
use serde::{Deserialize, Serialize};
use std::{collections::BTreeMap, path::Path};

/// What is collected of one view: its entry, and what those that concern several views are made of.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct CollectedView {
    /// The view's entry in the report.
    pub entry: ViewEntry,
    /// How large its known lengths make what is marked; `None` where nothing tells a scale.
    pub marked: Option<MarkedScale>,
}

impl CollectedView {
    /// Collects what became of a view of a job.
    pub fn new(job: &Job, outcome: &ViewOutcome<'_>) -> Self {
        let marked = outcome.result.as_ref().ok().and_then(|measured| {
            let per_px = measured.scales.model_mm_per_render_px(job.scale)?;
            Some(MarkedScale::new(&outcome.view, per_px.value()))
        });
        Self {
            entry: view_entry(job, outcome),
            marked: marked.filter(|m| m.model_mm_per_px.is_finite() && m.marked_mm.is_finite()),
        }
    }
}

impl Report {
    /// Collects what became of the views of a job. A failed view keeps its place, with its error.
    pub fn new(job: &Job, outcomes: &[ViewOutcome<'_>]) -> Self {
        Self::of_views(job, outcomes.iter().map(|o| CollectedView::new(job, o)))
    }

    /// The same of views that were collected one by one.
    pub fn of_views(job: &Job, views: impl IntoIterator<Item = CollectedView>) -> Self {
        let (views, marked): (Vec<ViewEntry>, Vec<Option<MarkedScale>>) =
            views.into_iter().map(|v| (v.entry, v.marked)).unzip();
        let limits = Limits {
            smallest_visible: job.smallest_visible,
            proportion_percent: job.tolerance.proportion_percent,
        };
        let changes = cad_changes::list(&views, None, &limits);
        Self {
            format: FORMAT.to_owned(),
            format_version: FORMAT_VERSION,
            program: Program::own(),
            job: job_entry(job),
            verdict: views.iter().filter_map(|v| v.verdict).max(),
            warnings: mixed_variants(&views)
                .into_iter()
                .chain(disagreeing_views(job, &views, &marked))
                .collect(),
            changes,
            views,
            space: None,
            revision: None,
        }
    }

    /// The same with a warning for each image whose marks were carried over.
    pub fn with_carried(mut self, carried: &[String]) -> Self {
        self.warnings.extend(carried.iter().map(|text| Warning {
            code: Code::MarksCarried.as_str().to_owned(),
            text: text.clone(),
        }));
        self
    }

    /// The same with what the photos tell together.
    pub fn with_space(mut self, space: Option<SpaceEntry>) -> Self {
        // The list of changes is that of the views, then.
        if space.is_none() {
            return self;
        }
        self.verdict = self.verdict.max(space.as_ref().and_then(|s| s.verdict));
        let limits = Limits {
            smallest_visible: ModelMm(self.job.smallest_visible_mm),
            proportion_percent: self.job.tolerance.proportion_percent,
        };
        self.changes = cad_changes::list(&self.views, space.as_ref(), &limits);
        self.space = space;
        self
    }
}

fn job_entry(job: &Job) -> JobEntry {
    JobEntry {
        title: job.title.clone(),
        scale_denominator: job.scale.denominator(),
        file: file_name(&job.file),
        blake3: job.blake3.clone(),
        tolerance: tolerance(&job.tolerance),
        smallest_visible_mm: job.smallest_visible.0,
        smallest_visible_reason: job.print.map(job::Print::in_words),
        expected: Expected {
            size_percent: job.expected.size_percent,
            rotation_deg: job.expected.rotation_deg,
            offset_percent: job.expected.offset_percent,
            keystone_percent: job.expected.keystone_percent,
        },
    }
}

/// Reports travel; the folders of the machine they were made on mean nothing elsewhere.
fn file_name(path: &Path) -> String {
    path.file_name()
        .map(|name| name.to_string_lossy().into_owned())
        .unwrap_or_default()
}

/// The warning that the references show different variants of the subject; a reference that states none is not counted.
fn mixed_variants(views: &[ViewEntry]) -> Option<Warning> {
    let mut views_of: BTreeMap<&str, Vec<&str>> = BTreeMap::new();
    for view in views {
        if let Some(variant) = &view.reference.variant {
            views_of.entry(variant).or_default().push(&view.name);
        }
    }
    if views_of.len() < 2 {
        return None;
    }
    let list: Vec<_> = views_of
        .iter()
        .map(|(variant, views)| format!("\"{variant}\" ({})", views.join(", ")))
        .collect();
    Some(Warning {
        code: Code::MixedVariants.as_str().to_owned(),
        text: format!(
            "the references show different variants of the subject: {}; make one job for each variant, or leave the \
             views out that do not show the variant you build",
            list.join(", ")
        ),
    })
}

/// The warnings that known lengths of several views cannot all be meant.
fn disagreeing_views(
    job: &Job,
    views: &[ViewEntry],
    marked: &[Option<MarkedScale>],
) -> Vec<Warning> {
    let image_of = |name: &str| {
        let view = job.views.iter().find(|view| view.name == name)?;
        view.render.image.file()
    };
    let scales = views.iter().zip(marked).filter_map(|(view, marked)| {
        Some(measurement::ViewScale {
            view: &view.name,
            image: image_of(&view.name),
            marked: (*marked)?,
        })
    });
    let scales: Vec<_> = scales.collect();
    let found = measurement::views_that_disagree(&scales).into_iter();
    found
        .map(|found| Warning {
            code: Code::ViewsDisagree.as_str().to_owned(),
            text: found.text,
        })
        .collect()
}

fn view_entry(job: &Job, outcome: &ViewOutcome<'_>) -> ViewEntry {
    let files = outcome
        .files
        .iter()
        .map(|(key, path)| ((*key).to_owned(), path.clone()))
        .collect();
    let mut empty = empty_view(&outcome.view, files);
    empty.reference.blake3 = outcome.reference_blake3.clone();
    match &outcome.result {
        Ok(measured) => measured_view(job, &outcome.view, measured, empty),
        Err(failure) => ViewEntry {
            error: Some(ErrorEntry {
                code: failure.code.to_owned(),
                text: failure.text.clone(),
            }),
            ..empty
        },
    }
}

fn empty_view(view: &View, files: BTreeMap<String, String>) -> ViewEntry {
    ViewEntry {
        name: view.name.clone(),
        verdict: None,
        error: None,
        warnings: Vec::new(),
        distrusted: false,
        axes: view.axes.map(|axes| AxesEntry {
            right: direction(axes.right()),
            down: direction(axes.down()),
        }),
        render: RenderEntry {
            image: match &view.render.image {
                RenderImage::File(image) => file_name(image),
                // As it lies in the view's folder.
                RenderImage::Drawn => "drawn.png".to_owned(),
                RenderImage::Absent => String::new(),
            },
            kind: view.render.kind.into(),
        },
        reference: ReferenceEntry {
            image: file_name(&view.reference.image),
            kind: view.reference.kind.into(),
            source: view.reference.source.clone(),
            time_code: view.reference.time_code.clone(),
            variant: view.reference.variant.clone(),
            note: view.reference.note.clone(),
            rights: view.reference.rights.clone(),
            blake3: None,
        },
        registration: None,
        scales: None,
        sizes: None,
        symmetry: None,
        silhouette: None,
        print: None,
        earlier_issue: None,
        screen: None,
        shots: None,
        edge_overlap: None,
        corrections: Vec::new(),
        leave_alone: Vec::new(),
        regions: Vec::new(),
        spans: Vec::new(),
        angles: Vec::new(),
        reference_noise: None,
        files,
    }
}

/// "x", "-z".
fn direction(direction: job::ModelDirection) -> String {
    let sign = if direction.is_against { "-" } else { "" };
    format!("{sign}{}", measurement::AXES[direction.axis])
}

fn measured_view(job: &Job, view: &View, m: &ViewMeasurement, empty: ViewEntry) -> ViewEntry {
    let regions = m.regions.iter().enumerate().map(|(i, region)| {
        let stated = view.regions.get(i).map_or(&job.tolerance, |r| &r.tolerance);
        region_entry(region, tolerance(stated))
    });
    // By name: a span or angle whose marks coincide has no measure, so places in the lists may differ.
    let spans = m.spans.iter().map(|span| {
        let stated = view.spans.iter().find(|s| s.name == span.name);
        let stated = stated.map_or(&job.tolerance, |s| &s.tolerance);
        span_entry(span, tolerance(stated))
    });
    let angles = m.angles.iter().map(|angle| {
        let stated = view.angles.iter().find(|a| a.name == angle.name);
        let stated = stated.map_or(&job.tolerance, |a| &a.tolerance);
        angle_entry(angle, tolerance(stated))
    });
    ViewEntry {
        verdict: Some(m.verdict),
        warnings: m.warnings.iter().map(Warning::from).collect(),
        distrusted: m.is_distrusted(),
        registration: Some(registration_entry(view, m)),
        scales: Some(scales_entry((job, view), &m.scales)),
        edge_overlap: m.edge_overlap.as_ref().map(edge_overlap_entry),
        sizes: m.sizes.as_ref().map(sizes_entry),
        symmetry: m.symmetry.as_ref().map(symmetry_entry),
        silhouette: m.silhouette.as_ref().map(silhouette_entry),
        print: m.print.as_ref().map(|found| print::entry(view, found)),
        earlier_issue: (m.earlier_issue.as_ref()).map(|found| earlier_issue_entry(view, found)),
        screen: screen::entry(&m.screen),
        shots: m.shots.as_ref().map(shots::entry),
        corrections: corrections(m),
        leave_alone: m.leave_alone.iter().map(leave_alone_entry).collect(),
        regions: regions.collect(),
        spans: spans.collect(),
        angles: angles.collect(),
        reference_noise: Some(reference_noise::entry(view, &m.by_reference)),
        ..empty
    }
}

fn corrections(m: &ViewMeasurement) -> Vec<CorrectionEntry> {
    let mut sorted: Vec<_> = m.corrections.iter().collect();
    sorted.sort_by(|a, b| b.times_tolerance.total_cmp(&a.times_tolerance));
    sorted
        .into_iter()
        .map(|c| CorrectionEntry {
            about: c.about.clone(),
            text: c.text.clone(),
            times_tolerance: finite(c.times_tolerance),
        })
        .collect()
}

fn registration_entry(view: &View, m: &ViewMeasurement) -> RegistrationEntry {
    let r = &m.registration;
    let landmarks = view.landmarks.iter().zip(&r.landmarks);
    RegistrationEntry {
        kind: r.kind.into(),
        matrix: r.render_from_reference.rows(),
        rectified_from_reference: r.rectified_from_reference.rows(),
        lens: lens_entry(r.rectified_from_reference.lens()),
        rectification: r.rectification.as_ref().and_then(rectification_entry),
        scale: Some(figure(r.scale)),
        rotation_deg: Some(figure(r.rotation_deg)),
        rms_px: finite(r.rms_px),
        sigma0: r.sigma0.and_then(finite),
        degrees_of_freedom: r.degrees_of_freedom,
        render_mark_sigma_px: finite(r.render_mark_sigma_px),
        reference_mark_sigma_px: finite(r.reference_mark_sigma_px),
        hides: r.hides.clone(),
        render_px_per_model_mm: m.scales.render_px_per_model_mm.map(figure),
        landmarks: landmarks
            .zip(&m.landmark_offsets_model_mm)
            .map(|((mark, fit), in_mm)| landmark_entry(view, mark, fit, *in_mm))
            .collect(),
    }
}

fn rectification_entry(found: &RectificationFigures) -> Option<RectificationEntry> {
    let (corner_moves_px, corners_within_px) = match found.bezel {
        Some(BezelFinding::Refined { moves, within }) => (Some(moves), Some(within)),
        Some(BezelFinding::Kept { .. }) | None => (None, None),
    };
    let has_figures = found.aspect.is_some()
        || found.lens.is_some()
        || found.rms_px.is_some()
        || corner_moves_px.is_some();
    has_figures.then(|| RectificationEntry {
        aspect: found.aspect.map(figure),
        lens_coefficient: found.lens.map(figure),
        rms_px: found.rms_px.and_then(finite),
        corner_moves_px,
        corners_within_px,
    })
}

fn lens_entry(lens: Lens) -> Option<LensEntry> {
    (!lens.is_none()).then(|| LensEntry {
        coefficient: lens.coefficient(),
        centre: lens.centre().xy(),
        radius_px: lens.radius(),
    })
}

fn landmark_entry(
    view: &View,
    mark: &job::Landmark,
    fit: &LandmarkFit,
    [x_mm, y_mm]: [Option<Measured>; 2],
) -> LandmarkEntry {
    let finding = fit.finding.as_ref().map(|finding| match finding {
        Finding::Wrong => "wrong".to_owned(),
        Finding::Uncontrolled => "uncontrolled".to_owned(),
        Finding::Contradicts(other) => format!("contradicts {}", landmark_name(view, *other)),
        Finding::WrongPlace => "wrong place on the model".to_owned(),
        Finding::OffWithPart(region) => format!("off with {}", region_name(view, *region)),
        Finding::SwappedWith(other) => format!("swapped with {}", landmark_name(view, *other)),
    });
    LandmarkEntry {
        name: mark.name.clone(),
        usage: mark.usage.into(),
        residual_px: fit.residual_px.map(finite),
        offset_px: Pair {
            x: Some(figure(fit.offset_px[0])),
            y: Some(figure(fit.offset_px[1])),
        },
        offset_mm: Pair {
            x: x_mm.map(figure),
            y: y_mm.map(figure),
        },
        test_statistic: fit.test_statistic.and_then(finite),
        critical_value: finite(fit.critical_value),
        redundancy: finite(fit.redundancy),
        smallest_detectable_px: fit.smallest_detectable_px.and_then(finite),
        outline: fit.on_outline.map(|on| OutlineEntry {
            along_sigma_px: finite(on.along_sigma_px),
            tangent_deg: on.tangent_deg.and_then(finite),
        }),
        finding,
    }
}

fn landmark_name(view: &View, index: usize) -> &str {
    view.landmarks.get(index).map_or("", |l| &l.name)
}

fn region_name(view: &View, index: usize) -> &str {
    view.regions.get(index).map_or("", |r| &r.name)
}

fn scales_entry((job, view): (&Job, &View), scales: &measurement::Scales) -> ScalesEntry {
    let known = view.known.iter().zip(&scales.known);
    ScalesEntry {
        render_px_per_model_mm: scales.render_px_per_model_mm.map(figure),
        registered_px_per_full_size_mm: scales.registered_px_per_full_size_mm.map(figure),
        model_mm_per_render_px: scales
            .model_mm_per_render_px(job.scale)
            .and_then(|m| finite(m.value())),
        model_size_percent: scales.model_size_percent.map(figure),
        known: known
            .map(|(known, fit)| known_entry(view, known, fit))
            .collect(),
        render_dimensions: scales.render_dimensions.as_ref().map(dimensions_entry),
        reference_dimensions: scales.reference_dimensions.as_ref().map(dimensions_entry),
    }
}

fn known_entry(view: &View, known: &job::Known, fit: &measurement::KnownFit) -> KnownEntry {
    let end = |end: job::End| match end {
        job::End::Landmark(i) => landmark_name(view, i).to_owned(),
        job::End::Point([x, y]) => format!("[{x}, {y}]"),
    };
    let asked = fit.others_ask_for_full_size_mm;
    KnownEntry {
        side: known.side.into(),
        from: end(known.from),
        to: end(known.to),
        length: known.text.clone(),
        full_size_mm: known.length.and_then(|length| finite(length.0)),
        disagreement_percent: fit.disagreement_percent.and_then(finite),
        along: known.along.map(|axis| match axis {
            job::Axis::Horizontal => "x".to_owned(),
            job::Axis::Vertical => "y".to_owned(),
        }),
        direction_error_deg: fit.direction_error_deg.and_then(finite),
        test_statistic: fit.test_statistic.and_then(finite),
        critical_value: fit.critical_value.and_then(finite),
        others_ask_for_full_size_mm: asked.map(figure),
        others_ask_for_feet_and_inches: asked
            .map(|m| FullSizeMm(m.value()).feet_and_inches_within(m.half_width())),
        doubtful: fit.doubtful,
        ambiguous: fit.ambiguous,
    }
}

fn test(test: measurement::Test) -> TestEntry {
    TestEntry {
        statistic: finite(test.statistic),
        critical_value: finite(test.critical),
    }
}

fn silhouette_entry(s: &measurement::SilhouetteOverlap) -> SilhouetteEntry {
    let mm = |k: usize| s.model_mm.and_then(|mm| finite(mm[k]));
    SilhouetteEntry {
        overlap: finite(s.overlap),
        mean_px: finite(s.mean_px),
        p95_px: finite(s.p95_px),
        max_px: finite(s.max_px),
        mean_model_mm: mm(0),
        p95_model_mm: mm(1),
        max_model_mm: mm(2),
        outline_pixels: s.outline_pixels,
    }
}

fn earlier_issue_entry(view: &View, found: &measurement::EarlierIssue) -> EarlierIssueEntry {
    let parts = view.regions.iter().zip(&found.parts);
    EarlierIssueEntry {
        likeness: finite(found.likeness),
        parts: parts
            .map(|(region, part)| PartBackEntry {
                name: region.name.clone(),
                likeness: part.likeness.and_then(finite),
                back: part.back.into(),
            })
            .collect(),
    }
}

fn symmetry_entry(check: &measurement::SymmetryCheck) -> SymmetryEntry {
    let pairs = check.pairs.iter().map(|pair| PairAsymmetryEntry {
        names: pair.names.clone(),
        middle_px: Some(figure(pair.middle_px)),
        along_px: Some(figure(pair.along_px)),
    });
    SymmetryEntry {
        symmetric: !check.test.speaks(),
        test: test(check.test),
        degrees_of_freedom: check.degrees_of_freedom,
        axis_deg: Some(figure(check.axis_deg)),
        skew_deg: Some(figure(check.skew_deg)),
        pairs: pairs.collect(),
        text: check.text.clone(),
    }
}

fn dimensions_entry(fit: &measurement::DimensionFit) -> DimensionsEntry {
    DimensionsEntry {
        px_per_mm: Some(figure(fit.px_per_mm)),
        angle_deg: fit.angle_deg.map(figure),
        stretch_percent: fit.stretch_percent.map(figure),
        stretch_test: fit.stretch_test.map(test),
        stretched: fit.is_stretched,
        out_of_square_deg: fit.out_of_square_deg.map(figure),
        square_test: fit.square_test.map(test),
        out_of_square: fit.is_out_of_square,
        sigma0: fit.sigma0.and_then(finite),
        degrees_of_freedom: fit.degrees_of_freedom,
        disagree: fit.disagree,
    }
}

fn sizes_entry(sizes: &measurement::SizeComparison) -> SizesEntry {
    let spans = sizes.spans.iter().map(|span| SpanSizesEntry {
        name: span.name.clone(),
        was_model_mm: Some(figure(span.was_model_mm)),
        becomes_model_mm: Some(figure(span.becomes_model_mm)),
        was_full_size_mm: Some(figure(span.was_full_size_mm)),
        becomes_full_size_mm: Some(figure(span.becomes_full_size_mm)),
        text: span.text.clone(),
    });
    SizesEntry {
        larger_percent: Some(figure(sizes.larger_percent)),
        turned_deg: Some(figure(sizes.turned_deg)),
        text: sizes.text.clone(),
        spans: spans.collect(),
    }
}

fn leave_alone_entry(small: &measurement::LeftAlone) -> LeaveAloneEntry {
    LeaveAloneEntry {
        about: small.about.clone(),
        measure: small.measure.to_owned(),
        error_model_mm: Some(figure(small.error_model_mm)),
        verdict: small.verdict,
    }
}

fn edge_overlap_entry(e: &EdgeOverlap) -> EdgeOverlapEntry {
    EdgeOverlapEntry {
        score: finite(e.score),
        precision: finite(e.precision),
        recall: finite(e.recall),
        chance: finite(e.chance),
        above_chance: finite(e.above_chance),
        tolerance_px: finite(e.tolerance_px),
        mean_distance_px: finite(e.mean_distance_px),
        p95_distance_px: finite(e.p95_distance_px),
        render_edge_pixels: e.render_edge_pixels,
        reference_edge_pixels: e.reference_edge_pixels,
    }
}

fn region_entry(r: &RegionMeasure, tolerance: Tolerance) -> RegionEntry {
    RegionEntry {
        name: r.name.clone(),
        method: r.method.into(),
        width_percent: r.width_percent.map(figure),
        height_percent: r.height_percent.map(figure),
        absolute_width_percent: r.absolute_percent[0].map(figure),
        absolute_height_percent: r.absolute_percent[1].map(figure),
        absolute_width_model_mm: r.absolute_model_mm[0].map(figure),
        absolute_height_model_mm: r.absolute_model_mm[1].map(figure),
        offset_px: pair(r.offset_px),
        offset_model_mm: pair(r.offset_model_mm),
        offset_full_size_mm: pair(r.offset_full_size_mm),
        rotation_deg: r.rotation_deg.map(figure),
        size_px: r.size_px.map(finite),
        size_model_mm: r.size_model_mm.map(|size| size.map(finite)),
        edge_overlap: r.edge_overlap.as_ref().map(edge_overlap_entry),
        tolerance,
        verdict: r.verdict,
        times_tolerance: finite(r.times_tolerance),
        sureness: r.sureness.clone(),
        changes: r.changes.iter().map(part_change_entry).collect(),
        pivot: r.pivot.as_ref().map(|pivot| PivotEntry {
            landmark: pivot.landmark.clone(),
            offset_model_mm: pair(pivot.offset_model_mm.map(Some)),
        }),
        correction: r.correction.clone(),
        note: r.note.clone(),
    }
}

fn part_change_entry(change: &measurement::PartChange) -> PartChangeEntry {
    PartChangeEntry {
        measure: change.measure,
        error: Some(figure(change.error)),
        model_mm: change.model_mm.and_then(finite),
        times_tolerance: finite(change.times_tolerance),
    }
}

fn span_entry(s: &measurement::SpanMeasure, tolerance: Tolerance) -> SpanEntry {
    SpanEntry {
        name: s.name.clone(),
        render_px: Some(figure(s.render_px)),
        reference_px: Some(figure(s.reference_px)),
        error_percent: Some(figure(s.error_percent)),
        error_model_mm: s.error_model_mm.map(figure),
        error_full_size_mm: s.error_full_size_mm.map(figure),
        model_mm: s.model_mm.map(figure),
        full_size_mm: s.full_size_mm.map(figure),
        absolute_percent: s.absolute_percent.map(figure),
        absolute_model_mm: s.absolute_model_mm.map(figure),
        absolute_full_size_mm: s.absolute_full_size_mm.map(figure),
        tolerance,
        verdict: s.verdict,
        times_tolerance: finite(s.times_tolerance),
        goes_with: s.goes_with.clone(),
        correction: s.correction.clone(),
    }
}

fn angle_entry(a: &measurement::AngleMeasure, tolerance: Tolerance) -> AngleEntry {
    AngleEntry {
        name: a.name.clone(),
        render_deg: Some(figure(a.render_deg)),
        reference_deg: Some(figure(a.reference_deg)),
        error_deg: Some(figure(a.error_deg)),
        tolerance,
        verdict: a.verdict,
        times_tolerance: finite(a.times_tolerance),
        goes_with: a.goes_with.clone(),
        correction: a.correction.clone(),
    }
}

fn tolerance(t: &job::Tolerance) -> Tolerance {
    Tolerance {
        proportion_percent: t.proportion_percent,
        offset_mm: t.offset.0,
        angle_deg: t.angle_deg,
        edge_overlap: t.edge_overlap,
    }
}

/// The other stages know nothing of JSON, so each closed list has a twin here that can be written.
macro_rules! twins { ($($from:ty => $to:ident { $($variant:ident),+ })+) => {$(
    impl From<$from> for $to {
        fn from(other: $from) -> Self {
            match other { $(<$from>::$variant => Self::$variant),+ }
        }
    }
)+}; }

twins! {
    measurement::Method => Method { None, Landmarks, Edges, LandmarksAndEdges, LandmarksAndSymmetry, LandmarksEdgesAndSymmetry }
    job::RegistrationKind => RegistrationKind { Similarity, Affine, Projective }
    job::ReferenceKind => ReferenceKind { Photo, Plan, Screenshot, Sketch }
    job::LandmarkUse => LandmarkUse { Datum, Check }
    measurement::Back => BackEntry { Back, NotBack, LooksOther, CannotTell }
    job::Side => Side { Render, Reference }
    job::RenderKind => RenderKind { Model, Plan, Print }
}
