//! Every job of a folder compared, one line each: `cargo run --example batch_over_folder -- FOLDER RESULTS`.
//!
//! A job that cannot be used has its line too, and the others go on. Left out, the folder is that of the demo, and the
//! results go to a folder of the system for such files.
#![expect(
    clippy::print_stdout,
    clippy::print_stderr,
    reason = "an example prints what it finds"
)]

use std::{
    env, fs, io,
    path::{Path, PathBuf},
    process::ExitCode,
};
use tickstrip::{
    images::{self, Budget},
    job,
    pipeline::{self, CompareOptions},
    report::json::Verdict,
};

/// The job files of a folder, in order.
fn jobs(folder: &Path) -> io::Result<Vec<PathBuf>> {
    let entries: Vec<fs::DirEntry> = fs::read_dir(folder)?.collect::<Result<_, _>>()?;
    let mut files: Vec<PathBuf> = entries
        .iter()
        .map(fs::DirEntry::path)
        .filter(|path| path.is_file() && path.extension().is_some_and(|e| e == "json"))
        .collect();
    files.sort();
    Ok(files)
}

/// Compares one job; the error is what its line says.
fn compare(file: &Path, out: PathBuf, memory: &Budget) -> Result<String, String> {
    let job = job::read(file).map_err(|error| error.to_string())?;
    let options = CompareOptions::new(out, "2031-04-05".to_owned(), memory.clone());
    let outcome = pipeline::compare(&job, &options, &|_| {}).map_err(|error| error.to_string())?;
    let views = &outcome.report.views;
    let verdict = match outcome.report.verdict {
        Some(Verdict::Within) => "within",
        Some(Verdict::Undecided) => "undecided",
        Some(Verdict::Out) => "out",
        None => "not compared",
    };
    let failed = views.iter().filter(|view| view.error.is_some()).count();
    let worst = views.iter().flat_map(|view| &view.corrections);
    let worst = worst.max_by(|a, b| {
        let times = |x: Option<f64>| x.unwrap_or(0.0);
        times(a.times_tolerance).total_cmp(&times(b.times_tolerance))
    });
    let worst = worst.map_or(String::new(), |c| format!("; worst: {}", c.text));
    Ok(format!(
        "{verdict}, {} views, {failed} failed{worst}",
        views.len()
    ))
}

/// One line, whatever a message has.
fn on_one_line(text: &str) -> String {
    text.split_whitespace().collect::<Vec<_>>().join(" ")
}

fn main() -> ExitCode {
    let mut arguments = env::args_os().skip(1).map(PathBuf::from);
    let demo = || Path::new(env!("CARGO_MANIFEST_DIR")).join("fixtures/demo");
    let folder = arguments.next().unwrap_or_else(demo);
    let results = arguments.next();
    let results = results.unwrap_or_else(|| env::temp_dir().join("tickstrip-batch"));
    let files = match jobs(&folder) {
        Ok(files) => files,
        Err(error) => {
            eprintln!("{}: {error}", folder.display());
            return ExitCode::from(2);
        }
    };
    let memory = Budget::new(images::half_of_free_memory());
    let mut is_whole = true;
    for file in &files {
        let name = file.file_stem().unwrap_or_default();
        let line = compare(file, results.join(name), &memory);
        is_whole &= line.is_ok();
        let line = line.unwrap_or_else(|error| format!("cannot be used: {}", on_one_line(&error)));
        println!("{}: {line}", name.to_string_lossy());
    }
    if is_whole {
        ExitCode::SUCCESS
    } else {
        ExitCode::from(2)
    }
}
