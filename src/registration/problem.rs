//! From a view of the job to the adjustment's problem, with the checks that landmarks can carry it.
use super::{
    Error,
    adjustment::{
        ADJUSTMENT, AlongOutline, ExpectedShape, Layout, MarkNoise, Pair, Parallax, Problem,
        RegionErrors, State,
    },
    checks::places::Places,
    depth_in_doubt,
    roles::Roles,
    start,
};
use crate::{
    frame::{FromReference, Projective},
    job::{Expected, Landmark, LandmarkUse, MarkOn, RegistrationKind, View},
    printable::listed,
    rectification::{Rectification, mark_sigma_px},
};
use nalgebra::{DMatrix, Vector2};

/// The problem, the roles of its pairs, and a state with the rectification alone.
pub(crate) fn build(
    view: &View,
    expected: Expected,
    render_size: (u32, u32),
    rectification: Option<&Rectification>,
) -> Result<(Problem, Roles, State), Error> {
    check_datum(view)?;
    let places = Places::of(view);
    let depth = depth_in_doubt::deviations(view, &places);
    let pairs = pairs(view, &places, depth.as_deref());
    let roles = roles(view, &pairs, &places, depth.is_some());
    let shape = ExpectedShape::of(view, expected.keystone_percent);
    let rectified_from_reference = rectification.map_or_else(
        FromReference::identity,
        Rectification::rectified_from_reference,
    );
    let numbers = rectification.map_or_else(Vec::new, Rectification::values);
    let layout = layout(view, rectification.cloned(), &places);
    let state = State {
        render_from_rectified: Projective::identity(),
        rectified_from_reference,
        numbers,
        shift: [0.0; 3],
        regions: vec![RegionErrors::default(); view.regions.len()],
    };
    let diagonal = f64::from(render_size.0).hypot(f64::from(render_size.1));
    let offset = expected.offset_percent / 100.0 * diagonal;
    let size = expected.size_percent / 100.0;
    let problem = Problem {
        suspected: DMatrix::zeros(layout.global_unknowns(), 0),
        layout,
        pairs,
        unstated_noise: unstated_noise(view),
        expected: [
            size,
            size,
            expected.rotation_deg.to_radians(),
            offset,
            offset,
        ],
        shape,
    };
    Ok((problem, roles, state))
}

fn layout(view: &View, rectification: Option<Rectification>, places: &Places) -> Layout {
    let marks: Vec<Vector2<f64>> = view
        .landmarks
        .iter()
        .map(|l| Vector2::from(l.render.xy()))
        .collect();
    let datum: Vec<Vector2<f64>> = view
        .landmarks
        .iter()
        .filter(|l| l.usage == LandmarkUse::Datum)
        .map(|l| Vector2::from(l.render.xy()))
        .collect();
    let centre = datum.iter().sum::<Vector2<f64>>() / datum.len().max(1) as f64;
    let size = marks
        .iter()
        .map(|m| (m - centre).norm())
        .fold(1.0, f64::max);
    let in_space: Vec<[f64; 3]> = (0..view.landmarks.len())
        .filter(|&i| places.serves(i))
        .filter_map(|i| view.landmarks[i].model_mm)
        .collect();
    let parallax = match view.render.camera {
        Some(camera) if !view.same_camera => Parallax::new(&camera, &in_space),
        _ => None,
    };
    Layout {
        kind: view.registration,
        centre,
        size,
        is_rectification_free: rectification
            .as_ref()
            .is_some_and(|s| s.has_lens() || view.registration != RegistrationKind::Projective),
        rectification,
        parallax,
        anchors: view
            .regions
            .iter()
            .map(|r| Vector2::from(r.anchor.xy()))
            .collect(),
    }
}

/// How well the marks of the render and of the reference are set that say nothing of themselves.
fn unstated_noise(view: &View) -> [MarkNoise; 2] {
    let render = view.render.mark_sigma_px;
    let reference = view.reference.mark_sigma_px;
    [
        render.unwrap_or_else(|| ADJUSTMENT.render_mark_deviation.get()),
        reference.unwrap_or_else(mark_sigma_px),
    ]
    .map(|sigma| MarkNoise {
        sigma,
        is_own: false,
    })
}

fn own_or(stated: Option<f64>, unstated: MarkNoise) -> MarkNoise {
    stated.map_or(unstated, |sigma| MarkNoise {
        sigma,
        is_own: true,
    })
}

fn along_outline(landmark: &Landmark) -> Option<AlongOutline> {
    let Some(MarkOn::Outline(tangent)) = landmark.on else {
        return None;
    };
    Some(along_outline_of(tangent))
}

/// How badly a landmark is known along a smooth outline with this tangent.
pub(crate) fn along_outline_of(tangent: Option<[f64; 2]>) -> AlongOutline {
    AlongOutline {
        tangent: tangent.map(Vector2::from),
        sigma: ADJUSTMENT.along_outline.get(),
    }
}

/// `depth` is what depth that is in doubt may do to each mark of the render.
fn pairs(view: &View, places: &Places, depth: Option<&[f64]>) -> Vec<Pair> {
    let [render_noise, reference_noise] = unstated_noise(view);
    view.landmarks
        .iter()
        .enumerate()
        .map(|(i, landmark)| Pair {
            render: landmark.render,
            reference: landmark.reference,
            render_noise: with_depth(
                own_or(landmark.sigma_px[0], render_noise),
                depth.map(|depth| depth[i]),
            )
            .and(if view.same_camera {
                0.0
            } else {
                places.doubt(i)
            }),
            reference_noise: own_or(landmark.sigma_px[1], reference_noise),
            along: along_outline(landmark),
            space: landmark.model_mm.filter(|_| places.serves(i)),
            part: view.regions.iter().position(|r| r.landmarks.contains(&i)),
            region: match landmark.usage {
                LandmarkUse::Datum => None,
                LandmarkUse::Check => view.regions.iter().position(|r| r.landmarks.contains(&i)),
            },
        })
        .collect()
}

/// The noise of a mark and what its depth may do to it: that follows the factor, which is estimated, also where the noise
/// is the mark's own.
fn with_depth(noise: MarkNoise, depth: Option<f64>) -> MarkNoise {
    depth.map_or(noise, |depth| MarkNoise {
        is_own: false,
        ..noise.and(depth)
    })
}

fn roles(view: &View, pairs: &[Pair], places: &Places, is_depth_in_doubt: bool) -> Roles {
    let datum: Vec<bool> = view
        .landmarks
        .iter()
        .map(|l| l.usage == LandmarkUse::Datum)
        .collect();
    let wrong_place = wrong_places(view, &datum, places);
    let datum: Vec<bool> = datum
        .iter()
        .zip(&wrong_place)
        .map(|(d, w)| *d && !w)
        .collect();
    let takes_part = datum
        .iter()
        .zip(pairs)
        .zip(&wrong_place)
        .map(|((d, p), w)| *d || (p.region.is_some() && !w))
        .collect();
    let part = pairs.iter().map(|pair| pair.part).collect();
    Roles {
        datum,
        takes_part,
        part,
        off_with_part: vec![false; pairs.len()],
        wrong_place,
        contradicts: vec![None; pairs.len()],
        render_stated: view.render.mark_sigma_px.is_some() && !is_depth_in_doubt,
        reference_stated: view.reference.mark_sigma_px.is_some(),
    }
}

/// Landmarks whose place is wrong where the camera's shift needs it: without its depth a mark says nothing then. None
/// where the datum landmarks left would not carry the registration.
fn wrong_places(view: &View, datum: &[bool], places: &Places) -> Vec<bool> {
    let needs_places = !view.same_camera && matches!(places, Places::Missed(_));
    let wrong: Vec<bool> = (0..datum.len())
        .map(|i| needs_places && !places.serves(i))
        .collect();
    let left = datum
        .iter()
        .zip(&wrong)
        .filter(|(d, w)| **d && !**w)
        .count();
    if left < start::least_points(view.registration) {
        return vec![false; datum.len()];
    }
    wrong
}

/// The datum landmarks' names, for messages.
pub(crate) fn datum_names(view: &View) -> String {
    let is_datum = |l: &&Landmark| l.usage == LandmarkUse::Datum;
    let datum = view.landmarks.iter().filter(is_datum);
    listed(datum.map(|l| l.name.as_str()))
}

fn check_datum(view: &View) -> Result<(), Error> {
    let kind = view.registration;
    let needed = start::least_points(kind);
    let datum = || {
        view.landmarks
            .iter()
            .filter(|l| l.usage == LandmarkUse::Datum)
    };
    let found = datum().count();
    if found < needed {
        return Err(Error::TooFewLandmarks {
            kind,
            found,
            needed,
        });
    }
    let render: Vec<[f64; 2]> = datum().map(|l| l.render.xy()).collect();
    let reference: Vec<[f64; 2]> = datum().map(|l| l.reference.xy()).collect();
    for (image, marks) in [("render", render), ("reference", reference)] {
        let fault = match extent(&marks) {
            [longest, _] if longest < 1e-6 => "lie on one point",
            [longest, across] if needed > 2 && across < 1e-3 * longest => "lie on one line",
            _ => continue,
        };
        return Err(Error::Degenerate {
            kind,
            image,
            fault,
            names: datum_names(view),
            needed,
        });
    }
    Ok(())
}

/// Root mean square extents along and across the cloud's main direction.
fn extent(marks: &[[f64; 2]]) -> [f64; 2] {
    let n = marks.len() as f64;
    let mean = marks
        .iter()
        .map(|m| Vector2::from(*m))
        .sum::<Vector2<f64>>()
        / n;
    let spread = marks
        .iter()
        .map(|m| {
            let d = Vector2::from(*m) - mean;
            d * d.transpose()
        })
        .sum::<nalgebra::Matrix2<f64>>()
        / n;
    let e = spread.symmetric_eigenvalues();
    [e.max().max(0.0).sqrt(), e.min().max(0.0).sqrt()]
}
