//! Pictures for the page: decoded once, reduced by halves, cut into tiles.
use crate::{
    drawing,
    images::{self, Limits},
    kernels::resize,
};
use image::{RgbImage, imageops};
use serde_json::{Value, json};
use std::{
    collections::HashMap,
    fs,
    path::{Path, PathBuf},
    sync::{Arc, Mutex, PoisonError},
};

/// Side of a tile, pixels.
const TILE: u32 = 512;
/// Pictures that are held at a time: both of this view and of the one before.
const MOST_HELD: usize = 4;
/// What a transparent render is laid over.
const GROUND: u32 = 208;

/// A picture with its reductions by 2, 4, 8 ...
#[derive(Debug)]
pub(super) struct Pyramid {
    levels: Vec<RgbImage>,
}

/// All pictures that the page has asked for.
#[derive(Debug)]
pub(super) struct Pictures {
    limits: Limits,
    shelf: Mutex<Shelf>,
}

#[derive(Debug, Default)]
struct Shelf {
    /// Files by their stamp.
    files: HashMap<String, PathBuf>,
    /// The last ones used at the end.
    held: Vec<(String, Arc<Pyramid>)>,
    sizes: HashMap<String, (u32, u32)>,
}

impl Pictures {
    pub fn new(limits: Limits) -> Self {
        Self {
            limits,
            shelf: Mutex::default(),
        }
    }

    /// Size and reductions of a picture, and the stamp under which its tiles are found.
    pub fn describe(&self, path: &Path) -> Result<Value, images::Error> {
        let stamp = stamp(path);
        let pyramid = self.load(&stamp, path)?;
        let sizes: Vec<[u32; 2]> = (pyramid.levels.iter())
            .map(|level| [level.width(), level.height()])
            .collect();
        Ok(json!({ "stamp": stamp, "tile": TILE, "levels": sizes }))
    }

    /// One tile as JPEG; `None` where there is none.
    pub fn tile(&self, stamp: &str, level: usize, column: u32, row: u32) -> Option<Vec<u8>> {
        let path = self.shelf().files.get(stamp).cloned()?;
        let pyramid = self.load(stamp, &path).ok()?;
        let picture = pyramid.levels.get(level)?;
        let (left, top) = (column.checked_mul(TILE)?, row.checked_mul(TILE)?);
        let width = TILE.min(picture.width().checked_sub(left)?);
        let height = TILE.min(picture.height().checked_sub(top)?);
        if width == 0 || height == 0 {
            return None;
        }
        let tile = imageops::crop_imm(picture, left, top, width, height).to_image();
        drawing::encode_jpeg(&tile).ok()
    }

    /// The picture at its full size.
    pub fn full(&self, path: &Path) -> Result<Arc<Pyramid>, images::Error> {
        self.load(&stamp(path), path)
    }

    /// Width and height; no pixel is decoded.
    pub fn size(&self, path: &Path) -> Option<(u32, u32)> {
        let stamp = stamp(path);
        if let Some(size) = self.shelf().sizes.get(&stamp) {
            return Some(*size);
        }
        let size = images::dimensions(path).ok()?;
        self.shelf().sizes.insert(stamp, size);
        Some(size)
    }

    fn load(&self, stamp: &str, path: &Path) -> Result<Arc<Pyramid>, images::Error> {
        {
            let mut shelf = self.shelf();
            if let Some(at) = shelf.held.iter().position(|(s, _)| s == stamp) {
                let found = shelf.held.remove(at);
                let pyramid = Arc::clone(&found.1);
                shelf.held.push(found);
                return Ok(pyramid);
            }
        }
        let picture = images::read(path, &self.limits)?;
        let pyramid = Arc::new(Pyramid::of(on_ground(picture)));
        let mut shelf = self.shelf();
        shelf.files.insert(stamp.to_owned(), path.to_owned());
        shelf.held.push((stamp.to_owned(), Arc::clone(&pyramid)));
        if shelf.held.len() > MOST_HELD {
            shelf.held.remove(0);
        }
        Ok(pyramid)
    }

    fn shelf(&self) -> std::sync::MutexGuard<'_, Shelf> {
        self.shelf.lock().unwrap_or_else(PoisonError::into_inner)
    }
}

impl Pyramid {
    fn of(picture: RgbImage) -> Self {
        let mut levels = vec![picture];
        loop {
            let last = &levels[levels.len() - 1];
            let (width, height) = last.dimensions();
            if width.max(height) <= TILE {
                return Self { levels };
            }
            let half = resize::reduce_rgb(last, width.div_ceil(2), height.div_ceil(2));
            levels.push(half);
        }
    }

    /// The picture at its full size.
    pub fn picture(&self) -> &RgbImage {
        &self.levels[0]
    }
}

/// Tells a file from all others and from itself after a change.
fn stamp(path: &Path) -> String {
    let data = fs::metadata(path).ok();
    let changed = data.as_ref().and_then(|data| data.modified().ok());
    let text = format!("{path:?} {:?} {changed:?}", data.map(|data| data.len()));
    blake3::hash(text.as_bytes()).to_hex()[..16].to_owned()
}

fn on_ground(picture: images::Picture) -> RgbImage {
    let mut rgb = picture.rgb;
    if let Some(alpha) = &picture.alpha {
        for (pixel, alpha) in rgb.pixels_mut().zip(alpha.iter()) {
            let alpha = u32::from(*alpha);
            for sample in &mut pixel.0 {
                *sample = ((u32::from(*sample) * alpha + GROUND * (255 - alpha)) / 255) as u8;
            }
        }
    }
    rgb
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn tiles_cover_the_picture_and_nothing_beyond() {
        let folder = tempfile::tempdir().expect("a folder");
        let path = folder.path().join("a.png");
        RgbImage::new(1100, 300).save(&path).expect("written");
        let pictures = Pictures::new(Limits::default());
        let about = pictures.describe(&path).expect("decodes");
        assert_eq!(about["levels"], json!([[1100, 300], [550, 150], [275, 75]]));
        let stamp = about["stamp"].as_str().expect("text");
        assert!(
            pictures
                .tile(stamp, 0, 2, 0)
                .is_some_and(|t| t.starts_with(b"\xff\xd8"))
        );
        for (level, column, row) in [(0, 3, 0), (0, 0, 1), (3, 0, 0), (0, u32::MAX, 0)] {
            assert!(pictures.tile(stamp, level, column, row).is_none());
        }
        assert!(pictures.tile("0000000000000000", 0, 0, 0).is_none());
        assert_eq!(pictures.size(&path), Some((1100, 300)));
    }

    #[test]
    fn a_changed_file_has_another_stamp() {
        let folder = tempfile::tempdir().expect("a folder");
        let path = folder.path().join("a.png");
        RgbImage::new(20, 30).save(&path).expect("written");
        let pictures = Pictures::new(Limits::default());
        let before = pictures.describe(&path).expect("decodes");
        RgbImage::new(40, 30).save(&path).expect("written");
        let after = pictures.describe(&path).expect("decodes");
        assert_ne!(before["stamp"], after["stamp"]);
        assert_eq!(pictures.size(&path), Some((40, 30)));
    }
}
