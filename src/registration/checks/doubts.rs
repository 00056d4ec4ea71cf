//! What a solved adjustment lets doubt of what it rests on.
use super::settings::CHECKS;
use crate::{job::View, registration::adjustment::Adjustment};

impl Adjustment {
    /// Whether the noise of the marks was estimated, and is the most that is taken for noise.
    pub(crate) fn has_most_noise(&self) -> bool {
        let most = self.noise.render.max(self.noise.reference);
        self.noise_freedom.is_finite() && most >= CHECKS.most_noise.get()
    }

    /// Whether depth may look like an offset: the reference was taken from elsewhere, as the view says, and no camera with
    /// places on the model tells how far.
    pub(crate) fn mistakes_depth(&self, view: &View) -> bool {
        !view.same_camera && self.problem.layout.parallax.is_none()
    }

    /// Whether the reference's camera is another one than the render's, fitted to places on the model: it bends to errors of the
    /// datum landmarks.
    pub(crate) fn camera_is_free(&self) -> bool {
        self.problem.layout.parallax.is_some()
    }

    /// How far the reference's camera had to be moved from the render's, over the expected deviation of one of its
    /// numbers (the largest of them); `None` where both are the same.
    pub(crate) fn camera_shift_over_expected(&self) -> Option<f64> {
        let parallax = self.problem.layout.parallax.as_ref()?;
        let most = self.solved.state.shift.iter().map(|s| s.abs());
        Some(most.fold(0.0, f64::max) / parallax.expected_deviation())
    }
}
