//! What a screen left in a reference: as it is written, and in words.
use super::{finite::finite, json::*, wording::decimals};
use crate::measurement;

/// What was found, as it is written; `None` where nothing was.
pub(super) fn entry(found: &measurement::ScreenFindings) -> Option<ScreenEntry> {
    let has_any = !found.patterns.is_empty() || found.glare.is_some() || found.bars.is_some();
    has_any.then(|| ScreenEntry {
        patterns: found.patterns.iter().map(pattern_entry).collect(),
        glare: found.glare.map(|glare| GlareEntry {
            patches: glare.patches,
            masked_percent: finite(glare.masked_percent),
        }),
        letterbox: found.bars.map(|bars| LetterboxEntry {
            sides: if bars.are_upright {
                LetterboxSides::LeftAndRight
            } else {
                LetterboxSides::TopAndBottom
            },
            depths_px: bars.depths_px.map(finite),
            picture_aspect: finite(bars.picture_aspect),
            stated_aspect: bars.stated_aspect.and_then(finite),
        }),
    })
}

fn pattern_entry(p: &measurement::FoundPattern) -> PatternEntry {
    let (removal, sigma_px) = match p.removal {
        measurement::Removal::LowPass { sigma_px } => (Removal::LowPass, finite(sigma_px)),
        measurement::Removal::Notch => (Removal::Notch, None),
    };
    PatternEntry {
        period_px: finite(p.period_px),
        period_range_px: p.period_range_px.map(finite),
        direction_deg: finite(p.direction_deg),
        amplitude_grey_levels: finite(p.amplitude),
        taken_percent: finite(p.taken_percent),
        share_percent: finite(p.share_percent),
        removal,
        sigma_px,
    }
}

/// What was done to the reference before its edges were looked for, a sentence each.
pub(super) fn sentences(view: &ViewEntry) -> Vec<String> {
    let Some(screen) = &view.screen else {
        return Vec::new();
    };
    let grid = screen
        .patterns
        .iter()
        .filter(|p| p.removal == Removal::LowPass);
    let beats = screen
        .patterns
        .iter()
        .filter(|p| p.removal == Removal::Notch);
    let mut lines = Vec::new();
    lines.extend(patterns_line("a pixel grid", &grid.collect::<Vec<_>>()));
    lines.extend(patterns_line("moire", &beats.collect::<Vec<_>>()));
    lines.extend(screen.glare.map(|glare| {
        let share = glare.masked_percent.map_or(String::new(), |p| decimals(p, 1));
        let patches = if glare.patches == 1 { "patch" } else { "patches" };
        format!(
            "{} {patches} of glare, {share} % of the reference with a margin, were masked: no edge is taken from there",
            glare.patches
        )
    }));
    lines.extend(screen.letterbox.as_ref().and_then(letterbox_line));
    lines.iter().map(|line| sentence(line)).collect()
}

/// The line with a capital at its start and a full stop.
fn sentence(line: &str) -> String {
    let mut letters = line.chars();
    let first = letters.next().map(char::to_uppercase);
    let rest = letters.as_str();
    format!("{}{rest}.", first.into_iter().flatten().collect::<String>())
}

/// "a pixel grid of 4.1 px (repeating at 2°) and 4.3 px (repeating at -88°) was filtered out of the reference before ...".
/// A grid has two directions; what else there is are its overtones and diagonals.
fn patterns_line(what: &str, patterns: &[&PatternEntry]) -> Option<String> {
    const NAMED: usize = 2;
    let mut each: Vec<String> = patterns
        .iter()
        .take(NAMED)
        .filter_map(|p| {
            let (period, direction) = (decimals(p.period_px?, 1), decimals(p.direction_deg?, 0));
            Some(format!("{period} px (repeating at {direction}°)"))
        })
        .collect();
    let fainter = patterns.len().saturating_sub(NAMED);
    if fainter > 0 {
        each.push(format!("{fainter} fainter"));
    }
    let taken = patterns.iter().filter_map(|p| p.taken_percent);
    let least = taken.fold(100.0, f64::min);
    (!each.is_empty()).then(|| {
        format!(
            "{what} of {} was filtered out of the reference before its edges were looked for: {} % of it or more",
            each.join(" and "),
            decimals(least.floor(), 0)
        )
    })
}

fn letterbox_line(bars: &LetterboxEntry) -> Option<String> {
    let (sides, size) = match bars.sides {
        LetterboxSides::TopAndBottom => ("at the top and the bottom", "high"),
        LetterboxSides::LeftAndRight => ("at the left and the right", "wide"),
    };
    let [first, second] = bars.depths_px;
    let mut line = format!(
        "dark bars {sides}, {} and {} px {size}, were masked; the picture between them is {}:1",
        decimals(first?, 0),
        decimals(second?, 0),
        decimals(bars.picture_aspect?, 2)
    );
    if let Some(stated) = bars.stated_aspect {
        line.push_str(&format!(
            " if the stated {}:1 is that of the marked corners, bars included; where it is that of the picture alone, \
             mark the picture's corners",
            decimals(stated, 2)
        ));
    }
    Some(line)
}
