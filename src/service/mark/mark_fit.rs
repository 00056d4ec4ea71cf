//! What the page is told of each mark.
use serde::Serialize;

/// One landmark.
#[derive(Debug, Serialize)]
pub(super) struct MarkFit {
    pub name: String,
    pub residual_px: [f64; 2],
    /// Half of its 95 % interval along itself, render pixels; of a mark on the model reference pixels.
    pub half_px: f64,
    /// Where the reference's mark falls in the render; of a mark on the model where it is itself.
    pub in_render: [f64; 2],
    /// Where the render's mark, or the place on the model, falls in the reference.
    pub in_reference: [f64; 2],
    pub test_statistic: Option<f64>,
    pub critical_value: f64,
    pub smallest_detectable_px: Option<f64>,
    /// "wrong", "swapped" or "uncontrolled".
    pub finding: Option<&'static str>,
    /// The finding in words.
    pub text: Option<String>,
}

/// Where the partner of a single mark is.
#[derive(Debug, Serialize)]
pub(super) struct DraftPrediction {
    /// Name of the single mark.
    pub name: String,
    /// The image of its partner.
    pub side: &'static str,
    pub place: [f64; 2],
    pub half_axes: [f64; 2],
    pub turned_deg: f64,
}
