//! The likeness picture: where both pictures of the model look alike, light, and where they differ, dark; each part with what
//! follows for it.
use super::{
    Error, ViewToDraw,
    board::{Board, Item, Swatch},
    colours::{self, INK, PAPER, Rgb},
    difference::verdict_ink,
    labels::{self, Wanted},
    overlay::{draw_leader, draw_tag},
    raster::Pixel,
    scene::{Box2, Scene, Stroke},
    text::{self, Font},
};
use crate::{
    job::Region,
    kernels::Plane,
    measurement::{Back, EarlierIssue, PartBack, Verdict},
};
use image::RgbImage;

/// Draws the likeness of both pictures of a view.
pub(crate) fn draw(
    input: &ViewToDraw<'_>,
    map: &Plane<u8>,
    found: &EarlierIssue,
) -> Result<RgbImage, Error> {
    let board = Board::of(input);
    let mut scene = Scene::new([board.width, board.picture.height]);
    let parts: Vec<_> = input.view.regions.iter().zip(&found.parts).collect();
    for (region, part) in &parts {
        draw_outline(&mut scene, &board, region, part.back);
    }
    draw_labels(&mut scene, &board, &parts);
    let paint = |y, row: &mut [Pixel]| paint(input, map, y, row);
    board.finish(paint, scene, &legend(&board, found))
}

fn paint(input: &ViewToDraw<'_>, map: &Plane<u8>, y: usize, row: &mut [Pixel]) {
    for (x, pixel) in row.iter_mut().enumerate() {
        let differs = match input.work.common[[y, x]] {
            0 => 0.0,
            _ => 1.0 - f64::from(map[[y, x]]) / 255.0,
        };
        let [red, green, blue] = colours::ramp(differs).channels();
        *pixel = [red, green, blue, 255];
    }
}

/// The colour of what is said of a part: that of the verdict it comes from.
fn ink(back: Back) -> Rgb {
    verdict_ink(match back {
        Back::Back => Verdict::Within,
        Back::NotBack => Verdict::Out,
        Back::LooksOther | Back::CannotTell => Verdict::Undecided,
    })
}

fn draw_outline(scene: &mut Scene, board: &Board, region: &Region, back: Back) {
    let unit = board.text / 14.0;
    let corners: Vec<_> = region.outline.iter().map(|p| board.place(*p)).collect();
    let stroke = match back {
        Back::Back => Stroke::solid(ink(back), unit * 2.0),
        Back::NotBack => Stroke::solid(ink(back), unit * 3.5),
        Back::LooksOther | Back::CannotTell => Stroke::dashed(ink(back), unit * 2.5),
    };
    let halo = Stroke::solid(PAPER, stroke.width + unit * 2.5);
    scene.polygon(corners.clone(), Some(halo), None);
    scene.polygon(corners, Some(stroke), None);
}

fn draw_labels(scene: &mut Scene, board: &Board, parts: &[(&Region, &PartBack)]) {
    let size = board.text;
    let texts: Vec<[(Font, String); 2]> = parts
        .iter()
        .map(|(region, part)| {
            let room = board.picture.width * 0.4;
            let name = text::shorten(&text::clean(&region.name), Font::Bold, size, room);
            let likeness = part.likeness.map_or(String::new(), |v| format!(", {v:.2}"));
            [
                (Font::Bold, name),
                (Font::Regular, format!("{}{likeness}", part.back.words())),
            ]
        })
        .collect();
    let wanted: Vec<Wanted> = parts
        .iter()
        .zip(&texts)
        .map(|((region, _), lines)| {
            let widths = lines
                .iter()
                .map(|(font, line)| text::width(line, *font, size));
            let width = widths.fold(0.0, f64::max) + size * 0.8;
            let corners = region.outline.iter().map(|p| board.place(*p));
            Wanted {
                about: Box2::around(corners).expect("an outline has corners"),
                sizes: vec![[width, size * 2.8]],
            }
        })
        .collect();
    let places = labels::place(board.label_room(), &wanted, &[]);
    for (placed, (_, part)) in places.iter().zip(parts) {
        if let Some(placed) = placed {
            draw_leader(scene, placed, ink(part.back), size);
        }
    }
    for ((placed, (_, part)), lines) in places.iter().zip(parts).zip(&texts) {
        if let Some(placed) = placed {
            draw_tag(scene, placed, ink(part.back), size, lines);
        }
    }
}

fn legend(board: &Board, found: &EarlierIssue) -> Vec<Item> {
    let bar = Swatch::Ramp(board.picture.width.min(board.width) / 4.0);
    let unit = board.text / 14.0;
    vec![
        Item::words("structural similarity of both pictures:  1"),
        Item::new(bar, "0: they have nothing in common"),
        Item::words(format!("all over {:.2}", found.likeness)),
        Item::new(
            Swatch::Line(Stroke::solid(INK, unit * 3.5)),
            "part that is not back",
        ),
        Item::new(
            Swatch::Line(Stroke::dashed(INK, unit * 2.5)),
            "cannot be told",
        ),
        board.scale_bar(),
    ]
}
