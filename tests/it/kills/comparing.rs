//! `tickstrip compare`, killed.
use super::moments::{self, Moments};
use crate::support::{
    boxes::{job, write_job},
    tree::{files, left_over},
};
use serde_json::{Value, json};
use std::{
    collections::BTreeMap,
    fs,
    path::{Path, PathBuf},
    process::{Child, Command, Stdio},
    time::{Duration, Instant},
};

const LIST: &str = "tickstrip-results.json";
/// What the user put among the results: so much that moving it takes longer than anything else of the exchange.
fn mine() -> Vec<String> {
    let many = (0..200).map(|number| format!("front/note {number}.txt"));
    let few = ["notes.txt", "photos/deep/a.txt"].map(str::to_owned);
    few.into_iter().chain(many).collect()
}

fn compare(folder: &Path) -> Child {
    Command::new(env!("CARGO_BIN_EXE_tickstrip"))
        .args(["compare", "job.json", "--quiet"])
        .current_dir(folder)
        .stdin(Stdio::null())
        .stdout(Stdio::null())
        .stderr(Stdio::inherit())
        .spawn()
        .expect("starts")
}

/// A run to its end.
fn compare_whole(folder: &Path) {
    let status = compare(folder).wait().expect("ended");
    assert_eq!(status.code(), Some(0));
}

/// The job with a title by which its results are known.
fn retitle(folder: &Path, number: u64) {
    let mut job = job();
    job["title"] = json!(format!("issue {number}"));
    fs::write(folder.join("job.json"), job.to_string()).expect("written");
}

/// The number of the job whose results these are: all that is listed is there as it was written, and nothing else but the
/// user's.
fn number(mut found: BTreeMap<String, Vec<u8>>) -> u64 {
    let list = found.remove(LIST).expect("a list");
    let list: Value = serde_json::from_slice(&list).expect("JSON");
    let report: Value = serde_json::from_slice(&found["report.json"]).expect("JSON");
    for file in list["files"].as_array().expect("a list") {
        let path = file["path"].as_str().expect("a path");
        let bytes = found.remove(path).unwrap_or_else(|| panic!("no {path}"));
        let checksum = blake3::hash(&bytes).to_hex();
        assert_eq!(file["blake3"], checksum.as_str(), "{path}");
    }
    let mine = mine();
    found.retain(|path, _| !mine.contains(path));
    assert!(found.is_empty(), "{:?}", found.keys());
    let title = report["job"]["title"].as_str().expect("a title");
    title["issue ".len()..].parse().expect("a number")
}

/// Waits until the new results are about to be put in place; or the run is over.
fn until_sealed(folder: &Path, child: &mut Child) {
    let begun = Instant::now();
    while begun.elapsed() < Duration::from_secs(60) {
        let is_sealed = |own: &PathBuf| own.join("new").join(LIST).exists();
        if left_over(folder).iter().any(is_sealed) || child.try_wait().expect("known").is_some() {
            return;
        }
    }
}

/// The folder with whole results, which may be the one into which they were moved for a moment.
fn whole_results(folder: &Path) -> PathBuf {
    let results = folder.join("job-results");
    let aside = || left_over(folder).into_iter().map(|own| own.join("old"));
    match results.exists() {
        true => results,
        false => aside().find(|old| old.exists()).expect("old results"),
    }
}

/// Every file of the user's is in this folder, or was moved aside with old results; how many are aside.
fn check_mine(folder: &Path, place: &Path, mine: &[String]) -> usize {
    let aside: Vec<PathBuf> = left_over(folder)
        .iter()
        .map(|own| own.join("old"))
        .collect();
    let is_at = |place: &Path, name: &String| {
        fs::read_to_string(place.join(name)).ok() == Some(name.clone())
    };
    let (there, away): (Vec<_>, Vec<_>) = mine.iter().partition(|name| is_at(place, name));
    for name in &away {
        assert!(aside.iter().any(|old| is_at(old, name)), "{name}");
    }
    mine.len() - there.len()
}

#[test]
fn results_are_old_or_new_as_a_whole_and_files_of_the_user_stay() {
    let folder = tempfile::tempdir().expect("a folder");
    let folder = folder.path();
    write_job(folder, &job());
    retitle(folder, 0);
    let begun = Instant::now();
    compare_whole(folder);
    let whole = begun.elapsed();
    let results = folder.join("job-results");
    fs::create_dir_all(results.join("photos/deep")).expect("made");
    let mine = mine();
    for name in &mine {
        fs::write(results.join(name), name).expect("written");
    }
    let mut moments = Moments::seeded(11);
    let [mut old, mut aside, mut apart] = [0; 3];
    for issue in 1..=moments::count() {
        retitle(folder, issue);
        let mut child = compare(folder);
        match issue % 2 {
            0 => std::thread::sleep(moments.below(whole.mul_f64(1.1))),
            // The exchange itself is over in a moment that chance alone would not meet.
            _ => {
                until_sealed(folder, &mut child);
                std::thread::sleep(moments.below(Duration::from_micros(1500)));
            }
        }
        child.kill().expect("killed");
        child.wait().expect("ended");
        let place = whole_results(folder);
        let found = number(files(&place));
        assert!(found == issue || found + 1 == issue, "{found} of {issue}");
        old += u64::from(found != issue);
        aside += u64::from(place != results);
        apart += u64::from(check_mine(folder, &place, &mine) > 0);
        compare_whole(folder);
        assert_eq!(number(files(&results)), issue);
        assert_eq!(left_over(folder), [""; 0].map(PathBuf::from));
        assert_eq!(check_mine(folder, &results, &mine), 0);
    }
    #[expect(
        clippy::print_stdout,
        reason = "tells whether the kills met what they are for"
    )]
    {
        println!(
            "killed before the new results were in place: {old}; between the renames: {aside}; while files of the user were moved: {apart}"
        );
    }
}
