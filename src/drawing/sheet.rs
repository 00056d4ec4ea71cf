//! The sheet of a view, or of a part of it: render and registered reference side by side, the edges of both, the figures, the
//! corrections and what they rest on, on one page, with pages behind it where not all has room. Scene units are paper millimetres.
use super::{
    Error, ViewToDraw,
    arrangement::{Arrangement, TEXT_HEIGHT},
    backdrop::Backdrop,
    colours::{INK, PAPER},
    difference::verdict_ink,
    flow,
    labels::{self, Wanted},
    paper::GAP,
    part_words, png,
    print_picture::{self, CAPTION, Content},
    raster::Ground,
    reduce::stretched,
    scene::{Align, Box2, Fill, Line, Position, Scene, Stroke},
    sheet_page::SheetPage,
    sheet_text,
    table::{self, Row},
    text::{self, Font},
    title_block::TitleBlock,
    view_block,
    window::{self, Fit, Window},
};
use crate::frame::{Point, RenderPx};
use image::RgbImage;
use std::borrow::Cow;

/// Resolution of the sheet as a picture.
const DOTS: f64 = 150.0;

/// What of a view a sheet is about.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum About {
    View,
    /// The region of this index.
    Part(usize),
}

impl About {
    /// In words, for the title block.
    pub(crate) fn words(self, input: &ViewToDraw<'_>) -> String {
        let name = &input.view.name;
        // The one that "new" gives says it by itself.
        let view = if name.starts_with("view") {
            name.clone()
        } else {
            format!("view {name}")
        };
        match self {
            Self::View => view,
            Self::Part(part) => format!("{}, {view}", input.view.regions[part].name),
        }
    }

    /// What matters of the pictures, working pixels.
    pub(crate) fn focus(self, input: &ViewToDraw<'_>) -> Box2 {
        match self {
            Self::View => window::focus(input),
            Self::Part(part) => window::focus_on(input, part),
        }
    }

    /// What a bookmark calls it.
    pub(crate) fn bookmark(self, input: &ViewToDraw<'_>, view: &str) -> String {
        match self {
            Self::View => view.to_owned(),
            Self::Part(part) => input.view.regions[part].name.clone(),
        }
    }

    fn document(self) -> &'static str {
        match self {
            Self::View => "comparison sheet",
            Self::Part(_) => "part in detail",
        }
    }
}

/// The sheets about a view, for print, with those behind the first where not all has room.
pub(crate) fn pages(
    input: &ViewToDraw<'_>,
    backdrop: &Backdrop,
    about: About,
) -> Result<Vec<SheetPage>, Error> {
    let layout = lay_out(input, about);
    let pictures = layout.pictures(input, backdrop);
    layout.pages(input, &pictures)
}

/// The same of the whole view, and its sheet as a PNG of 150 dots per inch.
pub(crate) fn draw(
    input: &ViewToDraw<'_>,
    backdrop: &Backdrop,
) -> Result<(Vec<SheetPage>, Vec<u8>), Error> {
    let layout = lay_out(input, About::View);
    let pictures = layout.pictures(input, backdrop);
    let placed = || pictures.iter().map(Cow::as_ref).zip(layout.places);
    let (pages, png) = rayon::join(
        || layout.pages(input, &pictures),
        || picture(&layout.scene, placed()),
    );
    Ok((pages?, png?))
}

/// What stands where on a sheet.
pub(crate) struct Layout {
    pub scene: Scene,
    /// The pages behind it: all that is said, where some of it has no room.
    pub behind: Vec<SheetPage>,
    /// Where the pictures of [`KEYS`] lie.
    places: [Box2; 3],
    window: Window,
    bookmark: String,
    number_at: Position,
}

/// The pictures of a sheet, by which the scene refers to them.
const KEYS: [&str; 3] = ["render", "reference", "edges"];

/// Lays out the sheet. The paper itself is not drawn.
pub(crate) fn lay_out(input: &ViewToDraw<'_>, about: About) -> Layout {
    let mut scene = Scene::new(input.paper.size_mm());
    let content = view_block::content(input.paper);
    let focus = about.focus(input);
    let arrangement = Arrangement::best(content, focus);
    let fit = match about {
        About::View => Fit::TrueScale,
        About::Part(_) => Fit::DrawingScale,
    };
    let window = window::choose(input, focus, arrangement.cell(content), fit);
    let rows = table::rows(input);
    let size = window.paper();
    let (places, words) = match about {
        About::View => view_places(input, &rows, arrangement, size),
        About::Part(part) => {
            let needed = part_words::height(input, part, content.width);
            let (places, words) = arrangement.places(content, size, needed.max(TEXT_HEIGHT), 0.0);
            (places, Words::Together(words))
        }
    };
    let edges = edges_caption(about, places[2].width / places[0].width);
    let captions = ["render", "registered reference", edges.as_str()];
    for ((place, caption), key) in places.into_iter().zip(captions).zip(KEYS) {
        print_picture::draw(&mut scene, place, (caption, GAP - 1.0), key);
    }
    let block = TitleBlock::of_view(
        input,
        &about.words(input),
        about.document(),
        window.scale_words(),
    );
    let head = format!("{}, {}, in full", input.job.title, about.words(input));
    let bookmark = about.bookmark(input, "sheet");
    let chapter = input.view.name.as_str();
    let (number_at, behind) = match about {
        About::View => {
            draw_numbers(&mut scene, input, &window, &rows, places[2]);
            let has_words = words.draw(&mut scene, input, &rows);
            let verdict = input.measurement.verdict;
            let has_statements = view_block::draw(&mut scene, input, &window, verdict);
            let number_at = block.draw(&mut scene);
            let behind = match has_words && has_statements {
                true => Vec::new(),
                false => flow::sheets(sheet_text::in_full(input, &rows), (chapter, &head), &block),
            };
            (number_at, behind)
        }
        About::Part(part) => {
            draw_outlines(&mut scene, input, part, &window, &places);
            let has_words = part_words::draw(&mut scene, input, part, words.area());
            let verdict = input.measurement.regions[part].verdict;
            let has_statements = view_block::draw(&mut scene, input, &window, verdict);
            let number_at = block.draw(&mut scene);
            let behind = match has_words && has_statements {
                true => Vec::new(),
                false => flow::sheets(part_words::in_full(input, part), (chapter, &head), &block),
            };
            (number_at, behind)
        }
    };
    Layout {
        scene,
        behind,
        places,
        window,
        bookmark,
        number_at,
    }
}

impl Layout {
    /// The three pictures, cut and reduced to what the print can show.
    fn pictures<'a>(
        &self,
        input: &ViewToDraw<'a>,
        backdrop: &'a Backdrop,
    ) -> [Cow<'a, RgbImage>; 3] {
        let sources = [
            &input.work.render,
            &input.work.reference,
            &backdrop.edges_over_render,
        ];
        std::array::from_fn(|i| {
            print_picture::for_print(sources[i], self.window.crop, self.places[i].width)
        })
    }

    fn pages(
        &self,
        input: &ViewToDraw<'_>,
        pictures: &[Cow<'_, RgbImage>; 3],
    ) -> Result<Vec<SheetPage>, Error> {
        let kinds = [Content::Photo, Content::Photo, Content::Lines];
        let embedded = pictures.iter().zip(KEYS).zip(kinds);
        let embedded =
            embedded.map(|((picture, key), kind)| print_picture::embedded(key, picture, kind));
        let mut pages = vec![SheetPage {
            title: text::clean(&input.job.title),
            chapter: text::clean(&input.view.name),
            name: text::clean(&self.bookmark),
            scene: self.scene.clone(),
            pictures: embedded.collect::<Result<_, Error>>()?,
            number_at: self.number_at,
        }];
        pages.extend(self.behind.iter().cloned());
        Ok(pages)
    }
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
fn edges_caption(about: About, growth: f64) -> String {
    match about {
        _ if growth > 1.05 => format!("edges of both, {growth:.1}× larger"),
        About::View => "edges of both, numbered".to_owned(),
        About::Part(_) => "edges of both".to_owned(),
    }
}

/// Where a point of the render lies on a picture of the sheet.
fn on_paper(
    input: &ViewToDraw<'_>,
    window: &Window,
    place: Box2,
) -> impl Fn(&Point<RenderPx>) -> Position {
    let work_from_render = input.work.render_from_work.inverse();
    let [left, top] = [window.crop[0], window.crop[1]].map(f64::from);
    let scale = place.width / f64::from(window.crop[2]);
    move |p| {
        let [x, y] = work_from_render.apply(*p).xy();
        [place.x + (x - left) * scale, place.y + (y - top) * scale]
    }
}

/// The outline of a part on all pictures: where it is in the render, dashed where the reference shows what it should be.
fn draw_outlines(
    scene: &mut Scene,
    input: &ViewToDraw<'_>,
    part: usize,
    window: &Window,
    places: &[Box2; 3],
) {
    for (place, key) in places.iter().zip(KEYS) {
        let outline = input.view.regions[part].outline.iter();
        let outline: Vec<Position> = outline.map(on_paper(input, window, *place)).collect();
        let about = Box2::around(outline.iter().copied());
        // A part that sticks out of the window would be drawn over what stands beside it.
        if about.is_none_or(|about| !place.holds(about)) {
            continue;
        }
        let line = |colour, width| match key {
            "reference" => Stroke::dashed(colour, width),
            _ => Stroke::solid(colour, width),
        };
        scene.polygon(outline.clone(), Some(Stroke::solid(PAPER, 0.6)), None);
        scene.polygon(outline, Some(line(INK, 0.25)), None);
    }
}

/// Outlines of the regions on the third picture, each with its number in the table.
fn draw_numbers(
    scene: &mut Scene,
    input: &ViewToDraw<'_>,
    window: &Window,
    rows: &[Row],
    place: Box2,
) {
    let on_paper = on_paper(input, window, place);
    let (mut wanted, mut numbers) = (Vec::new(), Vec::new());
    for (rank, row) in rows.iter().enumerate() {
        let Some(region) = row.region.map(|index| &input.view.regions[index]) else {
            continue;
        };
        let outline: Vec<Position> = region.outline.iter().map(&on_paper).collect();
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

/// Width of the table where the corrections stand beside it; `None` where both stand below each other.
fn table_beside(width: f64) -> Option<f64> {
    (width > table::WIDTH + GAP + 90.0).then(|| (width * 0.58).max(table::WIDTH))
}

/// Widest that table and corrections below each other are: longer lines are hard to read.
const MOST_WIDTH: f64 = 190.0;

/// Height of table and corrections in this width.
fn words_height(input: &ViewToDraw<'_>, rows: &[Row], width: f64) -> f64 {
    match table_beside(width) {
        Some(table) => {
            let corrections = table::corrections_height(input, width - table - GAP);
            table::height(rows, table).max(corrections)
        }
        None => {
            let width = width.min(MOST_WIDTH);
            table::height(rows, width) + GAP * 0.6 + table::corrections_height(input, width)
        }
    }
}

/// Least width of corrections that stand beside a picture.
const BESIDE: f64 = 75.0;

/// Where table and corrections stand.
#[derive(Clone, Copy, Debug)]
enum Words {
    /// In one place.
    Together(Box2),
    /// The table below the pictures, the corrections beside the last one of them.
    Apart { table: Box2, corrections: Box2 },
}

/// The pictures of a sheet of a view and its words: these in one place, or apart where the last picture loses nothing by it.
fn view_places(
    input: &ViewToDraw<'_>,
    rows: &[Row],
    arrangement: Arrangement,
    size: [f64; 2],
) -> ([Box2; 3], Words) {
    let content = view_block::content(input.paper);
    let needed = words_height(input, rows, content.width).max(TEXT_HEIGHT);
    let (places, words) = arrangement.places(content, size, needed, 0.0);
    let together = (places, Words::Together(words));
    if !arrangement.has_words_below() {
        return together;
    }
    let width = content.width.min(MOST_WIDTH);
    let needed = table::height(rows, width) + GAP * 0.4;
    let (apart, below) = arrangement.places(content, size, needed, BESIDE + GAP);
    let x = apart[2].right() + GAP;
    let top = apart[2].y - CAPTION;
    let beside = Box2::new(x, top, content.right() - x, apart[2].bottom() - top);
    let has_room = beside.width >= BESIDE
        && table::corrections_height(input, beside.width) <= beside.height
        && table::height(rows, width) <= below.height;
    if !has_room || apart[2].width < places[2].width - 1e-9 {
        return together;
    }
    let table = Box2::new(below.x, below.y, width, below.height);
    let words = Words::Apart {
        table,
        corrections: beside,
    };
    (apart, words)
}

impl Words {
    /// The place of words that stand in one.
    fn area(self) -> Box2 {
        match self {
            Self::Together(area) => area,
            Self::Apart { table, .. } => table,
        }
    }

    /// Draws table and corrections; whether all is there.
    fn draw(self, scene: &mut Scene, input: &ViewToDraw<'_>, rows: &[Row]) -> bool {
        match self {
            Self::Together(area) => draw_words(scene, input, rows, area),
            Self::Apart { table, corrections } => {
                let (_, has_rows) = table::draw(scene, input, rows, table);
                table::draw_corrections(scene, input, corrections) && has_rows
            }
        }
    }
}

/// Table and corrections: side by side where there is width for both, else one below the other; whether all is there.
fn draw_words(scene: &mut Scene, input: &ViewToDraw<'_>, rows: &[Row], area: Box2) -> bool {
    if let Some(width) = table_beside(area.width) {
        let left = Box2::new(area.x, area.y, width, area.height);
        let (_, has_rows) = table::draw(scene, input, rows, left);
        let x = area.x + width + GAP;
        let rest = Box2::new(x, area.y, area.right() - x, area.height);
        return table::draw_corrections(scene, input, rest) && has_rows;
    }
    let width = area.width.min(MOST_WIDTH);
    // The table takes more than its share where the corrections leave it.
    let corrections = table::corrections_height(input, width) + GAP * 0.6;
    let share = (area.height * 0.58).max(area.height - corrections);
    let upper = Box2::new(area.x, area.y, width, share);
    let (end, has_rows) = table::draw(scene, input, rows, upper);
    let y = end + GAP * 0.6;
    let lower = Box2::new(area.x, y, width, area.bottom() - y);
    table::draw_corrections(scene, input, lower) && has_rows
}
