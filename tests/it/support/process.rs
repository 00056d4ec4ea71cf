//! The program's servers as processes that end with the test.
use std::{
    io::{BufRead, BufReader},
    process::{Child, Command, Stdio},
};

/// A process that is killed when it is dropped.
pub struct Process(pub Child);

impl Drop for Process {
    fn drop(&mut self) {
        let _ = self.0.kill();
        let _ = self.0.wait();
    }
}

/// Starts a program and waits for a line of its output from which `take` gets something.
pub fn start<T>(mut command: Command, take: impl Fn(&str) -> Option<T>) -> Option<(Process, T)> {
    command.stdin(Stdio::null()).stdout(Stdio::piped());
    let mut child = command.spawn().ok()?;
    let out = BufReader::new(child.stdout.take().expect("piped"));
    let process = Process(child);
    let mut lines = out.lines().map_while(Result::ok);
    let found = lines.by_ref().find_map(|line| take(&line))?;
    // Goes on reading, so that the program never waits for a full pipe.
    std::thread::spawn(move || lines.for_each(drop));
    Some((process, found))
}

/// Starts one of the program's servers and waits for its address.
pub fn serve(command: Command) -> (Process, String) {
    let address = |line: &str| line.starts_with("http://").then(|| line.to_owned());
    start(command, address).expect("it is served")
}
