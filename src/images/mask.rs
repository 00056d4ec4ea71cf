//! Silhouettes: from a picture's own opacity or from an image of their own.
use super::{
    Error, Limits, Picture, decode,
    header::{self, Header},
};
use crate::{
    job::Mask,
    kernels::{Plane, fill},
};
use rayon::prelude::*;
use std::path::Path;

/// Opacity or brightness from which on a pixel is inside, 0 to 255.
const INSIDE_FROM: u8 = 128;

/// Reads an image as a silhouette: 255 where it is bright and opaque, 0 where it is dark or transparent (below 128).
///
/// `size` is the upright width and height of the picture that the mask belongs to. Brightness is ITU-R BT.601 luma.
///
/// # Errors
/// Those of [`decode::read`], and [`Error::MaskSize`] where the sizes differ (before any pixel is read).
pub fn read_mask(path: &Path, limits: &Limits, size: (u32, u32)) -> Result<Plane<u8>, Error> {
    check_size(path, header::dimensions(path)?, size)?;
    Ok(silhouette(&decode::read(path, limits)?))
}

/// A mask must have the size of its picture.
pub(super) fn check_size(
    path: &Path,
    found: (u32, u32),
    expected: (u32, u32),
) -> Result<(), Error> {
    if found == expected {
        return Ok(());
    }
    Err(Error::MaskSize {
        path: path.to_owned(),
        found,
        expected,
    })
}

/// The silhouette that a job asks for with `picture`; `header` is what was seen of the mask where it is an image.
pub(super) fn of_picture(
    mask: &Mask,
    picture: &Picture,
    header: Option<&Header>,
    limits: &Limits,
) -> Result<Option<Plane<u8>>, Error> {
    match mask {
        Mask::None => Ok(None),
        Mask::Alpha => Ok(picture.alpha.as_ref().map(opaque)),
        Mask::Outline(corners) => {
            let (width, height) = picture.rgb.dimensions();
            Ok(Some(fill::fill_polygon(
                corners,
                (width as usize, height as usize),
            )))
        }
        Mask::Image(path) => {
            let mask = decode::read_as_seen(path, limits, header)?;
            Ok(Some(silhouette(&mask)))
        }
    }
}

fn opaque(alpha: &Plane<u8>) -> Plane<u8> {
    alpha.mapv(|value| if value >= INSIDE_FROM { 255 } else { 0 })
}

fn silhouette(picture: &Picture) -> Plane<u8> {
    let (width, height) = picture.rgb.dimensions();
    let (pixels, _) = picture.rgb.as_raw().as_chunks::<3>();
    let bright: Vec<u8> = pixels
        .par_iter()
        .with_min_len(1 << 14)
        .map(|&[r, g, b]| {
            let luma = (299 * u32::from(r) + 587 * u32::from(g) + 114 * u32::from(b) + 500) / 1000;
            if luma >= u32::from(INSIDE_FROM) {
                255
            } else {
                0
            }
        })
        .collect();
    let mut inside = Plane::from_shape_vec((height as usize, width as usize), bright)
        .expect("an image has width times height pixels");
    if let Some(alpha) = &picture.alpha {
        inside.zip_mut_with(alpha, |value, &opacity| {
            if opacity < INSIDE_FROM {
                *value = 0;
            }
        });
    }
    inside
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn bright_and_opaque_is_inside() {
        let rgb = image::RgbImage::from_raw(
            4,
            1,
            vec![255, 255, 255, 127, 127, 127, 128, 128, 128, 255, 255, 255],
        );
        let alpha = Plane::from_shape_vec((1, 4), vec![255, 255, 128, 127]);
        let picture = Picture {
            rgb: rgb.expect("four pixels"),
            alpha: alpha.ok(),
            notes: Vec::new(),
        };
        assert_eq!(silhouette(&picture).as_slice(), Some(&[255, 0, 255, 0][..]));
    }
}
