//! One photo's camera by the marks of points whose places on the model are known.
use super::{
    attitudes,
    camera::{at, screen_map, without_lens},
    contradiction::{refuse_focal, refuse_mirrored},
    error::Error,
    figures::{Attitude, Basis, shown},
    marks::{Cleaned, Test},
    photo::{Beforehand, KnownFocal, Photo, SpaceMark, Units},
    solving::{Mark, Problem, Solved, predicted},
    start::Extents,
};
use crate::{
    frame::{Point, ReferencePx},
    printable::listed,
    rectification,
    registration::checks::settings::CHECKS,
    statistics::normal_quantile,
};
use nalgebra::{Vector2, Vector3};

/// Marks that should carry a camera whose focal length is unknown, so that each is checked by the others.
pub const WANTED_MARKS: usize = 8;
/// Difference of two attitudes' predictions, in deviations of a mark, that decides between them.
const DECIDES: f64 = 5.0;

/// A photo's camera, with what its marks leave.
#[derive(Clone, Debug)]
pub struct Resection {
    /// The camera, with its figures.
    pub first: Attitude,
    /// Another one that fits as well.
    pub second: Option<SecondAttitude>,
    /// What became of each mark, in the order given.
    pub marks: Vec<MarkFit>,
    /// Root mean square of the residuals of the marks that carry the camera, x and y together, pixels.
    pub rms_px: f64,
    /// Standard deviation of a mark in x and in y, as stated or as estimated, pixels.
    pub mark_sigma_px: f64,
    /// Whether the places of the datum marks lie in a plane.
    pub is_flat: bool,
    /// Width and height of the picture, pixels of the rectified reference.
    pub picture: [f64; 2],
    /// Middle of the datum marks, model millimetres.
    pub middle_mm: [f64; 3],
}

/// Another attitude that the marks cannot tell from the first.
#[derive(Clone, Debug)]
pub struct SecondAttitude {
    /// It.
    pub attitude: Attitude,
    /// How much worse it fits, as a chi-square.
    pub cost_more: f64,
    /// A mark beside those of the datum that tells them apart.
    pub decides: Option<Deciding>,
}

/// A mark that tells two attitudes apart.
#[derive(Clone, Debug, PartialEq)]
pub struct Deciding {
    /// Index of the mark.
    pub mark: usize,
    /// How far both predictions lie apart, pixels.
    pub apart_px: f64,
    /// How far its mark lies from the prediction of the first and of the second, pixels.
    pub off_px: [f64; 2],
}

/// What became of a mark.
#[derive(Clone, Debug, PartialEq)]
pub struct MarkFit {
    /// Where the camera shows its place; `None` where it does not.
    pub predicted: Option<Point<ReferencePx>>,
    /// Mark minus prediction, pixels.
    pub residual_px: Option<[f64; 2]>,
    /// The part of its own error that its residual shows, 0 to 1; `None` for a mark that carries nothing.
    pub redundancy: Option<f64>,
    /// What it is found to be.
    pub finding: MarkFinding,
}

/// What a mark is found to be.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum MarkFinding {
    /// It fits.
    Good,
    /// It contradicts the others, and was left out.
    Wrong,
    /// It was exchanged with the mark of this index, and taken the other way round.
    ExchangedWith(usize),
    /// Nothing else checks it.
    Uncontrolled,
    /// It carries nothing, and is only predicted.
    Predicted,
}

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

/// Looks through the datum marks of a photo, and refuses what no camera explains.
///
/// # Errors
/// Those of [`resect`].
pub(super) fn look_through(photo: &Photo, marks: &[SpaceMark]) -> Result<Looked, Error> {
    let looked = looked_at(photo, marks)?;
    refuse_mirrored(photo, marks, &looked)?;
    refuse_focal(photo, marks, &looked)?;
    looked.refuse()?;
    Ok(looked)
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

    fn refuse(&self) -> Result<(), Error> {
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

    fn judged<'a>(&'a self, photo: &'a Photo, marks: &'a [SpaceMark]) -> Judged<'a> {
        Judged {
            photo,
            marks,
            datum: &self.datum,
            units: &self.units,
            is_flat: self.is_flat,
            cleaned: &self.cleaned,
        }
    }
}

/// Solves the camera of a photo.
///
/// # Errors
/// Where the marks are too few, lie so that they determine no camera, or contradict each other.
pub fn resect(photo: &Photo, marks: &[SpaceMark]) -> Result<Resection, Error> {
    let looked = look_through(photo, marks)?;
    let found = looked.judged(photo, marks).resection(&looked.minima);
    found.ok_or_else(|| Error::NoCamera {
        names: listed(looked.datum.iter().map(|&k| marks[k].name.as_str())),
    })
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

/// Marks that were looked through, before they are told.
struct Judged<'a> {
    photo: &'a Photo,
    marks: &'a [SpaceMark],
    datum: &'a [usize],
    units: &'a Units,
    is_flat: bool,
    cleaned: &'a Cleaned,
}

impl Judged<'_> {
    /// Root mean square of the residuals that are left, half diagonals.
    fn rms(&self) -> f64 {
        let rows = self.cleaned.solved.rows.iter().zip(&self.cleaned.kept);
        let kept: Vec<f64> = rows
            .filter(|(_, kept)| **kept)
            .map(|(row, _)| row.residual.norm_squared())
            .collect();
        (kept.iter().sum::<f64>() / kept.len().max(1) as f64).sqrt()
    }

    fn resection(&self, minima: &[Solved]) -> Option<Resection> {
        let cleaned = self.cleaned;
        let basis = Basis {
            photo: self.photo,
            units: self.units,
            is_flat: self.is_flat,
            freedom: cleaned.freedom,
        };
        let first = basis.attitude(&cleaned.solved)?;
        let second = match attitudes::second(cleaned, minima) {
            None => None,
            Some((solved, cost_more)) => {
                let attitude = basis.attitude(&solved)?;
                let decides = self.deciding(&first, &attitude);
                Some(SecondAttitude {
                    attitude,
                    cost_more,
                    decides,
                })
            }
        };
        let photo_px = self.units.photo_radius;
        Some(Resection {
            first,
            second,
            marks: self.fits(),
            rms_px: self.rms() * photo_px,
            mark_sigma_px: cleaned.problem.sigma * cleaned.factor * photo_px,
            is_flat: self.is_flat,
            picture: (self.units.picture_middle * 2.0).into(),
            middle_mm: self.units.middle.into(),
        })
    }

    fn fits(&self) -> Vec<MarkFit> {
        let tests = self.cleaned.tests();
        let fit = |(k, mark): (usize, &SpaceMark)| {
            let place = predicted(
                &self.cleaned.solved.camera,
                self.cleaned.problem.half,
                &self.units.point(mark.place),
            );
            let predicted = place.map(|seen| self.units.photo_px(seen.place));
            let number = self.datum.iter().position(|&d| d == k);
            MarkFit {
                predicted: predicted.map(|p| Point::new(p.x, p.y)),
                residual_px: predicted.map(|p| (Vector2::from(mark.mark.xy()) - p).into()),
                redundancy: number.map(|n| tests[n].redundancy),
                finding: number.map_or(MarkFinding::Predicted, |n| self.finding(n, &tests[n])),
            }
        };
        self.marks.iter().enumerate().map(fit).collect()
    }

    fn finding(&self, number: usize, test: &Test) -> MarkFinding {
        let partner = self
            .cleaned
            .exchanged
            .iter()
            .find_map(|&[a, b]| match number {
                n if n == a => Some(b),
                n if n == b => Some(a),
                _ => None,
            });
        match partner {
            _ if !self.cleaned.kept[number] => MarkFinding::Wrong,
            Some(partner) => MarkFinding::ExchangedWith(self.datum[partner]),
            None if test.redundancy < CHECKS.uncontrolled.get() => MarkFinding::Uncontrolled,
            None => MarkFinding::Good,
        }
    }

    /// The mark beside those of the datum that tells two attitudes apart best.
    fn deciding(&self, first: &Attitude, second: &Attitude) -> Option<Deciding> {
        let sigma = self.cleaned.problem.sigma * self.cleaned.factor * self.units.photo_radius;
        let others = self.marks.iter().enumerate().filter(|(_, m)| !m.is_datum);
        let apart = others.filter_map(|(k, mark)| {
            let (a, b) = (shown(first, mark.place)?, shown(second, mark.place)?);
            Some(Deciding {
                mark: k,
                apart_px: a.distance(b),
                off_px: [a.distance(mark.mark), b.distance(mark.mark)],
            })
        });
        apart
            .filter(|d| d.apart_px > DECIDES * sigma)
            .max_by(|a, b| a.apart_px.total_cmp(&b.apart_px))
    }
}
