//! Planes for the tests: random ones from a fixed seed, and their mirror images and quarter turns.
use super::Plane;

/// Knuth's linear congruential generator (MMIX constants), upper bits.
pub struct Random(pub u64);

impl Random {
    /// A whole number from 0 to `limit` - 1.
    pub fn below(&mut self, limit: u32) -> u32 {
        self.0 = self
            .0
            .wrapping_mul(6364136223846793005)
            .wrapping_add(1442695040888963407);
        ((self.0 >> 33) % u64::from(limit)) as u32
    }
}

/// Independent bytes.
pub fn noise(width: usize, height: usize, seed: u64) -> Plane<u8> {
    let mut random = Random(seed);
    Plane::from_shape_simple_fn((height, width), || random.below(256) as u8)
}

/// Nonzero at about one pixel in `one_in`.
pub fn sparse(width: usize, height: usize, one_in: u32, seed: u64) -> Plane<u8> {
    let mut random = Random(seed);
    Plane::from_shape_simple_fn((height, width), || {
        if random.below(one_in) == 0 {
            1 << random.below(8)
        } else {
            0
        }
    })
}

/// Left and right exchanged.
pub fn mirrored<T: Copy>(plane: &Plane<T>) -> Plane<T> {
    let (height, width) = plane.dim();
    Plane::from_shape_fn((height, width), |(y, x)| plane[[y, width - 1 - x]])
}

/// Turned clockwise on the screen: the left column becomes the top row.
pub fn quarter_turned<T: Copy>(plane: &Plane<T>) -> Plane<T> {
    let (height, width) = plane.dim();
    Plane::from_shape_fn((width, height), |(y, x)| plane[[height - 1 - x, y]])
}
