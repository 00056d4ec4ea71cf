//! The program as users run it: once, in a folder, to its end.
use assert_cmd::Command;
use std::path::Path;

/// What a run left.
pub struct Run {
    pub status: i32,
    pub out: String,
    pub err: String,
}

/// Runs the program in this folder.
pub fn run(folder: &Path, arguments: &[&str]) -> Run {
    let output = Command::new(env!("CARGO_BIN_EXE_tickstrip"))
        .current_dir(folder)
        .args(arguments)
        .output()
        .expect("it runs");
    let text = |bytes: &[u8]| String::from_utf8(bytes.to_vec()).expect("UTF-8");
    Run {
        status: output.status.code().expect("it ends by itself"),
        out: text(&output.stdout),
        err: text(&output.stderr),
    }
}
