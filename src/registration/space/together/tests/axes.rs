//! Parts with axes of their own.
use super::*;

/// An object turned as a whole about the origin, as it is seen when the cameras are turned with it.
fn turned(object: &Object, by: &Matrix3<f64>) -> Object {
    let place = |p: &[f64; 3]| -> [f64; 3] { (by * Vector3::from(*p)).into() };
    Object {
        datum: object.datum.iter().map(place).collect(),
        parts: (object.parts.iter())
            .map(|part| part.iter().map(place).collect())
            .collect(),
        anchors: object.anchors.iter().map(|a| by * a).collect(),
        axes: (object.axes.iter())
            .map(|axes| axes_of(&(by * turn_of(axes))))
            .collect(),
        errors: object.errors.clone(),
    }
}

#[test]
fn a_scene_that_is_turned_as_a_whole_has_the_same_errors_along_its_own_axes() {
    for has_own_axes in [false, true] {
        let draw = Draw {
            photos: 2,
            parts: 4,
            has_own_axes,
            ..DRAW
        };
        let (object, photos, _) = drawn(21, &draw);
        let by = turn(Vector3::new(0.5, -0.9, 0.7));
        let other = turned(&object, &by);
        // The same pixels: only the places on the model have other coordinates.
        let mut again = photos.clone();
        for mark in again.iter_mut().flat_map(|photo| &mut photo.view.marks) {
            mark.place = ModelPoint((by * mark.place.vector()).into());
        }
        let found = adjust(&photos, &object.as_asked());
        let turned = adjust(&again, &other.as_asked());
        for (part, same) in found.parts.iter().zip(&turned.parts) {
            let (part, same) = (
                part.as_ref().expect("marked"),
                same.as_ref().expect("marked"),
            );
            for (k, (one, other)) in part.errors.iter().zip(&same.errors).enumerate() {
                // As far as both solutions rest.
                let off = (one.figure.value() - other.figure.value()).abs();
                assert!(off < 1e-3 * one.deviation, "{k}: {one:?} {other:?}");
                assert!((one.deviation / other.deviation - 1.0).abs() < 1e-3, "{k}");
                assert_eq!(one.is_told, other.is_told);
            }
            let anchor = by * Vector3::from(part.anchor_mm);
            assert!((anchor - Vector3::from(same.anchor_mm)).norm() < 1e-9);
            for k in 0..3 {
                assert!((part.extent_mm[k] - same.extent_mm[k]).abs() < 1e-9);
            }
            assert_eq!(part.only_together, same.only_together);
            assert_eq!(part.would, same.would);
        }
        // Along the axes of the model they are others.
        let plain = adjust(&again, &Subject::of(draw.parts, EXPECTED));
        let errors = |found: &Together| -> Vec<PartError> {
            found
                .parts
                .iter()
                .flatten()
                .flat_map(|p| p.errors)
                .collect()
        };
        let (own, plain) = (errors(&found), errors(&plain));
        let away = own
            .iter()
            .zip(&plain)
            .map(|(one, other)| (one.figure.value() - other.figure.value()).abs() / one.deviation);
        assert!(away.fold(0.0, f64::max) > 1.0);
    }
}

#[test]
fn parts_that_mirror_each_other_may_have_axes_that_do() {
    let draw = Draw {
        photos: 2,
        parts: 2,
        sigma: 1e-3,
        hidden: 0.0,
        has_own_axes: true,
        ..DRAW
    };
    let (mut object, _, truths) = drawn(5, &draw);
    let image = |[x, y, z]: [f64; 3]| [3.0 - x, y, z];
    let directions = object.axes[0].vectors().map(|[x, y, z]| [-x, y, z]);
    object.parts[1] = object.parts[0].iter().copied().map(image).collect();
    object.anchors[1] = Vector3::from(image(object.anchors[0].into()));
    // The mirror makes right-handed axes left-handed: the width, or the depth, runs the other way.
    let backwards = directions[0].map(|v| -v);
    for (width, signs) in [
        (directions[0], [1.0, -1.0, 1.0]),
        (backwards, [-1.0, 1.0, 1.0]),
    ] {
        object.axes[1] = PartAxes::new(width, directions[2]).expect("axes");
        for (k, sign) in signs.into_iter().enumerate() {
            object.errors[1][SIZE + k] = object.errors[0][SIZE + k];
            object.errors[1][TURN + k] = -sign * object.errors[0][TURN + k];
            object.errors[1][OFFSET + k] = sign * object.errors[0][OFFSET + k];
        }
        // The truth by the places: the subject of one side is the image of the other.
        for place in &object.parts[0] {
            let (one, other) = (object.subject(0, *place), object.subject(1, image(*place)));
            assert!((Vector3::from(image(one)) - Vector3::from(other)).norm() < 1e-9);
        }
        let mut noise = Noise(3);
        let photos = truths
            .iter()
            .map(|truth| object.seen(truth, &mut noise, &draw));
        let photos: Vec<TogetherPhoto> = photos.collect();
        let mut subject = object.as_asked();
        subject.mirror = Some(SubjectMirror {
            axis: 0,
            at_mm: 1.5,
            pairs: vec![[0, 1]],
            across: Vec::new(),
        });
        let found = adjust(&photos, &subject);
        for part in 0..2 {
            let told = found.parts[part].as_ref().expect("marked");
            let truth = in_units(&object.errors_about(part, told.anchor_mm));
            for (error, truth) in told.errors.iter().zip(truth) {
                // A thousandth of a pixel, and what mirrored errors may differ by.
                let off = (error.figure.value() - truth).abs();
                assert!(off < 0.02, "{part}: {error:?} {truth}");
            }
        }
    }
}
