//! The heat picture: how far each edge pixel of either image lies from the other's edges.
use super::{
    Error, ViewToDraw,
    board::{Board, Item, Swatch, enlarged},
    colours::{self, GROUND},
    figures,
    scene::{Scene, Stroke},
};
use crate::measurement::WorkImages;
use image::RgbImage;
use rayon::prelude::*;

/// Draws the heat picture of a view.
pub(crate) fn draw(input: &ViewToDraw<'_>) -> Result<RgbImage, Error> {
    let board = Board::of(input);
    let marks = marks(input.work);
    let end = end_of_ramp(&marks);
    let scene = Scene::new([board.width, board.picture.height]);
    let points = points(input.work, &marks, board.factor, end);
    board.finish(&points, scene, &legend(input, &board, end))
}

/// Colour of render edges where the reference has no picture.
const BEYOND_COLOUR: [u8; 3] = [196, 196, 196];

/// Mark of a pixel without an edge.
const NO_EDGE: f32 = -2.0;
/// Mark of an edge where the other image has no picture.
const BEYOND: f32 = -1.0;

/// One mark a pixel, row by row: [`NO_EDGE`], [`BEYOND`], or the distance of the edge there from the other image's
/// edges, working pixels. A larger mark is more important.
fn marks(work: &WorkImages) -> Vec<f32> {
    let columns = work.render_edges.ncols();
    let mut marks = vec![NO_EDGE; work.render_edges.len()];
    marks
        .par_chunks_mut(columns)
        .enumerate()
        .for_each(|(row, marks)| {
            let render = work.render_edges.row(row);
            let reference = work.reference_edges.row(row);
            for (column, mark) in marks.iter_mut().enumerate() {
                let (render, reference) = (render[column] != 0, reference[column] != 0);
                if render || reference {
                    *mark = mark_of(work, [row, column], render, reference);
                }
            }
        });
    marks
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

/// Every edge pixel as a thick point on light grey; where points overlap, the larger distance is seen.
fn points(work: &WorkImages, marks: &[f32], factor: u32, end: f32) -> RgbImage {
    let columns = work.render_edges.ncols();
    // Enlarged pixels are thick enough by themselves.
    let reach = usize::from(factor == 1);
    enlarged(&work.render, factor, |x, y, _| {
        let (x, y) = (x as usize, y as usize);
        let (left, right) = (x.saturating_sub(reach), (x + reach + 1).min(columns));
        let rows = marks
            .chunks_exact(columns)
            .skip(y.saturating_sub(reach))
            .take(y.min(reach) + reach + 1);
        let farthest = rows
            .flat_map(|row| &row[left..right])
            .fold(NO_EDGE, |most, mark| most.max(*mark));
        if farthest >= 0.0 {
            colours::ramp(f64::from(farthest / end)).channels()
        } else if farthest == BEYOND {
            BEYOND_COLOUR
        } else {
            GROUND.channels()
        }
    })
}

/// The 95th percentile of all distances, at least 4: the end of the colour bar, working pixels.
fn end_of_ramp(marks: &[f32]) -> f32 {
    const BINS: usize = 4096;
    let mut histogram = vec![0_usize; BINS];
    for mark in marks.iter().filter(|m| **m >= 0.0 && m.is_finite()) {
        // A quarter of a pixel a bin.
        histogram[((mark * 4.0) as usize).min(BINS - 1)] += 1;
    }
    let total: usize = histogram.iter().sum();
    let mut seen = 0;
    let bin = histogram.iter().position(|count| {
        seen += count;
        seen * 20 >= total * 19
    });
    (bin.unwrap_or(0) as f32 / 4.0).max(4.0)
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
    fn the_colour_bar_ends_at_the_95th_percentile_of_the_edges() {
        let mut marks = vec![NO_EDGE; 1000];
        marks.extend([BEYOND; 50]);
        marks.extend((1..=100).map(|d| d as f32));
        assert_eq!(end_of_ramp(&marks), 95.0);
        assert_eq!(end_of_ramp(&[NO_EDGE, 1.0, f32::INFINITY]), 4.0);
        assert_eq!(end_of_ramp(&[]), 4.0);
    }
}
