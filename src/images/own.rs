//! Pictures that the program has encoded itself.
use image::RgbImage;

/// The pixels of a picture in a file of the program's own; `None` where it is none.
pub fn of_own_file(bytes: &[u8]) -> Option<RgbImage> {
    Some(image::load_from_memory(bytes).ok()?.to_rgb8())
}
