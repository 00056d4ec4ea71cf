//! The nine errors of a part in space, model minus subject.
//!
//! `model = R diag(1 + size) (subject - a + offset) + a`: first the sizes along the axes of the model, then the turn about the
//! anchor `a`, the middle of the part's landmarks. It is the convention of errors in a picture, with one axis more. Of a part with axes of
//! its own, the columns of `W`, all of this is along them: `model = W R diag(1 + size) (W' (subject - a) + offset) + a`.
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

/// About which place the errors of a part are, and along which axes.
#[derive(Clone, Copy, Debug)]
pub(super) struct PartFrame {
    /// Millimetres of the model.
    pub(super) anchor: Vector3<f64>,
    /// Its columns are the axes of the part in those of the model: a turn.
    pub(super) axes: Matrix3<f64>,
}

impl PartFrame {
    /// About the middle of the box along these axes that holds the places.
    pub(super) fn about(places: impl Iterator<Item = Vector3<f64>>, axes: Matrix3<f64>) -> Self {
        let (low, high) = box_of(places.map(|place| axes.tr_mul(&place)));
        Self {
            anchor: axes * ((low + high) / 2.0),
            axes,
        }
    }
}

/// The box along the axes of the model that holds the places; at the origin where there are none.
pub(super) fn box_of(places: impl Iterator<Item = Vector3<f64>>) -> (Vector3<f64>, Vector3<f64>) {
    places
        .map(|place| (place, place))
        .reduce(|(low, high), (a, b)| (low.inf(&a), high.sup(&b)))
        .unwrap_or_else(|| (Vector3::zeros(), Vector3::zeros()))
}

/// How the errors of a part take places of the model to the subject, prepared for many places.
#[derive(Clone, Debug)]
pub(crate) struct Placing {
    anchor: Vector3<f64>,
    axes: Matrix3<f64>,
    stretch: Vector3<f64>,
    /// Along the axes of the model.
    offset: Vector3<f64>,
    /// From the axes of the part to those of the model.
    turn: Matrix3<f64>,
    /// Derivatives of the turn back by the three numbers of the turn.
    by_turn: [Matrix3<f64>; 3],
}

impl Placing {
    pub(super) fn new(frame: &PartFrame, errors: &Nine) -> Self {
        let rotation = errors.fixed_rows::<3>(TURN).into_owned();
        let by_turn = std::array::from_fn(|axis| {
            let mut by = Vector3::zeros();
            by[axis] = TURN_STEP;
            (frame.axes * (turn(rotation + by) - turn(rotation - by))).transpose()
                / (2.0 * TURN_STEP)
        });
        Self {
            anchor: frame.anchor,
            axes: frame.axes,
            stretch: errors.fixed_rows::<3>(SIZE).add_scalar(1.0),
            offset: frame.axes * errors.fixed_rows::<3>(OFFSET),
            turn: frame.axes * turn(rotation),
            by_turn,
        }
    }

    /// Where a place of the model is on the subject, millimetres of the model.
    pub(crate) fn on_subject(&self, model: &Vector3<f64>) -> Vector3<f64> {
        let back = self.turn.tr_mul(&(model - self.anchor));
        self.axes * back.component_div(&self.stretch) + self.anchor - self.offset
    }

    /// The place of the model that the subject has at `subject`.
    pub(crate) fn on_model(&self, subject: &Vector3<f64>) -> Vector3<f64> {
        let placed = self.axes.tr_mul(&(subject - self.anchor + self.offset));
        let placed = placed.component_mul(&self.stretch);
        self.turn * placed + self.anchor
    }

    /// The direction on the model that the subject has as `along`.
    pub(crate) fn direction_on_model(&self, along: &Vector3<f64>) -> Vector3<f64> {
        self.turn * self.axes.tr_mul(along).component_mul(&self.stretch)
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
            let axis = self.axes.column(k);
            slopes.set_column(SIZE + k, &(axis * (-back[k] / self.stretch[k].powi(2))));
            slopes.set_column(OFFSET + k, &-axis);
        }
        for (axis, by_turn) in self.by_turn.iter().enumerate() {
            let moved = (by_turn * place).component_div(&self.stretch);
            slopes.set_column(TURN + axis, &(self.axes * moved));
        }
        let subject = self.axes * back.component_div(&self.stretch) + self.anchor - self.offset;
        (subject, slopes)
    }
}

/// Where a place of the model is on the subject, millimetres of the model, and its derivatives by the nine errors.
pub(super) fn on_subject(
    model: &Vector3<f64>,
    frame: &PartFrame,
    errors: &Nine,
) -> (Vector3<f64>, SMatrix<f64, 3, NINE>) {
    Placing::new(frame, errors).with_slopes(model)
}

#[cfg(test)]
mod tests {
    use super::*;

    /// The definition, written the other way round.
    fn on_model(subject: &Vector3<f64>, frame: &PartFrame, errors: &Nine) -> Vector3<f64> {
        let offset = errors.fixed_rows::<3>(OFFSET);
        let stretch = errors.fixed_rows::<3>(SIZE).add_scalar(1.0);
        let own = frame.axes.transpose() * (subject - frame.anchor);
        let placed = (own + offset).component_mul(&stretch);
        let turned = turn(errors.fixed_rows::<3>(TURN).into_owned()) * placed;
        frame.axes * turned + frame.anchor
    }

    fn errors() -> Nine {
        Nine::from([0.04, -0.02, 0.1, 0.02, -0.03, 0.4, 0.3, -0.2, 0.1])
    }

    /// Along the axes of the model, and along others.
    fn frames() -> [PartFrame; 2] {
        let anchor = Vector3::new(2.0, 2.5, 5.0);
        let own = turn(Vector3::new(0.7, -0.4, 1.1));
        [Matrix3::identity(), own].map(|axes| PartFrame { anchor, axes })
    }

    #[test]
    fn the_subject_s_place_is_the_definition_turned_round() {
        let model = Vector3::new(3.0, 4.0, 7.0);
        for frame in frames() {
            let (subject, _) = on_subject(&model, &frame, &errors());
            assert!((on_model(&subject, &frame, &errors()) - model).norm() < 1e-12);
            let (same, _) = on_subject(&model, &frame, &Nine::zeros());
            assert!((same - model).norm() < 1e-14);
        }
    }

    #[test]
    fn the_way_to_the_model_is_the_way_to_the_subject_turned_round() {
        for frame in frames() {
            let placing = Placing::new(&frame, &errors());
            let (one, other) = (Vector3::new(3.0, 4.0, 7.0), Vector3::new(-1.0, 4.5, 6.0));
            let subject = [one, other].map(|place| placing.on_subject(&place));
            assert!((placing.on_model(&subject[0]) - one).norm() < 1e-12);
            let along = placing.direction_on_model(&(subject[1] - subject[0]));
            assert!((along - (other - one)).norm() < 1e-12);
            let (same, _) = placing.with_slopes(&one);
            assert!((same - subject[0]).norm() < 1e-12);
        }
    }

    #[test]
    fn derivatives_are_difference_quotients() {
        let model = Vector3::new(3.0, 4.0, 7.0);
        for frame in frames() {
            let (_, slopes) = on_subject(&model, &frame, &errors());
            for k in 0..NINE {
                let mut by = Nine::zeros();
                by[k] = 1e-5;
                let at = |errors: Nine| on_subject(&model, &frame, &errors).0;
                let quotient = (at(errors() + by) - at(errors() - by)) / 2e-5;
                assert!((quotient - slopes.column(k)).norm() < 1e-8, "number {k}");
            }
        }
    }

    #[test]
    fn a_model_that_is_too_wide_and_too_far_along_x_has_positive_errors() {
        // A part of the subject from 0 to 10 along its width; on the model it is 4 % wider and its middle lies 0.5 mm farther along it.
        for PartFrame { axes, .. } in frames() {
            let anchor = axes * Vector3::new(5.5, 0.0, 0.0);
            let mut errors = Nine::zeros();
            (errors[SIZE], errors[OFFSET]) = (0.04, 0.5);
            let end = |x: f64| {
                let place = axes * Vector3::new(x, 0.0, 0.0);
                let subject = on_subject(&place, &PartFrame { anchor, axes }, &errors).0;
                (axes.transpose() * subject).x
            };
            assert!((end(5.5 + 5.2) - 10.0).abs() < 1e-12);
            assert!(end(5.5 - 5.2).abs() < 1e-12);
        }
    }
}
