//! A model drawn from a camera: lightly shaded facets with the visible edges over them, and those edges as lines.
use super::{
    edges::Edges,
    model::{Model, dot},
    polylines::{VisibleLine, joined},
    projection::Projection,
    screen::{SAMPLES, Screen},
    visible::{Piece, pieces},
};
use crate::{
    kernels::{Plane, depth::NOTHING},
    stop::{self, Stopped},
};
use image::RgbImage;
use rayon::prelude::*;

/// Most pixels of a drawn picture: a judgement; the buffers take 36 bytes a pixel.
pub const MOST_PIXELS: u64 = 24_000_000;
/// Grey of what nothing is drawn on.
const PAPER: f32 = 255.0;
/// Grey of lines.
const INK: f32 = 20.0;
/// Grey of a facet seen edge-on, and what is added for one seen from in front, in parts of the paper.
const SHADE: [f64; 2] = [0.45, 0.5];
/// Half the width of a line, pixels.
const HALF_LINE: f64 = 0.5;
/// Two parts that are this near to each other from one sample to the next cut through each other there, in parts of the model's depth.
const TOUCHING: f32 = 5e-4;

/// A drawn model.
#[derive(Clone, Debug)]
pub struct Drawing {
    /// Grey facets, dark lines, white paper.
    pub picture: RgbImage,
    /// How much of each pixel the model covers, 0 to 255.
    pub coverage: Plane<u8>,
    /// One more than the index of the part that each pixel shows, 0 where it shows none.
    pub parts: Plane<u16>,
    /// The visible edges, sub-pixel places.
    pub lines: Vec<VisibleLine>,
}

/// Draws a model on `size` = [width, height] pixels. Where parts cut through each other there is a line in the picture, but none in
/// [`Drawing::lines`]: no edge of the mesh is there.
///
/// # Errors
/// Where the run is asked to stop.
///
/// # Panics
/// Where the picture has no pixels or more than [`MOST_PIXELS`].
pub fn draw(
    model: &Model,
    edges: &Edges,
    projection: &Projection,
    size: [u32; 2],
) -> Result<Drawing, Stopped> {
    let pixels = u64::from(size[0]) * u64::from(size[1]);
    assert!(
        (1..=MOST_PIXELS).contains(&pixels),
        "1 to {MOST_PIXELS} pixels can be drawn"
    );
    let [width, height] = size.map(|n| n as usize);
    let screen = Screen::new(model, projection, [width, height])?;
    let pieces = pieces(model, edges, &screen);
    stop::check()?;
    let ink = Ink::of(&pieces, [width * SAMPLES, height * SAMPLES]);
    let part_of = part_of(model);
    let seams = Seams {
        screen: &screen,
        part_of: &part_of,
    };
    let (picture, coverage) = shade(edges, projection, &seams, &ink);
    Ok(Drawing {
        picture,
        coverage,
        parts: shown_parts(&screen, &part_of),
        lines: joined(model, &pieces),
    })
}

/// Which samples lines cover.
struct Ink {
    width: usize,
    is_dark: Vec<bool>,
}

impl Ink {
    fn of(pieces: &[Piece], [width, height]: [usize; 2]) -> Self {
        /// Rows of samples that one thread works on.
        const BAND: usize = 128;
        let mut is_dark = vec![false; width * height];
        is_dark
            .par_chunks_mut(BAND * width)
            .enumerate()
            .for_each(|(index, rows)| {
                let top = index * BAND;
                pieces
                    .iter()
                    .for_each(|piece| stroke(piece, rows, (top, width)));
            });
        Self { width, is_dark }
    }

    fn row(&self, row: usize) -> &[bool] {
        &self.is_dark[row * self.width..][..self.width]
    }
}

/// Darkens the samples of rows from `top` on whose centres are within half a line of a piece.
fn stroke(piece: &Piece, rows: &mut [bool], (top, width): (usize, usize)) {
    let n = SAMPLES as f64;
    let half = HALF_LINE * n;
    let [a, b] = piece.ends.map(|[x, y]| [x * n, y * n]);
    let count = rows.len() / width;
    let first = (a[1].min(b[1]) - half - 0.5).ceil().max(top as f64);
    let last = (a[1].max(b[1]) + half - 0.5)
        .floor()
        .min((top + count) as f64 - 1.0);
    let way = [b[0] - a[0], b[1] - a[1]];
    let square = way[0] * way[0] + way[1] * way[1];
    let mut row = first;
    while row <= last {
        let y = row + 0.5;
        // Where the line is at this row, give or take its width along x.
        let [from, to] = if way[1].abs() > 1e-9 {
            let x = |y: f64| a[0] + way[0] * ((y - a[1]) / way[1]).clamp(0.0, 1.0);
            let (one, other) = (x(y - half), x(y + half));
            [one.min(other), one.max(other)]
        } else {
            [a[0].min(b[0]), a[0].max(b[0])]
        };
        let from = (from - half - 0.5).ceil().max(0.0) as usize;
        let to = ((to + half - 0.5).floor() + 1.0).clamp(0.0, width as f64) as usize;
        let start = (row as usize - top) * width;
        for column in from..to {
            let p = [column as f64 + 0.5 - a[0], y - a[1]];
            let share = if square > 0.0 {
                ((p[0] * way[0] + p[1] * way[1]) / square).clamp(0.0, 1.0)
            } else {
                0.0
            };
            let off = [p[0] - share * way[0], p[1] - share * way[1]];
            if off[0] * off[0] + off[1] * off[1] <= half * half {
                rows[start + column] = true;
            }
        }
        row += 1.0;
    }
}

/// Facets and lines as pixels, each the mean of its samples.
fn shade(
    edges: &Edges,
    projection: &Projection,
    seams: &Seams<'_>,
    ink: &Ink,
) -> (RgbImage, Plane<u8>) {
    let screen = seams.screen;
    let (width, height) = (ink.width / SAMPLES, screen.buffer.height() / SAMPLES);
    let sight = projection.sight();
    let grey = |normal: &[f64; 3]| {
        (PAPER as f64 * (SHADE[0] + SHADE[1] * dot(*normal, sight).abs())) as f32
    };
    let greys: Vec<f32> = edges.normals.par_iter().map(grey).collect();
    let mut rgb = vec![0; 3 * width * height];
    let mut coverage = vec![0; width * height];
    let rows = rgb
        .par_chunks_mut(3 * width)
        .zip(coverage.par_chunks_mut(width))
        .enumerate();
    rows.for_each(|(row, (rgb, coverage))| {
        for (column, (rgb, covered)) in rgb.chunks_exact_mut(3).zip(coverage).enumerate() {
            let (mut sum, mut count) = (0.0, 0);
            for y in row * SAMPLES..(row + 1) * SAMPLES {
                for x in column * SAMPLES..(column + 1) * SAMPLES {
                    let id = screen.buffer.ids(y)[x];
                    let is_dark = ink.row(y)[x] || seams.is_at(x, y, id);
                    count += usize::from(is_dark || id != NOTHING);
                    sum += match id {
                        _ if is_dark => INK,
                        NOTHING => PAPER,
                        facet => greys[facet as usize],
                    };
                }
            }
            let samples = SAMPLES * SAMPLES;
            rgb.fill((sum / samples as f32).round() as u8);
            *covered = (255 * count / samples) as u8;
        }
    });
    let picture = RgbImage::from_raw(width as u32, height as u32, rgb);
    let coverage = Plane::from_shape_vec((height, width), coverage);
    (
        picture.expect("three bytes a pixel"),
        coverage.expect("one byte a pixel"),
    )
}

/// Facet by facet the index of its part.
fn part_of(model: &Model) -> Vec<u32> {
    let mut part_of = vec![0_u32; model.facets().len()];
    for (index, part) in model.parts().iter().enumerate() {
        part_of[part.facets.clone()].fill(index as u32);
    }
    part_of
}

/// The part that each pixel shows, by the first of its samples; one more than its index.
fn shown_parts(screen: &Screen, part_of: &[u32]) -> Plane<u16> {
    let size = [screen.buffer.height(), screen.buffer.width()].map(|n| n / SAMPLES);
    Plane::from_shape_fn((size[0], size[1]), |(row, column)| {
        match screen.buffer.ids(row * SAMPLES)[column * SAMPLES] {
            NOTHING => 0,
            // A mesh has far fewer parts.
            facet => u16::try_from(part_of[facet as usize] + 1).unwrap_or(u16::MAX),
        }
    })
}

/// Where parts cut through each other.
struct Seams<'a> {
    screen: &'a Screen,
    part_of: &'a [u32],
}

impl Seams<'_> {
    /// Whether a sample and one of its neighbours belong to different parts that are equally far.
    fn is_at(&self, x: usize, y: usize, id: u32) -> bool {
        let buffer = &self.screen.buffer;
        let is_seam = |column: usize, row: usize| {
            let other = buffer.ids(row)[column];
            other != id
                && self.meet(
                    (id, buffer.depths(y)[x]),
                    (other, buffer.depths(row)[column]),
                )
        };
        id != NOTHING
            && ((x + 1 < buffer.width() && is_seam(x + 1, y))
                || (x > 0 && is_seam(x - 1, y))
                || (y + 1 < buffer.height() && is_seam(x, y + 1))
                || (y > 0 && is_seam(x, y - 1)))
    }

    fn meet(&self, (a, depth_a): (u32, f32), (b, depth_b): (u32, f32)) -> bool {
        if b == NOTHING {
            return false;
        }
        let (a, b) = (a as usize, b as usize);
        if self.part_of[a] == self.part_of[b] {
            return false;
        }
        let slope = self.screen.slopes[a] + self.screen.slopes[b];
        let steep = slope / SAMPLES as f32;
        (depth_a - depth_b).abs()
            <= TOUCHING
                + if steep.is_finite() {
                    steep.min(0.02)
                } else {
                    0.0
                }
    }
}
