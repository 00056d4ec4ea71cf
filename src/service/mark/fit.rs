//! What the marks say as they stand: the registration of every view by the same code as a comparison, in words and
//! figures for the page.
use super::{
    alone, camera,
    kept_fits::{self, JobState, State},
    laid::PageMap,
    mark_fit::{DraftPrediction, MarkFit},
    marked_on,
    needs::{self, Need},
    on_model::{self, CameraFit},
    pictures::Pyramid,
    places,
    seen::Seen,
};
use crate::{
    contour,
    frame::{FromReference, Point, RenderPx},
    job::{self, Expected, Job, MarkedOn, RenderImage, Side, View},
    pipeline::MarkedCopies,
    rectification::Rectification,
    registration::{self, Finding, LaidOver, LandmarkFit, Prediction, Registered, SingleMark},
    report::DimensionsInWords,
};
use rayon::prelude::*;
use serde::{Serialize, Serializer};
use serde_json::Value;
use std::{borrow::Cow, path::Path, sync::Arc};

/// Says what was seen of the images of a view.
type SeenOf<'a> = dyn Fn(&Job, &View) -> Seen + 'a;

/// The fits of views as they were computed last.
pub(super) type KeptFits = kept_fits::KeptFits<ViewFit>;

/// All that is computed of a job.
#[derive(Debug, Default, Serialize)]
pub(super) struct JobFit {
    /// What makes the job unusable; empty where it can be compared.
    pub faults: Vec<String>,
    /// What may not be meant.
    pub doubts: Vec<String>,
    /// One a view, in the job's order; empty where the job is faulty.
    #[serde(serialize_with = "each")]
    pub views: Vec<Arc<ViewFit>>,
}

/// One view.
#[derive(Debug, Default, Serialize)]
pub(super) struct ViewFit {
    name: String,
    kind: &'static str,
    /// Why there is no registration.
    error: Option<String>,
    rms_px: Option<f64>,
    sigma0: Option<f64>,
    degrees_of_freedom: usize,
    hides: Vec<String>,
    landmarks: Vec<MarkFit>,
    /// Takes the reference to the render; `None` where there is no registration.
    map: Option<PageMap>,
    /// Where the partners of single marks are to be expected.
    predictions: Vec<DraftPrediction>,
    needs: Vec<Need>,
    /// Images that are not those that were marked.
    changed: Vec<ChangedImage>,
    /// What the reference tells by itself, where there is no render.
    measured: Option<DimensionsInWords>,
    /// The camera of a photo that is marked on the model and in no render.
    camera: Option<CameraFit>,
    /// Whether the camera of the rendered image is known, so that a click in it tells the place on the model.
    tells_places: bool,
}

/// An image that is not the one that was marked.
#[derive(Debug, Serialize)]
struct ChangedImage {
    side: &'static str,
    /// Its content now, for the job, where its marks fit.
    marked_on: Value,
    /// Whether a copy of what was marked is there, from which its marks may be carried over.
    can_carry: bool,
}

fn each<S: Serializer>(views: &[Arc<ViewFit>], to: S) -> Result<S::Ok, S::Error> {
    to.collect_seq(views.iter().map(Arc::as_ref))
}

/// Registers every view of a job as it is in its file, but for those that are as they were when they were `kept`. `seen_of` says what
/// was seen of its images.
pub(super) fn job_fit(
    document: &Value,
    file: &Path,
    draft: &Value,
    (seen_of, kept): (&SeenOf<'_>, &KeptFits),
) -> JobFit {
    let job = match job::parse(job::document_text(document).as_bytes(), file) {
        Ok(job) => job,
        Err(error) => {
            let faults = error.faults().iter();
            let faults = faults.map(|fault| places::fault(fault, document));
            return JobFit {
                faults: faults.collect(),
                ..JobFit::default()
            };
        }
    };
    let missing = job::missing_images(&job);
    let missing = missing.iter().map(|fault| places::fault(fault, document));
    let seen: Vec<Seen> = (job.views.iter()).map(|view| seen_of(&job, view)).collect();
    let state_of = JobState::of(document);
    let of_view = |(index, (view, seen)): (usize, (&View, &Seen))| {
        let draft = &draft[&view.name];
        let state = state_of.view(index, draft, seen);
        let known = kept.find(&state);
        let fit = known.unwrap_or_else(|| Arc::new(view_fit(&job, view, draft, seen)));
        (state, fit)
    };
    let fits: Vec<(State, Arc<ViewFit>)> = (job.views.par_iter().zip(&seen).enumerate())
        .map(of_view)
        .collect();
    let views = fits.iter().map(|(_, fit)| Arc::clone(fit)).collect();
    // Of images that were written over it hangs on which copies are there.
    kept.keep(fits.into_iter().filter(|(_, fit)| fit.changed.is_empty()));
    JobFit {
        faults: missing.collect(),
        doubts: job::doubts(&job).iter().map(|d| d.text.clone()).collect(),
        views,
    }
}

/// The view as a comparison takes it: with what its marks lie on, once its render was read.
pub(super) fn as_compared<'a>(view: &'a View, render: Option<&Pyramid>) -> Cow<'a, View> {
    match render {
        Some(render) => contour::seen(view, render.picture()),
        None => Cow::Borrowed(view),
    }
}

fn view_fit(job: &Job, view: &View, draft: &Value, seen: &Seen) -> ViewFit {
    let [render, reference] = seen.sizes;
    let view = &as_compared(view, seen.render.as_deref());
    let reference = reference.unwrap_or_else(|| marked_size(view, |l| l.reference.xy()));
    match view.render.image {
        RenderImage::Absent => return alone_fit(job, view, (reference, draft), seen),
        RenderImage::Drawn => return on_model_fit(job, view, (reference, draft), seen),
        RenderImage::File(_) => {}
    }
    // Without the picture its marks tell how large it is at least.
    let size = render.unwrap_or_else(|| marked_size(view, |l| l.render.xy()));
    // The bezel of a screen is looked for when the job is compared: here the corners count as they were marked.
    let laid_over = registration::lay_over(view, job.expected, [size, reference], None);
    let picture = seen.render.as_deref();
    let shows = |place| picture.is_none_or(|picture| picture.has_detail(place));
    let mut needs = needs::of(view, &laid_over, size, &shows);
    let (camera, need) = on_model::beside_render(job, view, reference);
    needs.extend(need);
    let mut fit = ViewFit {
        name: view.name.clone(),
        kind: view.registration.name(),
        changed: changed(job, view, seen, &mut needs),
        needs,
        camera,
        tells_places: job.model.is_some() && camera::of_render(view, size).is_some(),
        ..ViewFit::default()
    };
    if let [Some(_), Some(_)] = seen.sizes {
        let outside = job::marks_outside(view, "", size, reference).faults;
        fit.error = outside.first().map(job::Fault::text);
    }
    match laid_over {
        Ok(LaidOver {
            rectification,
            registered,
        }) => {
            let rectification = rectification.as_ref();
            fit.predictions = predictions(view, job.expected, size, rectification, draft);
            fill(&mut fit, view, registered);
        }
        Err(error) => fit.error = Some(error.to_string()),
    }
    fit
}

/// The same of a view without a render, whose reference is `size` pixels large; where the job has a mesh, with what the marks on the model
/// tell.
fn alone_fit(job: &Job, view: &View, (size, draft): ((u32, u32), &Value), seen: &Seen) -> ViewFit {
    let (measured, mut needs) = alone::measured(job, view, size);
    let (measured, error) = match measured {
        Ok(measured) => (Some(measured), None),
        Err(why) => (None, why),
    };
    let mut fit = match job.model {
        Some(_) => on_model_fit(job, view, (size, draft), seen),
        None => ViewFit {
            name: view.name.clone(),
            changed: changed(job, view, seen, &mut needs),
            error: outside(view, size, seen),
            ..ViewFit::default()
        },
    };
    fit.needs.append(&mut needs);
    fit.error = fit.error.or(error);
    fit.measured = measured;
    fit
}

/// The same of a view whose reference is marked on the model.
fn on_model_fit(
    job: &Job,
    view: &View,
    (size, draft): ((u32, u32), &Value),
    seen: &Seen,
) -> ViewFit {
    let told = on_model::of_view(job, view, (size, draft), seen.model.as_deref());
    let mut needs = told.needs;
    // Of marks that are on no model yet nothing is asked.
    let is_on_model = view.landmarks.iter().any(|l| l.model_mm.is_some());
    let error = told.error.filter(|_| is_on_model);
    ViewFit {
        name: view.name.clone(),
        error: outside(view, size, seen).or(error),
        changed: changed(job, view, seen, &mut needs),
        needs,
        rms_px: told.rms_px,
        landmarks: told.landmarks,
        predictions: told.predictions,
        camera: told.camera,
        ..ViewFit::default()
    }
}

/// Marks outside of a reference without a rendered image.
fn outside(view: &View, size: (u32, u32), seen: &Seen) -> Option<String> {
    seen.sizes[1]?;
    let outside = job::marks_outside(view, "", size, size).faults;
    outside.first().map(job::Fault::text)
}

/// The images of a view that are not those that were marked, told before all that is said of the marks.
fn changed(job: &Job, view: &View, seen: &Seen, needs: &mut Vec<Need>) -> Vec<ChangedImage> {
    let sides = Side::BOTH.into_iter().zip(&seen.contents);
    let changed: Vec<(Side, &MarkedOn)> = sides
        .filter_map(|(side, content)| {
            let content = content.as_ref()?;
            (view.marked_on(side)? != content).then_some((side, content))
        })
        .collect();
    let words = changed
        .iter()
        .map(|(side, _)| needs::changed_image(view, *side));
    needs.splice(0..0, words);
    let copies = MarkedCopies::of(&job.file);
    let images = changed.iter().map(|(side, content)| ChangedImage {
        side: side.name(),
        marked_on: marked_on::as_json(content),
        can_carry: view
            .marked_on(*side)
            .is_some_and(|marked| copies.is_named(marked)),
    });
    images.collect()
}

fn fill(fit: &mut ViewFit, view: &View, registered: Registered) {
    let registration = registered.registration;
    fit.rms_px = Some(registration.rms_px);
    fit.sigma0 = registration.sigma0;
    fit.degrees_of_freedom = registration.degrees_of_freedom;
    let map = registration.render_from_reference;
    fit.map = Some(PageMap::of(&map));
    fit.hides = registration.hides;
    fit.landmarks = (view.landmarks.iter().zip(&registration.landmarks))
        .map(|(landmark, of_mark)| mark_fit(view, landmark, of_mark, &map))
        .collect();
}

fn mark_fit(
    view: &View,
    landmark: &job::Landmark,
    fit: &LandmarkFit,
    map: &FromReference<RenderPx>,
) -> MarkFit {
    let length = fit.residual_px[0].hypot(fit.residual_px[1]);
    let (finding, text) = match &fit.finding {
        None => (None, None),
        Some(Finding::Wrong) => (
            Some("wrong"),
            Some(format!(
                "fits nothing: {length:.1} px off; it is left out. Look at both marks"
            )),
        ),
        Some(Finding::SwappedWith(other)) => (
            Some("swapped"),
            Some(format!(
                "exchanged with \"{}\" in one image",
                view.landmarks[*other].name
            )),
        ),
        Some(Finding::Contradicts(other)) => (
            Some("wrong"),
            Some(format!(
                "it or \"{}\" is wrong, and nothing tells which: both are left out",
                view.landmarks[*other].name
            )),
        ),
        Some(Finding::WrongPlace) => (
            Some("wrong"),
            Some(
                "its place on the model (model_mm) contradicts its mark in the render; it is left out"
                    .to_owned(),
            ),
        ),
        Some(Finding::OffWithPart(region)) => (
            Some("off with its part"),
            Some(format!(
                "off with the whole of \"{}\", which is altered: taken as a check",
                view.regions[*region].name
            )),
        ),
        Some(Finding::Uncontrolled) => (
            Some("uncontrolled"),
            Some("nothing checks this mark; an error in it would not be noticed".to_owned()),
        ),
    };
    MarkFit {
        name: landmark.name.clone(),
        residual_px: fit.residual_px,
        half_px: half_along(fit),
        in_render: map.apply(landmark.reference).xy(),
        in_reference: map.inverse().apply(landmark.render).xy(),
        test_statistic: fit.test_statistic,
        critical_value: fit.critical_value,
        smallest_detectable_px: fit.smallest_detectable_px,
        finding,
        text,
    }
}

/// Half of the interval of a residual along its own direction, as if both coordinates were independent.
fn half_along(fit: &LandmarkFit) -> f64 {
    let length = fit.residual_px[0].hypot(fit.residual_px[1]);
    let halves = fit.offset_px.map(|offset| offset.half_width());
    match length > 0.0 {
        true => (fit.residual_px[0] * halves[0]).hypot(fit.residual_px[1] * halves[1]) / length,
        false => halves[0].hypot(halves[1]) / 2.0_f64.sqrt(),
    }
}

/// One for each single mark of the draft whose partner can be told.
fn predictions(
    view: &View,
    expected: Expected,
    size: (u32, u32),
    rectification: Option<&Rectification>,
    draft: &Value,
) -> Vec<DraftPrediction> {
    let singles = draft["landmarks"].as_array().into_iter().flatten();
    singles
        .filter_map(|single| {
            let (mark, side) = match (point(&single["render"]), point(&single["reference"])) {
                (Some([x, y]), None) => (SingleMark::Render(Point::new(x, y)), "reference"),
                (None, Some([x, y])) => (SingleMark::Reference(Point::new(x, y)), "render"),
                _ => return None,
            };
            let Prediction {
                place,
                half_axes,
                turned_deg,
            } = registration::predict(view, expected, size, rectification, mark).ok()?;
            Some(DraftPrediction {
                name: single["name"].as_str()?.to_owned(),
                side,
                place,
                half_axes,
                turned_deg,
            })
        })
        .collect()
}

/// A place of the draft.
pub(super) fn point(value: &Value) -> Option<[f64; 2]> {
    let [x, y] = value.as_array()?.as_slice() else {
        return None;
    };
    Some([x.as_f64()?, y.as_f64()?])
}

/// The smallest picture that holds all marks.
fn marked_size(view: &View, place: fn(&job::Landmark) -> [f64; 2]) -> (u32, u32) {
    let far = |k: usize| {
        let marks = view.landmarks.iter().map(|l| place(l)[k]);
        marks.fold(1.0, f64::max).min(1e6).ceil() as u32
    };
    (far(0), far(1))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::{
        images::{Budget, Limits},
        service::mark::pictures::Pictures,
    };
    use serde_json::json;

    fn demo() -> Value {
        serde_json::from_str(include_str!("../../../fixtures/demo/pump.json")).expect("JSON")
    }

    fn fit(job: &Value, draft: Value) -> JobFit {
        let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("fixtures/demo/pump.json");
        let kept = KeptFits::default();
        let first = job_fit(job, &folder, &draft, (&|_, _| sizes(), &kept));
        let again = job_fit(job, &folder, &draft, (&|_, _| sizes(), &kept));
        let same = first.views.iter().zip(&again.views);
        assert!(same.clone().all(|(a, b)| Arc::ptr_eq(a, b)));
        again
    }

    fn sizes() -> Seen {
        Seen {
            sizes: [Some((1530, 1190)), Some((1900, 1210))],
            ..Seen::default()
        }
    }

    #[test]
    fn what_a_view_hangs_on_has_it_fitted_anew() {
        let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("fixtures/demo/pump.json");
        let mut two = demo();
        let mut second = two["views"][0].clone();
        second["name"] = json!("other");
        two["views"] = json!([two["views"][0], second]);
        let kept = KeptFits::default();
        let fits = |job: &Value, draft: Value, seen: &dyn Fn() -> Seen| {
            job_fit(job, &folder, &draft, (&|_, _| seen(), &kept)).views
        };
        let is_same = |a: &[Arc<ViewFit>], b: &[Arc<ViewFit>]| {
            let each = a.iter().zip(b).map(|(a, b)| Arc::ptr_eq(a, b));
            each.collect::<Vec<bool>>()
        };
        let first = fits(&two, json!({}), &sizes);
        // A mark of one of them.
        let mut moved = two.clone();
        moved["views"][1]["landmarks"][3]["reference"][0] = json!(1240.0);
        let then = fits(&moved, json!({}), &sizes);
        assert_eq!(is_same(&first, &then), [true, false]);
        assert_ne!(
            first[1].landmarks[3].residual_px,
            then[1].landmarks[3].residual_px
        );
        // What counts for all; a draft of one; an image that is another one, or is seen for the first time.
        let mut all = moved.clone();
        all["tolerance"]["proportion_percent"] = json!(1.25);
        let after = fits(&all, json!({}), &sizes);
        assert_eq!(is_same(&then, &after), [false, false]);
        let drafted = fits(&all, json!({ "side": { "skipped": [[1.0, 2.0]] } }), &sizes);
        assert_eq!(is_same(&after, &drafted), [false, true]);
        let larger = fits(&all, json!({}), &|| Seen {
            sizes: [Some((3060, 2380)), Some((1900, 1210))],
            ..Seen::default()
        });
        assert_eq!(is_same(&drafted, &larger), [false, false]);
    }

    #[test]
    fn residuals_are_those_of_a_comparison() {
        let fit = fit(&demo(), json!({}));
        assert!(fit.faults.is_empty(), "{:?}", fit.faults);
        let job = Path::new(env!("CARGO_MANIFEST_DIR")).join("fixtures/demo/pump.json");
        let job = job::read(&job).expect("sound");
        let sizes = [(1530, 1190), (1900, 1210)];
        let expected = registration::lay_over(&job.views[0], job.expected, sizes, None);
        let expected = expected.expect("registers").registered.registration;
        assert_eq!(fit.views[0].rms_px, Some(expected.rms_px));
        assert_eq!(
            fit.views[0].landmarks[3].residual_px,
            expected.landmarks[3].residual_px
        );
        assert!(
            fit.views[0]
                .landmarks
                .iter()
                .all(|l| l.finding != Some("wrong"))
        );
    }

    #[test]
    fn once_the_render_is_read_its_outlines_count_as_in_a_comparison() {
        let file = Path::new(env!("CARGO_MANIFEST_DIR")).join("fixtures/demo/pump.json");
        let job = job::read(&file).expect("sound");
        let view = &job.views[0];
        let path = view.image(Side::Render).expect("a picture");
        let pictures = Pictures::new(Limits::default(), Budget::new(1 << 30));
        assert!(pictures.at_hand(path).is_none());
        pictures.describe(path).expect("read");
        let fit = view_fit(
            &job,
            view,
            &json!({}),
            &Seen {
                sizes: [Some((1530, 1190)), Some((1900, 1210))],
                render: pictures.at_hand(path),
                ..Seen::default()
            },
        );
        let render = image::open(path).expect("read").to_rgb8();
        let seen = contour::seen(view, &render);
        assert_ne!(seen.landmarks.iter().filter(|l| l.on.is_some()).count(), 0);
        let sizes = [(1530, 1190), (1900, 1210)];
        let expected = registration::lay_over(&seen, job.expected, sizes, None);
        let expected = expected.expect("registers").registered.registration;
        // The page lays a transparent render on another ground.
        let rms = fit.rms_px.expect("registers");
        assert!(
            (rms - expected.rms_px).abs() < 1e-4,
            "{rms} {}",
            expected.rms_px
        );
        let without = registration::lay_over(view, job.expected, sizes, None);
        let without = without.expect("registers").registered.registration;
        assert!(
            (rms - without.rms_px).abs() > 1e-3,
            "{rms} {}",
            without.rms_px
        );
    }

    #[test]
    fn a_mark_put_wrong_is_named_and_two_exchanged_ones_too() {
        let mut wrong = demo();
        wrong["views"][0]["landmarks"][2]["reference"] = json!([700.0, 700.0]);
        let mark = &fit(&wrong, json!({})).views[0].landmarks[2];
        assert_eq!(mark.finding, Some("wrong"));
        assert!(mark.text.as_ref().expect("words").contains("fits nothing"));
        let mut swapped = demo();
        let list = &mut swapped["views"][0]["landmarks"];
        let (a, b) = (list[1]["reference"].clone(), list[8]["reference"].clone());
        (list[1]["reference"], list[8]["reference"]) = (b, a);
        let mark = &fit(&swapped, json!({})).views[0].landmarks[1];
        assert_eq!(mark.finding, Some("swapped"), "{mark:?}");
        assert!(mark.text.as_ref().expect("words").contains("cover rear"));
    }

    #[test]
    fn the_partner_of_a_single_mark_is_predicted_near_the_truth() {
        let mut job = demo();
        let list = job["views"][0]["landmarks"].as_array_mut().expect("a list");
        let cut = list.remove(4);
        let draft = json!({"side": {"landmarks": [{"name": "x", "render": cut["render"]}]}});
        let fit = fit(&job, draft);
        let prediction = &fit.views[0].predictions[0];
        assert_eq!(prediction.side, "reference");
        let truth = point(&cut["reference"]).expect("a point");
        let off = (prediction.place[0] - truth[0]).hypot(prediction.place[1] - truth[1]);
        assert!(off < 2.0 * prediction.half_axes[0] && prediction.half_axes[0] < 8.0);
    }

    #[test]
    fn a_faulty_job_has_faults_and_no_views() {
        let mut job = demo();
        job["views"][0]["landmarks"][0]["name"] = json!("");
        let fit = fit(&job, json!({}));
        assert!(
            fit.views.is_empty() && fit.faults[0].starts_with("view \"side\", landmark \"\", name")
        );
    }
}
