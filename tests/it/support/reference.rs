//! Where the data from outside lie.
use std::path::{Path, PathBuf};

/// The sub-folder `name` of the reference data, or `None` with a line that says so where it is missing.
///
/// The data lie in `$TICKSTRIP_REFERENCE`, by default `../shared/reference` beside the project.
///
/// # Panics
/// Where the folder is missing and `CI` is set: there the checks must run.
pub fn folder(test: &str, name: &str) -> Option<PathBuf> {
    let root = std::env::var_os("TICKSTRIP_REFERENCE").map_or_else(
        || Path::new(env!("CARGO_MANIFEST_DIR")).join("../shared/reference"),
        PathBuf::from,
    );
    let folder = root.join(name);
    if folder.is_dir() {
        return Some(folder);
    }
    assert!(
        std::env::var_os("CI").is_none(),
        "{test}: {} is missing",
        folder.display()
    );
    #[expect(clippy::print_stdout, reason = "scripts/test counts these lines")]
    {
        println!("SKIPPED: {test}: {} is missing", folder.display());
    }
    None
}
