//! The overlay: edges of both images over the dimmed render, and the landmarks where both put them.
use super::{
    Error, ViewToDraw,
    backdrop::{Backdrop, EdgePixels},
    board::{Board, Item, Swatch},
    colours::{BOTH, INK, PAPER, REFERENCE, RENDER, Rgb, SPAN, WRONG},
    labels::{self, Wanted},
    marks,
    raster::paint_row,
    scene::{Box2, Fill, Position, Scene, Stroke},
    text::{self, Font},
};
use crate::{
    job::LandmarkUse,
    kernels::Plane,
    measurement::WorkImages,
    registration::{Finding, LandmarkFit},
};
use image::RgbImage;
use rayon::prelude::*;

/// Draws the overlay of a view.
pub(crate) fn draw(input: &ViewToDraw<'_>, backdrop: &Backdrop) -> Result<RgbImage, Error> {
    let board = Board::of(input);
    let mut scene = Scene::new([board.width, board.picture.height]);
    draw_landmarks(input, &board, &mut scene);
    label_wrong_ones(input, &board, &mut scene);
    board.finish(
        |y, row| paint_row(&backdrop.edges_over_render, y, row),
        scene,
        &legend(input, &board),
    )
}

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
        row[x] = if light { SPAN } else { REFERENCE }.channels();
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

/// Whether a mark is known to be wrong.
pub(crate) fn is_wrong(fit: &LandmarkFit) -> bool {
    matches!(
        fit.finding,
        Some(Finding::Wrong | Finding::SwappedWith(_) | Finding::WrongPlace)
    )
}

/// A cross for the render's mark, for the reference's a circle where it is datum and a square where it is check, a line
/// between them; a dashed ring around marks that cannot be right.
fn draw_landmarks(input: &ViewToDraw<'_>, board: &Board, scene: &mut Scene) {
    let unit = board.text / 14.0;
    let fits = input.measurement.registration.landmarks.iter();
    for ((pair, fit), landmark) in input.pairs.iter().zip(fits).zip(&input.view.landmarks) {
        let (render, reference) = (board.place(pair.render), board.place(pair.reference));
        let halo = Stroke::solid(PAPER, unit * 4.5);
        scene.cross(render, unit * 6.0, halo);
        let usage = landmark.usage;
        marks::outline(scene, usage, reference, unit * 7.0, halo);
        let colour = |normal| {
            if is_wrong(fit) {
                WRONG.darker(0.85)
            } else {
                normal
            }
        };
        scene.line(render, reference, Stroke::solid(colour(INK), unit * 1.5));
        let stroke = Stroke::solid(colour(REFERENCE), unit * 2.2);
        marks::outline(scene, usage, reference, unit * 7.0, stroke);
        scene.cross(
            render,
            unit * 6.0,
            Stroke::solid(colour(RENDER), unit * 2.2),
        );
        if is_wrong(fit) {
            let ring = Stroke::dashed(WRONG.darker(0.85), unit * 2.5);
            scene.circle(reference, unit * 15.0, Some(ring), None);
        }
    }
}

fn label_wrong_ones(input: &ViewToDraw<'_>, board: &Board, scene: &mut Scene) {
    let size = board.text;
    let ring = size * 1.1;
    let (mut wanted, mut texts) = (Vec::new(), Vec::new());
    let fits = input.measurement.registration.landmarks.iter();
    let all = input.view.landmarks.iter().zip(input.pairs).zip(fits);
    for ((landmark, pair), fit) in all.filter(|(_, fit)| is_wrong(fit)) {
        let [x, y] = board.place(pair.reference);
        let what = match fit.finding {
            Some(Finding::SwappedWith(other)) => {
                let other = input
                    .view
                    .landmarks
                    .get(other)
                    .map_or("another", |l| l.name.as_str());
                format!("{}: swapped with {other}", landmark.name)
            }
            Some(Finding::WrongPlace) => format!("{}: wrong place on the model", landmark.name),
            _ => format!("{}: wrong mark", landmark.name),
        };
        let what = text::shorten(&what, Font::Bold, size, board.picture.width * 0.45);
        let width = text::width(&what, Font::Bold, size) + size * 0.8;
        wanted.push(Wanted {
            about: Box2::new(x - ring, y - ring, ring * 2.0, ring * 2.0),
            sizes: vec![[width, size * 1.5]],
        });
        texts.push(what);
    }
    let obstacles: Vec<Box2> = wanted.iter().map(|w| w.about).collect();
    let places = labels::place(board.picture, &wanted, &obstacles);
    let rim = WRONG.darker(0.85);
    for placed in places.iter().flatten() {
        draw_leader(scene, placed, rim, size);
    }
    for (placed, what) in places.iter().zip(texts) {
        if let Some(placed) = placed {
            draw_tag(
                scene,
                placed,
                WRONG.darker(0.85),
                size,
                &[(Font::Bold, what)],
            );
        }
    }
}

/// The leader of a label; to be drawn before all boxes, so that it passes below those of other labels.
pub(crate) fn draw_leader(scene: &mut Scene, placed: &labels::Placed, rim: Rgb, size: f64) {
    if let Some([from, to]) = placed.leader {
        scene.line(from, to, Stroke::solid(PAPER, size / 4.0));
        scene.line(from, to, Stroke::solid(rim, size / 10.0));
        scene.circle(to, size / 5.0, None, Some(Fill::opaque(rim)));
    }
}

/// A label box with its lines of text.
pub(crate) fn draw_tag(
    scene: &mut Scene,
    placed: &labels::Placed,
    rim: Rgb,
    size: f64,
    lines: &[(Font, String)],
) {
    let stroke = Stroke::solid(rim, size / 10.0);
    let paper = Fill {
        colour: PAPER,
        opacity: 0.93,
    };
    scene.rectangle(placed.area, Some(stroke), Some(paper));
    for (i, (font, line)) in lines.iter().enumerate() {
        let at: Position = [
            placed.area.x + size * 0.4,
            placed.area.y + size * (1.1 + 1.25 * i as f64),
        ];
        scene.text(at, size, *font, line.as_str());
    }
}

fn legend(input: &ViewToDraw<'_>, board: &Board) -> Vec<Item> {
    let unit = board.text / 14.0;
    let line = |colour| Stroke::solid(colour, unit * 3.0);
    let mark = |colour| Stroke::solid(colour, unit * 2.0);
    let mut items = vec![
        Item::new(Swatch::Line(line(RENDER)), "edge of the render"),
        Item::new(Swatch::Beads(line(REFERENCE)), "edge of the reference"),
        Item::new(Swatch::Line(line(BOTH)), "both (within 1 px)"),
    ];
    if !input.pairs.is_empty() {
        let checks = input
            .view
            .landmarks
            .iter()
            .filter(|l| l.usage == LandmarkUse::Check)
            .count();
        let datums = input.view.landmarks.len() - checks;
        items.push(Item::new(
            Swatch::Cross(mark(RENDER)),
            "landmark in the render",
        ));
        items.extend(marks::legend(mark(REFERENCE), datums, checks));
    }
    if input
        .measurement
        .registration
        .landmarks
        .iter()
        .any(is_wrong)
    {
        let ring = Stroke::dashed(WRONG.darker(0.85), unit * 2.0);
        items.push(Item::new(Swatch::Circle(ring), "wrong mark, left out"));
    }
    items.push(board.scale_bar());
    items
}
