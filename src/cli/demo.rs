//! `tickstrip demo`: writes a job with its images and compares it.
use super::{
    Status, compare,
    messages::{Action, Failure, Terminal, shown_path},
    new::write_new,
};
use crate::{
    job::{self, InputError, read_input},
    pipeline,
};
use std::{
    fs,
    path::{Path, PathBuf},
};

/// Name and bytes of each file of the demo.
const FILES: &[(&str, &[u8])] = &[
    ("pump.json", include_bytes!("../../fixtures/demo/pump.json")),
    (
        "side-render.png",
        include_bytes!("../../fixtures/demo/side-render.png"),
    ),
    (
        "side-corrected.png",
        include_bytes!("../../fixtures/demo/side-corrected.png"),
    ),
    (
        "side-finished.png",
        include_bytes!("../../fixtures/demo/side-finished.png"),
    ),
    (
        "side-screen.jpg",
        include_bytes!("../../fixtures/demo/side-screen.jpg"),
    ),
    (
        "front-render.png",
        include_bytes!("../../fixtures/demo/front-render.png"),
    ),
    (
        "front-earlier.png",
        include_bytes!("../../fixtures/demo/front-earlier.png"),
    ),
    (
        "plan-new.png",
        include_bytes!("../../fixtures/demo/plan-new.png"),
    ),
    ("pump.obj", include_bytes!("../../fixtures/demo/pump.obj")),
    (
        "pump-camera.json",
        include_bytes!("../../fixtures/demo/pump-camera.json"),
    ),
    (
        "plan-old.png",
        include_bytes!("../../fixtures/demo/plan-old.png"),
    ),
];

/// The same of the demo of cameras.
const CAMERA_FILES: &[(&str, &[u8])] = &[
    (
        "pump.json",
        include_bytes!("../../fixtures/camera-demo/pump.json"),
    ),
    (
        "pump.3mf",
        include_bytes!("../../fixtures/camera-demo/pump.3mf"),
    ),
    (
        "gate.jpg",
        include_bytes!("../../fixtures/camera-demo/gate.jpg"),
    ),
    (
        "market.jpg",
        include_bytes!("../../fixtures/camera-demo/market.jpg"),
    ),
];

/// The job among the files of either.
const JOB: &str = "pump.json";

/// Write a demo job, the hand-worked fire pump of a harbour town at 1:24, and compare it
///
/// With --camera it is the pump's mesh beside two photos whose cameras nobody knows: they are solved, the mesh is drawn as they saw it
/// and compared, and the errors of its parts in space come from both photos together.
#[derive(clap::Args, Debug)]
#[command(after_help = "Examples:\n  tickstrip demo fire-pump-demo\n  tickstrip demo --camera")]
pub(super) struct Arguments {
    /// Folder to write to, fire-pump-demo (fire-pump-camera with --camera) unless you name one; files of yours in it are not overwritten
    #[arg(value_name = "DIR")]
    folder: Option<PathBuf>,
    /// The demo of cameras: a mesh with named parts, and two photos
    #[arg(long)]
    camera: bool,
    /// Print report.json instead of words
    #[arg(long)]
    json: bool,
}

impl Arguments {
    fn folder(&self) -> &Path {
        let left_out = if self.camera {
            "fire-pump-camera"
        } else {
            "fire-pump-demo"
        };
        self.folder.as_deref().unwrap_or(Path::new(left_out))
    }
}

pub(super) fn run(arguments: &Arguments, terminal: &Terminal) -> Result<Status, Failure> {
    let folder = arguments.folder();
    let files = if arguments.camera {
        CAMERA_FILES
    } else {
        FILES
    };
    write(folder, files)?;
    let job = folder.join(JOB);
    if arguments.camera && !arguments.json {
        let read = job::read(&job)?;
        let cameras = pipeline::cameras(&read, &[])?;
        terminal.result(&format!("{}\n", cameras.to_text()))?;
    }
    let comparison = compare::Arguments::with_defaults(job.clone()).with_json(arguments.json);
    let status = compare::run(&comparison, terminal)?;
    let out = compare::results_of(&job);
    let mut words = format!(
        "\nThe demo's model is off on purpose. Look at:\n  {}\n  {}\nThe job, to change and compare again:\n  {}\n",
        shown_path(&out.join("report.html")),
        shown_path(&out.join("sheet.pdf")),
        shown_path(&folder.join(JOB)),
    );
    if !arguments.camera {
        words += &format!(
            "The next render has some of it right. What got better, and what did not:\n  \
             tickstrip carry {} --view side --render {}\n  tickstrip compare {} --against {}\n",
            shown_path(&folder.join(JOB)),
            shown_path(&folder.join("side-corrected.png")),
            shown_path(&folder.join("pump-carried.json")),
            shown_path(&out),
        );
    }
    if !arguments.json {
        terminal.result(&words)?;
    }
    // The demo did what it should, whatever it found; only failures count.
    Ok(match status {
        Status::SomethingOut => Status::NothingOut,
        other => other,
    })
}

/// Writes the files into the folder; those that are there with the same bytes stay.
///
/// # Errors
/// [`Failure::Exists`] before anything is written, where one of them is there with other bytes.
fn write(folder: &Path, files: &[(&str, &[u8])]) -> Result<(), Failure> {
    let mut missing = Vec::new();
    for (name, bytes) in files {
        let path = folder.join(name);
        match read_input(&path, bytes.len() as u64) {
            Ok(found) if found == *bytes => {}
            Ok(_) | Err(InputError::TooLong { .. }) => {
                return Err(Failure::Exists {
                    path,
                    advice: "name another folder",
                });
            }
            Err(InputError::Missing) => missing.push((path, bytes)),
            Err(error) => return Err(Failure::file(&path, Action::Read, error.into())),
        }
    }
    for (path, bytes) in missing {
        if let Some(folder) = path.parent() {
            fs::create_dir_all(folder)
                .map_err(|source| Failure::file(folder, Action::Written, source))?;
        }
        write_new(&path, bytes, "name another folder")?;
    }
    Ok(())
}

#[cfg(test)]
mod tests {
    use super::*;

    const SAMPLE: &[(&str, &[u8])] = &[("pump.json", b"{}"), ("images/a.png", b"png")];

    #[test]
    fn the_demo_is_written_and_may_be_written_again() {
        let folder = tempfile::tempdir().expect("a folder");
        let inside = folder.path().join("new");
        write(&inside, SAMPLE).expect("written");
        write(&inside, SAMPLE).expect("the same bytes are no loss");
        assert_eq!(
            fs::read(inside.join("images/a.png")).expect("there"),
            b"png"
        );
    }

    #[cfg(unix)]
    #[test]
    fn nothing_is_written_through_a_link() {
        let folder = tempfile::tempdir().expect("a folder");
        let inside = folder.path().join("new");
        fs::create_dir(&inside).expect("made");
        // It leads to nothing yet.
        let elsewhere = folder.path().join("elsewhere.json");
        std::os::unix::fs::symlink(&elsewhere, inside.join("pump.json")).expect("linked");
        let failure = write(&inside, SAMPLE).expect_err("refused").to_string();
        assert!(failure.contains("pump.json is there already"), "{failure}");
        assert!(!elsewhere.exists());
    }

    #[test]
    fn foreign_files_are_kept_and_nothing_is_written_beside_them() {
        let folder = tempfile::tempdir().expect("a folder");
        fs::create_dir(folder.path().join("images")).expect("made");
        let own = folder.path().join("images/a.png");
        fs::write(&own, "mine").expect("written");
        let failure = write(folder.path(), SAMPLE)
            .expect_err("refused")
            .to_string();
        assert!(failure.contains(
            "a.png is there already and is not overwritten; move it away or name another folder"
        ));
        assert_eq!(fs::read(&own).expect("there"), b"mine");
        assert!(!folder.path().join("pump.json").exists());
    }
}
