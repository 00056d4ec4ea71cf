//! A reference by itself, as an adjustment in which nothing is registered: the rectified reference takes the place of the
//! render, and every figure is propagated in the same way.
use super::{
    adjustment::{Adjustment, MarkNoise, Noise, Pair},
    checks::settings::CHECKS,
};
use crate::{
    frame::Point,
    job::View,
    rectification::{Rectification, mark_sigma_px},
};

/// How well the marks of a reference are set.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) struct OwnNoise {
    /// Factor on what is stated or believed of the marks and of what was rectified by them.
    pub(crate) factor: f64,
    /// Its degrees of freedom; infinite where the job states how well it was marked.
    pub(crate) freedom: f64,
}

impl OwnNoise {
    /// Before anything was looked at: what the job states, else what is believed of clicks.
    pub(crate) fn beforehand(view: &View) -> Self {
        Self {
            factor: 1.0,
            freedom: match view.reference.mark_sigma_px {
                Some(_) => f64::INFINITY,
                None => CHECKS.prior_freedom.get(),
            },
        }
    }

    /// Standard deviation of a mark of the view's reference that states none of its own, reference px.
    pub(crate) fn deviation_px(self, view: &View) -> f64 {
        self.factor * view.reference.mark_sigma_px.unwrap_or_else(mark_sigma_px)
    }
}

/// The marks of a view's reference as pairs whose registered places are the rectified ones; nothing takes part in the solution, so
/// marks and numbers of the rectification are as independent as they were observed.
///
/// What it leaves out: that the outermost point of a smooth outline is badly known along it.
pub(crate) fn alone(
    view: &View,
    rectification: Option<&Rectification>,
    noise: OwnNoise,
) -> Adjustment {
    let own = view.reference.mark_sigma_px.unwrap_or_else(mark_sigma_px);
    let image = MarkNoise {
        sigma: own,
        is_own: false,
    };
    let pairs = view.landmarks.iter().map(|landmark| Pair {
        render: Point::new(0.0, 0.0),
        reference: landmark.reference,
        render_noise: MarkNoise::NONE,
        reference_noise: landmark.sigma_px[1].map_or(image, |sigma| MarkNoise {
            sigma,
            is_own: true,
        }),
        along: None,
        space: None,
        region: None,
        part: None,
    });
    let noise_now = Noise {
        reference: noise.factor,
        ..Noise::AS_STATED
    };
    Adjustment::unregistered(
        pairs.collect(),
        rectification,
        (noise_now, noise.freedom),
        [MarkNoise::NONE, image],
    )
}
