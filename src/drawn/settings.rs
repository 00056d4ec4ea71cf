//! What drawn renders go by.
use crate::settings::settings;

settings! {
    /// What drawn renders go by.
    DRAWN: DrawnSettings of "drawn" {
        most_deviation = 0.01, "parts of the diagonal", "judgement":
            "A camera that tells less well than this where it shows the corners of the model's box is not drawn from (root mean square).";
        mark_deviation = 0.02, "render px", "judgement: the rounding of what is drawn":
            "Standard deviation of a mark in a drawn render whose place on the model is exact.";
        beside_mesh = 0.25, "parts of the mesh's size", "judgement":
            "Places of landmarks that lie farther off the mesh's box than this belong to another unit or to other axes.";
        least_reach = 0.1, "parts of the mesh's size", "judgement":
            "A mesh of which the landmarks' places reach over less has another unit.";
        edge_step = 1.5, "render px", "judgement":
            "From one place on the mesh's visible edges to the next.";
        outline_margin = 4.0, "render px", "judgement":
            "How much wider than what is seen of a part its region is.";
        outline_within = 1.0, "render px", "judgement":
            "How far corners that are left out of a region's outline may lie from it.";
        least_pixels = 60.0, "px", "judgement":
            "A part of which less is seen gets no region.";
        one_piece = 0.8, "share", "judgement":
            "A part of which the largest piece has less than this of what is seen of it gets the convex outline of all pieces.";
        corner_reach = 12.0, "screen px", "judgement":
            "A click on the model this near to a corner of the mesh that is seen means the corner.";
        edge_reach = 7.0, "screen px", "judgement: less than for corners":
            "A click this near to a feature edge, and to no corner, means the place on the edge.";
        lines_on = 1_000_000.0, "px", "judgement: quick after every click":
            "Which lines are hidden is looked at on a picture of so many pixels at most, where they are laid over a photo.";
        line_piece = 40.0, "px", "judgement":
            "Straight lines get a corner so often, for a lens bends them.";
    }
}
