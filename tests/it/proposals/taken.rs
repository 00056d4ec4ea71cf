//! The demo's side view marked by proposals alone, beginning with three datum marks.
use super::truth::{DEMO, Truth};
use std::{io::Write, path::Path};
use tickstrip::{
    contour,
    frame::Point,
    images::{self, Limits},
    job::{self, Job, Landmark, LandmarkUse, View},
    proposal::{self, Asked, Finds, Looked, Proposal, Seen},
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
fn deviations(expected: &proposal::ExpectedPlace, truth: [f64; 2]) -> (f64, f64) {
    let d = [0, 1].map(|k| expected.prediction.place[k] - truth[k]);
    let (s, c) = expected.prediction.turned_deg.to_radians().sin_cos();
    let own = [c * d[0] + s * d[1], -s * d[0] + c * d[1]];
    let half = expected.prediction.half_axes.map(|h| h / 5.991_f64.sqrt());
    let off = (own[0] / half[0]).hypot(own[1] / half[1]);
    (off, d[0].hypot(d[1]))
}

#[test]
fn the_demo_is_marked_by_proposals() {
    let truth = Truth::read();
    let (job, mut view, pictures) = beginning();
    let whole = laid_over(&job, &job.views[0], &pictures);
    let started = std::time::Instant::now();
    let seen = Seen::of(&pictures.render);
    let mut said = std::io::stdout();
    writeln!(said, "seen in {:?}", started.elapsed()).expect("said");
    let mut finds = Finds::default();
    for count in 0..50 {
        let laid_over = laid_over(&job, &view, &pictures);
        let started = std::time::Instant::now();
        let all = proposals(&view, &laid_over, &pictures, (&seen, &mut finds));
        let took = started.elapsed();
        let Some(next) = all.first() else { break };
        let part = next.part.map(|j| view.regions[j].name.clone());
        let place = truth.in_reference(part.as_deref(), next.render);
        let expected = next.reference.expect("a registration");
        let (off, px) = deviations(&expected, place);
        let refined = all
            .iter()
            .filter(|p| p.reference.is_some_and(|r| r.is_refined));
        writeln!(
            said,
            "{count:2} {:>3} of {:>2} refined {took:?} {:?} {:30} at {:.0?} gain {:.3} refined {} off {px:.2} px = {off:.1} s half {:.1?}",
            refined.count(), all.len(), next.usage, next.name, next.render, next.gain, expected.is_refined,
            expected.prediction.half_axes
        )
        .expect("said");
        let mark = match expected.is_refined {
            true => expected.prediction.place,
            false => place,
        };
        let next = next.clone();
        take(&mut view, &next, mark);
    }
    let now = laid_over(&job, &view, &pictures);
    for (j, region) in view.regions.iter().enumerate() {
        writeln!(
            said,
            "{}: {} marks {:.2?}, the demo's own {} {:.2?}",
            region.name,
            region.landmarks.len(),
            half_widths(&now, j),
            job.views[0].regions[j].landmarks.len(),
            half_widths(&whole, j)
        )
        .expect("said");
    }
}
