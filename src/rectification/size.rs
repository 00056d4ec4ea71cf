//! How large a rectified picture may become: marks far outside of the picture would make it as large as one likes, and
//! black.
use super::{Error, error::FarMark};
use crate::{
    frame::{Point, ReferencePx},
    job::{KnownPlane, Rectify},
};

/// Pixels of the rectified picture per pixel of the picture: where it is more, the picture shows less than a sixteenth
/// of the plane that is asked for (a judgement).
const MOST_TIMES: f64 = 16.0;
/// Pixels up to which that holds: as many as an image may have by default.
const MOST_PIXELS: f64 = 1e8;
/// What a picture that is larger itself may grow by: half as much again either way, as for a lens alone.
const MOST_GROWTH: f64 = 2.25;

/// Refuses a size in rectified pixels that is far beyond what a picture of `picture` (width, height) pixels can fill.
/// `rectify` is what it comes from, for the message.
///
/// # Errors
/// [`Error::TooLarge`] with the mark that lies farthest outside.
pub(crate) fn check(
    [width, height]: [f64; 2],
    picture: (u32, u32),
    rectify: Option<&Rectify>,
) -> Result<(), Error> {
    let own = f64::from(picture.0) * f64::from(picture.1);
    let most = (MOST_TIMES * own).min(MOST_PIXELS.max(MOST_GROWTH * own));
    let pixels = width.max(1.0) * height.max(1.0);
    if pixels.is_finite() && pixels <= most {
        return Ok(());
    }
    Err(Error::TooLarge {
        size: [width, height],
        most_pixels: most,
        picture,
        mark: rectify.and_then(|s| farthest_outside(s, picture)),
    })
}

/// The mark that lies farthest outside of the picture; `None` where all lie inside.
fn farthest_outside(rectify: &Rectify, picture: (u32, u32)) -> Option<FarMark> {
    let marks: Vec<Point<ReferencePx>> = match &rectify.plane {
        KnownPlane::Rectangle(rectangle) => rectangle.corners.to_vec(),
        KnownPlane::Figure(points) => points.iter().map(|p| p.reference).collect(),
        KnownPlane::Lines(_) | KnownPlane::Unknown => Vec::new(),
    };
    let what = match &rectify.plane {
        KnownPlane::Rectangle(_) => "corner",
        _ => "point",
    };
    let beyond = |v: f64, side: u32| (v - f64::from(side)).max(-v).max(0.0);
    let outside = marks.iter().enumerate().map(|(index, mark)| FarMark {
        what,
        index,
        at: mark.xy(),
        outside_px: beyond(mark.x, picture.0).hypot(beyond(mark.y, picture.1)),
    });
    let farthest = outside.max_by(|a, b| a.outside_px.total_cmp(&b.outside_px));
    farthest.filter(|mark| mark.outside_px > 0.0)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::job::Rectangle;

    fn refused(size: [f64; 2], picture: (u32, u32)) -> bool {
        check(size, picture, None).is_err()
    }

    #[test]
    fn the_limit_grows_with_the_picture() {
        // 2 megapixels: sixteen times as many.
        assert!(!refused([6000.0, 5000.0], (2000, 1000)));
        assert!(refused([6500.0, 5000.0], (2000, 1000)));
        // 24 megapixels: a hundred; 100 megapixels: 225.
        assert!(!refused([10_000.0, 9999.0], (6000, 4000)));
        assert!(refused([10_100.0, 10_000.0], (6000, 4000)));
        assert!(!refused([15_000.0, 14_999.0], (10_000, 10_000)));
        assert!(refused([15_100.0, 15_000.0], (10_000, 10_000)));
        assert!(refused([f64::NAN, 10.0], (100, 100)) || refused([f64::INFINITY, 1.0], (100, 100)));
    }

    #[test]
    fn the_mark_farthest_outside_is_named() {
        let corners = [[-4e5, 10.0], [900.0, -20.0], [1e6, 700.0], [10.0, 700.0]];
        let rectify = Rectify {
            plane: KnownPlane::Rectangle(Rectangle {
                corners: corners.map(|[x, y]| Point::new(x, y)),
                aspect: Some(1.5),
                find_bezel: false,
            }),
            straight_lines: Vec::new(),
        };
        let error = check([1e6, 7e5], (1000, 700), Some(&rectify)).expect_err("too large");
        let words = error.to_string();
        assert!(
            words.contains("would have 1000000 x 700000 pixels")
                && words
                    .contains("corner 2 (counted from 0) at [1000000, 700] lies 999000 px outside"),
            "{words}"
        );
    }
}
