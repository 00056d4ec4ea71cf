//! Counts figures against their truths, and seeded noise.
use tickstrip::{
    measurement::{MeasuredView, RegionMeasure},
    statistics::Measured,
};

/// Uniform and normal numbers from a linear congruential generator; the same on every run.
pub struct Random(u64);

impl Random {
    pub fn new(seed: u64) -> Self {
        Self(seed.wrapping_mul(0x9E37_79B9_7F4A_7C15) | 1)
    }

    /// From -1 to 1.
    pub fn uniform(&mut self) -> f64 {
        self.0 = self
            .0
            .wrapping_mul(6_364_136_223_846_793_005)
            .wrapping_add(1_442_695_040_888_963_407);
        (self.0 >> 11) as f64 / (1_u64 << 52) as f64 - 1.0
    }

    /// Of deviation 1: the sum of twelve uniform numbers.
    pub fn normal(&mut self) -> f64 {
        (0..12).map(|_| self.uniform()).sum::<f64>() / 2.0
    }

    /// A point moved by noise of this deviation in x and in y.
    pub fn about(&mut self, p: [f64; 2], sigma: f64) -> [f64; 2] {
        p.map(|v| v + sigma * self.normal())
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
    /// `size` as a part, `offset` in render pixels.
    pub fn add(&mut self, found: &RegionMeasure, size: [f64; 2], offset: [f64; 2]) {
        self.sizes.add(found.width_percent, 100.0 * size[0]);
        self.sizes.add(found.height_percent, 100.0 * size[1]);
        self.offsets.add(found.offset_px[0], offset[0]);
        self.offsets.add(found.offset_px[1], offset[1]);
    }
}

/// The texts of the warnings with this code.
pub fn warned(measured: &MeasuredView, code: &str) -> Vec<String> {
    let all = measured.measurement.warnings.iter();
    let of_code = all.filter(|w| w.code == code);
    of_code.map(|w| w.text.clone()).collect()
}
