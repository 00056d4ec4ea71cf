//! A view measured by its marks alone, for tests: no picture is looked at.
use super::{
    ViewMeasurement, by_reference, coverage, expected_offsets,
    judge::follows::Changed,
    lengths::{print, scales},
    regions::{self, Evidence},
    spans,
};
use crate::{
    frame::{Point, truth::Errors},
    job::{Job, RegistrationKind},
    registration::register,
    statistics::trials::Noise,
};

/// The first view of a job.
pub(crate) fn measured(job: &Job) -> ViewMeasurement {
    let view = &job.views[0];
    let registered =
        register(view, job.expected, (1000, 1000), None).expect("eight datum landmarks");
    let marks = scales::KnownMarks::new(view, &registered.adjustment);
    let scales = scales::study(job, view, &marks);
    let told_by = (&scales, &registered.adjustment);
    let fits = view.regions.iter().zip(&registered.regions).enumerate();
    let evidence: Vec<_> = fits
        .map(|(j, (region, fit))| Evidence::of(j, region, fit.as_ref(), None))
        .collect();
    let evidence = expected_offsets::considered(evidence);
    let parts = evidence.iter().enumerate();
    let regions: Vec<_> = parts
        .map(|(j, evidence)| regions::measure(job, (view, j), evidence, told_by, None).0)
        .collect();
    let mm_per_px = scales.model.as_ref().map(|model| model.mm_per_px);
    let changed = Changed::new(view, &regions, mm_per_px);
    let spans: Vec<_> = (view.spans.iter())
        .filter_map(|s| {
            let measured = spans::measure_span(job, s, told_by.1, told_by.0)?;
            Some(changed.span(job, s, measured).0)
        })
        .collect();
    let angles: Vec<_> = (view.angles.iter())
        .filter_map(|a| Some(changed.angle(a, spans::measure_angle(a, told_by.1)?).0))
        .collect();
    let print = print::study(view, told_by.1, &scales, job.scale);
    ViewMeasurement {
        verdict: super::Verdict::Undecided,
        warnings: Vec::new(),
        by_reference: by_reference::of_view(view, &evidence, (&spans, &angles), told_by.1),
        registration: registered.registration,
        scales: scales.figures,
        sizes: None,
        symmetry: None,
        print,
        earlier_issue: None,
        silhouette: None,
        shots: None,
        screen: Default::default(),
        edge_overlap: None,
        landmark_offsets_model_mm: vec![[None; 2]; view.landmarks.len()],
        regions,
        spans,
        angles,
        corrections: Vec::new(),
        leave_alone: Vec::new(),
    }
}

/// A job with noise in its marks whose part has the errors of [`coverage::TRUTH`].
pub(crate) fn first_job(noise: &mut Noise) -> Job {
    coverage::job(RegistrationKind::Similarity, true, noise)
}

/// The same job with the marks of the next render, in which the part has these errors; those of the reference stay.
pub(crate) fn next_job(first: &Job, errors: Errors, noise: &mut Noise) -> Job {
    let mut next = first.clone();
    let places = coverage::DATUM.into_iter().chain(coverage::PART);
    let landmarks = next.views[0].landmarks.iter_mut().zip(places);
    for (i, (landmark, subject)) in landmarks.enumerate() {
        let place = if i < coverage::DATUM.len() {
            subject
        } else {
            errors.shown(coverage::ANCHOR, subject)
        };
        let [x, y] = place.map(|v| v + coverage::RENDER_SIGMA * noise.normal());
        landmark.render = Point::new(x, y);
    }
    next
}
