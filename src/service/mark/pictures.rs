//! Pictures for the page: decoded once, reduced by halves, cut into tiles.
use super::stamp;
use crate::{
    drawing,
    images::{self, Budget, Hold, Limits, PictureLook},
    job::MarkedOn,
    kernels::resize,
};
use image::{RgbImage, imageops};
use serde_json::{Value, json};
use std::{
    collections::HashMap,
    fs,
    path::{Path, PathBuf},
    sync::{Arc, Mutex, MutexGuard, PoisonError},
};

/// Side of a tile, pixels.
pub(super) const TILE: u32 = 512;
/// Pictures that are held at a time: both of this view and of the one before.
const MOST_HELD: usize = 4;
/// What a transparent render is laid over.
pub(super) const GROUND: u32 = 208;

/// How far a patch shows around a mark, pixels.
const AROUND: u32 = 24;
/// How much larger it is shown.
const ENLARGED: u32 = 6;

/// How far around a place something to mark is looked for, pixels of the coarsest reduction.
const NEAR: u32 = 8;
/// Plain ground varies by so many grey levels at most: noise, and the fall of light.
const PLAIN: u8 = 40;

/// Bytes a pixel of a picture with all its reductions: three, and a third of that.
const PYRAMID: u64 = 4;

/// A picture with its reductions by 2, 4, 8 ...
#[derive(Debug)]
pub(super) struct Pyramid {
    levels: Vec<RgbImage>,
    _memory: Hold,
}

/// All pictures that the page has asked for.
#[derive(Debug)]
pub(super) struct Pictures {
    limits: Limits,
    memory: Budget,
    /// One picture is decoded at a time.
    turn: Mutex<()>,
    shelf: Arc<Mutex<Shelf>>,
}

/// What a picture takes while it is decoded and afterwards.
struct Need {
    look: PictureLook,
    bytes: u64,
    kept: u64,
}

#[derive(Debug, Default)]
struct Shelf {
    /// Files by their stamp.
    files: HashMap<String, PathBuf>,
    /// The last ones used at the end.
    held: Vec<(String, Arc<Pyramid>)>,
    sizes: HashMap<String, (u32, u32)>,
    contents: HashMap<String, MarkedOn>,
}

impl Pictures {
    pub fn new(limits: Limits, memory: Budget) -> Self {
        let shelf = Arc::<Mutex<Shelf>>::default();
        let kept = Arc::downgrade(&shelf);
        // A picture that nobody looks at just now is decoded again when it is wanted.
        memory.keep_store(Box::new(move || {
            if let Some(shelf) = kept.upgrade() {
                locked(&shelf).held.clear();
            }
        }));
        Self {
            limits,
            memory,
            turn: Mutex::default(),
            shelf,
        }
    }

    /// Size and reductions of a picture, and the stamp under which its tiles are found.
    pub fn describe(&self, path: &Path) -> Result<Value, images::Error> {
        let stamp = stamp_of(path);
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
        let size = [picture.width(), picture.height()];
        let [left, top, width, height] = tile_area(size, [column, row])?;
        let tile = imageops::crop_imm(picture, left, top, width, height).to_image();
        drawing::encode_jpeg(&tile).ok()
    }

    /// What surrounds a place, enlarged, as JPEG; what lies outside of the picture is grey. `None` where it cannot be read.
    pub fn patch(&self, path: &Path, [x, y]: [f64; 2]) -> Option<Vec<u8>> {
        let pyramid = self.load(&stamp_of(path), path).ok()?;
        let picture = pyramid.picture();
        let side = 2 * AROUND;
        // The place lies in the middle to within half a pixel, as the cross over it does.
        let [left, top] = [x, y].map(|v| v.clamp(-1e6, 1e6).floor() as i64 - i64::from(AROUND));
        let ground = image::Rgb([GROUND as u8; 3]);
        let mut patch = RgbImage::from_pixel(side, side, ground);
        for (u, v, pixel) in patch.enumerate_pixels_mut() {
            let at = |start: i64, step: u32| u32::try_from(start + i64::from(step)).ok();
            let found = at(left, u).zip(at(top, v));
            if let Some(inside) = found.and_then(|(x, y)| picture.get_pixel_checked(x, y)) {
                *pixel = *inside;
            }
        }
        let shown = side * ENLARGED;
        let large = imageops::resize(&patch, shown, shown, imageops::FilterType::Triangle);
        drawing::encode_jpeg(&large).ok()
    }

    /// Two pictures at their full size.
    pub fn both(&self, paths: [&Path; 2]) -> Result<[Arc<Pyramid>; 2], images::Error> {
        let stamps = paths.map(stamp_of);
        let held = || Some([self.held(&stamps[0])?, self.held(&stamps[1])?]);
        let _turn = self.turn();
        if let Some(both) = held() {
            return Ok(both);
        }
        // For both at once: who holds one and waits for the other may wait for ever.
        let [first, second] = paths.map(|path| self.need(path));
        let (first, second) = (first?, second?);
        let mut memory = self.take(paths[0], first.bytes + second.bytes)?;
        let memory_of_second = memory.split(second.bytes);
        let first = self.decoded(paths[0], &first, memory)?;
        let second = self.decoded(paths[1], &second, memory_of_second)?;
        Ok([
            self.keep(&stamps[0], paths[0], first),
            self.keep(&stamps[1], paths[1], second),
        ])
    }

    /// A picture that is held just now; nothing is decoded, and it is no later used than before.
    pub fn at_hand(&self, path: &Path) -> Option<Arc<Pyramid>> {
        let stamp = stamp_of(path);
        let shelf = self.shelf();
        let held = shelf.held.iter().find(|(s, _)| *s == stamp);
        held.map(|(_, picture)| Arc::clone(picture))
    }

    /// A picture, decoded where it is not held.
    pub fn read(&self, path: &Path) -> Result<Arc<Pyramid>, images::Error> {
        self.load(&stamp_of(path), path)
    }

    /// What tells the file from all others and from itself after a change.
    pub fn stamp_of(&self, path: &Path) -> String {
        stamp_of(path)
    }

    /// Width and height; no pixel is decoded.
    pub fn size(&self, path: &Path) -> Option<(u32, u32)> {
        let stamp = stamp_of(path);
        if let Some(size) = self.shelf().sizes.get(&stamp) {
            return Some(*size);
        }
        let size = images::dimensions(path).ok()?;
        self.shelf().sizes.insert(stamp, size);
        Some(size)
    }

    /// Size and checksum of a picture's file; `None` where it cannot be read. The file is read once as long as it stays.
    pub fn content(&self, path: &Path) -> Option<MarkedOn> {
        let stamp = stamp_of(path);
        if let Some(content) = self.shelf().contents.get(&stamp) {
            return Some(content.clone());
        }
        let content = images::content(path, &self.limits).ok()?;
        self.shelf().contents.insert(stamp, content.clone());
        Some(content)
    }

    fn load(&self, stamp: &str, path: &Path) -> Result<Arc<Pyramid>, images::Error> {
        if let Some(found) = self.held(stamp) {
            return Ok(found);
        }
        // All tiles of a picture are asked for at once: the first request decodes it for the others.
        let _turn = self.turn();
        if let Some(found) = self.held(stamp) {
            return Ok(found);
        }
        let need = self.need(path)?;
        let memory = self.take(path, need.bytes)?;
        let pyramid = self.decoded(path, &need, memory)?;
        Ok(self.keep(stamp, path, pyramid))
    }

    /// A picture that is held, which is the last one used then.
    fn held(&self, stamp: &str) -> Option<Arc<Pyramid>> {
        let mut shelf = self.shelf();
        let at = shelf.held.iter().position(|(s, _)| s == stamp)?;
        let found = shelf.held.remove(at);
        let pyramid = Arc::clone(&found.1);
        shelf.held.push(found);
        Some(pyramid)
    }

    fn keep(&self, stamp: &str, path: &Path, pyramid: Pyramid) -> Arc<Pyramid> {
        let pyramid = Arc::new(pyramid);
        let mut shelf = self.shelf();
        shelf.files.insert(stamp.to_owned(), path.to_owned());
        shelf.held.push((stamp.to_owned(), Arc::clone(&pyramid)));
        if shelf.held.len() > MOST_HELD {
            shelf.held.remove(0);
        }
        pyramid
    }

    fn need(&self, path: &Path) -> Result<Need, images::Error> {
        let look = images::look_at(path, &self.limits)?;
        let kept = PYRAMID.saturating_mul(look.pixels());
        Ok(Need {
            bytes: look.peak_bytes().max(look.kept_bytes() + kept),
            kept,
            look,
        })
    }

    fn take(&self, path: &Path, bytes: u64) -> Result<Hold, images::Error> {
        let memory = self.memory.take(bytes, &|| false);
        memory.map_err(|error| images::Error::Memory {
            path: path.to_owned(),
            error,
        })
    }

    fn decoded(
        &self,
        path: &Path,
        need: &Need,
        mut memory: Hold,
    ) -> Result<Pyramid, images::Error> {
        let picture = images::read_looked(path, &self.limits, &need.look)?;
        let levels = levels(on_ground(picture));
        memory.shrink_to(need.kept);
        Ok(Pyramid {
            levels,
            _memory: memory,
        })
    }

    fn turn(&self) -> MutexGuard<'_, ()> {
        self.turn.lock().unwrap_or_else(PoisonError::into_inner)
    }

    fn shelf(&self) -> MutexGuard<'_, Shelf> {
        locked(&self.shelf)
    }
}

fn locked(shelf: &Mutex<Shelf>) -> MutexGuard<'_, Shelf> {
    shelf.lock().unwrap_or_else(PoisonError::into_inner)
}

/// Left, top, width and height of a tile of a picture of this width and height; `None` where there is none.
pub(super) fn tile_area(size: [u32; 2], [column, row]: [u32; 2]) -> Option<[u32; 4]> {
    let (left, top) = (column.checked_mul(TILE)?, row.checked_mul(TILE)?);
    let width = TILE.min(size[0].checked_sub(left)?);
    let height = TILE.min(size[1].checked_sub(top)?);
    (width > 0 && height > 0).then_some([left, top, width, height])
}

/// This width and height and their halves, until they fit a tile.
pub(super) fn halves(size: [u32; 2]) -> Vec<[u32; 2]> {
    let half = |[width, height]: &[u32; 2]| {
        (*width.max(height) > TILE).then(|| [width.div_ceil(2), height.div_ceil(2)])
    };
    std::iter::successors(Some(size), half).collect()
}

/// The picture and its halves.
fn levels(picture: RgbImage) -> Vec<RgbImage> {
    let sizes = halves([picture.width(), picture.height()]);
    let mut levels = vec![picture];
    for [width, height] in &sizes[1..] {
        let half = resize::reduce_rgb(&levels[levels.len() - 1], *width, *height);
        levels.push(half);
    }
    levels
}

impl Pyramid {
    /// Whether something is seen around a place of the picture, that a mark could be set on: plain ground is as light everywhere.
    pub fn has_detail(&self, [x, y]: [f64; 2]) -> bool {
        let small = &self.levels[self.levels.len() - 1];
        let factor = f64::from(small.width()) / f64::from(self.levels[0].width());
        let at = |v: f64, size: u32| ((v * factor).max(0.0) as u32).min(size.saturating_sub(1));
        let (cx, cy) = (at(x, small.width()), at(y, small.height()));
        let near = |c: u32, size: u32| c.saturating_sub(NEAR)..(c + NEAR + 1).min(size);
        let mut range = (u8::MAX, 0);
        for v in near(cy, small.height()) {
            for u in near(cx, small.width()) {
                let green = small.get_pixel(u, v)[1];
                range = (range.0.min(green), range.1.max(green));
            }
        }
        range.1.saturating_sub(range.0) > PLAIN
    }

    /// The picture at its full size.
    pub fn picture(&self) -> &RgbImage {
        &self.levels[0]
    }
}

/// Tells a file from all others and from itself after a change.
fn stamp_of(path: &Path) -> String {
    let data = fs::metadata(path).ok();
    let changed = data.as_ref().and_then(|data| data.modified().ok());
    let text = format!("{path:?} {:?} {changed:?}", data.map(|data| data.len()));
    stamp::of(&text)
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
        let pictures = Pictures::new(Limits::default(), Budget::new(1 << 30));
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

    /// Two pictures, and memory for one of them with what decoding it takes beside.
    fn two_pictures(folder: &Path) -> ([PathBuf; 2], u64) {
        let paths = ["a.png", "b.png"].map(|name| folder.join(name));
        for path in &paths {
            RgbImage::new(1200, 900).save(path).expect("written");
        }
        let look = images::look_at(&paths[0], &Limits::default()).expect("sound");
        (paths, look.kept_bytes() + PYRAMID * look.pixels())
    }

    #[test]
    fn pictures_take_turns_where_the_memory_holds_one_of_them() {
        let folder = tempfile::tempdir().expect("a folder");
        let (paths, room) = two_pictures(folder.path());
        let memory = Budget::new(room);
        let pictures = Pictures::new(Limits::default(), memory.clone());
        // Many requests for both at the same time, as the page makes them.
        std::thread::scope(|scope| {
            for number in 0..12 {
                let (pictures, path) = (&pictures, &paths[number % 2]);
                scope.spawn(move || {
                    let about = pictures.describe(path).expect("decodes");
                    let stamp = about["stamp"].as_str().expect("text");
                    assert!(pictures.tile(stamp, 0, 0, 0).is_some());
                });
            }
        });
        // A comparison gets it all: the page keeps nothing that it can decode again.
        assert!(memory.take(room, &|| false).is_ok());
    }

    #[test]
    fn both_pictures_are_taken_at_once_or_not_at_all() {
        let folder = tempfile::tempdir().expect("a folder");
        let (paths, room) = two_pictures(folder.path());
        let [a, b] = [&paths[0], &paths[1]];
        let too_small = Pictures::new(Limits::default(), Budget::new(2 * room - 1));
        let error = too_small.both([a, b]).expect_err("too little");
        assert_eq!(error.code(), "too-little-memory");
        let pictures = Pictures::new(Limits::default(), Budget::new(2 * room));
        std::thread::scope(|scope| {
            for pair in [[a, b], [b, a], [a, b], [b, a]] {
                let pictures = &pictures;
                scope.spawn(move || pictures.both(pair.map(PathBuf::as_path)).expect("decoded"));
            }
        });
    }

    #[test]
    fn plain_ground_has_nothing_to_mark() {
        let mut picture = RgbImage::from_pixel(1000, 800, image::Rgb([200; 3]));
        for (x, y, pixel) in picture.enumerate_pixels_mut() {
            if x > 600 && y > 500 {
                *pixel = image::Rgb([90; 3]);
            }
        }
        let memory = Budget::new(1 << 30).take(1, &|| false).expect("there");
        let pyramid = Pyramid {
            levels: levels(picture),
            _memory: memory,
        };
        assert!(pyramid.has_detail([600.0, 500.0]));
        for plain in [[100.0, 100.0], [900.0, 100.0], [-5.0, 9e9]] {
            assert!(!pyramid.has_detail(plain), "{plain:?}");
        }
    }

    #[test]
    fn a_changed_file_has_another_stamp() {
        let folder = tempfile::tempdir().expect("a folder");
        let path = folder.path().join("a.png");
        RgbImage::new(20, 30).save(&path).expect("written");
        let pictures = Pictures::new(Limits::default(), Budget::new(1 << 30));
        let before = pictures.describe(&path).expect("decodes");
        RgbImage::new(40, 30).save(&path).expect("written");
        let after = pictures.describe(&path).expect("decodes");
        assert_ne!(before["stamp"], after["stamp"]);
        assert_eq!(pictures.size(&path), Some((40, 30)));
    }
}
