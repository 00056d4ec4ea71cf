//! Writing a file whole or not at all, also where the program is killed: it is written beside its place and renamed.
use std::{
    fs::{self, File, OpenOptions},
    io::{self, Write},
    path::{Path, PathBuf},
};

/// Random letters at the end of the name of a file that is being written.
const RANDOM: usize = 6;

/// What becomes of a file that is there already.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum There {
    /// It stays, and nothing is written.
    Stays,
    /// It is replaced by a file with the same permissions.
    IsReplaced,
}

/// Why the system refuses to write, and what to do; `another` is what may be named instead, such as "another with --out".
pub fn refused_in_words(error: &io::Error, another: &str) -> String {
    use io::ErrorKind::{
        AlreadyExists, NotADirectory, NotFound, PermissionDenied, QuotaExceeded,
        ReadOnlyFilesystem, StorageFull,
    };
    match error.kind() {
        PermissionDenied => {
            format!("permission denied; name {another}, or get the right to write there")
        }
        ReadOnlyFilesystem => format!("what is there can only be read; name {another}"),
        StorageFull | QuotaExceeded => {
            format!("there is no room left; make some, or name {another} on another disk")
        }
        AlreadyExists | NotADirectory => {
            format!("a file is where a folder has to be; name {another}, or move that file away")
        }
        NotFound => {
            format!("there is no such folder, and none can be made there; name {another}")
        }
        _ => format!("{error}; name {another} if that stays so"),
    }
}

/// Writes a file so that it is there whole or not at all, also after a crash.
///
/// # Errors
/// Those of the disk, and [`io::ErrorKind::AlreadyExists`].
pub fn write_whole(path: &Path, bytes: &[u8], there: There) -> io::Result<()> {
    write_whole_by(path, there, |file| file.write_all(bytes))
}

/// The same of a file that `write` writes.
///
/// # Errors
/// Those of the disk and of `write`, and [`io::ErrorKind::AlreadyExists`].
pub(super) fn write_whole_by(
    path: &Path,
    there: There,
    write: impl FnOnce(&mut File) -> io::Result<()>,
) -> io::Result<()> {
    if there == There::Stays && !is_free(path) {
        return Err(io::ErrorKind::AlreadyExists.into());
    }
    let folder = folder_of(path);
    // Else it would be said of the temporary file that it cannot be made.
    fs::metadata(folder)?;
    let prefix = prefix(path)?;
    let mut builder = tempfile::Builder::new();
    builder.prefix(&prefix).rand_bytes(RANDOM);
    // A temporary file is private; a new one of the user's is as readable as he has set it.
    #[cfg(unix)]
    builder.permissions(std::os::unix::fs::PermissionsExt::from_mode(0o666));
    let mut file = builder.tempfile_in(folder)?;
    // So that nobody takes it for one that was left; where files cannot be locked, one that is left stays.
    let _ = file.as_file().lock();
    write(file.as_file_mut())?;
    if let (There::IsReplaced, Ok(old)) = (there, fs::metadata(path)) {
        file.as_file().set_permissions(old.permissions())?;
    }
    file.as_file().sync_all()?;
    let named = match there {
        There::IsReplaced => file.persist(path),
        There::Stays => match file.persist_noclobber(path) {
            // Some file systems can only rename.
            Err(failed) if is_free(path) => failed.file.persist(path),
            done => done,
        },
    };
    named.map_err(|failed| failed.error)?;
    // The rename itself is on the disk only when the folder is; where folders cannot be opened the system sees to it.
    if let Ok(folder) = File::open(folder) {
        let _ = folder.sync_all();
    }
    Ok(())
}

/// Removes what killed programs have left of this file beside it. What is being written by another one stays.
pub fn clear_left(path: &Path) {
    let Ok(prefix) = prefix(path) else { return };
    for entry in fs::read_dir(folder_of(path))
        .into_iter()
        .flatten()
        .flatten()
    {
        let name = entry.file_name();
        let random = name.to_str().and_then(|name| name.strip_prefix(&prefix));
        let is_named = random.is_some_and(|random| {
            random.len() == RANDOM && random.chars().all(|c| c.is_ascii_alphanumeric())
        });
        if is_named && entry.file_type().is_ok_and(|kind| kind.is_file()) {
            let file = OpenOptions::new().write(true).open(entry.path());
            if file.is_ok_and(|file| file.try_lock().is_ok()) {
                // It does no harm but to look untidy.
                let _ = fs::remove_file(entry.path());
            }
        }
    }
}

/// The path, or the first one like it at which nothing is.
pub fn free_name(path: &Path) -> PathBuf {
    let kept = (1..).map(|number: u64| {
        let mut name = path.as_os_str().to_owned();
        name.push(format!(".kept-{number}"));
        PathBuf::from(name)
    });
    let mut names = std::iter::once(path.to_owned()).chain(kept);
    names.find(|path| is_free(path)).unwrap_or_default()
}

fn is_free(path: &Path) -> bool {
    fs::symlink_metadata(path).is_err_and(|error| error.kind() == io::ErrorKind::NotFound)
}

fn folder_of(path: &Path) -> &Path {
    match path.parent() {
        Some(parent) if !parent.as_os_str().is_empty() => parent,
        _ => Path::new("."),
    }
}

/// Begin of the names under which this file is written, and no other.
fn prefix(path: &Path) -> io::Result<String> {
    let name = path.file_name().ok_or(io::ErrorKind::InvalidFilename)?;
    let key = blake3::hash(name.as_encoded_bytes()).to_hex();
    Ok(format!(".tickstrip-file-{}-", &key[..12]))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_refusal_of_the_system_says_what_to_do_and_names_no_temporary_file() {
        use io::ErrorKind::{Other, PermissionDenied, ReadOnlyFilesystem, StorageFull};
        for (kind, told) in [
            (
                PermissionDenied,
                "permission denied; name another with --out, or get the right to write there",
            ),
            (
                ReadOnlyFilesystem,
                "what is there can only be read; name another with --out",
            ),
            (
                StorageFull,
                "there is no room left; make some, or name another with --out on another disk",
            ),
            (
                Other,
                "at .tickstrip-1; name another with --out if that stays so",
            ),
        ] {
            let error = io::Error::new(kind, "at .tickstrip-1");
            assert_eq!(refused_in_words(&error, "another with --out"), told);
        }
    }

    fn names(folder: &Path) -> Vec<String> {
        let entries = fs::read_dir(folder).expect("readable");
        let mut names: Vec<String> = entries
            .map(|e| e.expect("readable").file_name().into_string())
            .collect::<Result<_, _>>()
            .expect("UTF-8");
        names.sort();
        names
    }

    #[test]
    fn a_file_that_is_there_stays_or_is_replaced() {
        let folder = tempfile::tempdir().expect("a folder");
        let path = folder.path().join("a.json");
        write_whole(&path, b"first", There::Stays).expect("written");
        let refused = write_whole(&path, b"second", There::Stays).expect_err("there");
        assert_eq!(refused.kind(), io::ErrorKind::AlreadyExists);
        assert_eq!(fs::read(&path).expect("there"), b"first");
        write_whole(&path, b"third", There::IsReplaced).expect("written");
        assert_eq!(fs::read(&path).expect("there"), b"third");
        assert_eq!(names(folder.path()), ["a.json"]);
    }

    #[cfg(unix)]
    #[test]
    fn permissions_stay_and_a_link_is_not_written_through() {
        use std::os::unix::fs::{PermissionsExt, symlink};
        let folder = tempfile::tempdir().expect("a folder");
        let path = folder.path().join("a.json");
        fs::write(&path, "first").expect("written");
        fs::set_permissions(&path, fs::Permissions::from_mode(0o640)).expect("set");
        write_whole(&path, b"second", There::IsReplaced).expect("written");
        let mode = fs::metadata(&path).expect("there").permissions().mode();
        assert_eq!(mode & 0o777, 0o640);
        // A link to nothing: a file must not be made elsewhere.
        let link = folder.path().join("link");
        symlink(folder.path().join("elsewhere"), &link).expect("linked");
        assert!(write_whole(&link, b"text", There::Stays).is_err());
        assert_eq!(names(folder.path()), ["a.json", "link"]);
    }

    #[test]
    fn what_was_left_of_this_file_is_removed_and_nothing_else() {
        let folder = tempfile::tempdir().expect("a folder");
        let [path, other] = ["a.json", "b.json"].map(|name| folder.path().join(name));
        let left = |path: &Path, random: &str| {
            let name = format!("{}{random}", prefix(path).expect("a name"));
            fs::write(folder.path().join(&name), "half").expect("written");
            name
        };
        left(&path, "aB3xYz");
        let mut stay = vec![
            left(&other, "aB3xYz"),
            left(&path, "aB3xYz.txt"),
            left(&path, "ab-cde"),
        ];
        let used = left(&path, "in0use");
        let file = File::open(folder.path().join(&used)).expect("opened");
        file.lock().expect("locked");
        clear_left(&path);
        stay.push(used);
        stay.sort();
        assert_eq!(names(folder.path()), stay);
    }

    #[test]
    fn a_free_name_is_like_the_one_that_is_taken() {
        let folder = tempfile::tempdir().expect("a folder");
        let path = folder.path().join("a.txt");
        for expected in ["a.txt", "a.txt.kept-1", "a.txt.kept-2"] {
            let free = free_name(&path);
            assert_eq!(free, folder.path().join(expected));
            fs::write(free, "").expect("written");
        }
    }
}
