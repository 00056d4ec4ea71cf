//! The pictures of a view on the page.
use super::{data_address::Picture, escaped::escaped};
use crate::report::json::ViewEntry;

/// The pictures of a view that are shown beneath its comparison: key, caption.
const PICTURES: [(&str, &str); 9] = [
    (
        "overlay",
        "Edges of both over the dimmed render: render vermilion, reference blue",
    ),
    (
        "difference",
        "Offsets as arrows, regions tinted by their error",
    ),
    ("heat", "Distance between the edges of both"),
    (
        "silhouette",
        "Silhouettes: what only the model has vermilion, what only the subject has blue",
    ),
    (
        "grid",
        "The deformation that takes the reference to the model",
    ),
    (
        "explain_rectify",
        "The reference before and after it was rectified",
    ),
    (
        "explain_descreen",
        "The reference before and after a screen's pattern was filtered out",
    ),
    (
        "explain_glare",
        "Glare in the reference, from which no edge is taken",
    ),
    (
        "explain_letterbox",
        "Letterbox bars in the reference, from which no edge is taken",
    ),
];

/// Appends the pictures that the view has, each with its caption.
pub(super) fn write_pictures(
    page: &mut String,
    view: &ViewEntry,
    picture: &dyn Fn(&str) -> Option<Vec<u8>>,
) {
    let name = escaped(&view.name);
    let mut is_first = true;
    for (key, caption) in PICTURES {
        let Some(picture) = Picture::of(view, key, picture) else {
            continue;
        };
        if std::mem::take(&mut is_first) {
            page.push_str("<h3>Pictures</h3>\n<div class=\"pictures\">\n");
        }
        page.push_str(&format!(
            "<figure><button type=\"button\" aria-expanded=\"false\" aria-label=\"Enlarge: {caption}, {name}\"><img \
             src=\""
        ));
        picture.write_address(page);
        page.push_str(&format!(
            "\" alt=\"{caption}, {name}\"></button><figcaption>{caption}</figcaption></figure>\n"
        ));
    }
    if !is_first {
        page.push_str("</div>\n");
    }
    // It flickers: shown only to those who ask for it.
    if let Some(blink) = Picture::of(view, "blink", picture) {
        page.push_str(
            "<details class=\"blink\"><summary>Render and reference in turn (flickers)</summary><figure><img src=\"",
        );
        blink.write_address(page);
        page.push_str(&format!(
            "\" alt=\"Render and registered reference of {name} in turn\"></figure></details>\n"
        ));
    }
}
