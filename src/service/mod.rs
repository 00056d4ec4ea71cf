//! The HTTP shell: the marking page and the comparison service. The only place that knows of HTTP.
mod bodies;
mod connections;
mod files;
pub mod mark;
mod patience;
pub mod queue;
mod shell;

use crate::stop::Stop;
use std::{fs, io, io::Write, path::Path, thread};

/// The exit status of a program that was ended by Ctrl-C, as shells have it: 128 and the number of the signal.
pub const ENDED_BY_SIGNAL: u8 = 130;

/// What is asked when the program is to end (Ctrl-C or a termination signal), in place of ending it at once; asked a
/// second time, it ends at once.
///
/// # Errors
/// Where the signals cannot be listened to.
pub fn stop_on_signal() -> io::Result<Stop> {
    let runtime = tokio::runtime::Builder::new_current_thread()
        .enable_all()
        .build()?;
    let stop = Stop::default();
    let asked = stop.clone();
    thread::spawn(move || {
        runtime.block_on(async {
            shell::asked_to_stop().await;
            asked.ask();
            shell::asked_to_stop().await;
        });
        std::process::exit(i32::from(ENDED_BY_SIGNAL));
    });
    Ok(stop)
}

/// Writes a file so that it is there whole or not at all, also after a crash.
fn write_beside(path: &Path, bytes: &[u8]) -> io::Result<()> {
    let folder = path.parent().unwrap_or(Path::new("."));
    let mut file = tempfile::Builder::new()
        .prefix(".tickstrip-")
        .tempfile_in(folder)?;
    file.write_all(bytes)?;
    if let Ok(old) = fs::metadata(path) {
        file.as_file().set_permissions(old.permissions())?;
    } else {
        readable_by_others(file.as_file())?;
    }
    file.as_file().sync_all()?;
    file.persist(path).map_err(|error| error.error)?;
    // The rename itself is on the disk only when the folder is; where folders cannot be opened the system sees to it.
    if let Ok(folder) = fs::File::open(folder) {
        let _ = folder.sync_all();
    }
    Ok(())
}

/// A temporary file is private; a new file of a user's is as readable as he has set it.
fn readable_by_others(file: &fs::File) -> io::Result<()> {
    #[cfg(unix)]
    {
        use std::os::unix::fs::PermissionsExt;
        file.set_permissions(fs::Permissions::from_mode(0o644))?;
    }
    #[cfg(not(unix))]
    let _ = file;
    Ok(())
}
