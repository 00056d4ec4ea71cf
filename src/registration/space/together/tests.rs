//! Adjustments of invented objects with known errors, seen by plain matrices and not by the program's formula.
mod altered;
mod axes;
mod coverage;
mod edges;
mod subject;

use super::{
    part::{NINE, Nine, OFFSET, PartFrame, SIZE, TURN, on_subject},
    *,
};
use crate::{
    frame::{ModelPoint, Point},
    job::PartAxes,
    registration::space::{
        Error, MarkFinding, SpaceMark, ViewPhoto,
        camera::turn,
        tests::{SIZE as PHOTO, Truth, cloud, photo},
    },
    statistics::trials::Noise,
};
use nalgebra::{Matrix3, Vector3};

/// Model millimetres that a photo's diagonal shows, and what errors of parts are drawn with.
const EXPECTED: ExpectedOfParts = ExpectedOfParts {
    size_percent: 4.0,
    rotation_deg: 1.5,
    offset_percent: 0.45,
};
const OFFSET_MM: f64 = 0.34;

/// Parts beside a datum, with their errors.
struct Object {
    datum: Vec<[f64; 3]>,
    parts: Vec<Vec<[f64; 3]>>,
    anchors: Vec<Vector3<f64>>,
    /// Along which their errors are.
    axes: Vec<PartAxes>,
    errors: Vec<Nine>,
}

/// How an object is invented and marked.
#[derive(Clone, Copy, Debug)]
struct Draw {
    photos: usize,
    /// Degrees of azimuth that the photos are spread over.
    spread: f64,
    sigma: f64,
    is_stated: bool,
    datum: usize,
    parts: usize,
    /// Errors of parts in units of what is expected.
    times: f64,
    /// Share of the marks on parts that are hidden in a photo.
    hidden: f64,
    /// Marks that are wrong.
    gross: usize,
    /// Whether parts have axes of their own.
    has_own_axes: bool,
}

const DRAW: Draw = Draw {
    photos: 2,
    spread: 25.0,
    sigma: 1.0,
    is_stated: true,
    datum: 12,
    parts: 8,
    times: 1.0,
    hidden: 0.3,
    gross: 0,
    has_own_axes: false,
};

fn object(noise: &mut Noise, draw: &Draw) -> Object {
    let mut object = Object {
        datum: cloud(noise, draw.datum, 1.0),
        parts: Vec::new(),
        anchors: Vec::new(),
        axes: Vec::new(),
        errors: Vec::new(),
    };
    for _ in 0..draw.parts {
        let mut side = |least: f64, most: f64| least + (most - least) * noise.uniform();
        let middle = [side(-9.0, 9.0), side(-11.0, 11.0), side(-9.0, 9.0)];
        let half = [side(2.0, 4.0), side(2.0, 4.0), side(2.0, 4.0)];
        let count = side(4.0, 6.999) as usize;
        // Corners of a box, a little irregular.
        let corner = |k: usize, noise: &mut Noise| -> [f64; 3] {
            std::array::from_fn(|axis| {
                let sign = if (k * 5 + 3) >> axis & 1 == 0 {
                    -1.0
                } else {
                    1.0
                };
                middle[axis] + sign * half[axis] * (0.7 + 0.3 * noise.uniform())
            })
        };
        object
            .parts
            .push((0..count).map(|k| corner(k, noise)).collect());
        object.anchors.push(Vector3::from(middle));
        object.axes.push(match draw.has_own_axes {
            true => axes_of(&turn(Vector3::from_fn(|_, _| 2.0 * noise.normal()))),
            false => PartAxes::OF_MODEL,
        });
        let mut errors = Nine::zeros();
        for k in 0..3 {
            errors[SIZE + k] = draw.times * 0.04 * noise.normal();
            errors[TURN + k] = draw.times * 1.5_f64.to_radians() * noise.normal();
            errors[OFFSET + k] = draw.times * OFFSET_MM * noise.normal();
        }
        object.errors.push(errors);
    }
    object
}

/// The columns of a turn as axes.
fn axes_of(turn: &Matrix3<f64>) -> PartAxes {
    PartAxes::new(
        turn.column(0).into_owned().into(),
        turn.column(2).into_owned().into(),
    )
    .expect("a turn")
}

/// Axes as the columns of a turn.
fn turn_of(axes: &PartAxes) -> Matrix3<f64> {
    Matrix3::from_columns(&axes.vectors().map(Vector3::from))
}

impl Object {
    fn frame(&self, part: usize) -> PartFrame {
        PartFrame {
            anchor: self.anchors[part],
            axes: turn_of(&self.axes[part]),
        }
    }

    /// What is told of its parts.
    fn as_asked(&self) -> Subject {
        Subject {
            middles: Vec::new(),
            axes: self.axes.clone(),
            ..Subject::of(self.parts.len(), EXPECTED)
        }
    }

    /// Where the subject has a place of a part of the model.
    fn subject(&self, part: usize, place: [f64; 3]) -> [f64; 3] {
        on_subject(&place.into(), &self.frame(part), &self.errors[part])
            .0
            .into()
    }

    /// The errors of a part as they are about another anchor.
    fn errors_about(&self, part: usize, anchor: [f64; 3]) -> Nine {
        let mut errors = self.errors[part];
        let moved = Vector3::from(anchor) - Vector3::from(self.subject(part, anchor));
        let along = turn_of(&self.axes[part]).tr_mul(&moved);
        errors.fixed_rows_mut::<3>(OFFSET).copy_from(&along);
        errors
    }

    fn seen(&self, truth: &Truth, noise: &mut Noise, draw: &Draw) -> TogetherPhoto {
        let mut view = ViewPhoto {
            photo: photo(draw.is_stated.then_some(draw.sigma)),
            marks: Vec::new(),
        };
        let mut part_of = Vec::new();
        let mut add = |name: String,
                       place: [f64; 3],
                       subject: [f64; 3],
                       part: Option<usize>,
                       noise: &mut Noise| {
            let [x, y] = truth.see(subject);
            view.marks.push(SpaceMark {
                name,
                place: ModelPoint(place),
                place_sigma_mm: 0.0,
                mark: Point::new(
                    x + draw.sigma * noise.normal(),
                    y + draw.sigma * noise.normal(),
                ),
                is_datum: part.is_none(),
            });
            part_of.push(part);
        };
        for (k, place) in self.datum.iter().enumerate() {
            add(format!("datum {k}"), *place, *place, None, noise);
        }
        for (part, places) in self.parts.iter().enumerate() {
            for (k, place) in places.iter().enumerate() {
                if noise.uniform() >= draw.hidden {
                    add(
                        format!("part {part} {k}"),
                        *place,
                        self.subject(part, *place),
                        Some(part),
                        noise,
                    );
                }
            }
        }
        TogetherPhoto {
            view,
            part_of,
            same_as: None,
        }
    }
}

/// An object with its photos and their true cameras.
fn drawn(seed: u64, draw: &Draw) -> (Object, Vec<TogetherPhoto>, Vec<Truth>) {
    let mut noise = Noise(1_000_003 * (seed + 1));
    let object = object(&mut noise, draw);
    let azimuth = 360.0 * noise.uniform();
    let elevation = 10.0 + 10.0 * noise.uniform();
    let (mut photos, mut truths) = (Vec::new(), Vec::new());
    for k in 0..draw.photos {
        let part = k as f64 / (draw.photos.max(2) - 1) as f64 - 0.5;
        let aside = if draw.photos > 1 {
            part * draw.spread
        } else {
            0.0
        };
        let up = match draw.photos {
            0..=2 => 0.0,
            _ if k % 2 == 1 => 0.25 * draw.spread,
            _ => -0.25 * draw.spread,
        };
        let focal = (1.3 + 1.3 * noise.uniform()) * f64::from(PHOTO.0);
        let distance = focal * 30.0 / (0.8 * f64::from(PHOTO.1)) * (0.95 + 0.15 * noise.uniform());
        let mut truth = Truth::new(azimuth + aside, elevation + up, distance, focal);
        for p in &mut truth.principal {
            *p += 0.02 * f64::from(PHOTO.0).hypot(f64::from(PHOTO.1)) * noise.normal();
        }
        photos.push(object.seen(&truth, &mut noise, draw));
        truths.push(truth);
    }
    (object, photos, truths)
}

/// Marks of the first photos are off by 10 to 70 px: photo and number of each.
fn spoil(photos: &mut [TogetherPhoto], noise: &mut Noise, gross: usize) -> Vec<(usize, usize)> {
    let mut spoilt = Vec::new();
    while spoilt.len() < gross {
        let photo = (noise.uniform() * photos.len() as f64) as usize;
        let own = (noise.uniform() * photos[photo].view.marks.len() as f64) as usize;
        if spoilt.contains(&(photo, own)) {
            continue;
        }
        let (way, angle) = (
            10.0 + 60.0 * noise.uniform(),
            std::f64::consts::TAU * noise.uniform(),
        );
        let mark = &mut photos[photo].view.marks[own].mark;
        mark.x += way * angle.cos();
        mark.y += way * angle.sin();
        spoilt.push((photo, own));
    }
    spoilt
}

/// Errors of a part in the units of its figures.
fn in_units(errors: &Nine) -> [f64; NINE] {
    std::array::from_fn(|k| {
        errors[k]
            * match k {
                SIZE..TURN => 100.0,
                TURN..OFFSET => 1.0_f64.to_degrees(),
                _ => 1.0,
            }
    })
}

#[test]
fn exact_marks_of_three_photos_give_the_errors_of_all_parts() {
    let draw = Draw {
        photos: 3,
        sigma: 1e-4,
        hidden: 0.0,
        ..DRAW
    };
    let (object, photos, truths) = drawn(3, &draw);
    let found = adjust(&photos, &Subject::of(draw.parts, EXPECTED));
    for (photo, truth) in found.photos.iter().zip(&truths) {
        let photo = photo.as_ref().expect("a camera");
        assert!(photo.rms_px < 1e-3, "{}", photo.rms_px);
        let focal = photo.camera.focal_px.figure().expect("told").value();
        assert!(
            (focal / truth.focal - 1.0).abs() < 1e-4,
            "{focal} {}",
            truth.focal
        );
    }
    for (k, part) in found.parts.iter().enumerate() {
        let part = part.as_ref().expect("marked");
        let truth = in_units(&object.errors_about(k, part.anchor_mm));
        for (error, truth) in part.errors.iter().zip(truth) {
            // Four marks in general position, a ten thousandth of a pixel off.
            assert!(
                (error.figure.value() - truth).abs() < 0.02,
                "{error:?} {truth}"
            );
            assert!(error.is_told);
        }
        assert!(part.only_together.is_empty() && part.would.is_none());
    }
}

#[test]
fn one_photo_tells_no_depth_and_says_which_would() {
    let draw = Draw {
        photos: 1,
        spread: 0.0,
        hidden: 0.0,
        ..DRAW
    };
    let (_, photos, _) = drawn(1, &draw);
    let found = adjust(&photos, &Subject::of(draw.parts, EXPECTED));
    let parts: Vec<&PartErrors> = found.parts.iter().flatten().collect();
    assert_eq!(parts.len(), draw.parts);
    for part in parts {
        let told = part.errors[OFFSET..].iter().filter(|e| e.is_told).count();
        assert!(
            told < 3,
            "the offset along the sight cannot be told: {part:?}"
        );
        let would = part.would.as_ref().expect("another photo would tell more");
        assert!(!would.tells.is_empty() && would.photo == 0);
        assert!(would.tells.iter().all(|&k| !part.errors[k].is_told));
    }
}

#[test]
fn the_photo_that_is_said_to_tell_more_does() {
    let draw = Draw {
        photos: 1,
        spread: 0.0,
        hidden: 0.0,
        parts: 3,
        ..DRAW
    };
    let (object, mut photos, truths) = drawn(1, &draw);
    let before = adjust(&photos, &Subject::of(draw.parts, EXPECTED));
    let mut noise = Noise(77);
    for part in 0..draw.parts {
        let before = before.parts[part].as_ref().expect("marked");
        let would = before.would.as_ref().expect("another photo");
        let truth = truths[0];
        let turned = nalgebra::Rotation3::new(match would.aside {
            Aside::Right => Vector3::y() * would.degrees.to_radians(),
            Aside::Left => Vector3::y() * -would.degrees.to_radians(),
            Aside::Above => Vector3::x() * would.degrees.to_radians(),
            Aside::Below => Vector3::x() * -would.degrees.to_radians(),
        });
        let aside = Truth {
            turn: turned.into_inner() * truth.turn,
            ..truth
        };
        photos.push(object.seen(&aside, &mut noise, &draw));
        let after = adjust(&photos, &Subject::of(draw.parts, EXPECTED));
        photos.pop();
        let after = after.parts[part].as_ref().expect("marked");
        for &k in &would.tells {
            // As predicted, but for what is expected, which may have been widened.
            let share = after.errors[k].deviation / after.errors[k].expected;
            assert!(share < 0.55, "{k}: {share} of {after:?}");
        }
    }
}

#[test]
fn photos_of_one_camera_share_its_focal_length() {
    let draw = Draw {
        photos: 2,
        parts: 2,
        ..DRAW
    };
    let (object, mut photos, truths) = drawn(5, &draw);
    let same = Truth {
        focal: truths[0].focal,
        principal: truths[0].principal,
        ..truths[1]
    };
    photos[1] = object.seen(&same, &mut Noise(3), &draw);
    let alone = adjust(&photos, &Subject::of(draw.parts, EXPECTED));
    photos[1].same_as = Some(0);
    let tied = adjust(&photos, &Subject::of(draw.parts, EXPECTED));
    let focal = |found: &Together, k: usize| {
        let photo = found.photos[k].as_ref().expect("a camera");
        photo.camera.focal_px.figure().expect("told")
    };
    let (one, other) = (focal(&tied, 0), focal(&tied, 1));
    // As near as the tie, a millionth.
    assert!(
        (one.value() / other.value() - 1.0).abs() < 1e-4,
        "{one:?} {other:?}"
    );
    assert!(one.holds(truths[0].focal));
    assert!(one.half_width() < focal(&alone, 0).half_width());
}

#[test]
fn a_photo_without_a_camera_says_why_and_the_others_go_on() {
    let draw = Draw {
        photos: 3,
        parts: 3,
        ..DRAW
    };
    let (_, mut photos, _) = drawn(9, &draw);
    for mark in &mut photos[1].view.marks {
        mark.is_datum = false;
    }
    let found = adjust(&photos, &Subject::of(draw.parts, EXPECTED));
    assert_eq!(
        found.photos[1].as_ref().err().map(Error::code),
        Some("too-few-places")
    );
    assert!(found.photos[0].is_ok() && found.photos[2].is_ok());
    let parts = found.parts.iter().flatten();
    assert!(parts.clone().count() == 3 && parts.clone().all(|p| p.photos == [0, 2]));
    for photo in &mut photos {
        for mark in &mut photo.view.marks {
            mark.is_datum = false;
        }
    }
    let none = adjust(&photos, &Subject::of(draw.parts, EXPECTED));
    assert!(none.parts.iter().all(Option::is_none) && none.photos.iter().all(Result::is_err));
}

#[test]
fn exchanged_marks_of_a_part_are_taken_the_other_way_round() {
    let draw = Draw {
        photos: 2,
        parts: 3,
        hidden: 0.0,
        ..DRAW
    };
    let (_, mut photos, _) = drawn(11, &draw);
    let TogetherPhoto { view, part_of, .. } = &mut photos[0];
    let own: Vec<usize> = (0..part_of.len())
        .filter(|&k| part_of[k] == Some(1))
        .collect();
    let (a, b) = (own[0], own[1]);
    (view.marks[a].mark, view.marks[b].mark) = (view.marks[b].mark, view.marks[a].mark);
    let found = adjust(&photos, &Subject::of(draw.parts, EXPECTED));
    let photo = found.photos[0].as_ref().expect("a camera");
    assert_eq!(photo.marks[a].finding, MarkFinding::ExchangedWith(b));
    assert_eq!(photo.marks[b].finding, MarkFinding::ExchangedWith(a));
}
