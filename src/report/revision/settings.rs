//! What revisions go by.
use crate::settings::settings;

settings! {
    /// What revisions go by.
    REVISION: RevisionSettings of "revision" {
        least_part = 0.05, "share", "judgement: what is left out counts as independent":
            "Marks that move a figure by less than this part of what the mark that moves it most does are not kept in report.json.";
    }
}
