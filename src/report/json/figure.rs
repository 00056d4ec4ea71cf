//! Figures as they are written.
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

/// A figure with its 95 % interval; `low <= value <= high`.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Figure {
    /// The best estimate.
    pub value: f64,
    /// Lower end of the 95 % interval.
    pub low: f64,
    /// Upper end of the 95 % interval.
    pub high: f64,
}

/// A figure along each axis.
#[derive(Clone, Copy, Debug, Default, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Pair {
    /// To the right.
    pub x: Option<Figure>,
    /// Down.
    pub y: Option<Figure>,
}
