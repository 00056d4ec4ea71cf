//! Render and registered reference beside each other without figures, as large as the page allows.
use super::{
    Error, ViewToDraw,
    arrangement::Pair,
    flow::{self, Flow, Marks},
    paper::GAP,
    print_picture::{self, Content},
    scene::{Box2, Scene},
    sheet::About,
    sheet_page::SheetPage,
    text::{self, Font},
    title_block::{self, TitleBlock},
    view_block,
    window::{self, Fit},
};

/// Size of the words below the pictures, and the height of a line.
const SIZE: f64 = 2.4;
const STEP: f64 = 3.3;
/// Most lines of them.
const MOST_LINES: usize = 3;

/// The sheets of a view or a part.
pub(crate) fn pages(input: &ViewToDraw<'_>, about: About) -> Result<Vec<SheetPage>, Error> {
    let page = title_block::content(input.paper);
    let facts = view_block::facts(input);
    let words = facts.join("; ");
    let has_facts = text::lines(&words, Font::Regular, SIZE, page.width).len() <= MOST_LINES;
    let lines = text::wrap(&words, Font::Regular, SIZE, page.width, MOST_LINES);
    let below = lines.len() as f64 * STEP;
    let content = Box2::new(page.x, page.y, page.width, page.height - below - GAP * 0.4);
    let focus = about.focus(input);
    let pair = Pair::best(content, focus);
    let window = window::choose(input, focus, pair.cell(content), Fit::Largest);
    let places = pair.places(content, window.paper());

    let mut scene = Scene::new(input.paper.size_mm());
    let captions = ["render", "reference"];
    for ((place, caption), key) in places.into_iter().zip(captions).zip(KEYS) {
        print_picture::draw(&mut scene, place, (caption, 0.0), key);
    }
    for (k, line) in lines.into_iter().enumerate() {
        let y = page.bottom() - below + STEP * (k as f64 + 0.7);
        scene.text([page.x, y], SIZE, Font::Regular, line);
    }
    let subject = about.words(input);
    let block = TitleBlock::of_view(input, &subject, "side by side", window.scale_words());
    let number_at = block.draw(&mut scene);
    let sources = [&input.work.render, &input.work.reference];
    let embedded = sources.iter().zip(places).zip(KEYS);
    let embedded = embedded.map(|((source, place), key)| {
        let picture = print_picture::for_print(source, window.crop, place.width);
        print_picture::embedded(key, &picture, Content::Photo)
    });
    let mut pages = vec![SheetPage {
        title: text::clean(&input.job.title),
        chapter: text::clean(&input.view.name),
        name: text::clean(&about.bookmark(input, "side by side")),
        scene,
        pictures: embedded.collect::<Result<_, Error>>()?,
        number_at,
    }];
    if !has_facts {
        let mut flow = Flow::for_pages(input.paper);
        flow.section("The reference", &facts, Marks::None);
        let head = format!("{}, {subject}, in full", input.job.title);
        pages.extend(flow::sheets(flow, (&input.view.name, &head), &block));
    }
    Ok(pages)
}

const KEYS: [&str; 2] = ["render", "reference"];
