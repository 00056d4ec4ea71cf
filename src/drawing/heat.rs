//! The heat picture: how far each edge pixel of either image lies from the other's edges.
use super::{
    Error, ViewToDraw,
    backdrop::Backdrop,
    board::{Board, Item, Swatch},
    colours::{self, GROUND},
    edge_pixels::EdgePixels,
    figures,
    raster::Pixel,
    scene::{Scene, Stroke},
};
use crate::measurement::WorkImages;
use image::RgbImage;
use rayon::prelude::*;

/// Draws the heat picture of a view.
pub(crate) fn draw(input: &ViewToDraw<'_>, backdrop: &Backdrop) -> Result<RgbImage, Error> {
    let board = Board::of(input);
    let marks = marks(input.work, &backdrop.edges);
    let distances = marks.iter().flatten().map(|mark| mark.distance);
    let end = end_of_ramp(distances, farthest_counterpart(input, &board));
    let scene = Scene::new([board.width, board.picture.height]);
    // Enlarged pixels are thick enough by themselves.
    let reach = usize::from(board.factor == 1);
    let paint = |y, row: &mut [Pixel]| paint_points(&marks, y, reach, end, row);
    board.finish(paint, scene, &legend(input, &board, end))
}

/// Colour of render edges where the reference has no picture.
const BEYOND_COLOUR: [u8; 3] = [201, 176, 146];

/// Mark of a pixel without an edge.
const NO_EDGE: f32 = -2.0;
/// Mark of an edge where the other image has no picture.
const BEYOND: f32 = -1.0;

/// An edge pixel in its row.
#[derive(Clone, Copy, Debug)]
struct Mark {
    column: usize,
    /// Distance from the other image's edges, working pixels, or [`BEYOND`]. A larger one is more important.
    distance: f32,
}

/// The edge pixels of both images, row by row.
fn marks(work: &WorkImages, edges: &EdgePixels) -> Vec<Vec<Mark>> {
    let mark = |row, column, render, reference| Mark {
        column,
        distance: mark_of(work, [row, column], render, reference),
    };
    (0..work.render_edges.nrows())
        .into_par_iter()
        .map(|row| {
            let render = edges.render[row].iter().map(|&column| {
                let reference = work.reference_edges[[row, column]] != 0;
                mark(row, column, true, reference)
            });
            let alone = |column: &&usize| work.render_edges[[row, **column]] == 0;
            let reference = edges.reference[row].iter().filter(alone);
            render
                .chain(reference.map(|&column| mark(row, column, false, true)))
                .collect()
        })
        .collect()
}

fn mark_of(work: &WorkImages, at: [usize; 2], render: bool, reference: bool) -> f32 {
    if work.common[at] == 0 {
        return BEYOND;
    }
    let from_reference = if render {
        work.distance_to_reference_edges[at]
    } else {
        0.0
    };
    let from_render = if reference {
        work.distance_to_render_edges[at]
    } else {
        0.0
    };
    from_reference.max(from_render)
}

/// Row `y` of the picture: every edge pixel as a point `reach` pixels thick to each side, on light grey; where points
/// overlap, the larger distance is seen.
fn paint_points(marks: &[Vec<Mark>], y: usize, reach: usize, end: f32, row: &mut [Pixel]) {
    let mut farthest = vec![NO_EDGE; row.len()];
    let rows = &marks[y.saturating_sub(reach)..(y + reach + 1).min(marks.len())];
    for mark in rows.iter().flatten() {
        let (left, right) = (mark.column.saturating_sub(reach), mark.column + reach + 1);
        for most in &mut farthest[left..right.min(row.len())] {
            *most = most.max(mark.distance);
        }
    }
    for (pixel, farthest) in row.iter_mut().zip(farthest) {
        let [red, green, blue] = if farthest >= 0.0 {
            colours::ramp(f64::from(farthest / end)).channels()
        } else if farthest == BEYOND {
            BEYOND_COLOUR
        } else {
            GROUND.channels()
        };
        *pixel = [red, green, blue, 255];
    }
}

/// An edge that lies farther off than so many tolerances has no counterpart: it is a fold of the paper, or somebody else's line.
const TOLERANCES_TO_A_COUNTERPART: f64 = 5.0;

/// The same in working pixels; infinite where no edges were compared.
fn farthest_counterpart(input: &ViewToDraw<'_>, board: &Board) -> f32 {
    let overlap = input.measurement.edge_overlap.as_ref();
    let work_px = board.per_render_px() / f64::from(board.factor);
    overlap.map_or(f32::INFINITY, |overlap| {
        (TOLERANCES_TO_A_COUNTERPART * overlap.tolerance_px * work_px) as f32
    })
}

/// The 95th percentile of all distances, at least 4 and at most `most`: the end of the colour bar, working pixels.
fn end_of_ramp(distances: impl Iterator<Item = f32>, most: f32) -> f32 {
    const BINS: usize = 4096;
    let mut histogram = vec![0_usize; BINS];
    for distance in distances.filter(|d| *d >= 0.0 && d.is_finite()) {
        // A quarter of a pixel a bin.
        histogram[((distance * 4.0) as usize).min(BINS - 1)] += 1;
    }
    let total: usize = histogram.iter().sum();
    let mut seen = 0;
    let bin = histogram.iter().position(|count| {
        seen += count;
        seen * 20 >= total * 19
    });
    (bin.unwrap_or(0) as f32 / 4.0).min(most).max(4.0)
}

fn legend(input: &ViewToDraw<'_>, board: &Board, end: f32) -> Vec<Item> {
    let end_px = f64::from(end) * f64::from(board.factor) / board.per_render_px();
    let bar = Swatch::Ramp(board.picture.width.min(board.width) / 4.0);
    let mut items = vec![
        Item::words("distance of each edge from the other image's edges:  0"),
        Item::new(bar, format!("{} and more", board.px_and_mm(end_px))),
    ];
    if let Some(overlap) = &input.measurement.edge_overlap {
        items.push(Item::words(format!(
            "edge overlap {:.2} (chance {:.2}), mean distance {}",
            overlap.score,
            overlap.chance,
            board.px_and_mm(overlap.mean_distance_px)
        )));
        let tolerance = figures::plain(overlap.tolerance_px);
        items.push(Item::words(format!(
            "counted as coinciding up to {tolerance} px"
        )));
    } else {
        items.push(Item::words("no edges to compare"));
    }
    if input.work.common.iter().any(|v| *v == 0) {
        let [r, g, b] = BEYOND_COLOUR;
        let stroke = Stroke::solid(colours::Rgb(r, g, b), board.text / 4.0);
        items.push(Item::new(Swatch::Line(stroke), "outside of the reference"));
    }
    items.push(board.scale_bar());
    items
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_bar_ends_at_the_95th_percentile_of_the_edges_that_have_a_counterpart() {
        let beyond = std::iter::repeat_n(BEYOND, 1000);
        let all = || beyond.clone().chain((1..=100).map(|d| d as f32));
        assert_eq!(end_of_ramp(all(), f32::INFINITY), 95.0);
        assert_eq!(end_of_ramp(all(), 12.0), 12.0);
        assert_eq!(end_of_ramp([1.0, f32::INFINITY].into_iter(), 9.0), 4.0);
        assert_eq!(end_of_ramp(std::iter::empty(), 9.0), 4.0);
    }
}
