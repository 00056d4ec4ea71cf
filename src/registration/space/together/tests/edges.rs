//! Edges whose places are known exactly.
use super::*;
use nalgebra::Vector2;

/// Places along the edges of the boxes of all parts and of the datum as the true cameras show them, `off` pixels off the way across
/// for every tenth.
fn seen(object: &Object, truths: &[Truth], off: f64) -> Vec<EdgesSeen> {
    let mut all = Vec::new();
    for (photo, truth) in truths.iter().enumerate() {
        for part in std::iter::once(None).chain((0..object.parts.len()).map(Some)) {
            let places = part.map_or(&object.datum, |k| &object.parts[k]);
            let mut marks = Vec::new();
            for (a, from) in places.iter().enumerate() {
                for (b, to) in places.iter().enumerate().take(a) {
                    let place: [f64; 3] = std::array::from_fn(|k| 0.3 * from[k] + 0.7 * to[k]);
                    let subject = part.map_or(place, |k| object.subject(k, place));
                    let angle = (a * 7 + b * 3) as f64;
                    let normal = Vector2::new(angle.cos(), angle.sin());
                    let is_off = (a + b) % 10 == 0;
                    let found =
                        Vector2::from(truth.see(subject)) + normal * if is_off { off } else { 0.0 };
                    marks.push(EdgeMark {
                        place: place.into(),
                        found,
                        normal,
                        weight: 100.0,
                        line: marks.len(),
                    });
                }
            }
            all.push(EdgesSeen {
                photo,
                part,
                reach_px: 2.0,
                marks,
            });
        }
    }
    all
}

#[test]
fn exact_edges_bring_the_errors_to_the_truth_and_some_far_off_do_not_matter() {
    let draw = Draw {
        parts: 3,
        photos: 3,
        ..DRAW
    };
    let (object, photos, truths) = drawn(4, &draw);
    let subject = Subject::of(draw.parts, EXPECTED);
    for off in [0.0, 60.0] {
        let mut adjusted = Adjusted::new(&photos, &subject);
        let mut fitting = adjusted.fitting().expect("solved");
        // As rounds do: first with a wide reach.
        let mut edges = seen(&object, &truths, off);
        for reach_px in [10.0, 2.0] {
            for group in &mut edges {
                group.reach_px = reach_px;
            }
            assert!(fitting.observe(&edges, Until::AtRest));
        }
        adjusted.take(fitting);
        let found = adjusted.told();
        for (k, part) in found.parts.iter().enumerate() {
            let part = part.as_ref().expect("marked");
            let truth = in_units(&object.errors_about(k, part.anchor_mm));
            for (error, truth) in part.errors.iter().zip(truth) {
                let away = (error.figure.value() - truth).abs() / error.deviation;
                // Marks with their noise pull by what little they weigh.
                assert!(away < 3.5, "{off} {k}: {error:?} {truth}");
                assert!(error.deviation < 0.2 * error.expected, "{error:?}");
            }
        }
    }
}

#[test]
fn edges_that_lie_farther_off_than_expected_are_known_worse() {
    let (object, photos, truths) = drawn(5, &Draw { parts: 3, ..DRAW });
    let subject = Subject::of(3, EXPECTED);
    let mut noise = Noise(9);
    let deviation = |sigma: f64, noise: &mut Noise| {
        let mut adjusted = Adjusted::new(&photos, &subject);
        let mut fitting = adjusted.fitting().expect("solved");
        let mut edges = seen(&object, &truths, 0.0);
        for group in &mut edges {
            group.reach_px = 20.0;
            for mark in &mut group.marks {
                mark.found += mark.normal * (sigma * noise.normal());
                mark.weight = 4.0;
            }
        }
        assert!(fitting.observe(&edges, Until::AtRest));
        fitting.estimate_noise();
        assert!(fitting.observe(&edges, Until::AtRest));
        adjusted.take(fitting);
        let part = adjusted.told().parts.remove(0).expect("marked");
        part.errors[OFFSET].deviation
    };
    // Stated as good to 0.5 px.
    let (stated, worse) = (deviation(0.5, &mut noise), deviation(1.0, &mut noise));
    assert!(worse > 1.4 * stated, "{stated} {worse}");
}
