//! References measured by themselves as lines for a terminal.
#[cfg(feature = "service")]
use super::dimensions::{DimensionEntry, PlaceEntry};
use super::{
    JsonReason,
    dimensions::{Dimensions, DimensionsReport},
    json::Figure,
    table::Page,
    wording::{Sign, clean, decimals, plus_minus, shorten, width, with_unit},
};
#[cfg(feature = "service")]
use crate::measurement::Untold;
use crate::rectification;
#[cfg(feature = "service")]
use serde::Serialize;
use std::collections::BTreeMap;

impl DimensionsReport {
    /// As lines for a terminal of this width.
    pub fn to_text(&self, width: usize) -> String {
        let mut page = Page::plain(width);
        for (k, view) in self.views.iter().enumerate() {
            if k > 0 {
                page.line("");
            }
            match (&view.measured, &view.error) {
                (Some(measured), _) => measured.print(&view.name, &mut page),
                (None, Some(error)) => {
                    page.wrapped(&format!("{}: ", clean(&view.name)), &error.text, "  ")
                }
                (None, None) => {}
            }
        }
        page.text
    }
}

/// The figures of one reference in words, each with its interval or the reason why it cannot be told.
#[cfg(feature = "service")]
#[derive(Clone, Debug, Serialize)]
pub struct DimensionsInWords {
    /// What tells the scale, and how well a mark is known.
    pub head: String,
    /// Name and figure of each span.
    pub spans: Vec<(String, String)>,
    /// Of each angle.
    pub angles: Vec<(String, String)>,
    /// Of each span over the longest one.
    pub proportions: Vec<(String, String)>,
    /// Of each landmark, where it lies from the origin.
    pub places: Vec<(String, String)>,
}

#[cfg(feature = "service")]
impl Dimensions {
    /// In words, for a page.
    pub fn in_words(&self) -> DimensionsInWords {
        let told = |untold: &Option<JsonReason>, words: String| match untold {
            // The page has said what to do.
            Some(why) if why.code == Untold::NoScale.code() => "no scale yet".to_owned(),
            Some(why) => format!("cannot tell: {}", why.text),
            None => words,
        };
        let both = |span: &DimensionEntry| {
            let [full_size, model] = [&span.full_size_mm, &span.model_mm].map(|f| figure(f, "mm"));
            told(&span.untold, format!("{full_size}; on the model {model}"))
        };
        let place = |place: &PlaceEntry| {
            let [x, y] = [0, 1].map(|k| figure(&self.along(&place.full_size_mm, k), "mm"));
            let [along_x, along_y] = self.place_axes;
            told(&place.untold, format!("{along_x} {x}, {along_y} {y}"))
        };
        let angles = self.angles.iter();
        let shares = self.proportions.iter();
        DimensionsInWords {
            head: self.short_head(),
            spans: self
                .spans
                .iter()
                .map(|s| (s.name.clone(), both(s)))
                .collect(),
            angles: angles
                .map(|a| (a.name.clone(), told(&a.untold, figure(&a.deg, "°"))))
                .collect(),
            proportions: shares
                .map(|s| {
                    let words = format!("{} of {}", figure(&s.ratio, ""), s.to);
                    (s.of.clone(), told(&s.untold, words))
                })
                .collect(),
            places: self
                .places
                .iter()
                .map(|p| (p.name.clone(), place(p)))
                .collect(),
        }
    }

    fn short_head(&self) -> String {
        let sigma = decimals(self.mark_sigma_px, 2);
        let scale = match &self.px_per_full_size_mm {
            Some(px) => format!("{} px a full-size mm; ", plus_minus(px, Sign::Minus)),
            None => String::new(),
        };
        let marks = match self.is_mark_sigma_stated {
            true => format!("a mark is good to {sigma} px"),
            false => format!(
                "a mark is taken to be good to {sigma} px: state \u{b1} px for narrower intervals"
            ),
        };
        format!("{scale}{marks}")
    }
}

impl Dimensions {
    fn print(&self, name: &str, page: &mut Page) {
        page.wrapped(&format!("{}: ", clean(name)), &self.head(), "  ");
        for warning in &self.warnings {
            page.wrapped("  ! ", &warning.text, "    ");
        }
        let spans = self.spans.iter().map(|span| Row {
            name: span.name.clone(),
            cells: vec![
                figure(&span.full_size_mm, "mm"),
                figure(&span.model_mm, "mm"),
            ],
            untold: span.untold.as_ref(),
        });
        table(page, &["span", "full size", "model"], spans.collect());
        let angles = self.angles.iter().map(|angle| Row {
            name: angle.name.clone(),
            cells: vec![figure(&angle.deg, "°")],
            untold: angle.untold.as_ref(),
        });
        table(page, &["angle", ""], angles.collect());
        let whole = self
            .proportions
            .first()
            .map_or("", |share| share.to.as_str());
        let shares = self.proportions.iter().map(|share| Row {
            name: share.of.clone(),
            cells: vec![figure(&share.ratio, "")],
            untold: share.untold.as_ref(),
        });
        table(
            page,
            &["proportion", &format!("of {}", clean(whole))],
            shares.collect(),
        );
        self.print_places(page);
    }

    /// How the drawing is turned; more of a quarter than of nothing is asked about: such a picture lies on its side, or "x" and "y" are
    /// exchanged.
    fn turned(&self) -> String {
        let says = "as a known length with \"along\" says";
        match self.drawing_turned_deg {
            None => "as it lies: a known length with \"along\" would turn it".to_owned(),
            Some(turn) if turn.value.abs() > 45.0 => {
                let by = with_unit(&plus_minus(&turn, Sign::Always), "°");
                format!(
                    "turned by {by} {says} (if the picture does not lie on its side, \"x\" and \"y\" are exchanged)"
                )
            }
            Some(_) => format!("turned {says}"),
        }
    }

    fn print_places(&self, page: &mut Page) {
        if let Some(origin) = &self.origin {
            let turned = match self.place_axes {
                ["right", _] => format!(
                    ", to the right and down in the picture, {}; the view's \"axes\" would name them",
                    self.turned()
                ),
                _ => ", along the axes of the model".to_owned(),
            };
            page.line("");
            let words = format!("\"{}\"{turned}", clean(origin));
            page.wrapped("  places in mm from ", &words, "    ");
        }
        let [first, second] = self.place_axes;
        let heads = [
            "landmark".to_owned(),
            format!("full size {first}"),
            second.to_owned(),
            format!("model {first}"),
            second.to_owned(),
        ];
        let heads: Vec<&str> = heads.iter().map(String::as_str).collect();
        let along = |of, k| figure(&self.along(of, k), "");
        let places = self.places.iter().map(|place| Row {
            name: place.name.clone(),
            cells: [&place.full_size_mm, &place.model_mm]
                .into_iter()
                .flat_map(|of| [along(of, 0), along(of, 1)])
                .collect(),
            untold: place.untold.as_ref(),
        });
        columns(page, &heads, places.collect());
    }

    /// The coordinate of a place along the first or second of the axes.
    fn along(&self, of: &Option<BTreeMap<&'static str, Figure>>, k: usize) -> Option<Figure> {
        of.as_ref()?.get(self.place_axes[k]).copied()
    }

    /// By what it was measured.
    fn head(&self) -> String {
        let by = match (self.by, self.depth_along) {
            ("camera", Some(axis)) => format!(
                "measured by the photo's camera, each landmark at the depth along {axis} of its place on the model"
            ),
            _ => "measured in the plane of the reference".to_owned(),
        };
        let scale = match (&self.px_per_full_size_mm, self.scale_from) {
            (Some(px), Some(from)) => format!(
                ", {} px a full-size millimetre by its {from}",
                plus_minus(px, Sign::Minus)
            ),
            _ => String::new(),
        };
        let sigma = decimals(self.mark_sigma_px, 2);
        let is_believed = self.mark_sigma_px == rectification::mark_sigma_px();
        let marks = match (self.is_mark_sigma_stated, is_believed) {
            (true, _) => format!("a mark is good to {sigma} px"),
            (false, true) => format!(
                "a mark is taken to be good to {sigma} px, which is only believed and makes intervals wide (state \"mark_sigma_px\")"
            ),
            (false, false) => format!("by what is left over a mark is good to {sigma} px"),
        };
        format!("{by}{scale}; {marks}")
    }
}

fn figure(figure: &Option<Figure>, unit: &str) -> String {
    figure.as_ref().map_or("cannot tell".to_owned(), |figure| {
        let text = plus_minus(figure, Sign::Minus);
        if unit.is_empty() {
            text
        } else {
            with_unit(&text, unit)
        }
    })
}

/// A line of a table.
struct Row<'a> {
    name: String,
    cells: Vec<String>,
    untold: Option<&'a JsonReason>,
}

/// The same after an empty line.
fn table(page: &mut Page, heads: &[&str], rows: Vec<Row<'_>>) {
    if !rows.is_empty() {
        page.line("");
    }
    columns(page, heads, rows);
}

/// Columns between which there are two spaces; where they are too wide for the page, each row is a line that is broken.
fn columns(page: &mut Page, heads: &[&str], rows: Vec<Row<'_>>) {
    if rows.is_empty() {
        return;
    }
    let of_column = |k: usize| {
        let cells = rows.iter().map(|row| width(&row.cells[k]));
        cells.max().unwrap_or(0).max(width(heads[k + 1]))
    };
    let widths: Vec<usize> = (0..heads.len() - 1).map(of_column).collect();
    let taken: usize = widths.iter().map(|w| w + 2).sum();
    let names = rows.iter().map(|row| width(&row.name));
    let names = names.max().unwrap_or(0).max(width(heads[0]));
    let room = page.width.saturating_sub(taken + 2);
    let is_list = room < names.min(LEAST_NAME);
    if !is_list {
        let names = names.min(room);
        let mut head = format!("  {}", padded(heads[0], names));
        for (text, columns) in heads[1..].iter().zip(&widths) {
            head.push_str(&format!("  {}", padded(text, *columns)));
        }
        page.line(&head);
        for row in &rows {
            let mut line = format!("  {}", padded(&shorten(&clean(&row.name), names), names));
            for (text, columns) in row.cells.iter().zip(&widths) {
                line.push_str(&format!("  {}", padded(text, *columns)));
            }
            page.line(&line);
        }
    } else {
        page.line(&format!("  {}", heads[0]));
        for row in &rows {
            page.line(&format!("  {}", shorten(&clean(&row.name), page.width - 2)));
            let pieces: Vec<String> = (heads[1..].iter().zip(&row.cells))
                .map(|(head, cell)| format!("{head} {cell}").trim().to_owned())
                .collect();
            page.flow("    ", &pieces, "; ", "    ");
        }
    }
    let mut said: Vec<&str> = Vec::new();
    for why in rows.iter().filter_map(|row| row.untold) {
        if !said.contains(&why.code.as_str()) {
            said.push(&why.code);
            page.wrapped("  cannot tell: ", &why.text, "    ");
        }
    }
}

/// Names are shortened to no less than this, or the table is given up for a list.
const LEAST_NAME: usize = 14;

fn padded(text: &str, columns: usize) -> String {
    let text = shorten(text, columns);
    format!("{text}{}", " ".repeat(columns.saturating_sub(width(&text))))
}
