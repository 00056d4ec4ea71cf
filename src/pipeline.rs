//! The stages in order, for every view of a job; the only place that calls them all.
mod straightening;

pub use straightening::{
    StraightPicture, StraightenError, doubts_of_straightening, straighten_picture,
};

use crate::{
    drawing::{self, DrawnFile, Paper, SheetPage, ViewToDraw},
    images::{self, Limits},
    job::{self, Job, View},
    measurement, registration,
    report::{self, Report, ViewFailure, ViewOutcome},
    stop::{self, Stop, Stopped},
};
use rayon::prelude::*;
use std::{
    collections::BTreeMap,
    fs, io,
    path::{Path, PathBuf},
};

/// What a comparison is asked for.
#[derive(Clone, Debug)]
pub struct CompareOptions {
    /// Folder of the results; replaced as a whole when all is written.
    pub out: PathBuf,
    /// Names of the views to compare; empty: all.
    pub views: Vec<String>,
    /// Paper of the sheets.
    pub paper: Paper,
    /// Date printed on the sheets.
    pub date: String,
    /// Largest image that is read, megapixels.
    pub max_megapixels: f64,
    /// Whether each step that acts on a reference is shown in a picture before and after it.
    pub explain: bool,
}

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

/// Views that are worked on at the same time, at most: each holds its images.
const VIEWS_AT_ONCE: usize = 4;

/// Why a comparison as a whole failed.
#[derive(Debug, thiserror::Error)]
#[non_exhaustive]
pub enum Error {
    /// `--view` names a view that the job does not have.
    #[error("no view \"{name}\"; the job has {known}")]
    UnknownView {
        /// The name asked for.
        name: String,
        /// The views there are, for the message.
        known: String,
    },
    /// The result folder cannot be written.
    #[error("{}: {what}: {source}", path.display())]
    Write {
        /// The file or folder.
        path: PathBuf,
        /// What was being done.
        what: &'static str,
        /// Why it failed.
        source: io::Error,
    },
    /// The result folder holds something else.
    #[error("{}: this folder holds other files and no report.json; name an empty or new folder with --out", path.display())]
    ForeignFolder {
        /// The folder.
        path: PathBuf,
    },
    /// A sheet could not be drawn.
    #[error("sheet.pdf: {0}")]
    Draw(#[from] drawing::Error),
    /// The system gives no threads.
    #[error("no threads can be started: {source}")]
    Threads {
        /// Why.
        source: rayon::ThreadPoolBuildError,
    },
    /// The caller asked to stop.
    #[error("the comparison was stopped; nothing was written")]
    Stopped,
}

impl From<Stopped> for Error {
    fn from(_: Stopped) -> Self {
        Self::Stopped
    }
}

impl Error {
    /// Stable code for scripts.
    pub fn code(&self) -> &'static str {
        match self {
            Self::UnknownView { .. } => "unknown-view",
            Self::Write { .. } => "cannot-write",
            Self::ForeignFolder { .. } => "foreign-folder",
            Self::Draw(_) => "cannot-draw",
            Self::Threads { .. } => "no-threads",
            Self::Stopped => "stopped",
        }
    }
}

/// A finished comparison.
#[derive(Clone, Debug)]
pub struct Outcome {
    /// The folder with the results.
    pub out: PathBuf,
    /// All figures.
    pub report: Report,
}

/// Compares the views of a job and writes the result folder: all of it or nothing.
///
/// # Errors
/// Where nothing could be written or a view is unknown. A view that fails is named in the report; the others go on.
pub fn compare(
    job: &Job,
    options: &CompareOptions,
    observer: &(dyn Fn(Event<'_>) + Sync),
) -> Result<Outcome, Error> {
    compare_until(job, options, observer, &Stop::default())
}

/// As [`compare`], until it is asked to stop: that is heard within a second, and nothing is left behind.
///
/// # Errors
/// Those of [`compare`], and [`Error::Stopped`].
pub fn compare_until(
    job: &Job,
    options: &CompareOptions,
    observer: &(dyn Fn(Event<'_>) + Sync),
    stop: &Stop,
) -> Result<Outcome, Error> {
    stop.run(|| compare_all(job, options, observer))
        .map_err(|source| Error::Threads { source })?
}

/// Compares on the threads of a run.
fn compare_all(
    job: &Job,
    options: &CompareOptions,
    observer: &(dyn Fn(Event<'_>) + Sync),
) -> Result<Outcome, Error> {
    let views = selected(job, &options.views)?;
    let folder = StagingFolder::beside(&options.out)?;
    let mut done = Vec::with_capacity(views.len());
    for chunk in views.chunks(rayon::current_num_threads().clamp(1, VIEWS_AT_ONCE)) {
        let results: Vec<Result<ViewDone<'_>, Error>> = chunk
            .par_iter()
            .map(|view| compare_view(job, view, options, folder.path(), observer))
            .collect();
        for result in results {
            done.push(result?);
        }
    }
    let (outcomes, pages): (Vec<_>, Vec<_>) = done.into_iter().map(|d| (d.outcome, d.page)).unzip();
    let report = Report::new(job, &outcomes);
    write_whole_job(
        folder.path(),
        &report,
        &pages.into_iter().flatten().collect::<Vec<_>>(),
    )?;
    stop::check()?;
    folder.take_the_place_of(&options.out)?;
    Ok(Outcome {
        out: options.out.clone(),
        report,
    })
}

fn selected<'a>(job: &'a Job, names: &[String]) -> Result<Vec<&'a View>, Error> {
    if let Some(name) = names
        .iter()
        .find(|n| job.views.iter().all(|v| v.name != **n))
    {
        let known: Vec<String> = job
            .views
            .iter()
            .map(|v| format!("\"{}\"", v.name))
            .collect();
        return Err(Error::UnknownView {
            name: name.clone(),
            known: known.join(", "),
        });
    }
    let is_wanted = |v: &&View| names.is_empty() || names.contains(&v.name);
    Ok(job.views.iter().filter(is_wanted).collect())
}

/// What one view leaves behind.
struct ViewDone<'a> {
    outcome: ViewOutcome<'a>,
    page: Option<SheetPage>,
}

fn compare_view<'a>(
    job: &Job,
    view: &'a View,
    options: &CompareOptions,
    folder: &Path,
    observer: &(dyn Fn(Event<'_>) + Sync),
) -> Result<ViewDone<'a>, Error> {
    let stage = |stage| {
        observer(Event::Stage {
            view: &view.name,
            stage,
        });
        stop::check().map_err(stopped)
    };
    let drawn = draw_view(job, view, options, &stage).and_then(|drawn| {
        stage("writing")?;
        Ok(drawn)
    });
    // A view that was stopped is no view that failed.
    stop::check()?;
    let done = match drawn {
        Ok(drawn) => {
            let files = write_view(folder, &view.name, drawn.files)?;
            ViewDone {
                outcome: ViewOutcome {
                    view,
                    result: Ok(drawn.measurement),
                    files,
                },
                page: Some(drawn.page),
            }
        }
        Err(failure) => ViewDone {
            outcome: ViewOutcome {
                view,
                result: Err(failure),
                files: BTreeMap::new(),
            },
            page: None,
        },
    };
    observer(Event::Finished { view: &view.name });
    Ok(done)
}

struct Drawn {
    measurement: measurement::ViewMeasurement,
    files: Vec<DrawnFile>,
    page: SheetPage,
}

/// Images to pictures: everything of a view that can fail on its own.
fn draw_view(
    job: &Job,
    view: &View,
    options: &CompareOptions,
    stage: &(dyn Fn(&'static str) -> Result<(), ViewFailure> + Sync),
) -> Result<Drawn, ViewFailure> {
    stage("reading images")?;
    let limits = Limits {
        max_pixels: (options.max_megapixels * 1e6) as u64,
    };
    let images = images::read_view(view, &limits).map_err(|e| failure(e.code(), &e))?;
    let size = images.render.rgb.dimensions();
    let reference_size = images.reference.rgb.dimensions();
    check_points(job, view, size, reference_size)?;
    stage("registering")?;
    let straighten = view.reference.straighten.as_ref();
    let frame = straighten.and_then(|s| measurement::look_for_frame(s, &images.reference.rgb));
    let straightening = registration::straightening(view, reference_size, frame.as_ref())
        .map_err(|e| failure(e.code(), &e))?;
    let registered = registration::register(view, job.expected, size, straightening.as_ref())
        .map_err(|e| failure(e.code(), &e))?;
    let straightened = match &straightening {
        Some(straightening) if options.explain => Some(
            explain_straightening(view, &images.reference.rgb, straightening)
                .map_err(|e| failure(e.code(), &e))?,
        ),
        _ => None,
    };
    stage("measuring")?;
    let mut measured =
        measurement::measure_in_run(job, view, images, registered).map_err(stopped)?;
    stage("drawing")?;
    let native = measured.native_reference.take();
    let to_draw = ViewToDraw {
        job,
        view,
        measurement: &measured.measurement,
        work: &measured.work,
        pairs: &measured.pairs,
        date: &options.date,
        paper: options.paper,
    };
    let (drawn, registered) = rayon::join(
        || drawing::draw_view(&to_draw),
        || match native {
            Some(native) => drawing::encode_large_png(native),
            None => drawing::encode_png(&measured.work.reference),
        },
    );
    let mut drawn = drawn.map_err(|e| failure(e.code(), &e))?;
    drawn.files.push(DrawnFile {
        key: "registered",
        name: "registered.png",
        bytes: registered.map_err(|e| failure(e.code(), &e))?,
    });
    if options.explain {
        let steps = drawing::explain(&measured.explained).map_err(|e| failure(e.code(), &e))?;
        drawn.files.extend(straightened.into_iter().chain(steps));
    }
    Ok(Drawn {
        measurement: measured.measurement,
        files: drawn.files,
        page: drawn.sheet,
    })
}

/// The picture of the reference before and after it was straightened.
fn explain_straightening(
    view: &View,
    reference: &image::RgbImage,
    straightening: &registration::Straightening,
) -> Result<DrawnFile, drawing::Error> {
    let plane = view.reference.straighten.as_ref().map(|s| &s.plane);
    let corners: &[_] = match plane {
        Some(job::KnownPlane::Rectangle(rectangle)) => &rectangle.corners,
        _ => &[],
    };
    let straight = measurement::straightened_picture(reference, straightening);
    stop::check()?;
    drawing::explain_straightening(reference, corners, &straight)
}

/// Points of known lengths have to lie in their images, which only now are known.
fn check_points(
    job: &Job,
    view: &View,
    render: (u32, u32),
    reference: (u32, u32),
) -> Result<(), ViewFailure> {
    let index = job.views.iter().position(|v| v.name == view.name);
    let at = format!("/views/{}", index.unwrap_or_default());
    let outside = job::points_outside(view, &at, render.into(), reference.into());
    match outside.first() {
        None => Ok(()),
        Some(fault) => Err(ViewFailure {
            code: fault.code(),
            text: fault.to_string(),
        }),
    }
}

fn failure(code: &'static str, error: &dyn std::error::Error) -> ViewFailure {
    ViewFailure {
        code,
        text: error.to_string(),
    }
}

/// A view that was stopped; replaced by [`Error::Stopped`] before anybody sees it.
fn stopped(error: Stopped) -> ViewFailure {
    failure(Error::Stopped.code(), &error)
}

fn write_view(
    folder: &Path,
    view: &str,
    files: Vec<DrawnFile>,
) -> Result<BTreeMap<&'static str, String>, Error> {
    let view_folder = folder.join(view);
    fs::create_dir_all(&view_folder).map_err(cannot("making the view's folder", &view_folder))?;
    let mut written = BTreeMap::new();
    for file in files {
        write(&view_folder.join(file.name), &file.bytes)?;
        written.insert(file.key, format!("{view}/{}", file.name));
    }
    Ok(written)
}

fn write_whole_job(folder: &Path, report: &Report, pages: &[SheetPage]) -> Result<(), Error> {
    let sheets = || {
        if pages.is_empty() {
            return Ok(());
        }
        write(&folder.join("sheet.pdf"), &drawing::sheets_pdf(pages)?)
    };
    let texts = || {
        write(
            &folder.join("report.json"),
            report::to_json(report).as_bytes(),
        )?;
        write(
            &folder.join("measures.csv"),
            report::to_csv(report).as_bytes(),
        )?;
        let picture = |path: &str| fs::read(folder.join(path)).ok();
        write(
            &folder.join("report.html"),
            report::to_html(report, &picture).as_bytes(),
        )
    };
    let (sheets, texts) = rayon::join(sheets, texts);
    sheets.and(texts)
}

fn write(path: &Path, bytes: &[u8]) -> Result<(), Error> {
    fs::write(path, bytes).map_err(cannot("writing it", path))
}

fn cannot<'a>(what: &'static str, path: &'a Path) -> impl FnOnce(io::Error) -> Error + 'a {
    move |source| Error::Write {
        path: path.to_path_buf(),
        what,
        source,
    }
}

/// The result folder while it is being written: beside its place, gone when something fails.
struct StagingFolder {
    folder: tempfile::TempDir,
}

impl StagingFolder {
    fn beside(out: &Path) -> Result<Self, Error> {
        if holds_other_things(out) {
            return Err(Error::ForeignFolder {
                path: out.to_path_buf(),
            });
        }
        let parent = match out.parent() {
            Some(parent) if !parent.as_os_str().is_empty() => parent,
            _ => Path::new("."),
        };
        fs::create_dir_all(parent).map_err(cannot("making the folder for the results", parent))?;
        let folder = tempfile::Builder::new()
            .prefix(".tickstrip-")
            .tempdir_in(parent)
            .map_err(cannot("making a folder for the results in it", parent))?;
        Ok(Self { folder })
    }

    fn path(&self) -> &Path {
        self.folder.path()
    }

    /// The old results are moved aside first, so that at no time both are mixed.
    fn take_the_place_of(self, out: &Path) -> Result<(), Error> {
        let new = self.folder.path().to_path_buf();
        readable_by_others(&new).map_err(cannot("setting its permissions", &new))?;
        let aside = new.with_extension("old");
        if out.exists() {
            fs::rename(out, &aside).map_err(cannot("moving the old results aside", out))?;
        }
        if let Err(source) = fs::rename(&new, out) {
            // Put the old results back; the error that is reported is the first one.
            let _ = fs::rename(&aside, out);
            return Err(cannot("putting the results in place", out)(source));
        }
        // The folder has moved: there is nothing left to clean up.
        let _ = self.folder.keep();
        if aside.exists() {
            fs::remove_dir_all(&aside).map_err(cannot("removing the old results", &aside))?;
        }
        Ok(())
    }
}

/// A temporary folder is private; results are as readable as any new folder.
fn readable_by_others(folder: &Path) -> io::Result<()> {
    #[cfg(unix)]
    {
        use std::os::unix::fs::PermissionsExt;
        fs::set_permissions(folder, fs::Permissions::from_mode(0o755))?;
    }
    #[cfg(not(unix))]
    let _ = folder;
    Ok(())
}

/// Whether the place of the results is taken by something that is not a result of ours.
fn holds_other_things(out: &Path) -> bool {
    let Ok(entries) = fs::read_dir(out) else {
        return out.exists();
    };
    entries.count() > 0 && !out.join("report.json").is_file()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::job;

    #[test]
    fn a_stopped_comparison_leaves_nothing_behind() {
        let demo = Path::new(env!("CARGO_MANIFEST_DIR")).join("fixtures/demo/chair.json");
        let job = job::read(&demo).expect("sound");
        let folder = tempfile::tempdir().expect("a folder");
        let options = CompareOptions {
            out: folder.path().join("results"),
            views: vec!["side".to_owned()],
            paper: Paper::A4,
            date: "2031-04-05".to_owned(),
            max_megapixels: 100.0,
            explain: false,
        };
        for last in ["reading images", "registering", "measuring"] {
            let stop = Stop::default();
            let observer = |event: Event<'_>| {
                if matches!(event, Event::Stage { stage, .. } if stage == last) {
                    stop.ask();
                }
            };
            let error = compare_until(&job, &options, &observer, &stop).expect_err("stopped");
            assert_eq!(error.code(), "stopped", "{last}");
            assert_eq!(fs::read_dir(folder.path()).expect("there").count(), 0);
        }
    }
}
