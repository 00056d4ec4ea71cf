//! The page in front of the sheets of several views: a picture and the verdict of each, and what to change in all of them.
use super::{
    Error, Paper,
    colours::INK,
    difference::{verdict_colour, verdict_ink},
    flow::{self, Flow, Marks},
    paper::GAP,
    scene::{Align, Box2, Fill, Line, Scene, Stroke},
    sheet_page::{SheetPage, Thumbnail},
    text::{self, Font},
    title_block::{self, TitleBlock},
};
use crate::{job::Job, measurement::Verdict};

/// What the overview shows.
#[derive(Clone, Debug)]
pub struct Overview<'a> {
    /// The job.
    pub job: &'a Job,
    /// Printed on the page.
    pub date: &'a str,
    /// Its size.
    pub paper: Paper,
    /// In the order of the job.
    pub views: Vec<OverviewView<'a>>,
    /// What is said below the pictures.
    pub sections: Vec<OverviewSection>,
}

/// A view on the overview.
#[derive(Clone, Debug)]
pub struct OverviewView<'a> {
    /// Its name.
    pub name: &'a str,
    /// `None` where it could not be compared.
    pub verdict: Option<Verdict>,
    /// A picture of it, where one is drawn.
    pub thumbnail: Option<Thumbnail>,
}

/// A heading and what stands below it.
#[derive(Clone, Debug)]
pub struct OverviewSection {
    /// The heading.
    pub heading: String,
    /// Below it.
    pub entries: Vec<String>,
    /// Whether they are numbered.
    pub is_ranked: bool,
}

/// Height of the name and verdict over a picture.
const HEAD: f64 = 7.0;
/// Least part of the page for pictures, and least height of the words.
const PICTURES: f64 = 0.5;
/// More views than this have no picture each: it would be a stamp.
const MOST_PICTURES: usize = 12;

/// The page, with those behind it where not all words have room.
pub fn overview_pages(overview: &Overview<'_>) -> Result<Vec<SheetPage>, Error> {
    let content = title_block::content(overview.paper);
    let (columns, width) = columns(content.width);
    let mut words = said(overview, Flow::new(width));
    let shown: Vec<&OverviewView<'_>> = (overview.views.iter())
        .filter(|view| view.thumbnail.is_some())
        .take(MOST_PICTURES)
        .collect();
    let mut scene = Scene::new(overview.paper.size_mm());
    let needed = words.height() / columns as f64 * 1.15 + 4.0;
    let room = (content.height - needed).max(content.height * PICTURES) - GAP;
    let room = Box2::new(content.x, content.y, content.width, room);
    let grid = Grid::best(room, &shown);
    let mut pictures = Vec::new();
    let mut top = content.y;
    for (k, view) in shown.iter().enumerate() {
        let cell = grid.cell(room, k);
        let Some(thumbnail) = &view.thumbnail else {
            continue;
        };
        let key = format!("view {k}");
        let place = draw_view(&mut scene, view, thumbnail.aspect, cell);
        scene.picture(key.clone(), place);
        scene.rectangle(place, Some(Stroke::solid(INK, 0.2)), None);
        pictures.push((key.into(), thumbnail.jpeg.clone()));
        top = top.max(place.bottom() + GAP);
    }
    for column in 0..columns {
        let x = content.x + (width + GAP) * column as f64;
        let area = Box2::new(x, top, width, content.bottom() - top);
        words.fill(&mut scene, area);
    }
    let of = (overview.job, overview.date, overview.paper);
    let block = TitleBlock::of_job(of, "all views", "overview", "not to scale".to_owned());
    let number_at = block.draw(&mut scene);
    let mut pages = vec![SheetPage {
        title: text::clean(&overview.job.title),
        chapter: "Overview".to_owned(),
        name: "overview".to_owned(),
        scene,
        pictures,
        number_at,
    }];
    if !words.is_done() {
        let flow = said(overview, Flow::for_pages(overview.paper));
        let head = format!("{}, all views, in full", overview.job.title);
        pages.extend(flow::sheets(flow, ("Overview", &head), &block));
    }
    Ok(pages)
}

fn columns(width: f64) -> (usize, f64) {
    const COLUMN: f64 = 85.0;
    let count = ((width + GAP) / (COLUMN + GAP)).floor().max(1.0);
    (count as usize, (width + GAP) / count - GAP)
}

fn said(overview: &Overview<'_>, mut flow: Flow) -> Flow {
    for section in &overview.sections {
        let marks = match section.is_ranked {
            true => Marks::Numbers,
            false => Marks::None,
        };
        flow.section(&section.heading, &section.entries, marks);
    }
    flow
}

/// Name and verdict in the head of a cell; where the picture goes below them.
fn draw_view(scene: &mut Scene, view: &OverviewView<'_>, aspect: f64, cell: Box2) -> Box2 {
    let scale = cell.width.min((cell.height - HEAD) * aspect);
    let place = Box2::new(cell.x, cell.y + HEAD, scale, scale / aspect);
    let size = 3.4;
    let verdict = view.verdict.map(|v| (v, v.signed()));
    let verdict_width = verdict
        .as_ref()
        .map_or(0.0, |(_, words)| text::width(words, Font::Bold, size) + 3.0);
    let room = (place.width - verdict_width - 1.0).max(10.0);
    let name = text::shorten(view.name, Font::Bold, size, room);
    scene.text([place.x, cell.y + 4.6], size, Font::Bold, name);
    if let Some((verdict, words)) = verdict {
        let sign = Box2::new(
            place.right() - verdict_width,
            cell.y + 0.6,
            verdict_width,
            5.4,
        );
        let tint = Fill {
            colour: verdict_colour(verdict),
            opacity: 0.45,
        };
        let rim = Stroke::solid(verdict_ink(verdict), 0.25);
        scene.rectangle(sign, Some(rim), Some(tint));
        scene.styled(Line {
            text: words,
            at: [sign.centre()[0], cell.y + 4.6],
            size,
            font: Font::Bold,
            align: Align::Middle,
            colour: INK,
            halo: 0.0,
        });
    }
    place
}

/// Pictures in rows and columns.
#[derive(Clone, Copy)]
struct Grid {
    columns: usize,
    rows: usize,
}

impl Grid {
    /// The one that shows the pictures largest together.
    fn best(room: Box2, views: &[&OverviewView<'_>]) -> Self {
        let count = views.len().max(1);
        let grids = (1..=count).map(|columns| Self {
            columns,
            rows: count.div_ceil(columns),
        });
        let shown = |grid: &Self| -> f64 {
            let cell = grid.cell(room, 0);
            let aspects = views
                .iter()
                .filter_map(|v| Some(v.thumbnail.as_ref()?.aspect));
            aspects
                .map(|aspect| {
                    let width = cell.width.min((cell.height - HEAD).max(0.0) * aspect);
                    width * width / aspect
                })
                .sum()
        };
        grids
            .max_by(|a, b| shown(a).total_cmp(&shown(b)))
            .unwrap_or(Self {
                columns: 1,
                rows: 1,
            })
    }

    fn cell(self, room: Box2, index: usize) -> Box2 {
        let size = |room: f64, count: usize| (room + GAP) / count as f64 - GAP;
        let (width, height) = (size(room.width, self.columns), size(room.height, self.rows));
        let (column, row) = (index % self.columns, index / self.columns);
        Box2::new(
            room.x + (width + GAP) * column as f64,
            room.y + (height + GAP) * row as f64,
            width,
            height,
        )
    }
}
