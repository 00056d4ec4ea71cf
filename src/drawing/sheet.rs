//! The sheet: render and registered reference side by side, the edges of both with numbered parts, the worst measures,
//! the corrections and a title block, on one page. Scene units are paper millimetres.
use super::{
    Error, ViewToDraw,
    backdrop::Backdrop,
    board::Board,
    colours::{INK, PAPER},
    difference::verdict_ink,
    labels::{self, Wanted},
    paper::{GAP, MARGIN},
    png,
    raster::{self, Ground},
    reduce::{cut, fitted, stretched},
    scene::{Align, Box2, Fill, Line, Position, Scene, Stroke},
    sheet_text,
    table::{self, Row},
    text::{self, Font},
    title_block,
    window::{self, Window},
};
use image::RgbImage;
use std::{borrow::Cow, sync::Arc};

/// A sheet of one view, ready for print.
#[derive(Clone, Debug)]
pub struct SheetPage {
    pub(crate) title: String,
    pub(crate) scene: Scene,
    pub(crate) pictures: Vec<raster::Keyed>,
}

impl SheetPage {
    /// Width and height of the paper, millimetres.
    pub fn size_mm(&self) -> [f64; 2] {
        self.scene.size
    }
}

/// Height of a caption over a picture.
const CAPTION: f64 = 5.0;
/// Least height of table and corrections below the pictures.
const TEXT_HEIGHT: f64 = 48.0;
/// Embedded pictures have no more pixels than this per inch of paper.
const MOST_DOTS: f64 = 300.0;
/// Resolution of the sheet as a picture.
const DOTS: f64 = 150.0;

/// How the three pictures and the text share the page.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Arrangement {
    /// Three in a row, text below.
    Row,
    /// Two above, one below with the text beside it.
    Block,
    /// Three in a row, text beside them.
    Side,
}

impl Arrangement {
    /// The largest picture it has room for, captions not counted.
    fn cell(self, content: Box2) -> [f64; 2] {
        let row = |width: f64| (width - 2.0 * GAP) / 3.0;
        match self {
            Self::Row => [
                row(content.width),
                content.height - CAPTION - GAP - TEXT_HEIGHT,
            ],
            Self::Block => [
                ((content.width - GAP) / 2.0).min(content.width - GAP - table::WIDTH),
                (content.height - GAP) / 2.0 - CAPTION,
            ],
            Self::Side => [
                row(content.width - GAP - table::WIDTH),
                content.height - CAPTION,
            ],
        }
    }

    /// The three pictures and the place of the text.
    ///
    /// The third need not keep the scale of the others: it takes what room they and a text of `text_height` leave.
    fn places(
        self,
        content: Box2,
        [width, height]: [f64; 2],
        text_height: f64,
    ) -> ([Box2; 3], Box2) {
        let column = width + GAP;
        let below = height + CAPTION + GAP;
        let (x, y) = match self {
            Self::Row | Self::Side => (2.0 * column, 0.0),
            Self::Block => (0.0, below),
        };
        let room = match self {
            Self::Row => [
                content.width - x,
                content.height - CAPTION - GAP - text_height,
            ],
            Self::Side | Self::Block => [
                content.width - x - GAP - table::WIDTH,
                content.height - y - CAPTION,
            ],
        };
        let growth = (room[0] / width).min(room[1] / height).max(1.0);
        let at = |x: f64, y: f64, growth: f64| {
            let (left, top) = (content.x + x, content.y + y + CAPTION);
            Box2::new(left, top, width * growth, height * growth)
        };
        let third = at(x, y, growth);
        let text = match self {
            Self::Row => {
                let top = third.bottom() + GAP;
                Box2::new(content.x, top, content.width, content.bottom() - top)
            }
            Self::Side | Self::Block => {
                let (left, top) = (third.right() + GAP, content.y + y);
                // Where the third picture is narrow the second one still stands above the text.
                Box2::new(left, top, content.right() - left, content.bottom() - top)
            }
        };
        ([at(0.0, 0.0, 1.0), at(column, 0.0, 1.0), third], text)
    }
}

/// The arrangement that shows the part that matters largest.
fn arrange(input: &ViewToDraw<'_>, content: Box2) -> Arrangement {
    let focus = window::focus(input);
    let size = |arrangement: Arrangement| {
        let [width, height] = arrangement.cell(content);
        (width / focus.width).min(height / focus.height)
    };
    [Arrangement::Row, Arrangement::Side]
        .into_iter()
        .fold(Arrangement::Block, |best, other| {
            if size(other) > size(best) {
                other
            } else {
                best
            }
        })
}

/// The sheet of a view, for print with the pages behind it where not all has room, and as a PNG of 150 dots per inch.
pub(crate) fn draw(
    input: &ViewToDraw<'_>,
    backdrop: &Backdrop,
) -> Result<(Vec<SheetPage>, Vec<u8>), Error> {
    let layout = lay_out(input);
    let shown = shown(input, backdrop, &layout);
    let placed = || shown.iter().map(Cow::as_ref).zip(layout.places);
    let (pictures, png) = rayon::join(|| embedded(&shown), || picture(&layout.scene, placed()));
    let page = |scene: Scene, pictures| SheetPage {
        title: text::clean(&input.job.title),
        scene,
        pictures,
    };
    let mut pages = vec![page(layout.scene, pictures?)];
    pages.extend(
        layout
            .in_full
            .into_iter()
            .map(|scene| page(scene, Vec::new())),
    );
    Ok((pages, png?))
}

/// What stands where on a sheet.
pub(crate) struct Layout {
    pub scene: Scene,
    /// The pages behind it: all that is said of the view, where some of it has no room.
    pub in_full: Vec<Scene>,
    /// Where the pictures of [`KEYS`] lie.
    places: [Box2; 3],
    window: Window,
}

/// The pictures of a sheet, by which the scene refers to them.
const KEYS: [&str; 3] = ["render", "reference", "edges"];

/// Lays out the sheet of a view. The paper itself is not drawn.
pub(crate) fn lay_out(input: &ViewToDraw<'_>) -> Layout {
    let paper = input.paper.size_mm();
    let mut scene = Scene::new(paper);
    let sheet = Box2::new(0.0, 0.0, paper[0], paper[1]);
    let inside = sheet.grown(-MARGIN);
    let block = Box2::new(
        inside.x,
        inside.bottom() - title_block::HEIGHT,
        inside.width,
        title_block::HEIGHT,
    );
    let content = Box2::new(
        inside.x,
        inside.y,
        inside.width,
        inside.height - block.height - GAP * 0.8,
    );

    let arrangement = arrange(input, content);
    let window = window::choose(input, arrangement.cell(content));
    let rows = table::rows(input);
    let (places, words) = arrangement.places(
        content,
        window.paper(),
        table::height(&rows).max(TEXT_HEIGHT),
    );
    let edges = edges_caption(places[2].width / places[0].width);
    let captions = ["render", "registered reference", edges.as_str()];
    for ((place, caption), key) in places.into_iter().zip(captions).zip(KEYS) {
        draw_picture(&mut scene, place, caption, key);
    }
    draw_numbers(&mut scene, input, &window, &rows, places[2]);
    let has_words = draw_words(&mut scene, input, &rows, words);
    let has_statements = title_block::draw(&mut scene, input, &window, block);
    let in_full = if has_words && has_statements {
        Vec::new()
    } else {
        sheet_text::pages(input, &rows)
    };
    Layout {
        scene,
        in_full,
        places,
        window,
    }
}

/// The three pictures, cut and reduced to what the print can show.
fn shown<'a>(
    input: &ViewToDraw<'a>,
    backdrop: &'a Backdrop,
    layout: &Layout,
) -> [Cow<'a, RgbImage>; 3] {
    let factor = Board::of(input).factor;
    let most = |width: f64| (width / 25.4 * MOST_DOTS).ceil().max(1.0) as u32;
    let sources = [
        &input.work.render,
        &input.work.reference,
        &backdrop.edges_over_render,
    ];
    std::array::from_fn(|i| {
        let most = most(layout.places[i].width);
        match cut(sources[i], layout.window.crop) {
            Cow::Borrowed(whole) => fitted(whole, factor, most),
            Cow::Owned(part) => Cow::Owned(fitted(&part, factor, most).into_owned()),
        }
    })
}

/// The pictures as they are embedded in a document.
fn embedded(shown: &[Cow<'_, RgbImage>; 3]) -> Result<Vec<raster::Keyed>, Error> {
    let [render, reference, edges] = shown;
    let jpegs = [
        png::encode_photo(render)?,
        png::encode_photo(reference)?,
        png::encode_jpeg(edges)?,
    ];
    let keyed = KEYS.into_iter().zip(jpegs);
    Ok(keyed.map(|(key, jpeg)| (key, Arc::new(jpeg))).collect())
}

/// A sheet as a picture of 150 dots per inch, with its pictures at their places.
pub(crate) fn picture<'a>(
    scene: &Scene,
    shown: impl Iterator<Item = (&'a RgbImage, Box2)>,
) -> Result<Vec<u8>, Error> {
    let scale = DOTS / 25.4;
    let dots = |mm: f64| (mm * scale).round() as u32;
    let mut ground = Ground::plain(scene.size.map(dots), PAPER)?;
    for (picture, place) in shown {
        // To whole dots: the frame round a picture is wider than what that moves.
        let (left, top) = (dots(place.x), dots(place.y));
        let width = dots(place.right()).saturating_sub(left).max(1);
        let height = dots(place.bottom()).saturating_sub(top).max(1);
        ground.lay(&stretched(picture, width, height), [left, top]);
    }
    png::encode_png_at(&ground.draw(scene, scale)?, DOTS)
}

/// The third picture may be larger than the others: then it says so.
fn edges_caption(growth: f64) -> String {
    if growth > 1.05 {
        format!("edges of both, {growth:.1}× larger")
    } else {
        "edges of both, numbered".to_owned()
    }
}

fn draw_picture(scene: &mut Scene, place: Box2, caption: &str, key: &'static str) {
    let caption = text::shorten(caption, Font::Bold, 2.8, place.width + GAP - 1.0);
    scene.text([place.x, place.y - 1.5], 2.8, Font::Bold, caption);
    scene.picture(key, place);
    scene.rectangle(place, Some(Stroke::solid(INK, 0.2)), None);
}

/// Outlines of the regions on the third picture, each with its number in the table.
fn draw_numbers(
    scene: &mut Scene,
    input: &ViewToDraw<'_>,
    window: &Window,
    rows: &[Row],
    place: Box2,
) {
    let work_from_render = input.work.render_from_work.inverse();
    let on_paper = |p| {
        let [x, y] = work_from_render.apply(p).xy();
        let [left, top] = [window.crop[0], window.crop[1]].map(f64::from);
        let scale = place.width / f64::from(window.crop[2]);
        [place.x + (x - left) * scale, place.y + (y - top) * scale]
    };
    let (mut wanted, mut numbers) = (Vec::new(), Vec::new());
    for (rank, row) in rows.iter().enumerate() {
        let Some(region) = row.region.map(|index| &input.view.regions[index]) else {
            continue;
        };
        let outline: Vec<Position> = region.outline.iter().map(|p| on_paper(*p)).collect();
        // A part that sticks out of the window would be drawn over the neighbouring picture.
        let Some(about) = Box2::around(outline.iter().copied()).filter(|b| place.holds(*b)) else {
            continue;
        };
        let [x, y] = about.centre();
        wanted.push(Wanted {
            about: Box2::new(x, y, 0.0, 0.0),
            sizes: vec![[4.0, 3.2], [3.0, 2.6]],
        });
        scene.polygon(
            outline,
            Some(Stroke::solid(verdict_ink(row.verdict), 0.3)),
            None,
        );
        numbers.push((rank + 1, row.verdict));
    }
    let places = labels::place(place, &wanted, &[]);
    for (placed, (number, verdict)) in places.into_iter().zip(numbers) {
        let Some(placed) = placed else { continue };
        let rim = Stroke::solid(verdict_ink(verdict), 0.2);
        if let Some([from, to]) = placed.leader {
            scene.line(from, to, rim);
        }
        scene.rectangle(placed.area, Some(rim), Some(Fill::opaque(PAPER)));
        let size = placed.area.height * 0.75;
        scene.styled(Line {
            text: number.to_string(),
            at: [placed.area.centre()[0], placed.area.bottom() - size * 0.31],
            size,
            font: Font::Bold,
            align: Align::Middle,
            colour: INK,
            halo: 0.0,
        });
    }
}

/// Table and corrections: side by side where there is width for both, else one below the other; whether all is there.
fn draw_words(scene: &mut Scene, input: &ViewToDraw<'_>, rows: &[Row], area: Box2) -> bool {
    if area.width > table::WIDTH + GAP + 90.0 {
        let width = (area.width * 0.58).max(table::WIDTH);
        let left = Box2::new(area.x, area.y, width, area.height);
        let (_, has_rows) = table::draw(scene, input, rows, left);
        let x = area.x + width + GAP;
        let rest = Box2::new(x, area.y, area.right() - x, area.height);
        return table::draw_corrections(scene, input, rest) && has_rows;
    }
    let width = area.width.min(190.0);
    let upper = Box2::new(area.x, area.y, width, area.height * 0.58);
    let (end, has_rows) = table::draw(scene, input, rows, upper);
    let y = end + GAP * 0.6;
    let lower = Box2::new(area.x, y, width, area.bottom() - y);
    table::draw_corrections(scene, input, lower) && has_rows
}
