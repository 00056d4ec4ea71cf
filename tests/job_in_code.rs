//! Jobs made in code are those of job files, and go through the same checks.
use std::path::Path;
use tickstrip::{
    frame::Point,
    job::{
        Job, Landmark, LandmarkBuilder, ReferenceKind, RegistrationKind, Tolerance, View,
        ViewBuilder, parse,
    },
    units::{FullSizeMm, ModelMm, ScaleRatio},
};

fn scale() -> ScaleRatio {
    ScaleRatio::parse("1:24").expect("a scale")
}

fn landmark(name: &str, x: f64, y: f64) -> LandmarkBuilder {
    Landmark::builder(name, Point::new(x, y), Point::new(x + 7.0, y + 3.0))
}

fn side() -> ViewBuilder {
    View::builder("side", "a.png", "b.png")
        .reference_kind(ReferenceKind::Plan)
        .registration(RegistrationKind::Affine)
        .landmark(landmark("a", 10.0, 10.0))
        .landmark(landmark("b", 90.0, 12.0))
        .landmark(landmark("c", 50.0, 80.0).check().model_mm([1.0, 2.0, 3.0]))
        .known_in_reference("a", "b", FullSizeMm(1280.5))
        .known_in_render("a", "c", ModelMm(40.0))
        .span("width", "a", "b")
        .region(
            "part",
            &[[0.0, 0.0], [60.0, 0.0], [60.0, 60.0]].map(|[x, y]| Point::new(x, y)),
            &["a", "c"],
        )
}

#[test]
fn a_job_made_in_code_is_the_one_of_the_file_that_says_the_same() {
    let text = r#"{"title": "Hand fire pump", "scale": "1:24", "smallest_visible_mm": 0.1,
        "tolerance": {"proportion_percent": 1, "offset_mm": 0.3, "angle_deg": 2, "edge_overlap": 0.4},
        "views": [{"name": "side", "registration": "affine",
            "render": {"image": "a.png"}, "reference": {"image": "b.png", "kind": "plan"},
            "landmarks": [
                {"name": "a", "render": [10, 10], "reference": [17, 13]},
                {"name": "b", "render": [90, 12], "reference": [97, 15]},
                {"name": "c", "render": [50, 80], "reference": [57, 83], "use": "check", "model_mm": [1, 2, 3]}],
            "known": [
                {"in": "reference", "from": "a", "to": "b", "full_size": "1280.5 mm"},
                {"in": "render", "from": "a", "to": "c", "model": "40 mm"}],
            "spans": [{"name": "width", "from": "a", "to": "b"}],
            "regions": [{"name": "part", "outline": [[0, 0], [60, 0], [60, 60]], "landmarks": ["a", "c"]}]}]}"#;
    let of_file = parse(text.as_bytes(), Path::new("/jobs/pump.json")).expect("sound");
    let tolerance = Tolerance {
        proportion_percent: 1.0,
        offset: ModelMm(0.3),
        angle_deg: 2.0,
        edge_overlap: 0.4,
    };
    let mut made = Job::builder("Hand fire pump", scale())
        .file("/jobs/pump.json")
        .tolerance(tolerance)
        .smallest_visible(ModelMm(0.1))
        .view(side())
        .build()
        .expect("sound");
    made.blake3.clone_from(&of_file.blake3);
    assert_eq!(format!("{made:?}"), format!("{of_file:?}"));
}

#[test]
fn what_a_job_file_may_not_say_is_refused_in_the_same_words() {
    let view = side()
        .landmark(landmark("a", 20.0, 30.0))
        .span("height", "a", "d")
        .stated(|raw| raw.render.mark_sigma_px = Some(0.0));
    let error = Job::builder("t", scale()).view(view).build();
    let faults = error.expect_err("faulty");
    let pointers: Vec<_> = faults.faults().iter().map(|f| f.pointer.as_str()).collect();
    // By the schema first.
    assert_eq!(pointers, ["/views/0/render/mark_sigma_px"]);
    let view = side()
        .landmark(landmark("a", 20.0, 30.0))
        .span("height", "a", "d");
    let error = Job::builder("t", scale()).view(view).build();
    let faults = error.expect_err("faulty").to_string();
    assert!(faults.contains("/views/0/landmarks/3/name"), "{faults}");
    assert!(
        faults.contains("/views/0/spans/1/to: no landmark \"d\""),
        "{faults}"
    );
}

#[test]
fn a_number_that_is_none_and_a_job_without_views_are_refused() {
    let view = side().landmark(landmark("d", f64::NAN, 30.0));
    assert!(Job::builder("t", scale()).view(view).build().is_err());
    let none = Job::builder("t", scale()).build().expect_err("faulty");
    assert!(none.faults()[0].pointer.starts_with("/views"), "{none}");
}
