//! Turns stored pixels upright.
//!
//! Source: Exif 2.32 (CIPA DC-008-2019), tag 0x0112 "Orientation".
use image::metadata::Orientation;
use rayon::prelude::*;

/// Rows and columns of the squares that are turned at a time, so that both sides stay in the processor's cache.
const TILE: usize = 32;

/// Width and height after turning.
pub(super) fn upright_size((width, height): (u32, u32), orientation: Orientation) -> (u32, u32) {
    use Orientation::*;
    match orientation {
        Rotate90 | Rotate270 | Rotate90FlipH | Rotate270FlipH => (height, width),
        NoTransforms | Rotate180 | FlipHorizontal | FlipVertical => (width, height),
    }
}

/// The pixels, `C` bytes each, of a stored image of `size`, turned upright.
pub(super) fn upright<const C: usize>(
    stored: Vec<u8>,
    size: (u32, u32),
    orientation: Orientation,
) -> Vec<u8> {
    if orientation == Orientation::NoTransforms {
        return stored;
    }
    let (width, _) = upright_size(size, orientation);
    let width = width as usize;
    let walk = Walk::new(size.0 as usize, size.1 as usize, orientation);
    let mut turned = vec![0; stored.len()];
    let band = width * C * TILE;
    turned
        .par_chunks_mut(band)
        .enumerate()
        .for_each(|(number, rows)| {
            for left in (0..width).step_by(TILE) {
                let columns = left..width.min(left + TILE);
                for (offset, row) in rows.chunks_exact_mut(width * C).enumerate() {
                    let (pixels, _) = row.as_chunks_mut::<C>();
                    for x in columns.clone() {
                        let from = walk.stored_index(x, number * TILE + offset) * C;
                        pixels[x].copy_from_slice(&stored[from..from + C]);
                    }
                }
            }
        });
    turned
}

/// Where the upright pixel (x, y) is stored: `origin + x * right + y * down`, in pixels.
struct Walk {
    origin: isize,
    right: isize,
    down: isize,
}

impl Walk {
    fn new(width: usize, height: usize, orientation: Orientation) -> Self {
        use Orientation::*;
        // Images are at most some hundred million pixels, far below the range of isize.
        let row = width as isize;
        let last_column = row - 1;
        let last_row = (height as isize - 1) * row;
        let (origin, right, down) = match orientation {
            NoTransforms => (0, 1, row),
            FlipHorizontal => (last_column, -1, row),
            Rotate180 => (last_row + last_column, -1, -row),
            FlipVertical => (last_row, 1, -row),
            Rotate90FlipH => (0, row, 1),
            Rotate90 => (last_row, -row, 1),
            Rotate270FlipH => (last_row + last_column, -row, -1),
            Rotate270 => (last_column, row, -1),
        };
        Self {
            origin,
            right,
            down,
        }
    }

    fn stored_index(&self, x: usize, y: usize) -> usize {
        (self.origin + x as isize * self.right + y as isize * self.down) as usize
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Stored: a b c / d e f. The eight upright forms by the tag's definition: tag 6 has the visual top on the stored
    /// right-hand side, and so on.
    #[test]
    fn all_eight_orientations_of_a_two_by_three_image() {
        let expected = [
            (1, "abcdef"),
            (2, "cbafed"),
            (3, "fedcba"),
            (4, "defabc"),
            (5, "adbecf"),
            (6, "daebfc"),
            (7, "fcebda"),
            (8, "cfbead"),
        ];
        for (tag, letters) in expected {
            let orientation = Orientation::from_exif(tag).expect("a legal tag");
            let turned = upright::<1>(b"abcdef".to_vec(), (3, 2), orientation);
            assert_eq!(turned, letters.as_bytes(), "tag {tag}");
        }
    }

    #[test]
    fn pixels_of_three_bytes_stay_together_across_tiles() {
        let (width, height) = (TILE as u32 * 2 + 5, TILE as u32 + 3);
        let stored: Vec<u8> = (0..width * height)
            .flat_map(|i| [i as u8, (i >> 8) as u8, 7])
            .collect();
        let turned = upright::<3>(stored.clone(), (width, height), Orientation::Rotate90);
        for y in 0..width {
            for x in 0..height {
                let to = ((y * height + x) * 3) as usize;
                let from = (((height - 1 - x) * width + y) * 3) as usize;
                assert_eq!(turned[to..to + 3], stored[from..from + 3]);
            }
        }
    }
}
