//! What the pictures of a view are drawn from.
use super::Paper;
use crate::{
    job::{Job, View},
    measurement::{DrawnPair, ViewMeasurement, WorkImages},
};

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
    /// Checksum of all that the figures rest on, in hexadecimal, printed on the sheet.
    pub checksum: &'a str,
    /// Paper of the sheet.
    pub paper: Paper,
}
