//! The report in all its forms, from made-up measurements.
use nalgebra::Matrix3;
use std::{borrow::Cow, collections::BTreeMap, path::PathBuf};
use tickstrip::{
    frame::{FromReference, Point, Projective, ReferencePx, RenderPx},
    job::*,
    measurement::{
        AngleMeasure, Correction, EdgeOverlap, FoundBars, FoundGlare, FoundPattern, KnownFit,
        LeftAlone, Method, RegionMeasure, Removal, Scales, ScreenFindings, SpanMeasure, Verdict,
        ViewMeasurement, Warning,
    },
    registration::{Finding, LandmarkFit, Registration},
    report::{self, *},
    statistics::Measured,
    units::{FullSizeMm, ModelMm, ScaleRatio},
    warning::Code,
};

const TOLERANCE: Tolerance = Tolerance {
    proportion_percent: 2.0,
    offset: ModelMm(0.2),
    angle_deg: 1.0,
    edge_overlap: 0.5,
};

/// Names that break what is careless with them.
const HOSTILE: [&str; 7] = [
    "<script>alert(1)</script>",
    "tank, \"front\" & 'rear'\" onfocus=\"alert(1)",
    "two\nlines\r\nand\ttab",
    "=HYPERLINK(\"http://example.invalid\")",
    "@sum\u{1b}[31m\u{202e}{{script}}",
    "水槽室 🪣 e\u{301}",
    "</style><img src=x onerror=alert(1)>",
];

fn about(value: f64, half: f64) -> Measured {
    Measured::plus_minus(value, half).expect("finite")
}

fn edges(above_chance: f64) -> EdgeOverlap {
    EdgeOverlap {
        score: 0.71,
        precision: 0.7,
        recall: 0.72,
        chance: 0.22,
        above_chance,
        tolerance_px: 3.0,
        mean_distance_px: 1.9,
        p95_distance_px: 8.0,
        render_edge_pixels: 5210,
        reference_edge_pixels: 6100,
    }
}

fn landmark(name: &str, usage: LandmarkUse) -> Landmark {
    Landmark {
        name: name.to_owned(),
        render: Point::new(10.0, 20.0),
        reference: Point::new(30.0, 40.0),
        usage,
        model_mm: None,
        part: None,
        on: None,
        sigma_px: [None; 2],
        model_sigma_mm: None,
    }
}

fn view(name: &str, landmarks: &[&str]) -> View {
    let marks = landmarks.iter().enumerate();
    View {
        name: name.to_owned(),
        render: RenderSource {
            image: PathBuf::from("/somewhere/side-render.png").into(),
            marked_on: None,
            kind: Default::default(),
            mark_sigma_px: None,
            mask: Mask::None,
            shape: None,
            camera: None,
        },
        reference: ReferenceSource {
            image: PathBuf::from("/somewhere/side-screen.jpg"),
            more_shots: Vec::new(),
            marked_on: None,
            kind: ReferenceKind::Photo,
            source: Some("screen in the exhibition hall".to_owned()),
            time_code: None,
            variant: None,
            note: None,
            rights: None,
            rectify: None,
            screen: Default::default(),
            interior: Default::default(),
            mark_sigma_px: Some(1.5),
            mask: Mask::None,
        },
        origin: None,
        same_camera: true,
        axes: None,
        measured: Vec::new(),
        marks_are_right: false,
        symmetry: None,
        registration: RegistrationKind::Similarity,
        landmarks: marks
            .map(|(i, name)| {
                landmark(
                    name,
                    if i < 4 {
                        LandmarkUse::Datum
                    } else {
                        LandmarkUse::Check
                    },
                )
            })
            .collect(),
        known: Vec::new(),
        spans: Vec::new(),
        angles: Vec::new(),
        regions: Vec::new(),
    }
}

fn fit(finding: Option<Finding>) -> LandmarkFit {
    LandmarkFit {
        residual_px: [0.4, -0.2],
        offset_px: [about(0.4, 1.1), about(-0.2, 1.1)],
        test_statistic: Some(0.7),
        critical_value: 3.29,
        redundancy: 0.61,
        smallest_detectable_px: Some(5.2),
        on_outline: None,
        finding,
    }
}

fn registration(kind: RegistrationKind, landmarks: Vec<LandmarkFit>) -> Registration {
    Registration {
        kind,
        rectified_from_reference: FromReference::identity(),
        rectification: None,
        render_from_rectified: Projective::similarity(0.5, 0.1, [3.0, 4.0]),
        render_from_reference: Projective::similarity(0.5, 0.1, [3.0, 4.0]).into(),
        scale: about(0.5, 0.001),
        rotation_deg: about(5.73, 0.05),
        rms_px: 1.1,
        sigma0: Some(0.9),
        degrees_of_freedom: 4,
        render_mark_sigma_px: 0.5,
        reference_mark_sigma_px: 1.5,
        hides: Vec::new(),
        landmarks,
    }
}

fn region(name: &str, verdict: Verdict, width_percent: f64) -> RegionMeasure {
    RegionMeasure {
        name: name.to_owned(),
        method: Method::LandmarksAndEdges,
        width_percent: Some(about(width_percent, 0.68)),
        height_percent: Some(about(-0.3, 0.7)),
        absolute_percent: [None; 2],
        absolute_model_mm: [None; 2],
        rotation_deg: Some(about(0.3, 0.4)),
        offset_px: [Some(about(4.2, 1.1)), Some(about(-0.5, 1.1))],
        offset_model_mm: [Some(about(0.42, 0.11)), Some(about(-0.05, 0.11))],
        offset_full_size_mm: [Some(about(13.4, 3.5)), Some(about(-1.6, 3.5))],
        size_px: [160.0, 140.0],
        size_model_mm: Some([16.0, 14.0]),
        edge_overlap: Some(edges(0.63)),
        verdict,
        times_tolerance: (width_percent.abs() / 2.0).max(2.1),
        sureness: "5 landmarks and 412 edge points".to_owned(),
        changes: Vec::new(),
        pivot: None,
        correction: None,
        note: None,
    }
}

fn unmeasured(name: &str) -> RegionMeasure {
    RegionMeasure {
        method: Method::None,
        width_percent: None,
        height_percent: None,
        absolute_percent: [None; 2],
        absolute_model_mm: [None; 2],
        rotation_deg: None,
        offset_px: [None; 2],
        offset_model_mm: [None; 2],
        offset_full_size_mm: [None; 2],
        size_model_mm: None,
        edge_overlap: None,
        times_tolerance: 0.0,
        sureness: "cannot tell: the edges fit no better than chance, and no landmark lies on it"
            .to_owned(),
        ..region(name, Verdict::Undecided, 0.0)
    }
}

fn span(name: &str, verdict: Verdict, error_percent: f64) -> SpanMeasure {
    SpanMeasure {
        name: name.to_owned(),
        render_px: about(310.0, 0.8),
        reference_px: about(300.0, 1.2),
        error_percent: about(error_percent, 0.5),
        error_model_mm: Some(about(1.0, 0.15)),
        error_full_size_mm: Some(about(32.0, 4.8)),
        model_mm: Some(about(31.0, 0.1)),
        full_size_mm: None,
        absolute_percent: None,
        absolute_model_mm: None,
        absolute_full_size_mm: None,
        verdict,
        times_tolerance: error_percent.abs() / 2.0,
        goes_with: Vec::new(),
        correction: None,
    }
}

fn angle(name: &str, verdict: Verdict) -> AngleMeasure {
    AngleMeasure {
        name: name.to_owned(),
        render_deg: about(101.2, 0.2),
        reference_deg: about(99.9, 0.3),
        error_deg: about(1.3, 0.36),
        verdict,
        times_tolerance: 1.3,
        goes_with: Vec::new(),
        correction: None,
    }
}

/// A view with something of everything, under these names.
fn full_view(name: &str, parts: &[&str]) -> (View, ViewMeasurement) {
    let part = |i: usize| parts[i % parts.len()];
    let mut view = view(name, &[part(0), part(1), part(2), part(3), part(4)]);
    view.known = vec![Known {
        side: Side::Reference,
        from: End::Landmark(0),
        to: End::Landmark(1),
        length: Some(FullSizeMm(463.55)),
        sigma: None,
        along: None,
        text: "18 1/4 in".to_owned(),
    }];
    let regions = vec![
        region(part(0), Verdict::Within, 0.4),
        region(part(1), Verdict::Out, 4.123),
        unmeasured(part(2)),
        region(part(3), Verdict::Out, -9.2),
    ];
    let measurement = ViewMeasurement {
        verdict: Verdict::Out,
        warnings: vec![Warning {
            code: Code::Parallax,
            text: format!(
                "the cameras of {} differ; depth shows up as offset",
                part(5)
            ),
        }],
        registration: registration(
            RegistrationKind::Similarity,
            vec![
                fit(None),
                fit(Some(Finding::Wrong)),
                fit(Some(Finding::SwappedWith(0))),
                fit(Some(Finding::Uncontrolled)),
                fit(None),
            ],
        ),
        scales: Scales {
            render_px_per_model_mm: Some(about(10.0, 0.05)),
            registered_px_per_full_size_mm: Some(about(0.31, 0.002)),
            model_size_percent: Some(about(0.8, 0.6)),
            known: vec![KnownFit {
                disagreement_percent: Some(0.0),
                ..KnownFit::default()
            }],
            ..Scales::default()
        },
        sizes: None,
        silhouette: None,
        earlier_issue: None,
        print: None,
        shots: None,
        screen: screen(),
        symmetry: None,
        edge_overlap: Some(edges(0.63)),
        landmark_offsets_model_mm: vec![[Some(about(0.12, 0.03)); 2]; 5],
        regions,
        spans: vec![
            span(part(0), Verdict::Within, 0.2),
            span(part(1), Verdict::Out, 3.3),
        ],
        angles: vec![angle(part(0), Verdict::Undecided)],
        corrections: vec![
            Correction {
                about: part(1).to_owned(),
                text: format!("make {} 4.0 % narrower (0.66 mm on the model)", part(1)),
                times_tolerance: 2.06,
            },
            Correction {
                about: part(3).to_owned(),
                text: format!("make {} 10.1 % wider (1.6 mm on the model)", part(3)),
                times_tolerance: 4.6,
            },
        ],
        by_reference: Default::default(),
        leave_alone: vec![LeftAlone {
            about: part(0).to_owned(),
            measure: "width",
            error_model_mm: about(0.02, 0.03),
            verdict: Verdict::Within,
        }],
    };
    (view, measurement)
}

/// All that a screen may leave in a reference.
fn screen() -> ScreenFindings {
    let pattern = |period_px, direction_deg, removal| FoundPattern {
        period_px,
        period_range_px: [0.97 * period_px, 1.02 * period_px],
        direction_deg,
        amplitude: 7.3,
        taken_percent: 98.6,
        share_percent: 96.0,
        removal,
    };
    let sigma_px = 0.45 * 4.2;
    ScreenFindings {
        patterns: vec![
            pattern(4.12, 1.6, Removal::LowPass { sigma_px }),
            pattern(4.31, -88.2, Removal::LowPass { sigma_px }),
            pattern(14.6, 33.0, Removal::Notch),
            pattern(3.02, 47.0, Removal::LowPass { sigma_px }),
        ],
        glare: Some(FoundGlare {
            patches: 2,
            masked_percent: 1.34,
        }),
        bars: Some(FoundBars {
            are_upright: false,
            depths_px: [131.2, 128.7],
            picture_aspect: 2.391,
            stated_aspect: Some(16.0 / 9.0),
        }),
    }
}

/// A view that has a registration and nothing else.
fn bare_measurement(verdict: Verdict) -> ViewMeasurement {
    ViewMeasurement {
        verdict,
        warnings: Vec::new(),
        registration: registration(RegistrationKind::Affine, Vec::new()),
        scales: Scales::default(),
        sizes: None,
        silhouette: None,
        earlier_issue: None,
        print: None,
        shots: None,
        screen: Default::default(),
        symmetry: None,
        edge_overlap: None,
        landmark_offsets_model_mm: Vec::new(),
        regions: Vec::new(),
        spans: Vec::new(),
        angles: Vec::new(),
        corrections: Vec::new(),
        leave_alone: Vec::new(),
        by_reference: Default::default(),
    }
}

fn outcome(view: &View, result: Result<ViewMeasurement, ViewFailure>) -> ViewOutcome<'_> {
    let keys = ["overlay", "render_small", "reference_small", "blink"];
    let files = keys.map(|key| (key, format!("{}/{key}.png", view.name)));
    ViewOutcome {
        view: Cow::Borrowed(view),
        result,
        files: BTreeMap::from(files),
        reference_blake3: None,
    }
}

fn failure() -> ViewFailure {
    ViewFailure {
        code: "too-few-landmarks",
        text: "registration: 2 landmark pairs, projective needs 4; mark 2 more or set \"registration\": \"similarity\""
            .to_owned(),
    }
}

fn job(title: &str, views: Vec<View>) -> Job {
    Job {
        title: title.to_owned(),
        file: PathBuf::from("/somewhere/pump.json"),
        blake3: "af13".repeat(16),
        scale: ScaleRatio::one_to(32.0).expect("above 0"),
        title_block: TitleBlock::default(),
        smallest_visible: ModelMm(0.05),
        print: None,
        together: None,
        tolerance: TOLERANCE,
        model: None,
        expected: Expected {
            size_percent: 5.0,
            rotation_deg: 2.0,
            offset_percent: 2.0,
            keystone_percent: 0.3,
        },
        views,
    }
}

/// A job of the trade: out, within, failed.
fn plain_report() -> Report {
    let names = [
        "water tank",
        "lantern",
        "draw bar",
        "tool box",
        "beam end",
        "the render",
    ];
    let (side, measured) = full_view("side", &names);
    let front = view("front", &[]);
    let plan = view("plan", &[]);
    let outcomes = [
        outcome(&side, Ok(measured)),
        outcome(&front, Ok(bare_measurement(Verdict::Within))),
        outcome(&plan, Err(failure())),
    ];
    Report::new(
        &job("Fire pump of a harbour town", vec![side.clone()]),
        &outcomes,
    )
}

/// The same with names that break what is careless with them, one view each.
fn hostile_report() -> Report {
    let long = "long ".repeat(40);
    let mut names: Vec<&str> = HOSTILE.to_vec();
    names.push(&long);
    let views: Vec<_> = (0..names.len())
        .map(|i| {
            names.rotate_left(1);
            let mut view = full_view(names[0], &names);
            view.0.reference.variant = Some(names[1].to_owned());
            view.1.regions[0].note = Some(names[i % 3].to_owned());
            view.1.regions[0].sureness = names[2].to_owned();
            view
        })
        .collect();
    let mut outcomes: Vec<_> = views
        .iter()
        .map(|(v, m)| outcome(v, Ok(m.clone())))
        .collect();
    outcomes[0].result = Err(ViewFailure {
        code: "unreadable",
        text: names.join(" "),
    });
    Report::new(&job(HOSTILE[0], Vec::new()), &outcomes)
}

fn empty_report() -> Report {
    Report::new(&job("", Vec::new()), &[])
}

/// A view that is not to be trusted, whose errors are the larger ones, before a sound one.
fn distrusted_report() -> Report {
    let (side, mut doubtful) = full_view("side", &["tank", "lantern", "bar", "box", "beam", "it"]);
    doubtful.warnings.push(Warning {
        code: Code::ManyWrongMarks,
        text: "5 of 12 datum landmarks fit the others badly.".to_owned(),
    });
    let (front, mut sound) = full_view("front", &["sill", "wheel", "hose", "reel", "rod", "it"]);
    for correction in &mut sound.corrections {
        correction.times_tolerance = 1.1;
    }
    let outcomes = [outcome(&side, Ok(doubtful)), outcome(&front, Ok(sound))];
    Report::new(
        &job("Fire pump", vec![side.clone(), front.clone()]),
        &outcomes,
    )
}

fn all_reports() -> [Report; 4] {
    [
        plain_report(),
        hostile_report(),
        empty_report(),
        distrusted_report(),
    ]
}

fn parsed(report: &Report) -> serde_json::Value {
    serde_json::from_str(&to_json(report)).expect("to_json writes JSON")
}

// ---- report.json

#[test]
fn every_report_meets_the_schema() {
    let published = report::schema();
    assert_eq!(
        published["$schema"],
        "https://json-schema.org/draft/2020-12/schema"
    );
    let validator = jsonschema::draft202012::new(&published).expect("the schema is one");
    for report in all_reports() {
        let value = parsed(&report);
        let faults: Vec<_> = validator
            .iter_errors(&value)
            .map(|e| format!("{e} at {}", e.instance_path()))
            .collect();
        assert!(faults.is_empty(), "{faults:?}");
    }
}

#[test]
fn the_schema_refuses_what_is_no_report() {
    let validator = jsonschema::draft202012::new(&report::schema()).expect("the schema is one");
    let good = parsed(&plain_report());
    let wrong = [
        ("/format", serde_json::json!("other")),
        ("/format_version", serde_json::json!(2)),
        ("/verdict", serde_json::json!("fine")),
        (
            "/views/0/regions/0/width_percent",
            serde_json::json!({"value": 1.0}),
        ),
        (
            "/views/0/regions/0/method",
            serde_json::json!("landmarksandedges"),
        ),
        (
            "/views/0/registration/landmarks/1/finding",
            serde_json::json!("odd"),
        ),
        (
            "/views/0/registration/matrix",
            serde_json::json!([[1.0, 0.0, 0.0]]),
        ),
    ];
    for (place, value) in wrong {
        let mut bad = good.clone();
        *bad.pointer_mut(place).expect("the place is there") = value;
        assert!(!validator.is_valid(&bad), "{place}");
    }
    for key in ["spans", "error", "edge_overlap"] {
        let mut missing = good.clone();
        let view = missing["views"][0].as_object_mut().expect("a view");
        view.remove(key);
        assert!(!validator.is_valid(&missing), "{key}");
    }
}

#[test]
fn a_report_reads_back_as_it_was_written() {
    for report in all_reports() {
        let text = to_json(&report);
        assert!(text.ends_with("}\n"));
        let back: Report = serde_json::from_str(&text).expect("a report");
        assert_eq!(to_json(&back), text);
        assert_eq!(back.views.len(), report.views.len());
        assert_eq!(back.warnings, report.warnings);
    }
}

#[test]
fn the_keys_are_those_of_the_format() {
    let value = parsed(&plain_report());
    for place in [
        "/program/name",
        "/job/scale_denominator",
        "/views/0/registration/matrix/2/2",
        "/views/0/registration/rectified_from_reference/0/0",
        "/views/0/registration/scale/value",
        "/views/0/registration/rotation_deg/low",
        "/views/0/registration/rms_px",
        "/views/0/registration/sigma0",
        "/views/0/registration/degrees_of_freedom",
        "/views/0/registration/hides",
        "/views/0/registration/render_px_per_model_mm/high",
        "/views/0/registration/render_mark_sigma_px",
        "/views/0/registration/reference_mark_sigma_px",
        "/views/0/registration/landmarks/0/use",
        "/views/0/registration/landmarks/0/residual_px/1",
        "/views/0/registration/landmarks/0/offset_mm/x/value",
        "/views/0/registration/landmarks/0/offset_px/y/value",
        "/views/0/registration/landmarks/0/test_statistic",
        "/views/0/registration/landmarks/0/smallest_detectable_px",
        "/views/0/registration/landmarks/0/redundancy",
        "/views/0/registration/landmarks/0/critical_value",
        "/views/0/screen/patterns/0/period_px",
        "/views/0/screen/patterns/0/sigma_px",
        "/views/0/screen/patterns/2/taken_percent",
        "/views/0/screen/glare/masked_percent",
        "/views/0/screen/letterbox/depths_px/1",
        "/views/0/screen/letterbox/picture_aspect",
        "/views/0/edge_overlap/above_chance",
        "/views/0/edge_overlap/p95_distance_px",
        "/views/0/edge_overlap/render_edge_pixels",
        "/views/0/scales/render_px_per_model_mm/value",
        "/views/0/scales/registered_px_per_full_size_mm/value",
        "/views/0/scales/model_size_percent/value",
        "/views/0/scales/known/0/doubtful",
        "/views/0/corrections/0/times_tolerance",
        "/views/0/regions/0/width_percent/value",
        "/views/0/regions/0/offset_px/x/low",
        "/views/0/regions/0/offset_model_mm/y/high",
        "/views/0/regions/0/offset_full_size_mm/x/value",
        "/views/0/regions/0/rotation_deg/value",
        "/views/0/regions/0/size_px/0",
        "/views/0/regions/0/size_model_mm/1",
        "/views/0/regions/0/sureness",
        "/views/0/regions/0/edge_overlap/score",
        "/views/0/spans/0/error_percent/value",
        "/views/0/angles/0/error_deg/value",
        "/views/0/files/overlay",
    ] {
        assert!(
            value.pointer(place).is_some_and(|v| !v.is_null()),
            "{place}"
        );
    }
    assert_eq!(value["format"], "tickstrip-report");
    assert_eq!(value["job"]["file"], "pump.json");
    assert_eq!(value["views"][0]["regions"][0]["method"], "landmarks+edges");
    assert_eq!(value["views"][0]["regions"][2]["method"], "none");
    let landmarks = &value["views"][0]["registration"]["landmarks"];
    let findings = [0, 1, 2, 3].map(|i| landmarks[i]["finding"].clone());
    assert_eq!(
        serde_json::json!(findings),
        serde_json::json!([null, "wrong", "swapped with water tank", "uncontrolled"])
    );
    assert_eq!(landmarks[4]["use"], "check");
}

#[test]
fn a_figure_that_is_absent_or_not_finite_is_null() {
    let (side, mut measured) = full_view("side", &["a", "b", "c", "d"]);
    measured.regions[1].width_percent = None;
    measured.registration.rms_px = f64::NAN;
    measured.registration.landmarks[0].residual_px = [f64::INFINITY, 0.5];
    let mut overlap = edges(f64::NAN);
    overlap.mean_distance_px = f64::INFINITY;
    measured.edge_overlap = Some(overlap);
    let report = Report::new(
        &job("t", vec![side.clone()]),
        &[outcome(&side, Ok(measured))],
    );
    let value = parsed(&report);
    for place in [
        "/views/0/regions/1/width_percent",
        "/views/0/regions/2/width_percent",
        "/views/0/regions/2/offset_px/x",
        "/views/0/registration/rms_px",
        "/views/0/registration/landmarks/0/residual_px/0",
        "/views/0/edge_overlap/above_chance",
        "/views/0/edge_overlap/mean_distance_px",
    ] {
        assert!(value.pointer(place).expect(place).is_null(), "{place}");
    }
    let validator = jsonschema::draft202012::new(&report::schema()).expect("the schema is one");
    assert!(validator.is_valid(&value));
    for text in [
        to_csv(&report),
        table(&report, &PLAIN_80),
        to_html(&report, &|_| None),
    ] {
        assert!(!text.contains("NaN") && !text.contains(",inf"), "{text}");
    }
}

#[test]
fn the_matrix_is_written_row_by_row() {
    let (side, mut measured) = full_view("side", &["a", "b", "c", "d"]);
    let matrix = Matrix3::new(1.1, 0.1, 5.123456789123, -0.05, 0.9, -3.0, 1e-7, -2e-4, 1.0);
    let map = Projective::<RenderPx, ReferencePx>::from_matrix(matrix).expect("invertible");
    measured.registration.render_from_reference = map.into();
    let value = parsed(&Report::new(
        &job("t", Vec::new()),
        &[outcome(&side, Ok(measured))],
    ));
    let written = &value["views"][0]["registration"]["matrix"];
    assert_eq!(
        *written,
        serde_json::json!([
            [1.1, 0.1, 5.12345679],
            [-0.05, 0.9, -3.0],
            [1e-7, -2e-4, 1.0]
        ])
    );
}

#[test]
fn the_verdict_of_the_job_is_the_worst_of_its_views() {
    let side = view("side", &[]);
    let verdict_of = |results: &[Option<Verdict>]| {
        let outcomes: Vec<_> = results
            .iter()
            .map(|v| outcome(&side, v.map(bare_measurement).ok_or_else(failure)))
            .collect();
        parsed(&Report::new(&job("t", Vec::new()), &outcomes))["verdict"].clone()
    };
    use Verdict::{Out, Undecided, Within};
    assert_eq!(
        verdict_of(&[Some(Within), Some(Undecided), Some(Within)]),
        "undecided"
    );
    assert_eq!(verdict_of(&[Some(Out), None, Some(Undecided)]), "out");
    assert_eq!(verdict_of(&[Some(Within), None]), "within");
    assert!(verdict_of(&[None]).is_null() && verdict_of(&[]).is_null());
}

#[test]
fn a_failed_view_keeps_its_place_with_its_error_and_no_figures() {
    let value = parsed(&plain_report());
    let failed = &value["views"][2];
    assert_eq!(failed["name"], "plan");
    assert_eq!(failed["error"]["code"], "too-few-landmarks");
    for key in ["verdict", "registration", "scales", "edge_overlap"] {
        assert!(failed[key].is_null(), "{key}");
    }
    for key in ["warnings", "corrections", "regions", "spans", "angles"] {
        assert_eq!(failed[key], serde_json::json!([]), "{key}");
    }
    assert!(value["views"][0]["error"].is_null());
}

#[test]
fn different_variants_are_warned_of_by_name() {
    let mut views = [view("side", &[]), view("front", &[]), view("top", &[])];
    let warnings = |views: &[View]| {
        let outcomes: Vec<_> = views
            .iter()
            .map(|v| outcome(v, Ok(bare_measurement(Verdict::Within))))
            .collect();
        Report::new(&job("t", Vec::new()), &outcomes).warnings
    };
    views[0].reference.variant = Some("as delivered".to_owned());
    assert!(warnings(&views).is_empty(), "only one variant is stated");
    views[2].reference.variant = Some("rebuilt".to_owned());
    let warned = warnings(&views);
    assert_eq!(warned.len(), 1);
    assert_eq!(warned[0].code, "mixed-variants");
    assert!(
        warned[0]
            .text
            .contains("\"as delivered\" (side), \"rebuilt\" (top)"),
        "{}",
        warned[0].text
    );
}

#[test]
fn corrections_are_sorted_by_how_far_they_exceed_the_tolerance() {
    let value = parsed(&plain_report());
    let corrections = &value["views"][0]["corrections"];
    assert_eq!(corrections[0]["about"], "tool box");
    assert_eq!(corrections[1]["about"], "lantern");
}

// ---- measures.csv

/// Reads RFC 4180 text: rows of cells.
fn read_csv(text: &str) -> Vec<Vec<String>> {
    let (mut rows, mut row, mut cell) = (Vec::new(), Vec::new(), String::new());
    let (mut quoted, mut chars) = (false, text.chars().peekable());
    while let Some(c) = chars.next() {
        match (quoted, c) {
            (true, '"') if chars.peek() == Some(&'"') => {
                chars.next();
                cell.push('"');
            }
            (_, '"') => quoted = !quoted,
            (false, ',') => row.push(std::mem::take(&mut cell)),
            (false, '\r') => assert_eq!(chars.peek(), Some(&'\n'), "rows end with CRLF"),
            (false, '\n') => {
                row.push(std::mem::take(&mut cell));
                rows.push(std::mem::take(&mut row));
            }
            (_, c) => cell.push(c),
        }
    }
    assert!(
        !quoted && row.is_empty() && cell.is_empty(),
        "the last row ends"
    );
    rows
}

#[test]
fn the_table_of_measures_has_all_columns_in_every_row() {
    for report in all_reports() {
        let rows = read_csv(&to_csv(&report));
        assert_eq!(
            rows[0],
            [
                "view",
                "kind",
                "name",
                "measure",
                "unit",
                "value",
                "low",
                "high",
                "tolerance",
                "verdict",
                "verdict of the measure"
            ]
        );
        for row in &rows {
            assert_eq!(row.len(), 11, "{row:?}");
        }
        for cell in rows[1..].iter().flat_map(|r| &r[5..9]) {
            assert!(
                cell.is_empty() || cell.parse::<f64>().is_ok_and(f64::is_finite),
                "{cell}"
            );
        }
    }
}

#[test]
fn a_figure_is_one_row_with_its_interval_and_tolerance() {
    let rows = read_csv(&to_csv(&plain_report()));
    let row = rows
        .iter()
        .find(|r| r[2] == "lantern" && r[3] == "width error")
        .expect("a row");
    assert_eq!(
        row[..],
        [
            "side",
            "region",
            "lantern",
            "width error",
            "%",
            "4.123",
            "3.443",
            "4.803",
            "2",
            "out",
            "out"
        ]
    );
    // Each figure by its own tolerance; without one it has no verdict.
    for row in &rows[1..] {
        let number = |k: usize| row[k].parse::<f64>().ok();
        let judged = (number(6), number(7), number(8));
        let expected = match judged {
            (Some(low), Some(high), Some(limit)) if low >= -limit && high <= limit => "within",
            (Some(low), Some(high), Some(limit)) if low > limit || high < -limit => "out",
            (Some(_), Some(_), Some(_)) => "undecided",
            _ => "",
        };
        assert_eq!(row[10], expected, "{row:?}");
    }
    assert!(
        !rows.iter().any(|r| r[1] == "region" && r[2] == "draw bar"),
        "nothing was measured there"
    );
    for kind in [
        "region",
        "span",
        "angle",
        "edge overlap",
        "registration",
        "landmark",
        "view",
    ] {
        assert!(rows.iter().any(|r| r[1] == kind), "{kind}");
    }
}

#[test]
fn no_cell_of_text_is_a_formula_and_names_survive() {
    let rows = read_csv(&to_csv(&hostile_report()));
    for cell in rows.iter().flat_map(|r| &r[..5]) {
        assert!(!cell.starts_with(['=', '+', '-', '@']), "{cell}");
    }
    for name in HOSTILE {
        assert!(
            rows.iter().any(|r| r[2].trim_start_matches('\'') == name),
            "{name}"
        );
    }
}

// ---- views that are not to be trusted

/// Why the view is not, as the page and the table say it.
const REASON: &str = "so many of its marks are wrong that the rest may be too";

#[test]
fn the_report_tells_which_views_are_distrusted() {
    let views = parsed(&distrusted_report());
    assert_eq!(views["views"][0]["distrusted"], true);
    assert_eq!(views["views"][1]["distrusted"], false);
    assert_eq!(views["views"][0]["verdict"], "out");
    assert_eq!(parsed(&plain_report())["views"][0]["distrusted"], false);
}

#[test]
fn the_page_tells_corrections_of_a_distrusted_view_apart_and_last() {
    let html = page(&distrusted_report());
    let place = |text: &str| {
        html.find(text)
            .unwrap_or_else(|| panic!("{text} is on the page"))
    };
    let order = [
        "What to change in CAD, worst first",
        "make the reel 10.1 % wider",
        "make the wheel 4.0 % narrower",
        "<h3>Not to be trusted yet, side: so many of its marks are wrong that the rest may be too</h3>",
        "make box 10.1 % wider",
        "make lantern 4.0 % narrower",
        "id=\"view-1\"",
        "Not to be trusted yet: so many of its marks are wrong that the rest may be too.",
    ]
    .map(place);
    assert!(order.is_sorted(), "{order:?}");
    assert!(!page(&plain_report()).contains("to be trusted"));
}

#[test]
fn the_table_tells_corrections_of_a_distrusted_view_apart_and_last() {
    let style = TableStyle {
        width: 200,
        color: false,
    };
    let text = table(&distrusted_report(), &style);
    let place = |part: &str| {
        text.find(part)
            .unwrap_or_else(|| panic!("{part} is in\n{text}"))
    };
    let why =
        format!("  change nothing by this view yet: {REASON}; what it would ask for stands below");
    let apart = format!("\nnot to be trusted yet, side: {REASON}\n   1. make box");
    let order = [
        why.as_str(),
        "what to change in CAD, worst first:\n  1. make the reel",
        apart.as_str(),
        "\nverdict: out",
    ]
    .map(place);
    assert!(order.is_sorted(), "{order:?} in\n{text}");
    assert!(!table(&plain_report(), &style).contains("to be trusted"));
}

#[test]
fn a_page_whose_only_corrections_are_distrusted_does_not_say_that_all_is_well() {
    let (side, mut doubtful) = full_view("side", &["tank", "lantern", "bar", "box", "beam", "it"]);
    doubtful.warnings[0].code = Code::BentPicture;
    let report = Report::new(
        &job("t", Vec::new()),
        &[outcome(&side, Ok(doubtful.clone()))],
    );
    let html = page(&report);
    assert!(html.contains("change nothing yet: a view is not to be trusted"));
    assert!(html.contains("Not to be trusted yet, side: its marks lie as if a lens had bent"));
    // Without any correction no list is promised.
    doubtful.corrections.clear();
    let report = Report::new(&job("t", Vec::new()), &[outcome(&side, Ok(doubtful))]);
    let text = table(&report, &PLAIN_80);
    assert!(text.contains("change nothing by this view yet: its marks lie as if"));
    assert!(!text.contains("stands below") && !text.contains("not to be trusted yet, side"));
}

// ---- report.html

fn page(report: &Report) -> String {
    to_html(report, &|path| {
        path.ends_with(".png")
            .then(|| b"\x89PNG\r\n\x1a\nnot a real picture".to_vec())
    })
}

/// The tags of a page, without what stands inside of style and script.
fn tags(html: &str) -> Vec<&str> {
    let mut tags = Vec::new();
    let mut rest = html;
    while let Some(start) = rest.find('<') {
        let end = rest[start..].find('>').expect("every tag is closed") + start;
        let tag = &rest[start..=end];
        tags.push(tag);
        rest = &rest[end + 1..];
        for raw in ["style", "script"] {
            if tag == format!("<{raw}>") {
                rest = &rest[rest.find(&format!("</{raw}>")).expect("it is closed")..];
            }
        }
    }
    tags
}

#[test]
fn hostile_names_make_no_tags() {
    let kinds = |report: &Report| -> std::collections::BTreeSet<String> {
        let html = page(report);
        let names = tags(&html).into_iter().map(|t| {
            let end = t.find([' ', '>']).expect("a tag ends");
            t[..end].to_owned()
        });
        names.collect()
    };
    assert_eq!(
        kinds(&hostile_report()),
        kinds(&with_warning(plain_report()))
    );
    let html = page(&hostile_report());
    assert_eq!(html.matches("<script>").count(), 1);
    assert!(!html.contains("<img src=x") && !html.contains("<script>alert"));
    assert!(html.contains("<title>&lt;script&gt;alert(1)&lt;/script&gt;</title>"));
    assert!(
        html.contains("{{script}}"),
        "a name that looks like a key stays as it is"
    );
    // A quote in a name must not end the attribute that it stands in.
    assert!(html.contains("onfocus="));
    for attribute in ["onerror=", "onclick=", "onload=", "onfocus="] {
        assert!(
            tags(&html).iter().all(|t| !unquoted(t).contains(attribute)),
            "{attribute}"
        );
    }
}

/// Base 64 with padding, letter by letter: the page's own is not asked.
fn base64(bytes: &[u8]) -> String {
    const LETTERS: &[u8; 64] = b"ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz0123456789+/";
    let bit = |n: usize| bytes.get(n / 8).map_or(0, |byte| byte >> (7 - n % 8) & 1);
    let letter = |n: usize| (0..6).fold(0, |six, k| six << 1 | bit(6 * n + k));
    let count = (8 * bytes.len()).div_ceil(6);
    let text: String = (0..count)
        .map(|n| char::from(LETTERS[usize::from(letter(n))]))
        .collect();
    text + &"=".repeat((4 - count % 4) % 4)
}

#[test]
fn the_page_allows_its_own_script_and_style_and_no_other() {
    use sha2::{Digest, Sha256};
    let html = page(&hostile_report());
    let tags = tags(&html);
    let policies: Vec<_> = tags
        .iter()
        .filter(|t| t.contains("Content-Security-Policy"))
        .collect();
    let [policy] = policies[..] else {
        panic!("{policies:?}")
    };
    for raw in ["style", "script"] {
        let (_, rest) = html.split_once(&format!("<{raw}>")).expect("one");
        let (content, rest) = rest.split_once(&format!("</{raw}>")).expect("closed");
        assert!(!rest.contains(&format!("<{raw}")), "a second {raw}");
        let hash = base64(&Sha256::digest(content.as_bytes()));
        assert!(
            policy.contains(&format!("{raw}-src 'sha256-{hash}';")),
            "{policy}"
        );
    }
    for part in [
        "default-src 'none'",
        "img-src data:;",
        "base-uri 'none'",
        "form-action 'none'",
    ] {
        assert!(policy.contains(part), "{policy}");
    }
    assert!(
        !policy.contains("unsafe")
            && !policy.contains('*')
            && !policy.contains("http:")
            && !policy.contains("https:")
    );
    // What a policy with hashes would keep from working.
    for tag in tags {
        let tag = unquoted(tag);
        let attributes = tag.split_whitespace().skip(1);
        for attribute in attributes {
            assert!(
                !attribute.starts_with("on") && !attribute.starts_with("style="),
                "{tag}"
            );
        }
    }
}

/// A tag without the values of its attributes.
fn unquoted(tag: &str) -> String {
    tag.split('"').step_by(2).collect()
}

/// The hostile report has a warning for the whole job; the plain one then needs it too to have the same kinds of tags.
fn with_warning(mut report: Report) -> Report {
    report.warnings = hostile_report().warnings;
    report
}

#[test]
fn the_page_needs_nothing_beside_itself() {
    let html = page(&plain_report());
    for tag in tags(&html) {
        for address in ["src=\"", "href=\"", "action=\"", "srcset=\"", "data=\""] {
            if let Some(at) = tag.find(address) {
                let rest = &tag[at + address.len()..];
                assert!(
                    rest.starts_with("data:image/") || rest.starts_with('#'),
                    "{tag}"
                );
            }
        }
    }
    assert!(
        !html.contains("http:")
            && !html.contains("https:")
            && !html.contains("url(")
            && !html.contains("@import")
    );
    assert!(html.contains("data:image/png;base64,iVBORw0KGgpub3QgYSByZWFsIHBpY3R1cmU="));
}

#[test]
fn every_control_and_picture_of_the_page_has_a_label() {
    let html = page(&plain_report());
    let tags = tags(&html);
    let labelled = |kind: &str, label: &str| {
        let found: Vec<_> = tags.iter().filter(|t| t.starts_with(kind)).collect();
        assert!(!found.is_empty(), "{kind}");
        for tag in found {
            assert!(tag.contains(label), "{tag}");
        }
    };
    labelled("<img", "alt=\"");
    labelled("<input", "aria-label=\"");
    labelled("<button", "aria-label=\"");
    labelled("<th ", "scope=\"");
    assert!(html.starts_with("<!DOCTYPE html>\n<html lang=\"en\">"));
    assert_eq!(html.matches("<h1>").count(), 1);
}

#[test]
fn the_page_tells_the_worst_first_and_corrections_before_all() {
    let html = page(&plain_report());
    let place = |text: &str| {
        html.find(text)
            .unwrap_or_else(|| panic!("{text} is on the page"))
    };
    assert!(place("What to change in CAD") < place("id=\"view-1\""));
    let rows = &html[place("Regions, worst first")..];
    let order = ["tool box", "lantern", "draw bar", "water tank"].map(|name| {
        rows.find(&format!("<th scope=\"row\">{name}"))
            .expect("a row")
    });
    assert!(order.is_sorted(), "{order:?}");
    assert!(html.contains("+4.1 ±0.7") && html.contains("\u{2212}9.2 ±0.7"));
}

#[test]
fn the_page_says_what_was_done_about_a_screen() {
    let html = page(&plain_report());
    for sentence in [
        "A pixel grid of 4.1 px (repeating at 2°) and 4.3 px (repeating at \u{2212}88°) and 1 fainter was filtered out of the \
         reference before its edges were looked for: 98 % of it or more.",
        "Moire of 14.6 px (repeating at 33°) was filtered out of the reference before its edges were looked for",
        "2 patches of glare, 1.3 % of the reference with a margin, were masked: no edge is taken from there.",
        "Dark bars at the top and the bottom, 131 and 129 px high, were masked; the picture between them is 2.39:1 if \
         the stated 1.78:1 is that of the marked corners",
    ] {
        assert!(html.contains(sentence), "{sentence}");
    }
    let views = parsed(&plain_report());
    assert!(views["views"][1]["screen"].is_null());
}

#[test]
fn pictures_that_are_missing_or_strange_are_left_out() {
    let report = plain_report();
    for bytes in [None, Some(b"GIF89a".to_vec()), Some(Vec::new())] {
        let html = to_html(&report, &|_| bytes.clone());
        assert!(!html.contains("<img") && !html.contains("class=\"comparison\""));
    }
}

// ---- the terminal

const PLAIN_80: TableStyle = TableStyle {
    width: 80,
    color: false,
};

/// Columns of a line; the letters of these tests are narrow but for these.
fn columns(line: &str) -> usize {
    let of = |c: char| match c {
        '\u{301}' => 0,
        '水' | '槽' | '室' | '🪣' => 2,
        _ => 1,
    };
    line.chars().map(of).sum()
}

#[test]
fn the_table_fits_its_terminal() {
    for report in all_reports() {
        for width in [40, 60, 80, 120] {
            let text = table(
                &report,
                &TableStyle {
                    width,
                    color: false,
                },
            );
            assert!(text.ends_with('\n'));
            for line in text.lines() {
                assert!(columns(line) <= width, "{width}: {line}");
                assert!(!line.chars().any(|c| c.is_control()), "{line:?}");
            }
        }
    }
}

#[test]
fn breaking_lines_loses_no_word() {
    let report = plain_report();
    for width in 40..100 {
        let text = table(
            &report,
            &TableStyle {
                width,
                color: false,
            },
        );
        let one_line = text.split_whitespace().collect::<Vec<_>>().join(" ");
        assert!(one_line.contains(&failure().text), "{width}:\n{text}");
    }
}

#[test]
fn colour_adds_nothing_but_escape_sequences() {
    let colored = table(
        &plain_report(),
        &TableStyle {
            width: 80,
            color: true,
        },
    );
    let mut bare = String::new();
    for (i, part) in colored.split('\u{1b}').enumerate() {
        let text = if i == 0 {
            part
        } else {
            part.split_once('m').expect("a colour").1
        };
        bare.push_str(text);
    }
    assert_ne!(bare, colored);
    assert_eq!(bare, table(&plain_report(), &PLAIN_80));
}

#[test]
fn the_table_tells_the_worst_first() {
    let text = table(&plain_report(), &PLAIN_80);
    let place = |part: &str| {
        text.find(part)
            .unwrap_or_else(|| panic!("{part} is in\n{text}"))
    };
    assert!(place(" 1. make the tool box") < place(". make the lantern"));
    assert!(place("region ") < place("what to change in CAD, worst first"));
    let rows = [
        "\n  tool box ",
        "\n  lantern ",
        "\n  draw bar ",
        "\n  water tank ",
    ]
    .map(place);
    assert!(rows.is_sorted(), "{text}");
}

#[test]
fn the_table_says_all_that_is_asked_of_it() {
    for width in [60, 80] {
        let text = table(
            &plain_report(),
            &TableStyle {
                width,
                color: false,
            },
        );
        let one_line = text.split_whitespace().collect::<Vec<_>>().join(" ");
        for part in [
            "side: out ✕ similarity, rms 1.10 px, 4 datum + 1 check marks, 1 left out",
            "+4.1 ±0.7",
            "x +0.42 ±0.11",
            "y −0.05 ±0.11",
            "0.63",
            "within ✓",
            "undecided ?",
            "cannot tell: the edges fit no better than chance",
            "landmark lantern: wrong by 0.4 px, left out of the fit: mark it again",
            "landmark draw bar: exchanged with water tank, taken the other way round: exchange the two marks in one image",
            "landmark tool box: uncontrolled",
            "warning: the cameras of the render differ",
            "plan: not compared",
            "error (too-few-landmarks): registration: 2 landmark pairs",
        ] {
            assert!(one_line.contains(part), "{part} is not in\n{text}");
        }
        let last = text.lines().last().expect("a last line");
        assert_eq!(last, "verdict: out ✕   2 of 3 views compared");
    }
}

#[test]
fn a_view_without_corrections_says_whether_that_is_good_news() {
    let side = view("side", &[]);
    let texts = [Verdict::Within, Verdict::Undecided, Verdict::Out].map(|verdict| {
        let outcomes = [outcome(&side, Ok(bare_measurement(verdict)))];
        let report = Report::new(&job("t", Vec::new()), &outcomes);
        (table(&report, &PLAIN_80), page(&report))
    });
    for (words, (text, html)) in [
        "change nothing",
        "no change is called for yet",
        "something is out",
    ]
    .iter()
    .zip(&texts)
    {
        assert!(text.contains(words) && html.contains(words), "{words}");
    }
}

#[test]
fn without_a_scale_offsets_are_in_pixels() {
    let (side, mut measured) = full_view("side", &["a", "b", "c", "d"]);
    for region in &mut measured.regions {
        region.offset_model_mm = [None; 2];
    }
    let text = table(
        &Report::new(&job("t", Vec::new()), &[outcome(&side, Ok(measured))]),
        &PLAIN_80,
    );
    assert!(
        text.contains("offset px") && text.contains("x +4.2 ±1.1"),
        "{text}"
    );
}

#[test]
fn equal_reports_give_equal_bytes() {
    let (one, two) = (hostile_report(), hostile_report());
    assert_eq!(to_json(&one), to_json(&two));
    assert_eq!(to_csv(&one), to_csv(&two));
    assert_eq!(page(&one), page(&two));
    assert_eq!(table(&one, &PLAIN_80), table(&two, &PLAIN_80));
}

#[test]
fn the_schema_lists_every_code_of_a_warning() {
    let published = report::schema().to_string();
    for code in Code::ALL {
        assert!(published.contains(&format!("\"{code}\"")), "{code}");
        let text = code.as_str();
        let is_plain = |c: char| c.is_ascii_lowercase() || c == '-';
        assert!(!text.is_empty() && text.chars().all(is_plain), "{text}");
    }
}
