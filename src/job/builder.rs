//! Jobs made in code: no file, and the same checks.
use super::{
    Error, Job, Landmark, MarkOn, ReferenceKind, RegistrationKind, Tolerance, View, parse,
    raw::{
        Mark, RawEnd, RawExpected, RawInterior, RawJob, RawKind, RawKnown, RawLandmark, RawLength,
        RawMarkOn, RawMarkSigma, RawReference, RawRegion, RawRegistration, RawRender,
        RawRenderKind, RawScale, RawScreen, RawSide, RawSpan, RawTolerance, RawUnit, RawUse,
        RawView,
    },
};
use crate::{
    frame::{Frame, Point, ReferencePx, RenderPx},
    units::{FullSizeMm, ModelMm, ScaleRatio},
};
use std::path::PathBuf;

/// A job that is being stated; see [`Job::builder`].
#[derive(Clone, Debug)]
pub struct JobBuilder {
    raw: RawJob,
    file: PathBuf,
}

/// A view that is being stated; see [`View::builder`].
#[derive(Clone, Debug)]
pub struct ViewBuilder {
    raw: RawView,
}

/// A landmark that is being stated; see [`Landmark::builder`].
#[derive(Clone, Debug)]
pub struct LandmarkBuilder {
    raw: RawLandmark,
}

impl Job {
    /// Begins a job without views; what is not stated is as in a job file that leaves it out.
    ///
    /// ```
    /// use tickstrip::{frame::Point, job::{Job, Landmark, View}, units::ScaleRatio};
    ///
    /// let scale = ScaleRatio::parse("1:24")?;
    /// let mark = |name, x, y| Landmark::builder(name, Point::new(x, y), Point::new(2.0 * x, 2.0 * y));
    /// let side = View::builder("side", "render.png", "photo.jpg")
    ///     .landmark(mark("axle front", 100.0, 700.0))
    ///     .landmark(mark("axle rear", 900.0, 705.0))
    ///     .landmark(mark("lantern top", 480.0, 90.0).check())
    ///     .span("wheelbase", "axle front", "axle rear");
    /// let job = Job::builder("Hand fire pump", scale).view(side).build()?;
    /// assert_eq!(job.views[0].landmarks.len(), 3);
    /// # Ok::<(), Box<dyn std::error::Error>>(())
    /// ```
    pub fn builder(title: impl Into<String>, scale: ScaleRatio) -> JobBuilder {
        JobBuilder {
            raw: RawJob {
                title: title.into(),
                scale: RawScale::Number(scale.denominator()),
                unit: RawUnit::default(),
                tolerance: RawTolerance::default(),
                smallest_visible_mm: None,
                title_block: None,
                print: None,
                expected: RawExpected::default(),
                model: None,
                views: Vec::new(),
                together: None,
            },
            file: PathBuf::from("job.json"),
        }
    }
}

impl JobBuilder {
    /// Where the job file would lie: paths of images are relative to its folder, and messages name it. Left out:
    /// `job.json` in the working folder. It is neither read nor written.
    #[must_use]
    pub fn file(mut self, file: impl Into<PathBuf>) -> Self {
        self.file = file.into();
        self
    }

    /// What may be tolerated.
    #[must_use]
    pub fn tolerance(mut self, tolerance: Tolerance) -> Self {
        self.raw.tolerance = RawTolerance {
            proportion_percent: Some(tolerance.proportion_percent),
            offset_mm: Some(tolerance.offset.0),
            angle_deg: Some(tolerance.angle_deg),
            edge_overlap: Some(tolerance.edge_overlap),
        };
        self
    }

    /// No correction is proposed for an error smaller than this on the model.
    #[must_use]
    pub fn smallest_visible(mut self, length: ModelMm) -> Self {
        self.raw.smallest_visible_mm = Some(length.0);
        self
    }

    /// Adds a view.
    #[must_use]
    pub fn view(mut self, view: ViewBuilder) -> Self {
        self.raw.views.push(view.raw);
        self
    }

    /// States whatever else a job file can, such as `print` or `expected`.
    #[must_use]
    pub fn stated(mut self, state: impl FnOnce(&mut RawJob)) -> Self {
        state(&mut self.raw);
        self
    }

    /// The job, after the checks that a job file goes through. Its checksum is that of the file that it would be.
    ///
    /// # Errors
    /// [`Error::Faulty`] with all that is wrong, each with the place that it would have in a file; [`Error::Unreadable`]
    /// where the file's path is relative and there is no working folder.
    pub fn build(self) -> Result<Job, Error> {
        let text = serde_json::to_vec(&self.raw).expect("names, numbers and lists make JSON");
        parse(&text, &self.file)
    }
}

impl View {
    /// Begins a view by its name and the files of its images, as a job file names them.
    ///
    /// Who has the pixels in memory and calls [`measure`](crate::measurement::measure) needs no such files; the paths are
    /// names then.
    pub fn builder(
        name: impl Into<String>,
        render: impl Into<String>,
        reference: impl Into<String>,
    ) -> ViewBuilder {
        let raw = RawView {
            name: name.into(),
            render: RawRender {
                image: Some(render.into()),
                drawn: false,
                marked_on: None,
                kind: RawRenderKind::default(),
                mask: None,
                shape: None,
                camera: None,
                mark_sigma_px: None,
                is_absent: false,
            },
            reference: RawReference {
                image: Some(reference.into()),
                images: Vec::new(),
                marked_on: None,
                kind: RawKind::default(),
                source: None,
                time_code: None,
                variant: None,
                note: None,
                rights: None,
                rectify: None,
                screen: RawScreen::default(),
                interior: RawInterior::default(),
                mark_sigma_px: None,
                mask: None,
                outline: None,
            },
            origin: None,
            same_camera: true,
            axes: None,
            marks_are_right: false,
            registration: None,
            landmarks: Vec::new(),
            known: Vec::new(),
            measured: Vec::new(),
            spans: Vec::new(),
            angles: Vec::new(),
            symmetry: None,
            regions: Vec::new(),
        };
        ViewBuilder { raw }
    }
}

impl ViewBuilder {
    /// The kind of the registration; left out: a similarity.
    #[must_use]
    pub fn registration(mut self, kind: RegistrationKind) -> Self {
        self.raw.registration = Some(match kind {
            RegistrationKind::Similarity => RawRegistration::Similarity,
            RegistrationKind::Affine => RawRegistration::Affine,
            RegistrationKind::Projective => RawRegistration::Projective,
        });
        self
    }

    /// What sort of picture the reference is; left out: a photo.
    #[must_use]
    pub fn reference_kind(mut self, kind: ReferenceKind) -> Self {
        self.raw.reference.kind = kind.into();
        self
    }

    /// Adds a point marked in both images.
    #[must_use]
    pub fn landmark(mut self, landmark: LandmarkBuilder) -> Self {
        self.raw.landmarks.push(landmark.raw);
        self
    }

    /// Adds the length on the subject between two landmarks of the reference.
    #[must_use]
    pub fn known_in_reference(self, from: &str, to: &str, length: FullSizeMm) -> Self {
        let full_size = Some(RawLength::Text(in_millimetres(length.0)));
        self.known(RawSide::Reference, [from, to], [full_size, None])
    }

    /// Adds the length on the model between two landmarks of the render.
    #[must_use]
    pub fn known_in_render(self, from: &str, to: &str, length: ModelMm) -> Self {
        let model = Some(RawLength::Text(in_millimetres(length.0)));
        self.known(RawSide::Render, [from, to], [None, model])
    }

    fn known(
        mut self,
        side: RawSide,
        [from, to]: [&str; 2],
        [full_size, model]: [Option<RawLength>; 2],
    ) -> Self {
        self.raw.known.push(RawKnown {
            side,
            from: RawEnd::Landmark(from.to_owned()),
            to: RawEnd::Landmark(to.to_owned()),
            along: None,
            full_size,
            model,
            sigma: None,
        });
        self
    }

    /// Adds a distance between two landmarks to judge.
    #[must_use]
    pub fn span(mut self, name: &str, from: &str, to: &str) -> Self {
        self.raw.spans.push(RawSpan {
            name: name.to_owned(),
            from: from.to_owned(),
            to: to.to_owned(),
            tolerance: RawTolerance::default(),
        });
        self
    }

    /// Adds a part of the model to judge: its corners in order, and the landmarks that lie on it.
    #[must_use]
    pub fn region(mut self, name: &str, outline: &[Point<RenderPx>], landmarks: &[&str]) -> Self {
        self.raw.regions.push(RawRegion {
            name: name.to_owned(),
            outline: outline.iter().copied().map(mark).collect(),
            landmarks: landmarks.iter().map(|name| (*name).to_owned()).collect(),
            anchor: None,
            tolerance: RawTolerance::default(),
            note: None,
        });
        self
    }

    /// States whatever else a job file can say of a view, such as masks, angles, symmetry, or what the reference is
    /// rectified by.
    #[must_use]
    pub fn stated(mut self, state: impl FnOnce(&mut RawView)) -> Self {
        state(&mut self.raw);
        self
    }
}

impl Landmark {
    /// Begins a landmark by its marks: a datum, which carries the registration, unless it is made a
    /// [check](LandmarkBuilder::check).
    pub fn builder(
        name: impl Into<String>,
        in_render: Point<RenderPx>,
        in_reference: Point<ReferencePx>,
    ) -> LandmarkBuilder {
        LandmarkBuilder {
            raw: RawLandmark {
                name: name.into(),
                render: Some(mark(in_render)),
                reference: mark(in_reference),
                usage: Some(RawUse::Datum),
                model_mm: None,
                part: None,
                on: None,
                sigma_px: None,
                model_sigma_mm: None,
            },
        }
    }
}

impl LandmarkBuilder {
    /// Makes it one that is only measured.
    #[must_use]
    pub fn check(mut self) -> Self {
        self.raw.usage = Some(RawUse::Check);
        self
    }

    /// Where the point is on the model, millimetres.
    #[must_use]
    pub fn model_mm(mut self, place: [f64; 3]) -> Self {
        self.raw.model_mm = Some(place);
        self
    }

    /// What the mark is set on; not called: found by the render.
    #[must_use]
    pub fn on(mut self, on: MarkOn) -> Self {
        self.raw.on = Some(match on {
            MarkOn::Corner => RawMarkOn::Corner,
            MarkOn::Outline(_) => RawMarkOn::Outline,
            MarkOn::Centre => RawMarkOn::Centre,
        });
        self
    }

    /// Standard deviation of its marks in x and in y, pixels of each image.
    #[must_use]
    pub fn sigma_px(mut self, sigma: f64) -> Self {
        self.raw.sigma_px = Some(RawMarkSigma::Both(sigma));
        self
    }
}

fn mark<F: Frame>(point: Point<F>) -> Mark {
    Mark(point.xy())
}

/// With its unit: a plain number would change its meaning with the unit of the job.
fn in_millimetres(length: f64) -> String {
    format!("{length} mm")
}
