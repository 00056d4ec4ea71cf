//! What became of several shots of a reference: as it is written, and in words.
use super::{finite::finite, json::*, wording::decimals};
use crate::images::Shots;

/// What became of them, as it is written.
pub(super) fn entry(shots: &Shots) -> ShotsEntry {
    ShotsEntry {
        given: shots.given,
        used: shots.used,
        noise_of_one: shots.noise.and_then(|noise| finite(noise.one)),
        noise_of_mean: shots.noise.and_then(|noise| finite(noise.all)),
    }
}

/// "The reference is the mean of 4 of 5 shots: its noise is 1.9 grey levels, that of one shot 3.8.".
pub(super) fn sentence(view: &ViewEntry) -> Option<String> {
    let shots = view.shots.as_ref()?;
    let of = match shots.given == shots.used {
        true => shots.used.to_string(),
        false => format!("{} of {}", shots.used, shots.given),
    };
    let noise = match (shots.noise_of_one, shots.noise_of_mean) {
        (Some(one), Some(mean)) => format!(
            ": its noise is {} grey levels, that of the first shot {}",
            decimals(mean, 1),
            decimals(one, 1)
        ),
        _ => String::new(),
    };
    Some(format!("The reference is the mean of {of} shots{noise}."))
}
