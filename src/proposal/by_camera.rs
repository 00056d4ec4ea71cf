//! Landmarks of other views that this photo does not have yet, where its camera shows their places on the model: the marks of one photo
//! predict those of the next.
use super::settings::PROPOSAL;
use crate::{
    frame::ModelPoint,
    job::{Job, Landmark, LandmarkUse, MarkOn},
    registration::{Prediction, space::Resection},
};

/// What they are made from.
pub struct AskedOfCamera<'a> {
    /// The job.
    pub job: &'a Job,
    /// Index of the view.
    pub view: usize,
    /// The camera of its photo.
    pub camera: &'a Resection,
    /// Width and height of the photo, pixels.
    pub size: (u32, u32),
    /// Names that are not proposed, beside those of the view's landmarks: begun, or passed over.
    pub names: Vec<String>,
    /// Which of these places the photo's camera sees, and the model does not hide.
    pub are_seen: &'a dyn Fn(&[[f64; 3]]) -> Vec<bool>,
}

/// A landmark of another view that might be marked here.
#[derive(Clone, Debug)]
pub struct Predicted<'a> {
    /// It, as that view has it.
    pub landmark: &'a Landmark,
    /// Where the photo shows it, with the 95 % ellipse of its mark.
    pub expected: Prediction,
}

/// The landmarks that other views have and this one does not, where its photo shows them surely enough: those of the datum first,
/// the least surely known before the others, for they tell the camera most; then those that are judged, in the order of the job. Of a
/// camera with a twin nothing is predicted.
pub fn by_camera<'a>(asked: &AskedOfCamera<'a>) -> Vec<Predicted<'a>> {
    if asked.camera.second.is_some() {
        return Vec::new();
    }
    let own = asked.job.views.get(asked.view).map(|view| &view.landmarks);
    let mut taken: Vec<&str> = own.into_iter().flatten().map(|l| l.name.as_str()).collect();
    taken.extend(asked.names.iter().map(String::as_str));
    let mut found: Vec<(Predicted<'a>, [f64; 3])> = Vec::new();
    for (_, view) in (asked.job.views.iter().enumerate()).filter(|(k, _)| *k != asked.view) {
        for landmark in &view.landmarks {
            let Some(place) = landmark.model_mm else {
                continue;
            };
            // On a smooth outline another camera sees another point.
            let is_outline = matches!(landmark.on, Some(MarkOn::Outline(_)));
            if is_outline || taken.contains(&landmark.name.as_str()) {
                continue;
            }
            let expected =
                (asked.camera).expected(ModelPoint(place), errors(asked, landmark, place));
            if let Some(expected) = expected.filter(|expected| is_sure(expected, asked.size)) {
                taken.push(&landmark.name);
                found.push((Predicted { landmark, expected }, place));
            }
        }
    }
    let places: Vec<[f64; 3]> = found.iter().map(|(_, place)| *place).collect();
    let seen = (asked.are_seen)(&places);
    let shown = found.into_iter().zip(seen).filter(|(_, seen)| *seen);
    let mut all: Vec<Predicted<'a>> = shown.map(|((predicted, _), _)| predicted).collect();
    all.sort_by(|a, b| order(a, b));
    all.truncate(PROPOSAL.most.count());
    all
}

/// How far, millimetres and pixels (standard deviations), the subject's point may lie from where the model has it: what the job expects of
/// parts, for a landmark that is judged.
fn errors(asked: &AskedOfCamera<'_>, landmark: &Landmark, place: [f64; 3]) -> (f64, f64) {
    let of_place = landmark.model_sigma_mm.unwrap_or(0.0);
    if landmark.usage == LandmarkUse::Datum {
        return (of_place, 0.0);
    }
    let of_part = (asked.job.views.iter().flat_map(|view| &view.landmarks))
        .filter(|other| other.part == landmark.part)
        .filter_map(|other| other.model_mm);
    let (sum, count) = of_part.fold(([0.0; 3], 0.0), |(sum, count), other| {
        (std::array::from_fn(|k| sum[k] + other[k]), count + 1.0)
    });
    let from_middle = |k: usize| place[k] - sum[k] / f64::max(count, 1.0);
    let lever = from_middle(0).hypot(from_middle(1)).hypot(from_middle(2));
    let expected = &asked.job.expected;
    let by_size = expected.size_percent / 100.0;
    let by_turn = expected.rotation_deg.to_radians();
    let diagonal = f64::from(asked.size.0).hypot(f64::from(asked.size.1));
    (
        of_place.hypot(lever * by_size.hypot(by_turn)),
        expected.offset_percent / 100.0 * diagonal,
    )
}

fn order(a: &Predicted<'_>, b: &Predicted<'_>) -> std::cmp::Ordering {
    let is_check = |p: &Predicted<'_>| p.landmark.usage == LandmarkUse::Check;
    let surer = || match is_check(a) {
        true => std::cmp::Ordering::Equal,
        false => (b.expected.half_axes[0]).total_cmp(&a.expected.half_axes[0]),
    };
    is_check(a).cmp(&is_check(b)).then_with(surer)
}

/// Whether it lies in the picture, and is known so well that a ring tells where to look.
fn is_sure(expected: &Prediction, (width, height): (u32, u32)) -> bool {
    let [x, y] = expected.place;
    let (width, height) = (f64::from(width), f64::from(height));
    let is_inside = x >= 0.0 && y >= 0.0 && x <= width && y <= height;
    is_inside && expected.half_axes[0] <= PROPOSAL.widest.get() * width.hypot(height)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::{
        job::{self, View},
        registration::space,
    };
    use std::path::Path;

    /// The demo's job, the second photo of which has its datum marks alone.
    fn demo() -> Job {
        let file = Path::new(env!("CARGO_MANIFEST_DIR")).join("fixtures/camera-demo/pump.json");
        let mut job = job::read(&file).expect("sound");
        job.views[1]
            .landmarks
            .retain(|l| l.usage == LandmarkUse::Datum);
        job
    }

    const SIZE: (u32, u32) = (1500, 1100);

    fn camera(view: &View) -> Resection {
        let photo = space::of_view(view, SIZE).expect("a photo");
        space::resect(&photo.photo, &photo.marks).expect("a camera")
    }

    fn names(
        job: &Job,
        camera: &Resection,
        taken: &[&str],
        are_seen: &dyn Fn(&[[f64; 3]]) -> Vec<bool>,
    ) -> Vec<String> {
        let asked = AskedOfCamera {
            job,
            view: 1,
            camera,
            size: SIZE,
            names: taken.iter().map(|name| (*name).to_owned()).collect(),
            are_seen,
        };
        by_camera(&asked)
            .iter()
            .map(|p| p.landmark.name.clone())
            .collect()
    }

    #[test]
    fn what_another_photo_has_is_expected_where_it_is_marked() {
        let whole = Path::new(env!("CARGO_MANIFEST_DIR")).join("fixtures/camera-demo/pump.json");
        let whole = job::read(&whole).expect("sound");
        let job = demo();
        let camera = camera(&job.views[1]);
        let asked = AskedOfCamera {
            job: &job,
            view: 1,
            camera: &camera,
            size: SIZE,
            names: Vec::new(),
            are_seen: &|places| vec![true; places.len()],
        };
        let predicted = by_camera(&asked);
        // Datum marks first: the one that only the other photo has.
        assert_eq!(predicted[0].landmark.name, "sole plate right rear foot");
        assert!(
            predicted[1..]
                .iter()
                .all(|p| p.landmark.usage == LandmarkUse::Check)
        );
        let mut compared = 0;
        for Predicted { landmark, expected } in &predicted {
            let marks = whole.views[1].landmarks.iter();
            // The lantern, the tool box and the beam of the subject are not like the model's: by up to some tens of pixels.
            let Some(mark) = marks.clone().find(|l| l.name == landmark.name) else {
                continue;
            };
            let [x, y] = mark.reference.xy();
            let off = (expected.place[0] - x).hypot(expected.place[1] - y);
            assert!(off < 30.0, "{}: {off} px", landmark.name);
            // What is expected of parts is in the ellipse.
            assert!(
                off < 1.2 * expected.half_axes[0],
                "{}: {off} px, {expected:?}",
                landmark.name
            );
            compared += 1;
        }
        assert!(compared > 10, "{compared}");
    }

    #[test]
    fn what_is_taken_or_hidden_and_what_a_vague_camera_shows_is_not_proposed() {
        let job = demo();
        let found = camera(&job.views[1]);
        let all = |places: &[[f64; 3]]| vec![true; places.len()];
        let every = names(&job, &found, &[], &all);
        let rest = names(&job, &found, &["lantern tip"], &all);
        assert_eq!(rest.len() + 1, every.len());
        assert!(
            every.contains(&"lantern tip".to_owned()) && !rest.contains(&"lantern tip".to_owned())
        );
        assert!(names(&job, &found, &[], &|places| vec![false; places.len()]).is_empty());
        // Marks near each other tell the rest of the picture badly.
        let mut vague = demo();
        let own = &mut vague.views[1].landmarks;
        own.retain(|l| l.name.contains(" post "));
        for (k, mark) in own.iter_mut().enumerate() {
            let [x, y] = mark.reference.xy();
            mark.reference = crate::frame::Point::new(x + 4.0 * (k as f64).sin(), y);
        }
        let photo = space::of_view(&vague.views[1], SIZE).expect("a photo");
        if let Ok(camera) = space::resect(&photo.photo, &photo.marks) {
            let some = names(&vague, &camera, &[], &all);
            assert!(some.len() < every.len() / 2, "{some:?}");
        }
    }
}
