//! Words in full, in columns, over as many pages as they take: headings, entries, rows of the table.
use super::{
    colours::INK,
    paper::{GAP, Paper},
    scene::{Box2, Scene, Stroke},
    sheet_page::SheetPage,
    table::{self, ROW, Row, RowLine},
    text::{self, Font},
    title_block::{self, TitleBlock},
};

/// Height of the line at the head of each page.
const HEAD: f64 = 9.0;
const SIZE: f64 = 2.6;
const STEP: f64 = 3.8;
/// How far further lines of an entry are indented.
const INDENT: f64 = 5.0;

/// What stands below each other.
enum Block {
    Heading(String),
    Line {
        words: String,
        indent: f64,
        /// How many lines of the entry follow.
        follow: usize,
    },
    TableHead(&'static str),
    Row(RowLine),
    Space,
}

impl Block {
    fn height(&self) -> f64 {
        match self {
            Self::Heading(_) => 1.5 * STEP,
            Self::Line { .. } => STEP,
            Self::TableHead(_) => ROW,
            Self::Row(line) => line.height(),
            Self::Space => STEP / 2.0,
        }
    }

    /// Whether it stands over what follows, and must not end a column.
    fn is_head(&self) -> bool {
        matches!(self, Self::Heading(_) | Self::TableHead(_))
    }

    fn draw(&self, scene: &mut Scene, place: Box2) {
        match self {
            Self::Heading(words) => {
                let at = [place.x, place.bottom() - STEP * 0.4];
                scene.text(at, 3.0, Font::Bold, words.as_str());
            }
            Self::Line { words, indent, .. } => {
                let at = [place.x + indent, place.y + STEP * 0.7];
                scene.text(at, SIZE, Font::Regular, words.as_str());
            }
            Self::TableHead(unit) => table::draw_head(scene, place, unit),
            Self::Row(line) => table::draw_line(scene, line, place),
            Self::Space => {}
        }
    }
}

/// Words for a column of a known width.
pub(crate) struct Flow {
    width: f64,
    blocks: Vec<Block>,
}

/// An entry of no more lines is not torn apart.
const MOST_TOGETHER: usize = 4;

/// How many of these blocks must stand in one column: heads with what they stand over, and the lines of a short entry.
fn together(blocks: &[Block]) -> usize {
    let heads = blocks.iter().take_while(|b| b.is_head()).count();
    let follow = match blocks.get(heads) {
        Some(Block::Line { indent, follow, .. }) if *indent == 0.0 && *follow < MOST_TOGETHER => {
            *follow
        }
        _ => 0,
    };
    (heads + 1 + follow).min(blocks.len())
}

/// How the entries of a section are told apart.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Marks {
    None,
    Numbers,
}

impl Flow {
    pub(crate) fn new(width: f64) -> Self {
        Self {
            width,
            blocks: Vec::new(),
        }
    }

    /// For the columns of whole pages.
    pub(crate) fn for_pages(paper: Paper) -> Self {
        Self::new(columns(paper).1)
    }

    /// A heading and its entries; nothing where there are none.
    pub(crate) fn section(&mut self, heading: &str, entries: &[String], marks: Marks) {
        if entries.is_empty() {
            return;
        }
        self.heading(heading);
        // Entries of one line each are a list; longer ones are set off from each other.
        let is_long =
            |entry: &String| text::width(entry, Font::Regular, SIZE) > self.width - INDENT * 2.0;
        let mut has_long = entries.iter().any(is_long);
        for (i, entry) in entries.iter().enumerate() {
            let entry = match marks {
                Marks::Numbers => format!("{}. {entry}", i + 1),
                Marks::None => entry.clone(),
            };
            let lines = text::lines(&entry, Font::Regular, SIZE, self.width - INDENT);
            let count = lines.len();
            for (k, words) in lines.into_iter().enumerate() {
                let indent = if k == 0 { 0.0 } else { INDENT };
                let follow = count - k - 1;
                self.blocks.push(Block::Line {
                    words,
                    indent,
                    follow,
                });
            }
            has_long |= count > 1;
            if has_long {
                self.blocks.push(Block::Space);
            }
        }
        self.blocks.push(Block::Space);
    }

    fn heading(&mut self, words: &str) {
        let lines = text::lines(words, Font::Bold, 3.0, self.width);
        self.blocks.extend(lines.into_iter().map(Block::Heading));
    }

    /// A heading and a table, whose offsets have this unit.
    pub(crate) fn table(&mut self, heading: &str, rows: &[Row], unit: &'static str) {
        if rows.is_empty() {
            return;
        }
        self.heading(heading);
        self.blocks.push(Block::TableHead(unit));
        for (i, row) in rows.iter().enumerate() {
            let lines = table::lines(row, i + 1, self.width);
            self.blocks.extend(lines.into_iter().map(Block::Row));
        }
        self.blocks.push(Block::Space);
    }

    /// Height of all of it in one column.
    pub(crate) fn height(&self) -> f64 {
        self.blocks.iter().map(Block::height).sum()
    }

    /// Draws from the top of an area what has room there; the rest is left. Where all has found its place, nothing is left.
    pub(crate) fn fill(&mut self, scene: &mut Scene, area: Box2) {
        let mut y = area.y;
        let mut taken = 0;
        for (i, block) in self.blocks.iter().enumerate() {
            let together = together(&self.blocks[i..]);
            let height: f64 = self.blocks[i..i + together].iter().map(Block::height).sum();
            if y + height > area.bottom() + 1e-9 && !matches!(block, Block::Space) {
                break;
            }
            block.draw(scene, Box2::new(area.x, y, area.width, block.height()));
            y += block.height();
            taken = i + 1;
        }
        self.blocks.drain(..taken);
        let spaces = self.blocks.iter().take_while(|b| matches!(b, Block::Space));
        let spaces = spaces.count();
        self.blocks.drain(..spaces);
    }

    /// Whether nothing is left to be drawn.
    pub(crate) fn is_done(&self) -> bool {
        self.blocks.is_empty()
    }

    /// What is left on pages of their own, each with `head` at its top. The width must be that of [`Flow::for_pages`].
    pub(crate) fn pages(mut self, head: &str, block: &TitleBlock<'_>) -> Vec<(Scene, [f64; 2])> {
        let (count, width) = columns(block.paper);
        let content = title_block::content(block.paper);
        let mut pages = Vec::new();
        while !self.is_done() {
            let mut words = Scene::new(block.paper.size_mm());
            for column in 0..count {
                let x = content.x + (width + GAP) * column as f64;
                let y = content.y + HEAD;
                self.fill(&mut words, Box2::new(x, y, width, content.bottom() - y));
            }
            if words.shapes().is_empty() {
                // A heading higher than a page: there is none, and an endless loop is worse.
                break;
            }
            pages.push(words);
        }
        let of = pages.len();
        let whole = |(index, words): (usize, Scene)| {
            let mut scene = Scene::new(words.size);
            let head = format!("{head} (page {} of {of})", index + 1);
            draw_head(&mut scene, &head, content);
            scene.append(words);
            let number_at = block.draw(&mut scene);
            (scene, number_at)
        };
        pages.into_iter().enumerate().map(whole).collect()
    }
}

/// Pages of words as sheets of a chapter.
pub(crate) fn sheets(
    flow: Flow,
    (chapter, head): (&str, &str),
    block: &TitleBlock<'_>,
) -> Vec<SheetPage> {
    let pages = flow.pages(head, block).into_iter().enumerate();
    pages
        .map(|(index, (scene, number_at))| SheetPage {
            title: text::clean(&block.title),
            chapter: text::clean(chapter),
            name: format!("in full {}", index + 1),
            scene,
            pictures: Vec::new(),
            number_at,
        })
        .collect()
}

/// How many columns a page has, and their width.
fn columns(paper: Paper) -> (usize, f64) {
    let width = title_block::content(paper).width;
    let columns = ((width + GAP) / (table::WIDTH + GAP)).floor().max(1.0);
    (columns as usize, (width + GAP) / columns - GAP)
}

fn draw_head(scene: &mut Scene, words: &str, content: Box2) {
    let words = text::shorten(words, Font::Bold, 3.4, content.width);
    scene.text([content.x, content.y + 3.4], 3.4, Font::Bold, words);
    let y = content.y + 5.4;
    scene.line(
        [content.x, y],
        [content.right(), y],
        Stroke::solid(INK, 0.35),
    );
}
