//! What is too small to be printed or seen.
use super::verdict;
use crate::{
    job::{Job, Region, Tolerance, View},
    measurement::{LeftAlone, RegionMeasure, SpanMeasure, Verdict},
    statistics::Measured,
};

/// All measures of regions and spans whose error is below the smallest visible one, in their order; an undecided one
/// only where its whole interval is.
pub(crate) fn list(
    job: &Job,
    view: &View,
    regions: &[RegionMeasure],
    spans: &[SpanMeasure],
) -> Vec<LeftAlone> {
    let mut all = Vec::new();
    for (region, measure) in view.regions.iter().zip(regions) {
        all.extend(of_region(region, measure));
    }
    for span in spans {
        all.extend(span.error_model_mm.map(|mm| LeftAlone {
            about: span.name.clone(),
            measure: "length",
            error_model_mm: mm,
            verdict: span.verdict,
        }));
    }
    let least = job.smallest_visible.0;
    all.retain(|small| {
        let error = small.error_model_mm;
        let farthest = error.low().abs().max(error.high().abs());
        // What the picture cannot tell may yet be there to see.
        error.value().abs() < least && (farthest < least || small.verdict != Verdict::Undecided)
    });
    all
}

fn of_region(region: &Region, measure: &RegionMeasure) -> Vec<LeftAlone> {
    let Some(size) = measure.size_model_mm else {
        return Vec::new();
    };
    let tolerance: &Tolerance = &region.tolerance;
    let percent = tolerance.proportion_percent;
    let reach = size[0].hypot(size[1]) / 2.0;
    let [x, y] = measure.offset_model_mm;
    // Each measure with its error, what a unit of it is in millimetres, and its tolerance.
    let measures: [(&str, Option<Measured>, f64, f64); 5] = [
        ("width", measure.width_percent, size[0] / 100.0, percent),
        ("height", measure.height_percent, size[1] / 100.0, percent),
        (
            "rotation",
            measure.rotation_deg,
            reach.to_radians(),
            tolerance.angle_deg,
        ),
        ("offset x", x, 1.0, tolerance.offset.0),
        ("offset y", y, 1.0, tolerance.offset.0),
    ];
    measures
        .into_iter()
        .filter_map(|(name, error, unit, limit)| {
            let error = error?;
            let verdict: Verdict = verdict::judge(error, limit);
            Some(LeftAlone {
                about: region.name.clone(),
                measure: name,
                error_model_mm: error.times(unit),
                verdict,
            })
        })
        .collect()
}
