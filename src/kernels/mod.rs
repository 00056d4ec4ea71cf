//! Pixel work on plain rasters: no files, no job, no landmarks.

/// One value a pixel, indexed `[[row, column]]`, rows contiguous.
pub type Plane<T> = ndarray::Array2<T>;
