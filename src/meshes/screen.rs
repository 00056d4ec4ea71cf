//! A model on the raster: its facets cut off near the camera, what is nearest at every sample, and how steep each facet is there.
use super::{
    model::Model,
    projection::{Projection, Seen, cut, is_in_front},
};
use crate::{
    kernels::depth::{DepthBuffer, Triangle},
    stop::{self, Stopped},
};
use rayon::prelude::*;

/// Samples along each side of a pixel.
pub(super) const SAMPLES: usize = 2;

/// The model from a camera.
#[derive(Debug)]
pub(super) struct Screen {
    /// Vertex by vertex.
    pub(super) seen: Vec<Seen>,
    pub(super) buffer: DepthBuffer,
    /// Facet by facet the change of depth over a pixel; infinite where it is seen edge-on or not at all.
    pub(super) slopes: Vec<f32>,
    least: f64,
    range: f64,
}

impl Screen {
    /// Draws on `width` x `height` pixels.
    pub(super) fn new(
        model: &Model,
        projection: &Projection,
        [width, height]: [usize; 2],
    ) -> Result<Self, Stopped> {
        let seen: Vec<Seen> = model
            .vertices()
            .par_iter()
            .map(|place| projection.see(*place))
            .collect();
        let mut triangles = Vec::with_capacity(model.facets().len());
        for (facet, corners) in model.facets().iter().enumerate() {
            in_front(corners.map(|i| seen[i as usize]), |corners| {
                triangles.push(Triangle {
                    corners: corners.map(on_raster),
                    id: facet as u32,
                });
            });
        }
        let (least, greatest) = range(&triangles);
        let range = if greatest > least {
            greatest - least
        } else {
            1.0
        };
        // Depths from 0 to 1, which 32 bits tell finely.
        triangles.par_iter_mut().for_each(|triangle| {
            for corner in &mut triangle.corners {
                corner[2] = (corner[2] - least) / range;
            }
        });
        let slopes = slopes(&triangles, model.facets().len());
        let buffer = DepthBuffer::of(&triangles, width * SAMPLES, height * SAMPLES);
        stop::check()?;
        Ok(Self {
            seen,
            buffer,
            slopes,
            least,
            range,
        })
    }

    /// x and y in pixels of a place in front of the camera, and its depth, 0 to 1 over the model.
    pub(super) fn place(&self, seen: Seen) -> [f64; 3] {
        let [x, y, depth] = pixel_and_depth(seen);
        [x, y, (depth - self.least) / self.range]
    }
}

fn pixel_and_depth([x, y, w, depth]: Seen) -> [f64; 3] {
    [x / w, y / w, depth / w]
}

fn on_raster(seen: Seen) -> [f64; 3] {
    let [x, y, depth] = pixel_and_depth(seen);
    [x * SAMPLES as f64, y * SAMPLES as f64, depth]
}

/// The part of a triangle that is not too near to the camera, as one triangle or two.
fn in_front(corners: [Seen; 3], mut take: impl FnMut([Seen; 3])) {
    let count = corners
        .iter()
        .filter(|corner| is_in_front(**corner))
        .count();
    if count == 3 {
        return take(corners);
    }
    let mut outline = [[0.0; 4]; 4];
    let mut length = 0;
    for i in 0..3 {
        let (a, b) = (corners[i], corners[(i + 1) % 3]);
        for corner in match (is_in_front(a), is_in_front(b)) {
            (true, true) => [Some(a), None],
            (true, false) => [Some(a), Some(cut(a, b))],
            (false, true) => [Some(cut(b, a)), None],
            (false, false) => [None, None],
        }
        .into_iter()
        .flatten()
        {
            outline[length] = corner;
            length += 1;
        }
    }
    for k in 2..length {
        take([outline[0], outline[k - 1], outline[k]]);
    }
}

/// The least and the greatest depth.
fn range(triangles: &[Triangle]) -> (f64, f64) {
    let depths = triangles
        .iter()
        .flat_map(|t| t.corners.map(|corner| corner[2]));
    depths.fold(
        (f64::INFINITY, f64::NEG_INFINITY),
        |(least, greatest), d| (least.min(d), greatest.max(d)),
    )
}

fn slopes(triangles: &[Triangle], facets: usize) -> Vec<f32> {
    let mut slopes = vec![f32::INFINITY; facets];
    for triangle in triangles {
        if let Some([x, y]) = triangle.slopes() {
            slopes[triangle.id as usize] = (x.hypot(y) * SAMPLES as f64) as f32;
        }
    }
    slopes
}
