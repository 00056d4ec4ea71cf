//! The edges of both images over the dimmed render: what the overlay, the sheet and the page show.
use super::{
    colours::{BOTH, REFERENCE, REFERENCE_LIGHT, RENDER},
    edge_pixels::EdgePixels,
};
use crate::{kernels::Plane, measurement::WorkImages};
use image::RgbImage;
use rayon::prelude::*;

/// The dimmed render with the edges of both images on it, on the working grid; `factor` is how much it is enlarged later.
///
/// Edges of the render are solid, those of the reference beaded (thick and thin in turn), coinciding ones black.
pub(crate) fn edges_over_render(
    work: &WorkImages,
    edges: &EdgePixels,
    dimmed: &Plane<u8>,
    factor: u32,
) -> RgbImage {
    let (width, height) = work.render.dimensions();
    let mut picture = RgbImage::new(width, height);
    picture
        .par_chunks_mut((width * 3) as usize)
        .enumerate()
        .for_each(|(y, row)| {
            let (row, _) = row.as_chunks_mut::<3>();
            for (pixel, &grey) in row.iter_mut().zip(dimmed.row(y)) {
                *pixel = [grey; 3];
            }
            // What is painted later lies over what was painted before. Enlarged pixels are thick enough by themselves.
            if factor == 1 {
                thicken_reference(work, edges, y, row);
                thicken_render(work, edges, y, row);
            }
            paint_edges(work, edges, y, factor, row);
        });
    picture
}

/// Edges of both images that are this near to one another coincide: one pixel, also diagonally (working pixels).
const COINCIDE: f32 = 1.5;

/// Whether an edge pixel of the reference gives way to the render's edge that it coincides with.
fn is_hidden(work: &WorkImages, x: usize, y: usize) -> bool {
    work.distance_to_render_edges[[y, x]] < COINCIDE
}

fn render_edge_colour(work: &WorkImages, x: usize, y: usize) -> [u8; 3] {
    if work.distance_to_reference_edges[[y, x]] < COINCIDE {
        BOTH.channels()
    } else {
        RENDER.channels()
    }
}

/// The edge pixels of row `y` themselves.
fn paint_edges(work: &WorkImages, edges: &EdgePixels, y: usize, factor: u32, row: &mut [[u8; 3]]) {
    for &x in edges.reference[y]
        .iter()
        .filter(|x| !is_hidden(work, **x, y))
    {
        // Enlarged lines cannot swell: they alternate in lightness instead, which a grey print shows too.
        let light = factor > 1 && !(x / 3 + y / 3).is_multiple_of(2);
        row[x] = if light { REFERENCE_LIGHT } else { REFERENCE }.channels();
    }
    for &x in &edges.render[y] {
        row[x] = render_edge_colour(work, x, y);
    }
}

/// Paints the neighbours, in row `y`, of the render's edge pixels.
fn thicken_render(work: &WorkImages, edges: &EdgePixels, y: usize, row: &mut [[u8; 3]]) {
    for near in [y + 1, y.wrapping_sub(1)] {
        for &x in edges.render.get(near).into_iter().flatten() {
            row[x] = render_edge_colour(work, x, near);
        }
    }
    for &x in edges.render[y].iter().filter(|x| **x > 0) {
        row[x - 1] = render_edge_colour(work, x, y);
    }
    for &x in &edges.render[y] {
        if let Some(pixel) = row.get_mut(x + 1) {
            *pixel = render_edge_colour(work, x, y);
        }
    }
}

/// Side of the cells in which the reference's edges are thick or thin, pixels.
const BEAD: usize = 8;

/// Paints the neighbours, in row `y`, of the reference's edge pixels, in every other cell.
fn thicken_reference(work: &WorkImages, edges: &EdgePixels, y: usize, row: &mut [[u8; 3]]) {
    let mut paint = |x: usize| {
        if (x / BEAD + y / BEAD).is_multiple_of(2)
            && let Some(pixel) = row.get_mut(x)
        {
            *pixel = REFERENCE.channels();
        }
    };
    for near in [y.wrapping_sub(1), y + 1] {
        for &x in edges.reference.get(near).into_iter().flatten() {
            if !is_hidden(work, x, near) {
                paint(x);
            }
        }
    }
    for &x in edges.reference[y]
        .iter()
        .filter(|x| !is_hidden(work, **x, y))
    {
        paint(x.wrapping_sub(1));
        paint(x + 1);
    }
}
