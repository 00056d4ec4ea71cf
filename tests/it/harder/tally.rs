//! Counts figures against their truths.
use crate::support::{compared, truth::Errors};
use std::io::Write;
use tickstrip::{
    measurement::{MeasuredView, RegionMeasure},
    statistics::Measured,
};

/// So many cases, times `TICKSTRIP_HARDER` where that is set: then what came of them is told as well.
pub fn cases(few: u64) -> u64 {
    few * times().unwrap_or(1)
}

fn times() -> Option<u64> {
    let times = std::env::var("TICKSTRIP_HARDER").ok();
    times.map(|n| n.parse().expect("TICKSTRIP_HARDER is a number"))
}

/// Tells what came of cases where more than the few of the test were counted.
pub fn tell(kind: &str, found: &impl std::fmt::Debug) {
    if times().is_some() {
        // Past what the tests' runner keeps for itself.
        writeln!(std::io::stderr(), "{kind}: {found:?}").expect("standard error is open");
    }
}

/// How many figures were asked for, given, and held the truth, and the largest errors.
#[derive(Debug, Default)]
pub struct Tally {
    pub asked: usize,
    pub given: usize,
    pub held: usize,
    /// Largest error of a given figure, in its own unit.
    pub worst: f64,
    /// Largest error over the half width of the interval.
    pub worst_over_half_width: f64,
}

impl Tally {
    pub fn add(&mut self, figure: Option<Measured>, truth: f64) {
        self.asked += 1;
        let Some(figure) = figure else { return };
        let error = (figure.value() - truth).abs();
        self.given += 1;
        self.held += usize::from(figure.holds(truth));
        self.worst = self.worst.max(error);
        self.worst_over_half_width = self.worst_over_half_width.max(error / figure.half_width());
    }

    /// Fails where fewer figures are given than were when this was measured, less a standard deviation of such a count
    /// (binomial; the probability is `(measured + 1) / (asked + 2)`, Laplace's rule, as none is 1 because all were given).
    pub fn assert_given(&self, measured: usize) {
        let (asked, measured) = (self.asked as f64, measured as f64);
        let p = (measured + 1.0) / (asked + 2.0);
        let least = measured - (asked * p * (1.0 - p)).sqrt();
        assert!(
            self.given as f64 >= least,
            "{} of {asked} figures are given, {least:.1} at least should be",
            self.given
        );
    }

    /// Share of the given figures that hold the truth; 1 where there are none.
    pub fn share_held(&self) -> f64 {
        if self.given == 0 {
            return 1.0;
        }
        self.held as f64 / self.given as f64
    }
}

/// Sizes in per cent, offsets in pixels.
#[derive(Debug, Default)]
pub struct Tallies {
    pub sizes: Tally,
    pub offsets: Tally,
}

impl Tallies {
    pub fn add(&mut self, found: &RegionMeasure, truth: Errors) {
        self.sizes.add(found.width_percent, 100.0 * truth.size[0]);
        self.sizes.add(found.height_percent, 100.0 * truth.size[1]);
        self.offsets.add(found.offset_px[0], truth.offset[0]);
        self.offsets.add(found.offset_px[1], truth.offset[1]);
    }

    /// As [`Tally::assert_given`], for sizes and offsets.
    pub fn assert_given(&self, sizes: usize, offsets: usize) {
        self.sizes.assert_given(sizes);
        self.offsets.assert_given(offsets);
    }
}

/// The texts of the warnings with this code.
pub fn warned(measured: &MeasuredView, code: &str) -> Vec<String> {
    let of_code = compared::warned(measured, code);
    of_code.map(|w| w.text.clone()).collect()
}

#[test]
#[should_panic(expected = "0 of 48 figures are given, 44.4 at least should be")]
fn a_program_that_never_gives_a_figure_fails() {
    let mut tally = Tally::default();
    for _ in 0..48 {
        tally.add(None, 0.0);
    }
    tally.assert_given(46);
}
