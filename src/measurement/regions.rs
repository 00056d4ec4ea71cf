//! The proportion errors of one region, as far as the picture can tell them.
use super::{EdgeOverlap, Method, RegionMeasure, Verdict, correction, scales::ScaleStudy, verdict};
use crate::{
    job::{Job, Region},
    registration::RegionFit,
    statistics::Measured,
};

/// A figure is given only where its deviation is below this part of what was expected beforehand: else the figure would
/// mostly repeat the expectation.
const INFORMATIVE: f64 = 0.5;

/// Turns a fit into figures, a verdict and a correction.
pub(crate) fn measure(
    job: &Job,
    region: &Region,
    fit: Option<&RegionFit>,
    scales: &ScaleStudy,
    edge_overlap: Option<EdgeOverlap>,
) -> RegionMeasure {
    let figure = |k: usize, unit: f64| -> Option<Measured> {
        let fit = fit?;
        let deviation = fit.covariance[(k, k)].max(0.0).sqrt();
        if deviation >= INFORMATIVE * fit.expected[k] {
            return None;
        }
        Measured::from_deviation(fit.errors.to_array()[k], deviation, fit.freedom)
            .map(|m| m.times(unit))
    };
    let size_px = extent(region);
    let offset_px = [figure(3, 1.0), figure(4, 1.0)];
    let offset_model_mm = offset_px.map(|m| m.and_then(|m| scales.model_mm(m)));
    let mm = scales.figures.model_mm_per_render_px;
    let mut measure = RegionMeasure {
        name: region.name.clone(),
        method: Method::None,
        width_percent: figure(0, 100.0),
        height_percent: figure(1, 100.0),
        rotation_deg: figure(2, 180.0 / std::f64::consts::PI),
        offset_px,
        offset_model_mm,
        offset_full_size_mm: offset_model_mm.map(|m| m.map(|m| m.times(job.scale.denominator()))),
        size_px,
        size_model_mm: mm.map(|mm| size_px.map(|s| s * mm)),
        edge_overlap,
        verdict: Verdict::Undecided,
        sureness: String::new(),
        correction: None,
        note: region.note.clone(),
    };
    if figures(&measure).next().is_some() {
        measure.method = Method::Landmarks;
    }
    measure.verdict = judge(region, &measure, mm.is_some());
    measure.sureness = sureness(&measure, fit);
    measure.correction = correction::of_region(job, region, &measure).map(|c| c.text);
    measure
}

/// Width and height of the outline's box.
fn extent(region: &Region) -> [f64; 2] {
    let range = |of: fn(&crate::frame::Point<crate::frame::RenderPx>) -> f64| {
        let low = region.outline.iter().map(of).fold(f64::INFINITY, f64::min);
        let high = region
            .outline
            .iter()
            .map(of)
            .fold(f64::NEG_INFINITY, f64::max);
        high - low
    };
    [range(|p| p.x), range(|p| p.y)]
}

fn figures(measure: &RegionMeasure) -> impl Iterator<Item = Measured> + '_ {
    [
        measure.width_percent,
        measure.height_percent,
        measure.rotation_deg,
    ]
    .into_iter()
    .chain(measure.offset_px)
    .flatten()
}

/// The worst verdict of all figures; a figure that cannot be told leaves the region undecided.
fn judge(region: &Region, measure: &RegionMeasure, has_scale: bool) -> Verdict {
    let tolerance = &region.tolerance;
    let of = |error: Option<Measured>, limit: f64| {
        error.map_or(Verdict::Undecided, |e| verdict::judge(e, limit))
    };
    let mut all = vec![
        of(measure.width_percent, tolerance.proportion_percent),
        of(measure.height_percent, tolerance.proportion_percent),
        of(measure.rotation_deg, tolerance.angle_deg),
    ];
    if has_scale {
        all.extend(
            measure
                .offset_model_mm
                .map(|error| of(error, tolerance.offset.0)),
        );
    }
    verdict::worst(all).unwrap_or(Verdict::Undecided)
}

/// Why the figures are sure or not.
fn sureness(measure: &RegionMeasure, fit: Option<&RegionFit>) -> String {
    let Some(fit) = fit else {
        return "cannot tell: no landmarks of its own; mark three or more on it, far apart"
            .to_owned();
    };
    let marks = match fit.landmarks {
        1 => "1 landmark".to_owned(),
        n => format!("{n} landmarks"),
    };
    let missing: Vec<&str> = [
        (measure.width_percent.is_none(), "width"),
        (measure.height_percent.is_none(), "height"),
        (measure.rotation_deg.is_none(), "rotation"),
        (measure.offset_px.iter().any(Option::is_none), "offset"),
    ]
    .into_iter()
    .filter_map(|(is_missing, name)| is_missing.then_some(name))
    .collect();
    let basis = if fit.is_datum {
        "datum part, judged by the other datum landmarks"
    } else {
        "marks only"
    };
    match missing.len() {
        0 => format!("{marks}; {basis}"),
        4 => format!("cannot tell: {marks} are too few or too uncertain; mark more, far apart"),
        _ => format!(
            "{marks}; {basis}; cannot tell {}: mark more, far apart",
            missing.join(", ")
        ),
    }
}
