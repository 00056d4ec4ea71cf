//! One row a view: how each came out, for jobs and batches of hundreds of views.
use super::{
    csv::{cell, number},
    json::*,
    revision::{compared, measure_word},
};
use crate::{measurement::verdict_of, statistics::Measured};

/// How one view came out, or what the photos of a job tell together.
#[derive(Clone, Debug, PartialEq)]
pub struct Summary {
    /// The view's name; "in space" for what the photos tell together.
    pub view: String,
    /// Its verdict; `None` where it could not be compared.
    pub verdict: Option<Verdict>,
    /// Whether a warning puts every figure in doubt.
    pub is_distrusted: bool,
    /// The figure that is the most off: first by its verdict, then by how many times its tolerance it has. `None` where no figure is
    /// judged.
    pub worst: Option<WorstFigure>,
    /// Edge overlap of the whole view above chance, 0 to 1.
    pub edge_overlap: Option<f64>,
    /// Number of warnings.
    pub warnings: usize,
    /// Why it could not be compared.
    pub error: Option<String>,
}

/// The figure of a view that is the most off.
#[derive(Clone, Debug, PartialEq)]
pub struct WorstFigure {
    /// Name of the region, span, angle or part.
    pub name: String,
    /// Which figure of it, such as "width".
    pub measure: String,
    /// Its unit: "%", "°" or "mm" on the model.
    pub unit: String,
    /// With its 95 % interval.
    pub figure: Figure,
    /// What is tolerated, in the same unit.
    pub tolerance: f64,
    verdict: Verdict,
}

impl WorstFigure {
    fn new(
        (name, measure, unit): (&str, &str, &str),
        figure: Option<Figure>,
        tolerance: Option<f64>,
    ) -> Option<Self> {
        let (figure, tolerance) = (figure?, tolerance.filter(|t| *t > 0.0)?);
        let measured = Measured::new(figure.value, figure.low, figure.high)?;
        Some(Self {
            name: name.to_owned(),
            measure: measure.to_owned(),
            unit: unit.to_owned(),
            figure,
            tolerance,
            verdict: verdict_of(measured, tolerance),
        })
    }

    fn times_tolerance(&self) -> f64 {
        self.figure.value.abs() / self.tolerance
    }

    /// The worst; of equal ones the first.
    fn of(all: impl Iterator<Item = Self>) -> Option<Self> {
        all.reduce(|worst, other| {
            let is_worse = (other.verdict.cmp(&worst.verdict))
                .then(other.times_tolerance().total_cmp(&worst.times_tolerance()))
                .is_gt();
            if is_worse { other } else { worst }
        })
    }
}

/// How the views of a report came out, in its order; what the photos tell together comes last.
pub fn summary(report: &Report) -> Vec<Summary> {
    let views = report.views.iter().map(of_view);
    views.chain(report.space.iter().map(of_space)).collect()
}

fn of_view(view: &ViewEntry) -> Summary {
    let told = compared(None, Some(view)).measures.into_iter();
    let figures = told.filter_map(|m| {
        let about = (m.name.as_str(), measure_word(m.measure), m.unit.as_str());
        WorstFigure::new(about, m.after, m.tolerance)
    });
    Summary {
        view: view.name.clone(),
        verdict: view.verdict,
        is_distrusted: view.distrusted,
        worst: WorstFigure::of(figures),
        edge_overlap: view.edge_overlap.as_ref().and_then(|e| e.above_chance),
        warnings: view.warnings.len(),
        error: view.error.as_ref().map(|error| error.text.clone()),
    }
}

fn of_space(space: &SpaceEntry) -> Summary {
    let figures = space.parts.iter().flat_map(|part| {
        let rows = part.rows().into_iter();
        rows.filter_map(|(measure, unit, figure, tolerance)| {
            WorstFigure::new((&part.name, measure, unit), figure, Some(tolerance))
        })
    });
    let failed = space.views.iter().filter_map(|view| view.error.as_ref());
    Summary {
        view: "in space".to_owned(),
        verdict: space.verdict,
        is_distrusted: false,
        worst: WorstFigure::of(figures),
        edge_overlap: None,
        warnings: 0,
        error: failed.map(|error| error.text.clone()).next(),
    }
}

/// The columns of a summary.
pub const SUMMARY_HEAD: [&str; 13] = [
    "job",
    "view",
    "verdict",
    "most off",
    "measure",
    "unit",
    "value",
    "low",
    "high",
    "tolerance",
    "edge overlap above chance",
    "warnings",
    "not compared",
];

/// One row a view, comma separated values as those of [`to_csv`](super::to_csv): job, view, verdict, the figure that is the most
/// off with its 95 % interval and its tolerance, edge overlap above chance, number of warnings, why it was not compared. A
/// job that could not be used has one row, with the reason alone.
pub fn summary_to_csv<'a>(
    jobs: impl IntoIterator<Item = (&'a str, Result<&'a [Summary], &'a str>)>,
) -> String {
    let mut text = format!("{}\r\n", SUMMARY_HEAD.join(","));
    for (job, views) in jobs {
        match views {
            Ok(views) => views.iter().for_each(|view| text.push_str(&row(job, view))),
            Err(why) => {
                let nothing = ",".repeat(SUMMARY_HEAD.len() - 1);
                text.push_str(&format!("{}{nothing}{}\r\n", cell(job), cell(why)));
            }
        }
    }
    text
}

fn row(job: &str, view: &Summary) -> String {
    let shown = |x: Option<f64>| x.map_or_else(String::new, number);
    let worst = view.worst.as_ref();
    let words: [&str; 3] = worst.map_or([""; 3], |w| [&w.name, &w.measure, &w.unit]);
    let numbers = worst.map(|w| [w.figure.value, w.figure.low, w.figure.high, w.tolerance]);
    let numbers: [Option<f64>; 4] = std::array::from_fn(|k| numbers.map(|n| n[k]));
    let mut cells = vec![cell(job), cell(&view.view)];
    cells.push(view.verdict.map_or("", Verdict::word).to_owned());
    cells.extend(words.map(cell));
    cells.extend(numbers.map(shown));
    cells.push(shown(view.edge_overlap));
    cells.push(view.warnings.to_string());
    cells.push(view.error.as_deref().map_or_else(String::new, cell));
    format!("{}\r\n", cells.join(","))
}

#[cfg(test)]
mod tests {
    use super::*;

    fn worst(verdict: Verdict, value: f64) -> WorstFigure {
        WorstFigure {
            name: format!("{value}"),
            measure: "width".to_owned(),
            unit: "%".to_owned(),
            figure: Figure {
                value,
                low: value - 1.0,
                high: value + 1.0,
            },
            tolerance: 2.0,
            verdict,
        }
    }

    #[test]
    fn the_most_off_goes_by_verdict_first() {
        let all = [
            worst(Verdict::Within, 1.0),
            worst(Verdict::Out, -4.0),
            worst(Verdict::Undecided, 9.0),
            worst(Verdict::Out, 4.0),
        ];
        let found = WorstFigure::of(all.into_iter()).expect("some");
        assert_eq!(found.name, "-4");
        assert_eq!(WorstFigure::of([].into_iter()), None);
        // A figure without a tolerance is not judged.
        let figure = Some(found.figure);
        assert_eq!(WorstFigure::new(("", "", ""), figure, None), None);
    }

    #[test]
    fn each_row_has_a_cell_for_each_column() {
        let view = Summary {
            view: "=side, left".to_owned(),
            verdict: Some(Verdict::Out),
            is_distrusted: false,
            worst: Some(worst(Verdict::Out, 4.0)),
            edge_overlap: Some(0.5),
            warnings: 2,
            error: None,
        };
        let bare = Summary {
            view: "front".to_owned(),
            verdict: None,
            worst: None,
            edge_overlap: None,
            error: Some("no such file".to_owned()),
            ..view.clone()
        };
        let text = summary_to_csv([
            ("a.json", Ok([view, bare].as_slice())),
            ("b.json", Err("no JSON")),
        ]);
        let lines: Vec<&str> = text.split("\r\n").collect();
        // A spreadsheet would run the name as a formula: it begins with an apostrophe.
        assert_eq!(
            lines[1],
            "a.json,\"'=side, left\",out,4,width,%,4,3,5,2,0.5,2,"
        );
        assert_eq!(lines[2], "a.json,front,,,,,,,,,,2,no such file");
        assert_eq!(lines[3], "b.json,,,,,,,,,,,,no JSON");
        let commas = |line: &str| line.matches(',').count();
        assert!([0, 2, 3].map(|k| commas(lines[k])).iter().all(|n| *n == 12));
    }
}
