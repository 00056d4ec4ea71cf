//! The parts in space as lines of a terminal.
use super::grid::{Grid, LEAST_WIDTH, Page, Row, TableStyle, error_cell};
use crate::report::{json::*, wording::*};

/// The parts in space as lines for a terminal, none wider than the style allows.
pub fn space_table(space: &SpaceEntry, style: &TableStyle) -> String {
    let mut page = Page {
        text: String::new(),
        width: style.width.max(LEAST_WIDTH),
        color: style.color,
    };
    head_lines(&mut page, space);
    correction_lines(&mut page, space);
    part_lines(&mut page, space);
    page.text
}

/// The photos, and the parts with what is not told of them; what to change stands in the list of all changes.
pub(super) fn space_lines(page: &mut Page, space: &SpaceEntry) {
    head_lines(page, space);
    part_lines(page, space);
}

fn head_lines(page: &mut Page, space: &SpaceEntry) {
    let verdict = space
        .verdict
        .map_or("not compared".to_owned(), Verdict::signed);
    let painted = space.verdict.map_or(verdict, |v| page.painted(v));
    page.line(&format!("in space, all photos together: {painted}"));
    for view in &space.views {
        page.wrapped("  ", &view_line(view), "    ");
    }
}

fn correction_lines(page: &mut Page, space: &SpaceEntry) {
    if !space.corrections.is_empty() {
        page.line("  change, worst first:");
    }
    for (i, correction) in space.corrections.iter().enumerate() {
        let times = correction.times_tolerance.map_or(String::new(), |t| {
            format!(" ({} x tolerance)", decimals(t, 1))
        });
        let text = format!("{}{times}", correction_text(correction));
        page.wrapped(&format!("  {:>2}. ", i + 1), &text, "      ");
    }
}

fn part_lines(page: &mut Page, space: &SpaceEntry) {
    part_grid(space).print(page);
    for line in notes_in_space(space) {
        page.wrapped("  ", &line, "    ");
    }
}

fn view_line(view: &SpaceViewEntry) -> String {
    format!("{}: {}", clean(&view.name), photo_in_words(view))
}

/// Sizes and offsets in columns, turns and what is not told below.
fn part_grid(space: &SpaceEntry) -> Grid {
    let heads = [
        "part", "width %", "depth %", "height %", "x mm", "y mm", "z mm",
    ];
    let row = |part: &SpacePartEntry| {
        let (sizes, offsets) = (&part.size_percent, &part.offset_model_mm);
        let cells = [
            sizes.width,
            sizes.depth,
            sizes.height,
            offsets.x,
            offsets.y,
            offsets.z,
        ];
        Row {
            name: clean(&part.name),
            cells: cells
                .iter()
                .map(|figure| vec![error_cell(figure)])
                .collect(),
            verdict: part.verdict,
            below: part_in_words(part),
        }
    };
    Grid {
        heads: heads.map(str::to_owned).to_vec(),
        rows: space.parts.iter().map(row).collect(),
    }
}
