//! The report as one page that needs nothing beside itself: no server, no network, no other file.
//!
//! Every text is escaped by `maud`, in elements and in attributes; those from outside are made plain by `clean` before.
//! Pictures become data addresses.
use super::{
    cad_changes::{self, Limits},
    json::*,
    print, screen, shots,
    wording::*,
};
use crate::{units::ModelMm, warning::Code};
use badge::badge;
use base64::{Engine, engine::general_purpose::STANDARD};
use comparison::comparison;
use correction::correction;
use maud::{DOCTYPE, Markup, PreEscaped, html};
use pictures::pictures;
use revision::revision_section;
use sha2::{Digest, Sha256};
use space::space_section;
use std::io;
use tables::{angle_table, landmark_tables, region_table, span_table};

mod address;
mod badge;
mod comparison;
mod correction;
mod data_address;
mod index;
mod pictures;
mod revision;
mod space;
mod tables;
mod trend;

pub use index::{JobOfBatch, JobResult, batch_page, write_index_html};
pub use trend::trend_page;

const STYLE: &str = include_str!("page/page.css");
const SCRIPT: &str = include_str!("page/page.js");

/// Where something is put in later, written straight to the file: pictures make the page large. No text from outside can be
/// taken for it, for their `<` are escaped.
const PLACE: PreEscaped<&str> = PreEscaped("<!--place-->");

/// The report as a page of HTML that works from a file.
///
/// `picture` gives the bytes of a file of a view (PNG, JPEG or WebP) for its path in the report; a picture that it does
/// not have is left out. The view's files `render_small` and `reference_small` (the registered reference, of the same
/// size) make the comparison with divider and opacity.
pub fn to_html(report: &Report, picture: &dyn Fn(&str) -> Option<Vec<u8>>) -> String {
    let mut page = Vec::new();
    write_html(report, picture, &mut page).expect("memory takes what is written");
    String::from_utf8(page).expect("it is made of texts")
}

/// The same, written view by view: the pictures of one view are in memory at a time.
///
/// # Errors
/// Those of `out`.
pub fn write_html(
    report: &Report,
    picture: &dyn Fn(&str) -> Option<Vec<u8>>,
    out: &mut dyn io::Write,
) -> io::Result<()> {
    let page = page(report, picture).into_string();
    let [start, end] = around_places(&page);
    out.write_all(start.as_bytes())?;
    for (i, view) in report.views.iter().enumerate() {
        let section = view_section(i + 1, view, &report.job).into_string();
        let [start, middle, end] = around_places(&section);
        out.write_all(start.as_bytes())?;
        out.write_all(comparison(view, picture).into_string().as_bytes())?;
        out.write_all(middle.as_bytes())?;
        out.write_all(pictures(view, picture).into_string().as_bytes())?;
        out.write_all(end.as_bytes())?;
    }
    out.write_all(end.as_bytes())
}

/// A report of more views than this has a page for each view beside the index: their pictures make one page larger than browsers
/// like, some 0.7 MB a view; a judgement.
pub const MOST_VIEWS_WITH_PICTURES: usize = 40;

/// The page of one view of a report, as [`write_html`] makes that of all.
///
/// # Errors
/// Those of `out`.
pub fn write_view_html(
    report: &Report,
    view: &ViewEntry,
    picture: &dyn Fn(&str) -> Option<Vec<u8>>,
    out: &mut dyn io::Write,
) -> io::Result<()> {
    let limits = Limits {
        smallest_visible: ModelMm(report.job.smallest_visible_mm),
        proportion_percent: report.job.tolerance.proportion_percent,
    };
    let own = Report {
        format: report.format.clone(),
        format_version: report.format_version,
        program: report.program.clone(),
        job: report.job.clone(),
        verdict: view.verdict,
        warnings: Vec::new(),
        changes: cad_changes::list(std::slice::from_ref(view), None, &limits),
        views: vec![view.clone()],
        space: None,
        revision: None,
    };
    write_html(&own, picture, out)
}

/// What stands before, between and after the places of a text.
fn around_places<const N: usize>(text: &str) -> [&str; N] {
    let parts: Vec<&str> = text.split(PLACE.0).collect();
    parts
        .try_into()
        .expect("a text has the places that its template has")
}

/// The whole page, with a place for the views.
fn page(report: &Report, picture: &dyn Fn(&str) -> Option<Vec<u8>>) -> Markup {
    html! {
        (DOCTYPE) "\n"
        html lang="en" {
            (head(&report.job.title)) "\n"
            body {
                (header(report, &navigation(report))) "\n"
                main {
                    @if let Some(revision) = &report.revision { (revision_section(revision)) }
                    (changes(report)) "\n"
                    @if let Some(space) = &report.space { (space_section(space, picture)) "\n" }
                    (PLACE)
                } "\n"
                (footer(report)) "\n"
                script { (PreEscaped(SCRIPT)) } "\n"
            }
        }
        "\n"
    }
}

/// Only the page's own style and script may run, and pictures only come from the page itself.
fn head(title: &str) -> Markup {
    html! {
        head {
            meta charset="utf-8";
            meta name="viewport" content="width=device-width, initial-scale=1";
            meta name="color-scheme" content="light dark";
            meta http-equiv="Content-Security-Policy" content={
                "default-src 'none'; img-src data:; style-src '" (source_hash(STYLE)) "'; script-src '"
                (source_hash(SCRIPT)) "'; base-uri 'none'; form-action 'none'"
            };
            title { (clean(title)) }
            "\n"
            style { (PreEscaped(STYLE)) }
        }
    }
}

/// What a content security policy allows a script or a style by: the SHA-256 of all that stands between its tags.
///
/// Source: W3C Content Security Policy Level 3, section 2.3.1, hash-source.
fn source_hash(content: &str) -> String {
    let mut text = "sha256-".to_owned();
    STANDARD.encode_string(Sha256::digest(content.as_bytes()), &mut text);
    text
}

/// What was compared, and what follows it.
fn header(report: &Report, rest: &Markup) -> Markup {
    let job = &report.job;
    let t = &job.tolerance;
    html! {
        header {
            h1 { (clean(&job.title)) " " (badge(report.verdict)) }
            p.soft {
                "Scale 1:" (nine_digits(job.scale_denominator)) " · tolerance " (t.proportion_percent)
                " % in proportion, " (t.offset_mm) " mm on the model in position, " (t.angle_deg)
                "° in angle, least edge overlap " (t.edge_overlap) " · ± figures are 95 % intervals"
            }
            (rest)
        }
    }
}

fn navigation(report: &Report) -> Markup {
    html! {
        (notes(report.warnings.iter()))
        nav aria-label="Views" {
            ul {
                @if let Some(revision) = &report.revision {
                    li { a href="#revision" { "since then" } " " span.soft { (revision.text) } }
                }
                @for (i, view) in report.views.iter().enumerate() {
                    li { a href={ "#view-" (i + 1) } { (clean(&view.name)) } " " (badge(view.verdict)) }
                }
                @if let Some(space) = &report.space {
                    li { a href="#space" { "in space" } " " (badge(space.verdict)) }
                }
            }
        }
    }
}

/// What to change, over all views, the worst part first: the first thing that the reader wants to know. What views contradict
/// each other in, what is undecided, and the corrections of distrusted views stand apart, below.
fn changes(report: &Report) -> Markup {
    let all = changes_in(report, ChangeState::Change);
    let contradicted = changes_in(report, ChangeState::Contradicted);
    let undecided = undecided_by_part(report);
    html! {
        section {
            h2 { "What to change in CAD, worst first" }
            @if !all.is_empty() {
                ol.corrections {
                    @for c in all {
                        li { (clean(&c.text)) " " span.soft { (clean(&change_notes(c, report))) } }
                    }
                }
            } @else {
                p { (no_changes(report)) }
            }
            @if !contradicted.is_empty() {
                h3 { "Views contradict each other" }
                ul.notes { @for c in contradicted { li { (clean(&c.text)) } } }
            }
            @if !undecided.is_empty() {
                details {
                    summary { "Undecided: better marks or pictures would tell (" (undecided.len()) ")" }
                    ul.notes { @for line in undecided { li { (clean(&line)) } } }
                }
            }
            (distrusted_changes(report))
        }
    }
}

fn distrusted_changes(report: &Report) -> Markup {
    html! {
        @for (view, why) in distrusted_views(report) {
            h3 { "Not to be trusted yet, " (clean(&view.name)) ": " (why) }
            ol.corrections.distrusted {
                @for c in &view.corrections { li { (correction(c)) } }
            }
        }
    }
}

/// A view, with a place for its comparison and one for its pictures.
fn view_section(number: usize, view: &ViewEntry, job: &JobEntry) -> Markup {
    // What the registration hides has a list of its own.
    let warnings = || {
        view.warnings
            .iter()
            .filter(|w| w.code != Code::HiddenErrors.as_str())
    };
    html! {
        section id={ "view-" (number) } {
            h2 { (clean(&view.name)) " " (badge(view.verdict)) }
            "\n"
            (sources(view))
            (facts(view))
            (sizes(view))
            (failure(view))
            @if let Some(why) = why_distrusted(view) {
                p { strong { "Not to be trusted yet: " (why) "." } } "\n"
            }
            @if warnings().next().is_some() { h3 { "Warnings" } }
            (notes(warnings()))
            (doubtful_landmarks(view))
            (hidden(view))
            (PLACE)
            (region_table(view, &job.tolerance))
            (span_table(view, &job.tolerance))
            (angle_table(view, &job.tolerance))
            @if let Some(line) = leave_alone_line(job, view) { p { (clean(&line)) } "\n" }
            (PLACE)
            (landmark_tables(view))
        }
        "\n"
    }
}

fn failure(view: &ViewEntry) -> Markup {
    html! {
        @if let Some(error) = &view.error {
            ul.notes {
                li.error {
                    strong { "Not compared." } " " (clean(&error.text)) " "
                    span.soft { "(" (clean(&error.code)) ")" }
                }
            }
            "\n"
        }
    }
}

fn sources(view: &ViewEntry) -> Markup {
    let r = &view.reference;
    html! {
        p.soft {
            "Render " (clean(&view.render.image)) " against reference " (clean(&r.image))
            @for (word, text) in provenance(r) { " · " (word) ": " (clean(text)) }
        }
        "\n"
    }
}

/// How both images differ in size: with two plans, that is the finding.
fn sizes(view: &ViewEntry) -> Markup {
    html! {
        @for line in sizes_lines(view) {
            p { strong { (clean(&line)) } } "\n"
        }
    }
}

fn facts(view: &ViewEntry) -> Markup {
    let mut facts = Vec::new();
    facts.extend(view.registration.as_ref().map(registration_line));
    facts.extend(view.edge_overlap.as_ref().map(overlap_line));
    let size = view.scales.as_ref().and_then(|s| s.model_size_percent);
    facts.extend(size.map(|size| {
        let text = plus_minus(&size, Sign::Always);
        format!("Size of the whole model: {text} %")
    }));
    facts.extend(dimension_lines(view).iter().map(|line| clean(line)));
    facts.extend(print::sentences(view).iter().map(|line| clean(line)));
    facts.extend(shots::sentence(view).map(|line| clean(&line)));
    facts.extend(screen::sentences(view).iter().map(|line| clean(line)));
    html! {
        @for fact in facts {
            p.soft { (fact) } "\n"
        }
    }
}

fn registration_line(r: &RegistrationEntry) -> String {
    let rms = r.rms_px.map_or(String::new(), |rms| {
        format!(", rms {} px", decimals(rms, 2))
    });
    let (kind, marks) = (kind_word(r.kind), marks_line(r));
    format!("Registration: {kind}{rms}, {marks}")
}

fn overlap_line(e: &EdgeOverlapEntry) -> String {
    let shown = |x: Option<f64>| x.map_or("-".to_owned(), |x| decimals(x, 2));
    format!(
        "Edge overlap {} (chance {}, above chance {})",
        shown(e.score),
        shown(e.chance),
        shown(e.above_chance)
    )
}

fn notes<'a>(warnings: impl Iterator<Item = &'a Warning>) -> Markup {
    let mut warnings = warnings.peekable();
    html! {
        @if warnings.peek().is_some() {
            ul.notes {
                @for w in warnings {
                    li { (clean(&w.text)) " " span.soft { "(" (clean(&w.code)) ")" } }
                }
            }
            "\n"
        }
    }
}

/// Landmarks that something is wrong with: the figures below rest on them.
fn doubtful_landmarks(view: &ViewEntry) -> Markup {
    let landmarks = view.registration.iter().flat_map(|r| &r.landmarks);
    let doubtful: Vec<(&str, String)> = landmarks
        .filter_map(|l| Some((l.name.as_str(), landmark_advice(l)?)))
        .collect();
    html! {
        @if !doubtful.is_empty() {
            h3 { "Doubtful landmarks" }
            ul.notes {
                @for (name, advice) in doubtful {
                    li { strong { (clean(name)) } ": " (clean(&advice)) }
                }
            }
            "\n"
        }
    }
}

fn hidden(view: &ViewEntry) -> Markup {
    let hides: Vec<_> = view.registration.iter().flat_map(|r| &r.hides).collect();
    html! {
        @if !hides.is_empty() {
            h3 { "What this registration cannot show" }
            ul.notes {
                @for line in hides { li { (clean(line)) } }
            }
            "\n"
        }
    }
}

fn footer(report: &Report) -> Markup {
    html! {
        footer.soft {
            (clean(&report.program.name)) " " (clean(&report.program.version)) " · job "
            (clean(&report.job.file)) " · BLAKE3 " (clean(&report.job.blake3))
        }
    }
}
