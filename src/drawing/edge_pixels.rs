//! Where the edges of both images lie, row by row.
use crate::{kernels::Plane, measurement::WorkImages};
use rayon::prelude::*;

/// The columns of the edge pixels, row by row: few pixels are edges, so pictures look at these alone.
pub(crate) struct EdgePixels {
    pub render: Vec<Vec<usize>>,
    pub reference: Vec<Vec<usize>>,
}

impl EdgePixels {
    pub(crate) fn of(work: &WorkImages) -> Self {
        Self {
            render: marked_columns(&work.render_edges),
            reference: marked_columns(&work.reference_edges),
        }
    }
}

fn marked_columns(plane: &Plane<u8>) -> Vec<Vec<usize>> {
    // Runs without an edge are passed over as a whole.
    const RUN: usize = 32;
    let of_row = |row: &[u8]| {
        let mut columns = Vec::new();
        for (start, run) in (0..).step_by(RUN).zip(row.chunks(RUN)) {
            if run.iter().fold(0, |all, value| all | value) != 0 {
                let marked = run.iter().enumerate().filter(|(_, value)| **value != 0);
                columns.extend(marked.map(|(x, _)| start + x));
            }
        }
        columns
    };
    (0..plane.nrows())
        .into_par_iter()
        .map(|y| match plane.row(y).to_slice() {
            Some(row) => of_row(row),
            None => of_row(&plane.row(y).to_vec()),
        })
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn edge_pixels_are_found_wherever_they_lie_in_a_row() {
        let mut plane = Plane::zeros((3, 70));
        for at in [[0, 0], [0, 69], [2, 31], [2, 32], [2, 64]] {
            plane[at] = 255;
        }
        let expected = vec![vec![0, 69], vec![], vec![31, 32, 64]];
        assert_eq!(marked_columns(&plane), expected);
        let turned = plane.t().to_owned().reversed_axes();
        assert_eq!(marked_columns(&turned), expected);
    }
}
