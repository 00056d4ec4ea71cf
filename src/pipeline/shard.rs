//! One share of a batch, where its results lie, and why shares cannot be put together.
use std::{
    fmt,
    path::{Path, PathBuf},
    str::FromStr,
};

/// Most shards of a batch: a judgement, more than any schedule has.
const MOST_SHARDS: u32 = 10_000;

/// One of the equal shares of a batch, such as 3/8.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Shard {
    pub(super) number: u32,
    pub(super) of: u32,
}

impl FromStr for Shard {
    type Err = String;

    fn from_str(text: &str) -> Result<Self, String> {
        let parts = text.split_once('/');
        let whole = |text: &str| {
            let is_plain = text.bytes().all(|byte| byte.is_ascii_digit());
            text.parse::<u32>().ok().filter(|_| is_plain)
        };
        let numbers = parts.and_then(|(number, of)| Some((whole(number)?, whole(of)?)));
        match numbers {
            Some((number, of)) if (1..=of).contains(&number) && of <= MOST_SHARDS => {
                Ok(Self { number, of })
            }
            _ => Err(format!(
                "it must be a number and how many there are, from 1/1 to {MOST_SHARDS}/{MOST_SHARDS}, such as 3/8"
            )),
        }
    }
}

impl fmt::Display for Shard {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{}/{}", self.number, self.of)
    }
}

impl Shard {
    /// Whether the view with this number among all views of the batch, from 0, is compared by it.
    pub(super) fn has(self, index: usize) -> bool {
        index % self.of as usize == self.number as usize - 1
    }

    /// The folder of its results, by that of the whole.
    pub(super) fn folder(self, out: &Path) -> PathBuf {
        shards_folder(out).join(format!("{}-of-{}", self.number, self.of))
    }

    /// That of a folder's name.
    pub(super) fn of_name(name: &str) -> Option<Self> {
        let (number, of) = name.split_once("-of-")?;
        let shard: Self = format!("{number}/{of}").parse().ok()?;
        // No other spelling of the same.
        (format!("{}-of-{}", shard.number, shard.of) == name).then_some(shard)
    }
}

/// The folder in which the shards of results lie, beside these.
pub fn shards_folder(out: &Path) -> PathBuf {
    let mut name = out.as_os_str().to_owned();
    name.push("-shards");
    name.into()
}

/// Why shards cannot be put together.
#[derive(Debug, thiserror::Error)]
#[non_exhaustive]
pub enum ShardError {
    /// There are none.
    #[error(
        "{}: there are no shards to be put together; compare them first, each with its own number, such as: tickstrip compare {job} --shard 1/2",
        path.display()
    )]
    None {
        /// Where they would be.
        path: PathBuf,
        /// The job.
        job: String,
    },
    /// The list of one cannot be used.
    #[error("{}: {reason}; compare this shard again", path.display())]
    Unreadable {
        /// The list.
        path: PathBuf,
        /// What is wrong with it.
        reason: String,
    },
    /// They are of batches that were shared out otherwise.
    #[error(
        "{}: there are shards of {first} and of {other}; remove the folders of those that are not meant",
        path.display()
    )]
    Mixed {
        /// Where they are.
        path: PathBuf,
        /// A number of shards.
        first: u32,
        /// Another one.
        other: u32,
    },
    /// One was compared with something else than now.
    #[error("{}: {what}; compare it again: tickstrip compare {job} --shard {shard}", path.display())]
    Other {
        /// The folder of the shard.
        path: PathBuf,
        /// With what.
        what: &'static str,
        /// The job.
        job: String,
        /// Which one.
        shard: Shard,
    },
    /// Some are missing.
    #[error(
        "{}: of {of} shards {missing} missing; compare what is missing, such as: tickstrip compare {job} --shard {first}",
        path.display()
    )]
    Missing {
        /// Where they would be.
        path: PathBuf,
        /// How many there are.
        of: u32,
        /// Those that are missing, with "is" or "are".
        missing: String,
        /// The job.
        job: String,
        /// The first one that is missing.
        first: Shard,
    },
    /// A view is not as it was when its shard was compared.
    #[error(
        "the view \"{view}\" is not as it was when shard {shard} was compared: an image or mesh has changed, or a file of its results; compare that shard again: tickstrip compare {job} --shard {shard}"
    )]
    ChangedView {
        /// The view.
        view: String,
        /// Its shard.
        shard: Shard,
        /// The job.
        job: String,
    },
    /// A view that no shard has.
    #[error(
        "no shard has the view \"{view}\"; compare all shards again with the same jobs in the same order"
    )]
    NoShardHas {
        /// The view.
        view: String,
    },
}

impl ShardError {
    /// Stable code for scripts.
    pub fn code(&self) -> &'static str {
        match self {
            Self::None { .. } => "no-shards",
            Self::Unreadable { .. } => "unreadable-shard",
            Self::Mixed { .. } => "mixed-shards",
            Self::Other { .. } => "other-shard",
            Self::Missing { .. } => "missing-shards",
            Self::ChangedView { .. } => "changed-view",
            Self::NoShardHas { .. } => "view-of-no-shard",
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_view_is_in_exactly_one_shard_and_shares_differ_by_one_at_most() {
        for of in [1, 3, 8] {
            let shards: Vec<Shard> = (1..=of).map(|number| Shard { number, of }).collect();
            let sizes: Vec<usize> = shards
                .iter()
                .map(|shard| (0..20).filter(|k| shard.has(*k)).count())
                .collect();
            assert_eq!(sizes.iter().sum::<usize>(), 20);
            assert!(sizes.iter().max() <= sizes.iter().min().map(|n| n + 1).as_ref());
        }
    }

    #[test]
    fn a_shard_is_a_number_of_a_number() {
        let shard: Shard = "3/8".parse().expect("a shard");
        assert_eq!(shard.to_string(), "3/8");
        let folder = shard.folder(Path::new("a/pump-results"));
        assert_eq!(folder, Path::new("a/pump-results-shards/3-of-8"));
        assert_eq!(Shard::of_name("3-of-8"), Some(shard));
        for text in [
            "", "3", "0/8", "9/8", "3/", "-3/8", "+3/8", "3/8/2", "1/10001", "3 / 8",
        ] {
            let told = text.parse::<Shard>().expect_err(text);
            assert!(told.ends_with("such as 3/8"), "{told}");
        }
        for name in ["03-of-8", "9-of-8", "3-of-", "3"] {
            assert_eq!(Shard::of_name(name), None, "{name}");
        }
    }
}
