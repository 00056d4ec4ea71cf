//! Figures of a reference alone as they stand on its drawing.
use super::figures;
use crate::{
    measurement::{MeasuredBy, ReferenceAlone},
    statistics::{
        Measured,
        words::{Sign, decimals, plus_minus},
    },
};

/// "600.1 ±1.5 [25.00]": the full-size length with its interval, that on the model in brackets.
pub(super) fn length(full_size: Measured, denominator: f64) -> String {
    let model = full_size.times(1.0 / denominator);
    let places = (1.0 - model.half_width().max(1e-4).log10())
        .ceil()
        .clamp(0.0, 3.0);
    format!(
        "{} [{}]",
        plus_minus(full_size, Sign::Minus, ""),
        decimals(model.value(), places as usize)
    )
}

/// "12.3 ±0.3°"; the arc says which way.
pub(super) fn angle(deg: Measured) -> String {
    plus_minus(deg.times(deg.value().signum()), Sign::Minus, "°")
}

/// What the figures of a drawing are.
pub(super) fn head(view: &str, denominator: f64) -> String {
    format!(
        "{view}: full-size mm with their 95 % intervals [mm on the model at 1:{}]",
        figures::plain(denominator)
    )
}

/// What else is to be known of it.
pub(super) fn notes(alone: &ReferenceAlone, untold: usize) -> Vec<String> {
    let by = match alone.by {
        MeasuredBy::Plane => {
            "All lengths are those in the plane of the reference; what stands before or behind it is not in them."
        }
        MeasuredBy::Camera { .. } => {
            "Lengths are those of the landmarks at the depths of their places on the model; the picture is seen in perspective."
        }
    };
    let mut notes = vec![by.to_owned()];
    if untold > 0 {
        notes.push(format!(
            "{untold} span{} cannot be told and {} not drawn; the table says why.",
            if untold == 1 { "" } else { "s" },
            if untold == 1 { "is" } else { "are" }
        ));
    }
    notes
}
