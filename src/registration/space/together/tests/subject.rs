//! Known lengths on the subject, and parts that mirror each other.
use super::*;

fn end(place: [f64; 3], part: Option<usize>) -> SubjectEnd {
    SubjectEnd {
        place_mm: place,
        part,
        is_datum: part.is_none(),
    }
}

fn apart(a: [f64; 3], b: [f64; 3]) -> f64 {
    (Vector3::from(a) - Vector3::from(b)).norm()
}

/// Lengths between the first datum marks of an object, on a subject that is so many times as large.
fn of_datum(object: &Object, times: f64) -> Vec<SubjectLength> {
    let length = |k: usize| {
        let (a, b) = (object.datum[k], object.datum[k + 6]);
        SubjectLength {
            ends: [end(a, None), end(b, None)],
            model_mm: times * apart(a, b),
        }
    };
    (0..4).map(length).collect()
}

#[test]
fn a_length_between_datum_landmarks_tells_the_size_of_the_subject() {
    let draw = Draw { parts: 2, ..DRAW };
    let (object, photos, _) = drawn(4, &draw);
    let mut subject = Subject::of(draw.parts, EXPECTED);
    let alone = adjust(&photos, &subject);
    assert!(alone.larger_percent.is_none());
    subject.lengths = of_datum(&object, 1.02);
    let found = adjust(&photos, &subject);
    // The subject is 2 % larger, so the model is smaller.
    let larger = found.larger_percent.expect("told");
    assert!(larger.holds(100.0 / 1.02 - 100.0), "{larger:?}");
    assert!(larger.half_width() < 0.5, "{larger:?}");
    assert!(found.lengths.iter().all(|length| !length.is_wrong));
    for (one, other) in found
        .parts
        .iter()
        .flatten()
        .zip(alone.parts.iter().flatten())
    {
        for (one, other) in one.errors.iter().zip(&other.errors) {
            let off = (one.figure.value() - other.figure.value()).abs();
            assert!(
                off < 0.05 * other.deviation,
                "a scale moves no part: {one:?} {other:?}"
            );
        }
    }
}

#[test]
fn a_length_that_is_misread_is_named_with_what_the_others_ask_for() {
    let draw = Draw { parts: 2, ..DRAW };
    let (object, photos, _) = drawn(6, &draw);
    let mut subject = Subject::of(draw.parts, EXPECTED);
    subject.lengths = of_datum(&object, 1.0);
    let right = subject.lengths[2].model_mm;
    subject.lengths[2].model_mm = 1.1 * right;
    let found = adjust(&photos, &subject);
    let wrong: Vec<bool> = found.lengths.iter().map(|length| length.is_wrong).collect();
    assert_eq!(wrong, [false, false, true, false]);
    let asked = found.lengths[2].asked_mm;
    assert!((asked / right - 1.0).abs() < 0.01, "{asked} {right}");
    // One alone has nothing to be checked by.
    subject.lengths.truncate(1);
    let found = adjust(&photos, &subject);
    assert!(found.lengths[0].is_uncontrolled && !found.lengths[0].is_wrong);
}

#[test]
fn a_length_of_a_part_tells_what_the_photo_does_not_and_intervals_hold() {
    let draw = Draw {
        photos: 1,
        spread: 0.0,
        parts: 3,
        hidden: 0.0,
        ..DRAW
    };
    let (mut held, mut all, mut sharper) = (0, 0, 0);
    for seed in 0..12 {
        let (object, photos, _) = drawn(seed, &draw);
        let mut subject = Subject::of(draw.parts, EXPECTED);
        let before = adjust(&photos, &subject);
        let places = &object.parts[0];
        let farthest = (1..places.len())
            .max_by(|&a, &b| apart(places[0], places[a]).total_cmp(&apart(places[0], places[b])));
        let (a, b) = (places[0], places[farthest.expect("four marks or more")]);
        subject.lengths = vec![SubjectLength {
            ends: [end(a, Some(0)), end(b, Some(0))],
            model_mm: apart(object.subject(0, a), object.subject(0, b)),
        }];
        let after = adjust(&photos, &subject);
        let of = |found: &Together| found.parts[0].clone().expect("marked");
        let (before, after) = (of(&before), of(&after));
        let truth = in_units(&object.errors_about(0, after.anchor_mm));
        for (k, error) in after.errors.iter().enumerate() {
            held += usize::from(error.figure.holds(truth[k]));
            all += 1;
        }
        let falls = |k: usize| {
            let share = |part: &PartErrors| part.errors[k].deviation / part.errors[k].expected;
            share(&after) < 0.9 * share(&before)
        };
        sharper += usize::from((0..3).any(falls));
    }
    assert!(sharper >= 10, "{sharper} of 12 parts");
    // 95 of 100, less three standard deviations of a count of 108 that goes by parts.
    assert!(held * 100 >= all * 87, "{held} of {all}");
}

/// An object whose second part mirrors the first across x = 1.5, errors and all, with photos of it.
fn mirrored(seed: u64, draw: &Draw) -> (Object, Vec<TogetherPhoto>) {
    let (mut object, _, truths) = drawn(seed, draw);
    let image = |[x, y, z]: [f64; 3]| [3.0 - x, y, z];
    object.parts[1] = object.parts[0].iter().copied().map(image).collect();
    object.anchors[1] = Vector3::from(image(object.anchors[0].into()));
    let mut errors = object.errors[0];
    for k in [TURN + 1, TURN + 2, OFFSET] {
        errors[k] = -errors[k];
    }
    object.errors[1] = errors;
    let mut noise = Noise(7 * seed + 5);
    let photos = truths
        .iter()
        .map(|truth| object.seen(truth, &mut noise, draw));
    let photos = photos.collect();
    (object, photos)
}

#[test]
fn a_part_s_mirror_image_is_a_second_photo_of_it() {
    let draw = Draw {
        photos: 1,
        spread: 0.0,
        parts: 2,
        hidden: 0.0,
        ..DRAW
    };
    let (mut held, mut all) = (0, 0);
    let mut shares: Vec<f64> = Vec::new();
    for seed in 0..12 {
        let (object, photos) = mirrored(seed, &draw);
        let mut subject = Subject::of(draw.parts, EXPECTED);
        let before = adjust(&photos, &subject);
        subject.mirror = Some(SubjectMirror {
            axis: 0,
            at_mm: 1.5,
            pairs: vec![[0, 1]],
            across: Vec::new(),
        });
        let after = adjust(&photos, &subject);
        for part in 0..2 {
            let of = |found: &Together| found.parts[part].clone().expect("marked");
            let (before, after) = (of(&before), of(&after));
            let truth = in_units(&object.errors_about(part, after.anchor_mm));
            for (k, error) in after.errors.iter().enumerate() {
                held += usize::from(error.figure.holds(truth[k]));
                all += 1;
                let share = |part: &PartErrors| part.errors[k].deviation / part.errors[k].expected;
                shares.push(share(&after) / share(&before));
            }
        }
    }
    // Two parts with one set of errors: 95 of 100, less three standard deviations of a count of 108.
    assert!(held * 100 >= all * 87, "{held} of {all}");
    shares.sort_by(f64::total_cmp);
    let median = shares[shares.len() / 2];
    assert!(median < 0.8, "{median}");
}

#[test]
fn a_part_that_is_its_own_mirror_image_neither_leans_nor_lies_aside() {
    let draw = Draw { parts: 2, ..DRAW };
    let (_, photos, _) = drawn(8, &draw);
    let mut subject = Subject::of(draw.parts, EXPECTED);
    subject.mirror = Some(SubjectMirror {
        axis: 2,
        at_mm: 0.0,
        pairs: Vec::new(),
        across: vec![1],
    });
    let found = adjust(&photos, &subject);
    let part = found.parts[1].as_ref().expect("marked");
    assert_eq!(part.anchor_mm[2], 0.0);
    for (k, most) in [(TURN, 0.3), (TURN + 1, 0.3), (OFFSET + 2, 0.06)] {
        let error = part.errors[k];
        assert!(error.figure.value().abs() < most, "{k}: {error:?}");
        assert!(error.deviation < most / 2.0, "{k}: {error:?}");
    }
}
