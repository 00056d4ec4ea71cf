//! Figures from pixels in memory: no job file, no image files, nothing drawn.
//!
//! The model's lantern is 3 % too wide and 4 px too far to the right; the reference shows the subject 1.25 times as large
//! as the render shows the model. Run it with `cargo run --example figures_from_pixels`.
#![expect(clippy::print_stdout, reason = "an example prints what it finds")]

use image::RgbImage;
use tickstrip::{
    frame::Point,
    images::{Picture, ViewImages},
    job::{Job, Landmark, ReferenceKind, View},
    measurement, registration,
    statistics::Measured,
    units::{FullSizeMm, ScaleRatio},
};

/// Left, top, right, bottom.
type Box4 = [f64; 4];

/// In the render.
const BODY: Box4 = [150.0, 220.0, 650.0, 470.0];
const LANTERN: Box4 = [331.9, 90.0, 476.1, 220.0];
/// Where the render's lantern should be.
const TRUE_LANTERN: Box4 = [330.0, 90.0, 470.0, 220.0];

/// Reference pixels of a place in the render, by the subject.
fn in_reference([x, y]: [f64; 2]) -> [f64; 2] {
    [1.25 * x + 40.0, 1.25 * y + 25.0]
}

/// Grey boxes on light ground, row by row; a pixel that an edge crosses has a grey in between.
fn picture(width: u32, height: u32, boxes: &[(Box4, f64)]) -> Picture {
    let covered = |low: f64, high: f64, at: u32| {
        (high.min(f64::from(at) + 1.0) - low.max(f64::from(at))).clamp(0.0, 1.0)
    };
    let mut pixels = Vec::with_capacity((3 * width * height) as usize);
    for y in 0..height {
        for x in 0..width {
            let mut grey = 225.0;
            for ([left, top, right, bottom], of_box) in boxes {
                let share = covered(*left, *right, x) * covered(*top, *bottom, y);
                grey += share * (of_box - grey);
            }
            pixels.extend([grey.round() as u8; 3]);
        }
    }
    Picture {
        rgb: RgbImage::from_raw(width, height, pixels).expect("three bytes a pixel"),
        alpha: None,
        notes: Vec::new(),
    }
}

fn corners([left, top, right, bottom]: Box4) -> [[f64; 2]; 4] {
    [[left, top], [right, top], [right, bottom], [left, bottom]]
}

/// What a hand puts beside the place, pixels.
fn hand(mark: usize) -> [f64; 2] {
    let step = mark as f64;
    [0.4 * (2.1 * step).sin(), 0.4 * (3.7 * step).cos()]
}

fn marked_job() -> Result<Job, Box<dyn std::error::Error>> {
    let mut view = View::builder("side", "render in memory", "reference in memory")
        .reference_kind(ReferenceKind::Plan)
        .region("body", &corners(BODY).map(|[x, y]| Point::new(x, y)), &[])
        .region(
            "lantern",
            &corners(LANTERN).map(|[x, y]| Point::new(x, y)),
            &["lantern 0", "lantern 1", "lantern 2", "lantern 3"],
        );
    let parts = [("body", BODY, BODY), ("lantern", LANTERN, TRUE_LANTERN)];
    for (part, in_render, by_subject) in parts {
        let places = corners(in_render).into_iter().zip(corners(by_subject));
        for (k, ([x, y], place)) in places.enumerate() {
            let [dx, dy] = hand(view_marks(part, k));
            let [u, v] = in_reference(place);
            let [du, dv] = hand(view_marks(part, k) + 20);
            let mark = Landmark::builder(
                format!("{part} {k}"),
                Point::new(x + dx, y + dy),
                Point::new(u + du, v + dv),
            );
            view = view.landmark(if part == "body" { mark } else { mark.check() });
        }
    }
    let view = view.known_in_reference("body 0", "body 1", FullSizeMm(2400.0));
    let scale = ScaleRatio::parse("1:24")?;
    Ok(Job::builder("Hand fire pump", scale).view(view).build()?)
}

fn view_marks(part: &str, k: usize) -> usize {
    if part == "body" { k } else { 4 + k }
}

fn shown(figure: Option<Measured>, unit: &str) -> String {
    match figure {
        Some(m) => format!(
            "{:+.2} {unit} ({:+.2} to {:+.2})",
            m.value(),
            m.low(),
            m.high()
        ),
        None => "not known".to_owned(),
    }
}

fn main() -> Result<(), Box<dyn std::error::Error>> {
    let job = marked_job()?;
    let view = &job.views[0];
    let as_seen = |by_subject: Box4| {
        let [[left, top], _, [right, bottom], _] = corners(by_subject).map(in_reference);
        [left, top, right, bottom]
    };
    let images = ViewImages {
        render: picture(800, 600, &[(BODY, 90.0), (LANTERN, 140.0)]),
        reference: picture(
            1080,
            800,
            &[(as_seen(BODY), 90.0), (as_seen(TRUE_LANTERN), 140.0)],
        ),
        shots: None,
        shape: None,
        render_mask: None,
        reference_mask: None,
    };
    let sizes = [&images.render, &images.reference].map(|picture| picture.rgb.dimensions());
    let laid_over = registration::lay_over(view, job.expected, sizes, None)?;
    let measured = measurement::measure(&job, view, images, laid_over.registered).measurement;
    println!("{:?}, 95 % intervals in brackets", measured.verdict);
    for region in &measured.regions {
        println!("{}: {:?}", region.name, region.verdict);
        println!("  width   {}", shown(region.width_percent, "%"));
        println!("  height  {}", shown(region.height_percent, "%"));
        let [x, y] = region.offset_model_mm;
        println!("  right   {}", shown(x, "mm"));
        println!("  down    {}", shown(y, "mm"));
    }
    for correction in &measured.corrections {
        println!("change {}: {}", correction.about, correction.text);
    }
    Ok(())
}
