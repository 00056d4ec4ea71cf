//! The index: how each view came out, in a table that leads to its page. For jobs of many views, and for several jobs.
use super::{
    address::address, badge::badge, changes, footer, head, header, notes,
    revision::revision_section, space::space_section,
};
use crate::report::{
    json::{Report, Verdict, ViewEntry},
    summary::{Summary, WorstFigure, summary},
    wording::{Sign, clean, decimals, plus_minus, with_unit},
};
use maud::{DOCTYPE, Markup, html};
use std::io;

/// A job as the page of a batch has it.
#[derive(Clone, Debug)]
pub struct JobOfBatch {
    /// The job file as it was named.
    pub job: String,
    /// What came of it.
    pub result: Result<JobResult, String>,
}

/// What came of a job that could be used.
#[derive(Clone, Debug)]
pub struct JobResult {
    /// The job's title.
    pub title: String,
    /// The folder of its results as seen from the page, with `/`.
    pub folder: String,
    /// The worst of all its views.
    pub verdict: Option<Verdict>,
    /// How each view came out.
    pub views: Vec<Summary>,
    /// The page of each view, relative to the folder of its results; that of the whole job where a view has none of its own.
    pub pages: Vec<String>,
}

/// The page of a batch: its jobs and how their views came out.
pub fn batch_page(jobs: &[JobOfBatch]) -> String {
    let views = |jobs: &[JobOfBatch]| -> usize {
        let views = jobs.iter().flat_map(|job| &job.result);
        views.map(|result| result.views.len()).sum()
    };
    let page = html! {
        (DOCTYPE) "\n"
        html lang="en" {
            (head("Comparisons")) "\n"
            body {
                header {
                    h1 { (counted(jobs.len(), "job")) ", " (counted(views(jobs), "view")) }
                    p.soft { (counts(jobs)) " · ± figures are 95 % intervals" }
                } "\n"
                main { @for job in jobs { (job_section(job)) "\n" } } "\n"
            }
        }
        "\n"
    };
    page.into_string()
}

/// Name of the page of a whole job.
const REPORT: &str = "report.html";

fn counted(number: usize, what: &str) -> String {
    match number {
        1 => format!("1 {what}"),
        many => format!("{many} {what}s"),
    }
}

/// "3 out, 1 undecided, 5 within, 1 not compared", by views.
fn counts(jobs: &[JobOfBatch]) -> String {
    let verdicts = || {
        let results = jobs.iter().flat_map(|job| &job.result);
        results.flat_map(|result| result.views.iter().map(|view| view.verdict))
    };
    let of = |verdict: Option<Verdict>| verdicts().filter(|v| *v == verdict).count();
    let words = [Verdict::Out, Verdict::Undecided, Verdict::Within]
        .map(|verdict| format!("{} {}", of(Some(verdict)), verdict.word()));
    let unusable = jobs.iter().filter(|job| job.result.is_err()).count();
    let unusable = match unusable {
        0 => String::new(),
        many => format!("; jobs that cannot be used: {many}"),
    };
    format!("{}, {} not compared{unusable}", words.join(", "), of(None))
}

fn job_section(job: &JobOfBatch) -> Markup {
    let result = match &job.result {
        Ok(result) => result,
        Err(why) => {
            return html! {
                section {
                    h2 { (clean(&job.job)) " " (badge(None)) }
                    ul.notes { @for line in why.lines() { li.error { (clean(line)) } } }
                }
            };
        }
    };
    let page = |page: &str| address(&format!("{}/{page}", result.folder));
    // In a page of all views each has its place.
    let place = |k: usize| match result.pages[k].as_str() {
        REPORT => format!("{}#view-{}", page(REPORT), k + 1),
        own => page(own),
    };
    html! {
        section {
            h2 { a href=(page(REPORT)) { (clean(&result.title)) } " " (badge(result.verdict)) }
            p.soft { (clean(&job.job)) }
            (table(&result.views, &place))
        }
    }
}

/// The index of a report of many views: how each came out, what to change, and what concerns several of them; `page_of` gives the
/// page of a view relative to this one.
///
/// # Errors
/// Those of `out`.
pub fn write_index_html(
    report: &Report,
    picture: &dyn Fn(&str) -> Option<Vec<u8>>,
    page_of: &dyn Fn(&ViewEntry) -> String,
    out: &mut dyn io::Write,
) -> io::Result<()> {
    let rows = summary(report);
    let page = |k: usize| match report.views.get(k) {
        Some(view) => address(&page_of(view)),
        None => "#space".to_owned(),
    };
    let page = html! {
        (DOCTYPE) "\n"
        html lang="en" {
            (head(&report.job.title)) "\n"
            body {
                (header(report, &notes(report.warnings.iter()))) "\n"
                main {
                    section {
                        h2 { "Views" }
                        (table(&rows, &page))
                    } "\n"
                    @if let Some(revision) = &report.revision { (revision_section(revision)) }
                    (changes(report)) "\n"
                    @if let Some(space) = &report.space { (space_section(space, picture)) "\n" }
                } "\n"
                (footer(report)) "\n"
            }
        }
        "\n"
    };
    out.write_all(page.into_string().as_bytes())
}

fn table(views: &[Summary], page: &dyn Fn(usize) -> String) -> Markup {
    html! {
        div.scroll role="region" aria-label="How each view came out" tabindex="0" {
            table {
                thead {
                    tr {
                        th { "view" } th { "verdict" } th { "the most off" } th { "figure" } th { "edges" } th { "warnings" }
                    }
                }
                tbody {
                    @for (k, view) in views.iter().enumerate() { (row(view, &page(k))) "\n" }
                }
            }
        }
    }
}

fn row(view: &Summary, page: &str) -> Markup {
    let figure =
        |worst: &WorstFigure| with_unit(&plus_minus(&worst.figure, Sign::Always), &worst.unit);
    html! {
        tr {
            th { a href=(page) { (clean(&view.view)) } }
            td { (badge(view.verdict)) @if view.is_distrusted { " " span.soft { "not to be trusted yet" } } }
            @if let Some(error) = &view.error {
                td colspan="3" { (clean(error)) }
            } @else {
                td { @if let Some(worst) = &view.worst { (clean(&worst.name)) " " (worst.measure) } }
                td.number { @if let Some(worst) = &view.worst { (figure(worst)) } }
                td.number { @if let Some(edges) = view.edge_overlap { (decimals(edges, 2)) } }
            }
            td.number { (view.warnings) }
        }
    }
}
