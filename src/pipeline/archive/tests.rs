use super::{list::is_safe, *};
use std::{
    fs,
    io::{Read, Write},
    path::{Path, PathBuf},
};
use tempfile::TempDir;
use zip::{ZipArchive, ZipWriter, write::SimpleFileOptions};

const DATE: &str = "2031-04-05";

/// A job in `work/`, one of its images in a folder beside it.
fn job(folder: &Path) -> PathBuf {
    let work = folder.join("work");
    fs::create_dir_all(work.join("pictures")).expect("made");
    fs::create_dir_all(folder.join("scans")).expect("made");
    fs::write(work.join("pictures/render.png"), "a render").expect("written");
    fs::write(folder.join("scans/plan.png"), "a plan").expect("written");
    let text = r#"{"title": "t", "scale": "1:32", "views": [{"name": "front",
        "render": {"image": "pictures/render.png"},
        "reference": {"image": "../scans/plan.png", "kind": "plan"},
        "landmarks": [
            {"name": "a", "render": [0, 0], "reference": [0, 0]}, {"name": "b", "render": [9, 9], "reference": [9, 9]}]}]}"#;
    let file = work.join("pump.json");
    fs::write(&file, text).expect("written");
    file
}

fn archived(folder: &TempDir) -> (PathBuf, PathBuf) {
    let job = job(folder.path());
    let out = folder.path().join("pump.zip");
    archive(&job, &folder.path().join("work/none"), &out, DATE).expect("archived");
    (job, out)
}

fn names(path: &Path) -> Vec<String> {
    let file = fs::File::open(path).expect("there");
    let zip = ZipArchive::new(file).expect("a zip");
    zip.file_names()
        .map(|name| name.expect("text").into_owned())
        .collect()
}

/// The archive again with other entries: `change` gets each and may change or drop it; `more` are added.
fn rewritten(
    path: &Path,
    change: impl Fn(&str, &mut Vec<u8>) -> bool,
    more: &[(&str, &str)],
) -> PathBuf {
    let mut old = ZipArchive::new(fs::File::open(path).expect("there")).expect("a zip");
    let out = path.with_extension("changed.zip");
    let mut new = ZipWriter::new(fs::File::create(&out).expect("made"));
    for index in 0..old.len() {
        let mut entry = old.by_index(index).expect("an entry");
        let name = entry.name().expect("text").into_owned();
        let mut bytes = Vec::new();
        entry.read_to_end(&mut bytes).expect("read");
        if change(&name, &mut bytes) {
            new.start_file(name, SimpleFileOptions::default())
                .expect("begun");
            new.write_all(&bytes).expect("written");
        }
    }
    for (name, text) in more {
        new.start_file(*name, SimpleFileOptions::default())
            .expect("begun");
        new.write_all(text.as_bytes()).expect("written");
    }
    new.finish().expect("ended");
    out
}

#[test]
fn a_job_comes_back_with_all_that_it_names() {
    let folder = tempfile::tempdir().expect("a folder");
    let (job, out) = archived(&folder);
    assert_eq!(
        names(&out),
        [
            "tickstrip-archive.json",
            "outside/1/plan.png",
            "pictures/render.png",
            "pump.json",
            "tickstrip-schemas/job.schema.json",
            "tickstrip-schemas/report.schema.json"
        ]
    );
    assert_eq!(verify(&out).expect("sound").files, 5);
    let again = folder.path().join("again");
    let restored = restore(&out, &again).expect("restored");
    assert_eq!(restored.job, again.join("pump.json"));
    let read = crate::job::read(&restored.job).expect("sound");
    assert!(crate::job::missing_images(&read).is_empty());
    let before = crate::job::read(&job).expect("sound");
    assert_eq!(
        read.views[0].landmarks[1].render,
        before.views[0].landmarks[1].render
    );
    let left = fs::read_dir(folder.path()).expect("read").count();
    assert_eq!(left, 4, "work, scans, the archive, what was put out");
}

#[test]
fn the_same_files_on_the_same_day_give_the_same_bytes() {
    let folder = tempfile::tempdir().expect("a folder");
    let (job, out) = archived(&folder);
    let second = folder.path().join("second.zip");
    archive(&job, Path::new("none"), &second, DATE).expect("archived");
    assert_eq!(
        fs::read(&out).expect("there"),
        fs::read(&second).expect("there")
    );
}

#[test]
fn what_was_changed_is_missing_or_came_in_is_named() {
    let folder = tempfile::tempdir().expect("a folder");
    let (_, out) = archived(&folder);
    let bitten = rewritten(
        &out,
        |name, bytes| {
            if name.ends_with("render.png") {
                bytes[0] ^= 1;
            }
            !name.ends_with("plan.png")
        },
        &[],
    );
    let text = verify(&bitten).expect_err("damaged").to_string();
    assert!(
        text.contains("\"pictures/render.png\" was changed"),
        "{text}"
    );
    assert!(text.contains("\"outside/1/plan.png\" is missing"), "{text}");
    let grown = rewritten(&out, |_, _| true, &[("extra.sh", "x")]);
    let text = verify(&grown).expect_err("damaged").to_string();
    assert!(text.contains("\"extra.sh\" is not listed"), "{text}");
    for broken in [&bitten, &grown] {
        let again = folder.path().join("again");
        restore(broken, &again).expect_err("damaged");
        assert!(!again.exists());
    }
    let left = fs::read_dir(folder.path()).expect("read").flatten();
    let left: Vec<_> = left.map(|e| e.file_name()).collect();
    assert_eq!(left.len(), 4, "{left:?}");
}

#[test]
fn no_path_leaves_the_folder() {
    let folder = tempfile::tempdir().expect("a folder");
    let (_, out) = archived(&folder);
    for name in ["../evil.png", "/evil.png", "a/../../evil.png"] {
        let evil = rewritten(
            &out,
            |entry, bytes| {
                if entry == "tickstrip-archive.json" {
                    let text = String::from_utf8(std::mem::take(bytes)).expect("text");
                    *bytes = text.replace("pictures/render.png", name).into_bytes();
                }
                true
            },
            &[(name, "a render")],
        );
        let again = folder.path().join("again/deep");
        let text = restore(&evil, &again).expect_err("refused").to_string();
        assert!(text.contains("is no plain path"), "{text}");
        assert!(!folder.path().join("evil.png").exists() && !again.exists());
    }
}

#[test]
fn an_archive_that_claims_to_unpack_to_terabytes_is_refused() {
    let folder = tempfile::tempdir().expect("a folder");
    let (_, out) = archived(&folder);
    let swollen = rewritten(
        &out,
        |name, bytes| {
            if name == "tickstrip-archive.json" {
                let text = String::from_utf8(std::mem::take(bytes)).expect("text");
                *bytes = text
                    .replace("\"size\": 8", "\"size\": 8000000000000")
                    .into_bytes();
            }
            true
        },
        &[],
    );
    let again = folder.path().join("again");
    let text = restore(&swollen, &again).expect_err("refused").to_string();
    assert!(text.contains("it would grow to 8000"), "{text}");
    assert!(!again.exists());
}

#[test]
fn plain_paths_are_those_that_every_system_writes_below_a_folder() {
    for path in ["pump.json", "a/b c/ü.png", ".hidden"] {
        assert!(is_safe(path), "{path}");
    }
    for path in [
        "",
        "/a",
        "a//b",
        "../a",
        "a/..",
        "a/./b",
        "a\\b",
        "c:a",
        "nul",
        "a/COM1.png",
        "a.",
        "a ",
        "a\u{0}b",
        "a?b",
    ] {
        assert!(!is_safe(path), "{path}");
    }
}

#[test]
fn nothing_that_is_there_is_overwritten() {
    let folder = tempfile::tempdir().expect("a folder");
    let (job, out) = archived(&folder);
    let bytes = fs::read(&out).expect("there");
    let refused = archive(&job, Path::new("none"), &out, DATE).expect_err("there");
    assert!(matches!(refused, ArchiveError::Exists { .. }), "{refused}");
    assert_eq!(fs::read(&out).expect("there"), bytes);
    let work = job.parent().expect("a folder");
    let refused = restore(&out, work).expect_err("full");
    assert!(
        matches!(refused, ArchiveError::NotEmpty { .. }),
        "{refused}"
    );
    let empty = folder.path().join("empty");
    fs::create_dir(&empty).expect("made");
    restore(&out, &empty).expect("an empty folder is taken");
}

#[test]
fn files_that_are_no_archives_are_told_apart() {
    let folder = tempfile::tempdir().expect("a folder");
    let path = folder.path().join("a.zip");
    fs::write(&path, "no zip").expect("written");
    assert!(matches!(verify(&path), Err(ArchiveError::NoZip { .. })));
    let mut zip = ZipWriter::new(fs::File::create(&path).expect("made"));
    zip.start_file("a", SimpleFileOptions::default())
        .expect("begun");
    zip.finish().expect("ended");
    assert!(matches!(verify(&path), Err(ArchiveError::NoList { .. })));
    let (_, out) = archived(&folder);
    let bytes = fs::read(&out).expect("there");
    fs::write(&path, &bytes[..bytes.len() / 2]).expect("written");
    assert!(matches!(verify(&path), Err(ArchiveError::NoZip { .. })));
}

#[test]
fn the_newest_archive_without_the_marks_as_they_are_is_named() {
    let folder = tempfile::tempdir().expect("a folder");
    let job = job(folder.path());
    assert_eq!(archive_without(&job), None, "there is none");
    let first = free_archive(&job, DATE);
    archive(&job, Path::new("none"), &first, DATE).expect("archived");
    assert_eq!(archive_without(&job), None, "it holds them");
    let text = fs::read_to_string(&job).expect("there");
    fs::write(&job, text.replace("[9, 9]", "[9, 8]")).expect("written");
    assert_eq!(archive_without(&job), Some(first));
    let second = free_archive(&job, DATE);
    assert!(
        second.ends_with("pump-archive-2031-04-05-2.zip"),
        "{second:?}"
    );
    archive(&job, Path::new("none"), &second, DATE).expect("archived");
    assert_eq!(archive_without(&job), None);
}
