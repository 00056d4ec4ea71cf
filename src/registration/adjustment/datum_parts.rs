//! What the datum parts' own small errors do to the registration.
//!
//! The marks and edges of one datum part err together: the part is a little off, all of its edges are lit from one side, all
//! of its marks were set in one way. The adjustment takes them for independent, which is harmless between the datum parts and
//! not beyond them, where the map is drawn out. So five small errors of each datum part are considered in the deviations, and
//! not estimated.
//!
//! # Source
//! Consider parameters: S. F. Schmidt (1966); B. Tapley, B. Schutz and G. Born, "Statistical Orbit Determination" (2004),
//! section 6.2 (from memory).
use super::{
    model::{Layout, RegionErrors},
    settings::ADJUSTMENT,
};
use nalgebra::{DMatrix, DVector, SMatrix, Vector2};

/// How the shared unknowns' right side changes with the five errors of each datum part.
#[derive(Clone, Debug)]
pub(super) struct DatumParts<'a> {
    layout: &'a Layout,
    /// One block of five columns a part: index of its region, derivative.
    parts: Vec<(usize, DMatrix<f64>)>,
}

impl<'a> DatumParts<'a> {
    pub(super) fn new(layout: &'a Layout) -> Self {
        Self {
            layout,
            parts: Vec::new(),
        }
    }

    /// Adds a scalar observation on a datum part at `place`: how it depends on the shared unknowns, the direction in which it
    /// is measured, and its weight.
    pub(super) fn add(
        &mut self,
        part: usize,
        by_global: &DVector<f64>,
        (place, direction): (Vector2<f64>, Vector2<f64>),
        weight: f64,
    ) {
        let errors = RegionErrors::default();
        let by_errors = errors.derivative(self.layout.anchors[part], place);
        let along: SMatrix<f64, 1, 5> = direction.transpose() * by_errors;
        let unknowns = by_global.len();
        let k = match self.parts.iter().position(|(j, _)| *j == part) {
            Some(k) => k,
            None => {
                self.parts.push((part, DMatrix::zeros(unknowns, 5)));
                self.parts.len() - 1
            }
        };
        self.parts[k].1 += weight * by_global * along;
    }

    /// A root of what all of them add to the covariance of the shared unknowns, `covariance` being that without them, beside what
    /// is `suspected` of some.
    pub(super) fn root(&self, covariance: &DMatrix<f64>, suspected: &DMatrix<f64>) -> DMatrix<f64> {
        let size = ADJUSTMENT.datum_size.get() / 100.0;
        let rotation = ADJUSTMENT.datum_rotation.get().to_radians();
        let offset = ADJUSTMENT.datum_offset.get();
        let deviations = [size, size, rotation, offset, offset];
        let columns = 5 * self.parts.len();
        let mut root = DMatrix::zeros(covariance.nrows(), columns + suspected.ncols());
        root.columns_mut(columns, suspected.ncols())
            .copy_from(suspected);
        for (k, (_, by_errors)) in self.parts.iter().enumerate() {
            let mut moved = covariance * by_errors;
            for (column, deviation) in deviations.iter().enumerate() {
                moved.column_mut(column).scale_mut(*deviation);
            }
            root.columns_mut(5 * k, 5).copy_from(&moved);
        }
        root
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::{
        frame::Point,
        job::RegistrationKind,
        registration::{
            Adjustment, SingleMark,
            invented::{ANCHOR, DATUM, in_reference, registered, right, view},
        },
    };

    /// The four lowest datum marks lie on one part, which is moved by so many px in the render.
    const PART: [usize; 4] = [0, 1, 5, 6];

    fn adjusted(moved: f64) -> Adjustment {
        let mut marks = right(&DATUM);
        for i in PART {
            marks[i].0[0] += moved;
        }
        let mut view = view(RegistrationKind::Affine, &marks, &[], 1.0);
        view.regions[0].landmarks = PART.to_vec();
        registered(&view).adjustment
    }

    /// Where the registration has a place far beyond the marks, and what that depends on.
    fn far_off(adjustment: &Adjustment) -> (Vector2<f64>, Vector2<f64>) {
        let mut with_mark = adjustment.clone();
        let [x, y] = in_reference([450.0, -1900.0]);
        let i = with_mark.add_single(SingleMark::Reference(Point::new(x, y)));
        let by_parts = [Vector2::x(), Vector2::y()].map(|direction| {
            let mut gradient = with_mark.no_gradient();
            with_mark.add_registered(&mut gradient, i, direction);
            let root = &with_mark.solved.covariance.datum_root;
            root.tr_mul(&gradient.global)[3]
        });
        (with_mark.registered_mark(i), by_parts.into())
    }

    #[test]
    fn a_part_that_is_off_moves_what_lies_far_away_as_the_root_says() {
        let offset = ADJUSTMENT.datum_offset.get();
        let (before, said) = far_off(&adjusted(0.0));
        let (after, _) = far_off(&adjusted(offset));
        let moved = after - before;
        assert!(moved.norm() > offset, "the map is drawn out there: {moved}");
        // Along the same line; the root's sign means nothing.
        assert!(
            (moved.norm() - said.norm()).abs() < 1e-3 * moved.norm(),
            "{moved} {said}"
        );
        assert!(moved.perp(&said).abs() < 1e-3 * moved.norm_squared());
    }

    #[test]
    fn a_place_among_many_parts_hardly_feels_one() {
        let alone = adjusted(0.0);
        let mut gradient = alone.no_gradient();
        alone.add_registered(&mut gradient, 7, Vector2::x());
        let among = alone
            .solved
            .covariance
            .by_datum_parts(&gradient.global)
            .sqrt();
        assert!(among < 0.7 * ADJUSTMENT.datum_offset.get(), "{among}");
        assert!(ANCHOR[0] > 0.0 && alone.variance(&gradient) > among * among);
    }
}
