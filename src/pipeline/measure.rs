//! The references of a job measured by themselves, without a comparison.
use super::{Error, need, run::selected, sizes};
use crate::{
    drawing,
    images::{self, Budget, Limits},
    job::{self, Fault, Job, KnownPlane, View},
    measurement::{self, Asked, ReferenceAlone, Warning},
    rectification,
    report::{DimensionsOfView, DimensionsReport},
};

/// What is asked of the references of a job.
#[derive(Clone, Debug, Default)]
pub struct MeasureOptions {
    /// Names of the views; none: all.
    pub views: Vec<String>,
    /// Name of the span that others are held against; `None`: the longest of each view.
    pub against: Option<String>,
    /// Whether photos with places on the model are measured as planes too.
    pub as_plane: bool,
    /// Whether the dimensions are drawn.
    pub draw: bool,
}

/// What was measured, with the pictures that were asked for.
#[derive(Clone, Debug)]
pub struct MeasuredReferences {
    /// All figures.
    pub report: DimensionsReport,
    /// Name of the view and its picture as PNG.
    pub pictures: Vec<(String, Vec<u8>)>,
}

/// Why a view could not be measured: code and words.
type Why = (&'static str, String);

/// Measures the reference of each view; a view that cannot be measured says why, and the others go on.
///
/// # Errors
/// Where a view is unknown.
pub fn measure_references(
    job: &Job,
    options: &MeasureOptions,
    (limits, memory): (&Limits, &Budget),
) -> Result<MeasuredReferences, Error> {
    let (mut views, mut pictures) = (Vec::new(), Vec::new());
    for view in selected(job, &options.views)? {
        let view = view.without_render();
        match measured(job, &view, options, (limits, memory)) {
            Ok((alone, picture)) => {
                views.push(DimensionsOfView::measured(job, &view, &alone));
                pictures.extend(picture.map(|png| (view.name.clone(), png)));
            }
            Err((code, text)) => views.push(DimensionsOfView::failed(&view, code, text)),
        }
    }
    Ok(MeasuredReferences {
        report: DimensionsReport::new(job, views),
        pictures,
    })
}

fn measured(
    job: &Job,
    view: &View,
    options: &MeasureOptions,
    (limits, memory): (&Limits, &Budget),
) -> Result<(ReferenceAlone, Option<Vec<u8>>), Why> {
    let of_image = |e: images::Error| (e.code(), e.to_string());
    let look = images::look_at(&view.reference.image, limits).map_err(of_image)?;
    let size = look.size();
    let outside = job::marks_outside(view, "", sizes::render_size(view, size)?, size);
    if let Some(fault) = outside.faults.first() {
        let texts: Vec<String> = outside.faults.iter().map(Fault::text).collect();
        return Err((fault.code(), texts.join("; ")));
    }
    let stated = view.reference.rectify.as_ref();
    // A bezel is looked for in the pixels.
    let wants_bezel = stated.is_some_and(|stated| {
        matches!(&stated.plane, KnownPlane::Rectangle(rectangle) if rectangle.find_bezel)
    });
    let mut read = None;
    if options.draw || wants_bezel {
        let about = rectification::of_view(view, size, None).ok().flatten();
        let rectified = about.map(|about| rectification::rectified_size(size, &about));
        let need = need::of_rectification(&look, rectified.unwrap_or([0, 0]));
        let taken = memory.take(need, &|| false);
        let taken = taken.map_err(|e| {
            let path = view.reference.image.display();
            (e.code(), format!("{path}: {e}"))
        })?;
        let picture = images::read_looked(&view.reference.image, limits, &look);
        read = Some((picture.map_err(of_image)?.rgb, taken));
    }
    let picture = read.as_ref().map(|(picture, _)| picture);
    let bezel = stated.zip(picture).and_then(|(rectify, picture)| {
        rectification::look_for_bezel(rectify, picture)
    });
    let asked = Asked {
        against: options.against.as_deref(),
        as_plane: options.as_plane,
    };
    let alone = measurement::measure_alone(job, view, size, bezel.as_ref(), asked);
    let mut alone = alone.map_err(|e| (e.code(), e.to_string()))?;
    alone.warnings.extend(doubts(view, size, outside.doubts));
    let drawn = match picture.filter(|_| options.draw) {
        None => None,
        Some(picture) => {
            let drawn = drawing::draw_alone(job, view, &alone, picture);
            Some(drawn.map_err(|e| (e.code(), e.to_string()))?)
        }
    };
    Ok((alone, drawn))
}

/// What the sizes of the picture and its content tell.
fn doubts(view: &View, size: (u32, u32), outside: Vec<job::Doubt>) -> Vec<Warning> {
    let sigma = view.reference.mark_sigma_px;
    let stated = view.reference.rectify.as_ref();
    let of_rectification =
        stated.and_then(|stated| rectification::doubts(stated, size, sigma, "").ok());
    let all = outside.into_iter().chain(of_rectification.into_iter().flatten());
    let told = all.map(|doubt| Warning {
        code: doubt.code,
        text: measurement::sentence(&doubt.text),
    });
    let changed = super::admission::changed_images(view).unwrap_or_default();
    told.chain(changed).collect()
}
