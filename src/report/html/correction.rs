//! One thing to change.
use crate::report::{json::*, wording::*};
use maud::{Markup, html};

/// What to change, and how far off it is.
pub(super) fn correction(c: &CorrectionEntry) -> Markup {
    html! {
        (clean(&correction_text(c)))
        @if let Some(times) = c.times_tolerance {
            " " span.soft { (decimals(times, 1)) " times the tolerance" }
        }
    }
}
