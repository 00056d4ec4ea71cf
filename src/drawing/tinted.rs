//! The model drawn in parallel from one side, its parts tinted by their verdicts.
use super::{colours::PAPER, difference::verdict_colour, scene::Box2};
use crate::{
    measurement::Verdict,
    meshes::{self, Edges, Model, Projection, ProjectionError},
    stop::Stopped,
};
use image::{Rgb, RgbImage};

/// How much of a tinted facet is the verdict's colour.
const TINT: f64 = 0.6;
/// Parts that are out are hatched, so that a grey print tells them: a line of two pixels in so many, darker by this.
const HATCH: u32 = 14;
const HATCH_WIDTH: u32 = 3;
const HATCH_SHADE: f64 = 0.62;
/// How much paler than drawn the parts are that have no figures.
const PALE: f64 = 0.45;
/// A part of which fewer pixels are seen gets no label.
const LEAST_PIXELS: usize = 60;

/// From where a model is looked at.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Side {
    /// Along y: x to the right, z up.
    Front,
    /// From the right, against x: y to the right, z up.
    Right,
    /// From above, against z: x to the right, y up.
    Top,
}

impl Side {
    pub(crate) const ALL: [Self; 3] = [Self::Front, Self::Right, Self::Top];

    /// The axes of the model that run to the right and up.
    pub(crate) fn axes(self) -> [usize; 2] {
        match self {
            Self::Front => [0, 2],
            Self::Right => [1, 2],
            Self::Top => [0, 1],
        }
    }

    pub(crate) fn caption(self) -> &'static str {
        match self {
            Self::Front => "front: x to the right, z up",
            Self::Right => "from the right: y to the right, z up",
            Self::Top => "top: x to the right, y up",
        }
    }

    /// Model millimetres to pixels, `scale` pixels a millimetre, the box of the model `margin` pixels from the left and the top.
    fn matrix(self, [least, greatest]: [[f64; 3]; 2], scale: f64, margin: f64) -> [[f64; 4]; 3] {
        let [right, up] = self.axes();
        let mut rows = [[0.0; 4]; 3];
        rows[0][right] = scale;
        rows[0][3] = margin - scale * least[right];
        rows[1][up] = -scale;
        rows[1][3] = margin + scale * greatest[up];
        rows[2][3] = 1.0;
        rows
    }
}

/// A tinted picture of the model.
pub(crate) struct Tinted {
    pub picture: RgbImage,
    /// The box of what is seen of each part, pixels; `None` where hardly anything is.
    pub seen: Vec<Option<Box2>>,
}

/// Why the model is not drawn from a side.
#[derive(Clone, Copy, Debug)]
pub(crate) enum NotTinted {
    Stopped(Stopped),
    Projection(ProjectionError),
}

/// Draws the model from a side; `verdicts` are those of its parts.
pub(crate) fn tinted(
    (model, edges): (&Model, &Edges),
    side: Side,
    verdicts: &[Option<Verdict>],
    (scale, margin, size): (f64, f64, [u32; 2]),
) -> Result<Tinted, NotTinted> {
    let matrix = side.matrix(model.model_box(), scale, margin);
    let projection = Projection::new(matrix, model).map_err(NotTinted::Projection)?;
    let drawing = meshes::draw(model, edges, &projection, size).map_err(NotTinted::Stopped)?;
    let mut picture = drawing.picture;
    let mut boxes = vec![(0_usize, [u32::MAX, u32::MAX, 0, 0]); verdicts.len()];
    for (x, y, pixel) in picture.enumerate_pixels_mut() {
        let part = usize::from(drawing.parts[[y as usize, x as usize]]);
        let Some(part) = part.checked_sub(1) else {
            continue;
        };
        let verdict = verdicts.get(part).copied().flatten();
        *pixel = shade(*pixel, verdict, (x + y) % HATCH < HATCH_WIDTH);
        if let Some((count, [left, top, right, bottom])) = boxes.get_mut(part) {
            *count += 1;
            (*left, *top) = ((*left).min(x), (*top).min(y));
            (*right, *bottom) = ((*right).max(x + 1), (*bottom).max(y + 1));
        }
    }
    let seen = boxes.into_iter().map(|(count, corners)| {
        let [left, top, right, bottom] = corners.map(f64::from);
        (count >= LEAST_PIXELS).then(|| Box2::new(left, top, right - left, bottom - top))
    });
    Ok(Tinted {
        picture,
        seen: seen.collect(),
    })
}

fn shade(pixel: Rgb<u8>, verdict: Option<Verdict>, is_hatch: bool) -> Rgb<u8> {
    let share = f64::from(pixel.0[0]) / 255.0;
    let Some(verdict) = verdict else {
        let pale = (PALE + (1.0 - PALE) * share) * 255.0;
        return Rgb([pale.round() as u8; 3]);
    };
    let is_dark = verdict == Verdict::Out && is_hatch;
    let share = if is_dark { share * HATCH_SHADE } else { share };
    let (colour, paper) = (verdict_colour(verdict).channels(), PAPER.channels());
    Rgb(std::array::from_fn(|k| {
        let full = TINT * f64::from(colour[k]) + (1.0 - TINT) * f64::from(paper[k]);
        (full * share).round() as u8
    }))
}
