//! `tickstrip watch`: compares a job again whenever one of its files has changed.
use super::{
    Status, compare,
    messages::{Action, Failure, Terminal},
};
use crate::{
    drawing::Paper,
    job::{self, Job, Mask},
    pipeline::{self, CompareOptions},
    report::{self, Report},
    service,
    stop::Stop,
};
use std::{
    collections::BTreeMap,
    fs,
    path::{Path, PathBuf},
    thread,
    time::{Duration, SystemTime},
};

/// Compare a job again whenever a render, a reference or the job changes
///
/// A file counts as changed when it is completely written: its size and time stay the same for a second. A line a
/// view or part says what got better or worse than in the report before, as far as the intervals can tell. Ctrl-C
/// ends it.
#[derive(clap::Args, Debug)]
#[command(after_help = "Example:
  tickstrip demo
  tickstrip watch helm-chair-demo/chair.json")]
pub(super) struct Arguments {
    /// The job file
    job: PathBuf,
    /// Folder of the results [default: JOB without its extension, and -results]
    #[arg(long, value_name = "DIR")]
    out: Option<PathBuf>,
}

/// How often the files are looked at. Looking costs nothing beside a comparison, and works where a file system does not
/// tell of changes, as on network shares.
const INTERVAL: Duration = Duration::from_millis(250);
/// So many looks must find the same before a file counts as written.
const QUIET_LOOKS: u32 = 4;

pub(super) fn run(arguments: &Arguments, terminal: &Terminal) -> Result<Status, Failure> {
    let stop = service::stop_on_signal().map_err(|source| Failure::Signals { source })?;
    let mut watch = Watch {
        job: &arguments.job,
        out: arguments.out.clone().unwrap_or_else(|| {
            compare::Arguments::with_defaults(arguments.job.clone()).out_folder()
        }),
        report: None,
        terminal,
        stop: &stop,
    };
    let earlier = fs::read(watch.out.join("report.json")).ok();
    watch.report = earlier.and_then(|bytes| report::from_json(&bytes));
    let compared = watch.begin()?;
    watch.follow(compared)?;
    Ok(Status::NothingOut)
}

struct Watch<'a> {
    job: &'a Path,
    out: PathBuf,
    /// The one before.
    report: Option<Report>,
    terminal: &'a Terminal,
    stop: &'a Stop,
}

impl Watch<'_> {
    fn stopped(&self) -> bool {
        self.stop.is_asked()
    }

    /// The first comparison, and the files as they were before it.
    fn begin(&mut self) -> Result<Look, Failure> {
        // A job that cannot be read at all is a slip in the command line; later it may be between two saves.
        fs::metadata(self.job).map_err(|source| Failure::file(self.job, Action::Read, source))?;
        let before = look(self.job);
        self.compare()?;
        Ok(before)
    }

    /// Waits for changes until asked to stop.
    fn follow(&mut self, mut compared: Look) -> Result<(), Failure> {
        let mut seen = compared.clone();
        let mut quiet = 0;
        while !self.stopped() {
            thread::sleep(INTERVAL);
            let now = look(self.job);
            quiet = if now == seen { quiet + 1 } else { 0 };
            seen = now;
            if seen == compared || quiet < QUIET_LOOKS {
                continue;
            }
            let names = changed(&compared, &seen);
            self.terminal.result(&format!("{names} changed\n"))?;
            compared = seen.clone();
            self.compare()?;
        }
        self.terminal.result("stopped\n")
    }

    /// Compares and prints what changed; a fault is printed and waited out.
    fn compare(&mut self) -> Result<(), Failure> {
        let options = CompareOptions {
            out: self.out.clone(),
            views: Vec::new(),
            paper: Paper::A4,
            date: compare::default_date(std::env::var_os("SOURCE_DATE_EPOCH"))?,
            max_megapixels: 100.0,
            explain: false,
        };
        let job = match job::read(self.job) {
            Ok(job) => job,
            Err(error) => {
                self.terminal.fault(&error.to_string());
                return Ok(());
            }
        };
        let report = match pipeline::compare_until(&job, &options, &|_| (), self.stop) {
            Ok(outcome) => outcome.report,
            Err(pipeline::Error::Stopped) => return Ok(()),
            Err(error) => {
                self.terminal.fault(&format!("error: {error}"));
                return Ok(());
            }
        };
        let lines = match &self.report {
            Some(before) => report::changes(before, &report),
            None => {
                let table = report::table(&report, &self.terminal.table_style());
                vec![table, format!("results in {}", self.out.display())]
            }
        };
        self.terminal.result(&format!("{}\n", lines.join("\n")))?;
        self.report = Some(report);
        Ok(())
    }
}

/// Size and time of every file that a job rests on; `None` for one that is not there.
type Look = BTreeMap<PathBuf, Option<(u64, SystemTime)>>;

fn look(job: &Path) -> Look {
    let mut files = vec![job.to_owned()];
    if let Ok(job) = job::read(job) {
        files.extend(images(&job));
    }
    let state = |path: &Path| {
        let data = fs::metadata(path).ok()?;
        Some((data.len(), data.modified().ok()?))
    };
    files
        .into_iter()
        .map(|path| (path.clone(), state(&path)))
        .collect()
}

fn images(job: &Job) -> Vec<PathBuf> {
    let mask = |mask: &Mask| match mask {
        Mask::Image(path) => Some(path.clone()),
        _ => None,
    };
    (job.views.iter())
        .flat_map(|view| {
            let own = [view.render.image.clone(), view.reference.image.clone()];
            let masks = [mask(&view.render.mask), mask(&view.reference.mask)];
            own.into_iter().chain(masks.into_iter().flatten())
        })
        .collect()
}

/// Names of the files that differ between two looks.
fn changed(before: &Look, after: &Look) -> String {
    let differing = after
        .iter()
        .filter(|(path, state)| before.get(*path) != Some(state));
    let mut names: Vec<String> = differing
        .map(|(path, _)| {
            path.file_name()
                .unwrap_or_default()
                .to_string_lossy()
                .into_owned()
        })
        .collect();
    names.sort();
    match names.is_empty() {
        true => "the job's list of images".to_owned(),
        false => names.join(", "),
    }
}
