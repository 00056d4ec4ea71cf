//! `tickstrip trend`: errors over several results.
use super::{
    Status,
    messages::{Action, Failure, Terminal, shown_path},
    new::write_file,
};
use crate::{pipeline, report};
use std::{fs, path::PathBuf};

/// Show how the errors went over several results, the oldest first
///
/// Prints a table and writes trend.csv, trend.html and a chart as trend.svg and trend.png: the figures that are off the most times
/// their tolerance, each with its interval. "better" and "worse" are from the first results to the last.
#[derive(clap::Args, Debug)]
#[command(after_help = "Examples:
  tickstrip trend fire-pump-demo/pump-results fire-pump-demo/pump-carried-results
  tickstrip trend pump-by-date --out pump-trend --force")]
pub(super) struct Arguments {
    /// Folders of results, report.json files, or a folder of results kept by date
    #[arg(required = true, value_name = "RESULTS")]
    results: Vec<PathBuf>,
    /// Folder of the files
    #[arg(long, value_name = "DIR", default_value = "trend")]
    out: PathBuf,
    /// Overwrite the files if they are there
    #[arg(long)]
    force: bool,
    /// Print JSON instead of words
    #[arg(long)]
    json: bool,
}

const ADVICE: &str = "name another folder with --out, or say --force";

pub(super) fn run(arguments: &Arguments, terminal: &Terminal) -> Result<Status, Failure> {
    let trend = pipeline::trend(&arguments.results)?;
    let files = pipeline::trend_files(&trend)?;
    let places = files.iter().map(|(name, _)| arguments.out.join(name));
    if let Some(path) = places
        .clone()
        .find(|path| path.exists() && !arguments.force)
    {
        return Err(Failure::Exists {
            path,
            advice: ADVICE,
        });
    }
    pipeline::refuse_folder_of_results(&arguments.out).map_err(Failure::Results)?;
    fs::create_dir_all(&arguments.out)
        .map_err(|source| Failure::file(&arguments.out, Action::Written, source))?;
    for (place, (_, bytes)) in places.zip(&files) {
        write_file(&place, bytes, (arguments.force, ADVICE))?;
    }
    if arguments.json {
        terminal.json(&report::trend_to_json(&trend))?;
        return Ok(Status::NothingOut);
    }
    terminal.table(&report::trend_table(&trend, terminal.table_style().width))?;
    let out = shown_path(&arguments.out);
    terminal.result(&format!(
        "\nwrote trend.csv, trend.svg, trend.png and trend.html in {out}\n"
    ))?;
    Ok(Status::NothingOut)
}
