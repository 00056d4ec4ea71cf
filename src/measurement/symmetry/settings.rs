//! What symmetry goes by.
use crate::settings::settings;

settings! {
    /// What symmetry goes by.
    SYMMETRY: SymmetrySettings of "symmetry" {
        level = 0.001, "probability", "judgement":
            "Chance that noise alone makes the test speak.";
        least_gain = 0.02, "share of the variance", "judgement":
            "Mirrored marks count as used where they take at least this part off the variance of a width, a height or an offset.";
    }
}
