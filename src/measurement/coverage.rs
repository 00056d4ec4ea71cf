//! Whether the intervals hold the truth as often as they say: first-order propagation against Monte Carlo.
//!
//! # Source
//! JCGM 101:2008 (propagation of distributions by Monte Carlo). Every figure's 95 % interval must hold the truth in 95 %
//! of the trials; with 400 trials the binomial standard deviation is 1.1 %, and the bound is three of them.
use super::{
    RegionMeasure, Verdict,
    lengths::{RegionNumber, absolute, scales},
    regions, spans,
};
use crate::{
    frame::{Point, truth::Errors},
    job::*,
    registration::{Registered, lay_over, register},
    statistics::{Measured, trials::Noise},
    units::{FullSizeMm, ModelMm, ScaleRatio},
};
use std::path::PathBuf;

pub(crate) const TRIALS: usize = 400;
pub(crate) const BOUND: (f64, f64) = (0.95 - 0.033, 0.95 + 0.033);
pub(crate) const RENDER_SIGMA: f64 = 0.5;
pub(super) const REFERENCE_SIGMA: f64 = 1.2;

/// True places of the subject in the render: eight of the datum, then six of one part.
pub(crate) const DATUM: [[f64; 2]; 8] = [
    [100.0, 900.0],
    [820.0, 880.0],
    [450.0, 620.0],
    [160.0, 560.0],
    [760.0, 540.0],
    [300.0, 760.0],
    [640.0, 720.0],
    [420.0, 420.0],
];
pub(crate) const PART: [[f64; 2]; 6] = [
    [380.0, 120.0],
    [560.0, 120.0],
    [560.0, 260.0],
    [380.0, 260.0],
    [470.0, 110.0],
    [470.0, 270.0],
];
pub(crate) const ANCHOR: [f64; 2] = [470.0, 190.0];

pub(crate) const TRUTH: Errors = Errors {
    size: [0.03, -0.02],
    rotation: 0.012,
    offset: [4.0, -6.0],
};
pub(crate) const PX_PER_MODEL_MM: f64 = 22.0;
/// Size of the part's outline along either axis, for its absolute sizes in millimetres.
const SIZE_PX: f64 = 180.0;

/// The model's place of a point of the part.
fn modelled(u: [f64; 2]) -> [f64; 2] {
    TRUTH.shown(ANCHOR, u)
}

/// The reference shows the subject at half the size, turned.
const REFERENCE_SCALE: f64 = 0.5;
const REFERENCE_ANGLE: f64 = -0.1;

fn in_reference(u: [f64; 2]) -> [f64; 2] {
    let (s, c) = REFERENCE_ANGLE.sin_cos();
    [
        REFERENCE_SCALE * (c * u[0] - s * u[1]) + 30.0,
        REFERENCE_SCALE * (s * u[0] + c * u[1]) + 90.0,
    ]
}

pub(crate) fn job(kind: RegistrationKind, stated: bool, noise: &mut Noise) -> Job {
    job_seen(kind, stated, noise, &in_reference)
}

/// The job when `in_reference` is what the reference's camera makes of the subject.
fn job_seen(
    kind: RegistrationKind,
    stated: bool,
    noise: &mut Noise,
    in_reference: &dyn Fn([f64; 2]) -> [f64; 2],
) -> Job {
    let tolerance = Tolerance {
        proportion_percent: 2.0,
        offset: ModelMm(0.2),
        angle_deg: 1.0,
        edge_overlap: 0.5,
    };
    let mut landmarks = Vec::new();
    let mut mark = |name: String, subject: [f64; 2], model: [f64; 2], usage| {
        let q = in_reference(subject);
        let mut at = |p: [f64; 2], sigma: f64| {
            [p[0] + sigma * noise.normal(), p[1] + sigma * noise.normal()]
        };
        let (render, reference) = (at(model, RENDER_SIGMA), at(q, REFERENCE_SIGMA));
        landmarks.push(Landmark {
            name,
            render: Point::new(render[0], render[1]),
            reference: Point::new(reference[0], reference[1]),
            usage,
            model_mm: None,
            part: None,
            on: None,
            sigma_px: [None; 2],
            model_sigma_mm: None,
        });
    };
    for (k, p) in DATUM.iter().enumerate() {
        mark(format!("datum {k}"), *p, *p, LandmarkUse::Datum);
    }
    for (k, p) in PART.iter().enumerate() {
        mark(format!("part {k}"), *p, modelled(*p), LandmarkUse::Check);
    }
    let length = |a: [f64; 2], b: [f64; 2]| {
        FullSizeMm((a[0] - b[0]).hypot(a[1] - b[1]) / PX_PER_MODEL_MM * 32.0)
    };
    let known = |side, from: usize, to: usize| Known {
        side,
        from: End::Landmark(from),
        to: End::Landmark(to),
        length: Some(length(DATUM[from], DATUM[to])),
        sigma: None,
        along: None,
        text: "a length".to_owned(),
    };
    let sigma = |s: f64| stated.then_some(s);
    let view = View {
        name: "view".to_owned(),
        render: RenderSource {
            image: PathBuf::new().into(),
            marked_on: None,
            kind: Default::default(),
            mark_sigma_px: sigma(RENDER_SIGMA),
            mask: Mask::None,
            shape: None,
            camera: None,
        },
        reference: ReferenceSource {
            image: PathBuf::new(),
            more_shots: Vec::new(),
            marked_on: None,
            kind: ReferenceKind::Photo,
            source: None,
            time_code: None,
            variant: None,
            note: None,
            rights: None,
            rectify: None,
            screen: Default::default(),
            interior: Default::default(),
            mark_sigma_px: sigma(REFERENCE_SIGMA),
            mask: Mask::None,
        },
        origin: None,
        same_camera: true,
        axes: None,
        measured: Vec::new(),
        marks_are_right: false,
        symmetry: None,
        registration: kind,
        landmarks,
        known: vec![
            known(Side::Render, 0, 1),
            known(Side::Render, 1, 3),
            known(Side::Reference, 0, 4),
            known(Side::Reference, 2, 1),
        ],
        spans: vec![
            Span {
                name: "across".to_owned(),
                from: 0,
                to: 1,
                tolerance,
            },
            Span {
                name: "to the part".to_owned(),
                from: 2,
                to: 8,
                tolerance,
            },
        ],
        angles: vec![Angle {
            name: "slope".to_owned(),
            from: 8,
            to: 9,
            against: Some([0, 1]),
            tolerance,
        }],
        regions: vec![Region {
            name: "part".to_owned(),
            outline: PART[..4].iter().map(|p| Point::new(p[0], p[1])).collect(),
            landmarks: (8..14).collect(),
            anchor: Point::new(ANCHOR[0], ANCHOR[1]),
            tolerance,
            note: None,
        }],
    };
    Job {
        title: "coverage".to_owned(),
        file: PathBuf::new(),
        blake3: String::new(),
        scale: ScaleRatio::one_to(32.0).expect("above 0"),
        title_block: TitleBlock::default(),
        smallest_visible: ModelMm(0.05),
        print: None,
        tolerance,
        // All but no expectation: what is tested is the propagation, not the prior.
        model: None,
        expected: Expected {
            size_percent: 60.0,
            rotation_deg: 40.0,
            offset_percent: 20.0,
            keystone_percent: 0.3,
        },
        views: vec![view],
        together: None,
    }
}

/// Counts, for each figure, how often its interval holds the truth.
#[derive(Default)]
struct Counts(std::collections::BTreeMap<&'static str, usize>);

impl Counts {
    fn count(&mut self, name: &'static str, figure: Measured, truth: f64) {
        *self.0.entry(name).or_default() += usize::from(figure.holds(truth));
    }
}

fn run(kind: RegistrationKind, stated: bool) -> Counts {
    let mut counts = Counts::default();
    let mut noise = Noise(11);
    let part_span = {
        let (a, b) = (DATUM[2], modelled(PART[0]));
        let model = (a[0] - b[0]).hypot(a[1] - b[1]);
        let subject = (a[0] - PART[0][0]).hypot(a[1] - PART[0][1]);
        100.0 * (model / subject - 1.0)
    };
    let slope = {
        let (a, b) = (modelled(PART[0]), modelled(PART[1]));
        (b[1] - a[1]).atan2(b[0] - a[0]).to_degrees()
    };
    for _ in 0..TRIALS {
        let job = job(kind, stated, &mut noise);
        let view = &job.views[0];
        let Registered {
            registration,
            adjustment,
            regions,
            ..
        } = register(view, job.expected, (1000, 1000), None).expect("eight datum landmarks");
        counts.count("scale", registration.scale, 1.0 / REFERENCE_SCALE);
        counts.count(
            "rotation",
            registration.rotation_deg,
            -REFERENCE_ANGLE.to_degrees(),
        );
        let check = &registration.landmarks[8];
        let model = modelled(PART[0]);
        counts.count(
            "offset x of a landmark",
            check.offset_px[0],
            model[0] - PART[0][0],
        );
        counts.count(
            "offset y of a datum landmark",
            registration.landmarks[2].offset_px[1],
            0.0,
        );
        let fit = regions[0].as_ref().expect("six landmarks");
        let truth = [
            TRUTH.size[0],
            TRUTH.size[1],
            TRUTH.rotation,
            TRUTH.offset[0],
            TRUTH.offset[1],
        ];
        let names = [
            "region width",
            "region height",
            "region rotation",
            "region offset x",
            "region offset y",
        ];
        for k in 0..5 {
            let deviation = fit.covariance[(k, k)].sqrt();
            let figure = Measured::from_deviation(fit.errors.to_array()[k], deviation, fit.freedom)
                .expect("finite");
            counts.count(names[k], figure, truth[k]);
        }
        let marks = scales::KnownMarks::new(view, &adjustment);
        let scales = scales::study(&job, view, &marks);
        let of_part = |number| RegionNumber {
            region: 0,
            number,
            fit,
        };
        for (axis, name, in_mm, truth) in [
            (
                0,
                "region width in absolute terms",
                "region width in absolute terms, millimetres",
                TRUTH.size[0],
            ),
            (
                1,
                "region height in absolute terms",
                "region height in absolute terms, millimetres",
                TRUTH.size[1],
            ),
        ] {
            let n = job.scale.denominator();
            let number = of_part(axis);
            let [percent, mm] =
                absolute::size(&adjustment, &scales, n, number, SIZE_PX).expect("both scaled");
            counts.count(name, percent, 100.0 * truth);
            counts.count(in_mm, mm, truth * SIZE_PX / PX_PER_MODEL_MM);
        }
        let model = scales.model.as_ref().expect("known");
        for (k, name) in [
            (3, "region offset x, millimetres"),
            (4, "region offset y, millimetres"),
        ] {
            let offset = model.of_region(&adjustment, of_part(k)).expect("finite");
            counts.count(name, offset, truth[k] / PX_PER_MODEL_MM);
        }
        for (axis, name) in [
            (0, "offset x of a landmark, millimetres"),
            (1, "offset y of a landmark, millimetres"),
        ] {
            let offset = scales.landmark_offset_model_mm(&adjustment, 8, axis);
            let truth = (modelled(PART[0])[axis] - PART[0][axis]) / PX_PER_MODEL_MM;
            counts.count(name, offset.expect("scaled"), truth);
        }
        counts.count(
            "model mm a pixel",
            scales
                .figures
                .model_mm_per_render_px(job.scale)
                .expect("known"),
            1.0 / PX_PER_MODEL_MM,
        );
        counts.count(
            "px per model mm",
            scales.figures.render_px_per_model_mm.expect("known"),
            PX_PER_MODEL_MM,
        );
        counts.count(
            "size of the model",
            scales.figures.model_size_percent.expect("known"),
            0.0,
        );
        let span = |k: usize| {
            let measured = spans::measure_span(&job, &view.spans[k], &adjustment, &scales);
            measured.expect("marks apart").0
        };
        counts.count("span of datum landmarks", span(0).error_percent, 0.0);
        counts.count("span to a part", span(1).error_percent, part_span);
        let model_px =
            (DATUM[2][0] - modelled(PART[0])[0]).hypot(DATUM[2][1] - modelled(PART[0])[1]);
        counts.count(
            "span to a part, millimetres",
            span(1).error_model_mm.expect("scaled"),
            model_px * part_span / (100.0 + part_span) / PX_PER_MODEL_MM,
        );
        counts.count(
            "span of datum landmarks, millimetres",
            span(0).error_model_mm.expect("scaled"),
            0.0,
        );
        counts.count(
            "span in absolute terms, millimetres",
            span(1).absolute_model_mm.expect("both scaled"),
            model_px / PX_PER_MODEL_MM * (1.0 - 1.0 / (1.0 + part_span / 100.0)),
        );
        counts.count(
            "span in absolute terms",
            span(1).absolute_percent.expect("both scaled"),
            part_span,
        );
        let (angle, _) = spans::measure_angle(&view.angles[0], &adjustment).expect("marks apart");
        counts.count("angle", angle.error_deg, slope);
    }
    counts
}

#[test]
fn intervals_hold_the_truth_as_often_as_they_say_with_stated_noise() {
    for kind in [
        RegistrationKind::Similarity,
        RegistrationKind::Affine,
        RegistrationKind::Projective,
    ] {
        for (name, count) in run(kind, true).0 {
            let share = count as f64 / TRIALS as f64;
            assert!(
                share > BOUND.0 && share < BOUND.1,
                "{kind:?}, {name}: {share}"
            );
        }
    }
}

/// The reference's picture where it is a photograph taken off-angle.
const PICTURE: (u32, u32) = (1920, 1080);
/// A rectangle in the plane of the subject, by which it is rectified.
const RECTANGLE: [[f64; 2]; 4] = [[50.0, 50.0], [950.0, 50.0], [950.0, 950.0], [50.0, 950.0]];

/// Where a camera turned to the plane, its axis `off` the middle of the picture, shows a point of the subject.
fn off_angle(u: [f64; 2], off: [f64; 2]) -> [f64; 2] {
    let turn = nalgebra::Rotation3::from_euler_angles(0.5, -0.6, 0.1);
    let p = turn * nalgebra::Vector3::new(u[0] / 1000.0 - 0.5, u[1] / 1000.0 - 0.5, 0.0);
    let depth = p.z + 3.0;
    [
        2200.0 * p.x / depth + 960.0 + off[0],
        2200.0 * p.y / depth + 540.0 + off[1],
    ]
}

/// A job whose reference is rectified by a rectangle of unknown aspect; the middle of the picture misses the camera's axis by as much as
/// is allowed for (2 % of the diagonal, one standard deviation).
fn off_angle_job(noise: &mut Noise) -> Job {
    let off = [0, 1].map(|_| 0.02 * 1920.0_f64.hypot(1080.0) * noise.normal());
    let corners = RECTANGLE.map(|u| {
        let p = off_angle(u, off).map(|v| v + REFERENCE_SIGMA * noise.normal());
        Point::new(p[0], p[1])
    });
    let mut job = job_seen(RegistrationKind::Similarity, true, noise, &|u| {
        off_angle(u, off)
    });
    job.views[0].reference.rectify = Some(Rectify {
        plane: KnownPlane::Rectangle(Rectangle {
            corners,
            aspect: None,
            find_bezel: false,
        }),
        straight_lines: Vec::new(),
    });
    job
}

#[test]
fn intervals_hold_the_truth_where_the_view_tells_the_aspect() {
    // Fewer trials, for the run's sake: the binomial standard deviation is 2 %, and the bound three of them.
    const FEWER: usize = 120;
    let mut counts = Counts::default();
    let mut noise = Noise(23);
    for _ in 0..FEWER {
        let job = off_angle_job(&mut noise);
        let view = &job.views[0];
        let laid_over = lay_over(view, job.expected, [(1000, 1000), PICTURE], None);
        let registered = laid_over
            .expect("well turned, eight datum landmarks")
            .registered;
        let fit = registered.regions[0].as_ref().expect("six landmarks");
        let truth = [TRUTH.size[0], TRUTH.size[1], TRUTH.rotation];
        let names = ["region width", "region height", "region rotation"];
        for k in 0..3 {
            let deviation = fit.covariance[(k, k)].sqrt();
            let value = fit.errors.to_array()[k];
            let figure = Measured::from_deviation(value, deviation, fit.freedom);
            counts.count(names[k], figure.expect("finite"), truth[k]);
        }
        let marks = scales::KnownMarks::new(view, &registered.adjustment);
        let scales = scales::study(&job, view, &marks);
        let across = spans::measure_span(&job, &view.spans[0], &registered.adjustment, &scales);
        let across = across.expect("marks apart").0;
        counts.count("span", across.error_percent, 0.0);
    }
    for (name, count) in counts.0 {
        let share = count as f64 / FEWER as f64;
        assert!((share - 0.95).abs() <= 0.06, "{name}: {share}");
    }
}

#[test]
fn intervals_hold_the_truth_as_often_as_they_say_with_estimated_noise() {
    // The noise is drawn towards what is believed beforehand, which is larger than the truth here: intervals may be wide.
    for (name, count) in run(RegistrationKind::Similarity, false).0 {
        let share = count as f64 / TRIALS as f64;
        assert!(share > BOUND.0, "{name}: {share}");
    }
}

#[test]
fn a_span_that_gives_the_scale_itself_errs_with_it() {
    let mut job = job(RegistrationKind::Similarity, true, &mut Noise(5));
    // The part is 40 % larger than its known length says, so the scale's own error matters.
    for landmark in &mut job.views[0].landmarks[8..] {
        landmark.render.y -= 200.0;
    }
    let length = FullSizeMm(900.0);
    job.views[0].known = vec![Known {
        side: Side::Render,
        from: End::Landmark(2),
        to: End::Landmark(8),
        length: Some(length),
        sigma: None,
        along: None,
        text: "a length".to_owned(),
    }];
    let view = &job.views[0];
    let registered = register(view, job.expected, (1000, 1000), None).expect("eight landmarks");
    let adjustment = &registered.adjustment;
    let marks = scales::KnownMarks::new(view, adjustment);
    let scales = scales::study(&job, view, &marks);
    let span = spans::measure_span(&job, &view.spans[1], adjustment, &scales);
    let span = span.expect("marks apart").0;
    // Render length over scale is the known length L itself: the error is L (1 - 1 / ratio), whatever the render's marks.
    let model_mm = length.at(job.scale).0;
    let ratio = 1.0 + span.error_percent.value() / 100.0;
    let error = span.error_model_mm.expect("scaled");
    assert!((error.value() - model_mm * (1.0 - 1.0 / ratio)).abs() < 1e-9);
    let by_ratio = model_mm / ratio * span.error_percent.half_width() / 100.0 / ratio;
    let extra = error.value() * scales.model.expect("known").extra;
    assert!((error.half_width() - by_ratio.hypot(extra)).abs() < 1e-9);
}

#[test]
fn a_turned_part_and_an_angle_on_it_ask_for_one_change() {
    use super::judge::{correction, follows::Changed};
    let job = job(RegistrationKind::Similarity, true, &mut Noise(9));
    let view = &job.views[0];
    let registered = register(view, job.expected, (1000, 1000), None).expect("eight landmarks");
    let adjustment = &registered.adjustment;
    let marks = scales::KnownMarks::new(view, adjustment);
    let scales = scales::study(&job, view, &marks);
    let fit = registered.regions[0].as_ref();
    let evidence = regions::Evidence::of(0, &view.regions[0], fit, None);
    let turned_by = |deg: f64| {
        let told_by = (&scales, adjustment);
        let (mut measure, _) = regions::measure(&job, (view, 0), &evidence, told_by, None);
        measure.rotation_deg = Measured::plus_minus(deg, 0.3);
        measure.changes = correction::changes_of_region(&job, &view.regions[0].tolerance, &measure);
        [measure]
    };
    let asked = |regions: &[RegionMeasure], angle: &Angle, error_deg: f64| {
        let (mut measure, _) = spans::measure_angle(angle, adjustment).expect("marks apart");
        measure.error_deg = Measured::plus_minus(error_deg, 0.4).expect("finite");
        let own = correction::of_angle(angle, measure.error_deg, Verdict::Out);
        Changed::new(view, regions, None)
            .angle(angle, (measure, own))
            .1
    };
    let on_the_part = &view.angles[0];
    assert!(
        asked(&turned_by(2.5), on_the_part, 2.3).is_none(),
        "one change"
    );
    assert!(
        asked(&turned_by(2.5), on_the_part, -2.3).is_some(),
        "turned the other way"
    );
    assert!(
        asked(&turned_by(0.1), on_the_part, 2.3).is_some(),
        "the part is not turned"
    );
    let elsewhere = Angle {
        from: 0,
        to: 1,
        against: None,
        ..on_the_part.clone()
    };
    assert!(
        asked(&turned_by(2.5), &elsewhere, 2.3).is_some(),
        "not on the part"
    );
}
