//! `tickstrip watch`: compares a job again whenever one of its files has changed.
use super::{
    Status, compare,
    memory::Memory,
    messages::{Action, Failure, Terminal},
};
use crate::{
    drawing::Pictures,
    images::Budget,
    job::{self, Job, Mask},
    pipeline::{self, CompareOptions, Results},
    printable::on_one_line,
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
/// view or part says what got better or worse than in the report before, as far as the intervals can tell. An image that
/// was written over since it was marked has its marks carried over to it, from a copy that is kept beside the job (JOB-marked). Ctrl-C
/// ends it.
#[derive(clap::Args, Debug)]
#[command(after_help = "Example:
  tickstrip demo
  tickstrip watch fire-pump-demo/pump.json")]
pub(super) struct Arguments {
    /// The job file
    job: PathBuf,
    /// Folder of the results [default: JOB without its extension, and -results]
    #[arg(long, value_name = "DIR")]
    out: Option<PathBuf>,
    /// Draw these pictures only: none, or names such as overlay,difference,sheet
    #[arg(long, value_name = "NAMES", default_value = "all", value_parser = compare::pictures)]
    pictures: Pictures,
    #[command(flatten)]
    memory: Memory,
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
        out: arguments
            .out
            .clone()
            .unwrap_or_else(|| compare::results_of(&arguments.job)),
        report: None,
        pictures: arguments.pictures.clone(),
        memory: arguments.memory.budget(),
        terminal,
        stop: &stop,
    };
    watch.report = watch.earlier();
    let compared = watch.begin()?;
    watch.follow(compared)?;
    Ok(Status::NothingOut)
}

struct Watch<'a> {
    job: &'a Path,
    out: PathBuf,
    /// The one before.
    report: Option<Report>,
    pictures: Pictures,
    memory: Budget,
    terminal: &'a Terminal,
    stop: &'a Stop,
}

impl Watch<'_> {
    fn stopped(&self) -> bool {
        self.stop.is_asked()
    }

    /// The report of an earlier run; without a usable one, changes are told from the next comparison on.
    fn earlier(&self) -> Option<Report> {
        let bytes = pipeline::earlier_report(self.job, &self.out)?;
        let report = report::from_json(&bytes);
        if report.is_none() {
            let file = self.out.join("report.json");
            self.terminal.fault(&format!(
                "{}: is no report of this version; changes are told from the next comparison on",
                file.display()
            ));
        }
        report
    }

    /// The first comparison, and the files as they were before it.
    fn begin(&mut self) -> Result<Look, Failure> {
        // A job that cannot be read at all is a slip in the command line; later it may be between two saves.
        job::open_input(self.job, job::MOST_BYTES)
            .map_err(|error| Failure::file(self.job, Action::Read, error.into()))?;
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
        let date = compare::default_date(std::env::var_os("SOURCE_DATE_EPOCH"))?;
        let mut options = CompareOptions {
            pictures: self.pictures.clone(),
            reuse: compare::reuse(false, None),
            ..CompareOptions::new(self.out.clone(), date, self.memory.clone())
        };
        let job = match compare::read_carried(self.job, self.terminal) {
            Ok((job, carried)) => {
                options.carried = carried;
                job
            }
            Err(Failure::Job(error)) => {
                self.terminal.faults(&error);
                return Ok(());
            }
            Err(error) => {
                self.terminal.fault(&format!("error: {error}"));
                return Ok(());
            }
        };
        let outcome = match pipeline::compare_until(&job, &options, &|_| (), self.stop) {
            Ok(outcome) => outcome,
            Err(pipeline::Error::Stopped) => return Ok(()),
            Err(error) => {
                self.terminal.fault(&format!("error: {error}"));
                return Ok(());
            }
        };
        let where_they_are = compare::where_results_are(&outcome);
        match &self.report {
            Some(before) => {
                self.tell_changes(before, &outcome.report)?;
                if outcome.results == Results::EarlierKept {
                    self.terminal.result(&format!("{where_they_are}\n"))?;
                }
            }
            None => {
                let table = report::table(&outcome.report, &self.terminal.table_style());
                self.terminal.table(&table)?;
                self.terminal.result(&format!("\n{where_they_are}\n"))?;
            }
        }
        for said in &options.carried {
            self.terminal.result(&format!("{}\n", on_one_line(said)))?;
        }
        for note in &outcome.notes {
            self.terminal.fault(&format!("note: {note}"));
        }
        self.report = Some(baseline(self.report.take(), outcome.report));
        Ok(())
    }

    fn tell_changes(&self, before: &Report, after: &Report) -> Result<(), Failure> {
        let lines = report::changes(before, after);
        let lines: Vec<String> = lines.iter().map(|line| on_one_line(line)).collect();
        self.terminal.result(&format!("{}\n", lines.join("\n")))
    }
}

/// What the next comparison is held against: of a view that could not be compared, what was found of it before.
fn baseline(before: Option<Report>, mut after: Report) -> Report {
    let mut known = before.map_or_else(Vec::new, |report| report.views);
    for view in after.views.iter_mut().filter(|view| view.error.is_some()) {
        if let Some(at) = known.iter().position(|earlier| earlier.name == view.name) {
            *view = known.swap_remove(at);
        }
    }
    after
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
            let render = view.render.image.file().map(Path::to_owned);
            let shots = view.reference.shots().map(Path::to_owned);
            let own = render.into_iter().chain(shots);
            let masks = [mask(&view.render.mask), mask(&view.reference.mask)];
            let shape = view.render.shape.clone();
            own.chain(masks.into_iter().flatten()).chain(shape)
        })
        .chain(
            job.model
                .iter()
                .flat_map(|model| &model.files)
                .map(|file| file.path.clone()),
        )
        .collect()
}

/// Names of the files that differ between two looks.
fn changed(before: &Look, after: &Look) -> String {
    let differing = after
        .iter()
        .filter(|(path, state)| before.get(*path) != Some(state));
    let mut names: Vec<String> = differing
        .map(|(path, _)| {
            let name = path.file_name().unwrap_or_default();
            on_one_line(&name.to_string_lossy())
        })
        .collect();
    names.sort();
    match names.is_empty() {
        true => "the job's list of images".to_owned(),
        false => names.join(", "),
    }
}
