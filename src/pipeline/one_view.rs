//! One view through all stages, from its images to its files.
use super::{
    CompareOptions, Event, admission,
    error::{Error, failure, stopped},
    finished_view::{self, Body, ToFinish},
    mesh::RunMesh,
    render::{self, Rendered},
    results_folder::NewResults,
    view_key::ViewKeys,
};
use crate::{
    contour,
    drawing::{self, DrawnFile, Picture, SheetPage, ViewToDraw},
    images::ViewLook,
    job::{self, Job, View},
    measurement,
    rectification::{self, Rectification},
    registration::LaidOver,
    report::{CollectedView, ViewFailure, ViewOutcome},
    stop,
};
use image::RgbImage;
use std::{borrow::Cow, collections::BTreeMap};

/// Code of a view whose marks belong to other pictures.
pub(super) const FOREIGN: &str = "marks-of-another-picture";

/// What one view leaves behind.
#[derive(Debug)]
pub(super) struct ViewDone {
    pub collected: CollectedView,
    /// `None` where it could not be compared.
    pub body: Option<Body>,
}

/// What the views of one run share.
pub(super) struct Comparison<'r> {
    pub job: &'r Job,
    pub options: &'r CompareOptions,
    pub mesh: &'r RunMesh,
    /// Whether the mesh is that whose content the keys have.
    pub is_mesh_known: bool,
    pub keys: &'r ViewKeys,
    pub folder: &'r NewResults,
    pub observer: &'r (dyn Fn(Event<'_>) + Sync),
}

impl Comparison<'_> {
    /// Compares a view and writes its files.
    ///
    /// # Errors
    /// Where nothing could be written, and [`Error::Stopped`]. What else goes wrong is the view's own.
    pub fn compare_view(
        &self,
        view: &View,
        look: Result<ViewLook, ViewFailure>,
    ) -> Result<ViewDone, Error> {
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
            Ok(drawn) => self.finish(view, drawn)?,
            Err(failure) => ViewDone {
                collected: CollectedView::new(
                    self.job,
                    &ViewOutcome {
                        view: Cow::Borrowed(view),
                        result: Err(failure),
                        files: BTreeMap::new(),
                        reference_blake3: None,
                    },
                ),
                body: None,
            },
        };
        (self.observer)(Event::Finished { view: &view.name });
        Ok(done)
    }

    /// Writes the files of a view that was compared.
    fn finish(&self, view: &View, drawn: Drawn<'_>) -> Result<ViewDone, Error> {
        let (mut files, mut listed, mut small) = (BTreeMap::new(), Vec::new(), Vec::new());
        for file in drawn.files {
            let path = format!("{}/{}", view.name, file.name);
            listed.push(self.folder.write(&path, &file.bytes)?);
            small.extend(file.for_page.map(|bytes| (path.clone(), bytes)));
            files.insert(file.key, path);
        }
        let outcome = ViewOutcome {
            view: drawn.view,
            result: Ok(drawn.measurement),
            files,
            reference_blake3: Some(drawn.reference_blake3),
        };
        let collected = CollectedView::new(self.job, &outcome);
        // What was read while it was being changed fits no key.
        let is_known = self.is_mesh_known && self.keys.is_unchanged(view);
        let key = self.keys.of(self.job, view).key.filter(|_| is_known);
        let to_finish = ToFinish {
            key,
            date: self.options.date.clone(),
            collected,
            files: listed,
            pages: drawn.pages.into_iter().map(Into::into).collect(),
            small,
        };
        let finished = finished_view::write(self.folder, to_finish)?;
        Ok(ViewDone {
            collected: finished.collected,
            body: Some(finished.body),
        })
    }

    /// Images to pictures: everything of a view that can fail on its own.
    fn draw_view<'a>(
        &self,
        view: &'a View,
        look: Result<ViewLook, ViewFailure>,
        stage: &Staged<'_>,
    ) -> Result<Drawn<'a>, ViewFailure> {
        let (job, options, own_view) = (self.job, self.options, view);
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
                checksum: &self.keys.of(job, own_view).state,
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
            let registered =
                registered.map(|bytes| DrawnFile::alone(("registered", "registered.png"), bytes));
            drawn.files.extend(registered);
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
pub(super) type Staged<'s> = dyn Fn(&'static str) -> Result<(), ViewFailure> + Sync + 's;

/// A view as it is measured, before anything of it is drawn.
pub(super) struct Ready<'r, 'a> {
    /// The view as the job has it; one whose render was drawn with its marks and regions.
    pub own: &'r Cow<'a, View>,
    /// The same with what the render shows at its marks.
    pub view: &'r View,
    pub measured: measurement::MeasuredView,
    pub files: Vec<DrawnFile>,
    pub rectified: Option<DrawnFile>,
    pub reference_blake3: String,
}

/// Images to figures; `then` goes on from there.
pub(super) fn with_measured<'a, T>(
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
    let whole = mesh.of(view)?.zip(edges.as_ref());
    let whole = whole.map(|(mesh, seen)| measurement::ViewMesh {
        seen,
        model: &mesh.model,
        edges: &mesh.edges,
    });
    let mut measured =
        measurement::measure_in_run(job, view, images, (registered, whole)).map_err(stopped)?;
    let doubts = admission::repeated_doubts(job, view, sizes[1]);
    if let Some(why) = &measured.foreign {
        let mut refused = failure(FOREIGN, why);
        for doubt in &doubts {
            refused
                .text
                .push_str(&format!("; see first to this: {}", doubt.text));
        }
        return Err(refused);
    }
    let beforehand = changed.into_iter().chain(doubts).chain(warnings);
    measured.measurement.warnings.splice(0..0, beforehand);
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
