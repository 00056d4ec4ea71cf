//! The reference as the registration lays it over the render, cut into tiles that are made when they are looked at.
use super::{
    pictures::{GROUND, Pyramid, TILE, halves, tile_area},
    stamp,
};
use crate::{
    drawing,
    frame::{FromReference, IntoReference, Projective, RenderPx, TilePx},
    job::View,
    kernels::warp,
    registration::Registration,
};
use image::Rgb;
use nalgebra::Matrix3;
use serde::Serialize;
use serde_json::{Value, json};
use std::path::PathBuf;

/// A reference with more detail than the render is shown up to so many times finer.
const FINEST: u32 = 4;

/// The map that takes the reference to the render, for the page's own arithmetic.
#[derive(Debug, PartialEq, Serialize)]
pub(super) struct PageMap {
    /// From the reference, its lens taken off, to the render, row by row.
    rows: [[f64; 3]; 3],
    /// The way back.
    back: [[f64; 3]; 3],
    /// Centre x and y, unit of radii and coefficient of the lens; see [`crate::frame::Lens`].
    lens: Option<[f64; 4]>,
    /// The same map has the same stamp.
    stamp: String,
}

impl PageMap {
    pub fn of(map: &FromReference<RenderPx>) -> Self {
        let lens = map.lens();
        let mut page = Self {
            rows: map.rows(),
            back: map.inverse().rows(),
            lens: (!lens.is_none()).then(|| {
                let [x, y] = lens.centre().xy();
                [x, y, lens.radius(), lens.coefficient()]
            }),
            stamp: String::new(),
        };
        page.stamp = stamp::of(&format!("{:?} {:?}", page.rows, page.lens));
        page
    }
}

/// A reference over its render.
#[derive(Debug)]
pub(super) struct Laid {
    /// Tells it from all others.
    pub stamp: String,
    /// The reference's file.
    pub reference: PathBuf,
    reference_from_render: IntoReference<RenderPx>,
    render_size: (u32, u32),
    /// Width and height of each reduction, the finest first.
    levels: Vec<[u32; 2]>,
}

impl Laid {
    /// `stamps` are those of the render and of the reference.
    pub fn new(
        view: &View,
        stamps: [String; 2],
        render_size: (u32, u32),
        registration: &Registration,
    ) -> Self {
        let map = &registration.render_from_reference;
        let [render, reference] = stamps;
        let map_stamp = PageMap::of(map).stamp;
        Self {
            stamp: stamp::of(&format!("{render} {reference} {map_stamp}")),
            reference: view.reference.image.clone(),
            reference_from_render: map.inverse(),
            render_size,
            levels: levels(render_size, 1.0 / registration.scale.value()),
        }
    }

    /// What the page has to know to ask for tiles.
    pub fn describe(&self) -> Value {
        let (width, height) = self.render_size;
        json!({ "stamp": self.stamp, "tile": TILE, "size": [width, height], "levels": self.levels })
    }

    /// One tile as JPEG, grey where the reference shows nothing; `None` where there is none.
    pub fn tile(&self, reference: &Pyramid, level: usize, place: [u32; 2]) -> Option<Vec<u8>> {
        let of_level = *self.levels.get(level)?;
        let [left, top, width, height] = tile_area(of_level, place)?;
        let step = [
            f64::from(self.render_size.0) / f64::from(of_level[0]),
            f64::from(self.render_size.1) / f64::from(of_level[1]),
        ];
        let render_from_tile = Projective::<RenderPx, TilePx>::from_matrix(Matrix3::new(
            step[0],
            0.0,
            step[0] * f64::from(left),
            0.0,
            step[1],
            step[1] * f64::from(top),
            0.0,
            0.0,
            1.0,
        ))?;
        let reference_from_tile = self.reference_from_render.after(&render_from_tile);
        let source = reference.picture();
        let mut tile = warp::warp_rgb(source, (width, height), &reference_from_tile);
        let size = |(width, height): (u32, u32)| (width as usize, height as usize);
        let covered = warp::coverage(
            size(source.dimensions()),
            size((width, height)),
            &reference_from_tile,
        );
        for (pixel, covered) in tile.pixels_mut().zip(&covered) {
            if *covered == 0 {
                *pixel = Rgb([GROUND as u8; 3]);
            }
        }
        drawing::encode_jpeg(&tile).ok()
    }
}

/// Sizes from the finest, in which the reference keeps its detail, to one that fits a tile.
fn levels((width, height): (u32, u32), finer: f64) -> Vec<[u32; 2]> {
    let wanted = finer.clamp(1.0, f64::from(FINEST)).ceil() as u32;
    let times = wanted.next_power_of_two();
    halves([width.saturating_mul(times), height.saturating_mul(times)])
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_finer_reference_keeps_its_detail_up_to_four_times() {
        assert_eq!(levels((1000, 700), 0.4)[0], [1000, 700]);
        assert_eq!(levels((1000, 700), 1.6)[0], [2000, 1400]);
        assert_eq!(levels((1000, 700), 30.0)[0], [4000, 2800]);
        let all = levels((1000, 700), 1.6);
        assert_eq!(all, [[2000, 1400], [1000, 700], [500, 350]]);
    }
}
