//! The HTTP shell: the marking page and the comparison service. The only place that knows of HTTP.
mod bodies;
mod connections;
mod files;
pub mod mark;
mod patience;
pub mod queue;
mod shell;

use std::{
    io,
    sync::{
        Arc,
        atomic::{AtomicBool, Ordering},
    },
    thread,
};

/// A flag that is set when the program is asked to end (Ctrl-C or a termination signal), in place of ending it at once.
///
/// # Errors
/// Where the signals cannot be listened to.
pub fn stop_flag() -> io::Result<Arc<AtomicBool>> {
    let runtime = tokio::runtime::Builder::new_current_thread()
        .enable_all()
        .build()?;
    let flag = Arc::new(AtomicBool::new(false));
    let raised = Arc::clone(&flag);
    thread::spawn(move || {
        runtime.block_on(shell::asked_to_stop());
        raised.store(true, Ordering::Relaxed);
    });
    Ok(flag)
}
