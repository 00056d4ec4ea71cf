//! The index of a batch: a page and a table of all views of all its jobs, in a folder of their own.
use super::{
    results_folder::{LeftViews, Named, NewResults, ResultsError, disk, seen_from},
    whole_job::page_of,
};
use crate::report::{self, JobOfBatch, JobResult, Report};
use std::{
    fs,
    path::{Path, PathBuf},
};

/// A job of a batch.
#[derive(Clone, Debug)]
pub struct IndexedJob {
    /// The job file as it was named.
    pub job: String,
    /// The folder of its results and what they say; why there are none.
    pub result: Result<(PathBuf, Report), String>,
}

/// Writes `index.html` and `summary.csv` of a batch into a folder: an empty or a new one, or that of an earlier index. Returns what is
/// to be told of the user's files there.
///
/// # Errors
/// [`ResultsError`]; nothing is written then.
pub fn write_index(folder: &Path, jobs: &[IndexedJob]) -> Result<Vec<String>, ResultsError> {
    let at = place(folder)?;
    let results = NewResults::begin(&at, (&at, Named::TheSame), &[], LeftViews::AreRemoved)?;
    let jobs: Vec<JobOfBatch> = jobs.iter().map(|job| of_batch(&at, job)).collect();
    results.write("index.html", report::batch_page(&jobs).as_bytes())?;
    let rows = jobs.iter().map(|job| {
        let views = job.result.as_ref();
        let views = views.map(|result| result.views.as_slice());
        (job.job.as_str(), views.map_err(String::as_str))
    });
    results.write("summary.csv", report::summary_to_csv(rows).as_bytes())?;
    results.put_in_place()
}

/// The folder without links in the folders above it, which are made.
fn place(folder: &Path) -> Result<PathBuf, ResultsError> {
    let looking = || disk("looking at it", folder);
    let absolute = std::path::absolute(folder).map_err(looking())?;
    let (Some(above), Some(name)) = (absolute.parent(), absolute.file_name()) else {
        return Ok(absolute);
    };
    fs::create_dir_all(above).map_err(disk("making the folder for it", above))?;
    Ok(fs::canonicalize(above).map_err(looking())?.join(name))
}

fn of_batch(folder: &Path, job: &IndexedJob) -> JobOfBatch {
    let result = job.result.as_ref().map(|(out, report)| {
        let out = fs::canonicalize(out).unwrap_or_else(|_| out.clone());
        let views = report::summary(report);
        let whole = "report.html".to_owned();
        let page = |k: usize| report.views.get(k).map(|view| page_of(report, view));
        JobResult {
            title: report.job.title.clone(),
            folder: seen_from(folder, &out),
            verdict: report.verdict,
            pages: (0..views.len())
                .map(|k| page(k).unwrap_or_else(|| whole.clone()))
                .collect(),
            views,
        }
    });
    JobOfBatch {
        job: job.job.clone(),
        result: result.map_err(Clone::clone),
    }
}
