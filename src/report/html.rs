//! The report as one page that needs nothing beside itself: no server, no network, no other file.
//!
//! Every text from outside passes [`escaped`]; pictures become data addresses.
use super::{json::*, wording::*};
use tables::{angle_table, landmark_tables, region_table, span_table};

mod tables;

const PAGE: &str = include_str!("page/page.html");
const COMPARISON: &str = include_str!("page/comparison.html");
const STYLE: &str = include_str!("page/page.css");
const SCRIPT: &str = include_str!("page/page.js");

/// The pictures of a view that are shown beneath its comparison: key, caption.
const PICTURES: [(&str, &str); 4] = [
    (
        "overlay",
        "Edges of both over the dimmed render: render vermilion, reference blue",
    ),
    (
        "difference",
        "Offsets as arrows, regions tinted by their error",
    ),
    ("heat", "Distance between the edges of both"),
    (
        "grid",
        "The deformation that takes the reference to the model",
    ),
];

/// The report as a page of HTML that works from a file.
///
/// `picture` gives the bytes of a file of a view (PNG, JPEG or WebP) for its path in the report; a picture that it does
/// not have is left out. The view's files `render_small` and `reference_small` (the registered reference, of the same
/// size) make the comparison with divider and opacity.
pub fn to_html(report: &Report, picture: &dyn Fn(&str) -> Option<Vec<u8>>) -> String {
    let mut body = header(report);
    body.push_str("<main>\n");
    body.push_str(&changes(report));
    for (i, view) in report.views.iter().enumerate() {
        body.push_str(&view_section(i, view, &report.job.tolerance, picture));
    }
    body.push_str("</main>\n");
    body.push_str(&footer(report));
    fill(
        PAGE,
        &[
            ("title", &escaped(&report.job.title)),
            ("style", STYLE),
            ("body", &body),
            ("script", SCRIPT),
        ],
    )
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

/// Text for HTML, in elements and in quoted attributes.
fn escaped(text: &str) -> String {
    let mut out = String::with_capacity(text.len());
    for c in clean(text).chars() {
        match c {
            '&' => out.push_str("&amp;"),
            '<' => out.push_str("&lt;"),
            '>' => out.push_str("&gt;"),
            '"' => out.push_str("&quot;"),
            '\'' => out.push_str("&#39;"),
            c => out.push(c),
        }
    }
    out
}

/// A picture as an address that holds its bytes; `None` where there is none or its format is not one that browsers show.
fn data_address(
    view: &ViewEntry,
    key: &str,
    picture: &dyn Fn(&str) -> Option<Vec<u8>>,
) -> Option<String> {
    let bytes = picture(view.files.get(key)?)?;
    let media_type = match bytes.as_slice() {
        [0x89, b'P', b'N', b'G', ..] => "image/png",
        [0xFF, 0xD8, 0xFF, ..] => "image/jpeg",
        [
            b'R',
            b'I',
            b'F',
            b'F',
            _,
            _,
            _,
            _,
            b'W',
            b'E',
            b'B',
            b'P',
            ..,
        ] => "image/webp",
        _ => return None,
    };
    Some(format!("data:{media_type};base64,{}", base64(&bytes)))
}

/// Base 64 with padding. Source: RFC 4648 (Josefsson 2006), section 4.
fn base64(bytes: &[u8]) -> String {
    const LETTERS: &[u8; 64] = b"ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz0123456789+/";
    let mut text = String::with_capacity(bytes.len().div_ceil(3) * 4);
    for chunk in bytes.chunks(3) {
        let byte = |i: usize| u32::from(chunk.get(i).copied().unwrap_or(0));
        let bits = byte(0) << 16 | byte(1) << 8 | byte(2);
        for i in 0..4 {
            let letter = LETTERS[(bits >> (18 - 6 * i) & 63) as usize];
            text.push(if i <= chunk.len() {
                char::from(letter)
            } else {
                '='
            });
        }
    }
    text
}

/// A verdict by word, sign, colour and border.
fn badge(verdict: Option<Verdict>) -> String {
    let Some(verdict) = verdict else {
        return "<span class=\"verdict failed\">not compared</span>".to_owned();
    };
    let word = verdict_word(verdict);
    let sign = match verdict {
        Verdict::Within => '✓',
        Verdict::Undecided => '?',
        Verdict::Out => '✕',
    };
    format!("<span class=\"verdict {word}\"><span aria-hidden=\"true\">{sign}</span> {word}</span>")
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

fn view_section(
    index: usize,
    view: &ViewEntry,
    tolerance: &Tolerance,
    picture: &dyn Fn(&str) -> Option<Vec<u8>>,
) -> String {
    let parts = [
        format!(
            "<section id=\"view-{}\">\n<h2>{} {}</h2>\n",
            index + 1,
            escaped(&view.name),
            badge(view.verdict)
        ),
        sources(view),
        failure(view),
        notes("<h3>Warnings</h3>", &view.warnings),
        doubtful_landmarks(view),
        hidden(view),
        comparison(view, picture),
        region_table(view, tolerance),
        span_table(view, tolerance),
        angle_table(view, tolerance),
        pictures(view, picture),
        landmark_tables(view),
        "</section>\n".to_owned(),
    ];
    parts.concat()
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
    for (word, text) in [
        ("source", &r.source),
        ("variant", &r.variant),
        ("note", &r.note),
    ] {
        if let Some(text) = text {
            line.push_str(&format!(" · {word}: {}", escaped(text)));
        }
    }
    format!("<p class=\"soft\">{line}</p>\n{}", facts(view))
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
        let shown = |x: Option<f64>| x.map_or("-".to_owned(), |x| true_minus(&decimals(x, 2)));
        facts.push(format!(
            "Edge overlap {} (chance {}, above chance {})",
            shown(e.score),
            shown(e.chance),
            shown(e.above_chance)
        ));
    }
    let size = view.scales.as_ref().and_then(|s| s.model_size_percent);
    if let Some(size) = size {
        let text = true_minus(&plus_minus(&size, Sign::Always));
        facts.push(format!("Size of the whole model: {text} %"));
    }
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

fn comparison(view: &ViewEntry, picture: &dyn Fn(&str) -> Option<Vec<u8>>) -> String {
    let render = data_address(view, "render_small", picture);
    let reference = data_address(view, "reference_small", picture);
    let (Some(render), Some(reference)) = (render, reference) else {
        return String::new();
    };
    let values = [
        ("render", render.as_str()),
        ("reference", reference.as_str()),
        ("view", &escaped(&view.name)),
    ];
    format!(
        "<h3>Render over reference</h3>\n{}",
        fill(COMPARISON, &values)
    )
}

fn pictures(view: &ViewEntry, picture: &dyn Fn(&str) -> Option<Vec<u8>>) -> String {
    let name = escaped(&view.name);
    let figures = PICTURES.iter().filter_map(|(key, caption)| {
        let address = data_address(view, key, picture)?;
        Some(format!(
            "<figure><button type=\"button\" aria-expanded=\"false\" aria-label=\"Enlarge: {caption}, {name}\"><img \
             src=\"{address}\" alt=\"{caption}, {name}\"></button><figcaption>{caption}</figcaption></figure>\n"
        ))
    });
    let figures: String = figures.collect();
    let mut html = String::new();
    if !figures.is_empty() {
        html = format!("<h3>Pictures</h3>\n<div class=\"pictures\">\n{figures}</div>\n");
    }
    // It flickers: shown only to those who ask for it.
    if let Some(address) = data_address(view, "blink", picture) {
        html.push_str(&format!(
            "<details class=\"blink\"><summary>Render and reference in turn (flickers)</summary><figure><img \
             src=\"{address}\" alt=\"Render and registered reference of {name} in turn\"></figure></details>\n"
        ));
    }
    html
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

/// The figure with the minus sign of print instead of the hyphen.
fn true_minus(figure: &str) -> String {
    figure.replace('-', "\u{2212}")
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
    fn base64_gives_the_examples_of_its_standard() {
        // RFC 4648, section 10.
        let examples = [
            ("", ""),
            ("f", "Zg=="),
            ("fo", "Zm8="),
            ("foo", "Zm9v"),
            ("foob", "Zm9vYg=="),
            ("fooba", "Zm9vYmE="),
            ("foobar", "Zm9vYmFy"),
        ];
        for (plain, coded) in examples {
            assert_eq!(base64(plain.as_bytes()), coded);
        }
        assert_eq!(base64(&[0xFB, 0xFF, 0xBF]), "+/+/");
    }

    #[test]
    fn a_value_that_looks_like_a_key_stays_a_value() {
        let filled = fill("<{{a}}|{{b}}>", &[("a", "{{b}}"), ("b", "2")]);
        assert_eq!(filled, "<{{b}}|2>");
    }
}
