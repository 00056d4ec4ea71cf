//! Sheets that concern all views: the page in front of several, and the model in space.
use super::{Error, together::InSpace};
use crate::{
    drawing::{
        self, DrawnFile, Overview, OverviewSection, OverviewView, Paper, SheetPage, SpaceToDraw,
        Thumbnail,
    },
    drawn::JobMesh,
    job::Job,
    report::{self, Report},
};

/// The sheets of the model in space and the first of them as a picture, where any part has figures.
pub(super) fn in_space(
    job: &Job,
    (paper, date): (Paper, &str),
    space: &InSpace,
    mesh: &JobMesh,
) -> Result<Option<(DrawnFile, Vec<SheetPage>)>, Error> {
    if space.parts.is_empty() {
        return Ok(None);
    }
    let views = &space.entry.views;
    let photos: Vec<&str> = views.iter().map(|view| view.name.as_str()).collect();
    Ok(Some(drawing::draw_in_space(&SpaceToDraw {
        job,
        model: &mesh.model,
        edges: &mesh.edges,
        parts: &space.parts,
        photos: &photos,
        date,
        paper,
    })?))
}

/// The pages in front of the sheets of several views; `thumbnails` has a picture of each view that has one.
pub(super) fn overview(
    job: &Job,
    (paper, date): (Paper, &str),
    report: &Report,
    thumbnails: Vec<Option<Thumbnail>>,
) -> Result<Vec<SheetPage>, Error> {
    let views = report.views.iter().zip(thumbnails);
    let views = views.map(|(view, thumbnail)| OverviewView {
        name: &view.name,
        verdict: view.verdict,
        thumbnail,
    });
    let sections = report::front_page(report).into_iter();
    let sections = sections.map(|section| OverviewSection {
        heading: section.heading,
        entries: section.entries,
        is_ranked: section.is_ranked,
    });
    Ok(drawing::overview_pages(&Overview {
        job,
        date,
        paper,
        views: views.collect(),
        sections: sections.collect(),
    })?)
}
