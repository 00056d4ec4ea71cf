//! What a view needs before anything is measured, as far as its marks and the sizes of its images tell: the same for a
//! look at a job and for a comparison.
use crate::{
    drawn::{self, JobMesh},
    images::{self, Limits},
    job::{self, Doubt, Fault, InputError, Job, Mask, ModelSource, RenderImage, View},
    measurement::{self, ViewScale, Warning},
    meshes,
    rectification::{self, BezelLook},
    registration::{self, LaidOver},
    report::ViewFailure,
    warning::Code,
};
use rayon::prelude::*;
use std::{fmt, path::Path};

/// Why a view cannot be compared.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Refusal {
    /// Where in the job, as a JSON pointer.
    pub pointer: String,
    /// Stable code for scripts.
    pub code: &'static str,
    /// What was found, what is allowed, what to do.
    pub text: String,
}

impl Refusal {
    fn new(pointer: String, code: &'static str, error: &dyn fmt::Display) -> Self {
        Self {
            pointer,
            code,
            text: error.to_string(),
        }
    }

    fn of_fault(fault: &Fault) -> Self {
        Self::new(fault.pointer.clone(), fault.code(), &fault.text())
    }
}

impl fmt::Display for Refusal {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{}: {}", self.pointer, self.text)
    }
}

/// Checks the marks of a view and lays its reference over its render; sizes are those of its images, upright. `bezel` is
/// what was found across the sides of a screen, where the picture was looked at.
///
/// # Errors
/// All that speaks against it, at least one.
pub(super) fn admit(
    job: &Job,
    view: &View,
    sizes: [(u32, u32); 2],
    bezel: Option<&BezelLook>,
) -> Result<LaidOver, Vec<Refusal>> {
    let at = pointer(job, view);
    let Err(mut refusals) = outside(job, view, sizes) else {
        return registration::lay_over(view, job.expected, sizes, bezel)
            .map_err(|error| vec![of_registration(&at, &error)]);
    };
    // What marks outside of their picture do to the registration says nothing more.
    if let Err(error) = rectification::of_view(view, sizes[1], bezel) {
        refusals.push(of_registration(&at, &error.into()));
    }
    Err(refusals)
}

/// Refuses marks outside of their pictures.
pub(super) fn outside(
    job: &Job,
    view: &View,
    [render, reference]: [(u32, u32); 2],
) -> Result<(), Vec<Refusal>> {
    let outside = job::marks_outside(view, &pointer(job, view), render, reference);
    let refusals: Vec<Refusal> = outside.faults.iter().map(Refusal::of_fault).collect();
    if refusals.is_empty() {
        Ok(())
    } else {
        Err(refusals)
    }
}

fn of_registration(at: &str, error: &registration::Error) -> Refusal {
    let key = match error {
        registration::Error::Rectify(_) => "reference/rectify",
        _ => "landmarks",
    };
    Refusal::new(format!("{at}/{key}"), error.code(), error)
}

/// The same as one failure of a view.
pub(super) fn as_failure(refusals: &[Refusal]) -> ViewFailure {
    let texts: Vec<String> = refusals.iter().map(Refusal::to_string).collect();
    ViewFailure {
        code: refusals.first().map_or("refused", |r| r.code),
        text: texts.join("; "),
    }
}

fn pointer(job: &Job, view: &View) -> String {
    let index = job.views.iter().position(|v| v.name == view.name);
    format!("/views/{}", index.unwrap_or_default())
}

/// What a look at a job and at the heads of its images tells, before anything is compared.
#[derive(Clone, Debug, Default)]
pub struct Look {
    /// Why views cannot be compared.
    pub refusals: Vec<Refusal>,
    /// What does not stop a comparison but may not be meant.
    pub doubts: Vec<Doubt>,
}

/// Looks at every view of a job as a comparison does before it measures, without decoding a picture: the bezel of a screen
/// is not looked for. Images that are not there are left to [`job::missing_images`].
pub fn look(job: &Job) -> Look {
    let mut all = Look::default();
    let mesh = all.mesh(job);
    let look_at = |view| look_at(job, view, mesh.as_ref());
    let looks: Vec<_> = job.views.par_iter().map(look_at).collect();
    let mut scales = Vec::new();
    for (look, scale) in looks {
        all.refusals.extend(look.refusals);
        all.doubts.extend(look.doubts);
        scales.extend(scale);
    }
    let disagreeing = measurement::views_that_disagree(&scales).into_iter();
    all.doubts.extend(disagreeing.map(|found| Doubt {
        pointer: "/views".to_owned(),
        code: Code::ViewsDisagree,
        text: found.text,
    }));
    all
}

/// What one view tells, and how large its known lengths make the model.
fn look_at<'a>(job: &Job, view: &'a View, mesh: Option<&JobMesh>) -> (Look, Option<ViewScale<'a>>) {
    let at = pointer(job, view);
    let mut look = Look::default();
    let source = &view.reference;
    let first = (source.image.as_path(), source.key_of_shot(0));
    let reference = look.size(first, &source.mask, &format!("{at}/reference"));
    for (shot, path) in source.shots().enumerate().skip(1) {
        look.readable(path, format!("{at}/reference/{}", source.key_of_shot(shot)));
    }
    let render = match (&view.render.image, reference) {
        (RenderImage::File(image), _) => {
            let image = (image.as_path(), "image".to_owned());
            let size = look.size(image, &view.render.mask, &format!("{at}/render"));
            look.shape(view, size, format!("{at}/render/shape"));
            size
        }
        (RenderImage::Drawn, Some(reference)) => {
            let size = drawn::size(view, reference, Limits::default().max_pixels);
            look.drawn(size, &at)
        }
        (RenderImage::Drawn, None) => None,
        // A job that compares nothing is there to be measured.
        (RenderImage::Absent, reference) if job.compares_nothing() => reference,
        (RenderImage::Absent, _) => {
            let error = images::Error::NoRender {
                view: view.name.clone(),
            };
            let refusal = Refusal::new(at.clone(), error.code(), &error);
            look.refusals.push(refusal);
            None
        }
    };
    let (Some(render), Some(reference)) = (render, reference) else {
        return (look, None);
    };
    let outside = job::marks_outside(view, &at, render, reference);
    look.doubts.extend(outside.doubts);
    let is_alone = view.render.image == RenderImage::Absent;
    if is_alone {
        let faults = outside.faults.iter().map(Refusal::of_fault);
        look.refusals.extend(faults);
    }
    if let Some(stated) = &view.reference.rectify {
        let sigma = view.reference.mark_sigma_px;
        let pointer = format!("{at}/reference/rectify");
        // What cannot be made at all is refused below.
        let doubts = rectification::doubts(stated, reference, sigma, &pointer);
        look.doubts.extend(doubts.unwrap_or_default());
    }
    // What cannot be read is told elsewhere.
    let changed = images::changed_since_marked(view, &Limits::default());
    for side in changed.unwrap_or_default() {
        look.doubts.push(Doubt {
            pointer: format!("{at}/{}", side.name()),
            code: Code::ChangedImage,
            text: view.changed_image_in_words(side),
        });
    }
    if view.render.image == RenderImage::Drawn {
        look.drawn_view(job, view, mesh, [render, reference]);
    }
    if is_alone || view.render.image == RenderImage::Drawn {
        return (look, None);
    }
    match admit(job, view, [render, reference], None) {
        Ok(laid_over) => {
            look.doubts.extend(doubt_of_size(job, view, &laid_over));
            look.doubts.extend(doubt_of_reach(job, view, &laid_over));
            let scale = ViewScale::of(job, view, &laid_over.registered.adjustment);
            (look, scale)
        }
        Err(refusals) => {
            look.refusals.extend(refusals);
            (look, None)
        }
    }
}

/// For images that were read already, within the limits of the run.
const UNLIMITED: Limits = Limits {
    max_pixels: u64::MAX,
};

/// Checksum of the reference's file, by which it is known again; of several shots, that of their checksums.
pub(super) fn reference_blake3(view: &View) -> Result<String, images::Error> {
    let shots = view.reference.shots();
    let each = shots.map(|shot| Ok(images::content(shot, &UNLIMITED)?.blake3));
    let each = each.collect::<Result<Vec<String>, images::Error>>()?;
    Ok(match &each[..] {
        [one] => one.clone(),
        several => blake3::hash(several.concat().as_bytes())
            .to_hex()
            .to_string(),
    })
}

/// What is told of images that have changed since they were marked.
pub(super) fn changed_images(view: &View) -> Result<Vec<Warning>, images::Error> {
    let changed = images::changed_since_marked(view, &UNLIMITED)?;
    let warning = |side| Warning {
        code: Code::ChangedImage,
        text: measurement::sentence(&view.changed_image_in_words(side)),
    };
    Ok(changed.into_iter().map(warning).collect())
}

/// The doubts about a view's job that a comparison repeats. `reference` is the size of its picture, upright.
pub(super) fn repeated_doubts(job: &Job, view: &View, reference: (u32, u32)) -> Vec<Warning> {
    let at = pointer(job, view);
    let mut doubts = job::doubts_of(view, job.scale.denominator(), &at);
    if let Some(stated) = &view.reference.rectify {
        let sigma = view.reference.mark_sigma_px;
        // What cannot be made at all is refused.
        let found = rectification::doubts(stated, reference, sigma, &at);
        doubts.extend(found.unwrap_or_default());
    }
    let repeated = doubts.into_iter().filter(|doubt| doubt.code.is_repeated());
    repeated
        .map(|doubt| Warning {
            code: doubt.code,
            text: measurement::sentence(&doubt.text),
        })
        .collect()
}

/// A part so far from the datum marks that the registration is hardly known there.
fn doubt_of_reach(job: &Job, view: &View, laid_over: &LaidOver) -> Option<Doubt> {
    Some(Doubt {
        pointer: format!("{}/landmarks", pointer(job, view)),
        code: Code::FarFromDatum,
        text: measurement::far_from_datum(view, &laid_over.registered.adjustment)?.text,
    })
}

/// A size of the whole model that cannot be meant.
fn doubt_of_size(job: &Job, view: &View, laid_over: &LaidOver) -> Option<Doubt> {
    let text = measurement::implausible_size(job, view, &laid_over.registered.adjustment)?;
    Some(Doubt {
        pointer: format!("{}/known", pointer(job, view)),
        code: Code::ImplausibleSize,
        text,
    })
}

impl Look {
    /// The job's mesh, where a view or its symmetry needs it; files that are not there are told elsewhere.
    fn mesh(&mut self, job: &Job) -> Option<JobMesh> {
        let source = job.model.as_ref()?;
        let is_drawn = |view: &View| view.render.image == RenderImage::Drawn;
        let is_needed = job.views.iter().any(is_drawn) || !source.mirrored.is_empty();
        is_needed.then_some(())?;
        let mesh = self.mesh_of(source)?;
        if let Err(error) = mesh.check_symmetry() {
            let pointer = "/model/symmetry".to_owned();
            self.refusals
                .push(Refusal::new(pointer, error.code(), &error));
        }
        Some(mesh)
    }

    fn mesh_of(&mut self, source: &ModelSource) -> Option<JobMesh> {
        let read = JobMesh::read(source);
        read.map_err(|error| match error.fault {
            meshes::Fault::Input(InputError::Missing) => {}
            _ => {
                let refusal = Refusal::new("/model/files".to_owned(), error.code(), &error);
                self.refusals.push(refusal);
            }
        })
        .ok()
    }

    /// What was drawn of the view at this pointer; a refusal where it cannot be.
    fn drawn<T>(&mut self, drawn: Result<T, drawn::Error>, at: &str) -> Option<T> {
        let pointer = format!("{at}/render/drawn");
        drawn
            .map_err(|error| {
                self.refusals
                    .push(Refusal::new(pointer, error.code(), &error));
            })
            .ok()
    }

    /// Draws the render of a view and looks at what comes of it.
    fn drawn_view(
        &mut self,
        job: &Job,
        view: &View,
        mesh: Option<&JobMesh>,
        sizes: [(u32, u32); 2],
    ) {
        if let Err(refusals) = outside(job, view, sizes) {
            return self.refusals.extend(refusals);
        }
        let Some(mesh) = mesh else { return };
        let size = (sizes[1], Limits::default().max_pixels);
        let made = drawn::draw(job, view, mesh, size);
        let Some(made) = self.drawn(made, &pointer(job, view)) else {
            return;
        };
        match admit(job, &made.view, sizes, None) {
            Ok(laid_over) => {
                let reach = doubt_of_reach(job, &made.view, &laid_over);
                self.doubts.extend(reach);
            }
            Err(refusals) => self.refusals.extend(refusals),
        }
    }

    /// The upright size of an image that a comparison would read; its mask must have the same.
    fn size(&mut self, (image, key): (&Path, String), mask: &Mask, at: &str) -> Option<(u32, u32)> {
        let size = self.readable(image, format!("{at}/{key}"))?;
        if let Mask::Image(path) = mask {
            let pointer = format!("{at}/mask");
            let found = self.readable(path, pointer.clone())?;
            if found != size {
                let error = images::Error::MaskSize {
                    path: path.clone(),
                    found,
                    expected: size,
                };
                self.refuse(pointer, &error);
            }
        }
        Some(size)
    }

    /// A further picture of the view must have the render's size.
    fn shape(&mut self, view: &View, render: Option<(u32, u32)>, pointer: String) {
        let Some(path) = &view.render.shape else {
            return;
        };
        let found = self.readable(path, pointer.clone());
        if let (Some(found), Some(expected)) = (found, render)
            && found != expected
        {
            let path = path.clone();
            let error = images::Error::ShapeSize {
                path,
                found,
                expected,
            };
            self.refuse(pointer, &error);
        }
    }

    fn readable(&mut self, path: &Path, pointer: String) -> Option<(u32, u32)> {
        let max_pixels = Limits::default().max_pixels;
        match images::dimensions(path) {
            Ok((width, height)) if u64::from(width) * u64::from(height) > max_pixels => {
                let error = images::Error::TooLarge {
                    path: path.to_owned(),
                    width,
                    height,
                    max_pixels,
                };
                self.refuse(pointer, &error);
                None
            }
            Ok(size) => Some(size),
            Err(images::Error::Missing { .. }) => None,
            Err(error) => {
                self.refuse(pointer, &error);
                None
            }
        }
    }

    fn refuse(&mut self, pointer: String, error: &images::Error) {
        self.refusals
            .push(Refusal::new(pointer, error.code(), error));
    }
}
