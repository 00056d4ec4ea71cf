//! The decision rule.
//!
//! # Source
//! ISO 14253-1:2017, decision rules for verifying conformity: conformity is proved where the whole coverage interval lies
//! inside the tolerance, nonconformity where it lies outside, and neither where it straddles the limit.
use crate::{measurement::Verdict, statistics::Measured};

/// The verdict on an error that may be as large as `tolerance` to either side.
pub(crate) fn judge(error: Measured, tolerance: f64) -> Verdict {
    if error.low() >= -tolerance && error.high() <= tolerance {
        Verdict::Within
    } else if error.low() > tolerance || error.high() < -tolerance {
        Verdict::Out
    } else {
        Verdict::Undecided
    }
}

/// The verdict on several: the worst of them; `None` where there are none.
pub(crate) fn worst(verdicts: impl IntoIterator<Item = Verdict>) -> Option<Verdict> {
    verdicts.into_iter().max()
}

#[cfg(test)]
mod tests {
    use super::*;

    fn verdict(low: f64, high: f64) -> Verdict {
        let measured = Measured::new((low + high) / 2.0, low, high);
        judge(measured.expect("finite"), 2.0)
    }

    #[test]
    fn the_whole_interval_decides() {
        assert_eq!(verdict(-1.0, 1.9), Verdict::Within);
        assert_eq!(verdict(1.0, 2.1), Verdict::Undecided);
        assert_eq!(verdict(2.1, 3.0), Verdict::Out);
        assert_eq!(verdict(-9.0, -2.1), Verdict::Out);
        assert_eq!(verdict(-9.0, 9.0), Verdict::Undecided);
    }

    #[test]
    fn out_is_worse_than_undecided_is_worse_than_within() {
        assert_eq!(
            worst([Verdict::Within, Verdict::Out, Verdict::Undecided]),
            Some(Verdict::Out)
        );
        assert_eq!(
            worst([Verdict::Within, Verdict::Undecided]),
            Some(Verdict::Undecided)
        );
        assert_eq!(worst([]), None);
    }
}
