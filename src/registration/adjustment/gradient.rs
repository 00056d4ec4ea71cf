//! How a figure depends on what the adjustment rests on.
use nalgebra::{DVector, Vector2};

/// How a figure depends on the unknowns that all share and on the marks.
#[derive(Clone, Debug)]
pub(crate) struct Gradient {
    pub(crate) global: DVector<f64>,
    /// Derivatives by marks in the render: index of the pair, derivative.
    pub(crate) render: Vec<(usize, Vector2<f64>)>,
    /// Derivatives by marks in the reference.
    pub(crate) reference: Vec<(usize, Vector2<f64>)>,
}

impl Gradient {
    /// Adds a derivative by the mark of pair `i` in the render.
    pub(crate) fn add_render(&mut self, i: usize, d: Vector2<f64>) {
        add_to(&mut self.render, i, d);
    }

    /// Adds a derivative by the mark of pair `i` in the reference.
    pub(crate) fn add_reference(&mut self, i: usize, d: Vector2<f64>) {
        add_to(&mut self.reference, i, d);
    }

    /// Multiplies all derivatives by `factor`.
    pub(crate) fn scale(&mut self, factor: f64) {
        self.global *= factor;
        for (_, d) in self.render.iter_mut().chain(&mut self.reference) {
            *d *= factor;
        }
    }

    /// Adds `factor` times another gradient.
    pub(crate) fn add(&mut self, factor: f64, other: &Self) {
        self.global.axpy(factor, &other.global, 1.0);
        for (i, d) in &other.render {
            self.add_render(*i, d * factor);
        }
        for (i, d) in &other.reference {
            self.add_reference(*i, d * factor);
        }
    }
}

/// One entry a mark: a mark that a figure uses twice counts with the sum of its derivatives.
fn add_to(list: &mut Vec<(usize, Vector2<f64>)>, i: usize, d: Vector2<f64>) {
    match list.iter_mut().find(|(k, _)| *k == i) {
        Some((_, sum)) => *sum += d,
        None => list.push((i, d)),
    }
}
