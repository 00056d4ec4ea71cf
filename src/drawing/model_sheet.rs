//! The visible edges of a model as lines on a sheet of paper.
use super::{
    DrawingScale, Error, Paper,
    colours::BOTH,
    paper::GAP,
    pdf, ruler,
    scene::{Box2, Position, Scene, Stroke},
    sheet_page::SheetPage,
    text::{self, Font},
    title_block::{self, TitleBlock},
    window::simple_scale,
};
use crate::{job, meshes::Drawing};
use std::borrow::Cow;

/// What a sheet of a model's edges says and how large it is.
#[derive(Clone, Debug)]
pub struct ModelSheet<'a> {
    /// The title: what the mesh is called.
    pub title: &'a str,
    /// From where it is seen, such as "camera pump-camera.json".
    pub seen: &'a str,
    /// Its size.
    pub paper: Paper,
    /// Pixels of the drawing for a millimetre of the model, where that is the same everywhere: without perspective.
    pub px_per_mm: Option<f64>,
}

/// Width of a line, paper millimetres.
const LINE: f64 = 0.18;
/// Height of the row with the bar.
const FOOT: f64 = 9.0;

/// The visible edges as a PDF of one page: to a scale of ISO 5455 where the model is seen without perspective (true scale where it
/// fits and does not come out tiny), else as large as they fit.
///
/// # Errors
/// [`Error::Pdf`] where the document cannot be written, and [`Error::Stopped`].
pub fn model_sheet(drawing: &Drawing, sheet: &ModelSheet<'_>) -> Result<Vec<u8>, Error> {
    let page = title_block::content(sheet.paper);
    let content = Box2::new(page.x, page.y, page.width, page.height - FOOT);
    let points = drawing.lines.iter().flat_map(|line| &line.points);
    let (width, height) = drawing.picture.dimensions();
    let seen = Box2::around(points.map(|point| point.xy()));
    let seen = seen.unwrap_or(Box2::new(0.0, 0.0, f64::from(width), f64::from(height)));
    let mm_per_px =
        (content.width / seen.width.max(1.0)).min(content.height / seen.height.max(1.0));
    let scale = sheet.px_per_mm.and_then(|px| simple_scale(mm_per_px * px));
    let mm_per_px = match (scale, sheet.px_per_mm) {
        (Some(scale), Some(px_per_mm)) => scale.ratio() / px_per_mm,
        _ => mm_per_px,
    };
    let ([from_x, from_y], [to_x, to_y]) = (seen.centre(), content.centre());
    let on_paper = |[x, y]: Position| {
        [
            to_x + (x - from_x) * mm_per_px,
            to_y + (y - from_y) * mm_per_px,
        ]
    };
    let mut scene = Scene::new(sheet.paper.size_mm());
    for line in &drawing.lines {
        let points = line.points.iter().map(|point| on_paper(point.xy()));
        scene.polyline(points.collect(), Stroke::solid(BOTH, LINE));
    }
    draw_foot(&mut scene, page, scale);
    let stated = job::TitleBlock::default();
    let block = TitleBlock {
        title: Cow::Borrowed(sheet.title),
        about: sheet.seen.to_owned(),
        document: "drawing of the model",
        scale: scale.map_or("not to scale".to_owned(), |scale| scale.to_string()),
        paper: sheet.paper,
        date: "",
        file: Cow::Borrowed(sheet.title),
        stated: &stated,
    };
    let number_at = block.draw(&mut scene);
    let title = text::clean(sheet.title);
    let page = SheetPage {
        chapter: title.clone(),
        name: title.clone(),
        title,
        scene,
        pictures: Vec::new(),
        number_at,
    };
    pdf::sheets_pdf(1, [Ok(page.into())])
}

/// At which scale it is drawn, and the bar by which a print is checked.
fn draw_foot(scene: &mut Scene, page: Box2, scale: Option<DrawingScale>) {
    let y = page.bottom() - FOOT + GAP * 0.5;
    let left = page.right() - BAR - GAP;
    let words = match scale {
        Some(DrawingScale::FULL_SIZE) => "true model scale".to_owned(),
        Some(scale) => format!("scale {scale} of the model"),
        None => "seen in perspective: no scale holds for all of it".to_owned(),
    };
    let words = format!("{words}; the bar is 100 mm long when printed at 100 %");
    let room = left - GAP - page.x;
    for (k, line) in text::lines(&words, Font::Regular, 2.4, room)
        .into_iter()
        .enumerate()
    {
        let at = [page.x, y + 2.0 + 3.2 * k as f64];
        scene.text(at, 2.4, Font::Regular, line);
    }
    ruler::draw(scene, [left, y], 10);
}

/// Length of the bar.
const BAR: f64 = 100.0;

#[cfg(test)]
mod tests {
    use super::*;
    use crate::drawing::scene::{Align, Shape};

    #[test]
    fn the_words_at_the_foot_keep_clear_of_the_bar_on_every_paper() {
        for paper in [Paper::A4, Paper::A4.portrait(), Paper::LETTER.portrait()] {
            for scale in [None, Some(DrawingScale::FULL_SIZE)] {
                let page = title_block::content(paper);
                let mut scene = Scene::new(paper.size_mm());
                draw_foot(&mut scene, page, scale);
                for shape in scene.shapes() {
                    if let Shape::Text(line) = shape
                        && line.align == Align::Start
                    {
                        let end = line.at[0] + text::width(&line.text, line.font, line.size);
                        assert!(end < page.right() - BAR - GAP, "{line:?}");
                        assert!(line.at[1] < page.bottom(), "{line:?}");
                    }
                }
            }
        }
    }
}
