//! Names: unique, printable, usable as folders, and the nearest one to a mistyped one.
use super::error::{FaultKind, Faults};
use crate::printable::{listed, shortened};
use std::collections::HashMap;

/// Least likeness (Jaro and Winkler, 0 to 1) at which a name is offered for a mistyped one.
const LIKENESS: f64 = 0.75;

/// Names that are offered in place of one that is not there, at most: a judgement.
const MOST_OFFERED: usize = 8;

/// At most three names that `word` may have been meant for, the likest first.
///
/// # Source
/// Winkler 1990, String Comparator Metrics and Enhanced Decision Rules (Jaro-Winkler similarity).
pub(crate) fn nearest<'a>(word: &str, known: impl Iterator<Item = &'a str>) -> Vec<&'a str> {
    let word: String = word.chars().take(200).collect::<String>().to_lowercase();
    let mut near: Vec<(f64, &str)> = known
        .map(|name| (strsim::jaro_winkler(&word, &name.to_lowercase()), name))
        .filter(|(likeness, _)| *likeness >= LIKENESS)
        .collect();
    near.sort_by(|a, b| b.0.total_cmp(&a.0));
    near.into_iter().take(3).map(|(_, name)| name).collect()
}

/// All names there are, and the one that `word` may have been meant for: `"tank", "lantern"; did you mean "lantern"?`.
pub(crate) fn listed_with_nearest<'a>(
    word: &str,
    known: impl Iterator<Item = &'a str> + Clone,
) -> String {
    let all = listed(known.clone());
    match nearest(word, known).first() {
        Some(near) => format!("{all}; did you mean \"{}\"?", shortened(near)),
        None => all,
    }
}

/// The names of one kind of thing in a view, with the index of each.
#[derive(Debug)]
pub(super) struct Names<'a> {
    index: HashMap<&'a str, usize>,
    in_order: Vec<&'a str>,
}

impl<'a> Names<'a> {
    /// Collects faults for names that are used twice or cannot be printed; `list` is the pointer to the list of things.
    pub fn collect(
        what: &'static str,
        list: &str,
        names: impl Iterator<Item = &'a str>,
        faults: &mut Faults,
    ) -> Self {
        let mut all = Self {
            index: HashMap::new(),
            in_order: Vec::new(),
        };
        for (index, name) in names.enumerate() {
            let pointer = format!("{list}/{index}/name");
            if name.trim() != name || name.is_empty() || name.contains(char::is_control) {
                let name = shortened(name);
                faults.push(&pointer, FaultKind::BadName { name });
            }
            match all.index.get(name) {
                Some(first) => faults.push(
                    &pointer,
                    FaultKind::DuplicateName {
                        what,
                        name: shortened(name),
                        first: format!("{list}/{first}/name"),
                    },
                ),
                None => {
                    all.index.insert(name, index);
                }
            }
            all.in_order.push(name);
        }
        all
    }

    /// The index of a landmark; a fault at `pointer` where there is none of this name.
    pub fn landmark(&self, name: &str, pointer: &str, faults: &mut Faults) -> Option<usize> {
        let found = self.index.get(name).copied();
        // Looking for near names costs time for each name; past the last fault that is shown nobody reads them.
        if found.is_none() {
            let known = if faults.is_full() {
                String::new()
            } else {
                self.advice(name)
            };
            let name = shortened(name);
            faults.push(pointer, FaultKind::UnknownLandmark { name, known });
        }
        found
    }

    /// The name that may have been meant, how many there are, and the first few, the likest of them first.
    fn advice(&self, name: &str) -> String {
        let mut shown = nearest(name, self.in_order.iter().copied());
        let asked = match shown.first() {
            None => String::new(),
            Some(near) => format!("did you mean \"{}\"? ", shortened(near)),
        };
        for other in &self.in_order {
            if shown.len() < MOST_OFFERED && !shown.contains(other) {
                shown.push(other);
            }
        }
        let quoted = shown.iter().map(|name| format!("\"{}\"", shortened(name)));
        let quoted = quoted.collect::<Vec<_>>().join(", ");
        let all = self.in_order.len();
        match all.saturating_sub(shown.len()) {
            _ if all == 0 => "the view has none".to_owned(),
            0 if all == 1 => format!("{asked}the view has one: {quoted}"),
            0 => format!("{asked}the view has {all}: {quoted}"),
            more => format!("{asked}the view has {all}: {quoted} and {more} more"),
        }
    }
}

/// File names of the result folder, which a view's folder would collide with.
const RESULT_FILES: [&str; 9] = [
    "report.json",
    "report.html",
    "measures.csv",
    "summary.csv",
    "revision.csv",
    "space.csv",
    "shard.json",
    "sheet.pdf",
    "tickstrip-results.json",
];

/// Collects faults for view names that cannot be folders or that are one folder on some systems.
pub(super) fn check_view_names<'a>(
    names: impl Iterator<Item = (usize, &'a str)>,
    faults: &mut Faults,
) {
    let mut seen: HashMap<String, &str> = HashMap::new();
    for (index, name) in names {
        let pointer = format!("/views/{index}/name");
        if let Some(reason) = no_folder(name) {
            let name = shortened(name);
            faults.push(&pointer, FaultKind::BadViewName { name, reason });
        }
        if let Some(other) = seen.insert(name.to_lowercase(), name) {
            let (name, other) = (shortened(name), shortened(other));
            faults.push(&pointer, FaultKind::DuplicateViewName { name, other });
        }
    }
}

/// Longest name of a folder or file, bytes: every file system in use takes it, with room for an ending.
pub const LONGEST_FILE_NAME: usize = 120;

/// Whether some systems keep a file name for a device, whatever its ending.
///
/// # Source
/// "Naming Files, Paths, and Namespaces" of the Windows documentation (from memory).
pub fn is_device_name(name: &str) -> bool {
    let lower = name.to_lowercase();
    let stem = lower.split('.').next().unwrap_or_default().trim_end();
    let is_port = |rest: &str| {
        let mut digits = rest.chars();
        let digit = digits
            .next()
            .is_some_and(|c| c.is_ascii_digit() || "¹²³".contains(c));
        digit && digits.next().is_none()
    };
    matches!(stem, "con" | "prn" | "aux" | "nul" | "conin$" | "conout$")
        || ["com", "lpt"]
            .iter()
            .any(|port| stem.strip_prefix(port).is_some_and(is_port))
}

/// Why a name cannot be a folder on every system; `None` where it can.
fn no_folder(name: &str) -> Option<&'static str> {
    let is_allowed = |c: char| c.is_alphanumeric() || matches!(c, ' ' | '-' | '_' | '.');
    let lower = name.to_lowercase();
    Some(match name {
        "." | ".." => "it stands for another folder",
        _ if name.trim() != name || name.is_empty() => "it is empty or has a space at an end",
        _ if name.ends_with('.') => "it ends with a point",
        _ if !name.chars().all(is_allowed) => "a sign in it is not allowed",
        _ if name.starts_with('.') => "it begins with a point, which hides it",
        _ if name.len() > LONGEST_FILE_NAME => "it is longer than 120 bytes",
        _ if is_device_name(name) => "some systems keep this name for a device",
        _ if RESULT_FILES.contains(&lower.as_str()) => "a file of the results has this name",
        _ => return None,
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn near_names_come_first_and_far_ones_not_at_all() {
        let known = ["tool box top", "tool box tip", "tank front"];
        assert_eq!(
            nearest("tool box tp", known.into_iter()),
            ["tool box top", "tool box tip"]
        );
        assert!(nearest("xylophone", known.into_iter()).is_empty());
    }

    #[test]
    fn names_that_are_no_folder_are_told_apart() {
        for (name, words) in [
            ("..", Some("stands for another folder")),
            (" side", Some("space at an end")),
            ("side.", Some("ends with a point")),
            ("a/b", Some("not allowed")),
            ("a\\b", Some("not allowed")),
            ("a:b", Some("not allowed")),
            ("NUL.txt", Some("device")),
            ("com1", Some("device")),
            ("LPT³", Some("device")),
            ("aux .side", Some("device")),
            (".side", Some("begins with a point")),
            ("...", Some("ends with a point")),
            ("Sheet.PDF", Some("a file of the results")),
            ("side view-2_b.1", None),
            ("сбоку", None),
            ("command", None),
            ("com10", None),
            ("com", None),
        ] {
            let reason = no_folder(name);
            assert_eq!(reason.is_some(), words.is_some(), "{name}: {reason:?}");
            assert!(
                reason
                    .unwrap_or_default()
                    .contains(words.unwrap_or_default())
            );
        }
        assert_eq!(no_folder(&"x".repeat(120)), None);
        for long in ["x".repeat(121), "ж".repeat(61)] {
            assert_eq!(no_folder(&long), Some("it is longer than 120 bytes"));
        }
    }
}
