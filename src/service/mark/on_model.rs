//! A photo that is marked on the model and in no render: what its marks tell of its camera, and what it still needs.
use super::{
    camera::{self, PhotoCamera},
    fit_words::{capital, counted},
    mark_fit::{DraftPrediction, MarkFit},
    model::OwnModel,
    needs::Need,
    stamp,
};
use crate::{
    drawn,
    frame::ModelPoint,
    job::{Job, LandmarkUse, RenderImage, View},
    meshes::{Projection, Sight},
    registration::space::{self, MarkFinding, Plane, Shape, Told, WANTED_MARKS},
    statistics::words::{Sign, decimals, interval},
};
use serde::Serialize;
use serde_json::Value;

/// Corners of the mesh that are looked at for one off the plane of the marks.
const MOST_CORNERS: usize = 256;

/// What the marks of a photo tell.
#[derive(Default)]
pub(super) struct OnModel {
    pub camera: Option<CameraFit>,
    /// Why there is no camera.
    pub error: Option<String>,
    pub rms_px: Option<f64>,
    pub landmarks: Vec<MarkFit>,
    pub predictions: Vec<DraftPrediction>,
    pub needs: Vec<Need>,
}

/// The camera of a photo for the page.
#[derive(Debug, Serialize)]
pub(super) struct CameraFit {
    /// What it is, on one line.
    text: String,
    /// From the model's middle towards the camera, along the model's axes.
    towards: [f64; 3],
    /// The same camera has the same stamp.
    stamp: String,
}

/// What the marks of a view tell, whose reference is `size` (width, height) pixels large; `model` is its mesh, where it was read.
pub(super) fn of_view(
    job: &Job,
    view: &View,
    (size, draft): ((u32, u32), &Value),
    model: Option<&OwnModel>,
) -> OnModel {
    let solved = camera::of_photo(view, size);
    let mut told = OnModel {
        needs: needs(view, &solved, (size, model)),
        ..OnModel::default()
    };
    match solved {
        Err(error) => told.error = Some(error.to_string()),
        Ok(solved) => {
            told.rms_px = Some(solved.found.rms_px);
            told.camera = Some(camera_fit(&solved));
            told.landmarks = landmarks(&solved);
            told.predictions = predictions(&solved, draft);
            told.needs.extend(about_drawing(job, view, &solved, model));
        }
    }
    told
}

/// The camera of a reference that is compared with a rendered image, and what the places of the datum marks lack to tell it; neither where
/// there are no places.
pub(super) fn beside_render(
    job: &Job,
    view: &View,
    size: (u32, u32),
) -> (Option<CameraFit>, Option<Need>) {
    let places: Vec<[f64; 3]> = view.datum().filter_map(|l| l.model_mm).collect();
    if places.is_empty() {
        return (None, None);
    }
    let shape = Shape::of(&places);
    match camera::of_photo(view, size) {
        Err(error) => (None, Some(without_camera(&error, &shape, places.len()))),
        Ok(solved) => {
            let camera = job.model.as_ref().map(|_| camera_fit(&solved));
            (camera, about_shape(&shape, &solved))
        }
    }
}

fn camera_fit(solved: &PhotoCamera) -> CameraFit {
    let found = &solved.found;
    let carrying = found
        .marks
        .iter()
        .filter(|mark| !matches!(mark.finding, MarkFinding::Wrong | MarkFinding::Predicted));
    let distance = match found.first.distance_mm {
        Told::Figure(figure) => format!(", {} away", interval(figure, Sign::Minus, " mm")),
        _ => String::new(),
    };
    CameraFit {
        text: format!(
            "camera by {} datum marks, {} px rms{distance}",
            carrying.count(),
            decimals(found.rms_px, 2)
        ),
        towards: found.first.axis.map(|v| -v),
        stamp: stamp::of(&format!("{:?}", found.first.camera.rows())),
    }
}

fn landmarks(PhotoCamera { photo, found }: &PhotoCamera) -> Vec<MarkFit> {
    let each = photo.marks.iter().zip(&found.marks);
    each.filter_map(|(mark, fit)| {
        let (finding, text) = match fit.finding {
            MarkFinding::Good | MarkFinding::Predicted => (None, None),
            MarkFinding::Wrong => (Some("wrong"), Some(
                "contradicts the others and is left out: look at its mark and at its place on the model".to_owned(),
            )),
            MarkFinding::ExchangedWith(other) => (
                Some("swapped"),
                Some(format!("exchanged with \"{}\"", photo.marks[other].name)),
            ),
            MarkFinding::Uncontrolled => (
                Some("uncontrolled"),
                Some("nothing checks this mark; an error in it would not be noticed".to_owned()),
            ),
        };
        let expected = found.expected(mark.place, (mark.place_sigma_mm, 0.0))?;
        Some(MarkFit {
            name: mark.name.clone(),
            residual_px: fit.residual_px?,
            half_px: expected.half_axes[0],
            in_render: mark.mark.xy(),
            in_reference: expected.place,
            test_statistic: None,
            critical_value: 0.0,
            smallest_detectable_px: None,
            finding,
            text,
        })
    })
    .collect()
}

/// Where the photo shows the places of marks that are not set in it yet.
fn predictions(solved: &PhotoCamera, draft: &Value) -> Vec<DraftPrediction> {
    let singles = draft["landmarks"].as_array().into_iter().flatten();
    singles
        .filter(|single| single["reference"].is_null())
        .filter_map(|single| {
            let place = &single["model_mm"];
            let place = [place[0].as_f64()?, place[1].as_f64()?, place[2].as_f64()?];
            let expected = solved.found.expected(ModelPoint(place), (0.0, 0.0))?;
            Some(DraftPrediction {
                name: single["name"].as_str()?.to_owned(),
                side: "reference",
                place: expected.place,
                half_axes: expected.half_axes,
                turned_deg: expected.turned_deg,
            })
        })
        .collect()
}

/// What the datum marks lack to tell the camera, the most needed first.
fn needs(
    view: &View,
    solved: &Result<PhotoCamera, space::Error>,
    (size, model): ((u32, u32), Option<&OwnModel>),
) -> Vec<Need> {
    let places: Vec<[f64; 3]> = view.datum().filter_map(|l| l.model_mm).collect();
    let shape = Shape::of(&places);
    let solved = match solved {
        Err(error) => return vec![without_camera(error, &shape, places.len())],
        Ok(solved) => solved,
    };
    let mut needs = about_findings(solved);
    let off_plane =
        |plane: &Plane| model.and_then(|model| farthest_off(plane, solved, size, model));
    if let Some(mut need) = about_shape(&shape, solved) {
        if let Shape::Plane(plane) | Shape::NearlyPlane(plane) = &shape {
            need.on_model = off_plane(plane);
        }
        needs.push(need);
    }
    if places.len() < WANTED_MARKS {
        let more = counted(WANTED_MARKS - places.len(), "more datum mark");
        let text = format!("{}: only then a wrong one can be told.", capital(&more));
        needs.push(Need::new("redundant", text));
    }
    if view.landmarks.iter().all(|l| l.usage == LandmarkUse::Datum) {
        let text = "The camera is told. Mark points of the parts that you want judged, as check.";
        needs.push(Need::new("check", text.to_owned()));
    }
    needs
}

/// How marks lie that tell no camera, or badly, and what to mark.
fn words_of(shape: &Shape) -> Option<&'static str> {
    match shape {
        Shape::Line => Some("lie on one line: mark one beside the line"),
        Shape::Plane(_) => Some("lie in a plane: mark one off the plane"),
        Shape::NearlyPlane(_) => Some("lie nearly in a plane: mark one off the plane"),
        Shape::Space => None,
    }
}

fn without_camera(error: &space::Error, shape: &Shape, count: usize) -> Need {
    let space::Error::TooFewPlaces { found, needed, .. } = error else {
        let text = match (error, words_of(shape)) {
            (
                space::Error::PlacesInLine { .. } | space::Error::PlacesInPlane { .. },
                Some(words),
            ) => {
                format!("The places of the datum marks {words}.")
            }
            _ => error.to_string(),
        };
        return Need::new("no-camera", text);
    };
    if *found == 0 {
        let text = format!(
            "Click a point in the photo, then the same point on the drawn model: {} such datum marks, far apart in all three directions, tell \
             the camera.",
            counted(*needed, "").trim_end_matches([' ', 's'])
        );
        return Need::new("datum", text);
    }
    let more = capital(&counted(needed - found, "more datum mark"));
    let tell = if needed - found == 1 { "tells" } else { "tell" };
    // Three always lie in a plane.
    let words = words_of(shape).filter(|_| count > 2);
    let how = match words {
        Some(words) => format!("; those that are there {words}"),
        None => ", far from the others".to_owned(),
    };
    Need::new("datum", format!("{more} {tell} the camera{how}."))
}

fn about_shape(shape: &Shape, solved: &PhotoCamera) -> Option<Need> {
    let words = words_of(shape);
    let found = &solved.found;
    if let Some(second) = &found.second {
        let decides = second
            .decides
            .as_ref()
            .map(|d| &solved.photo.marks[d.mark].name);
        let text = match (decides, words) {
            (Some(name), _) => {
                format!("Two cameras fit: the mark \"{name}\" tells them apart, make it datum.")
            }
            (None, Some(words)) => {
                format!("Two cameras fit, for the places of the datum marks {words}.")
            }
            (None, None) => {
                "Two cameras fit: mark a datum point off the plane of the others.".to_owned()
            }
        };
        return Some(Need::new("two-cameras", text));
    }
    let text = format!(
        "The places of the datum marks {}; the camera is told badly so far.",
        words?
    );
    Some(Need::new("plane", text))
}

/// The corner of the mesh that the photo shows farthest off a plane.
fn farthest_off(
    plane: &Plane,
    solved: &PhotoCamera,
    (width, height): (u32, u32),
    model: &OwnModel,
) -> Option<[f64; 3]> {
    let found = &solved.found;
    let corners = model.features().corners(model.model());
    let is_shown = |place: &[f64; 3]| {
        let at = found
            .expected(ModelPoint(*place), (0.0, 0.0))
            .map(|e| e.place);
        at.is_some_and(|[x, y]| x > 0.0 && y > 0.0 && x < f64::from(width) && y < f64::from(height))
    };
    let mut off: Vec<(f64, [f64; 3])> = corners.map(|place| (plane.off(place), place)).collect();
    off.sort_by(|a, b| b.0.total_cmp(&a.0));
    let places: Vec<[f64; 3]> = off
        .into_iter()
        .map(|(_, place)| place)
        .take(MOST_CORNERS)
        .collect();
    let projection = Projection::new(found.first.camera.rows(), model.model()).ok()?;
    let seen = Sight::new(model.model(), &projection).are_seen(&places);
    let mut each = places.into_iter().zip(seen);
    each.find(|(place, seen)| *seen && is_shown(place))
        .map(|(place, _)| place)
}

fn about_findings(solved: &PhotoCamera) -> Vec<Need> {
    let each = solved.photo.marks.iter().zip(&solved.found.marks);
    each.filter_map(|(mark, fit)| {
        let text = match fit.finding {
            MarkFinding::Wrong => format!(
                "\"{}\" contradicts the others and is left out: look at its mark and at its place on the model.",
                mark.name
            ),
            MarkFinding::ExchangedWith(other) if solved.photo.marks[other].name > mark.name => format!(
                "\"{}\" and \"{}\" are exchanged.",
                mark.name, solved.photo.marks[other].name
            ),
            _ => return None,
        };
        Some(Need::new("finding", text))
    })
    .collect()
}

/// Why the model cannot be drawn by this camera yet, for a view whose render is.
fn about_drawing(
    job: &Job,
    view: &View,
    solved: &PhotoCamera,
    model: Option<&OwnModel>,
) -> Option<Need> {
    let is_drawn = view.render.image == RenderImage::Drawn && job.model.is_some();
    let model = model.filter(|_| is_drawn)?;
    let error = drawn::check(view, &solved.found, &solved.photo, model.mesh()).err()?;
    // Said above in words for the page.
    let is_said = matches!(error, drawn::Error::TwoAttitudes { .. });
    (!is_said).then(|| Need::new(error.code(), format!("{}.", capital(&error.to_string()))))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::job;
    use serde_json::json;
    use std::path::Path;

    const SIZE: (u32, u32) = (1600, 1200);

    /// What a camera 300 mm in front, a little from the right and above, shows of a place.
    fn shown([x, y, z]: [f64; 3]) -> [f64; 2] {
        let (a, e) = (-1.0_f64, 0.35_f64);
        let right = [-a.sin(), a.cos(), 0.0];
        let away = [-a.cos() * e.cos(), -a.sin() * e.cos(), -e.sin()];
        let up = [-a.cos() * e.sin(), -a.sin() * e.sin(), e.cos()];
        let along = |axis: [f64; 3]| axis[0] * x + axis[1] * y + axis[2] * z;
        let depth = 300.0 + along(away);
        [
            800.0 + 3000.0 * along(right) / depth,
            600.0 - 3000.0 * along(up) / depth,
        ]
    }

    /// A job with a photo that has these datum marks, each with its error of some tenths of a pixel.
    fn job_with(places: &[[f64; 3]]) -> Job {
        let mark = |(k, place): (usize, &[f64; 3])| {
            let [x, y] = shown(*place);
            let wobble = |n: usize| 0.3 * (n as f64 * 12.9898 + 0.7).sin();
            json!({
                "name": format!("m{k}"), "reference": [x + wobble(2 * k), y + wobble(2 * k + 1)], "use": "datum", "model_mm": place,
            })
        };
        let landmarks: Vec<_> = places.iter().enumerate().map(mark).collect();
        let text = json!({
            "title": "t", "scale": "1:24", "model": { "files": ["model.obj"], "unit": "mm" },
            "views": [{ "name": "a", "render": { "drawn": true }, "reference": { "image": "a.png" }, "landmarks": landmarks }],
        });
        job::parse(text.to_string().as_bytes(), Path::new("t.json")).expect("sound")
    }

    fn told(places: &[[f64; 3]]) -> OnModel {
        let job = job_with(places);
        of_view(&job, &job.views[0], (SIZE, &json!({})), None)
    }

    /// Corners of a plate in the plane z = 20, and places that stand off it.
    const PLATE: [[f64; 3]; 6] = [
        [-40.0, -20.0, 20.0],
        [40.0, -20.0, 20.0],
        [40.0, 20.0, 20.0],
        [-40.0, 20.0, 20.0],
        [0.0, -20.0, 20.0],
        [20.0, 5.0, 20.0],
    ];
    const OFF: [[f64; 3]; 3] = [
        [-30.0, -15.0, 60.0],
        [35.0, 10.0, -15.0],
        [10.0, -18.0, 45.0],
    ];

    #[test]
    fn too_few_marks_are_counted_and_a_plane_among_them_is_told() {
        let first = |places: &[[f64; 3]]| told(places).needs.remove(0).text;
        assert_eq!(
            first(&[]),
            "Click a point in the photo, then the same point on the drawn model: five such datum marks, far apart in all three directions, \
             tell the camera."
        );
        assert_eq!(
            first(&PLATE[..1]),
            "Four more datum marks tell the camera, far from the others."
        );
        assert_eq!(
            first(&PLATE[..4]),
            "One more datum mark tells the camera; those that are there lie in a plane: mark one off the plane."
        );
        let on_line: Vec<[f64; 3]> = (0..4).map(|k| [f64::from(k) * 20.0, 0.0, 5.0]).collect();
        assert_eq!(
            first(&on_line[..3]),
            "Two more datum marks tell the camera; those that are there lie on one line: mark one beside the line."
        );
        let five: Vec<[f64; 3]> = (0..5)
            .map(|k| [f64::from(k) * 15.0 - 30.0, 0.0, 5.0])
            .collect();
        assert_eq!(
            first(&five),
            "The places of the datum marks lie on one line: mark one beside the line."
        );
    }

    #[test]
    fn marks_in_a_plane_or_nearly_ask_for_one_off_it() {
        let flat = told(&PLATE);
        assert!(
            flat.needs[0]
                .text
                .contains("lie in a plane: mark one off the plane"),
            "{:?}",
            flat.needs
        );
        let mut nearly = PLATE;
        nearly[1][2] = 24.0;
        nearly[3][2] = 24.0;
        let nearly = told(&nearly);
        assert!(
            nearly.needs[0]
                .text
                .contains("lie nearly in a plane: mark one off the plane"),
            "{:?}",
            nearly.needs
        );
        let whole = told(&[&PLATE[..], &OFF].concat());
        assert_eq!(whole.needs.len(), 1, "{:?}", whole.needs);
        assert_eq!(whole.needs[0].code, "check");
        let camera = whole.camera.expect("a camera");
        assert!(
            camera.text.starts_with("camera by 9 datum marks, 0."),
            "{}",
            camera.text
        );
        // It stands where the marks were made from.
        let towards = [0.507_5, -0.790_5, 0.342_9];
        let off = (0..3).map(|k| (camera.towards[k] - towards[k]).abs());
        assert!(off.fold(0.0, f64::max) < 0.02, "{:?}", camera.towards);
    }

    #[test]
    fn a_wrong_mark_is_named_before_all_else_and_a_place_predicts_its_mark() {
        let places = [&PLATE[..], &OFF].concat();
        let mut job = job_with(&places);
        let [x, y] = job.views[0].landmarks[7].reference.xy();
        job.views[0].landmarks[7].reference = crate::frame::Point::new(x + 40.0, y);
        let place = [-20.0, -10.0, 50.0];
        let draft = json!({ "landmarks": [{ "name": "tip", "model_mm": place }, { "name": "else", "reference": [1, 2] }] });
        let told = of_view(&job, &job.views[0], (SIZE, &draft), None);
        assert_eq!(
            told.needs[0].text,
            "\"m7\" contradicts the others and is left out: look at its mark and at its place on the model."
        );
        assert_eq!(told.landmarks[7].finding, Some("wrong"));
        assert!((told.landmarks[7].residual_px[0] - 40.0).abs() < 3.0);
        let [prediction] = &told.predictions[..] else {
            panic!("{:?}", told.predictions);
        };
        let truth = shown(place);
        let off = (prediction.place[0] - truth[0]).hypot(prediction.place[1] - truth[1]);
        assert!(
            off < 2.0 * prediction.half_axes[0],
            "{prediction:?} {truth:?}"
        );
    }

    #[test]
    fn a_rendered_image_beside_keeps_its_own_needs_and_gets_that_of_the_places() {
        let job = job_with(&PLATE);
        let (camera, need) = beside_render(&job, &job.views[0], SIZE);
        assert!(camera.is_some());
        assert!(
            need.expect("a need")
                .text
                .contains("mark one off the plane")
        );
        let none = job_with(&[]);
        let (camera, need) = beside_render(&none, &none.views[0], SIZE);
        assert!(camera.is_none() && need.is_none());
    }
}
