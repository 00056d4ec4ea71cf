//! A process that is started, heard up to a limit, and ended: by itself, or by force when its time is over.
use std::{
    fs::File,
    io::{self, Read},
    path::Path,
    process::{Child, Command, ExitStatus, Stdio},
    sync::mpsc::{self, Receiver},
    thread,
    time::{Duration, Instant},
};

/// Most that is heard of standard error, bytes: enough for the one line of why memory or stack ended.
const LONGEST_COMPLAINT: u64 = 4096;

/// How often it is looked whether a process that has said all has ended.
const LOOK: Duration = Duration::from_millis(2);

/// What is started, and what it may take.
pub(super) struct Run<'a> {
    /// The program.
    pub program: &'a Path,
    /// Its arguments.
    pub words: Vec<String>,
    /// Its standard input.
    pub input: File,
    /// How long it may take.
    pub time: Duration,
    /// Most bytes that it may say.
    pub most: usize,
}

/// Why a process said nothing that counts.
#[derive(Debug)]
pub(super) enum Ended {
    /// It could not be started.
    NotStarted(io::Error),
    /// It took too long.
    OutOfTime,
    /// It asked for more memory than it has.
    OutOfMemory,
    /// It failed otherwise, or said too much.
    Failed,
}

/// A process that is ended when it is dropped.
struct Process(Child);

impl Drop for Process {
    fn drop(&mut self) {
        // One that has ended by itself cannot be ended again.
        _ = self.0.kill();
        _ = self.0.wait();
    }
}

/// Starts a process and returns what it says, once it has ended well.
pub(super) fn heard(run: Run<'_>) -> Result<Vec<u8>, Ended> {
    let until = Instant::now() + run.time;
    let mut command = Command::new(run.program);
    command
        .args(&run.words)
        .stdin(run.input)
        .stdout(Stdio::piped())
        .stderr(Stdio::piped());
    // What it is to do stands in its arguments.
    #[cfg(unix)]
    command.env_clear();
    let mut process = Process(command.spawn().map_err(Ended::NotStarted)?);
    let said = read_aside(process.0.stdout.take(), run.most as u64 + 1);
    let complaint = read_aside(process.0.stderr.take(), LONGEST_COMPLAINT);
    let said = said
        .recv_timeout(until.saturating_duration_since(Instant::now()))
        .map_err(|_| Ended::OutOfTime)?;
    if said.len() > run.most {
        return Err(Ended::Failed);
    }
    let status = loop {
        match process.0.try_wait() {
            Ok(Some(status)) => break status,
            Ok(None) if Instant::now() < until => thread::sleep(LOOK),
            Ok(None) => return Err(Ended::OutOfTime),
            Err(_) => return Err(Ended::Failed),
        }
    };
    if status.success() {
        return Ok(said);
    }
    let complaint = complaint.recv_timeout(LOOK * 50).unwrap_or_default();
    Err(why(status, &String::from_utf8_lossy(&complaint)))
}

/// Reads what comes, up to so many bytes, in a thread of its own: a reader can wait for it as long as it wants to.
fn read_aside(source: Option<impl Read + Send + 'static>, most: u64) -> Receiver<Vec<u8>> {
    let (sender, receiver) = mpsc::channel();
    thread::spawn(move || {
        let mut bytes = Vec::new();
        if let Some(source) = source {
            // What came before a fault counts: a process that is ended breaks off.
            _ = source.take(most).read_to_end(&mut bytes);
        }
        // Whoever asked may have gone.
        _ = sender.send(bytes);
    });
    receiver
}

/// Why a process ended that did not end well.
fn why(status: ExitStatus, complaint: &str) -> Ended {
    #[cfg(unix)]
    {
        use rustix::process::Signal;
        use std::os::unix::process::ExitStatusExt;
        match status.signal() {
            Some(signal) if signal == Signal::XCPU.as_raw() => return Ended::OutOfTime,
            // By the system, for want of memory: it was not this process.
            Some(signal) if signal == Signal::KILL.as_raw() => return Ended::OutOfMemory,
            _ => {}
        }
    }
    // The standard library's words before it aborts.
    match complaint.contains("memory allocation of") {
        true => Ended::OutOfMemory,
        false => {
            _ = status;
            Ended::Failed
        }
    }
}
