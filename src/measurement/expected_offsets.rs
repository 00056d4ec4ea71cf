//! How large the offsets of a view's parts are expected to be, as the parts themselves tell it.
//!
//! The job expects offsets of so many per cent of the render before anything is looked at, more than most models have. Where the parts
//! of a view show that they lie nearer to their places, one that is badly known most likely does so too: its figures are drawn
//! towards its place, the more the worse it is known. A part that is well known stays where it was found, however far off it is.
//!
//! # Source
//! The deviation that all parts have in common is found by expectation and maximisation (A. P. Dempster, N. M. Laird, D. B. Rubin,
//! 1977), what is stated counting as [`REGIONS`]' `believed_offsets` more. B. Efron and C. Morris, "Data analysis using Stein's
//! estimator and its generalizations" (1975): all parts together are nearer to the truth then. JCGM 106:2012, 6.2: what is known of
//! the making of a thing belongs to what is known of it once it is measured (clause from memory).
use super::{regions::Evidence, settings::REGIONS};
use crate::registration::{RegionErrors, RegionFit};
use nalgebra::{Matrix5, Vector5};
use std::ops::Range;

/// Offsets among a region's five numbers.
const OFFSETS: Range<usize> = 3..5;
/// Rounds of the estimate: it comes within a hundredth of where it would end.
const ROUNDS: usize = 60;

/// The same evidence with offsets expected as large as all of it tells together.
pub(crate) fn considered(evidence: Vec<Evidence>) -> Vec<Evidence> {
    let deviation = deviation(evidence.iter().filter_map(Evidence::with_offset));
    let nearer = |fit: &RegionFit| nearer(fit, deviation?);
    let with = evidence
        .into_iter()
        .map(|evidence| evidence.with_fit(nearer));
    with.collect()
}

/// What is known of one part, with what the job states expected beforehand: the inverse of its covariance, and that times its errors.
struct Known {
    information: Matrix5<f64>,
    weighed: Vector5<f64>,
    stated: [f64; 5],
}

impl Known {
    fn of(fit: &RegionFit) -> Option<Self> {
        let information = fit.covariance.cholesky()?.inverse();
        Some(Self {
            information,
            weighed: information * Vector5::from(fit.errors.to_array()),
            stated: fit.expected,
        })
    }

    /// Errors and covariance with offsets of this deviation expected.
    fn with(&self, deviation: f64) -> Option<(Vector5<f64>, Matrix5<f64>)> {
        let mut expected = self.stated;
        for k in OFFSETS {
            expected[k] = deviation.min(expected[k]);
        }
        let by_picture = self.information - weights(self.stated);
        let covariance = (by_picture + weights(expected)).cholesky()?.inverse();
        Some((covariance * self.weighed, covariance))
    }
}

fn weights(deviations: [f64; 5]) -> Matrix5<f64> {
    Matrix5::from_diagonal(&Vector5::from(deviations.map(|d| d.powi(-2))))
}

/// The standard deviation of the offsets of these parts, render pixels; `None` where there are none.
fn deviation<'a>(fits: impl Iterator<Item = &'a RegionFit>) -> Option<f64> {
    let parts: Vec<Known> = fits.filter_map(Known::of).collect();
    let stated = parts.first()?.stated[OFFSETS.start].powi(2);
    let believed = REGIONS.believed_offsets.get();
    let count = (OFFSETS.len() * parts.len()) as f64 + believed;
    let mut variance = stated;
    for _ in 0..ROUNDS {
        let squares = parts.iter().map(|part| {
            let (errors, covariance) = part.with(variance.sqrt())?;
            Some(
                OFFSETS
                    .map(|k| errors[k].powi(2) + covariance[(k, k)])
                    .sum::<f64>(),
            )
        });
        variance = (squares.sum::<Option<f64>>()? + believed * stated) / count;
    }
    Some(variance.sqrt())
}

fn nearer(fit: &RegionFit, deviation: f64) -> Option<RegionFit> {
    let known = Known::of(fit)?;
    let (errors, covariance) = known.with(deviation)?;
    let by_errors = covariance * known.information;
    let by_reference = std::array::from_fn(|k| {
        let mut sum = fit.by_reference[k].clone().times(by_errors[(k, k)]);
        for l in (0..5).filter(|l| *l != k) {
            sum.add(by_errors[(k, l)], &fit.by_reference[l]);
        }
        sum
    });
    Some(RegionFit {
        errors: RegionErrors::from_array(errors.into()),
        covariance,
        by_reference,
        ..fit.clone()
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::{registration::ByReference, statistics::trials::Noise};

    /// A job's default on a picture of 1750 px.
    const STATED: [f64; 5] = [0.04, 0.04, 0.026, 14.0, 14.0];

    /// A part that is found off by so much, with this deviation by the picture alone; sizes and turn are known well.
    fn found(offset: [f64; 2], deviation: f64) -> RegionFit {
        let by_picture = [0.004, 0.004, 0.003, deviation, deviation];
        let covariance = (weights(by_picture) + weights(STATED))
            .cholesky()
            .expect("positive")
            .inverse();
        let errors = [0.0, 0.0, 0.0, offset[0], offset[1]];
        let errors = covariance * weights(by_picture) * Vector5::from(errors);
        RegionFit {
            errors: RegionErrors::from_array(errors.into()),
            covariance,
            freedom: f64::INFINITY,
            expected: STATED,
            landmarks: 2,
            is_datum: false,
            by_reference: std::array::from_fn(|k| ByReference {
                marks: vec![(0, [k as f64, 1.0])],
                rectification: Vec::new(),
            }),
        }
    }

    fn offset_of(fit: &RegionFit) -> [f64; 2] {
        let errors = fit.errors.to_array();
        [errors[3], errors[4]]
    }

    #[test]
    fn among_parts_that_are_right_a_badly_known_one_is_drawn_to_its_place() {
        let mut parts: Vec<RegionFit> = (0..9).map(|_| found([1.0, -1.0], 0.5)).collect();
        parts.push(found([9.0, 0.0], 6.0));
        parts.push(found([9.0, 0.0], 0.5));
        let deviation = deviation(parts.iter()).expect("eleven parts");
        assert!((2.5..5.5).contains(&deviation), "{deviation}");
        let [badly_known, well_known] = [9, 10].map(|i| {
            let after = nearer(&parts[i], deviation).expect("known");
            let width = after.covariance[(3, 3)].sqrt() / parts[i].covariance[(3, 3)].sqrt();
            (offset_of(&parts[i])[0], offset_of(&after)[0], width)
        });
        assert!(badly_known.1 < 0.55 * badly_known.0, "{badly_known:?}");
        assert!(badly_known.2 < 0.8, "{badly_known:?}");
        assert!(well_known.1 > 0.97 * well_known.0, "{well_known:?}");
    }

    #[test]
    fn parts_as_far_off_as_the_job_expects_stay() {
        let parts: Vec<RegionFit> = (0..8)
            .map(|i| found([14.0, 15.0].map(|x| if i % 2 == 0 { x } else { -x }), 3.0))
            .collect();
        let deviation = deviation(parts.iter()).expect("eight parts");
        let after = nearer(&parts[0], deviation).expect("known");
        for (before, after) in offset_of(&parts[0]).into_iter().zip(offset_of(&after)) {
            assert!((after - before).abs() < 0.02 * before, "{before} {after}");
        }
    }

    #[test]
    fn of_no_part_nothing_is_known() {
        assert_eq!(deviation([].iter()), None);
    }

    #[test]
    fn what_the_reference_does_is_drawn_in_with_the_errors() {
        let part = found([6.0, 0.0], 5.0);
        let after = nearer(&part, 4.0).expect("known");
        let [before, now] = [&part, &after].map(|fit| fit.by_reference[3].marks[0].1);
        let share = offset_of(&after)[0] / offset_of(&part)[0];
        for k in 0..2 {
            assert!((now[k] - share * before[k]).abs() < 1e-9, "{now:?}");
        }
    }

    /// Parts of which two thirds are right, as `deviation` known and off by up to 8 px: of intervals that hold, those of parts off by
    /// more than 4 px; root mean squares before and after.
    #[test]
    fn all_parts_together_are_nearer_and_intervals_hold() {
        let mut noise = Noise(5);
        let (mut all, mut holds, mut far, mut far_holds) = (0, 0, 0, 0);
        let (mut before, mut after) = (0.0, 0.0);
        for view in 0..300 {
            let truths: Vec<f64> = (0..12)
                .map(|i| match i % 3 {
                    0 => 8.0 * noise.normal().clamp(-1.0, 1.0),
                    _ => 0.0,
                })
                .collect();
            let parts: Vec<RegionFit> = truths
                .iter()
                .enumerate()
                .map(|(i, truth)| {
                    let deviation = [0.7, 1.5, 3.0, 5.0][(i + view) % 4];
                    let [x, y] = [*truth, 0.0].map(|t| t + deviation * noise.normal());
                    found([x, y], deviation)
                })
                .collect();
            let deviation = deviation(parts.iter()).expect("twelve parts");
            for (part, truth) in parts.iter().zip(truths) {
                let told = nearer(part, deviation).expect("known");
                let off = offset_of(&told)[0] - truth;
                let is_held = off.abs() < 1.96 * told.covariance[(3, 3)].sqrt();
                before += (offset_of(part)[0] - truth).powi(2);
                after += off.powi(2);
                all += 1;
                holds += usize::from(is_held);
                if truth.abs() > 4.0 {
                    far += 1;
                    far_holds += usize::from(is_held);
                }
            }
        }
        let share = |n: usize, of: usize| n as f64 / of as f64;
        assert!(after < 0.85 * before, "{after} {before}");
        assert!(share(holds, all) > 0.94, "{}", share(holds, all));
        assert!(share(far_holds, far) > 0.90, "{}", share(far_holds, far));
    }
}
