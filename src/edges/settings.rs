//! What the fit of edges goes by; lengths in working pixels.
use crate::settings::settings;

settings! {
    /// What the fit of edges goes by; lengths in working pixels.
    EDGES: EdgeSettings of "edges" {
        point_blur = 1.0, "working px", "judgement":
            "Blur of the render before the gradient.";
        least_gradient = 1.6, "grey levels per px", "judgement":
            "Least gradient of an edge of the render.";
        clear_gradient = 4.8, "grey levels per px", "judgement, by generated cases with soft shading":
            "A weaker gradient is an edge only where it is narrow: else it is a band of shading.";
        band_reach = 3.0, "working px", "judgement":
            "How far to both sides of a weak edge its gradient has to have fallen off.";
        band_share = 0.15, "share", "judgement":
            "To what share of its height.";
        spacing = 3.0, "working px", "judgement":
            "One point for each cell of this size: nearer ones say the same.";
        response_blur = 1.5, "working px", "judgement":
            "Blur of the reference before derivatives.";
        gradient_floor = 0.6, "grey levels per px", "judgement":
            "What is added to the root mean square of gradients around a place: noise is no edge.";
        ridge_floor = 0.4, "grey levels per px squared", "judgement":
            "The same for lines.";
        point_deviation = 0.7, "working px", "judgement":
            "Standard deviation of the place of one edge point.";
        point_correlation = 2.2, "times", "judgement":
            "By how much the deviation of neighbouring points is larger than of independent ones: they lie on the same edge and see the same shading.";
        full_response = 1.2, "response", "judgement":
            "A response of this much is a full edge.";
        owner = 0.5, "probability", "judgement":
            "Probability that an edge point lies on the smallest region around it.";
        least_response = 0.25, "response", "judgement":
            "Response that a point off any edge counts as.";
        most_response = 2.0, "response", "judgement":
            "Response beyond which more is no better.";
        least_points = 12.0, "points", "judgement":
            "Fewer points than this are no evidence.";
        last_window = 2.0, "working px", "judgement":
            "Window (standard deviation) of a round after a change.";
        settling_window = 1.5, "working px", "judgement":
            "The narrow window in which the fit settles in the end.";
        restart_gain = 2.0, "log-likelihood", "judgement":
            "Gain at which a search's find replaces the fit.";
        trusted_beyond_chance = 4.0, "deviations", "judgement":
            "Edges that fit so much better than displaced ones may accuse a mark.";
        widening = 1.2, "times", "judgement":
            "How much wider than what is known the draws of the search are.";
        narrow_widening = 1.5, "times", "judgement":
            "How much wider than the fit's covariance the narrow draws are.";
        points_per_observation = 10.0, "points", "judgement":
            "Neighbouring points say the same: so many count as one.";
        overlap_reach = 2.5, "working px", "judgement":
            "How far along its normal an edge point looks when overlap is asked for.";
        own_reach = 5.0, "working px", "judgement, by generated cases with soft shading":
            "An edge this far off its own edge counts 1/e.";
        least_reachable = 0.17, "share", "judgement":
            "Least share above chance, of what there is, that a part is taken to reach.";
    }
}
