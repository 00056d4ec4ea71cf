//! The overlay: edges of both images over the dimmed render, and the landmarks where both put them.
use super::{
    Error, ViewToDraw,
    backdrop::Backdrop,
    board::{Board, Item, Swatch},
    colours::{BOTH, INK, PAPER, REFERENCE, RENDER, Rgb, WRONG},
    labels::{self, Wanted},
    marks,
    raster::paint_row,
    scene::{Box2, Fill, Position, Scene, Stroke},
    text::{self, Font},
};
use crate::{
    job::LandmarkUse,
    registration::{Finding, LandmarkFit},
};
use image::RgbImage;

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

/// Whether a mark is known to be wrong.
pub(crate) fn is_wrong(fit: &LandmarkFit) -> bool {
    matches!(
        fit.finding,
        Some(
            Finding::Wrong
                | Finding::SwappedWith(_)
                | Finding::Contradicts(_)
                | Finding::WrongPlace
        )
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
                let other = name_of(input.view, other);
                format!("{}: exchanged with {other}", landmark.name)
            }
            Some(Finding::Contradicts(other)) => {
                let other = name_of(input.view, other);
                format!("{} or {other}: wrong mark", landmark.name)
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
    let places = labels::place(board.label_room(), &wanted, &obstacles);
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

/// The name of a landmark.
pub(crate) fn name_of(view: &crate::job::View, landmark: usize) -> &str {
    view.landmarks
        .get(landmark)
        .map_or("another", |l| l.name.as_str())
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
    let fits = &input.measurement.registration.landmarks;
    let is_exchanged = |fit: &&LandmarkFit| matches!(fit.finding, Some(Finding::SwappedWith(_)));
    let wrong = fits
        .iter()
        .filter(|fit| is_wrong(fit) && !is_exchanged(fit));
    let exchanged = fits.iter().filter(is_exchanged);
    for (count, what) in [
        (wrong.count(), "wrong mark, left out"),
        (
            exchanged.count(),
            "exchanged marks, taken the other way round",
        ),
    ] {
        if count > 0 {
            let ring = Stroke::dashed(WRONG.darker(0.85), unit * 2.0);
            items.push(Item::new(Swatch::Circle(ring), format!("{what} ({count})")));
        }
    }
    items.push(board.scale_bar());
    items
}
