//! The report as one page that needs nothing beside itself: no server, no network, no other file.
//!
//! Every text from outside passes [`escaped`]; pictures become data addresses.
use super::{json::*, screen, wording::*};
use badge::badge;
use base64::{Engine, engine::general_purpose::STANDARD};
use data_address::Picture;
use escaped::escaped;
use pictures::write_pictures;
use sha2::{Digest, Sha256};
use std::io;
use tables::{angle_table, landmark_tables, region_table, span_table};

mod badge;
mod data_address;
mod escaped;
mod pictures;
mod tables;

const PAGE: &str = include_str!("page/page.html");
const COMPARISON: &str = include_str!("page/comparison.html");
const STYLE: &str = include_str!("page/page.css");
const SCRIPT: &str = include_str!("page/page.js");

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
    let (head, foot) = PAGE
        .split_once("{{body}}")
        .expect("the page has a place for its body");
    // Pictures make the page large: they are written to their place, not handed on from text to text.
    let title = escaped(&report.job.title);
    // The line break that the page has before each of them is a part of it.
    let hash = |content: &str| source_hash(&format!("\n{content}"));
    let mut page = fill(
        head,
        &[
            ("title", &title),
            ("style", STYLE),
            ("style_hash", &hash(STYLE)),
            ("script_hash", &hash(SCRIPT)),
        ],
    );
    page.push_str(&header(report));
    page.push_str("<main>\n");
    page.push_str(&changes(report));
    for (i, view) in report.views.iter().enumerate() {
        write_view(&mut page, i, view, &report.job, picture);
        out.write_all(page.as_bytes())?;
        page.clear();
    }
    page.push_str("</main>\n");
    page.push_str(&footer(report));
    page.push_str(&fill(foot, &[("script", SCRIPT)]));
    out.write_all(page.as_bytes())
}

/// What a content security policy allows a script or a style by: its SHA-256.
///
/// Source: W3C Content Security Policy Level 3, section 2.3.1, hash-source.
fn source_hash(content: &str) -> String {
    let mut text = "sha256-".to_owned();
    STANDARD.encode_string(Sha256::digest(content.as_bytes()), &mut text);
    text
}

/// The template with each `{{key}}` replaced. What is filled in is not looked through again, so a name that looks like
/// a key stays a name.
fn fill(template: &str, values: &[(&str, &str)]) -> String {
    let mut parts = template.split("{{");
    let mut filled = parts.next().unwrap_or_default().to_owned();
    for part in parts {
        let (key, rest) = part
            .split_once("}}")
            .expect("every {{ of a template is closed");
        let value = values.iter().find(|(k, _)| *k == key);
        filled.push_str(value.expect("every key of a template has a value").1);
        filled.push_str(rest);
    }
    filled
}

fn header(report: &Report) -> String {
    let job = &report.job;
    let t = &job.tolerance;
    let links = report.views.iter().enumerate().map(|(i, view)| {
        format!(
            "<li><a href=\"#view-{}\">{}</a> {}</li>",
            i + 1,
            escaped(&view.name),
            badge(view.verdict)
        )
    });
    format!(
        "<header>\n<h1>{} {}</h1>\n<p class=\"soft\">Scale 1:{} · tolerance {} % in proportion, {} mm on the model in \
         position, {}° in angle, least edge overlap {} · ± figures are 95 % intervals</p>\n{}<nav \
         aria-label=\"Views\"><ul>{}</ul></nav>\n</header>\n",
        escaped(&job.title),
        badge(report.verdict),
        nine_digits(job.scale_denominator),
        t.proportion_percent,
        t.offset_mm,
        t.angle_deg,
        t.edge_overlap,
        notes("", &report.warnings),
        links.collect::<String>(),
    )
}

/// The corrections of all views, worst first: the first thing that the reader wants to know.
fn changes(report: &Report) -> String {
    let mut all: Vec<(&ViewEntry, &CorrectionEntry)> = Vec::new();
    for view in &report.views {
        all.extend(view.corrections.iter().map(|c| (view, c)));
    }
    let times = |c: &CorrectionEntry| c.times_tolerance.unwrap_or(0.0);
    all.sort_by(|(_, a), (_, b)| times(b).total_cmp(&times(a)));
    let items = all.iter().map(|(view, c)| {
        let view = (report.views.len() > 1)
            .then(|| format!(" <span class=\"soft\">({})</span>", escaped(&view.name)));
        format!("<li>{}{}</li>", correction(c), view.unwrap_or_default())
    });
    let items: String = items.collect();
    let content = if items.is_empty() {
        format!("<p>{}</p>", nothing_to_change(report.verdict))
    } else {
        format!("<ol class=\"corrections\">{items}</ol>")
    };
    format!("<section>\n<h2>What to change in CAD, worst first</h2>\n{content}\n</section>\n")
}

fn correction(c: &CorrectionEntry) -> String {
    let times = c.times_tolerance.map_or(String::new(), |t| {
        let times = decimals(t, 1);
        format!(" <span class=\"soft\">{times} times the tolerance</span>")
    });
    format!("{}{times}", escaped(&correction_text(c)))
}

fn write_view(
    page: &mut String,
    index: usize,
    view: &ViewEntry,
    job: &JobEntry,
    picture: &dyn Fn(&str) -> Option<Vec<u8>>,
) {
    let tolerance = &job.tolerance;
    let number = index + 1;
    let (name, verdict) = (escaped(&view.name), badge(view.verdict));
    for part in [
        format!("<section id=\"view-{number}\">\n<h2>{name} {verdict}</h2>\n"),
        sources(view),
        sizes(view),
        failure(view),
        notes("<h3>Warnings</h3>", &view.warnings),
        doubtful_landmarks(view),
        hidden(view),
    ] {
        page.push_str(&part);
    }
    write_comparison(page, view, picture);
    page.push_str(&region_table(view, tolerance));
    page.push_str(&span_table(view, tolerance));
    page.push_str(&angle_table(view, tolerance));
    if let Some(line) = leave_alone_line(job, view) {
        page.push_str(&format!("<p>{}</p>\n", escaped(&line)));
    }
    write_pictures(page, view, picture);
    page.push_str(&landmark_tables(view));
    page.push_str("</section>\n");
}

fn failure(view: &ViewEntry) -> String {
    view.error.as_ref().map_or(String::new(), |error| {
        format!(
            "<ul class=\"notes\"><li class=\"error\"><strong>Not compared.</strong> {} <span \
             class=\"soft\">({})</span></li></ul>\n",
            escaped(&error.text),
            escaped(&error.code)
        )
    })
}

fn sources(view: &ViewEntry) -> String {
    let r = &view.reference;
    let mut line = format!(
        "Render {} against reference {}",
        escaped(&view.render.image),
        escaped(&r.image)
    );
    for (word, text) in provenance(r) {
        line.push_str(&format!(" · {word}: {}", escaped(text)));
    }
    format!("<p class=\"soft\">{line}</p>\n{}", facts(view))
}

/// How both images differ in size: with two plans, that is the finding.
fn sizes(view: &ViewEntry) -> String {
    let lines = sizes_lines(view);
    let lines = lines.iter().map(|line| {
        let line = escaped(line);
        format!("<p><strong>{line}</strong></p>\n")
    });
    lines.collect()
}

fn facts(view: &ViewEntry) -> String {
    let mut facts = Vec::new();
    if let Some(r) = &view.registration {
        let rms = r.rms_px.map_or(String::new(), |rms| {
            format!(", rms {} px", decimals(rms, 2))
        });
        facts.push(format!(
            "Registration: {}{rms}, {}",
            kind_word(r.kind),
            marks_line(r)
        ));
    }
    if let Some(e) = &view.edge_overlap {
        let shown = |x: Option<f64>| x.map_or("-".to_owned(), |x| decimals(x, 2));
        facts.push(format!(
            "Edge overlap {} (chance {}, above chance {})",
            shown(e.score),
            shown(e.chance),
            shown(e.above_chance)
        ));
    }
    let size = view.scales.as_ref().and_then(|s| s.model_size_percent);
    if let Some(size) = size {
        let text = plus_minus(&size, Sign::Always);
        facts.push(format!("Size of the whole model: {text} %"));
    }
    facts.extend(dimension_lines(view).iter().map(|line| escaped(line)));
    let screen = screen::sentences(view);
    facts.extend(screen.iter().map(|line| escaped(line)));
    let paragraphs = facts.iter().map(|f| format!("<p class=\"soft\">{f}</p>\n"));
    paragraphs.collect()
}

fn notes(head: &str, warnings: &[Warning]) -> String {
    if warnings.is_empty() {
        return String::new();
    }
    let items = warnings.iter().map(|w| {
        format!(
            "<li>{} <span class=\"soft\">({})</span></li>",
            escaped(&w.text),
            escaped(&w.code)
        )
    });
    format!(
        "{head}<ul class=\"notes\">{}</ul>\n",
        items.collect::<String>()
    )
}

fn hidden(view: &ViewEntry) -> String {
    let hides: Vec<_> = view.registration.iter().flat_map(|r| &r.hides).collect();
    if hides.is_empty() {
        return String::new();
    }
    let items = hides.iter().map(|h| format!("<li>{}</li>", escaped(h)));
    format!(
        "<h3>What this registration cannot show</h3><ul class=\"notes\">{}</ul>\n",
        items.collect::<String>()
    )
}

fn write_comparison(
    page: &mut String,
    view: &ViewEntry,
    picture: &dyn Fn(&str) -> Option<Vec<u8>>,
) {
    let render = Picture::of(view, "render_small", picture);
    let reference = Picture::of(view, "reference_small", picture);
    let (Some(render), Some(reference)) = (render, reference) else {
        return;
    };
    let name = escaped(&view.name);
    let values = [("view", name.as_str())];
    let places = COMPARISON
        .split_once("{{reference}}")
        .and_then(|(start, rest)| Some((start, rest.split_once("{{render}}")?)));
    let (start, (middle, end)) =
        places.expect("the comparison shows the reference, then the render");
    page.push_str("<h3>Render over reference</h3>\n");
    page.push_str(&fill(start, &values));
    reference.write_address(page);
    page.push_str(&fill(middle, &values));
    render.write_address(page);
    page.push_str(&fill(end, &values));
}

/// Landmarks that something is wrong with: the figures below rest on them.
fn doubtful_landmarks(view: &ViewEntry) -> String {
    let landmarks = view.registration.iter().flat_map(|r| &r.landmarks);
    let items = landmarks.filter_map(|l| {
        let advice = escaped(&landmark_advice(l)?);
        Some(format!(
            "<li><strong>{}</strong>: {advice}</li>",
            escaped(&l.name)
        ))
    });
    let items: String = items.collect();
    if items.is_empty() {
        return items;
    }
    format!("<h3>Doubtful landmarks</h3><ul class=\"notes\">{items}</ul>\n")
}

fn footer(report: &Report) -> String {
    format!(
        "<footer class=\"soft\">{} {} · job {} · BLAKE3 {}</footer>",
        escaped(&report.program.name),
        escaped(&report.program.version),
        escaped(&report.job.file),
        escaped(&report.job.blake3)
    )
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_value_that_looks_like_a_key_stays_a_value() {
        let filled = fill("<{{a}}|{{b}}>", &[("a", "{{b}}"), ("b", "2")]);
        assert_eq!(filled, "<{{b}}|2>");
    }
}
