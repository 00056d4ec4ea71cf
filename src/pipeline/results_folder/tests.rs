//! Results are replaced as a whole, also by a program that is killed anywhere, and nothing of the user's is lost.
use super::*;
use std::collections::BTreeMap;
use tempfile::TempDir;

/// A folder with a job and, in it, the folder of its results.
struct Bench {
    folder: TempDir,
}

impl Bench {
    fn new() -> Self {
        let folder = tempfile::tempdir().expect("a folder");
        fs::write(folder.path().join("pump.json"), "{}").expect("written");
        fs::write(folder.path().join("other.json"), "{}").expect("written");
        Self { folder }
    }

    fn path(&self, name: &str) -> PathBuf {
        self.folder.path().join(name)
    }

    fn begin_as(&self, job: &str, out: &str) -> Result<NewResults, ResultsError> {
        NewResults::begin(
            &self.path(job),
            (&self.path(out), Named::TheSame),
            &["side", "front"],
            LeftViews::AreRemoved,
        )
    }

    fn begin(&self) -> Result<NewResults, ResultsError> {
        self.begin_as("pump.json", "results")
    }

    /// Results of these views, put in place.
    fn run(&self, views: &[&str], text: &str) -> Result<Vec<String>, ResultsError> {
        let results = self.begin()?;
        fill(&results, views, text);
        results.put_in_place()
    }

    /// All files below the folder of the results, and what is in them.
    fn files(&self) -> BTreeMap<String, String> {
        let mut found = BTreeMap::new();
        gather(&self.path("results"), "", &mut found);
        found.remove(MANIFEST);
        found
    }

    /// Names of what lies beside the results that is neither the job nor another job.
    fn left(&self) -> Vec<String> {
        fs::read_dir(self.folder.path())
            .expect("readable")
            .map(|entry| entry.expect("readable").file_name().into_string())
            .map(|name| name.expect("UTF-8"))
            .filter(|name| name.starts_with(".tickstrip"))
            .collect()
    }
}

fn fill(results: &NewResults, views: &[&str], text: &str) {
    for view in views {
        for name in ["heat.png", "grid.png"] {
            let path = format!("{view}/{name}");
            results.write(&path, text.as_bytes()).expect("written");
        }
    }
    results.write(REPORT, text.as_bytes()).expect("written");
}

fn gather(folder: &Path, prefix: &str, found: &mut BTreeMap<String, String>) {
    for entry in fs::read_dir(folder).into_iter().flatten().flatten() {
        let name = format!("{prefix}{}", entry.file_name().to_string_lossy());
        let kind = entry.file_type().expect("known");
        if kind.is_dir() {
            gather(&entry.path(), &format!("{name}/"), found);
        } else if kind.is_symlink() {
            found.insert(name, "a link".to_owned());
        } else {
            let text = fs::read_to_string(entry.path()).expect("readable");
            found.insert(name, text);
        }
    }
}

fn map(files: &[(&str, &str)]) -> BTreeMap<String, String> {
    let owned = |(name, text): &(&str, &str)| ((*name).to_owned(), (*text).to_owned());
    files.iter().map(owned).collect()
}

/// As a killed program leaves it: the lock is gone, nothing is tidied.
fn kill(mut results: NewResults) {
    drop(results.folder.take());
}

#[test]
fn what_was_written_is_replaced_and_all_else_stays() {
    let bench = Bench::new();
    bench.run(&["side", "front"], "old").expect("written");
    fs::write(bench.path("results/notes.txt"), "mine").expect("written");
    fs::write(bench.path("results/side/notes.txt"), "mine").expect("written");
    fs::write(bench.path("results/front/notes.txt"), "mine").expect("written");
    fs::create_dir_all(bench.path("results/photos/deep")).expect("made");
    fs::write(bench.path("results/photos/deep/a.jpg"), "mine").expect("written");
    fs::create_dir(bench.path("results/empty")).expect("made");
    let told = bench.run(&["side"], "new").expect("replaced");
    assert_eq!(told, [""; 0]);
    let expected = map(&[
        ("front/notes.txt", "mine"),
        ("notes.txt", "mine"),
        ("photos/deep/a.jpg", "mine"),
        ("report.json", "new"),
        ("side/grid.png", "new"),
        ("side/heat.png", "new"),
        ("side/notes.txt", "mine"),
    ]);
    assert_eq!(bench.files(), expected);
    assert!(bench.path("results/empty").is_dir());
    assert_eq!(bench.left(), [""; 0]);
}

#[test]
fn a_folder_that_is_not_proved_to_be_ours_is_refused() {
    let bench = Bench::new();
    let refused = || bench.begin().expect_err("refused");
    fs::create_dir(bench.path("results")).expect("made");
    // What an earlier version wrote, or `compare --json > report.json`.
    fs::write(bench.path("results/report.json"), "{}").expect("written");
    let error = refused();
    assert_eq!(error.code(), "foreign-folder");
    assert!(error.to_string().contains("an earlier version"), "{error}");
    fs::write(bench.path("results").join(MANIFEST), "{}").expect("written");
    let error = refused();
    assert_eq!(error.code(), "unreadable-list");
    assert!(error.to_string().contains(MANIFEST), "{error}");
    assert_eq!(bench.files(), map(&[("report.json", "{}")]));
    fs::remove_dir_all(bench.path("results")).expect("removed");
    fs::write(bench.path("results"), "a file").expect("written");
    assert_eq!(refused().code(), "no-folder");
    fs::remove_file(bench.path("results")).expect("removed");
    // An empty one may be used.
    fs::create_dir(bench.path("results")).expect("made");
    bench.run(&["side"], "new").expect("written");
    assert_eq!(bench.files().len(), 3);
    let error = bench.begin_as("other.json", "results").expect_err("theirs");
    assert_eq!(error.code(), "results-of-another-job");
    assert!(error.to_string().contains("../pump.json"), "{error}");
    assert_eq!(bench.left(), [""; 0]);
}

#[test]
fn a_file_of_the_users_is_not_overwritten() {
    let bench = Bench::new();
    bench.run(&["side"], "old").expect("written");
    fs::write(bench.path("results/side/heat.png"), "painted").expect("written");
    let error = bench.begin().expect_err("refused");
    assert_eq!(error.code(), "file-in-the-way");
    let text = error.to_string();
    assert!(text.contains("heat.png: it was changed after"), "{text}");
    // A view that is not written again may keep it.
    let others = NewResults::begin(
        &bench.path("pump.json"),
        (&bench.path("results"), Named::TheSame),
        &["front"],
        LeftViews::AreRemoved,
    );
    let others = others.expect("begun");
    fill(&others, &["front"], "new");
    others.put_in_place().expect("replaced");
    assert_eq!(
        bench.files(),
        map(&[
            ("front/grid.png", "new"),
            ("front/heat.png", "new"),
            ("report.json", "new"),
            ("side/heat.png", "painted"),
        ])
    );
    // And now it lies where the next results have to be.
    let before = bench.files();
    let error = bench.run(&["side"], "newer").expect_err("refused");
    assert!(error.to_string().contains("it is not from tickstrip"));
    assert_eq!((bench.files(), bench.left()), (before, Vec::new()));
}

#[test]
fn a_file_changed_while_the_job_is_compared_is_kept_under_a_name_that_is_told() {
    let bench = Bench::new();
    bench.run(&["side"], "old").expect("written");
    let results = bench.begin().expect("begun");
    fs::write(bench.path("results/side/heat.png"), "painted").expect("written");
    fill(&results, &["side"], "new");
    let told = results.put_in_place().expect("replaced");
    assert_eq!(told.len(), 1, "{told:?}");
    assert!(told[0].ends_with("heat.png.kept-1"), "{told:?}");
    let files = bench.files();
    assert_eq!(files["side/heat.png.kept-1"], "painted");
    assert_eq!(files["side/heat.png"], "new");
}

#[cfg(unix)]
#[test]
fn links_are_not_followed_out_of_the_folder() {
    use std::os::unix::fs::symlink;
    let bench = Bench::new();
    bench.run(&["side"], "old").expect("written");
    // The view's folder, moved to where the user wants it, and a link to it in its place.
    fs::rename(bench.path("results/side"), bench.path("elsewhere")).expect("moved");
    symlink(bench.path("elsewhere"), bench.path("results/side")).expect("linked");
    symlink(bench.path("pump.json"), bench.path("results/job")).expect("linked");
    let error = bench.run(&["side"], "new").expect_err("refused");
    assert_eq!(error.code(), "file-in-the-way");
    bench.run(&["front"], "new").expect("written");
    assert_eq!(
        bench.files(),
        map(&[
            ("front/grid.png", "new"),
            ("front/heat.png", "new"),
            ("job", "a link"),
            ("report.json", "new"),
            ("side", "a link"),
        ])
    );
    for name in ["heat.png", "grid.png"] {
        let text = fs::read_to_string(bench.path("elsewhere").join(name));
        assert_eq!(text.expect("there"), "old");
    }
}

#[cfg(unix)]
#[test]
fn a_link_to_the_folder_stays_one() {
    use std::os::unix::fs::symlink;
    let bench = Bench::new();
    fs::create_dir(bench.path("disk")).expect("made");
    // At first it leads to nothing.
    symlink("disk/pump", bench.path("results")).expect("linked");
    for text in ["old", "new"] {
        bench.run(&["side"], text).expect("written");
        let data = fs::symlink_metadata(bench.path("results")).expect("there");
        assert!(data.is_symlink());
        let report = fs::read_to_string(bench.path("disk/pump/report.json"));
        assert_eq!(report.expect("there"), text);
    }
}

/// What a run does one after the other; killed after each of them.
type Step = fn(&NewResults);
const STEPS: [Step; 5] = [
    |results| drop(results.write("side/heat.png", b"new").expect("written")),
    |results| fill(results, &["front"], "new"),
    |results| results.seal().expect("sealed"),
    |results| results.move_aside().expect("moved"),
    |results| results.move_in().expect("moved"),
];

#[test]
fn killed_at_any_step_the_next_run_finds_old_or_new_results_whole() {
    let old = [
        ("report.json", "old"),
        ("side/grid.png", "old"),
        ("side/heat.png", "old"),
    ];
    let new = [
        ("front/grid.png", "new"),
        ("front/heat.png", "new"),
        ("report.json", "new"),
        ("side/heat.png", "new"),
    ];
    let mine = [("notes.txt", "mine"), ("side/notes.txt", "mine")];
    for count in 0..=STEPS.len() {
        let bench = Bench::new();
        bench.run(&["side"], "old").expect("written");
        fs::write(bench.path("results/notes.txt"), "mine").expect("written");
        fs::write(bench.path("results/side/notes.txt"), "mine").expect("written");
        let results = bench.begin().expect("begun");
        STEPS[..count].iter().for_each(|step| step(&results));
        kill(results);
        assert_eq!(bench.left().len(), 1, "killed after {count} steps");
        // Another job leaves it alone.
        drop(bench.begin_as("other.json", "others").expect("begun"));
        assert_eq!(bench.left().len(), 1, "killed after {count} steps");
        drop(bench.begin().expect("begun"));
        let whole = if count == STEPS.len() { &new[..] } else { &old };
        let expected = map(&[whole, &mine].concat());
        assert_eq!(bench.files(), expected, "killed after {count} steps");
        assert_eq!(bench.left(), [""; 0], "killed after {count} steps");
    }
}

#[test]
fn killed_while_old_results_are_taken_apart_the_next_run_goes_on() {
    for removed in [0, 1, 2] {
        let bench = Bench::new();
        bench.run(&["side"], "old").expect("written");
        fs::write(bench.path("results/notes.txt"), "mine").expect("written");
        let results = bench.begin().expect("begun");
        fill(&results, &["side"], "new");
        results.seal().expect("sealed");
        results.move_aside().expect("moved");
        results.move_in().expect("moved");
        let old = results.own().expect("there").path().join(OLD);
        for file in &["side/heat.png", "report.json"][..removed] {
            fs::remove_file(old.join(file)).expect("removed");
        }
        if removed == 2 {
            fs::rename(old.join("notes.txt"), bench.path("results/notes.txt")).expect("moved");
        }
        kill(results);
        drop(bench.begin().expect("begun"));
        assert_eq!(
            bench.files(),
            map(&[
                ("notes.txt", "mine"),
                ("report.json", "new"),
                ("side/grid.png", "new"),
                ("side/heat.png", "new"),
            ])
        );
        assert_eq!(bench.left(), [""; 0]);
    }
}

#[test]
fn the_first_run_of_a_job_killed_leaves_nothing_to_the_next() {
    let bench = Bench::new();
    let results = bench.begin().expect("begun");
    fill(&results, &["side"], "new");
    kill(results);
    bench.run(&["side"], "newer").expect("written");
    assert_eq!((bench.files().len(), bench.left()), (3, Vec::new()));
}

#[test]
fn a_run_that_is_in_the_middle_of_it_is_not_disturbed() {
    let bench = Bench::new();
    bench.run(&["side"], "old").expect("written");
    let slow = bench.begin().expect("begun");
    fill(&slow, &["side"], "slow");
    bench.run(&["side"], "quick").expect("written");
    assert_eq!(bench.left().len(), 1);
    slow.put_in_place().expect("replaced");
    assert_eq!(bench.files()["side/heat.png"], "slow");
    assert_eq!(bench.left(), [""; 0]);
}

#[test]
fn a_run_between_its_renames_does_not_lose_its_old_results_to_another() {
    let bench = Bench::new();
    bench.run(&["side"], "old").expect("written");
    fs::write(bench.path("results/notes.txt"), "mine").expect("written");
    let slow = bench.begin().expect("begun");
    fill(&slow, &["side"], "slow");
    slow.seal().expect("sealed");
    slow.move_aside().expect("moved");
    bench.run(&["side"], "quick").expect("written");
    assert!(slow.move_in().is_err(), "its place is taken");
    kill(slow);
    drop(bench.begin().expect("begun"));
    let files = bench.files();
    assert_eq!((files["side/heat.png"].as_str(), files.len()), ("quick", 4));
    assert_eq!(bench.left(), [""; 0]);
}

#[test]
fn results_are_removed_and_nothing_else() {
    let bench = Bench::new();
    let out = bench.path("results");
    bench.run(&["side", "front"], "old").expect("written");
    fs::write(out.join("side/notes.txt"), "mine").expect("written");
    fs::write(out.join("front/heat.png"), "painted").expect("written");
    remove_results(&out).expect("removed");
    assert_eq!(
        bench.files(),
        map(&[("front/heat.png", "painted"), ("side/notes.txt", "mine")])
    );
    fs::remove_file(out.join("side/notes.txt")).expect("removed");
    fs::remove_file(out.join("front/heat.png")).expect("removed");
    remove_results(&out).expect("removed");
    assert!(!out.exists());
    remove_results(&out).expect("nothing is there");
}

#[test]
fn the_earlier_report_is_ours_or_none() {
    let bench = Bench::new();
    let (job, out) = (bench.path("pump.json"), bench.path("results"));
    assert_eq!(earlier_report(&job, &out), None);
    bench.run(&["side"], "old").expect("written");
    // Killed between the renames: it is brought back to be read.
    let results = bench.begin().expect("begun");
    results.move_aside().expect("moved");
    kill(results);
    assert_eq!(earlier_report(&job, &out), Some(b"old".to_vec()));
    assert_eq!(earlier_report(&bench.path("other.json"), &out), None);
    fs::write(out.join(REPORT), "not ours").expect("written");
    assert_eq!(earlier_report(&job, &out), None);
}
