//! What several pictures of a view are painted from, made once for all of them.
use super::{ViewToDraw, board::Board, overlay, raster::Pixel};
use crate::{
    kernels::{Plane, gray},
    measurement::WorkImages,
};
use image::RgbImage;
use rayon::prelude::*;

/// The grounds and edge pixels that pictures share, on the working grid.
pub(crate) struct Backdrop {
    /// The render, lightened towards grey.
    pub dimmed: Plane<u8>,
    /// The edge pixels of both images.
    pub edges: EdgePixels,
    /// The dimmed render with the edges of both images over it.
    pub edges_over_render: RgbImage,
}

impl Backdrop {
    pub(crate) fn of(input: &ViewToDraw<'_>) -> Self {
        let work = input.work;
        let edges = EdgePixels::of(work);
        let dimmed = dimmed(&work.render);
        let edges_over_render =
            overlay::edges_over_render(work, &edges, &dimmed, Board::of(input).factor);
        Self {
            dimmed,
            edges,
            edges_over_render,
        }
    }

    /// Paints row `y` of the dimmed render.
    pub(crate) fn paint_dimmed(&self, y: usize, row: &mut [Pixel]) {
        for (pixel, &grey) in row.iter_mut().zip(self.dimmed.row(y)) {
            *pixel = [grey, grey, grey, 255];
        }
    }
}

/// The columns of the edge pixels, row by row: few pixels are edges, so pictures look at these alone.
pub(crate) struct EdgePixels {
    pub render: Vec<Vec<usize>>,
    pub reference: Vec<Vec<usize>>,
}

impl EdgePixels {
    fn of(work: &WorkImages) -> Self {
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

/// A grey of 140 to 236 for any colour, so that black, white and colours all show on it.
fn dimmed(render: &RgbImage) -> Plane<u8> {
    let mut dimmed = gray::luma(render);
    dimmed.mapv_inplace(|luma| (140 + u32::from(luma) * 96 / 255) as u8);
    dimmed
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

    #[test]
    fn black_and_white_both_become_light_greys() {
        let render = RgbImage::from_fn(2, 1, |x, _| image::Rgb([255 * x as u8; 3]));
        assert_eq!(dimmed(&render), ndarray::arr2(&[[140, 236]]));
    }
}
