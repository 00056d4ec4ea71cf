//! The sheets of a view that are asked for.
use super::{
    Backdrop, DrawingScale, EarlierRevision, Error, SheetPage, TiledPicture, ViewToDraw,
    plain_sheet, revision_sheet,
    sheet::{self, About},
    strip_sheet, tiles,
};

/// What sort of sheets.
#[derive(Clone, Debug)]
pub enum SheetKind<'a> {
    /// Pictures, figures and corrections.
    Whole,
    /// Render and reference beside each other, without figures.
    Plain,
    /// What both images show at each mark.
    Strip,
    /// The render before and now, and what became better or worse.
    Revision(&'a EarlierRevision),
    /// A picture to scale, over as many pages as it takes.
    Tiled(TiledPicture, DrawingScale),
}

/// The sheets of a view, or of its region of this index alone.
///
/// # Errors
/// [`Error::NoScale`] and [`Error::TooManyTiles`] of tiled pictures; [`Error::DifferentSizes`] and [`Error::EmptyPicture`] where the
/// rasters are unsound; where a picture cannot be encoded; [`Error::Stopped`].
///
/// # Panics
/// Where the view has no such region.
pub fn draw_sheets(
    input: &ViewToDraw<'_>,
    kind: &SheetKind<'_>,
    region: Option<usize>,
) -> Result<Vec<SheetPage>, Error> {
    super::check(input.work)?;
    let about = region.map_or(About::View, About::Part);
    match kind {
        SheetKind::Whole => sheet::pages(input, &Backdrop::of(input), about),
        SheetKind::Plain => plain_sheet::pages(input, about),
        SheetKind::Strip => strip_sheet::pages(input, about),
        SheetKind::Revision(earlier) => revision_sheet::pages(input, earlier, about),
        SheetKind::Tiled(picture, scale) => tiles::pages(input, (*picture, *scale), about),
    }
}
