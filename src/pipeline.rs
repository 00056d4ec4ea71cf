//! The stages in order, for every view of a job; the only place that calls them all.
#![doc = include_str!("pipeline/METHOD.md")]
mod admission;
mod archive;
mod camera;
mod carry;
mod earlier;
mod error;
mod kept_results;
mod marked_copies;
mod mesh;
mod need;
mod options;
mod own_folder;
mod rectify;
mod render;
mod results_folder;
mod sheets;
mod sizes;
mod together;
mod trend;
mod turns;
mod whole_file;

pub use admission::{Look, Refusal, look};
pub use archive::{
    ArchiveError, Archived, Restored, Verified, archive, archive_without, free_archive, restore,
    verify,
};
pub use camera::cameras;
pub use carry::{
    CarriedOver, CarriedView, CarryError, CarryRequest, NotCarried, carry_changed, carry_over,
    carry_view,
};
pub use earlier::{EarlierError, EarlierResults, report_at, reports_at, results_at};
pub use error::Error;
pub use kept_results::{KeptError, KeptResults, newest_results};
pub use marked_copies::MarkedCopies;
pub use options::CompareOptions;
pub use own_folder::OwnFolder;
pub use rectify::{RectifiedPicture, RectifyError, rectify_picture};
pub use results_folder::{ResultsError, clear_left_runs, earlier_report, remove_results};
pub use sheets::{SheetRequest, SheetSort, Sheets, SheetsError, draw_sheets};
pub use together::in_space;
pub use trend::{TrendError, trend, trend_files};
pub use turns::{LookError, memory_need};
pub use whole_file::{There, clear_left, free_name, write_whole};

use crate::{
    contour,
    drawing::{
        self, DrawnFile, Overview, OverviewSection, OverviewView, Paper, Picture, SheetPage,
        SpaceToDraw, ViewToDraw,
    },
    drawn::JobMesh,
    images::{self, ViewLook},
    job::{self, Job, View},
    measurement,
    printable::{listed, shortened},
    rectification::{self, Rectification},
    registration::LaidOver,
    report::{self, Report, ViewFailure, ViewOutcome},
    stop::{self, Stop},
};
use error::{failure, stopped};
use image::RgbImage;
use mesh::RunMesh;
use render::Rendered;
use results_folder::{NewResults, REPORT};
use std::{borrow::Cow, collections::BTreeMap, fs, path::PathBuf};
use together::{InSpace, found_in_space};

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
    /// What is to be told of files of the user's in the folder.
    pub notes: Vec<String>,
}

/// What became of the folder of the results.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Results {
    /// It holds what was found.
    InPlace,
    /// No view could be compared, and the earlier results were kept.
    EarlierKept,
}

/// Compares the views of a job and writes the result folder: all of it or nothing. Where no view could be compared,
/// earlier results stay.
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
    if let Some(earlier) = &options.against {
        report::may_be_compared(earlier, job)?;
    }
    let names: Vec<&str> = views.iter().map(|view| view.name.as_str()).collect();
    let folder = NewResults::begin(&job.file, &options.out, &names)?;
    let mesh = RunMesh::read(job, &views, &options.memory, &stop::is_asked)?;
    let comparison = Comparison {
        job,
        options,
        mesh: &mesh,
        folder: &folder,
        observer,
    };
    let done = turns::in_turns(&views, options, &stop::is_asked, &|view, look| {
        comparison.compare_view(view, look)
    })?;
    let (outcomes, pages): (Vec<_>, Vec<_>) =
        done.into_iter().map(|d| (d.outcome, d.pages)).unzip();
    let is_compared = outcomes.iter().any(|outcome| outcome.result.is_ok());
    let mut space = space_of(job, &views);
    let is_drawn = is_compared && options.pictures.has(Picture::Sheet);
    let in_space = match (&mut space, mesh.whole()) {
        (Some(space), Some(mesh)) if is_drawn => comparison.draw_space(space, mesh)?,
        _ => Vec::new(),
    };
    drop(mesh);
    let mut report = Report::new(job, &outcomes)
        .with_space(space.map(|space| space.entry))
        .with_carried(&options.carried);
    let front = match is_drawn && outcomes.len() > 1 {
        true => overview(job, (options.paper, &options.date), &report, &pages)?,
        false => Vec::new(),
    };
    let of_views = pages.into_iter().flatten();
    let pages: Vec<SheetPage> = front.into_iter().chain(of_views).chain(in_space).collect();
    if let Some(earlier) = options.against.as_ref().filter(|_| is_compared) {
        report.revision = Some(report::revision(earlier, &report)?);
    }
    stop::check()?;
    let (results, notes) = if !is_compared && folder.has_earlier() {
        (Results::EarlierKept, Vec::new())
    } else {
        write_whole_job((&folder, options), &report, &pages)?;
        stop::check()?;
        (Results::InPlace, folder.put_in_place()?)
    };
    Ok(Outcome {
        out: options.out.clone(),
        report,
        results,
        notes,
    })
}

/// What the photos tell together, where all of them are among the views that are compared.
fn space_of(job: &Job, views: &[&View]) -> Option<InSpace> {
    let together = job.together.as_ref()?;
    let is_compared = |&k: &usize| views.iter().any(|view| view.name == job.views[k].name);
    together
        .views
        .iter()
        .all(is_compared)
        .then(|| found_in_space(job))?
}

fn selected<'a>(job: &'a Job, names: &[String]) -> Result<Vec<&'a View>, Error> {
    if let Some(name) = names
        .iter()
        .find(|n| job.views.iter().all(|v| v.name != **n))
    {
        return Err(Error::UnknownView {
            name: shortened(name),
            known: listed(job.views.iter().map(|v| v.name.as_str())),
        });
    }
    let is_wanted = |v: &&View| names.is_empty() || names.contains(&v.name);
    Ok(job.views.iter().filter(is_wanted).collect())
}

/// What one view leaves behind.
struct ViewDone<'a> {
    outcome: ViewOutcome<'a>,
    pages: Vec<SheetPage>,
}

/// What the views of one run share.
struct Comparison<'r> {
    job: &'r Job,
    options: &'r CompareOptions,
    mesh: &'r RunMesh,
    folder: &'r NewResults,
    observer: &'r (dyn Fn(Event<'_>) + Sync),
}

impl Comparison<'_> {
    /// Draws the model in space with its parts, where any has figures; the sheets.
    fn draw_space(&self, space: &mut InSpace, mesh: &JobMesh) -> Result<Vec<SheetPage>, Error> {
        let how = (self.options.paper, self.options.date.as_str());
        let Some((file, pages)) = sheets_in_space(self.job, how, space, mesh)? else {
            return Ok(Vec::new());
        };
        self.folder.write(file.name, &file.bytes)?;
        space.entry.picture = Some(file.name.to_owned());
        Ok(pages)
    }

    fn compare_view<'a>(
        &self,
        view: &'a View,
        look: Result<ViewLook, ViewFailure>,
    ) -> Result<ViewDone<'a>, Error> {
        let stage = |stage| {
            (self.observer)(Event::Stage {
                view: &view.name,
                stage,
            });
            stop::check().map_err(stopped)
        };
        let drawn = self.draw_view(view, look, &stage).and_then(|drawn| {
            stage("writing")?;
            Ok(drawn)
        });
        // A view that was stopped is no view that failed.
        stop::check()?;
        let done = match drawn {
            Ok(drawn) => {
                let files = write_view(self.folder, &view.name, drawn.files)?;
                ViewDone {
                    outcome: ViewOutcome {
                        view: drawn.view,
                        result: Ok(drawn.measurement),
                        files,
                        reference_blake3: Some(drawn.reference_blake3),
                    },
                    pages: drawn.pages,
                }
            }
            Err(failure) => ViewDone {
                outcome: ViewOutcome {
                    view: Cow::Borrowed(view),
                    result: Err(failure),
                    files: BTreeMap::new(),
                    reference_blake3: None,
                },
                pages: Vec::new(),
            },
        };
        (self.observer)(Event::Finished { view: &view.name });
        Ok(done)
    }

    /// Images to pictures: everything of a view that can fail on its own.
    fn draw_view<'a>(
        &self,
        view: &'a View,
        look: Result<ViewLook, ViewFailure>,
        stage: &Staged<'_>,
    ) -> Result<Drawn<'a>, ViewFailure> {
        let (job, options) = (self.job, self.options);
        with_measured((job, self.mesh, options), view, &look?, stage, |ready| {
            stage("drawing")?;
            let Ready {
                own,
                view,
                mut measured,
                files,
                rectified,
                reference_blake3,
            } = ready;
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
            let pictures = &options.pictures;
            let registered = || match native {
                _ if !pictures.has(Picture::Registered) => Ok(None),
                Some(native) => drawing::encode_large_png(native).map(Some),
                None => drawing::encode_png(&measured.work.reference).map(Some),
            };
            let (drawn, registered) =
                rayon::join(|| drawing::draw_view(&to_draw, pictures), registered);
            let mut drawn = drawn.map_err(|e| failure(e.code(), &e))?;
            drawn.files.extend(files);
            let registered = registered.map_err(|e| failure(e.code(), &e))?;
            drawn.files.extend(registered.map(|bytes| DrawnFile {
                key: "registered",
                name: "registered.png",
                bytes,
            }));
            if options.explain {
                let steps =
                    drawing::explain(&measured.explained).map_err(|e| failure(e.code(), &e))?;
                drawn.files.extend(rectified.into_iter().chain(steps));
            }
            Ok(Drawn {
                view: own.clone(),
                measurement: measured.measurement,
                files: drawn.files,
                pages: drawn.sheets,
                reference_blake3,
            })
        })
    }
}

/// Told of each stage that a view enters; an error where the run is to stop.
type Staged<'s> = dyn Fn(&'static str) -> Result<(), ViewFailure> + Sync + 's;

/// A view as it is measured, before anything of it is drawn.
struct Ready<'r, 'a> {
    /// The view as the job has it; one whose render was drawn with its marks and regions.
    own: &'r Cow<'a, View>,
    /// The same with what the render shows at its marks.
    view: &'r View,
    measured: measurement::MeasuredView,
    files: Vec<DrawnFile>,
    rectified: Option<DrawnFile>,
    reference_blake3: String,
}

/// Images to figures; `then` goes on from there.
fn with_measured<'a, T>(
    (job, mesh, options): (&Job, &RunMesh, &CompareOptions),
    view: &'a View,
    look: &ViewLook,
    stage: &Staged<'_>,
    then: impl FnOnce(Ready<'_, 'a>) -> Result<T, ViewFailure>,
) -> Result<T, ViewFailure> {
    stage("reading images")?;
    let Rendered {
        view: own,
        images,
        warnings,
        files,
        edges,
    } = render::of_view(job, view, (mesh, options), look)?;
    let view = &*own;
    let changed = admission::changed_images(view).map_err(|e| failure(e.code(), &e))?;
    let reference_blake3 = admission::reference_blake3(view).map_err(|e| failure(e.code(), &e))?;
    let sizes = [&images.render.rgb, &images.reference.rgb].map(RgbImage::dimensions);
    stage("registering")?;
    let seen = contour::seen(view, &images.render.rgb);
    let view = &*seen;
    let rectify = view.reference.rectify.as_ref();
    let bezel = rectify.and_then(|s| rectification::look_for_bezel(s, &images.reference.rgb));
    let LaidOver {
        rectification,
        registered,
    } = admission::admit(job, view, sizes, bezel.as_ref())
        .map_err(|refusals| admission::as_failure(&refusals))?;
    let rectified = match &rectification {
        Some(rectification) if options.explain => Some(explain_rectification(
            view,
            &images.reference.rgb,
            rectification,
        )?),
        _ => None,
    };
    stage("measuring")?;
    let mut measured = measurement::measure_in_run(job, view, images, (registered, edges.as_ref()))
        .map_err(stopped)?;
    let beforehand = changed.into_iter().chain(warnings);
    measured.measurement.warnings.splice(0..0, beforehand);
    if let Some(why) = &measured.foreign {
        return Err(failure("marks-of-another-picture", why));
    }
    then(Ready {
        own: &own,
        view,
        measured,
        files,
        rectified,
        reference_blake3,
    })
}

struct Drawn<'a> {
    view: Cow<'a, View>,
    measurement: measurement::ViewMeasurement,
    files: Vec<DrawnFile>,
    pages: Vec<SheetPage>,
    reference_blake3: String,
}

/// The sheets of the model in space and the first of them as a picture, where any part has figures.
fn sheets_in_space(
    job: &Job,
    (paper, date): (Paper, &str),
    space: &InSpace,
    mesh: &JobMesh,
) -> Result<Option<(DrawnFile, Vec<SheetPage>)>, Error> {
    if space.parts.is_empty() {
        return Ok(None);
    }
    let views = &space.entry.views;
    let photos: Vec<&str> = views.iter().map(|view| view.name.as_str()).collect();
    Ok(Some(drawing::draw_in_space(&SpaceToDraw {
        job,
        model: &mesh.model,
        edges: &mesh.edges,
        parts: &space.parts,
        photos: &photos,
        date,
        paper,
    })?))
}

/// The page in front of the sheets of several views; `pages` are those of each view.
fn overview(
    job: &Job,
    (paper, date): (Paper, &str),
    report: &Report,
    pages: &[Vec<SheetPage>],
) -> Result<Vec<SheetPage>, Error> {
    let views = report.views.iter().zip(pages);
    let views = views.map(|(view, pages)| OverviewView {
        name: &view.name,
        verdict: view.verdict,
        thumbnail: pages.first().and_then(SheetPage::thumbnail),
    });
    let sections = report::front_page(report).into_iter();
    let sections = sections.map(|section| OverviewSection {
        heading: section.heading,
        entries: section.entries,
        is_ranked: section.is_ranked,
    });
    Ok(drawing::overview_pages(&Overview {
        job,
        date,
        paper,
        views: views.collect(),
        sections: sections.collect(),
    })?)
}

/// The picture of the reference before and after it was rectified.
fn explain_rectification(
    view: &View,
    reference: &RgbImage,
    rectification: &Rectification,
) -> Result<DrawnFile, ViewFailure> {
    let plane = view.reference.rectify.as_ref().map(|s| &s.plane);
    let corners: &[_] = match plane {
        Some(job::KnownPlane::Rectangle(rectangle)) => &rectangle.corners,
        _ => &[],
    };
    let rectified = rectification::rectified_picture(reference, rectification)
        .map_err(|e| failure(e.code(), &e))?;
    stop::check().map_err(stopped)?;
    drawing::explain_rectification(reference, corners, &rectified)
        .map_err(|e| failure(e.code(), &e))
}

fn write_view(
    folder: &NewResults,
    view: &str,
    files: Vec<DrawnFile>,
) -> Result<BTreeMap<&'static str, String>, Error> {
    let mut written = BTreeMap::new();
    for file in files {
        let path = format!("{view}/{}", file.name);
        folder.write(&path, &file.bytes)?;
        written.insert(file.key, path);
    }
    Ok(written)
}

fn write_whole_job(
    (folder, options): (&NewResults, &CompareOptions),
    report: &Report,
    pages: &[SheetPage],
) -> Result<(), Error> {
    let sheets = || -> Result<(), Error> {
        if pages.is_empty() {
            return Ok(());
        }
        Ok(folder.write("sheet.pdf", &drawing::sheets_pdf(pages)?)?)
    };
    let texts = || -> Result<(), Error> {
        folder.write(REPORT, report::to_json(report).as_bytes())?;
        folder.write("measures.csv", report::to_csv(report).as_bytes())?;
        if let Some(revision) = &report.revision {
            folder.write("revision.csv", report::revision_to_csv(revision).as_bytes())?;
        }
        if let Some(space) = &report.space {
            folder.write("space.csv", report::space_to_csv(space).as_bytes())?;
        }
        let picture = |path: &str| page_picture(folder, options, path);
        let write = |out: &mut dyn std::io::Write| report::write_html(report, &picture, out);
        Ok(folder.write_by("report.html", &write)?)
    };
    let (sheets, texts) = rayon::join(sheets, texts);
    sheets.and(texts)
}

/// A file of a view as the page has it; an animated picture only where pictures are as they are.
fn page_picture(folder: &NewResults, options: &CompareOptions, path: &str) -> Option<Vec<u8>> {
    let bytes = fs::read(folder.path().join(path)).ok()?;
    if options.full_page {
        return Some(bytes);
    }
    if path.ends_with("blink.png") {
        return None;
    }
    let picture = images::of_own_file(&bytes);
    match picture.map(|picture| drawing::encode_for_page(&picture)) {
        Some(Ok(small)) if small.len() < bytes.len() => Some(small),
        _ => Some(bytes),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::{drawing::Paper, images::Budget, job};
    use std::path::Path;

    #[test]
    fn a_stopped_comparison_leaves_nothing_behind() {
        let demo = Path::new(env!("CARGO_MANIFEST_DIR")).join("fixtures/demo/pump.json");
        let job = job::read(&demo).expect("sound");
        let folder = tempfile::tempdir().expect("a folder");
        let options = CompareOptions {
            out: folder.path().join("results"),
            views: vec!["side".to_owned()],
            paper: Paper::A4,
            date: "2031-04-05".to_owned(),
            max_megapixels: 100.0,
            memory: Budget::new(1 << 30),
            explain: false,
            pictures: crate::drawing::Pictures::all(),
            full_page: false,
            carried: Vec::new(),
            against: None,
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
