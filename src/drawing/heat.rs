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

/// Draws the heat picture of a view.
pub(crate) fn draw(input: &ViewToDraw<'_>) -> Result<RgbImage, Error> {
    let board = Board::of(input);
    let end = end_of_ramp(input.work);
    let scene = Scene::new([board.width, board.picture.height]);
    board.finish(
        &points(input.work, board.factor, end),
        scene,
        &legend(input, &board, end),
    )
}

/// Colour of render edges where the reference has no picture.
const BEYOND: [u8; 3] = [196, 196, 196];

/// Every edge pixel as a thick point on light grey; where points overlap, the larger distance is seen.
fn points(work: &WorkImages, factor: u32, end: f32) -> RgbImage {
    let (rows, columns) = work.render_edges.dim();
    // Enlarged pixels are thick enough by themselves.
    let reach = usize::from(factor == 1);
    enlarged(&work.render, factor, |x, y, _| {
        let (x, y) = (x as usize, y as usize);
        let mut farthest: Option<f32> = None;
        let mut beyond = false;
        for row in y.saturating_sub(reach)..=(y + reach).min(rows - 1) {
            for column in x.saturating_sub(reach)..=(x + reach).min(columns - 1) {
                match distance(work, row, column) {
                    Edge::None => {}
                    Edge::Beyond => beyond = true,
                    Edge::At(d) => farthest = Some(farthest.map_or(d, |f| f.max(d))),
                }
            }
        }
        match farthest {
            Some(d) => colours::ramp(f64::from(d / end)).channels(),
            None if beyond => BEYOND,
            None => GROUND.channels(),
        }
    })
}

enum Edge {
    None,
    /// An edge of the render where the other image has no picture.
    Beyond,
    /// Distance from the other image's edges, working pixels.
    At(f32),
}

fn distance(work: &WorkImages, row: usize, column: usize) -> Edge {
    let at = [row, column];
    let render = work.render_edges[at] != 0;
    let reference = work.reference_edges[at] != 0;
    if !render && !reference {
        return Edge::None;
    }
    if work.common[at] == 0 {
        return Edge::Beyond;
    }
    let from_render = if render {
        work.distance_to_reference_edges[at]
    } else {
        0.0
    };
    let from_reference = if reference {
        work.distance_to_render_edges[at]
    } else {
        0.0
    };
    Edge::At(from_render.max(from_reference))
}

/// The 95th percentile of all distances, at least 4: the end of the colour bar, working pixels.
fn end_of_ramp(work: &WorkImages) -> f32 {
    const BINS: usize = 4096;
    let mut histogram = vec![0_usize; BINS];
    for row in 0..work.render_edges.nrows() {
        for column in 0..work.render_edges.ncols() {
            if let Edge::At(d) = distance(work, row, column)
                && d.is_finite()
            {
                // A quarter of a pixel a bin.
                histogram[((d * 4.0) as usize).min(BINS - 1)] += 1;
            }
        }
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
        let [r, g, b] = BEYOND;
        let stroke = Stroke::solid(colours::Rgb(r, g, b), board.text / 4.0);
        items.push(Item::new(Swatch::Line(stroke), "outside of the reference"));
    }
    items.push(board.scale_bar());
    items
}
