//! Edges as observations of the one adjustment: a place on an edge of the model, found again in a photo, is a mark that is known across
//! the edge only.
//!
//! # Source
//! S. Geman and D. McClure, "Statistical methods for tomographic image reconstruction" (1987): the weight of what lies far off.
use super::{
    edge_marks::{JointEdge, JointEdges},
    joint::{Joint, Solved, State},
    normal::{Normal, Own},
    part::{NINE, Nine, Placing},
};
use crate::registration::space::camera::{Beyond, Camera, WITH_SCREEN, see};
use nalgebra::{SMatrix, SVector};
use rayon::prelude::*;

/// What the places of one part in one photo add to the equations.
struct Sum {
    cost: f64,
    camera: SMatrix<f64, WITH_SCREEN, WITH_SCREEN>,
    camera_right: SVector<f64, WITH_SCREEN>,
    part: Own,
    part_right: Nine,
    with: SMatrix<f64, NINE, WITH_SCREEN>,
}

impl Sum {
    fn none() -> Self {
        Self {
            cost: 0.0,
            camera: SMatrix::zeros(),
            camera_right: SVector::zeros(),
            part: Own::zeros(),
            part_right: Nine::zeros(),
            with: SMatrix::zeros(),
        }
    }

    fn add(&mut self, row: &EdgeRow) {
        self.cost += row.cost;
        let weighed = row.by_camera * row.weight;
        self.camera.ger(1.0, &weighed, &row.by_camera, 1.0);
        self.camera_right += weighed * row.off;
        if let Some(by_part) = &row.by_part {
            let weighed = by_part * row.weight;
            self.part.ger(1.0, &weighed, by_part, 1.0);
            self.part_right += weighed * row.off;
            self.with.ger(1.0, &weighed, &row.by_camera, 1.0);
        }
    }
}

/// An edge as its camera shows it.
#[derive(Clone, Debug)]
struct EdgeRow {
    /// Edge minus prediction along the normal.
    off: f64,
    cost: f64,
    weight: f64,
    by_camera: SVector<f64, WITH_SCREEN>,
    /// By the errors of its part in what is expected of them.
    by_part: Option<Nine>,
}

impl EdgeRow {
    fn none(has_part: bool) -> Self {
        Self {
            off: 0.0,
            cost: 0.0,
            weight: 0.0,
            by_camera: SVector::zeros(),
            by_part: has_part.then(Nine::zeros),
        }
    }

    /// Adds a row with its weight: all but `weight` are then sums of weighed ones.
    fn add(&mut self, row: &Self) {
        self.off += row.weight * row.off;
        self.cost += row.cost;
        self.weight += row.weight;
        self.by_camera += row.by_camera * row.weight;
        if let (Some(sum), Some(by_part)) = (&mut self.by_part, &row.by_part) {
            *sum += by_part * row.weight;
        }
    }
}

impl Joint {
    /// Adds the edges to the equations; the cost. `None` where a camera does not show one of them.
    pub(super) fn observe_edges(&self, state: &State, normal: &mut Normal) -> Option<f64> {
        if self.edges.is_empty() {
            return Some(0.0);
        }
        let beyond = self.beyond(state)?;
        // In the order of the groups, whatever the number of threads.
        let sums: Vec<Option<Sum>> = self
            .edges
            .par_iter()
            .map(|group| self.sum_of(group, state, &beyond[group.photo]))
            .collect();
        let mut cost = 0.0;
        for (group, sum) in self.edges.iter().zip(sums) {
            let sum = sum?;
            cost += sum.cost;
            self.add_sum(group, &sum, normal);
        }
        Some(cost)
    }

    fn sum_of(&self, group: &JointEdges, state: &State, beyond: &Beyond) -> Option<Sum> {
        let placed = self.placed(group, state);
        let by = (&state.cameras[group.photo], beyond);
        let mut sum = Sum::none();
        for edge in &group.edges {
            sum.add(&self.edge_row((group, edge), by, placed.as_ref())?);
        }
        Some(sum)
    }

    /// An edge as its camera shows it; `None` where it does not.
    fn edge_row(
        &self,
        (group, edge): (&JointEdges, &JointEdge),
        (camera, beyond): (&Camera, &Beyond),
        placed: Option<&(Placing, &Nine)>,
    ) -> Option<EdgeRow> {
        let units = &self.photos[group.photo].units;
        let (place, slopes) = match placed {
            None => (edge.place, None),
            Some((placing, expected)) => {
                let (place, slopes) = placing.with_slopes(&edge.place);
                (place, Some((slopes, *expected)))
            }
        };
        let seen = see(camera, beyond, &((place - units.middle) / units.size))?;
        let off = edge.along - edge.normal.dot(&seen.place);
        let far = 1.0 + (off / group.reach).powi(2);
        Some(EdgeRow {
            off,
            cost: edge.weight * off * off / far,
            weight: edge.weight / (far * far),
            by_camera: seen.by_numbers.tr_mul(&edge.normal),
            by_part: slopes.map(|(slopes, expected)| {
                let by_place = seen.by_point.tr_mul(&edge.normal) / units.size;
                slopes.tr_mul(&by_place).component_mul(expected)
            }),
        })
    }

    fn placed(&self, group: &JointEdges, state: &State) -> Option<(Placing, &Nine)> {
        let part = group.part?;
        Some((self.placing(part, state), &self.parts[part].expected))
    }

    /// Squares of what is left of the lines of a photo in their deviations, and their redundancy.
    pub(super) fn left_of_lines(&self, solved: &Solved, photo: usize) -> (f64, f64) {
        let Some(beyond) = self.beyond(&solved.state) else {
            return (0.0, 0.0);
        };
        let (mut square, mut redundancy) = (0.0, 0.0);
        for group in self.edges.iter().filter(|group| group.photo == photo) {
            let placed = self.placed(group, &solved.state);
            let by = (&solved.state.cameras[photo], &beyond[photo]);
            let count = group.edges.iter().map(|edge| edge.line + 1).max();
            let mut lines = vec![EdgeRow::none(placed.is_some()); count.unwrap_or(0)];
            for edge in &group.edges {
                if let Some(row) = self.edge_row((group, edge), by, placed.as_ref()) {
                    lines[edge.line].add(&row);
                }
            }
            for line in lines.iter().filter(|line| line.weight > 0.0) {
                square += line.off.powi(2) / line.weight;
                let spread = self.variance_of(solved, group, line) / line.weight;
                redundancy += 1.0 - spread.min(1.0);
            }
        }
        (square, redundancy)
    }

    /// Variance of what a row predicts.
    fn variance_of(&self, solved: &Solved, group: &JointEdges, row: &EdgeRow) -> f64 {
        let photo = &self.photos[group.photo];
        let (first, n) = (photo.first, photo.count);
        let by_camera = row.by_camera.rows(0, n);
        let spread = &solved.spread;
        let own = spread.cameras.view((first, first), (n, n));
        let mut sum = by_camera.dot(&(own * by_camera));
        if let (Some(part), Some(by_part)) = (group.part, &row.by_part) {
            let cross = spread.cross[part].columns(first, n);
            sum += 2.0 * by_part.dot(&(cross * by_camera));
            sum += by_part.dot(&(spread.parts[part] * by_part));
        }
        sum
    }

    fn add_sum(&self, group: &JointEdges, sum: &Sum, normal: &mut Normal) {
        let photo = &self.photos[group.photo];
        let (first, n) = (photo.first, photo.count);
        let mut own = normal.cameras.view_mut((first, first), (n, n));
        own += sum.camera.view((0, 0), (n, n));
        let mut right = normal.right.rows_mut(first, n);
        right += sum.camera_right.rows(0, n);
        let Some(part) = group.part else { return };
        let with = sum.with.columns(0, n);
        if let Some(at) = self.parts[part].first {
            let mut own = normal.cameras.fixed_view_mut::<NINE, NINE>(at, at);
            own += sum.part;
            let mut right = normal.right.fixed_rows_mut::<NINE>(at);
            right += sum.part_right;
            let mut below = normal.cameras.view_mut((at, first), (NINE, n));
            below += with;
            let mut beside = normal.cameras.view_mut((first, at), (n, NINE));
            beside += with.transpose();
            return;
        }
        let block = &mut normal.parts[part];
        block.own += sum.part;
        block.right += sum.part_right;
        let mut columns = block.with.columns_mut(first, n);
        columns += with;
    }
}
