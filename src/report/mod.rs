//! Measurements to JSON, CSV, HTML and the terminal table.
use crate::{job::View, measurement::ViewMeasurement};
use std::{borrow::Cow, collections::BTreeMap};

mod camera;
mod camera_files;
mod changes;
mod collect;
mod csv;
mod finite;
mod html;
pub mod json;
mod lengths;
mod schema;
mod screen;
mod space;
mod table;
mod wording;

pub use camera::{
    CameraOfView, CameraReport, JsonAttitude, JsonCamera, JsonExterior, JsonInterior, JsonMark,
    JsonReason, JsonSecond, JsonTold,
};
pub use camera_files::CameraFile;
pub use changes::changes;
pub use csv::{space_to_csv, to_csv};
pub use html::{to_html, write_html};
pub use json::{Report, SpaceEntry, from_json, to_json};
pub use lengths::{LengthAnswer, LengthAtScale, NearScale, WantedScale};
pub use schema::schema;
pub use space::{InSpaceLengths, PartsBeside, SpacePhoto};
pub use table::{TABLE_COLOURS, TableStyle, space_table, table};

/// Why a view could not be compared.
#[derive(Clone, Debug, PartialEq)]
pub struct ViewFailure {
    /// Stable code of the error.
    pub code: &'static str,
    /// Where, what was found, what is allowed, what to do.
    pub text: String,
}

/// What became of one view.
#[derive(Clone, Debug)]
pub struct ViewOutcome<'a> {
    /// The view.
    pub view: Cow<'a, View>,
    /// Its figures, or why there are none.
    pub result: Result<ViewMeasurement, ViewFailure>,
    /// Key to path, relative to the result folder, such as `overlay` to `side/overlay.png`.
    pub files: BTreeMap<&'static str, String>,
}
