//! What the adjustment says of each landmark.
use super::settings::CHECKS;
use super::snooping::DETECTABLE_SQUARE;
use crate::{
    registration::{
        adjustment::{Adjustment, AlongOutline, Noise},
        roles::Roles,
    },
    statistics::Measured,
};
use nalgebra::Vector2;

/// What the registration says of one landmark.
#[derive(Clone, Debug)]
pub struct LandmarkFit {
    /// Mark in the render minus registered mark of the reference, render pixels.
    pub residual_px: [f64; 2],
    /// The same with its interval; what it means for a `check` landmark: how far the model is off here.
    pub offset_px: [Measured; 2],
    /// Root of the standardised square of the joint adjustment's residual, by the noise that the other marks show: noise
    /// alone gives about 1.4 and seldom more than [`LandmarkFit::critical_value`]. `None` where nothing is redundant.
    pub test_statistic: Option<f64>,
    /// The value that noise exceeds in one of a thousand marks: the larger, the fewer marks tell the noise.
    pub critical_value: f64,
    /// Share of an error of this mark that shows in its residual, 0 to 1.
    pub redundancy: f64,
    /// Smallest error of this mark that the test finds four times in five, render pixels.
    pub smallest_detectable_px: Option<f64>,
    /// Where it was taken for the outermost point of an outline: how badly it is known along that.
    pub on_outline: Option<OnOutline>,
    /// What was found out about it.
    pub finding: Option<Finding>,
}

/// A landmark on a smooth outline.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct OnOutline {
    /// Standard deviation along the outline, both marks together, render pixels.
    pub along_sigma_px: f64,
    /// Direction of the outline there in the render, degrees from x, clockwise on the screen, -90 to 90; `None` where none
    /// was found: then the landmark is as badly known in both directions.
    pub tangent_deg: Option<f64>,
}

impl OnOutline {
    fn of(along: AlongOutline, noise: Noise) -> Self {
        let degrees = |t: Vector2<f64>| (t.y / t.x).atan().to_degrees();
        Self {
            along_sigma_px: noise.along * along.sigma,
            tangent_deg: along.tangent.map(degrees),
        }
    }
}

/// What is wrong with a landmark.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Finding {
    /// A gross error: the mark is left out of the fit.
    Wrong,
    /// Its marks and those of this landmark (an index) are exchanged in one image.
    SwappedWith(usize),
    /// Its part (the index of a region) is altered as a whole: the datum landmark was taken as `check`.
    OffWithPart(usize),
    /// Its place on the model contradicts its mark in the render, and the camera's shift needs it: it takes no part.
    WrongPlace,
    /// It and this landmark (an index) of its part contradict each other, and nothing tells which is wrong: both are left
    /// out of the fit.
    Contradicts(usize),
    /// No other mark checks this one.
    Uncontrolled,
}

/// One verdict a landmark; else the index of one whose mark the map takes nowhere.
pub(crate) fn judge(
    adjustment: &Adjustment,
    roles: &Roles,
    swapped: &[(usize, usize)],
) -> Result<Vec<LandmarkFit>, usize> {
    let test = adjustment.mark_test();
    (0..adjustment.problem.pairs.len())
        .map(|i| {
            let took_part = adjustment.active[i];
            let (solved, problem) = (&adjustment.solved, &adjustment.problem);
            let redundancy = solved.redundancy(problem, i, took_part);
            let is_tested = roles.takes_part[i] && redundancy > 0.01;
            let deviation = (solved.rows[i].covariance.trace() / 2.0).sqrt();
            let partner = swapped.iter().find_map(|&(a, b)| match i {
                _ if i == a => Some(b),
                _ if i == b => Some(a),
                _ => None,
            });
            let finding = match partner {
                Some(other) => Some(Finding::SwappedWith(other)),
                None if roles.wrong_place[i] => Some(Finding::WrongPlace),
                None if roles.contradicts[i].is_some() => {
                    roles.contradicts[i].map(Finding::Contradicts)
                }
                None if adjustment.takes_part[i] && !took_part => Some(Finding::Wrong),
                None if roles.off_with_part[i] => roles.part[i].map(Finding::OffWithPart),
                None if roles.takes_part[i]
                    && (!took_part || redundancy < CHECKS.uncontrolled.get()) =>
                {
                    Some(Finding::Uncontrolled)
                }
                None => None,
            };
            let offset = offset(adjustment, i).ok_or(i)?;
            Ok(LandmarkFit {
                residual_px: offset.map(|m| m.value()),
                offset_px: offset,
                test_statistic: is_tested.then(|| {
                    let square = solved.test_square(problem, i, took_part);
                    test.square(square, took_part).sqrt()
                }),
                critical_value: test.critical(took_part).sqrt(),
                redundancy,
                smallest_detectable_px: is_tested
                    .then(|| deviation * (DETECTABLE_SQUARE / redundancy).sqrt()),
                on_outline: problem.pairs[i]
                    .along
                    .map(|along| OnOutline::of(along, adjustment.noise)),
                finding,
            })
        })
        .collect()
}

/// Mark in the render minus registered mark of the reference, with the noise of both and of the registration; `None`
/// where the mark lies beyond the horizon of the rectified plane, or where the lens shows nothing.
fn offset(adjustment: &Adjustment, i: usize) -> Option<[Measured; 2]> {
    let [x, y] = [0, 1].map(|axis| {
        let (value, gradient) = adjustment.offset(i, axis);
        adjustment.measured(value, &gradient)
    });
    Some([x?, y?])
}
