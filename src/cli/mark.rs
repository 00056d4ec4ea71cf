//! `tickstrip mark`: the page on which marks are placed.
use super::{
    Status, compare,
    memory::Memory,
    messages::{Failure, Terminal},
};
use crate::{
    images,
    service::mark::{self, MarkOptions},
};
use std::{
    cell::RefCell,
    fs,
    io::{self, Write},
    path::{Path, PathBuf},
    process::{Command, Stdio},
};
use tempfile::TempDir;

/// Open a page to place marks, draw regions and type known lengths
///
/// The page is served to this computer alone, and to the browser that opens the printed address first: it works once.
/// Every change is written into the job file at once; the steps, for undo, and the last versions are kept in .tickstrip
/// beside it. Ctrl-C ends it.
#[derive(clap::Args, Debug)]
#[command(after_help = "Examples:
  tickstrip demo
  tickstrip mark fire-pump-demo/pump.json
  tickstrip new render.png photo.jpg --out own.json
  tickstrip mark own.json --no-browser --port 8123")]
pub(super) struct Arguments {
    /// The job file
    job: PathBuf,
    /// Open no browser, only print the address
    #[arg(long)]
    no_browser: bool,
    /// Port to listen on [default: a free one]
    #[arg(long, value_name = "N", value_parser = clap::value_parser!(u16).range(1..))]
    port: Option<u16>,
    #[command(flatten)]
    memory: Memory,
}

pub(super) fn run(arguments: &Arguments, terminal: &Terminal) -> Result<Status, Failure> {
    if !arguments.job.exists() {
        return Err(Failure::NoJob {
            path: arguments.job.clone(),
        });
    }
    let options = MarkOptions {
        job: arguments.job.clone(),
        port: arguments.port.unwrap_or(0),
        out: compare::results_of(&arguments.job),
        date: compare::default_date(std::env::var_os("SOURCE_DATE_EPOCH"))?,
        limits: images::Limits::default(),
        memory: arguments.memory.budget(),
    };
    let forwarding = RefCell::new(None);
    let ready = |address: &str| {
        // Where nobody reads the address the page can still be opened by the browser.
        let _ = terminal.result(&format!(
            "{address}\nThe address works once. Ctrl-C ends the page; nothing is lost.\n"
        ));
        if arguments.no_browser {
            return;
        }
        // The printed address serves where no file can be written.
        if let Ok(file) = Forwarding::to(address) {
            open_browser(&file.path());
            *forwarding.borrow_mut() = Some(file);
        }
    };
    mark::mark(options, &ready)?;
    Ok(Status::NothingOut)
}

/// A file that only the user can read and that leads on to an address. The browser is told the file: its command line
/// can be read by all users of the computer. Gone when it is dropped.
struct Forwarding {
    folder: TempDir,
}

impl Forwarding {
    fn to(address: &str) -> io::Result<Self> {
        let mut builder = tempfile::Builder::new();
        builder.prefix("tickstrip-");
        #[cfg(unix)]
        builder.permissions(std::os::unix::fs::PermissionsExt::from_mode(0o700));
        let own = Self {
            folder: builder.tempdir()?,
        };
        let mut options = fs::OpenOptions::new();
        options.write(true).create_new(true);
        #[cfg(unix)]
        std::os::unix::fs::OpenOptionsExt::mode(&mut options, 0o600);
        // Addresses are letters, digits, points, colons and slashes.
        let page = format!(
            "<!doctype html><meta charset=\"utf-8\"><meta http-equiv=\"refresh\" content=\"0;url={address}\">\
             <title>tickstrip</title><a href=\"{address}\">Open the page</a>\n"
        );
        options.open(own.path())?.write_all(page.as_bytes())?;
        Ok(own)
    }

    fn path(&self) -> PathBuf {
        self.folder.path().join("mark.html")
    }
}

/// Opens the file where there is a desktop; the printed address serves where that fails.
fn open_browser(file: &Path) {
    let has_desktop = ["DISPLAY", "WAYLAND_DISPLAY"]
        .iter()
        .any(|name| std::env::var_os(name).is_some_and(|value| !value.is_empty()));
    let command: &[&str] = if cfg!(target_os = "macos") {
        &["open"]
    } else if cfg!(windows) {
        &["rundll32", "url.dll,FileProtocolHandler"]
    } else if has_desktop {
        &["xdg-open"]
    } else {
        return;
    };
    let _ = Command::new(command[0])
        .args(&command[1..])
        .arg(file)
        .stdin(Stdio::null())
        .stdout(Stdio::null())
        .stderr(Stdio::null())
        .spawn();
}
