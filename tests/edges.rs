//! Edges as evidence: parts without landmarks are measured, parts that the reference does not show are not.
#[path = "outside/views.rs"]
#[allow(dead_code, reason = "shared with the outside checks")]
mod views;

use image::{Rgb, RgbImage};
use tickstrip::{
    frame::Point,
    images::{Picture, ViewImages},
    job::{Job, Region, RegistrationKind, Tolerance, View},
    measurement::{MeasuredView, Method, Verdict, measure},
    registration::register,
    units::{ModelMm, ScaleRatio},
};

const SIZE: (u32, u32) = (600, 480);
const TOLERANCE: Tolerance = Tolerance {
    proportion_percent: 2.0,
    offset: ModelMm(0.2),
    angle_deg: 1.0,
    edge_overlap: 0.5,
};

/// An axis-aligned box: left, top, right, bottom, and its grey.
#[derive(Clone, Copy)]
struct Part([f64; 4], f64);

/// The trusted body, whose corners are the datum marks.
const BODY: [Part; 4] = [
    Part([60.0, 300.0, 540.0, 430.0], 90.0),
    Part([90.0, 330.0, 200.0, 400.0], 150.0),
    Part([400.0, 320.0, 510.0, 410.0], 60.0),
    Part([60.0, 60.0, 110.0, 300.0], 120.0),
];
/// The part to be judged, as the subject has it, with a patch inside.
const SUBJECT: [Part; 2] = [
    Part([220.0, 90.0, 420.0, 230.0], 170.0),
    Part([260.0, 130.0, 330.0, 190.0], 70.0),
];

/// The picture of these parts, each pixel by the area that a part covers.
fn draw(parts: &[Part], background: f64, noise: f64) -> RgbImage {
    let mut seed = 3_u64;
    RgbImage::from_fn(SIZE.0, SIZE.1, |x, y| {
        let covered = |low: f64, high: f64, at: u32| {
            (high.min(f64::from(at) + 1.0) - low.max(f64::from(at))).clamp(0.0, 1.0)
        };
        let mut value = background;
        for Part([left, top, right, bottom], grey) in parts {
            let share = covered(*left, *right, x) * covered(*top, *bottom, y);
            value += share * (grey - value);
        }
        seed = seed.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1);
        let random = (seed >> 40) as f64 / f64::from(1_u32 << 24) - 0.5;
        Rgb([(value + noise * random).clamp(0.0, 255.0).round() as u8; 3])
    })
}

/// The part as the model has it: wider, lower and moved, about the centre of its box.
fn altered(part: Part, width: f64, height: f64, offset: [f64; 2]) -> Part {
    let (cx, cy) = (320.0, 160.0);
    let Part([left, top, right, bottom], grey) = part;
    let x = |v: f64| cx + (1.0 + width) * (v - cx + offset[0]);
    let y = |v: f64| cy + (1.0 + height) * (v - cy + offset[1]);
    Part([x(left), y(top), x(right), y(bottom)], grey)
}

fn region(name: &str, [left, top, right, bottom]: [f64; 4]) -> Region {
    let corner = |x: f64, y: f64| Point::new(x, y);
    Region {
        name: name.to_owned(),
        outline: vec![
            corner(left, top),
            corner(right, top),
            corner(right, bottom),
            corner(left, bottom),
        ],
        landmarks: Vec::new(),
        anchor: corner((left + right) / 2.0, (top + bottom) / 2.0),
        tolerance: TOLERANCE,
        note: None,
    }
}

fn compare(render: RgbImage, reference: RgbImage) -> MeasuredView {
    let marks: Vec<[f64; 2]> = BODY
        .iter()
        .flat_map(|Part([l, t, r, b], _)| [[*l, *t], [*r, *t], [*r, *b], [*l, *b]])
        .collect();
    let mut view: View = views::view(
        RegistrationKind::Similarity,
        &marks,
        &marks,
        [Some(0.5), Some(0.5)],
    );
    let mut body = region("body", [50.0, 290.0, 550.0, 440.0]);
    body.landmarks = (0..marks.len()).collect();
    view.regions = vec![body, region("part", [195.0, 65.0, 445.0, 255.0])];
    let job = Job {
        title: String::new(),
        file: "edges.json".into(),
        blake3: String::new(),
        scale: ScaleRatio::one_to(32.0).expect("above 0"),
        smallest_visible: ModelMm(0.05),
        print: None,
        tolerance: TOLERANCE,
        expected: views::EXPECTED,
        views: vec![view.clone()],
    };
    let picture = |rgb| Picture {
        rgb,
        alpha: None,
        notes: Vec::new(),
    };
    let images = ViewImages {
        render: picture(render),
        reference: picture(reference),
        render_mask: None,
        reference_mask: None,
    };
    let registered = register(&view, views::EXPECTED, SIZE).expect("sixteen datum marks");
    measure(&job, &view, images, registered)
}

fn pictures(width: f64, height: f64, offset: [f64; 2]) -> MeasuredView {
    let model: Vec<Part> = BODY
        .into_iter()
        .chain(SUBJECT.map(|p| altered(p, width, height, offset)))
        .collect();
    let subject: Vec<Part> = BODY.into_iter().chain(SUBJECT).collect();
    // Other light, other background, noise: the reference is a photograph.
    compare(draw(&model, 230.0, 0.0), draw(&subject, 200.0, 12.0))
}

#[test]
fn a_part_without_landmarks_is_measured_by_its_edges() {
    for (width, height, offset) in [
        (0.0, 0.0, [0.0, 0.0]),
        (0.03, -0.02, [4.0, -3.0]),
        (-0.05, 0.0, [0.0, 6.0]),
    ] {
        let measured = pictures(width, height, offset);
        let part = &measured.measurement.regions[1];
        assert_eq!(part.method, Method::Edges, "{}", part.sureness);
        let figure =
            |name: &str, m: Option<tickstrip::statistics::Measured>, truth: f64, half: f64| {
                let m = m.unwrap_or_else(|| panic!("no {name}: {}", part.sureness));
                assert!(m.holds(truth), "{name}: {truth} in {m:?}");
                assert!(m.half_width() < half, "{name}: {m:?}");
            };
        // Eighty points of one-pixel noise, correlated: what was expected beforehand is 7.8 % and 12 px to either side.
        figure("width", part.width_percent, 100.0 * width, 2.5);
        figure("height", part.height_percent, 100.0 * height, 3.5);
        figure("x", part.offset_px[0], offset[0], 2.0);
        figure("y", part.offset_px[1], offset[1], 2.0);
    }
}

#[test]
fn a_part_that_the_reference_does_not_show_gets_no_figure() {
    let model: Vec<Part> = BODY.into_iter().chain(SUBJECT).collect();
    let measured = compare(draw(&model, 230.0, 0.0), draw(&BODY, 200.0, 12.0));
    let part = &measured.measurement.regions[1];
    assert_eq!(part.method, Method::None);
    assert_eq!(part.verdict, Verdict::Undecided);
    assert!(part.width_percent.is_none() && part.offset_px.iter().all(Option::is_none));
    assert!(
        part.sureness.starts_with("cannot tell"),
        "{}",
        part.sureness
    );
}

#[test]
fn edges_do_not_pull_a_right_registration_away() {
    let measured = pictures(0.0, 0.0, [0.0, 0.0]);
    let registration = &measured.measurement.registration;
    assert!(registration.scale.holds(1.0) && registration.rotation_deg.holds(0.0));
    let off = |x: f64, y: f64| {
        let p = registration.render_from_reference.apply(Point::new(x, y));
        (p.x - x).hypot(p.y - y)
    };
    assert!(off(60.0, 60.0) < 0.3 && off(540.0, 430.0) < 0.3);
}
