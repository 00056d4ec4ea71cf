//! A finished view comes back as it was written, and nothing else is taken for one.
use super::*;
use crate::{
    drawing::PrintedPage,
    job,
    pipeline::results_folder::{FINISHED, LeftViews, Named, NewResults},
    report::{CollectedView, ViewFailure, ViewOutcome, json::Verdict},
};
use std::{borrow::Cow, collections::BTreeMap, fs, path::Path, sync::Arc};

const JOB: &str = r#"{"title":"Pump","scale":"1:24","views":[
    {"name":"side","render":{"image":"a.png"},"reference":{"image":"b.png"},"landmarks":[]}]}"#;

/// What was collected of a view that was compared, as far as it matters here.
fn collected(folder: &Path, files: &[(&'static str, &str)]) -> CollectedView {
    let job = job::parse(JOB.as_bytes(), &folder.join("job.json")).expect("sound");
    let files = files.iter().map(|(key, path)| (*key, (*path).to_owned()));
    let mut collected = CollectedView::new(
        &job,
        &ViewOutcome {
            view: Cow::Borrowed(&job.views[0]),
            result: Err(ViewFailure {
                code: "x",
                text: String::new(),
            }),
            files: files.collect(),
            reference_blake3: None,
        },
    );
    collected.entry.error = None;
    collected.entry.verdict = Some(Verdict::Within);
    collected
}

fn page(number: usize) -> PrintedPage {
    PrintedPage {
        title: "Pump".to_owned(),
        chapter: "side".to_owned(),
        name: format!("page {number}"),
        aspect: Some(1.5),
        size_mm: [297.0, 210.0],
        svg: format!("<svg>{number}</svg>"),
        pictures: vec![("render".to_owned(), Arc::new(vec![number as u8; 9]))],
    }
}

/// New results with one finished view.
fn written(folder: &Path) -> NewResults {
    fs::write(folder.join("job.json"), JOB).expect("written");
    let (job, out) = (folder.join("job.json"), folder.join("out"));
    let results = NewResults::begin(
        &job,
        (&out, Named::TheSame),
        &["side"],
        LeftViews::AreTakenUp,
    )
    .expect("begun");
    let heat = results.write("side/heat.png", b"heat").expect("written");
    let view = ToFinish {
        key: Some("k".to_owned()),
        date: "2031-04-05".to_owned(),
        collected: collected(folder, &[("heat", "side/heat.png")]),
        files: vec![heat],
        pages: vec![page(1), page(2)],
        small: vec![("side/heat.png".to_owned(), b"small".to_vec())],
    };
    write(&results, view).expect("written");
    results
}

#[test]
fn a_finished_view_comes_back_as_it_was_written() {
    let folder = tempfile::tempdir().expect("a folder");
    let results = written(folder.path());
    let view = FinishedView::open(results.path(), "side").expect("sound");
    assert_eq!(
        view.collected,
        collected(folder.path(), &[("heat", "side/heat.png")])
    );
    let body = &view.body;
    assert!(body.is_whole() && body.pages() == 2);
    assert_eq!(body.page(1).expect("there"), page(2));
    assert_eq!(body.small("side/heat.png").as_deref(), Some(&b"small"[..]));
    assert_eq!(body.small("side/grid.png"), None);
    assert!(body.fits("k", None) && body.fits("k", Some("2031-04-05")));
    assert!(!body.fits("l", None) && !body.fits("k", Some("2031-04-06")));
    assert!(FinishedView::open(results.path(), "front").is_none());
}

#[test]
fn what_was_changed_anywhere_is_no_finished_view() {
    let folder = tempfile::tempdir().expect("a folder");
    let results = written(folder.path());
    let path = results.path().join("side").join(FINISHED);
    let good = fs::read(&path).expect("there");
    let is_sound = |bytes: &[u8]| {
        fs::write(&path, bytes).expect("written");
        FinishedView::open(results.path(), "side").is_some_and(|view| view.body.is_whole())
    };
    assert!(is_sound(&good));
    for length in [0, 5, 40, 100, good.len() / 2, good.len() - 1] {
        assert!(!is_sound(&good[..length]), "{length}");
    }
    for at in (0..good.len()).step_by(7) {
        let mut bad = good.clone();
        bad[at] ^= 1;
        assert!(!is_sound(&bad), "byte {at}");
    }
    let mut longer = good.clone();
    longer.push(0);
    assert!(!is_sound(&longer));
    assert!(is_sound(&good));
    fs::write(results.path().join("side/heat.png"), "cold").expect("written");
    assert!(!is_sound(&good), "a picture was changed");
}

/// The file with another head, its checksum right: somebody made it so.
fn with_head(good: &[u8], change: impl Fn(&mut serde_json::Value)) -> Vec<u8> {
    let end = good.iter().position(|b| *b == b'\n').expect("a line") + 1;
    let line = String::from_utf8(good[..end].to_vec()).expect("text");
    let length: usize = line
        .trim_end()
        .rsplit(' ')
        .next()
        .expect("a number")
        .parse()
        .expect("one");
    let mut head = serde_json::from_slice(&good[end..end + length]).expect("JSON");
    change(&mut head);
    let text = head.to_string();
    let checksum = blake3::hash(text.as_bytes()).to_hex();
    let first = format!("tickstrip-view 1 {checksum} {}\n", text.len());
    [first.as_bytes(), text.as_bytes(), &good[end + length..]].concat()
}

#[test]
fn a_head_that_was_made_up_leads_nowhere_else() {
    let folder = tempfile::tempdir().expect("a folder");
    let results = written(folder.path());
    let path = results.path().join("side").join(FINISHED);
    let good = fs::read(&path).expect("there");
    let opens = |change: &dyn Fn(&mut serde_json::Value)| {
        fs::write(&path, with_head(&good, change)).expect("written");
        FinishedView::open(results.path(), "side").is_some()
    };
    assert!(opens(&|_| ()));
    let elsewhere = [
        "../job.json",
        "/etc/hostname",
        "side/../../job.json",
        "front/heat.png",
        "side/",
    ];
    for place in elsewhere {
        assert!(
            !opens(&|head| {
                head["files"][0]["path"] = place.into();
                head["collected"]["entry"]["files"]["heat"] = place.into();
                head["small"][0][0] = place.into();
            }),
            "{place}"
        );
    }
    assert!(!opens(
        &|head| head["files"][0]["path"] = "side/grid.png".into()
    ));
    assert!(!opens(
        &|head| head["collected"]["entry"]["name"] = "front".into()
    ));
    assert!(!opens(
        &|head| head["collected"]["entry"]["verdict"] = ().into()
    ));
    assert!(!opens(
        &|head| head["pages"][0]["svg"]["size"] = u64::MAX.into()
    ));
    assert!(!opens(&|head| head["pages"][0]["size_mm"][0] = 0.0.into()));
    assert!(!opens(&|head| head["key"] = 7.into()));
    // A link in its place is a file of the user's.
    #[cfg(unix)]
    {
        let aside = folder.path().join("aside");
        fs::write(&aside, &good).expect("written");
        fs::remove_file(&path).expect("removed");
        std::os::unix::fs::symlink(&aside, &path).expect("linked");
        assert!(FinishedView::open(results.path(), "side").is_none());
    }
}

#[test]
fn a_run_that_was_killed_leaves_its_finished_views_to_the_next_one_alone() {
    let folder = tempfile::tempdir().expect("a folder");
    let results = written(folder.path());
    let begin = |left| {
        let (job, out) = (folder.path().join("job.json"), folder.path().join("out"));
        NewResults::begin(&job, (&out, Named::TheSame), &["side"], left).expect("begun")
    };
    let found = |results: &NewResults| {
        let mut left = results.left();
        left.any(|path| FinishedView::open(&path, "side").is_some())
    };
    // While it runs nobody takes them.
    assert!(!found(&begin(LeftViews::AreTakenUp)));
    assert_eq!(results.leave(), 1);
    let next = begin(LeftViews::AreTakenUp);
    assert!(found(&next));
    assert!(!found(&begin(LeftViews::AreTakenUp)), "they are held");
    // Killed as well, without a view of its own: what is left stays left.
    assert_eq!(next.leave(), 1);
    assert!(found(&begin(LeftViews::AreTakenUp)));
    drop(begin(LeftViews::AreRemoved));
    assert!(!found(&begin(LeftViews::AreTakenUp)));
    let names = BTreeMap::from_iter(
        fs::read_dir(folder.path())
            .expect("readable")
            .map(|e| (e.expect("one").file_name(), ())),
    );
    assert_eq!(names.len(), 1, "{names:?}");
}
