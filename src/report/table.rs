//! The report as text for a terminal.
mod grid;
mod revision;
mod space;

pub(super) use grid::Page;
pub use grid::{TABLE_COLOURS, TableStyle};
pub use space::space_table;

use super::{json::*, print, wording::*};
use grid::{ABSENT, Grid, LEAST_WIDTH, Row, error_cell};
use revision::revision_lines;
use space::space_lines;

/// The report as lines for a terminal, each ending with a newline, none wider than the style allows.
///
/// What became of the model since earlier results comes first, where they were named. Per view: its verdict and registration,
/// regions, spans and angles with the worst first, doubtful landmarks, warnings. After all views come the parts in space, what
/// to change in CAD, and apart the corrections of distrusted views. The last line is the verdict of the whole job.
pub fn table(report: &Report, style: &TableStyle) -> String {
    let mut page = Page {
        text: String::new(),
        width: style.width.max(LEAST_WIDTH),
        color: style.color,
    };
    if let Some(revision) = &report.revision {
        revision_lines(&mut page, revision);
        page.line("");
    }
    for view in &report.views {
        view_lines(&mut page, &report.job, view);
        page.line("");
    }
    if let Some(space) = &report.space {
        space_lines(&mut page, space);
        page.line("");
    }
    all_changes(&mut page, report);
    distrusted_lines(&mut page, report);
    for warning in &report.warnings {
        page.wrapped("", &format!("warning: {}", warning.text), "  ");
    }
    let verdict = report
        .verdict
        .map_or("nothing was compared".to_owned(), Verdict::signed);
    let failed = report.views.iter().filter(|v| v.error.is_some()).count();
    let compared = report.views.len() - failed;
    let mut tail = format!("   {compared} of {} views compared", report.views.len());
    tail = shorten(&tail, page.width.saturating_sub(9 + width(&verdict)));
    let painted = report.verdict.map_or(verdict, |v| page.painted(v));
    page.line(&format!("verdict: {painted}{tail}"));
    page.text
}

fn view_lines(page: &mut Page, job: &JobEntry, view: &ViewEntry) {
    head_line(page, view);
    let provenance: Vec<String> = provenance(&view.reference)
        .map(|(word, text)| format!("{word}: {text}"))
        .collect();
    if !provenance.is_empty() {
        page.wrapped("  ", &provenance.join("; "), "    ");
    }
    for line in sizes_lines(view) {
        page.wrapped("  ", &line, "    ");
    }
    for line in dimension_lines(view)
        .into_iter()
        .chain(print::sentences(view))
    {
        page.wrapped("  ", &line, "    ");
    }
    if let Some(error) = &view.error {
        page.wrapped(
            "  ",
            &format!("error ({}): {}", error.code, error.text),
            "  ",
        );
    }
    change_lines(page, view);
    if let Some(line) = leave_alone_line(job, view) {
        page.wrapped("  ", &line, "    ");
    }
    region_grid(view).print(page);
    span_grid(view).print(page);
    angle_grid(view).print(page);
    landmark_lines(page, view);
    for warning in &view.warnings {
        page.wrapped("  ", &format!("warning: {}", warning.text), "    ");
    }
}

/// Of a view that is not to be trusted: why nothing is to be changed by it.
fn change_lines(page: &mut Page, view: &ViewEntry) {
    if let Some(why) = why_distrusted(view) {
        let place = match view.corrections.is_empty() {
            true => "",
            false => "; what it would ask for stands below all views",
        };
        page.wrapped(
            "  ",
            &format!("change nothing by this view yet: {why}{place}"),
            "    ",
        );
    }
}

fn correction_lines(page: &mut Page, view: &ViewEntry) {
    for (i, correction) in view.corrections.iter().enumerate() {
        let times = correction.times_tolerance.map_or(String::new(), |t| {
            format!(" ({} x tolerance)", decimals(t, 1))
        });
        let text = format!("{}{times}", correction_text(correction));
        page.wrapped(&format!("  {:>2}. ", i + 1), &text, "      ");
    }
}

/// What to change over all views, the worst part first; below it what views contradict each other in, and what is undecided.
fn all_changes(page: &mut Page, report: &Report) {
    let changes = changes_in(report, ChangeState::Change);
    if changes.is_empty() {
        page.wrapped("", no_changes(report), "  ");
    } else {
        page.line("what to change in CAD, worst first:");
    }
    for (i, change) in changes.into_iter().enumerate() {
        let text = format!("{} {}", change.text, change_notes(change, report));
        page.wrapped(&format!("{:>3}. ", i + 1), &text, "     ");
    }
    for change in changes_in(report, ChangeState::Contradicted) {
        page.wrapped("", &format!("contradiction: {}", change.text), "  ");
    }
    let undecided = undecided_by_part(report);
    if !undecided.is_empty() {
        page.wrapped("", &format!("undecided: {}", undecided.join("; ")), "  ");
    }
    page.line("");
}

/// The corrections of distrusted views, apart from all others.
fn distrusted_lines(page: &mut Page, report: &Report) {
    for (view, why) in distrusted_views(report) {
        let head = format!("not to be trusted yet, {}: {why}", clean(&view.name));
        page.wrapped("", &head, "  ");
        correction_lines(page, view);
        page.line("");
    }
}

fn head_line(page: &mut Page, view: &ViewEntry) {
    let verdict = view
        .verdict
        .map_or("not compared".to_owned(), Verdict::signed);
    let name = shorten(&clean(&view.name), page.width - width(&verdict) - 2);
    let used = width(&name) + 2 + width(&verdict);
    let painted = view.verdict.map_or(verdict, |v| page.painted(v));
    let mut line = format!("{name}: {painted}");
    let facts = view.registration.as_ref().map(registration_facts);
    let Some(facts) = facts else {
        return page.line(&line);
    };
    if used + 3 + width(&facts) <= page.width {
        line.push_str(&format!("   {facts}"));
        return page.line(&line);
    }
    page.line(&line);
    page.wrapped("  ", &facts, "  ");
}

fn registration_facts(registration: &RegistrationEntry) -> String {
    let rms = registration.rms_px.map_or(String::new(), |rms| {
        format!(", rms {} px", decimals(rms, 2))
    });
    format!(
        "{}{rms}, {}",
        kind_word(registration.kind),
        marks_line(registration)
    )
}

fn landmark_lines(page: &mut Page, view: &ViewEntry) {
    let landmarks = view.registration.iter().flat_map(|r| &r.landmarks);
    for landmark in landmarks {
        if let Some(advice) = landmark_advice(landmark) {
            let name = clean(&landmark.name);
            page.wrapped(
                "  ",
                &format!("landmark {}: {advice}", shorten(&name, 40)),
                "    ",
            );
        }
    }
}

fn region_grid(view: &ViewEntry) -> Grid {
    let in_mm = view
        .regions
        .iter()
        .any(|r| r.offset_model_mm.x.is_some() || r.offset_model_mm.y.is_some());
    let offset_head = if in_mm { "offset mm" } else { "offset px" };
    let heads = [
        "region",
        "width %",
        "height %",
        offset_head,
        "turn deg",
        "edges",
    ];
    let row = |r: &RegionEntry| {
        let offset = if in_mm {
            &r.offset_model_mm
        } else {
            &r.offset_px
        };
        let edges = r.edge_overlap.as_ref().and_then(|e| e.above_chance);
        Row {
            name: clean(&r.name),
            cells: vec![
                vec![error_cell(&r.width_percent)],
                vec![error_cell(&r.height_percent)],
                offset_cells(offset),
                vec![error_cell(&r.rotation_deg)],
                vec![edges.map_or(ABSENT.to_owned(), |e| decimals(e, 2))],
            ],
            verdict: r.verdict,
            below: r.sureness.clone(),
        }
    };
    Grid {
        heads: heads.map(str::to_owned).to_vec(),
        rows: regions_worst_first(view).into_iter().map(row).collect(),
    }
}

fn offset_cells(offset: &Pair) -> Vec<String> {
    if offset.x.is_none() && offset.y.is_none() {
        return vec![ABSENT.to_owned()];
    }
    vec![
        format!("x {}", error_cell(&offset.x)),
        format!("y {}", error_cell(&offset.y)),
    ]
}

fn span_grid(view: &ViewEntry) -> Grid {
    let heads = ["span", "error %", "error mm", "mm on the model"];
    let row = |s: &SpanEntry| Row {
        name: clean(&s.name),
        cells: vec![
            vec![error_cell(&s.error_percent)],
            vec![error_cell(&s.error_model_mm)],
            vec![
                s.model_mm
                    .map_or(ABSENT.to_owned(), |f| plus_minus(&f, Sign::Minus)),
            ],
        ],
        verdict: s.verdict,
        below: absolute_words(s).unwrap_or_default(),
    };
    Grid {
        heads: heads.map(str::to_owned).to_vec(),
        rows: spans_worst_first(view).into_iter().map(row).collect(),
    }
}

/// "absolutely +3.4 ±0.3 %, +0.9 ±0.1 mm"; `None` unless both images are scaled.
fn absolute_words(s: &SpanEntry) -> Option<String> {
    let percent = plus_minus(&s.absolute_percent?, Sign::Always);
    let mm = plus_minus(&s.absolute_model_mm?, Sign::Always);
    Some(format!("absolutely {percent} %, {mm} mm on the model"))
}

fn angle_grid(view: &ViewEntry) -> Grid {
    let length = |f: &Option<Figure>| f.map_or(ABSENT.to_owned(), |f| plus_minus(&f, Sign::Minus));
    let heads = ["angle", "error deg", "render", "reference"];
    let row = |a: &AngleEntry| Row {
        name: clean(&a.name),
        cells: vec![
            vec![error_cell(&a.error_deg)],
            vec![length(&a.render_deg)],
            vec![length(&a.reference_deg)],
        ],
        verdict: a.verdict,
        below: String::new(),
    };
    Grid {
        heads: heads.map(str::to_owned).to_vec(),
        rows: angles_worst_first(view).into_iter().map(row).collect(),
    }
}
