//! What a camera's rays meet first: the place on a model under a pixel, and whether a place is seen or hidden.
//!
//! Facet by facet, all pixels that are asked for at the same time: nothing is built beforehand, so that a camera that moves costs
//! nothing more. The work grows with the facets and hardly with the pixels.
//!
//! # Source
//! The place under a pixel by homogeneous coordinates within the facet: M. Olano and T. Greer, Triangle scan conversion using 2D
//! homogeneous coordinates, Graphics Hardware 1997 (from memory).
use super::{
    model::{Model, cross},
    projection::{Projection, Seen, is_in_front},
};
use rayon::prelude::*;

/// What lies less than this behind the surface, in parts of the model's depth, is on it: a judgement; rounding is far less.
const BEHIND: f64 = 5e-4;
/// How far outside of a facet, in parts of its sides, a pixel still is on it, so that none falls between two facets.
const BORDER: f64 = 1e-9;
/// Facets that one task looks at.
const FACETS: usize = 1 << 13;

/// A model from a camera, to be asked what is seen.
#[derive(Debug)]
pub struct Sight<'a> {
    model: &'a Model,
    projection: &'a Projection,
    seen: Vec<Seen>,
    /// What lies by less than this behind the surface is on it.
    behind: f64,
}

/// What a pixel shows.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Hit {
    /// Where, model millimetres.
    pub place: [f64; 3],
    /// Index of the facet.
    pub facet: usize,
    depth: f64,
}

impl Hit {
    /// The nearer one; of two at the same depth the facet that comes first.
    fn nearer(a: Option<Self>, b: Option<Self>) -> Option<Self> {
        match (a, b) {
            (Some(a), Some(b)) => {
                let order = a.depth.total_cmp(&b.depth).then(a.facet.cmp(&b.facet));
                Some(if order.is_le() { a } else { b })
            }
            (a, b) => a.or(b),
        }
    }
}

impl<'a> Sight<'a> {
    /// The model from this camera.
    pub fn new(model: &'a Model, projection: &'a Projection) -> Self {
        let seen: Vec<Seen> = (model.vertices().par_iter())
            .map(|place| projection.see(*place))
            .collect();
        let in_front = seen.iter().filter(|seen| is_in_front(**seen));
        let none = (f64::INFINITY, f64::NEG_INFINITY);
        let (least, greatest) = in_front
            .map(|seen| seen[3] / seen[2])
            .fold(none, |(least, greatest): (f64, f64), depth| {
                (least.min(depth), greatest.max(depth))
            });
        Self {
            model,
            projection,
            seen,
            behind: BEHIND * (greatest - least).max(0.0),
        }
    }

    /// Where a vertex is seen, pixels, hidden or not; `None` behind the camera.
    pub(super) fn pixel(&self, vertex: u32) -> Option<[f64; 2]> {
        let seen = self.seen[vertex as usize];
        is_in_front(seen).then(|| [seen[0] / seen[2], seen[1] / seen[2]])
    }

    /// The same of any place on the model.
    pub(super) fn pixel_of(&self, place: [f64; 3]) -> Option<[f64; 2]> {
        self.projection.pixel(place)
    }

    /// The share of the way between two vertices in space of what lies at this share of the way in the picture.
    pub(super) fn share_in_space(&self, ends: [u32; 2], share: f64) -> f64 {
        let [a, b] = ends.map(|vertex| self.seen[vertex as usize][2]);
        share * a / ((1.0 - share) * b + share * a)
    }

    /// What each of these pixels shows; `None` where nothing of the model is.
    pub fn hits(&self, pixels: &[[f64; 2]]) -> Vec<Option<Hit>> {
        let mut order: Vec<usize> = (0..pixels.len()).collect();
        order.retain(|i| pixels[*i].iter().all(|v| v.is_finite()));
        order.sort_by(|a, b| pixels[*a][0].total_cmp(&pixels[*b][0]));
        let sorted: Vec<[f64; 2]> = order.iter().map(|i| pixels[*i]).collect();
        let none = || vec![None; sorted.len()];
        let found = (self.model.facets().par_chunks(FACETS).enumerate())
            .map(|(chunk, facets)| {
                let mut found = none();
                for (k, corners) in facets.iter().enumerate() {
                    self.of_facet((chunk * FACETS + k, corners), &sorted, &mut found);
                }
                found
            })
            .reduce(none, |a, b| {
                let both = a.into_iter().zip(b);
                both.map(|(a, b)| Hit::nearer(a, b)).collect()
            });
        let mut hits = vec![None; pixels.len()];
        for (i, hit) in order.into_iter().zip(found) {
            hits[i] = hit;
        }
        hits
    }

    /// Takes in what a facet is of the pixels, which come from left to right.
    fn of_facet(
        &self,
        (facet, corners): (usize, &[u32; 3]),
        pixels: &[[f64; 2]],
        found: &mut [Option<Hit>],
    ) {
        let seen = corners.map(|vertex| self.seen[vertex as usize]);
        let in_front = seen.iter().filter(|seen| is_in_front(**seen)).count();
        let (range, rows) = match in_front {
            0 => return,
            3 => {
                let at = |k: usize| seen.map(|seen| seen[k] / seen[2]);
                let least = |[a, b, c]: [f64; 3]| a.min(b).min(c);
                let greatest = |[a, b, c]: [f64; 3]| a.max(b).max(c);
                let (x, y) = (at(0), at(1));
                let from = pixels.partition_point(|p| p[0] < least(x));
                let to = pixels.partition_point(|p| p[0] <= greatest(x));
                (from..to.max(from), [least(y), greatest(y)])
            }
            // Cut by the plane in front of the camera it may reach anywhere.
            _ => (0..pixels.len(), [f64::NEG_INFINITY, f64::INFINITY]),
        };
        for index in range {
            let pixel = pixels[index];
            if pixel[1] < rows[0] || pixel[1] > rows[1] {
                continue;
            }
            let hit = self.hit((facet, corners), seen, pixel);
            found[index] = Hit::nearer(found[index], hit);
        }
    }

    fn hit(
        &self,
        (facet, corners): (usize, &[u32; 3]),
        seen: [Seen; 3],
        [x, y]: [f64; 2],
    ) -> Option<Hit> {
        // From the pixel on: large numbers of a far pixel would drown the shares.
        let [a, b, c] = seen.map(|[u, v, w, _]| [u - x * w, v - y * w, w]);
        let shares = [cross(b, c)[2], cross(c, a)[2], cross(a, b)[2]];
        let sum: f64 = shares.iter().sum();
        let shares = shares.map(|share| share / sum);
        if !shares.iter().all(|share| *share >= -BORDER) {
            return None;
        }
        let of = |k: usize| (0..3).map(|i| shares[i] * seen[i][k]).sum::<f64>();
        let ahead: Seen = [of(0), of(1), of(2), of(3)];
        let vertices = self.model.vertices();
        let places = corners.map(|vertex| vertices[vertex as usize]);
        let place = |k: usize| (0..3).map(|i| shares[i] * places[i][k]).sum();
        let depth = ahead[3] / ahead[2];
        (is_in_front(ahead) && depth.is_finite()).then(|| Hit {
            place: [place(0), place(1), place(2)],
            facet,
            depth,
        })
    }

    /// Which of these places are seen: in front of the camera, and nothing of the model before them.
    pub fn are_seen(&self, places: &[[f64; 3]]) -> Vec<bool> {
        let seen = places.iter().map(|place| self.projection.see(*place));
        let pixels: Vec<[f64; 2]> = seen.map(|s| [s[0] / s[2], s[1] / s[2]]).collect();
        self.at_hits(places, &self.hits(&pixels))
    }

    /// The same of places whose pixels show these. Beside the model everything is seen.
    pub(super) fn at_hits(&self, places: &[[f64; 3]], hits: &[Option<Hit>]) -> Vec<bool> {
        let is_seen = |(place, hit): (&[f64; 3], &Option<Hit>)| {
            let seen = self.projection.see(*place);
            let depth = seen[3] / seen[2];
            is_in_front(seen) && hit.is_none_or(|hit| depth <= hit.depth + self.behind)
        };
        places.iter().zip(hits).map(is_seen).collect()
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::meshes::{format::Format, limits::Limits, soup::Soup};

    /// A cube from -10 to 10, and a plate from -30 to 30 in the plane x = -20 behind it.
    fn model() -> Model {
        let mut soup = Soup::new(Format::Obj, Limits::default());
        soup.begin("cube").expect("room");
        soup.add_box([[-10.0, 10.0]; 3]);
        soup.begin("plate").expect("room");
        for (y, z) in [(-30.0, -30.0), (30.0, -30.0), (30.0, 30.0), (-30.0, 30.0)] {
            soup.vertex([-20.0, y, z], String::new).expect("room");
        }
        soup.facet([8, 9, 10]).expect("room");
        soup.facet([8, 10, 11]).expect("room");
        Model::of_soup(soup, 1.0).expect("a model")
    }

    /// From x = 100 along -x: 1000 px focal length, the axis at (500, 400).
    const CAMERA: [[f64; 4]; 3] = [
        [-500.0, 1000.0, 0.0, 50_000.0],
        [-400.0, 0.0, -1000.0, 40_000.0],
        [-1.0, 0.0, 0.0, 100.0],
    ];

    #[test]
    fn a_pixel_shows_the_nearest_facet_at_its_place() {
        let model = model();
        let projection = Projection::new(CAMERA, &model).expect("a camera");
        let sight = Sight::new(&model, &projection);
        // The cube's face at x = 10 is 90 mm away, the plate 120 mm.
        let hits = sight.hits(&[
            [500.0, 400.0],
            [500.0 + 50.0, 400.0 - 80.0],
            [500.0 + 200.0, 400.0],
            [500.0 + 400.0, 400.0],
        ]);
        let near = |hit: Option<Hit>, place: [f64; 3]| {
            let hit = hit.expect("the model");
            let off = (0..3).map(|k| (hit.place[k] - place[k]).abs());
            assert!(off.fold(0.0, f64::max) < 1e-9, "{hit:?} {place:?}");
            model.part_of(hit.facet)
        };
        assert_eq!(near(hits[0], [10.0, 0.0, 0.0]), 0);
        assert_eq!(near(hits[1], [10.0, 4.5, 7.2]), 0);
        assert_eq!(near(hits[2], [-20.0, 24.0, 0.0]), 1);
        assert_eq!(hits[3], None);
    }

    #[test]
    fn what_lies_behind_is_hidden_and_what_lies_beside_is_seen() {
        let model = model();
        let projection = Projection::new(CAMERA, &model).expect("a camera");
        let sight = Sight::new(&model, &projection);
        let places = [
            [10.0, 10.0, 10.0],
            [-10.0, 10.0, 10.0],
            [-20.0, 0.0, 0.0],
            [-20.0, 30.0, 30.0],
            [120.0, 0.0, 0.0],
        ];
        let seen = sight.are_seen(&places);
        assert_eq!(seen, [true, false, false, true, false]);
    }

    #[test]
    fn a_camera_within_the_model_sees_what_is_before_it() {
        let model = model();
        // From the cube's middle along -x.
        let within = [
            [-500.0, 1000.0, 0.0, 0.0],
            [-400.0, 0.0, -1000.0, 0.0],
            [-1.0, 0.0, 0.0, 0.0],
        ];
        let projection = Projection::new(within, &model).expect("a camera");
        let sight = Sight::new(&model, &projection);
        let hit = sight.hits(&[[500.0, 400.0]])[0].expect("the cube's inner side");
        assert!((hit.place[0] + 10.0).abs() < 1e-9, "{hit:?}");
    }

    #[test]
    fn the_slow_way_finds_the_same() {
        let model = model();
        // Turned about all axes, from nearby.
        let (a, b) = (0.7_f64, 0.4_f64);
        let right = [-a.sin(), a.cos(), 0.0];
        let away = [-a.cos() * b.cos(), -a.sin() * b.cos(), -b.sin()];
        let down = cross(away, right);
        let rows = [0, 1, 2].map(|k| {
            let own = [right, down, away][k];
            let (scale, share) = [(900.0, 500.0), (900.0, 400.0), (0.0, 1.0)][k];
            let row = |i: usize| scale * own[i] + share * away[i];
            [row(0), row(1), row(2), share * 70.0]
        });
        let projection = Projection::new(rows, &model).expect("a camera");
        let sight = Sight::new(&model, &projection);
        let pixels: Vec<[f64; 2]> = (0..400)
            .map(|k| [f64::from(k % 20) * 52.3, f64::from(k / 20) * 41.7])
            .collect();
        let hits = sight.hits(&pixels);
        assert!(hits.iter().flatten().count() > 100);
        for (pixel, hit) in pixels.iter().zip(&hits) {
            let mut nearest: Option<(f64, [f64; 3])> = None;
            for corners in model.facets() {
                let [p, q, r] = corners.map(|v| model.vertices()[v as usize]);
                // The ray is where two planes through the camera meet.
                let plane = |k: usize| -> [f64; 4] {
                    std::array::from_fn(|i| rows[k][i] - pixel[k] * rows[2][i])
                };
                let (u, v) = (plane(0), plane(1));
                let value = |plane: [f64; 4], at: [f64; 3]| {
                    plane[0] * at[0] + plane[1] * at[1] + plane[2] * at[2] + plane[3]
                };
                let matrix = nalgebra::Matrix3::new(
                    value(u, p),
                    value(u, q),
                    value(u, r),
                    value(v, p),
                    value(v, q),
                    value(v, r),
                    1.0,
                    1.0,
                    1.0,
                );
                let Some(shares) = matrix.lu().solve(&nalgebra::Vector3::new(0.0, 0.0, 1.0)) else {
                    continue;
                };
                if shares.iter().any(|s| *s < 0.0) {
                    continue;
                }
                let at: [f64; 3] =
                    std::array::from_fn(|i| shares[0] * p[i] + shares[1] * q[i] + shares[2] * r[i]);
                let ahead = value(rows[2], at);
                if ahead > 0.0 && nearest.is_none_or(|(known, _)| ahead < known) {
                    nearest = Some((ahead, at));
                }
            }
            match (nearest, hit) {
                (None, None) => {}
                (Some((_, at)), Some(hit)) => {
                    let off = (0..3).map(|k| (at[k] - hit.place[k]).abs());
                    assert!(off.fold(0.0, f64::max) < 1e-6, "{pixel:?}");
                }
                other => panic!("{pixel:?}: {other:?}"),
            }
        }
    }
}
