//! Keeps jobs inside one folder: no path leads out of it, by `..`, from the root, or through a link.
use crate::{
    job::{self, Job, LONGEST_FILE_NAME, Mask, RenderImage, is_device_name},
    printable::{is_command, shortened},
};
use std::{
    ffi::OsStr,
    fs,
    path::{Component, Path, PathBuf},
};

/// Deepest folder that a posted file may lie in.
const MOST_PARTS: usize = 4;
/// Why a job or a file of it is refused.
#[derive(Debug, PartialEq, Eq, thiserror::Error)]
#[non_exhaustive]
pub(super) enum Refusal {
    /// A path that is not allowed or not there: which of both is not told, so that nobody can feel for other files.
    #[error(
        "{path:?}: there is no such file in the served folder; paths are relative to it, without .., links out of it or hidden names"
    )]
    NoSuchFile {
        /// The path as it was given.
        path: String,
    },
    /// A posted file that cannot be stored under its name.
    #[error(
        "the file name {name:?} cannot be used: {reason}; rename the file, and the image in the job"
    )]
    BadName {
        /// The name as it was given.
        name: String,
        /// Why not.
        reason: &'static str,
    },
    /// The job's own faults.
    #[error("{text}")]
    Faulty {
        /// All of them, one a line.
        text: String,
    },
    /// An image outside of the folder, or in a hidden one.
    #[error(
        "{pointer}: the image is not in the folder of the job's service, in a hidden folder of it, or not there; post it along, or name it relative to the job file"
    )]
    Image {
        /// Where the job names it.
        pointer: String,
    },
}

impl Refusal {
    /// Stable code.
    pub fn code(&self) -> &'static str {
        match self {
            Self::NoSuchFile { .. } => "no-such-file",
            Self::BadName { .. } => "bad-file-name",
            Self::Faulty { .. } => "job-faulty",
            Self::Image { .. } => "image-not-there",
        }
    }
}

/// A path of plain names, such as `side/render.png`, that may be joined to a folder; else why it is none.
fn plain(path: &str) -> Result<PathBuf, &'static str> {
    let relative = Path::new(path);
    let count = relative.components().count();
    if count == 0 {
        return Err("it is empty");
    }
    if count > MOST_PARTS {
        return Err("it lies deeper than three folders");
    }
    for part in relative.components() {
        match part {
            Component::Normal(name) => check_name(name.to_str().unwrap_or_default())?,
            _ => return Err("it leads elsewhere"),
        }
    }
    Ok(relative.to_owned())
}

fn check_name(name: &str) -> Result<(), &'static str> {
    Err(match name {
        _ if name.starts_with('.') => "a name in it begins with a point",
        _ if name.ends_with(['.', ' ']) => "a name in it ends with a point or a space",
        _ if name.len() > LONGEST_FILE_NAME => "a name in it is longer than 120 bytes",
        _ if name.contains(|c| is_command(c) || matches!(c, '\\' | ':')) => {
            "a sign in it is not allowed"
        }
        _ if is_device_name(name) => "some systems keep a name in it for a device",
        _ => return Ok(()),
    })
}

/// Where a posted file of this name is stored, below the folder of the job's input.
pub(super) fn posted(name: &str) -> Result<PathBuf, Refusal> {
    plain(name).map_err(|reason| Refusal::BadName {
        name: shortened(name),
        reason,
    })
}

/// The file at a plain path below `root` (canonical), after all links; a regular file.
pub(super) fn file(root: &Path, path: &str) -> Result<PathBuf, Refusal> {
    let refused = || Refusal::NoSuchFile {
        path: shortened(path),
    };
    let relative = plain(path).map_err(|_| refused())?;
    regular(root, &root.join(relative)).ok_or_else(refused)
}

/// The file after all links, if it is a regular one below `root` and in no hidden folder there.
fn regular(root: &Path, path: &Path) -> Option<PathBuf> {
    let real = fs::canonicalize(path).ok()?;
    let is_hidden = |name: &OsStr| name.as_encoded_bytes().starts_with(b".");
    let below = real.strip_prefix(root).ok()?;
    if below.iter().any(is_hidden) {
        return None;
    }
    // A pipe or a device would be waited for.
    fs::metadata(&real).ok()?.is_file().then_some(real)
}

/// Reads a job whose images and masks all lie below `root` (canonical).
pub(super) fn read_job(root: &Path, file: &Path) -> Result<Job, Refusal> {
    let mut job = job::read(file).map_err(|error| {
        let faults: Vec<String> = error.faults().iter().map(|f| f.to_string()).collect();
        Refusal::Faulty {
            text: match faults.is_empty() {
                true => "the job cannot be read".to_owned(),
                false => faults.join("\n"),
            },
        }
    })?;
    let files = job.model.iter_mut().flat_map(|model| &mut model.files);
    for (index, file) in files.enumerate() {
        let pointer = format!("/model/files/{index}");
        file.path = regular(root, &file.path).ok_or(Refusal::Image { pointer })?;
    }
    for (index, view) in job.views.iter_mut().enumerate() {
        let inside = |path: &mut PathBuf, key: &str| {
            let pointer = format!("/views/{index}/{key}");
            *path = regular(root, path).ok_or(Refusal::Image { pointer })?;
            Ok(())
        };
        if let RenderImage::File(path) = &mut view.render.image {
            inside(path, "render/image")?;
        }
        let key = view.reference.key_of_shot(0);
        inside(&mut view.reference.image, &format!("reference/{key}"))?;
        for (shot, path) in view.reference.more_shots.iter_mut().enumerate() {
            inside(path, &format!("reference/images/{}", shot + 1))?;
        }
        if let Mask::Image(path) = &mut view.render.mask {
            inside(path, "render/mask")?;
        }
        if let Some(path) = &mut view.render.shape {
            inside(path, "render/shape")?;
        }
        if let Mask::Image(path) = &mut view.reference.mask {
            inside(path, "reference/mask")?;
        }
    }
    Ok(job)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn plain_paths_pass_and_all_others_do_not() {
        for path in ["a.png", "side/a b.png", "x/y/z/ü.jpg"] {
            assert_eq!(plain(path), Ok(PathBuf::from(path)));
        }
        for path in [
            "",
            "/",
            "/etc/passwd",
            "../a",
            "a/../b",
            "./a",
            "a/./../../b",
            ".hidden",
            "a/.tickstrip/b",
            "a\\..\\b",
            "C:\\a",
            "c:a",
            "a\0b",
            "a\nb",
            "..",
            "a/b/c/d/e",
            "a/nul.png",
            "a./b",
            "a /b",
            "a\u{202e}gnp",
        ] {
            assert!(plain(path).is_err(), "{path:?}");
        }
        assert!(plain(&"x".repeat(121)).is_err());
        // An encoded form is a name like any other once it is decoded no further.
        assert!(plain("%2e%2e%2fa").is_ok());
    }

    #[test]
    fn a_posted_name_is_refused_with_its_reason() {
        for (name, words) in [
            ("", "it is empty"),
            ("../a.png", "it leads elsewhere"),
            (".a.png", "begins with a point"),
            ("a/b/c/d/e.png", "deeper than three folders"),
            ("AUX.png", "for a device"),
            ("a.png.", "ends with a point"),
        ] {
            let refusal = posted(name).expect_err(name);
            assert_eq!(refusal.code(), "bad-file-name");
            assert!(refusal.to_string().contains(words), "{refusal}");
        }
        let endless = posted(&"x".repeat(1 << 20))
            .expect_err("too long")
            .to_string();
        assert!(
            endless.contains("longer than 120 bytes") && endless.len() < 400,
            "{endless}"
        );
    }

    #[cfg(unix)]
    #[test]
    fn links_out_of_the_folder_are_refused_and_those_inside_pass() {
        use std::os::unix::fs::symlink;
        let outer = tempfile::tempdir().expect("a folder");
        let outer = fs::canonicalize(outer.path()).expect("there").join("outer");
        let root = outer.join("root");
        fs::create_dir_all(&root).expect("made");
        fs::write(outer.join("secret.json"), "{}").expect("written");
        fs::write(root.join("own.json"), "{}").expect("written");
        symlink(outer.join("secret.json"), root.join("out.json")).expect("linked");
        symlink(&outer, root.join("up")).expect("linked");
        symlink(root.join("own.json"), root.join("in.json")).expect("linked");
        fs::create_dir(root.join(".hidden")).expect("made");
        fs::write(root.join(".hidden/a.json"), "{}").expect("written");
        symlink(root.join(".hidden/a.json"), root.join("shown.json")).expect("linked");
        assert_eq!(file(&root, "in.json"), Ok(root.join("own.json")));
        for path in [
            "out.json",
            "up/secret.json",
            "missing.json",
            "up",
            "shown.json",
        ] {
            let refusal = file(&root, path).expect_err("refused");
            assert_eq!(refusal.code(), "no-such-file");
        }
    }

    #[test]
    fn a_job_may_not_name_images_outside() {
        let outer = tempfile::tempdir().expect("a folder");
        let outer = fs::canonicalize(outer.path()).expect("there");
        let root = outer.join("root");
        fs::create_dir(&root).expect("made");
        fs::create_dir(root.join(".tickstrip")).expect("made");
        for file in [
            outer.join("out.png"),
            root.join("in.png"),
            root.join(".tickstrip/a.png"),
        ] {
            image::RgbImage::new(8, 8).save(file).expect("written");
        }
        let with_reference = |reference: &str| {
            let text = format!(
                r#"{{"title":"t","scale":"1:32","views":[{{"name":"a","render":{{"image":"in.png"}},
                "reference":{{{reference}}},"landmarks":[]}}]}}"#
            );
            fs::write(root.join("job.json"), text).expect("written");
            read_job(&root, &root.join("job.json"))
        };
        let job = |image: &str| with_reference(&format!(r#""image":{image:?}"#));
        assert!(job("in.png").is_ok());
        let absolute = outer.join("out.png").to_string_lossy().into_owned();
        for image in [
            "../out.png",
            absolute.as_str(),
            "/etc/passwd",
            "missing.png",
            ".tickstrip/a.png",
            "./.tickstrip/../.tickstrip/a.png",
        ] {
            let refusal = job(image).expect_err("refused");
            let pointer = "/views/0/reference/image".to_owned();
            assert_eq!(refusal, Refusal::Image { pointer });
            // Nor as one of several shots.
            let shots = format!(r#""images":["in.png",{image:?}]"#);
            let refusal = with_reference(&shots).expect_err("refused");
            let pointer = "/views/0/reference/images/1".to_owned();
            assert_eq!(refusal, Refusal::Image { pointer });
        }
    }
}
