//! Batches: only what changed is compared again, a killed run is taken up, shards are put together, several jobs at once; and in each
//! case the results are those of one whole run, to the byte.
use crate::support::{
    boxes::{self, picture},
    run::{Run, run},
    tree::{files, left_over},
};
use serde_json::{Value, json};
use std::{
    collections::BTreeMap,
    fs,
    path::{Path, PathBuf},
    process::{Child, Command, Stdio},
    thread,
    time::{Duration, Instant},
};
use tempfile::TempDir;

/// A job of so many views of the boxes; each has a mark of its own.
fn job_of(views: usize) -> Value {
    let mut job = boxes::job();
    let one = job["views"][0].take();
    let view = |k: usize| {
        let mut view = one.clone();
        view["name"] = json!(format!("view {k}"));
        view["landmarks"][4]["render"] = json!([100.0 + 0.01 * k as f64, 30.0]);
        view
    };
    job["views"] = (0..views).map(view).collect();
    job
}

fn folder_of(job: &Value) -> TempDir {
    let folder = tempfile::tempdir().expect("a folder");
    boxes::write_job(folder.path(), job);
    folder
}

/// `compare job.json` on a stated date with further arguments.
fn compare(folder: &Path, arguments: &[&str]) -> Run {
    let own = ["compare", "job.json", "--quiet", "--date", "2031-04-05"];
    run(folder, &[&own[..], arguments].concat())
}

/// All files of the results; a whole fresh run of the same job has the same.
fn checked(folder: &Path) -> BTreeMap<String, Vec<u8>> {
    let found = files(&folder.join("job-results"));
    compare(folder, &["--fresh", "--out", "fresh"]);
    let fresh = files(&folder.join("fresh"));
    let names = |files: &BTreeMap<String, Vec<u8>>| files.keys().cloned().collect::<Vec<_>>();
    assert_eq!(names(&found), names(&fresh));
    for (path, bytes) in &fresh {
        assert!(found[path] == *bytes, "{path} is not as in a fresh run");
    }
    fs::remove_dir_all(folder.join("fresh")).expect("removed");
    assert_eq!(left_over(folder), [""; 0].map(PathBuf::from));
    found
}

/// When each file of the results was written last.
fn times(folder: &Path) -> Vec<(String, std::time::SystemTime)> {
    let results = folder.join("job-results");
    let time = |path: &String| fs::metadata(results.join(path)).and_then(|data| data.modified());
    let paths = files(&results).into_keys();
    paths
        .map(|path| (path.clone(), time(&path).expect("known")))
        .collect()
}

#[test]
fn only_a_view_that_changed_is_compared_again_and_the_results_are_those_of_a_fresh_run() {
    let mut job = job_of(3);
    let folder = folder_of(&job);
    let at = folder.path();
    let first = compare(at, &[]);
    assert_eq!(first.status, 0, "{}", first.err);
    assert!(
        first.out.ends_with("results in job-results\n"),
        "{}",
        first.out
    );
    let before = times(at);
    let again = compare(at, &[]);
    assert_eq!(again.status, 0, "the status is that of the report");
    assert!(
        again.out.contains("as before: nothing has changed"),
        "{}",
        again.out
    );
    assert_eq!(times(at), before, "nothing was written");
    // The table is that of the first run.
    let table = |run: &Run| run.out.split("\n\nresults").next().map(str::to_owned);
    assert_eq!(table(&first), table(&again));
    job["views"][1]["landmarks"][5]["render"] = json!([155.5, 30.0]);
    fs::write(at.join("job.json"), job.to_string()).expect("written");
    let one = compare(at, &[]);
    let words = "results in job-results (2 of 3 views as before, not compared again)";
    assert!(one.out.contains(words), "{}", one.out);
    checked(at);
    // The image of all.
    fs::write(at.join("plan.png"), picture(1)).expect("written");
    let all = compare(at, &[]);
    assert!(all.out.ends_with("results in job-results\n"), "{}", all.out);
    // Another date on the sheets, other pictures, another title.
    for arguments in [["--date", "2031-04-06"], ["--pictures", "overlay,sheet"]] {
        let other = run(
            at,
            &[&["compare", "job.json", "--quiet"][..], &arguments].concat(),
        );
        assert!(
            other.out.ends_with("results in job-results\n"),
            "{}",
            other.out
        );
    }
    assert!(compare(at, &[]).out.ends_with("results in job-results\n"));
    let fresh = compare(at, &["--fresh"]);
    assert!(
        fresh.out.ends_with("results in job-results\n"),
        "{}",
        fresh.out
    );
    // Only the page as a whole is another one.
    let full = compare(at, &["--full"]);
    assert!(full.out.contains("(3 of 3 views as before"), "{}", full.out);
}

#[test]
fn without_a_stated_date_a_view_keeps_the_sheet_that_it_has() {
    let folder = folder_of(&job_of(2));
    let at = folder.path();
    compare(at, &[]);
    let before = files(&at.join("job-results"));
    let today = run(at, &["compare", "job.json", "--quiet"]);
    assert!(today.out.contains("nothing has changed"), "{}", today.out);
    assert!(files(&at.join("job-results")) == before);
}

#[test]
fn what_was_removed_from_the_results_is_compared_again() {
    let folder = folder_of(&job_of(2));
    let at = folder.path();
    compare(at, &[]);
    let results = at.join("job-results");
    for (gone, compared) in [
        ("view 0/heat.png", 1),
        ("view 1/view.tickstrip", 1),
        ("summary.csv", 0),
    ] {
        fs::remove_file(results.join(gone)).expect("removed");
        let run = compare(at, &[]);
        let words = format!("({} of 2 views as before", 2 - compared);
        assert!(run.out.contains(&words), "{gone}: {}", run.out);
        checked(at);
    }
    // One that was changed is the user's, as any file.
    fs::write(results.join("view 0/view.tickstrip"), "mine").expect("written");
    let refused = compare(at, &[]);
    assert_eq!(refused.status, 2);
    assert!(
        refused.err.contains("view.tickstrip: it was changed after"),
        "{}",
        refused.err
    );
}

#[test]
fn a_failed_view_is_told_and_alone_compared_again_when_it_is_mended() {
    let mut job = job_of(3);
    job["views"][1]["render"]["image"] = json!("later.png");
    let folder = folder_of(&job);
    let at = folder.path();
    let first = compare(at, &[]);
    assert_eq!(first.status, 3);
    assert!(first.out.contains("2 of 3 views compared"), "{}", first.out);
    // As long as it fails in the same way, nothing is written.
    let before = times(at);
    let again = compare(at, &[]);
    assert_eq!(again.status, 3);
    assert!(again.out.contains("nothing has changed"), "{}", again.out);
    assert_eq!(times(at), before);
    checked(at);
    fs::write(at.join("later.png"), picture(6)).expect("written");
    let mended = compare(at, &[]);
    assert_eq!(mended.status, 0);
    assert!(
        mended.out.contains("(2 of 3 views as before"),
        "{}",
        mended.out
    );
    checked(at);
}

/// A run that is killed, or asked to stop, when so many of its views are finished.
fn interrupted(folder: &Path, finished: usize, how: &str) -> (Option<i32>, String) {
    interrupted_with(folder, finished, how, &[])
}

/// The same with further arguments.
fn interrupted_with(
    folder: &Path,
    finished: usize,
    how: &str,
    arguments: &[&str],
) -> (Option<i32>, String) {
    let child = Command::new(env!("CARGO_BIN_EXE_tickstrip"))
        .args([
            "compare",
            "job.json",
            "--quiet",
            "--date",
            "2031-04-05",
            "--jobs",
            "2",
        ])
        .args(arguments)
        .current_dir(folder)
        .stdin(Stdio::null())
        .stdout(Stdio::null())
        .stderr(Stdio::piped())
        .spawn();
    let child: Child = child.expect("starts");
    let count = || -> usize {
        let new = left_over(folder).into_iter().map(|own| own.join("new"));
        let views = new.flat_map(|new| fs::read_dir(new).into_iter().flatten().flatten());
        views
            .filter(|view| view.path().join("view.tickstrip").exists())
            .count()
    };
    let begun = Instant::now();
    while count() < finished {
        assert!(
            begun.elapsed() < Duration::from_secs(120),
            "no view is finished"
        );
        thread::sleep(Duration::from_millis(2));
    }
    let kill = Command::new("kill")
        .args([how, &child.id().to_string()])
        .status();
    assert!(kill.expect("kill is there").success());
    let output = child.wait_with_output().expect("ended");
    (
        output.status.code(),
        String::from_utf8_lossy(&output.stderr).into_owned(),
    )
}

/// How many views a run took over.
fn taken_over(run: &Run) -> usize {
    let number = run
        .out
        .rsplit_once("results (")
        .and_then(|(_, rest)| rest.split(' ').next());
    number.map_or(0, |number| number.parse().expect("a number"))
}

#[cfg(unix)]
#[test]
fn a_run_that_was_killed_or_stopped_is_taken_up_by_the_next_one() {
    let folder = folder_of(&job_of(16));
    let at = folder.path();
    let (status, _) = interrupted(at, 2, "-KILL");
    assert_eq!(status, None, "killed before it was done");
    assert_eq!(left_over(at).len(), 1);
    // The next one is stopped too; the views of both are taken. Of the eight that are begun on the disk the three that two threads
    // have in hand may not be whole.
    let (status, words) = interrupted(at, 8, "-INT");
    assert_eq!(status, Some(130), "{words}");
    assert!(words.contains("the next run takes over the "), "{words}");
    assert!(!at.join("job-results").exists());
    let whole = compare(at, &[]);
    assert_eq!(whole.status, 0, "{}", whole.err);
    assert!(taken_over(&whole) >= 5, "{}", whole.out);
    checked(at);
    // What was left of views that have changed since is not taken, and goes.
    let mut other = job_of(16);
    other["title"] = json!("Three other boxes");
    fs::write(at.join("job.json"), other.to_string()).expect("written");
    interrupted(at, 1, "-KILL");
    fs::write(at.join("job.json"), job_of(16).to_string()).expect("written");
    let back = compare(at, &[]);
    assert!(back.out.contains("nothing has changed"), "{}", back.out);
    assert_eq!(left_over(at), [""; 0].map(PathBuf::from));
    // With --fresh nothing is taken.
    fs::write(at.join("job.json"), other.to_string()).expect("written");
    interrupted(at, 1, "-KILL");
    assert_eq!(taken_over(&compare(at, &["--fresh"])), 0);
    assert_eq!(left_over(at), [""; 0].map(PathBuf::from));
}

#[test]
fn results_kept_by_date_are_taken_over_as_copies() {
    let folder = folder_of(&job_of(2));
    let at = folder.path();
    let keep = ["--out", "kept", "--keep", "5"];
    compare(at, &keep);
    let second = compare(at, &keep);
    assert!(
        second.out.contains("(2 of 2 views as before"),
        "{}",
        second.out
    );
    let newest = fs::read_to_string(at.join("kept/newest.txt")).expect("there");
    let newest = at.join("kept").join(newest.trim_end());
    // To change one of them is not to change the others.
    fs::write(newest.join("view 0/heat.png"), "mine").expect("written");
    let others = fs::read_dir(at.join("kept")).expect("readable").flatten();
    let others = others
        .map(|entry| entry.path())
        .filter(|path| path.is_dir() && *path != newest);
    for other in others {
        assert!(fs::read(other.join("view 0/heat.png")).expect("there") != b"mine");
    }
}

#[cfg(unix)]
#[test]
fn a_killed_or_stopped_run_whose_results_are_kept_by_date_is_taken_up_too() {
    let folder = folder_of(&job_of(12));
    let at = folder.path();
    let keep = ["--out", "kept", "--keep", "5"];
    interrupted_with(at, 2, "-KILL", &keep);
    let (status, words) = interrupted_with(at, 6, "-INT", &keep);
    assert_eq!(status, Some(130), "{words}");
    // Another job that is kept there takes nothing of this one, and leaves it.
    fs::copy(at.join("job.json"), at.join("other.json")).expect("copied");
    let other = [&["compare", "other.json", "--quiet"][..], &keep].concat();
    let other = run(at, &other);
    assert_eq!((other.status, taken_over(&other)), (0, 0), "{}", other.out);
    assert_ne!(left_over(at), [""; 0].map(PathBuf::from));
    let whole = compare(at, &keep);
    assert_eq!(whole.status, 0, "{}", whole.err);
    let taken = whole.out.rsplit_once(" of 12 views as before");
    let taken = taken.and_then(|(words, _)| words.rsplit_once('('));
    let taken: usize = taken.map_or(0, |(_, count)| count.parse().expect("a number"));
    assert!(taken >= 3, "{}", whole.out);
    assert_eq!(left_over(at), [""; 0].map(PathBuf::from));
}

/// Compares a shard of the job.
fn shard(folder: &Path, shard: &str) -> Run {
    compare(folder, &["--shard", shard])
}

#[test]
fn shards_are_put_together_into_the_results_of_one_run() {
    let mut job = job_of(5);
    job["views"][3]["render"]["image"] = json!("missing.png");
    let folder = folder_of(&job);
    let at = folder.path();
    let none = run(at, &["merge", "job.json"]);
    assert_eq!(none.status, 2);
    assert!(
        none.err.contains("there are no shards") && none.err.contains("--shard 1/2"),
        "{}",
        none.err
    );
    let first = shard(at, "1/3");
    assert_eq!(first.status, 3, "one of its views has no image");
    assert!(
        first
            .out
            .contains("job.json: 2 views of this shard in job-results-shards"),
        "{}",
        first.out
    );
    assert_eq!(shard(at, "3/3").status, 0, "verdicts are told by merge");
    let missing = run(at, &["merge", "job.json"]);
    assert_eq!(missing.status, 2);
    assert!(
        missing.err.contains("of 3 shards 2 is missing"),
        "{}",
        missing.err
    );
    assert!(missing.err.contains("--shard 2/3"), "{}", missing.err);
    let second = shard(at, "2/3");
    assert_eq!(second.status, 0);
    let again = shard(at, "1/3");
    assert!(again.out.contains("(1 as before"), "{}", again.out);
    let merged = run(at, &["merge", "job.json"]);
    assert_eq!(merged.status, 3, "{}", merged.err);
    assert!(merged.err.contains("view 3: "), "{}", merged.err);
    assert!(!at.join("job-results-shards").exists());
    checked(at);
    // Later shards take over what has not changed.
    let later = shard(at, "2/2");
    assert!(
        later.out.contains("2 views of this shard (1 as before"),
        "{}",
        later.out
    );
}

#[test]
fn shards_of_something_else_are_refused_by_name() {
    let job = job_of(2);
    let folder = folder_of(&job);
    let at = folder.path();
    let both = || {
        assert_eq!(shard(at, "1/2").status, 0);
        assert_eq!(shard(at, "2/2").status, 0);
    };
    let refused = |words: &str| {
        let told = run(at, &["merge", "job.json"]);
        assert_eq!(told.status, 2);
        assert!(told.err.contains(words), "{}", told.err);
        assert!(!at.join("job-results").exists());
    };
    both();
    let list = at.join("job-results-shards/2-of-2/shard.json");
    let good = fs::read_to_string(&list).expect("there");
    let changed = |key: &str, value: Value| {
        let mut other: Value = serde_json::from_str(&good).expect("JSON");
        other[key] = value;
        fs::write(&list, other.to_string()).expect("written");
    };
    changed("program", json!("0".repeat(64)));
    refused("2-of-2: this shard was compared by another build of the program");
    changed("job_blake3", json!("0".repeat(64)));
    refused("2-of-2: the job file was changed");
    changed("format_version", json!(7));
    refused("shard.json: this is no list of this shard");
    changed("views", json!([]));
    fs::remove_file(at.join("job-results-shards/2-of-2/view 1/view.tickstrip")).expect("removed");
    refused("no shard has the view \"view 1\"");
    fs::remove_dir_all(at.join("job-results-shards")).expect("removed");
    both();
    // An image has changed since.
    fs::write(at.join("plan.png"), picture(2)).expect("written");
    refused("the view \"view 0\" is not as it was when shard 1/2 was compared");
    fs::write(at.join("plan.png"), picture(0)).expect("written");
    assert_eq!(compare(at, &["--shard", "1/2", "--paper", "a3"]).status, 0);
    refused("2-of-2: this shard was compared with other options");
    assert_eq!(shard(at, "1/4").status, 0);
    refused("there are shards of 2 and of 4");
}

#[test]
fn several_jobs_are_compared_by_pattern_with_an_index_and_a_bad_one_does_not_stop_the_rest() {
    let folder = tempfile::tempdir().expect("a folder");
    let at = folder.path();
    boxes::write_job(&at.join("jobs"), &job_of(1));
    let jobs = at.join("jobs");
    fs::rename(jobs.join("job.json"), jobs.join("a job.json")).expect("renamed");
    fs::write(jobs.join("b.json"), "{").expect("written");
    let mut third = job_of(2);
    third["title"] = json!("Boxes & \"more\" <i>");
    third["views"][1]["name"] = json!("de côté");
    third["views"][0]["render"]["image"] = json!("missing.png");
    fs::write(jobs.join("c.json"), third.to_string()).expect("written");
    let arguments = [
        "compare",
        "jobs/*.json",
        "--quiet",
        "--index",
        "index",
        "--date",
        "2031-04-05",
    ];
    let told = run(at, &arguments);
    assert_eq!(
        told.status, 2,
        "a job that cannot be used weighs the most: {}",
        told.err
    );
    let lines: Vec<&str> = told.out.lines().collect();
    assert!(
        lines[0].starts_with("jobs/a job.json: undecided, 1 view; results in jobs/a job-results"),
        "{}",
        told.out
    );
    assert!(
        lines[1].starts_with("jobs/c.json: undecided, 2 views, 1 not compared; results in"),
        "{}",
        told.out
    );
    assert_eq!(lines[2..], ["index in index"]);
    assert!(told.err.contains("jobs/b.json:"), "{}", told.err);
    let page = fs::read_to_string(at.join("index/index.html")).expect("there");
    assert!(
        page.contains("3 jobs, 3 views") && page.contains("Boxes &amp; "),
        "{page}"
    );
    // Every link leads to a file.
    let links: Vec<&str> = page
        .split("href=\"")
        .skip(1)
        .filter_map(|rest| rest.split('"').next())
        .collect();
    assert_eq!(links.len(), 2 + 3);
    for link in &links {
        let path = link
            .replace("%20", " ")
            .replace("%C3%B4", "ô")
            .replace("%C3%A9", "é");
        let file = path.split("#view-").next().expect("a path");
        assert!(at.join("index").join(file).is_file(), "{link}");
    }
    let table = fs::read_to_string(at.join("index/summary.csv")).expect("there");
    let rows: Vec<&str> = table.split("\r\n").collect();
    assert!(rows[0].starts_with("job,view,verdict,most off,"), "{table}");
    assert!(
        rows[1].starts_with("jobs/a job.json,view 0,undecided,"),
        "{table}"
    );
    assert!(
        rows[2].starts_with("jobs/b.json,,") && rows.len() == 6,
        "{table}"
    );
    assert!(
        rows[3].contains("missing.png") && rows[4].starts_with("jobs/c.json,de côté,undecided,"),
        "{table}"
    );
    // Again: all as before, the index too.
    let before = files(&at.join("index"));
    let again = run(at, &arguments);
    assert!(again.out.contains("nothing has changed"), "{}", again.out);
    assert!(files(&at.join("index")) == before);
    // The index takes no folder of the user's.
    fs::create_dir(at.join("mine")).expect("made");
    fs::write(at.join("mine/index.html"), "mine").expect("written");
    let refused = run(
        at,
        &["compare", "jobs/c.json", "--quiet", "--index", "mine"],
    );
    assert_eq!(refused.status, 2);
    assert!(refused.err.contains("with --index"), "{}", refused.err);
    assert_eq!(
        fs::read_to_string(at.join("mine/index.html")).expect("there"),
        "mine"
    );
    for option in [["--out", "x"], ["--against", "jobs/a job-results"]] {
        let told = run(
            at,
            &[&["compare", "jobs/a job.json", "jobs/c.json"][..], &option].concat(),
        );
        assert_eq!(told.status, 2);
        assert!(
            told.err.contains(&format!("{} is for one job", option[0])),
            "{}",
            told.err
        );
    }
}

#[test]
fn the_shards_of_several_jobs_share_their_views_evenly() {
    let folder = tempfile::tempdir().expect("a folder");
    let at = folder.path();
    boxes::write_job(at, &job_of(1));
    for name in ["p.json", "q.json", "r.json"] {
        fs::copy(at.join("job.json"), at.join(name)).expect("copied");
    }
    fs::remove_file(at.join("job.json")).expect("removed");
    for (shard, views) in [
        ("1/2", ["1 view ", "0 views", "1 view "]),
        ("2/2", ["0 views", "1 view ", "0 views"]),
    ] {
        let told = run(at, &["compare", "?.json", "--quiet", "--shard", shard]);
        assert_eq!(told.status, 0, "{}", told.err);
        for ((line, views), job) in told.out.lines().zip(views).zip(["p", "q", "r"]) {
            assert!(line.starts_with(&format!("{job}.json: {views}")), "{line}");
        }
    }
    let merged = run(
        at,
        &["merge", "p.json", "q.json", "r.json", "--index", "all"],
    );
    assert_eq!(merged.status, 0, "{}", merged.err);
    assert!(at.join("q-results/report.html").is_file() && at.join("all/index.html").is_file());
}

#[test]
fn a_job_of_many_views_has_an_index_and_a_page_for_each_view() {
    let mut job = job_of(41);
    job["views"][7]["render"]["image"] = json!("missing.png");
    job["views"][8]["name"] = json!("de côté 9");
    let folder = folder_of(&job);
    let at = folder.path();
    assert_eq!(compare(at, &["--pictures", "render,reference"]).status, 3);
    let results = at.join("job-results");
    let page = fs::read_to_string(results.join("report.html")).expect("there");
    assert!(page.contains("href=\"de%20c%C3%B4t%C3%A9%209/view.html\""));
    assert!(page.contains("missing.png") && !page.contains("data:image"));
    let own = fs::read_to_string(results.join("de côté 9/view.html")).expect("there");
    assert!(own.contains("data:image/jpeg") && own.contains("de côté 9"));
    assert!(!results.join("view 7").exists());
    let rows = fs::read_to_string(results.join("summary.csv")).expect("there");
    assert_eq!(rows.matches("\r\n").count(), 1 + 41);
}

#[test]
fn gnu_parallel_spreads_the_shards() {
    if Command::new("parallel").arg("--version").output().is_err() {
        let why = "SKIPPED: GNU parallel is not installed (apt-get install parallel)";
        assert!(std::env::var_os("CI").is_none(), "{why}");
        let _ = std::io::Write::write_all(&mut std::io::stderr(), format!("{why}\n").as_bytes());
        return;
    }
    let folder = folder_of(&job_of(4));
    let at = folder.path();
    let program = env!("CARGO_BIN_EXE_tickstrip");
    let command = format!("'{program}' compare job.json --quiet --date 2031-04-05 --shard {{}}/3");
    let parallel = Command::new("parallel")
        .args(["--jobs", "2", "--will-cite", &command, ":::", "1", "2", "3"])
        .current_dir(at)
        .output()
        .expect("runs");
    assert!(
        parallel.status.success(),
        "{}",
        String::from_utf8_lossy(&parallel.stderr)
    );
    assert_eq!(run(at, &["merge", "job.json"]).status, 0);
    checked(at);
}
