//! What lies in a folder.
use std::{
    collections::BTreeMap,
    fs,
    path::{Path, PathBuf},
};

/// All files below a folder, by their paths with `/`.
pub fn files(folder: &Path) -> BTreeMap<String, Vec<u8>> {
    let mut found = BTreeMap::new();
    gather(folder, "", &mut found);
    found
}

fn gather(folder: &Path, prefix: &str, found: &mut BTreeMap<String, Vec<u8>>) {
    for entry in fs::read_dir(folder).expect("readable") {
        let path = entry.expect("readable").path();
        let name = path.file_name().expect("a name").to_string_lossy();
        match path.is_dir() {
            true => gather(&path, &format!("{prefix}{name}/"), found),
            false => {
                let bytes = fs::read(&path).expect("readable");
                found.insert(format!("{prefix}{name}"), bytes);
            }
        }
    }
}

/// What the program makes for a while, at any depth.
pub fn left_over(folder: &Path) -> Vec<PathBuf> {
    let mut found = Vec::new();
    for entry in fs::read_dir(folder).into_iter().flatten().flatten() {
        if entry
            .file_name()
            .to_string_lossy()
            .starts_with(".tickstrip-")
        {
            found.push(entry.path());
        } else if entry.path().is_dir() {
            found.extend(left_over(&entry.path()));
        }
    }
    found
}
