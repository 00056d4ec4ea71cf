//! The references of a job measured by themselves, without a comparison.
use super::{Error, admission, need, run::selected, sizes};
use crate::{
    drawing,
    images::{self, Budget, Hold, Limits, PictureLook},
    job::{self, Doubt, Fault, Job, KnownPlane, View},
    measurement::{self, Asked, ReferenceAlone, Warning},
    rectification,
    report::{DimensionsOfView, DimensionsReport},
};
use image::RgbImage;

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
pub(super) type Why = (&'static str, String);

/// Measures the reference of each view; a view that cannot be measured says why, and the others go on.
///
/// # Errors
/// Where a view is unknown.
pub fn measure_references(
    job: &Job,
    options: &MeasureOptions,
    bounds: (&Limits, &Budget),
) -> Result<MeasuredReferences, Error> {
    let (mut views, mut pictures) = (Vec::new(), Vec::new());
    for view in selected(job, &options.views)? {
        let view = view.without_render();
        match measured(job, &view, options, bounds) {
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
    let look = Looked::new(view, limits)?;
    let asked = Asked {
        against: options.against.as_deref(),
        as_plane: options.as_plane,
    };
    let alone = look.measured(job, view, asked, (limits, memory))?;
    if !options.draw {
        return Ok((alone, None));
    }
    let rectified = alone.rectification.as_ref();
    let rectified = rectified.map(|r| rectification::rectified_size(look.size(), r));
    let _taken = look.take(view, memory, rectified.unwrap_or([0, 0]))?;
    let picture = look.read(view, limits)?;
    let drawn = drawing::draw_alone(job, view, &alone, &picture);
    let drawn = drawn.map_err(|e| (e.code(), e.to_string()))?;
    Ok((alone, Some(drawn)))
}

/// A reference whose head was read, and what that tells of its marks.
pub(super) struct Looked {
    head: PictureLook,
    doubts: Vec<Doubt>,
}

impl Looked {
    /// Reads the head of a view's reference.
    pub(super) fn new(view: &View, limits: &Limits) -> Result<Self, Why> {
        let head = images::look_at(&view.reference.image, limits).map_err(|e| e.of_view(view));
        let head = head.map_err(|e| (e.code(), e.to_string()))?;
        let size = head.size();
        let outside = job::marks_outside(view, "", sizes::render_size(view, size)?, size);
        if let Some(fault) = outside.faults.first() {
            let texts: Vec<String> = outside.faults.iter().map(Fault::text).collect();
            return Err((fault.code(), texts.join("; ")));
        }
        Ok(Self {
            head,
            doubts: outside.doubts,
        })
    }

    /// Width and height, pixels.
    pub(super) fn size(&self) -> (u32, u32) {
        self.head.size()
    }

    /// The pixels.
    pub(super) fn read(&self, view: &View, limits: &Limits) -> Result<RgbImage, Why> {
        let picture = images::read_looked(&view.reference.image, limits, &self.head);
        Ok(picture.map_err(|e| (e.code(), e.to_string()))?.rgb)
    }

    /// Memory for its pixels and for a picture of this width and height made of them.
    pub(super) fn take(&self, view: &View, memory: &Budget, made: [u32; 2]) -> Result<Hold, Why> {
        let need = need::of_rectification(&self.head, made);
        memory.take(need, &|| false).map_err(|e| {
            let path = view.reference.image.display();
            (e.code(), format!("{path}: {e}"))
        })
    }

    /// The figures of the reference; its pixels are read where a bezel is looked for in them.
    pub(super) fn measured(
        &self,
        job: &Job,
        view: &View,
        asked: Asked<'_>,
        (limits, memory): (&Limits, &Budget),
    ) -> Result<ReferenceAlone, Why> {
        let stated = view.reference.rectify.as_ref();
        let bezel = match stated.filter(|stated| {
            matches!(&stated.plane, KnownPlane::Rectangle(rectangle) if rectangle.find_bezel)
        }) {
            None => None,
            Some(stated) => {
                let _taken = self.take(view, memory, [0, 0])?;
                rectification::look_for_bezel(stated, &self.read(view, limits)?)
            }
        };
        let alone = measurement::measure_alone(job, view, self.size(), bezel.as_ref(), asked);
        let mut alone = alone.map_err(|e| (e.code(), e.to_string()))?;
        alone.warnings.extend(self.warnings(view));
        Ok(alone)
    }

    /// What the size of the picture and its content tell.
    fn warnings(&self, view: &View) -> Vec<Warning> {
        let sigma = view.reference.mark_sigma_px;
        let stated = view.reference.rectify.as_ref();
        let doubts =
            stated.and_then(|stated| rectification::doubts(stated, self.size(), sigma, "").ok());
        let all = self
            .doubts
            .iter()
            .cloned()
            .chain(doubts.unwrap_or_default());
        let told = all.map(|doubt| Warning {
            code: doubt.code,
            text: measurement::sentence(&doubt.text),
        });
        let changed = admission::changed_images(view).unwrap_or_default();
        told.chain(changed).collect()
    }
}
