//! The title block at the foot of every page: the data fields of ISO 7200, in a layout of our own.
//!
//! What the job does not state stays empty, to be filled in by pen. The number of the sheet is known only when all sheets are: the
//! document puts it in ([`number`]).
//!
//! # Source
//! ISO 7200:2004, the identifying, descriptive and administrative fields (from memory; the standard leaves the layout open).
use super::{
    ViewToDraw,
    colours::{GREY, INK},
    figures,
    paper::{GAP, Paper},
    scene::{Align, Box2, Line, Position, Scene, Stroke},
    text::{self, Font},
};
use crate::job::{self, Job};
use std::borrow::Cow;

/// Height of the block: two rows of fields, paper millimetres.
pub(crate) const HEIGHT: f64 = 15.0;
const ROW: f64 = HEIGHT / 2.0;

/// What stands in the fields.
pub(crate) struct TitleBlock<'a> {
    pub title: Cow<'a, str>,
    /// The supplementary title: which view or part of what model.
    pub about: String,
    /// The document type.
    pub document: &'static str,
    /// Paper millimetres for those on the model.
    pub scale: String,
    pub paper: Paper,
    /// Date of issue; empty where none is known.
    pub date: &'a str,
    /// The identification number, where nobody states one.
    pub file: Cow<'a, str>,
    pub stated: &'a job::TitleBlock,
}

/// One field.
struct Field {
    label: &'static str,
    value: String,
    /// Part of the row's width.
    share: f64,
}

impl<'a> TitleBlock<'a> {
    /// The block of a sheet on a job.
    pub(crate) fn of_job(
        (job, date, paper): (&'a Job, &'a str, Paper),
        about: &str,
        document: &'static str,
        scale: String,
    ) -> Self {
        let denominator = figures::plain(job.scale.denominator());
        let about = match about {
            "" => format!("model 1:{denominator}"),
            about => format!("{about}, model 1:{denominator}"),
        };
        Self {
            title: Cow::Borrowed(&job.title),
            about,
            document,
            scale,
            paper,
            date,
            file: job.file.file_name().unwrap_or_default().to_string_lossy(),
            stated: &job.title_block,
        }
    }

    /// The block of a sheet on a view.
    pub(crate) fn of_view(
        input: &ViewToDraw<'a>,
        about: &str,
        document: &'static str,
        scale: String,
    ) -> Self {
        let of = (input.job, input.date, input.paper);
        Self::of_job(of, about, document, scale)
    }

    /// Draws the block at the foot of a page; where the number of the sheet belongs.
    pub(crate) fn draw(&self, scene: &mut Scene) -> Position {
        let area = area(self.paper);
        scene.rectangle(area, Some(Stroke::solid(INK, 0.35)), None);
        let middle = area.y + ROW;
        let rule = Stroke::solid(INK, 0.2);
        scene.line([area.x, middle], [area.right(), middle], rule);
        let mut number = [area.x, area.bottom()];
        for (row, fields) in self.rows().into_iter().enumerate() {
            let (mut x, y) = (area.x, area.y + ROW * row as f64);
            for field in &fields {
                let place = Box2::new(x, y, area.width * field.share, ROW);
                if x > area.x {
                    scene.line([x, y], [x, place.bottom()], rule);
                }
                let at = draw_field(scene, field, place);
                if field.label == SHEET {
                    number = at;
                }
                x += place.width;
            }
        }
        number
    }

    fn rows(&self) -> [Vec<Field>; 2] {
        let field = |label, value: &str, share| Field {
            label,
            value: text::clean(value),
            share,
        };
        let stated = |what: &Option<String>| what.clone().unwrap_or_default();
        let number = (self.stated.number.as_deref()).unwrap_or(&self.file);
        [
            vec![
                field("title", &self.title, 0.36),
                field("supplementary title", &self.about, 0.29),
                field("document type", self.document, 0.17),
                field("scale", &self.scale, 0.10),
                field("paper", self.paper.name(), 0.08),
            ],
            vec![
                field("legal owner", &stated(&self.stated.owner), 0.17),
                field("creator", &stated(&self.stated.creator), 0.16),
                field("approved by", &stated(&self.stated.approved_by), 0.16),
                field("identification number", number, 0.21),
                field("revision", &stated(&self.stated.revision), 0.07),
                field("date of issue", self.date, 0.11),
                field(SHEET, "", 0.07),
                field("lang.", "en", 0.05),
            ],
        ]
    }
}

const SHEET: &str = "sheet";
/// Sizes of labels and of values, and the least of a value that is long.
const LABEL: f64 = 1.8;
const VALUE: f64 = 2.7;
const LEAST_VALUE: f64 = 2.0;

/// Draws a field and returns where its value begins.
fn draw_field(scene: &mut Scene, field: &Field, place: Box2) -> Position {
    let (x, room) = (place.x + 1.2, place.width - 2.0);
    let line = |text: String, at, size, colour| Line {
        text,
        at,
        size,
        font: Font::Regular,
        align: Align::Start,
        colour,
        halo: 0.0,
    };
    let label = text::shorten(field.label, Font::Regular, LABEL, room);
    scene.styled(line(label, [x, place.y + 2.3], LABEL, GREY));
    let at = [x, place.bottom() - 1.5];
    let full = text::width(&field.value, Font::Regular, 1.0).max(1e-9);
    let size = (room / full).clamp(LEAST_VALUE, VALUE);
    let value = text::shorten(&field.value, Font::Regular, size, room);
    scene.styled(line(value, at, size, INK));
    at
}

/// The number of a sheet, drawn where [`TitleBlock::draw`] said.
pub(crate) fn number(scene: &mut Scene, at: Position, words: &str) {
    scene.text(at, VALUE, Font::Regular, words.to_owned());
}

/// Where the block stands.
fn area(paper: Paper) -> Box2 {
    let inside = paper.inside();
    Box2::new(inside.x, inside.bottom() - HEIGHT, inside.width, HEIGHT)
}

/// What is left of the page above it.
pub(crate) fn content(paper: Paper) -> Box2 {
    let inside = paper.inside();
    let height = inside.height - HEIGHT - GAP * 0.5;
    Box2::new(inside.x, inside.y, inside.width, height)
}
