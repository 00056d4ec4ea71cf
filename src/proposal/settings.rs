//! What proposing landmarks goes by.
use crate::settings::settings;

settings! {
    /// What proposing landmarks goes by.
    PROPOSAL: ProposalSettings of "proposal" {
        blur = 1.0, "working px", "judgement":
            "Standard deviation of the blur before the gradient.";
        clear_gradient = 8.0, "grey levels per px", "judgement":
            "A gradient as strong as this is half clear.";
        window = 2.5, "working px", "judgement":
            "Standard deviation of the window over which directions of the gradient are gathered.";
        least_clearness = 0.04, "share of the window", "judgement":
            "Least share of clear gradient across the weaker of both directions, for a place to be looked at.";
        corner_reach = 7.0, "render px", "judgement":
            "How far from a corner its edges are followed.";
        corner_core = 2.5, "render px", "judgement":
            "Nearer to a corner than this its edges are rounded by the blur and do not count.";
        off_edge = 0.7, "render px", "judgement":
            "An edge of a corner that passes it at this distance counts half.";
        straight_share = 0.6, "share", "judgement":
            "Least share of the edges around a corner that have to pass through it.";
        least_crossing = 0.12, "share", "judgement":
            "Weaker over stronger direction of the edges through a corner, at least: below it they are one edge.";
        least_seen = 0.85, "share of the rays", "judgement":
            "Least share of the rays from the centre of a round thing that have to meet it.";
        outline_reach = 12.0, "render px", "judgement":
            "How far to both sides of its outermost point an outline is followed.";
        outline_depth = 4.0, "render px", "judgement":
            "How far within the outermost edge point of its part an outline may turn back.";
        flattest = 150.0, "render px", "judgement":
            "Larger radius of an outline at which its outermost point is not told.";
        sharpest = 8.0, "render px", "judgement":
            "Smaller radius of an outline at which it is a corner.";
        ragged = 0.5, "render px", "judgement":
            "An outline whose points lie farther off a parabola (root mean square) is none.";
        coarsest = 4.0, "px", "judgement":
            "Pixels of the coarser image from sample to sample, at most, in a wide look for a place in the reference.";
        ahead = 0.1, "correlation", "judgement":
            "By so much a place of the reference has to be more alike than any other within the ellipse.";
        least_likeness = 0.75, "correlation", "judgement":
            "Least correlation of the surroundings of a place in both images.";
        alike_noise = 4.0, "times", "judgement":
            "By how much differences of neighbouring samples, which are alike, count for less than their number.";
        unseen = 0.5, "times", "judgement":
            "What a place counts that the reference does not clearly show, beside one that it does.";
        datum_on_part = 0.5, "times", "judgement":
            "What a datum mark counts that lies on a part which is judged, beside one on no part.";
        half_clear = 0.1, "share of the window", "judgement":
            "A corner so clear counts half of what the clearest would.";
        looked_at = 24.0, "places", "judgement":
            "Places of one part that are looked for in the reference at a time: those that would tell most by themselves.";
        near = 6.0, "deviations of a mark", "judgement":
            "Nothing is proposed nearer than this to a mark, to a place that was passed over, or to another proposal.";
        least_gain = 0.02, "share of the interval", "judgement":
            "A landmark that shrinks the intervals by less is not proposed.";
        first_of_part = 4.0, "landmarks", "judgement":
            "So many landmarks a part has, with those that are marked, before the next part comes.";
        most_of_part = 8.0, "proposals", "judgement":
            "Most proposals for one part.";
        most = 60.0, "proposals", "judgement":
            "Most proposals for a view.";
        widest = 0.08, "parts of the diagonal", "judgement":
            "A landmark of another photo whose 95 % ellipse reaches farther is not proposed: its camera has to be told better first.";
    }
}
