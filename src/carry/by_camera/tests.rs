//! Marks of invented parts before invented cameras with known truth, without pictures: nothing is found in a blank one.
use super::*;
use crate::{
    carry::{Lost, levels::Levels},
    statistics::trials::Noise,
};
use image::RgbImage;
use nalgebra::Vector3;

const SIZE: (u32, u32) = (1600, 1200);
/// Deviation of a mark, pixels, and what finding it adds.
const OWN: f64 = 0.8;
const FINDING: f64 = 0.15;
const PARTS: [&str; 3] = ["tank", "lantern", "tool box"];

/// A pinhole camera that looks at the origin, z up.
fn see(azimuth: f64, distance: f64, place: [f64; 3]) -> [f64; 2] {
    let (s, c) = azimuth.to_radians().sin_cos();
    let towards = Vector3::new(0.9 * c, 0.9 * s, 0.19_f64.sqrt());
    let right = (-towards).cross(&Vector3::z()).normalize();
    let down = (-towards).cross(&right);
    let place = Vector3::from(place);
    let times = 1500.0 / (distance - towards.dot(&place));
    [
        800.0 + times * right.dot(&place),
        600.0 + times * down.dot(&place),
    ]
}

/// A scene: landmarks on three parts, their true places in the new picture, and how tracking left them.
struct Scene {
    space: InSpace,
    marks: Vec<CarriedMark>,
    truth: Vec<[f64; 2]>,
}

impl Scene {
    /// `count` landmarks on the tank, six on each of the others; the marks in `lost` are not found.
    fn new(seed: u64, side: Side, count: usize, lost: &[usize]) -> Self {
        let mut noise = Noise(7_919 * (seed + 1));
        let between = |noise: &mut Noise, a: f64, b: f64| a + (b - a) * noise.uniform();
        let azimuth = between(&mut noise, 0.0, 360.0);
        let turned = azimuth + between(&mut noise, -6.0, 6.0);
        let distance = between(&mut noise, 90.0, 130.0);
        let (mut landmarks, mut marks, mut truth) = (Vec::new(), Vec::new(), Vec::new());
        for k in 0..count + 12 {
            let part = if k < count { 0 } else { 1 + (k - count) / 6 };
            let middle = [[0.0, 0.0, 0.0], [14.0, 4.0, 16.0], [-16.0, -4.0, 12.0]][part];
            let half = if part == 0 {
                [26.0, 12.0, 10.0]
            } else {
                [5.0; 3]
            };
            let place = std::array::from_fn(|a| middle[a] + between(&mut noise, -half[a], half[a]));
            // What was clicked is followed: the click's own error stays.
            let click = [OWN * noise.normal(), OWN * noise.normal()];
            let [old, new] = [
                see(azimuth, distance, place),
                see(turned, distance + 4.0, place),
            ];
            let to = Carried {
                place: [0, 1].map(|a| new[a] + click[a] + FINDING * noise.normal()),
                deviation: FINDING,
                least_deviation: FINDING,
                by: CarriedBy::Tracking { likeness: 0.97 },
            };
            landmarks.push(Some(Known {
                place: ModelPoint(place),
                place_sigma_mm: 0.0,
                is_datum: part == 0,
                parts: [PARTS[part].to_owned()].into(),
                sigma_px: None,
            }));
            marks.push(CarriedMark {
                name: format!("mark {k}"),
                from: [0, 1].map(|a| old[a] + click[a]),
                to: if lost.contains(&k) {
                    Err(Lost::Flat)
                } else {
                    Ok(to)
                },
                by_itself_px: None,
            });
            truth.push(new);
        }
        let photo = Photo {
            size: SIZE,
            mark_sigma_px: Some(OWN),
            focal: KnownFocal::Unknown,
            principal_point: anywhere_near(),
            lens: KnownLens::NONE,
            screen: None,
        };
        let space = InSpace {
            side,
            photos: [photo; 2],
            landmarks,
        };
        Self {
            space,
            marks,
            truth,
        }
    }

    fn look_again(&mut self) -> Vec<String> {
        let blank = || Levels::of(&RgbImage::new(32, 32));
        let change = Change {
            old: blank(),
            new: blank(),
            map: Matrix3::identity(),
            is_told: true,
        };
        look_again(&change, &self.space, &[], OWN, &mut self.marks)
    }

    /// Moves what was found of a part.
    fn change_part(&mut self, part: usize, by: [f64; 2]) {
        for (mark, known) in self.marks.iter_mut().zip(&self.space.landmarks) {
            let is_on = known
                .as_ref()
                .is_some_and(|k| k.parts.contains(PARTS[part]));
            if let (true, Ok(to)) = (is_on, &mut mark.to) {
                to.place = [0, 1].map(|a| to.place[a] + by[a]);
            }
        }
    }

    fn is_placed(&self, k: usize) -> bool {
        self.marks[k].to.is_ok_and(|to| to.by == CarriedBy::Camera)
    }
}

#[test]
fn placed_marks_lie_within_their_deviations() {
    let lost = [1, 4, 15, 20];
    let ellipse = chi_square_quantile(0.95, 2.0);
    let own = Matrix2::identity() * OWN.powi(2);
    let (mut of_place, mut by_hand, mut all) = (0, 0, 0);
    let mut noise = Noise(5);
    for seed in 0..60 {
        let scene = Scene::new(seed, Side::Render, 14, &lost);
        let seen = Seen::new(&Matrix3::identity(), &scene.space, &[], &scene.marks);
        let seen = seen.expect("one camera");
        for k in lost {
            // Some marks are off by so much by chance that they are doubted.
            let Ok(expected) = seen.expected[k] else {
                continue;
            };
            let off = expected.shown - Vector2::from(scene.truth[k]);
            // Beside the place itself, and beside a mark that is set there by hand: what "sigma_px" is for.
            of_place += usize::from(square(off, expected.spread) < ellipse);
            let click = Vector2::new(noise.normal(), noise.normal()) * OWN;
            by_hand += usize::from(square(off + click, expected.spread + own) < ellipse);
            all += 1;
        }
    }
    assert!(all >= 230, "{all}");
    // 95 %, and three standard deviations of a count in which the four marks of a picture share its camera.
    for held in [of_place, by_hand] {
        let share = held as f64 / f64::from(all);
        assert!(
            (0.89..0.99).contains(&share),
            "{of_place}, {by_hand} of {all}"
        );
    }
}

#[test]
fn a_changed_part_is_not_repaired() {
    let lost = [2, 14 + 3, 14 + 9];
    let mut scene = Scene::new(3, Side::Render, 14, &lost);
    scene.change_part(1, [5.0, 3.0]);
    let before: Vec<_> = scene.marks.iter().map(|mark| mark.to).collect();
    let notes = scene.look_again().join("\n");
    assert!(scene.is_placed(2) && scene.is_placed(14 + 9), "{notes}");
    assert_eq!(scene.marks[14 + 3].to, Err(Lost::Flat), "left out as now");
    for k in (0..before.len()).filter(|k| !lost.contains(k)) {
        assert_eq!(scene.marks[k].to, before[k], "what the picture shows stays");
    }
    assert!(
        notes.contains("\"mark 17\": other marks of their part lie elsewhere"),
        "{notes}"
    );
    assert!(
        notes.contains("found where the camera does not expect them: \"mark 14\""),
        "{notes}"
    );
}

#[test]
fn a_mark_that_was_found_unsurely_is_named_and_a_part_without_others_is_left_out() {
    let mut scene = Scene::new(4, Side::Render, 14, &[14, 15, 16, 17, 18]);
    let to = scene.marks[21].to.as_mut().expect("found");
    to.by = CarriedBy::Tracking { likeness: 0.8 };
    to.place[0] += 9.0;
    let place = to.place;
    let notes = scene.look_again().join("\n");
    assert!(
        notes.contains("\"mark 21\" was found ")
            && notes.contains("look different (correlation 0.80)"),
        "{notes}"
    );
    assert_eq!(scene.marks[21].to.map(|to| to.place), Ok(place));
    assert!(
        (14..19).all(|k| scene.marks[k].to.is_err()) && notes.contains("too few other marks"),
        "{notes}"
    );
}

#[test]
fn in_a_reference_datum_marks_alone_are_placed() {
    let mut scene = Scene::new(5, Side::Reference, 14, &[3, 16]);
    let notes = scene.look_again().join("\n");
    assert!(scene.is_placed(3) && scene.marks[16].to.is_err());
    assert!(
        notes.contains("\"mark 16\": the parts of landmarks that are not datum"),
        "{notes}"
    );
}

#[test]
fn fewer_than_eight_places_change_nothing() {
    for (side, count, lost) in [
        // Seven datum marks are found; in a render the others would carry, were they there.
        (Side::Reference, 9, vec![0, 1]),
        (
            Side::Render,
            9,
            vec![0, 1, 9, 10, 11, 12, 13, 14, 15, 16, 17, 18, 19, 20],
        ),
    ] {
        let mut scene = Scene::new(6, side, count, &lost);
        let before: Vec<_> = scene.marks.iter().map(|mark| mark.to).collect();
        assert_eq!(scene.look_again(), Vec::<String>::new());
        assert!(
            scene
                .marks
                .iter()
                .zip(&before)
                .all(|(mark, to)| mark.to == *to)
        );
    }
    let mut scene = Scene::new(6, Side::Render, 9, &[0, 1]);
    scene.look_again();
    assert!(scene.is_placed(0), "in a render all carry");
}

#[test]
fn the_order_of_landmarks_does_not_matter() {
    let placed = |reversed: bool| {
        let mut scene = Scene::new(8, Side::Render, 14, &[2, 17]);
        // One datum mark was clicked wrong.
        scene.marks[5].from[1] += 40.0;
        if reversed {
            scene.marks.reverse();
            scene.space.landmarks.reverse();
        }
        let notes = scene.look_again();
        let mut to: Vec<_> = (scene.marks.iter())
            .map(|m| (m.name.clone(), m.to))
            .collect();
        to.sort_by(|a, b| a.0.cmp(&b.0));
        (to, notes.len())
    };
    assert_eq!(placed(false), placed(true));
}

#[test]
fn what_the_camera_does_not_tell_is_not_placed() {
    // A place that is known badly, one that was marked wrong before, and one beyond the picture.
    let mut scene = Scene::new(9, Side::Render, 14, &[2, 3, 17]);
    scene.space.landmarks[2]
        .as_mut()
        .expect("known")
        .place_sigma_mm = 0.5;
    scene.marks[3].from[0] += 60.0;
    scene.space.photos[1].size = (1600, 40);
    let notes = scene.look_again().join("\n");
    assert!(
        [2, 3, 17].iter().all(|k| scene.marks[*k].to.is_err()),
        "{notes}"
    );
    assert!(
        notes.contains("\"mark 3\": their old marks contradict"),
        "{notes}"
    );
    scene.space.photos[1].size = SIZE;
    let notes = scene.look_again().join("\n");
    assert!(
        notes.contains("\"mark 2\": the camera does not show them surely enough"),
        "{notes}"
    );
    assert!(scene.is_placed(17), "{notes}");
    // Marks that contradict each other tell no camera: nothing is placed, and that is said.
    let mut scene = Scene::new(9, Side::Render, 14, &[2]);
    for (k, mark) in scene.marks.iter_mut().enumerate() {
        mark.from = [0, 1].map(|a| mark.from[a] + f64::from((k * (7 + 4 * a)) as u32 % 13) * 40.0);
    }
    let notes = scene.look_again();
    assert!(
        notes.len() == 1 && notes[0].starts_with("no mark is placed by the camera: "),
        "{notes:?}"
    );
}
