//! What is legal in a job but may not be meant, or will limit what can be told.
use super::{
    End, Job, KnownPlane, Landmark, LandmarkUse, Rectangle, Rectify, ReferenceKind, Region,
    RegistrationKind, RenderImage, Side, View, shapes::distance_outside,
};
use crate::frame::Point;
use crate::printable::{listed, on_one_line};
use crate::warning::Code;
use std::fmt;

/// One doubtful thing.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Doubt {
    /// Where, as a JSON pointer; empty for the job as a whole.
    pub pointer: String,
    /// Stable code for scripts.
    pub code: Code,
    /// What was found, what it means, what to do.
    pub text: String,
}

impl fmt::Display for Doubt {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        if self.pointer.is_empty() {
            f.write_str(&on_one_line(&self.text))
        } else {
            write!(f, "{}: {}", self.pointer, on_one_line(&self.text))
        }
    }
}

/// Takes a pointer, a code and a text into a list.
fn into(list: &mut Vec<Doubt>) -> impl FnMut(String, Code, String) {
    |pointer, code, text| {
        list.push(Doubt {
            pointer,
            code,
            text,
        });
    }
}

/// All doubts about a job, the job's own first, then view by view.
pub fn doubts(job: &Job) -> Vec<Doubt> {
    let mut list = Vec::new();
    let mut add = into(&mut list);
    let denominator = job.scale.denominator();
    if denominator < 1.0 {
        let text = format!(
            "the scale is {}:1, so the model is larger than the full-size object; for a smaller model write \"1:{}\"",
            1.0 / denominator,
            1.0 / denominator
        );
        add("/scale".to_owned(), Code::Enlargement, text);
    }
    let variants = job.variants();
    if variants.len() > 1 {
        let variants: Vec<String> = variants.iter().map(|v| format!("\"{v}\"")).collect();
        let text = format!(
            "the views show different variants ({}); what differs between them will look like an error of the model",
            variants.join(", ")
        );
        add("/views".to_owned(), Code::MixedVariants, text);
    }
    drop(add);
    let views = job.views.iter().enumerate();
    list.extend(
        views.flat_map(|(index, view)| doubts_of(view, denominator, &format!("/views/{index}"))),
    );
    list
}

/// The doubts about one view, which stands at a pointer; `denominator` is that of the job's scale.
pub(crate) fn doubts_of(view: &View, denominator: f64, at: &str) -> Vec<Doubt> {
    let mut list = Vec::new();
    let mut add = into(&mut list);
    // The camera of a drawn render tells the scale, and is solved from five marks or more.
    if matches!(view.render.image, RenderImage::File(_)) {
        about_registration(view, at, &mut add);
        about_scale(view, at, &mut add);
    }
    about_picture(view, at, &mut add);
    about_places(view, denominator, at, &mut add);
    about_known_sizes(view, denominator, at, &mut add);
    about_marks(view, at, &mut add);
    for (number, region) in view.regions.iter().enumerate() {
        about_region(view, region, &format!("{at}/regions/{number}"), &mut add);
    }
    drop(add);
    list
}

/// A mark of a part lies outside of its outline by less than this share of the outline's extent: it stands on the border, is
/// clicked by hand, and outlines are drawn roughly; a judgement.
const OUTSIDE: f64 = 0.25;

fn about_region(view: &View, region: &Region, at: &str, add: &mut Add<'_>) {
    if region.landmarks.is_empty() {
        let text = format!(
            "the region \"{}\" has no landmarks; it is measured by its edges alone, which clutter can mislead",
            region.name
        );
        return add(at.to_owned(), Code::RegionWithoutLandmarks, text);
    }
    if !matches!(view.render.image, RenderImage::File(_)) {
        return;
    }
    let corners = || region.outline.iter().map(|corner| corner.xy());
    let extent = |axis: usize| {
        let along = corners().map(|corner| corner[axis]);
        along.clone().fold(f64::MIN, f64::max) - along.fold(f64::MAX, f64::min)
    };
    let most = OUTSIDE * extent(0).hypot(extent(1));
    let marks = || region.landmarks.iter().map(|&k| &view.landmarks[k]);
    let is_away = |mark: &&Landmark| distance_outside(&region.outline, mark.render) > most;
    let away: Vec<&str> = marks().filter(is_away).map(|m| m.name.as_str()).collect();
    if away.is_empty() {
        return;
    }
    let in_reference = |mark: &Landmark| {
        let there = Point::new(mark.reference.x, mark.reference.y);
        distance_outside(&region.outline, there) <= most
    };
    let advice = match marks().all(in_reference) {
        true => {
            "the same marks in the reference do not: an outline is in pixels of the render, not of the reference"
        }
        false => "draw the outline round that part in the render, or name landmarks of that part",
    };
    let (lie, they) = if away.len() == 1 {
        ("lies", "it belongs")
    } else {
        ("lie", "they belong")
    };
    let text = format!(
        "{} {lie} far outside of the outline of the region \"{}\", to which {they}; {advice}",
        listed(away.into_iter()),
        region.name
    );
    add(at.to_owned(), Code::RegionAwayFromMarks, text);
}

/// Places on the model that a camera is fitted to at least.
const LEAST_PLACES: usize = 4;
/// Sizes of a model that are asked about, millimetres: what is smaller cannot be held, what is larger stands on no table.
const MODEL_MM: (f64, f64) = (5.0, 5000.0);

/// Takes a pointer, a code and a text.
type Add<'a> = dyn FnMut(String, Code, String) + 'a;

fn about_registration(view: &View, at: &str, add: &mut Add<'_>) {
    let datum = view
        .landmarks
        .iter()
        .filter(|landmark| landmark.usage == LandmarkUse::Datum)
        .count();
    let (kind, needed, hidden) = match view.registration {
        RegistrationKind::Similarity => ("similarity", 2, None),
        RegistrationKind::Affine => ("affine", 3, Some("uniform stretch and shear")),
        RegistrationKind::Projective => {
            ("projective", 4, Some("uniform stretch, shear and keystone"))
        }
    };
    if datum < needed {
        let text = format!(
            "{datum} datum landmarks, {kind} needs {needed}; this view cannot be compared before {} more are marked",
            needed - datum
        );
        add(format!("{at}/landmarks"), Code::TooFewLandmarks, text);
    } else if datum == needed {
        let text = format!(
            "{datum} datum landmarks are just enough for {kind}; nothing is redundant, so no wrong mark would be noticed; mark 1 or more beyond"
        );
        add(format!("{at}/landmarks"), Code::NothingRedundant, text);
    }
    if let Some(hidden) = hidden {
        let text = format!(
            "{kind} absorbs {hidden}; an error of the model that looks like that cannot be seen"
        );
        add(format!("{at}/registration"), Code::RegistrationHides, text);
    }
}

fn about_picture(view: &View, at: &str, add: &mut Add<'_>) {
    let reference = &view.reference;
    match &reference.rectify {
        None if !matches!(view.render.image, RenderImage::File(_)) => {}
        None if reference.kind == ReferenceKind::Photo
            && view.registration == RegistrationKind::Similarity
            && !has_places(view) =>
        {
            add(
                format!("{at}/reference"),
                Code::NotRectified,
                "the picture is not rectified; a photo taken off-angle will look like an error of the model; add \"rectify\", or say \"kind\" if it is no photo".to_owned(),
            );
        }
        None => {}
        Some(rectify) => about_rectification(rectify, &format!("{at}/reference/rectify"), add),
    }
}

fn about_rectification(rectify: &Rectify, at: &str, add: &mut Add<'_>) {
    match &rectify.plane {
        KnownPlane::Rectangle(rectangle) => match rectangle.aspect {
            Some(aspect) => {
                let seen = apparent_aspect(rectangle);
                // A screen seen from 60 degrees to the side still shows half of its width.
                if !(0.5..=2.0).contains(&(seen / aspect)) {
                    let text = format!(
                        "the aspect is {aspect:.2}, but the corners look like {seen:.2}; it is width over height, corners from top left clockwise"
                    );
                    add(format!("{at}/aspect"), Code::AspectUnlikeCorners, text);
                }
            }
            None => add(at.to_owned(), Code::AspectFromView, CROPPED.to_owned()),
        },
        KnownPlane::Lines(_) => add(at.to_owned(), Code::AspectFromView, CROPPED.to_owned()),
        KnownPlane::Figure(_) | KnownPlane::Unknown => {}
    }
}

/// What a proportion that is found from the view rests on.
const CROPPED: &str = "width over height is found from the view, taking the middle of the picture for the axis of the camera; if the picture was cropped it comes out wrong: state the \"aspect\" if you know it";

/// Mean of top and bottom over mean of left and right, in the picture.
fn apparent_aspect(rectangle: &Rectangle) -> f64 {
    let [a, b, c, d] = rectangle.corners;
    (a.distance(b) + d.distance(c)) / (a.distance(d) + b.distance(c))
}

/// Whether the render's camera and enough places on the model are stated: they give the scale, and take the place of a
/// rectification.
fn has_places(view: &View) -> bool {
    let placed = view.landmarks.iter().filter(|l| l.model_mm.is_some());
    view.render.camera.is_some() && placed.count() >= LEAST_PLACES
}

fn about_scale(view: &View, at: &str, add: &mut Add<'_>) {
    if view.known.is_empty() && has_places(view) {
        return;
    }
    let has = |side| view.known.iter().any(|known| known.side == side);
    let (code, text) = match (has(Side::Render), has(Side::Reference)) {
        (false, false) => (
            Code::NoKnownLength,
            "no known length, so figures are in pixels and per cent, not in millimetres; add one to \"known\"",
        ),
        (true, false) => (
            Code::OneImageScaled,
            "no known length in the reference, so proportions are compared and the size as a whole is not",
        ),
        (false, true) => (
            Code::OneImageScaled,
            "no known length in the render, so proportions are compared and the size as a whole is not",
        ),
        (true, true) => return,
    };
    add(format!("{at}/known"), code, text.to_owned());
}

/// Places on the model that reach absurdly little or far: another unit than millimetres.
fn about_places(view: &View, denominator: f64, at: &str, add: &mut Add<'_>) {
    let places: Vec<[f64; 3]> = view.landmarks.iter().filter_map(|l| l.model_mm).collect();
    let reach = |axis: usize| {
        let along = places.iter().map(|place| place[axis]);
        let (low, high) = along.fold((f64::INFINITY, f64::NEG_INFINITY), |(low, high), v| {
            (low.min(v), high.max(v))
        });
        high - low
    };
    let size = (0..3).map(reach).fold(0.0, f64::max);
    let advice = match size {
        _ if places.len() < LEAST_PLACES || !size.is_finite() || size <= 0.0 => return,
        size if size < MODEL_MM.0 => {
            "inches, centimetres or metres would read like that, or lengths of the CAD file in another unit"
        }
        size if size > MODEL_MM.1 => {
            "full-size lengths or another unit of the CAD file would read like that"
        }
        _ => return,
    };
    let text = format!(
        "the places of the landmarks on the model (\"model_mm\") reach {} mm, which is {} mm full-size; they are millimetres of the model: {advice}",
        in_digits(size),
        in_digits(size * denominator)
    );
    add(format!("{at}/landmarks"), Code::ModelSizeAbsurd, text);
}

/// Known lengths by which the marks of an image reach absurdly little or far on the model: of the model and said to be of the
/// full-size object, the other way round, or in another unit.
fn about_known_sizes(view: &View, denominator: f64, at: &str, add: &mut Add<'_>) {
    for side in Side::BOTH {
        if side == Side::Render && !matches!(view.render.image, RenderImage::File(_)) {
            continue;
        }
        let mark = |landmark: &Landmark| match side {
            Side::Render => landmark.render.xy(),
            Side::Reference => landmark.reference.xy(),
        };
        let end = |end| match end {
            End::Landmark(k) => mark(&view.landmarks[k]),
            End::Point(place) => place,
        };
        let of_side = view.known.iter().filter(|known| known.side == side);
        let ratios = of_side.filter_map(|known| {
            let ([a, b], [c, d]) = (end(known.from), end(known.to));
            let per_px = known.length?.0 / denominator / (a - c).hypot(b - d);
            per_px.is_finite().then_some(per_px)
        });
        let mut ratios: Vec<f64> = ratios.collect();
        ratios.sort_by(f64::total_cmp);
        let Some(per_px) = ratios.get(ratios.len() / 2) else {
            continue;
        };
        let reach = |axis: usize| {
            let along = view.landmarks.iter().map(|landmark| mark(landmark)[axis]);
            along.clone().fold(f64::NEG_INFINITY, f64::max) - along.fold(f64::INFINITY, f64::min)
        };
        let size = per_px * reach(0).max(reach(1));
        let advice = match size {
            size if size < MODEL_MM.0 => {
                "whether a length of the model is stated as \"full_size\", and the unit of each"
            }
            size if size > MODEL_MM.1 => {
                "whether a length of the full-size object is stated as \"model\", and the unit of each"
            }
            _ => continue,
        };
        if view.landmarks.len() < LEAST_PLACES || !size.is_finite() {
            continue;
        }
        let text = format!(
            "by the known lengths of the {} the landmarks reach {} mm on the model, which is {} mm full-size; see {advice}, and whether the job's scale is right",
            side.name(),
            in_digits(size),
            in_digits(size * denominator)
        );
        add(format!("{at}/known"), Code::ModelSizeAbsurd, text);
    }
}

/// A length with three digits or so.
fn in_digits(mm: f64) -> String {
    let places = if mm < 1.0 { 3 } else { usize::from(mm < 100.0) };
    format!("{mm:.places$}")
}

fn about_marks(view: &View, at: &str, add: &mut Add<'_>) {
    let mut seen = std::collections::HashMap::new();
    let has_marks = matches!(view.render.image, RenderImage::File(_));
    for (index, landmark) in view.landmarks.iter().enumerate() {
        let marks = [
            ("reference", landmark.reference.xy()),
            ("render", landmark.render.xy()),
        ];
        // A drawn render has no marks yet.
        let marked = if has_marks { &marks[..] } else { &marks[..1] };
        for &(image, [x, y]) in marked.iter().rev() {
            let place = (image, x.to_bits(), y.to_bits());
            if let Some(other) = seen.insert(place, &landmark.name) {
                let text = format!(
                    "\"{other}\" and \"{}\" are marked at the same point",
                    landmark.name
                );
                add(
                    format!("{at}/landmarks/{index}/{image}"),
                    Code::MarksCoincide,
                    text,
                );
            }
        }
    }
}
