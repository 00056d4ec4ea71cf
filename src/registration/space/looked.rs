//! The datum marks of one photo, looked through: its start, its camera, its wrong and exchanged marks.
use super::{
    attitudes,
    camera::{at, screen_map, without_lens},
    error::Error,
    marks::Cleaned,
    photo::{Beforehand, KnownFocal, Photo, SpaceMark, Units},
    solving::{Mark, Problem, Solved},
    start::Extents,
};
use crate::{
    printable::listed, rectification, registration::checks::settings::CHECKS,
    statistics::normal_quantile,
};
use nalgebra::{Vector2, Vector3};

/// Marks of the datum that were looked through, with what they lie in.
pub(super) struct Looked {
    pub(super) units: Units,
    /// Which of the marks are the datum's.
    pub(super) datum: Vec<usize>,
    pub(super) is_flat: bool,
    pub(super) cleaned: Cleaned,
    /// The minima of the robust cost.
    pub(super) minima: Vec<Solved>,
}

/// Looks through the datum marks of a photo.
///
/// # Errors
/// Where they are too few or lie so that they determine no camera.
pub(super) fn looked_at(photo: &Photo, marks: &[SpaceMark]) -> Result<Looked, Error> {
    let datum: Vec<usize> = (0..marks.len()).filter(|&k| marks[k].is_datum).collect();
    check_count(photo, datum.len())?;
    let places: Vec<Vector3<f64>> = datum.iter().map(|&k| marks[k].place.vector()).collect();
    let extents = Extents::of(&places);
    let names = || listed(datum.iter().map(|&k| marks[k].name.as_str()));
    check_extents(photo, &extents, names)?;
    let middle = places.iter().sum::<Vector3<f64>>() / places.len() as f64;
    let units = Units::new(photo, middle, 2.0 * extents.along[0]);
    let problem = problem(photo, &units, datum.iter().map(|&k| &marks[k]));
    let in_picture = in_picture(&problem);
    let minima = attitudes::minima(&problem, &in_picture);
    let found = minima
        .first()
        .and_then(|first| Cleaned::new(problem, &first.camera, photo.mark_sigma_px.is_some()));
    let cleaned = found.ok_or_else(|| Error::NoCamera { names: names() })?;
    Ok(Looked {
        units,
        datum,
        is_flat: extents.is_flat(),
        cleaned,
        minima,
    })
}

impl Looked {
    /// How many datum marks contradict the others.
    pub(super) fn wrong(&self) -> usize {
        self.cleaned.kept.iter().filter(|kept| !**kept).count()
    }

    /// How far the perspective lies below 0, in its standard deviations: what is nearer then looks smaller.
    fn reversed(&self) -> f64 {
        let solved = &self.cleaned.solved;
        let variance = solved.covariance(at::PERSPECTIVE, at::PERSPECTIVE);
        -solved.camera.perspective / variance.max(1e-30).sqrt()
    }

    /// Whether it does so beyond noise. A plane has a twin there, which is never the likelier one.
    pub(super) fn is_reversed(&self) -> bool {
        let limit = normal_quantile(1.0 - CHECKS.mark_level.get() / 2.0);
        !self.is_flat && self.reversed() > limit
    }

    /// Refuses what no camera explains.
    pub(super) fn refuse(&self) -> Result<(), Error> {
        let (wrong, all) = (self.wrong(), self.datum.len());
        if 2 * wrong > all {
            return Err(Error::Contradict { wrong, all });
        }
        if self.is_reversed() {
            let deviations = self.reversed();
            return Err(Error::Mirrored { deviations });
        }
        Ok(())
    }
}

fn check_count(photo: &Photo, found: usize) -> Result<(), Error> {
    let (needed, reason) = match (photo.screen, photo.focal) {
        (Some(screen), _) if screen.corners.is_none() => {
            (6, "a screen whose corners are not in the photo")
        }
        (_, KnownFocal::Unknown) => (5, "a camera of unknown focal length"),
        _ => (4, "a camera"),
    };
    if found < needed {
        return Err(Error::TooFewPlaces {
            found,
            needed,
            reason,
        });
    }
    Ok(())
}

fn check_extents(
    photo: &Photo,
    extents: &Extents,
    names: impl Fn() -> String,
) -> Result<(), Error> {
    if extents.along[0].is_nan() || extents.along[0] <= 1e-9 || extents.is_line() {
        let what = if extents.along[0] > 1e-9 {
            "line"
        } else {
            "point"
        };
        return Err(Error::PlacesInLine {
            what,
            names: names(),
        });
    }
    if extents.is_flat() && photo.screen.is_some_and(|s| s.corners.is_none()) {
        return Err(Error::PlacesInPlane { names: names() });
    }
    Ok(())
}

fn problem<'a>(
    photo: &Photo,
    units: &Units,
    marks: impl Iterator<Item = &'a SpaceMark>,
) -> Problem {
    let sigma = photo
        .mark_sigma_px
        .unwrap_or_else(rectification::mark_sigma_px);
    Problem {
        marks: marks
            .map(|mark| Mark {
                point: units.point(mark.place),
                mark: units.mark(mark.mark),
                place_sigma: mark.place_sigma_mm / units.size,
            })
            .collect(),
        known: Beforehand::new(photo, units),
        half: units.half_sides(),
        sigma: sigma / units.photo_radius,
    }
}

/// The marks in the picture, lens and screen taken off as they are known beforehand.
fn in_picture(problem: &Problem) -> Vec<Vector2<f64>> {
    let camera = problem.known.camera();
    let back = camera.corners.and_then(|corners| {
        let corners = corners.map(|c| without_lens(c, camera.lens));
        screen_map(problem.half, &corners)?.try_inverse()
    });
    let marks = problem.marks.iter();
    let in_picture = marks.map(|mark| {
        let plain = without_lens(mark.mark, camera.lens);
        match back {
            None => plain,
            Some(back) => {
                let shown = back * plain.push(1.0);
                shown.xy() / shown.z
            }
        }
    });
    in_picture.collect()
}
