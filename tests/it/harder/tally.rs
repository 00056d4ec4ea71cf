//! Counts figures against their truths.
use crate::support::truth::Errors;
use tickstrip::{
    measurement::{MeasuredView, RegionMeasure},
    statistics::Measured,
};

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
        let error = (figure.value - truth).abs();
        self.given += 1;
        self.held += usize::from(figure.holds(truth));
        self.worst = self.worst.max(error);
        self.worst_over_half_width = self.worst_over_half_width.max(error / figure.half_width());
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
}

/// The texts of the warnings with this code.
pub fn warned(measured: &MeasuredView, code: &str) -> Vec<String> {
    let all = measured.measurement.warnings.iter();
    let of_code = all.filter(|w| w.code == code);
    of_code.map(|w| w.text.clone()).collect()
}
