//! The blink picture: render and registered reference in turn, each with its caption.
use super::{
    Error, ViewToDraw,
    board::Board,
    colours::{PAPER, REFERENCE, RENDER, Rgb},
    png,
    raster::Ground,
    reduce::fitted,
    scene::{Box2, Fill, Scene, Stroke},
    text::{self, Font},
};
use image::RgbImage;

/// Widest a frame may be.
const MOST_WIDTH: u32 = 1200;
/// How long a frame is shown, milliseconds.
const SHOWN: u16 = 700;

/// Draws both frames of a view and encodes them.
pub(crate) fn draw(input: &ViewToDraw<'_>) -> Result<Vec<u8>, Error> {
    let board = Board::of(input);
    let (render, reference) = rayon::join(
        || frame(&input.work.render, board.factor, "render", RENDER),
        || {
            frame(
                &input.work.reference,
                board.factor,
                "registered reference",
                REFERENCE,
            )
        },
    );
    png::encode_blink([&render?, &reference?], SHOWN)
}

fn frame(source: &RgbImage, factor: u32, caption: &str, colour: Rgb) -> Result<RgbImage, Error> {
    // Not reduced where it is enlarged: pixels of a small picture are to be seen as they are.
    let most = if factor > 1 { u32::MAX } else { MOST_WIDTH };
    let picture = fitted(source, factor, most);
    let (width, height) = (f64::from(picture.width()), f64::from(picture.height()));
    let mut scene = Scene::new([width, height]);
    let size = 18.0;
    let caption = text::shorten(caption, Font::Bold, size, width - 2.0 * size);
    let tag = Box2::new(
        0.0,
        0.0,
        text::width(&caption, Font::Bold, size) + size * 1.2,
        size * 1.7,
    );
    scene.rectangle(
        tag,
        Some(Stroke::solid(colour, 3.0)),
        Some(Fill::opaque(PAPER)),
    );
    scene.text([size * 0.6, size * 1.2], size, Font::Bold, caption);
    Ground::of(&picture)?.draw(&scene, 1.0)
}
