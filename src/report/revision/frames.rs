//! How the renders of two revisions lie to each other.
use crate::{
    frame::{Projective, ReferencePx, RenderPx, WorkPx},
    report::json::ViewEntry,
};
use nalgebra::Matrix3;

/// Takes pixels of the render now, over the reference that both were laid on, to those of a picture of the earlier render that has
/// `picture_px` of its pixels for one of that render's; `None` where the references differ, or a lens was taken off one of them.
pub fn earlier_from_now(
    before: &ViewEntry,
    after: &ViewEntry,
    picture_px: f64,
) -> Option<Projective<WorkPx, RenderPx>> {
    let is_known = after.reference.blake3.is_some();
    if !is_known || before.reference.blake3 != after.reference.blake3 {
        return None;
    }
    let [before, after] = [before, after].map(|view| view.registration.as_ref());
    let (before, after) = (before?, after?);
    if before.lens != after.lens {
        return None;
    }
    let map = |matrix: [[f64; 3]; 3]| {
        let matrix = Matrix3::from_fn(|row, column| matrix[row][column]);
        Projective::<RenderPx, ReferencePx>::from_matrix(matrix)
    };
    let now_from_reference = map(after.matrix)?;
    let then_from_reference = map(before.matrix)?;
    let picture_from_then = Projective::<WorkPx, RenderPx>::similarity(picture_px, 0.0, [0.0, 0.0]);
    Some(
        picture_from_then
            .after(&then_from_reference)
            .after(&now_from_reference.inverse()),
    )
}
