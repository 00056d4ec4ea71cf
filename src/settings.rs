//! What the methods go by: numbers that somebody chose, each with its meaning, its unit and where it comes from.
//!
//! Each method has one table of them, in a `settings.rs` beside its code. What follows from a derivation, and what only
//! makes a computation end, is a constant where it is used.
use std::sync::atomic::{AtomicU64, Ordering::Relaxed};

/// A number that a method goes by.
#[derive(Debug)]
pub struct Setting {
    name: &'static str,
    meaning: &'static str,
    value: f64,
    unit: &'static str,
    source: &'static str,
    /// The bits of what the value is multiplied by: of 1, but in [`Self::vary`].
    factor: AtomicU64,
}

impl Setting {
    pub(crate) const fn new([name, meaning, unit, source]: [&'static str; 4], value: f64) -> Self {
        Self {
            name,
            meaning,
            value,
            unit,
            source,
            factor: AtomicU64::new(1.0_f64.to_bits()),
        }
    }

    /// Method and name, as in `checks.mark_level`.
    pub fn name(&self) -> &'static str {
        self.name
    }

    /// What it decides.
    pub fn meaning(&self) -> &'static str {
        self.meaning
    }

    /// What it is measured in.
    pub fn unit(&self) -> &'static str {
        self.unit
    }

    /// Author and year, "judgement", or "measured" with the place of the figures.
    pub fn source(&self) -> &'static str {
        self.source
    }

    /// The number as the program has it.
    pub fn value(&self) -> f64 {
        self.value
    }

    /// The number that a method computes with.
    pub(crate) fn get(&self) -> f64 {
        self.value * f64::from_bits(self.factor.load(Relaxed))
    }

    /// The same for a count: the nearest whole number.
    pub(crate) fn count(&self) -> usize {
        self.get().round() as usize
    }

    /// Multiplies it for the whole process, to measure what depends on it; 1 gives the program's own value again.
    ///
    /// Nothing but a measurement of accuracy may call this, and not while figures are computed.
    pub fn vary(&self, factor: f64) {
        self.factor.store(factor.to_bits(), Relaxed);
    }
}

/// One table of settings: `name = value, "unit", "source": "meaning";`.
macro_rules! settings {
    ($(#[$doc:meta])* $table:ident: $type:ident of $method:literal {
        $($name:ident = $value:expr, $unit:literal, $source:literal: $meaning:literal;)+
    }) => {
        $(#[$doc])*
        pub(crate) struct $type {
            $(#[doc = $meaning] pub(crate) $name: $crate::settings::Setting,)+
        }

        $(#[$doc])*
        pub(crate) static $table: $type = $type {
            $($name: $crate::settings::Setting::new(
                [concat!($method, ".", stringify!($name)), $meaning, $unit, $source],
                $value,
            ),)+
        };

        impl $type {
            /// All of the table, in its order.
            pub(crate) fn all(&'static self) -> Vec<&'static $crate::settings::Setting> {
                vec![$(&self.$name),+]
            }
        }
    };
}
pub(crate) use settings;

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_setting_is_varied_and_comes_back() {
        let setting = Setting::new(["test.seven", "Seven.", "px", "judgement"], 7.0);
        assert_eq!(setting.get(), 7.0);
        setting.vary(0.5);
        assert_eq!((setting.get(), setting.count()), (3.5, 4));
        assert_eq!(setting.value(), 7.0);
        setting.vary(1.0);
        assert_eq!(setting.get(), 7.0);
    }
}
