//! Resections of invented photos with known truth, made of plain matrices and not of the program's formula.
mod coverage;
mod screen;

use super::*;
use crate::{
    frame::{ModelPoint, Point},
    statistics::trials::Noise,
};
use nalgebra::{Matrix3, Rotation3, Vector3};

pub(super) const SIZE: (u32, u32) = (1920, 1080);
const MIDDLE: [f64; 2] = [960.0, 540.0];

/// A true camera: pinhole, or parallel where the focal length is infinite.
#[derive(Clone, Copy)]
pub(super) struct Truth {
    pub(super) turn: Matrix3<f64>,
    pub(super) distance: f64,
    pub(super) focal: f64,
    pub(super) principal: [f64; 2],
    /// Image pixels a millimetre of a parallel camera.
    pub(super) scale: f64,
}

impl Truth {
    /// Looks at the origin from `azimuth` (from x towards y) and `elevation` degrees, z up.
    pub(super) fn new(azimuth: f64, elevation: f64, distance: f64, focal: f64) -> Self {
        let (a, e) = (azimuth.to_radians(), elevation.to_radians());
        let towards = Vector3::new(e.cos() * a.cos(), e.cos() * a.sin(), e.sin());
        let forward = -towards;
        let right = forward.cross(&Vector3::z()).normalize();
        let down = forward.cross(&right);
        Self {
            turn: Matrix3::from_rows(&[right.transpose(), down.transpose(), forward.transpose()]),
            distance,
            focal,
            principal: MIDDLE,
            scale: 60.0,
        }
    }

    pub(super) fn see(&self, p: [f64; 3]) -> [f64; 2] {
        let c = self.turn * Vector3::from(p);
        let times = if self.focal.is_finite() {
            self.focal / (c.z + self.distance)
        } else {
            self.scale
        };
        [
            self.principal[0] + times * c.x,
            self.principal[1] + times * c.y,
        ]
    }

    fn centre(&self) -> Vector3<f64> {
        self.turn.transpose() * Vector3::new(0.0, 0.0, -self.distance)
    }
}

pub(super) fn photo(mark_sigma_px: Option<f64>) -> Photo {
    Photo {
        size: SIZE,
        mark_sigma_px,
        focal: KnownFocal::Unknown,
        principal_point: KnownPoint::Middle { deviation: 0.02 },
        lens: KnownLens::NONE,
        screen: None,
    }
}

/// Points in a box of 12 x 18 x 12 mm.
pub(super) fn cloud(noise: &mut Noise, count: usize, depth: f64) -> Vec<[f64; 3]> {
    let mut side = |half: f64| half * (2.0 * noise.uniform() - 1.0);
    (0..count)
        .map(|_| [side(6.0), side(9.0), side(6.0 * depth)])
        .collect()
}

pub(super) fn marked(
    places: &[[f64; 3]],
    mut see: impl FnMut([f64; 3]) -> [f64; 2],
) -> Vec<SpaceMark> {
    let mark = |(k, place): (usize, &[f64; 3])| {
        let [x, y] = see(*place);
        SpaceMark {
            name: format!("point {k}"),
            place: ModelPoint(*place),
            place_sigma_mm: 0.0,
            mark: Point::new(x, y),
            is_datum: true,
        }
    };
    places.iter().enumerate().map(mark).collect()
}

pub(super) fn blurred(mut marks: Vec<SpaceMark>, noise: &mut Noise, sigma: f64) -> Vec<SpaceMark> {
    for mark in &mut marks {
        mark.mark.x += sigma * noise.normal();
        mark.mark.y += sigma * noise.normal();
    }
    marks
}

fn findings(found: &Resection, wanted: MarkFinding) -> Vec<usize> {
    let marks = found.marks.iter().enumerate();
    marks
        .filter(|(_, m)| m.finding == wanted)
        .map(|(k, _)| k)
        .collect()
}

fn figure(told: Told) -> crate::statistics::Measured {
    told.figure().unwrap_or_else(|| panic!("{told:?}"))
}

#[test]
fn exact_marks_give_the_camera_with_its_figures() {
    let mut noise = Noise(1);
    let mut truth = Truth::new(-60.0, 20.0, 60.0, 2350.0);
    truth.principal = [990.0, 520.0];
    let marks = marked(&cloud(&mut noise, 12, 1.0), |p| truth.see(p));
    let mut photo = photo(Some(0.05));
    photo.principal_point = KnownPoint::At {
        point: Point::new(990.0, 520.0),
        deviation_px: 0.01,
    };
    let found = resect(&photo, &marks).expect("a camera");
    assert!(found.rms_px < 1e-5, "{}", found.rms_px);
    let first = &found.first;
    assert!((figure(first.focal_px).value() - 2350.0).abs() < 0.1);
    let centre = first.centre_mm.map(|c| figure(c).value());
    assert!((Vector3::from(centre) - truth.centre()).norm() < 1e-2);
    let middle = Vector3::from(found.middle_mm);
    let way = truth.centre() - middle;
    assert!((figure(first.distance_mm).value() - way.norm()).abs() < 1e-2);
    let azimuth = way.y.atan2(way.x).to_degrees();
    assert!((figure(first.azimuth_deg).value() - azimuth).abs() < 0.01);
    let elevation = (way.z / way.norm()).asin().to_degrees();
    assert!((figure(first.elevation_deg).value() - elevation).abs() < 0.01);
    let field = 2.0 * (960.0_f64 / 2350.0).atan().to_degrees();
    assert!((figure(first.field_of_view_deg).value() - field).abs() < 0.01);
    let film = 2350.0 * 36_f64.hypot(24.0) / 1920_f64.hypot(1080.0);
    assert!((figure(first.focal_35mm).value() - film).abs() < 0.01);
    for (mark, fit) in marks.iter().zip(&found.marks) {
        let by_matrix = first.camera.apply(mark.place).expect("before the camera");
        let shown = first.reference_from_picture.apply(by_matrix);
        assert!(shown.distance(mark.mark) < 1e-5);
        assert!(fit.predicted.expect("shown").distance(shown) < 1e-9);
    }
}

#[test]
fn a_turned_camera_s_roll_is_clockwise() {
    let mut noise = Noise(2);
    let mut truth = Truth::new(30.0, 10.0, 60.0, 2350.0);
    // The camera turns clockwise, so the picture turns counter-clockwise.
    let roll = Rotation3::from_axis_angle(&Vector3::z_axis(), (-12_f64).to_radians());
    truth.turn = roll.matrix() * truth.turn;
    let marks = marked(&cloud(&mut noise, 12, 1.0), |p| truth.see(p));
    let up = truth.see([0.0, 0.0, 5.0]);
    assert!(up[0] < MIDDLE[0], "what is up leans to the left");
    let found = resect(&photo(Some(0.1)), &marks).expect("a camera");
    let roll = figure(found.first.roll_deg);
    assert!(
        (roll.value() - 12.0).abs() < 0.5 && roll.holds(12.0),
        "{roll:?}"
    );
}

#[test]
fn a_parallel_view_tells_no_focal_length_and_a_distant_one_that_it_is_far() {
    let mut noise = Noise(3);
    let places = cloud(&mut noise, 12, 1.0);
    let truth = Truth::new(30.0, 10.0, 60.0, f64::INFINITY);
    let marks = blurred(marked(&places, |p| truth.see(p)), &mut noise, 1.0);
    let found = resect(&photo(Some(1.0)), &marks).expect("a camera");
    let first = &found.first;
    assert!(
        matches!(first.focal_px, Told::AtLeast { low, reason: Untold::NoPerspective } if low > 5000.0),
        "{:?}",
        first.focal_px
    );
    assert!(matches!(first.distance_mm, Told::AtLeast { low, .. } if low > 100.0));
    assert_eq!(first.centre_mm[0], Told::Not(Untold::NoPerspective));
    assert!(figure(first.azimuth_deg).half_width() < 2.0);
    let text = Untold::NoPerspective.text();
    assert!(text.contains("mark datum points nearer and farther, or state the focal length"));
}

#[test]
fn a_plane_that_tells_little_perspective_says_so() {
    let mut noise = Noise(5);
    let truth = Truth::new(87.0, 2.0, 60.0, 2350.0);
    let mut places = cloud(&mut noise, 12, 1.0);
    for p in &mut places {
        p[1] = 0.0;
    }
    let marks = blurred(marked(&places, |p| truth.see(p)), &mut noise, 1.0);
    let found = resect(&photo(Some(1.0)), &marks).expect("a camera");
    assert!(found.is_flat);
    assert!(
        found.first.focal_px.figure().is_none(),
        "{:?}",
        found.first.focal_px
    );
    // The picture at the marks is good all the same.
    assert!(found.rms_px < 2.0);
    let mut cropped = photo(Some(1.0));
    cropped.principal_point = KnownPoint::Middle { deviation: 0.15 };
    let found = resect(&cropped, &marks).expect("a camera");
    let reason = Untold::PlaneAndPrincipalPoint;
    assert_eq!(found.first.focal_px, Told::Not(reason));
    assert!(reason.text().contains("mark datum points off the plane"));
    assert_eq!(found.first.focal_35mm, Told::Not(Untold::Cropped));
}

#[test]
fn two_attitudes_of_a_distant_plane_are_told_and_what_decides() {
    let mut noise = Noise(6);
    let truth = Truth::new(55.0, 10.0, 900.0, 35_000.0);
    let mut places = cloud(&mut noise, 10, 1.0);
    for p in &mut places {
        p[1] = 0.0;
    }
    places.push([0.0, 6.0, 0.0]);
    let mut marks = blurred(marked(&places, |p| truth.see(p)), &mut noise, 1.0);
    marks[10].is_datum = false;
    let found = resect(&photo(Some(1.0)), &marks).expect("a camera");
    let second = found.second.as_ref().expect("two attitudes");
    let decides = second.decides.as_ref().expect("the mark off the plane");
    assert_eq!(decides.mark, 10);
    assert!(decides.apart_px > 100.0);
    let nearer = decides.off_px[0].min(decides.off_px[1]);
    assert!(nearer < 20.0, "{decides:?}");
    assert_eq!(found.marks[10].finding, MarkFinding::Predicted);
    // With it among those of the datum nothing is left to decide.
    marks[10].is_datum = true;
    let found = resect(&photo(Some(1.0)), &marks).expect("a camera");
    assert!(found.second.is_none());
    assert!(found.marks[10].residual_px.expect("shown")[0].abs() < 6.0);
}

#[test]
fn wrong_and_exchanged_marks_are_named_and_the_rest_is_as_without_them() {
    let mut noise = Noise(7);
    let truth = Truth::new(-50.0, 15.0, 60.0, 2350.0);
    let places = cloud(&mut noise, 14, 1.0);
    let clean = blurred(marked(&places, |p| truth.see(p)), &mut noise, 1.0);
    let mut marks = clean.clone();
    marks[3].mark.x += 40.0;
    marks[8].mark.y -= 25.0;
    let found = resect(&photo(None), &marks).expect("a camera");
    assert_eq!(findings(&found, MarkFinding::Wrong), [3, 8]);
    let without: Vec<SpaceMark> = (0..14)
        .filter(|k| ![3, 8].contains(k))
        .map(|k| clean[k].clone())
        .collect();
    let alone = resect(&photo(None), &without).expect("a camera");
    let focal = [&found, &alone].map(|f| figure(f.first.focal_px).value());
    assert!((focal[0] / focal[1] - 1.0).abs() < 1e-6, "{focal:?}");

    let mut marks = clean.clone();
    let (a, b) = (marks[2].mark, marks[9].mark);
    (marks[2].mark, marks[9].mark) = (b, a);
    let found = resect(&photo(None), &marks).expect("a camera");
    assert_eq!(found.marks[2].finding, MarkFinding::ExchangedWith(9));
    assert_eq!(found.marks[9].finding, MarkFinding::ExchangedWith(2));
    assert!(found.rms_px < 3.0);
}

#[test]
fn a_mark_that_is_a_little_off_is_found_by_the_others() {
    let mut noise = Noise(14);
    let truth = Truth::new(-50.0, 15.0, 60.0, 2350.0);
    let places = cloud(&mut noise, 14, 1.0);
    let mut marks = blurred(marked(&places, |p| truth.see(p)), &mut noise, 0.5);
    // Six deviations: less than what is left out before least squares.
    marks[5].mark.y += 3.0;
    let found = resect(&photo(Some(0.5)), &marks).expect("a camera");
    assert_eq!(findings(&found, MarkFinding::Wrong), [5]);
}

#[test]
fn fewer_marks_than_a_camera_takes_are_refused_in_words() {
    let mut noise = Noise(8);
    let truth = Truth::new(-50.0, 15.0, 60.0, 2350.0);
    let marks = marked(&cloud(&mut noise, 6, 1.0), |p| truth.see(p));
    let words = |photo: &Photo, count: usize| {
        let error = resect(photo, &marks[..count]).expect_err("too few");
        assert_eq!(error.code(), "too-few-places");
        error.to_string()
    };
    assert_eq!(
        words(&photo(None), 4),
        "camera: 4 datum landmarks have a place on the model (\"model_mm\"), a camera of unknown focal length needs 5; give 1 more, 8 or more so that a wrong mark is noticed"
    );
    let mut stated = photo(None);
    stated.focal = KnownFocal::Length {
        px: 2350.0,
        deviation: 0.03,
    };
    assert!(words(&stated, 3).contains("a camera needs 4"));
    let found = resect(&stated, &marks[..4]).expect("four are enough");
    assert!(figure(found.first.focal_px).holds(2350.0));
    let mut screen = photo(None);
    screen.screen = Some(Screen {
        corners: None,
        picture: [1920.0, 1080.0],
    });
    assert!(words(&screen, 5).contains("corners are not in the photo needs 6"));
    // With as few as there must be, nothing checks any.
    let found = resect(&photo(None), &marks[..5]).expect("a camera");
    assert!(findings(&found, MarkFinding::Wrong).is_empty());
}

#[test]
fn places_that_determine_no_camera_are_refused_in_words() {
    let truth = Truth::new(-50.0, 15.0, 60.0, 2350.0);
    let along: Vec<[f64; 3]> = (0..7)
        .map(|k| [f64::from(k), 2.0, f64::from(k) / 2.0])
        .collect();
    let error = resect(&photo(None), &marked(&along, |p| truth.see(p))).expect_err("a line");
    assert!(
        error
            .to_string()
            .ends_with("lie on one line; mark others, far apart in all three directions"),
        "{error}"
    );
    let same = [[1.0, 2.0, 3.0]; 6];
    let error = resect(&photo(None), &marked(&same, |p| truth.see(p))).expect_err("a point");
    assert!(error.to_string().contains("lie on one point"), "{error}");
    let mut noise = Noise(9);
    let mut flat = cloud(&mut noise, 8, 1.0);
    for p in &mut flat {
        p[2] = 1.0;
    }
    let mut screen = photo(None);
    screen.screen = Some(Screen {
        corners: None,
        picture: [1920.0, 1080.0],
    });
    let error = resect(&screen, &marked(&flat, |p| truth.see(p))).expect_err("a plane");
    assert_eq!(error.code(), "places-in-plane");
    assert!(
        error
            .to_string()
            .contains("mark some nearer and farther, or the corners")
    );
}

#[test]
fn a_mirrored_model_and_marks_of_another_one_are_refused_in_words() {
    let mut noise = Noise(10);
    let truth = Truth::new(-50.0, 15.0, 60.0, 2350.0);
    let places = cloud(&mut noise, 12, 1.0);
    let mut marks = blurred(marked(&places, |p| truth.see(p)), &mut noise, 1.0);
    for mark in &mut marks {
        mark.place.0[1] = -mark.place.0[1];
    }
    let error = resect(&photo(None), &marks).expect_err("mirrored");
    assert_eq!(error.code(), "places-mirrored", "{error}");
    let words = "see whether two axes of \"model_mm\" are exchanged or one has the wrong sign";
    assert!(error.to_string().ends_with(words), "{error}");
    let others = cloud(&mut noise, 12, 1.0);
    for (mark, place) in marks.iter_mut().zip(others) {
        mark.place = ModelPoint(place);
    }
    match resect(&photo(None), &marks) {
        Err(error) => assert!(
            ["marks-contradict", "no-camera", "places-mirrored"].contains(&error.code()),
            "{error}"
        ),
        Ok(found) => assert!(found.rms_px > 20.0, "{}", found.rms_px),
    }
}

#[test]
fn an_unknown_lens_is_found_and_a_rough_place_weighs_less() {
    let mut noise = Noise(11);
    let truth = Truth::new(-50.0, 15.0, 40.0, 2300.0);
    let places = cloud(&mut noise, 20, 1.0);
    let lens = crate::frame::Lens::of_picture(-0.08, SIZE).expect("a lens");
    let mut marks = blurred(
        marked(&places, |p| {
            let [x, y] = truth.see(p);
            lens.distort(Point::new(x, y)).xy()
        }),
        &mut noise,
        0.5,
    );
    let mut bent = photo(Some(0.5));
    bent.lens = KnownLens::unknown();
    let found = resect(&bent, &marks).expect("a camera");
    let own = found.first.lens.expect("an unknown");
    assert!(own.holds(-0.08) && own.half_width() < 0.05, "{own:?}");
    // A place that is a millimetre off shows as a wrong mark, unless it is said to be rough.
    marks[4].place.0[0] += 1.0;
    let found = resect(&bent, &marks).expect("a camera");
    assert_eq!(findings(&found, MarkFinding::Wrong), [4]);
    marks[4].place_sigma_mm = 1.0;
    let found = resect(&bent, &marks).expect("a camera");
    assert!(findings(&found, MarkFinding::Wrong).is_empty());
}

#[test]
fn the_render_s_perspective_is_taken_where_it_is_stated() {
    let mut noise = Noise(12);
    let truth = Truth::new(-50.0, 15.0, 60.0, 2350.0);
    let marks = blurred(
        marked(&cloud(&mut noise, 8, 0.2), |p| truth.see(p)),
        &mut noise,
        2.0,
    );
    let free = resect(&photo(Some(2.0)), &marks).expect("a camera");
    let mut near = photo(Some(2.0));
    let depth = truth.turn.row(2);
    near.focal = KnownFocal::Perspective {
        depth: [depth[0], depth[1], depth[2], truth.distance],
    };
    let found = resect(&near, &marks).expect("a camera");
    let distance = figure(found.first.distance_mm);
    assert!(
        distance.holds(60.0) && distance.half_width() < 10.0,
        "{distance:?}"
    );
    assert!(match free.first.distance_mm {
        Told::Figure(free) => free.half_width() > 1.2 * distance.half_width(),
        _ => true,
    });
}
