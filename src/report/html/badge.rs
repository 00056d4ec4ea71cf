//! A verdict on the page.
use crate::report::json::Verdict;
use maud::{Markup, html};

/// A verdict by word, sign, colour and border.
pub(super) fn badge(verdict: Option<Verdict>) -> Markup {
    html! {
        @if let Some(verdict) = verdict {
            span class={ "verdict " (verdict.word()) } {
                (verdict.word()) " " span aria-hidden="true" { (verdict.sign()) }
            }
        } @else {
            span.verdict.failed { "not compared" }
        }
    }
}
