//! Golden values in JSON.

/// The points `[[x, y], ...]` of a JSON value.
pub fn points(value: &serde_json::Value) -> Vec<[f64; 2]> {
    let number = |v: &serde_json::Value| v.as_f64().expect("a number");
    value
        .as_array()
        .expect("a list of points")
        .iter()
        .map(|p| [number(&p[0]), number(&p[1])])
        .collect()
}

/// The JSON file `name` in `folder`.
pub fn json(folder: &std::path::Path, name: &str) -> serde_json::Value {
    let text = std::fs::read_to_string(folder.join(name)).expect("the file can be read");
    serde_json::from_str(&text).expect("the file is JSON")
}
