//! From the file's words to the checked job: names to indices, lengths to millimetres, paths to absolute ones. All
//! faults are collected.
mod camera;
mod drawn;
mod interior;
mod known;
mod marks;
mod together;
mod without_render;

use super::{
    Descreen, Expected, Handling, Job, Landmark, LandmarkUse, MarkOn, MarkedOn, Mask,
    ModelDirection, ModelFile, ModelSource, ReferenceKind, ReferenceSource, RegistrationKind,
    RenderImage, RenderKind, RenderSource, Screen, TitleBlock, View, ViewAxes,
    error::{FaultKind, Faults},
    every::every,
    names::{Names, check_view_names},
    print::{DEFAULT_SMALLEST_VISIBLE, Print},
    raw::{
        Mark, RawDescreen, RawDirection, RawHandling, RawJob, RawKind, RawLandmark, RawMarkOn,
        RawMarkSigma, RawMarkedOn, RawModel, RawModelFile, RawReference, RawRegistration,
        RawRender, RawRenderKind, RawScale, RawScreen, RawTitleBlock, RawUnit, RawUse, RawView,
        RawViewAxes,
    },
    rectify::rectify,
    shapes::{outline, point},
    starter::of_user,
    surroundings::{Surroundings, tolerance},
};
use crate::{
    frame::{Point, ReferencePx},
    printable::shortened,
    units::{ModelMm, ScaleError, ScaleRatio, Unit},
};
pub(super) use camera::{check_camera, of_unit_size};
use interior::interior;
use known::are_stated_once;
use marks::MarkNames;
use std::path::{Path, PathBuf};

/// The checked job; `None` where anything is wrong, with at least one fault collected. `file` is absolute.
pub(super) fn job(raw: &RawJob, file: &Path, blake3: String, faults: &mut Faults) -> Option<Job> {
    let defaults = Surroundings::of_folder(file.parent().unwrap_or(file));
    let scale = faults.keep("/scale", scale(&raw.scale));
    let around = Surroundings {
        unit: unit(raw.unit),
        scale: scale.unwrap_or(defaults.scale),
        tolerance: tolerance(&raw.tolerance, defaults.tolerance),
        folder: defaults.folder,
        datum: raw
            .model
            .as_ref()
            .map_or_else(Vec::new, |m| m.datum.clone()),
    };
    let print = raw.print.map(|print| Print {
        pixel_mm: print.pixel_mm,
        layer_mm: print.layer_mm,
        viewing_distance_mm: print.viewing_distance_mm,
    });
    let smallest_visible = smallest_visible(raw.smallest_visible_mm, print, faults);
    check_view_names(
        raw.views.iter().map(|view| view.name.as_str()).enumerate(),
        faults,
    );
    let model = raw.model.as_ref().map(|raw| model(raw, &around, faults));
    let mut views = every(
        raw.views
            .iter()
            .enumerate()
            .map(|(index, raw)| view(raw, index, &around, faults)),
    )?;
    drawn::needs_model(raw, faults);
    scale?;
    let smallest_visible = smallest_visible?;
    together::same_cameras(raw, &mut views, faults);
    let together = together::together(raw, &views, around.tolerance, faults);
    faults.is_empty().then(|| Job {
        title: raw.title.clone(),
        file: file.to_owned(),
        blake3,
        scale: around.scale,
        title_block: title_block(raw.title_block.clone().unwrap_or_default()),
        smallest_visible,
        print,
        tolerance: around.tolerance,
        expected: Expected {
            size_percent: raw.expected.size_percent,
            rotation_deg: raw.expected.rotation_deg,
            offset_percent: raw.expected.offset_percent,
            keystone_percent: raw.expected.keystone_percent,
        },
        model: model.flatten(),
        views,
        together,
    })
}

fn title_block(raw: RawTitleBlock) -> TitleBlock {
    TitleBlock {
        number: raw.number,
        revision: raw.revision,
        owner: raw.owner,
        creator: raw.creator,
        approved_by: raw.approved_by,
    }
}

/// What is stated, else what the print gives; both only where they agree.
fn smallest_visible(
    stated: Option<f64>,
    print: Option<Print>,
    faults: &mut Faults,
) -> Option<ModelMm> {
    let Some(print) = print else {
        return Some(stated.map_or(DEFAULT_SMALLEST_VISIBLE, ModelMm));
    };
    let Some(by_print) = print.smallest_visible() else {
        faults.push("/print", FaultKind::PrintEmpty);
        return None;
    };
    match stated {
        // What people write has two decimals.
        Some(stated) if (stated - by_print.0).abs() > 0.005 + 1e-9 => {
            let kind = FaultKind::VisibleContradicts {
                stated,
                by_print: by_print.0,
                reason: print.in_words(),
            };
            faults.push("/smallest_visible_mm", kind);
            None
        }
        Some(stated) => Some(ModelMm(stated)),
        None => Some(by_print),
    }
}

fn scale(raw: &RawScale) -> Result<ScaleRatio, ScaleError> {
    match raw {
        RawScale::Number(denominator) => ScaleRatio::from_number(*denominator),
        RawScale::Text(text) => ScaleRatio::parse(text),
    }
}

fn unit(raw: RawUnit) -> Unit {
    match raw {
        RawUnit::Millimetre => Unit::Millimetre,
        RawUnit::Centimetre => Unit::Centimetre,
        RawUnit::Metre => Unit::Metre,
        RawUnit::Inch => Unit::Inch,
        RawUnit::Foot => Unit::Foot,
    }
}

fn model(raw: &RawModel, around: &Surroundings, faults: &mut Faults) -> Option<ModelSource> {
    let list = "/model/files";
    let files = each(list, &raw.files, faults, |raw, at, faults| {
        let (file, part) = match raw {
            RawModelFile::File(file) => (file, None),
            RawModelFile::Part(of_part) => (&of_part.file, Some(of_part.part.clone())),
        };
        let path = path(file, at, around, faults)?;
        Some(ModelFile { path, part })
    });
    Some(ModelSource {
        files: files?,
        unit: raw.unit.map(unit),
        crease_deg: raw.crease_deg,
        datum: raw.datum.clone(),
        mirrored: together::mirrored_parts(raw.symmetry.as_ref()),
    })
}

/// The checked view number `index`; `None` where anything in it is wrong.
pub(super) fn view(
    raw: &RawView,
    index: usize,
    around: &Surroundings,
    faults: &mut Faults,
) -> Option<View> {
    let at = format!("/views/{index}");
    let render = render(&raw.render, &format!("{at}/render"), around, faults);
    drawn::check(raw, &at, faults);
    without_render::check(raw, &at, faults);
    let has_camera = raw.render.camera.is_some();
    let reference = reference(
        &raw.reference,
        &format!("{at}/reference"),
        has_camera,
        around,
        faults,
    );
    let landmarks = each(
        &format!("{at}/landmarks"),
        &raw.landmarks,
        faults,
        |mark, at, faults| landmark(mark, (&raw.render, &around.datum), at, faults),
    );
    let marks = MarkNames {
        names: Names::collect(
            "landmark",
            &format!("{at}/landmarks"),
            raw.landmarks.iter().map(|l| l.name.as_str()),
            faults,
        ),
        landmarks: &raw.landmarks,
        around,
    };
    let list = format!("{at}/known");
    let known = each(&list, &raw.known, faults, |raw, at, faults| {
        marks.known(raw, at, faults)
    });
    let known = known.filter(|known| are_stated_once(known, &list, faults));
    let measured = each(
        &format!("{at}/measured"),
        &raw.measured,
        faults,
        |raw, at, faults| marks.measured(raw, at, faults),
    );
    if !raw.measured.is_empty() && raw.render.kind != RawRenderKind::Print {
        faults.push(&format!("{at}/measured"), FaultKind::MeasuredWithoutPrint);
    }
    let list = |what| (what, format!("{at}/{what}s"));
    let spans = named(
        list("span"),
        &raw.spans,
        |s| &s.name,
        faults,
        |raw, at, faults| marks.span(raw, at, faults),
    );
    let angles = named(
        list("angle"),
        &raw.angles,
        |a| &a.name,
        faults,
        |raw, at, faults| marks.angle(raw, at, faults),
    );
    let symmetry = raw
        .symmetry
        .as_ref()
        .map(|raw| marks.symmetry(raw, &format!("{at}/symmetry"), faults));
    let regions = named(
        list("region"),
        &raw.regions,
        |r| &r.name,
        faults,
        |raw, at, faults| marks.region(raw, at, faults),
    );
    let axes = raw.axes.map(|raw| axes(raw, &at, faults));
    let origin = (raw.origin.as_ref())
        .map(|name| (marks.names).landmark(name, &format!("{at}/origin"), faults));
    let (mut known, measured) = (known?, measured?);
    known.extend(measured.iter().map(|(_, known)| known.clone()));
    let measured = measured.into_iter().map(|(reading, _)| reading).collect();
    Some(View {
        name: raw.name.clone(),
        render: render?,
        reference: reference?,
        origin: match origin {
            None => None,
            Some(origin) => Some(origin?),
        },
        same_camera: raw.same_camera,
        axes: match axes {
            None => None,
            Some(axes) => Some(axes?),
        },
        marks_are_right: raw.marks_are_right,
        registration: registration(raw.registration.unwrap_or(match raw.render.kind {
            RawRenderKind::Print => RawRegistration::Affine,
            RawRenderKind::Model | RawRenderKind::Plan => RawRegistration::Similarity,
        })),
        landmarks: landmarks?,
        known,
        measured,
        spans: spans?,
        angles: angles?,
        symmetry: match symmetry {
            None => None,
            Some(symmetry) => Some(symmetry?),
        },
        regions: regions?,
    })
}

fn axes(raw: RawViewAxes, at: &str, faults: &mut Faults) -> Option<ViewAxes> {
    let axes = ViewAxes::new(direction(raw.right), direction(raw.down));
    if axes.is_none() {
        faults.push(&format!("{at}/axes/down"), FaultKind::SameAxis);
    }
    axes
}

fn direction(raw: RawDirection) -> ModelDirection {
    let (axis, is_against) = match raw {
        RawDirection::X => (0, false),
        RawDirection::MinusX => (0, true),
        RawDirection::Y => (1, false),
        RawDirection::MinusY => (1, true),
        RawDirection::Z => (2, false),
        RawDirection::MinusZ => (2, true),
    };
    ModelDirection { axis, is_against }
}

fn registration(raw: RawRegistration) -> RegistrationKind {
    match raw {
        RawRegistration::Similarity => RegistrationKind::Similarity,
        RawRegistration::Affine => RegistrationKind::Affine,
        RawRegistration::Projective => RegistrationKind::Projective,
    }
}

/// The entries of the list that stands at `list`, each resolved where it stands.
fn each<Raw, T>(
    list: &str,
    raw: &[Raw],
    faults: &mut Faults,
    entry: impl Fn(&Raw, &str, &mut Faults) -> Option<T>,
) -> Option<Vec<T>> {
    every(
        raw.iter()
            .enumerate()
            .map(|(index, raw)| entry(raw, &format!("{list}/{index}"), faults)),
    )
}

/// The entries of a list whose names are unique; `what` they are, and where the list stands.
fn named<Raw, T>(
    (what, list): (&'static str, String),
    raw: &[Raw],
    name: fn(&Raw) -> &String,
    faults: &mut Faults,
    entry: impl Fn(&Raw, &str, &mut Faults) -> Option<T>,
) -> Option<Vec<T>> {
    Names::collect(what, &list, raw.iter().map(|r| name(r).as_str()), faults);
    each(&list, raw, faults, entry)
}

fn path(text: &str, at: &str, around: &Surroundings, faults: &mut Faults) -> Option<PathBuf> {
    if text.trim().is_empty() || text.contains('\0') {
        let found = shortened(text);
        faults.push(at, FaultKind::BadPath { found });
        return None;
    }
    Some(around.folder.join(text))
}

fn mask(
    text: Option<&str>,
    left_out: Mask,
    at: &str,
    around: &Surroundings,
    faults: &mut Faults,
) -> Option<Mask> {
    match text {
        None => Some(left_out),
        Some("alpha") => Some(Mask::Alpha),
        Some(text) => path(text, &format!("{at}/mask"), around, faults).map(Mask::Image),
    }
}

fn render(
    raw: &RawRender,
    at: &str,
    around: &Surroundings,
    faults: &mut Faults,
) -> Option<RenderSource> {
    let image = render_image(raw, at, around, faults);
    let mask = mask(raw.mask.as_deref(), Mask::Alpha, at, around, faults);
    let shape = raw.shape.as_deref();
    let shape = shape.map(|text| path(text, &format!("{at}/shape"), around, faults));
    let camera = raw.camera.map(|raw| {
        let camera = of_unit_size(raw.matrix);
        faults.keep(&format!("{at}/camera/matrix"), check_camera(&raw, &camera));
        camera
    });
    let marked_on = raw.marked_on.as_ref();
    let marked_on = marked_on.map(|raw| marked(raw, at, faults));
    Some(RenderSource {
        image: image?,
        marked_on: marked_on.map_or(Some(None), |m| m.map(Some))?,
        kind: match raw.kind {
            RawRenderKind::Model => RenderKind::Model,
            RawRenderKind::Plan => RenderKind::Plan,
            RawRenderKind::Print => RenderKind::Print,
        },
        mark_sigma_px: raw.mark_sigma_px,
        mask: mask?,
        shape: shape.map_or(Some(None), |path| path.map(Some))?,
        camera,
    })
}

fn render_image(
    raw: &RawRender,
    at: &str,
    around: &Surroundings,
    faults: &mut Faults,
) -> Option<RenderImage> {
    match &raw.image {
        // Beside an image it is refused where the whole view is looked at.
        _ if raw.drawn => Some(RenderImage::Drawn),
        _ if raw.is_absent => Some(RenderImage::Absent),
        Some(image) => path(image, &format!("{at}/image"), around, faults).map(RenderImage::File),
        None => {
            faults.push(at, FaultKind::NoRender);
            None
        }
    }
}

fn reference(
    raw: &RawReference,
    at: &str,
    has_camera: bool,
    around: &Surroundings,
    faults: &mut Faults,
) -> Option<ReferenceSource> {
    let shots = shots(raw, at, around, faults);
    let mask = match (&raw.outline, &raw.mask) {
        (None, _) => mask(raw.mask.as_deref(), Mask::None, at, around, faults),
        (Some(_), Some(_)) => {
            faults.push(&format!("{at}/outline"), FaultKind::MaskAndOutline);
            None
        }
        (Some(corners), None) => silhouette(corners, &format!("{at}/outline"), faults),
    };
    let rectify = raw
        .rectify
        .as_ref()
        .map(|raw| rectify(raw, &format!("{at}/rectify"), around, faults));
    let marked_on = raw.marked_on.as_ref();
    let marked_on = marked_on.map(|raw| marked(raw, at, faults));
    let interior = interior(raw, &format!("{at}/interior"), has_camera, faults);
    let (image, more_shots) = shots?;
    Some(ReferenceSource {
        image,
        more_shots,
        marked_on: marked_on.map_or(Some(None), |m| m.map(Some))?,
        kind: match raw.kind {
            RawKind::Photo => ReferenceKind::Photo,
            RawKind::Plan => ReferenceKind::Plan,
            RawKind::Screenshot => ReferenceKind::Screenshot,
            RawKind::Sketch => ReferenceKind::Sketch,
        },
        source: of_user(raw.source.as_ref()),
        time_code: raw.time_code.clone(),
        variant: raw.variant.clone(),
        note: of_user(raw.note.as_ref()),
        rights: raw.rights.clone(),
        rectify: match rectify {
            None => None,
            Some(rectify) => Some(rectify?),
        },
        screen: screen(raw.screen),
        interior: interior?,
        mark_sigma_px: raw.mark_sigma_px,
        mask: mask?,
    })
}

/// The image of a reference, and further shots of what it shows.
fn shots(
    raw: &RawReference,
    at: &str,
    around: &Surroundings,
    faults: &mut Faults,
) -> Option<(PathBuf, Vec<PathBuf>)> {
    let list = || format!("{at}/images");
    match (&raw.image, raw.images.is_empty()) {
        (Some(image), true) => {
            let image = path(image, &format!("{at}/image"), around, faults)?;
            Some((image, Vec::new()))
        }
        (Some(_), false) => {
            faults.push(&list(), FaultKind::ImageAndImages);
            None
        }
        (None, true) => {
            let key = "image".to_owned();
            faults.push(at, FaultKind::MissingKey { key });
            None
        }
        (None, false) => {
            let shots = raw.images.iter().enumerate();
            let shots = every(
                shots.map(|(k, shot)| path(shot, &format!("{}/{k}", list()), around, faults)),
            );
            let shots = shots?;
            for (k, shot) in shots.iter().enumerate() {
                let first = shots.iter().position(|other| other == shot).unwrap_or(k);
                if first < k {
                    faults.push(&format!("{}/{k}", list()), FaultKind::SameShot { first });
                }
            }
            let (first, more) = shots.split_first()?;
            Some((first.clone(), more.to_vec()))
        }
    }
}

/// The content of an image that was marked; `at` is the image's pointer.
fn marked(raw: &RawMarkedOn, at: &str, faults: &mut Faults) -> Option<MarkedOn> {
    faults.keep(&format!("{at}/marked_on/blake3"), MarkedOn::resolved(raw))
}

fn screen(raw: RawScreen) -> Screen {
    let handling = |raw| match raw {
        RawHandling::Auto => Handling::Auto,
        RawHandling::Off => Handling::Off,
    };
    Screen {
        descreen: match raw.descreen {
            RawDescreen::Auto => Descreen::Auto,
            RawDescreen::On => Descreen::On,
            RawDescreen::Off => Descreen::Off,
        },
        glare: handling(raw.glare),
        letterbox: handling(raw.letterbox),
    }
}

/// A silhouette by its corners.
fn silhouette(corners: &[Mark], at: &str, faults: &mut Faults) -> Option<Mask> {
    let corners: Vec<Point<ReferencePx>> = corners.iter().copied().map(point).collect();
    let corners = faults.keep(at, outline(&corners))?;
    Some(Mask::Outline(corners.iter().map(|c| c.xy()).collect()))
}

/// Whether the job says which parts are right, and this is none of them.
fn is_beside(datum: &[String], part: Option<&String>) -> bool {
    !datum.is_empty() && part.is_some_and(|part| !datum.contains(part))
}

/// A landmark; without a use it is datum, but for one on a part beside those of `datum`.
fn landmark(
    raw: &RawLandmark,
    (in_render, datum): (&RawRender, &[String]),
    at: &str,
    faults: &mut Faults,
) -> Option<Landmark> {
    let is_large = |number: &&f64| number.abs() > 1e12;
    if let Some(&found) = raw.model_mm.iter().flatten().find(is_large) {
        faults.push(
            &format!("{at}/model_mm"),
            FaultKind::NumberTooLarge { found },
        );
        return None;
    }
    if raw.model_mm.is_none() && raw.model_sigma_mm.is_some() {
        faults.push(&format!("{at}/model_sigma_mm"), FaultKind::SigmaOfNoPlace);
        return None;
    }
    let render = if in_render.is_absent {
        without_render::mark_in_render(raw, at, faults)
    } else {
        drawn::mark_in_render(raw, in_render.drawn, at, faults)
    }?;
    Some(Landmark {
        name: raw.name.clone(),
        render,
        reference: point(raw.reference),
        usage: match raw.usage {
            Some(RawUse::Datum) => LandmarkUse::Datum,
            Some(RawUse::Check) => LandmarkUse::Check,
            None if is_beside(datum, raw.part.as_ref()) => LandmarkUse::Check,
            None => LandmarkUse::Datum,
        },
        model_mm: raw.model_mm,
        part: raw.part.clone(),
        on: raw.on.map(|on| match on {
            RawMarkOn::Corner => MarkOn::Corner,
            RawMarkOn::Outline => MarkOn::Outline(None),
            RawMarkOn::Centre => MarkOn::Centre,
        }),
        sigma_px: match raw.sigma_px {
            None => [None; 2],
            Some(RawMarkSigma::Both(sigma)) => [Some(sigma); 2],
            Some(RawMarkSigma::Each(each)) => [each.render, each.reference],
        },
        model_sigma_mm: raw.model_sigma_mm,
    })
}
