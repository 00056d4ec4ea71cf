//! Errors over several results: read, held against each other, drawn.
use super::earlier::{EarlierError, reports_at};
use crate::{
    drawing::{self, TrendLine, TrendPanel},
    measurement::MeasureKind,
    report::{self, RevisionError, Series, Trend},
};
use std::path::PathBuf;

/// Why no trend can be told.
#[derive(Debug, thiserror::Error)]
pub enum TrendError {
    /// Results cannot be used.
    #[error(transparent)]
    Earlier(#[from] EarlierError),
    /// Results that have nothing to do with the first ones.
    #[error("{name}: held against the first results that are named: {source}")]
    Unlike {
        /// What the results are called.
        name: String,
        /// Why.
        source: RevisionError,
    },
    /// More than a chart has room for.
    #[error("{found} results; a chart has room for {MOST_RESULTS}: name fewer")]
    TooMany {
        /// How many.
        found: usize,
    },
}

/// A chart of more has no room for their names, and a table none for its columns: a judgement.
const MOST_RESULTS: usize = 100;

/// The errors over all results that these paths name: folders of results, of results kept by date, or reports, the oldest first.
///
/// # Errors
/// Where some cannot be used.
pub fn trend(paths: &[PathBuf]) -> Result<Trend, TrendError> {
    let mut reports = Vec::new();
    for path in paths {
        reports.extend(reports_at(path)?);
        if reports.len() > MOST_RESULTS {
            return Err(TrendError::TooMany {
                found: reports.len(),
            });
        }
    }
    Trend::of(&reports).map_err(|(name, source)| TrendError::Unlike { name, source })
}

/// The files of a trend: name and bytes of `trend.csv`, `trend.svg`, `trend.png` and `trend.html`.
///
/// # Errors
/// Where the chart cannot be drawn.
pub fn trend_files(trend: &Trend) -> Result<Vec<(&'static str, Vec<u8>)>, drawing::Error> {
    let [svg, png] = drawing::trend_chart(&trend.results, &panels(trend))?;
    let page = report::trend_page(trend, &png);
    Ok(vec![
        ("trend.csv", report::trend_to_csv(trend).into_bytes()),
        ("trend.svg", svg),
        ("trend.html", page.into_bytes()),
        ("trend.png", png),
    ])
}

/// A panel for sizes, one for offsets, one for angles, as far as there are any.
fn panels(trend: &Trend) -> Vec<TrendPanel> {
    let of = |title: &str, unit: &'static str, measures: &[MeasureKind]| {
        let series = trend
            .series
            .iter()
            .filter(|s| measures.contains(&s.measure) && s.unit == unit);
        let series: Vec<&Series> = series.collect();
        let drawn = &series[..series.len().min(drawing::MOST_TREND_LINES)];
        let tolerance = drawn.iter().filter_map(|s| s.tolerance).reduce(f64::min);
        let words = tolerance.map_or(String::new(), |t| {
            format!("; grey: smallest tolerance, {t} {unit}").replace(" °", "°")
        });
        let line = |s: &&Series| TrendLine {
            name: s.title(trend.has_several_views()),
            figures: s
                .figures
                .iter()
                .map(|f| f.map(|f| [f.low, f.value, f.high]))
                .collect(),
        };
        TrendPanel {
            title: format!("{title} (95 % intervals{words})"),
            unit,
            tolerance,
            lines: series.iter().map(line).collect(),
        }
    };
    use MeasureKind::{Angle, Height, Length, OffsetX, OffsetY, Rotation, Width};
    let panels = [
        of("Size errors", "%", &[Width, Height, Length]),
        of(
            "Offsets on the model, x to the right, y down",
            "mm",
            &[OffsetX, OffsetY],
        ),
        of(
            "Offsets in the render, x to the right, y down",
            "px",
            &[OffsetX, OffsetY],
        ),
        of("Turns, clockwise", "°", &[Rotation, Angle]),
    ];
    panels
        .into_iter()
        .filter(|panel| !panel.lines.is_empty())
        .collect()
}
