//! The section of the parts in space.
use super::{badge::badge, data_address::Picture, tables::part_table};
use crate::report::{json::*, wording::*};
use maud::{Markup, html};

const CAPTION: &str = "The model from three sides, parts tinted by what all photos tell";

/// What all photos tell together: the photos and the parts; what to change stands in the list of all changes.
pub(super) fn space_section(
    space: &SpaceEntry,
    picture: &dyn Fn(&str) -> Option<Vec<u8>>,
) -> Markup {
    let sheet = space.picture.as_deref().and_then(picture);
    let sheet = sheet.and_then(Picture::shown);
    html! {
        section id="space" {
            h2 { "In space, all photos together " (badge(space.verdict)) }
            "\n"
            ul.notes {
                @for view in &space.views {
                    li { strong { (clean(&view.name)) } ": " (photo_in_words(view)) }
                }
            }
            "\n"
            @if let Some(sheet) = sheet {
                div.pictures {
                    figure {
                        button type="button" aria-expanded="false" aria-label=(format!("Enlarge: {CAPTION}")) {
                            img src=(sheet) alt=(CAPTION);
                        }
                        figcaption { (CAPTION) }
                    }
                }
                "\n"
            }
            (part_table(&space.parts))
            @for line in notes_in_space(space) { p.soft { (line) } "\n" }
        }
    }
}
