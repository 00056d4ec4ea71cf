//! Whole drawings: small models whose pictures can be told beforehand.
use super::{format::Format, model::length, obj, *};
use nalgebra::{Matrix3, Vector3};
use std::f64::consts::PI;

/// The text of an OBJ file with boxes, each a part: the least and the greatest corner.
fn boxes(parts: &[(&str, [f64; 3], [f64; 3])]) -> String {
    let mut text = String::new();
    for (index, (name, least, greatest)) in parts.iter().enumerate() {
        text += &format!("o {name}\n");
        for i in 0..8 {
            let [x, y, z] = [0, 1, 2].map(|k| {
                if i >> k & 1 == 0 {
                    least[k]
                } else {
                    greatest[k]
                }
            });
            text += &format!("v {x} {y} {z}\n");
        }
        for face in [
            "1 3 4 2", "5 6 8 7", "1 2 6 5", "3 7 8 4", "1 5 7 3", "2 4 8 6",
        ] {
            let corners: Vec<String> = face
                .split(' ')
                .map(|c| (c.parse::<usize>().expect("a number") + 8 * index).to_string())
                .collect();
            text += &format!("f {}\n", corners.join(" "));
        }
    }
    text
}

fn model(text: &str) -> Model {
    let soup = obj::read(text.as_bytes(), "model", Limits::default()).expect("sound");
    Model::of_soup(soup, 1.0).expect("facets")
}

/// x to the right, y up, the viewer at the far end of z.
fn from_above(scale: f64, [x, y]: [f64; 2]) -> [[f64; 4]; 3] {
    [
        [scale, 0.0, 0.0, x],
        [0.0, -scale, 0.0, y],
        [0.0, 0.0, 0.0, 1.0],
    ]
}

/// A camera at `eye` that looks at `at`, z up, the principal point in the middle of `size`.
fn looking(eye: [f64; 3], at: [f64; 3], focal: f64, size: [f64; 2]) -> [[f64; 4]; 3] {
    let [eye, at] = [eye, at].map(Vector3::from);
    let away = (at - eye).normalize();
    let right = away.cross(&Vector3::z()).normalize();
    let turn = Matrix3::from_rows(&[
        right.transpose(),
        away.cross(&right).transpose(),
        away.transpose(),
    ]);
    let inner = Matrix3::new(
        focal,
        0.0,
        size[0] / 2.0,
        0.0,
        focal,
        size[1] / 2.0,
        0.0,
        0.0,
        1.0,
    );
    let (linear, shift) = (inner * turn, -inner * turn * eye);
    std::array::from_fn(|r| [linear[(r, 0)], linear[(r, 1)], linear[(r, 2)], shift[r]])
}

fn drawn(model: &Model, matrix: [[f64; 4]; 3], size: [u32; 2]) -> Drawing {
    let edges = Edges::of(model, CREASE_DEG);
    let projection = Projection::new(matrix, model).expect("a camera");
    draw(model, &edges, &projection, size).expect("not stopped")
}

fn line_length(line: &VisibleLine) -> f64 {
    line.points
        .windows(2)
        .map(|pair| pair[0].distance(pair[1]))
        .sum()
}

#[test]
fn a_box_from_above_is_its_outline_at_the_right_place() {
    let model = model(&boxes(&[("box", [0.0; 3], [10.0, 5.0, 7.0])]));
    let drawing = drawn(&model, from_above(10.0, [20.25, 90.5]), [150, 120]);
    let [line] = &drawing.lines[..] else {
        panic!("{:?}", drawing.lines);
    };
    assert_eq!(
        (line.part, line.kind, line.points.len()),
        (0, EdgeKind::Crease, 5)
    );
    for point in &line.points {
        let is_corner = |x: f64, y: f64| (point.x - x).abs() < 1e-9 && (point.y - y).abs() < 1e-9;
        assert!(
            [20.25, 120.25]
                .iter()
                .any(|x| is_corner(*x, 90.5) || is_corner(*x, 40.5)),
            "{point:?}"
        );
    }
    // The line's ink has its middle there, too; a line of a pixel between samples of half a pixel.
    let row: Vec<f64> = (15..25)
        .map(|x| 255.0 - f64::from(drawing.picture.get_pixel(x, 60).0[0]))
        .collect();
    let facet = 255.0 * 0.05;
    let ink: Vec<(f64, f64)> = (15..25)
        .zip(&row)
        .map(|(x, dark)| (f64::from(x) + 0.5, (dark - facet).max(0.0)))
        .collect();
    let middle =
        ink.iter().map(|(x, d)| x * d).sum::<f64>() / ink.iter().map(|(_, d)| d).sum::<f64>();
    assert!((middle - 20.25).abs() < 0.1, "{middle}");
    // Facets are seen from in front: 0.95 of the paper.
    assert_eq!(drawing.picture.get_pixel(60, 60).0, [242; 3]);
    assert_eq!(
        (drawing.coverage[[60, 60]], drawing.coverage[[5, 5]]),
        (255, 0)
    );
    let covered: f64 = drawing.coverage.iter().map(|c| f64::from(*c) / 255.0).sum();
    // The outline's outer half is covered, too.
    assert!((covered - (101.0 * 51.0)).abs() < 60.0, "{covered}");
}

#[test]
fn nine_of_a_box_s_twelve_edges_are_seen() {
    let text = boxes(&[("box", [-5.0, -4.0, -3.0], [5.0, 4.0, 3.0])]);
    let model = model(&text);
    let (eye, size) = ([30.0, -40.0, 35.0], [640.0, 480.0]);
    let matrix = looking(eye, [0.0; 3], 1800.0, size);
    let pixel = Projection::new(matrix, &model).expect("a camera");
    // All but the three edges at the corner that is farthest from the eye.
    let corner = |i: usize| {
        [0, 1, 2].map(|k: usize| [5.0, 4.0, 3.0][k] * if i >> k & 1 == 0 { -1.0 } else { 1.0 })
    };
    let farthest = (0..8).max_by(|a, b| {
        let far = |i: usize| length(std::array::from_fn(|k| corner(i)[k] - eye[k]));
        far(*a).total_cmp(&far(*b))
    });
    let mut expected = 0.0;
    for i in 0..8 {
        for k in [1, 2, 4] {
            if i & k == 0 && Some(i) != farthest && Some(i | k) != farthest {
                let [a, b] = [i, i | k].map(|i| pixel.pixel(corner(i)).expect("in front"));
                expected += (a[0] - b[0]).hypot(a[1] - b[1]);
            }
        }
    }
    let found: f64 = drawn(&model, matrix, [640, 480])
        .lines
        .iter()
        .map(line_length)
        .sum();
    assert!((found - expected).abs() < 1.0, "{found} {expected}");
}

#[test]
fn what_stands_behind_is_hidden_and_what_reaches_out_is_cut_off() {
    // A thin plate, and what lies less than a fiftieth of the depth behind it.
    let front = ("front", [0.0, 0.0, 11.9], [10.0, 10.0, 12.0]);
    let hidden = ("hidden", [2.0, 2.0, 11.5], [8.0, 8.0, 11.8]);
    let behind = ("behind", [5.0, 4.0, 0.0], [14.0, 6.0, 2.0]);
    let model = model(&boxes(&[front, hidden, behind]));
    let drawing = drawn(&model, from_above(20.0, [10.0, 210.0]), [320, 220]);
    assert!(
        drawing.lines.iter().all(|line| line.part != 1),
        "{:?}",
        drawing.lines
    );
    let of_behind = || drawing.lines.iter().filter(|line| line.part == 2);
    let seen: f64 = of_behind().map(line_length).sum();
    // Two sides of 4 mm and one of 2 mm reach out.
    assert!((seen - 200.0).abs() < 2.5, "{seen}");
    let leftmost = of_behind()
        .flat_map(|line| &line.points)
        .map(|p| p.x)
        .fold(f64::INFINITY, f64::min);
    assert!((leftmost - 210.0).abs() < 1.0, "{leftmost}");
}

#[test]
fn a_parallel_projection_is_what_a_far_camera_comes_to() {
    let model = model(&boxes(&[
        ("a", [-5.0, -4.0, -3.0], [5.0, 4.0, 3.0]),
        ("b", [-1.0, -6.0, -1.0], [1.0, -3.0, 1.0]),
    ]));
    let at_distance = |distance: f64| {
        let eye = [0.6 * distance, -0.64 * distance, 0.48 * distance];
        drawn(
            &model,
            looking(eye, [0.0; 3], 30.0 * distance, [500.0, 400.0]),
            [500, 400],
        )
    };
    let far = looking([0.6e7, -0.64e7, 0.48e7], [0.0; 3], 30.0e7, [500.0, 400.0]);
    let middle = far[2][3];
    let mut parallel = far.map(|row| row.map(|v| v / middle));
    parallel[2] = [0.0, 0.0, 0.0, 1.0];
    for k in 0..2 {
        // The derivative in the middle, where w is 1.
        let at = [250.0, 200.0][k];
        for (c, v) in parallel[k].iter_mut().enumerate().take(3) {
            *v -= at * far[2][c] / middle;
        }
    }
    let ours = drawn(&model, parallel, [500, 400]);
    for other in [at_distance(1e7), at_distance(1e5)] {
        assert_eq!(ours.lines.len(), other.lines.len());
        for (a, b) in ours.lines.iter().zip(&other.lines) {
            assert_eq!(
                (a.part, a.kind, a.points.len()),
                (b.part, b.kind, b.points.len())
            );
            assert!(
                a.points
                    .iter()
                    .zip(&b.points)
                    .all(|(a, b)| a.distance(*b) < 0.6)
            );
        }
    }
}

#[test]
fn a_camera_within_the_model_sees_what_is_before_it() {
    let model = model(&boxes(&[(
        "room",
        [-50.0, -50.0, -20.0],
        [50.0, 50.0, 20.0],
    )]));
    let drawing = drawn(
        &model,
        looking([0.0, 0.0, 0.0], [10.0, 10.0, 1.0], 200.0, [300.0, 200.0]),
        [300, 200],
    );
    assert!(drawing.coverage.iter().all(|covered| *covered == 255));
    assert!(!drawing.lines.is_empty());
    let points = drawing.lines.iter().flat_map(|line| &line.points);
    for point in points {
        assert!(
            (-1e-6..=300.000001).contains(&point.x) && (-1e-6..=200.000001).contains(&point.y),
            "{point:?}"
        );
    }
}

#[test]
fn cameras_that_mirror_or_see_nothing_are_refused() {
    let model = model(&boxes(&[("box", [0.0; 3], [10.0; 3])]));
    let sound = looking([30.0, -40.0, 35.0], [5.0; 3], 900.0, [640.0, 480.0]);
    let error = |matrix| {
        Projection::new(matrix, &model)
            .map(|_| ())
            .expect_err("refused")
            .code()
    };
    let mut mirrored = sound;
    mirrored[0] = std::array::from_fn(|c| 640.0 * sound[2][c] - sound[0][c]);
    assert_eq!(error(mirrored), "camera-mirrored");
    assert_eq!(
        error(looking(
            [30.0, -40.0, 35.0],
            [60.0, -80.0, 70.0],
            900.0,
            [640.0, 480.0]
        )),
        "camera-mirrored"
    );
    assert_eq!(error([sound[0], sound[0], sound[2]]), "camera-singular");
    assert_eq!(error([[0.0; 4]; 3]), "camera-singular");
    assert_eq!(error([[f64::NAN; 4]; 3]), "camera-singular");
    // A homogeneous matrix is the same with another factor.
    for factor in [-1.0, 1e-9, 1e9] {
        let same = drawn(&model, sound.map(|row| row.map(|v| v * factor)), [640, 480]);
        assert_eq!(same.picture, drawn(&model, sound, [640, 480]).picture);
    }
}

#[test]
fn parts_that_cut_through_each_other_have_a_line_in_the_picture_alone() {
    let plate = ("plate", [0.0, 0.0, 0.0], [20.0, 20.0, 2.0]);
    let post = ("post", [8.0, 8.0, -5.0], [12.0, 12.0, 9.0]);
    let model = model(&boxes(&[plate, post]));
    let matrix = looking(
        [10.0, -60.0, 60.0],
        [10.0, 10.0, 2.0],
        1200.0,
        [400.0, 300.0],
    );
    let drawing = drawn(&model, matrix, [400, 300]);
    let projection = Projection::new(matrix, &model).expect("a camera");
    // The front of the post leaves the plate at y = 8, z = 2.
    let [x, y] = projection.pixel([10.0, 8.0, 2.0]).expect("in front");
    let around = |y: f64| {
        (-2..=2)
            .map(|d| drawing.picture.get_pixel(x as u32, (y as i32 + d) as u32).0[0])
            .min()
    };
    assert!(around(y) < Some(150), "{:?}", around(y));
    let is_there = |p: &crate::frame::Point<crate::frame::RenderPx>| {
        (p.y - y).abs() < 2.0 && (p.x - x).abs() < 10.0
    };
    assert!(
        drawing
            .lines
            .iter()
            .all(|line| !line.points.iter().all(is_there))
    );
    // The plate elsewhere is plain.
    let [_, y] = projection.pixel([10.0, 4.0, 2.0]).expect("in front");
    assert!(around(y) > Some(150), "{:?}", around(y));
}

/// A cylinder of 48 sides around z.
fn cylinder() -> Model {
    let (mut text, n) = (String::new(), 48);
    for z in [0, 20] {
        for i in 0..n {
            let angle = 2.0 * PI * f64::from(i) / f64::from(n);
            text += &format!("v {} {} {z}\n", 5.0 * angle.cos(), 5.0 * angle.sin());
        }
    }
    for i in 0..n {
        let next = (i + 1) % n;
        text += &format!("f {} {} {} {}\n", i + 1, next + 1, next + n + 1, i + n + 1);
    }
    let cap = |first: i32| {
        (0..n)
            .map(|i| (first + i).to_string())
            .collect::<Vec<_>>()
            .join(" ")
    };
    model(&(text + &format!("f {}\nf {}\n", cap(1), cap(n + 1))))
}

#[test]
fn a_rounded_surface_shows_its_outline_and_no_facets() {
    let model = cylinder();
    let matrix = looking(
        [3.0, -100.0, 60.0],
        [0.0, 0.0, 10.0],
        2000.0,
        [500.0, 600.0],
    );
    let drawing = drawn(&model, matrix, [500, 600]);
    let of = |kind| drawing.lines.iter().filter(move |line| line.kind == kind);
    assert_eq!(of(EdgeKind::Smooth).count(), 2, "{:?}", drawing.lines);
    // The upper rim is whole and closed; of the lower one the front half is seen.
    assert_eq!(
        of(EdgeKind::Crease)
            .filter(|line| line.points.first() == line.points.last())
            .count(),
        1
    );
    assert_eq!(of(EdgeKind::Border).count(), 0);
}

#[test]
fn the_drawing_is_the_same_with_any_number_of_threads() {
    let model = cylinder();
    let with = |threads| {
        let pool = rayon::ThreadPoolBuilder::new()
            .num_threads(threads)
            .build()
            .expect("threads");
        let matrix = looking(
            [30.0, -100.0, 60.0],
            [0.0, 0.0, 10.0],
            2000.0,
            [500.0, 600.0],
        );
        pool.install(|| drawn(&model, matrix, [500, 600]))
    };
    let (one, three) = (with(1), with(3));
    assert_eq!(one.picture, three.picture);
    assert_eq!(one.lines, three.lines);
    assert_eq!(one.coverage, three.coverage);
}

#[test]
fn facets_without_neighbours_and_without_order_make_edges_as_they_should() {
    // A square of two facets wound against each other: the diagonal is smooth all the same.
    let square = "v 0 0 0\nv 1 0 0\nv 1 1 0\nv 0 1 0\nf 1 2 3\nf 1 4 3\n";
    assert_eq!(Edges::of(&model(square), CREASE_DEG).features(), 4);
    // A third facet on the diagonal: more than two meet there.
    assert_eq!(
        Edges::of(&model(&format!("{square}v 0 0 1\nf 1 3 5\n")), CREASE_DEG).features(),
        7
    );
    // A fold of 20 degrees is smooth at 25 and a crease at 15.
    let (y, z) = ((20.0_f64).to_radians().cos(), (20.0_f64).to_radians().sin());
    let fold = format!("v 0 0 0\nv 1 0 0\nv 0 -1 0\nv 0 {y} {z}\nf 1 3 2\nf 1 2 4\n");
    assert_eq!(
        [25.0, 15.0].map(|crease| Edges::of(&model(&fold), crease).features()),
        [4, 5]
    );
}

#[test]
fn nothing_but_points_is_no_model() {
    let soup = obj::read(
        b"v 0 0 0\nv 1 0 0\nv 2 0 0\nf 1 2 3\n",
        "m",
        Limits::default(),
    )
    .expect("read");
    let fault = Model::of_soup(soup, 1.0).expect_err("no area");
    assert!(
        fault.to_string().contains("no facet with an area"),
        "{fault}"
    );
    assert!(matches!(
        fault,
        Fault::NoFacets {
            format: Format::Obj
        }
    ));
}

/// The facet that the ray through a place of the picture meets first (Moeller and Trumbore 1997).
fn facet_on_ray(model: &Model, matrix: &[[f64; 4]; 3], [x, y]: [f64; 2]) -> Option<usize> {
    let linear = Matrix3::from_fn(|r, c| matrix[r][c]);
    let inverse = linear.try_inverse().expect("a perspective camera");
    let eye = -(inverse * Vector3::new(matrix[0][3], matrix[1][3], matrix[2][3]));
    let ray = inverse * Vector3::new(x, y, 1.0);
    let mut nearest = (f64::INFINITY, None);
    for (facet, corners) in model.facets().iter().enumerate() {
        let [a, b, c] = corners.map(|i| Vector3::from(model.vertices()[i as usize]));
        let (ab, ac) = (b - a, c - a);
        let across = ray.cross(&ac);
        let volume = ab.dot(&across);
        if volume.abs() < 1e-12 {
            continue;
        }
        let from = eye - a;
        let u = from.dot(&across) / volume;
        let v = ray.dot(&from.cross(&ab)) / volume;
        let far = ac.dot(&from.cross(&ab)) / volume;
        if u >= 0.0 && v >= 0.0 && u + v <= 1.0 && far > 0.0 && far < nearest.0 {
            nearest = (far, Some(facet));
        }
    }
    nearest.1
}

#[test]
fn every_pixel_shows_what_a_ray_through_it_meets_first() {
    let folder = std::path::Path::new(env!("CARGO_MANIFEST_DIR")).join("fixtures/demo");
    let model = model(&std::fs::read_to_string(folder.join("pump.obj")).expect("there"));
    let (size, scale) = ([240, 180], 0.2);
    let full = crate::job::read_camera(&folder.join("pump-camera.json")).expect("a camera");
    let matrix = [
        full[0].map(|v| v * scale),
        full[1].map(|v| v * scale),
        full[2],
    ];
    let drawing = drawn(&model, matrix, size);
    let normals = Edges::of(&model, CREASE_DEG).normals;
    let sight = Projection::new(matrix, &model).expect("a camera").sight();
    let (mut compared, mut wrong) = (0, 0);
    for (x, y, pixel) in drawing
        .picture
        .enumerate_pixels()
        .filter(|(x, y, _)| x % 3 == 0 && y % 3 == 0)
    {
        let samples = [[0.25, 0.25], [0.75, 0.25], [0.25, 0.75], [0.75, 0.75]];
        let met = samples
            .map(|[dx, dy]| facet_on_ray(&model, &matrix, [f64::from(x) + dx, f64::from(y) + dy]));
        let grey = |facet: Option<usize>| {
            facet.map_or(255.0, |f| {
                255.0 * (0.45 + 0.5 * super::model::dot(normals[f], sight).abs())
            })
        };
        let expected = met.map(grey).iter().sum::<f64>() / 4.0;
        // Lines lie over the edges: there, it is darker than its facets.
        let is_ink = f64::from(pixel.0[0]) < expected - 20.0;
        if !is_ink {
            compared += 1;
            wrong += usize::from((f64::from(pixel.0[0]) - expected).abs() > 1.5);
        }
    }
    assert!(compared > 4000 && wrong == 0, "{wrong} of {compared}");
}
