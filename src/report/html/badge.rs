//! A verdict on the page.
use crate::report::json::Verdict;

/// A verdict by word, sign, colour and border.
pub(super) fn badge(verdict: Option<Verdict>) -> String {
    let Some(verdict) = verdict else {
        return "<span class=\"verdict failed\">not compared</span>".to_owned();
    };
    let (word, sign) = (verdict.word(), verdict.sign());
    format!("<span class=\"verdict {word}\">{word} <span aria-hidden=\"true\">{sign}</span></span>")
}
