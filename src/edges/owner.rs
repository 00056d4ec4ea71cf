//! Whose edge it is: where the outlines of regions overlap, an edge point may lie on any of them.
//!
//! An edge that stays where another part would have it does not tell that this part stayed: what the other part explains
//! as well is taken off its evidence. Without that, a part that is off comes out right wherever a right one lies beside it.
//!
//! # Source
//! A mixture of two sources for each observation, with fixed shares: A. Dempster, N. Laird and D. Rubin (1977), section
//! 4.3; the least likelihood of an observation from neither is a constant.
use super::{inside::holds, settings::EDGES};
use crate::job::Region;
use nalgebra::Vector2;

/// How likely a response is on an edge, relative to none at all.
fn likelihood(response: f64) -> f64 {
    EDGES.least_response.get() + response.min(EDGES.most_response.get())
}

/// How likely a point is where its own region has it (the response there is `own`), beside the best of its rivals.
pub(crate) fn mixed_likelihood(own: f64, rival: Option<f64>) -> f64 {
    match rival {
        Some(rival) => {
            EDGES.owner.get() * likelihood(own) + (1.0 - EDGES.owner.get()) * likelihood(rival)
        }
        None => likelihood(own),
    }
}

/// Probability that a point lies on the region that it was given to, after what both places answer.
pub(crate) fn share_of_owner(own: f64, rival: Option<f64>) -> f64 {
    match rival {
        Some(_) => EDGES.owner.get() * likelihood(own) / mixed_likelihood(own, rival),
        None => 1.0,
    }
}

/// For a point of the render: the regions that hold it, but its own.
pub(crate) fn rivals_of(regions: &[Region], own: usize, place: Vector2<f64>) -> Vec<usize> {
    (0..regions.len())
        .filter(|&j| j != own && holds(&regions[j], place))
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::edges::points::tests::region;

    #[test]
    fn a_point_without_rivals_is_its_regions_own() {
        assert!((share_of_owner(0.0, None) - 1.0).abs() < 1e-12);
        assert!((mixed_likelihood(1.0, None) - 1.25).abs() < 1e-12);
    }

    #[test]
    fn an_edge_that_a_rival_explains_says_little_of_its_own_region() {
        let contrast = |rival| mixed_likelihood(2.0, rival) / mixed_likelihood(0.0, rival);
        assert!(contrast(None) > 8.0 && contrast(Some(2.0)) < 2.0);
        assert!(share_of_owner(0.1, Some(2.0)) < 0.2 && share_of_owner(2.0, Some(0.1)) > 0.8);
    }

    #[test]
    fn the_rivals_are_the_other_regions_around_the_point() {
        let square = |name: &str, low: f64, high: f64| {
            region(name, &[[low, low], [high, low], [high, high], [low, high]])
        };
        let regions = [
            square("lid", 10.0, 20.0),
            square("tank", 0.0, 40.0),
            square("arm", 30.0, 60.0),
        ];
        assert_eq!(rivals_of(&regions, 0, Vector2::new(15.0, 15.0)), [1]);
        assert_eq!(rivals_of(&regions, 1, Vector2::new(35.0, 35.0)), [2]);
        assert_eq!(
            rivals_of(&regions, 2, Vector2::new(55.0, 55.0)),
            [0_usize; 0]
        );
    }
}
