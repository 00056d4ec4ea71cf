//! Takes colours from the embedded ICC profile to sRGB.
//!
//! Source: ICC.1:2022, relative colorimetric intent, as the crate `moxcms` computes it.
use super::{
    embedded::{self, Unread},
    samples::grey_to_rgb,
};
use crate::stop;
use moxcms::{
    CmsError, ColorProfile, DataColorSpace, Layout, ParsingOptions, RenderingIntent,
    TransformOptions,
};
use rayon::prelude::*;

/// Pixels that one thread converts at a time.
const CHUNK_PIXELS: usize = 1 << 15;

/// Most points of a profile's grid: 129 a side for three channels, where 33 are usual; a judgement.
const MOST_GRID_POINTS: usize = 129 * 129 * 129;

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
    profile: Result<Option<Vec<u8>>, Unread>,
) -> (Vec<u8>, Option<String>) {
    let profile = match profile {
        Ok(Some(profile)) => profile,
        Ok(None) => return (as_rgb(samples, channels), None),
        Err(unread) => return (as_rgb(samples, channels), Some(note(&unread.to_string()))),
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

fn transform(mut profile: Vec<u8>, channels: Channels) -> Result<Transform, String> {
    keep_colour_tags(&mut profile);
    let parsing = ParsingOptions {
        max_profile_size: embedded::MOST_BYTES as usize + 1,
        max_allowed_clut_size: MOST_GRID_POINTS,
        ..ParsingOptions::default()
    };
    let source = ColorProfile::new_from_slice_with_options(&profile, parsing)
        .map_err(|fault| fault.to_string())?;
    drop(profile);
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

/// Strikes out of the list of tags what no colour is computed from, and all but the first of a name.
///
/// The crate copies each text as often as the list names it: a list that names a long one again and again grows without
/// a limit, and takes hours.
///
/// Source: ICC.1:2022, 7.3 (the list) and 9.2 (the names).
fn keep_colour_tags(profile: &mut [u8]) {
    const NAMES: [&[u8; 4]; 13] = [
        b"rXYZ", b"gXYZ", b"bXYZ", b"rTRC", b"gTRC", b"bTRC", b"kTRC", b"wtpt", b"chad", b"cicp",
        b"A2B0", b"A2B1", b"A2B2",
    ];
    // The head of the profile, then the number of tags, then twelve bytes each: name, place, length.
    let Some((head, list)) = profile.split_at_mut_checked(132) else {
        return;
    };
    let count = u32::from_be_bytes([head[128], head[129], head[130], head[131]]) as usize;
    let mut left = NAMES.map(Some);
    for tag in list.as_chunks_mut::<12>().0.iter_mut().take(count) {
        let is_it = |name: &Option<&[u8; 4]>| name.is_some_and(|name| tag.starts_with(name));
        match left.iter().position(is_it) {
            Some(at) => left[at] = None,
            // A name that no tag has.
            None => tag[..4].fill(0),
        }
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
        let (rgb, note) = to_srgb(samples.clone(), Channels::Rgb, Ok(Some(icc)));
        assert_eq!((rgb, note), (samples, None));
    }

    #[test]
    fn a_broken_profile_leaves_the_colours_and_a_note() {
        let (rgb, note) = to_srgb(
            vec![1, 2, 3],
            Channels::Rgb,
            Ok(Some(b"no profile".to_vec())),
        );
        assert_eq!(rgb, [1, 2, 3]);
        assert!(note.expect("a note").contains("taken as sRGB"));
    }

    #[test]
    fn a_grey_profile_of_another_gamma_is_applied_to_grey() {
        let icc = encoded(&ColorProfile::new_gray_with_gamma(1.0));
        let (rgb, note) = to_srgb(vec![0, 55, 255], Channels::Grey, Ok(Some(icc)));
        assert_eq!(note, None);
        // 55 / 255 in linear light is 129 in sRGB: IEC 61966-2-1, 1.055 * 0.2157^(1/2.4) - 0.055 = 0.502.
        assert!(rgb[3].abs_diff(128) <= 1, "{rgb:?}");
        assert_eq!((rgb[0], rgb[8]), (0, 255));
    }

    #[test]
    fn a_profile_for_other_colours_is_named() {
        let icc = encoded(&ColorProfile::new_gray_with_gamma(2.2));
        let (_, note) = to_srgb(vec![1, 2, 3], Channels::Rgb, Ok(Some(icc)));
        assert!(note.expect("a note").contains("Gray"));
    }

    /// A profile with these tags behind its own, all of one content.
    fn with_tags(profile: &[u8], names: &[[u8; 4]], content: &[u8]) -> Vec<u8> {
        let count = u32::from_be_bytes(profile[128..132].try_into().expect("four bytes"));
        let shift = names.len() as u32 * 12;
        let mut bytes = profile[..128].to_vec();
        bytes.extend((count + names.len() as u32).to_be_bytes());
        let list = &profile[132..132 + count as usize * 12];
        for tag in list.as_chunks::<12>().0 {
            let place = u32::from_be_bytes([tag[4], tag[5], tag[6], tag[7]]) + shift;
            bytes.extend([&tag[..4], &place.to_be_bytes(), &tag[8..]].concat());
        }
        let place = profile.len() as u32 + shift;
        for name in names {
            let length = content.len() as u32;
            bytes.extend([&name[..], &place.to_be_bytes(), &length.to_be_bytes()].concat());
        }
        bytes.extend(&profile[132 + list.len()..]);
        bytes.extend(content);
        bytes
    }

    #[test]
    fn texts_and_repeated_tags_change_no_colour() {
        let plain = encoded(&ColorProfile::new_display_p3());
        let names = [*b"desc", *b"rTRC", *b"rXYZ", *b"A2B9"];
        let more = with_tags(&plain, &names, b"text\0\0\0\0of no use");
        let samples: Vec<u8> = (0..=254).collect();
        let convert = |icc| to_srgb(samples.clone(), Channels::Rgb, Ok(Some(icc)));
        let (expected, note) = convert(plain);
        assert_ne!(expected, samples);
        assert_eq!(convert(more), (expected, note));
    }

    #[test]
    fn a_text_that_is_named_a_million_times_costs_nothing() {
        // Read as often as it is named, this takes 1.2 million times 2 MB.
        let plain = encoded(&ColorProfile::new_srgb());
        let names = vec![*b"desc"; 1_200_000];
        let content = [b"text\0\0\0\0".to_vec(), vec![b'a'; 2 << 20]].concat();
        let icc = with_tags(&plain, &names, &content);
        assert!(icc.len() < embedded::MOST_BYTES as usize);
        let begun = std::time::Instant::now();
        let (rgb, note) = to_srgb(vec![1, 2, 3], Channels::Rgb, Ok(Some(icc)));
        assert_eq!((rgb, note), (vec![1, 2, 3], None));
        assert!(begun.elapsed() < std::time::Duration::from_secs(60));
    }

    #[test]
    fn a_grid_beyond_all_use_is_refused() {
        let plain = encoded(&ColorProfile::new_srgb());
        // A table of 8 bits from three channels to three, 130 points a side, identity matrix, curves of 256 steps.
        let mut table = b"mft1\0\0\0\0\x03\x03\x82\0".to_vec();
        let one = [0, 1, 0, 0];
        table.extend((0..9).flat_map(|i| if i % 4 == 0 { one } else { [0; 4] }));
        table.extend(vec![0; 3 * 256 + 130 * 130 * 130 * 3 + 3 * 256]);
        let icc = with_tags(&plain, &[*b"A2B1"], &table);
        assert!(icc.len() < embedded::MOST_BYTES as usize);
        let (_, note) = to_srgb(vec![1, 2, 3], Channels::Rgb, Ok(Some(icc)));
        assert!(note.expect("a note").contains("taken as sRGB"));
    }

    #[test]
    fn a_profile_that_is_not_read_leaves_the_colours_and_a_note() {
        let (rgb, note) = to_srgb(vec![1, 2, 3], Channels::Rgb, Err(Unread::TooLong));
        assert_eq!(rgb, [1, 2, 3]);
        let words = "cannot be used (it is longer than 16 MB); the colours are taken as sRGB";
        assert!(note.expect("a note").contains(words));
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
            let (rgb, _) = to_srgb(vec![9; 30], Channels::Rgb, Ok(Some(bad)));
            assert_eq!(rgb.len(), 30);
        }
        for length in 0..good.len() {
            to_srgb(vec![9; 3], Channels::Rgb, Ok(Some(good[..length].to_vec())));
        }
    }
}
