//! How much memory the machine has free, for a run that states no limit.
//!
//! Source: proc(5), `MemAvailable`; the kernel's documentation of control groups, version 1 and 2.
use std::{
    fs::File,
    io::{self, Read},
    path::Path,
};

/// What is taken for free where the system does not tell, bytes; a judgement: half of it holds two photographs.
const UNTOLD: u64 = 4 << 30;
/// Largest file of the system that is read here, bytes.
const MOST_BYTES: u64 = 1 << 20;

/// Half of the memory that is free now, bytes: of what the kernel calls available or of what the control groups of this
/// process still allow, whichever is less. 2 GiB where the system does not tell.
pub fn half_of_free_memory() -> u64 {
    free(Path::new("/")).unwrap_or(UNTOLD) / 2
}

/// What is free by the system's files below `root`.
fn free(root: &Path) -> Option<u64> {
    let kibibytes = number_of(&text(&root.join("proc/meminfo")).ok()?, "MemAvailable:")?;
    let groups = text(&root.join("proc/self/cgroup")).unwrap_or_default();
    let left = groups.lines().filter_map(|line| left_in(root, line));
    Some(left.fold(kibibytes.saturating_mul(1024), u64::min))
}

/// What the control group of a line `number:controllers:path`, and those around it, still allow.
fn left_in(root: &Path, line: &str) -> Option<u64> {
    let mut parts = line.splitn(3, ':').skip(1);
    let (controllers, path) = (parts.next()?, parts.next()?);
    let (base, files) = if controllers.is_empty() {
        let files = ["memory.max", "memory.current", "inactive_file"];
        (root.join("sys/fs/cgroup"), files)
    } else if controllers.split(',').any(|name| name == "memory") {
        let files = [
            "memory.limit_in_bytes",
            "memory.usage_in_bytes",
            "total_inactive_file",
        ];
        (root.join("sys/fs/cgroup/memory"), files)
    } else {
        return None;
    };
    // In a container the path may be that of the machine around it: then only the outermost folder is there.
    let own = base.join(path.trim_start_matches('/'));
    let groups = own.ancestors().take_while(|group| group.starts_with(&base));
    groups.filter_map(|group| left(group, files)).min()
}

fn left(group: &Path, [limit, usage, inactive]: [&str; 3]) -> Option<u64> {
    let number = |file| text(&group.join(file)).ok()?.trim().parse::<u64>().ok();
    // "max" where there is no limit.
    let (limit, usage) = (number(limit)?, number(usage)?);
    // Files that were read lately count as used, and are let go when the memory is wanted.
    let files = text(&group.join("memory.stat")).ok();
    let files = files.and_then(|stat| number_of(&stat, inactive));
    Some(limit.saturating_sub(usage.saturating_sub(files.unwrap_or(0))))
}

/// The number behind a word at the start of a line.
fn number_of(text: &str, word: &str) -> Option<u64> {
    text.lines().find_map(|line| {
        let mut parts = line.split_whitespace();
        (parts.next() == Some(word)).then(|| parts.next()?.parse().ok())?
    })
}

/// A file of the system; by their lengths they are empty.
fn text(path: &Path) -> io::Result<String> {
    let mut text = String::new();
    File::open(path)?
        .take(MOST_BYTES)
        .read_to_string(&mut text)?;
    Ok(text)
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::fs;

    /// What is free by these files.
    fn free_by(files: &[(&str, &str)]) -> Option<u64> {
        let root = tempfile::tempdir().expect("a folder");
        for (name, content) in files {
            let path = root.path().join(name);
            fs::create_dir_all(path.parent().expect("a parent")).expect("made");
            fs::write(path, content).expect("written");
        }
        free(root.path())
    }

    const MEMORY: (&str, &str) = (
        "proc/meminfo",
        "MemTotal:       9000 kB\nMemFree:         10 kB\nMemAvailable:    4000 kB\n",
    );

    #[test]
    fn without_control_groups_it_is_what_the_kernel_calls_available() {
        assert_eq!(free_by(&[MEMORY]), Some(4000 * 1024));
        assert_eq!(free_by(&[("proc/meminfo", "MemFree: 10 kB\n")]), None);
        assert_eq!(free_by(&[]), None);
    }

    #[test]
    fn the_narrowest_group_around_the_process_counts() {
        let groups = ("proc/self/cgroup", "0::/town/pump\n");
        let own = "sys/fs/cgroup/town/pump/memory.";
        let outer = "sys/fs/cgroup/town/memory.";
        let name = |start: &str, end: &str| format!("{start}{end}");
        let files = |outer_limit: &str| {
            free_by(&[
                MEMORY,
                groups,
                (&name(own, "max"), "max\n"),
                (&name(own, "current"), "7\n"),
                (&name(outer, "max"), outer_limit),
                (&name(outer, "current"), "900000\n"),
                (&name(outer, "stat"), "anon 1\ninactive_file 300000\n"),
            ])
        };
        assert_eq!(files("1000000\n"), Some(1_000_000 - 600_000));
        assert_eq!(files("500000\n"), Some(0));
        assert_eq!(files("90000000000\n"), Some(4000 * 1024));
    }

    #[test]
    fn the_older_groups_count_too_in_a_container_as_well() {
        let path = "12:pids:/x\n9:cpu,memory:/machine/container/7\n";
        let limit = "sys/fs/cgroup/memory/memory.limit_in_bytes";
        let usage = "sys/fs/cgroup/memory/memory.usage_in_bytes";
        let files = [
            MEMORY,
            ("proc/self/cgroup", path),
            (limit, "2000000\n"),
            (usage, "500000\n"),
        ];
        assert_eq!(free_by(&files), Some(1_500_000));
    }
}
