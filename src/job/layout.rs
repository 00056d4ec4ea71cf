//! The text of a job file that a person can read: short things on one line, longer ones broken, two spaces deep.
use serde_json::Value;

/// Longest line, characters.
const WIDTH: usize = 120;

/// The text of a document, with a line break at its end.
pub fn document_text(document: &Value) -> String {
    let mut out = String::new();
    write(document, 0, &mut out);
    out.push('\n');
    out
}

fn write(value: &Value, depth: usize, out: &mut String) {
    let one_line = on_one_line(value);
    // The job and its views are broken whatever their length, as one writes them by hand.
    let is_broken = depth < 2 && !is_empty(value) && value.is_object() || holds_objects(value);
    let column = out.len() - out.rfind('\n').map_or(0, |at| at + 1);
    if !is_broken && column + one_line.chars().count() <= WIDTH {
        out.push_str(&one_line);
        return;
    }
    let inner = "  ".repeat(depth + 1);
    let end = format!("\n{}", "  ".repeat(depth));
    match value {
        Value::Object(object) if !object.is_empty() => {
            out.push('{');
            for (index, (key, value)) in object.iter().enumerate() {
                out.push_str(if index == 0 { "\n" } else { ",\n" });
                out.push_str(&format!("{inner}{}: ", Value::from(key.as_str())));
                write(value, depth + 1, out);
            }
            out.push_str(&end);
            out.push('}');
        }
        Value::Array(list) if !list.is_empty() => {
            out.push('[');
            for (index, value) in list.iter().enumerate() {
                out.push_str(if index == 0 { "\n" } else { ",\n" });
                out.push_str(&inner);
                write(value, depth + 1, out);
            }
            out.push_str(&end);
            out.push(']');
        }
        _ => out.push_str(&one_line),
    }
}

fn is_empty(value: &Value) -> bool {
    match value {
        Value::Object(object) => object.is_empty(),
        Value::Array(list) => list.is_empty(),
        _ => true,
    }
}

/// Lists of landmarks, spans and the like have a line for each.
fn holds_objects(value: &Value) -> bool {
    value
        .as_array()
        .is_some_and(|list| list.iter().any(Value::is_object))
}

fn on_one_line(value: &Value) -> String {
    match value {
        Value::Object(object) if !object.is_empty() => {
            let entries: Vec<String> = object
                .iter()
                .map(|(key, value)| {
                    format!("{}: {}", Value::from(key.as_str()), on_one_line(value))
                })
                .collect();
            format!("{{ {} }}", entries.join(", "))
        }
        Value::Array(list) => {
            let entries: Vec<String> = list.iter().map(on_one_line).collect();
            format!("[{}]", entries.join(", "))
        }
        other => other.to_string(),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_job_reads_as_one_writes_it_and_means_the_same() {
        let written = include_str!("../../fixtures/demo/pump.json");
        let document: Value = serde_json::from_str(written).expect("JSON");
        let text = document_text(&document);
        let again: Value = serde_json::from_str(&text).expect("JSON");
        assert_eq!(again.to_string(), document.to_string());
        assert!(text.contains(
            "        { \"name\": \"hub front\", \"render\": [515.14, 950.0], \"reference\": [754.61, 859.76], \"use\": \"datum\" },\n"
        ));
        assert!(
            text.lines().all(|line| line.chars().count() <= WIDTH + 2),
            "{text}"
        );
    }

    #[test]
    fn numbers_and_texts_stay_as_they_were() {
        let written = r#"{"a": 1.0, "b": 18446744073709551615, "c": "1\"\u00e9\n", "d": {}, "e": [], "f": -0.1}"#;
        let document: Value = serde_json::from_str(written).expect("JSON");
        let text = document_text(&document);
        assert!(
            text.contains("\"a\": 1.0,") && text.contains("18446744073709551615"),
            "{text}"
        );
        let again: Value = serde_json::from_str(&text).expect("JSON");
        assert_eq!(again, document);
    }
}
