//! One view measured as a whole.
use super::{
    AngleMeasure, Correction, DrawnPair, EdgeOverlap, Explained, ForeignMarks, RegionMeasure,
    SpanMeasure, Verdict, ViewMeasurement, Warning, WorkImages,
    by_camera::{self, PartByCamera, ViewMesh},
    by_reference, datum_doubts, depth, earlier_issue, expected_offsets, far_parts, foreign,
    judge::{follows::Changed, leave_alone, verdict},
    lengths::{plausible, print, scales, sizes},
    overlap::{
        edges::EdgeStudy,
        grid::{Prepared, Work},
        silhouette,
    },
    regions, screen, spans,
    symmetry::{self, Mirrored},
};
use crate::{
    edges::{self, EdgeFit, EdgeScene},
    frame::Point,
    images::ViewImages,
    job::{self, Job, KnownPlane, LandmarkUse, View},
    meshes::MeshEdges,
    printable::listed,
    rectification::BezelFinding,
    registration::{Adjustment, Convergence, Finding, Registered, Registration},
    statistics::chi_square_quantile,
    stop::{self, Stopped},
    warning::Code,
};
use image::RgbImage;
use rayon::prelude::*;

/// A measured view with the rasters that its pictures are drawn from.
#[derive(Clone, Debug)]
pub struct MeasuredView {
    /// The figures.
    pub measurement: ViewMeasurement,
    /// The rasters, on the working grid.
    pub work: WorkImages,
    /// The registered reference at the render's own size, where that is larger than the working grid.
    pub native_reference: Option<RgbImage>,
    /// Both marks of every landmark, in the view's order.
    pub pairs: Vec<DrawnPair>,
    /// What was done to the reference before edges were looked for, step by step.
    pub explained: Vec<Explained>,
    /// Why the marks cannot belong to these images: then no figure means anything. `None` where they may.
    pub foreign: Option<ForeignMarks>,
}

/// Measures a view whose reference is registered; to be called where nobody asks to stop.
///
/// # Panics
/// In a run that is asked to stop: see [`measure_in_run`].
pub fn measure(job: &Job, view: &View, images: ViewImages, registered: Registered) -> MeasuredView {
    measure_in_run(job, view, images, (registered, None)).expect("nobody asks to stop here")
}

/// Measures a view whose reference is registered, unless the run is asked to stop; with the visible edges of the model's mesh where
/// they are known.
///
/// # Errors
/// [`Stopped`].
pub fn measure_in_run(
    job: &Job,
    view: &View,
    images: ViewImages,
    (registered, whole): (Registered, Option<ViewMesh<'_>>),
) -> Result<MeasuredView, Stopped> {
    let mesh = whole.map(|mesh| mesh.seen);
    let mut warned = notes(view, &images);
    let shots = images.shots.clone();
    let reference_size = images.reference.rgb.dimensions();
    let treated = screen::treat(view, &images, &registered.registration)?;
    let (by_marks, pictures) = (&registered.adjustment, (&images, &treated.source));
    let by_camera = by_camera::parts((job, view), pictures, (by_marks, whole))?;
    stop::check()?;
    let prepared = Prepared::new(images, treated.source);
    stop::check()?;
    let (registration, refined, unlike) = refined_or_by_marks(view, &prepared, &registered, mesh);
    stop::check()?;
    let adjustment = refined
        .as_ref()
        .map_or(&registered.adjustment, |s| &s.adjustment);
    let mut work = prepared.finish(view, &registration, mesh)?;
    work.images.likeness = earlier_issue::map(view, &work.images);
    let (edge_overlap, in_regions, foreign) =
        overlaps(view, &registration, &work, refined.as_ref());
    stop::check()?;
    let marks = scales::KnownMarks::new(view, adjustment);
    let pairs = drawn_pairs(adjustment);
    // From here on also the points of known lengths are known.
    let adjustment = &marks.adjustment;
    let scales = scales::study(job, view, &marks);
    let mut corrections = Corrections::default();
    let parts = Parts {
        view,
        registered: &registered,
        refined: refined.as_ref(),
        by_camera: &by_camera,
    };
    let told_by = (&scales, adjustment);
    let evidence = parts.evidence();
    let overlaps = parts.overlaps(in_regions, &evidence);
    let evidence = expected_offsets::considered(evidence);
    let regions = parts.measure(job, (&evidence, overlaps), told_by, &mut corrections);
    let changed = Changed::new(view, &regions, scales.model.as_ref().map(|m| m.mm_per_px));
    let spans = measure_spans((job, &changed), adjustment, &scales, &mut corrections);
    let angles = measure_angles(&changed, adjustment, &mut corrections);
    let landmark_offsets_model_mm = (0..view.landmarks.len())
        .map(|i| [0, 1].map(|axis| scales.landmark_offset_model_mm(adjustment, i, axis)))
        .collect();
    let leave_alone = leave_alone::list(job, view, &regions, &spans);
    let by_reference = by_reference::of_view(view, &evidence, (&spans, &angles), adjustment);
    let mut measurement = ViewMeasurement {
        verdict: worst_of(&regions, &spans, &angles),
        warnings: Vec::new(),
        sizes: sizes::compare(job, view, &registration, &scales.figures, &spans),
        symmetry: symmetry::check(view, adjustment),
        silhouette: silhouette::compare(&work, scales.figures.model_mm_per_render_px(job.scale)),
        print: print::study(view, adjustment, &scales, job.scale),
        earlier_issue: earlier_issue::judge(view, &work.images, &regions),
        screen: treated.findings,
        shots,
        registration,
        scales: scales.figures,
        edge_overlap,
        landmark_offsets_model_mm,
        regions,
        spans,
        angles,
        corrections: corrections.worst_first(),
        leave_alone,
        by_reference,
    };
    warned.extend(warnings(job, view, &measurement, adjustment));
    warned.extend(refused_edges(refined.as_ref()));
    warned.extend(unlike);
    warned.extend(datum_doubts::all(view, &registered, reference_size));
    measurement.warnings = warned;
    Ok(MeasuredView {
        measurement,
        work: work.images,
        native_reference: work.native_reference,
        pairs,
        explained: treated.explained,
        foreign,
    })
}

/// The registration with the edges of both images, where they tell something; else that of the marks. And what is to be said of the
/// further picture of the render's view.
fn refined_or_by_marks(
    view: &View,
    prepared: &Prepared,
    registered: &Registered,
    mesh: Option<&MeshEdges>,
) -> (Registration, Option<EdgeFit>, Option<Warning>) {
    let (fit, unlike) = refine(view, prepared, registered, mesh);
    let refined = fit.and_then(|fit| Some((registered.summary(view, &fit.adjustment)?, fit)));
    match refined {
        Some((registration, fit)) => (registration, Some(fit), unlike),
        None => (registered.registration.clone(), None, unlike),
    }
}

/// The spans of a view that have figures; `changed` are its parts as measured, `corrections` gets the changes that the spans ask
/// for.
fn measure_spans(
    (job, changed): (&Job, &Changed<'_>),
    adjustment: &Adjustment,
    scales: &scales::ScaleStudy,
    corrections: &mut Corrections,
) -> Vec<SpanMeasure> {
    let view = changed.view();
    let measured = view.spans.iter().filter_map(|span| {
        let measured = spans::measure_span(job, span, adjustment, scales)?;
        let measured = changed.span(job, span, measured);
        Some(depth::span(view, span, adjustment, measured))
    });
    measured.map(|m| corrections.keep(m)).collect()
}

/// The same of its angles.
fn measure_angles(
    changed: &Changed<'_>,
    adjustment: &Adjustment,
    corrections: &mut Corrections,
) -> Vec<AngleMeasure> {
    let view = changed.view();
    let measured = view.angles.iter().filter_map(|angle| {
        let measured = spans::measure_angle(angle, adjustment)?;
        let measured = changed.angle(angle, measured);
        Some(depth::angle(view, angle, adjustment, measured))
    });
    measured.map(|m| corrections.keep(m)).collect()
}

/// What the parts of a view are judged by.
struct Parts<'a> {
    view: &'a View,
    registered: &'a Registered,
    refined: Option<&'a EdgeFit>,
    /// What the camera of the reference tells of each region.
    by_camera: &'a [Option<PartByCamera>],
}

impl Parts<'_> {
    /// All of them measured; `evidence` is what their figures rest on, `overlaps` those of their edges, `corrections` gets the changes that
    /// they ask for.
    fn measure(
        &self,
        job: &Job,
        (evidence, overlaps): (&[regions::Evidence], Vec<Option<EdgeOverlap>>),
        told_by: (&scales::ScaleStudy, &Adjustment),
        corrections: &mut Corrections,
    ) -> Vec<RegionMeasure> {
        let parts = evidence.iter().zip(overlaps).enumerate();
        parts
            .map(|(j, (evidence, overlap))| {
                corrections.keep(regions::measure(
                    job,
                    (self.view, j),
                    evidence,
                    told_by,
                    overlap,
                ))
            })
            .collect()
    }

    /// One for each region: by its landmarks, its edges, and what mirrored marks tell.
    fn evidence(&self) -> Vec<regions::Evidence> {
        let by_landmarks = &self.registered.adjustment;
        let by_edges = self.refined.map_or(by_landmarks, |fit| &fit.adjustment);
        let no_depth = depth::why_untold(self.view, by_landmarks);
        let mirrored = [by_landmarks, by_edges].map(|a| (Mirrored::of(self.view, a), a));
        let mirrored = mirrored
            .each_ref()
            .map(|(mirrored, a)| (mirrored.as_ref(), *a));
        let regions = self.view.regions.iter().zip(&self.registered.regions);
        regions
            .enumerate()
            .map(|(j, (region, fit))| {
                let by_map = regions::Evidence::of(j, region, fit.as_ref(), self.refined)
                    .with_symmetry(j, mirrored)
                    .without_depth(no_depth);
                self.by_camera_of(j, &by_map)
                    .unwrap_or(by_map)
                    .with_size(self.part_size(j))
            })
            .collect()
    }

    /// What the camera of the reference tells of a region, unless the registration excludes it. A datum part is judged by the others.
    fn by_camera_of(&self, j: usize, by_map: &regions::Evidence) -> Option<regions::Evidence> {
        let by_marks = self.registered.regions[j].as_ref();
        if by_marks.is_some_and(|fit| fit.is_datum) {
            return None;
        }
        let part = self.by_camera[j].as_ref()?;
        let told = regions::Evidence::by_camera(&self.view.regions[j], part)?;
        (!told.is_beyond(by_map)).then(|| told.widened_by(by_map))
    }

    /// Width and height of a part, render pixels.
    fn part_size(&self, j: usize) -> [f64; 2] {
        let edges = self.refined.and_then(|fit| fit.on_edges[j].as_ref());
        regions::part_size(self.view, &self.view.regions[j], edges)
    }

    /// The edge overlap of each region, with what the response of its edges says where there are enough, as far as they lie on
    /// their own.
    fn overlaps(
        &self,
        by_maps: Vec<Option<EdgeOverlap>>,
        evidence: &[regions::Evidence],
    ) -> Vec<Option<EdgeOverlap>> {
        let on_edges = |j: usize| {
            let by_camera = self.by_camera[j].as_ref();
            let by_camera = by_camera.and_then(|part| part.on_edges.clone());
            let all = by_camera.or_else(|| self.refined?.on_edges[j].clone())?;
            Some(match evidence[j].errors() {
                Some(errors) => all.on_own(&errors, self.view.regions[j].anchor.xy().into()),
                None => all,
            })
        };
        let with_response = |(j, overlap): (usize, Option<EdgeOverlap>)| {
            overlap.map(|overlap| match on_edges(j) {
                Some(on_edges) => overlap.with_response(&on_edges),
                None => overlap,
            })
        };
        by_maps.into_iter().enumerate().map(with_response).collect()
    }
}

/// Out if anything is out, undecided if anything is undecided or nothing is judged.
fn worst_of(regions: &[RegionMeasure], spans: &[SpanMeasure], angles: &[AngleMeasure]) -> Verdict {
    let verdicts = regions.iter().map(|r| r.verdict);
    let verdicts = verdicts.chain(spans.iter().map(|s| s.verdict));
    let verdicts = verdicts.chain(angles.iter().map(|a| a.verdict));
    verdict::worst(verdicts).unwrap_or(Verdict::Undecided)
}

/// The adjustment with the edges of both images; `None` where there is nothing to look for. And what is to be said of the further
/// picture of the render's view.
fn refine(
    view: &View,
    prepared: &Prepared,
    registered: &Registered,
    mesh: Option<&MeshEdges>,
) -> (Option<EdgeFit>, Option<Warning>) {
    let window = prepared.window(
        &view.regions,
        edges::MARGIN,
        &registered.registration.render_from_reference,
    );
    let Some(window) = window else {
        return (None, None);
    };
    let scene = EdgeScene::new(view, &window, &registered.adjustment, mesh);
    drop(window);
    let unlike = scene.unlike_percent.map(unlike_shape);
    (scene.fit(&registered.adjustment), unlike)
}

/// A further picture that shows hardly any of the render's edges.
fn unlike_shape(percent: f64) -> Warning {
    Warning {
        code: Code::ShapeUnlikeRender,
        text: format!(
            "The picture of the render's \"shape\" has {percent:.0} % of the render's edges, so it shows another view, or nothing, and was \
             not used: all edges of the render count. Write it once more from the render's camera: normals as colours, or the same \
             view in another light."
        ),
    }
}

/// What the marks did not bear.
fn refused_edges(fit: Option<&EdgeFit>) -> Option<Warning> {
    fit?.refused_px.map(|px| Warning {
        code: Code::DatumEdgesRefused,
        text: format!(
            "The edges of the datum parts would move the datum marks by {px:.1} px, more than these allow: the registration \
             rests on the marks alone. Look whether the marks of the datum parts, or their edges in the overlay, are beside \
             the place."
        ),
    })
}

/// A doubt as a sentence of its own.
pub(crate) fn sentence(text: &str) -> String {
    let mut letters = text.chars();
    let first: String = letters
        .next()
        .into_iter()
        .flat_map(char::to_uppercase)
        .collect();
    format!("{first}{}.", letters.as_str())
}

/// What could not be honoured in reading the images, and marks outside of them.
fn notes(view: &View, images: &ViewImages) -> Vec<Warning> {
    let [render, reference] = [&images.render, &images.reference].map(|i| i.rgb.dimensions());
    let outside = job::marks_outside(view, "", render, reference);
    let outside = outside.doubts.into_iter().map(|doubt| Warning {
        code: doubt.code,
        text: sentence(&doubt.text),
    });
    let reading = reading_notes(images).into_iter();
    reading
        .chain(shots_left_out(images))
        .chain(outside)
        .collect()
}

fn shots_left_out(images: &ViewImages) -> impl Iterator<Item = Warning> {
    let shots = images.shots.iter().flat_map(|shots| &shots.left_out);
    shots.map(|left_out| Warning {
        code: Code::ShotLeftOut,
        text: format!(
            "A shot of the reference is not used. {}.",
            left_out.in_words()
        ),
    })
}

fn reading_notes(images: &ViewImages) -> Vec<Warning> {
    let of = |which: &str, notes: &[String]| -> Vec<Warning> {
        let text = |note: &String| format!("The {which}: {note}");
        notes
            .iter()
            .map(|note| Warning {
                code: Code::ImageNote,
                text: text(note),
            })
            .collect()
    };
    let mut all = of("render", &images.render.notes);
    all.extend(of("reference", &images.reference.notes));
    all
}

/// Of the whole view and of each region, and why the marks cannot belong to these images.
fn overlaps(
    view: &View,
    registration: &Registration,
    work: &Work,
    refined: Option<&EdgeFit>,
) -> (
    Option<EdgeOverlap>,
    Vec<Option<EdgeOverlap>>,
    Option<ForeignMarks>,
) {
    let study = EdgeStudy::new(work);
    let (whole, in_regions) = rayon::join(
        || study.whole(),
        || {
            view.regions
                .par_iter()
                .map(|r| study.inside(&r.outline))
                .collect()
        },
    );
    let parts = refined.map_or(&[][..], |fit| &fit.on_edges);
    let foreign = foreign::why(view, registration, &study, (whole.as_ref(), parts));
    (whole, in_regions, foreign)
}

fn drawn_pairs(adjustment: &Adjustment) -> Vec<DrawnPair> {
    (0..adjustment.pairs().len())
        .map(|i| {
            let u = adjustment.registered_mark(i);
            DrawnPair {
                render: adjustment.pairs()[i].render,
                reference: Point::new(u.x, u.y),
            }
        })
        .collect()
}

/// The changes of a view as they come.
#[derive(Default)]
struct Corrections(Vec<Correction>);

impl Corrections {
    /// Keeps the change that a measure asks for, and hands the measure on.
    fn keep<M>(&mut self, (measure, correction): (M, Option<Correction>)) -> M {
        self.0.extend(correction);
        measure
    }

    fn worst_first(mut self) -> Vec<Correction> {
        self.0
            .sort_by(|a, b| b.times_tolerance.total_cmp(&a.times_tolerance));
        self.0
    }
}

fn warnings(
    job: &Job,
    view: &View,
    measurement: &ViewMeasurement,
    adjustment: &Adjustment,
) -> Vec<Warning> {
    let mut all = Vec::new();
    let mut warn = |code: Code, text: String| all.push(Warning { code, text });
    rectified_by_view(view, &measurement.registration, &mut warn);
    marks_to_look_at(view, &measurement.registration, &mut warn);
    disagreeing_datum(measurement, adjustment, &mut warn);
    not_at_rest(adjustment.convergence(), &mut warn);
    for hidden in &measurement.registration.hides {
        warn(
            Code::HiddenErrors,
            format!("This registration cannot show {hidden}."),
        );
    }
    let scales = &measurement.scales;
    if scales.render_px_per_model_mm.is_none() && scales.registered_px_per_full_size_mm.is_none() {
        warn(
            Code::NoScale,
            "No length is known in either image: offsets are in pixels only and are not judged. Add a known length."
                .to_owned(),
        );
    } else if scales.model_size_percent.is_none() {
        warn(
            Code::ProportionsOnly,
            "Only one image has a scale: proportions are compared, not absolute sizes.".to_owned(),
        );
    }
    if let Some(text) = plausible::of_scales(scales, job.scale.denominator()) {
        warn(Code::ImplausibleSize, sentence(&text));
    }
    if let Some(symmetry) = measurement.symmetry.as_ref().filter(|s| s.test.speaks()) {
        let mut text = symmetry.text.clone();
        text.replace_range(..1, "T");
        warn(Code::NotSymmetric, format!("{text}."));
    }
    sizes::about_dimensions(view, scales, &mut warn);
    if let Some(far) = far_parts::far_from_datum(view, adjustment) {
        warn(Code::FarFromDatum, sentence(&far.text));
    }
    if let Some(why) = depth::why_untold(view, adjustment) {
        warn(Code::Parallax, depth::warning(why));
    }
    match &measurement.edge_overlap {
        None => warn(
            Code::NoEdges,
            "An image has next to no edges to compare.".to_owned(),
        ),
        Some(overlap) if overlap.above_chance < job.tolerance.edge_overlap => warn(
            Code::LowEdgeOverlap,
            format!(
                "The edges overlap by {:.2} above chance, less than the {:.2} asked for: the picture has much that \
                 the model has not, or the reference does not lie where it should.",
                // Cut and not rounded, so that it never reads as what was asked for.
                (100.0 * overlap.above_chance + 1e-9).floor() / 100.0,
                job.tolerance.edge_overlap
            ),
        ),
        Some(_) => {}
    }
    all
}

/// What the picture's own view had to tell rests on assumptions that it cannot check.
fn rectified_by_view(view: &View, registration: &Registration, warn: &mut dyn FnMut(Code, String)) {
    let found = registration.rectification.as_ref();
    if let Some(kept @ BezelFinding::Kept { .. }) = found.and_then(|s| s.bezel) {
        warn(
            Code::BezelNotFound,
            format!("The bezel was not found: {kept}."),
        );
    }
    let plane = view.reference.rectify.as_ref().map(|s| &s.plane);
    let by_lines = matches!(plane, Some(KnownPlane::Lines(_)));
    let aspect = found.and_then(|s| s.aspect);
    if aspect.is_none() && !by_lines {
        return;
    }
    let figure = aspect.map_or_else(String::new, |a| {
        format!(
            " as {:.3} (95 %: {:.3} to {:.3})",
            a.value(),
            a.low(),
            a.high()
        )
    });
    warn(
        Code::AspectFromView,
        format!(
            "Width over height of the plane was found from the view{figure}, taking the middle of the picture for the \
             axis of the camera: it is wrong if the picture was cropped. State the aspect if you know it."
        ),
    );
}

fn marks_to_look_at(view: &View, registration: &Registration, warn: &mut dyn FnMut(Code, String)) {
    for (landmark, fit) in view.landmarks.iter().zip(&registration.landmarks) {
        match &fit.finding {
            Some(Finding::Wrong) => warn(
                Code::WrongMark,
                format!(
                    "\"{}\" is off by {:.1} px, far more than the noise of the marks: it was left out. Look at both marks.",
                    landmark.name,
                    fit.residual_px[0].hypot(fit.residual_px[1])
                ),
            ),
            Some(Finding::Contradicts(other)) if view.landmarks[*other].name > landmark.name => {
                warn(
                    Code::ContradictingMarks,
                    format!(
                        "\"{}\" or \"{}\" is wrong, and nothing tells which: both were left out. Look at both, or mark a third \
                         point of their part.",
                        landmark.name, view.landmarks[*other].name
                    ),
                )
            }
            Some(Finding::SwappedWith(other)) if view.landmarks[*other].name > landmark.name => {
                warn(
                    Code::SwappedMarks,
                    format!(
                        "\"{}\" and \"{}\" are exchanged in one of the images: they were taken the other way round. Correct the job.",
                        landmark.name, view.landmarks[*other].name
                    ),
                )
            }
            _ => {}
        }
    }
    let datum = view
        .landmarks
        .iter()
        .zip(&registration.landmarks)
        .filter(|(l, _)| l.usage == LandmarkUse::Datum);
    let uncontrolled = datum
        .filter(|(_, f)| f.finding == Some(Finding::Uncontrolled))
        .map(|(l, _)| l.name.as_str());
    if uncontrolled.clone().next().is_some() {
        warn(
            Code::UncontrolledMarks,
            format!(
                "Nothing checks the marks {}: an error there would not be noticed. Mark more datum landmarks.",
                listed(uncontrolled)
            ),
        );
    }
}

/// The figures would change a little if the iteration went on.
fn not_at_rest(end: Convergence, warn: &mut dyn FnMut(Code, String)) {
    if !end.is_reached {
        warn(
            Code::NotAtRest,
            format!(
                "The adjustment still moved by {:.2} px in its last step (of {}): figures may be off by as much beyond \
                 their intervals. More or better marks make it come to rest.",
                end.last_step_px, end.steps
            ),
        );
    }
}

/// Stated deviations that the residuals contradict: the intervals would then be too narrow.
fn disagreeing_datum(
    measurement: &ViewMeasurement,
    adjustment: &Adjustment,
    warn: &mut dyn FnMut(Code, String),
) {
    let registration = &measurement.registration;
    let (Some(sigma0), freedom) = (registration.sigma0, registration.degrees_of_freedom) else {
        return;
    };
    if freedom == 0 || adjustment.noise_freedom().is_finite() {
        return;
    }
    let limit = (chi_square_quantile(0.999, freedom as f64) / freedom as f64).sqrt();
    if sigma0 > limit {
        warn(
            Code::MarksDisagree,
            format!(
                "The datum landmarks disagree {sigma0:.1} times as much as their stated mark_sigma_px allows: the \
                 intervals are too narrow. State a larger one, leave it out, or look at the marks."
            ),
        );
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::{
        images::Picture, job::RegistrationKind, measurement::coverage, registration::register,
        statistics::trials::Noise,
    };

    /// What is told of an adjustment at rest that is said to have ended so.
    fn told_of(end: Convergence) -> Vec<Warning> {
        let job = coverage::job(RegistrationKind::Similarity, true, &mut Noise(3));
        let view = &job.views[0];
        let mut registered =
            register(view, job.expected, (1000, 1000), None).expect("eight datum landmarks");
        registered.adjustment = registered.adjustment.ended(end);
        let blank = || Picture {
            rgb: RgbImage::from_pixel(1000, 1000, image::Rgb([180; 3])),
            alpha: None,
            notes: Vec::new(),
        };
        let images = ViewImages {
            render: blank(),
            reference: blank(),
            shots: None,
            shape: None,
            render_mask: None,
            reference_mask: None,
        };
        let warnings = measure(&job, view, images, registered).measurement.warnings;
        let of_it = |w: &Warning| w.code == Code::NotAtRest;
        warnings.into_iter().filter(of_it).collect()
    }

    #[test]
    fn an_adjustment_that_is_not_quite_at_rest_is_told_with_its_last_step() {
        let mut end = Convergence {
            is_reached: false,
            steps: 12,
            last_step_px: 0.05,
        };
        let told = told_of(end);
        assert_eq!(told.len(), 1, "{told:?}");
        let words = "The adjustment still moved by 0.05 px in its last step (of 12): ";
        assert!(told[0].text.starts_with(words), "{}", told[0].text);
        end.is_reached = true;
        assert!(told_of(end).is_empty());
    }
}
