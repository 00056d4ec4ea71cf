//! What a photo answers to edges, on a working grid that is reduced where the photo is large.
use crate::{
    edges::{response::Response, settings::EDGES},
    job::ReferenceKind,
    kernels::{Plane, resize::reduce_rgb},
};
use image::RgbImage;
use nalgebra::Vector2;

/// A photo that edges are looked for in.
#[derive(Clone, Debug)]
pub(crate) struct PhotoEdges {
    response: Response,
    /// Working pixels per pixel of the photo.
    pub(super) scale: f64,
}

/// Most pixels of the working grid of each of so many photos.
pub(crate) fn pixels_of_each(photos: usize) -> f64 {
    let most = EDGES.space_photos.get() / photos.max(1) as f64;
    EDGES.space_pixels.get() * most.min(1.0)
}

impl PhotoEdges {
    /// Of a photo as it is on disk, on a working grid of at most `most_pixels`.
    pub(crate) fn new(photo: &RgbImage, kind: ReferenceKind, most_pixels: f64) -> Self {
        let (width, height) = photo.dimensions();
        let pixels = f64::from(width) * f64::from(height);
        let factor = (most_pixels / pixels).sqrt();
        if factor >= 1.0 {
            return Self {
                response: Response::new(photo, kind),
                scale: 1.0,
            };
        }
        // One factor for both sides: each is a whole number of pixels of the narrower one.
        let side = |n: u32| (f64::from(n) * factor).round().max(1.0);
        let reduced = reduce_rgb(photo, side(width) as u32, side(height) as u32);
        Self {
            response: Response::new(&reduced, kind),
            scale: side(width) / f64::from(width),
        }
    }

    /// Takes the response away where `usable`, of the photo's size, is 0.
    pub(crate) fn keep_where(&mut self, usable: &Plane<u8>) {
        let (rows, columns) = usable.dim();
        let size = [columns, rows].map(|side| (side as f64 * self.scale).round().max(1.0) as usize);
        if [columns, rows] == size {
            self.response.keep_where(usable);
            return;
        }
        let nearest = |k: usize, most: usize| {
            (((k as f64 + 0.5) / self.scale) as usize).min(most.saturating_sub(1))
        };
        let reduced = Plane::from_shape_fn((size[1], size[0]), |(y, x)| {
            usable[(nearest(y, rows), nearest(x, columns))]
        });
        self.response.keep_where(&reduced);
    }

    /// Strength of an edge of this normal at a place of the photo, pixels.
    pub(super) fn at(&self, photo_px: Vector2<f64>, normal: Vector2<f64>) -> f64 {
        f64::from(self.response.at(photo_px * self.scale, normal))
    }

    /// How far from a place of the photo its edge lies along the normal, in pixels of the photo, and how strong it is; a window of `sigma`
    /// working pixels.
    pub(super) fn strongest(
        &self,
        (photo_px, normal): (Vector2<f64>, Vector2<f64>),
        sigma: f64,
    ) -> Option<(f64, f64)> {
        let at = photo_px * self.scale;
        let (along, response) = self.response.strongest_along((at, normal), sigma)?;
        Some((along / self.scale, response))
    }
}
