//! Two revisions of a view beside each other: the render before, the render now, and what became better or worse.
use super::{
    Error, ViewToDraw,
    arrangement::Pair,
    colours::{INK, PAPER},
    flow::{self, Flow, Marks},
    labels::{self, Wanted},
    overlay::{draw_leader, draw_tag},
    paper::GAP,
    print_picture::{self, Content},
    scene::{Box2, Position, Scene, Stroke},
    sheet::About,
    sheet_page::SheetPage,
    table,
    text::{self, Font},
    title_block::{self, TitleBlock},
    window::{self, Fit, Window},
};
use crate::frame::{Point, Projective, RenderPx, WorkPx};
use image::RgbImage;

/// What is known of the earlier revision of a view.
#[derive(Clone, Debug)]
pub struct EarlierRevision {
    /// Its render.
    pub render: RgbImage,
    /// Takes pixels of the render now to those of the picture of the render before, where both show the same reference.
    pub earlier_from_now: Option<Projective<WorkPx, RenderPx>>,
    /// Of which results it is, and how many figures became what.
    pub head: String,
    /// A line for each figure that is better or worse, new or gone, and what else is to be known.
    pub lines: Vec<String>,
    /// Name of each part that is better or worse, and its sign.
    pub changed: Vec<(String, char)>,
}

const KEYS: [&str; 2] = ["before", "now"];
/// Least and most part of the page that words below the pictures take.
const TEXT: [f64; 2] = [0.15, 0.4];

/// The sheets of a view or a part.
pub(crate) fn pages(
    input: &ViewToDraw<'_>,
    earlier: &EarlierRevision,
    about: About,
) -> Result<Vec<SheetPage>, Error> {
    let page = title_block::content(input.paper);
    let (columns, width) = columns(page.width);
    let mut words = said(input, earlier, Flow::new(width));
    let least_and_most = TEXT.map(|share| share * page.height);
    let height = words.height() / columns as f64 * 1.15 + 4.0;
    let height = height.clamp(least_and_most[0], least_and_most[1]);
    let content = Box2::new(page.x, page.y, page.width, page.height - height - GAP);
    let focus = about.focus(input);
    let pair = Pair::best(content, focus);
    let window = window::choose(input, focus, pair.cell(content), Fit::Largest);
    let places = pair.places(content, window.paper());

    let mut scene = Scene::new(input.paper.size_mm());
    let (before, place) = match &earlier.earlier_from_now {
        Some(map) => earlier_part(earlier, input, map, &window, places[0]),
        None => whole_earlier(earlier, places[0]),
    };
    let shown = [place, places[1]];
    for ((place, caption), key) in shown.into_iter().zip(["before", "now"]).zip(KEYS) {
        print_picture::draw(&mut scene, place, (caption, 0.0), key);
    }
    draw_changed(&mut scene, input, earlier, &window, places[1]);
    let top = places[1].bottom().max(places[0].bottom()) + GAP;
    for column in 0..columns {
        let x = page.x + (width + GAP) * column as f64;
        let area = Box2::new(x, top, width, page.bottom() - top);
        words.fill(&mut scene, area);
    }
    let subject = about.words(input);
    let block = TitleBlock::of_view(input, &subject, "before and after", window.scale_words());
    let number_at = block.draw(&mut scene);
    let now = print_picture::for_print(&input.work.render, window.crop, places[1].width);
    let mut pages = vec![SheetPage {
        title: text::clean(&input.job.title),
        chapter: text::clean(&input.view.name),
        name: text::clean(&about.bookmark(input, "before and after")),
        scene,
        pictures: vec![
            print_picture::embedded(KEYS[0], &before, Content::Photo)?,
            print_picture::embedded(KEYS[1], &now, Content::Photo)?,
        ],
        number_at,
    }];
    if !words.is_done() {
        let flow = said(input, earlier, Flow::for_pages(input.paper));
        let head = format!("{}, {subject}, in full", input.job.title);
        pages.extend(flow::sheets(flow, (&input.view.name, &head), &block));
    }
    Ok(pages)
}

fn columns(width: f64) -> (usize, f64) {
    const COLUMN: f64 = 110.0;
    let count = ((width + GAP) / (COLUMN + GAP)).floor().max(1.0);
    (count as usize, (width + GAP) / count - GAP)
}

fn said(input: &ViewToDraw<'_>, earlier: &EarlierRevision, mut flow: Flow) -> Flow {
    flow.section(&earlier.head, &earlier.lines, Marks::None);
    let left = table::correction_words(input.measurement);
    if left.is_empty() {
        let none = table::no_correction(input.measurement).to_owned();
        flow.section("Corrections that are left", &[none], Marks::None);
    } else {
        flow.section(&table::corrections_heading(input), &left, Marks::Numbers);
    }
    flow.section(
        "What to know",
        &super::view_block::statements(input),
        Marks::None,
    );
    flow
}

/// The part of the earlier picture that shows what the window shows, and its place at the same scale.
fn earlier_part(
    earlier: &EarlierRevision,
    input: &ViewToDraw<'_>,
    earlier_from_now: &Projective<WorkPx, RenderPx>,
    window: &Window,
    place: Box2,
) -> (RgbImage, Box2) {
    let [left, top, width, height] = window.crop.map(f64::from);
    let corners = [
        [left, top],
        [left + width, top],
        [left + width, top + height],
        [left, top + height],
    ];
    let mapped = corners.map(|[x, y]| {
        let in_render = input.work.render_from_work.apply(Point::new(x, y));
        earlier_from_now.apply(in_render).xy()
    });
    let Some(seen) = Box2::around(mapped) else {
        return whole_earlier(earlier, place);
    };
    let (columns, rows) = earlier.render.dimensions();
    let range = |from: f64, to: f64, most: u32| {
        let start = from.round().clamp(0.0, f64::from(most));
        let end = to.round().clamp(0.0, f64::from(most));
        (start as u32, (end - start).max(0.0) as u32)
    };
    let (x, width) = range(seen.x, seen.right(), columns);
    let (y, height) = range(seen.y, seen.bottom(), rows);
    if width == 0 || height == 0 || seen.width < 1.0 || seen.height < 1.0 {
        return whole_earlier(earlier, place);
    }
    // What the earlier picture does not show stays empty.
    let mm = [place.width / seen.width, place.height / seen.height];
    let place = Box2::new(
        place.x + (f64::from(x) - seen.x) * mm[0],
        place.y + (f64::from(y) - seen.y) * mm[1],
        f64::from(width) * mm[0],
        f64::from(height) * mm[1],
    );
    let crop = [x, y, width, height];
    let picture = print_picture::for_print(&earlier.render, crop, place.width);
    (picture.into_owned(), place)
}

/// The whole earlier picture, as large as it fits: nothing tells how it lies to the one now.
fn whole_earlier(earlier: &EarlierRevision, place: Box2) -> (RgbImage, Box2) {
    let (columns, rows) = earlier.render.dimensions();
    let [columns_mm, rows_mm] = [columns, rows].map(f64::from);
    let scale = (place.width / columns_mm).min(place.height / rows_mm);
    let place = Box2::new(place.x, place.y, columns_mm * scale, rows_mm * scale);
    let crop = [0, 0, columns, rows];
    let picture = print_picture::for_print(&earlier.render, crop, place.width);
    (picture.into_owned(), place)
}

/// The outlines of the parts that are better or worse, each with its sign and name.
fn draw_changed(
    scene: &mut Scene,
    input: &ViewToDraw<'_>,
    earlier: &EarlierRevision,
    window: &Window,
    place: Box2,
) {
    let work_from_render = input.work.render_from_work.inverse();
    let on_paper = |p: &Point<RenderPx>| -> Position {
        let [x, y] = work_from_render.apply(*p).xy();
        let scale = window.paper_mm_per_px;
        let [left, top] = [window.crop[0], window.crop[1]].map(f64::from);
        [place.x + (x - left) * scale, place.y + (y - top) * scale]
    };
    let size = 2.6;
    let (mut wanted, mut tags) = (Vec::new(), Vec::new());
    for region in &input.view.regions {
        let signs = earlier
            .changed
            .iter()
            .filter(|(name, _)| *name == region.name);
        let signs: String = signs.map(|(_, sign)| *sign).collect();
        let outline: Vec<Position> = region.outline.iter().map(on_paper).collect();
        let about = Box2::around(outline.iter().copied()).filter(|about| place.holds(*about));
        let (Some(about), false) = (about, signs.is_empty()) else {
            continue;
        };
        scene.polygon(outline.clone(), Some(Stroke::solid(PAPER, 0.6)), None);
        scene.polygon(outline, Some(Stroke::solid(INK, 0.25)), None);
        let name = text::shorten(&region.name, Font::Bold, size, 40.0);
        let tag = format!("{name} {signs}");
        let width = text::width(&tag, Font::Bold, size) + 0.8 * size;
        wanted.push(Wanted {
            about,
            sizes: vec![[width, 1.6 * size]],
        });
        tags.push(tag);
    }
    let obstacles: Vec<Box2> = wanted.iter().map(|w| w.about).collect();
    let places = labels::place(place.grown(-0.5), &wanted, &obstacles);
    for placed in places.iter().flatten() {
        draw_leader(scene, placed, INK, size);
    }
    for (placed, tag) in places.iter().zip(tags) {
        if let Some(placed) = placed {
            draw_tag(scene, placed, INK, size, &[(Font::Bold, tag)]);
        }
    }
}
