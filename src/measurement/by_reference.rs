//! What the noise of the reference does to the figures of a view: by it a later comparison with the same marks on the same
//! reference knows what both have in common.
use super::{
    AngleMeasure, FigureByReference, MeasureKind, PartKind, ReferenceNoise, SpanMeasure,
    regions::Evidence, spans,
};
use crate::{
    job::View,
    registration::{Adjustment, ByReference},
    statistics::t_quantile,
};

/// Those of all figures that are told; `evidence` is that of the regions, the rest was measured by `adjustment`.
pub(crate) fn of_view(
    view: &View,
    evidence: &[Evidence],
    (spans, angles): (&[SpanMeasure], &[AngleMeasure]),
    adjustment: &Adjustment,
) -> ReferenceNoise {
    let regions = view.regions.iter().zip(evidence);
    let regions = regions.flat_map(|(region, evidence)| {
        evidence
            .by_reference()
            .map(|(measure, moved)| FigureByReference {
                of: PartKind::Region,
                name: region.name.clone(),
                measure,
                moved,
            })
    });
    let quantile = t_quantile(0.975, adjustment.noise_freedom());
    let figure = |of, name: &str, measure, moved: ByReference| FigureByReference {
        of,
        name: name.to_owned(),
        measure,
        moved: moved.times(quantile),
    };
    let is_told = |name: &String, told: Vec<&String>| told.contains(&name);
    let spans = view
        .spans
        .iter()
        .filter(|span| is_told(&span.name, spans.iter().map(|s| &s.name).collect()));
    let spans = spans.map(|span| {
        let moved = spans::span_by_reference(span, adjustment);
        figure(PartKind::Span, &span.name, MeasureKind::Length, moved)
    });
    let angles = view
        .angles
        .iter()
        .filter(|angle| is_told(&angle.name, angles.iter().map(|a| &a.name).collect()));
    let angles = angles.map(|angle| {
        let moved = spans::angle_by_reference(angle, adjustment);
        figure(PartKind::Angle, &angle.name, MeasureKind::Angle, moved)
    });
    let marks = adjustment.pairs().iter().take(view.landmarks.len());
    ReferenceNoise {
        marks: marks.map(|pair| pair.reference.xy()).collect(),
        rectification: as_observed(adjustment),
        figures: regions.chain(spans).chain(angles).collect(),
    }
}

/// The rectification before the adjustment changes it: the rows of its map, then the coefficient of its lens.
fn as_observed(adjustment: &Adjustment) -> Vec<f64> {
    let Some(rectification) = adjustment.layout().free_rectification() else {
        return Vec::new();
    };
    let map = rectification.rectified_from_reference();
    let rows = map.rows().into_iter().flatten();
    rows.chain([map.lens().coefficient()]).collect()
}
