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
            part: None,
            on: None,
            sigma_px: [None; 2],
            model_sigma_mm: None,
        })
        .collect();
    View {
        name: "view".to_owned(),
        render: RenderSource {
            image: PathBuf::new().into(),
            marked_on: None,
            kind: Default::default(),
            mark_sigma_px: sigmas[0],
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
            mark_sigma_px: sigmas[1],
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
        known: Vec::new(),
        spans: Vec::new(),
        angles: Vec::new(),
        regions: Vec::new(),
    }
}
