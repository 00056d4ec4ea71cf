//! The report as text for a terminal.
mod space;

pub use space::space_table;

use super::{json::*, wording::*};
use space::space_lines;

/// How a table is set.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct TableStyle {
    /// Columns of the terminal; below 40 counts as 40.
    pub width: usize,
    /// Whether verdicts are coloured too. Colour says nothing that the words do not say.
    pub color: bool,
}

/// All that a coloured table tells a terminal: the colours of out, undecided and within, and their end.
///
/// Near the reddish purple, yellow and bluish green of the pictures in the palette of 256 colours, darkened so that they read
/// on a light ground too.
pub const TABLE_COLOURS: [&str; 4] = [
    "\u{1b}[1;38;5;169m",
    "\u{1b}[1;38;5;142m",
    "\u{1b}[1;38;5;36m",
    "\u{1b}[0m",
];

/// The narrowest terminal that the lines are broken for.
const LEAST_WIDTH: usize = 40;

/// The report as lines for a terminal, each ending with a newline, none wider than the style allows.
///
/// Per view: its verdict and registration, what to change, regions, spans and angles with the worst first, doubtful
/// landmarks, warnings. The corrections of distrusted views come after all views. The last line is the verdict of the whole
/// job.
pub fn table(report: &Report, style: &TableStyle) -> String {
    let mut page = Page {
        text: String::new(),
        width: style.width.max(LEAST_WIDTH),
        color: style.color,
    };
    for view in &report.views {
        view_lines(&mut page, &report.job, view);
        page.line("");
    }
    distrusted_lines(&mut page, report);
    if let Some(space) = &report.space {
        space_lines(&mut page, space);
        page.line("");
    }
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

/// The text so far and how wide it may be.
struct Page {
    text: String,
    width: usize,
    color: bool,
}

impl Page {
    fn line(&mut self, line: &str) {
        self.text.push_str(line.trim_end());
        self.text.push('\n');
    }

    fn painted(&self, verdict: Verdict) -> String {
        let text = verdict.signed();
        if !self.color {
            return text;
        }
        let [out, undecided, within, end] = TABLE_COLOURS;
        let begin = match verdict {
            Verdict::Out => out,
            Verdict::Undecided => undecided,
            Verdict::Within => within,
        };
        format!("{begin}{text}{end}")
    }

    /// Text broken between words: the first line after `first`, the others after `next`.
    fn wrapped(&mut self, first: &str, text: &str, next: &str) {
        let words: Vec<_> = clean(text).split(' ').map(str::to_owned).collect();
        self.flow(first, &words, " ", next);
    }

    /// Pieces that stay whole, as many a line as fit.
    fn flow(&mut self, first: &str, pieces: &[String], between: &str, next: &str) {
        let mut line = first.to_owned();
        let mut is_empty = true;
        for piece in pieces {
            let needed = width(&line) + width(piece) + if is_empty { 0 } else { width(between) };
            if !is_empty && needed > self.width {
                self.line(&line);
                line = next.to_owned();
                is_empty = true;
            }
            if !is_empty {
                line.push_str(between);
            }
            line.push_str(&shorten(piece, self.width.saturating_sub(width(&line))));
            is_empty = false;
        }
        self.line(&line);
    }
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
    for line in dimension_lines(view) {
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
    let hides = view.registration.iter().flat_map(|r| &r.hides);
    for hidden in hides {
        page.wrapped("  ", &format!("cannot be seen: {hidden}"), "    ");
    }
}

/// What to change by a view that is trusted; of another one, why nothing.
fn change_lines(page: &mut Page, view: &ViewEntry) {
    if let Some(why) = why_distrusted(view) {
        let place = match view.corrections.is_empty() {
            true => "",
            false => "; what it would ask for stands below, after all views",
        };
        page.wrapped(
            "  ",
            &format!("change nothing by this view yet: {why}{place}"),
            "    ",
        );
    } else if !view.corrections.is_empty() {
        page.line("  change, worst first:");
        correction_lines(page, view);
    } else if view.verdict.is_some() {
        page.wrapped("  ", nothing_to_change(view.verdict), "  ");
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

/// A table whose first column is a name and whose last is a verdict.
struct Grid {
    /// Heads of all columns but the last.
    heads: Vec<String>,
    rows: Vec<Row>,
}

struct Row {
    name: String,
    /// Cells of the columns between; a second element goes on a second line.
    cells: Vec<Vec<String>>,
    verdict: Verdict,
    /// What is said below the row.
    below: String,
}

/// Names are shortened to no less than this, or the table is given up for a list.
const LEAST_NAME: usize = 12;
const INDENT: usize = 2;
/// What stands where a figure is absent.
const ABSENT: &str = "-";

impl Grid {
    fn print(&self, page: &mut Page) {
        if self.rows.is_empty() {
            return;
        }
        let widths = self.widths();
        let between: usize = widths.iter().map(|w| w + 1).sum();
        let fixed = INDENT + between + 1 + width(&Verdict::Undecided.signed());
        match page.width.checked_sub(fixed) {
            Some(left) if left >= LEAST_NAME => self.print_columns(page, &widths, left),
            _ => self.print_list(page),
        }
    }

    /// Widths of the columns between name and verdict.
    fn widths(&self) -> Vec<usize> {
        let column = |i: usize| {
            let cells = self.rows.iter().flat_map(move |r| &r.cells[i]);
            let widest = cells.map(|c| width(c)).max().unwrap_or(0);
            widest.max(width(&self.heads[i + 1]))
        };
        (0..self.heads.len() - 1).map(column).collect()
    }

    fn print_columns(&self, page: &mut Page, widths: &[usize], left: usize) {
        let names = self.rows.iter().map(|r| width(&r.name));
        let name_width = names
            .max()
            .unwrap_or(0)
            .max(width(&self.heads[0]))
            .clamp(LEAST_NAME, left);
        let mut head = format!("  {}", padded(&self.heads[0], name_width));
        for (text, columns) in self.heads[1..].iter().zip(widths) {
            head.push_str(&format!(" {}", padded(text, *columns)));
        }
        page.line(&format!("{head} verdict"));
        for row in &self.rows {
            let name = shorten(&row.name, name_width);
            let mut line = format!("  {}", padded(&name, name_width));
            for (cell, columns) in row.cells.iter().zip(widths) {
                line.push_str(&format!(" {}", padded(&cell[0], *columns)));
            }
            line.push_str(&format!(" {}", page.painted(row.verdict)));
            page.line(&line);
            row.print_below(page, name_width, widths);
        }
    }

    /// Each row as a few lines: for narrow terminals.
    fn print_list(&self, page: &mut Page) {
        page.line(&format!("  {}s:", self.heads[0]));
        for row in &self.rows {
            let verdict = row.verdict.signed();
            let room = page.width - INDENT - width(&verdict) - 1;
            let name = padded(&shorten(&row.name, room), room);
            page.line(&format!("  {name} {}", page.painted(row.verdict)));
            let cells = self.heads[1..].iter().zip(&row.cells);
            let cells = cells.filter(|(_, cell)| cell[0] != ABSENT);
            let pieces: Vec<_> = cells
                .map(|(head, cell)| format!("{head} {}", cell.join(", ")))
                .collect();
            if !pieces.is_empty() {
                page.flow("    ", &pieces, "; ", "    ");
            }
            if !row.below.is_empty() {
                page.wrapped("    ", &row.below, "    ");
            }
        }
    }
}

impl Row {
    /// The second line of the cells, with what is said below in front of it where there is room.
    fn print_below(&self, page: &mut Page, name_width: usize, widths: &[usize]) {
        let below = clean(&self.below);
        let second = self.cells.iter().position(|c| c.len() > 1);
        let Some(column) = second else {
            if !below.is_empty() {
                page.wrapped("    ", &below, "    ");
            }
            return;
        };
        let start = INDENT + name_width + widths[..column].iter().map(|w| w + 1).sum::<usize>();
        let fits = 4 + width(&below) <= start;
        let front = if fits {
            format!("    {below}")
        } else {
            String::new()
        };
        page.line(&format!(
            "{} {}",
            padded(&front, start),
            self.cells[column][1]
        ));
        if !fits {
            page.wrapped("    ", &below, "    ");
        }
    }
}

fn padded(text: &str, columns: usize) -> String {
    format!("{text}{}", " ".repeat(columns.saturating_sub(width(text))))
}

fn error_cell(figure: &Option<Figure>) -> String {
    figure.map_or(ABSENT.to_owned(), |f| plus_minus(&f, Sign::Always))
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
