//! Takes colours from the embedded ICC profile to sRGB.
//!
//! Source: ICC.1:2022, relative colorimetric intent, as the crate `moxcms` computes it.
use super::samples::grey_to_rgb;
use crate::stop;
use moxcms::{CmsError, ColorProfile, DataColorSpace, Layout, RenderingIntent, TransformOptions};
use rayon::prelude::*;

/// Pixels that one thread converts at a time.
const CHUNK_PIXELS: usize = 1 << 15;

/// What the samples of one pixel are.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Channels {
    /// One: grey.
    Grey,
    /// Three: red, green, blue.
    Rgb,
}

/// The samples as 8-bit sRGB, and a note where the profile could not be used (the samples are then taken as sRGB).
pub(super) fn to_srgb(
    samples: Vec<u8>,
    channels: Channels,
    profile: Option<&[u8]>,
) -> (Vec<u8>, Option<String>) {
    let Some(profile) = profile else {
        return (as_rgb(samples, channels), None);
    };
    match transform(profile, channels) {
        Ok(Transform::None) => (as_rgb(samples, channels), None),
        Ok(Transform::Rgb(executor)) => {
            let mut rgb = as_rgb(samples, channels);
            let outcome = convert_rgb(&mut rgb, &*executor);
            (rgb, outcome.err().map(|fault| note(&fault.to_string())))
        }
        Ok(Transform::Grey(executor)) => {
            let mut rgb = vec![0; samples.len() * 3];
            match convert_grey(&samples, &mut rgb, &*executor) {
                Ok(()) => (rgb, None),
                Err(fault) => (grey_to_rgb(&samples), Some(note(&fault.to_string()))),
            }
        }
        Err(fault) => (as_rgb(samples, channels), Some(note(&fault))),
    }
}

fn note(fault: &str) -> String {
    format!("the embedded colour profile cannot be used ({fault}); the colours are taken as sRGB")
}

fn as_rgb(samples: Vec<u8>, channels: Channels) -> Vec<u8> {
    match channels {
        Channels::Rgb => samples,
        Channels::Grey => grey_to_rgb(&samples),
    }
}

type Executor = dyn moxcms::TransformExecutor<u8> + Send + Sync;

enum Transform {
    /// The profile is sRGB, to within a level.
    None,
    Rgb(std::sync::Arc<Executor>),
    Grey(std::sync::Arc<Executor>),
}

fn transform(profile: &[u8], channels: Channels) -> Result<Transform, String> {
    let source = ColorProfile::new_from_slice(profile).map_err(|fault| fault.to_string())?;
    let options = TransformOptions {
        rendering_intent: RenderingIntent::RelativeColorimetric,
        ..TransformOptions::default()
    };
    let to_srgb = |layout| {
        source
            .create_transform_8bit(layout, &ColorProfile::new_srgb(), Layout::Rgb, options)
            .map_err(|fault| fault.to_string())
    };
    match (source.color_space, channels) {
        (DataColorSpace::Rgb, _) => {
            let executor = to_srgb(Layout::Rgb)?;
            let changes = changes_colours(&*executor).map_err(|fault| fault.to_string())?;
            Ok(if changes {
                Transform::Rgb(executor)
            } else {
                Transform::None
            })
        }
        (DataColorSpace::Gray, Channels::Grey) => Ok(Transform::Grey(to_srgb(Layout::Gray)?)),
        (other, _) => Err(format!("it is made for {other:?} colours")),
    }
}

/// Whether the transform moves any of 9 x 9 x 9 colours by more than a level.
///
/// Most profiles are sRGB in one wording or another; running them would cost time and add rounding.
fn changes_colours(executor: &Executor) -> Result<bool, CmsError> {
    let level = |step: usize| (step * 255 / 8) as u8;
    let before: Vec<u8> = (0..9 * 9 * 9)
        .flat_map(|i| [level(i / 81), level(i / 9 % 9), level(i % 9)])
        .collect();
    let mut after = vec![0; before.len()];
    executor.transform(&before, &mut after)?;
    Ok(before.iter().zip(&after).any(|(a, b)| a.abs_diff(*b) > 1))
}

fn convert_rgb(rgb: &mut [u8], executor: &Executor) -> Result<(), CmsError> {
    rgb.par_chunks_mut(CHUNK_PIXELS * 3)
        .map_init(Vec::new, |scratch: &mut Vec<u8>, chunk| {
            if stop::is_asked() {
                return Ok(());
            }
            scratch.clear();
            scratch.extend_from_slice(chunk);
            executor.transform(scratch, chunk)
        })
        .collect()
}

fn convert_grey(grey: &[u8], rgb: &mut [u8], executor: &Executor) -> Result<(), CmsError> {
    rgb.par_chunks_mut(CHUNK_PIXELS * 3)
        .zip(grey.par_chunks(CHUNK_PIXELS))
        .map(|(to, from)| executor.transform(from, to))
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    fn encoded(profile: &ColorProfile) -> Vec<u8> {
        profile.encode().expect("a profile of the crate's own")
    }

    #[test]
    fn an_srgb_profile_changes_no_byte() {
        let samples: Vec<u8> = (0..=255).chain(0..=254).chain([3]).collect();
        let samples = samples[..510].to_vec();
        let icc = encoded(&ColorProfile::new_srgb());
        let (rgb, note) = to_srgb(samples.clone(), Channels::Rgb, Some(&icc));
        assert_eq!((rgb, note), (samples, None));
    }

    #[test]
    fn a_broken_profile_leaves_the_colours_and_a_note() {
        let (rgb, note) = to_srgb(vec![1, 2, 3], Channels::Rgb, Some(b"no profile"));
        assert_eq!(rgb, [1, 2, 3]);
        assert!(note.expect("a note").contains("taken as sRGB"));
    }

    #[test]
    fn a_grey_profile_of_another_gamma_is_applied_to_grey() {
        let icc = encoded(&ColorProfile::new_gray_with_gamma(1.0));
        let (rgb, note) = to_srgb(vec![0, 55, 255], Channels::Grey, Some(&icc));
        assert_eq!(note, None);
        // 55 / 255 in linear light is 129 in sRGB: IEC 61966-2-1, 1.055 * 0.2157^(1/2.4) - 0.055 = 0.502.
        assert!(rgb[3].abs_diff(128) <= 1, "{rgb:?}");
        assert_eq!((rgb[0], rgb[8]), (0, 255));
    }

    #[test]
    fn a_profile_for_other_colours_is_named() {
        let icc = encoded(&ColorProfile::new_gray_with_gamma(2.2));
        let (_, note) = to_srgb(vec![1, 2, 3], Channels::Rgb, Some(&icc));
        assert!(note.expect("a note").contains("Gray"));
    }

    #[test]
    fn no_damage_to_a_profile_panics() {
        let good = encoded(&ColorProfile::new_display_p3());
        let mut state = 1_u64;
        for _ in 0..400 {
            let mut bad = good.clone();
            for _ in 0..4 {
                state = state
                    .wrapping_mul(6_364_136_223_846_793_005)
                    .wrapping_add(1);
                let place = (state >> 33) as usize % bad.len();
                bad[place] ^= 1 << (state >> 60 & 7);
            }
            let (rgb, _) = to_srgb(vec![9; 30], Channels::Rgb, Some(&bad));
            assert_eq!(rgb.len(), 30);
        }
        for length in 0..good.len() {
            to_srgb(vec![9; 3], Channels::Rgb, Some(&good[..length]));
        }
    }
}
