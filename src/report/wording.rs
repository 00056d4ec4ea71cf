//! What the page and the terminal table have in common: figures in words, verdict signs, order, and text made safe.
use super::json::*;
use crate::{
    measurement::{self, ranking},
    printable::is_command,
    statistics::{Measured, words},
    warning::Code,
};

pub(super) use crate::statistics::words::{Sign, decimals};

/// "+4.1 ±0.7"; see [`words::plus_minus`].
pub(super) fn plus_minus(figure: &Figure, sign: Sign) -> String {
    // A report of an earlier run may hold anything.
    Measured::new(figure.value, figure.low, figure.high)
        .map_or_else(|| "?".to_owned(), |m| words::plus_minus(m, sign, ""))
}

/// "+4.1 ±0.7 %", "+2.5 ±0.3°": a degree sign stands close.
pub(super) fn with_unit(text: &str, unit: &str) -> String {
    match unit {
        "°" => format!("{text}°"),
        _ => format!("{text} {unit}"),
    }
}

/// The word for what a region's figures rest on.
pub(super) fn method_word(method: Method) -> &'static str {
    match method {
        Method::None => "none",
        Method::Landmarks => "landmarks",
        Method::Edges => "edges",
        Method::LandmarksAndEdges => "landmarks+edges",
        Method::LandmarksAndSymmetry => "landmarks+symmetry",
        Method::LandmarksEdgesAndSymmetry => "landmarks+edges+symmetry",
    }
}

/// The word for a registration kind.
pub(super) fn kind_word(kind: RegistrationKind) -> &'static str {
    match kind {
        RegistrationKind::Similarity => "similarity",
        RegistrationKind::Affine => "affine",
        RegistrationKind::Projective => "projective",
    }
}

/// "6 datum + 2 check marks, 3 of them on outlines, 1 left out".
pub(super) fn marks_line(registration: &RegistrationEntry) -> String {
    let count = |usage| {
        let marks = registration.landmarks.iter();
        marks.filter(|l| l.usage == usage).count()
    };
    let left_out = registration.landmarks.iter().filter(|l| is_left_out(l));
    let mut line = format!(
        "{} datum + {} check marks",
        count(LandmarkUse::Datum),
        count(LandmarkUse::Check)
    );
    match registration
        .landmarks
        .iter()
        .filter(|l| l.outline.is_some())
        .count()
    {
        0 => {}
        n => line.push_str(&format!(", {n} of them on outlines")),
    }
    match left_out.count() {
        0 => {}
        n => line.push_str(&format!(", {n} left out")),
    }
    line
}

fn is_left_out(landmark: &LandmarkEntry) -> bool {
    landmark.usage == LandmarkUse::Datum && landmark.finding.as_deref() == Some("wrong")
}

/// What is doubtful about a landmark and what to do; `None` where nothing was found.
pub(super) fn landmark_advice(landmark: &LandmarkEntry) -> Option<String> {
    let finding = landmark.finding.as_deref()?;
    if let Some(other) = finding.strip_prefix("swapped with ") {
        return Some(format!(
            "exchanged with {other}, taken the other way round: exchange the two marks in one image"
        ));
    }
    if let Some(other) = finding.strip_prefix("contradicts ") {
        return Some(format!(
            "it or {other} is wrong, and nothing tells which: both are left out; look at both, or mark a third point of the part"
        ));
    }
    if finding == "uncontrolled" {
        return Some(
            "uncontrolled: no other mark checks this one; mark another datum landmark near it"
                .to_owned(),
        );
    }
    if let Some(part) = finding.strip_prefix("off with ") {
        return Some(format!(
            "off with {part}, which is altered: taken as check; mark it as check in the job"
        ));
    }
    if finding == "wrong place on the model" {
        return Some(
            "model_mm contradicts its mark in the render: not used; correct model_mm".to_owned(),
        );
    }
    let [x, y] = landmark.residual_px.map(|r| r.unwrap_or(f64::NAN));
    let distance = x.hypot(y);
    let by = if distance.is_finite() {
        format!(" by {} px", decimals(distance, 1))
    } else {
        String::new()
    };
    let left_out = if is_left_out(landmark) {
        ", left out of the fit"
    } else {
        ""
    };
    Some(format!(
        "wrong{by}{left_out}: mark it again in both images, or take it out where it is not the same point"
    ))
}

/// A correction with the name of its part, which most texts have in them already.
pub(super) fn correction_text(correction: &CorrectionEntry) -> String {
    if correction.text.contains(&correction.about) {
        return correction.text.clone();
    }
    format!("{}: {}", correction.about, correction.text)
}

/// Source, time code, variant, note and rights of a reference, as far as stated: word and text.
pub(super) fn provenance(r: &ReferenceEntry) -> impl Iterator<Item = (&'static str, &str)> {
    [
        ("source", &r.source),
        ("time code", &r.time_code),
        ("variant", &r.variant),
        ("note", &r.note),
        ("rights", &r.rights),
    ]
    .into_iter()
    .filter_map(|(word, text)| Some((word, text.as_deref()?)))
}

/// How both images differ in size: the sentence, then one for each further span.
pub(super) fn sizes_lines(view: &ViewEntry) -> Vec<String> {
    let Some(sizes) = &view.sizes else {
        return Vec::new();
    };
    // The sentence has the first span where spans are to be told at length; else their table has them.
    let is_told = |text: &String| sizes.text.ends_with(text);
    let is_at_length = sizes.spans.first().is_some_and(|s| is_told(&s.text));
    let further = sizes.spans.iter().skip(1).map(|s| s.text.clone());
    let further = further.filter(|_| is_at_length);
    std::iter::once(sizes.text.clone()).chain(further).collect()
}

/// "the reference: 2.345 ±0.004 px per mm, turned by +0.7 ±0.1°, ...": what the known lengths say of each image.
pub(super) fn dimension_lines(view: &ViewEntry) -> Vec<String> {
    let Some(scales) = &view.scales else {
        return Vec::new();
    };
    let images = [
        ("render", "model", &scales.render_dimensions),
        ("reference", "full size", &scales.reference_dimensions),
    ];
    let lines = images.into_iter();
    let lines = lines.filter_map(|(image, of, fit)| Some(dimension_line(image, of, fit.as_ref()?)));
    // Where it is not symmetric, a warning says so.
    let symmetry = view.symmetry.iter().filter(|s| s.symmetric);
    let silhouette = view.silhouette.iter().filter_map(silhouette_line);
    lines
        .chain(symmetry.map(|s| s.text.clone()))
        .chain(silhouette)
        .chain(view.earlier_issue.iter().flat_map(earlier_issue_lines))
        .collect()
}

/// "back as in the reference: lantern (0.91), wheel (0.88)", a line for each thing that is said of parts, with their likeness.
fn earlier_issue_lines(found: &EarlierIssueEntry) -> Vec<String> {
    let said = [
        (BackEntry::NotBack, "not back as in the reference"),
        (BackEntry::LooksOther, "figures back, but looks other"),
        (BackEntry::CannotTell, "cannot tell whether back"),
        (BackEntry::Back, "back as in the reference"),
    ];
    let line = |(back, words): (BackEntry, &str)| {
        let parts = found.parts.iter().filter(|part| part.back == back);
        let names: Vec<String> = parts
            .map(|part| match part.likeness {
                Some(likeness) => format!("{} ({})", part.name, decimals(likeness, 2)),
                None => part.name.clone(),
            })
            .collect();
        (!names.is_empty()).then(|| format!("{words}: {}", names.join(", ")))
    };
    let all = found.likeness.map(|likeness| {
        let likeness = decimals(likeness, 2);
        format!("both pictures look alike by {likeness} (1: equal; in brackets: part by part)")
    });
    let lines = said.into_iter().filter_map(line);
    if found.parts.is_empty() {
        return Vec::new();
    }
    lines.chain(all).collect()
}

/// "silhouettes: overlap 0.973; the model lies beyond the outline by 1.2 px on average, ...".
fn silhouette_line(s: &SilhouetteEntry) -> Option<String> {
    let length = |px: Option<f64>, mm: Option<f64>| {
        let mm = mm.map_or(String::new(), |mm| format!(" ({} mm)", decimals(mm, 2)));
        px.map(|px| format!("{} px{mm}", decimals(px, 1)))
    };
    Some(format!(
        "silhouettes: overlap {}; the model lies beyond the outline by {} on average, 95 % within {}, at most {}",
        decimals(s.overlap?, 3),
        length(s.mean_px, s.mean_model_mm)?,
        length(s.p95_px, s.p95_model_mm)?,
        length(s.max_px, s.max_model_mm)?
    ))
}

fn dimension_line(image: &str, of: &str, fit: &DimensionsEntry) -> String {
    let mut facts = Vec::new();
    facts.extend(
        fit.px_per_mm
            .map(|f| format!("{} px per mm {of}", plus_minus(&f, Sign::Minus))),
    );
    facts.extend(
        fit.angle_deg
            .map(|f| format!("turned by {}°", plus_minus(&f, Sign::Always))),
    );
    let tested = |name: &str, unit: &str, f: &Figure, test: &Option<TestEntry>| {
        let numbers = test.and_then(|t| Some((t.statistic?, t.critical_value?)));
        let numbers = numbers.map_or(String::new(), |(f, limit)| {
            format!(" (F {}, limit {})", decimals(f, 1), decimals(limit, 1))
        });
        format!("{name} {}{unit}{numbers}", plus_minus(f, Sign::Always))
    };
    facts.extend(
        fit.stretch_percent
            .map(|f| tested("stretch of x against y", " %", &f, &fit.stretch_test)),
    );
    facts.extend(
        fit.out_of_square_deg
            .map(|f| tested("out of square by", "°", &f, &fit.square_test)),
    );
    format!("known lengths of the {image}: {}", facts.join(", "))
}

/// "leave alone, below 0.087 mm (eye at 300 mm ...): lantern width, height; tank offset x"; `None` where there is none.
pub(super) fn leave_alone_line(job: &JobEntry, view: &ViewEntry) -> Option<String> {
    let mut parts: Vec<(&str, Vec<&str>)> = Vec::new();
    for small in &view.leave_alone {
        match parts.last_mut() {
            Some((about, measures)) if *about == small.about => measures.push(&small.measure),
            _ => parts.push((&small.about, vec![&small.measure])),
        }
    }
    let words: Vec<String> = parts
        .iter()
        .map(|(about, measures)| format!("{about} ({})", measures.join(", ")))
        .collect();
    let reason = job
        .smallest_visible_reason
        .as_ref()
        .map_or(String::new(), |reason| format!(" ({reason})"));
    (!words.is_empty()).then(|| {
        format!(
            "leave alone, below {} mm on the model{reason}: {}",
            nine_digits((job.smallest_visible_mm * 1e3).round() / 1e3),
            words.join("; ")
        )
    })
}

/// Why a view is distrusted, in words that end a sentence; `None` where it is not.
pub(super) fn why_distrusted(view: &ViewEntry) -> Option<String> {
    let code = |w: &Warning| Code::ALL.iter().copied().find(|c| *c == w.code.as_str());
    let why = measurement::why_distrusted(view.warnings.iter().filter_map(code));
    // A report of a later version may have reasons that this one does not know.
    let why = why.unwrap_or_else(|| "its warnings say so".to_owned());
    view.distrusted.then_some(why)
}

/// The views by whose corrections nothing is to be changed yet, each with the reason.
pub(super) fn distrusted_views(report: &Report) -> Vec<(&ViewEntry, String)> {
    let views = report.views.iter();
    views
        .filter(|view| !view.corrections.is_empty())
        .filter_map(|view| Some((view, why_distrusted(view)?)))
        .collect()
}

/// Those entries of the list of changes that are in a state, in its order.
pub(super) fn changes_in(report: &Report, state: ChangeState) -> Vec<&ChangeEntry> {
    let changes = report.changes.iter();
    changes.filter(|c| c.state == state).collect()
}

/// "(2.1 x tolerance; told by side and front; span tank length tells it too)".
pub(super) fn change_notes(change: &ChangeEntry, report: &Report) -> String {
    let times = change
        .times_tolerance
        .map(|t| format!("{} x tolerance", decimals(t, 1)));
    let views = (report.views.len() > 1).then(|| format!("told by {}", change.views.join(" and ")));
    let tells = match change.told_too_by.len() {
        0 => None,
        1 => Some(format!("{} tells it too", change.told_too_by[0])),
        _ => Some(format!("{} tell it too", change.told_too_by.join(", "))),
    };
    let notes: Vec<String> = [times, views, tells].into_iter().flatten().collect();
    format!("({})", notes.join("; "))
}

/// "lantern: height +1.2 ±1.9 % (side), turn +0.3 ±1.2° (side)": one a part, of what is neither in tolerance nor out.
pub(super) fn undecided_by_part(report: &Report) -> Vec<String> {
    let mut parts: Vec<(&str, Vec<String>)> = Vec::new();
    for change in changes_in(report, ChangeState::Undecided) {
        let said = change.text.strip_prefix(&change.part);
        let said = said.and_then(|said| said.strip_prefix(": "));
        let mut said = said.unwrap_or(&change.text).to_owned();
        if report.views.len() > 1 {
            said.push_str(&format!(" ({})", change.views.join(" and ")));
        }
        match parts.last_mut() {
            Some((part, all)) if *part == change.part => all.push(said),
            _ => parts.push((&change.part, vec![said])),
        }
    }
    let line = |(part, said): (&str, Vec<String>)| format!("{part}: {}", said.join(", "));
    parts.into_iter().map(line).collect()
}

/// What is said where the list has no change.
pub(super) fn no_changes(report: &Report) -> &'static str {
    match report.views.iter().any(|view| view.distrusted) {
        true => "change nothing yet: a view is not to be trusted",
        false => nothing_to_change(report.verdict),
    }
}

/// What is said where there is no correction.
fn nothing_to_change(verdict: Option<Verdict>) -> &'static str {
    match verdict {
        None => "nothing was compared",
        Some(Verdict::Within) => "change nothing: no error is both real and large enough to see",
        Some(Verdict::Undecided) => {
            "no change is called for yet: what is undecided needs better marks or pictures"
        }
        Some(Verdict::Out) => {
            "something is out, but no single change would mend it: look at the parts below"
        }
    }
}

/// The items by verdict, out first, and within a verdict by how far they exceed their tolerance; equal ones keep their
/// order.
fn worst_first<T>(items: &[T], rank: impl Fn(&T) -> (Verdict, Option<f64>)) -> Vec<&T> {
    let mut sorted: Vec<&T> = items.iter().collect();
    let rank = |item: &T| {
        let (verdict, times_tolerance) = rank(item);
        (verdict, times_tolerance.unwrap_or(0.0))
    };
    sorted.sort_by(|a, b| ranking::worse_first(rank(a), rank(b)));
    sorted
}

/// The regions, worst first.
pub(super) fn regions_worst_first(view: &ViewEntry) -> Vec<&RegionEntry> {
    worst_first(&view.regions, |r| (r.verdict, r.times_tolerance))
}

/// The spans, worst first.
pub(super) fn spans_worst_first(view: &ViewEntry) -> Vec<&SpanEntry> {
    worst_first(&view.spans, |s| (s.verdict, s.times_tolerance))
}

/// The angles, worst first.
pub(super) fn angles_worst_first(view: &ViewEntry) -> Vec<&AngleEntry> {
    worst_first(&view.angles, |a| (a.verdict, a.times_tolerance))
}

/// What became of a photo among several: what is left at its marks, or why it takes no part.
pub(super) fn photo_in_words(view: &SpaceViewEntry) -> String {
    if let Some(error) = &view.error {
        return format!(
            "takes no part ({}): {}",
            clean(&error.code),
            clean(&error.text)
        );
    }
    let number = |x: Option<f64>, places| x.map_or("-".to_owned(), |x| decimals(x, places));
    let focal = view
        .focal_length_px
        .map_or("cannot be told".to_owned(), |f| {
            format!("{} px", plus_minus(&f, Sign::Minus))
        });
    let mut text = format!(
        "marks are {} px off (root mean square), focal length {focal}",
        number(view.rms_px, 2)
    );
    if !view.wrong.is_empty() {
        text.push_str(&format!(
            "; wrong and left out, mark anew: {}",
            clean(&view.wrong.join(", "))
        ));
    }
    for [a, b] in &view.exchanged {
        text.push_str(&format!("; exchanged: {} and {}", clean(a), clean(b)));
    }
    if view.edge_points > 0 {
        text.push_str(&format!("; {} places on edges", view.edge_points));
    }
    if view.datum_edges_contradict {
        text.push_str("; the edges of the datum parts contradict its marks and are not used");
    }
    text
}

/// What became of the edges of a part; `None` where they were not looked for.
pub(super) fn edges_in_words(part: &SpacePartEntry) -> Option<String> {
    if !part.edges.is_empty() {
        let each = part.edges.iter();
        let each = each.map(|e| format!("{} in {}", e.points, clean(&e.view)));
        return Some(format!(
            "places on edges: {}",
            each.collect::<Vec<_>>().join(", ")
        ));
    }
    let why = match part.edges_unused? {
        UnusedEdges::TooFew => "too few are seen",
        UnusedEdges::NoBetterThanChance => "they fit no better than chance",
        UnusedEdges::AgainstMarks => "they contradict its marks",
    };
    Some(format!("edges not used: {why}"))
}

/// The turns of a part, and what the photos do not tell of it.
pub(super) fn part_in_words(part: &SpacePartEntry) -> String {
    let turns = &part.rotation_deg;
    let told: Vec<String> = [("x", turns.x), ("y", turns.y), ("z", turns.z)]
        .into_iter()
        .filter_map(|(axis, turn)| {
            Some(format!(
                "about {axis} {}°",
                plus_minus(&turn?, Sign::Always)
            ))
        })
        .collect();
    let mut pieces = Vec::new();
    if part.own_axes.is_some() {
        pieces.push("all of it along the part's own axes".to_owned());
    }
    if !told.is_empty() {
        pieces.push(format!("turn {}", told.join(", ")));
    }
    if !part.cannot_tell.is_empty() {
        pieces.push(format!(
            "cannot tell {}",
            clean(&part.cannot_tell.join(", "))
        ));
    }
    pieces.extend(part.would_tell.as_ref().map(|text| clean(text)));
    pieces.extend(edges_in_words(part));
    if part.altered_datum {
        pieces.push("its landmarks were to be datum and contradict those of the other datum parts, so it is measured like a part that is judged".to_owned());
    }
    pieces.join("; ")
}

/// How the errors in space are to be read, and what is missing.
pub(super) fn notes_in_space(space: &SpaceEntry) -> Vec<String> {
    let mut notes = Vec::new();
    if !space.parts.is_empty() {
        notes.push("errors are model minus subject along the axes of the model: width along x, depth along y, height along z; each about the middle of the part's landmarks".to_owned());
    }
    let is_solved = space.views.iter().any(|view| view.error.is_none());
    if space.parts.is_empty() && space.unmarked.is_empty() && is_solved {
        notes.push("no landmark beside those of the datum names its \"part\", so nothing is told of any: mark four or more points of a part in each photo, with \"part\" and \"use\": \"check\"".to_owned());
    }
    for part in &space.parts {
        let Some([x, y, z]) = part.own_axes else {
            continue;
        };
        let along = |axis: [f64; 3]| format!("({})", axis.map(|v| decimals(v, 3)).join(", "));
        notes.push(format!(
            "those of {} are along the part's own axes: x, its width, runs along {} of the model, y, its depth, along {}, z, its height, along {}",
            clean(&part.name),
            along(x),
            along(y),
            along(z)
        ));
    }
    if let Some(error) = &space.edges_error {
        notes.push(format!(
            "the edges of the mesh are not used, the marks alone tell ({}): {}",
            clean(&error.code),
            clean(&error.text)
        ));
    }
    if !space.unmarked.is_empty() {
        notes.push(format!(
            "no photo with a camera marks {}",
            clean(&space.unmarked.join(", "))
        ));
    }
    if !space.datum_disagrees.is_empty() {
        notes.push(format!(
            "one of the datum parts {} is not where the others say, and the marks do not tell which: mark more of another datum part, or make the one that you doubt check",
            clean(&space.datum_disagrees.join(", "))
        ));
    }
    if let Some(larger) = &space.model_larger_percent {
        let word = if larger.value < 0.0 {
            "smaller"
        } else {
            "larger"
        };
        notes.push(format!(
            "by the known lengths between its datum landmarks the model is {} % {word} than its scale asks for; errors of parts are against these landmarks",
            plus_minus(larger, Sign::Never)
        ));
    }
    for known in space.known.iter().filter(|known| known.wrong) {
        let asked = known
            .asked_full_size_mm
            .map_or("another one".to_owned(), |mm| {
                format!("{} mm", decimals(mm, 1))
            });
        notes.push(format!(
            "the known length \"{}\" to \"{}\", {} mm, contradicts the photos and the other lengths, which ask for {asked}; it is left out",
            clean(&known.from),
            clean(&known.to),
            decimals(known.full_size_mm, 1)
        ));
    }
    let widened = &space.expected_widened;
    let wide: Vec<String> = [
        ("sizes", widened.size),
        ("turns", widened.rotation),
        ("offsets", widened.offset),
    ]
    .into_iter()
    .filter_map(|(what, factor)| {
        let factor = factor.filter(|f| *f > 1.05)?;
        Some(format!("{what} {} times", decimals(factor, 1)))
    })
    .collect();
    if !wide.is_empty() {
        notes.push(format!(
            "the parts are farther off than \"expected\" says ({}), which was widened so that intervals hold",
            wide.join(", ")
        ));
    }
    notes
}

/// Text on one line, without characters that command a terminal or turn the direction of what follows.
pub(super) fn clean(text: &str) -> String {
    let shown = text
        .chars()
        .filter(|c| !is_command(*c) || c.is_whitespace());
    let spaced: String = shown
        .map(|c| if c.is_whitespace() { ' ' } else { c })
        .collect();
    spaced
        .split(' ')
        .filter(|w| !w.is_empty())
        .collect::<Vec<_>>()
        .join(" ")
}

/// The columns that a text takes in a terminal.
pub(super) fn width(text: &str) -> usize {
    text.chars().map(char_width).sum()
}

/// Two for East Asian wide characters and emoji, none for marks that stand on the letter before.
///
/// Source: the blocks that Unicode Standard Annex 11 lists as wide, without its single exceptions.
fn char_width(c: char) -> usize {
    match u32::from(c) {
        0x0300..=0x036F | 0x0483..=0x0489 | 0x0591..=0x05BD | 0x064B..=0x065F | 0x1AB0..=0x1AFF => {
            0
        }
        0x1DC0..=0x1DFF | 0x200C..=0x200D | 0x20D0..=0x20FF | 0xFE00..=0xFE0F | 0xFE20..=0xFE2F => {
            0
        }
        0x1100..=0x115F | 0x231A..=0x231B | 0x23E9..=0x23F3 | 0x2614..=0x2615 | 0x2648..=0x2653 => {
            2
        }
        0x26A1 | 0x26BD..=0x26BE | 0x26C4..=0x26C5 | 0x2705 | 0x270A..=0x270B | 0x2728 | 0x274C => {
            2
        }
        0x2753..=0x2757 | 0x2B1B..=0x2B1C | 0x2B50 | 0x2B55 | 0x2E80..=0x303E | 0x3041..=0xA4CF => {
            2
        }
        0xA960..=0xA97F | 0xAC00..=0xD7A3 | 0xF900..=0xFAFF | 0xFE30..=0xFE6F | 0xFF00..=0xFF60 => {
            2
        }
        0xFFE0..=0xFFE6 | 0x1F000..=0x1FAFF | 0x20000..=0x3FFFD => 2,
        _ => 1,
    }
}

/// The text, cut to `columns` with an ellipsis as its last character where it is longer.
pub(super) fn shorten(text: &str, columns: usize) -> String {
    if width(text) <= columns {
        return text.to_owned();
    }
    let (mut kept, mut used) = (String::new(), 1);
    for c in text.chars() {
        used += char_width(c);
        if used > columns {
            break;
        }
        kept.push(c);
    }
    let mut kept = kept.trim_end().to_owned();
    if columns > 0 {
        kept.push('…');
    }
    kept
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn shortened_text_fits_whatever_its_letters_are() {
        for name in [
            "tap",
            "lantern of the pump",
            "手押しポンプの水槽",
            "e\u{301}e\u{301}e\u{301}e\u{301}e\u{301}",
            "🪣🪣🪣🪣🪣🪣",
        ] {
            for columns in 1..12 {
                assert!(
                    width(&shorten(name, columns)) <= columns,
                    "{name} in {columns}"
                );
            }
        }
        assert_eq!(shorten("lantern", 5), "lant…");
        assert_eq!(width("水槽"), 4);
        assert_eq!(width("e\u{301}"), 1);
    }

    #[test]
    fn text_that_commands_a_terminal_is_disarmed() {
        assert_eq!(
            clean("a\u{1b}[31m\nb\t\u{9b}2J\u{202e}c\u{7f}"),
            "a[31m b 2Jc"
        );
    }
}
