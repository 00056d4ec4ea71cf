//! What rectification goes by.
use super::bezel::settings::BEZEL;
use crate::settings::{Setting, settings};

settings! {
    /// What rectification goes by.
    RECTIFICATION: RectificationSettings of "rectification" {
        reference_mark_deviation = 1.5, "reference px", "judgement":
            "Standard deviation of a mark in a reference per coordinate where nothing states it.";
        prior_freedom = 3.0, "observations", "judgement":
            "Weight of what is believed about the noise of marks beforehand, where points or lines tell it.";
        axis_deviation = 0.02, "parts of the diagonal", "common practice, no source":
            "Standard deviation of the place where the camera's axis meets the picture, from its middle: lenses are not centred to a hair, and stabilised ones move.";
        most_aspect_deviation = 0.05, "of its logarithm", "judgement":
            "Largest standard deviation of an aspect that is found from the view: beyond about 10 % either way it is no use, and its interval no longer one of first order.";
        most_focal_deviation = 0.3, "of its logarithm", "judgement":
            "The same of the focal length: beyond it a vanishing point may as well lie at infinity, and the aspect's distribution has heavy tails that a first-order interval does not show.";
        most_scatter = 3.0, "deviations", "judgement: noise does so in less than one of 300 cases":
            "Marks that leave this many times their deviation contradict each other.";
        unsure_aspect = 2.0, "%", "judgement":
            "An aspect that only the view tells is doubtful where it is less well known, as half a 95 % interval.";
        most_bend_deviation = 0.02, "of the coefficient", "judgement":
            "Largest standard deviation of a lens's coefficient with which it is still used: 2 % of the half diagonal at the corners.";
        unknown_lens = 0.1, "of the coefficient", "judgement: 10 % at the corners of the picture, which is much":
            "Standard deviation of a lens's coefficient from 0 where nothing is known of the lens and the landmarks are asked for it.";
    }
}

/// All that rectification goes by.
pub(crate) fn all() -> Vec<&'static Setting> {
    [RECTIFICATION.all(), BEZEL.all()].concat()
}
