//! What several pictures of a view are painted from, made once for all of them.
use super::{
    ViewToDraw, board::Board, edge_pixels::EdgePixels, edges_over_render::edges_over_render,
    raster::Pixel,
};
use crate::kernels::{Plane, gray};
use image::RgbImage;

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
        let edges_over_render = edges_over_render(work, &edges, &dimmed, Board::of(input).factor);
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
    fn black_and_white_both_become_light_greys() {
        let render = RgbImage::from_fn(2, 1, |x, _| image::Rgb([255 * x as u8; 3]));
        assert_eq!(dimmed(&render), ndarray::arr2(&[[140, 236]]));
    }
}
