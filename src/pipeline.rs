//! The stages in order, for every view of a job; the only place that calls them all.
#![doc = include_str!("pipeline/METHOD.md")]
mod admission;
mod archive;
mod backdrop;
mod camera;
mod carry;
mod earlier;
mod error;
mod finished_view;
mod index;
mod kept_results;
mod marked_copies;
mod measure;
mod mesh;
mod need;
mod one_view;
mod options;
mod own_folder;
mod photo_edges;
mod places;
mod rectify;
mod render;
mod results_folder;
mod reuse;
mod run;
mod shard;
mod shards;
mod sheets;
mod sizes;
mod together;
mod trend;
mod turns;
mod view_key;
mod whole_file;
mod whole_job;
mod whole_sheets;

pub use crate::drawing::BACKDROP_PICTURE;
pub use admission::{Look, Refusal, look};
pub use archive::{
    ArchiveError, Archived, Restored, Verified, archive, archive_without, free_archive, restore,
    verify,
};
pub use backdrop::{BackdropOptions, Backdrops, backdrops};
pub use camera::cameras;
pub use carry::{
    CarriedOver, CarriedView, CarryError, CarryRequest, NotCarried, carry_changed, carry_over,
    carry_view,
};
pub use earlier::{EarlierError, EarlierResults, report_at, reports_at, results_at};
pub use error::Error;
pub use index::{IndexedJob, write_index};
pub use kept_results::{KeptError, KeptResults, newest_results};
pub use marked_copies::MarkedCopies;
pub use measure::{MeasureOptions, MeasuredReferences, measure_references};
pub use mesh::{HeldMesh, NoMesh};
pub use options::{CompareOptions, Reuse};
pub use own_folder::OwnFolder;
pub use places::Turns;
pub use rectify::{RectifiedPicture, RectifyError, rectify_picture};
pub use results_folder::{
    Named, ResultsError, clear_left_runs, earlier_report, refuse_folder_of_results, remove_results,
};
pub use run::{compare, compare_until};
pub use shard::{Shard, ShardError, shards_folder};
pub use shards::{Merged, ShardOutcome, compare_shard, merge};
pub use sheets::{SheetRequest, SheetSort, Sheets, SheetsError, draw_sheets};
pub use trend::{TrendError, trend, trend_files};
pub use turns::{LookError, memory_need};
pub use whole_file::{There, clear_left, free_name, refused_in_words, write_whole};
pub use whole_job::page_of;

use crate::report::Report;
use std::path::PathBuf;

/// What happens during a comparison, for a progress display. Comes from several threads.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Event<'a> {
    /// A view entered a stage, such as "reading images".
    Stage {
        /// The view's name.
        view: &'a str,
        /// What is being done now.
        stage: &'static str,
    },
    /// A view is finished, well or not.
    Finished {
        /// The view's name.
        view: &'a str,
    },
}

/// Number of [`Event::Stage`]s that a view goes through before it is finished.
pub const STAGES_PER_VIEW: u64 = 5;

/// A finished comparison.
#[derive(Clone, Debug)]
pub struct Outcome {
    /// The folder with the results.
    pub out: PathBuf,
    /// All figures.
    pub report: Report,
    /// Whether the folder holds this report.
    pub results: Results,
    /// How many of the views were compared, well or not.
    pub compared: usize,
    /// How many had not changed and were taken over.
    pub taken_over: usize,
    /// What is to be told of files of the user's in the folder.
    pub notes: Vec<String>,
}

/// What became of the folder of the results.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Results {
    /// It holds what was found.
    InPlace,
    /// It held the same already, and was left as it is.
    Unchanged,
    /// No view could be compared, and the earlier results were kept.
    EarlierKept,
}
