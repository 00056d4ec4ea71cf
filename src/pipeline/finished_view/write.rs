//! Writing a view that was compared.
use super::{
    head::{Head, MAGIC, PageParts, Part},
    read::FinishedView,
};
use crate::{
    drawing::PrintedPage,
    pipeline::results_folder::{FINISHED, Listed, NewResults, ResultsError},
    report::CollectedView,
};
use std::io::Write;

/// A view that was compared, with its files written.
pub struct ToFinish {
    pub key: Option<String>,
    pub date: String,
    pub collected: CollectedView,
    pub files: Vec<Listed>,
    pub pages: Vec<PrintedPage>,
    /// Path and bytes.
    pub small: Vec<(String, Vec<u8>)>,
}

/// Writes a view into new results, as the last of its files: from then on it counts as finished.
///
/// # Errors
/// Those of the disk.
pub fn write(folder: &NewResults, view: ToFinish) -> Result<FinishedView, ResultsError> {
    let name = view.collected.entry.name.clone();
    let path = format!("{name}/{FINISHED}");
    let parts: Vec<&[u8]> = (view.pages.iter())
        .flat_map(|page| {
            let pictures = page.pictures.iter().map(|(_, bytes)| bytes.as_slice());
            std::iter::once(page.svg.as_bytes()).chain(pictures)
        })
        .chain(view.small.iter().map(|(_, bytes)| bytes.as_slice()))
        .collect();
    let page = |page: &PrintedPage| PageParts {
        title: page.title.clone(),
        chapter: page.chapter.clone(),
        name: page.name.clone(),
        aspect: page.aspect,
        size_mm: page.size_mm,
        svg: Part::of(page.svg.as_bytes()),
        pictures: (page.pictures.iter())
            .map(|(name, bytes)| (name.clone(), Part::of(bytes)))
            .collect(),
    };
    let small = view.small.iter();
    let mut head = Head {
        key: view.key,
        date: view.date,
        collected: view.collected,
        files: view.files,
        pages: view.pages.iter().map(page).collect(),
        small: small
            .map(|(path, bytes)| (path.clone(), Part::of(bytes)))
            .collect(),
    };
    let mut text = as_text(&head);
    if serde_json::from_str::<Head>(&text).ok().as_ref() != Some(&head) {
        // What does not come back as it was must not be taken for it.
        head.key = None;
        text = as_text(&head);
    }
    let checksum = blake3::hash(text.as_bytes()).to_hex();
    let first = format!("{MAGIC} {checksum} {}\n", text.len());
    folder.write_by(&path, &|out: &mut dyn Write| {
        out.write_all(first.as_bytes())?;
        out.write_all(text.as_bytes())?;
        parts.iter().try_for_each(|part| out.write_all(part))
    })?;
    let at = (first.len() + text.len()) as u64;
    Ok(FinishedView::new(
        folder.path(),
        head,
        checksum.to_string(),
        at,
    ))
}

fn as_text(head: &Head) -> String {
    serde_json::to_string(head).expect("a head has only string keys")
}
