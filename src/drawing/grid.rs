//! The grid picture: a square grid bent by the deformation that takes the subject to the model.
//!
//! # Source
//! D'Arcy W. Thompson, "On Growth and Form", 1917 (deformation of a square grid); F. L. Bookstein 1989 (the spline).
use super::{
    Error, ViewToDraw,
    backdrop::Backdrop,
    board::{Board, Item, Swatch},
    colours::{GREY, INK, PAPER, REFERENCE, RENDER},
    figures, marks,
    overlay::is_wrong,
    raster::Pixel,
    scene::{Align, Box2, Fill, Line, Position, Scene, Stroke},
    text::{self, Font},
};
use crate::{
    frame::{Point, RenderPx},
    job::LandmarkUse,
    measurement::thin_plate::ThinPlate,
};
use image::RgbImage;

/// Pairs below which a spline shows nothing that the registration did not already take away.
const LEAST_PAIRS: usize = 4;
/// Squares along the longer side of the grid.
const SQUARES: f64 = 20.0;

/// Draws the grid picture of a view.
pub(crate) fn draw(input: &ViewToDraw<'_>, backdrop: &Backdrop) -> Result<RgbImage, Error> {
    let board = Board::of(input);
    let mut scene = Scene::new([board.width, board.picture.height]);
    let legend = match Deformation::of(input, &board) {
        Ok(deformation) => {
            deformation.draw(&board, &mut scene);
            deformation.legend(&board)
        }
        Err(why) => {
            write_across(&mut scene, &board, &why);
            vec![Item::words("no grid"), board.scale_bar()]
        }
    };
    let paint = |y, row: &mut [Pixel]| backdrop.paint_dimmed(y, row);
    board.finish(paint, scene, &legend)
}

struct Deformation {
    /// Registered reference marks and render marks, render pixels.
    from: Vec<[f64; 2]>,
    to: Vec<[f64; 2]>,
    usage: Vec<LandmarkUse>,
    spline: ThinPlate,
    factor: f64,
    left_out: usize,
}

impl Deformation {
    /// The spline through all marks that are not known to be wrong, or why there is none.
    fn of(input: &ViewToDraw<'_>, board: &Board) -> Result<Self, String> {
        let fits = &input.measurement.registration.landmarks;
        let sound = |i: usize| fits.get(i).is_none_or(|fit| !is_wrong(fit));
        let kept: Vec<usize> = (0..input.pairs.len()).filter(|i| sound(*i)).collect();
        if kept.len() < LEAST_PAIRS {
            return Err(format!(
                "{} usable landmark{}: the grid needs {LEAST_PAIRS} or more. Mark more landmarks.",
                kept.len(),
                if kept.len() == 1 { "" } else { "s" }
            ));
        }
        let pair = |i: &usize| input.pairs[*i];
        let from: Vec<_> = kept.iter().map(|i| pair(i).reference.xy()).collect();
        let to: Vec<_> = kept.iter().map(|i| pair(i).render.xy()).collect();
        let spline = ThinPlate::fit(&from, &to, 0.0).ok_or(
            "The landmarks lie on one line or coincide: the grid needs landmarks spread over the picture.",
        )?;
        let largest = from
            .iter()
            .zip(&to)
            .map(|(a, b)| (a[0] - b[0]).hypot(a[1] - b[1]))
            .fold(0.0, f64::max);
        let wanted = board.picture.width.min(board.picture.height) / 20.0;
        Ok(Self {
            factor: figures::exaggeration(largest * board.per_render_px(), wanted),
            left_out: input.pairs.len() - kept.len(),
            usage: kept
                .iter()
                .map(|i| input.view.landmarks[*i].usage)
                .collect(),
            from,
            to,
            spline,
        })
    }

    /// Where the subject's point shows in the exaggerated model, on the board.
    fn bent(&self, board: &Board, p: [f64; 2]) -> Position {
        let q = self.spline.map(p);
        let shift = |k: usize| p[k] + self.factor * (q[k] - p[k]);
        board.place(Point::<RenderPx>::new(shift(0), shift(1)))
    }

    fn draw(&self, board: &Board, scene: &mut Scene) {
        let unit = board.text / 14.0;
        let straight = Stroke::dotted(REFERENCE, unit * 1.3);
        let bent = Stroke::solid(RENDER, unit * 2.0);
        let lines = self.lines();
        for line in &lines {
            let ends = [line[0], line[line.len() - 1]];
            let ends = ends.map(|[x, y]| board.place(Point::new(x, y)));
            scene.line(ends[0], ends[1], straight);
        }
        for line in &lines {
            let points: Vec<Position> = line.iter().map(|p| self.bent(board, *p)).collect();
            scene.polyline(points.clone(), Stroke::solid(PAPER, unit * 3.5));
            scene.polyline(points, bent);
        }
        for (from, usage) in self.from.iter().zip(&self.usage) {
            let start = board.place(Point::new(from[0], from[1]));
            let end = self.bent(board, *from);
            marks::outline(
                scene,
                *usage,
                start,
                unit * 5.0,
                Stroke::solid(PAPER, unit * 4.0),
            );
            let stroke = Stroke::solid(REFERENCE, unit * 2.0);
            marks::outline(scene, *usage, start, unit * 5.0, stroke);
            if (start[0] - end[0]).hypot(start[1] - end[1]) > unit * 7.0 {
                scene.rimmed_arrow(start, end, Stroke::solid(INK, unit * 2.2));
            }
        }
    }

    /// Grid lines over the marks and a little beyond, as points along each; outside of it a spline only guesses.
    fn lines(&self) -> Vec<Vec<[f64; 2]>> {
        let all = self.from.iter().chain(&self.to).copied();
        let Some(marks) = Box2::around(all) else {
            return Vec::new();
        };
        let area = marks.grown(marks.width.max(marks.height) * 0.08);
        let step = area.width.max(area.height) / SQUARES;
        let (columns, rows) = ((area.width / step).round(), (area.height / step).round());
        let (columns, rows) = (columns.max(1.0), rows.max(1.0));
        let at = |i: f64, j: f64| [area.x + i * step, area.y + j * step];
        let along = |cells: f64| (0..=(cells as usize * 4)).map(|k| k as f64 / 4.0);
        let upright =
            (0..=columns as usize).map(|i| along(rows).map(|j| at(i as f64, j)).collect());
        let level = (0..=rows as usize).map(|j| along(columns).map(|i| at(i, j as f64)).collect());
        upright.chain(level).collect()
    }

    fn legend(&self, board: &Board) -> Vec<Item> {
        let unit = board.text / 14.0;
        let factor = figures::plain(self.factor);
        let mut items = vec![
            Item::new(
                Swatch::Line(Stroke::dotted(REFERENCE, unit * 1.5)),
                "square grid on the subject",
            ),
            Item::new(
                Swatch::Line(Stroke::solid(RENDER, unit * 2.5)),
                format!("the same grid on the model, differences {factor} times exaggerated"),
            ),
        ];
        let stroke = Stroke::solid(REFERENCE, unit * 2.0);
        let count = |of| self.usage.iter().filter(|usage| **usage == of).count();
        let [datums, checks] = [LandmarkUse::Datum, LandmarkUse::Check].map(count);
        items.extend(marks::legend(stroke, datums, checks));
        items.push(Item::new(
            Swatch::Arrow(Stroke::solid(INK, unit * 2.0)),
            "towards the landmark of the render",
        ));
        if self.left_out > 0 {
            items.push(Item::words(format!(
                "wrong or exchanged marks, left out here: {}",
                self.left_out
            )));
        }
        items.push(board.scale_bar());
        items
    }
}

/// A message in the middle of the picture.
fn write_across(scene: &mut Scene, board: &Board, words: &str) {
    let size = board.text * 1.3;
    let lines = text::wrap(words, Font::Regular, size, board.picture.width * 0.8, 8);
    let widths = lines
        .iter()
        .map(|line| text::width(line, Font::Regular, size));
    let width = widths.fold(0.0, f64::max) + size * 2.0;
    let height = size * (1.4 * lines.len() as f64 + 1.0);
    let [x, y] = board.picture.centre();
    let area = Box2::new(x - width / 2.0, y - height / 2.0, width, height);
    scene.rectangle(
        area,
        Some(Stroke::solid(GREY, size / 12.0)),
        Some(Fill::opaque(PAPER)),
    );
    for (i, line) in lines.into_iter().enumerate() {
        scene.styled(Line {
            text: line,
            at: [x, area.y + size * (1.5 + 1.4 * i as f64)],
            size,
            font: Font::Regular,
            align: Align::Middle,
            colour: INK,
            halo: 0.0,
        });
    }
}
