//! Sheets to PDF: one page each, real paper size, text as text, fonts embedded, bookmarks.
use super::{Error, printed_page::PrintedPage, raster};
use crate::stop;
use krilla::{
    Document,
    destination::XyzDestination,
    geom::{Point, Size},
    metadata::Metadata,
    outline::{Outline, OutlineNode},
    page::PageSettings,
};
use krilla_svg::{SurfaceExt, SvgSettings};
use std::io;

/// Points of PDF per millimetre.
const POINTS: f64 = 72.0 / 25.4;

/// All sheets as one PDF, one page a sheet, in their order, each with its number and a bookmark; they are `count`, and are taken one
/// by one.
///
/// Nothing in it depends on the time or the machine: the same pages give the same bytes.
///
/// # Errors
/// [`Error::Pdf`] where there is no page, one cannot be had, or the document cannot be written, [`Error::Scene`] where a page has no
/// size, and [`Error::Stopped`].
pub fn sheets_pdf(
    count: usize,
    pages: impl IntoIterator<Item = io::Result<PrintedPage>> + Send + 'static,
) -> Result<Vec<u8>, Error> {
    stop::wait_for(move || write(count, pages))?
}

/// What a bookmark needs of a page.
struct Mark {
    chapter: String,
    name: String,
}

fn write(
    count: usize,
    pages: impl IntoIterator<Item = io::Result<PrintedPage>>,
) -> Result<Vec<u8>, Error> {
    let failed = |cause: String| Error::Pdf { cause };
    let mut document = Document::new();
    let mut title = None;
    let mut marks = Vec::new();
    for (index, page) in pages.into_iter().enumerate() {
        let page = page.map_err(|error| failed(error.to_string()))?;
        add(&mut document, &page, [index + 1, count])?;
        marks.push(Mark {
            chapter: page.chapter,
            name: page.name,
        });
        title.get_or_insert(page.title);
    }
    let title = title.ok_or_else(|| failed("there is no sheet to write".to_owned()))?;
    document.set_metadata(
        Metadata::new()
            .title(title)
            .creator(concat!("tickstrip ", env!("CARGO_PKG_VERSION")).to_owned())
            .language("en".to_owned()),
    );
    document.set_outline(outline(&marks));
    document
        .finish()
        .map_err(|cause| failed(format!("{cause:?}")))
}

fn add(document: &mut Document, page: &PrintedPage, [sheet, of]: [usize; 2]) -> Result<(), Error> {
    let tree = raster::tree(&page.numbered(sheet, of), &page.pictures)?;
    let [width, height] = page.size_mm.map(|mm| (mm * POINTS) as f32);
    let no_size = || Error::Pdf {
        cause: format!("a page of {width} x {height} points"),
    };
    let settings = PageSettings::from_wh(width, height).ok_or_else(no_size)?;
    let size = Size::from_wh(width, height).ok_or_else(no_size)?;
    let mut sheet = document.start_page_with(settings);
    let mut surface = sheet.surface();
    surface
        .draw_svg(&tree, size, SvgSettings::default())
        .ok_or_else(no_size)?;
    surface.finish();
    sheet.finish();
    Ok(())
}

/// A bookmark for each chapter; below it one for each sheet, where it has several.
fn outline(marks: &[Mark]) -> Outline {
    let mut outline = Outline::new();
    let numbered: Vec<(usize, &Mark)> = marks.iter().enumerate().collect();
    let top = |index| XyzDestination::new(index, Point::from_xy(0.0, 0.0));
    for chapter in numbered.chunk_by(|(_, a), (_, b)| a.chapter == b.chapter) {
        let Some((first, mark)) = chapter.first() else {
            continue;
        };
        let mut node = OutlineNode::new(mark.chapter.clone(), top(*first)).with_open(true);
        if chapter.len() > 1 {
            for (index, mark) in chapter {
                node.push_child(OutlineNode::new(mark.name.clone(), top(*index)));
            }
        }
        outline.push_child(node);
    }
    outline
}
