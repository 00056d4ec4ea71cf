//! An invented fire pump, its "measurement" and its rasters, in any size, to draw pictures from.
use crate::{
    drawing::{Paper, ViewToDraw},
    frame::{FromReference, Point, Projective},
    job::*,
    kernels::Plane,
    measurement::*,
    registration::{Finding, LandmarkFit, Registration},
    statistics::Measured,
    units::{ModelMm, ScaleRatio},
    warning::Code,
};
use image::{Rgb, RgbImage};
use std::path::PathBuf;

/// What sort of view is wanted.
#[derive(Clone, Copy)]
pub struct Wish {
    pub size: [u32; 2],
    pub regions: usize,
    pub landmarks: usize,
    pub name: fn(usize) -> String,
    pub scaled: bool,
}

impl Wish {
    pub fn new(width: u32, height: u32, regions: usize) -> Self {
        Self {
            size: [width, height],
            regions,
            landmarks: 12,
            name: plain_name,
            scaled: true,
        }
    }
}

pub fn plain_name(i: usize) -> String {
    const NAMES: [&str; 7] = [
        "lantern",
        "vessel",
        "water tank",
        "beam",
        "standard",
        "sill",
        "reel",
    ];
    let name = NAMES[i % NAMES.len()];
    if i < NAMES.len() {
        name.to_owned()
    } else {
        format!("{name} {}", i / NAMES.len() + 1)
    }
}

pub fn long_name(i: usize) -> String {
    format!(
        "{i} upper left hoop of the inner water tank wall behind the second seam, as on sketch 4"
    )
}

pub fn foreign_name(i: usize) -> String {
    const NAMES: [&str; 5] = [
        "Wasserkasten größer",
        "водяной бак",
        "δεξαμενή",
        "水槽 tank",
        "<b>&\"x\"\u{1}\u{ffff}\u{202e}",
    ];
    format!("{} {i}", NAMES[i % NAMES.len()])
}

pub struct Sample {
    pub job: Job,
    pub measurement: ViewMeasurement,
    pub work: WorkImages,
    pub pairs: Vec<DrawnPair>,
}

impl Sample {
    pub fn new(wish: Wish) -> Self {
        let job = job(wish);
        let pairs: Vec<DrawnPair> = job.views[0]
            .landmarks
            .iter()
            .enumerate()
            .map(|(i, l)| pair(wish, i, l))
            .collect();
        Self {
            measurement: measurement(wish, &job, &pairs),
            work: work(wish.size, &job.views[0]),
            pairs,
            job,
        }
    }

    pub fn input(&self, paper: Paper) -> ViewToDraw<'_> {
        ViewToDraw {
            job: &self.job,
            view: &self.job.views[0],
            measurement: &self.measurement,
            work: &self.work,
            pairs: &self.pairs,
            date: "2031-04-05",
            checksum: &self.job.blake3,
            paper,
        }
    }
}

/// Parts of the pump, as fractions of the picture: left, top, right, bottom, slant.
const PARTS: [([f64; 4], f64, [u8; 3]); 7] = [
    ([0.22, 0.30, 0.34, 0.52], -0.02, [180, 170, 60]),
    ([0.40, 0.26, 0.54, 0.54], 0.0, [150, 90, 70]),
    ([0.36, 0.54, 0.74, 0.74], 0.0, [160, 110, 80]),
    ([0.26, 0.10, 0.84, 0.17], -0.05, [120, 70, 60]),
    ([0.58, 0.17, 0.64, 0.54], 0.0, [90, 95, 100]),
    ([0.24, 0.76, 0.84, 0.83], 0.0, [60, 60, 66]),
    ([0.76, 0.48, 0.84, 0.66], 0.02, [70, 80, 100]),
];

fn inside(part: usize, x: f64, y: f64, changed: bool) -> bool {
    let ([left, top, right, bottom], slant, _) = PARTS[part];
    let (mut x, mut y) = (x, y);
    if changed {
        // The subject has a wider lantern, a lower vessel and a standard a little to the left.
        let (dx, dy) = [
            (0.006, 0.0),
            (0.0, 0.012),
            (0.0, 0.0),
            (0.008, -0.003),
            (-0.005, 0.0),
            (0.0, 0.0),
            (0.0, 0.004),
        ][part];
        x += dx;
        y += dy;
    }
    let lean = slant * (y - bottom);
    (left..right).contains(&(x + lean)) && (top..bottom).contains(&y)
}

fn part_at(x: f64, y: f64, changed: bool) -> Option<usize> {
    (0..PARTS.len())
        .rev()
        .find(|part| inside(*part, x, y, changed))
}

fn work([width, height]: [u32; 2], view: &View) -> WorkImages {
    let at = |x: u32, y: u32| {
        (
            (f64::from(x) + 0.5) / f64::from(width),
            (f64::from(y) + 0.5) / f64::from(height),
        )
    };
    let edge = f64::from(width) * 0.92;
    let picture = |changed: bool| {
        RgbImage::from_fn(width, height, |x, y| {
            if changed && f64::from(x) > edge {
                return Rgb([0, 0, 0]);
            }
            let (u, v) = at(x, y);
            match part_at(u, v, changed) {
                Some(part) => {
                    let shade = 1.0 - 0.4 * u + if changed { 0.15 } else { 0.0 };
                    Rgb(PARTS[part]
                        .2
                        .map(|c| (f64::from(c) * shade).min(255.0) as u8))
                }
                None if changed => Rgb([(90.0 + 60.0 * v) as u8, 100, 110]),
                None => Rgb([232, 232, 236]),
            }
        })
    };
    let edges = |changed: bool| {
        Plane::from_shape_fn((height as usize, width as usize), |(y, x)| {
            let part = |x: usize, y: usize| {
                let (u, v) = at(x as u32, y as u32);
                part_at(u, v, changed)
            };
            let here = part(x, y);
            let covered = !changed || (x as f64) < edge;
            if covered && (here != part(x + 1, y) || here != part(x, y + 1)) {
                255_u8
            } else {
                0
            }
        })
    };
    let (render_edges, reference_edges) = (edges(false), edges(true));
    let render_from_work = Projective::similarity(1.25, 0.0, [0.0, 0.0]);
    let (render, reference) = (picture(false), picture(true));
    // The reference lies on the working grid already.
    let render_from_reference = FromReference::from(Projective::similarity(1.25, 0.0, [0.0; 2]));
    let patches = |(landmark, of): (usize, &Landmark)| {
        let [render, reference] = patches_at(
            (&render, &render_from_work),
            (&reference, &render_from_reference),
            (of.render, render_from_reference.inverse().apply(of.render)),
            (60.0, PATCH_SIDE),
        );
        MarkPatches {
            landmark,
            render,
            reference,
        }
    };
    WorkImages {
        render_from_work,
        patches: view.landmarks.iter().enumerate().map(patches).collect(),
        render,
        reference,
        common: Plane::from_shape_fn((height as usize, width as usize), |(_, x)| {
            if (x as f64) < edge { 255 } else { 0 }
        }),
        silhouettes: None,
        likeness: None,
        distance_to_render_edges: distances(&render_edges),
        distance_to_reference_edges: distances(&reference_edges),
        render_edges,
        reference_edges,
    }
}

/// Distances by two passes over the eight neighbours: near enough for a picture to look at.
fn distances(edges: &Plane<u8>) -> Plane<f32> {
    let (rows, columns) = edges.dim();
    let mut d = edges.map(|e| if *e != 0 { 0.0 } else { f32::INFINITY });
    let relax = |d: &mut Plane<f32>, y: usize, x: usize, steps: [(isize, isize, f32); 4]| {
        for (dy, dx, step) in steps {
            if let (Some(v), Some(u)) = (y.checked_add_signed(dy), x.checked_add_signed(dx))
                && v < rows
                && u < columns
            {
                d[[y, x]] = d[[y, x]].min(d[[v, u]] + step);
            }
        }
    };
    let diagonal = std::f32::consts::SQRT_2;
    for y in 0..rows {
        for x in 0..columns {
            relax(
                &mut d,
                y,
                x,
                [
                    (-1, -1, diagonal),
                    (-1, 0, 1.0),
                    (-1, 1, diagonal),
                    (0, -1, 1.0),
                ],
            );
        }
    }
    for y in (0..rows).rev() {
        for x in (0..columns).rev() {
            relax(
                &mut d,
                y,
                x,
                [
                    (1, -1, diagonal),
                    (1, 0, 1.0),
                    (1, 1, diagonal),
                    (0, 1, 1.0),
                ],
            );
        }
    }
    d
}

/// A fraction of the picture in render pixels: the working grid is the render reduced by 1.25.
fn in_render<F: crate::frame::Frame>(wish: Wish, u: f64, v: f64) -> Point<F> {
    Point::new(
        u * f64::from(wish.size[0]) * 1.25,
        v * f64::from(wish.size[1]) * 1.25,
    )
}

fn tolerance() -> Tolerance {
    Tolerance {
        proportion_percent: 2.0,
        offset: ModelMm(0.2),
        angle_deg: 1.0,
        edge_overlap: 0.5,
    }
}

fn job(wish: Wish) -> Job {
    let landmarks = (0..wish.landmarks).map(|i| {
        let ([left, top, right, bottom], _, _) = PARTS[(i / 2) % PARTS.len()];
        let (u, v) = if i % 2 == 0 {
            (left, top)
        } else {
            (right, bottom)
        };
        Landmark {
            name: format!(
                "{} {}",
                (wish.name)(i / 2),
                if i % 2 == 0 { "top" } else { "foot" }
            ),
            render: in_render(wish, u, v),
            reference: in_render(wish, u, v),
            usage: if i % 3 == 0 {
                LandmarkUse::Check
            } else {
                LandmarkUse::Datum
            },
            model_mm: None,
            part: None,
            on: None,
            sigma_px: [None; 2],
            model_sigma_mm: None,
        }
    });
    let spans = if wish.landmarks > 3 {
        vec![
            Span {
                name: (wish.name)(0),
                from: 0,
                to: 3,
                tolerance: tolerance(),
            },
            Span {
                name: "tank length".into(),
                from: 2,
                to: 1,
                tolerance: tolerance(),
            },
        ]
    } else {
        Vec::new()
    };
    let angles = if wish.landmarks > 3 {
        vec![Angle {
            name: "beam slope".into(),
            from: 2,
            to: 3,
            against: None,
            tolerance: tolerance(),
        }]
    } else {
        Vec::new()
    };
    Job {
        title: format!(
            "Fire pump of a harbour town{}",
            if wish.regions > 20 {
                ", second order after the storm, with all hoops and the long title"
            } else {
                ""
            }
        ),
        file: PathBuf::from("/nowhere/pump.json"),
        blake3: "0123456789abcdef".repeat(4),
        scale: ScaleRatio::one_to(32.0).expect("above 0"),
        title_block: TitleBlock::default(),
        smallest_visible: ModelMm(0.05),
        print: None,
        together: None,
        tolerance: tolerance(),
        model: None,
        expected: Expected {
            size_percent: 5.0,
            rotation_deg: 2.0,
            offset_percent: 1.0,
            keystone_percent: 0.3,
        },
        views: vec![View {
            name: "side".into(),
            render: RenderSource {
                image: PathBuf::from("/nowhere/render.png").into(),
                marked_on: None,
                kind: Default::default(),
                mark_sigma_px: None,
                mask: Mask::None,
                shape: None,
                camera: None,
            },
            reference: ReferenceSource {
                rights: None,
                image: PathBuf::from("/nowhere/screen.png"),
                more_shots: Vec::new(),
                marked_on: None,
                kind: ReferenceKind::Photo,
                source: Some("screen in the exhibition hall".into()),
                time_code: None,
                variant: Some((wish.name)(3)),
                note: Some("taken off a screen, glare on the left".into()),
                rectify: None,
                screen: Default::default(),
                interior: Default::default(),
                mark_sigma_px: None,
                mask: Mask::None,
            },
            origin: None,
            same_camera: true,
            axes: None,
            measured: Vec::new(),
            marks_are_right: false,
            symmetry: None,
            registration: RegistrationKind::Similarity,
            landmarks: landmarks.collect(),
            known: Vec::new(),
            spans,
            angles,
            regions: (0..wish.regions).map(|i| region(wish, i)).collect(),
        }],
    }
}

fn region(wish: Wish, i: usize) -> Region {
    let ([left, top, right, bottom], _, _) = PARTS[i % PARTS.len()];
    // Further rounds over the parts are smaller pieces of them.
    let (part, parts) = ((i / PARTS.len()) as f64, 4.0);
    let (left, right) = if i < PARTS.len() {
        (left, right)
    } else {
        (
            left + (right - left) * part / parts,
            left + (right - left) * (part + 0.8) / parts,
        )
    };
    let corners = [(left, top), (right, top), (right, bottom), (left, bottom)];
    Region {
        name: (wish.name)(i),
        outline: corners.map(|(u, v)| in_render(wish, u, v)).to_vec(),
        landmarks: Vec::new(),
        anchor: in_render(wish, (left + right) / 2.0, (top + bottom) / 2.0),
        tolerance: tolerance(),
        note: None,
    }
}

/// Deterministic noise in -1 to 1.
fn noise(i: usize) -> f64 {
    ((i as f64 * 12.9898).sin() * 43758.5453).fract()
}

fn pair(wish: Wish, i: usize, landmark: &Landmark) -> DrawnPair {
    let scale = f64::from(wish.size[0].min(wish.size[1])) * 0.012;
    let shift = if i == 5 { 9.0 } else { 1.0 };
    DrawnPair {
        render: landmark.render,
        reference: Point::new(
            landmark.render.x + noise(i) * scale * shift,
            landmark.render.y + noise(i + 50) * scale,
        ),
    }
}

fn figure(value: f64, half: f64) -> Measured {
    Measured::plus_minus(value, half).expect("finite")
}

fn measurement(wish: Wish, job: &Job, pairs: &[DrawnPair]) -> ViewMeasurement {
    let view = &job.views[0];
    let mm_per_px = 42.0 / (f64::from(wish.size[1]) * 1.25);
    let regions: Vec<RegionMeasure> = view
        .regions
        .iter()
        .enumerate()
        .map(|(i, r)| region_measure(wish, i, r, mm_per_px))
        .collect();
    let overlap = EdgeOverlap {
        score: 0.71,
        precision: 0.7,
        recall: 0.72,
        chance: 0.22,
        above_chance: 0.63,
        tolerance_px: 3.0,
        mean_distance_px: 1.9,
        p95_distance_px: 8.0,
        render_edge_pixels: 5000,
        reference_edge_pixels: 5200,
    };
    let corrections = regions
        .iter()
        .filter_map(|r| {
            Some(Correction {
                about: r.name.clone(),
                text: r.correction.clone()?,
                times_tolerance: 2.0,
            })
        })
        .collect();
    ViewMeasurement {
        verdict: if wish.regions == 0 { Verdict::Undecided } else { Verdict::Out },
        warnings: vec![Warning {
            code: Code::Parallax,
            text: "The cameras may differ: depth shows up as offset. Give \"camera\" and \"model_mm\" to tell them apart.".into(),
        }],
        registration: registration(pairs),
        scales: Scales {
            render_px_per_model_mm: wish.scaled.then(|| figure(1.0 / mm_per_px, 0.0)),
            ..Scales::default()
        },
        sizes: None,
        silhouette: None,
        print: None,
        earlier_issue: None,
        shots: None,
        screen: Default::default(),
        symmetry: None,
        landmark_offsets_model_mm: vec![[None; 2]; view.landmarks.len()],
        leave_alone: Vec::new(),
        by_reference: Default::default(),
        edge_overlap: (wish.regions != 0).then_some(overlap),
        regions,
        spans: view
            .spans
            .iter()
            .enumerate()
            .map(|(i, span)| SpanMeasure {
                name: span.name.clone(),
                render_px: figure(310.0, 2.0),
                reference_px: figure(300.0, 2.0),
                error_percent: figure(3.1 - 2.9 * i as f64, 0.4),
                error_model_mm: wish.scaled.then(|| figure(0.31, 0.06)),
                error_full_size_mm: None,
                model_mm: None,
                full_size_mm: None,
                absolute_percent: None,
                absolute_model_mm: None,
                absolute_full_size_mm: None,
                verdict: if i == 0 { Verdict::Out } else { Verdict::Within },
                times_tolerance: 2.0,
                goes_with: Vec::new(),
                correction: None,
            })
            .collect(),
        angles: view
            .angles
            .iter()
            .map(|angle| AngleMeasure {
                name: angle.name.clone(),
                render_deg: figure(96.0, 0.3),
                reference_deg: figure(95.2, 0.3),
                error_deg: figure(0.8, 0.4),
                verdict: Verdict::Undecided,
                times_tolerance: 2.0,
                goes_with: Vec::new(),
                correction: None,
            })
            .collect(),
        corrections,
    }
}

fn region_measure(wish: Wish, i: usize, region: &Region, mm_per_px: f64) -> RegionMeasure {
    let verdict = [Verdict::Out, Verdict::Within, Verdict::Undecided][i % 3];
    let size = if verdict == Verdict::Within { 0.6 } else { 5.0 };
    let known = i % 7 != 5;
    let percent = |j: usize| known.then(|| figure(noise(i + j) * size, 0.7));
    let px = |j: usize| known.then(|| figure(noise(i + j) * f64::from(wish.size[1]) * 0.008, 1.4));
    let mm = |j: usize| px(j).filter(|_| wish.scaled).map(|m| m.times(mm_per_px));
    RegionMeasure {
        name: region.name.clone(),
        method: if known {
            Method::LandmarksAndEdges
        } else {
            Method::None
        },
        width_percent: percent(11),
        height_percent: percent(22),
        absolute_percent: [None; 2],
        absolute_model_mm: [None; 2],
        rotation_deg: (known && i.is_multiple_of(2)).then(|| figure(noise(i + 33), 0.35)),
        offset_px: [px(44), px(55)],
        offset_model_mm: [mm(44), mm(55)],
        offset_full_size_mm: [None, None],
        size_px: [100.0, 100.0],
        size_model_mm: None,
        edge_overlap: None,
        verdict,
        times_tolerance: 2.0,
        sureness: "few edges, no landmarks".into(),
        changes: Vec::new(),
        pivot: None,
        correction: (verdict == Verdict::Out).then(|| {
            format!(
                "make the {} 3.2 % narrower (0.41 mm on the model) and move it 0.30 mm to the left",
                region.name
            )
        }),
        note: None,
    }
}

fn registration(pairs: &[DrawnPair]) -> Registration {
    let fits = pairs.iter().enumerate().map(|(i, pair)| {
        let residual = [
            pair.render.x - pair.reference.x,
            pair.render.y - pair.reference.y,
        ];
        LandmarkFit {
            residual_px: residual,
            offset_px: residual.map(|v| figure(v, 1.0)),
            test_statistic: Some(0.8),
            critical_value: 3.29,
            redundancy: 0.7,
            smallest_detectable_px: Some(5.0),
            on_outline: None,
            finding: match i {
                5 => Some(Finding::Wrong),
                7 => Some(Finding::SwappedWith(8)),
                8 => Some(Finding::SwappedWith(7)),
                _ => None,
            },
        }
    });
    Registration {
        kind: RegistrationKind::Similarity,
        rectified_from_reference: FromReference::identity(),
        rectification: None,
        render_from_rectified: Projective::identity(),
        render_from_reference: FromReference::identity(),
        scale: figure(1.0, 0.01),
        rotation_deg: figure(0.1, 0.2),
        rms_px: 1.1,
        sigma0: Some(0.9),
        degrees_of_freedom: 12,
        render_mark_sigma_px: 1.0,
        reference_mark_sigma_px: 1.5,
        hides: Vec::new(),
        landmarks: fits.collect(),
    }
}
