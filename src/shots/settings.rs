//! What laying several shots over each other goes by.
use crate::settings::settings;

settings! {
    /// What laying several shots over each other goes by.
    SHOTS: ShotsSettings of "shots" {
        least_slope = 2.0, "grey levels per px", "judgement":
            "Slope in the direction in which a place shows the least, from which on it may tell where it lies.";
        clear_of_noise = 2.0, "times", "judgement":
            "Squared slope of a place beside that of the quarter of cells that have the least: as noise makes it anywhere.";
        least_places = 20.0, "places", "judgement":
            "Fewest places by which a shot is laid over the first one; a projective map needs four.";
        least_agreeing = 0.5, "share", "judgement":
            "Of the places found in a shot, so many have to lie where the map takes them.";
        least_found = 0.25, "share", "judgement":
            "Of the clear places of the first shot, so many have to lie where the map takes them.";
        most_scatter = 1.0, "px", "judgement: moire of 10 grey levels makes 0.5":
            "Most that single places lie beside where the map takes them (root mean square).";
        most_apart = 0.4, "px", "judgement":
            "The same of parts of the picture, by the mean of their places: beyond it something moved, or the camera did.";
        most_scale = 2.0, "times", "judgement":
            "How much larger or smaller than in the first shot things may be.";
        least_covered = 0.5, "share", "judgement":
            "Least part of the first shot that another one has to show.";
        least_sharpness = 0.35, "share", "judgement":
            "Least squared slope beside that of the first shot at the same places: below it a shot is too blurred.";
        most_gain = 1.6, "times", "judgement":
            "How much brighter or darker a shot may be before what it clips is missed.";
        outlying = 4.0, "deviations", "judgement":
            "A value farther than this from those of the other shots is left out of the mean.";
        least_noise = 1.0, "grey levels", "judgement: rounding alone makes 0.3":
            "Noise that values are taken to have at least, when it is asked whether one is outlying.";
    }
}
