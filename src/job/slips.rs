//! What is wrong with a text that is not JSON, for people who write it by hand.
use crate::printable::on_one_line;
use serde_json::error::Category;

/// Characters of the line that are shown on either side of the place.
const AROUND: usize = 24;

/// The parser's words, what stands at the place, and what to do about the usual slips.
pub(super) fn words(text: &str, error: &serde_json::Error) -> String {
    let said = error.to_string();
    if error.classify() == Category::Eof {
        let advice = "a bracket or a quotation mark is not closed, or the file was cut off";
        return format!("{said}: the text ends too early; {advice}");
    }
    let (line, column) = (error.line(), error.column());
    let Some(shown) = text.lines().nth(line.saturating_sub(1)) else {
        return said;
    };
    // Columns are counted in bytes, from 1 on; that of a slip is its own or the one after it.
    let at = shown.floor_char_boundary(column.saturating_sub(1));
    let (before, after) = shown.split_at(at);
    let from = before.char_indices().rev().nth(AROUND - 1);
    let before_shown = &before[from.map_or(0, |(i, _)| i)..];
    let to = after
        .char_indices()
        .nth(AROUND)
        .map_or(after.len(), |(i, _)| i);
    let place = format!("{before_shown}{}", &after[..to]).replace('\t', " ");
    let there = format!("{said}, near `{}`", on_one_line(place.trim()));
    match advice(&said, (before, after), line) {
        Some(advice) => format!("{there}: {advice}"),
        None => there,
    }
}

/// What to do about it, where it is one of the usual slips.
fn advice(said: &str, (before, after): (&str, &str), line: usize) -> Option<String> {
    let next = after.trim_start();
    if next.starts_with("//") || next.starts_with("/*") || next.starts_with('#') {
        return Some(
            "JSON has no comments; write what you want to remember into a \"note\"".to_owned(),
        );
    }
    if next.starts_with(['\u{201c}', '\u{201d}', '\u{201e}', '\u{ab}', '\'']) {
        return Some("write plain quotation marks: \"".to_owned());
    }
    if said.starts_with("trailing comma") {
        return Some("take away the comma before the closing bracket".to_owned());
    }
    if said.starts_with("key must be a string") {
        return Some("a key stands in quotation marks: \"name\": ...".to_owned());
    }
    if said.starts_with("expected `,` or") && !next.is_empty() {
        let is_first = before.trim().is_empty();
        return Some(if is_first && line > 1 {
            "a comma is missing at the end of what stands before".to_owned()
        } else {
            "a comma is missing before it".to_owned()
        });
    }
    None
}

#[cfg(test)]
mod tests {
    use super::*;
    use serde_json::Value;

    fn said(text: &str) -> String {
        let error = serde_json::from_str::<Value>(text).expect_err("no JSON");
        words(text, &error)
    }

    #[test]
    fn the_usual_slips_are_told_with_their_place_and_what_to_do() {
        for (text, place, advice) in [
            (
                "{\n  \"a\": 1\n  \"b\": 2\n}",
                "at line 3 column 3, near `\"b\": 2`",
                "a comma is missing at the end of what",
            ),
            (
                "{\"a\": [1 2]}",
                "near `{\"a\": [1 2]}`",
                "a comma is missing before it",
            ),
            ("{\"a\": [1, 2,]}", "column", "take away the comma"),
            ("{\"a\": 1,\n}", "line 2", "take away the comma"),
            ("{\"a\": 1 // one\n}", "// one", "JSON has no comments"),
            (
                "{\"a\": \u{201c}x\u{201d}}",
                "\u{201c}x\u{201d}",
                "plain quotation marks",
            ),
            ("{a: 1}", "{a: 1}", "a key stands in quotation marks"),
            ("{\"a\": [1, 2", "line 1", "ends too early"),
        ] {
            let said = said(text);
            assert!(
                said.contains(place) && said.contains(advice),
                "{text}: {said}"
            );
        }
    }

    #[test]
    fn long_lines_are_cut_and_what_is_no_usual_slip_has_its_place_alone() {
        let long = format!(
            "{{\"a\": \"{}\", \"b\": nothing, \"c\": \"{}\"}}",
            "\u{e4}".repeat(500),
            "\u{f6}".repeat(500)
        );
        let said = said(&long);
        assert!(
            said.contains("nothing") && said.chars().count() < 140,
            "{said}"
        );
    }

    #[test]
    fn any_text_has_words() {
        for text in [
            "",
            "\n",
            "\u{feff}",
            "{\"\u{e4}\": \u{fc}}",
            "[1e999]",
            "{} {}",
            "\r\n\r\n,",
        ] {
            assert!(!said(text).is_empty());
        }
    }
}
