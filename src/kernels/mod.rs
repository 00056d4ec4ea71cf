//! Pixel work on plain rasters: no files, no job, no landmarks.
//!
//! Every kernel works in rows or bands in parallel and gives the same result whatever the number of threads and
//! whatever the processor. Coordinates are those of the whole program: the first pixel's centre is (0.5, 0.5).
pub mod blur;
pub mod box_mean;
pub mod canny;
pub mod depth;
pub mod distance;
pub mod fill;
pub(crate) mod gradient;
pub mod gray;
pub mod likeness;
pub mod notch;
pub mod outline;
pub mod reach;
pub mod resize;
pub mod sample;
mod sobel;
pub mod spectrum;
#[cfg(test)]
pub(crate) mod test_planes;
pub mod warp;
mod wide;

use std::borrow::Cow;

/// One value a pixel, indexed `[[row, column]]`, rows contiguous.
pub type Plane<T> = ndarray::Array2<T>;

/// The pixels row by row; copied only where a plane lies otherwise in memory (a transposed one).
fn row_by_row<T: Copy>(plane: &Plane<T>) -> Cow<'_, [T]> {
    match plane.as_slice() {
        Some(pixels) => Cow::Borrowed(pixels),
        None => Cow::Owned(plane.iter().copied().collect()),
    }
}

/// A plane of these pixels, row by row.
fn plane_of<T>(width: usize, height: usize, pixels: Vec<T>) -> Plane<T> {
    Plane::from_shape_vec((height, width), pixels).expect("a kernel writes width * height pixels")
}
