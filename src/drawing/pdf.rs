//! Sheets to PDF: one page each, real paper size, text as text, fonts embedded.
use super::{Error, raster, sheet::SheetPage, svg};
use crate::stop;
use krilla::{Document, geom::Size, metadata::Metadata, page::PageSettings};
use krilla_svg::{SurfaceExt, SvgSettings};

/// Points of PDF per millimetre.
const POINTS: f64 = 72.0 / 25.4;

/// All sheets as one PDF, one page a sheet, in their order.
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
    for page in pages {
        add(&mut document, page)?;
    }
    document.finish().map_err(|cause| Error::Pdf {
        cause: format!("{cause:?}"),
    })
}

fn add(document: &mut Document, page: &SheetPage) -> Result<(), Error> {
    let tree = raster::tree(&svg::to_svg(&page.scene), &page.pictures)?;
    let [width, height] = page.scene.size.map(|mm| (mm * POINTS) as f32);
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
