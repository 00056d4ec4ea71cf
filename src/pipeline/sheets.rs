//! Sheets for people, made from a comparison of their own: nothing is written but the document.
use super::{
    CompareOptions, EarlierResults, Error, Event,
    error::{failure, stopped},
    mesh::{RunMesh, needs_mesh},
    one_view::{Ready, Staged, with_measured},
    run::{selected, space_of},
    turns,
    view_key::ViewKeys,
    whole_sheets,
};
use crate::{
    drawing::{
        self, DrawingScale, EarlierRevision, Paper, Picture, Pictures, SheetKind, SheetPage,
        TiledPicture, ViewToDraw,
    },
    images::{self, Budget, ViewLook},
    job::{self, InputError, Job, View, read_input},
    printable::{listed, shortened},
    report::{self, Report, RevisionError, ViewFailure, ViewOutcome, json::ViewEntry},
    stop::{self, Stop},
};
use std::{borrow::Cow, collections::BTreeMap, path::PathBuf};

/// What sheets are asked for.
#[derive(Clone, Debug)]
pub struct SheetRequest {
    /// Names of the views; empty: all.
    pub views: Vec<String>,
    /// The region that the sheets are about, in every view that has it; `None`: the whole view.
    pub part: Option<String>,
    /// What sort of sheets.
    pub sort: SheetSort,
    /// Their paper.
    pub paper: Paper,
    /// Date of issue.
    pub date: String,
    /// Largest image that is read, megapixels.
    pub max_megapixels: f64,
    /// The memory that all images share.
    pub memory: Budget,
}

/// What sort of sheets.
#[derive(Clone, Debug)]
pub enum SheetSort {
    /// Pictures, figures and corrections, with an overview in front of several views.
    Whole,
    /// Render and reference beside each other, without figures.
    Plain,
    /// What both images show at each mark, over as many pages as it takes.
    Strip,
    /// The render of earlier results and that of now, and what became better or worse.
    Revision(Box<EarlierResults>),
    /// A picture to scale, over as many pages as it takes.
    Tiled(TiledPicture, DrawingScale),
}

/// A document.
#[derive(Clone, Debug)]
pub struct Sheets {
    /// As PDF.
    pub pdf: Vec<u8>,
    /// How many sheets it has.
    pub count: usize,
    /// Views of which there is none, each with the reason.
    pub failed: Vec<(String, String)>,
}

/// Why there are no sheets.
#[derive(Debug, thiserror::Error)]
#[non_exhaustive]
pub enum SheetsError {
    /// The comparison as a whole failed.
    #[error(transparent)]
    Run(#[from] Error),
    /// No view has the part.
    #[error("no part \"{name}\" in {views}; there are {known}")]
    UnknownPart {
        /// The name asked for.
        name: String,
        /// The views that were looked at.
        views: String,
        /// The parts there are, the nearest names first.
        known: String,
    },
    /// Earlier results of another model.
    #[error(transparent)]
    Revision(#[from] RevisionError),
    /// Not one view could be drawn.
    #[error("there is nothing to draw: {}", in_words(failed))]
    NoSheet {
        /// The views, each with the reason.
        failed: Vec<(String, String)>,
    },
}

fn in_words(failed: &[(String, String)]) -> String {
    let each: Vec<String> = failed
        .iter()
        .map(|(v, why)| format!("{v}: {why}"))
        .collect();
    each.join("; ")
}

/// Compares the views that are asked for and draws their sheets, until it is asked to stop.
///
/// # Errors
/// Where a view or the part is unknown, where no view can be drawn, and [`Error::Stopped`]. A view that fails is named; the others go on.
pub fn draw_sheets(
    job: &Job,
    request: &SheetRequest,
    observer: &(dyn Fn(Event<'_>) + Sync),
    stop: &Stop,
) -> Result<Sheets, SheetsError> {
    stop.run(|| draw_all(job, request, observer))
        .map_err(|source| Error::Threads { source })?
}

fn draw_all(
    job: &Job,
    request: &SheetRequest,
    observer: &(dyn Fn(Event<'_>) + Sync),
) -> Result<Sheets, SheetsError> {
    let views = with_part(selected(job, &request.views)?, request.part.as_deref())?;
    if let SheetSort::Revision(earlier) = &request.sort {
        report::may_be_compared(&earlier.report, job)?;
    }
    let options = request.options();
    let is_needed = job.together.is_some() || views.iter().any(|view| needs_mesh(view));
    let mesh = RunMesh::read(job, is_needed, &request.memory, &stop::is_asked)?;
    let drawing = Drawing {
        job,
        request,
        options: &options,
        mesh: &mesh,
        keys: &ViewKeys::read(job, &views, &options),
        observer,
    };
    let done = turns::in_turns(&views, &options, &stop::is_asked, &|view, look| {
        drawing.view(view, look)
    })?;
    let (outcomes, pages): (Vec<_>, Vec<_>) = done.into_iter().unzip();
    let failed: Vec<(String, String)> = (outcomes.iter())
        .filter_map(|outcome: &ViewOutcome<'_>| {
            let failure = outcome.result.as_ref().err()?;
            Some((outcome.view.name.clone(), failure.text.clone()))
        })
        .collect();
    if failed.len() == outcomes.len() {
        return Err(SheetsError::NoSheet { failed });
    }
    let is_whole = matches!(request.sort, SheetSort::Whole) && request.part.is_none();
    let of = (request.paper, request.date.as_str());
    let space = match is_whole {
        true => space_of(
            job,
            (&views, &[]),
            &mesh,
            (&options.limits(), &options.memory),
        )?,
        false => None,
    };
    let in_space = match (&space, mesh.whole()) {
        (Some(space), Some(mesh)) => whole_sheets::in_space(job, of, space, mesh)?,
        _ => None,
    };
    let mut all = Vec::new();
    if is_whole && outcomes.len() > 1 {
        let report = Report::new(job, &outcomes).with_space(space.map(|space| space.entry));
        let first = pages.iter().map(|pages| pages.first()?.thumbnail());
        all = whole_sheets::overview(job, of, &report, first.collect())?;
    }
    all.extend(pages.into_iter().flatten());
    all.extend(in_space.into_iter().flat_map(|(_, pages)| pages));
    let count = all.len();
    let printed: Vec<_> = all.into_iter().map(|page| Ok(page.into())).collect();
    let pdf = drawing::sheets_pdf(count, printed).map_err(Error::from)?;
    Ok(Sheets { pdf, count, failed })
}

/// The views that have the part.
fn with_part<'a>(views: Vec<&'a View>, part: Option<&str>) -> Result<Vec<&'a View>, SheetsError> {
    let Some(part) = part else {
        return Ok(views);
    };
    let has_it = |view: &&&View| region_of(view, part).is_some();
    let with_it: Vec<&View> = views.iter().filter(has_it).copied().collect();
    if !with_it.is_empty() {
        return Ok(with_it);
    }
    // A drawn view has its regions only once it is drawn.
    let is_drawn = |view: &&&View| view.render.image == job::RenderImage::Drawn;
    let drawn: Vec<&View> = views.iter().filter(is_drawn).copied().collect();
    if !drawn.is_empty() {
        return Ok(drawn);
    }
    let names: std::collections::BTreeSet<&str> = (views.iter())
        .flat_map(|view| view.regions.iter().map(|r| r.name.as_str()))
        .collect();
    Err(SheetsError::UnknownPart {
        name: shortened(part),
        views: listed(views.iter().map(|view| view.name.as_str())),
        known: match names.is_empty() {
            true => "no parts".to_owned(),
            false => listed(names.iter().copied()),
        },
    })
}

fn region_of(view: &View, part: &str) -> Option<usize> {
    view.regions.iter().position(|region| region.name == part)
}

impl SheetRequest {
    /// What a comparison is asked for, of which nothing is written.
    fn options(&self) -> CompareOptions {
        CompareOptions {
            views: self.views.clone(),
            paper: self.paper,
            max_megapixels: self.max_megapixels,
            pictures: Pictures::only([Picture::Sheet]),
            ..CompareOptions::new(PathBuf::new(), self.date.clone(), self.memory.clone())
        }
    }
}

struct Drawing<'r> {
    job: &'r Job,
    request: &'r SheetRequest,
    options: &'r CompareOptions,
    mesh: &'r RunMesh,
    keys: &'r ViewKeys,
    observer: &'r (dyn Fn(Event<'_>) + Sync),
}

/// What became of a view, and its sheets.
type Done<'a> = (ViewOutcome<'a>, Vec<SheetPage>);

impl Drawing<'_> {
    fn view<'a>(
        &self,
        view: &'a View,
        look: Result<ViewLook, ViewFailure>,
    ) -> Result<Done<'a>, Error> {
        let stage = |stage| {
            (self.observer)(Event::Stage {
                view: &view.name,
                stage,
            });
            stop::check().map_err(stopped)
        };
        let done = self.measured(view, look, &stage);
        // A view that was stopped is no view that failed.
        stop::check()?;
        (self.observer)(Event::Finished { view: &view.name });
        Ok(done.unwrap_or_else(|failure| {
            let outcome = ViewOutcome {
                view: Cow::Borrowed(view),
                result: Err(failure),
                files: BTreeMap::new(),
                reference_blake3: None,
            };
            (outcome, Vec::new())
        }))
    }

    fn measured<'a>(
        &self,
        view: &'a View,
        look: Result<ViewLook, ViewFailure>,
        stage: &Staged<'_>,
    ) -> Result<Done<'a>, ViewFailure> {
        let run = (self.job, self.mesh, self.options);
        with_measured(run, view, &look?, stage, |ready| {
            stage("drawing")?;
            let outcome = ViewOutcome {
                view: ready.own.clone(),
                result: Ok(ready.measured.measurement.clone()),
                files: BTreeMap::new(),
                reference_blake3: Some(ready.reference_blake3.clone()),
            };
            let pages = self.pages((view, &ready), &outcome)?;
            Ok((outcome, pages))
        })
    }

    fn pages(
        &self,
        (own, ready): (&View, &Ready<'_, '_>),
        outcome: &ViewOutcome<'_>,
    ) -> Result<Vec<SheetPage>, ViewFailure> {
        let request = self.request;
        let input = ViewToDraw {
            job: self.job,
            view: ready.view,
            measurement: &ready.measured.measurement,
            work: &ready.measured.work,
            pairs: &ready.measured.pairs,
            date: &request.date,
            checksum: &self.keys.of(self.job, own).state,
            paper: request.paper,
        };
        let region = match &request.part {
            None => None,
            Some(part) => {
                Some(region_of(ready.view, part).ok_or_else(|| no_part(part, ready.view))?)
            }
        };
        let earlier;
        let kind = match &request.sort {
            SheetSort::Whole => SheetKind::Whole,
            SheetSort::Plain => SheetKind::Plain,
            SheetSort::Strip => SheetKind::Strip,
            SheetSort::Tiled(picture, scale) => SheetKind::Tiled(*picture, *scale),
            SheetSort::Revision(results) => {
                let now = Report::new(self.job, std::slice::from_ref(outcome));
                earlier = revision_of(results, &now)?;
                SheetKind::Revision(&earlier)
            }
        };
        drawing::draw_sheets(&input, &kind, region).map_err(|e| failure(e.code(), &e))
    }
}

fn no_part(part: &str, view: &View) -> ViewFailure {
    let known = listed(view.regions.iter().map(|r| r.name.as_str()));
    ViewFailure {
        code: "unknown-part",
        text: format!("no part \"{}\"; there are {known}", shortened(part)),
    }
}

/// Largest picture of earlier results that is read, bytes.
const MOST_PICTURE: u64 = 256 << 20;

/// What is known of the earlier revision of the one view that `now` holds.
fn revision_of(earlier: &EarlierResults, now: &Report) -> Result<EarlierRevision, ViewFailure> {
    let Some(after) = now.views.first() else {
        return Err(ViewFailure {
            code: "no-view",
            text: "nothing was compared".to_owned(),
        });
    };
    let mut before = earlier.report.clone();
    before.views.retain(|view| view.name == after.name);
    before.space = None;
    let revision = report::revision(&before, now).map_err(|e| failure(e.code(), &e))?;
    let Some(before) = before.views.first() else {
        return Err(no_picture(&after.name, "the view", None));
    };
    let small = read_picture(earlier, before, "render_small")?;
    // The registered reference is as large as the render was.
    let native = before.files.get("registered").and_then(|path| {
        let path = earlier.folder.join(path);
        images::dimensions(&path).ok()
    });
    let per_px = native.map(|(width, _)| f64::from(small.width()) / f64::from(width.max(1)));
    let earlier_from_now =
        per_px.and_then(|per_px| report::earlier_from_now(before, after, per_px));
    let told = report::revision_told(&revision);
    Ok(EarlierRevision {
        render: small,
        earlier_from_now,
        head: told.head,
        lines: told.lines,
        changed: told.changed,
    })
}

fn read_picture(
    earlier: &EarlierResults,
    view: &ViewEntry,
    key: &str,
) -> Result<image::RgbImage, ViewFailure> {
    let Some(path) = view.files.get(key) else {
        return Err(no_picture(&view.name, "the picture of its render", None));
    };
    let file = earlier.folder.join(path);
    let bytes = read_input(&file, MOST_PICTURE);
    let bytes = bytes.map_err(|why| no_picture(&view.name, path, Some(&why)))?;
    images::of_own_file(&bytes).ok_or_else(|| no_picture(&view.name, path, None))
}

fn no_picture(view: &str, what: &str, why: Option<&InputError>) -> ViewFailure {
    let why = why.map_or(String::new(), |why| format!(" ({why})"));
    ViewFailure {
        code: "no-earlier-picture",
        text: format!(
            "the earlier results of view \"{}\" lack {what}{why}; compare that job again with its pictures",
            shortened(view)
        ),
    }
}
