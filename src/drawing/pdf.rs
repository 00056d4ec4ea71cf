//! Sheets to PDF: one page each, real paper size, text as text, fonts embedded, bookmarks.
use super::{Error, raster, sheet_page::SheetPage, svg, title_block};
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

/// Points of PDF per millimetre.
const POINTS: f64 = 72.0 / 25.4;

/// All sheets as one PDF, one page a sheet, in their order, each with its number and a bookmark.
///
/// Nothing in it depends on the time or the machine: the same pages give the same bytes.
///
/// # Errors
/// [`Error::Pdf`] where there is no page or the document cannot be written, [`Error::Scene`] where a page has no size, and
/// [`Error::Stopped`].
pub fn sheets_pdf(pages: &[SheetPage]) -> Result<Vec<u8>, Error> {
    let Some(first) = pages.first() else {
        return Err(Error::Pdf {
            cause: "there is no sheet to write".to_owned(),
        });
    };
    let (title, pages) = (first.title.clone(), pages.to_vec());
    stop::wait_for(move || write(title, &pages))?
}

fn write(title: String, pages: &[SheetPage]) -> Result<Vec<u8>, Error> {
    let mut document = Document::new();
    document.set_metadata(
        Metadata::new()
            .title(title)
            .creator(concat!("tickstrip ", env!("CARGO_PKG_VERSION")).to_owned())
            .language("en".to_owned()),
    );
    for (index, page) in pages.iter().enumerate() {
        add(&mut document, page, [index + 1, pages.len()])?;
    }
    document.set_outline(outline(pages));
    document.finish().map_err(|cause| Error::Pdf {
        cause: format!("{cause:?}"),
    })
}

fn add(document: &mut Document, page: &SheetPage, [sheet, of]: [usize; 2]) -> Result<(), Error> {
    let mut scene = page.scene.clone();
    title_block::number(&mut scene, page.number_at, sheet, of);
    let tree = raster::tree(&svg::to_svg(&scene), &page.pictures)?;
    let [width, height] = scene.size.map(|mm| (mm * POINTS) as f32);
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
fn outline(pages: &[SheetPage]) -> Outline {
    let mut outline = Outline::new();
    let numbered: Vec<(usize, &SheetPage)> = pages.iter().enumerate().collect();
    let top = |index| XyzDestination::new(index, Point::from_xy(0.0, 0.0));
    for chapter in numbered.chunk_by(|(_, a), (_, b)| a.chapter == b.chapter) {
        let Some((first, page)) = chapter.first() else {
            continue;
        };
        let mut node = OutlineNode::new(page.chapter.clone(), top(*first)).with_open(true);
        if chapter.len() > 1 {
            for (index, page) in chapter {
                node.push_child(OutlineNode::new(page.name.clone(), top(*index)));
            }
        }
        outline.push_child(node);
    }
    outline
}
