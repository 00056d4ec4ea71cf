//! Sobel derivatives of one row at a time.
use super::wide::built_twice;

/// The derivatives of a row, in 8ths of a grey level a pixel.
pub(super) struct Gradient {
    pub x: Vec<i16>,
    pub y: Vec<i16>,
    /// `x^2 + y^2`, with a zero before the first and after the last pixel.
    pub squared: Vec<i32>,
}

impl Gradient {
    pub fn new(width: usize) -> Self {
        Self {
            x: vec![0; width],
            y: vec![0; width],
            squared: vec![0; width + 2],
        }
    }
}

/// Computes rows of Sobel derivatives (3 x 3) of a plane, whose border pixels are repeated outside.
pub(super) struct Sobel<'a> {
    pixels: &'a [u8],
    width: usize,
    height: usize,
    /// The column sums 1, 2, 1 and -1, 0, 1 over three rows, with the border repeated at both ends.
    smoothed: Vec<i16>,
    step: Vec<i16>,
}

impl<'a> Sobel<'a> {
    /// `pixels` are `width` to a row, at least one row.
    pub fn new(pixels: &'a [u8], width: usize) -> Self {
        Self {
            pixels,
            width,
            height: pixels.len() / width,
            smoothed: vec![0; width + 2],
            step: vec![0; width + 2],
        }
    }

    /// Writes the derivatives of row `y`, which lies inside.
    pub fn row(&mut self, y: usize, gradient: &mut Gradient) {
        let row = |y: usize| &self.pixels[y * self.width..(y + 1) * self.width];
        let below = (y + 1).min(self.height - 1);
        let rows = [row(y.saturating_sub(1)), row(y), row(below)];
        differentiate(rows, &mut self.smoothed, &mut self.step, gradient);
    }
}

built_twice! {
    fn differentiate(rows: [&[u8]; 3], smoothed: &mut [i16], step: &mut [i16], gradient: &mut Gradient) {
        let width = gradient.x.len();
        let [above, here, below] = rows.map(|row| &row[..width]);
        let (sums, steps) = (&mut smoothed[1..=width], &mut step[1..=width]);
        for x in 0..width {
            sums[x] = i16::from(above[x]) + 2 * i16::from(here[x]) + i16::from(below[x]);
            steps[x] = i16::from(below[x]) - i16::from(above[x]);
        }
        for line in [&mut *smoothed, &mut *step] {
            line[0] = line[1];
            line[width + 1] = line[width];
        }
        let (smoothed, step) = (&smoothed[..width + 2], &step[..width + 2]);
        let (gx, gy) = (&mut gradient.x[..width], &mut gradient.y[..width]);
        let squared = &mut gradient.squared[1..=width];
        for x in 0..width {
            let dx = smoothed[x + 2] - smoothed[x];
            let dy = step[x] + 2 * step[x + 1] + step[x + 2];
            gx[x] = dx;
            gy[x] = dy;
            squared[x] = i32::from(dx) * i32::from(dx) + i32::from(dy) * i32::from(dy);
        }
    }
}
