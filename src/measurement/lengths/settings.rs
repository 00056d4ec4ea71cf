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
        crossed_direction = 20.0, "degrees", "judgement":
            "A direction that is so far off is no matter of noise or of shear: x and y are exchanged, or the ends.";
        most_stretch = 0.2, "of its logarithm", "judgement":
            "Largest stretch or shear that is told: no copy of a drawing is that far off, and the rounds of the fit no longer end.";
    }
}

settings! {
    /// What calliper readings of a print go by.
    PRINT: PrintSettings of "print" {
        calliper_mm = 0.025, "mm", "judgement, beside the error limit of callipers":
            "Standard deviation of a reading on a print, where the job states none: the calliper, the edge of the print and the hand.";
        expected_size = 0.03, "of its logarithm", "judgement":
            "How far off a print's size is expected along an axis: resins and plastics shrink by parts of a per cent to some per cent.";
        informative = 0.5, "share", "judgement":
            "A size is told only where its deviation is below this part of what was expected beforehand.";
        wrong_level = 0.001, "probability", "Baarda (1968)":
            "Chance that noise alone makes a reading look misread.";
        least_redundancy = 0.05, "share", "judgement":
            "Below this share of its error that shows, nothing tells whether a reading is misread.";
    }
}
