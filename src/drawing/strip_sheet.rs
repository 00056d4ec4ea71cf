//! The strip on paper: all marks of a view or a part, over as many pages as they take.
use super::{
    Error, ViewToDraw,
    paper::GAP,
    print_picture::{self, Content},
    scene::Scene,
    sheet::About,
    sheet_page::SheetPage,
    strip::{CELL, PITCH, Row, Strip},
    text,
    title_block::{self, TitleBlock},
};

/// Paper millimetres a unit of the strip: its smallest words are 2.3 mm high then.
const UNIT: f64 = 0.22;

/// The sheets of a view or a part.
pub(crate) fn pages(input: &ViewToDraw<'_>, about: About) -> Result<Vec<SheetPage>, Error> {
    let region = match about {
        About::View => None,
        About::Part(region) => Some(region),
    };
    let strip = Strip::of(input, region);
    let words = strip.words(input);
    let content = title_block::content(input.paper);
    let room = content.width / UNIT + PITCH - CELL;
    let columns = ((room / PITCH).floor() as usize).max(1);
    let mut rows = strip.cells.chunks(columns).map(Row::of).peekable();
    let scale = "not to scale".to_owned();
    let subject = about.words(input);
    let block = TitleBlock::of_view(input, &subject, "mark by mark", scale);
    let mut sheets = Vec::new();
    loop {
        crate::stop::check()?;
        let mut scene = Scene::new(input.paper.size_mm());
        let mut shown = Vec::new();
        let mut y = strip.draw_head(&mut scene, content, UNIT, &words) + GAP * 0.5;
        let top = y;
        let has_room =
            |y: f64, row: &Row<'_, '_>| y == top || y + row.height() * UNIT <= content.bottom();
        while let Some(row) = rows.next_if(|row| has_room(y, row)) {
            strip.draw_row(
                &mut scene,
                [content.x, y],
                UNIT,
                &row,
                &mut |scene, patch, place| {
                    scene.picture(key(shown.len()), place);
                    shown.push(patch);
                },
            );
            y += row.height() * UNIT + GAP * 0.5;
        }
        let number_at = block.draw(&mut scene);
        let embedded = (shown.into_iter().enumerate())
            .map(|(k, patch)| print_picture::embedded(key(k), patch, Content::Photo));
        sheets.push(SheetPage {
            title: text::clean(&input.job.title),
            chapter: text::clean(&input.view.name),
            name: text::clean(&about.bookmark(input, "mark by mark")),
            scene,
            pictures: embedded.collect::<Result<_, Error>>()?,
            number_at,
        });
        if rows.peek().is_none() {
            return Ok(sheets);
        }
    }
}

/// By what the scene refers to a patch.
fn key(k: usize) -> String {
    format!("patch {k}")
}
