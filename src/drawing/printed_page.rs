//! A page of a sheet as it is printed: its shapes as SVG, and the pictures that these name. It can be put on the disk and taken from
//! there.
use super::{sheet::SheetPage, svg};
use std::sync::Arc;

/// A page ready for [`sheets_pdf`](super::sheets_pdf).
#[derive(Clone, Debug, PartialEq)]
pub struct PrintedPage {
    /// Title of the document.
    pub title: String,
    /// Width and height of the paper, millimetres.
    pub size_mm: [f64; 2],
    /// What is drawn, in millimetres.
    pub svg: String,
    /// The pictures, as JPEG, by the names that `svg` has for them.
    pub pictures: Vec<(String, Arc<Vec<u8>>)>,
}

impl From<SheetPage> for PrintedPage {
    fn from(page: SheetPage) -> Self {
        let SheetPage {
            title,
            scene,
            pictures,
        } = page;
        let named = |(key, bytes): (&str, Arc<Vec<u8>>)| (key.to_owned(), bytes);
        Self {
            title,
            size_mm: scene.size,
            svg: svg::to_svg(&scene),
            pictures: pictures.into_iter().map(named).collect(),
        }
    }
}
