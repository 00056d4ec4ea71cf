//! The scales that a drawing is made at.
use std::fmt;

/// A drawing scale: so many millimetres on paper for so many on the model.
///
/// # Source
/// ISO 5455:1979, the recommended scales for enlargement, full size and reduction (the table from memory, as in the reference data).
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct DrawingScale {
    paper: u32,
    model: u32,
}

impl DrawingScale {
    /// As large as the model.
    pub const FULL_SIZE: Self = Self { paper: 1, model: 1 };

    /// Those that the standard recommends, the largest first.
    pub const ALL: [Self; 18] = [
        Self::enlargement(50),
        Self::enlargement(20),
        Self::enlargement(10),
        Self::enlargement(5),
        Self::enlargement(2),
        Self::FULL_SIZE,
        Self::reduction(2),
        Self::reduction(5),
        Self::reduction(10),
        Self::reduction(20),
        Self::reduction(50),
        Self::reduction(100),
        Self::reduction(200),
        Self::reduction(500),
        Self::reduction(1000),
        Self::reduction(2000),
        Self::reduction(5000),
        Self::reduction(10_000),
    ];

    const fn enlargement(paper: u32) -> Self {
        Self { paper, model: 1 }
    }

    const fn reduction(model: u32) -> Self {
        Self { paper: 1, model }
    }

    /// Millimetres on paper for one on the model.
    pub fn ratio(self) -> f64 {
        f64::from(self.paper) / f64::from(self.model)
    }

    /// The largest scale that is no larger than `ratio`, millimetres on paper for one on the model.
    pub fn largest_within(ratio: f64) -> Option<Self> {
        // What fits to a millionth of its size fits: the ratio comes out of divisions.
        Self::ALL
            .into_iter()
            .find(|scale| scale.ratio() <= ratio * (1.0 + 1e-6))
    }

    /// The scale that is written like this: `2:1`, `1:5`.
    pub fn named(text: &str) -> Option<Self> {
        Self::ALL
            .into_iter()
            .find(|scale| scale.to_string() == text.trim())
    }
}

impl fmt::Display for DrawingScale {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{}:{}", self.paper, self.model)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_largest_scale_that_fits_is_taken() {
        let of = |ratio| DrawingScale::largest_within(ratio).map(|s| s.to_string());
        assert_eq!(of(80.0).as_deref(), Some("50:1"));
        assert_eq!(of(4.0).as_deref(), Some("2:1"));
        assert_eq!(of(1.0 - 1e-9).as_deref(), Some("1:1"));
        assert_eq!(of(0.99).as_deref(), Some("1:2"));
        assert_eq!(of(0.000_11).as_deref(), Some("1:10000"));
        assert_eq!(of(1e-6), None);
        assert_eq!(of(f64::NAN), None);
    }

    #[test]
    fn scales_are_read_as_they_are_written() {
        for scale in DrawingScale::ALL {
            assert_eq!(DrawingScale::named(&scale.to_string()), Some(scale));
        }
        for text in ["3:1", "1:3", "1", "", "1:1:1", "2 : 1"] {
            assert_eq!(DrawingScale::named(text), None, "{text}");
        }
        assert!(
            DrawingScale::ALL
                .windows(2)
                .all(|pair| pair[0].ratio() > pair[1].ratio())
        );
    }
}
