//! Places on the model (`model_mm`) with errors, where the reference was taken from elsewhere.
use super::tally::{self, Tallies, warned};
use crate::support::{
    drawn::{TOLERANCE, images_of, job_of, region},
    random::Random,
    truth::Errors,
    views,
};
use image::{Rgb, RgbImage};
use tickstrip::{
    frame::Point,
    job::{Descreen, Handling, Landmark, LandmarkUse, RegistrationKind, Screen, Span, View},
    measurement::{MeasuredView, Verdict, measure},
    registration::{Finding, register},
};

const SIZE: (u32, u32) = (800, 700);
/// The render's camera: 4 px to a millimetre at its distance of 500 mm.
const CAMERA: [[f64; 4]; 3] = [
    [2000.0, 0.0, 400.0, 200_000.0],
    [0.0, 2000.0, 350.0, 175_000.0],
    [0.0, 0.0, 1.0, 500.0],
];
/// Where the reference's camera stands, from the render's, millimetres.
const ELSEWHERE: [f64; 3] = [24.0, -12.0, 6.0];
const NOISE: f64 = 0.7;
/// The part is 4 % too wide and 3 px too far right and down.
const ERRORS: Errors = Errors {
    size: [0.04, 0.0],
    rotation: 0.0,
    offset: [3.0, 2.0],
};
const SCREEN_OFF: Screen = Screen {
    descreen: Descreen::Off,
    glare: Handling::Off,
    letterbox: Handling::Off,
};
const DATUM: usize = 14;
const CHECK: usize = 6;

fn seen([x, y, z]: [f64; 3]) -> [f64; 2] {
    let row = |r: usize| CAMERA[r][0] * x + CAMERA[r][1] * y + CAMERA[r][2] * z + CAMERA[r][3];
    [row(0) / row(2), row(1) / row(2)]
}

/// The place at this depth that the camera sees at `p`.
fn place_at([u, v]: [f64; 2], z: f64) -> [f64; 3] {
    let depth = z + 500.0;
    [
        (u - 400.0) * depth / 2000.0,
        (v - 350.0) * depth / 2000.0,
        z,
    ]
}

/// A view with exact places; datum landmarks all over, six of the part.
fn view(random: &mut Random) -> View {
    let mut places: Vec<[f64; 3]> = (0..DATUM)
        .map(|_| [80.0, 70.0, 45.0].map(|s| s * random.uniform()))
        .collect();
    places.extend((0..CHECK).map(|k| {
        let (i, j) = ((k % 3) as f64 - 1.0, (k / 3) as f64 - 0.5);
        [
            40.0 + 20.0 * i,
            -30.0 + 40.0 * j,
            -20.0 + 12.0 * random.uniform(),
        ]
    }));
    let anchor = seen([40.0, -30.0, -20.0]);
    let mut landmarks = Vec::new();
    for (i, place) in places.into_iter().enumerate() {
        let is_datum = i < DATUM;
        let subject = seen(place);
        let shown = match is_datum {
            true => subject,
            false => ERRORS.shown(anchor, subject),
        };
        let moved = std::array::from_fn(|k| place[k] - ELSEWHERE[k]);
        let reference = random.about(seen(moved), NOISE);
        let render = random.about(shown, NOISE);
        landmarks.push(Landmark {
            name: format!("point {i}"),
            render: Point::new(render[0], render[1]),
            reference: Point::new(reference[0], reference[1]),
            usage: if is_datum {
                LandmarkUse::Datum
            } else {
                LandmarkUse::Check
            },
            // Where the CAD has it: on the altered part.
            model_mm: Some(place_at(shown, place[2])),
            part: None,
            on: None,
            sigma_px: [None; 2],
            model_sigma_mm: None,
        });
    }
    let mut view = views::view(
        RegistrationKind::Projective,
        &[],
        &[],
        [Some(NOISE), Some(NOISE)],
    );
    let [x, y] = anchor;
    let mut part = region("part", [x - 110.0, y - 110.0, x + 110.0, y + 110.0]);
    part.landmarks = (DATUM..DATUM + CHECK).collect();
    view.regions = vec![part];
    view.landmarks = landmarks;
    // The pictures are blank: nothing of a screen is to be looked for in them.
    view.reference.screen = SCREEN_OFF;
    view.same_camera = false;
    view.render.camera = Some(CAMERA);
    view
}

fn compared(view: &View) -> MeasuredView {
    tried(view).expect("fourteen datum marks")
}

/// `None` where no solution comes to rest.
fn tried(view: &View) -> Option<MeasuredView> {
    // Landmarks alone: the pictures show nothing.
    let blank = RgbImage::from_pixel(SIZE.0, SIZE.1, Rgb([180; 3]));
    let registered = match register(view, views::EXPECTED, SIZE, None) {
        Ok(registered) => registered,
        Err(refused) => {
            assert_eq!(refused.code(), "not-converged", "{refused}");
            return None;
        }
    };
    let job = job_of(view, views::EXPECTED);
    let images = images_of(blank.clone(), blank);
    Some(measure(&job, view, images, registered))
}

/// What happens to the places of a view.
#[derive(Clone, Copy, Debug)]
enum Fault {
    None,
    /// y and z of one landmark exchanged.
    Exchanged,
    /// Another sign of x at one landmark.
    Sign,
    /// One landmark off by a length that is seen as some five pixels.
    Slight,
    /// Every coordinate of every landmark off by 2 % (standard deviation).
    TwoPerCent,
    /// One landmark 40 mm too near along the ray: the render's camera cannot see it.
    AlongTheRay,
    /// Centimetres for millimetres.
    Unit,
    /// No landmark has one.
    NoPlaces,
}

fn spoil(view: &mut View, fault: Fault, at: usize, random: &mut Random) {
    let change = |landmark: &mut Landmark, by: &mut dyn FnMut([f64; 3]) -> [f64; 3]| {
        landmark.model_mm = landmark.model_mm.map(by);
    };
    let one = &mut view.landmarks[at];
    match fault {
        Fault::None => {}
        Fault::Exchanged => change(one, &mut |[x, y, z]| [x, z, y]),
        Fault::Sign => change(one, &mut |[x, y, z]| [-x, y, z]),
        Fault::Slight => change(one, &mut |[x, y, z]| [x + 0.9, y - 0.7, z + 0.6]),
        Fault::AlongTheRay => {
            let p = one.render.xy();
            change(one, &mut |[_, _, z]| place_at(p, z - 40.0));
        }
        Fault::TwoPerCent => {
            for landmark in &mut view.landmarks {
                change(landmark, &mut |p| {
                    p.map(|v| v * (1.0 + 0.02 * random.normal()))
                });
            }
        }
        Fault::NoPlaces => {
            for landmark in &mut view.landmarks {
                landmark.model_mm = None;
            }
        }
        Fault::Unit => {
            for landmark in &mut view.landmarks {
                change(landmark, &mut |p| p.map(|v| v / 10.0));
            }
        }
    }
}

/// What came of eight views with the fault at landmark `at`.
#[derive(Debug, Default)]
struct Outcome {
    /// The landmark's place was named, others' places, the camera's matrix, the landmark's mark.
    place: usize,
    other_places: usize,
    camera: usize,
    mark: usize,
    other_marks: usize,
    /// Views without any of these.
    silent: usize,
    /// Views that nothing was told of.
    refused: usize,
    /// Where the camera was named: offsets without a figure and with the reason.
    held_back: usize,
    figures: Tallies,
}

fn eight_views(fault: Fault, at: usize) -> Outcome {
    let mut outcome = Outcome::default();
    for seed in 0..tally::cases(8) {
        let mut random = Random::new(seed);
        let mut view = view(&mut random);
        spoil(&mut view, fault, at, &mut random);
        let Some(measured) = tried(&view) else {
            outcome.refused += 1;
            continue;
        };
        let found = &measured.measurement;
        outcome.figures.add(&found.regions[0], ERRORS);
        let texts = warned(&measured, "wrong-place");
        let name = format!("\"point {at}\"");
        let place = texts.iter().filter(|t| t.contains(&name)).count();
        let camera = warned(&measured, "camera-misses").len();
        let is_wrong = |i: &usize| found.registration.landmarks[*i].finding == Some(Finding::Wrong);
        let wrong: Vec<usize> = (0..view.landmarks.len()).filter(is_wrong).collect();
        let part = &found.regions[0];
        let is_undecided = part.offset_px.iter().all(Option::is_none)
            && part
                .sureness
                .contains("cannot tell offset from depth: the render's camera and");
        outcome.held_back += usize::from(is_undecided);
        outcome.place += place;
        outcome.other_places += texts.len() - place;
        outcome.camera += camera;
        outcome.mark += usize::from(wrong.contains(&at));
        outcome.other_marks += wrong.iter().filter(|i| **i != at).count();
        outcome.silent += usize::from(texts.is_empty() && camera == 0 && wrong.is_empty());
    }
    tally::tell(&format!("{fault:?} at {at}"), &outcome);
    outcome
}

/// Datum landmark and landmark of the part.
const AT: [usize; 2] = [3, DATUM + 2];

/// Of 32 figures of eight views one or two may miss, and not by much.
fn assert_hold(found: &Outcome) {
    let Tallies { sizes, offsets } = &found.figures;
    for tally in [sizes, offsets] {
        assert!(
            tally.share_held() > 0.87 && tally.worst_over_half_width < 2.0,
            "{found:?}"
        );
    }
}

#[test]
fn exact_places_are_not_accused_and_take_parallax_off() {
    let found = eight_views(Fault::None, 0);
    let all = tally::cases(8) as usize;
    assert_eq!(found.silent, all, "{found:?}");
    found.figures.assert_given(2 * all, 2 * all);
    assert_hold(&found);
}

#[test]
fn a_place_that_the_render_contradicts_is_named_and_not_used() {
    for fault in [Fault::Exchanged, Fault::Sign] {
        for at in AT {
            let found = eight_views(fault, at);
            let all = tally::cases(8) as usize;
            // Of more cases, one in forty puts the place where it was by chance.
            assert!(
                found.place + all / 40 >= all && found.other_places + found.camera == 0,
                "{fault:?}: {found:?}"
            );
            assert_eq!(found.other_marks, 0, "{fault:?}: {found:?}");
            found.figures.assert_given(2 * all, 2 * all);
            assert_hold(&found);
        }
    }
}

/// Such a place is off by little in depth too, so the landmark's marks still say nearly all of what they know.
#[test]
fn a_place_that_is_slightly_off_is_named_and_its_landmark_counts() {
    for at in AT {
        let found = eight_views(Fault::Slight, at);
        let all = tally::cases(8) as usize;
        assert!(
            found.place + all / 40 >= all && found.other_places + found.camera == 0,
            "{found:?}"
        );
        assert_eq!(found.mark + found.other_marks, 0, "{found:?}");
        found.figures.assert_given(2 * all, 2 * all);
        assert_hold(&found);

        let mut random = Random::new(1);
        let mut view = view(&mut random);
        spoil(&mut view, Fault::Slight, at, &mut random);
        let plain = compared(&view);
        let texts = warned(&plain, "wrong-place");
        assert!(texts[0].contains("its marks count for less"), "{texts:?}");
        let finding = |measured: &MeasuredView| {
            let landmarks = &measured.measurement.registration.landmarks;
            landmarks[at].finding.clone()
        };
        assert_eq!(finding(&plain), None);
        // A mark that is wrong besides is found, as it takes part.
        let mark = &mut view.landmarks[at].reference;
        mark.x += 40.0;
        assert_eq!(finding(&compared(&view)), Some(Finding::Wrong));
    }
}

/// The render sees such a place where it is marked; the reference, from elsewhere, does not: the mark does not fit.
#[test]
fn a_wrong_depth_is_found_as_a_mark_that_does_not_fit() {
    for at in AT {
        let found = eight_views(Fault::AlongTheRay, at);
        let all = tally::cases(8) as usize;
        assert!(
            8 * found.mark >= 7 * all && found.other_marks == 0 && found.place == 0,
            "{found:?}"
        );
        found.figures.assert_given(2 * all, 2 * all);
        assert_hold(&found);
    }
}

/// Then parallax is not taken off: no offset is told, which the figures' words say, and sizes allow for the depth of the marks.
#[test]
fn places_that_are_wrong_altogether_widen_the_figures_or_hold_them_back() {
    for fault in [Fault::TwoPerCent, Fault::Unit] {
        let found = eight_views(fault, 0);
        assert_eq!(found.silent, 0, "{fault:?}: {found:?}");
        assert_eq!(found.held_back, found.camera, "{fault:?}: {found:?}");
        let Tallies { sizes, offsets } = &found.figures;
        // Measured in 48 views each: see tests/bench/MEASURED.md. Before the depth of marks was allowed for, 10 of 15 sizes held.
        assert!(
            sizes.share_held() >= 0.94 && offsets.share_held() >= 0.94,
            "{fault:?}: {found:?}"
        );
        assert!(
            sizes.worst_over_half_width < 1.5 && offsets.worst_over_half_width < 1.5,
            "{fault:?}: {found:?}"
        );
        sizes.assert_given(15 * tally::cases(8) as usize / 8);
    }
}

/// Then nothing contradicts the marks, and the warning asks for places: offsets are not told.
#[test]
fn without_places_no_offset_is_told() {
    let found = eight_views(Fault::NoPlaces, 0);
    assert_eq!(found.figures.offsets.given, 0, "{found:?}");
}

/// All marks are datum, and the model as a whole is 4.1 % too long along x: what the span between the two marks that lie farthest
/// apart along x is taken for, and whether the view says what its camera hides.
fn judged_by_its_own_datum(seed: u64, kind: RegistrationKind) -> (Verdict, bool) {
    let mut random = Random::new(seed);
    let mut view = view(&mut random);
    view.registration = kind;
    view.regions.clear();
    view.landmarks.truncate(DATUM);
    for landmark in &mut view.landmarks {
        let [x, y, z] = landmark.model_mm.expect("stated");
        let model = [1.041 * x, y, z];
        landmark.model_mm = Some(model);
        let [u, v] = random.about(seen(model), NOISE);
        landmark.render = Point::new(u, v);
    }
    let by_x = |i: &usize| view.landmarks[*i].render.x;
    let ends = [
        (0..DATUM).min_by(|a, b| by_x(a).total_cmp(&by_x(b))),
        (0..DATUM).max_by(|a, b| by_x(a).total_cmp(&by_x(b))),
    ];
    let [from, to] = ends.map(|end| end.expect("fourteen"));
    view.spans = vec![Span {
        name: "length".to_owned(),
        from,
        to,
        tolerance: TOLERANCE,
    }];
    let found = compared(&view).measurement;
    let hides = found.registration.hides.join("; ");
    let is_told = hides.contains(
        "the camera is fitted to them; a length or angle between datum landmarks is never within",
    );
    (found.spans[0].verdict, is_told)
}

/// The error of 4.1 % is twice the tolerance; an affine change of space is what such a camera takes up.
#[test]
fn a_wrong_length_that_the_camera_was_fitted_to_is_never_within_and_the_view_says_why() {
    for kind in [RegistrationKind::Affine, RegistrationKind::Projective] {
        let found: Vec<_> = (0..8)
            .map(|seed| judged_by_its_own_datum(seed, kind))
            .collect();
        let within = found.iter().filter(|f| f.0 == Verdict::Within).count();
        let told = found.iter().filter(|f| f.1).count();
        assert_eq!((within, told), (0, 8), "{kind:?}: {found:?}");
    }
}
