//! What the noise of the reference does to a figure: two comparisons with the same marks on the same reference have it in
//! common.
//!
//! # Source
//! JCGM 100:2008 (GUM), 5.1.3 and F.1.2.3: an input moves a figure by its derivative times its standard deviation, and figures
//! that rest on the same inputs are correlated through them (clauses from memory).
use super::{adjusted::Adjustment, gradient::Gradient};
use nalgebra::{DVector, Vector2};

/// How far one standard deviation of each input of the reference moves a figure, in the figure's unit.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct ByReference {
    /// By the marks: index of the landmark, along x and along y of the reference. Marks that do not move it are left out.
    pub marks: Vec<(usize, [f64; 2])>,
    /// By the numbers of the rectification, in its order; empty where it is none of the unknowns.
    pub rectification: Vec<f64>,
}

impl ByReference {
    /// The same in another unit.
    pub(crate) fn times(mut self, factor: f64) -> Self {
        let marks = self.marks.iter_mut().flat_map(|(_, moved)| moved);
        marks
            .chain(&mut self.rectification)
            .for_each(|moved| *moved *= factor);
        self
    }

    /// Adds `factor` times another.
    pub(crate) fn add(&mut self, factor: f64, other: &Self) {
        for (i, [x, y]) in &other.marks {
            match self.marks.iter_mut().find(|(k, _)| k == i) {
                Some((_, sum)) => *sum = [sum[0] + factor * x, sum[1] + factor * y],
                None => self.marks.push((*i, [factor * x, factor * y])),
            }
        }
        let numbers = self.rectification.iter_mut().zip(&other.rectification);
        numbers.for_each(|(sum, moved)| *sum += factor * moved);
    }
}

impl Adjustment {
    /// What the noise of the reference does to a figure with this gradient.
    pub(crate) fn by_reference(&self, gradient: &Gradient) -> ByReference {
        let marks = (0..self.problem.pairs.len()).filter_map(|i| {
            let own = gradient.reference.iter().find(|(k, _)| *k == i);
            let own = own.map_or_else(Vector2::zeros, |(_, d)| *d);
            let by_residual = self.with_residual(gradient, i);
            self.moved_by_mark(i, own, by_residual)
        });
        let by_unknown = &self.solved.covariance.global * &gradient.global;
        ByReference {
            marks: marks.collect(),
            rectification: self.moved_by_rectification(&by_unknown),
        }
    }

    /// The same of the five numbers of region `j`.
    pub(crate) fn region_by_reference(&self, j: usize) -> [ByReference; 5] {
        std::array::from_fn(|k| {
            let shared = self.shared_by_regions(j, k);
            let marks = (0..self.problem.pairs.len())
                .filter(|i| self.active[*i])
                .filter_map(|i| {
                    let by_residual = self.region_by_residual((j, k), i, &shared);
                    self.moved_by_mark(i, Vector2::zeros(), by_residual)
                });
            let with_global = self.solved.covariance.region_with_global[j].row(k);
            ByReference {
                marks: marks.collect(),
                rectification: self.moved_by_rectification(&with_global.transpose()),
            }
        })
    }

    /// How far the mark of pair `i` moves a figure that depends on it as `own` says, and on its residual as `by_residual`;
    /// `None` where not at all.
    fn moved_by_mark(
        &self,
        i: usize,
        own: Vector2<f64>,
        by_residual: Vector2<f64>,
    ) -> Option<(usize, [f64; 2])> {
        let noise = self.problem.pairs[i].reference_noise;
        let by_reference = self.solved.rows[i].prediction.by_reference;
        let moved =
            (own - by_reference.tr_mul(&by_residual)) * noise.deviation(self.noise.reference);
        (moved != Vector2::zeros()).then_some((i, moved.into()))
    }

    /// How far the rectification's numbers move what has this covariance with the unknowns that all share.
    fn moved_by_rectification(&self, with_global: &DVector<f64>) -> Vec<f64> {
        let layout = &self.problem.layout;
        let first = layout.first_rectification_unknown();
        let observed = layout
            .free_rectification()
            .map_or(&[][..], |r| r.observed());
        let numbers = observed.iter().enumerate();
        numbers
            .map(|(k, observed)| with_global[first + k] / self.noise.of(observed))
            .collect()
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::{
        job::{RegistrationKind, View},
        registration::{
            adjustment::Noise,
            invented::{DATUM, PART, registered, right, view},
        },
    };

    /// Marks of the reference are moved by so much to see what that does.
    const STEP: f64 = 0.01;

    fn sample(change: impl Fn(&mut View)) -> Adjustment {
        let mut view = view(
            RegistrationKind::Similarity,
            &right(&DATUM),
            &right(&PART),
            1.0,
        );
        change(&mut view);
        registered(&view).adjustment
    }

    fn five(adjustment: &Adjustment) -> [f64; 5] {
        adjustment.region(0).to_array()
    }

    fn offset_of_a_check_mark(adjustment: &Adjustment) -> (f64, Gradient) {
        adjustment.offset(DATUM.len() + 1, 0)
    }

    #[test]
    fn a_mark_that_is_moved_moves_figures_as_far_as_is_said() {
        let before = sample(|_| ());
        assert_eq!(before.noise, Noise::AS_STATED);
        let said_of_region = before.region_by_reference(0);
        let (offset, gradient) = offset_of_a_check_mark(&before);
        let said_of_offset = before.by_reference(&gradient);
        for i in [0, 3, DATUM.len() + 1] {
            let after = sample(|view| view.landmarks[i].reference.y += STEP);
            let deviation = before.problem.pairs[i].reference_noise.sigma;
            let of_mark = |said: &ByReference| {
                let found = said.marks.iter().find(|(k, _)| *k == i);
                found.map_or(0.0, |(_, moved)| moved[1]) * STEP / deviation
            };
            let check = |moved: f64, said: f64, what: &str| {
                let scale = moved.abs().max(1e-6);
                assert!(
                    (moved - said).abs() < 0.02 * scale,
                    "{what} {i}: {moved} {said}"
                );
            };
            let numbers = five(&after).into_iter().zip(five(&before));
            for ((after, before), said) in numbers.zip(&said_of_region) {
                check(after - before, of_mark(said), "number");
            }
            let moved = offset_of_a_check_mark(&after).0 - offset;
            check(moved, of_mark(&said_of_offset), "offset");
        }
    }
}
