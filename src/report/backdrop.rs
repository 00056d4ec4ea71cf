//! Backdrops in figures, to be typed into CAD.
use super::{
    JsonReason,
    finite::figure,
    json::{self, Figure, Program, Warning},
    table::Page,
    wording::{Sign, clean, decimals, plus_minus},
};
use crate::{job::Job, measurement::SeenTwice};
use serde::Serialize;

/// The backdrops of a job.
#[derive(Clone, Debug, Serialize)]
pub struct BackdropReport {
    /// "tickstrip-backdrops".
    pub format: &'static str,
    /// 1.
    pub format_version: u32,
    /// The program that wrote it.
    pub program: Program,
    /// The job's title.
    pub title: String,
    /// N of the scale 1:N.
    pub scale_denominator: f64,
    /// Each view that was asked for.
    pub views: Vec<BackdropEntry>,
    /// What two views see.
    pub seen_twice: Vec<SeenTwiceEntry>,
    /// What the reader must know of all views.
    pub notes: Vec<String>,
}

/// The backdrop of one view.
#[derive(Clone, Debug, Serialize)]
pub struct BackdropEntry {
    /// Name of the view.
    pub name: String,
    /// Its figures; `null` where there is none.
    pub backdrop: Option<Backdrop>,
    /// Why not.
    pub error: Option<JsonReason>,
}

/// The figures of a backdrop.
#[derive(Clone, Debug, Serialize)]
pub struct Backdrop {
    /// Width and height, pixels.
    pub size_px: [u32; 2],
    /// Pixels a millimetre of the model.
    pub px_per_model_mm: f64,
    /// Width and height, millimetres of the model.
    pub size_model_mm: [f64; 2],
    /// How well the scale is known, per cent (95 %).
    pub scale_within_percent: Option<f64>,
    /// What runs to the right and upwards.
    pub right: String,
    /// The same.
    pub up: String,
    /// The landmark from which places are counted.
    pub origin: String,
    /// Where that lies in CAD, millimetres along x, y, z: its place on the model where the job states it, else 0, 0, 0.
    pub origin_model_mm: [f64; 3],
    /// Where the lower left corner goes: along the axis that runs to the right, then along the one that runs upwards, millimetres of
    /// the model.
    pub lower_left_model_mm: [f64; 2],
    /// The same of the middle.
    pub middle_model_mm: [f64; 2],
    /// What the reader must know.
    pub warnings: Vec<Warning>,
}

/// A length that two views see.
#[derive(Clone, Debug, Serialize)]
pub struct SeenTwiceEntry {
    /// Names of both views.
    pub views: [String; 2],
    /// What it is.
    pub what: String,
    /// Its length in each of them, full-size millimetres.
    pub full_size_mm: [Figure; 2],
    /// The second minus the first.
    pub difference_full_size_mm: Option<Figure>,
    /// Whether both may be right.
    pub agrees: bool,
}

impl SeenTwiceEntry {
    fn new(seen: &SeenTwice) -> Self {
        Self {
            views: seen.views.clone(),
            what: seen.what.clone(),
            full_size_mm: seen.lengths.map(figure),
            difference_full_size_mm: seen.difference().map(figure),
            agrees: seen.agrees(),
        }
    }
}

impl BackdropReport {
    /// Of the views that were asked for.
    pub fn new(
        job: &Job,
        views: Vec<BackdropEntry>,
        seen: &[SeenTwice],
        notes: Vec<String>,
    ) -> Self {
        Self {
            format: "tickstrip-backdrops",
            format_version: 1,
            program: Program::own(),
            title: job.title.clone(),
            scale_denominator: job.scale.denominator(),
            views,
            seen_twice: seen.iter().map(SeenTwiceEntry::new).collect(),
            notes,
        }
    }

    /// As JSON with a line break at its end; numbers have nine digits.
    pub fn to_json(&self) -> String {
        json::as_text(self)
    }

    /// What to type into CAD, as lines no wider than `width`.
    pub fn to_text(&self, width: usize) -> String {
        let mut page = Page::plain(width);
        for view in &self.views {
            let name = clean(&view.name);
            match (&view.backdrop, &view.error) {
                (Some(backdrop), _) => backdrop.print(&name, &mut page),
                (None, Some(error)) => page.wrapped(&format!("{name}: "), &error.text, "  "),
                (None, None) => {}
            }
        }
        if !self.seen_twice.is_empty() {
            let agreeing = self.seen_twice.iter().filter(|seen| seen.agrees).count();
            let words = format!(
                "{} length{} seen in two views, {agreeing} within their intervals",
                self.seen_twice.len(),
                if self.seen_twice.len() == 1 {
                    " is"
                } else {
                    "s are"
                }
            );
            page.wrapped("", &words, "  ");
        }
        for seen in self.seen_twice.iter().filter(|seen| !seen.agrees) {
            page.wrapped("  ! ", &seen.in_words(), "    ");
        }
        for note in &self.notes {
            page.wrapped("note: ", note, "  ");
        }
        page.text
    }
}

impl SeenTwiceEntry {
    fn in_words(&self) -> String {
        let [first, second] = &self.full_size_mm;
        let difference = self.difference_full_size_mm.as_ref();
        let difference = difference.map_or(String::new(), |d| plus_minus(d, Sign::Always));
        format!(
            "{} is {} mm in \"{}\" and {} mm in \"{}\": {difference} mm. Look at its marks, at the known lengths of both views, and whether it \
             lies in the plane of each.",
            self.what,
            plus_minus(first, Sign::Minus),
            self.views[0],
            plus_minus(second, Sign::Minus),
            self.views[1]
        )
    }
}

impl Backdrop {
    fn print(&self, name: &str, page: &mut Page) {
        let mm = |v: f64| decimals(v, 3);
        let [columns, rows] = self.size_px;
        let within = self.scale_within_percent.map_or(String::new(), |percent| {
            format!(", scale known within {} %", decimals(percent, 2))
        });
        page.wrapped(
            &format!("{name}: "),
            &format!(
                "{columns} x {rows} px, {} px a model mm{within}",
                decimals(self.px_per_model_mm, 3)
            ),
            "  ",
        );
        let [width, height] = self.size_model_mm.map(mm);
        page.line(&format!("  size             {width} x {height} mm"));
        let [x, y] = self.lower_left_model_mm.map(mm);
        let (right, up) = (axis(&self.right), axis(&self.up));
        page.line(&format!("  lower left at    {right} {x} mm, {up} {y} mm"));
        let [x, y] = self.middle_model_mm.map(mm);
        page.line(&format!("  middle at        {right} {x} mm, {up} {y} mm"));
        // Without axes these are the directions themselves.
        if [self.right.as_str(), self.up.as_str()] != ["right", "up"] {
            page.line(&format!(
                "  to the right {}, upwards {}",
                self.right, self.up
            ));
        }
        let [x, y, z] = self.origin_model_mm.map(|v| decimals(v, 2));
        page.wrapped(
            "  origin           ",
            &format!("\"{}\" at ({x}, {y}, {z})", clean(&self.origin)),
            "    ",
        );
        for warning in &self.warnings {
            page.wrapped("  ! ", &warning.text, "    ");
        }
    }
}

/// The name of an axis without its sign.
fn axis(direction: &str) -> &str {
    direction.trim_start_matches('-')
}
