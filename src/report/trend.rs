//! Errors over several results: each figure of regions, spans and angles in all of them, and what became of it from the first to
//! the last.
use super::{
    Report,
    csv::{cell, number},
    json::{Figure, as_text},
    revision::{
        Change, RevisionError, RevisionMeasure, compared, compared_in_space, measure_word,
        part_word, revision,
    },
    table::Page,
    wording::{Sign, clean, plus_minus, with_unit},
};
use crate::measurement::{MeasureKind, PartKind};

/// Errors over several results.
#[derive(Clone, Debug, PartialEq, serde::Serialize)]
pub struct Trend {
    /// What the results are called, the oldest first.
    pub results: Vec<String>,
    /// Those that got better or worse come first, then those that are off by the most times their tolerance.
    pub series: Vec<Series>,
}

/// One figure over all results.
#[derive(Clone, Debug, PartialEq, serde::Serialize)]
pub struct Series {
    /// Its view.
    pub view: String,
    /// What it is of.
    pub of: PartKind,
    /// Name of the region, span or angle.
    pub name: String,
    /// Which figure of it.
    pub measure: MeasureKind,
    /// Its unit.
    pub unit: String,
    /// What is tolerated.
    pub tolerance: Option<f64>,
    /// One for each result; `None` where it is not told.
    pub figures: Vec<Option<Figure>>,
    /// What became of it from the first result to the last; `None` with one result.
    pub change: Option<Change>,
}

/// The trend as indented JSON, numbers rounded like those of a report.
pub fn trend_to_json(trend: &Trend) -> String {
    as_text(trend)
}

impl Series {
    /// "lantern width", with the view where there are several.
    pub fn title(&self, with_view: bool) -> String {
        let own = format!("{} {}", self.name, measure_word(self.measure));
        match with_view {
            true => format!("{}: {own}", self.view),
            false => own,
        }
    }

    /// The largest error over its tolerance.
    fn times_tolerance(&self) -> f64 {
        let values = self.figures.iter().flatten().map(|f| f.value.abs());
        let most = values.fold(0.0, f64::max);
        self.tolerance
            .filter(|t| *t > 0.0)
            .map_or(0.0, |t| most / t)
    }

    /// The figure of each result in words; "-" where it is not told.
    fn told(&self) -> Vec<String> {
        let told = |figure: &Option<Figure>| match figure {
            Some(figure) => with_unit(&plus_minus(figure, Sign::Always), &self.unit),
            None => with_unit("-", &self.unit),
        };
        self.figures.iter().map(told).collect()
    }

    /// Whether all of several results tell it in the same words.
    fn never_moved(&self) -> bool {
        let told = self.told();
        let is_told = self.figures.iter().all(Option::is_some);
        told.len() > 1 && is_told && told.iter().all(|text| *text == told[0])
    }

    fn is(&self, view: &str, m: &RevisionMeasure) -> bool {
        self.view == view
            && (self.of, &self.name, self.measure) == (m.of, &m.name, m.measure)
            && self.unit == m.unit
    }
}

impl Trend {
    /// Of reports with their names, the oldest first.
    ///
    /// # Errors
    /// Where two results have nothing to do with each other; with the name of the later one.
    pub fn of(reports: &[(String, Report)]) -> Result<Self, (String, RevisionError)> {
        let mut series: Vec<Series> = Vec::new();
        for (k, (name, report)) in reports.iter().enumerate() {
            if let Some((_, first)) = reports[..k].first() {
                revision(first, report).map_err(|error| (name.clone(), error))?;
            }
            let views = report.views.iter().map(|view| compared(None, Some(view)));
            let in_space = compared_in_space(None, report.space.as_ref());
            for view in views.chain(in_space) {
                for m in &view.measures {
                    let known = series.iter().position(|s| s.is(&view.name, m));
                    let at = known.unwrap_or_else(|| {
                        series.push(empty(&view.name, m, reports.len()));
                        series.len() - 1
                    });
                    series[at].figures[k] = m.after;
                }
            }
        }
        let mut trend = Self {
            results: reports.iter().map(|(name, _)| name.clone()).collect(),
            series,
        };
        trend
            .series
            .retain(|s| s.figures.iter().any(Option::is_some));
        if let [(_, first), .., (_, last)] = reports {
            trend.changes(first, last);
        }
        let has_changed = |s: &Series| matches!(s.change, Some(Change::Better | Change::Worse));
        trend.series.sort_by(|a, b| {
            let by_error = b.times_tolerance().total_cmp(&a.times_tolerance());
            has_changed(b).cmp(&has_changed(a)).then(by_error)
        });
        Ok(trend)
    }

    fn changes(&mut self, first: &Report, last: &Report) {
        let Ok(revision) = revision(first, last) else {
            return;
        };
        for view in &revision.views {
            for m in &view.measures {
                if let Some(series) = self.series.iter_mut().find(|s| s.is(&view.name, m)) {
                    series.change = Some(m.change);
                }
            }
        }
    }

    /// Whether several views are in it, so that figures are named with theirs.
    pub fn has_several_views(&self) -> bool {
        self.series
            .windows(2)
            .any(|pair| pair[0].view != pair[1].view)
    }
}

fn empty(view: &str, m: &RevisionMeasure, results: usize) -> Series {
    Series {
        view: view.to_owned(),
        of: m.of,
        name: m.name.clone(),
        measure: m.measure,
        unit: m.unit.clone(),
        tolerance: m.tolerance,
        figures: vec![None; results],
        change: None,
    }
}

/// All figures, one a row and result, in the form of [`to_csv`](super::to_csv).
pub fn trend_to_csv(trend: &Trend) -> String {
    let mut rows =
        "result,view,kind,name,measure,unit,value,low,high,tolerance,change since the first\r\n"
            .to_owned();
    for series in &trend.series {
        let (kind, measure) = (part_word(series.of), measure_word(series.measure));
        let told = trend.results.iter().zip(&series.figures);
        for (result, figure) in told.filter_map(|(result, figure)| Some((result, (*figure)?))) {
            let texts = [
                result,
                &series.view,
                kind,
                &series.name,
                measure,
                &series.unit,
            ]
            .map(cell);
            let numbers = [
                Some(figure.value),
                Some(figure.low),
                Some(figure.high),
                series.tolerance,
            ];
            let numbers = numbers.map(|n| n.map_or(String::new(), number)).join(",");
            let change = series.change.map_or("", Change::word);
            rows.push_str(&format!("{},{numbers},{change}\r\n", texts.join(",")));
        }
    }
    rows
}

/// The figures as lines for a terminal, in the order of the trend.
pub fn trend_table(trend: &Trend, width: usize) -> String {
    let mut page = Page::plain(width);
    for (k, name) in trend.results.iter().enumerate() {
        page.wrapped(&format!("  {:>2}  ", k + 1), name, "      ");
    }
    page.line("");
    let mut unmoved: Vec<&Series> = Vec::new();
    for series in &trend.series {
        if series.never_moved() {
            unmoved.push(series);
            continue;
        }
        let change = series
            .change
            .map_or(String::new(), |c| format!("   {} {}", c.word(), c.sign()));
        page.wrapped("", &format!("{}{change}", clean(&series.title(true))), "  ");
        let told = series.told().into_iter().enumerate();
        let pieces: Vec<String> = told.map(|(k, t)| format!("{}: {t}", k + 1)).collect();
        page.flow("    ", &pieces, "   ", "    ");
    }
    if !unmoved.is_empty() {
        page.wrapped("", &unmoved_in_words(&unmoved), "  ");
    }
    page.text
}

/// Figures that are named of those that never moved: a judgement; they are those that are off the most.
const MOST_UNMOVED: usize = 3;

fn unmoved_in_words(unmoved: &[&Series]) -> String {
    let word = if unmoved.len() == 1 {
        "figure is"
    } else {
        "figures are"
    };
    let named = unmoved.iter().take(MOST_UNMOVED).map(|series| {
        let told = series.told();
        format!("{} {}", clean(&series.title(true)), told[0])
    });
    let named = named.collect::<Vec<_>>().join("; ");
    let rest = match unmoved.len().saturating_sub(MOST_UNMOVED) {
        0 => String::new(),
        rest => format!("; and {rest} more (trend.csv has all)"),
    };
    format!(
        "{} {word} the same in all results: {named}{rest}",
        unmoved.len()
    )
}
