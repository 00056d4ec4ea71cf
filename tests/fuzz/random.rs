//! Numbers that follow from a seed alone, the same on every machine.

/// A generator with 64 bits of state.
///
/// # Source
/// Steele, Lea, Flood 2014, "Fast splittable pseudorandom number generators" (SplitMix64).
pub struct Random(u64);

impl Random {
    pub fn new(seed: u64) -> Self {
        Self(seed)
    }

    pub fn number(&mut self) -> u64 {
        self.0 = self.0.wrapping_add(0x9e37_79b9_7f4a_7c15);
        let mut z = self.0;
        z = (z ^ (z >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
        z = (z ^ (z >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
        z ^ (z >> 31)
    }

    /// From 0 to `end` - 1; 0 where `end` is 0.
    pub fn below(&mut self, end: usize) -> usize {
        (self.number() % (end.max(1) as u64)) as usize
    }

    /// From 0 to 1, without 1.
    pub fn unit(&mut self) -> f64 {
        (self.number() >> 11) as f64 / (1_u64 << 53) as f64
    }

    pub fn between(&mut self, low: f64, high: f64) -> f64 {
        low + (high - low) * self.unit()
    }

    /// True in one of `count` cases.
    pub fn one_in(&mut self, count: usize) -> bool {
        self.below(count) == 0
    }

    /// A power of 2 below 2^`bits`.
    pub fn size(&mut self, bits: usize) -> usize {
        1 << self.below(bits)
    }

    pub fn pick<'a, T>(&mut self, list: &'a [T]) -> &'a T {
        &list[self.below(list.len())]
    }

    pub fn word(&mut self, list: &[&'static str]) -> &'static str {
        list[self.below(list.len())]
    }
}
