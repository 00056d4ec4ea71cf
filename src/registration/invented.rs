//! Views with invented marks, for the tests of the estimators.
use crate::{
    frame::{Point, truth::Errors},
    job::{self, Expected, Landmark, LandmarkUse, RegistrationKind, View},
    registration::{Error, Registered, register},
    statistics::trials::Noise,
};

/// Wide: what is tested is what the marks tell, not what is expected of a part.
pub(super) const EXPECTED: Expected = Expected {
    size_percent: 60.0,
    rotation_deg: 40.0,
    offset_percent: 20.0,
    keystone_percent: 0.3,
};
/// Places of the subject in the render: all over the picture, then of one part around its anchor.
pub(super) const DATUM: [[f64; 2]; 8] = [
    [100.0, 900.0],
    [820.0, 880.0],
    [450.0, 620.0],
    [160.0, 260.0],
    [760.0, 340.0],
    [300.0, 760.0],
    [640.0, 720.0],
    [420.0, 420.0],
];
pub(super) const PART: [[f64; 2]; 6] = [
    [380.0, 120.0],
    [560.0, 120.0],
    [560.0, 260.0],
    [380.0, 260.0],
    [470.0, 110.0],
    [470.0, 270.0],
];
pub(super) const ANCHOR: [f64; 2] = [470.0, 190.0];
/// The reference shows the subject at half the size, turned and moved.
const REFERENCE: Errors = Errors {
    size: [-0.5; 2],
    rotation: -0.1,
    offset: [60.0, 180.0],
};

pub(super) fn in_reference(subject: [f64; 2]) -> [f64; 2] {
    REFERENCE.shown([0.0; 2], subject)
}

/// Marks of one landmark: in the render and in the reference.
pub(super) type Marks = ([f64; 2], [f64; 2]);

/// Exact marks of places on the subject where the model has none of its errors.
pub(super) fn right(places: &[[f64; 2]]) -> Vec<Marks> {
    places.iter().map(|p| (*p, in_reference(*p))).collect()
}

/// Exact marks of the part, which has these errors.
pub(super) fn altered(errors: Errors) -> Vec<Marks> {
    PART.iter()
        .map(|p| (errors.shown(ANCHOR, *p), in_reference(*p)))
        .collect()
}

/// Every mark moved by noise of this deviation in each coordinate of each image.
pub(super) fn noisy(marks: &[Marks], sigma: f64, noise: &mut Noise) -> Vec<Marks> {
    let mut about = |p: [f64; 2]| p.map(|v| v + sigma * noise.normal());
    marks.iter().map(|(r, q)| (about(*r), about(*q))).collect()
}

/// A view whose registration `datum` carries; the landmarks of its one region are `part`. All marks have the deviation
/// `sigma`, px.
pub(super) fn view(kind: RegistrationKind, datum: &[Marks], part: &[Marks], sigma: f64) -> View {
    let text = r#"{"title": "t", "scale": "1:32", "views": [{"name": "a",
        "render": {"image": "a.png"}, "reference": {"image": "b.png", "kind": "plan"},
        "landmarks": [
            {"name": "a", "render": [0, 0], "reference": [0, 0]}, {"name": "b", "render": [9, 9], "reference": [9, 9]},
            {"name": "c", "use": "check", "render": [9, 0], "reference": [9, 0]}],
        "regions": [{"name": "part", "outline": [[380, 120], [560, 120], [560, 260], [380, 260]], "landmarks": ["c"]}]}]}"#;
    let job = job::parse(text.as_bytes(), std::path::Path::new("t.json")).expect("sound");
    let mut view = job.views[0].clone();
    view.registration = kind;
    view.render.mark_sigma_px = Some(sigma);
    view.reference.mark_sigma_px = Some(sigma);
    let landmark = |(k, (render, reference)): (usize, &Marks)| Landmark {
        name: format!("m{k}"),
        render: Point::new(render[0], render[1]),
        reference: Point::new(reference[0], reference[1]),
        usage: if k < datum.len() {
            LandmarkUse::Datum
        } else {
            LandmarkUse::Check
        },
        model_mm: None,
        on: None,
        sigma_px: [None; 2],
        model_sigma_mm: None,
    };
    view.landmarks = datum.iter().chain(part).enumerate().map(landmark).collect();
    view.regions[0].landmarks = (datum.len()..datum.len() + part.len()).collect();
    view.regions[0].anchor = Point::new(ANCHOR[0], ANCHOR[1]);
    view
}

pub(super) fn try_to_register(view: &View) -> Result<Registered, Error> {
    register(view, EXPECTED, (1000, 1000), None)
}

pub(super) fn registered(view: &View) -> Registered {
    try_to_register(view).expect("the datum marks carry a registration")
}
