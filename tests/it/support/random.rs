//! Seeded noise.

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
