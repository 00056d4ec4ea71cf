//! Carries marks over from an image to its next version: the render after a change of the model, another light, a crop.
//!
//! [`Change`] finds what changed in the whole; each mark is then looked for by itself, so that a part that was changed on purpose is
//! followed part by part. What is not found is said, and why.
#![doc = include_str!("METHOD.md")]
mod by_camera;
mod change;
mod document;
mod levels;
mod patch;
pub(crate) mod settings;
#[cfg(test)]
mod tests;
mod track;

pub use by_camera::InSpace;
pub use document::{CarriedJob, Refused, carry_job};
pub use track::{Carried, CarriedBy, Lost};

use image::RgbImage;
use levels::Levels;
use nalgebra::{Matrix3, Vector2};
use settings::CARRY;

/// What changed between two versions of an image, and both of them.
pub struct Change {
    old: Levels,
    new: Levels,
    map: Matrix3<f64>,
    /// Whether enough of the old image was found in the new one to tell the change; else it is taken for one of size alone.
    pub is_told: bool,
}

/// What became of one landmark.
#[derive(Clone, Debug)]
pub struct CarriedMark {
    /// Its name.
    pub name: String,
    /// Where it was, pixels of the old image.
    pub from: [f64; 2],
    /// Where it is, and how surely; or why it was left out.
    pub to: Result<Carried, Lost>,
    /// How far it moved beside what moved with the whole picture, pixels: a part that was changed shows so.
    pub by_itself_px: Option<f64>,
}

impl Change {
    /// Looks for what changed.
    pub fn between(old: &RgbImage, new: &RgbImage) -> Self {
        let (old, new) = (Levels::of(old), Levels::of(new));
        let found = change::between(&old, &new);
        let [from, to] = [old.size(), new.size()];
        let by_size = Matrix3::from_diagonal(&[to[0] / from[0], to[1] / from[1], 1.0].into());
        Self {
            old,
            new,
            map: found.unwrap_or(by_size),
            is_told: found.is_some(),
        }
    }

    /// Takes pixels of the old image to those of the new one, row by row.
    pub fn matrix(&self) -> [[f64; 3]; 3] {
        std::array::from_fn(|r| std::array::from_fn(|c| self.map[(r, c)]))
    }

    /// Carries one mark over, pixels; one `on_outline` need be known across the outline alone.
    ///
    /// # Errors
    /// Where it cannot be found again.
    pub fn carry(&self, mark: [f64; 2], on_outline: bool) -> Result<Carried, Lost> {
        self.carry_with_part(mark, &Matrix3::identity(), on_outline)
    }

    /// The same for a mark on a part of which it is known what it did beside the whole.
    fn carry_with_part(
        &self,
        mark: [f64; 2],
        part: &Matrix3<f64>,
        on_outline: bool,
    ) -> Result<Carried, Lost> {
        let least = if self.is_told {
            CARRY.least_likeness.get()
        } else {
            CARRY.alone_likeness.get()
        };
        let both = [&self.old, &self.new];
        track::carry(both, mark, &(part * self.map), (on_outline, least))
    }

    /// Where a place goes with the whole; `None` beyond the horizon of a projective change.
    pub fn with_the_whole(&self, place: [f64; 2]) -> Option<[f64; 2]> {
        track::at(&self.map, Vector2::from(place)).map(|(p, _)| p.into())
    }
}
