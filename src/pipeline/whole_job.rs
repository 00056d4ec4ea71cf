//! What is written of a job as a whole, when all its views are finished.
use super::{
    CompareOptions, Error,
    finished_view::Body,
    results_folder::{NewResults, REPORT},
};
use crate::{
    drawing::{self, PrintedPage},
    images,
    report::{self, MOST_VIEWS_WITH_PICTURES, Report, json::ViewEntry},
};
use rayon::prelude::*;
use std::{collections::HashMap, fs, io};

/// Name of the page of a view that has one of its own.
const VIEW_PAGE: &str = "view.html";

/// The page on which a view of a report with so many is shown, relative to the results.
pub fn page_of(report: &Report, view: &ViewEntry) -> String {
    match has_pages(report) && view.error.is_none() {
        true => format!("{}/{VIEW_PAGE}", view.name),
        false => "report.html".to_owned(),
    }
}

fn has_pages(report: &Report) -> bool {
    report.views.len() > MOST_VIEWS_WITH_PICTURES
}

/// Writes what concerns all views: report, tables, pages, sheets. `views` are those that were compared, in order; what stands in front
/// of their sheets comes first, those of the model in space come last.
///
/// # Errors
/// Where something cannot be written or drawn, and [`Error::Stopped`].
pub(super) fn write(
    (folder, options): (&NewResults, &CompareOptions),
    report: &Report,
    views: &[Body],
    (front, in_space): (Vec<PrintedPage>, Vec<PrintedPage>),
) -> Result<(), Error> {
    let of_views: usize = views.iter().map(Body::pages).sum();
    let count = front.len() + of_views + in_space.len();
    let sheets = || -> Result<(), Error> {
        // They are read on a thread that may be left alone.
        let owned: Vec<Body> = views.to_vec();
        let pages = owned
            .into_iter()
            .flat_map(|view| (0..view.pages()).map(move |k| view.page(k)));
        if count == 0 {
            return Ok(());
        }
        let pages = front.into_iter().map(Ok).chain(pages);
        let pages = pages.chain(in_space.into_iter().map(Ok));
        folder.write("sheet.pdf", &drawing::sheets_pdf(count, pages)?)?;
        Ok(())
    };
    let (sheets, texts) = rayon::join(sheets, || texts((folder, options), report, views));
    sheets.and(texts)
}

fn texts(
    (folder, options): (&NewResults, &CompareOptions),
    report: &Report,
    views: &[Body],
) -> Result<(), Error> {
    folder.write_by(REPORT, &|out: &mut dyn io::Write| {
        report::write_json(report, out)
    })?;
    folder.write("measures.csv", report::to_csv(report).as_bytes())?;
    let summary = report::summary(report);
    let rows = report::summary_to_csv([(report.job.file.as_str(), Ok(summary.as_slice()))]);
    folder.write("summary.csv", rows.as_bytes())?;
    if let Some(revision) = &report.revision {
        folder.write("revision.csv", report::revision_to_csv(revision).as_bytes())?;
    }
    if let Some(space) = &report.space {
        folder.write("space.csv", report::space_to_csv(space).as_bytes())?;
    }
    let by_name: HashMap<&str, &Body> = views.iter().map(|view| (view.name(), view)).collect();
    let picture = |path: &str| page_picture((folder, options), &by_name, path);
    if !has_pages(report) {
        let write = |out: &mut dyn io::Write| report::write_html(report, &picture, out);
        return Ok(folder.write_by("report.html", &write)?);
    }
    let index = |out: &mut dyn io::Write| {
        report::write_index_html(report, &picture, &|view| page_of(report, view), out)
    };
    folder.write_by("report.html", &index)?;
    let compared: Vec<&ViewEntry> = report.views.iter().filter(|v| v.error.is_none()).collect();
    compared.par_iter().try_for_each(|view| {
        let write = |out: &mut dyn io::Write| report::write_view_html(report, view, &picture, out);
        Ok(folder.write_by(&page_of(report, view), &write)?)
    })
}

/// A picture as the page has it; an animated one only where pictures are as they are.
fn page_picture(
    (folder, options): (&NewResults, &CompareOptions),
    views: &HashMap<&str, &Body>,
    path: &str,
) -> Option<Vec<u8>> {
    let whole = || fs::read(folder.path().join(path)).ok();
    if options.full_page {
        return whole();
    }
    if path.ends_with("blink.png") {
        return None;
    }
    let view = path.split_once('/').and_then(|(view, _)| views.get(view));
    match view {
        Some(view) => view.small(path).or_else(whole),
        // Of the job as a whole.
        None => {
            let bytes = whole()?;
            Some(smaller(&bytes).unwrap_or(bytes))
        }
    }
}

/// A picture at the size that `report.html` has it; `None` where that is no smaller.
fn smaller(bytes: &[u8]) -> Option<Vec<u8>> {
    let picture = images::of_own_file(bytes)?;
    let small = drawing::encode_for_page(&picture).ok()?;
    (small.len() < bytes.len()).then_some(small)
}
