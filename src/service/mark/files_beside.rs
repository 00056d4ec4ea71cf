//! The image files that lie beside a job file.
use std::{fs, path::Path};

/// Most files that are looked at and told: a folder may hold any number.
const MOST: usize = 1000;
/// Endings of image files; what a file holds is seen when it is opened.
const ENDINGS: [&str; 6] = ["png", "jpg", "jpeg", "tif", "tiff", "webp"];

/// Their names, sorted.
pub(super) fn images(folder: &Path) -> Vec<String> {
    let entries = fs::read_dir(folder).into_iter().flatten().flatten();
    let names = entries.take(10 * MOST).filter_map(|entry| {
        let name = entry.file_name().into_string().ok()?;
        let ending = Path::new(&name).extension()?.to_str()?.to_lowercase();
        (ENDINGS.contains(&ending.as_str()) && entry.file_type().ok()?.is_file()).then_some(name)
    });
    let mut names: Vec<String> = names.take(MOST).collect();
    names.sort();
    names
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn images_are_told_by_their_names_and_nothing_else_is() {
        let folder = tempfile::tempdir().expect("a folder");
        for name in ["b.PNG", "a.jpeg", "notes.txt", "none"] {
            fs::write(folder.path().join(name), "").expect("written");
        }
        fs::create_dir(folder.path().join("c.png")).expect("made");
        assert_eq!(images(folder.path()), ["a.jpeg", "b.PNG"]);
        assert!(images(&folder.path().join("missing")).is_empty());
    }
}
