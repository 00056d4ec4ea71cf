//! The program as it is run from a shell: what it prints where, and how it exits.
use assert_cmd::Command;
use std::{
    fs,
    path::Path,
    process::{Command as Process, Output, Stdio},
};
use tempfile::TempDir;

const PROGRAM: &str = env!("CARGO_BIN_EXE_tickstrip");
const COMMANDS: [&str; 14] = [
    "compare",
    "check",
    "new",
    "mark",
    "watch",
    "serve",
    "schema",
    "scale",
    "demo",
    "rectify",
    "camera",
    "carry",
    "completions",
    "draw",
];

/// A folder with two black images and the example job, its images among them.
fn folder() -> TempDir {
    let folder = tempfile::tempdir().expect("a folder");
    // Large enough for the marks of the example.
    for (name, width, height) in [
        ("side-render.png", 900, 1500),
        ("side-screen.jpg", 3750, 2250),
    ] {
        image::GrayImage::new(width, height)
            .save(folder.path().join(name))
            .expect("written");
    }
    // No view of the example is measured by its mesh, but the parts of its symmetry are looked for in it.
    let mesh = include_bytes!("../../fixtures/camera-demo/pump.3mf");
    let beam = include_bytes!("../../fixtures/meshes/binary.stl");
    for (name, file) in [("pump.3mf", mesh.as_slice()), ("beam.stl", beam)] {
        fs::write(folder.path().join(name), file).expect("written");
    }
    let job = include_str!("../../fixtures/jobs/example.json");
    // The render that the example was marked on is this one.
    let render = fs::read(folder.path().join("side-render.png")).expect("readable");
    let job = job.replace(
        &"0123456789abcdef".repeat(4),
        &blake3::hash(&render).to_hex(),
    );
    fs::write(folder.path().join("pump.json"), job).expect("written");
    folder
}

fn run(folder: &Path, arguments: &[&str]) -> Output {
    Command::new(PROGRAM)
        .args(arguments)
        .current_dir(folder)
        .env_remove("SOURCE_DATE_EPOCH")
        .output()
        .expect("the program starts")
}

fn stdout(output: &Output) -> String {
    String::from_utf8(output.stdout.clone()).expect("UTF-8")
}

fn stderr(output: &Output) -> String {
    String::from_utf8(output.stderr.clone()).expect("UTF-8")
}

#[test]
fn help_goes_to_standard_output_and_shows_an_example() {
    let folder = folder();
    for command in COMMANDS {
        let output = run(folder.path(), &[command, "--help"]);
        assert_eq!(output.status.code(), Some(0));
        assert!(stdout(&output).contains(&format!("  tickstrip {command}")));
        assert!(output.stderr.is_empty());
    }
    let all = stdout(&run(folder.path(), &["--help"]));
    assert!(COMMANDS.iter().all(|command| all.contains(command)));
    assert!(all.contains("3  some views could not be compared"));
}

#[test]
fn shells_are_given_every_command() {
    let folder = folder();
    for shell in ["bash", "zsh", "fish", "powershell", "elvish"] {
        let output = run(folder.path(), &["completions", shell]);
        assert_eq!(output.status.code(), Some(0), "{shell}");
        let text = stdout(&output);
        assert!(COMMANDS.iter().all(|c| text.contains(c)), "{shell}");
        assert!(
            text.contains("--quiet") || text.contains("quiet"),
            "{shell}"
        );
    }
    // What bash is given, bash reads.
    let script = stdout(&run(folder.path(), &["completions", "bash"]));
    let read = std::process::Command::new("bash")
        .args(["-n", "-c", &script])
        .status();
    assert!(read.is_ok_and(|status| status.success()));
}

#[test]
fn a_command_line_that_cannot_be_used_exits_with_2() {
    let folder = folder();
    for (arguments, words) in [
        (&[][..], "Usage: tickstrip"),
        (&["weigh"], "unrecognized subcommand 'weigh'"),
        (&["measure"], "<JOB>"),
        (&["compare"], "<JOB>"),
        (
            &["compare", "pump.json", "--date", "2027-02-29"],
            "it must be a day of the calendar, such as 2031-04-05",
        ),
        (
            &["compare", "pump.json", "--max-megapixels", "0"],
            "it must be a number above 0",
        ),
        (
            &["compare", "pump.json", "--jobs", "0"],
            "0 is not in 1..=1024",
        ),
        (
            &["compare", "pump.json", "--paper", "a5"],
            "[possible values: a4, a3, letter]",
        ),
        (&["compare", "no.json"], "no.json: cannot be read: "),
        (&["check", "."], ".: cannot be read: "),
        (&["new", "no.png", "side-screen.jpg"], "no.png: "),
        (&["schema", "sheet"], "[possible values: job, report]"),
    ] {
        let output = run(folder.path(), arguments);
        assert_eq!(output.status.code(), Some(2), "{arguments:?}");
        assert!(
            stderr(&output).contains(words),
            "{arguments:?}: {}",
            stderr(&output)
        );
        assert!(output.stdout.is_empty(), "{arguments:?}");
    }
}

#[test]
fn a_source_date_that_is_no_time_is_refused() {
    let folder = folder();
    let output = Command::new(PROGRAM)
        .args(["compare", "pump.json"])
        .current_dir(folder.path())
        .env("SOURCE_DATE_EPOCH", "soon")
        .output()
        .expect("the program starts");
    assert_eq!(output.status.code(), Some(2));
    assert!(stderr(&output).contains("error: SOURCE_DATE_EPOCH is \"soon\""));
}

#[test]
fn each_command_has_a_manual_page() {
    let folder = tempfile::tempdir().expect("a folder");
    let output = run(folder.path(), &["man", "."]);
    assert_eq!(output.status.code(), Some(0), "{}", stderr(&output));
    let page = |name: &str| fs::read_to_string(folder.path().join(name)).expect("a page");
    let own = page("tickstrip.1");
    for command in ["compare", "check", "mark", "archive", "sheet"] {
        assert!(own.contains(&format!("tickstrip\\-{command}(1)")), "{own}");
        let page = page(&format!("tickstrip-{command}.1"));
        assert!(
            page.starts_with(".ie") && page.contains(".SH NAME"),
            "{page}"
        );
    }
    assert!(page("tickstrip-compare.1").contains("\\-\\-strict"));
}

#[test]
fn what_check_finds_is_there_as_json_too() {
    let folder = folder();
    let output = run(folder.path(), &["check", "pump.json", "--json"]);
    assert_eq!(output.status.code(), Some(0), "{}", stderr(&output));
    let found: serde_json::Value = serde_json::from_slice(&output.stdout).expect("JSON");
    assert_eq!(found["can_be_compared"], true);
    assert_eq!(found["faults"], serde_json::json!([]));
    let doubt = &found["doubts"][0];
    assert_eq!(doubt["pointer"], "/views/0/known", "{found}");
    assert!(doubt["view"].is_string() && doubt["code"].is_string());
    fs::write(folder.path().join("wrong.json"), "{\"title\": 1}").expect("written");
    let output = run(folder.path(), &["check", "wrong.json", "--json"]);
    assert_eq!(output.status.code(), Some(2));
    let found: serde_json::Value = serde_json::from_slice(&output.stdout).expect("JSON");
    assert_eq!(found["can_be_compared"], false);
    assert!(!found["faults"].as_array().expect("a list").is_empty());
}

#[test]
fn a_table_of_features_says_what_the_printer_cannot_show() {
    let folder = tempfile::tempdir().expect("a folder");
    let table = "# the pump\nrailing,35mm\n\"tank, side\",3/4 in,wall\n\nrivet head,2\n";
    fs::write(folder.path().join("features.csv"), table).expect("written");
    let asked = [
        "scale",
        "--features",
        "features.csv",
        "--to",
        "1:24",
        "--to",
        "1:48",
        "--pixel-mm",
        "0.05",
        "--wall-mm",
        "0.7",
    ];
    let output = run(folder.path(), &asked);
    let text = stdout(&output);
    assert_eq!(output.status.code(), Some(0), "{}", stderr(&output));
    assert!(
        text.contains("! at 1:48 below the pixel: rivet head\n"),
        "{text}"
    );
    assert!(
        text.contains("! at 1:48 below the least wall: tank, side\n"),
        "{text}"
    );
    // 19.05 mm over 0.7 mm.
    assert!(
        text.contains("nothing is too small up to 1:27.21; the smallest scale in use is 1:25\n"),
        "{text}"
    );
    let output = run(folder.path(), &[&asked[..], &["--json"]].concat());
    let found: serde_json::Value = serde_json::from_slice(&output.stdout).expect("JSON");
    assert_eq!(
        found["features"][2]["at"][1]["below"],
        serde_json::json!(["pixel"])
    );
    for (table, words) in [
        (
            "railing\n",
            "features.csv: line 1: a line has a name and a length",
        ),
        ("a,1mm\nrailing,35 yards\n", "features.csv: line 2: "),
        (
            "a,1mm,roof\n",
            "found \"roof\" behind the length; write wall there",
        ),
        ("# nothing\n", "there is no feature in it"),
        (",3mm\n", "a line has a name and a length"),
    ] {
        fs::write(folder.path().join("features.csv"), table).expect("written");
        let output = run(folder.path(), &asked);
        assert_eq!(output.status.code(), Some(2), "{table}");
        assert!(
            stderr(&output).contains(words),
            "{words}: {}",
            stderr(&output)
        );
    }
    let output = run(
        folder.path(),
        &["scale", "--features", "none.csv", "--to", "1:24"],
    );
    assert!(stderr(&output).contains("none.csv"), "{}", stderr(&output));
}

/// What commands that write a file say is there as JSON too, and nothing else is printed.
#[test]
fn what_commands_say_is_there_as_json_too() {
    let folder = folder();
    let said = |arguments: &[&str]| -> serde_json::Value {
        let output = run(folder.path(), arguments);
        assert_eq!(output.status.code(), Some(0), "{}", stderr(&output));
        serde_json::from_slice(&output.stdout).expect("JSON alone")
    };
    let new = said(&[
        "new",
        "side-render.png",
        "side-screen.jpg",
        "--out",
        "own.json",
        "--json",
    ]);
    assert_eq!(new["job"], "own.json");
    assert_eq!(new["render"]["size"], serde_json::json!([900, 1500]));
    let corners = "412,305 3610,198 3688,2120 377,2011";
    let rectified = said(&[
        "rectify",
        "side-screen.jpg",
        "--corners",
        corners,
        "--aspect",
        "16:9",
        "--json",
    ]);
    assert_eq!(rectified["picture"], "rectified.png");
    let size = rectified["size"].as_array().expect("two numbers");
    let aspect = size[0].as_f64().expect("px") / size[1].as_f64().expect("px");
    assert!((aspect - 16.0 / 9.0).abs() < 0.01, "{rectified}");
    assert_eq!(rectified["cannot_tell"], serde_json::Value::Null);
    let demo = Path::new(env!("CARGO_MANIFEST_DIR")).join("fixtures/demo");
    let path = |name: &str| demo.join(name).to_str().expect("UTF-8").to_owned();
    let (mesh, camera) = (path("pump.obj"), path("pump-camera.json"));
    let drawn = said(&[
        "draw", &mesh, "--camera", &camera, "--size", "300x240", "--unit", "mm", "--json",
    ]);
    assert_eq!(drawn["picture"], "drawn.png");
    assert!(
        drawn["parts"].as_array().expect("names").len() > 5 && drawn["facets"].as_u64() > Some(100)
    );
    let report = said(&["demo", "pump", "--json"]);
    assert_eq!(report["format"], "tickstrip-report");
    let trend = said(&["trend", "pump/pump-results", "--json"]);
    assert_eq!(trend["results"].as_array().expect("a list").len(), 1);
    assert!(!trend["series"].as_array().expect("a list").is_empty());
}

#[test]
fn a_sound_job_is_summed_up_with_its_doubts() {
    let folder = folder();
    let output = run(folder.path(), &["check", "pump.json"]);
    assert_eq!(output.status.code(), Some(0), "{}", stderr(&output));
    let text = stdout(&output);
    assert!(text.contains("pump.json: can be compared; scale 1:24, 1 view, 6 landmarks, 1 region, 1 span, 1 angle\n"), "{text}");
    assert!(
        text.contains("doubtful: pump.json: /views/0/known (side): no known length in the render"),
        "{text}"
    );
    assert!(output.stderr.is_empty());
}

#[test]
fn faults_go_to_standard_error_one_a_line() {
    let folder = folder();
    let path = folder.path().join("pump.json");
    let job = fs::read_to_string(&path).expect("read");
    fs::write(
        &path,
        job.replace("\"to\": \"beam end\"", "\"to\": \"beam edn\""),
    )
    .expect("written");
    let output = run(folder.path(), &["check", "pump.json"]);
    assert_eq!(output.status.code(), Some(2));
    assert_eq!(
        stderr(&output),
        ["spans", "angles"]
            .map(|list| {
                format!(
                    "pump.json: /views/0/{list}/0/to: no landmark \"beam edn\"; did you mean \"beam end\"? the view has 6: \"beam end\", \
                     \"tank front\", \"tank rear\", \"lantern front\", \"lantern rear\", \"lantern top\"\n"
                )
            })
            .concat()
    );
    assert!(output.stdout.is_empty());
}

#[test]
fn where_nothing_can_be_written_it_is_said_what_to_do() {
    let folder = folder();
    let path = |name: &str| folder.path().join(name).display().to_string();
    let inside = path("side-screen.jpg/x");
    for (arguments, told) in [
        (
            ["compare", "pump.json", "--out", &inside],
            format!(
                "error: {}: making the folder for the results: a file is where a folder has to be; name another place with --out, or move that file away\n",
                path("side-screen.jpg")
            ),
        ),
        (
            ["measure", "pump.json", "--out", &inside],
            format!(
                "error: {inside}: cannot be written: a file is where a folder has to be; name another place for it, or move that file away\n"
            ),
        ),
    ] {
        let output = run(folder.path(), &arguments);
        assert_eq!(output.status.code(), Some(2), "{arguments:?}");
        assert_eq!(stderr(&output), told);
    }
}

#[test]
fn an_image_that_is_not_there_is_a_fault_to_check() {
    let folder = folder();
    fs::remove_file(folder.path().join("side-screen.jpg")).expect("removed");
    let output = run(folder.path(), &["check", "pump.json"]);
    assert_eq!(output.status.code(), Some(2));
    let found = stderr(&output);
    assert!(found.contains("pump.json: /views/0/reference/image: there is no file "));
    assert!(!stdout(&output).contains("can be compared"));
    // All commands say it in one sentence.
    let (_, sentence) = found.trim_end().split_once("image: ").expect("a sentence");
    let named = "which \"reference/image\" of the view \"side\" names; put it there, or mend the name (it is taken relative to the job file)";
    assert!(sentence.ends_with(named), "{sentence}");
    for command in ["compare", "measure", "camera", "sheet"] {
        let output = run(folder.path(), &[command, "pump.json"]);
        let told = format!("{}{}", stdout(&output), stderr(&output));
        let words = |text: &str| text.split_whitespace().collect::<Vec<_>>().join(" ");
        assert!(words(&told).contains(&words(sentence)), "{command}: {told}");
    }
}

#[test]
fn a_rectification_that_cannot_be_made_is_a_fault_to_check() {
    let folder = folder();
    let path = folder.path().join("pump.json");
    let job = fs::read_to_string(&path).expect("read");
    let mut job: serde_json::Value = serde_json::from_str(&job).expect("JSON");
    // The same corners, as from in front, and no aspect.
    job["views"][0]["reference"]["rectify"] = serde_json::json!(
        { "corners": [[100, 100], [500, 100], [500, 300], [100, 300]] }
    );
    fs::write(&path, job.to_string()).expect("written");
    let output = run(folder.path(), &["check", "pump.json"]);
    assert_eq!(output.status.code(), Some(2));
    let text = stderr(&output);
    let words = "pump.json: /views/0/reference/rectify: rectify: the view is too frontal to tell width over height";
    assert!(text.contains(words), "{text}");
    assert!(!stdout(&output).contains("can be compared"));
}

#[test]
fn new_takes_scale_and_kind_and_check_knows_a_job_that_is_only_measured() {
    let folder = folder();
    let begin = |more: &[&str]| {
        let arguments = [&["new", "side-screen.jpg"], more].concat();
        let output = run(folder.path(), &arguments);
        assert_eq!(output.status.code(), Some(0), "{}", stderr(&output));
        stdout(&output)
    };
    let said = begin(&["--scale", "1:35", "--kind", "plan", "--out", "plan.json"]);
    assert!(!said.contains("The scale in it"), "{said}");
    let job = fs::read_to_string(folder.path().join("plan.json")).expect("written");
    assert!(
        job.contains("\"scale\": \"1:35\"") && job.contains("\"kind\": \"plan\""),
        "{job}"
    );
    let said = begin(&["--out", "own.json"]);
    assert!(said.contains("The scale in it is 1:24"), "{said}");
    let output = run(folder.path(), &["check", "plan.json"]);
    assert_eq!(output.status.code(), Some(0), "{}", stderr(&output));
    assert!(
        stdout(&output).contains("can be measured"),
        "{}",
        stdout(&output)
    );
    let wrong = run(folder.path(), &["new", "side-screen.jpg", "--scale", "35"]);
    assert_eq!(wrong.status.code(), Some(2), "{}", stdout(&wrong));
}

#[test]
fn new_starts_a_job_that_check_accepts_once_its_placeholders_are_replaced() {
    let folder = folder();
    fs::create_dir(folder.path().join("jobs")).expect("made");
    let arguments = [
        "new",
        "side-render.png",
        "side-screen.jpg",
        "--out",
        "jobs/own.json",
    ];
    let output = run(folder.path(), &arguments);
    assert_eq!(output.status.code(), Some(0), "{}", stderr(&output));
    assert!(stdout(&output).contains("run: tickstrip check jobs/own.json"));
    let job = fs::read_to_string(folder.path().join("jobs/own.json")).expect("written");
    assert!(job.contains("\"image\": \"../side-render.png\""), "{job}");
    // The first mark lies at a third of 900 x 1500.
    assert!(job.contains("\"render\": [300.00, 500.00]"), "{job}");
    let output = run(folder.path(), &["check", "jobs/own.json"]);
    assert_eq!(output.status.code(), Some(2));
    let text = stderr(&output);
    for words in [
        "jobs/own.json: /views/0/landmarks: the landmark \"PLACEHOLDER top left\", ",
        "the known length 1000 mm from \"PLACEHOLDER bottom left\" to \"PLACEHOLDER bottom right\" are still where \"tickstrip new\" put them",
    ] {
        assert!(text.contains(words), "{text}");
    }
    // Moved, and a length of the user's own.
    let moved = job
        .replace("[300.00, ", "[310.00, ")
        .replace("[600.00, ", "[590.00, ");
    let path = folder.path().join("jobs/own.json");
    fs::write(&path, &moved).expect("written");
    let text = stderr(&run(folder.path(), &["check", "jobs/own.json"]));
    assert!(
        text.contains("/landmarks: the known length 1000 mm from"),
        "{text}"
    );
    assert!(
        text.contains(" is still where \"tickstrip new\" put it: "),
        "{text}"
    );
    let measured = moved.replace("\"1000 mm\"", "\"800 mm\"");
    fs::write(&path, measured).expect("written");
    let output = run(folder.path(), &["check", "jobs/own.json"]);
    assert_eq!(output.status.code(), Some(0), "{}", stderr(&output));
}

#[test]
fn new_overwrites_nothing() {
    let folder = folder();
    let before = fs::read(folder.path().join("pump.json")).expect("read");
    let arguments = [
        "new",
        "side-render.png",
        "side-screen.jpg",
        "--out",
        "pump.json",
    ];
    let output = run(folder.path(), &arguments);
    assert_eq!(output.status.code(), Some(2));
    assert!(stderr(&output).contains("error: pump.json is there already and is not overwritten; move it away or name another with --out"));
    assert_eq!(
        fs::read(folder.path().join("pump.json")).expect("read"),
        before
    );
}

#[test]
fn the_schema_is_json_and_describes_the_example() {
    let folder = folder();
    let output = run(folder.path(), &["schema"]);
    assert_eq!(output.status.code(), Some(0));
    let schema: serde_json::Value = serde_json::from_str(&stdout(&output)).expect("JSON");
    let job = fs::read_to_string(folder.path().join("pump.json")).expect("read");
    let job = serde_json::from_str(&job).expect("JSON");
    assert!(
        jsonschema::draft202012::new(&schema)
            .expect("a schema")
            .is_valid(&job)
    );
}

#[test]
fn a_reader_that_goes_away_is_no_failure() {
    for arguments in [&["schema"][..], &["--help"], &["check", "pump.json"]] {
        let folder = folder();
        let mut child = Process::new(PROGRAM)
            .args(arguments)
            .current_dir(folder.path())
            .stdout(Stdio::piped())
            .stderr(Stdio::piped())
            .spawn()
            .expect("the program starts");
        drop(child.stdout.take());
        let output = child.wait_with_output().expect("it ends");
        assert_eq!(output.status.code(), Some(0), "{arguments:?}");
        assert!(output.stderr.is_empty(), "{}", stderr(&output));
    }
}

#[cfg(target_os = "linux")]
#[test]
fn an_output_that_takes_no_bytes_is_a_failure() {
    let full = fs::OpenOptions::new()
        .write(true)
        .open("/dev/full")
        .expect("Linux has it");
    let output = Process::new(PROGRAM)
        .arg("schema")
        .stdout(full)
        .output()
        .expect("the program starts");
    assert_eq!(output.status.code(), Some(2));
    assert!(stderr(&output).contains("error: standard output cannot be written: "));
}

#[test]
fn commands_that_stay_say_what_is_missing_before_they_begin() {
    let folder = folder();
    let output = run(folder.path(), &["mark", "none.json", "--no-browser"]);
    assert_eq!(output.status.code(), Some(2));
    assert!(stderr(&output).contains(
        "none.json: there is no such file; make one with: tickstrip new RENDER REFERENCE --out none.json"
    ));
    fs::write(folder.path().join("torn.json"), "{ \"title\": ").expect("written");
    let output = run(folder.path(), &["mark", "torn.json", "--no-browser"]);
    assert_eq!(output.status.code(), Some(2));
    assert!(
        stderr(&output).contains("torn.json: not JSON"),
        "{}",
        stderr(&output)
    );
    let output = run(folder.path(), &["watch", "none.json"]);
    assert_eq!(output.status.code(), Some(2));
    assert!(stderr(&output).contains("none.json: cannot be read"));
    let output = run(
        folder.path(),
        &["serve", "no-folder", "--listen", "127.0.0.1:0"],
    );
    assert_eq!(output.status.code(), Some(2));
    assert!(stderr(&output).contains("no-folder: cannot be used"));
}

#[test]
fn words_that_a_computer_takes_for_numbers_are_none() {
    let folder = folder();
    let corners = "10,10 80,10 80,50 10,50";
    for word in ["inf", "NaN", "infinity", "1e999"] {
        let points = format!("1,1 at 0,{word}; 9,1 at 1,0; 9,9 at 1,1; 1,9 at 0,1");
        let runs: [&[&str]; 4] = [
            &["scale", word],
            &["scale", "1 mm", "--to", word],
            &[
                "rectify",
                "side-screen.jpg",
                "--corners",
                corners,
                "--aspect",
                word,
            ],
            &["rectify", "side-screen.jpg", "--points", &points],
        ];
        for arguments in runs {
            let output = run(folder.path(), arguments);
            assert_eq!(output.status.code(), Some(2), "{arguments:?}");
            let text = stderr(&output);
            let says_that_it_is_none = [
                "is not a length",
                "has no unit",
                "the unit",
                "cannot be read",
            ];
            assert!(
                says_that_it_is_none
                    .iter()
                    .any(|words| text.contains(words)),
                "{text}"
            );
        }
    }
}

/// What steers a terminal or turns letters around.
#[cfg(unix)]
const NASTY: &str = "n\u{1b}]0;own\u{7}\u{9b}2J\u{202e}gnp\u{200b}\r";

#[cfg(unix)]
fn assert_plain(what: &str, output: &Output) {
    for text in [stdout(output), stderr(output)] {
        let is_command = |c| c != '\n' && tickstrip::printable::is_command(c);
        assert!(!text.contains(is_command), "{what}: {text:?}");
    }
}

#[cfg(unix)]
#[test]
fn nothing_of_a_job_or_a_path_commands_the_terminal() {
    let folder = folder();
    let path = folder.path();
    // Names may hold what turns letters around; control characters come in as keys, texts and paths.
    let turned = "beam\u{202e}\u{2066}pu";
    let job = fs::read_to_string(path.join("pump.json")).expect("read");
    let mut job: serde_json::Value = serde_json::from_str(&job).expect("JSON");
    let first = job["views"][0]["landmarks"][0].clone();
    let mut named = first.clone();
    (named["name"], named["render"]) = (turned.into(), serde_json::json!([1.5, 1.5]));
    job["views"][0]["landmarks"]
        .as_array_mut()
        .expect("a list")
        .push(named);
    job["title"] = NASTY.into();
    job["views"][0]["reference"]["note"] = NASTY.into();
    job["views"][0]["reference"]["rectify"] = serde_json::json!(
        { "corners": [[10, 10], [80, 10], [80, 50], [10, 50]], "aspect": "16:9" }
    );
    let file = format!("{NASTY}\n.json");
    fs::write(path.join(&file), job.to_string()).expect("written");
    job[NASTY] = 1.into();
    job["views"][0]["spans"][0]["from"] = NASTY.into();
    fs::write(path.join("faulty.json"), job.to_string()).expect("written");
    let png = format!("{NASTY}.png");
    fs::copy(path.join("side-render.png"), path.join(&png)).expect("copied");
    fs::write(path.join("torn.png"), "GIF89a\u{1b}[2J").expect("written");
    let runs: [&[&str]; 13] = [
        &["check", &file],
        &["check", "faulty.json"],
        &["compare", &file, "--out", NASTY],
        &["compare", &file, "--json"],
        &["compare", &file, "--view", NASTY],
        &["compare", NASTY],
        &["rectify", "--job", &file, "--view", NASTY],
        &[
            "rectify",
            "--job",
            &file,
            "--view",
            "side",
            "--out",
            &format!("{NASTY}-1.png"),
        ],
        &["new", &png, "torn.png"],
        &["new", &png, &png, "--out", &format!("{NASTY}-2.json")],
        &["mark", NASTY, "--no-browser"],
        &["scale", NASTY],
        &["scale", "1 mm", "--to", NASTY],
    ];
    for arguments in runs {
        let output = run(path, arguments);
        assert_plain(&format!("{arguments:?}"), &output);
        assert!(
            !output.stdout.is_empty() || !output.stderr.is_empty(),
            "{arguments:?}"
        );
    }
    assert_eq!(run(path, &["check", &file]).status.code(), Some(0));
    let json = stdout(&run(path, &["compare", &file, "--json"]));
    let report: serde_json::Value = serde_json::from_str(&json).expect("JSON");
    assert_eq!(report["job"]["title"], NASTY, "JSON loses no letter");
}

#[test]
fn an_endless_name_is_cut_in_what_is_printed() {
    let folder = folder();
    let endless = "x".repeat(100_000);
    let runs: [&[&str]; 6] = [
        &["check", &endless],
        &["compare", "pump.json", "--view", &endless],
        &["rectify", "--job", "pump.json", "--view", &endless],
        &["scale", &endless],
        &["scale", "1 mm", "--to", &endless],
        &[&endless],
    ];
    for arguments in runs {
        let output = run(folder.path(), arguments);
        assert_eq!(output.status.code(), Some(2));
        let text = stderr(&output);
        assert!(
            text.contains('…') && text.len() < 10_000,
            "{} bytes: {text:.200}",
            text.len()
        );
    }
}
