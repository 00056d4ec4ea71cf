//! A lens that the marks tell, where nothing in the job does.
//!
//! Marks of a bent picture that are set well contradict each other by far more than they scatter: looked at one by one they
//! are left out until the rest agrees. So the bend of all of them is tried where several were left out, and where those
//! that are left still lie as if bent: the lens' coefficient becomes one more unknown of the adjustment, expected to be 0.
//!
//! # Source
//! The test of an alternative hypothesis: W. Baarda, "A testing procedure for use in geodetic networks" (1968).
use super::{
    adjustment::Adjustment,
    checks::{
        landmarks::{Finding, LandmarkFit},
        settings::CHECKS,
    },
};
use crate::{
    rectification::Rectification,
    statistics::{Measured, t_quantile},
};

/// Fewer datum marks left out than this are slips of the hand.
const AT_LEAST: usize = 2;

/// The marks of a registration, as far as a lens may show in them.
pub(super) struct Marks<'a> {
    pub(super) adjustment: &'a Adjustment,
    /// One for each landmark.
    pub(super) landmarks: &'a [LandmarkFit],
    pub(super) is_datum: &'a [bool],
}

impl Marks<'_> {
    /// Whether the datum marks may lie as they do because a lens bent the reference, `size` (width, height) pixels large.
    /// Never where the lens is known, or the camera is one more unknown that could take its place.
    pub(super) fn may_be_bent(&self, size: (u32, u32)) -> bool {
        let layout = self.adjustment.layout();
        let has_lens = layout
            .rectification
            .as_ref()
            .is_some_and(Rectification::has_lens);
        if has_lens || layout.parallax.is_some() {
            return false;
        }
        self.left_out() >= AT_LEAST || self.lies_as_if_bent(size)
    }

    fn lies_as_if_bent(&self, size: (u32, u32)) -> bool {
        let statistic = self.adjustment.bend_statistic(self.is_datum, size);
        statistic.is_some_and(|s| s.abs() > self.limit())
    }

    /// The coefficient of the lens where these marks tell that there is one, and explain no fewer of themselves by it than
    /// they do in `plain`, without it.
    pub(super) fn lens_told(&self, plain: &Self) -> Option<Measured> {
        let layout = self.adjustment.layout();
        let rectification = layout.free_rectification()?;
        let number = rectification.lens_number()?;
        let mut gradient = self.adjustment.no_gradient();
        gradient.global[layout.first_rectification_unknown() + number] = 1.0;
        let value = self.adjustment.state().numbers[number];
        let deviation = self.adjustment.variance(&gradient).sqrt();
        let is_told = value.abs() > self.limit() * deviation
            && Rectification::is_told(deviation)
            && self.left_out() <= plain.left_out();
        if !is_told {
            return None;
        }
        self.adjustment.measured(value, &gradient)
    }

    /// How many datum marks were found wrong.
    fn left_out(&self) -> usize {
        let marks = self.landmarks.iter().zip(self.is_datum);
        marks
            .filter(|(fit, is_datum)| **is_datum && fit.finding == Some(Finding::Wrong))
            .count()
    }

    fn limit(&self) -> f64 {
        t_quantile(
            1.0 - CHECKS.mark_level.get() / 2.0,
            self.adjustment.noise_freedom(),
        )
    }
}

#[cfg(test)]
mod tests {
    use crate::{
        frame::{Lens, Point, truth::Errors},
        job::RegistrationKind,
        registration::{
            LaidOver,
            invented::{self, DATUM, Marks},
            lay_over,
        },
        statistics::{Measured, trials::Noise},
    };

    /// Of the reference: its marks lie between (60, 180) and (560, 640).
    const PICTURE: (u32, u32) = (640, 800);
    const SIGMA: f64 = 0.4;
    const BETWEEN: [[f64; 2]; 4] = [
        [900.0, 120.0],
        [90.0, 110.0],
        [120.0, 560.0],
        [880.0, 600.0],
    ];

    /// A view through a lens of this coefficient, its part 4 % too wide, laid over.
    fn through(coefficient: f64, noise: &mut Noise) -> LaidOver {
        let lens = Lens::of_picture(coefficient, PICTURE).expect("a lens");
        let bent = |marks: &[Marks], noise: &mut Noise| {
            let seen = |(render, reference): &Marks| {
                let [x, y] = *reference;
                (*render, lens.distort(Point::new(x, y)).xy())
            };
            let marks: Vec<Marks> = marks.iter().map(seen).collect();
            invented::noisy(&marks, SIGMA, noise)
        };
        let places: Vec<[f64; 2]> = DATUM.into_iter().chain(BETWEEN).collect();
        let datum = bent(&invented::right(&places), noise);
        let wider = Errors {
            size: [0.04, 0.0],
            ..Errors::default()
        };
        let part = bent(&invented::altered(wider), noise);
        let view = invented::view(RegistrationKind::Projective, &datum, &part, SIGMA);
        lay_over(&view, invented::EXPECTED, [(1000, 1000), PICTURE], None).expect("registered")
    }

    fn lens(laid: &LaidOver) -> Option<Measured> {
        laid.rectification.as_ref()?.figures().lens
    }

    #[test]
    fn a_bent_picture_is_found_before_its_marks_are_blamed() {
        let mut noise = Noise(11);
        let (draws, mut told, mut held, mut width_held, mut accused) = (100, 0, 0, 0, 0);
        for _ in 0..draws {
            let laid = through(-0.06, &mut noise);
            let Some(coefficient) = lens(&laid) else {
                continue;
            };
            told += 1;
            held += usize::from(coefficient.holds(-0.06));
            let part = laid.registered.regions[0].as_ref().expect("measured");
            let deviation = part.covariance[(0, 0)].sqrt();
            width_held += usize::from((part.errors.width - 0.04).abs() < 1.96 * deviation);
            accused += laid.registered.marks().left_out();
        }
        assert!(told >= 95, "told in {told}");
        assert!(held >= 90 * told / 100, "held in {held}");
        assert!(width_held >= 90 * told / 100, "width in {width_held}");
        assert!(accused <= told * 12 / 200, "accused {accused}");
    }

    #[test]
    fn no_lens_is_invented() {
        let mut noise = Noise(12);
        let invented = (0..200)
            .filter(|_| lens(&through(0.0, &mut noise)).is_some())
            .count();
        assert!(invented <= 2, "{invented}");
    }
}
