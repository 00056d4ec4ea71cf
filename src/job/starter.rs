//! A job file to begin with: sound as it stands, and plain about what is only a placeholder.
use super::{
    End, Fault, FaultKind, Landmark, MarkedOn, ReferenceKind, RenderImage, View, raw::RawKind,
};
use crate::units::{ScaleRatio, Unit};
use serde_json::json;
use std::path::{Path, PathBuf};

/// How the names of all begin that is to be replaced.
const PLACEHOLDER: &str = "PLACEHOLDER";

/// The known length of a starter.
const INVENTED_LENGTH: &str = "1000 mm";
/// What a message names at most.
const MOST_NAMED: usize = 40;

/// What a starter says of where its picture comes from, and of what is to be replaced in it: words of nobody's about the picture.
const WORDS: [&str; 3] = [
    "where the picture comes from",
    "All marks and lengths below are placeholders: replace each with a point you see in both images.",
    "Replace the outline with the corners of one part of the model, and the known length (1000 mm is invented) with one you can trust.",
];

/// A text that a user wrote; `None` for the words of a starter.
pub(super) fn of_user(text: Option<&String>) -> Option<String> {
    text.filter(|text| !WORDS.contains(&text.as_str())).cloned()
}

/// What a starter states of the model and of its reference.
#[derive(Clone, Copy, Debug)]
pub struct StarterOf {
    /// Scale of the model.
    pub scale: ScaleRatio,
    /// What sort of picture the reference is.
    pub kind: ReferenceKind,
}

/// Whether a landmark has a name that a starter gave it.
pub fn is_placeholder(name: &str) -> bool {
    name.starts_with(PLACEHOLDER)
}

/// The text of a job for one render and one reference, with placeholder marks at the thirds of both images.
///
/// The paths are written as they are given: relative to where the job file will lie. The contents of both images are noted, so
/// that marks are not taken for those of another picture. [`super::read`] accepts the text.
pub fn starter(
    render: &Path,
    reference: &Path,
    [render_content, reference_content]: [&MarkedOn; 2],
    of: StarterOf,
) -> String {
    let in_render = thirds(render_content.size).map(as_json);
    let in_reference = thirds(reference_content.size).map(as_json);
    let landmarks: Vec<String> = ["top left", "top right", "bottom right", "bottom left"]
        .iter()
        .zip(in_render.iter().zip(&in_reference))
        .map(|(corner, (render, reference))| {
            let name = format!("{PLACEHOLDER} {corner}");
            format!(
                r#"        {{ "name": "{name}", "render": {render}, "reference": {reference}, "use": "datum" }}"#
            )
        })
        .collect();
    format!(
        r#"{{
  "title": "Untitled",
  "scale": "{scale}",
  "unit": "mm",
  "tolerance": {{ "proportion_percent": 2.0, "offset_mm": 0.20, "angle_deg": 1.0, "edge_overlap": 0.5 }},
  "smallest_visible_mm": 0.05,
  "views": [
    {{
      "name": "view 1",
      "render":    {{ "image": {render},
                     "marked_on": {render_content} }},
      "reference": {{ "image": {reference}, "kind": {kind}, "source": "{source}",
                     "marked_on": {reference_content},
                     "note": "{marks_note}" }},
      "registration": "similarity",
      "landmarks": [
{landmarks}
      ],
      "known": [
        {{ "in": "reference", "from": "PLACEHOLDER bottom left", "to": "PLACEHOLDER bottom right", "full_size": "{INVENTED_LENGTH}" }}
      ],
      "spans": [
        {{ "name": "PLACEHOLDER height", "from": "PLACEHOLDER bottom left", "to": "PLACEHOLDER top left" }}
      ],
      "regions": [
        {{ "name": "PLACEHOLDER part", "outline": [{outline}],
          "landmarks": ["PLACEHOLDER top left", "PLACEHOLDER top right"],
          "note": "{part_note}" }}
      ]
    }}
  ]
}}
"#,
        scale = of.scale,
        kind = json!(RawKind::from(of.kind)),
        source = WORDS[0],
        marks_note = WORDS[1],
        part_note = WORDS[2],
        render = quoted(render),
        reference = quoted(reference),
        render_content = noted(render_content),
        reference_content = noted(reference_content),
        landmarks = landmarks.join(",\n"),
        outline = in_render.join(", "),
    )
}

/// The mesh that a starter names.
#[derive(Clone, Debug)]
pub struct StarterModel {
    /// Its file, as the job names it.
    pub file: PathBuf,
    /// Unit of its lengths, where that is stated.
    pub unit: Option<Unit>,
}

/// The text of a job whose one reference is compared with the drawn model, with nothing marked yet; else as [`starter`].
pub fn starter_on_model(
    model: &StarterModel,
    (reference, content): (&Path, &MarkedOn),
    of: StarterOf,
) -> String {
    let unit = model.unit.map_or(String::new(), |unit| {
        format!(", \"unit\": \"{}\"", unit.symbol())
    });
    format!(
        r#"{{
  "title": "Untitled",
  "scale": "{scale}",
  "unit": "mm",
  "model": {{ "files": [{file}]{unit} }},
  "views": [
    {{
      "name": "view 1",
      "render": {{ "drawn": true }},
      "reference": {{ "image": {reference}, "kind": {kind}, "source": "{source}",
                     "marked_on": {content} }},
      "landmarks": []
    }}
  ]
}}
"#,
        scale = of.scale,
        kind = json!(RawKind::from(of.kind)),
        source = WORDS[0],
        file = quoted(&model.file),
        reference = quoted(reference),
        content = noted(content),
    )
}

/// The text of a job that measures one reference by itself, with nothing marked yet; else as [`starter`].
pub fn starter_without_render((reference, content): (&Path, &MarkedOn), of: StarterOf) -> String {
    format!(
        r#"{{
  "title": "Untitled",
  "scale": "{scale}",
  "unit": "mm",
  "views": [
    {{
      "name": "view 1",
      "reference": {{ "image": {reference}, "kind": {kind}, "source": "{source}",
                     "marked_on": {content} }},
      "landmarks": [],
      "known": [],
      "spans": []
    }}
  ]
}}
"#,
        scale = of.scale,
        kind = json!(RawKind::from(of.kind)),
        source = WORDS[0],
        reference = quoted(reference),
        content = noted(content),
    )
}

/// Landmarks of a view that are still where the starter of such images put them, and lengths that it invented; `at` is the view's
/// pointer. Sizes are those of render and reference.
pub(super) fn left_of_starter(view: &View, at: &str, sizes: [(u32, u32); 2]) -> Option<Fault> {
    let [render, reference] = sizes.map(|(width, height)| thirds([width, height]));
    // As the file has them: two decimals.
    let is_near = |a: [f64; 2], b: [f64; 2]| (0..2).all(|k| (a[k] - b[k]).abs() < 0.0051);
    let places = || render.iter().zip(&reference);
    let is_alone = view.render.image == RenderImage::Absent;
    let is_unmoved = |l: &&Landmark| {
        places()
            .any(|(r, q)| (is_alone || is_near(l.render.xy(), *r)) && is_near(l.reference.xy(), *q))
    };
    let unmoved: Vec<&Landmark> = view.landmarks.iter().filter(is_unmoved).collect();
    // One mark with a name of its own may happen to lie there.
    let is_left = |l: &&&Landmark| unmoved.len() > 1 || is_placeholder(&l.name);
    let marks = unmoved.iter().filter(is_left);
    let marks = marks.map(|l| format!("the landmark \"{}\"", l.name));
    let invented = view.known.iter().filter(|known| {
        let is_own = |end: End| {
            matches!(end, End::Landmark(i) if view.landmarks.get(i).is_some_and(|l| is_placeholder(&l.name)))
        };
        known.text == INVENTED_LENGTH && is_own(known.from) && is_own(known.to)
    });
    let lengths = invented.map(|known| {
        let ends = known.ends_in_words(&view.landmarks);
        format!("the known length {INVENTED_LENGTH} from {ends}")
    });
    let left: Vec<String> = marks.chain(lengths).take(MOST_NAMED).collect();
    (!left.is_empty()).then(|| Fault {
        pointer: format!("{at}/landmarks"),
        kind: FaultKind::PlaceholdersLeft { left },
    })
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

/// The content of an image as JSON.
fn noted(content: &MarkedOn) -> String {
    let [width, height] = content.size;
    format!(
        r#"{{ "size": [{width}, {height}], "blake3": "{}" }}"#,
        content.blake3
    )
}

/// The four points at the thirds of an image, clockwise from the top left.
fn thirds([width, height]: [u32; 2]) -> [[f64; 2]; 4] {
    // An image of nothing still gets four different points.
    let (width, height) = (f64::from(width.max(1)), f64::from(height.max(1)));
    let at = |x: f64, y: f64| [width * x / 3.0, height * y / 3.0];
    [at(1.0, 1.0), at(2.0, 1.0), at(2.0, 2.0), at(1.0, 2.0)]
}

fn as_json([x, y]: [f64; 2]) -> String {
    format!("[{x:.2}, {y:.2}]")
}
