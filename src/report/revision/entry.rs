//! The entries of a revision in `report.json`.
use crate::{
    measurement::{MeasureKind, PartKind},
    report::json::Figure,
};
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

/// What became of a figure.
#[derive(
    Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize, JsonSchema,
)]
#[serde(rename_all = "kebab-case")]
pub enum Change {
    /// It is farther off now, beyond the interval of the difference.
    Worse,
    /// It is less off now, beyond the interval of the difference.
    Better,
    /// The pictures do not tell.
    CannotTell,
    /// It is as far off as before: the whole interval of the difference lies within the tolerance.
    Same,
    /// It was not measured before.
    New,
    /// It is not measured any more.
    Gone,
}

impl Change {
    /// All, those that matter most first.
    pub const ALL: [Self; 6] = [
        Self::Worse,
        Self::Better,
        Self::CannotTell,
        Self::Same,
        Self::New,
        Self::Gone,
    ];

    /// Its word, the same wherever it is told.
    pub fn word(self) -> &'static str {
        match self {
            Self::Worse => "worse",
            Self::Better => "better",
            Self::CannotTell => "cannot tell",
            Self::Same => "same",
            Self::New => "new",
            Self::Gone => "gone",
        }
    }

    /// The sign that doubles its colour.
    pub fn sign(self) -> char {
        match self {
            Self::Worse => '▲',
            Self::Better => '▼',
            Self::CannotTell => '?',
            Self::Same => '=',
            Self::New => '+',
            Self::Gone => '−',
        }
    }
}

/// What became of the model since earlier results.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct RevisionEntry {
    /// File name of the job of the earlier results, without its folder.
    pub job_file: String,
    /// BLAKE3 checksum of that job file, in hexadecimal.
    pub job_blake3: String,
    /// Version of the program that wrote them.
    pub program_version: String,
    /// Worse where anything is; else better, same, or cannot tell where nothing else is told.
    pub verdict: Change,
    /// How many figures became what.
    pub counts: Counts,
    /// The counts in words.
    pub text: String,
    /// In the order of the job; views that are gone last.
    pub views: Vec<RevisionViewEntry>,
}

/// How many figures became what.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
pub struct Counts {
    /// Less off.
    pub better: usize,
    /// Farther off.
    pub worse: usize,
    /// As far off as before.
    pub same: usize,
    /// Not told.
    pub cannot_tell: usize,
    /// Not measured before.
    pub new: usize,
    /// Not measured any more.
    pub gone: usize,
}

impl Counts {
    pub(super) fn of<'a>(measures: impl Iterator<Item = &'a RevisionMeasure>) -> Self {
        let mut counts = Self::default();
        for measure in measures {
            *counts.of_change(measure.change) += 1;
        }
        counts
    }

    fn of_change(&mut self, change: Change) -> &mut usize {
        match change {
            Change::Better => &mut self.better,
            Change::Worse => &mut self.worse,
            Change::Same => &mut self.same,
            Change::CannotTell => &mut self.cannot_tell,
            Change::New => &mut self.new,
            Change::Gone => &mut self.gone,
        }
    }

    /// Figures that both reports have.
    pub(super) fn in_both(&self) -> usize {
        self.better + self.worse + self.same + self.cannot_tell
    }

    pub(super) fn verdict(&self) -> Change {
        match self {
            Self { worse: 1.., .. } => Change::Worse,
            Self { better: 1.., .. } => Change::Better,
            Self { same: 1.., .. } => Change::Same,
            _ => Change::CannotTell,
        }
    }

    /// "3 better, 0 worse, 9 same, 2 cannot tell", and what is new or gone.
    pub(super) fn in_words(&self) -> String {
        let mut text = format!(
            "{} better, {} worse, {} same, {} cannot tell",
            self.better, self.worse, self.same, self.cannot_tell
        );
        for (count, word) in [(self.new, "new"), (self.gone, "gone")] {
            if count > 0 {
                text.push_str(&format!(", {count} {word}"));
            }
        }
        text
    }
}

/// One view of both.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct RevisionViewEntry {
    /// Its name.
    pub name: String,
    /// Why the figures of both are taken for independent, so that their differences are less well known; null where what both
    /// have in common is known.
    pub independent: Option<String>,
    /// In the order of the job; those that are gone last.
    pub measures: Vec<RevisionMeasure>,
}

/// What became of one figure.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct RevisionMeasure {
    /// What it is of.
    pub of: PartKind,
    /// Name of the region, span or angle.
    pub name: String,
    /// Which figure of it.
    pub measure: MeasureKind,
    /// Unit of all figures here: "%", "°", "mm" on the model, or "px" of the later render.
    pub unit: String,
    /// The error then; null where it was not told.
    pub before: Option<Figure>,
    /// The error now; null where it is not told.
    pub after: Option<Figure>,
    /// The error now minus that of then, with the interval of the difference.
    pub difference: Option<Figure>,
    /// How much less the model is off now, whatever the side: above 0 where it is better.
    pub less_off: Option<Figure>,
    /// What is tolerated now; null where it is not judged.
    pub tolerance: Option<f64>,
    /// What became of it.
    pub change: Change,
}
