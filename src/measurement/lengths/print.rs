//! How much a print came out smaller or larger along each axis, by calliper readings.
//!
//! A reading `m` between two landmarks, that should be `L`, says `ln(m / L) = sum over the axes of cos^2 * s`, where the cosines are
//! those of the line with the axes and `s` is what the print came out larger by along each. `L` is the distance of the landmarks'
//! places on the model where both have one, else that in the registered reference by its scale. All readings are fitted by least
//! squares with a weak expectation, so that an axis along which nothing was read stays untold; one that contradicts the rest by more
//! than one in a thousand would is left out and named.
//!
//! # Source
//! To first order, length of a line under unequal scales of the axes: Mikhail, "Observations and Least Squares" (1976); leaving out
//! by the test of Baarda (1968). Deviation of a calliper: our own judgement beside the error limit of 0.03 mm up to 150 mm (from
//! memory: DIN 862).
use super::{scales::ScaleStudy, settings::PRINT};
use crate::{
    job::{CalliperReading, ModelDirection, View},
    measurement::figures,
    registration::{Adjustment, adjustment::Gradient},
    statistics::{Measured, normal_quantile},
    units::ScaleRatio,
};
use nalgebra::{Matrix3, Vector3};

/// What calliper readings say of a print.
#[derive(Clone, Debug)]
pub struct PrintSize {
    /// The three axes of the model, or the picture's own first two (to the right, down) where the view does not state its axes and
    /// the landmarks have no places: how much larger the print is than it should be, per cent; `None` where nothing tells it.
    pub larger_percent: [Option<Measured>; 3],
    /// Whether the axes are those of the model.
    pub is_of_model: bool,
    /// The largest length read along each axis, millimetres.
    pub extent_mm: [f64; 3],
    /// One for each reading of the view, in its order.
    pub readings: Vec<ReadingFit>,
}

/// One calliper reading beside what it should be.
#[derive(Clone, Debug, PartialEq)]
pub struct ReadingFit {
    /// What it should read, millimetres; `None` where nothing tells: no places on the model, no scale of the reference.
    pub designed_mm: Option<f64>,
    /// How far it lies off the fitted sizes, millimetres.
    pub residual_mm: Option<f64>,
    /// Whether it contradicts the others: it was left out.
    pub is_wrong: bool,
}

/// One reading that can be fitted.
struct Observation {
    /// Which of the view's readings.
    reading: usize,
    /// `ln(m / L)`.
    log_ratio: f64,
    /// Squares of the cosines of the line with the axes.
    shares: Vector3<f64>,
    /// What `ln L` depends on.
    log_gradient: Gradient,
    /// Variance of the reading alone, of its logarithm.
    own_variance: f64,
    /// The same with that of `L`.
    variance: f64,
    designed_mm: f64,
}

/// What the readings of a view say; `None` where it has none, or none can be held against anything.
pub(crate) fn study(
    view: &View,
    adjustment: &Adjustment,
    scales: &ScaleStudy,
    scale: ScaleRatio,
) -> Option<PrintSize> {
    let design = Design {
        view,
        adjustment,
        scales,
        scale,
        is_of_model: view.axes.is_some() || view.measured.iter().any(|r| has_places(view, r)),
    };
    let readings = view.measured.iter().enumerate();
    let mut used: Vec<Observation> = readings
        .filter_map(|(i, reading)| design.observation(i, reading))
        .collect();
    if used.is_empty() {
        return None;
    }
    let mut fits = vec![
        ReadingFit {
            designed_mm: None,
            residual_mm: None,
            is_wrong: false
        };
        view.measured.len()
    ];
    for observation in &used {
        fits[observation.reading].designed_mm = Some(observation.designed_mm);
    }
    // Each round takes one out, and three are left at least.
    while let Some(worst) = worst(&used) {
        fits[used[worst].reading].is_wrong = true;
        used.remove(worst);
    }
    let fitted = Fitted::new(&used);
    for observation in &used {
        let left = fitted.residual(observation);
        fits[observation.reading].residual_mm = Some(left * observation.designed_mm);
    }
    let mut extent_mm = [0.0; 3];
    for observation in &used {
        for (extent, share) in extent_mm.iter_mut().zip(observation.shares.iter()) {
            *extent = f64::max(*extent, observation.designed_mm * share.sqrt());
        }
    }
    Some(PrintSize {
        larger_percent: [0, 1, 2].map(|axis| fitted.larger_percent(axis, &used, adjustment)),
        is_of_model: design.is_of_model,
        extent_mm,
        readings: fits,
    })
}

fn has_places(view: &View, reading: &CalliperReading) -> bool {
    let mut ends = [reading.from, reading.to].into_iter();
    ends.all(|i| view.landmarks[i].model_mm.is_some())
}

/// What readings are held against.
struct Design<'a> {
    view: &'a View,
    adjustment: &'a Adjustment,
    scales: &'a ScaleStudy,
    scale: ScaleRatio,
    is_of_model: bool,
}

impl Design<'_> {
    /// The reading beside what it should be, by the model or else the reference; `None` where neither tells.
    fn observation(&self, index: usize, reading: &CalliperReading) -> Option<Observation> {
        let (designed_mm, shares, log_gradient) = self
            .by_model(reading)
            .or_else(|| self.by_reference(reading))?;
        let sigma = reading.sigma.map_or(PRINT.calliper_mm.get(), |s| s.0);
        let own = sigma / reading.length.0;
        let of_design = self.adjustment.variance(&log_gradient);
        Some(Observation {
            reading: index,
            log_ratio: (reading.length.0 / designed_mm).ln(),
            shares,
            own_variance: own * own,
            variance: own * own + of_design,
            log_gradient,
            designed_mm,
        })
    }

    fn by_model(&self, reading: &CalliperReading) -> Option<(f64, Vector3<f64>, Gradient)> {
        let place = |i: usize| self.view.landmarks[i].model_mm.map(Vector3::from);
        let line = place(reading.to)? - place(reading.from)?;
        let length = line.norm();
        let shares = (line / length).map(|c| c * c);
        (length > 0.0).then(|| (length, shares, self.adjustment.no_gradient()))
    }

    /// Lengths in the registered reference by its scale; their directions by the view's axes, or by the picture's own where no landmark
    /// has a place either.
    fn by_reference(&self, reading: &CalliperReading) -> Option<(f64, Vector3<f64>, Gradient)> {
        let scale = self.scales.reference.as_ref()?;
        let (from, to) = (reading.from, reading.to);
        let registered = figures::registered_length(self.adjustment, from, to);
        let line = self.adjustment.registered_mark(to) - self.adjustment.registered_mark(from);
        let [right, down] = match (self.view.axes, self.is_of_model) {
            (Some(axes), _) => [axes.right(), axes.down()].map(|d: ModelDirection| d.axis),
            (None, false) => [0, 1],
            (None, true) => return None,
        };
        let mut shares = Vector3::zeros();
        shares[right] = (line.x / line.norm()).powi(2);
        shares[down] = (line.y / line.norm()).powi(2);
        let mut gradient = self.adjustment.no_gradient();
        gradient.add(1.0 / registered.value, &registered.gradient);
        gradient.add(-1.0, &scale.log_gradient);
        let designed_mm = registered.value / scale.px_per_mm / self.scale.denominator();
        (registered.value > 0.0).then_some((designed_mm, shares, gradient))
    }
}

/// The sizes along the axes, fitted.
struct Fitted {
    sizes: Vector3<f64>,
    covariance: Matrix3<f64>,
}

impl Fitted {
    fn new(used: &[Observation]) -> Self {
        let expected = PRINT.expected_size.get();
        let mut normal = Matrix3::identity() / (expected * expected);
        let mut right = Vector3::zeros();
        for o in used {
            normal += o.shares * o.shares.transpose() / o.variance;
            right += o.shares * (o.log_ratio / o.variance);
        }
        let covariance = normal
            .try_inverse()
            .expect("the expectation alone makes it regular");
        Self {
            sizes: covariance * right,
            covariance,
        }
    }

    fn residual(&self, observation: &Observation) -> f64 {
        observation.log_ratio - observation.shares.dot(&self.sizes)
    }

    /// The residual over its deviation; `None` where nothing checks the reading.
    fn statistic(&self, observation: &Observation) -> Option<f64> {
        let fitted =
            (observation.shares.transpose() * self.covariance * observation.shares)[(0, 0)];
        let left = observation.variance - fitted;
        let is_checked = left > PRINT.least_redundancy.get() * observation.variance;
        is_checked.then(|| self.residual(observation) / left.sqrt())
    }

    /// `None` where it is little better known than expected.
    fn larger_percent(
        &self,
        axis: usize,
        used: &[Observation],
        adjustment: &Adjustment,
    ) -> Option<Measured> {
        // What each reading adds to the size, and through it what the size depends on.
        let mut gradient = adjustment.no_gradient();
        let mut own_variance = 0.0;
        for o in used {
            let weight = (self.covariance * o.shares)[axis] / o.variance;
            gradient.add(-weight, &o.log_gradient);
            own_variance += weight * weight * o.own_variance;
        }
        let expected = PRINT.expected_size.get();
        let is_told = self.covariance[(axis, axis)].sqrt() < PRINT.informative.get() * expected;
        let deviation = (adjustment.variance(&gradient) + own_variance).sqrt();
        let half = normal_quantile(0.975) * deviation;
        let larger = Measured::plus_minus(100.0 * self.sizes[axis].exp_m1(), 100.0 * half);
        larger.filter(|_| is_told)
    }
}

/// The reading that contradicts the others most, where one does and three or more are left without it.
fn worst(used: &[Observation]) -> Option<usize> {
    if used.len() <= 3 {
        return None;
    }
    let fitted = Fitted::new(used);
    let limit = normal_quantile(1.0 - PRINT.wrong_level.get() / 2.0);
    let statistics = used.iter().enumerate().filter_map(|(i, o)| {
        let statistic = fitted.statistic(o)?.abs();
        (statistic > limit).then_some((i, statistic))
    });
    let worst = statistics.max_by(|(_, a), (_, b)| a.total_cmp(b));
    worst.map(|(i, _)| i)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::{
        job::{Job, RegistrationKind, ViewAxes},
        measurement::{by_marks, coverage},
        statistics::trials::Noise,
        units::ModelMm,
    };

    const SIGMA: f64 = 0.025;
    /// What the prints of these tests came out larger by along x, y and z.
    const LARGER: [f64; 3] = [-0.004, 0.0, -0.009];
    /// Pairs of landmarks: along the picture, across it, and askew.
    const LINES: [(usize, usize); 7] = [(0, 1), (3, 4), (0, 3), (1, 4), (0, 4), (3, 1), (2, 7)];

    fn job(noise: &mut Noise) -> Job {
        coverage::job(RegistrationKind::Similarity, true, noise)
    }

    /// Where the datum landmarks lie on the model: x to the right, z up.
    fn place(i: usize) -> [f64; 3] {
        let [x, y] = coverage::DATUM[i].map(|v| v / coverage::PX_PER_MODEL_MM);
        [x, 0.0, -y]
    }

    /// A reading of a print that came out like [`LARGER`], exact but for noise: the length of the stretched line itself.
    fn reading((from, to): (usize, usize), noise: &mut Noise) -> CalliperReading {
        let [a, b] = [place(from), place(to)];
        let squares = (0..3).map(|k| ((b[k] - a[k]) * (1.0 + LARGER[k])).powi(2));
        CalliperReading {
            from,
            to,
            length: ModelMm(squares.sum::<f64>().sqrt() + SIGMA * noise.normal()),
            sigma: None,
        }
    }

    fn with_readings(job: &mut Job, lines: &[(usize, usize)], noise: &mut Noise) {
        job.views[0].measured = lines.iter().map(|line| reading(*line, noise)).collect();
    }

    fn with_places(job: &mut Job) {
        for (i, landmark) in job.views[0].landmarks[..8].iter_mut().enumerate() {
            landmark.model_mm = Some(place(i));
        }
    }

    fn found(job: &Job) -> PrintSize {
        by_marks::measured(job).print.expect("readings")
    }

    /// Every interval holds the truth in 95 % of 400 prints, by places on the model and by the reference's scale.
    #[test]
    fn the_intervals_hold_what_the_print_came_out_by() {
        for by_model in [true, false] {
            let mut held = [0; 2];
            let mut noise = Noise(77);
            for _ in 0..coverage::TRIALS {
                let mut job = job(&mut noise);
                with_readings(&mut job, &LINES, &mut noise);
                match by_model {
                    true => with_places(&mut job),
                    false => job.views[0].axes = side_axes(),
                }
                let found = found(&job);
                for (held, axis) in held.iter_mut().zip([0, 2]) {
                    let larger = found.larger_percent[axis].expect("told");
                    *held += usize::from(larger.holds(100.0 * LARGER[axis]));
                }
                assert_eq!(found.larger_percent[1], None, "nothing was read along y");
            }
            for held in held {
                let share =
                    f64::from(u32::try_from(held).expect("small")) / coverage::TRIALS as f64;
                let (low, high) = coverage::BOUND;
                assert!((low..high).contains(&share), "{by_model}: {share}");
            }
        }
    }

    fn side_axes() -> Option<ViewAxes> {
        let direction = |axis, is_against| ModelDirection { axis, is_against };
        ViewAxes::new(direction(0, false), direction(2, true))
    }

    #[test]
    fn a_misread_length_is_named_and_left_out() {
        let mut noise = Noise(5);
        let mut job = job(&mut noise);
        with_places(&mut job);
        with_readings(&mut job, &LINES, &mut noise);
        // 23.4 read for 24.4.
        job.views[0].measured[1].length.0 -= 1.0;
        let found = found(&job);
        let wrong: Vec<bool> = found.readings.iter().map(|r| r.is_wrong).collect();
        assert_eq!(wrong, [false, true, false, false, false, false, false]);
        assert_eq!(found.readings[1].residual_mm, None);
        assert!(
            found.larger_percent[0]
                .expect("told")
                .holds(100.0 * LARGER[0])
        );
    }

    /// Without axes, places and a scale of the reference nothing can be held against anything; without axes and places the picture's
    /// own width and height are told.
    #[test]
    fn what_nothing_tells_is_not_told() {
        let mut noise = Noise(6);
        let mut job = job(&mut noise);
        with_readings(&mut job, &LINES, &mut noise);
        let by_picture = found(&job);
        assert!(!by_picture.is_of_model);
        assert!(by_picture.larger_percent[0].is_some() && by_picture.larger_percent[2].is_none());
        job.views[0].known.clear();
        assert!(by_marks::measured(&job).print.is_none());
        // One line along x alone tells x alone.
        with_places(&mut job);
        with_readings(&mut job, &LINES[..1], &mut noise);
        let one = found(&job).larger_percent.map(|larger| larger.is_some());
        assert_eq!(one, [true, false, false]);
    }

    /// Two axes whose readings all run at 45 degrees to both cannot be told apart.
    #[test]
    fn axes_that_are_only_read_together_are_not_told_apart() {
        let mut noise = Noise(7);
        let mut job = job(&mut noise);
        with_places(&mut job);
        for (i, at) in [
            [0.0, 0.0, 0.0],
            [30.0, 0.0, -30.0],
            [0.0, 0.0, -30.0],
            [30.0, 0.0, 0.0],
        ]
        .into_iter()
        .enumerate()
        {
            job.views[0].landmarks[i].model_mm = Some(at);
        }
        let diagonal = |from, to| CalliperReading {
            from,
            to,
            length: ModelMm(42.2),
            sigma: None,
        };
        job.views[0].measured = vec![diagonal(0, 1), diagonal(2, 3)];
        assert_eq!(found(&job).larger_percent, [None; 3]);
    }
}
