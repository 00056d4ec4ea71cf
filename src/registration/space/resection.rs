//! One photo's camera by the marks of points whose places on the model are known.
use super::{
    attitudes,
    contradiction::{refuse_focal, refuse_mirrored},
    error::Error,
    figures::{Attitude, Basis, shown},
    looked::{Looked, looked_at},
    marks::{Cleaned, Test},
    photo::{Photo, SpaceMark, Units},
    solving::{Row, Solved, predicted},
};
use crate::{
    frame::{ModelPoint, Point, ReferencePx},
    printable::listed,
    registration::{checks::settings::CHECKS, prediction::Prediction as Expected},
};
use nalgebra::{Matrix2, Matrix2x3, Vector2};

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
    told: ToldPlaces,
}

/// How well a camera tells where it shows a place.
#[derive(Clone, Debug)]
struct ToldPlaces {
    solved: Solved,
    units: Units,
    half: [f64; 2],
    /// Degrees of freedom of the noise.
    freedom: f64,
}

impl Resection {
    /// Where the mark of a place that is known to `sigma_mm` is to be expected in the photo, with the ellipse that holds it in 95 of
    /// 100 cases: noise of the camera, of the place and of the mark itself, and `sigma_px` beside them. `None` where the camera does not
    /// show it.
    pub fn expected(
        &self,
        place: ModelPoint,
        (sigma_mm, sigma_px): (f64, f64),
    ) -> Option<Expected> {
        let shown = self.prediction(place)?;
        let of_place = shown.by_place * shown.by_place.transpose() * sigma_mm.powi(2);
        let of_mark = Matrix2::identity() * (self.mark_sigma_px.powi(2) + sigma_px.powi(2));
        let covariance = shown.by_camera + of_place + of_mark;
        Expected::of(shown.place.into(), covariance, self.told.freedom)
    }

    /// Standard deviation of where the photo shows a place, pixels of the reference, along the direction in which it is larger;
    /// `None` where the camera does not show it.
    pub fn deviation_px(&self, place: ModelPoint) -> Option<f64> {
        let spread = self.prediction(place)?.by_camera;
        Some(spread.symmetric_eigenvalues().max().max(0.0).sqrt())
    }

    /// Where the photo shows a place, and how surely; `None` where the camera does not show it.
    pub(crate) fn prediction(&self, place: ModelPoint) -> Option<Prediction> {
        let ToldPlaces {
            solved,
            units,
            half,
            ..
        } = &self.told;
        let seen = predicted(&solved.camera, *half, &units.point(place))?;
        let row = Row {
            residual: Vector2::zeros(),
            by_numbers: seen.by_numbers,
            covariance: Matrix2::zeros(),
        };
        Some(Prediction {
            place: units.photo_px(seen.place),
            by_place: seen.by_point * (units.photo_radius / units.size),
            by_camera: solved.of_prediction(&row) * units.photo_radius.powi(2),
        })
    }
}

/// Where a camera shows a place on the model.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Prediction {
    /// Pixels of the photo.
    pub(crate) place: Vector2<f64>,
    /// Derivative by the place on the model, pixels a millimetre.
    pub(crate) by_place: Matrix2x3<f64>,
    /// Covariance by the camera alone, squared pixels.
    pub(crate) by_camera: Matrix2<f64>,
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

/// Solves the camera of a photo.
///
/// # Errors
/// Where the marks are too few, lie so that they determine no camera, or contradict each other.
pub fn resect(photo: &Photo, marks: &[SpaceMark]) -> Result<Resection, Error> {
    let looked = look_through(photo, marks)?;
    let found = Judged::new(photo, marks, &looked).resection(&looked.minima);
    found.ok_or_else(|| Error::NoCamera {
        names: listed(looked.datum.iter().map(|&k| marks[k].name.as_str())),
    })
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

impl<'a> Judged<'a> {
    fn new(photo: &'a Photo, marks: &'a [SpaceMark], looked: &'a Looked) -> Self {
        Self {
            photo,
            marks,
            datum: &looked.datum,
            units: &looked.units,
            is_flat: looked.is_flat,
            cleaned: &looked.cleaned,
        }
    }
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
            told: ToldPlaces {
                solved: cleaned.solved.clone(),
                units: self.units.clone(),
                half: cleaned.problem.half,
                freedom: cleaned.freedom,
            },
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
