//! What edge overlap goes by.
use crate::settings::settings;

settings! {
    /// What edge overlap goes by.
    OVERLAP: OverlapSettings of "overlap" {
        least_edges = 20.0, "working px", "judgement":
            "Fewer edge pixels than this tell nothing.";
        least_blur = 1.4, "working px", "Canny (1986) takes about as much":
            "Blur of a sharp image before edges are sought.";
        blur_per_enlargement = 0.8, "working px per time", "judgement":
            "A reference that is stretched holds no detail below that.";
        most_blur = 4.0, "working px", "judgement":
            "Most blur: beyond it small parts melt together.";
        above_noise = 6.0, "deviations of the noise", "judgement":
            "Least magnitude of a strong edge, above the noise.";
        part_of_strongest = 0.25, "share", "judgement":
            "Least magnitude of a strong edge, of that of the strongest hundredth.";
    }
}
