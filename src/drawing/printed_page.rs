//! A page of a sheet as it is printed: its shapes as SVG, and the pictures that these name. It can be put on the disk and taken from
//! there.
use super::{
    scene::Scene,
    sheet_page::{SheetPage, Thumbnail},
    svg, title_block,
};
use std::sync::Arc;

/// Stands in the SVG where the number of the sheet belongs, which only the whole document knows: a character without a meaning of
/// its own, which is taken out of all else.
const NUMBER: &str = "\u{f8f0}";

/// A page ready for [`sheets_pdf`](super::sheets_pdf).
#[derive(Clone, Debug, PartialEq)]
pub struct PrintedPage {
    /// Title of the document.
    pub title: String,
    /// What the bookmark over this page and those beside it is called.
    pub chapter: String,
    /// What the page's own bookmark is called.
    pub name: String,
    /// Width and height of the paper, millimetres.
    pub size_mm: [f64; 2],
    /// What is drawn, in millimetres.
    pub svg: String,
    /// The pictures, as JPEG, by the names that `svg` has for them.
    pub pictures: Vec<(String, Arc<Vec<u8>>)>,
    /// Width over height of the last picture, as it is shown.
    pub aspect: Option<f64>,
}

impl PrintedPage {
    /// What is drawn, with the number of the sheet.
    pub(crate) fn numbered(&self, sheet: usize, of: usize) -> String {
        self.svg.replace(NUMBER, &format!("{sheet} of {of}"))
    }

    /// The last of its pictures; that of the edges of both, where it has one.
    pub fn thumbnail(&self) -> Option<Thumbnail> {
        let (_, jpeg) = self.pictures.last()?;
        Some(Thumbnail {
            jpeg: jpeg.clone(),
            aspect: self.aspect?,
        })
    }
}

impl From<SheetPage> for PrintedPage {
    fn from(page: SheetPage) -> Self {
        let aspect = page.thumbnail().map(|thumbnail| thumbnail.aspect);
        let SheetPage {
            title,
            chapter,
            name,
            scene,
            pictures,
            number_at,
        } = page;
        let mut number = Scene::new(scene.size);
        title_block::number(&mut number, number_at, NUMBER);
        let mut svg = svg::to_svg(&scene).replace(NUMBER, "");
        svg::add(&mut svg, &number);
        let named = |(key, bytes): (std::borrow::Cow<'static, str>, Arc<Vec<u8>>)| {
            (key.into_owned(), bytes)
        };
        Self {
            title,
            chapter,
            name,
            size_mm: scene.size,
            svg,
            pictures: pictures.into_iter().map(named).collect(),
            aspect,
        }
    }
}
