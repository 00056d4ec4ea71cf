//! Render and reference over each other, with a divider between them.
use super::data_address::Picture;
use crate::report::{json::ViewEntry, wording::clean};
use maud::{Markup, html};

/// The comparison of a view; empty where one of its two pictures is missing.
pub(super) fn comparison(view: &ViewEntry, picture: &dyn Fn(&str) -> Option<Vec<u8>>) -> Markup {
    let render = Picture::of(view, "render_small", picture);
    let reference = Picture::of(view, "reference_small", picture);
    let (Some(render), Some(reference)) = (render, reference) else {
        return Markup::default();
    };
    let name = clean(&view.name);
    html! {
        h3 { "Render over reference" }
        "\n"
        div.comparison {
            div.stage {
                img.under src=(reference) alt={ "Registered reference of " (name) } draggable="false";
                img.over src=(render) alt={ "Render of " (name) ", laid over the reference" } draggable="false";
                span.divider aria-hidden="true" {}
                span.tag.left aria-hidden="true" { "reference" }
                span.tag.right aria-hidden="true" { "render" }
            }
            "\n"
            (controls(&name))
        }
        "\n"
    }
}

fn controls(name: &str) -> Markup {
    html! {
        div.controls {
            label {
                "Divider "
                input.wipe type="range" min="0" max="100" step="0.5" value="50"
                    aria-label={ "Divider between reference (left) and render (right) of " (name) ", per cent of the width" };
            }
            label {
                "Render opacity "
                input.opacity type="range" min="0" max="100" value="100"
                    aria-label={ "Opacity of the render over the reference of " (name) ", per cent" };
            }
            label {
                "Zoom "
                input.zoom type="range" min="1" max="6" step="0.25" value="1"
                    aria-label={ "Zoom of the comparison of " (name) ", times" };
            }
        }
    }
}
