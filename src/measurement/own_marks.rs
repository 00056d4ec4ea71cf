//! Marks of an image in its own pixels (the reference rectified), with what they depend on.
use super::figures::Figure;
use crate::{
    job::Side,
    registration::{Adjustment, adjustment::Gradient},
};
use nalgebra::{Matrix2, Matrix2xX, Vector2};

/// A mark of the reference in its own pixels (rectified), and what it depends on.
pub(crate) struct OwnPoint {
    pub(crate) at: Vector2<f64>,
    /// Derivative by the mark.
    pub(crate) by_mark: Matrix2<f64>,
    /// Derivatives by the unknowns that all share.
    pub(crate) by_global: Matrix2xX<f64>,
}

/// The reference's mark of pair `i` in the reference's own pixels (rectified).
pub(crate) fn own_point(adjustment: &Adjustment, i: usize) -> OwnPoint {
    let layout = adjustment.layout();
    let state = adjustment.state();
    let mark = adjustment.pairs()[i].reference;
    let rectified = state.rectified_from_reference.apply(mark);
    let mut by_global = Matrix2xX::zeros(layout.global_unknowns());
    if let Some(rectification) = layout.free_rectification() {
        // The derivatives by its numbers are known in the render: back to the rectified reference.
        let first = layout.first_rectification_unknown();
        let count = rectification.observed().len();
        let back = state
            .render_from_rectified
            .jacobian(rectified)
            .try_inverse();
        let in_render = adjustment.registered_by_global(i);
        let own = back.unwrap_or_else(Matrix2::zeros) * in_render.columns(first, count);
        by_global.columns_mut(first, count).copy_from(&own);
    }
    OwnPoint {
        at: Vector2::from(rectified.xy()),
        by_mark: state.rectified_from_reference.jacobian(mark),
        by_global,
    }
}

/// The vector between two marks of an image in its own pixels, and a function of it as a gradient.
pub(crate) struct OwnVector {
    pub(crate) vector: Vector2<f64>,
    /// Derivatives by the marks at its start and end (for the start with the sign of the end).
    by_mark: [Matrix2<f64>; 2],
    /// Derivatives by the unknowns that all share.
    by_global: Matrix2xX<f64>,
}

pub(crate) fn own_vector(adjustment: &Adjustment, side: Side, ends: [usize; 2]) -> OwnVector {
    if side == Side::Render {
        return OwnVector {
            vector: adjustment.render_mark(ends[1]) - adjustment.render_mark(ends[0]),
            by_mark: [Matrix2::identity(); 2],
            by_global: Matrix2xX::zeros(adjustment.layout().global_unknowns()),
        };
    }
    let [from, to] = ends.map(|i| own_point(adjustment, i));
    OwnVector {
        vector: to.at - from.at,
        by_mark: [from.by_mark, to.by_mark],
        by_global: to.by_global - from.by_global,
    }
}

impl OwnVector {
    /// The gradient of a figure with this derivative by the vector.
    pub(crate) fn gradient(
        &self,
        adjustment: &Adjustment,
        side: Side,
        ends: [usize; 2],
        d: Vector2<f64>,
    ) -> Gradient {
        let mut gradient = adjustment.no_gradient();
        gradient.global += self.by_global.tr_mul(&d);
        for ((i, by_mark), sign) in ends.into_iter().zip(&self.by_mark).zip([-1.0, 1.0]) {
            let d = by_mark.tr_mul(&d) * sign;
            match side {
                Side::Render => gradient.add_render(i, d),
                Side::Reference => gradient.add_reference(i, d),
            }
        }
        gradient
    }
}

/// Length between two marks of an image, in its own pixels (the reference rectified).
pub(crate) fn own_length(adjustment: &Adjustment, side: Side, ends: [usize; 2]) -> Figure {
    let own = own_vector(adjustment, side, ends);
    let value = own.vector.norm();
    let along = own.vector.try_normalize(0.0).unwrap_or_else(Vector2::zeros);
    Figure {
        value,
        gradient: own.gradient(adjustment, side, ends, along),
    }
}
