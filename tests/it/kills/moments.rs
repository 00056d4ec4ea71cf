//! When the program is killed: the same moments on every run, as far as the machine is as quick.
use std::time::Duration;

/// How many moments there are for each command.
pub fn count() -> u64 {
    let number = std::env::var("TICKSTRIP_KILLS").ok();
    number.map_or(5, |n| n.parse().expect("TICKSTRIP_KILLS is a number"))
}

/// Random durations.
pub struct Moments(u64);

impl Moments {
    pub fn seeded(seed: u64) -> Self {
        Self(seed)
    }

    /// A duration below this one, each as likely as any other.
    pub fn below(&mut self, limit: Duration) -> Duration {
        // Vigna's splitmix64, from memory: any generator would do.
        self.0 = self.0.wrapping_add(0x9e37_79b9_7f4a_7c15);
        let mut bits = self.0;
        bits = (bits ^ (bits >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
        bits = (bits ^ (bits >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
        limit.mul_f64(((bits ^ (bits >> 31)) >> 11) as f64 / (1_u64 << 53) as f64)
    }
}
