//! What the checks of marks go by.
use crate::settings::settings;

settings! {
    /// What the checks of marks go by.
    CHECKS: CheckSettings of "checks" {
        mark_level = 0.001, "probability", "Baarda (1968)":
            "Level of the test of one mark.";
        good_share = 0.4, "share", "judgement: with half of the marks wrong it still meets good ones":
            "The first estimate of the noise is made from the residual below which this share of the marks lie.";
        gross = 6.0, "deviations", "judgement":
            "Datum marks that the robust solution leaves farther off are left out before least squares.";
        least_redundancy = 0.2, "share", "judgement":
            "Below this redundancy a mark's residual is too small a part of its error for first-order arithmetic: the statistic is then found by solving without the mark.";
        marks_tell_apart = 4.0, "chi-square", "judgement: odds of seven to one":
            "Two marks of one part whose statistics differ by less than this cannot be told apart.";
        part_level = 0.005, "probability", "judgement":
            "Level of the test of one datum part as a whole.";
        parts_tell_apart = 7.0, "chi-square", "judgement: odds of thirty to one":
            "Datum parts whose statistics differ by less than this cannot be told apart.";
        altered_beforehand = 0.1, "probability", "judgement, by drawn cases with known truth":
            "How likely it is before its marks are looked at that a datum part is altered: for what it may do where the test does not name it.";
        exchange_gain = 8.0, "robust cost", "judgement":
            "How much an exchange of two marks must lower the robust cost.";
        prior_freedom = 3.0, "observations", "judgement":
            "Weight of what is believed about the noise of marks beforehand.";
        test_freedom = 8.0, "observations", "judgement: the larger, the nearer to a test by a stated noise":
            "The same weight where single marks are tested.";
        least_noise = 1.0 / 3.0, "times", "judgement":
            "How far the noise may lie below what is believed beforehand.";
        most_noise = 10.0 / 3.0, "times", "judgement":
            "How far the noise may lie above what is believed beforehand.";
        uncontrolled = 0.1, "share", "judgement":
            "Below this redundancy nothing else checks a mark.";
        bend_share = 0.01, "share", "judgement":
            "Share of the bend that no other unknown may take up, below which the marks cannot tell it.";
        least_place_deviation = 0.25, "render px", "judgement":
            "A deviation of a mark that is stated smaller than this is taken for this where places on the model are checked: places and matrices are rounded.";
        slight_miss = 20.0, "render px", "judgement: so much depth moves a mark by a pixel where the camera moves by a twentieth of its distance":
            "A place on the model that lies beside its mark by no more serves for its depth, and its landmark counts, less surely.";
        doubt_of_miss = 0.3, "share", "judgement: one in ten is the mark's fault and not the place's":
            "Share of such a miss that is added to the deviation of the mark.";
        largest_place_deviation = 2.5, "render px", "judgement":
            "The largest deviation that is taken for that of clicks where none is stated and places on the model are checked.";
    }
}
