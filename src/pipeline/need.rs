//! How much memory a view takes at most, reckoned from what its files say before they are read.
//!
//! A view goes through its stages one after the other, and holds what the later ones still need: the need is that of the
//! largest stage. The factors are those of the code, and were measured at the allocator with pictures as rich as noise,
//! which compress to nothing less (`tests/memory.rs`; `tests/bench/MEASURED.md` has the figures).
use crate::{
    edges::in_space,
    images::{PictureLook, ViewLook},
    job::{RenderImage, View},
    measurement::{WorkingPixels, bytes_of_patches, working_pixels},
};

/// Bytes a pixel of the reference while a screen's patterns are filtered out and its light is masked: two copies, a channel
/// of one before and after the filter, masks.
const SCREEN: u64 = 9;
/// Bytes a pixel of the reference that stay of it: the filtered copy and the mask.
const SCREEN_KEPT: u64 = 4;
/// Bytes a pixel of the window in which edges are fitted: six blurred channels, gradients, responses.
const WINDOW: u64 = 60;
/// Bytes a pixel of the window that the response keeps.
const RESPONSE: u64 = 6;
/// Bytes a pixel of the working grid while both images lie on it: colours, edges, distances, likeness.
const GRID: u64 = 41;
/// Bytes a pixel of the working grid while all pictures are drawn at once.
const DRAWING: u64 = 49;
/// Bytes a pixel of the render while the registered reference is encoded: itself, deflated, and written into a buffer that
/// doubles.
const ENCODING: u64 = 12;
/// Bytes a pixel of a render while it is drawn: samples with their depths and facets, lines, colours, parts.
pub(super) const DRAWN: u64 = 44;
/// What does not depend on the images, bytes: fonts, the sheet, threads.
const CONSTANT: u64 = 40 << 20;

/// Bytes that comparing a view takes at most, at one time. `rectified` is how many pixels its rectified reference has,
/// where that is shown.
pub(super) fn of_view(view: &View, look: &ViewLook, rectified: u64) -> u64 {
    let (render, reference) = (look.render.pixels(), look.reference.pixels());
    let mut pixels = working_pixels(view, look.render.size());
    if view.render.image == RenderImage::Drawn {
        // Regions come with the picture, and may be anywhere in it.
        pixels.window = pixels.grid;
    }
    let masks = look.render.silhouette_bytes() + look.reference.silhouette_bytes();
    let shape = look.render.shape_bytes();
    let read = look.render.picture_bytes() + look.reference.picture_bytes() + masks + shape;
    let kept = look.reference.picture_bytes() + masks + shape + SCREEN_KEPT * reference;
    // A view with a camera may have its edges from the mesh.
    let seen_mesh = view.render.camera.map_or(0, |_| DRAWN * render);
    // The photo of another camera is looked through for them as it is.
    let is_elsewhere = !view.same_camera && view.render.camera.is_some();
    let by_camera = match is_elsewhere {
        true => {
            let grid = reference.min(in_space::pixels_of_each(1) as u64);
            kept + 3 * render + WINDOW * grid + DRAWN * grid
        }
        false => 0,
    };
    let stages = [
        by_camera,
        look.reading_bytes(),
        read + 3 * rectified,
        read + SCREEN * reference,
        read + seen_mesh,
        kept + 3 * pixels.grid + WINDOW * pixels.window,
        // The registered reference at the render's size, and the filtered copy as well.
        kept + 6 * render + GRID * pixels.grid,
        drawing(&pixels, render),
    ];
    stages.into_iter().fold(0, u64::max) + bytes_of_patches(view) + CONSTANT
}

/// Bytes that rectifying a picture takes at most, where it comes to have this size.
pub(super) fn of_rectification(look: &PictureLook, [width, height]: [u32; 2]) -> u64 {
    let rectified = u64::from(width) * u64::from(height);
    let working = look.kept_bytes() + ENCODING.saturating_mul(rectified);
    look.peak_bytes().max(working).saturating_add(CONSTANT)
}

/// Bytes that looking for edges in photos takes at most, on grids of at most `working` pixels.
pub(super) fn of_photo_edges(looks: &[&PictureLook], working: u64) -> u64 {
    let grids = looks.iter().map(|look| look.pixels().min(working));
    let kept: u64 = grids.map(|grid| RESPONSE.saturating_mul(grid)).sum();
    let reading = looks.iter().map(|look| {
        let grid = look.pixels().min(working);
        let working = look
            .kept_bytes()
            .saturating_add(WINDOW.saturating_mul(grid));
        look.peak_bytes().max(working)
    });
    let most = reading.fold(0, u64::max);
    kept.saturating_add(most).saturating_add(CONSTANT)
}

fn drawing(pixels: &WorkingPixels, render: u64) -> u64 {
    let encoded = if pixels.is_reduced {
        render
    } else {
        pixels.grid
    };
    DRAWING * pixels.grid + ENCODING * encoded
}
