//! Archives read back by the `zipfile` module of Python's standard library (docs.python.org/3/library/zipfile.html), a reader of
//! the zip format (PKWARE, APPNOTE.TXT) that shares nothing with ours; checksums by our own list, sizes and CRC-32 by Python.
use assert_cmd::Command;
use serde_json::Value;
use std::{fs, path::Path};

/// Names, sizes and CRC-32 check of all entries, as JSON.
const READ: &str = r#"
import json, sys, zipfile
with zipfile.ZipFile(sys.argv[1]) as archive:
    bad = archive.testzip()
    days = sorted({entry.date_time[:3] for entry in archive.infolist()})
    print(json.dumps({"bad": bad, "days": days, "sizes": {e.filename: e.file_size for e in archive.infolist()},
                      "job": archive.read("pump.json").decode()}))
"#;

#[test]
fn python_reads_an_archive_of_the_demo() {
    let folder = tempfile::tempdir().expect("a folder");
    let demo = Path::new(env!("CARGO_MANIFEST_DIR")).join("fixtures/demo");
    let out = folder.path().join("pump.zip");
    Command::new(env!("CARGO_BIN_EXE_tickstrip"))
        .arg("archive")
        .arg(demo.join("pump.json"))
        .arg("--out")
        .arg(&out)
        .env("SOURCE_DATE_EPOCH", "1933113600")
        .assert()
        .success();
    let python = std::process::Command::new("python3")
        .args(["-c", READ])
        .arg(&out)
        .output();
    let Ok(python) = python else {
        assert!(std::env::var_os("CI").is_none(), "python3 is missing");
        #[expect(clippy::print_stdout, reason = "scripts/test counts these lines")]
        {
            println!("SKIPPED: archives: python3 is missing");
        }
        return;
    };
    let error = String::from_utf8_lossy(&python.stderr);
    let read: Value = serde_json::from_slice(&python.stdout).unwrap_or_else(|_| panic!("{error}"));
    assert_eq!(read["bad"], Value::Null);
    assert_eq!(read["days"], serde_json::json!([[2031, 4, 5]]));
    let job = fs::read_to_string(demo.join("pump.json")).expect("there");
    assert_eq!(read["job"], job, "the job as it was");
    for image in ["side-render.png", "side-screen.jpg", "front-render.png"] {
        let size = fs::metadata(demo.join(image)).expect("there").len();
        assert_eq!(read["sizes"][image], size, "{image}");
    }
}
