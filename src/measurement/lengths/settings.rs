//! What known lengths and directions go by.
use crate::settings::settings;

settings! {
    /// What known lengths and directions go by.
    LENGTHS: LengthSettings of "lengths" {
        widest_stretch = 0.05, "of its logarithm", "judgement":
            "A stretch known no better than this (standard deviation) is not told.";
        most_contradicting = 0.4, "share", "judgement":
            "Share of lengths or of directions that may contradict the others: snooping takes the larger half for the right one, and near a half chance decides which that is.";
        length_level = 0.001, "probability", "Baarda (1968)":
            "Chance that noise alone makes a test speak.";
        drawn_deviation = 0.2, "deviations of a mark", "judgement":
            "A dimension is drawn and rounded too: its own deviation.";
        least_redundancy = 0.05, "share", "judgement":
            "Below this share of an error that shows, nothing tells whether a line is misread.";
        most_stretch = 0.2, "of its logarithm", "judgement":
            "Largest stretch or shear that is told: no copy of a drawing is that far off, and the rounds of the fit no longer end.";
    }
}
