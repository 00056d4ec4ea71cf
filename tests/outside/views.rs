//! Views built from bare points.
use std::path::PathBuf;
use tickstrip::{
    frame::Point,
    job::{
        Expected, Landmark, LandmarkUse, Mask, ReferenceKind, ReferenceSource, RegistrationKind,
        RenderSource, View,
    },
};

/// What a job expects of regions where it says nothing.
pub const EXPECTED: Expected = Expected {
    size_percent: 4.0,
    rotation_deg: 1.5,
    offset_percent: 0.8,
    keystone_percent: 0.3,
};

/// A view whose datum landmarks are these points, with stated deviations of the marks.
pub fn view(
    kind: RegistrationKind,
    reference: &[[f64; 2]],
    render: &[[f64; 2]],
    sigmas: [Option<f64>; 2],
) -> View {
    let landmarks = reference
        .iter()
        .zip(render)
        .enumerate()
        .map(|(k, (q, r))| Landmark {
            name: format!("point {k}"),
            render: Point::new(r[0], r[1]),
            reference: Point::new(q[0], q[1]),
            usage: LandmarkUse::Datum,
            model_mm: None,
        })
        .collect();
    View {
        name: "view".to_owned(),
        render: RenderSource {
            image: PathBuf::new(),
            kind: Default::default(),
            mark_sigma_px: sigmas[0],
            mask: Mask::None,
            camera: None,
        },
        reference: ReferenceSource {
            image: PathBuf::new(),
            kind: ReferenceKind::Photo,
            source: None,
            time_code: None,
            variant: None,
            note: None,
            rights: None,
            rectify: None,
            screen: Default::default(),
            mark_sigma_px: sigmas[1],
            mask: Mask::None,
        },
        same_camera: true,
        symmetry: None,
        registration: kind,
        landmarks,
        known: Vec::new(),
        spans: Vec::new(),
        angles: Vec::new(),
        regions: Vec::new(),
    }
}

/// The points `[[x, y], ...]` of a JSON value.
pub fn points(value: &serde_json::Value) -> Vec<[f64; 2]> {
    let number = |v: &serde_json::Value| v.as_f64().expect("a number");
    value
        .as_array()
        .expect("a list of points")
        .iter()
        .map(|p| [number(&p[0]), number(&p[1])])
        .collect()
}

/// The JSON file `name` in `folder`.
pub fn json(folder: &std::path::Path, name: &str) -> serde_json::Value {
    let text = std::fs::read_to_string(folder.join(name)).expect("the file can be read");
    serde_json::from_str(&text).expect("the file is JSON")
}
