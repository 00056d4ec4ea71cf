//! Sheets to PDF: one page each, real paper size, text as text, fonts embedded.
use super::{Error, printed_page::PrintedPage, raster};
use crate::stop;
use krilla::{Document, geom::Size, metadata::Metadata, page::PageSettings};
use krilla_svg::{SurfaceExt, SvgSettings};
use std::io;

/// Points of PDF per millimetre.
const POINTS: f64 = 72.0 / 25.4;

/// All sheets as one PDF, one page a sheet, in their order; they are taken one by one.
///
/// Nothing in it depends on the time or the machine: the same pages give the same bytes.
///
/// # Errors
/// [`Error::Pdf`] where there is no page, one cannot be had, or the document cannot be written, [`Error::Scene`] where a page has no
/// size, and [`Error::Stopped`].
pub fn sheets_pdf(
    pages: impl IntoIterator<Item = io::Result<PrintedPage>> + Send + 'static,
) -> Result<Vec<u8>, Error> {
    stop::wait_for(move || write(pages))?
}

fn write(pages: impl IntoIterator<Item = io::Result<PrintedPage>>) -> Result<Vec<u8>, Error> {
    let failed = |cause: String| Error::Pdf { cause };
    let mut document = Document::new();
    let mut title = None;
    for page in pages {
        let page = page.map_err(|error| failed(error.to_string()))?;
        add(&mut document, &page)?;
        title.get_or_insert(page.title);
    }
    let title = title.ok_or_else(|| failed("there is no sheet to write".to_owned()))?;
    document.set_metadata(
        Metadata::new()
            .title(title)
            .creator(concat!("tickstrip ", env!("CARGO_PKG_VERSION")).to_owned())
            .language("en".to_owned()),
    );
    document
        .finish()
        .map_err(|cause| failed(format!("{cause:?}")))
}

fn add(document: &mut Document, page: &PrintedPage) -> Result<(), Error> {
    let tree = raster::tree(&page.svg, &page.pictures)?;
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
