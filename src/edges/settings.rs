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
        shape_reach = 1.5, "working px", "judgement":
            "How near to an edge of the render the further picture of its view has to have one.";
        shape_direction = 25.0, "degrees", "judgement":
            "By how much their directions may differ.";
        least_shape = 0.05, "share", "judgement":
            "A further picture that has fewer of the render's edges than this is none of its view.";
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
        line_deviation = 0.5, "working px", "judgement, by eight generated cases of another camera":
            "Standard deviation of the place of a mesh's whole line, however many points are on it.";
        line_direction = 15.0, "degrees", "judgement":
            "Points of a part whose directions differ by less are on one line.";
        line_distance = 10.0, "working px", "judgement":
            "Where they lie no farther off it than this.";
        space_line_deviation = 0.7, "working px", "judgement, by the prototype's drawn objects":
            "The same in several photos together, where lines of a photo err alike.";
        space_beyond_chance = 2.5, "deviations", "judgement":
            "There, edges of a part in a photo that fit better than displaced ones by less than this are not used.";
        space_spread_share = 0.6, "share", "judgement":
            "There, how much of what other places of a part would do is added to its covariance.";
        space_other_place = 2.5, "working px", "judgement: the width of an edge's response":
            "There, a place of a part whose edges lie so far from those of the fit, root mean square, is another one.";
        space_datum_aside = 1.0, "working px", "judgement, by drawn objects: 0.3 where the marks are right, 1.4 where their places are 2 % off":
            "There, where more than half of the clear edges of the datum lie farther beside the fit, they contradict its marks.";
        space_pixels = 3e6, "pixels", "judgement: 2000 x 1500":
            "Most pixels of the grid that edges of one photo are looked for on.";
        space_photos = 10.0, "photos", "judgement: 180 MB":
            "Of more photos each has so much less that all have together as many pixels as these.";
        mesh_strain = 4.0, "times", "judgement, by the same cases":
            "How much more the edges of a mesh's datum parts may ask of the datum marks: their depth is known.";
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
