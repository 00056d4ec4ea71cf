//! The pages behind a sheet on which not all had room: every warning, correction and measure in full.
use super::{
    ViewToDraw,
    flow::{Flow, Marks},
    table::{self, Row},
    view_block,
};

/// All that is said of a view.
pub(crate) fn in_full(input: &ViewToDraw<'_>, rows: &[Row]) -> Flow {
    let mut flow = Flow::for_pages(input.paper);
    flow.section("The reference", &view_block::facts(input), Marks::None);
    flow.section("What to know", &view_block::statements(input), Marks::None);
    flow.section(
        &table::corrections_heading(input),
        &table::correction_words(input.measurement),
        Marks::Numbers,
    );
    let small: Vec<String> = table::leave_alone_words(input).into_iter().collect();
    flow.section("Below what can be printed or seen", &small, Marks::None);
    flow.table(
        "All measures, the worst first",
        rows,
        table::offset_unit(input),
    );
    flow
}
