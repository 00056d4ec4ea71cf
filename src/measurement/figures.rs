//! Lengths and directions between landmarks, in the render and in the registered reference, with what they depend on.
use crate::registration::{Adjustment, adjustment::Gradient};
use nalgebra::Vector2;

/// A figure and its derivatives.
#[derive(Clone, Debug)]
pub(crate) struct Figure {
    pub(crate) value: f64,
    pub(crate) gradient: Gradient,
}

impl Figure {
    /// This figure plus `factor` times another.
    pub(crate) fn plus(mut self, factor: f64, other: &Self) -> Self {
        self.value += factor * other.value;
        self.gradient.add(factor, &other.gradient);
        self
    }
}

/// Length between two marks of the render, render pixels.
pub(crate) fn render_length(adjustment: &Adjustment, from: usize, to: usize) -> Figure {
    let d = adjustment.render_mark(to) - adjustment.render_mark(from);
    in_render(adjustment, from, to, d.norm(), unit(d))
}

/// Length between two registered marks of the reference, render pixels.
pub(crate) fn registered_length(adjustment: &Adjustment, from: usize, to: usize) -> Figure {
    let d = adjustment.registered_mark(to) - adjustment.registered_mark(from);
    in_reference(adjustment, from, to, d.norm(), unit(d))
}

/// Direction from one mark of the render to another: radians, clockwise from the x axis.
pub(crate) fn render_direction(adjustment: &Adjustment, from: usize, to: usize) -> Figure {
    let d = adjustment.render_mark(to) - adjustment.render_mark(from);
    in_render(adjustment, from, to, d.y.atan2(d.x), turning(d))
}

/// Direction from one registered mark of the reference to another.
pub(crate) fn registered_direction(adjustment: &Adjustment, from: usize, to: usize) -> Figure {
    let d = adjustment.registered_mark(to) - adjustment.registered_mark(from);
    in_reference(adjustment, from, to, d.y.atan2(d.x), turning(d))
}

/// How far a landmark's mark in the render lies off its registered mark, along `axis` (0: x, 1: y), render pixels.
pub(crate) fn landmark_offset(adjustment: &Adjustment, i: usize, axis: usize) -> Figure {
    let (value, gradient) = adjustment.offset(i, axis);
    Figure { value, gradient }
}

fn unit(d: Vector2<f64>) -> Vector2<f64> {
    d.try_normalize(0.0).unwrap_or_else(Vector2::zeros)
}

/// The derivative of the direction of `d`.
fn turning(d: Vector2<f64>) -> Vector2<f64> {
    let square = d.norm_squared();
    if square > 0.0 {
        Vector2::new(-d.y, d.x) / square
    } else {
        Vector2::zeros()
    }
}

fn in_render(
    adjustment: &Adjustment,
    from: usize,
    to: usize,
    value: f64,
    by_to: Vector2<f64>,
) -> Figure {
    let mut gradient = adjustment.no_gradient();
    gradient.add_render(to, by_to);
    gradient.add_render(from, -by_to);
    Figure { value, gradient }
}

fn in_reference(
    adjustment: &Adjustment,
    from: usize,
    to: usize,
    value: f64,
    by_to: Vector2<f64>,
) -> Figure {
    let mut gradient = adjustment.no_gradient();
    adjustment.add_registered(&mut gradient, to, by_to);
    adjustment.add_registered(&mut gradient, from, -by_to);
    Figure { value, gradient }
}
