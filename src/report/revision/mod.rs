//! What got better or worse from one revision of the model to the next, by the interval of the difference.
#![doc = include_str!("METHOD.md")]
mod csv;
mod entry;
mod frames;
mod in_space;
mod pairing;
pub(crate) mod settings;
#[cfg(test)]
mod tests;
mod told;
mod words;

pub use csv::revision_to_csv;
pub use entry::{Change, Counts, RevisionEntry, RevisionMeasure, RevisionViewEntry};
pub use frames::earlier_from_now;
pub(super) use in_space::compared as compared_in_space;
pub use words::{RevisionTold, revision_told};
pub(super) use words::{by_chance, full_name, measure_line, measure_word, part_word, those};

use super::json::{AngleEntry, Figure, Method, RegionEntry, Report, SpanEntry, ViewEntry};
use crate::{
    job::Job,
    measurement::{MeasureKind, PartKind},
    printable::{listed, shortened},
};
use pairing::SharedNoise;
use told::{DEGREES, MM, PERCENT, PX, Told};

/// What may be compared over two reports at all.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
pub enum RevisionError {
    /// Millimetres on a model of another scale mean something else.
    #[error(
        "the earlier results are of a model at 1:{before}, this job is at 1:{after}: name results of the same scale"
    )]
    OtherScale {
        /// Scale denominator then.
        before: f64,
        /// Scale denominator now.
        after: f64,
    },
    /// Nothing that was measured then is measured now.
    #[error(
        "the earlier results of \"{job}\" have no region, span or angle in common with this job (views then: {views}): name results of this job, or of the one that it was carried from"
    )]
    NothingInCommon {
        /// The job file then.
        job: String,
        /// Its views.
        views: String,
    },
}

impl RevisionError {
    /// Stable code.
    pub fn code(&self) -> &'static str {
        match self {
            Self::OtherScale { .. } => "other-scale",
            Self::NothingInCommon { .. } => "nothing-in-common",
        }
    }
}

/// Whether a job may be held against an earlier report, as far as that shows before anything is measured.
///
/// # Errors
/// Where the scale is another one, or no view is in both.
pub fn may_be_compared(before: &Report, job: &Job) -> Result<(), RevisionError> {
    check_scales(before.job.scale_denominator, job.scale.denominator())?;
    let is_in_job = |view: &ViewEntry| job.views.iter().any(|v| v.name == view.name);
    match before.views.iter().any(is_in_job) {
        true => Ok(()),
        false => Err(nothing_in_common(before)),
    }
}

fn check_scales(before: f64, after: f64) -> Result<(), RevisionError> {
    match (before - after).abs() > 1e-8 * after.abs() {
        true => Err(RevisionError::OtherScale { before, after }),
        false => Ok(()),
    }
}

fn nothing_in_common(before: &Report) -> RevisionError {
    RevisionError::NothingInCommon {
        job: shortened(&before.job.file),
        views: listed(before.views.iter().map(|v| v.name.as_str())),
    }
}

/// What became of every region measure, span, angle and part in space since an earlier report.
///
/// # Errors
/// Where the two have nothing to do with each other.
pub fn revision(before: &Report, after: &Report) -> Result<RevisionEntry, RevisionError> {
    check_scales(before.job.scale_denominator, after.job.scale_denominator)?;
    let mut views: Vec<RevisionViewEntry> = Vec::new();
    for view in &after.views {
        let earlier = before.views.iter().find(|v| v.name == view.name);
        views.push(compared(earlier, Some(view)));
    }
    let is_gone = |v: &&ViewEntry| after.views.iter().all(|w| w.name != v.name);
    views.extend(
        before
            .views
            .iter()
            .filter(is_gone)
            .map(|v| compared(Some(v), None)),
    );
    views.extend(in_space::compared(
        before.space.as_ref(),
        after.space.as_ref(),
    ));
    let counts = Counts::of(views.iter().flat_map(|view| &view.measures));
    if counts.in_both() == 0 {
        return Err(nothing_in_common(before));
    }
    Ok(RevisionEntry {
        job_file: before.job.file.clone(),
        job_blake3: before.job.blake3.clone(),
        program_version: before.program.version.clone(),
        verdict: counts.verdict(),
        text: counts.in_words(),
        counts,
        views,
    })
}

/// One view then and now.
pub(super) fn compared(before: Option<&ViewEntry>, after: Option<&ViewEntry>) -> RevisionViewEntry {
    let shared = SharedNoise::of(before, after);
    let [then, now] = [before, after].map(|view| view.map_or_else(Vec::new, figures));
    let to_newer_px = newer_px(before, after);
    let mut measures = Vec::new();
    for figure in &now {
        let earlier = then.iter().find(|f| f.is_same(figure));
        measures.extend(figure.since(earlier, &shared, to_newer_px));
    }
    let is_gone = |f: &&Told<'_>| now.iter().all(|g| !g.is_same(f));
    measures.extend(then.iter().filter(is_gone).map(Told::gone));
    let name = after
        .or(before)
        .map_or_else(String::new, |v| v.name.clone());
    RevisionViewEntry {
        name,
        independent: shared.why_not().map(str::to_owned),
        measures,
    }
}

/// What a pixel of the earlier render is in the later one, both being laid over by the same reference.
fn newer_px(before: Option<&ViewEntry>, after: Option<&ViewEntry>) -> f64 {
    let scale = |view: Option<&ViewEntry>| Some(view?.registration.as_ref()?.scale?.value);
    match (scale(before), scale(after)) {
        (Some(before), Some(after)) if before > 0.0 && after > 0.0 => after / before,
        _ => 1.0,
    }
}

/// All figures of a view that a revision is judged by.
fn figures(view: &ViewEntry) -> Vec<Told<'_>> {
    let scales = view.scales.as_ref();
    let mm_per_px = scales.and_then(|s| s.model_mm_per_render_px);
    let regions = view.regions.iter().flat_map(|r| of_region(r, mm_per_px));
    let spans = view.spans.iter().map(of_span);
    regions
        .chain(spans)
        .chain(view.angles.iter().map(of_angle))
        .collect()
}

fn of_region(r: &RegionEntry, mm_per_px: Option<f64>) -> [Told<'_>; 5] {
    let t = &r.tolerance;
    let offset = |mm: Option<Figure>, px: Option<Figure>| match mm_per_px {
        Some(per_px) => (MM, mm, Some(t.offset_mm), per_px),
        None => (PX, px, None, 1.0),
    };
    let size = |figure| (PERCENT, figure, Some(t.proportion_percent), 1.0);
    let of = [
        size(r.width_percent),
        size(r.height_percent),
        (DEGREES, r.rotation_deg, Some(t.angle_deg), 1.0),
        offset(r.offset_model_mm.x, r.offset_px.x),
        offset(r.offset_model_mm.y, r.offset_px.y),
    ];
    let is_by_edges = match r.method {
        Method::Edges | Method::LandmarksAndEdges | Method::LandmarksEdgesAndSymmetry => true,
        Method::None | Method::Landmarks | Method::LandmarksAndSymmetry => false,
    };
    std::array::from_fn(|k| {
        let (unit, figure, tolerance, per_px) = of[k];
        Told {
            of: PartKind::Region,
            name: &r.name,
            measure: MeasureKind::OF_REGION[k],
            unit,
            figure,
            tolerance,
            is_by_edges,
            per_px,
        }
    })
}

fn of_span(s: &SpanEntry) -> Told<'_> {
    Told {
        of: PartKind::Span,
        name: &s.name,
        measure: MeasureKind::Length,
        unit: PERCENT,
        figure: s.error_percent,
        tolerance: Some(s.tolerance.proportion_percent),
        is_by_edges: false,
        per_px: 1.0,
    }
}

fn of_angle(a: &AngleEntry) -> Told<'_> {
    Told {
        of: PartKind::Angle,
        name: &a.name,
        measure: MeasureKind::Angle,
        unit: DEGREES,
        figure: a.error_deg,
        tolerance: Some(a.tolerance.angle_deg),
        is_by_edges: false,
        per_px: 1.0,
    }
}
