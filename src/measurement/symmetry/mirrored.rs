//! Mirrored marks as further evidence: where the subject is symmetric, the reference's marks of one side tell of the other.
//!
//! That the reference is symmetric about an axis is observed: the middle of each pair lies on the axis, and the line between
//! both stands square on it. Those observations are added to the finished adjustment, the axis being estimated with them, as
//! a sequential adjustment adds any: a region's errors are improved by what they have in common with the noise that the
//! observations show. Only the noise of the reference's marks is lessened, by the square root of two at most; the render's
//! marks are not touched, so that an error of one side of the model stays on that side.
//!
//! What it leaves out: an asymmetry of the subject that is smaller than the noise of the marks is taken for noise.
//!
//! # Source
//! Sequential adjustment: K.-R. Koch, "Parameter Estimation and Hypothesis Testing in Linear Models" (1999); section from
//! memory, 3.5.
use super::check::{Fitted, fitted};
use super::settings::SYMMETRY;
use crate::{
    job::View,
    registration::{Adjustment, RegionErrors, RegionFit},
};
use nalgebra::{DMatrix, DVector, Matrix5};

/// That a reference is symmetric, as observations.
pub(crate) struct Mirrored {
    fitted: Fitted,
    /// Weights of the observations, the axis being free.
    weights: DMatrix<f64>,
    values: DVector<f64>,
}

impl Mirrored {
    /// `None` where the view states no symmetry, was not taken from the render's camera, or is not symmetric within the noise
    /// of its marks: neither all of them together nor a single one may stand out.
    pub(crate) fn of(view: &View, adjustment: &Adjustment) -> Option<Self> {
        let symmetry = view.symmetry.as_ref().filter(|_| view.same_camera)?;
        let fitted = fitted(symmetry, adjustment)?;
        let weights = fitted.fit.weights_with_free_unknowns();
        let values = fitted.values();
        let is_symmetric = !fitted.stands_out(adjustment) && !fitted.test(adjustment)?.speaks();
        is_symmetric.then_some(Self {
            fitted,
            weights,
            values,
        })
    }

    /// The errors of region `j`, which `fit` has from this adjustment, with the mirrored marks; `None` where they add next to
    /// nothing.
    pub(crate) fn improve(
        &self,
        adjustment: &Adjustment,
        j: usize,
        fit: &RegionFit,
    ) -> Option<RegionFit> {
        // A datum part is judged by another adjustment.
        if fit.is_datum || fit.landmarks == 0 {
            return None;
        }
        let observations = &self.fitted.observations;
        let shared = DMatrix::from_fn(5, observations.len(), |k, i| {
            adjustment.covariance_with(&observations[i].gradient, j, k)
        });
        let gain = &shared * &self.weights;
        let less: Matrix5<f64> = (&gain * shared.transpose()).fixed_view::<5, 5>(0, 0).into();
        let part = |k: usize| less[(k, k)] / fit.covariance[(k, k)];
        let is_sound = (0..5).all(|k| part(k).is_finite() && part(k) < 1.0);
        if !is_sound
            || [0, 1, 3, 4]
                .into_iter()
                .all(|k| part(k) < SYMMETRY.least_gain.get())
        {
            return None;
        }
        let change = &gain * &self.values;
        let before = fit.errors.to_array();
        let mut by_reference = fit.by_reference.clone();
        for (i, observation) in observations.iter().enumerate() {
            let moved = adjustment.by_reference(&observation.gradient);
            for (k, sum) in by_reference.iter_mut().enumerate() {
                sum.add(-gain[(k, i)], &moved);
            }
        }
        Some(RegionFit {
            errors: RegionErrors::from_array(std::array::from_fn(|k| before[k] - change[k])),
            covariance: fit.covariance - less,
            by_reference,
            ..fit.clone()
        })
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::{
        frame::{Point, truth::Errors},
        job::{Landmark, LandmarkUse, Region, RegistrationKind, Symmetry},
        measurement::coverage::job,
        registration::{Registered, register},
        statistics::{Measured, trials::Noise},
    };

    const TRIALS: usize = 250;
    /// Three binomial standard deviations.
    const BOUND: (f64, f64) = (0.95 - 0.041, 0.95 + 0.041);
    const RENDER_SIGMA: f64 = 0.2;
    const REFERENCE_SIGMA: f64 = 1.2;
    /// Half-widths and heights on the subject, from the axis, in render pixels: the datum, then one arm.
    const DATUM: [[f64; 2]; 5] = [
        [360.0, 80.0],
        [180.0, 320.0],
        [300.0, 600.0],
        [120.0, 760.0],
        [240.0, 420.0],
    ];
    const ARM: [[f64; 2]; 4] = [
        [200.0, 480.0],
        [420.0, 470.0],
        [420.0, 560.0],
        [200.0, 550.0],
    ];
    const ANCHOR: [f64; 2] = [310.0, 515.0];
    /// Those of the left arm of the model; the right one is as it should be.
    const LEFT: Errors = Errors {
        size: [0.03, -0.02],
        rotation: 0.0,
        offset: [3.0, -2.0],
    };

    /// A subject seen from in front, whose left arm (in the picture) is longer by `longer` px.
    fn view(longer: f64, noise: &mut Noise) -> View {
        let mut view = job(RegistrationKind::Similarity, true, noise)
            .views
            .remove(0);
        view.render.mark_sigma_px = Some(RENDER_SIGMA);
        view.reference.mark_sigma_px = Some(REFERENCE_SIGMA);
        (view.known, view.spans, view.angles) = (Vec::new(), Vec::new(), Vec::new());
        let (sin, cos) = 0.04_f64.sin_cos();
        let mut landmark = |subject: [f64; 2], model: [f64; 2], usage| {
            let mut off = |sigma: f64| sigma * noise.normal();
            let shown = [
                300.0 + 0.5 * (cos * subject[0] - sin * subject[1]),
                40.0 + 0.5 * (sin * subject[0] + cos * subject[1]),
            ];
            let (in_render, in_reference) = (RENDER_SIGMA, REFERENCE_SIGMA);
            Landmark {
                name: String::new(),
                render: Point::new(500.0 + model[0] + off(in_render), model[1] + off(in_render)),
                reference: Point::new(shown[0] + off(in_reference), shown[1] + off(in_reference)),
                usage,
                model_mm: None,
                part: None,
                on: None,
                sigma_px: [None; 2],
                model_sigma_mm: None,
            }
        };
        view.landmarks.clear();
        for [x, y] in DATUM {
            for x in [-x, x] {
                view.landmarks
                    .push(landmark([x, y], [x, y], LandmarkUse::Datum));
            }
        }
        for [x, y] in ARM {
            let subject = [if x > 300.0 { -x - longer } else { -x }, y];
            let model = LEFT.shown([-ANCHOR[0], ANCHOR[1]], subject);
            view.landmarks
                .push(landmark(subject, model, LandmarkUse::Check));
            view.landmarks
                .push(landmark([x, y], [x, y], LandmarkUse::Check));
        }
        let arm = |first: usize, sign: f64| Region {
            landmarks: (first..18).step_by(2).collect(),
            outline: ARM.map(|[x, y]| Point::new(500.0 + sign * x, y)).to_vec(),
            anchor: Point::new(500.0 + sign * ANCHOR[0], ANCHOR[1]),
            ..view.regions[0].clone()
        };
        view.regions = vec![arm(10, -1.0), arm(11, 1.0)];
        view.symmetry = Some(Symmetry {
            pairs: (0..9).map(|k| [2 * k, 2 * k + 1]).collect(),
            axis: Vec::new(),
        });
        view
    }

    fn registered(view: &View, noise: &mut Noise) -> Registered {
        let expected = job(RegistrationKind::Similarity, true, noise).expected;
        register(view, expected, (1000, 900), None).expect("ten datum landmarks")
    }

    #[test]
    fn mirrored_marks_narrow_the_intervals_which_still_hold_the_truth() {
        let mut noise = Noise(67);
        let (mut held, mut ratios, mut used) = ([[0; 4]; 2], [0.0; 4], 0);
        for _ in 0..TRIALS {
            let view = view(0.0, &mut noise);
            let registered = registered(&view, &mut noise);
            let Some(mirrored) = Mirrored::of(&view, &registered.adjustment) else {
                continue;
            };
            used += 1;
            for (j, truth) in [LEFT, Errors::default()].into_iter().enumerate() {
                let ([w, h], [x, y]) = (truth.size, truth.offset);
                let truth = [w, h, x, y];
                let before = registered.regions[j].as_ref().expect("four landmarks");
                let after = mirrored
                    .improve(&registered.adjustment, j, before)
                    .expect("much to gain");
                for (n, k) in [0, 1, 3, 4].into_iter().enumerate() {
                    let deviation = |fit: &RegionFit| fit.covariance[(k, k)].sqrt();
                    let value = after.errors.to_array()[k];
                    let figure = Measured::from_deviation(value, deviation(&after), after.freedom);
                    held[j][n] += usize::from(figure.expect("finite").holds(truth[n]));
                    ratios[n] += deviation(&after) / deviation(before);
                }
            }
        }
        // Noise alone is taken for asymmetry in one view of fifty, having eighteen observations to stand out.
        assert!(used > TRIALS * 95 / 100, "{used}");
        for share in held.as_flattened().iter().map(|h| *h as f64 / used as f64) {
            assert!(share > BOUND.0 && share < BOUND.1, "{held:?} of {used}");
        }
        let ratios = ratios.map(|r| r / (2 * used) as f64);
        // One over the root of two, 0.71, but for the noise of the render's marks; offsets gain by the axis, too.
        assert!(
            ratios.iter().all(|r| (0.66..0.76).contains(r)),
            "{ratios:?}"
        );
    }

    #[test]
    fn a_subject_with_one_side_altered_is_not_averaged() {
        let mut noise = Noise(71);
        for _ in 0..50 {
            // Ten deviations of a mark: the arm is longer by a twentieth.
            let view = view(24.0, &mut noise);
            let registered = registered(&view, &mut noise);
            assert!(Mirrored::of(&view, &registered.adjustment).is_none());
        }
    }

    #[test]
    fn a_single_mark_that_stands_out_is_told_and_not_averaged() {
        let mut noise = Noise(79);
        let mut told = 0;
        for _ in 0..50 {
            let mut view = view(0.0, &mut noise);
            // Five deviations along the axis: among eighteen observations seldom enough to make all of them speak.
            view.landmarks[12].reference.y += 5.0 * REFERENCE_SIGMA;
            let registered = registered(&view, &mut noise);
            let check = crate::measurement::symmetry::check(&view, &registered.adjustment);
            let check = check.expect("nine pairs");
            let is_told =
                check.test.speaks() || check.text.contains("one mark stands out by itself");
            let is_used = Mirrored::of(&view, &registered.adjustment).is_some();
            assert_ne!(is_told, is_used, "{}", check.text);
            told += usize::from(is_told);
        }
        // 5 / root 2 against 3.29: a power of 60 %, but for what the mark loses to its part's pair beside it.
        assert!(told > 20, "{told}");
    }

    #[test]
    fn a_view_from_another_camera_is_not_mirrored() {
        let mut noise = Noise(73);
        let mut view = view(0.0, &mut noise);
        let registered = registered(&view, &mut noise);
        assert!(Mirrored::of(&view, &registered.adjustment).is_some());
        view.same_camera = false;
        assert!(Mirrored::of(&view, &registered.adjustment).is_none());
    }
}
