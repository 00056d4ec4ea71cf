//! Measurements to JSON, CSV, HTML and the terminal table.
use crate::{job::View, measurement::ViewMeasurement};
use std::{borrow::Cow, collections::BTreeMap};

mod backdrop;
mod cad_changes;
mod camera;
mod camera_files;
mod changes;
mod collect;
mod csv;
mod dimension_lines;
mod dimensions;
mod features;
mod finite;
mod front_page;
mod html;
pub mod json;
mod lengths;
mod print;
mod reference_noise;
pub mod revision;
mod schema;
mod screen;
mod shots;
mod space;
mod summary;
mod table;
mod trend;
mod wording;

pub use backdrop::{Backdrop, BackdropEntry, BackdropReport, SeenTwiceEntry};
pub use camera::{
    CameraOfView, CameraReport, JsonAttitude, JsonCamera, JsonExterior, JsonInterior, JsonMark,
    JsonReason, JsonSecond, JsonTold,
};
pub use camera_files::CameraFile;
pub use changes::changes;
pub use collect::CollectedView;
pub use csv::{space_to_csv, to_csv};
#[cfg(feature = "service")]
pub use dimension_lines::DimensionsInWords;
pub use dimensions::{
    AngleAlone, DimensionEntry, Dimensions, DimensionsOfView, DimensionsReport, PlaceEntry,
    ProportionEntry,
};
pub use features::{Feature, FeatureTable, Printer};
pub use front_page::{FrontSection, front_page};
pub use html::{
    JobOfBatch, JobResult, MOST_VIEWS_WITH_PICTURES, batch_page, to_html, trend_page, write_html,
    write_index_html, write_view_html,
};
pub use json::{Report, SpaceEntry, Warning, from_json, to_json, write_json};
pub use lengths::{LengthAnswer, LengthAtScale, NearScale, WantedScale};
pub use reference_noise::{FigureNoiseEntry, NOISE_VERSION, ReferenceNoiseEntry};
pub use revision::{
    RevisionError, RevisionTold, earlier_from_now, may_be_compared, revision, revision_to_csv,
    revision_told,
};
pub use schema::schema;
pub use space::{EdgesUnseen, InSpaceLengths, PartsBeside, SpacePhoto};
pub use summary::{SUMMARY_HEAD, Summary, summary, summary_to_csv};
pub use table::{TABLE_COLOURS, TableStyle, space_table, table};
pub use trend::{Series, Trend, trend_table, trend_to_csv, trend_to_json};

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
    /// BLAKE3 checksum of the reference's file, in hexadecimal; `None` where it is not known.
    pub reference_blake3: Option<String>,
}
