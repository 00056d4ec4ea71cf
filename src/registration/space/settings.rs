//! What the resection goes by.
use crate::settings::settings;

settings! {
    /// What the resection goes by.
    SPACE: SpaceSettings of "space" {
        principal_point = 0.02, "parts of the diagonal", "common practice, no source":
            "Standard deviation of the principal point from the middle of a picture that is not cropped.";
        screen_principal_point = 0.03, "parts of the diagonal", "judgement":
            "The same in the picture on a screen: films are cropped a little.";
        cropped_principal_point = 0.15, "parts of the diagonal", "judgement":
            "The same in a picture that is said to be cropped.";
        stated_principal_point = 0.001, "parts of the diagonal", "judgement":
            "Standard deviation of a principal point that is stated.";
        unknown_lens = 0.3, "of the coefficient", "judgement":
            "Standard deviation of an unknown lens's coefficient before anything is measured.";
        slight_lens = 0.012, "of the coefficient", "judgement: a few pixels at the corners of a photo":
            "The same of the lens of a photo that is compared by itself, where the job says nothing of it.";
        focal_percent = 3.0, "%", "judgement":
            "Standard deviation of a focal length that is stated in pixels without one.";
        focal_35mm_percent = 10.0, "%", "judgement":
            "The same in millimetres of 35 mm film: makers round it, and lenses focus.";
        as_render_share = 0.05, "parts of the perspective", "measured: of a camera that was set by eye":
            "Standard deviation of the perspective where it is that of the render, the part that grows with it.";
        as_render_least = 0.004, "sizes of the datum over the distance", "measured: of a camera that was set by eye":
            "The same, the part that does not.";
        corners_outside = 0.2, "parts of the picture", "judgement":
            "Standard deviation of a screen's corners that are not in the picture.";
        flat = 0.02, "of the largest extent", "judgement":
            "Datum marks that reach less far across their plane lie in it.";
        nearly_flat = 0.08, "of the largest extent", "judgement":
            "Datum marks that reach less far across their plane lie nearly in it: their camera is told badly, and one off the plane is asked for.";
        robust_constant = 2.0, "deviations", "judgement; 2.385 keeps 95 % of the efficiency (Holland and Welsch 1977, from memory)":
            "Constant of the Cauchy weights of the robust solutions.";
        start_error = 8.0, "deviations", "judgement":
            "A start's error at a mark counts in units of this, up to three.";
        attitude_cost = 10.0, "chi-square", "judgement: odds of 150 to one":
            "Two attitudes whose costs differ by less than this cannot be told apart.";
        gross = 3.0, "critical values", "judgement":
            "Marks whose statistic in the robust solution is above this many critical values are left out before least squares.";
        most_focal_deviation = 0.3, "of its logarithm", "judgement":
            "Largest standard deviation of a focal length, or of a distance, that is still told.";
        loose_principal_point = 0.05, "parts of the diagonal", "judgement":
            "With marks in a plane, a principal point that is known worse than this leaves the focal length untold.";
        least_facing = 0.2, "share", "judgement: a plane turned away by more than 78 degrees":
            "Planes that a camera shows shorter than this part of their width are seen edge-on, and nothing is measured in them.";
        told_share = 0.5, "of what is expected", "judgement: the marks tell more than was thought before":
            "Largest standard deviation of a part's error that still counts as told.";
        told_component = 0.2, "of the squared direction", "judgement":
            "Errors that have so much of a direction that is not told are named for it.";
        told_apart = 4.0, "chi-square", "judgement: odds of seven to one":
            "Of two marks of a part whose statistics differ by less, nobody knows which is wrong.";
        believed_parts = 6.0, "observations", "judgement":
            "Errors as large as expected that are added to those of the parts before the expectation is widened.";
        most_widened = 5.0, "times", "judgement":
            "What is expected of parts is widened no further.";
        believed_lines = 6.0, "observations", "judgement":
            "Lines of a photo's edges as far off as expected that are added to its own before their deviation is estimated.";
        most_edge_noise = 2.5, "times", "judgement":
            "The deviation of a photo's edges is taken no farther from what is expected of it.";
        aside_deg = 10.0, "degrees", "judgement: a step aside in front of the subject":
            "How far from a photo another one is thought of that would tell more.";
        far_aside_deg = 25.0, "degrees", "judgement":
            "The same where that is too near.";
        length_marks = 0.2, "marks", "judgement: who measures a length finds its ends better than who clicks them":
            "Standard deviation of a known length on the subject, in that of a mark at the scale of the photos.";
        unknown_scale = 1.0, "of its logarithm", "judgement":
            "Standard deviation of the subject's size, in what the model's scale makes it, where a known length tells it.";
        mirror_percent = 0.2, "%", "judgement":
            "How well sizes of parts agree that mirror each other (standard deviation).";
        mirror_deg = 0.1, "degrees", "judgement":
            "The same of their turns.";
        mirror_mm = 0.02, "model mm", "judgement":
            "The same of their offsets.";
        most_wrong_share = 0.33, "of the datum marks", "judgement":
            "Where so many contradict the others, a mirrored picture is tried.";
    }
}
