//! The pictures of a view on the page.
use super::data_address::Picture;
use crate::report::{json::ViewEntry, wording::clean};
use maud::{Markup, html};

/// The pictures of a view that are shown beneath its comparison: key, caption.
const PICTURES: [(&str, &str); 11] = [
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
        "likeness",
        "Likeness: where both pictures of the model differ, dark",
    ),
    (
        "grid",
        "The deformation that takes the reference to the model",
    ),
    (
        "strip",
        "Each mark: above what the render shows there, below what the reference does",
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

/// The pictures that the view has, each with its caption.
pub(super) fn pictures(view: &ViewEntry, picture: &dyn Fn(&str) -> Option<Vec<u8>>) -> Markup {
    let name = clean(&view.name);
    // They are read one by one, as they are written.
    let mut shown = PICTURES
        .iter()
        .filter_map(|(key, caption)| Some((Picture::of(view, key, picture)?, caption)))
        .peekable();
    html! {
        @if shown.peek().is_some() {
            h3 { "Pictures" }
            "\n"
            div.pictures {
                @for (picture, caption) in shown {
                    figure {
                        button type="button" aria-expanded="false" aria-label={ "Enlarge: " (caption) ", " (name) } {
                            img src=(picture) alt={ (caption) ", " (name) };
                        }
                        figcaption { (caption) }
                    }
                    "\n"
                }
            }
            "\n"
        }
        // It flickers: shown only to those who ask for it.
        @if let Some(blink) = Picture::of(view, "blink", picture) {
            details.blink {
                summary { "Render and reference in turn (flickers)" }
                figure {
                    img src=(blink) alt={ "Render and registered reference of " (name) " in turn" };
                }
            }
            "\n"
        }
    }
}
