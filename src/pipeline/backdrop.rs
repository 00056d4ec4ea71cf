//! References as pictures at true scale for CAD, held against each other.
use super::{
    Error,
    measure::{self, Why},
    run::selected,
};
use crate::{
    drawing::{self, LONGEST_PAGE_MM, TrueScale, TrueScaleFiles, true_scale_size},
    images::{Budget, Limits},
    job::{Job, View},
    measurement::{self, Asked, ReferenceAlone, along_model},
    report::{Backdrop, BackdropEntry, BackdropReport, JsonReason, Warning},
};

/// What is asked of backdrops.
#[derive(Clone, Debug, Default)]
pub struct BackdropOptions {
    /// Names of the views; none: all.
    pub views: Vec<String>,
    /// Pixels a millimetre of the model; `None`: as many as the reference has, rounded up to two digits.
    pub px_per_mm: Option<f64>,
    /// Whether the files are made; else the figures alone.
    pub draw: bool,
}

/// The figures of backdrops, and their files by the names of their views.
#[derive(Clone, Debug)]
pub struct Backdrops {
    /// All figures.
    pub report: BackdropReport,
    /// Name of the view, and its files.
    pub files: Vec<(String, TrueScaleFiles)>,
}

/// Makes the backdrop of each view; a view that has none says why, and the others go on.
///
/// # Errors
/// Where a view is unknown.
pub fn backdrops(
    job: &Job,
    options: &BackdropOptions,
    (limits, memory): (&Limits, &Budget),
) -> Result<Backdrops, Error> {
    let views: Vec<View> = selected(job, &options.views)?
        .into_iter()
        .map(|view| with_shared_origin(job, view.without_render()))
        .collect();
    let (mut entries, mut files, mut measured) = (Vec::new(), Vec::new(), Vec::new());
    for view in &views {
        let made = made(job, view, options, (limits, memory));
        let (backdrop, error) = match made {
            Ok((backdrop, drawn, alone)) => {
                files.extend(drawn.map(|drawn| (view.name.clone(), drawn)));
                measured.push((view, alone));
                (Some(backdrop), None)
            }
            Err((code, text)) => (None, Some(JsonReason::new(code, text))),
        };
        entries.push(BackdropEntry {
            name: view.name.clone(),
            backdrop,
            error,
        });
    }
    let sides: Vec<(&View, &ReferenceAlone)> = measured
        .iter()
        .map(|(view, alone)| (*view, alone))
        .collect();
    let seen = measurement::seen_twice(&sides);
    let notes = notes(&sides, seen.is_empty());
    Ok(Backdrops {
        report: BackdropReport::new(job, entries, &seen, notes),
        files,
    })
}

/// The view counting from its stated origin, else from the first landmark that all views have.
fn with_shared_origin(job: &Job, mut view: View) -> View {
    let is_everywhere = |name: &str| {
        let has = |view: &View| view.landmarks.iter().any(|l| l.name == name);
        job.views.iter().all(has)
    };
    view.origin = view
        .origin
        .or_else(|| view.landmarks.iter().position(|l| is_everywhere(&l.name)));
    view
}

/// What is missing for the sides to stand at one place in CAD.
fn notes(sides: &[(&View, &ReferenceAlone)], is_nothing_seen_twice: bool) -> Vec<String> {
    let mut notes = Vec::new();
    if sides.len() < 2 {
        return notes;
    }
    let origin = |(view, alone): &(&View, &ReferenceAlone)| {
        let landmark = &view.landmarks[alone.origin?];
        Some((landmark.name.clone(), landmark.model_mm))
    };
    let origins: Vec<_> = sides.iter().filter_map(origin).collect();
    let is_one_name = origins.iter().all(|(name, _)| *name == origins[0].0);
    let are_placed = origins.iter().all(|(_, place)| place.is_some());
    if !is_one_name && !are_placed {
        let text = "the views count from different landmarks, whose places in CAD the job does not state: mark one landmark in all of them \
                    and name it as \"origin\", or state the \"model_mm\" of each origin";
        notes.push(text.to_owned());
    }
    if is_nothing_seen_twice {
        let text = "nothing is seen in two views, so the sides cannot be held against each other: give a landmark or a span the same name in \
                    both, and state their \"axes\"";
        notes.push(text.to_owned());
    }
    notes
}

fn made(
    job: &Job,
    view: &View,
    options: &BackdropOptions,
    (limits, memory): (&Limits, &Budget),
) -> Result<(Backdrop, Option<TrueScaleFiles>, ReferenceAlone), Why> {
    let asked = Asked {
        against: None,
        as_plane: true,
    };
    let look = measure::Looked::new(view, limits)?;
    let alone = look.measured(job, view, asked, (limits, memory))?;
    let shown = shown(job, view, (&alone, look.size()), options.px_per_mm)?;
    let size = within_bounds(
        [shown.area_mm[2], shown.area_mm[3]],
        shown.px_per_mm,
        limits,
    )?;
    let drawn = if options.draw {
        let _taken = look.take(view, memory, size)?;
        let drawn = drawing::draw_true_scale(&look.read(view, limits)?, &shown);
        Some(drawn.map_err(|e| (e.code(), e.to_string()))?)
    } else {
        None
    };
    Ok((figures(view, &alone, &shown, size), drawn, alone))
}

/// What is shown of a reference, in millimetres of the model.
fn shown<'a>(
    job: &'a Job,
    view: &'a View,
    (alone, size): (&'a ReferenceAlone, (u32, u32)),
    px_per_mm: Option<f64>,
) -> Result<TrueScale<'a>, Why> {
    let n = job.scale.denominator();
    let px_per_full_size_mm = alone.px_per_full_size_mm.ok_or_else(|| {
        let text = "nothing tells a scale, so the picture cannot be brought to one; add a known length of the reference to \"known\"";
        ("no-scale", text.to_owned())
    })?;
    let origin = alone.origin.ok_or_else(|| {
        let text = "no landmark can be the origin; name one as \"origin\"";
        ("no-origin", text.to_owned())
    })?;
    let extent = alone.extent(size).map_err(|e| (e.code(), e.to_string()))?;
    let plain = alone.plain_from_reference.as_ref().zip(extent);
    let (plain, extent) = plain.ok_or_else(|| {
        let text = "the reference reaches beyond the horizon of its plane; rectify it by the corners of what is to be shown";
        ("beyond-horizon", text.to_owned())
    })?;
    Ok(TrueScale {
        title: &job.title,
        view: &view.name,
        plain_from_reference: plain,
        denominator: n,
        area_mm: extent.map(|v| v / n),
        origin_mm: plain
            .apply(view.landmarks[origin].reference)
            .xy()
            .map(|v| v / n),
        axes: match alone.axes {
            Some(axes) => [along_model(axes.right()), along_model(axes.down())],
            // As in CAD: upwards counts.
            None => [("right", 1.0), ("up", -1.0)],
        },
        px_per_mm: px_per_mm.unwrap_or_else(|| two_digits_up(px_per_full_size_mm.value() * n)),
    })
}

/// What to type into CAD of a picture of this width and height.
fn figures(
    view: &View,
    alone: &ReferenceAlone,
    shown: &TrueScale<'_>,
    size_px: [u32; 2],
) -> Backdrop {
    let size_mm = size_px.map(|px| f64::from(px) / shown.px_per_mm);
    let origin = alone.origin.map(|origin| &view.landmarks[origin]);
    let place = origin
        .and_then(|origin| origin.model_mm)
        .unwrap_or_default();
    let [right, down] = shown.axes;
    let of_axis = |name: &str| "xyz".find(name).map_or(0.0, |axis| place[axis]);
    let along = |right_mm: f64, down_mm: f64| {
        [
            of_axis(right.0) + right.1 * (right_mm - shown.origin_mm[0]),
            of_axis(down.0) + down.1 * (down_mm - shown.origin_mm[1]),
        ]
    };
    let [left, top, ..] = shown.area_mm;
    let named = |(name, sign): (&str, f64)| format!("{}{name}", if sign < 0.0 { "-" } else { "" });
    Backdrop {
        size_px,
        px_per_model_mm: shown.px_per_mm,
        size_model_mm: size_mm,
        scale_within_percent: (alone.px_per_full_size_mm)
            .map(|px| 100.0 * px.half_width() / px.value()),
        right: named(right),
        // Down is against up.
        up: named((down.0, -down.1)),
        origin: origin.map_or_else(String::new, |origin| origin.name.clone()),
        origin_model_mm: place,
        lower_left_model_mm: along(left, top + size_mm[1]),
        middle_model_mm: along(left + size_mm[0] / 2.0, top + size_mm[1] / 2.0),
        warnings: alone.warnings.iter().map(Warning::from).collect(),
    }
}

/// Width and height in pixels, where they are no more than a picture may have.
fn within_bounds(size_mm: [f64; 2], px_per_mm: f64, limits: &Limits) -> Result<[u32; 2], Why> {
    let [columns, rows] = true_scale_size(size_mm, px_per_mm);
    let most = limits.max_pixels as f64;
    let [width, height] = size_mm;
    if width.max(height) > LONGEST_PAGE_MM {
        let text = format!(
            "the backdrop would be {width:.0} x {height:.0} mm large, and no page is longer than {LONGEST_PAGE_MM:.0} mm: see whether the known \
             lengths have the right unit, or rectify by the corners of what is to be shown"
        );
        return Err(("backdrop-too-large", text));
    }
    if columns * rows > most || columns.max(rows) > f64::from(LONGEST_SIDE) {
        let by_area = (most / (width * height)).sqrt();
        let possible = by_area.min(f64::from(LONGEST_SIDE) / width.max(height));
        let text = format!(
            "the backdrop would have {columns:.0} x {rows:.0} pixels at {px_per_mm} px a model mm, and at most {:.0} million and {LONGEST_SIDE} a \
             side are made: state --px-per-mm {possible:.1} or less",
            most / 1e6
        );
        return Err(("backdrop-too-large", text));
    }
    Ok([columns as u32, rows as u32])
}

/// Longest side of a picture that a page of PDF takes.
const LONGEST_SIDE: u16 = u16::MAX;

/// The number, rounded up to two digits.
fn two_digits_up(x: f64) -> f64 {
    let unit = 10.0_f64.powf(x.log10().floor() - 1.0);
    let whole = (x / unit - 1e-9).ceil();
    // Through its decimal text, so that 21 is 21 and not a rounding beside it.
    format!("{:.3e}", whole * unit).parse().unwrap_or(x)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn as_many_pixels_as_there_are_rounded_up_to_two_digits() {
        for (x, expected) in [(18.48, 19.0), (18.0, 18.0), (101.0, 110.0), (0.231, 0.24)] {
            assert_eq!(two_digits_up(x), expected);
        }
    }

    #[test]
    fn a_backdrop_that_is_too_large_says_what_to_lower() {
        let limits = Limits::default();
        assert_eq!(
            within_bounds([100.0, 50.0], 20.0, &limits),
            Ok([2000, 1000])
        );
        let (code, text) = within_bounds([100.0, 50.0], 1000.0, &limits).expect_err("too large");
        assert_eq!(code, "backdrop-too-large");
        assert!(text.contains("state --px-per-mm 141.4 or less"), "{text}");
        let (_, text) = within_bounds([9000.0, 50.0], 1.0, &limits).expect_err("too large");
        assert!(text.contains("no page is longer than 5080 mm"), "{text}");
    }
}
