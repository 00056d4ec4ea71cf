//! `tickstrip mark`: the page on which marks are placed.
use super::{
    Status, compare,
    messages::{Failure, Terminal},
};
use crate::{
    images,
    service::mark::{self, MarkOptions},
};
use std::{
    path::PathBuf,
    process::{Command, Stdio},
};

/// Open a page to place marks, draw regions and type known lengths
///
/// The page is served to this computer alone, at an address that is printed and opened in the browser. Every change is
/// written into the job file at once; the steps, for undo, and the last versions are kept in .tickstrip beside it.
/// Ctrl-C ends it.
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
        out: compare::Arguments::with_defaults(arguments.job.clone()).out_folder(),
        date: compare::default_date(std::env::var_os("SOURCE_DATE_EPOCH"))?,
        limits: images::Limits::default(),
    };
    let ready = |address: &str| {
        // Where nobody reads the address the page can still be opened by the browser.
        let _ = terminal.result(&format!("{address}\nCtrl-C ends it; nothing is lost.\n"));
        if !arguments.no_browser {
            open_browser(address);
        }
    };
    mark::mark(options, &ready)?;
    Ok(Status::NothingOut)
}

/// Opens the address where there is a desktop; the printed address serves where that fails.
fn open_browser(address: &str) {
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
        .arg(address)
        .stdin(Stdio::null())
        .stdout(Stdio::null())
        .stderr(Stdio::null())
        .spawn();
}
