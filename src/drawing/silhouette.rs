//! The silhouettes of both images: what only the model has, what only the subject has, and the figures.
use super::{
    Error, ViewToDraw,
    board::{Board, Item, Swatch},
    colours::{GREY, GROUND, REFERENCE, RENDER, Rgb},
    raster::Pixel,
    scene::{Fill, Scene, Stroke},
};
use crate::{kernels::Plane, measurement::Silhouettes};
use image::RgbImage;

/// Grey of what both have.
const BOTH_INSIDE: Rgb = Rgb(200, 200, 200);

/// Draws the silhouettes of a view that has both.
pub(crate) fn draw(input: &ViewToDraw<'_>, silhouettes: &Silhouettes) -> Result<RgbImage, Error> {
    let board = Board::of(input);
    let scene = Scene::new([board.width, board.picture.height]);
    board.finish(
        |y, row| paint(silhouettes, y, row),
        scene,
        &legend(input, &board),
    )
}

/// Grey where both are; the model's surplus is solid, what it lacks is striped, which a grey print shows too.
fn paint(silhouettes: &Silhouettes, y: usize, row: &mut [Pixel]) {
    for (x, pixel) in row.iter_mut().enumerate() {
        let at = [y, x];
        let is_in = |plane: &Plane<u8>| plane[at] != 0;
        let colour = match (is_in(&silhouettes.render), is_in(&silhouettes.reference)) {
            _ if !is_in(&silhouettes.covered) => GROUND,
            (true, true) => BOTH_INSIDE,
            (true, false) => RENDER,
            (false, true) if ((x + y) / 2).is_multiple_of(2) => REFERENCE,
            (false, true) | (false, false) => GROUND,
        };
        let [red, green, blue] = colour.channels();
        *pixel = [red, green, blue, 255];
    }
}

fn legend(input: &ViewToDraw<'_>, board: &Board) -> Vec<Item> {
    let rim = Stroke::solid(GREY, board.text / 14.0);
    let mut items = vec![
        Item::new(
            Swatch::Patch(rim, Fill::opaque(RENDER)),
            "model beyond the subject",
        ),
        Item::new(
            Swatch::Hatched(rim, Fill::opaque(REFERENCE)),
            "subject beyond the model",
        ),
    ];
    if let Some(s) = &input.measurement.silhouette {
        items.push(Item::words(format!("overlap {:.3}", s.overlap)));
        items.push(Item::words(format!(
            "model beyond the outline by {} on average",
            board.px_and_mm(s.mean_px)
        )));
        items.push(Item::words(format!(
            "95 % within {}, at most {}",
            board.px_and_mm(s.p95_px),
            board.px_and_mm(s.max_px)
        )));
    }
    items.push(board.scale_bar());
    items
}
