//! Regions of a view from what is seen of each part of the mesh.
use super::{Error, settings::DRAWN};
use crate::{
    frame::{Point, RenderPx},
    job::{self, Landmark, Region, Tolerance},
    kernels::{Plane, outline, reach},
    meshes::{Drawing, Model},
};
use rayon::prelude::*;

/// Regions that a view has at most.
const MOST_REGIONS: usize = 1000;
/// Corners that an outline has at most.
const MOST_CORNERS: usize = 300;

/// A region for each part of which enough is seen, in the mesh's order, and the names of the others.
pub(super) fn regions(
    drawing: &Drawing,
    model: &Model,
    landmarks: &[Landmark],
    tolerance: Tolerance,
) -> Result<(Vec<Region>, Vec<String>), Error> {
    let boxes = boxes(&drawing.parts, model.parts().len());
    let seen = boxes.iter().filter(|found| found.is_seen()).count();
    if seen > MOST_REGIONS {
        return Err(Error::TooManyParts {
            found: seen,
            most: MOST_REGIONS,
        });
    }
    let parts: Vec<_> = model.parts().iter().zip(&boxes).enumerate().collect();
    let outlines: Vec<Option<Vec<Point<RenderPx>>>> = parts
        .par_iter()
        .map(|(index, (_, found))| {
            let outline = || of_part(&drawing.parts, *index as u16 + 1, found);
            found.is_seen().then(outline).flatten()
        })
        .collect();
    let (mut regions, mut hidden) = (Vec::new(), Vec::new());
    for ((_, (part, _)), outline) in parts.into_iter().zip(outlines) {
        let Some(outline) = outline else {
            hidden.push(part.name.clone());
            continue;
        };
        let is_on = |i: &usize| landmarks[*i].part.as_deref() == Some(part.name.as_str());
        regions.push(Region {
            name: part.name.clone(),
            anchor: job::centre_of(&outline),
            outline,
            landmarks: (0..landmarks.len()).filter(is_on).collect(),
            tolerance,
            note: None,
        });
    }
    Ok((regions, hidden))
}

/// What is seen of a part.
#[derive(Clone, Copy, Debug)]
struct Seen {
    pixels: usize,
    /// Least and greatest column and row.
    columns: [usize; 2],
    rows: [usize; 2],
}

impl Seen {
    fn is_seen(&self) -> bool {
        self.pixels >= DRAWN.least_pixels.count()
    }
}

fn boxes(parts: &Plane<u16>, count: usize) -> Vec<Seen> {
    let none = Seen {
        pixels: 0,
        columns: [usize::MAX, 0],
        rows: [usize::MAX, 0],
    };
    let mut boxes = vec![none; count];
    for ((row, column), part) in parts.indexed_iter() {
        let Some(found) = usize::from(*part)
            .checked_sub(1)
            .and_then(|k| boxes.get_mut(k))
        else {
            continue;
        };
        found.pixels += 1;
        found.columns = [found.columns[0].min(column), found.columns[1].max(column)];
        found.rows = [found.rows[0].min(row), found.rows[1].max(row)];
    }
    boxes
}

/// The outline around what is seen of a part, a little wider; `None` where it encloses nothing.
fn of_part(parts: &Plane<u16>, own: u16, seen: &Seen) -> Option<Vec<Point<RenderPx>>> {
    let wider = DRAWN.outline_margin.get();
    // A pixel more, so that the outline has something to go round.
    let border = wider.ceil() as usize + 1;
    let (left, top) = (seen.columns[0], seen.rows[0]);
    let (width, height) = (seen.columns[1] - left + 1, seen.rows[1] - top + 1);
    let mask = Plane::from_shape_fn(
        (height + 2 * border, width + 2 * border),
        |(row, column)| {
            let inside = (row.wrapping_sub(border), column.wrapping_sub(border));
            let is_own = inside.0 < height
                && inside.1 < width
                && parts[[top + inside.0, left + inside.1]] == own;
            u8::from(is_own)
        },
    );
    let (border_of_piece, share) = outline::largest_piece(&reach::reach(&mask, wider))?;
    let around = if share < DRAWN.one_piece.get() {
        let all = reach::reach(&mask, wider);
        let pixels = all.indexed_iter().filter(|(_, m)| **m != 0);
        let middles: Vec<[f64; 2]> = pixels
            .map(|((row, column), _)| [column as f64 + 0.5, row as f64 + 0.5])
            .collect();
        outline::hull(&middles)
    } else {
        border_of_piece
    };
    let corners = outline::simplified(&around, DRAWN.outline_within.get(), MOST_CORNERS);
    let (width, height) = (parts.ncols() as f64, parts.nrows() as f64);
    let place = |[x, y]: [f64; 2]| {
        let x = x + left as f64 - border as f64;
        let y = y + top as f64 - border as f64;
        Point::new(x.clamp(0.0, width), y.clamp(0.0, height))
    };
    (corners.len() >= 3).then(|| corners.into_iter().map(place).collect())
}
