//! What the depth of landmarks does to their marks where the render's camera and their places on the model contradict each
//! other, so that parallax is not taken off.
//!
//! A point before or behind the plane of the others is moved in the picture by the move of the camera in parts of its
//! distance, times that depth. Neither is known: the first is taken for what is expected of a camera that stands elsewhere,
//! the second for a share of how far the landmarks lie from each other. All of it follows the factor on the noise, which is
//! estimated, for the move is the same for all of them.
use super::{
    adjustment::{ADJUSTMENT, EXPECTED_MOVE},
    checks::places::Places,
};
use crate::job::{LandmarkUse, View};
use nalgebra::Vector2;

/// For each landmark of the view the deviation that its depth brings, render pixels; `None` where depth is not in doubt, or
/// nothing is known to be wrong about it.
pub(super) fn deviations(view: &View, places: &Places) -> Option<Vec<f64>> {
    let is_in_doubt = !view.same_camera && matches!(places, Places::CameraMisses { .. });
    is_in_doubt.then(|| {
        let datum: Vec<usize> = (0..view.landmarks.len())
            .filter(|&i| view.landmarks[i].usage == LandmarkUse::Datum)
            .collect();
        let of_datum = deviation(view, &datum);
        let of_parts: Vec<f64> = (view.regions.iter())
            .map(|region| deviation(view, &region.landmarks))
            .collect();
        let of = |i: usize| match view.landmarks[i].usage {
            LandmarkUse::Datum => of_datum,
            LandmarkUse::Check => {
                let part = view.regions.iter().position(|r| r.landmarks.contains(&i));
                part.map_or(of_datum, |j| of_parts[j])
            }
        };
        (0..view.landmarks.len()).map(of).collect()
    })
}

/// That of landmarks among each other: by how far the farthest lies from their middle.
fn deviation(view: &View, landmarks: &[usize]) -> f64 {
    let marks = || {
        landmarks
            .iter()
            .map(|&i| Vector2::from(view.landmarks[i].render.xy()))
    };
    let middle = marks().sum::<Vector2<f64>>() / landmarks.len().max(1) as f64;
    let radius = marks().map(|m| (m - middle).norm()).fold(0.0, f64::max);
    EXPECTED_MOVE * ADJUSTMENT.unknown_relief.get() * radius
}
