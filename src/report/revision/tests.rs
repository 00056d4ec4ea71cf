//! Whether the intervals of differences hold the truth as often as they say.
use super::*;
use crate::{
    frame::truth::Errors,
    job::Job,
    measurement::{
        by_marks::{first_job, measured, next_job},
        coverage,
    },
    report::ViewOutcome,
    statistics::trials::Noise,
};
use std::{borrow::Cow, collections::BTreeMap};

/// The binomial standard deviation is 1.1 %.
const TRIALS: usize = 400;
/// Errors of the part once it was corrected: near zero, and on the other side.
const CORRECTED: Errors = Errors {
    size: [0.004, 0.01],
    rotation: -0.004,
    offset: [0.3, 2.0],
};
const MM_PER_PX: f64 = 1.0 / coverage::PX_PER_MODEL_MM;

fn report(job: &Job) -> Report {
    let outcome = ViewOutcome {
        view: Cow::Borrowed(&job.views[0]),
        result: Ok(measured(job)),
        files: BTreeMap::new(),
        reference_blake3: Some("0".repeat(64)),
    };
    Report::new(job, &[outcome])
}

/// As a reader of the file has it.
fn read_again(report: &Report) -> Report {
    let text = crate::report::to_json(report);
    crate::report::from_json(text.as_bytes()).expect("a report")
}

#[test]
fn the_same_place_of_the_reference_is_found_in_the_earlier_picture() {
    let entry = report(&first_job(&mut Noise(5))).views[0].clone();
    let view = |matrix: [[f64; 3]; 3], blake3: &str| {
        let mut view = entry.clone();
        let registration = view.registration.as_mut().expect("compared");
        registration.matrix = matrix;
        registration.lens = None;
        view.reference.blake3 = Some(blake3.to_owned());
        view
    };
    // Ten reference pixels were one of the render then, and are two now, ten to the right.
    let then = [[0.1, 0.0, 0.0], [0.0, 0.1, 0.0], [0.0, 0.0, 1.0]];
    let now = view([[0.2, 0.0, 10.0], [0.0, 0.2, 0.0], [0.0, 0.0, 1.0]], "a");
    let map = earlier_from_now(&view(then, "a"), &now, 0.5).expect("one reference");
    let [x, y] = map.apply(crate::frame::Point::new(30.0, 40.0)).xy();
    assert!((x - 5.0).abs() < 1e-9 && (y - 10.0).abs() < 1e-9, "{x} {y}");
    assert!(earlier_from_now(&view(then, "b"), &now, 0.5).is_none());
}

/// The true error of a figure where the part has these errors.
fn truth(errors: Errors, m: &RevisionMeasure) -> f64 {
    let part = |k: usize| errors.shown(coverage::ANCHOR, coverage::PART[k]);
    match m.measure {
        MeasureKind::Width => 100.0 * errors.size[0],
        MeasureKind::Height => 100.0 * errors.size[1],
        MeasureKind::Rotation => errors.rotation.to_degrees(),
        MeasureKind::OffsetX => errors.offset[0] * MM_PER_PX,
        MeasureKind::OffsetY => errors.offset[1] * MM_PER_PX,
        // Between datum landmarks.
        MeasureKind::Length if m.name == "across" => 0.0,
        MeasureKind::Length => {
            let far =
                |p: [f64; 2]| (p[0] - coverage::DATUM[2][0]).hypot(p[1] - coverage::DATUM[2][1]);
            100.0 * (far(part(0)) / far(coverage::PART[0]) - 1.0)
        }
        MeasureKind::Angle => {
            let (a, b) = (part(0), part(1));
            (b[1] - a[1]).atan2(b[0] - a[0]).to_degrees()
        }
        other => unreachable!("no such figure of a view: {other:?}"),
    }
}

#[derive(Default)]
struct Tally {
    difference: usize,
    less_off: usize,
    of: usize,
    /// Sums of half widths: as they are, and if both figures were independent.
    half: f64,
    half_independent: f64,
}

/// Pairs of jobs, by figure; the next part has these errors.
fn trials(errors: Errors) -> BTreeMap<String, Tally> {
    let mut noise = Noise(31);
    let mut tallies: BTreeMap<String, Tally> = BTreeMap::new();
    for _ in 0..TRIALS {
        let first = first_job(&mut noise);
        let next = next_job(&first, errors, &mut noise);
        let [before, after] = [&first, &next].map(report);
        let revision = revision(&read_again(&before), &after).expect("one job");
        for m in &revision.views[0].measures {
            let [a, b] = [coverage::TRUTH, errors].map(|e| truth(e, m));
            let tally = tallies
                .entry(format!("{} {:?}", m.name, m.measure))
                .or_default();
            let holds = |f: Option<Figure>, x: f64| f.is_some_and(|f| f.low <= x && x <= f.high);
            tally.of += 1;
            tally.difference += usize::from(holds(m.difference, b - a));
            tally.less_off += usize::from(holds(m.less_off, a.abs() - b.abs()));
            let half = |f: Option<Figure>| f.map_or(f64::NAN, |f| (f.high - f.low) / 2.0);
            tally.half += half(m.difference);
            tally.half_independent += half(m.before).hypot(half(m.after));
        }
    }
    tallies
}

fn share(count: usize, of: usize) -> f64 {
    count as f64 / of as f64
}

#[test]
#[expect(clippy::print_stdout, reason = "the measurement is what is printed")]
fn intervals_of_differences_hold_the_truth_as_often_as_they_say() {
    for errors in [CORRECTED, coverage::TRUTH] {
        for (measure, t) in trials(errors) {
            let [difference, less_off] = [t.difference, t.less_off].map(|n| share(n, t.of));
            let narrower = t.half / t.half_independent;
            println!(
                "{measure}: difference {difference}, less off {less_off}, {narrower:.2} as wide"
            );
            assert_eq!(t.of, TRIALS);
            // Three binomial standard deviations.
            assert!((difference - 0.95).abs() < 0.033, "{measure}: {difference}");
            assert!(less_off > 0.95 - 0.033, "{measure}: {less_off}");
            assert!(narrower < 0.75, "{measure}: {narrower}");
        }
    }
}

#[test]
fn a_comparison_that_is_made_again_is_the_same_in_every_figure() {
    let report = report(&first_job(&mut Noise(5)));
    let revision = revision(&read_again(&report), &report).expect("one job");
    let all = revision
        .views
        .iter()
        .flat_map(|view| &view.measures)
        .count();
    assert!(all >= 8);
    assert_eq!(revision.counts.same, all, "{}", revision.text);
}
