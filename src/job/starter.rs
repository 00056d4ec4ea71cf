//! A job file to begin with: sound as it stands, and plain about what is only a placeholder.
use std::path::Path;

/// The text of a job for one render and one reference, with placeholder marks at the thirds of both images.
///
/// The paths are written as they are given: relative to where the job file will lie. The sizes are width and height in
/// pixels. [`super::read`] accepts the text.
pub fn starter(
    render: &Path,
    reference: &Path,
    render_size: (u32, u32),
    reference_size: (u32, u32),
) -> String {
    let in_render = thirds(render_size);
    let in_reference = thirds(reference_size);
    let landmarks: Vec<String> = ["top left", "top right", "bottom right", "bottom left"]
        .iter()
        .zip(in_render.iter().zip(&in_reference))
        .map(|(corner, (render, reference))| {
            let name = format!("PLACEHOLDER {corner}");
            format!(
                r#"        {{ "name": "{name}", "render": {render}, "reference": {reference}, "use": "datum" }}"#
            )
        })
        .collect();
    format!(
        r#"{{
  "title": "Untitled",
  "scale": "1:24",
  "unit": "mm",
  "tolerance": {{ "proportion_percent": 2.0, "offset_mm": 0.20, "angle_deg": 1.0, "edge_overlap": 0.5 }},
  "smallest_visible_mm": 0.05,
  "views": [
    {{
      "name": "view 1",
      "render":    {{ "image": {render} }},
      "reference": {{ "image": {reference}, "kind": "photo", "source": "where the picture comes from",
                     "note": "All marks and lengths below are placeholders: replace each with a point you see in both images." }},
      "registration": "similarity",
      "landmarks": [
{landmarks}
      ],
      "known": [
        {{ "in": "reference", "from": "PLACEHOLDER bottom left", "to": "PLACEHOLDER bottom right", "full_size": "1000 mm" }}
      ],
      "spans": [
        {{ "name": "PLACEHOLDER height", "from": "PLACEHOLDER bottom left", "to": "PLACEHOLDER top left" }}
      ],
      "regions": [
        {{ "name": "PLACEHOLDER part", "outline": [{outline}],
          "landmarks": ["PLACEHOLDER top left", "PLACEHOLDER top right"],
          "note": "Replace the outline with the corners of one part of the model, and the known length (1000 mm is invented) with one you can trust." }}
      ]
    }}
  ]
}}
"#,
        render = quoted(render),
        reference = quoted(reference),
        landmarks = landmarks.join(",\n"),
        outline = in_render.join(", "),
    )
}

/// A path as a JSON text, with `/` between folders on every system.
fn quoted(path: &Path) -> String {
    let text = path.to_string_lossy();
    let text = if std::path::MAIN_SEPARATOR == '\\' {
        text.replace('\\', "/")
    } else {
        text.into_owned()
    };
    serde_json::Value::String(text).to_string()
}

/// The four points at the thirds of an image, clockwise from the top left, as JSON.
fn thirds((width, height): (u32, u32)) -> [String; 4] {
    // An image of nothing still gets four different points.
    let (width, height) = (f64::from(width.max(1)), f64::from(height.max(1)));
    let at = |x: f64, y: f64| format!("[{:.2}, {:.2}]", width * x / 3.0, height * y / 3.0);
    [at(1.0, 1.0), at(2.0, 1.0), at(2.0, 2.0), at(1.0, 2.0)]
}
