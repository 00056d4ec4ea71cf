//! How long cameras, meshes and several photos together take: `cargo bench --bench speed`.
//!
//! Medians of some runs, and the most memory that the process had until then. Marks and meshes are made up.
#![allow(clippy::print_stdout, reason = "it is a program")]
use std::{fs, hint::black_box, path::Path, time::Instant};
use tickstrip::{
    drawn::{self, JobMesh},
    frame::{ModelPoint, Point},
    job::{ModelFile, ModelSource},
    meshes::{self, CREASE_DEG, Edges, Features, Limits, Projection},
    registration::space::{
        self, KnownFocal, KnownLens, KnownPoint, Photo, SpaceMark, ViewPhoto,
        together::{ExpectedOfParts, Subject, TogetherPhoto, adjust},
    },
    units::Unit,
};

const SIZE: (u32, u32) = (1632, 1224);

/// Numbers from 0 to 1 that are the same on every run.
struct Numbers(u64);

impl Numbers {
    fn next(&mut self) -> f64 {
        self.0 = self
            .0
            .wrapping_mul(6_364_136_223_846_793_005)
            .wrapping_add(1);
        (self.0 >> 11) as f64 / (1_u64 << 53) as f64
    }

    /// Nearly normal: the sum of twelve.
    fn normal(&mut self) -> f64 {
        (0..12).map(|_| self.next()).sum::<f64>() - 6.0
    }

    fn place(&mut self, middle: [f64; 3], reach: f64) -> [f64; 3] {
        middle.map(|m| m + reach * (2.0 * self.next() - 1.0))
    }
}

/// From this azimuth, 120 mm from the zero, 2600 px: matrix of model millimetres to pixels.
fn camera(azimuth_deg: f64) -> [[f64; 4]; 3] {
    let (sin, cos) = azimuth_deg.to_radians().sin_cos();
    let (focal, distance) = (2600.0, 120.0);
    let [x, y] = [f64::from(SIZE.0) / 2.0, f64::from(SIZE.1) / 2.0];
    // Right, down, away.
    let axes = [[-sin, cos, 0.0], [0.0, 0.0, -1.0], [-cos, -sin, 0.0]];
    let row = |k: usize, c: f64| {
        let of = |i: usize| focal * axes[k][i] + c * axes[2][i];
        [of(0), of(1), of(2), c * distance]
    };
    let away = axes[2];
    [row(0, x), row(1, y), [away[0], away[1], away[2], distance]]
}

fn see(rows: &[[f64; 4]; 3], place: [f64; 3]) -> [f64; 2] {
    let [x, y, w] = rows.map(|r| (0..3).map(|k| r[k] * place[k]).sum::<f64>() + r[3]);
    [x / w, y / w]
}

fn mark(
    rows: &[[f64; 4]; 3],
    name: String,
    place: [f64; 3],
    is_datum: bool,
    noise: &mut Numbers,
) -> SpaceMark {
    let [x, y] = see(rows, place);
    SpaceMark {
        name,
        place: ModelPoint(place),
        place_sigma_mm: 0.0,
        mark: Point::new(x + noise.normal(), y + noise.normal()),
        is_datum,
    }
}

fn photo() -> Photo {
    Photo {
        size: SIZE,
        mark_sigma_px: None,
        focal: KnownFocal::Unknown,
        principal_point: KnownPoint::Middle { deviation: 0.02 },
        lens: KnownLens::NONE,
        screen: None,
    }
}

/// Milliseconds of the median of `runs`.
fn median(runs: usize, mut run: impl FnMut()) -> f64 {
    let mut times: Vec<f64> = (0..runs)
        .map(|_| {
            let begun = Instant::now();
            run();
            begun.elapsed().as_secs_f64() * 1000.0
        })
        .collect();
    times.sort_by(f64::total_cmp);
    times[times.len() / 2]
}

/// The most resident memory so far, megabytes; nothing where the system does not say.
fn peak() -> String {
    let status = fs::read_to_string("/proc/self/status").unwrap_or_default();
    let line = status.lines().find(|line| line.starts_with("VmHWM:"));
    let kilobytes = line.and_then(|line| line.split_whitespace().nth(1)?.parse::<f64>().ok());
    kilobytes.map_or_else(
        || "not known".to_owned(),
        |kb| format!("{:.0} MB", kb / 1000.0),
    )
}

fn told(what: &str, milliseconds: f64) {
    println!("{what:<58} {milliseconds:9.1} ms   peak {}", peak());
}

fn one_camera() {
    let (rows, mut numbers) = (camera(-60.0), Numbers(1));
    let places: Vec<[f64; 3]> = (0..12).map(|_| numbers.place([0.0; 3], 15.0)).collect();
    let each = places.into_iter().enumerate();
    let marks: Vec<SpaceMark> = each
        .map(|(k, place)| mark(&rows, format!("mark {k}"), place, true, &mut numbers))
        .collect();
    let photo = photo();
    let time = median(21, || {
        black_box(space::resect(&photo, &marks)).expect("a camera");
    });
    told("camera of one photo, 12 marks", time);
}

fn several() {
    let mut numbers = Numbers(2);
    let datum: Vec<[f64; 3]> = (0..12).map(|_| numbers.place([0.0; 3], 15.0)).collect();
    let parts: Vec<Vec<[f64; 3]>> = (0..20)
        .map(|_| {
            let middle = numbers.place([0.0; 3], 12.0);
            (0..5).map(|_| numbers.place(middle, 3.0)).collect()
        })
        .collect();
    let photos: Vec<TogetherPhoto> = (0..5)
        .map(|k| {
            let rows = camera(-60.0 + 8.0 * f64::from(k));
            let (mut marks, mut part_of) = (Vec::new(), Vec::new());
            for (k, place) in datum.iter().enumerate() {
                marks.push(mark(
                    &rows,
                    format!("datum {k}"),
                    *place,
                    true,
                    &mut numbers,
                ));
                part_of.push(None);
            }
            for (part, places) in parts.iter().enumerate() {
                for (k, place) in places.iter().enumerate() {
                    marks.push(mark(
                        &rows,
                        format!("{part} {k}"),
                        *place,
                        false,
                        &mut numbers,
                    ));
                    part_of.push(Some(part));
                }
            }
            TogetherPhoto {
                view: ViewPhoto {
                    photo: photo(),
                    marks,
                },
                part_of,
                same_as: None,
            }
        })
        .collect();
    let expected = ExpectedOfParts {
        size_percent: 4.0,
        rotation_deg: 1.5,
        offset_percent: 0.8,
    };
    let subject = Subject::of(parts.len(), expected);
    let time = median(3, || {
        black_box(adjust(&photos, &subject));
    });
    told("5 photos with 20 parts of 5 marks together", time);
}

/// Balls of facets as binary STL.
fn write_balls(path: &Path, balls: usize, rings: usize) {
    let mut bytes = vec![0_u8; 84];
    let sides = 2 * rings;
    let mut facets = 0_u32;
    for ball in 0..balls {
        let middle = [ball as f64 * 9.0 - balls as f64 * 4.5, 0.0, 0.0];
        let corner = |ring: usize, side: usize| -> [f32; 3] {
            let (a, b) = (
                std::f64::consts::PI * ring as f64 / rings as f64,
                std::f64::consts::TAU * (side % sides) as f64 / sides as f64,
            );
            let at = [a.sin() * b.cos(), a.sin() * b.sin(), a.cos()];
            std::array::from_fn(|k| (middle[k] + 4.0 * at[k]) as f32)
        };
        for ring in 0..rings {
            for side in 0..sides {
                let quad =
                    [(0, 0), (1, 0), (1, 1), (0, 1)].map(|(r, s)| corner(ring + r, side + s));
                for [a, b, c] in [[0, 1, 2], [0, 2, 3]] {
                    if quad[a] == quad[b] || quad[b] == quad[c] || quad[a] == quad[c] {
                        continue;
                    }
                    bytes.extend([0_u8; 12]);
                    for v in [quad[a], quad[b], quad[c]].iter().flatten() {
                        bytes.extend(v.to_le_bytes());
                    }
                    bytes.extend([0_u8; 2]);
                    facets += 1;
                }
            }
        }
    }
    bytes[80..84].copy_from_slice(&facets.to_le_bytes());
    fs::write(path, bytes).expect("written");
}

fn mesh(folder: &Path, name: &str, (balls, rings): (usize, usize), runs: usize) {
    let path = folder.join(name);
    write_balls(&path, balls, rings);
    let read = || meshes::read(&path, Some(Unit::Millimetre), Limits::default()).expect("a mesh");
    let model = read().model;
    let facets = model.facets().len();
    let time = median(runs, || {
        let model = read().model;
        black_box(Edges::of(&model, CREASE_DEG));
    });
    told(&format!("{facets} facets read, welded, edges found"), time);
    let edges = Edges::of(&model, CREASE_DEG);
    let projection = Projection::new(camera(-60.0), &model).expect("a camera");
    let time = median(runs, || {
        black_box(meshes::draw(&model, &edges, &projection, [SIZE.0, SIZE.1])).expect("drawn");
    });
    told(&format!("{facets} facets drawn at 2 megapixels"), time);
    let begun = Instant::now();
    let features = Features::of(&model, &edges, CREASE_DEG);
    let once = begun.elapsed().as_secs_f64() * 1000.0;
    told(&format!("{facets} facets, corners found once"), once);
    let click = ([816.0, 612.0], 0.5, true);
    let time = median(runs.max(11), || {
        black_box(drawn::pick(&model, &features, &projection, click)).expect("the model");
    });
    told(&format!("{facets} facets, the place under a click"), time);
    let source = ModelSource {
        files: vec![ModelFile { path, part: None }],
        unit: Some(Unit::Millimetre),
        crease_deg: None,
        datum: Vec::new(),
        mirrored: Vec::new(),
    };
    let mesh = JobMesh::read(&source).expect("a mesh");
    let (mut numbers, rows) = (Numbers(3), camera(-60.0));
    let marks: Vec<SpaceMark> = (0..12)
        .map(|k| {
            let place = numbers.place([0.0; 3], 15.0);
            mark(&rows, format!("mark {k}"), place, true, &mut numbers)
        })
        .collect();
    let found = space::resect(&photo(), &marks).expect("a camera");
    let time = median(runs.max(11), || {
        black_box(drawn::lines_over(&found, &mesh)).expect("lines");
    });
    told(&format!("{facets} facets, lines over 2 megapixels"), time);
}

fn main() {
    one_camera();
    several();
    let folder = tempfile::tempdir().expect("a folder");
    mesh(folder.path(), "small.stl", (5, 28), 11);
    mesh(folder.path(), "large.stl", (5, 225), 3);
}
