//! The demo's side view marked by proposals alone, beginning with three datum marks.
use super::truth::{DEMO, Truth};
use std::path::Path;
use tickstrip::{
    contour,
    frame::Point,
    images::{self, Limits},
    job::{self, Job, Landmark, LandmarkUse, View},
    proposal::{self, Asked, ExpectedPlace, Finds, Looked, Proposal, Seen},
    registration::{self, LaidOver},
};

/// Datum marks far from each other, which the demo has.
const FIRST: [&str; 3] = ["hub front", "sill rear", "cover front"];

struct Pictures {
    render: image::RgbImage,
    reference: image::RgbImage,
}

/// The demo's side view with its first three marks, and its pictures.
fn beginning() -> (Job, View, Pictures) {
    let job = job::read(&Path::new(DEMO).join("pump.json")).expect("sound");
    let whole = &job.views[0];
    let pictures = images::read_view(whole, &Limits::default()).expect("read");
    let mut view = whole.clone();
    view.landmarks.retain(|l| FIRST.contains(&l.name.as_str()));
    view.regions.iter_mut().for_each(|r| r.landmarks.clear());
    (view.known, view.measured, view.spans, view.angles) = Default::default();
    view.symmetry = None;
    let pictures = Pictures {
        render: on_ground(&pictures.render),
        reference: pictures.reference.rgb,
    };
    (job, view, pictures)
}

/// A transparent render on the page's ground.
fn on_ground(picture: &images::Picture) -> image::RgbImage {
    let mut rgb = picture.rgb.clone();
    if let Some(alpha) = &picture.alpha {
        for (pixel, alpha) in rgb.pixels_mut().zip(alpha.iter()) {
            let alpha = u32::from(*alpha);
            for sample in &mut pixel.0 {
                *sample = ((u32::from(*sample) * alpha + 208 * (255 - alpha)) / 255) as u8;
            }
        }
    }
    rgb
}

fn laid_over(job: &Job, view: &View, pictures: &Pictures) -> LaidOver {
    let sizes = [&pictures.render, &pictures.reference].map(image::RgbImage::dimensions);
    let view = contour::seen(view, &pictures.render);
    registration::lay_over(&view, job.expected, sizes, None).expect("registers")
}

fn proposals(
    view: &View,
    laid_over: &LaidOver,
    pictures: &Pictures,
    (seen, finds): (&Seen, &mut Finds),
) -> Vec<Proposal> {
    let asked = Asked {
        view,
        render_size: pictures.render.dimensions(),
        seen,
        registered: Some(&laid_over.registered),
        names: Vec::new(),
        passed_over: Vec::new(),
    };
    let mut looked = Looked {
        render: &pictures.render,
        reference: &pictures.reference,
        before: std::mem::take(finds),
    };
    let proposals = proposal::propose(&asked, Some(&mut looked));
    *finds = looked.before;
    proposals
}

fn take(view: &mut View, proposal: &Proposal, reference: [f64; 2]) {
    view.landmarks.push(Landmark {
        name: proposal.name.clone(),
        render: Point::new(proposal.render[0], proposal.render[1]),
        reference: Point::new(reference[0], reference[1]),
        usage: proposal.usage,
        model_mm: None,
        part: None,
        model_sigma_mm: None,
        on: Some(proposal.on),
        sigma_px: [None; 2],
    });
    let last = view.landmarks.len() - 1;
    if let (Some(part), LandmarkUse::Check) = (proposal.part, proposal.usage) {
        view.regions[part].landmarks.push(last);
    }
}

/// Half the width of a part's intervals: width, height (per cent), offset x, y (render px).
fn half_widths(laid_over: &LaidOver, part: usize) -> Option<[f64; 4]> {
    let fit = laid_over.registered.regions[part].as_ref()?;
    let t = tickstrip::statistics::t_quantile(0.975, fit.freedom);
    let half = |k: usize| t * fit.covariance[(k, k)].sqrt();
    Some([100.0 * half(0), 100.0 * half(1), half(3), half(4)])
}

/// How far off the truth in the deviations that are stated.
fn deviations(expected: &ExpectedPlace, truth: [f64; 2]) -> f64 {
    let d = [0, 1].map(|k| expected.prediction.place[k] - truth[k]);
    let (s, c) = expected.prediction.turned_deg.to_radians().sin_cos();
    let own = [c * d[0] + s * d[1], -s * d[0] + c * d[1]];
    let half = expected.prediction.half_axes.map(|h| h / 5.991_f64.sqrt());
    (own[0] / half[0]).hypot(own[1] / half[1])
}

/// What became of the view as proposals were taken one after another.
struct Taken {
    view: View,
    /// How far finds in the reference lie off the truth, in their stated deviations.
    off: Vec<f64>,
}

/// Takes the first proposal, `count` times: where the reference was found to show it, as it was found; else as a careful user would
/// mark it.
fn taken(count: usize) -> (Job, Taken, Pictures) {
    let truth = Truth::read();
    let (job, mut view, pictures) = beginning();
    let seen = Seen::of(&pictures.render);
    let mut finds = Finds::default();
    let mut off = Vec::new();
    for _ in 0..count {
        let laid_over = laid_over(&job, &view, &pictures);
        let all = proposals(&view, &laid_over, &pictures, (&seen, &mut finds));
        let Some(next) = all.into_iter().next() else {
            break;
        };
        let part = next.part.map(|j| view.regions[j].name.clone());
        let place = truth.in_reference(part.as_deref(), next.render);
        let expected = next.reference.expect("a registration");
        let mark = match expected.is_refined {
            true => expected.prediction.place,
            false => place,
        };
        if expected.is_refined {
            off.push(deviations(&expected, place));
        }
        take(&mut view, &next, mark);
    }
    (job, Taken { view, off }, pictures)
}

#[test]
fn the_demo_is_marked_by_proposals() {
    let (job, taken, pictures) = taken(47);
    let held = taken.off.iter().filter(|off| **off < 3.0).count();
    assert!(taken.off.len() >= 20, "{:?}", taken.off);
    assert!(10 * held >= 9 * taken.off.len(), "{:?}", taken.off);
    let own = laid_over(&job, &job.views[0], &pictures);
    let now = laid_over(&job, &taken.view, &pictures);
    // Half of the intervals are nearly as narrow as with the demo's own marks.
    let ratios = (0..taken.view.regions.len()).flat_map(|j| {
        let [now, own] = [&now, &own].map(|l| half_widths(l, j).expect("marks"));
        [0, 1, 2, 3].map(|k| now[k] / own[k])
    });
    let ratios: Vec<f64> = ratios.collect();
    let narrow = ratios.iter().filter(|ratio| **ratio < 1.75).count();
    assert!(2 * narrow >= ratios.len(), "{ratios:.2?}");
}
