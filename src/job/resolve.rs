//! From the file's words to the checked job: names to indices, lengths to millimetres, paths to absolute ones. All
//! faults are collected.
mod camera;
mod known;

use super::{
    Angle, Descreen, Expected, Handling, Job, Landmark, LandmarkUse, Mask, ReferenceKind,
    ReferenceSource, Region, RegistrationKind, RenderKind, RenderSource, Screen, Span, Tolerance,
    View,
    error::{FaultKind, Faults},
    names::{Names, check_view_names},
    print::{DEFAULT_SMALLEST_VISIBLE, Print},
    raw::{
        Mark, RawAngle, RawDescreen, RawHandling, RawJob, RawKind, RawLandmark, RawLength,
        RawReference, RawRegion, RawRegistration, RawRender, RawRenderKind, RawScale, RawScreen,
        RawSpan, RawTolerance, RawUnit, RawUse, RawView,
    },
    rectify::rectify,
    shapes::{centre, outline},
};
use crate::{
    frame::{Frame, Point, ReferencePx},
    printable::shortened,
    units::{ModelMm, ScaleError, ScaleRatio, Unit, length_from_number, parse_length},
};
use camera::{check_camera, of_unit_size};
use known::are_stated_once;
use std::path::{Path, PathBuf};

/// What the views take from the job.
#[derive(Clone, Debug)]
pub(super) struct Surroundings {
    /// Folder of the job file.
    pub folder: PathBuf,
    /// Unit of plain numbers.
    pub unit: Unit,
    /// Scale of the model.
    pub scale: ScaleRatio,
    /// Job-wide tolerance.
    pub tolerance: Tolerance,
}

impl Surroundings {
    /// What holds where the file does not say, or says it wrongly.
    pub fn of_folder(folder: &Path) -> Self {
        Self {
            folder: folder.to_owned(),
            unit: Unit::default(),
            scale: ScaleRatio::one_to(1.0).expect("1 is above 0"),
            tolerance: Tolerance {
                proportion_percent: 2.0,
                offset: ModelMm(0.20),
                angle_deg: 1.0,
                edge_overlap: 0.5,
            },
        }
    }
}

/// The checked job; `None` where anything is wrong, with at least one fault collected. `file` is absolute.
pub(super) fn job(raw: &RawJob, file: &Path, blake3: String, faults: &mut Faults) -> Option<Job> {
    let defaults = Surroundings::of_folder(file.parent().unwrap_or(file));
    let scale = faults.keep("/scale", scale(&raw.scale));
    let around = Surroundings {
        unit: unit(raw.unit),
        scale: scale.unwrap_or(defaults.scale),
        tolerance: tolerance(&raw.tolerance, defaults.tolerance),
        folder: defaults.folder,
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
    let views = every(
        raw.views
            .iter()
            .enumerate()
            .map(|(index, raw)| view(raw, index, &around, faults)),
    )?;
    scale?;
    let smallest_visible = smallest_visible?;
    faults.is_empty().then(|| Job {
        title: raw.title.clone(),
        file: file.to_owned(),
        blake3,
        scale: around.scale,
        smallest_visible,
        print,
        tolerance: around.tolerance,
        expected: Expected {
            size_percent: raw.expected.size_percent,
            rotation_deg: raw.expected.rotation_deg,
            offset_percent: raw.expected.offset_percent,
            keystone_percent: raw.expected.keystone_percent,
        },
        views,
    })
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

/// All values, once each has been looked at (a plain `collect` would stop at the first fault).
pub(super) fn every<T>(values: impl Iterator<Item = Option<T>>) -> Option<Vec<T>> {
    let values: Vec<Option<T>> = values.collect();
    values.into_iter().collect()
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

fn tolerance(raw: &RawTolerance, wider: Tolerance) -> Tolerance {
    Tolerance {
        proportion_percent: raw.proportion_percent.unwrap_or(wider.proportion_percent),
        offset: raw.offset_mm.map_or(wider.offset, ModelMm),
        angle_deg: raw.angle_deg.unwrap_or(wider.angle_deg),
        edge_overlap: raw.edge_overlap.unwrap_or(wider.edge_overlap),
    }
}

pub(super) fn point<F: Frame>(mark: Mark) -> Point<F> {
    Point::new(mark.0[0], mark.0[1])
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
    let reference = reference(&raw.reference, &format!("{at}/reference"), around, faults);
    let landmarks = every(
        raw.landmarks
            .iter()
            .enumerate()
            .map(|(index, raw)| landmark(raw, &format!("{at}/landmarks/{index}"), faults)),
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
    let known = every(
        raw.known
            .iter()
            .enumerate()
            .map(|(index, raw)| marks.known(raw, &format!("{at}/known/{index}"), faults)),
    );
    let known = known.filter(|known| are_stated_once(known, &format!("{at}/known"), faults));
    let list = format!("{at}/spans");
    let names = raw.spans.iter().map(|s| s.name.as_str());
    Names::collect("span", &list, names, faults);
    let spans = every(
        raw.spans
            .iter()
            .enumerate()
            .map(|(index, raw)| marks.span(raw, &format!("{list}/{index}"), faults)),
    );
    let list = format!("{at}/angles");
    let names = raw.angles.iter().map(|a| a.name.as_str());
    Names::collect("angle", &list, names, faults);
    let angles = every(
        raw.angles
            .iter()
            .enumerate()
            .map(|(index, raw)| marks.angle(raw, &format!("{list}/{index}"), faults)),
    );
    let symmetry = raw
        .symmetry
        .as_ref()
        .map(|raw| marks.symmetry(raw, &format!("{at}/symmetry"), faults));
    let list = format!("{at}/regions");
    let names = raw.regions.iter().map(|r| r.name.as_str());
    Names::collect("region", &list, names, faults);
    let regions = every(
        raw.regions
            .iter()
            .enumerate()
            .map(|(index, raw)| marks.region(raw, &format!("{list}/{index}"), faults)),
    );
    Some(View {
        name: raw.name.clone(),
        render: render?,
        reference: reference?,
        same_camera: raw.same_camera,
        registration: match raw.registration {
            RawRegistration::Similarity => RegistrationKind::Similarity,
            RawRegistration::Affine => RegistrationKind::Affine,
            RawRegistration::Projective => RegistrationKind::Projective,
        },
        landmarks: landmarks?,
        known: known?,
        spans: spans?,
        angles: angles?,
        symmetry: match symmetry {
            None => None,
            Some(symmetry) => Some(symmetry?),
        },
        regions: regions?,
    })
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
    let image = path(&raw.image, &format!("{at}/image"), around, faults);
    let mask = mask(raw.mask.as_deref(), Mask::Alpha, at, around, faults);
    let camera = raw.camera.map(|raw| {
        let camera = of_unit_size(raw.matrix);
        faults.keep(&format!("{at}/camera/matrix"), check_camera(&raw, &camera));
        camera
    });
    Some(RenderSource {
        image: image?,
        kind: match raw.kind {
            RawRenderKind::Model => RenderKind::Model,
            RawRenderKind::Plan => RenderKind::Plan,
        },
        mark_sigma_px: raw.mark_sigma_px,
        mask: mask?,
        camera,
    })
}

fn reference(
    raw: &RawReference,
    at: &str,
    around: &Surroundings,
    faults: &mut Faults,
) -> Option<ReferenceSource> {
    let image = path(&raw.image, &format!("{at}/image"), around, faults);
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
    Some(ReferenceSource {
        image: image?,
        kind: match raw.kind {
            RawKind::Photo => ReferenceKind::Photo,
            RawKind::Plan => ReferenceKind::Plan,
            RawKind::Screenshot => ReferenceKind::Screenshot,
            RawKind::Sketch => ReferenceKind::Sketch,
        },
        source: raw.source.clone(),
        time_code: raw.time_code.clone(),
        variant: raw.variant.clone(),
        note: raw.note.clone(),
        rights: raw.rights.clone(),
        rectify: match rectify {
            None => None,
            Some(rectify) => Some(rectify?),
        },
        screen: screen(raw.screen),
        mark_sigma_px: raw.mark_sigma_px,
        mask: mask?,
    })
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

fn landmark(raw: &RawLandmark, at: &str, faults: &mut Faults) -> Option<Landmark> {
    let is_large = |number: &&f64| number.abs() > 1e12;
    if let Some(&found) = raw.model_mm.iter().flatten().find(is_large) {
        faults.push(
            &format!("{at}/model_mm"),
            FaultKind::NumberTooLarge { found },
        );
        return None;
    }
    Some(Landmark {
        name: raw.name.clone(),
        render: point(raw.render),
        reference: point(raw.reference),
        usage: match raw.usage {
            RawUse::Datum => LandmarkUse::Datum,
            RawUse::Check => LandmarkUse::Check,
        },
        model_mm: raw.model_mm,
    })
}

/// The landmarks of a view, for the things that name them.
struct MarkNames<'a> {
    names: Names<'a>,
    landmarks: &'a [RawLandmark],
    around: &'a Surroundings,
}

impl MarkNames<'_> {
    /// Indices of two different landmarks; a fault of `to` is told at `to_at`.
    fn two(
        &self,
        [from, to]: [&str; 2],
        [from_at, to_at]: [String; 2],
        faults: &mut Faults,
    ) -> Option<[usize; 2]> {
        let from_index = self.names.landmark(from, &from_at, faults);
        let to_index = self.names.landmark(to, &to_at, faults);
        let (from_index, to_index) = (from_index?, to_index?);
        if from_index == to_index {
            let name = shortened(to);
            faults.push(&to_at, FaultKind::SameLandmark { name });
            return None;
        }
        Some([from_index, to_index])
    }

    fn ends(&self, from: &str, to: &str, at: &str, faults: &mut Faults) -> Option<[usize; 2]> {
        let pointers = [format!("{at}/from"), format!("{at}/to")];
        self.two([from, to], pointers, faults)
    }

    /// Millimetres of a length and its words.
    fn length(&self, raw: &RawLength, at: &str, faults: &mut Faults) -> Option<(f64, String)> {
        let unit = self.around.unit;
        match raw {
            RawLength::Number(number) => faults
                .keep(at, length_from_number(*number, unit))
                .map(|length| (length, format!("{number} {}", unit.symbol()))),
            RawLength::Text(text) => faults
                .keep(at, parse_length(text))
                .map(|length| (length, text.clone())),
        }
    }

    fn span(&self, raw: &RawSpan, at: &str, faults: &mut Faults) -> Option<Span> {
        let [from, to] = self.ends(&raw.from, &raw.to, at, faults)?;
        Some(Span {
            name: raw.name.clone(),
            from,
            to,
            tolerance: tolerance(&raw.tolerance, self.around.tolerance),
        })
    }

    fn angle(&self, raw: &RawAngle, at: &str, faults: &mut Faults) -> Option<Angle> {
        let ends = self.ends(&raw.from, &raw.to, at, faults);
        let against = raw.against.as_ref().map(|[from, to]| {
            let pointers = [format!("{at}/against/0"), format!("{at}/against/1")];
            self.two([from, to], pointers, faults)
        });
        let [from, to] = ends?;
        Some(Angle {
            name: raw.name.clone(),
            from,
            to,
            against: match against {
                None => None,
                Some(against) => Some(against?),
            },
            tolerance: tolerance(&raw.tolerance, self.around.tolerance),
        })
    }

    fn region(&self, raw: &RawRegion, at: &str, faults: &mut Faults) -> Option<Region> {
        let corners: Vec<_> = raw.outline.iter().copied().map(point).collect();
        let corners = faults.keep(&format!("{at}/outline"), outline(&corners));
        let mut seen = std::collections::HashSet::new();
        let landmarks = every(raw.landmarks.iter().enumerate().map(|(index, name)| {
            let pointer = format!("{at}/landmarks/{index}");
            if !seen.insert(name) {
                let name = shortened(name);
                faults.push(&pointer, FaultKind::LandmarkListedTwice { name });
                return None;
            }
            self.names.landmark(name, &pointer, faults)
        }));
        let corners = corners?;
        Some(Region {
            name: raw.name.clone(),
            anchor: raw.anchor.map_or_else(|| centre(&corners), point),
            outline: corners,
            landmarks: landmarks?,
            tolerance: tolerance(&raw.tolerance, self.around.tolerance),
            note: raw.note.clone(),
        })
    }
}
