//! What the adjustment goes by.
use crate::settings::settings;

settings! {
    /// What the adjustment goes by.
    ADJUSTMENT: AdjustmentSettings of "adjustment" {
        render_mark_deviation = 0.75, "render px", "judgement":
            "Standard deviation of a mark per coordinate in the render where the job does not state it, before it is estimated; a photo of a screen is harder to mark.";
        along_outline = 4.0, "render px", "judgement":
            "Standard deviation of a landmark along the smooth outline that it is the outermost point of, both marks together, before it is estimated.";
        datum_size = 0.2, "%", "judgement":
            "How far width and height of a datum part may be off without the user's knowing (standard deviation).";
        datum_rotation = 0.1, "degrees", "judgement":
            "How far a datum part may be turned without the user's knowing (standard deviation).";
        datum_offset = 0.75, "render px", "judgement":
            "How far all marks and edges of a datum part may lie beside the place together: one way of clicking, one light on its edges (standard deviation).";
        robust_constant = 2.0, "deviations", "judgement; 2.385 keeps 95 % of the efficiency (Holland and Welsch 1977, from memory)":
            "How far a robust fit trusts a residual: the constant of its Cauchy weights.";
        other_camera = 6.0, "times", "judgement":
            "How much more keystone a camera that stands elsewhere may bring.";
        drawn_camera = 1.5, "times", "judgement: a principal point off by 2 % of the diagonal, at a focal length of one and a half":
            "How much more stretch, shear and keystone the camera that a render was drawn from may leave.";
        unknown_relief = 0.3, "share", "judgement":
            "How far landmarks lie before and behind their plane, in parts of how far they lie from their middle, where places on the model are wrong (standard deviation).";
        strain_level = 0.001, "probability", "judgement":
            "Level of the test whether the datum marks bear what the edges of datum parts make of the registration.";
        independent_share = 0.25, "share of the weight", "judgement, by drawn cases of another seed":
            "Share of the weight of edge marks with which deviations are reckoned: shading, blur and lines of a drawing shift a whole edge, not one point of it, so that neighbouring points err together over longer stretches than the fit takes them to.";
    }
}
