//! The nine errors of a part in space, model minus subject.
//!
//! `model = R diag(1 + size) (subject - a + offset) + a`: first the sizes along the axes of the model, then the turn about the
//! anchor `a`, the middle of the part's landmarks. It is the convention of errors in a picture, with one axis more.
use crate::registration::space::camera::turn;
use nalgebra::{Matrix3, SMatrix, SVector, Vector3};

/// How many errors a part has: sizes, turn and offset, each along x, y and z.
pub(crate) const NINE: usize = 9;
/// Where each kind begins.
pub(super) const SIZE: usize = 0;
pub(super) const TURN: usize = 3;
pub(super) const OFFSET: usize = 6;

/// Steps keep a size error within this: a part neither vanishes nor grows tenfold.
const SIZES: (f64, f64) = (-0.9, 9.0);
/// Step of the difference quotients by the turn, radians: rounding and curvature both stay below 1e-9.
const TURN_STEP: f64 = 1e-5;

/// Sizes (parts of 1), turn (a vector along its axis, radians), offset (model millimetres).
pub(crate) type Nine = SVector<f64, NINE>;

/// The errors after a step.
pub(crate) fn moved(errors: &Nine, by: &Nine) -> Nine {
    let mut moved = errors + by;
    for k in SIZE..TURN {
        moved[k] = moved[k].clamp(SIZES.0, SIZES.1);
    }
    moved
}

/// How the errors of a part take places of the model to the subject, prepared for many places.
#[derive(Clone, Debug)]
pub(crate) struct Placing {
    anchor: Vector3<f64>,
    stretch: Vector3<f64>,
    offset: Vector3<f64>,
    turn: Matrix3<f64>,
    /// Derivatives of the turn back by the three numbers of the turn.
    by_turn: [Matrix3<f64>; 3],
}

impl Placing {
    pub(super) fn new(anchor: &Vector3<f64>, errors: &Nine) -> Self {
        let rotation = errors.fixed_rows::<3>(TURN).into_owned();
        let by_turn = std::array::from_fn(|axis| {
            let mut by = Vector3::zeros();
            by[axis] = TURN_STEP;
            (turn(rotation + by) - turn(rotation - by)).transpose() / (2.0 * TURN_STEP)
        });
        Self {
            anchor: *anchor,
            stretch: errors.fixed_rows::<3>(SIZE).add_scalar(1.0),
            offset: errors.fixed_rows::<3>(OFFSET).into_owned(),
            turn: turn(rotation),
            by_turn,
        }
    }

    /// Where a place of the model is on the subject, millimetres of the model.
    pub(crate) fn on_subject(&self, model: &Vector3<f64>) -> Vector3<f64> {
        let back = self.turn.tr_mul(&(model - self.anchor));
        back.component_div(&self.stretch) + self.anchor - self.offset
    }

    /// The place of the model that the subject has at `subject`.
    pub(crate) fn on_model(&self, subject: &Vector3<f64>) -> Vector3<f64> {
        let placed = (subject - self.anchor + self.offset).component_mul(&self.stretch);
        self.turn * placed + self.anchor
    }

    /// The direction on the model that the subject has as `along`.
    pub(crate) fn direction_on_model(&self, along: &Vector3<f64>) -> Vector3<f64> {
        self.turn * along.component_mul(&self.stretch)
    }

    /// As [`Self::on_subject`], with the derivatives by the nine errors.
    pub(super) fn with_slopes(
        &self,
        model: &Vector3<f64>,
    ) -> (Vector3<f64>, SMatrix<f64, 3, NINE>) {
        let place = model - self.anchor;
        let back = self.turn.tr_mul(&place);
        let mut slopes = SMatrix::<f64, 3, NINE>::zeros();
        for k in 0..3 {
            slopes[(k, SIZE + k)] = -back[k] / self.stretch[k].powi(2);
            slopes[(k, OFFSET + k)] = -1.0;
        }
        for (axis, by_turn) in self.by_turn.iter().enumerate() {
            let moved = (by_turn * place).component_div(&self.stretch);
            slopes.set_column(TURN + axis, &moved);
        }
        let subject = back.component_div(&self.stretch) + self.anchor - self.offset;
        (subject, slopes)
    }
}

/// Where a place of the model is on the subject, millimetres of the model, and its derivatives by the nine errors.
pub(super) fn on_subject(
    model: &Vector3<f64>,
    anchor: &Vector3<f64>,
    errors: &Nine,
) -> (Vector3<f64>, SMatrix<f64, 3, NINE>) {
    Placing::new(anchor, errors).with_slopes(model)
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
    fn the_way_to_the_model_is_the_way_to_the_subject_turned_round() {
        let placing = Placing::new(&Vector3::new(2.0, 2.5, 5.0), &errors());
        let (one, other) = (Vector3::new(3.0, 4.0, 7.0), Vector3::new(-1.0, 4.5, 6.0));
        let subject = [one, other].map(|place| placing.on_subject(&place));
        assert!((placing.on_model(&subject[0]) - one).norm() < 1e-12);
        let along = placing.direction_on_model(&(subject[1] - subject[0]));
        assert!((along - (other - one)).norm() < 1e-12);
        let (same, _) = placing.with_slopes(&one);
        assert!((same - subject[0]).norm() < 1e-12);
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
