//! Figures with their intervals, and the quantiles that intervals and tests need.
pub(crate) mod words;

use statrs::distribution::{ChiSquared, ContinuousCDF, FisherSnedecor, Normal, StudentsT};

/// A measured figure with its 95 % interval.
///
/// # Guarantees
/// All three numbers are finite and `low <= value <= high`.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Measured {
    value: f64,
    low: f64,
    high: f64,
}

impl Measured {
    /// An estimate and the ends of its interval; `None` where a number is not finite or the interval does not hold the
    /// estimate.
    pub fn new(value: f64, low: f64, high: f64) -> Option<Self> {
        let is_sound = low.is_finite() && high.is_finite() && low <= value && value <= high;
        is_sound.then_some(Self { value, low, high })
    }

    /// The best estimate.
    pub fn value(self) -> f64 {
        self.value
    }

    /// Lower end of the 95 % interval.
    pub fn low(self) -> f64 {
        self.low
    }

    /// Upper end of the 95 % interval.
    pub fn high(self) -> f64 {
        self.high
    }

    /// `value` plus or minus `half_width`; `None` where a number is not finite or the width is negative.
    pub fn plus_minus(value: f64, half_width: f64) -> Option<Self> {
        Self::new(value, value - half_width, value + half_width)
    }

    /// The 95 % interval of an estimate with this standard deviation, known to `degrees_of_freedom`
    /// (infinite where the standard deviation itself is known).
    pub fn from_deviation(value: f64, deviation: f64, degrees_of_freedom: f64) -> Option<Self> {
        Self::plus_minus(value, deviation * t_quantile(0.975, degrees_of_freedom))
    }

    /// The figure in another unit: everything times `factor`, which may be negative.
    ///
    /// # Panics
    /// Where the factor is not finite.
    pub fn times(self, factor: f64) -> Self {
        assert!(factor.is_finite(), "a unit factor is finite");
        let (a, b) = (self.low * factor, self.high * factor);
        Self {
            value: self.value * factor,
            low: a.min(b),
            high: a.max(b),
        }
    }

    /// The figure with `constant` added to all three numbers.
    pub fn plus(self, constant: f64) -> Self {
        Self {
            value: self.value + constant,
            low: self.low + constant,
            high: self.high + constant,
        }
    }

    /// Half the width of the interval.
    pub fn half_width(self) -> f64 {
        (self.high - self.low) / 2.0
    }

    /// Whether the interval holds `x`.
    pub fn holds(self, x: f64) -> bool {
        self.low <= x && x <= self.high
    }
}

/// The quantile of the standard normal distribution at `p` in (0, 1).
pub fn normal_quantile(p: f64) -> f64 {
    Normal::standard().inverse_cdf(p)
}

/// The quantile of Student's t at `p` in (0, 1); the normal one where the degrees of freedom are not finite or above 1e6.
///
/// # Panics
/// Where `degrees_of_freedom` is not above 0.
pub fn t_quantile(p: f64, degrees_of_freedom: f64) -> f64 {
    if !degrees_of_freedom.is_finite() || degrees_of_freedom > 1e6 {
        return normal_quantile(p);
    }
    StudentsT::new(0.0, 1.0, degrees_of_freedom)
        .expect("degrees of freedom are above 0")
        .inverse_cdf(p)
}

/// The quantile of chi-square at `p` in (0, 1).
///
/// # Panics
/// Where `degrees_of_freedom` is not above 0.
pub fn chi_square_quantile(p: f64, degrees_of_freedom: f64) -> f64 {
    ChiSquared::new(degrees_of_freedom)
        .expect("degrees of freedom are above 0")
        .inverse_cdf(p)
}

/// The quantile of Fisher's F at `p` in (0, 1).
///
/// # Panics
/// Where a degree of freedom is not above 0.
pub fn f_quantile(p: f64, numerator: f64, denominator: f64) -> f64 {
    FisherSnedecor::new(numerator, denominator)
        .expect("degrees of freedom are above 0")
        .inverse_cdf(p)
}

/// Noise for trials that count how often intervals hold the truth.
#[cfg(test)]
pub(crate) mod trials {
    /// Normal noise from a linear congruential generator (Box and Muller 1958).
    pub(crate) struct Noise(pub(crate) u64);

    impl Noise {
        pub(crate) fn uniform(&mut self) -> f64 {
            self.0 = self
                .0
                .wrapping_mul(6_364_136_223_846_793_005)
                .wrapping_add(1_442_695_040_888_963_407);
            ((self.0 >> 11) as f64 + 0.5) / (1_u64 << 53) as f64
        }

        pub(crate) fn normal(&mut self) -> f64 {
            (-2.0 * self.uniform().ln()).sqrt() * (std::f64::consts::TAU * self.uniform()).cos()
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_negative_factor_keeps_low_below_high() {
        let m = Measured::plus_minus(2.0, 1.0).expect("finite").times(-3.0);
        assert_eq!((m.value, m.low, m.high), (-6.0, -9.0, -3.0));
    }

    #[test]
    fn an_interval_that_is_not_finite_is_no_figure() {
        assert_eq!(Measured::plus_minus(1.0, f64::INFINITY), None);
        assert_eq!(Measured::plus_minus(f64::NAN, 1.0), None);
    }

    #[test]
    fn few_degrees_of_freedom_widen_the_interval() {
        let wide = Measured::from_deviation(0.0, 1.0, 3.0).expect("finite");
        let narrow = Measured::from_deviation(0.0, 1.0, f64::INFINITY).expect("finite");
        assert!((narrow.high - 1.959964).abs() < 1e-5);
        assert!((wide.high - 3.182446).abs() < 1e-5);
    }
}
