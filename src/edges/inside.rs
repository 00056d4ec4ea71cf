//! Which points of the render a region holds.
use crate::job::Region;
use nalgebra::Vector2;

/// Whether a region's outline holds a point of the render (even-odd rule).
pub(crate) fn holds(region: &Region, place: Vector2<f64>) -> bool {
    let outline = &region.outline;
    let crosses = |k: usize| {
        let (a, b) = (outline[k], outline[(k + 1) % outline.len()]);
        (a.y > place.y) != (b.y > place.y)
            && place.x < a.x + (place.y - a.y) / (b.y - a.y) * (b.x - a.x)
    };
    (0..outline.len()).filter(|&k| crosses(k)).count() % 2 == 1
}
