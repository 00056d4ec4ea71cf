//! The board that a picture is drawn on: the working raster, enlarged where it is small, and a legend below it.
use super::{
    Error, ViewToDraw,
    colours::{GREY, GROUND, INK, PAPER},
    figures,
    raster::{Enlarged, Ground, Pixel},
    scene::{Box2, Fill, Position, Scene, Stroke},
    text::{self, Font},
};
use crate::frame::{Point, Projective, RenderPx, WorkPx};
use image::RgbImage;

/// Pictures narrower than this are enlarged.
const LEAST_WIDTH: u32 = 900;
/// No picture is enlarged beyond this height.
const MOST_HEIGHT: u32 = 6000;
/// Least width of the board, so that the legend has room beside an extremely narrow picture.
const LEAST_BOARD: f64 = 560.0;

/// Sizes and places on a board. Scene units are pixels of the file.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Board {
    /// Whole factor by which the working raster is enlarged.
    pub factor: u32,
    /// Where the picture lies.
    pub picture: Box2,
    /// Width of the board.
    pub width: f64,
    /// Font size; other sizes follow from it.
    pub text: f64,
    work_from_render: Projective<WorkPx, RenderPx>,
    model_mm_per_render_px: Option<f64>,
}

impl Board {
    /// The board of a view.
    pub(crate) fn of(input: &ViewToDraw<'_>) -> Self {
        let (width, height) = input.work.render.dimensions();
        let factor = enlargement(width, height);
        let picture = Box2::new(
            0.0,
            0.0,
            f64::from(width * factor),
            f64::from(height * factor),
        );
        let board_width = picture.width.max(LEAST_BOARD);
        Self {
            factor,
            picture,
            width: board_width,
            text: (board_width * 14.0 / 1600.0).max(14.0),
            work_from_render: input.work.render_from_work.inverse(),
            model_mm_per_render_px: (input.measurement.scales)
                .model_mm_per_render_px(input.job.scale)
                .map(|scale| scale.value()),
        }
    }

    /// Where labels may lie: a little within the picture, so that none touches its rim.
    pub(crate) fn label_room(&self) -> Box2 {
        self.picture.grown(-self.text * 0.4)
    }

    /// Where a point of the render lies on the board.
    pub(crate) fn place(&self, point: Point<RenderPx>) -> Position {
        let in_work = self.work_from_render.apply(point);
        let factor = f64::from(self.factor);
        [in_work.x * factor, in_work.y * factor]
    }

    /// Board pixels per render pixel.
    pub(crate) fn per_render_px(&self) -> f64 {
        self.work_from_render.rows()[0][0] * f64::from(self.factor)
    }

    /// A scale bar for the legend: model millimetres where the scale is known, else render pixels.
    pub(crate) fn scale_bar(&self) -> Item {
        let wanted = self.picture.width / 8.0;
        let px = wanted / self.per_render_px();
        match self.model_mm_per_render_px {
            Some(mm_per_px) if mm_per_px.is_finite() && mm_per_px > 0.0 => {
                let length = figures::round_down(px * mm_per_px);
                let text = format!("{} mm on the model", figures::plain(length));
                Item::new(Swatch::Bar(length / mm_per_px * self.per_render_px()), text)
            }
            _ => {
                let length = figures::round_down(px);
                let text = format!("{} px of the render", figures::plain(length));
                Item::new(Swatch::Bar(length * self.per_render_px()), text)
            }
        }
    }

    /// A number of render pixels, with the millimetres on the model where the scale is known.
    pub(crate) fn px_and_mm(&self, px: f64) -> String {
        let mm = self
            .model_mm_per_render_px
            .map(|per_px| format!(" = {} mm", figures::plain(px * per_px)));
        format!("{} px{}", figures::plain(px), mm.unwrap_or_default())
    }

    /// Puts the legend below the picture and draws everything over it; `paint` paints the picture row by row, each
    /// pixel of the working grid as one.
    pub(crate) fn finish(
        &self,
        paint: impl Fn(usize, &mut [Pixel]),
        mut scene: Scene,
        legend: &[Item],
    ) -> Result<RgbImage, Error> {
        let strip = self.lay_out(legend);
        let height = self.picture.height + strip.height;
        let area = Box2::new(0.0, self.picture.height, self.width, strip.height);
        scene.rectangle(area, None, Some(Fill::opaque(PAPER)));
        let rule = [0.0, self.picture.height];
        scene.line(
            rule,
            [self.width, rule[1]],
            Stroke::solid(GREY, self.text / 14.0),
        );
        for (item, at) in legend.iter().zip(&strip.places) {
            item.draw(&mut scene, *at, self.text, self.width);
        }
        scene.size = [self.width, height];
        let picture = Enlarged {
            columns: (self.picture.width as u32 / self.factor) as usize,
            rows: (self.picture.height as u32 / self.factor) as usize,
            factor: self.factor as usize,
        };
        let size = [self.width as u32, height as u32];
        Ground::painted(size, GROUND, picture, paint)?.draw(&scene, 1.0)
    }

    /// Flows the items from left to right into rows.
    fn lay_out(&self, legend: &[Item]) -> Strip {
        let (margin, row) = (self.text, self.text * 1.7);
        let (mut x, mut y) = (margin, self.picture.height + self.text * 0.5);
        let mut places = Vec::new();
        for item in legend {
            let width = item.width(self.text);
            if x > margin && x + width > self.width - margin {
                x = margin;
                y += row;
            }
            places.push([x, y]);
            x += width + self.text * 1.8;
        }
        let height = (y + row + self.text * 0.4 - self.picture.height).ceil();
        Strip { places, height }
    }
}

struct Strip {
    places: Vec<Position>,
    height: f64,
}

/// The whole factor that brings a small raster to a readable size.
fn enlargement(width: u32, height: u32) -> u32 {
    let wanted = LEAST_WIDTH.div_ceil(width.max(1));
    let possible = (MOST_HEIGHT / height.max(1)).max(1);
    wanted.min(possible)
}

/// What stands before a legend text.
#[derive(Clone, Copy, Debug)]
pub(crate) enum Swatch {
    Nothing,
    Line(Stroke),
    /// A line that swells: thick beads on a thin line.
    Beads(Stroke),
    Patch(Stroke, Fill),
    /// The same with hatching.
    Hatched(Stroke, Fill),
    Cross(Stroke),
    Circle(Stroke),
    /// A square outline.
    Square(Stroke),
    Arrow(Stroke),
    /// A scale bar of this length.
    Bar(f64),
    /// The ramp of the heat picture, of this length.
    Ramp(f64),
}

/// One entry of a legend.
#[derive(Clone, Debug)]
pub(crate) struct Item {
    swatch: Swatch,
    text: String,
}

impl Item {
    pub(crate) fn new(swatch: Swatch, text: impl Into<String>) -> Self {
        Self {
            swatch,
            text: text.into(),
        }
    }

    /// A line of words alone.
    pub(crate) fn words(text: impl Into<String>) -> Self {
        Self::new(Swatch::Nothing, text)
    }

    fn swatch_width(&self, size: f64) -> f64 {
        match self.swatch {
            Swatch::Nothing => 0.0,
            Swatch::Cross(_) | Swatch::Circle(_) | Swatch::Square(_) => size,
            Swatch::Bar(length) | Swatch::Ramp(length) => length,
            _ => size * 2.4,
        }
    }

    fn width(&self, size: f64) -> f64 {
        let swatch = self.swatch_width(size);
        let space = if swatch > 0.0 { size * 0.5 } else { 0.0 };
        swatch + space + text::width(&self.text, Font::Regular, size)
    }

    fn draw(&self, scene: &mut Scene, [x, y]: Position, size: f64, board: f64) {
        let width = self.swatch_width(size);
        let middle = y + size * 0.85;
        let area = Box2::new(x, y + size * 0.3, width, size * 1.1);
        draw_swatch(scene, self.swatch, area);
        let start = if width > 0.0 {
            x + width + size * 0.5
        } else {
            x
        };
        let room = board - start - size * 0.3;
        let text = text::shorten(&self.text, Font::Regular, size, room);
        let base = middle + size * text::CAPITAL_HEIGHT / 2.0;
        scene.text([start, base], size, Font::Regular, text);
    }
}

fn draw_swatch(scene: &mut Scene, swatch: Swatch, area: Box2) {
    let [x, middle] = area.centre();
    let (left, right) = ([area.x, middle], [area.right(), middle]);
    let corners = vec![
        [area.x, area.y],
        [area.right(), area.y],
        [area.right(), area.bottom()],
        [area.x, area.bottom()],
    ];
    match swatch {
        Swatch::Nothing => {}
        Swatch::Line(stroke) => scene.line(left, right, stroke),
        Swatch::Beads(stroke) => {
            scene.line(
                left,
                right,
                Stroke::solid(stroke.colour, stroke.width * 0.4),
            );
            for i in [0.0, 2.0, 4.0] {
                let at = area.x + area.width * (i + 0.1) / 5.0;
                scene.line([at, middle], [at + area.width / 6.0, middle], stroke);
            }
        }
        Swatch::Patch(stroke, fill) => scene.rectangle(area, Some(stroke), Some(fill)),
        Swatch::Hatched(stroke, fill) => {
            scene.rectangle(area, Some(stroke), Some(fill));
            scene.hatch(
                &corners,
                area.height * 0.6,
                Stroke::solid(stroke.colour, stroke.width * 0.5),
            );
        }
        Swatch::Cross(stroke) => scene.cross([x, middle], area.width * 0.4, stroke),
        Swatch::Circle(stroke) => scene.circle([x, middle], area.width * 0.4, Some(stroke), None),
        Swatch::Square(stroke) => scene.square([x, middle], area.width * 0.4, stroke),
        Swatch::Arrow(stroke) => scene.arrow(left, right, stroke),
        Swatch::Bar(_) => draw_bar(scene, area),
        Swatch::Ramp(length) => {
            let steps = 64;
            let step = length / f64::from(steps);
            for i in 0..steps {
                let colour = super::colours::ramp((f64::from(i) + 0.5) / f64::from(steps));
                // A little wider than a step, so that no ground shines through between two steps.
                let part = Box2::new(
                    area.x + f64::from(i) * step,
                    area.y,
                    step * 1.2,
                    area.height,
                );
                scene.rectangle(part, None, Some(Fill::opaque(colour)));
            }
        }
    }
}

/// A bar with end ticks, its left half filled.
fn draw_bar(scene: &mut Scene, area: Box2) {
    let thickness = area.height * 0.3;
    let top = area.y + (area.height - thickness) / 2.0;
    let stroke = Stroke::solid(INK, area.height * 0.08);
    let whole = Box2::new(area.x, top, area.width, thickness);
    scene.rectangle(whole, Some(stroke), Some(Fill::opaque(PAPER)));
    let half = Box2::new(area.x, top, area.width / 2.0, thickness);
    scene.rectangle(half, None, Some(Fill::opaque(INK)));
    for x in [area.x, area.right()] {
        scene.line(
            [x, area.y + area.height * 0.15],
            [x, area.bottom() - area.height * 0.15],
            stroke,
        );
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn small_pictures_are_enlarged_by_whole_factors() {
        assert_eq!(enlargement(200, 150), 5);
        assert_eq!(enlargement(500, 1400), 2);
        assert_eq!(enlargement(900, 10), 1);
        assert_eq!(enlargement(2400, 1600), 1);
        assert_eq!(enlargement(3, 3000), 2);
    }
}
