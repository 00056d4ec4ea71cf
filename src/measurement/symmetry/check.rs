//! How far a reference is from symmetric, where the subject is: a picture that was not taken from in front is not.
//!
//! Of each pair, the middle lies on the axis and the line between both stands square on it; a landmark on the axis lies on
//! it. The axis (its angle and its place) is fitted to all by least squares. A view from the side makes the lines stand
//! askew (parallel projection) and moves the middles of wide pairs (perspective); both show in what is left over.
//!
//! # Source
//! Generalised least squares and the test of the variance of unit weight: K.-R. Koch, "Parameter Estimation and
//! Hypothesis Testing in Linear Models" (1999), section 4.2.
use super::settings::SYMMETRY;
use crate::{
    job::{Symmetry, View},
    measurement::{Test, own_marks::own_point},
    registration::{Adjustment, adjustment::Gradient},
    statistics::{
        Measured, f_quantile,
        words::{self, Sign},
    },
};
use nalgebra::{DMatrix, DVector, Vector2};

/// How far the reference is from symmetric.
#[derive(Clone, Debug)]
pub struct SymmetryCheck {
    /// Mean square of the residuals over their variance, and what noise exceeds in one of a thousand cases.
    pub test: Test,
    /// Observations minus unknowns.
    pub degrees_of_freedom: usize,
    /// Inclination of the axis in the (rectified) reference, degrees, clockwise from its x axis, 0 to 180.
    pub axis_deg: Measured,
    /// How far the lines between pairs stand from square on the axis, degrees, clockwise.
    pub skew_deg: Measured,
    /// In the order of the job.
    pub pairs: Vec<PairAsymmetry>,
    /// All in one sentence.
    pub text: String,
}

/// How far one pair is from symmetric, pixels of the (rectified) reference.
#[derive(Clone, Debug)]
pub struct PairAsymmetry {
    /// Names of both landmarks.
    pub names: [String; 2],
    /// Its middle from the axis, to the right of the axis as it runs.
    pub middle_px: Measured,
    /// How much further along the axis the second one lies than the first.
    pub along_px: Measured,
}

/// A linear observation: what is left over for the present axis, and what it depends on.
pub(super) struct Observation {
    pub(super) value: f64,
    /// Derivatives by the axis's angle, its place, and the skew.
    by_axis: [f64; 3],
    pub(super) gradient: Gradient,
}

/// The axis that fits best, and what it leaves.
pub(super) struct Fitted {
    axis: Axis,
    pub(super) observations: Vec<Observation>,
    pub(super) fit: Fit,
}

impl Fitted {
    /// Whether all leave more than noise does; `None` where nothing is redundant.
    pub(super) fn test(&self, adjustment: &Adjustment) -> Option<Test> {
        let freedom = self.fit.freedom as f64;
        (self.fit.freedom > 0).then(|| Test {
            statistic: self.fit.square / freedom,
            critical: f_quantile(
                1.0 - SYMMETRY.level.get(),
                freedom,
                adjustment.noise_freedom().min(1e6),
            ),
        })
    }

    pub(super) fn values(&self) -> DVector<f64> {
        DVector::from_iterator(
            self.observations.len(),
            self.observations.iter().map(|o| o.value),
        )
    }

    /// Whether a single observation leaves more than noise does, though all of them together may not.
    ///
    /// # Source
    /// W. Baarda, "A testing procedure for use in geodetic networks" (1968), for correlated observations.
    pub(super) fn stands_out(&self, adjustment: &Adjustment) -> bool {
        let limit = f_quantile(
            1.0 - SYMMETRY.level.get(),
            1.0,
            adjustment.noise_freedom().min(1e6),
        );
        let weights = self.fit.weights_with_free_unknowns();
        let weighted = &weights * self.values();
        (0..weighted.len()).any(|i| {
            let weight = weights[(i, i)];
            // An observation that nothing checks has none.
            weight > 0.0 && weighted[i] * weighted[i] > limit * weight
        })
    }
}

/// Checks a view's symmetry; `None` where none is stated or its marks coincide.
pub(crate) fn check(view: &View, adjustment: &Adjustment) -> Option<SymmetryCheck> {
    let symmetry = view.symmetry.as_ref()?;
    told(view, symmetry, adjustment, &fitted(symmetry, adjustment)?)
}

/// Fits the axis; `None` where marks coincide.
pub(super) fn fitted(symmetry: &Symmetry, adjustment: &Adjustment) -> Option<Fitted> {
    let at = |i: usize| own_point(adjustment, i).at;
    let mut axis = start(symmetry, &at)?;
    let mut fitted = None;
    // The axis turns by fractions of a degree: three rounds leave nothing.
    for _ in 0..4 {
        let observations = observe(symmetry, adjustment, &axis);
        let fit = Fit::of(adjustment, &observations, 2)?;
        axis.angle += fit.unknowns[0];
        let normal = axis.across();
        axis.through += normal * fit.unknowns[1];
        fitted = Some((observations, fit));
    }
    let (observations, fit) = fitted?;
    Some(Fitted {
        axis,
        observations,
        fit,
    })
}

/// The axis as a line.
struct Axis {
    /// Inclination, radians, clockwise.
    angle: f64,
    through: Vector2<f64>,
}

impl Axis {
    fn along(&self) -> Vector2<f64> {
        Vector2::new(self.angle.cos(), self.angle.sin())
    }

    /// To the right of someone who looks along the axis.
    fn across(&self) -> Vector2<f64> {
        Vector2::new(-self.angle.sin(), self.angle.cos())
    }
}

/// Square on the mean line between pairs, through the mean of all middles.
fn start(symmetry: &Symmetry, at: &dyn Fn(usize) -> Vector2<f64>) -> Option<Axis> {
    let first = symmetry.pairs.first().map(|p| at(p[1]) - at(p[0]))?;
    let between: Vector2<f64> = symmetry
        .pairs
        .iter()
        .map(|p| at(p[1]) - at(p[0]))
        // Whichever way a pair is named.
        .map(|d| if d.dot(&first) < 0.0 { -d } else { d })
        .sum();
    let middles = symmetry.pairs.iter().map(|p| (at(p[0]) + at(p[1])) / 2.0);
    let all: Vec<Vector2<f64>> = middles
        .chain(symmetry.axis.iter().map(|i| at(*i)))
        .collect();
    let through = all.iter().sum::<Vector2<f64>>() / all.len() as f64;
    let is_sound = between.norm() > 0.0 && through.iter().all(|x| x.is_finite());
    is_sound.then(|| Axis {
        angle: between.y.atan2(between.x) + std::f64::consts::FRAC_PI_2,
        through,
    })
}

fn observe(symmetry: &Symmetry, adjustment: &Adjustment, axis: &Axis) -> Vec<Observation> {
    let (along, across) = (axis.along(), axis.across());
    // A weighted sum of points in a direction.
    let combined = |points: &[(usize, f64)], direction: Vector2<f64>| {
        let mut gradient = adjustment.no_gradient();
        let mut sum = Vector2::zeros();
        for (i, weight) in points {
            let point = own_point(adjustment, *i);
            sum += point.at * *weight;
            gradient.global += point.by_global.tr_mul(&(direction * *weight));
            gradient.add_reference(*i, point.by_mark.tr_mul(&(direction * *weight)));
        }
        (sum, gradient)
    };
    let on_axis = |points: &[(usize, f64)]| {
        let (sum, gradient) = combined(points, across);
        let from = sum - axis.through;
        Observation {
            value: from.dot(&across),
            // Turning the axis moves it away from a point ahead.
            by_axis: [along.dot(&from), 1.0, 0.0],
            gradient,
        }
    };
    let mut all = Vec::new();
    for [first, second] in &symmetry.pairs {
        all.push(on_axis(&[(*first, 0.5), (*second, 0.5)]));
        let (between, gradient) = combined(&[(*second, 1.0), (*first, -1.0)], along);
        let width = between.dot(&across);
        all.push(Observation {
            value: between.dot(&along),
            by_axis: [-width, 0.0, -width],
            gradient,
        });
    }
    all.extend(symmetry.axis.iter().map(|i| on_axis(&[(*i, 1.0)])));
    all
}

/// Least squares with the first unknowns of the observations.
pub(super) struct Fit {
    unknowns: DVector<f64>,
    cofactor: DMatrix<f64>,
    square: f64,
    freedom: usize,
    /// Inverse of the covariance of the observations, and it times the derivatives by the unknowns.
    inverse: DMatrix<f64>,
    weighted: DMatrix<f64>,
}

impl Fit {
    fn of(adjustment: &Adjustment, observations: &[Observation], unknowns: usize) -> Option<Self> {
        let n = observations.len();
        let own: Vec<f64> = observations
            .iter()
            .map(|o| adjustment.variance(&o.gradient))
            .collect();
        let mut covariance = DMatrix::zeros(n, n);
        for i in 0..n {
            covariance[(i, i)] = own[i];
            for j in 0..i {
                let mut sum = observations[i].gradient.clone();
                sum.add(1.0, &observations[j].gradient);
                let shared = (adjustment.variance(&sum) - own[i] - own[j]) / 2.0;
                covariance[(i, j)] = shared;
                covariance[(j, i)] = shared;
            }
        }
        let inverse = covariance.cholesky()?.inverse();
        // Zero is observed: `value - by_axis * unknowns = noise`.
        let design = DMatrix::from_fn(n, unknowns, |r, c| observations[r].by_axis[c]);
        let value = DVector::from_fn(n, |r, _| observations[r].value);
        let weighted = design.transpose() * &inverse;
        let cofactor = (&weighted * &design).cholesky()?.inverse();
        let unknowns = &cofactor * (&weighted * &value);
        let left = &value - &design * &unknowns;
        Some(Self {
            square: (left.transpose() * &inverse * &left)[(0, 0)],
            freedom: n.checked_sub(unknowns.len())?,
            unknowns,
            cofactor,
            weighted: weighted.transpose(),
            inverse,
        })
    }

    /// Weights that leave out what the unknowns take up: `W - W A (A' W A)^-1 A' W`.
    pub(super) fn weights_with_free_unknowns(&self) -> DMatrix<f64> {
        &self.inverse - &self.weighted * &self.cofactor * self.weighted.transpose()
    }
}

fn told(
    view: &View,
    symmetry: &Symmetry,
    adjustment: &Adjustment,
    fitted: &Fitted,
) -> Option<SymmetryCheck> {
    let Fitted {
        axis,
        observations,
        fit,
    } = fitted;
    let noise = adjustment.noise_freedom();
    let test = fitted.test(adjustment)?;
    let askew = Fit::of(adjustment, observations, 3)?;
    let degrees = |value: f64, variance: f64| {
        let m = Measured::from_deviation(value, variance.max(0.0).sqrt(), noise)?;
        Some(m.times(180.0 / std::f64::consts::PI))
    };
    let axis_deg = degrees(
        axis.angle.rem_euclid(std::f64::consts::PI),
        fit.cofactor[(0, 0)],
    )?;
    let skew_deg = degrees(askew.unknowns[2], askew.cofactor[(2, 2)])?;
    let pairs = symmetry
        .pairs
        .iter()
        .zip(observations.chunks(2))
        .map(|(pair, two)| {
            Some(PairAsymmetry {
                names: pair.map(|i| view.landmarks[i].name.clone()),
                middle_px: adjustment.measured(two[0].value, &two[0].gradient)?,
                along_px: adjustment.measured(two[1].value, &two[1].gradient)?,
            })
        })
        .collect::<Option<Vec<_>>>()?;
    let mut text = sentence(test, skew_deg, &pairs);
    if !test.speaks() && fitted.stands_out(adjustment) {
        text += "; one mark stands out by itself, so mirrored marks are not used as evidence";
    }
    Some(SymmetryCheck {
        test,
        degrees_of_freedom: fit.freedom,
        axis_deg,
        skew_deg,
        pairs,
        text,
    })
}

fn sentence(test: Test, skew: Measured, pairs: &[PairAsymmetry]) -> String {
    let numbers = format!("F {:.1}, limit {:.1}", test.statistic, test.critical);
    if !test.speaks() {
        return format!(
            "the reference is symmetric as far as its marks can tell ({numbers}; askew by {})",
            words::interval(skew, Sign::Minus, "°")
        );
    }
    let size = |p: &PairAsymmetry| p.middle_px.value().abs().max(p.along_px.value().abs());
    let worst = pairs.iter().max_by(|a, b| size(a).total_cmp(&size(b)));
    let worst = worst.map_or_else(String::new, |p| {
        format!(
            "; farthest off are \"{}\" and \"{}\": their middle lies {} from the axis, and one {} ahead of the other",
            p.names[0],
            p.names[1],
            words::interval(p.middle_px, Sign::Never, " px"),
            words::interval(p.along_px, Sign::Never, " px")
        )
    });
    format!(
        "the reference is not symmetric ({numbers}; askew by {}{worst}): it was not taken from in front, it is \
         not straight, or a mark is wrong; what is off in it will look like an error of the model",
        words::interval(skew, Sign::Minus, "°")
    )
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::{
        frame::Point,
        job::RegistrationKind,
        measurement::coverage::{BOUND, REFERENCE_SIGMA, TRIALS, job},
        registration::register,
        statistics::trials::Noise,
    };

    /// Half-widths and heights of the pairs on the subject, pixels of a picture from in front; the axis stands upright.
    const PAIRS: [[f64; 2]; 4] = [[180.0, 40.0], [90.0, 160.0], [150.0, 300.0], [60.0, 380.0]];

    /// How the picture departs from one from in front.
    #[derive(Clone, Copy, Default)]
    struct Departure {
        /// Lines between pairs stand this far from square, radians.
        skew: f64,
        /// Perspective: share by which a distance of 100 px to the right is shortened.
        keystone: f64,
    }

    fn trial(departure: Departure, noise: &mut Noise) -> SymmetryCheck {
        let mut job = job(RegistrationKind::Similarity, true, noise);
        let view = &mut job.views[0];
        let (sin, cos) = 0.05_f64.sin_cos();
        let mut mark = |x: f64, y: f64| {
            let x = x / (1.0 + departure.keystone * x / 100.0);
            let y = y + departure.skew.tan() * x;
            let turned = [cos * x - sin * y, sin * x + cos * y];
            turned.map(|v| 250.0 + v + REFERENCE_SIGMA * noise.normal())
        };
        let mut places = Vec::new();
        for [x, y] in PAIRS {
            places.push(mark(-x, y));
            places.push(mark(x, y));
        }
        places.push(mark(0.0, 200.0));
        for (landmark, [x, y]) in view.landmarks.iter_mut().zip(&places) {
            landmark.reference = Point::new(*x, *y);
        }
        // The render's marks fit, so that the registration stands: the part's are left as they are.
        for landmark in &mut view.landmarks[..9] {
            let [x, y] = landmark.reference.xy();
            landmark.render = Point::new(2.0 * x, 2.0 * y);
        }
        view.regions.clear();
        view.symmetry = Some(Symmetry {
            pairs: (0..4).map(|k| [2 * k, 2 * k + 1]).collect(),
            axis: vec![8],
        });
        let registered = register(view, job.expected, (1000, 1000), None).expect("eight landmarks");
        check(view, &registered.adjustment).expect("four pairs")
    }

    #[test]
    fn a_picture_from_in_front_is_symmetric_and_its_intervals_hold() {
        let mut noise = Noise(53);
        let (mut alarms, mut skew, mut axis) = (0, 0, 0);
        for _ in 0..TRIALS {
            let check = trial(Departure::default(), &mut noise);
            assert_eq!(check.degrees_of_freedom, 7);
            alarms += usize::from(check.test.speaks());
            skew += usize::from(check.skew_deg.holds(0.0));
            axis += usize::from(check.axis_deg.holds(90.0 + 0.05_f64.to_degrees()));
        }
        // One in a thousand of 400: more than four come once in 16,000 runs (binomial).
        assert!(alarms <= 4, "{alarms}");
        for count in [skew, axis] {
            let share = count as f64 / TRIALS as f64;
            assert!(share > BOUND.0 && share < BOUND.1, "{share}");
        }
    }

    #[test]
    fn a_picture_from_the_side_is_not_symmetric_and_its_skew_is_told() {
        let mut noise = Noise(59);
        let skewed = Departure {
            skew: 0.04,
            ..Departure::default()
        };
        let mut held = 0;
        for _ in 0..100 {
            let check = trial(skewed, &mut noise);
            assert!(check.test.speaks());
            assert!(check.text.starts_with("the reference is not symmetric"));
            held += usize::from(check.skew_deg.holds(0.04_f64.to_degrees()));
        }
        assert!(held > 86, "{held}");
        let perspective = Departure {
            keystone: 0.05,
            ..Departure::default()
        };
        let check = trial(perspective, &mut noise);
        assert!(check.test.speaks(), "{}", check.text);
        assert!(
            check.text.contains("\"datum 0\" and \"datum 1\""),
            "{}",
            check.text
        );
    }
}
