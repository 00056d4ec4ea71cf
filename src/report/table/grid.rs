//! Lines of a terminal and tables among them, broken to its width.
use crate::report::{json::*, wording::*};

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
pub(super) const LEAST_WIDTH: usize = 40;

/// The text so far and how wide it may be.
pub(in crate::report) struct Page {
    pub(in crate::report) text: String,
    pub(in crate::report) width: usize,
    pub(in crate::report) color: bool,
}

impl Page {
    /// Without colours.
    pub(in crate::report) fn plain(width: usize) -> Self {
        Self {
            text: String::new(),
            width: width.max(LEAST_WIDTH),
            color: false,
        }
    }

    pub(in crate::report) fn line(&mut self, line: &str) {
        self.text.push_str(line.trim_end());
        self.text.push('\n');
    }

    pub(super) fn painted(&self, verdict: Verdict) -> String {
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
    pub(in crate::report) fn wrapped(&mut self, first: &str, text: &str, next: &str) {
        let words: Vec<_> = clean(text).split(' ').map(str::to_owned).collect();
        self.flow(first, &words, " ", next);
    }

    /// Pieces that stay whole, as many a line as fit.
    pub(in crate::report) fn flow(
        &mut self,
        first: &str,
        pieces: &[String],
        between: &str,
        next: &str,
    ) {
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

/// A table whose first column is a name and whose last is a verdict.
pub(super) struct Grid {
    /// Heads of all columns but the last.
    pub(super) heads: Vec<String>,
    pub(super) rows: Vec<Row>,
}

pub(super) struct Row {
    pub(super) name: String,
    /// Cells of the columns between; a second element goes on a second line.
    pub(super) cells: Vec<Vec<String>>,
    pub(super) verdict: Verdict,
    /// What is said below the row.
    pub(super) below: String,
}

/// Names are shortened to no less than this, or the table is given up for a list.
const LEAST_NAME: usize = 12;
const INDENT: usize = 2;
/// What stands where a figure is absent.
pub(super) const ABSENT: &str = "-";

impl Grid {
    pub(super) fn print(&self, page: &mut Page) {
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

pub(super) fn error_cell(figure: &Option<Figure>) -> String {
    figure.map_or(ABSENT.to_owned(), |f| plus_minus(&f, Sign::Always))
}
