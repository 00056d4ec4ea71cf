//! `--max-memory`: the memory that all images of a run share.
use crate::images::{self, Budget};

/// The option, for every command that reads images.
#[derive(clap::Args, Debug, Default)]
pub(super) struct Memory {
    /// Memory for all images that are worked on at a time, such as 4GiB or 800MB; views wait for it, and one that needs
    /// more is refused [default: half of what is free, which is less in a container with a limit; 2GiB where the system
    /// does not tell]
    #[arg(long, value_name = "SIZE", value_parser = size)]
    max_memory: Option<u64>,
}

impl Memory {
    /// What the run has.
    pub fn budget(&self) -> Budget {
        Budget::new(self.max_memory.unwrap_or_else(images::half_of_free_memory))
    }
}

/// Units, and the bytes of each.
const UNITS: [(&str, u64); 7] = [
    ("kib", 1 << 10),
    ("mib", 1 << 20),
    ("gib", 1 << 30),
    ("tib", 1 << 40),
    ("mb", 1_000_000),
    ("gb", 1_000_000_000),
    ("tb", 1_000_000_000_000),
];

/// Bytes of a size such as `4GiB`.
pub(super) fn size(text: &str) -> Result<u64, String> {
    let lower = text.trim().to_ascii_lowercase();
    let unit = UNITS.iter().find(|(unit, _)| lower.ends_with(unit));
    let bytes = unit.and_then(|(unit, bytes)| {
        let number = lower.strip_suffix(unit)?.trim_end();
        let is_plain = number.bytes().all(|b| b.is_ascii_digit() || b == b'.');
        let number: f64 = is_plain.then(|| number.parse().ok())??;
        Some(number * *bytes as f64)
    });
    match bytes {
        Some(bytes) if (LEAST..=MOST).contains(&bytes) => Ok(bytes as u64),
        Some(_) => Err("it must be 1MB to 1000TiB".to_owned()),
        None => Err("it must be a number and a unit, such as 4GiB or 800MB".to_owned()),
    }
}

const LEAST: f64 = 1e6;
const MOST: f64 = 1000.0 * (1_u64 << 40) as f64;

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn sizes_are_numbers_with_a_unit() {
        for (text, bytes) in [
            ("800MB", 800_000_000),
            ("4GiB", 4 << 30),
            ("1.5 gib", 3 << 29),
            ("2048KiB", 2 << 20),
            ("1000TiB", 1000 << 40),
            ("1TB", 1_000_000_000_000),
        ] {
            assert_eq!(size(text), Ok(bytes), "{text}");
        }
        for text in [
            "",
            "800",
            "MB",
            "-1GB",
            "1e3MB",
            "nan GB",
            "inf GB",
            "4G",
            "4 GiB free",
            "1.2.3GB",
        ] {
            assert!(
                size(text).is_err_and(|e| e.contains("such as 4GiB")),
                "{text}"
            );
        }
        for text in ["0GB", "0.5MB", "1001TiB"] {
            assert_eq!(size(text), Err("it must be 1MB to 1000TiB".to_owned()));
        }
    }
}
