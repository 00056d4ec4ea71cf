//! Random numbers of a search.
use nalgebra::SVector;

/// Numbers that are the same on every run, whatever the threads: a generator for each region or part.
pub(super) struct Random(u64);

impl Random {
    pub(super) fn of(part: usize, purpose: u64) -> Self {
        Self(
            0x9E37_79B9_7F4A_7C15_u64
                .wrapping_mul(1 + part as u64)
                .wrapping_add(purpose.wrapping_mul(0xD1B5_4A32_D192_ED03)),
        )
    }

    /// Between 0 and 1.
    pub(super) fn uniform(&mut self) -> f64 {
        // SplitMix64 (Steele, Lea and Flood 2014).
        self.0 = self.0.wrapping_add(0x9E37_79B9_7F4A_7C15);
        let mut z = self.0;
        z = (z ^ (z >> 30)).wrapping_mul(0xBF58_476D_1CE4_E5B9);
        z = (z ^ (z >> 27)).wrapping_mul(0x94D0_49BB_1331_11EB);
        ((z ^ (z >> 31)) >> 11) as f64 / (1_u64 << 53) as f64
    }

    /// Standard normal numbers (Box and Muller 1958).
    pub(super) fn normals<const N: usize>(&mut self) -> SVector<f64, N> {
        SVector::from_fn(|_, _| {
            let radius = (-2.0 * (1.0 - self.uniform()).ln()).sqrt();
            radius * (std::f64::consts::TAU * self.uniform()).cos()
        })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_random_numbers_are_normal_and_the_same_on_every_run() {
        let draw = || {
            let mut random = Random::of(2, 3);
            (0..2000).map(|_| random.normals::<5>()).collect::<Vec<_>>()
        };
        let draws = draw();
        assert_eq!(draws, draw());
        let mean = draws.iter().sum::<SVector<f64, 5>>() / 2000.0;
        let variance = draws.iter().map(|d| d.norm_squared()).sum::<f64>() / 10_000.0;
        assert!(mean.norm() < 0.1 && (variance - 1.0).abs() < 0.05);
    }
}
