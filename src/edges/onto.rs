//! The way from a point of the subject to the place where the reference answers for it.
use crate::{
    frame::{FromReference, IntoReference, Point, Projective, RenderPx, WorkPx},
    registration::adjustment::State,
};
use nalgebra::Vector2;

/// Takes render pixels to the grid on which the reference was laid by an earlier state of the adjustment.
pub(super) enum WorkFromRender {
    /// Both states have the same lens: one projective map.
    Direct(Projective<WorkPx, RenderPx>),
    /// The lens has changed: by way of the reference.
    ByReference(IntoReference<RenderPx>, FromReference<WorkPx>),
}

impl WorkFromRender {
    pub(super) fn new(work_from_reference: &FromReference<WorkPx>, state: &State) -> Self {
        let rectified = &state.rectified_from_reference;
        let rectified_from_render = state.render_from_rectified.inverse();
        if rectified.lens() == work_from_reference.lens() {
            let undistorted_from_rectified = rectified.projective().inverse();
            let work_from_rectified = work_from_reference.projective();
            return Self::Direct(
                work_from_rectified
                    .after(&undistorted_from_rectified.after(&rectified_from_render)),
            );
        }
        let reference_from_render = rectified.inverse().after(&rectified_from_render);
        Self::ByReference(reference_from_render, *work_from_reference)
    }

    fn apply(&self, p: Point<RenderPx>) -> Point<WorkPx> {
        match self {
            Self::Direct(map) => map.apply(p),
            Self::ByReference(into, out) => out.apply(into.apply(p)),
        }
    }
}

/// Takes a point of the subject, as the render's camera sees it, to the response.
pub(crate) struct OntoResponse {
    pub(super) map: WorkFromRender,
    /// For each edge point: how far the reference's camera sees it elsewhere, render pixels.
    pub(super) shifts: Vec<Vector2<f64>>,
}

impl OntoResponse {
    /// `subject` is the place of edge point `k`.
    pub(super) fn apply(&self, subject: Vector2<f64>, k: usize) -> Vector2<f64> {
        let seen = subject + self.shifts[k];
        let p = self.map.apply(Point::new(seen.x, seen.y));
        Vector2::new(p.x, p.y)
    }
}
