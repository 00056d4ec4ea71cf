//! `tickstrip compare`: the main job.
use super::{
    Status,
    batch::{self, Compared},
    memory::Memory,
    messages::{Failure, Terminal, shown_path},
    progress::Progress,
};
use crate::{
    drawing::{Paper, Picture, Pictures},
    images::Budget,
    job::{self, Job},
    pipeline::{
        self, CarryError, CompareOptions, Event, KeptResults, MarkedCopies, Named, Outcome,
        Results, Reuse, Shard, ShardOutcome, Turns,
    },
    printable::{listed, on_one_line, shortened},
    report::{self, Report, json::Verdict, revision::Change},
    service,
    stop::Stop,
};
use clap::ValueEnum;
use std::{
    ffi::OsString,
    path::{Path, PathBuf},
};
use time::OffsetDateTime;

/// Compare the renders of jobs with their references and write the results
///
/// The results are report.html, report.json, measures.csv, summary.csv, space.csv (with "together"), sheet.pdf and a folder of images for each view. They take the
/// place of the earlier ones of the same job; other files in their folder stay, and a file of the results that was changed
/// is not overwritten. Where no view can be compared, the earlier results stay. A view whose marks, images and settings are as before
/// is not compared again; a run that was stopped or killed is taken up again.
#[derive(clap::Args, Debug)]
#[command(after_help = "Examples:
  tickstrip demo
  tickstrip compare fire-pump-demo/pump.json
  tickstrip compare fire-pump-demo/pump.json --view side --out side-only --paper a3
  tickstrip compare fire-pump-demo/pump.json --json --quiet > report.json
  tickstrip compare fire-pump-demo/pump-carried.json --against fire-pump-demo/pump-results
  tickstrip compare fire-pump-demo/pump.json --out pump-by-date --keep 10
  tickstrip compare 'fire-pump-demo/pump*.json' --index pump-index
  tickstrip compare fire-pump-demo/pump.json --shard 1/2")]
pub(super) struct Arguments {
    /// The job files; patterns such as 'jobs/*.json' may be quoted
    #[arg(required = true, value_name = "JOB")]
    job: Vec<PathBuf>,
    /// Folder of the results of one job [default: JOB without its extension, and -results]
    #[arg(long, value_name = "DIR")]
    out: Option<PathBuf>,
    /// Write index.html and summary.csv of all jobs into this folder
    #[arg(long, value_name = "DIR")]
    index: Option<PathBuf>,
    /// Compare all views again, also those that have not changed
    #[arg(long)]
    fresh: bool,
    /// Compare only one of N equal shares of all views of all jobs, into a folder beside the results; "merge" puts the shards together
    #[arg(long, value_name = "K/N", conflicts_with_all = ["against", "keep", "json", "index", "carry"])]
    shard: Option<Shard>,
    /// Say what is better or worse than in these earlier results: a folder of results or a report.json. Exit with status 4 where
    /// something is worse
    #[arg(long, value_name = "RESULTS")]
    against: Option<PathBuf>,
    /// Write the results into a folder named by date and time in DIR, name it in newest.txt there, and keep so many of them
    #[arg(long, value_name = "N", value_parser = clap::value_parser!(u16).range(1..=10_000))]
    keep: Option<u16>,
    /// Compare this view only; may be repeated
    #[arg(long = "view", value_name = "NAME")]
    views: Vec<String>,
    /// Paper of the sheets
    #[arg(long, value_enum, default_value_t = PaperSize::A4)]
    paper: PaperSize,
    /// Sheets with the short side of the paper up
    #[arg(long)]
    portrait: bool,
    /// Threads to use [default: one for each processor]
    #[arg(long, value_name = "N", value_parser = clap::value_parser!(u16).range(1..=1024))]
    jobs: Option<u16>,
    /// Refuse images larger than this, megapixels
    #[arg(long, value_name = "N", default_value = MOST_MEGAPIXELS, value_parser = megapixels)]
    max_megapixels: f64,
    #[command(flatten)]
    memory: Memory,
    /// Date printed on the sheets [default: the day of SOURCE_DATE_EPOCH if set, else today in UTC]
    #[arg(long, value_name = "YYYY-MM-DD", value_parser = date)]
    date: Option<String>,
    /// Draw these pictures only: none, or names such as overlay,difference,sheet
    #[arg(long, value_name = "NAMES", default_value = "all", value_parser = pictures)]
    pictures: Pictures,
    /// Put the pictures into report.html as they are: by default they have a size that fits a phone
    #[arg(long)]
    full: bool,
    /// Show in a picture each, before and after, what was done to a reference before it was measured
    #[arg(long)]
    explain: bool,
    /// Carry the marks over to images that have changed since they were marked: what is marked is kept beside the job, in JOB-marked
    #[arg(long)]
    carry: bool,
    /// Exit with status 1 also where a measure is undecided
    #[arg(long)]
    strict: bool,
    /// Show no progress
    #[arg(long)]
    quiet: bool,
    /// Print report.json instead of the table
    #[arg(long)]
    json: bool,
}

pub(super) const MOST_MEGAPIXELS: &str = "100";

/// A paper size, as the command line names it.
#[derive(Clone, Copy, Debug, ValueEnum)]
pub(super) enum PaperSize {
    /// 297 x 210 mm
    A4,
    /// 420 x 297 mm
    A3,
    /// 11 x 8 1/2 in
    Letter,
}

impl PaperSize {
    /// The paper, upright where it is to be.
    pub fn on(self, is_portrait: bool) -> Paper {
        let paper = match self {
            Self::A4 => Paper::A4,
            Self::A3 => Paper::A3,
            Self::Letter => Paper::LETTER,
        };
        if is_portrait { paper.portrait() } else { paper }
    }
}

impl Arguments {
    /// Everything as it is when only the job is named.
    pub fn with_defaults(job: PathBuf) -> Self {
        Self {
            job: vec![job],
            out: None,
            index: None,
            fresh: false,
            shard: None,
            against: None,
            keep: None,
            views: Vec::new(),
            paper: PaperSize::A4,
            portrait: false,
            jobs: None,
            max_megapixels: 100.0,
            memory: Memory::default(),
            date: None,
            pictures: Pictures::all(),
            full: false,
            explain: false,
            carry: false,
            strict: false,
            quiet: false,
            json: false,
        }
    }

    /// The same, with the report instead of the table where that is wanted.
    pub fn with_json(self, json: bool) -> Self {
        Self { json, ..self }
    }

    /// The folder of the results of a job.
    pub fn out_folder(&self, job: &Path) -> PathBuf {
        self.out.clone().unwrap_or_else(|| results_of(job))
    }

    fn options(
        &self,
        job: &Path,
        turns: &Turns,
        memory: &Budget,
    ) -> Result<CompareOptions, Failure> {
        let out = self.out_folder(job);
        let date = match &self.date {
            Some(date) => date.clone(),
            None => default_date(std::env::var_os("SOURCE_DATE_EPOCH"))?,
        };
        // What is held against the earlier results may be the newest of those that are kept there.
        let against = self.against.as_deref().map(pipeline::report_at);
        let take_from = self.keep.map(|_| pipeline::newest_results(&out));
        Ok(CompareOptions {
            views: self.views.clone(),
            paper: self.paper.on(self.portrait),
            max_megapixels: self.max_megapixels,
            turns: turns.clone(),
            explain: self.explain,
            pictures: self.pictures.clone(),
            full_page: self.full,
            against: against.transpose()?,
            reuse: reuse(self.fresh, self.date.as_deref()),
            take_from: take_from.into_iter().collect(),
            ..CompareOptions::new(out, date, memory.clone())
        })
    }

    /// The folder of this run's results where they are kept by date.
    fn kept(&self, job: &Path) -> Result<Option<KeptResults>, Failure> {
        if self.keep.is_none() {
            return Ok(None);
        }
        let minute = minute(self.date.as_deref(), std::env::var_os("SOURCE_DATE_EPOCH"))?;
        Ok(Some(KeptResults::reserve(&self.out_folder(job), &minute)?))
    }

    /// An option that makes no sense with several jobs.
    fn of_one_job(&self) -> Option<&'static str> {
        let named = |is_named: bool, option| is_named.then_some(option);
        named(self.out.is_some(), "--out").or(named(self.against.is_some(), "--against"))
    }

    fn strictness(&self) -> Strictness {
        Strictness::of(self.strict)
    }
}

/// What becomes of views that have not changed; where no date is stated, sheets keep theirs.
pub(super) fn reuse(fresh: bool, date: Option<&str>) -> Reuse {
    let epoch = std::env::var_os("SOURCE_DATE_EPOCH");
    let is_stated = date.is_some() || epoch.is_some_and(|epoch| !epoch.is_empty());
    match (fresh, is_stated) {
        (true, _) => Reuse::Nothing,
        (false, true) => Reuse::OfThisDate,
        (false, false) => Reuse::OfAnyDate,
    }
}

/// The folder of a job's results where none is named.
pub(super) fn results_of(job: &Path) -> PathBuf {
    let mut name = job.with_extension("").into_os_string();
    name.push("-results");
    name.into()
}

pub(super) fn run(arguments: &Arguments, terminal: &Terminal) -> Result<Status, Failure> {
    let jobs = batch::named_jobs(&arguments.job)?;
    if let (Some(option), true) = (arguments.of_one_job(), jobs.len() > 1) {
        return Err(Failure::OfOneJob { option });
    }
    let stop = service::stop_on_signal().map_err(|source| Failure::Signals { source })?;
    let run = || match (jobs.as_slice(), arguments.shard, &arguments.index) {
        ([job], None, None) => of_one(job, arguments, terminal, &stop),
        _ => of_batch(&jobs, arguments, terminal, &stop),
    };
    match arguments.jobs {
        None => run(),
        Some(threads) => pool_of(threads.into())?.install(run),
    }
}

fn of_one(
    job: &Path,
    arguments: &Arguments,
    terminal: &Terminal,
    stop: &Stop,
) -> Result<Status, Failure> {
    let (read, carried) = read_job(job, arguments.carry, terminal)?;
    let count = match arguments.views.len() {
        0 => read.views.len(),
        some => some,
    };
    let progress = Progress::of(count, !arguments.quiet && terminal.is_watched());
    let mut options = arguments.options(job, &Turns::default(), &arguments.memory.budget())?;
    options.carried = carried;
    let outcome = compare_job(
        &read,
        options,
        arguments,
        &|event| progress.take(event),
        stop,
    );
    progress.clear();
    present(job, &outcome?, arguments, terminal)
}

fn compare_job(
    job: &Job,
    mut options: CompareOptions,
    arguments: &Arguments,
    observer: &(dyn Fn(Event<'_>) + Sync),
    stop: &Stop,
) -> Result<Outcome, Failure> {
    let kept = arguments.kept(&job.file)?;
    if let Some(kept) = &kept {
        options.out = kept.folder().to_owned();
        options.named = Named::Anew;
    }
    let mut outcome = pipeline::compare_until(job, &options, observer, stop)?;
    if let (Some(kept), Some(most)) = (&kept, arguments.keep) {
        outcome.notes.extend(kept.finish(&job.file, most.into())?);
    }
    Ok(outcome)
}

fn of_batch(
    jobs: &[PathBuf],
    arguments: &Arguments,
    terminal: &Terminal,
    stop: &Stop,
) -> Result<Status, Failure> {
    let threads = rayon::current_num_threads();
    let (turns, memory) = (Turns::shared(threads), arguments.memory.budget());
    // Whoever compares a job has as many threads.
    let pool = pool_of(threads)?;
    let read = jobs
        .iter()
        .map(|job| read_job(job, arguments.carry, terminal));
    let read: Vec<Result<(Job, Vec<String>), Failure>> = read.collect();
    let counts = read
        .iter()
        .map(|job| job.as_ref().map_or(0, |(job, _)| job.views.len()));
    // Of each job the number of views before it, and at the end that of all.
    let before: Vec<usize> = counts
        .chain([0])
        .scan(0, |sum, count| {
            let before = *sum;
            *sum += count;
            Some(before)
        })
        .collect();
    let progress = Progress::of(
        before[jobs.len()],
        !arguments.quiet && terminal.is_watched(),
    );
    let compare = |k: usize, (job, carried): (Job, Vec<String>)| -> Result<Compared, Failure> {
        let mut options = arguments.options(&jobs[k], &turns, &memory)?;
        options.carried = carried;
        let name = jobs[k].file_stem().unwrap_or_default().to_string_lossy();
        let observer = |event: Event<'_>| progress.take_of(&name, event);
        match arguments.shard {
            Some(shard) => {
                let place = (shard, before[k]);
                let done = pipeline::compare_shard(&job, &options, place, &observer, stop)?;
                Ok(Compared::Shard(done))
            }
            None => {
                let done = compare_job(&job, options, arguments, &observer, stop)?;
                Ok(Compared::Whole(Box::new(done)))
            }
        }
    };
    let tell = |k: usize, result: &Result<Compared, Failure>| match result {
        Ok(Compared::Whole(outcome)) if arguments.json => {
            present(&jobs[k], outcome, arguments, terminal)
        }
        Ok(Compared::Whole(outcome)) => {
            tell_outcome(&jobs[k], outcome, arguments.strictness(), terminal)
        }
        Ok(Compared::Shard(outcome)) => tell_shard(&jobs[k], outcome, terminal),
        Err(failure) => {
            if !failure.is_stop() {
                terminal.failure_of(&jobs[k], failure);
            }
            Ok(failure.status())
        }
    };
    let jobs_at_once = if threads > 1 { 2 } else { 1 };
    let compare = |k: usize, job: (Job, Vec<String>)| pool.install(|| compare(k, job));
    let done = batch::in_order(read, jobs_at_once, &|| stop.is_asked(), &compare, &tell);
    progress.clear();
    let (results, statuses): (Vec<_>, Vec<_>) = done.into_iter().unzip();
    if stop.is_asked() {
        let failed = results.into_iter().filter_map(Result::err);
        let stops: Vec<Failure> = failed.filter(Failure::is_stop).collect();
        stops.iter().for_each(|failure| terminal.failure(failure));
        return Ok(Status::Stopped);
    }
    let statuses: Result<Vec<Status>, Failure> = statuses.into_iter().collect();
    let status = batch::worst(statuses?);
    if let Some(folder) = &arguments.index {
        batch::write_index(folder, jobs, &results, terminal)?;
    }
    Ok(status)
}

/// The job as it is, or with its marks carried over.
fn read_job(
    file: &Path,
    carries: bool,
    terminal: &Terminal,
) -> Result<(Job, Vec<String>), Failure> {
    match carries {
        true => read_carried(file, terminal),
        false => Ok((job::read(file)?, Vec::new())),
    }
}

/// The job with its marks carried over to the images that have changed, and what is said of each; what is marked now is kept for the next
/// time.
pub(super) fn read_carried(
    file: &Path,
    terminal: &Terminal,
) -> Result<(Job, Vec<String>), Failure> {
    let over = pipeline::carry_changed(file).map_err(|error| match error {
        CarryError::Job(error) => Failure::Job(error),
        error => Failure::Carry(error),
    })?;
    for not in &over.not_carried {
        terminal.fault(&format!("note: {}", on_one_line(&not.in_words())));
    }
    let copies = MarkedCopies::of(file);
    if let Err(error) = copies.keep_marked(&over.job) {
        // The comparison itself needs none.
        let folder = shown_path(copies.folder());
        terminal.fault(&format!(
            "note: no copy of what is marked could be kept in {folder}: {error}"
        ));
    }
    let said = over.views.iter().map(|of| of.in_words());
    Ok((over.job, said.collect()))
}

fn pool_of(count: usize) -> Result<rayon::ThreadPool, Failure> {
    rayon::ThreadPoolBuilder::new()
        .num_threads(count)
        .build()
        .map_err(|source| Failure::Threads { count, source })
}

/// One line of a job among several.
pub(super) fn tell_outcome(
    job: &Path,
    outcome: &Outcome,
    strictness: Strictness,
    terminal: &Terminal,
) -> Result<Status, Failure> {
    let views = &outcome.report.views;
    let failed: Vec<_> = views.iter().filter(|view| view.error.is_some()).collect();
    let verdict = outcome.report.verdict.map_or("not compared", Verdict::word);
    let failed_words = match failed.len() {
        0 => String::new(),
        many => format!(", {many} not compared"),
    };
    let (job, at) = (shown_path(job), where_results_are(outcome));
    terminal.result(&format!(
        "{job}: {verdict}, {}{failed_words}; {at}\n",
        counted(views.len())
    ))?;
    for view in failed {
        let why = view.error.as_ref().map_or("", |error| error.text.as_str());
        terminal.fault(&format!("{job}: {}: {why}", view.name));
    }
    for note in &outcome.notes {
        terminal.fault(&format!("note: {note}"));
    }
    Ok(Facts::of(&outcome.report).status(strictness))
}

/// One line of a shard of a job. What its views show is told when all are put together.
fn tell_shard(job: &Path, outcome: &ShardOutcome, terminal: &Terminal) -> Result<Status, Failure> {
    let (job, out) = (shown_path(job), shown_path(&outcome.out));
    let views = counted(outcome.compared + outcome.taken_over);
    let again = match outcome.taken_over {
        0 => String::new(),
        many => format!(" ({many} as before, not compared again)"),
    };
    terminal.result(&format!("{job}: {views} of this shard{again} in {out}\n"))?;
    for (view, why) in &outcome.failed {
        terminal.fault(&format!("{job}: {view}: {why}"));
    }
    for note in &outcome.notes {
        terminal.fault(&format!("note: {note}"));
    }
    Ok(match outcome.failed.is_empty() {
        true => Status::NothingOut,
        false => Status::ViewsFailed,
    })
}

fn counted(views: usize) -> String {
    match views {
        1 => "1 view".to_owned(),
        many => format!("{many} views"),
    }
}

/// Prints what a comparison found, and says how to exit.
fn present(
    job: &Path,
    outcome: &Outcome,
    arguments: &Arguments,
    terminal: &Terminal,
) -> Result<Status, Failure> {
    if arguments.json {
        terminal.json(&report::to_json(&outcome.report))?;
    } else {
        let table = report::table(&outcome.report, &terminal.table_style());
        terminal.table(&table)?;
        terminal.result(&format!("\n{}\n", where_results_are(outcome)))?;
    }
    if arguments.json && outcome.results == Results::EarlierKept {
        terminal.fault(&where_results_are(outcome));
    }
    if let Some(archive) = pipeline::archive_without(job) {
        let job = shown_path(job);
        terminal.fault(&format!(
            "note: the job was changed since {} was written; \"tickstrip archive {job}\" keeps it as it is now",
            shown_path(&archive)
        ));
    }
    for note in &outcome.notes {
        terminal.fault(&format!("note: {note}"));
    }
    Ok(Facts::of(&outcome.report).status(arguments.strictness()))
}

/// Where the results are, or that the earlier ones are there still.
pub(super) fn where_results_are(outcome: &Outcome) -> String {
    let out = shown_path(&outcome.out);
    match outcome.results {
        Results::InPlace => match outcome.taken_over {
            0 => format!("results in {out}"),
            as_before => format!(
                "results in {out} ({as_before} of {} as before, not compared again)",
                counted(as_before + outcome.compared)
            ),
        },
        Results::Unchanged => format!("results in {out}, as before: nothing has changed"),
        Results::EarlierKept => {
            format!("no view could be compared; the earlier results in {out} were kept")
        }
    }
}

/// What the exit status depends on.
#[derive(Clone, Copy, Debug, Default)]
struct Facts {
    /// A measure is out.
    verdict_out: bool,
    /// A measure is undecided.
    undecided: bool,
    /// Views that could not be compared, or took no part in what the photos tell together.
    failed_views: usize,
    /// A figure is worse than in earlier results.
    is_worse: bool,
}

/// Which verdicts make the exit status 1.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Strictness {
    /// Only `out`.
    OutCounts,
    /// `undecided` as well.
    UndecidedCounts,
}

impl Strictness {
    /// As `--strict` asks for it.
    pub fn of(is_strict: bool) -> Self {
        match is_strict {
            true => Self::UndecidedCounts,
            false => Self::OutCounts,
        }
    }
}

impl Facts {
    fn of(report: &Report) -> Self {
        let failed = report.views.iter().filter(|v| v.error.is_some()).count();
        let in_space = report.space.iter();
        let failed_in_space = in_space.clone().filter(|s| s.has_failed_views()).count();
        let failed_views = failed + failed_in_space;
        let verdicts = report.views.iter().map(|v| v.verdict);
        let verdicts = verdicts.chain(in_space.map(|s| s.verdict));
        let has = |verdict| verdicts.clone().any(|v| v == Some(verdict));
        Self {
            verdict_out: has(Verdict::Out),
            undecided: has(Verdict::Undecided),
            failed_views,
            is_worse: report
                .revision
                .as_ref()
                .is_some_and(|r| r.verdict == Change::Worse),
        }
    }

    /// A view that failed outweighs what the others found: their verdict is not that of the job. What got worse outweighs what is out,
    /// which it may have been before.
    fn status(self, strictness: Strictness) -> Status {
        let is_strict = strictness == Strictness::UndecidedCounts;
        if self.failed_views > 0 {
            Status::ViewsFailed
        } else if self.is_worse {
            Status::SomethingWorse
        } else if self.verdict_out || (is_strict && self.undecided) {
            Status::SomethingOut
        } else {
            Status::NothingOut
        }
    }
}

/// Pictures by their names, "all" or "none".
pub(super) fn pictures(text: &str) -> Result<Pictures, String> {
    match text {
        "all" => return Ok(Pictures::all()),
        "none" => return Ok(Pictures::only([])),
        _ => {}
    }
    let names = || Picture::ALL.iter().map(|picture| picture.name());
    let named = |name: &str| {
        let found = Picture::ALL.into_iter().find(|p| p.name() == name.trim());
        found.ok_or_else(|| match job::nearest(name.trim(), names()).first() {
            Some(near) => format!(
                "no picture \"{}\"; did you mean \"{near}\"?",
                shortened(name)
            ),
            None => format!(
                "no picture \"{}\"; there are {}, and all and none",
                shortened(name),
                listed(names())
            ),
        })
    };
    let pictures = text.split(',').map(named);
    Ok(Pictures::only(pictures.collect::<Result<Vec<_>, _>>()?))
}

pub(super) fn megapixels(text: &str) -> Result<f64, String> {
    match text.parse::<f64>() {
        Ok(number) if number > 0.0 && number <= 10_000.0 => Ok(number),
        _ => Err("it must be a number above 0 and at most 10000".to_owned()),
    }
}

pub(super) fn date(text: &str) -> Result<String, String> {
    calendar_date(text)
        .map(printed)
        .ok_or_else(|| "it must be a day of the calendar, such as 2031-04-05".to_owned())
}

fn calendar_date(text: &str) -> Option<time::Date> {
    let bytes = text.as_bytes();
    let is_shaped = bytes.len() == 10
        && bytes.iter().enumerate().all(|(index, byte)| match index {
            4 | 7 => *byte == b'-',
            _ => byte.is_ascii_digit(),
        });
    if !is_shaped {
        return None;
    }
    let month = time::Month::try_from(text[5..7].parse::<u8>().ok()?).ok()?;
    let (year, day) = (text[..4].parse().ok()?, text[8..].parse().ok()?);
    time::Date::from_calendar_date(year, month, day).ok()
}

fn printed(date: time::Date) -> String {
    format!(
        "{:04}-{:02}-{:02}",
        date.year(),
        u8::from(date.month()),
        date.day()
    )
}

/// The day of SOURCE_DATE_EPOCH where it is set and not empty, else today, both in UTC.
pub(super) fn default_date(epoch: Option<OsString>) -> Result<String, Failure> {
    Ok(printed(moment(epoch)?.date()))
}

/// What results kept by date are named by: the day that was stated, else that of the moment, and the moment's minute, in UTC.
fn minute(date: Option<&str>, epoch: Option<OsString>) -> Result<String, Failure> {
    let moment = moment(epoch)?;
    let date = date.map_or_else(|| printed(moment.date()), str::to_owned);
    Ok(format!(
        "{date}T{:02}-{:02}",
        moment.hour(),
        moment.minute()
    ))
}

/// The moment of SOURCE_DATE_EPOCH where it is set and not empty, else now, in UTC.
fn moment(epoch: Option<OsString>) -> Result<OffsetDateTime, Failure> {
    let Some(epoch) = epoch.filter(|epoch| !epoch.is_empty()) else {
        return Ok(OffsetDateTime::now_utc());
    };
    let found = epoch.to_string_lossy().into_owned();
    let seconds = found.parse().ok();
    seconds
        .and_then(|seconds| OffsetDateTime::from_unix_timestamp(seconds).ok())
        .ok_or(Failure::Epoch { found })
}

#[cfg(test)]
mod tests {
    use super::*;

    fn status(facts: Facts) -> [u8; 2] {
        [Strictness::OutCounts, Strictness::UndecidedCounts].map(|s| facts.status(s).code())
    }

    #[test]
    fn the_exit_status_follows_the_verdict_and_failed_views_outweigh_it() {
        let good = Facts::default();
        assert_eq!(status(good), [0, 0]);
        let undecided = Facts {
            undecided: true,
            ..good
        };
        assert_eq!(status(undecided), [0, 1]);
        let out = Facts {
            verdict_out: true,
            ..good
        };
        assert_eq!(status(out), [1, 1]);
        let failed = Facts {
            failed_views: 1,
            ..out
        };
        assert_eq!(status(failed), [3, 3]);
        let worse = Facts {
            is_worse: true,
            ..out
        };
        assert_eq!(status(worse), [4, 4]);
        let failed_and_worse = Facts {
            is_worse: true,
            ..failed
        };
        assert_eq!(status(failed_and_worse), [3, 3]);
    }

    #[test]
    fn pictures_are_named_and_the_near_one_is_offered() {
        assert_eq!(pictures("all"), Ok(Pictures::all()));
        let two = pictures("overlay, heat").expect("names");
        assert!(two.has(Picture::Overlay) && two.has(Picture::Heat) && !two.has(Picture::Grid));
        assert!(
            !Picture::ALL
                .iter()
                .any(|p| pictures("none").expect("a word").has(*p))
        );
        let told = pictures("overlay,diference").expect_err("misspelt");
        assert_eq!(
            told,
            "no picture \"diference\"; did you mean \"difference\"?"
        );
        let told = pictures("xyz").expect_err("nothing near");
        assert!(told.contains("there are \"overlay\", "), "{told}");
    }

    #[test]
    fn dates_are_days_of_the_calendar() {
        assert_eq!(date("2028-02-29").as_deref(), Ok("2028-02-29"));
        for text in [
            "2027-02-29",
            "2027-13-01",
            "27-1-1",
            "2027-01-0a",
            "2027/01/01",
            "é027-1-1",
        ] {
            assert!(date(text).is_err(), "{text}");
        }
    }

    #[test]
    fn the_source_date_outranks_today() {
        let of = |epoch: &str| default_date(Some(epoch.into()));
        // From memory: 86400 seconds a day, so day 1 of the epoch is 1970-01-02.
        assert_eq!(of("86400").expect("a time"), "1970-01-02");
        let failure = of("soon").expect_err("no time").to_string();
        assert!(
            failure.contains("SOURCE_DATE_EPOCH is \"soon\"; it must be a whole number of seconds")
        );
        assert!(of("99999999999999999").is_err());
        assert_eq!(default_date(None).expect("today").len(), 10);
        assert_eq!(of("").expect("as if unset").len(), 10);
    }

    #[test]
    fn kept_results_are_named_by_day_and_minute() {
        // From memory: 3600 seconds an hour, 86400 a day.
        let of = |date| minute(date, Some("90061".into())).expect("a time");
        assert_eq!(of(None), "1970-01-02T01-01");
        assert_eq!(of(Some("2031-04-05")), "2031-04-05T01-01");
    }

    #[test]
    fn results_lie_beside_the_job() {
        let out = |job: &str| Arguments::with_defaults(job.into()).out_folder(job.as_ref());
        assert_eq!(out("a/pump.json"), PathBuf::from("a/pump-results"));
        assert_eq!(out("pump.v2.json"), PathBuf::from("pump.v2-results"));
        assert_eq!(out("pump"), PathBuf::from("pump-results"));
    }
}
