//! What is doubtful about a rectification that can be made: marks that contradict each other or what is stated.
use super::settings::RECTIFICATION;
use super::{Error, Rectification};
use crate::{
    job::{Doubt, KnownPlane, Rectify},
    statistics::Measured,
    warning::Code,
};

/// A stated aspect is contradicted where it lies outside of the interval that noise leaves in one of a thousand cases: half
/// its width in parts of half a 95 % interval's (normal quantiles, 3.29 and 1.96).
const CONTRADICTED: f64 = 3.29 / 1.96;

/// Tries the rectification of a picture of `picture` (width, height) pixels whose marks have the standard deviation
/// `mark_sigma_px`, or one that is estimated, without looking at the picture; `pointer` is where the job states it.
///
/// # Errors
/// As [`Rectification::new`].
pub fn doubts(
    rectify: &Rectify,
    picture: (u32, u32),
    mark_sigma_px: Option<f64>,
    pointer: &str,
) -> Result<Vec<Doubt>, Error> {
    let made = Rectification::new(rectify, picture, mark_sigma_px, None)?;
    let sigma = mark_sigma_px.unwrap_or_else(super::mark_sigma_px);
    let figures = made.figures();
    let mut found = Vec::new();
    let mut add = |pointer: String, code, text| {
        found.push(Doubt {
            pointer,
            code,
            text,
        });
    };
    if let Some(rms) = figures
        .rms_px
        .filter(|rms| *rms > RECTIFICATION.most_scatter.get() * sigma)
    {
        let text = format!(
            "its marks leave {rms:.1} px where {sigma} px are expected of them; see whether one is misplaced or a place \
             misread, and whether what is marked is straight and plane"
        );
        add(pointer.to_owned(), Code::RectificationScatters, text);
    }
    let percent = |a: &Measured| 100.0 * a.half_width() / a.value();
    if let Some(aspect) = figures
        .aspect
        .filter(|a| percent(a) > RECTIFICATION.unsure_aspect.get())
    {
        let text = format!(
            "width over height is told by the view as {:.3}, but only to within {:.1} %; proportions will be no better \
             known: state the \"aspect\"",
            aspect.value(),
            percent(&aspect)
        );
        add(pointer.to_owned(), Code::AspectUnsure, text);
    }
    if let Some((stated, seen)) = contradicted(rectify, picture, mark_sigma_px) {
        let text = format!(
            "the aspect is stated as {stated:.3}, but the view tells {:.3} (95 %: {:.3} to {:.3}); one of both, or a \
             corner, is wrong, or the picture was cropped",
            seen.value(),
            seen.low(),
            seen.high()
        );
        add(format!("{pointer}/aspect"), Code::AspectUnlikeView, text);
    }
    Ok(found)
}

/// A stated aspect that the view contradicts, and what the view tells.
fn contradicted(
    rectify: &Rectify,
    picture: (u32, u32),
    mark_sigma_px: Option<f64>,
) -> Option<(f64, Measured)> {
    let KnownPlane::Rectangle(rectangle) = &rectify.plane else {
        return None;
    };
    let stated = rectangle.aspect?;
    let mut unstated = rectangle.clone();
    unstated.aspect = None;
    let unstated = Rectify {
        plane: KnownPlane::Rectangle(unstated),
        straight_lines: rectify.straight_lines.clone(),
    };
    // A view that is too frontal tells nothing against it.
    let made = Rectification::new(&unstated, picture, mark_sigma_px, None).ok()?;
    let seen = made.figures().aspect?;
    let is_off = (stated - seen.value()).abs() > CONTRADICTED * seen.half_width();
    is_off.then_some((stated, seen))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::{
        frame::Point,
        job::{PlanePoint, Rectangle},
        units::FullSizeMm,
    };

    const PICTURE: (u32, u32) = (1920, 1080);

    /// Corners of a rectangle of aspect 1.6 seen by a camera with a focal length of 1500 px, turned by 30 and 25 degrees.
    fn corners() -> [Point<crate::frame::ReferencePx>; 4] {
        let (sy, cy) = 30_f64.to_radians().sin_cos();
        let (sp, cp) = 25_f64.to_radians().sin_cos();
        [[-0.8, -0.5], [0.8, -0.5], [0.8, 0.5], [-0.8, 0.5]].map(|[x, y]| {
            let (x1, z1) = (cy * x, -sy * x);
            let (y2, z2) = (cp * y - sp * z1, sp * y + cp * z1 + 2.6);
            Point::new(960.0 + 1500.0 * x1 / z2, 540.0 + 1500.0 * y2 / z2)
        })
    }

    fn rectangle(aspect: Option<f64>) -> Rectify {
        Rectify {
            plane: KnownPlane::Rectangle(Rectangle {
                corners: corners(),
                aspect,
                find_bezel: false,
            }),
            straight_lines: Vec::new(),
        }
    }

    fn codes(rectify: &Rectify, sigma: f64) -> Vec<Code> {
        let found = doubts(rectify, PICTURE, Some(sigma), "/rectify").expect("sound");
        found.iter().map(|d| d.code).collect()
    }

    #[test]
    fn an_aspect_that_the_view_contradicts_is_doubtful() {
        assert!(codes(&rectangle(Some(1.6)), 0.5).is_empty());
        let found = doubts(&rectangle(Some(2.39)), PICTURE, Some(0.5), "/rectify").expect("sound");
        assert_eq!(found.len(), 1, "{found:?}");
        assert_eq!(found[0].code, "aspect-unlike-view");
        assert_eq!(found[0].pointer, "/rectify/aspect");
        let words = "the aspect is stated as 2.390, but the view tells 1.600 (95 %: ";
        assert!(found[0].text.starts_with(words), "{}", found[0].text);
    }

    #[test]
    fn an_aspect_that_the_view_hardly_tells_is_doubtful() {
        assert_eq!(codes(&rectangle(None), 3.0), ["aspect-unsure"]);
    }

    #[test]
    fn points_that_no_plane_has_are_doubtful() {
        let mut points: Vec<PlanePoint> = corners()
            .into_iter()
            .zip([[0.0, 0.0], [1600.0, 0.0], [1600.0, 1000.0], [0.0, 1000.0]])
            .map(|(reference, at)| PlanePoint {
                reference,
                at: at.map(FullSizeMm),
            })
            .collect();
        // The fifth in the middle of the upper side, 100 mm too far to the right.
        let [a, b, ..] = corners();
        points.push(PlanePoint {
            reference: Point::new((a.x + b.x) / 2.0, (a.y + b.y) / 2.0),
            at: [1000.0, 0.0].map(FullSizeMm),
        });
        let figure = Rectify {
            plane: KnownPlane::Figure(points),
            straight_lines: Vec::new(),
        };
        assert_eq!(codes(&figure, 0.5), ["rectification-scatters"]);
    }

    #[test]
    fn a_view_too_frontal_to_tell_is_an_error() {
        let frontal = Rectify {
            plane: KnownPlane::Rectangle(Rectangle {
                corners: [
                    [100.0, 100.0],
                    [900.0, 100.0],
                    [900.0, 600.0],
                    [100.0, 600.0],
                ]
                .map(|[x, y]| Point::new(x, y)),
                aspect: None,
                find_bezel: false,
            }),
            straight_lines: Vec::new(),
        };
        let error = doubts(&frontal, PICTURE, Some(1.0), "").expect_err("too frontal");
        assert_eq!(error.code(), "too-frontal");
    }
}
