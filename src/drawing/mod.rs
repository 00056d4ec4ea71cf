//! Measurements to pictures and sheets: shapes on a scene, one scene to PNG, PDF and SVG.
use crate::{
    job::{Job, View},
    measurement::{DrawnPair, ViewMeasurement, WorkImages},
};

/// A paper size, landscape.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum Paper {
    /// ISO 216 A4, 297 x 210 mm.
    #[default]
    A4,
    /// ISO 216 A3, 420 x 297 mm.
    A3,
    /// 11 x 8 1/2 in.
    Letter,
}

/// All that the pictures of a view are drawn from.
#[derive(Clone, Copy, Debug)]
pub struct ViewToDraw<'a> {
    /// The job, for titles and scale.
    pub job: &'a Job,
    /// The view.
    pub view: &'a View,
    /// What was measured in it.
    pub measurement: &'a ViewMeasurement,
    /// The rasters.
    pub work: &'a WorkImages,
    /// Both marks of every landmark of the view, in its order, in render pixels.
    pub pairs: &'a [DrawnPair],
    /// The date printed on the sheet, such as 2031-04-05.
    pub date: &'a str,
    /// Paper of the sheet.
    pub paper: Paper,
}

/// One drawn file, encoded.
#[derive(Clone, Debug)]
pub struct DrawnFile {
    /// Key in the report's `files`, such as `overlay`.
    pub key: &'static str,
    /// File name, such as `overlay.png`.
    pub name: &'static str,
    /// The bytes of the file.
    pub bytes: Vec<u8>,
}
