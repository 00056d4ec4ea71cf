//! Pictures drawn from boxes, with regions and a job around them.
use image::{Rgb, RgbImage};
use tickstrip::{
    frame::Point,
    images::{Picture, ViewImages},
    job::{Job, Region, Tolerance, View},
    units::{ModelMm, ScaleRatio},
};

pub const SIZE: (u32, u32) = (600, 480);
pub const TOLERANCE: Tolerance = Tolerance {
    proportion_percent: 2.0,
    offset: ModelMm(0.2),
    angle_deg: 1.0,
    edge_overlap: 0.5,
};

/// An axis-aligned box: left, top, right, bottom, and its grey.
#[derive(Clone, Copy)]
pub struct Part(pub [f64; 4], pub f64);

/// A trusted body, whose corners are the datum marks.
pub const BODY: [Part; 4] = [
    Part([60.0, 300.0, 540.0, 430.0], 90.0),
    Part([90.0, 330.0, 200.0, 400.0], 150.0),
    Part([400.0, 320.0, 510.0, 410.0], 60.0),
    Part([60.0, 60.0, 110.0, 300.0], 120.0),
];

/// The picture of these parts, each pixel by the area that a part covers.
pub fn draw(parts: &[Part], background: f64, noise: f64) -> RgbImage {
    draw_from(3, parts, background, noise)
}

/// The same with noise of another seed.
pub fn draw_from(mut seed: u64, parts: &[Part], background: f64, noise: f64) -> RgbImage {
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

/// A region with the box as its outline, anchored in the middle.
pub fn region(name: &str, [left, top, right, bottom]: [f64; 4]) -> Region {
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

/// A job of this view alone.
pub fn job_of(view: &View, expected: tickstrip::job::Expected) -> Job {
    Job {
        title: String::new(),
        file: "drawn.json".into(),
        blake3: String::new(),
        scale: ScaleRatio::one_to(32.0).expect("above 0"),
        title_block: tickstrip::job::TitleBlock::default(),
        smallest_visible: ModelMm(0.05),
        print: None,
        together: None,
        tolerance: TOLERANCE,
        model: None,
        expected,
        views: vec![view.clone()],
    }
}

/// Both pictures as if they had been read.
pub fn images_of(render: RgbImage, reference: RgbImage) -> ViewImages {
    let picture = |rgb| Picture {
        rgb,
        alpha: None,
        notes: Vec::new(),
    };
    ViewImages {
        render: picture(render),
        reference: picture(reference),
        shots: None,
        shape: None,
        render_mask: None,
        reference_mask: None,
    }
}
