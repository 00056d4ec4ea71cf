//! Invented objects: datum parts, parts with errors, their marks and their photos.
use crate::{
    edges::{
        in_space::{MeshPart, MeshParts, PhotoEdges},
        random::Random,
    },
    frame::{ModelPoint, Point},
    job::{ModelFile, ModelSource, ReferenceKind},
    kernels::{
        Plane, blur,
        depth::{DepthBuffer, NOTHING, Triangle},
    },
    meshes::{CREASE_DEG, Edges, Limits, Model, read_source},
    registration::space::{
        KnownFocal, KnownLens, KnownPoint, Photo, SpaceMark, ViewPhoto,
        together::{Adjusted, ExpectedOfParts, NINE, Nine, Subject, TogetherPhoto},
    },
    units::Unit,
};
use image::RgbImage;
use nalgebra::{Matrix3, Matrix3x4, Rotation3, Vector3};
use rayon::prelude::*;

pub(super) const EXPECTED: ExpectedOfParts = ExpectedOfParts {
    size_percent: 4.0,
    rotation_deg: 1.5,
    offset_percent: 0.6,
};
const OFFSET_MM: f64 = 0.34;
/// Samples along each side of a pixel of a photo.
const SAMPLES: usize = 2;

/// How an object is invented and photographed.
#[derive(Clone, Copy, Debug)]
pub(super) struct Draw {
    pub(super) photos: usize,
    /// Degrees of azimuth that the photos are spread over.
    pub(super) spread: f64,
    pub(super) size: (u32, u32),
    /// Deviation of a mark, pixels.
    pub(super) sigma: f64,
    /// Marks on each part where they are seen.
    pub(super) marks: usize,
    pub(super) parts: usize,
    /// Grey levels of the photos' noise.
    pub(super) noise: f64,
    /// Errors of parts in what is expected of them.
    pub(super) times: f64,
}

pub(super) const DRAW: Draw = Draw {
    photos: 3,
    spread: 25.0,
    size: (1600, 1200),
    sigma: 1.5,
    marks: 4,
    parts: 8,
    noise: 4.0,
    times: 1.0,
};

/// A part as a prism: an outline in the plane of x and y, and how high it reaches.
#[derive(Clone)]
struct Prism {
    name: String,
    outline: Vec<[f64; 2]>,
    z: [f64; 2],
    /// The outline at the top in parts of that at the bottom.
    taper: f64,
}

impl Prism {
    fn block(name: &str, middle: [f64; 2], size: [f64; 2], z: [f64; 2]) -> Self {
        let corner =
            |x: f64, y: f64| [middle[0] + x * size[0] / 2.0, middle[1] + y * size[1] / 2.0];
        Self {
            name: name.to_owned(),
            outline: vec![
                corner(-1.0, -1.0),
                corner(1.0, -1.0),
                corner(1.0, 1.0),
                corner(-1.0, 1.0),
            ],
            z,
            taper: 1.0,
        }
    }

    fn round(name: &str, middle: [f64; 2], radius: f64, z: [f64; 2], corners: usize) -> Self {
        let corner = |k: usize| {
            let angle = std::f64::consts::TAU * k as f64 / corners as f64;
            [
                middle[0] + radius * angle.cos(),
                middle[1] + radius * angle.sin(),
            ]
        };
        Self {
            name: name.to_owned(),
            outline: (0..corners).map(corner).collect(),
            z,
            taper: 1.0,
        }
    }

    /// The corners below, then those above.
    fn corners(&self) -> Vec<[f64; 3]> {
        let n = self.outline.len() as f64;
        let middle = [0, 1].map(|k| self.outline.iter().map(|p| p[k]).sum::<f64>() / n);
        let above = |p: &[f64; 2]| {
            let [x, y] = [0, 1].map(|k| middle[k] + self.taper * (p[k] - middle[k]));
            [x, y, self.z[1]]
        };
        let below = self.outline.iter().map(|p| [p[0], p[1], self.z[0]]);
        below.chain(self.outline.iter().map(above)).collect()
    }

    fn facets(&self) -> Vec<[usize; 3]> {
        let n = self.outline.len();
        let mut facets = Vec::new();
        for k in 0..n {
            let next = (k + 1) % n;
            facets.push([k, next, n + next]);
            facets.push([k, n + next, n + k]);
        }
        for k in 1..n - 1 {
            facets.push([0, k + 1, k]);
            facets.push([n, n + k, n + k + 1]);
        }
        facets
    }
}

/// A camera by plain matrices.
#[derive(Clone, Copy)]
pub(super) struct Shot {
    matrix: Matrix3x4<f64>,
    pub(super) focal: f64,
}

impl Shot {
    fn new(
        [azimuth, elevation]: [f64; 2],
        (distance, focal): (f64, f64),
        (target, principal): (Vector3<f64>, [f64; 2]),
    ) -> Self {
        let (a, e) = (azimuth.to_radians(), elevation.to_radians());
        let towards = Vector3::new(a.cos() * e.cos(), a.sin() * e.cos(), e.sin());
        let right = Vector3::new(-a.sin(), a.cos(), 0.0);
        let down = (-towards).cross(&right);
        let turn = Matrix3::from_rows(&[right.transpose(), down.transpose(), -towards.transpose()]);
        let centre = target + towards * distance;
        let inner = Matrix3::new(
            focal,
            0.0,
            principal[0],
            0.0,
            focal,
            principal[1],
            0.0,
            0.0,
            1.0,
        );
        let mut outer = Matrix3x4::zeros();
        outer.fixed_view_mut::<3, 3>(0, 0).copy_from(&turn);
        outer.set_column(3, &(-turn * centre));
        Self {
            matrix: inner * outer,
            focal,
        }
    }

    /// Pixel, and 1 over the distance.
    fn see(&self, place: [f64; 3]) -> [f64; 3] {
        let seen = self.matrix * Vector3::from(place).push(1.0);
        [seen.x / seen.z, seen.y / seen.z, -1.0 / seen.z]
    }
}

/// An object with its photos.
pub(super) struct Scene {
    model: Model,
    edges: Edges,
    mesh_parts: Vec<MeshPart>,
    pub(super) photos: Vec<TogetherPhoto>,
    pub(super) pictures: Vec<RgbImage>,
    pub(super) shots: Vec<Shot>,
    subject: Subject,
    anchors: Vec<Vector3<f64>>,
    errors: Vec<Nine>,
}

/// Where the subject has a place of the model's part.
fn on_subject(place: [f64; 3], anchor: Vector3<f64>, errors: &Nine) -> [f64; 3] {
    let turn = Rotation3::new(Vector3::new(errors[3], errors[4], errors[5]));
    let back = turn.inverse() * (Vector3::from(place) - anchor);
    std::array::from_fn(|k| back[k] / (1.0 + errors[k]) + anchor[k] - errors[6 + k])
}

impl Scene {
    pub(super) fn adjusted(&self) -> Adjusted<'_> {
        Adjusted::new(&self.photos, &self.subject)
    }

    pub(super) fn mesh(&self) -> MeshParts<'_> {
        MeshParts {
            model: &self.model,
            edges: &self.edges,
            parts: self.mesh_parts.clone(),
        }
    }

    /// The mesh with a part elsewhere, where its marks and photos do not have it.
    pub(super) fn mesh_with_moved(&self, part: usize, by: [f64; 3]) -> Model {
        self.model.moved(|own, place| match self.mesh_parts[own] {
            MeshPart::Part(number) if number == part => std::array::from_fn(|k| place[k] + by[k]),
            _ => place,
        })
    }

    /// As [`Self::mesh`], of another model with the same edges.
    pub(super) fn mesh_of<'a>(&'a self, model: &'a Model) -> MeshParts<'a> {
        MeshParts {
            model,
            ..self.mesh()
        }
    }

    /// The photos with the places of the datum marks so much larger.
    pub(super) fn with_datum_times(&self, factor: f64) -> Vec<TogetherPhoto> {
        let mut photos = self.photos.clone();
        for mark in photos.iter_mut().flat_map(|photo| &mut photo.view.marks) {
            if mark.is_datum {
                mark.place = ModelPoint(mark.place.0.map(|v| factor * v));
            }
        }
        photos
    }

    pub(super) fn adjusted_by<'a>(&'a self, photos: &'a [TogetherPhoto]) -> Adjusted<'a> {
        Adjusted::new(photos, &self.subject)
    }

    /// The same scene with other photos.
    pub(super) fn with_pictures(&self, pictures: Vec<RgbImage>) -> Vec<Option<PhotoEdges>> {
        assert_eq!(pictures.len(), self.pictures.len());
        let of = |picture| Some(PhotoEdges::new(picture, ReferenceKind::Photo, 3e6));
        pictures.iter().map(of).collect()
    }

    pub(super) fn photos_of_edges(&self) -> Vec<Option<PhotoEdges>> {
        let of = |picture| Some(PhotoEdges::new(picture, ReferenceKind::Photo, 3e6));
        self.pictures.iter().map(of).collect()
    }

    /// The errors of a part about another anchor, in per cent, degrees and millimetres.
    pub(super) fn truth(&self, part: usize, anchor: [f64; 3]) -> [f64; NINE] {
        let own = &self.errors[part];
        let moved = on_subject(anchor, self.anchors[part], own);
        std::array::from_fn(|k| match k {
            0..3 => 100.0 * own[k],
            3..6 => own[k].to_degrees(),
            _ => anchor[k - 6] - moved[k - 6],
        })
    }
}

/// Where the judged parts of a small object stand, and on what: the last one on the tank.
const EIGHT_PLACES: [[f64; 3]; 8] = [
    [12.0, 9.5, 0.0],
    [-4.5, 10.5, 0.0],
    [4.0, -10.5, 0.0],
    [-13.0, -9.0, 0.0],
    [13.5, -8.5, 0.0],
    [13.0, 0.0, 0.0],
    [-13.5, 9.5, 0.0],
    [0.0, 0.0, TANK_TOP],
];

/// As [`EIGHT_PLACES`], of an object with more parts, that are so much smaller as [`SMALLER`] says: none stands within another.
const TWENTY_PLACES: [[f64; 3]; 20] = [
    [-16.0, -12.0, 0.0],
    [-9.6, -12.0, 0.0],
    [-3.2, -12.0, 0.0],
    [3.2, -12.0, 0.0],
    [9.6, -12.0, 0.0],
    [16.0, -12.0, 0.0],
    [-16.0, 12.0, 0.0],
    [-9.6, 12.0, 0.0],
    [-3.2, 12.0, 0.0],
    [3.2, 12.0, 0.0],
    [9.6, 12.0, 0.0],
    [16.0, 12.0, 0.0],
    [-16.4, -6.2, 0.0],
    [-16.4, 6.2, 0.0],
    [16.4, -6.2, 0.0],
    [16.4, 6.2, 0.0],
    [10.6, 6.2, 0.0],
    [13.0, 0.0, 0.0],
    [-3.6, 0.0, TANK_TOP],
    [3.6, 0.0, TANK_TOP],
];
const TANK_TOP: f64 = 8.0;
const SMALLER: f64 = 0.7;

/// The datum parts, then parts that are judged.
fn prisms(random: &mut Random, count: usize) -> (Vec<Prism>, usize) {
    let mut prisms = vec![
        Prism::block("sole plate", [0.0, 0.0], [40.0, 30.0], [-2.0, 0.0]),
        Prism::block("tank", [0.0, 0.0], [14.0, 9.0], [0.0, TANK_TOP]),
        Prism::round("air vessel", [-13.0, 0.0], 2.6, [0.0, 13.0], 10),
    ];
    let datum = prisms.len();
    let (places, large, aside) = match count <= EIGHT_PLACES.len() {
        true => (&EIGHT_PLACES[..], 1.0, 0.8),
        false => (&TWENTY_PLACES[..], SMALLER, 0.4),
    };
    assert!(count <= places.len(), "a place for each part");
    for (k, [x, y, foot]) in places.iter().take(count).enumerate() {
        let mut side = |least: f64, most: f64| least + (most - least) * random.uniform();
        let [x, y] = [x + side(-aside, aside), y + side(-aside, aside)];
        let size = [large * side(4.2, 7.0), large * side(4.2, 6.4)];
        let top = foot + large * side(4.5, 9.0);
        let name = format!("part {k}");
        let z = [*foot, top];
        let mut prism = match k % 3 {
            2 => Prism::round(&name, [x, y], size[0] / 2.0, z, 6),
            _ => Prism::block(&name, [x, y], size, z),
        };
        prism.taper = if k % 2 == 1 { side(0.6, 0.9) } else { 1.0 };
        prisms.push(prism);
    }
    (prisms, datum)
}

#[test]
fn no_part_stands_within_another() {
    let bounds = |prism: &Prism| {
        let of = |k: usize| {
            let values = prism.corners().into_iter().map(|corner| corner[k]);
            let both = |[least, most]: [f64; 2], v: f64| [least.min(v), most.max(v)];
            values.fold([f64::INFINITY, f64::NEG_INFINITY], both)
        };
        [of(0), of(1), of(2)]
    };
    for (seed, count) in (0..50).flat_map(|seed| [(seed, 8), (seed, 20)]) {
        let (prisms, _) = prisms(&mut Random::of(seed, 17), count);
        for (k, one) in prisms.iter().enumerate() {
            for other in &prisms[..k] {
                let mut pairs = bounds(one).into_iter().zip(bounds(other));
                let is_within = |([a, b], [c, d]): ([f64; 2], [f64; 2])| a < d && c < b;
                let are_within = pairs.all(is_within);
                assert!(!are_within, "{seed}: {} in {}", one.name, other.name);
            }
        }
    }
}

fn model_of(prisms: &[Prism]) -> Model {
    use std::fmt::Write as _;
    let mut text = String::new();
    let mut first = 1;
    for prism in prisms {
        writeln!(text, "o {}", prism.name).expect("a string");
        let corners = prism.corners();
        for [x, y, z] in &corners {
            writeln!(text, "v {x} {y} {z}").expect("a string");
        }
        for [a, b, c] in prism.facets() {
            writeln!(text, "f {} {} {}", first + a, first + b, first + c).expect("a string");
        }
        first += corners.len();
    }
    let folder = tempfile::tempdir().expect("a folder");
    let path = folder.path().join("model.obj");
    std::fs::write(&path, text).expect("written");
    let source = ModelSource {
        files: vec![ModelFile { path, part: None }],
        unit: Some(Unit::Millimetre),
        crease_deg: None,
        datum: Vec::new(),
        mirrored: Vec::new(),
    };
    read_source(&source, Limits::default()).expect("a mesh")
}

/// An object of this seed with its photos.
pub(super) fn scene(seed: usize, draw: &Draw) -> Scene {
    let mut random = Random::of(seed, 17);
    let (prisms, datum) = prisms(&mut random, draw.parts);
    let model = model_of(&prisms);
    let (mut anchors, mut errors) = (Vec::new(), Vec::new());
    for prism in &prisms[datum..] {
        let corners = prism.corners();
        let end = |k: usize, choose: fn(f64, f64) -> f64| {
            corners
                .iter()
                .map(|c| c[k])
                .reduce(choose)
                .expect("corners")
        };
        let middle = |k: usize| (end(k, f64::min) + end(k, f64::max)) / 2.0;
        anchors.push(Vector3::new(middle(0), middle(1), middle(2)));
        let z = random.normals::<NINE>() * draw.times;
        errors.push(Nine::from_fn(|k, _| match k {
            0..3 => 0.04 * z[k],
            3..6 => 1.5_f64.to_radians() * z[k],
            _ => OFFSET_MM * z[k],
        }));
    }
    let shown: Vec<Vec<[f64; 3]>> = prisms
        .iter()
        .enumerate()
        .map(|(number, prism)| {
            let corners = prism.corners();
            match number.checked_sub(datum) {
                None => corners,
                Some(k) => (corners.iter())
                    .map(|c| on_subject(*c, anchors[k], &errors[k]))
                    .collect(),
            }
        })
        .collect();
    let look = Look::new(&mut random, prisms.len());
    let azimuth = 20.0 + 50.0 * random.uniform();
    let elevation = 14.0 + 12.0 * random.uniform();
    let (mut photos, mut pictures, mut shots) = (Vec::new(), Vec::new(), Vec::new());
    for k in 0..draw.photos {
        let shot = shot(&mut random, draw, (k, azimuth, elevation));
        let buffer = buffer(&prisms, &shown, &shot, draw.size);
        photos.push(marked(
            &mut random,
            draw,
            (&prisms, datum, &shown),
            (&shot, &buffer),
        ));
        pictures.push(look.picture(&mut random, draw, &buffer, (&prisms, &shown)));
        shots.push(shot);
    }
    let mesh_parts = (0..prisms.len()).map(|k| match k.checked_sub(datum) {
        None => MeshPart::Datum,
        Some(part) => MeshPart::Part(part),
    });
    Scene {
        edges: Edges::of(&model, CREASE_DEG),
        model,
        mesh_parts: mesh_parts.collect(),
        photos,
        pictures,
        shots,
        subject: Subject {
            middles: Vec::new(),
            parts: draw.parts,
            axes: Vec::new(),
            expected: EXPECTED,
            lengths: Vec::new(),
            mirror: None,
        },
        anchors,
        errors,
    }
}

fn shot(random: &mut Random, draw: &Draw, (k, azimuth, elevation): (usize, f64, f64)) -> Shot {
    let (width, height) = (f64::from(draw.size.0), f64::from(draw.size.1));
    let share = k as f64 / (draw.photos.max(2) - 1) as f64 - 0.5;
    let aside = if draw.photos > 1 {
        share * draw.spread
    } else {
        0.0
    };
    let up = match draw.photos {
        0..=2 => 0.0,
        _ if k % 2 == 1 => 0.25 * draw.spread,
        _ => -0.25 * draw.spread,
    };
    let focal = (1.3 + 1.3 * random.uniform()) * width;
    let distance = focal * 34.0 / (0.8 * height) * (0.95 + 0.1 * random.uniform());
    let off = random.normals::<2>() * (0.01 * width.hypot(height));
    let principal = [width / 2.0 + off.x, height / 2.0 + off.y];
    Shot::new(
        [azimuth + aside, elevation + up],
        (distance, focal),
        (Vector3::new(0.0, 0.0, 3.5), principal),
    )
}

/// What is nearest at every sample; ids are numbers of all facets.
fn buffer(
    prisms: &[Prism],
    shown: &[Vec<[f64; 3]>],
    shot: &Shot,
    (width, height): (u32, u32),
) -> DepthBuffer {
    let mut triangles = Vec::new();
    for (prism, corners) in prisms.iter().zip(shown) {
        for facet in prism.facets() {
            triangles.push(Triangle {
                corners: facet.map(|c| {
                    let [x, y, depth] = shot.see(corners[c]);
                    [x * SAMPLES as f64, y * SAMPLES as f64, depth]
                }),
                id: triangles.len() as u32,
            });
        }
    }
    let sides = [width, height].map(|n| n as usize * SAMPLES);
    DepthBuffer::of(&triangles, sides[0], sides[1])
}

/// The marks of a photo: corners that it shows.
fn marked(
    random: &mut Random,
    draw: &Draw,
    (prisms, datum, shown): (&[Prism], usize, &[Vec<[f64; 3]>]),
    (shot, buffer): (&Shot, &DepthBuffer),
) -> TogetherPhoto {
    let (width, height) = draw.size;
    let (mut marks, mut part_of) = (Vec::new(), Vec::new());
    for (number, (prism, subject)) in prisms.iter().zip(shown).enumerate() {
        let part = number.checked_sub(datum);
        let most = part.map_or(5, |_| draw.marks);
        let mut left = most;
        // Corners below and above in turn.
        let corners = prism.corners();
        let count = corners.len();
        let first = (random.uniform() * count as f64) as usize;
        for k in (0..count).map(|k| (first + k / 2 + (k % 2) * (count / 2)) % count) {
            let (place, seen) = (&corners[k], &subject[k]);
            let [x, y, depth] = shot.see(*seen);
            let farthest = buffer.farthest_around(x * SAMPLES as f64, y * SAMPLES as f64);
            let is_seen = farthest.is_some_and(|f| f64::from(f) >= depth - 2e-5);
            if !is_seen || left == 0 {
                continue;
            }
            left -= 1;
            let noise = random.normals::<2>() * draw.sigma;
            marks.push(SpaceMark {
                name: format!("{} {k}", prism.name),
                place: ModelPoint(*place),
                place_sigma_mm: 0.0,
                mark: Point::new(x + noise.x, y + noise.y),
                is_datum: part.is_none(),
            });
            part_of.push(part);
        }
    }
    let photo = Photo {
        size: (width, height),
        mark_sigma_px: Some(draw.sigma),
        focal: KnownFocal::Unknown,
        principal_point: KnownPoint::Middle { deviation: 0.01 },
        lens: KnownLens::NONE,
        screen: None,
    };
    TogetherPhoto {
        view: ViewPhoto { photo, marks },
        part_of,
        same_as: None,
    }
}

/// Colours, light and what stands behind.
struct Look {
    colours: Vec<[f64; 3]>,
    light: Vector3<f64>,
}

impl Look {
    fn new(random: &mut Random, parts: usize) -> Self {
        let mut colour = || {
            let base = 0.15 + 0.5 * random.uniform();
            [0; 3].map(|_| base + 0.2 * (random.uniform() - 0.5))
        };
        let colours = (0..parts).map(|_| colour()).collect();
        let mut side = |least: f64, most: f64| least + (most - least) * random.uniform();
        let light = Vector3::new(side(0.2, 1.0), side(-0.6, 0.6), side(0.5, 1.2));
        Self {
            colours,
            light: light.normalize(),
        }
    }

    /// The photo: shaded facets before a wall with stripes and blots, blurred, with noise.
    fn picture(
        &self,
        random: &mut Random,
        draw: &Draw,
        buffer: &DepthBuffer,
        (prisms, shown): (&[Prism], &[Vec<[f64; 3]>]),
    ) -> RgbImage {
        let mut colours = Vec::new();
        for ((prism, corners), own) in prisms.iter().zip(shown).zip(&self.colours) {
            for facet in prism.facets() {
                let [a, b, c] = facet.map(|k| Vector3::from(corners[k]));
                let normal = (b - a).cross(&(c - a)).normalize();
                let lit = 0.35 + 0.65 * normal.dot(&self.light).max(0.0);
                colours.push(own.map(|v| 255.0 * lit * v));
            }
        }
        let (wall, stains) = (Wall::new(random), Wall::new(random));
        let (width, height) = (draw.size.0 as usize, draw.size.1 as usize);
        // What all samples and channels of a pixel share.
        let shared: Vec<[f64; 3]> = (0..width * height)
            .into_par_iter()
            .map(|k| {
                let (x, y) = ((k % width) as f64, (k / width) as f64);
                [
                    wall.stripes_at(x, y),
                    wall.blots_at(x, y),
                    stains.blots_at(x, y),
                ]
            })
            .collect();
        let channel = |c: usize| {
            let plane = Plane::from_shape_fn((height, width), |(y, x)| {
                let mut sum = 0.0;
                let [stripes, blots, stains] = shared[y * width + x];
                for row in y * SAMPLES..(y + 1) * SAMPLES {
                    for id in &buffer.ids(row)[x * SAMPLES..(x + 1) * SAMPLES] {
                        sum += match *id {
                            NOTHING => wall.grey(stripes, blots, c),
                            // Stains, which make edges where the mesh has none.
                            facet => colours[facet as usize][c] + stains,
                        };
                    }
                }
                (sum / (SAMPLES * SAMPLES) as f64) as f32
            });
            blur::gaussian_f32(&plane, 1.0)
        };
        let planes = [0, 1, 2].map(channel);
        RgbImage::from_fn(draw.size.0, draw.size.1, |x, y| {
            let noise = random.normals::<1>().x * draw.noise;
            image::Rgb([0, 1, 2].map(|c| {
                let at = [y as usize, x as usize];
                (f64::from(planes[c][at]) + noise).round().clamp(0.0, 255.0) as u8
            }))
        })
    }
}

/// What stands behind the object.
struct Wall {
    stripes: Vec<([f64; 2], f64, f64)>,
    blots: Vec<([f64; 2], f64, f64)>,
    ground: [f64; 3],
}

impl Wall {
    fn new(random: &mut Random) -> Self {
        let mut side = |least: f64, most: f64| least + (most - least) * random.uniform();
        let mut stripe = || {
            let angle = side(0.0, std::f64::consts::PI);
            (
                [angle.cos(), angle.sin()],
                side(-1200.0, 2000.0),
                side(-60.0, 60.0),
            )
        };
        let stripes = (0..6).map(|_| stripe()).collect();
        let mut blot = || {
            (
                [side(0.0, 2000.0), side(0.0, 1500.0)],
                side(20.0, 160.0),
                side(-40.0, 40.0),
            )
        };
        let blots = (0..25).map(|_| blot()).collect();
        Self {
            stripes,
            blots,
            ground: [0; 3].map(|_| side(90.0, 170.0)),
        }
    }

    fn grey(&self, stripes: f64, blots: f64, channel: usize) -> f64 {
        (self.ground[channel] + stripes + blots).clamp(5.0, 250.0)
    }

    fn stripes_at(&self, x: f64, y: f64) -> f64 {
        let of_stripe = |([a, b], at, step): &([f64; 2], f64, f64)| {
            if a * x + b * y > *at { *step } else { 0.0 }
        };
        self.stripes.iter().map(of_stripe).sum()
    }

    fn blots_at(&self, x: f64, y: f64) -> f64 {
        let of_blot = |([u, v], radius, step): &([f64; 2], f64, f64)| {
            if (x - u).hypot(y - v) < *radius {
                *step
            } else {
                0.0
            }
        };
        self.blots.iter().map(of_blot).sum()
    }
}
