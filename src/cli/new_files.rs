//! Several files of one command, written below a folder.
use super::{
    messages::{Action, Failure, Terminal, shown_path},
    new::write_file,
};
use crate::pipeline;
use std::{
    fs,
    path::{Path, PathBuf},
};

/// A file to write.
pub(super) struct NewFile {
    pub(super) path: PathBuf,
    pub(super) bytes: Vec<u8>,
}

/// Says which files were written, a line each.
pub(super) fn tell_written(written: &[PathBuf], terminal: &Terminal) -> Result<(), Failure> {
    let lines = written.iter().map(|p| format!("wrote {}\n", shown_path(p)));
    terminal.result(&lines.collect::<String>())
}

const ADVICE: &str = "name another folder with --out, or say --force";

/// Writes the files, each whole; nothing where one of them is there already, unless that `is_forced`, or where a comparison's
/// results lie. Returns their paths.
pub(super) fn write_new_files(
    files: Vec<NewFile>,
    out: &Path,
    is_forced: bool,
) -> Result<Vec<PathBuf>, Failure> {
    pipeline::refuse_folder_of_results(out).map_err(Failure::Results)?;
    if let Some(file) = files.iter().find(|file| file.path.exists() && !is_forced) {
        return Err(Failure::Exists {
            path: file.path.clone(),
            advice: ADVICE,
        });
    }
    for NewFile { path, bytes } in &files {
        let folder = path.parent().unwrap_or(out);
        fs::create_dir_all(folder)
            .map_err(|source| Failure::file(folder, Action::Written, source))?;
        write_file(path, bytes, (is_forced, ADVICE))?;
    }
    Ok(files.into_iter().map(|file| file.path).collect())
}
