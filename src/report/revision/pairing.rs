//! The interval of the difference of two figures that rest on the same reference.
use super::{entry::Change, settings::REVISION};
use crate::{
    measurement::{MeasureKind, PartKind},
    report::{
        json::{Figure, ViewEntry},
        reference_noise::{FigureNoiseEntry, NOISE_VERSION, ReferenceNoiseEntry},
    },
    statistics::Measured,
};

/// Two figures held against each other.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Paired {
    /// The later minus the earlier one.
    pub(super) difference: Measured,
    /// How much nearer to zero the later one lies.
    pub(super) less_off: Measured,
}

/// The pair of an earlier and a later figure; `common` is the covariance that both have through what they rest on, in the
/// squared unit of half a 95 % interval. `None` where a report holds no figures there.
pub(super) fn paired([before, after]: [Figure; 2], common: f64) -> Option<Paired> {
    let [before, after] = [before, after].map(|f| Measured::new(f.value, f.low, f.high));
    let (before, after) = (before?, after?);
    let (half_before, half_after) = (before.half_width(), after.half_width());
    let most = half_before * half_after;
    let common = common.clamp(-most, most);
    let squares = half_before.powi(2) + half_after.powi(2);
    let half = |sign: f64| (squares + 2.0 * sign * common).max(0.0).sqrt();
    let (a, b) = (before.value(), after.value());
    Some(Paired {
        difference: Measured::plus_minus(b - a, half(-1.0))?,
        less_off: less_off([a - b, half(-1.0)], [a + b, half(1.0)])?,
    })
}

/// `|a| - |b|` by `a - b` and `a + b`, each with half its interval.
///
/// The larger of `|a - b|` and `|a + b|` is `|a| + |b|`, and the smaller one, with the sign of their product, is `|a| - |b|`. That
/// never falls in either where the other is above zero, and never rises where it is below, so its ends over both intervals lie
/// at their ends.
fn less_off([minus, half_minus]: [f64; 2], [plus, half_plus]: [f64; 2]) -> Option<Measured> {
    let of =
        |u: f64, v: f64| u.abs().min(v.abs()) * if (u < 0.0) == (v < 0.0) { 1.0 } else { -1.0 };
    let value = of(minus, plus);
    let (mut low, mut high) = (value, value);
    for u in [minus - half_minus, minus + half_minus] {
        for v in [plus - half_plus, plus + half_plus] {
            low = low.min(of(u, v));
            high = high.max(of(u, v));
        }
    }
    Measured::new(value, low, high)
}

impl Paired {
    /// What became of the figure, within a tolerance where it is judged.
    pub(super) fn change(&self, tolerance: Option<f64>) -> Change {
        let (low, high) = (self.less_off.low(), self.less_off.high());
        match tolerance {
            _ if low > 0.0 => Change::Better,
            _ if high < 0.0 => Change::Worse,
            Some(tolerance) if low > -tolerance && high < tolerance => Change::Same,
            _ => Change::CannotTell,
        }
    }
}

/// What two views have in common through their reference.
pub(super) struct SharedNoise<'a> {
    both: Result<[&'a ReferenceNoiseEntry; 2], &'static str>,
}

impl<'a> SharedNoise<'a> {
    pub(super) fn of(before: Option<&'a ViewEntry>, after: Option<&'a ViewEntry>) -> Self {
        Self {
            both: in_both(before, after),
        }
    }

    /// Why nothing is in common, where both views are there.
    pub(super) fn why_not(&self) -> Option<&'static str> {
        self.both.err().filter(|why| !why.is_empty())
    }

    /// Whether both rest on the same reference.
    pub(super) fn is_known(&self) -> bool {
        self.both.is_ok()
    }

    /// What both figures of this key have in common through the reference's marks that are the same in both; `per_unit` takes
    /// their noise to the figures' unit.
    pub(super) fn in_common(
        &self,
        (of, name, measure): (PartKind, &str, MeasureKind),
        per_unit: [f64; 2],
    ) -> InCommon {
        let figure = |noise: &'a ReferenceNoiseEntry| -> Option<&'a FigureNoiseEntry> {
            let is_meant =
                |f: &&FigureNoiseEntry| f.of == of && f.name == name && f.measure == measure;
            noise.figures.iter().find(is_meant)
        };
        let Ok(both) = self.both else {
            return InCommon::default();
        };
        let [Some(before), Some(after)] = both.map(figure) else {
            return InCommon::default();
        };
        let is_as_it_was = |name: &str| match both.map(|noise| noise.marks_px.get(name)) {
            [Some(before), Some(after)] => are_equal(before, after),
            _ => false,
        };
        let mut sum = InCommon::default();
        for (name, b) in before.by_mark.iter().filter(|(name, _)| is_as_it_was(name)) {
            let a = after.by_mark.get(name).into_iter();
            a.flat_map(|a| b.iter().zip(a))
                .for_each(|(b, a)| sum.add(*b, *a));
        }
        let [then, now] = both.map(|noise| noise.rectification.as_slice());
        if are_equal(then, now) {
            let numbers = before.by_rectification.iter().zip(&after.by_rectification);
            numbers.for_each(|(b, a)| sum.add(*b, *a));
        }
        match measure {
            MeasureKind::OffsetX | MeasureKind::OffsetY => sum.in_unit(per_unit),
            _ => sum,
        }
    }
}

/// What two figures have in common, in squared half widths of 95 % intervals.
#[derive(Clone, Copy, Debug, Default)]
pub(super) struct InCommon {
    covariance: f64,
    /// What it is of the earlier and of the later figure's square.
    squares: [f64; 2],
}

impl InCommon {
    fn add(&mut self, before: f64, after: f64) {
        self.covariance += before * after;
        self.squares[0] += before * before;
        self.squares[1] += after * after;
    }

    fn in_unit(self, [before, after]: [f64; 2]) -> Self {
        Self {
            covariance: self.covariance * before * after,
            squares: [
                self.squares[0] * before * before,
                self.squares[1] * after * after,
            ],
        }
    }

    /// The covariance of two figures; where both rest on edges, with what the same edges of the same reference do to the rest.
    pub(super) fn covariance(self, figures: [Figure; 2], are_by_edges: bool) -> f64 {
        let rest = |k: usize| {
            let half = (figures[k].high - figures[k].low) / 2.0;
            (half * half - self.squares[k]).max(0.0).sqrt()
        };
        let by_edges = match are_by_edges {
            true => REVISION.edges_in_common.get() * rest(0) * rest(1),
            false => 0.0,
        };
        let sum = self.covariance + by_edges;
        if sum.is_finite() { sum } else { 0.0 }
    }
}

/// The noise of both references; why it is not known to be the same, where it is not.
fn in_both<'a>(
    before: Option<&'a ViewEntry>,
    after: Option<&'a ViewEntry>,
) -> Result<[&'a ReferenceNoiseEntry; 2], &'static str> {
    let (Some(before), Some(after)) = (before, after) else {
        return Err("");
    };
    if before.error.is_some() || after.error.is_some() {
        return Err("");
    }
    let [then, now] = [before, after].map(|view| view.reference_noise.as_ref());
    let is_known = |noise: &&ReferenceNoiseEntry| noise.version == NOISE_VERSION;
    let (Some(then), Some(now)) = (then.filter(is_known), now.filter(is_known)) else {
        return Err(
            "the earlier report is of another version of the program, which does not tell what both have in common",
        );
    };
    if let (Some(then), Some(now)) = (&before.reference.blake3, &after.reference.blake3)
        && then != now
    {
        return Err("the reference is another picture than then: each is held against its own");
    }
    Ok([then, now])
}

/// Whether two figures are the same to the last digit: those of one computation.
pub(super) fn are_one(a: Figure, b: Figure) -> bool {
    let numbers = |f: Figure| [f.value, f.low, f.high];
    are_equal(&numbers(a), &numbers(b))
}

/// Whether numbers are the same, one of both perhaps read from a file, with nine digits.
fn are_equal(a: &[f64], b: &[f64]) -> bool {
    let is_equal = |(a, b): (&f64, &f64)| (a - b).abs() <= 1e-8 * a.abs().max(1e-3);
    a.len() == b.len() && a.iter().zip(b).all(is_equal)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn figure(value: f64, half: f64) -> Figure {
        Figure {
            value,
            low: value - half,
            high: value + half,
        }
    }

    fn pair(before: (f64, f64), after: (f64, f64), common: f64) -> Paired {
        paired(
            [figure(before.0, before.1), figure(after.0, after.1)],
            common,
        )
        .expect("figures")
    }

    fn ends(m: Measured) -> [f64; 3] {
        [m.low(), m.value(), m.high()].map(|v| (v * 1e9).round() / 1e9)
    }

    #[test]
    fn what_both_have_in_common_narrows_the_difference() {
        // The root of 0.6² + 0.8² is 1; with 0.48 in common nothing but 0.2 is left.
        let independent = pair((4.0, 0.6), (3.0, 0.8), 0.0);
        assert_eq!(ends(independent.difference), [-2.0, -1.0, 0.0]);
        let same = pair((4.0, 0.6), (3.0, 0.8), 0.48);
        assert_eq!(ends(same.difference), [-1.2, -1.0, -0.8]);
        // A file may say more than can be.
        assert_eq!(pair((4.0, 0.6), (3.0, 0.8), 9.0), same);
    }

    #[test]
    fn edges_of_one_reference_err_alike_to_a_part_of_what_marks_leave() {
        let figures = [figure(1.0, 5.0), figure(1.0, 10.0)];
        let mut common = InCommon::default();
        common.add(3.0, 6.0);
        assert_eq!(common.covariance(figures, false), 18.0);
        // The rest of 5 is 4, that of 10 is 8.
        let share = REVISION.edges_in_common.get();
        assert!((common.covariance(figures, true) - (18.0 + share * 32.0)).abs() < 1e-12);
        let in_mm = common.in_unit([0.5, 0.1]);
        assert!((in_mm.covariance(figures, false) - 0.9).abs() < 1e-12);
    }

    #[test]
    fn far_from_zero_less_off_is_the_difference() {
        let told = pair((4.0, 0.3), (3.0, 0.4), 0.0).less_off;
        assert_eq!(ends(told), [0.5, 1.0, 1.5]);
        let below = pair((-3.0, 0.3), (-4.0, 0.4), 0.0).less_off;
        assert_eq!(ends(below), [-1.5, -1.0, -0.5]);
    }

    #[test]
    fn near_zero_no_more_is_told_than_both_sides_allow() {
        // It was off by 1 and is off by 1 on the other side: no better, whatever the difference.
        let turned = pair((1.0, 0.1), (-1.0, 0.1), 0.0);
        assert!(turned.difference.high() < -1.8);
        assert_eq!(turned.change(Some(0.5)), Change::Same);
        // It may have been on either side of zero: it cannot have come much nearer.
        let about_zero = pair((0.1, 0.3), (0.0, 0.3), 0.0).less_off;
        assert!(
            about_zero.low() < -0.3 && about_zero.high() < 0.55,
            "{about_zero:?}"
        );
    }

    #[test]
    fn the_change_follows_the_whole_interval() {
        let change = |before, after, tolerance| pair(before, after, 0.0).change(tolerance);
        assert_eq!(change((4.0, 0.5), (0.1, 0.5), Some(2.0)), Change::Better);
        assert_eq!(change((0.1, 0.5), (4.0, 0.5), Some(2.0)), Change::Worse);
        assert_eq!(change((0.1, 0.5), (0.2, 0.5), Some(2.0)), Change::Same);
        assert_eq!(
            change((0.1, 2.5), (0.2, 2.5), Some(2.0)),
            Change::CannotTell
        );
        // Without a tolerance nothing says what is as good as the same.
        assert_eq!(change((0.1, 0.5), (0.2, 0.5), None), Change::CannotTell);
    }
}
