//! A sheet ready for print, and where it belongs in a document.
use super::{
    raster,
    scene::{Position, Scene, Shape},
};
use std::sync::Arc;

/// A sheet, ready for print.
#[derive(Clone, Debug)]
pub struct SheetPage {
    /// Title of the document.
    pub(crate) title: String,
    /// What the bookmark over this sheet and those beside it is called: the view's name, as a rule.
    pub(crate) chapter: String,
    /// What the sheet's own bookmark is called.
    pub(crate) name: String,
    pub(crate) scene: Scene,
    pub(crate) pictures: Vec<raster::Keyed>,
    /// Where its number belongs.
    pub(crate) number_at: Position,
}

/// A picture of a sheet, to be shown on another one.
#[derive(Clone, Debug)]
pub struct Thumbnail {
    pub(crate) jpeg: Arc<Vec<u8>>,
    /// Width over height.
    pub(crate) aspect: f64,
}

impl SheetPage {
    /// Width and height of the paper, millimetres.
    pub fn size_mm(&self) -> [f64; 2] {
        self.scene.size
    }

    /// The last of its pictures; that of the edges of both, where it has one.
    pub fn thumbnail(&self) -> Option<Thumbnail> {
        let (key, jpeg) = self.pictures.last()?;
        let aspect = self.scene.shapes().iter().find_map(|shape| match shape {
            Shape::Picture { key: other, area } if other == key => Some(area.width / area.height),
            _ => None,
        })?;
        Some(Thumbnail {
            jpeg: jpeg.clone(),
            aspect,
        })
    }
}
