//! Photographs of a screen: its pixel grid, moire, glare and letterbox bars are dealt with before edges are looked for.
use crate::support::{
    drawn::{BODY, Part, SIZE, draw, images_of, job_of, region},
    reference, views,
};
use image::{Rgb, RgbImage};
use nalgebra::Matrix3;
use std::f64::consts::TAU;
use tickstrip::{
    frame::{FromReference, Lens, Point, Projective, RenderPx},
    images::{self, Limits, ViewImages},
    job::{
        Descreen, Handling, KnownPlane, Rectangle, Rectify, ReferenceKind, RegistrationKind, Screen,
    },
    measurement::{MeasuredView, Method, Removal, Step, measure},
    registration::{lay_over, register},
};

/// The part to be judged, as the subject has it, with a patch inside.
const SUBJECT: [Part; 2] = [
    Part([220.0, 90.0, 420.0, 230.0], 150.0),
    Part([260.0, 130.0, 330.0, 190.0], 70.0),
];
/// The part as the model has it is wider, lower and moved, about the centre of its box.
const WIDTH: f64 = 0.03;
const HEIGHT: f64 = -0.02;
const OFFSET: [f64; 2] = [4.0, -3.0];

/// The photograph; the screen shows the drawn picture between bars of this height, in the picture's pixels.
const PHOTO: (u32, u32) = (960, 860);
const BAR: f64 = 40.0;
/// The grid's and the moire's period on the screen, in the picture's pixels.
const GRID: f64 = 3.9;
const BEAT: f64 = 11.0;

/// What disturbs the photograph.
#[derive(Clone, Copy, Default)]
struct Disturbed {
    grid: f64,
    beat: f64,
    glare: f64,
    /// How much darker the right side is than the left one.
    shade: f64,
}

const BADLY: Disturbed = Disturbed {
    grid: 0.3,
    beat: 0.12,
    glare: 420.0,
    shade: 0.0,
};

fn shown() -> FromReference<RenderPx> {
    let keystone = Matrix3::new(0.72, 0.03, -40.0, 0.02, 0.74, -75.0, 5e-5, -4e-5, 1.0);
    FromReference::new(
        Lens::of_picture(0.0, PHOTO).expect("none"),
        Projective::from_matrix(keystone).expect("invertible"),
    )
}

fn photograph(disturbed: Disturbed) -> RgbImage {
    let shown = shown();
    let mut seed = 7_u64;
    // How much of a pixel lies on the far side of a border: the photograph's pixels are about so large.
    let beyond = |off: f64| (off / 0.75 + 0.5).clamp(0.0, 1.0);
    RgbImage::from_fn(PHOTO.0, PHOTO.1, |column, row| {
        let at = Point::new(f64::from(column) + 0.5, f64::from(row) + 0.5);
        let p = shown.apply(at);
        let mut value = 190.0;
        for Part([left, top, right, bottom], grey) in BODY.into_iter().chain(SUBJECT) {
            let share =
                beyond(p.x - left) * beyond(right - p.x) * beyond(p.y - top) * beyond(bottom - p.y);
            value += share * (grey - value);
        }
        let is_picture = beyond(p.y) * beyond(f64::from(SIZE.1) - p.y);
        value = 12.0 + is_picture * (value - 12.0);
        let grid = |v: f64| 1.0 + disturbed.grid * (TAU * v / GRID).cos();
        let beat = 1.0 + disturbed.beat * (TAU * (0.8 * p.x + 0.6 * p.y) / BEAT).cos();
        value *= grid(p.x) * grid(p.y) * beat;
        let is_screen = beyond(p.x)
            * beyond(f64::from(SIZE.0) - p.x)
            * beyond(p.y + BAR)
            * beyond(f64::from(SIZE.1) + BAR - p.y);
        value = 45.0 + is_screen * (value - 45.0);
        value *= 1.0 - disturbed.shade * at.x / f64::from(PHOTO.0);
        // A lamp mirrored at the upper right corner of the part.
        let lamp = (at.x - 640.0).powi(2) + (at.y - 190.0).powi(2);
        value += disturbed.glare * (-lamp / (2.0 * 28.0_f64.powi(2))).exp();
        seed = seed.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1);
        value += 8.0 * ((seed >> 40) as f64 / f64::from(1_u32 << 24) - 0.5);
        Rgb([value.clamp(0.0, 255.0).round() as u8; 3])
    })
}

fn model() -> RgbImage {
    let (cx, cy) = (320.0, 160.0);
    let altered = |Part([left, top, right, bottom], grey): Part| {
        let x = |v: f64| cx + (1.0 + WIDTH) * (v - cx + OFFSET[0]);
        let y = |v: f64| cy + (1.0 + HEIGHT) * (v - cy + OFFSET[1]);
        Part([x(left), y(top), x(right), y(bottom)], grey)
    };
    let parts: Vec<Part> = BODY.into_iter().chain(SUBJECT.map(altered)).collect();
    draw(&parts, 230.0, 0.0)
}

fn compared(photo: RgbImage, screen: Screen) -> MeasuredView {
    compared_as(photo, screen, ReferenceKind::Photo)
}

fn compared_as(photo: RgbImage, screen: Screen, kind: ReferenceKind) -> MeasuredView {
    let shown = shown();
    let marks: Vec<[f64; 2]> = BODY
        .iter()
        .flat_map(|Part([l, t, r, b], _)| [[*l, *t], [*r, *t], [*r, *b], [*l, *b]])
        .collect();
    let sigmas = [Some(0.5), Some(0.5)];
    let mut view = views::view(RegistrationKind::Similarity, &marks, &marks, sigmas);
    for landmark in &mut view.landmarks {
        landmark.reference = shown.inverse().apply(landmark.render);
    }
    let (width, height) = (f64::from(SIZE.0), f64::from(SIZE.1));
    let corners = [
        [0.0, -BAR],
        [width, -BAR],
        [width, height + BAR],
        [0.0, height + BAR],
    ];
    view.reference.kind = kind;
    view.reference.screen = screen;
    view.reference.rectify = Some(Rectify {
        plane: KnownPlane::Rectangle(Rectangle {
            corners: corners.map(|[x, y]| shown.inverse().apply(Point::new(x, y))),
            aspect: Some(width / (height + 2.0 * BAR)),
            find_bezel: false,
        }),
        straight_lines: Vec::new(),
    });
    let mut body = region("body", [50.0, 290.0, 550.0, 440.0]);
    body.landmarks = (0..marks.len()).collect();
    view.regions = vec![body, region("part", [195.0, 65.0, 445.0, 255.0])];
    let laid_over = lay_over(&view, views::EXPECTED, [SIZE, PHOTO], None);
    let registered = laid_over.expect("sixteen datum marks").registered;
    let job = job_of(&view, views::EXPECTED);
    measure(&job, &view, images_of(model(), photo), registered)
}

const OFF: Screen = Screen {
    descreen: Descreen::Off,
    glare: Handling::Off,
    letterbox: Handling::Off,
};

/// Figures of the part minus the truth, per cent and pixels; all are given and hold the truth.
fn errors(measured: &MeasuredView) -> [f64; 4] {
    let part = &measured.measurement.regions[1];
    assert_eq!(part.method, Method::Edges, "{}", part.sureness);
    let figures = [
        (part.width_percent, 100.0 * WIDTH),
        (part.height_percent, 100.0 * HEIGHT),
        (part.offset_px[0], OFFSET[0]),
        (part.offset_px[1], OFFSET[1]),
    ];
    figures.map(|(figure, truth)| {
        let figure = figure.unwrap_or_else(|| panic!("{}", part.sureness));
        assert!(figure.holds(truth), "{truth} in {figure:?}");
        figure.value() - truth
    })
}

fn above_chance(measured: &MeasuredView) -> f64 {
    let overlap = measured.measurement.edge_overlap.as_ref();
    overlap.map_or(0.0, |e| e.above_chance)
}

#[test]
fn a_bad_photo_of_a_screen_is_measured_as_well_as_a_good_one() {
    let treated = compared(photograph(BADLY), Screen::default());
    let found = &treated.measurement.screen;
    // The grid's period is 3.9 of the picture's pixels; in the middle a photographed pixel is 0.72 of one.
    let middle = shown().jacobian(Point::new(480.0, 430.0));
    let grids: Vec<_> = found
        .patterns
        .iter()
        .filter(|p| matches!(p.removal, Removal::LowPass { .. }))
        .collect();
    let period = GRID / middle.row(0).norm();
    let nearest = grids
        .iter()
        .map(|p| (p.period_px - period).abs() / period)
        .fold(1.0, f64::min);
    assert!(nearest < 0.02, "{period}: {grids:?}");
    assert!(
        found.patterns.iter().any(|p| p.removal == Removal::Notch),
        "{:?}",
        found.patterns
    );
    assert!(
        found.patterns.iter().all(|p| p.taken_percent > 60.0),
        "{:?}",
        found.patterns
    );
    let glare = found.glare.expect("a lamp");
    assert_eq!(glare.patches, 1);
    let bars = found.bars.expect("bars");
    assert!(!bars.are_upright);
    // Forty of the picture's pixels; the middle of either border is where the map says.
    let inverse = shown().inverse();
    for (depth, [from, to]) in bars
        .depths_px
        .iter()
        .zip([[-BAR, 0.0], [480.0, 480.0 + BAR]])
    {
        let [a, b] = [from, to].map(|y| inverse.apply(Point::new(300.0, y)));
        assert!(
            (depth - a.distance(b)).abs() < 1.0,
            "{depth} for {}",
            a.distance(b)
        );
    }
    assert!((bars.picture_aspect - 1.25).abs() < 0.01, "{bars:?}");
    let steps: Vec<Step> = treated.explained.iter().map(|e| e.step).collect();
    assert_eq!(steps, [Step::Descreen, Step::Glare, Step::Letterbox]);

    let plain = compared(photograph(Disturbed::default()), Screen::default());
    let (bad, good) = (errors(&treated), errors(&plain));
    for (bad, good) in bad.iter().zip(good) {
        // Per cent of 200 px and pixels: a third of a pixel more than without any disturbance.
        assert!(bad.abs() < good.abs() + 0.35, "{bad} against {good}");
    }
    let untreated = compared(photograph(BADLY), OFF);
    assert!(
        above_chance(&treated) > above_chance(&untreated) + 0.1,
        "{} against {}",
        above_chance(&treated),
        above_chance(&untreated)
    );
    let widths = |m: &MeasuredView| m.measurement.regions[1].width_percent;
    if let (Some(treated), Some(untreated)) = (widths(&treated), widths(&untreated)) {
        let off = |m: tickstrip::statistics::Measured| (m.value() - 100.0 * WIDTH).abs();
        assert!(
            off(treated) <= off(untreated) + 0.05,
            "{treated:?} against {untreated:?}"
        );
    }
}

#[test]
fn nothing_is_done_to_a_photo_that_has_nothing() {
    let clean = photograph(Disturbed::default());
    let letterbox_off = Screen {
        letterbox: Handling::Off,
        ..Screen::default()
    };
    let (auto, off) = (compared(clean.clone(), letterbox_off), compared(clean, OFF));
    assert_eq!(auto.measurement.screen, Default::default());
    assert!(auto.explained.is_empty());
    // The same edges to the last pixel, and so the same figures.
    assert_eq!(auto.work.reference_edges, off.work.reference_edges);
    assert_eq!(
        auto.measurement.regions[1].width_percent,
        off.measurement.regions[1].width_percent
    );
}

/// Why uneven light is not flattened: it changes next to nothing.
#[test]
fn light_that_falls_to_a_third_is_no_worse_than_even_light() {
    let shaded = Disturbed {
        shade: 0.67,
        ..Disturbed::default()
    };
    let [even, uneven] =
        [Disturbed::default(), shaded].map(|d| compared(photograph(d), Screen::default()));
    for (a, b) in errors(&even).iter().zip(errors(&uneven)) {
        assert!(b.abs() < a.abs() + 0.2, "{b} against {a}");
    }
    let above = [&even, &uneven].map(above_chance);
    assert!(above[1] > above[0] - 0.05, "{above:?}");
}

#[test]
fn a_switch_turns_each_step_off_and_drawings_are_left_alone() {
    let photo = photograph(BADLY);
    let off = compared(photo.clone(), OFF);
    assert_eq!(off.measurement.screen, Default::default());
    let sketch = compared_as(photo, Screen::default(), ReferenceKind::Sketch);
    assert_eq!(sketch.measurement.screen, Default::default());
}

#[test]
fn the_number_of_threads_changes_nothing() {
    let photo = photograph(BADLY);
    let [one, three] = [1, 3].map(|threads| {
        let pool = rayon::ThreadPoolBuilder::new().num_threads(threads).build();
        let compare = || compared(photo.clone(), Screen::default());
        pool.expect("threads").install(compare)
    });
    assert_eq!(one.measurement.screen, three.measurement.screen);
    assert_eq!(one.work.reference_edges, three.work.reference_edges);
}

#[test]
fn the_pictures_that_are_shown_keep_their_pixels() {
    let photo = photograph(BADLY);
    let (treated, off) = (
        compared(photo.clone(), Screen::default()),
        compared(photo, OFF),
    );
    // Both registrations differ by less than a pixel: the grid is still there.
    let rough = |m: &MeasuredView| {
        let row = (100..500).map(|x| f64::from(m.work.reference.get_pixel(x, 270)[0]));
        let row: Vec<f64> = row.collect();
        row.windows(2).map(|p| (p[1] - p[0]).abs()).sum::<f64>()
    };
    assert!(rough(&treated) > 0.8 * rough(&off));
}

/// Scikit-image's sample pictures (see the folder's README): a building with rows of windows, a cup, a cameraman, a rocket,
/// a printed puzzle.
const PHOTOS: [&str; 5] = [
    "building.jpg",
    "coffee.png",
    "camera.png",
    "rocket.jpg",
    "sudoku.png",
];

#[test]
fn natural_pictures_have_no_screen_pattern_and_no_bars() {
    let Some(folder) = reference::folder("natural pictures", "photos") else {
        return;
    };
    for name in PHOTOS {
        let read = || images::read(&folder.join(name), &Limits::default()).expect("readable");
        let (render, photo) = (read(), read());
        let size = render.rgb.dimensions();
        let (w, h) = (f64::from(size.0) - 10.0, f64::from(size.1) - 10.0);
        let marks = [
            [10.0, 10.0],
            [w, 10.0],
            [w, h],
            [10.0, h],
            [w / 2.0, h / 3.0],
        ];
        let sigmas = [Some(0.5), Some(0.5)];
        let mut view = views::view(RegistrationKind::Similarity, &marks, &marks, sigmas);
        // Even where a pattern need cover only a part.
        view.reference.screen.descreen = Descreen::On;
        let registered = register(&view, views::EXPECTED, size, None).expect("five marks");
        let images = ViewImages {
            render,
            reference: photo,
            shots: None,
            shape: None,
            render_mask: None,
            reference_mask: None,
        };
        let job = job_of(&view, views::EXPECTED);
        let found = measure(&job, &view, images, registered).measurement.screen;
        assert!(
            found.patterns.is_empty() && found.bars.is_none(),
            "{name}: {found:?}"
        );
    }
}

/// The demo's side view compared by the program, and the names of the files in its folder.
fn demo_files(options: &[&str]) -> (serde_json::Value, Vec<String>, String) {
    let folder = tempfile::tempdir().expect("a folder");
    let out = folder.path().join("results");
    let demo = std::path::Path::new(env!("CARGO_MANIFEST_DIR")).join("fixtures/demo/pump.json");
    assert_cmd::Command::new(env!("CARGO_BIN_EXE_tickstrip"))
        .args(["compare", "--view", "side", "--quiet"])
        .args([demo.as_os_str(), "--out".as_ref(), out.as_os_str()])
        .args(options)
        .output()
        .expect("the program starts");
    let report = std::fs::read(out.join("report.json")).expect("a report");
    let page = std::fs::read_to_string(out.join("report.html")).expect("a page");
    let entries = std::fs::read_dir(out.join("side")).expect("the view's folder");
    let names = entries.map(|e| {
        e.expect("readable")
            .file_name()
            .to_string_lossy()
            .into_owned()
    });
    let report = serde_json::from_slice(&report).expect("JSON");
    (report, names.collect(), page)
}

#[test]
fn before_and_after_is_shown_where_it_is_asked_for_and_only_there() {
    let (report, names, page) = demo_files(&["--explain"]);
    let files = report["views"][0]["files"].as_object().expect("files");
    let explained: Vec<&str> = files
        .iter()
        .filter(|(key, _)| key.starts_with("explain_"))
        .map(|(_, path)| path.as_str().expect("a path"))
        .collect();
    assert!(
        explained.contains(&"side/explain-rectify.png"),
        "{explained:?}"
    );
    for path in &explained {
        let name = path.trim_start_matches("side/");
        assert!(names.iter().any(|n| n == name), "{name}");
    }
    assert!(page.contains("The reference before and after it was rectified"));
    let (report, names, page) = demo_files(&[]);
    let files = report["views"][0]["files"].as_object().expect("files");
    assert!(files.keys().all(|key| !key.starts_with("explain_")));
    assert!(names.iter().all(|n| !n.starts_with("explain")), "{names:?}");
    assert!(!page.contains("before and after"));
}
