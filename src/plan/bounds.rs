//! What the process that reads a plan may take from the machine: set by itself, before it reads a byte.
#[cfg(unix)]
use rustix::process::{Resource, Rlimit, getrlimit, setrlimit};

/// Takes from this process what it does not need: memory beyond `memory` bytes, processor time beyond `seconds`, files, cores.
///
/// Where there is no such thing (Windows) nothing is done: the parent's own clock and its bound of the answer hold there too.
///
/// # Errors
/// What the operating system says.
#[cfg(unix)]
pub(super) fn bound(memory: u64, seconds: u64) -> std::io::Result<()> {
    // Where whoever asked is gone, nobody needs the answer. Without this it would go on until its time is over.
    #[cfg(target_os = "linux")]
    rustix::process::set_parent_process_death_signal(Some(rustix::process::Signal::KILL))?;
    // Standard input, output and error are open; nothing else is to be opened, and no file grows.
    for (resource, most) in [
        (Resource::Core, 0),
        (Resource::Fsize, 0),
        (Resource::Nofile, 3),
        (Resource::Cpu, seconds),
    ] {
        lower(resource, most)?;
    }
    let is_bounded = lower(Resource::As, memory);
    // Not every system that has this limit lets it be set; memory is bounded where it does.
    match cfg!(target_os = "linux") {
        true => is_bounded,
        false => Ok(()),
    }
}

#[cfg(not(unix))]
pub(super) fn bound(_memory: u64, _seconds: u64) -> std::io::Result<()> {
    Ok(())
}

/// Lowers both limits; one that is lower stays.
#[cfg(unix)]
fn lower(resource: Resource, most: u64) -> std::io::Result<()> {
    let lowest = |limit: Option<u64>| Some(limit.map_or(most, |limit| limit.min(most)));
    let now = getrlimit(resource);
    let limits = Rlimit {
        current: lowest(now.current),
        maximum: lowest(now.maximum),
    };
    Ok(setrlimit(resource, limits)?)
}
