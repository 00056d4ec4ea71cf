//! Places of a job in words, for people who see names and no file.
use crate::{job::Fault, printable::shortened};
use serde_json::Value;

/// A fault with the names of what it is in: `view "side", landmark "tank front", use: ...`.
pub(super) fn fault(fault: &Fault, job: &Value) -> String {
    match in_words(&fault.pointer, job) {
        place if place.is_empty() => fault.text(),
        place => format!("{place}: {}", fault.text()),
    }
}

/// A JSON pointer into a job as names: entries of lists by their `name`, else by their number, keys as they are.
fn in_words(pointer: &str, job: &Value) -> String {
    let mut words: Vec<String> = Vec::new();
    let mut value = Some(job);
    let mut list: Option<String> = None;
    for key in pointer.split('/').skip(1) {
        let key = key.replace("~1", "/").replace("~0", "~");
        let inner = value.and_then(|v| match v {
            Value::Array(entries) => entries.get(key.parse::<usize>().ok()?),
            other => other.get(&key),
        });
        match (list.take(), key.parse::<usize>()) {
            (Some(of), Ok(index)) => {
                let name = inner.and_then(|v| v["name"].as_str());
                words.push(match name {
                    Some(name) => format!("{of} \"{}\"", shortened(name)),
                    None => format!("{of} {}", index + 1),
                });
            }
            (of, _) => {
                words.extend(of);
                if matches!(inner, Some(Value::Array(_))) {
                    list = Some(singular(&key).to_owned());
                } else {
                    words.push(shortened(&key).to_string());
                }
            }
        }
        value = inner;
    }
    words.extend(list);
    words.join(", ")
}

/// The name of one entry of a list.
fn singular(list: &str) -> &str {
    match list {
        "views" => "view",
        "landmarks" => "landmark",
        "regions" => "part",
        "spans" => "span",
        "angles" => "angle",
        "known" => "known length",
        "corners" => "corner",
        "straight_lines" => "straight line",
        "pairs" => "pair",
        "points" | "outline" => "point",
        other => other,
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use serde_json::json;

    #[test]
    fn entries_of_lists_are_told_by_their_names() {
        let job = json!({"views": [{"name": "side", "landmarks": [{"name": "tank front"}, {}],
            "regions": [{"name": "tank", "landmarks": ["gone"]}], "reference": {"rectify": {"corners": [[1, 2]]}}}]});
        for (pointer, words) in [
            (
                "/views/0/landmarks/0/use",
                "view \"side\", landmark \"tank front\", use",
            ),
            ("/views/0/landmarks/1", "view \"side\", landmark 2"),
            (
                "/views/0/regions/0/landmarks/0",
                "view \"side\", part \"tank\", landmark 1",
            ),
            (
                "/views/0/reference/rectify/corners/0",
                "view \"side\", reference, rectify, corner 1",
            ),
            ("/views/7/name", "view 8, name"),
            ("/title", "title"),
            ("", ""),
        ] {
            assert_eq!(in_words(pointer, &job), words, "{pointer}");
        }
    }
}
