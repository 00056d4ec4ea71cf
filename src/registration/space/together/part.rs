//! The nine errors of a part in space, model minus subject.
//!
//! `model = R diag(1 + size) (subject - a + offset) + a`: first the sizes along the axes of the model, then the turn about the
//! anchor `a`, the middle of the part's landmarks. It is the convention of errors in a picture, with one axis more.
use crate::registration::space::camera::turn;
use nalgebra::{SMatrix, SVector, Vector3};

/// How many errors a part has: sizes, turn and offset, each along x, y and z.
pub(super) const NINE: usize = 9;
/// Where each kind begins.
pub(super) const SIZE: usize = 0;
pub(super) const TURN: usize = 3;
pub(super) const OFFSET: usize = 6;

/// Steps keep a size error within this: a part neither vanishes nor grows tenfold.
const SIZES: (f64, f64) = (-0.9, 9.0);
/// Step of the difference quotients by the turn, radians: rounding and curvature both stay below 1e-9.
const TURN_STEP: f64 = 1e-5;

/// Sizes (parts of 1), turn (a vector along its axis, radians), offset (model millimetres).
pub(super) type Nine = SVector<f64, NINE>;

/// The errors after a step.
pub(super) fn moved(errors: &Nine, by: &Nine) -> Nine {
    let mut moved = errors + by;
    for k in SIZE..TURN {
        moved[k] = moved[k].clamp(SIZES.0, SIZES.1);
    }
    moved
}

/// The place on the model's part with its anchor at the origin, turned back.
fn turned_back(place: &Vector3<f64>, rotation: Vector3<f64>) -> Vector3<f64> {
    turn(rotation).transpose() * place
}

/// Where a place of the model is on the subject, millimetres of the model, and its derivatives by the nine errors.
pub(super) fn on_subject(
    model: &Vector3<f64>,
    anchor: &Vector3<f64>,
    errors: &Nine,
) -> (Vector3<f64>, SMatrix<f64, 3, NINE>) {
    let rotation = errors.fixed_rows::<3>(TURN).into_owned();
    let place = model - anchor;
    let back = turned_back(&place, rotation);
    let mut subject = anchor - errors.fixed_rows::<3>(OFFSET);
    let mut slopes = SMatrix::<f64, 3, NINE>::zeros();
    for k in 0..3 {
        let stretch = 1.0 + errors[SIZE + k];
        subject[k] += back[k] / stretch;
        slopes[(k, SIZE + k)] = -back[k] / (stretch * stretch);
        slopes[(k, OFFSET + k)] = -1.0;
    }
    for axis in 0..3 {
        let mut by = Vector3::zeros();
        by[axis] = TURN_STEP;
        let quotient = (turned_back(&place, rotation + by) - turned_back(&place, rotation - by))
            / (2.0 * TURN_STEP);
        for k in 0..3 {
            slopes[(k, TURN + axis)] = quotient[k] / (1.0 + errors[SIZE + k]);
        }
    }
    (subject, slopes)
}

#[cfg(test)]
mod tests {
    use super::*;

    /// The definition, written the other way round.
    fn on_model(subject: &Vector3<f64>, anchor: &Vector3<f64>, errors: &Nine) -> Vector3<f64> {
        let offset = errors.fixed_rows::<3>(OFFSET);
        let stretch = errors.fixed_rows::<3>(SIZE).add_scalar(1.0);
        let placed = (subject - anchor + offset).component_mul(&stretch);
        turn(errors.fixed_rows::<3>(TURN).into_owned()) * placed + anchor
    }

    fn errors() -> Nine {
        Nine::from([0.04, -0.02, 0.1, 0.02, -0.03, 0.4, 0.3, -0.2, 0.1])
    }

    #[test]
    fn the_subject_s_place_is_the_definition_turned_round() {
        let (model, anchor) = (Vector3::new(3.0, 4.0, 7.0), Vector3::new(2.0, 2.5, 5.0));
        let (subject, _) = on_subject(&model, &anchor, &errors());
        assert!((on_model(&subject, &anchor, &errors()) - model).norm() < 1e-12);
        let (same, _) = on_subject(&model, &anchor, &Nine::zeros());
        assert!((same - model).norm() < 1e-15);
    }

    #[test]
    fn derivatives_are_difference_quotients() {
        let (model, anchor) = (Vector3::new(3.0, 4.0, 7.0), Vector3::new(2.0, 2.5, 5.0));
        let (_, slopes) = on_subject(&model, &anchor, &errors());
        for k in 0..NINE {
            let mut by = Nine::zeros();
            by[k] = 1e-5;
            let at = |errors: Nine| on_subject(&model, &anchor, &errors).0;
            let quotient = (at(errors() + by) - at(errors() - by)) / 2e-5;
            assert!((quotient - slopes.column(k)).norm() < 1e-8, "number {k}");
        }
    }

    #[test]
    fn a_model_that_is_too_wide_and_too_far_along_x_has_positive_errors() {
        // A part of the subject from 0 to 10 along x; on the model it is 4 % wider and its middle lies 0.5 mm farther along x.
        let anchor = Vector3::new(5.5, 0.0, 0.0);
        let mut errors = Nine::zeros();
        (errors[SIZE], errors[OFFSET]) = (0.04, 0.5);
        let end = |x: f64| on_subject(&Vector3::new(x, 0.0, 0.0), &anchor, &errors).0.x;
        assert!((end(5.5 + 5.2) - 10.0).abs() < 1e-12);
        assert!(end(5.5 - 5.2).abs() < 1e-12);
    }
}
