//! Edges as evidence: parts without landmarks are measured, parts that the reference does not show are not.
use crate::support::{
    chance::least_that_hold,
    drawn::{BODY, Part, SIZE, draw, images_of, job_of, region},
    truth::Errors,
    views,
};
use image::{Rgb, RgbImage};
use nalgebra::Matrix3;
use tickstrip::{
    frame::{FromReference, Lens, Point, Projective, RenderPx},
    job::{KnownPlane, Rectangle, Rectify, RegistrationKind, View},
    measurement::{MeasuredView, Method, Verdict, Warning, measure},
    registration::lay_over,
};

/// The part to be judged, as the subject has it, with a patch inside.
const SUBJECT: [Part; 2] = [
    Part([220.0, 90.0, 420.0, 230.0], 170.0),
    Part([260.0, 130.0, 330.0, 190.0], 70.0),
];

/// The part as the model has it: wider, lower and moved, about the centre of its box.
fn altered(part: Part, width: f64, height: f64, offset: [f64; 2]) -> Part {
    let Part(outline, grey) = part;
    let errors = Errors::new([width, height], offset);
    Part(errors.shown_box([320.0, 160.0], outline), grey)
}

fn compare(render: RgbImage, reference: RgbImage) -> MeasuredView {
    compare_shown(render, reference, [195.0, 65.0, 445.0, 255.0], None, 0.5)
}

/// `outline` is that of the part; the reference shows the subject by the map, or pixel by pixel.
fn compare_shown(
    render: RgbImage,
    reference: RgbImage,
    outline: [f64; 4],
    shown: Option<&FromReference<RenderPx>>,
    mark_sigma: f64,
) -> MeasuredView {
    let marks: Vec<[f64; 2]> = BODY
        .iter()
        .flat_map(|Part([l, t, r, b], _)| [[*l, *t], [*r, *t], [*r, *b], [*l, *b]])
        .collect();
    let mut view: View = views::view(
        RegistrationKind::Similarity,
        &marks,
        &marks,
        [Some(mark_sigma); 2],
    );
    if let Some(shown) = shown {
        for landmark in &mut view.landmarks {
            landmark.reference = shown.inverse().apply(landmark.render);
        }
        view.reference.rectify = Some(rectify(shown));
    }
    let mut body = region("body", [50.0, 290.0, 550.0, 440.0]);
    body.landmarks = (0..marks.len()).collect();
    view.regions = vec![body, region("part", outline)];
    let job = job_of(&view, views::EXPECTED);
    let images = images_of(render, reference);
    let sizes = [SIZE, images.reference.rgb.dimensions()];
    let laid_over = lay_over(&view, views::EXPECTED, sizes, None).expect("sixteen datum marks");
    measure(&job, &view, images, laid_over.registered)
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
    let mut given = 0;
    for (width, height, offset) in [
        (0.0, 0.0, [0.0, 0.0]),
        (0.03, -0.02, [4.0, -3.0]),
        (-0.05, 0.0, [0.0, 6.0]),
    ] {
        let measured = pictures(width, height, offset);
        let part = &measured.measurement.regions[1];
        assert_eq!(part.method, Method::Edges, "{}", part.sureness);
        let mut figure =
            |name: &str, m: Option<tickstrip::statistics::Measured>, truth: f64, half: f64| {
                let Some(m) = m else { return };
                given += 1;
                assert!(m.holds(truth), "{name}: {truth} in {m:?}");
                assert!(m.half_width() < half, "{name}: {m:?}");
            };
        // Eighty points of one-pixel noise, correlated: what was expected beforehand is 7.8 % and 12 px to either side.
        figure("width", part.width_percent, 100.0 * width, 3.0);
        figure("height", part.height_percent, 100.0 * height, 5.0);
        // With 0.75 px by which the one datum part may be off itself.
        figure("x", part.offset_px[0], offset[0], 3.5);
        figure("y", part.offset_px[1], offset[1], 5.0);
    }
    // A figure is given where its deviation is below half of what was expected: the heights are near that limit.
    assert!(given >= 10, "{given} of 12 figures");
}

/// A photograph of a screen from near and off-angle: keystone and barrel distortion.
const PHOTO: (u32, u32) = (900, 700);

fn screen_photo() -> FromReference<RenderPx> {
    let keystone = Matrix3::new(0.72, 0.03, -40.0, 0.02, 0.74, -25.0, 8e-5, -6e-5, 1.0);
    FromReference::new(
        Lens::of_picture(-0.15, PHOTO).expect("within the limits"),
        Projective::from_matrix(keystone).expect("invertible"),
    )
}

/// What a user marks in it: the corners of the screen, its aspect, and points along its sides, which are straight.
fn rectify(shown: &FromReference<RenderPx>) -> Rectify {
    let corners = [[20.0, 20.0], [580.0, 20.0], [580.0, 460.0], [20.0, 460.0]];
    let mark = |[x, y]: [f64; 2]| shown.inverse().apply(Point::new(x, y));
    let side = |k: usize| {
        let (a, b) = (corners[k], corners[(k + 1) % 4]);
        let at = |t: f64| mark([a[0] + t * (b[0] - a[0]), a[1] + t * (b[1] - a[1])]);
        (0..9).map(|i| at(f64::from(i) / 8.0)).collect()
    };
    Rectify {
        plane: KnownPlane::Rectangle(Rectangle {
            corners: corners.map(mark),
            aspect: Some(560.0 / 440.0),
            find_bezel: false,
        }),
        straight_lines: (0..4).map(side).collect(),
    }
}

/// The photograph of a picture, bilinear; dark around it.
fn photograph(picture: &RgbImage, shown: &FromReference<RenderPx>) -> RgbImage {
    RgbImage::from_fn(PHOTO.0, PHOTO.1, |x, y| {
        let p = shown.apply(Point::new(f64::from(x) + 0.5, f64::from(y) + 0.5));
        let (u, v) = (p.x - 0.5, p.y - 0.5);
        let is_inside =
            u >= 0.0 && v >= 0.0 && u < f64::from(SIZE.0) - 1.0 && v < f64::from(SIZE.1) - 1.0;
        if !is_inside {
            return Rgb([20; 3]);
        }
        let grey = |dx: u32, dy: u32| f64::from(picture[(u as u32 + dx, v as u32 + dy)][0]);
        let (fx, fy) = (u.fract(), v.fract());
        let above = grey(0, 0) * (1.0 - fx) + grey(1, 0) * fx;
        let below = grey(0, 1) * (1.0 - fx) + grey(1, 1) * fx;
        Rgb([(above * (1.0 - fy) + below * fy).round() as u8; 3])
    })
}

#[test]
fn a_bent_photo_of_a_screen_is_measured_as_if_it_were_flat() {
    let subject: Vec<Part> = BODY.into_iter().chain(SUBJECT).collect();
    let (width, height, offset) = (0.03, -0.02, [4.0, -3.0]);
    let model: Vec<Part> = BODY
        .into_iter()
        .chain(SUBJECT.map(|p| altered(p, width, height, offset)))
        .collect();
    let flat = draw(&subject, 200.0, 0.0);
    let shown = screen_photo();
    let photo = photograph(&flat, &shown);
    let measured = compare_shown(
        draw(&model, 230.0, 0.0),
        photo,
        [195.0, 65.0, 445.0, 255.0],
        Some(&shown),
        0.5,
    );
    // The registered reference is the flat picture again, but for two bilinear resamplings at its edges.
    let off: f64 = measured
        .work
        .reference
        .enumerate_pixels()
        .filter(|(x, y, _)| (20..580).contains(x) && (20..460).contains(y))
        .map(|(x, y, p)| f64::from(p[0].abs_diff(flat[(x, y)][0])))
        .sum::<f64>()
        / (560.0 * 440.0);
    assert!(off < 1.0, "{off} grey levels on average");
    let lens = measured
        .measurement
        .registration
        .rectified_from_reference
        .lens();
    assert!((lens.coefficient() + 0.15).abs() < 0.01, "{lens:?}");
    let part = &measured.measurement.regions[1];
    assert_eq!(part.method, Method::Edges, "{}", part.sureness);
    for (found, truth) in [
        (part.width_percent, 100.0 * width),
        (part.height_percent, 100.0 * height),
        (part.offset_px[0], offset[0]),
        (part.offset_px[1], offset[1]),
    ] {
        let found = found.expect("measured");
        assert!(found.holds(truth), "{truth} in {found:?}");
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

#[test]
fn edges_of_a_right_part_inside_the_outline_do_not_hold_a_part_that_is_off() {
    // The outline takes in the upper edge and two patches of the body, which lie where they should.
    let patches = [
        Part([240.0, 305.0, 290.0, 322.0], 200.0),
        Part([350.0, 305.0, 400.0, 322.0], 30.0),
    ];
    let offset = [9.0, -7.0];
    let of =
        |parts: [Part; 2]| -> Vec<Part> { BODY.into_iter().chain(patches).chain(parts).collect() };
    let model = of(SUBJECT.map(|p| altered(p, 0.0, 0.0, offset)));
    let measured = compare_shown(
        draw(&model, 230.0, 0.0),
        draw(&of(SUBJECT), 200.0, 12.0),
        [195.0, 65.0, 445.0, 330.0],
        None,
        0.5,
    );
    let part = &measured.measurement.regions[1];
    for (found, truth) in part.offset_px.iter().zip(offset) {
        let found = found.unwrap_or_else(|| panic!("{}", part.sureness));
        assert!(
            found.holds(truth) && found.half_width() < 4.0,
            "{truth} in {found:?}"
        );
    }
}

#[test]
fn intervals_by_edges_hold_the_truth_as_often_as_they_say() {
    // Own generator, fixed seed. Parts and noise differ from picture to picture; four figures each.
    let mut seed = 11_u64;
    let mut random = move || {
        seed = seed
            .wrapping_mul(6_364_136_223_846_793_005)
            .wrapping_add(1_442_695_040_888_963_407);
        (seed >> 40) as f64 / f64::from(1_u32 << 24) * 2.0 - 1.0
    };
    let (mut held, mut given) = (0, 0);
    for _ in 0..24 {
        let (width, height) = (0.06 * random(), 0.06 * random());
        let offset = [8.0 * random(), 8.0 * random()];
        let measured = pictures(width, height, offset);
        let part = &measured.measurement.regions[1];
        let truths = [100.0 * width, 100.0 * height, offset[0], offset[1]];
        let figures = [
            part.width_percent,
            part.height_percent,
            part.offset_px[0],
            part.offset_px[1],
        ];
        for (figure, truth) in figures.iter().zip(truths) {
            let Some(figure) = figure else { continue };
            given += 1;
            held += usize::from(figure.holds(truth));
        }
    }
    assert!(given >= 80, "{given} of 96 figures are given");
    assert!(held >= least_that_hold(given), "{held} of {given}");
}

/// The body as chrome shows it: all its edges lie beside the marks, whose clicks are good to 1.5 px.
fn beside(by: f64) -> MeasuredView {
    let moved = BODY.map(|Part(outline, grey)| Part(outline.map(|v| v + by), grey));
    let subject: Vec<Part> = moved.into_iter().chain(SUBJECT).collect();
    let model: Vec<Part> = BODY.into_iter().chain(SUBJECT).collect();
    let (render, reference) = (draw(&model, 230.0, 0.0), draw(&subject, 200.0, 12.0));
    compare_shown(render, reference, [195.0, 65.0, 445.0, 255.0], None, 1.5)
}

#[test]
fn edges_that_the_datum_marks_do_not_bear_do_not_move_the_registration() {
    for (by, is_refused) in [(0.0, false), (4.0, true)] {
        let measured = beside(by).measurement;
        let is_meant = |w: &&Warning| w.code == "datum-edges-refused";
        let refused = measured.warnings.iter().find(is_meant);
        assert_eq!(
            refused.is_some(),
            is_refused,
            "{by}: {:?}",
            measured.warnings
        );
        let map = measured.registration.render_from_reference;
        let corner = map.apply(Point::new(60.0, 300.0));
        // Exact marks: what the edges of a part beside may still pull.
        let off = (corner.x - 60.0).hypot(corner.y - 300.0);
        assert!(off < 0.5, "{by}: {off}");
        if let Some(Warning { text, .. }) = refused {
            let words = "would move the datum marks by";
            assert!(
                text.contains(words) && text.contains("rests on the marks alone"),
                "{text}"
            );
        }
    }
}
