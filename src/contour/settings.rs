//! What the look at a mark's surroundings goes by.
use crate::settings::settings;

settings! {
    /// What the look at a mark's surroundings goes by.
    CONTOUR: ContourSettings of "contour" {
        radius = 6.0, "render px", "judgement":
            "How far around a mark its surroundings are looked at.";
        blur = 1.0, "px", "judgement":
            "Standard deviation of the blur before the gradient.";
        clear_gradient = 4.0, "grey levels per px", "judgement":
            "A gradient as strong as this is half clear.";
        least_share = 0.05, "share", "judgement":
            "Least share of the surroundings that clear edges of one direction have to fill.";
        smooth_roundness = 0.08, "share", "judgement":
            "Roundness below which a mark that says nothing of itself lies on a smooth outline.";
        stated_roundness = 0.5, "share", "judgement":
            "Roundness above which the surroundings of a stated outline have no direction.";
        most_radius = 40.0, "px", "judgement":
            "Largest radius of a round thing that is looked for around a mark.";
        clear_step = 2.0, "grey levels per px", "judgement":
            "Least rise along a ray of what may be its outline.";
        least_seen = 0.75, "share", "judgement":
            "Least share of the rays that have to meet it.";
        ring_reach = 0.6, "px", "judgement":
            "How far from the ellipse a ray's step still belongs to it.";
        least_flatness = 0.25, "share", "judgement":
            "Shorter over longer axis below which it is a slot and no round thing.";
    }
}
