//! The HTTP shell: the marking page and the comparison service. The only place that knows of HTTP.
#![doc = include_str!("METHOD.md")]
mod bodies;
mod connections;
mod files;
pub mod mark;
mod patience;
pub mod queue;
mod shell;

use crate::stop::Stop;
use std::{io, thread};

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
    let mut asked = {
        let _within = runtime.enter();
        shell::Asked::listen()?
    };
    let stop = Stop::default();
    let of_run = stop.clone();
    thread::spawn(move || {
        runtime.block_on(async {
            asked.next().await;
            of_run.ask();
            asked.next().await;
        });
        std::process::exit(i32::from(ENDED_BY_SIGNAL));
    });
    Ok(stop)
}
