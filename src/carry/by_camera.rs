//! Marks that were lost, or found elsewhere than they should be, by the cameras of both versions of an image.
//!
//! Landmarks with a place on the model tell the camera of the old image by their marks, and that of the new one by those that were
//! found in it. What was marked then has to be found where the new camera shows its place, as far beside it as it was marked beside
//! it in the old image.
//!
//! # Source
//! JCGM 100:2008 (GUM), eq. 13, for the covariances; what is common to both cameras is counted in both.
use super::{Carried, CarriedBy, CarriedMark, Change, settings::CARRY, track};
use crate::{
    frame::{ModelPoint, Point},
    job::{LandmarkUse, Side, View},
    printable::listed,
    registration::space::{
        self, KnownFocal, KnownLens, KnownPoint, MarkFinding, Photo, Prediction, Resection, Screen,
        SpaceMark, WANTED_MARKS, settings::SPACE,
    },
    statistics::chi_square_quantile,
};
use nalgebra::{Matrix2, Matrix3, Vector2};
use std::collections::{BTreeMap, BTreeSet};

#[cfg(test)]
mod tests;

/// The landmarks of a view that have a place on the model, and what is known of the cameras of both versions of one of its images.
#[derive(Clone, Debug)]
pub struct InSpace {
    side: Side,
    /// The old image and the new one.
    photos: [Photo; 2],
    landmarks: Vec<Option<Known>>,
}

/// What is known of a landmark.
#[derive(Clone, Debug)]
struct Known {
    place: ModelPoint,
    place_sigma_mm: f64,
    is_datum: bool,
    parts: BTreeSet<String>,
    /// Standard deviation of its mark in this image, where the job states one.
    sigma_px: Option<f64>,
}

impl Known {
    fn shares_a_part(&self, other: &Self) -> bool {
        let has_none = self.parts.is_empty() && other.parts.is_empty();
        has_none || !self.parts.is_disjoint(&other.parts)
    }
}

impl InSpace {
    /// `None` where too few landmarks have a place on the model to tell a camera, or the screen that a reference shows cannot be
    /// rectified.
    pub fn of_view(view: &View, side: Side, change: &Change) -> Option<Self> {
        let [old, new] = [&change.old, &change.new].map(|levels| {
            let [width, height] = levels.size();
            (width as u32, height as u32)
        });
        let before = match side {
            Side::Reference => space::of_view(view, old).ok()?.photo,
            Side::Render => Photo {
                size: old,
                mark_sigma_px: view.render.mark_sigma_px,
                focal: KnownFocal::Unknown,
                principal_point: anywhere_near(),
                lens: KnownLens::NONE,
                screen: None,
            },
        };
        // The next version may be cropped, and what was stated of the camera is not stated of another one.
        let after = Photo {
            size: new,
            focal: KnownFocal::Unknown,
            principal_point: anywhere_near(),
            screen: before.screen.map(|screen| Screen {
                corners: None,
                ..screen
            }),
            ..before
        };
        let landmarks = view.landmarks.iter().enumerate().map(|(k, landmark)| {
            let regions = view.regions.iter().filter(|r| r.landmarks.contains(&k));
            let parts = regions.map(|region| region.name.clone());
            Some(Known {
                place: ModelPoint(landmark.model_mm?),
                place_sigma_mm: landmark.model_sigma_mm.unwrap_or(0.0),
                is_datum: landmark.usage == LandmarkUse::Datum,
                parts: parts.chain(landmark.part.clone()).collect(),
                sigma_px: landmark.sigma_px[usize::from(side == Side::Reference)],
            })
        });
        let landmarks: Vec<Option<Known>> = landmarks.collect();
        let is_enough = landmarks.iter().flatten().count() >= WANTED_MARKS;
        is_enough.then_some(Self {
            side,
            photos: [before, after],
            landmarks,
        })
    }

    fn known(&self, k: usize) -> Option<&Known> {
        self.landmarks.get(k)?.as_ref()
    }

    fn mark(&self, k: usize, name: &str, place: [f64; 2], is_datum: bool) -> Option<SpaceMark> {
        let known = self.known(k)?;
        Some(SpaceMark {
            name: name.to_owned(),
            place: known.place,
            place_sigma_mm: known.place_sigma_mm,
            mark: Point::new(place[0], place[1]),
            is_datum,
        })
    }
}

fn anywhere_near() -> KnownPoint {
    KnownPoint::Middle {
        deviation: SPACE.cropped_principal_point.get(),
    }
}

/// What both cameras say of a landmark, pixels of the new image.
#[derive(Clone, Copy, Debug)]
struct Expected {
    /// Where the new camera shows its place on the model.
    shown: Vector2<f64>,
    /// Covariance of that: of the camera and of the place.
    spread: Matrix2<f64>,
    /// Where what was marked in the old image has to be found.
    marked: Vector2<f64>,
    /// Covariance of that, beside what finding it adds.
    marked_spread: Matrix2<f64>,
}

impl Expected {
    /// `linear` takes steps in the old image to steps in the new one.
    fn new(
        mark: [f64; 2],
        [before, now]: [Prediction; 2],
        linear: &Matrix2<f64>,
        place_sigma_mm: f64,
    ) -> Self {
        let variance = place_sigma_mm.powi(2);
        let of_place = now.by_place * now.by_place.transpose() * variance;
        // An error of the place moves both predictions: what is left of it is what the cameras differ by.
        let by_both = now.by_place - linear * before.by_place;
        Self {
            shown: now.place,
            spread: now.by_camera + of_place,
            marked: now.place + linear * (Vector2::from(mark) - before.place),
            marked_spread: now.by_camera
                + linear * before.by_camera * linear.transpose()
                + by_both * by_both.transpose() * variance,
        }
    }

    /// How far a mark that was found lies from where it should, where that contradicts the cameras.
    fn contradicted_by(&self, found: &Carried) -> Option<f64> {
        let off = Vector2::from(found.place) - self.marked;
        let spread = self.marked_spread + Matrix2::identity() * found.deviation.powi(2);
        let is_apart = off.norm() > CARRY.camera_apart.get() && square(off, spread) > limit();
        is_apart.then(|| off.norm())
    }
}

/// The squared length in its deviations.
fn square(off: Vector2<f64>, covariance: Matrix2<f64>) -> f64 {
    let inverse = covariance.try_inverse();
    inverse.map_or(f64::INFINITY, |inverse| (off.transpose() * inverse * off).x)
}

fn limit() -> f64 {
    chi_square_quantile(1.0 - CARRY.camera_level.get(), 2.0)
}

/// Why the camera does not place a mark.
#[derive(Clone, Copy, Debug, PartialEq, thiserror::Error)]
enum NotPlaced {
    #[error("it has no place on the model")]
    NoPlace,
    #[error("on a smooth outline another camera sees another point")]
    OnOutline,
    #[error("their old marks contradict their places on the model (\"model_mm\")")]
    InDoubt,
    #[error("the new picture does not show their places on the model")]
    NotShown,
    #[error("the parts of landmarks that are not datum may be altered in a reference")]
    NotDatum,
    #[error("too few other marks of their part tell whether it was changed")]
    PartUnknown,
    #[error(
        "other marks of their part lie elsewhere than the camera shows them: it may have been changed"
    )]
    PartChanged,
    #[error("the camera does not show them surely enough")]
    Unsure,
}

/// The landmarks as both cameras see them; none is expected anywhere where too few places tell a camera.
struct Seen<'a> {
    space: &'a InSpace,
    expected: Vec<Result<Expected, NotPlaced>>,
}

impl<'a> Seen<'a> {
    /// In words, why the marks tell no camera.
    fn new(
        map: &Matrix3<f64>,
        space: &'a InSpace,
        on_outline: &[bool],
        marks: &[CarriedMark],
    ) -> Result<Self, String> {
        let is_on = |k: usize| on_outline.get(k).is_some_and(|on| *on);
        let mut expected: Vec<_> = (0..marks.len())
            .map(|k| match space.known(k) {
                Some(_) if is_on(k) => Err(NotPlaced::OnOutline),
                _ => Err(NotPlaced::NoPlace),
            })
            .collect();
        let placed = |k: &usize| space.known(*k).is_some() && !is_on(*k);
        let mut order: Vec<usize> = (0..marks.len()).filter(placed).collect();
        // Sums come out the same in whatever order the landmarks are.
        order.sort_by(|a, b| marks[*a].name.cmp(&marks[*b].name));
        let Some(carries) = carrying(space, &order, marks) else {
            return Ok(Self { space, expected });
        };
        let mark = |k: usize, place, is_datum| space.mark(k, &marks[k].name, place, is_datum);
        let old: Vec<SpaceMark> = (order.iter())
            .filter_map(|&k| mark(k, marks[k].from, carries(k)))
            .collect();
        let before = camera(&space.photos[0], &old)?;
        let holds = bears_out(&before, &old);
        let both = || order.iter().zip(&holds);
        let found = both().filter_map(|(&k, holds)| {
            let to = marks[k].to.ok()?;
            (*holds && carries(k)).then_some((k, to))
        });
        let found: Vec<(usize, Carried)> = found.collect();
        if found.len() < WANTED_MARKS {
            return Ok(Self { space, expected });
        }
        // Finding adds to what the job says of marks.
        let added = found
            .iter()
            .map(|(_, to)| to.deviation.powi(2))
            .sum::<f64>();
        let added = (added / found.len() as f64).sqrt();
        let photo = Photo {
            mark_sigma_px: space.photos[1].mark_sigma_px.map(|own| own.hypot(added)),
            ..space.photos[1]
        };
        let new: Vec<SpaceMark> = (found.iter())
            .filter_map(|(k, to)| mark(*k, to.place, true))
            .collect();
        let now = camera(&photo, &new)?;
        for (&k, holds) in both() {
            let Some(known) = space.known(k) else {
                continue;
            };
            let from = marks[k].from;
            let of = |camera: &Resection| camera.prediction(known.place);
            let linear = track::at(map, from.into());
            expected[k] = match (of(&before), of(&now), linear) {
                _ if !holds => Err(NotPlaced::InDoubt),
                (Some(before), Some(now), Some((_, linear))) => Ok(Expected::new(
                    from,
                    [before, now],
                    &linear,
                    known.place_sigma_mm,
                )),
                _ => Err(NotPlaced::NotShown),
            };
        }
        Ok(Self { space, expected })
    }

    /// Where the camera places a mark that was lost; `own` is the deviation of marks in this image.
    fn place(&self, k: usize, own: f64, marks: &[CarriedMark]) -> Result<Carried, NotPlaced> {
        let expected = self.expected[k]?;
        let known = self.space.known(k).ok_or(NotPlaced::NoPlace)?;
        match self.space.side {
            Side::Reference if !known.is_datum => return Err(NotPlaced::NotDatum),
            Side::Reference => {}
            Side::Render => self.check_part(k, known, marks)?,
        }
        let (width, height) = self.space.photos[1].size;
        let inside = |v: f64, size: u32| (0.0..=f64::from(size)).contains(&v);
        let place = expected.shown;
        if !inside(place.x, width) || !inside(place.y, height) {
            return Err(NotPlaced::NotShown);
        }
        let variances = expected.spread.symmetric_eigenvalues();
        let [deviation, least] = [variances.max(), variances.min()].map(|v| v.max(0.0).sqrt());
        if known.sigma_px.unwrap_or(own).hypot(deviation) > CARRY.most_placed.get() {
            return Err(NotPlaced::Unsure);
        }
        Ok(Carried {
            place: place.into(),
            deviation,
            least_deviation: least,
            by: CarriedBy::Camera,
        })
    }

    /// Whether the other marks of a part are where the cameras expect them: then it was not changed.
    fn check_part(&self, k: usize, known: &Known, marks: &[CarriedMark]) -> Result<(), NotPlaced> {
        let others = (0..marks.len()).filter(|&other| {
            let shares = |other: &Known| other.shares_a_part(known);
            other != k && self.space.known(other).is_some_and(shares)
        });
        let mut agree = 0;
        for other in others {
            if let (Ok(expected), Ok(found)) = (&self.expected[other], &marks[other].to) {
                if expected.contradicted_by(found).is_some() {
                    return Err(NotPlaced::PartChanged);
                }
                agree += 1;
            }
        }
        let is_enough = f64::from(agree) >= CARRY.part_marks.get();
        is_enough.then_some(()).ok_or(NotPlaced::PartUnknown)
    }
}

/// Which landmarks carry the cameras: those of the datum, or, in a render that has too few of them, all, for all lie on the model.
fn carrying<'a>(
    space: &'a InSpace,
    order: &[usize],
    marks: &[CarriedMark],
) -> Option<impl Fn(usize) -> bool + use<'a>> {
    let takes = |all: bool, k: usize| all || space.known(k).is_some_and(|known| known.is_datum);
    let is_enough = |all: bool| {
        let found = order
            .iter()
            .filter(|&&k| takes(all, k) && marks[k].to.is_ok());
        found.count() >= WANTED_MARKS
    };
    let all = match space.side {
        _ if is_enough(false) => false,
        Side::Render if is_enough(true) => true,
        _ => return None,
    };
    Some(move |k| takes(all, k))
}

/// The one camera that explains these marks.
fn camera(photo: &Photo, marks: &[SpaceMark]) -> Result<Resection, String> {
    let found = space::resect(photo, marks).map_err(|error| error.to_string())?;
    match found.second {
        None => Ok(found),
        Some(_) => Err("camera: two of them explain the marks as well".to_owned()),
    }
}

/// Of each mark, whether a camera shows its place on the model there.
fn bears_out(camera: &Resection, marks: &[SpaceMark]) -> Vec<bool> {
    let own = Matrix2::identity() * camera.mark_sigma_px.powi(2);
    let holds = |(mark, fit): (&SpaceMark, &space::MarkFit)| match fit.finding {
        MarkFinding::Good | MarkFinding::Uncontrolled => true,
        MarkFinding::Wrong | MarkFinding::ExchangedWith(_) => false,
        MarkFinding::Predicted => camera.prediction(mark.place).is_some_and(|shown| {
            let of_place = shown.by_place * shown.by_place.transpose();
            let spread = shown.by_camera + of_place * mark.place_sigma_mm.powi(2) + own;
            square(Vector2::from(mark.mark.xy()) - shown.place, spread) < limit()
        }),
    };
    marks.iter().zip(&camera.marks).map(holds).collect()
}

/// Looks once more for marks that were lost or contradict the cameras, and places what is still lost; in plain words, what is to be
/// looked at. `own` is what is believed of marks in this image, pixels.
pub(super) fn look_again(
    change: &Change,
    space: &InSpace,
    on_outline: &[bool],
    own: f64,
    marks: &mut [CarriedMark],
) -> Vec<String> {
    let is_lost =
        |k: usize, marks: &[CarriedMark]| marks[k].to.is_err() && space.known(k).is_some();
    let seen = match Seen::new(&change.map, space, on_outline, marks) {
        Ok(seen) => seen,
        Err(why) if (0..marks.len()).any(|k| is_lost(k, marks)) => {
            return vec![format!("no mark is placed by the camera: {why}")];
        }
        Err(_) => return Vec::new(),
    };
    let mut notes = find_near(change, &seen, marks);
    let lost: Vec<usize> = (0..marks.len()).filter(|&k| is_lost(k, marks)).collect();
    let (mut placed, mut not): (Vec<&str>, BTreeMap<String, Vec<&str>>) = Default::default();
    let places: Vec<_> = (lost.iter())
        .map(|&k| (k, seen.place(k, own, marks)))
        .collect();
    let names: Vec<String> = lost.iter().map(|&k| marks[k].name.clone()).collect();
    for ((k, place), name) in places.into_iter().zip(&names) {
        match place {
            Ok(place) => {
                marks[k].to = Ok(place);
                placed.push(name);
            }
            Err(NotPlaced::NoPlace) => {}
            Err(why) => not.entry(why.to_string()).or_default().push(name),
        }
    }
    if !placed.is_empty() {
        notes.push(format!(
            "not found, and placed by the camera where it shows their places on the model: {}; look at them",
            listed(placed.iter().copied())
        ));
    }
    notes.extend(not.into_iter().map(|(why, names)| {
        format!(
            "not placed by the camera: {}: {why}",
            listed(names.iter().copied())
        )
    }));
    notes
}

/// Looks where the cameras expect them for marks that were lost, and for those that contradict the cameras. What is found there and is
/// more alike is taken; else a mark that was found stays, for the picture shows it there, and that is said.
fn find_near(change: &Change, seen: &Seen<'_>, marks: &mut [CarriedMark]) -> Vec<String> {
    let (mut changed, mut notes) = (Vec::new(), Vec::new());
    for (mark, expected) in marks.iter_mut().zip(&seen.expected) {
        let Ok(expected) = expected else { continue };
        let off = match &mark.to {
            Ok(found) => match expected.contradicted_by(found) {
                None => continue,
                off => off,
            },
            Err(_) => None,
        };
        let likeness = |to: Carried| to.likeness().unwrap_or(0.0);
        let before = mark.to.map_or(0.0, likeness);
        let Some(whole) = change.with_the_whole(mark.from) else {
            continue;
        };
        let there = Matrix3::new_translation(&(expected.marked - Vector2::from(whole)));
        match change.carry_with_part(mark.from, &there, false) {
            Ok(again) if likeness(again) > before && expected.contradicted_by(&again).is_none() => {
                mark.to = Ok(again);
                continue;
            }
            _ => {}
        }
        match off {
            None => {}
            Some(_) if before >= CARRY.sure_likeness.get() => changed.push(mark.name.clone()),
            Some(px) => notes.push(format!(
                "\"{}\" was found {px:.1} px from where the camera expects it, and its surroundings look different (correlation \
                 {before:.2}): look at it",
                mark.name
            )),
        }
    }
    if !changed.is_empty() {
        notes.push(format!(
            "found where the camera does not expect them: {}; look at them, and where their part was changed, at their \"model_mm\"",
            listed(changed.iter().map(String::as_str))
        ));
    }
    notes
}
