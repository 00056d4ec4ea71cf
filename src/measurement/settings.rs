//! What figures of regions go by, and doubts about the datum.
use super::{
    lengths::settings::{LENGTHS, PRINT},
    overlap::settings::OVERLAP,
    symmetry::settings::SYMMETRY,
};
use crate::settings::{Setting, settings};

settings! {
    /// What figures of regions go by, and doubts about the datum.
    REGIONS: RegionSettings of "regions" {
        informative = 0.6, "share", "judgement: a third of its weight is then the expectation's":
            "A figure is given only where its deviation is below this part of what was expected beforehand: else the figure would mostly repeat the expectation.";
        clearly_told = 0.5, "share", "judgement":
            "Only errors whose deviation is below this part of what was expected say which edges of the reference are a part's own.";
        believed_offsets = 1.0, "observations", "judgement, by generated cases":
            "Offsets as large as the job expects that are added to those of the view's parts before it is said how large offsets are.";
        least_beyond_chance = 1.5, "deviations", "judgement":
            "Edges count only where they fit so much better than displaced ones do.";
        contradiction_level = 0.2, "probability", "judgement":
            "Level of the test whether a part's edges contradict its marks; below it both are trusted as they are.";
        edge_freedom = 60.0, "degrees of freedom", "judgement":
            "Freedom of figures that edges refined: makes an interval of two standard deviations.";
        clear_share = 0.6, "share", "judgement, by drawn cases of another seed":
            "Share of the deviations of the search that belongs to an interval where edges fit clearly: the search flattens its likelihood so as not to miss a place, which makes a single place look wider than it is. Edges that barely beat chance keep the whole.";
        clearly_beyond_chance = 4.0, "deviations", "judgement":
            "Edges that fit so much better than displaced ones fit clearly.";
        spanned_by_marks = 0.5, "share", "judgement":
            "A part's marks stand for its size where they span this share of its outline; else its edges do.";
        depth_per_size = 0.3, "share", "judgement":
            "Where the reference's camera stands elsewhere, a part's edges lie before or behind the plane through its landmarks by this part of its size.";
        out_of_neighbours = 1.5, "times", "judgement":
            "How much farther than landmarks parts stand out of their neighbours' depth.";
        many_wrong = 1.0 / 3.0, "share", "judgement":
            "Share of the datum landmarks beyond which wrong ones are no slips of the hand any more.";
        doubt_level = 0.001, "probability", "judgement":
            "Level of a test of the datum, two-sided.";
        beyond_a_bend = 3.0, "times the noise", "judgement":
            "Residuals so large are no bend, whatever the test says.";
        no_better_than_chance = 0.05, "share above chance", "judgement, by pairs of images with marks of others":
            "Edges of both images that overlap by less, around the datum marks and in the whole view, refuse the marks.";
        foreign_parts = 0.35, "share above chance", "judgement, by pairs of images with marks of others":
            "The same of the mean of five or more parts, which then decide beside twice that share in the whole view.";
        least_pixels = 500.0, "edge pixels", "judgement":
            "Fewer around the datum marks do not refuse them.";
        far_from_datum = 3.0, "times", "judgement":
            "Where the registration is so many times less well known than at the datum marks, a further datum mark is advised.";
        far_within = 2.0, "render px", "judgement":
            "A registration that is known better than this, as half a 95 % interval, asks for no further datum mark.";
        sizes_by_camera = 1.25, "times", "judgement, by eighteen generated cases of another camera":
            "Deviations of widths and heights that the camera of a photo tells are so much larger than the adjustment has them.";
        near_level = 0.05, "probability", "judgement":
            "Level of the test whether the camera of a photo stands as far from the subject as that of the render; below it nothing is taken for known of that.";
        far_camera = 3.0, "expected deviations", "judgement":
            "The reference's camera is expected near the render's: so far off is a contradiction.";
    }
}

settings! {
    /// What the look at an earlier issue goes by.
    EARLIER: EarlierSettings of "earlier" {
        other_look = 0.5, "share", "judgement":
            "A part whose likeness is below this share of the median part's looks other than it did, though its figures are within.";
    }
}

/// All that measurement goes by.
pub(crate) fn all() -> Vec<&'static Setting> {
    [
        REGIONS.all(),
        EARLIER.all(),
        LENGTHS.all(),
        PRINT.all(),
        OVERLAP.all(),
        SYMMETRY.all(),
    ]
    .concat()
}
