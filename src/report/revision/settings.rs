//! What revisions go by.
use crate::settings::settings;

settings! {
    /// What revisions go by.
    REVISION: RevisionSettings of "revision" {
        edges_in_common = 0.7, "share", "judgement, by pairs of jobs of rendered cases (METHOD.md)":
            "Correlation of what edges leave unsure of two figures of a part, the reference being the same: its edges lead both astray alike.";
        least_part = 0.05, "share", "judgement: what is left out counts as independent":
            "Marks that move a figure by less than this part of what the mark that moves it most does are not kept in report.json.";
    }
}
