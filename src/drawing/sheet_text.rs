//! The pages behind a sheet on which not all had room: every warning, correction and measure in full, in columns.
use super::{
    ViewToDraw,
    colours::INK,
    figures,
    paper::{GAP, MARGIN},
    scene::{Box2, Scene, Stroke},
    table::{self, ROW, Row},
    text::{self, Font},
    title_block,
};

/// Height of the line at the head of each page.
const HEAD: f64 = 9.0;
const SIZE: f64 = 2.6;
const STEP: f64 = 3.8;

/// What stands below each other.
enum Block<'a> {
    Heading(String),
    Line { words: String, indent: f64 },
    TableHead,
    Row(&'a Row, usize),
    Space,
}

impl Block<'_> {
    fn height(&self) -> f64 {
        match self {
            Self::Heading(_) => 2.0 * STEP,
            Self::Line { .. } => STEP,
            Self::TableHead | Self::Row(..) => ROW,
            Self::Space => STEP / 2.0,
        }
    }

    /// Whether it stands over what follows, and must not end a column.
    fn is_head(&self) -> bool {
        matches!(self, Self::Heading(_) | Self::TableHead)
    }
}

/// All that is said of a view, on as many pages as it takes.
pub(crate) fn pages(input: &ViewToDraw<'_>, rows: &[Row]) -> Vec<Scene> {
    let paper = input.paper.size_mm();
    let width = paper[0] - 2.0 * MARGIN;
    let columns = ((width + GAP) / (table::WIDTH + GAP)).floor().max(1.0);
    let column = (width + GAP) / columns - GAP;
    let blocks = blocks(input, rows, column);
    let area = |index: usize| {
        let x = MARGIN + (column + GAP) * index as f64;
        let top = MARGIN + HEAD;
        Box2::new(x, top, column, paper[1] - MARGIN - top)
    };
    let mut pages = vec![Scene::new(paper)];
    let (mut at, mut y) = (0, area(0).y);
    for (index, block) in blocks.iter().enumerate() {
        let with_next = match blocks.get(index + 1) {
            Some(next) if block.is_head() => block.height() + next.height(),
            _ => block.height(),
        };
        if y + with_next > area(at).bottom() {
            at += 1;
            if at as f64 >= columns {
                at = 0;
                pages.push(Scene::new(paper));
            }
            y = area(at).y;
        }
        let page = pages.last_mut().expect("there is one");
        let place = Box2::new(area(at).x, y, column, block.height());
        draw(page, input, block, place);
        y += block.height();
    }
    let count = pages.len();
    for (index, page) in pages.iter_mut().enumerate() {
        draw_head(page, input, [index + 1, count]);
    }
    pages
}

fn blocks<'a>(input: &ViewToDraw<'_>, rows: &'a [Row], width: f64) -> Vec<Block<'a>> {
    let mut blocks = Vec::new();
    let mut section = |heading: String, entries: Vec<String>, is_numbered: bool| {
        if entries.is_empty() {
            return;
        }
        blocks.push(Block::Heading(heading));
        for (i, entry) in entries.iter().enumerate() {
            let mark = if is_numbered {
                format!("{}. ", i + 1)
            } else {
                String::new()
            };
            let lines = text::wrap(
                &format!("{mark}{entry}"),
                Font::Regular,
                SIZE,
                width - 5.0,
                usize::MAX,
            );
            for (k, words) in lines.into_iter().enumerate() {
                let indent = if k == 0 { 0.0 } else { 5.0 };
                blocks.push(Block::Line { words, indent });
            }
            blocks.push(Block::Space);
        }
    };
    section(
        "What to know".to_owned(),
        title_block::statements(input),
        false,
    );
    section(
        table::corrections_heading(input),
        table::correction_words(input),
        true,
    );
    section(
        "Below what can be printed or seen".to_owned(),
        table::leave_alone_words(input).into_iter().collect(),
        false,
    );
    if !rows.is_empty() {
        blocks.push(Block::Heading("All measures, the worst first".to_owned()));
        blocks.push(Block::TableHead);
        let numbered = rows.iter().enumerate();
        blocks.extend(numbered.map(|(i, row)| Block::Row(row, i + 1)));
    }
    blocks
}

fn draw(scene: &mut Scene, input: &ViewToDraw<'_>, block: &Block<'_>, place: Box2) {
    match block {
        Block::Heading(words) => {
            let words = text::shorten(words, Font::Bold, 3.0, place.width);
            scene.text(
                [place.x, place.bottom() - STEP * 0.45],
                3.0,
                Font::Bold,
                words,
            );
        }
        Block::Line { words, indent } => {
            let at = [place.x + indent, place.y + STEP * 0.7];
            scene.text(at, SIZE, Font::Regular, words.as_str());
        }
        Block::TableHead => table::draw_head(scene, place, table::offset_unit(input)),
        Block::Row(row, number) => table::draw_row(scene, row, *number, place),
        Block::Space => {}
    }
}

fn draw_head(scene: &mut Scene, input: &ViewToDraw<'_>, [page, count]: [usize; 2]) {
    let width = scene.size[0] - 2.0 * MARGIN;
    let scale = figures::plain(input.job.scale.denominator());
    let words = format!(
        "{}, scale 1:{scale}, view: {} (in full, page {page} of {count})",
        input.job.title, input.view.name
    );
    let words = text::shorten(&words, Font::Bold, 3.4, width);
    scene.text([MARGIN, MARGIN + 3.4], 3.4, Font::Bold, words);
    let y = MARGIN + 5.4;
    scene.line([MARGIN, y], [MARGIN + width, y], Stroke::solid(INK, 0.35));
}
