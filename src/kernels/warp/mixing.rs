//! The pixels of a source at rounded positions: four mixed, or the one that a position lies in.

/// Positions are rounded to 1/64 pixel: the product of both weights and a byte then fits into 20 bits.
pub(super) const POSITION_BITS: u32 = 6;
/// Pixels whose positions are computed together.
pub(super) const BLOCK: usize = 256;

/// Blends the source at each position (times 2^[`POSITION_BITS`]) into the pixel of the same number.
#[inline(always)]
pub(super) fn blend_at(
    source: &[u8],
    size: (usize, usize),
    at: &[[i32; BLOCK]; 2],
    colours: &mut [u8],
) {
    const HALF: u64 = (1 << (2 * POSITION_BITS - 1)) * (1 | 1 << 21 | 1 << 42);
    for ((colour, &u), &v) in colours.chunks_exact_mut(3).zip(&at[0]).zip(&at[1]) {
        let sum = (blended(source, size, u, v) + HALF) >> (2 * POSITION_BITS);
        colour[0] = sum as u8;
        colour[1] = (sum >> 21) as u8;
        colour[2] = (sum >> 42) as u8;
    }
}

/// Takes the source's value at each position, 0 outside of it.
#[inline(always)]
pub(super) fn pick_at(
    source: &[u8],
    size: (usize, usize),
    at: &[[i32; BLOCK]; 2],
    values: &mut [u8],
) {
    for ((value, &x), &y) in values.iter_mut().zip(&at[0]).zip(&at[1]) {
        // Numbers below 0 become large ones.
        let (x, y) = (x as u32 as usize, y as u32 as usize);
        *value = if x < size.0 && y < size.1 {
            source[y * size.0 + x]
        } else {
            0
        };
    }
}

/// The weighted sum of the four pixels around (`u`, `v`), in lanes, times 2^(2 * [`POSITION_BITS`]).
#[inline(always)]
fn blended(source: &[u8], (width, height): (usize, usize), u: i32, v: i32) -> u64 {
    const ONE: u64 = 1 << POSITION_BITS;
    let (x, y) = ((u >> POSITION_BITS) as isize, (v >> POSITION_BITS) as isize);
    let (right, down) = (u as u64 & (ONE - 1), v as u64 & (ONE - 1));
    let mix = |a: u64, b: u64, c: u64, d: u64| {
        (a * (ONE - right) + b * right) * (ONE - down) + (c * (ONE - right) + d * right) * down
    };
    if x >= 0 && y >= 0 && x as usize + 1 < width && y as usize + 1 < height {
        let start = 3 * (y as usize * width + x as usize);
        let above = &source[start..start + 6];
        let below = &source[start + 3 * width..start + 3 * width + 6];
        return mix(
            lanes(above),
            lanes(&above[3..]),
            lanes(below),
            lanes(&below[3..]),
        );
    }
    if x < -1 || y < -1 || x >= width as isize || y >= height as isize {
        return 0;
    }
    let pixel = |x: isize, y: isize| {
        if x < 0 || y < 0 || x >= width as isize || y >= height as isize {
            return 0;
        }
        lanes(&source[3 * (y as usize * width + x as usize)..])
    };
    mix(
        pixel(x, y),
        pixel(x + 1, y),
        pixel(x, y + 1),
        pixel(x + 1, y + 1),
    )
}

/// Three bytes in lanes of 21 bits, so that one product weights all three.
#[inline(always)]
fn lanes(colour: &[u8]) -> u64 {
    u64::from(colour[0]) | u64::from(colour[1]) << 21 | u64::from(colour[2]) << 42
}
