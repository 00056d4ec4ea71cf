//! Observations of parts beside their marks: known lengths on the subject, and errors that mirror each other. They tie parts to one
//! another, so the parts that they concern stand among the numbers of the cameras and are not eliminated.
use super::{
    joint::{Joint, Solved, State},
    normal::{Normal, Spread},
    part::{NINE, OFFSET, SIZE, TURN, on_subject},
    ties::{JointEnd, JointLength, JointMirror},
};
use crate::registration::{
    checks::settings::CHECKS,
    space::{settings::SPACE, solving::Weighing},
};
use crate::statistics::chi_square_quantile;
use nalgebra::Vector3;

/// What a known length comes to.
#[derive(Clone, Copy, Debug)]
pub(super) struct LengthTest {
    /// Square of its residual in its deviation: chi-square with one degree of freedom.
    pub(super) statistic: f64,
    /// Share of its error that its residual shows.
    pub(super) redundancy: f64,
    /// The length that all else asks for, model millimetres.
    pub(super) asked_mm: f64,
}

/// A row over the numbers of the whole: entries, and how far off it is, both in its deviation.
struct Row {
    entries: Vec<(usize, f64)>,
    off: f64,
}

/// How well errors of both sides agree.
fn mirror_deviation(k: usize) -> f64 {
    match k {
        SIZE..TURN => SPACE.mirror_percent.get() / 100.0,
        TURN..OFFSET => SPACE.mirror_deg.get().to_radians(),
        _ => SPACE.mirror_mm.get(),
    }
}

impl Joint {
    /// Gives the parts that lengths and mirrors concern their place behind the cameras, and the scale behind them.
    pub(super) fn lay_out(&mut self) {
        let mut next = 0;
        for photo in &mut self.photos {
            photo.first = next;
            next += photo.count;
        }
        let of_lengths = self.lengths.iter().flat_map(|length| &length.ends);
        let of_lengths = of_lengths.filter_map(|end| end.part);
        let of_mirrors = self.mirrors.iter().flat_map(|mirror| mirror.parts);
        let mut tied: Vec<usize> = of_lengths.chain(of_mirrors).collect();
        tied.sort_unstable();
        tied.dedup();
        for part in &mut self.parts {
            part.first = None;
        }
        for part in tied {
            self.parts[part].first = Some(next);
            next += NINE;
        }
        let is_of_datum = |length: &JointLength| length.ends.iter().all(|end| end.part.is_none());
        self.scale_at = self.lengths.iter().any(is_of_datum).then_some(next);
        self.numbers = next + usize::from(self.scale_at.is_some());
    }

    /// Adds lengths, mirrors and the expected errors of the parts that they concern; the cost.
    pub(super) fn observe_beside(
        &self,
        state: &State,
        weighing: Weighing,
        normal: &mut Normal,
    ) -> Option<f64> {
        let mut cost = 0.0;
        for (part, errors) in self.parts.iter().zip(&state.errors) {
            let Some(first) = part.first else { continue };
            for k in 0..NINE {
                let off = -errors[k] / part.expected[k];
                cost += add(
                    normal,
                    &Row {
                        entries: vec![(first + k, 1.0)],
                        off,
                    },
                    1.0,
                );
            }
        }
        if let Some(at) = self.scale_at {
            // As good as nothing is known of it; only that it is no number of another order.
            let deviation = SPACE.unknown_scale.get();
            let off = -state.log_scale / deviation;
            let entries = vec![(at, 1.0 / deviation)];
            cost += add(normal, &Row { entries, off }, 1.0);
        }
        let c2 = SPACE.robust_constant.get().powi(2);
        for length in self.lengths.iter().filter(|length| length.is_kept) {
            let row = self.length_row(state, length)?;
            let square = row.off * row.off;
            cost += match weighing {
                Weighing::LeastSquares => add(normal, &row, 1.0),
                Weighing::Robust => {
                    add(normal, &row, 1.0 / (1.0 + square / c2));
                    c2 * (square / c2).ln_1p()
                }
            };
        }
        for mirror in &self.mirrors {
            for k in 0..NINE {
                if let Some(row) = self.mirror_row(state, mirror, k) {
                    cost += add(normal, &row, 1.0);
                }
            }
        }
        Some(cost)
    }

    /// The logarithm of what is stated less that of what the places of the subject and its scale ask for.
    fn length_row(&self, state: &State, length: &JointLength) -> Option<Row> {
        let places = length.ends.map(|end| self.place_on_subject(state, &end));
        let way = places[1] - places[0];
        let found = way.norm();
        if found.is_nan() || found <= 0.0 {
            return None;
        }
        let towards = way / found;
        let mut entries = Vec::new();
        for (end, sign) in length.ends.iter().zip([-1.0, 1.0]) {
            let Some(part) = end.part else { continue };
            let own = &self.parts[part];
            let (_, slopes) = on_subject(&end.place, &own.frame, &state.errors[part]);
            let first = own.first?;
            for k in 0..NINE {
                let by_error = sign * towards.dot(&slopes.column(k)) / found;
                entries.push((first + k, by_error * own.expected[k] / length.deviation));
            }
        }
        entries.extend(self.scale_at.map(|at| (at, 1.0 / length.deviation)));
        let off = (length.log - found.ln() - state.log_scale) / length.deviation;
        Some(Row { entries, off })
    }

    fn place_on_subject(&self, state: &State, end: &JointEnd) -> Vector3<f64> {
        end.part.map_or(end.place, |part| {
            on_subject(&end.place, &self.parts[part].frame, &state.errors[part]).0
        })
    }

    /// Number `k` of both parts, `None` where it may be what it is.
    fn mirror_row(&self, state: &State, mirror: &JointMirror, k: usize) -> Option<Row> {
        let ([a, b], sign, deviation) = (mirror.parts, mirror.sign(k), mirror_deviation(k));
        let entry = |part: usize, sign: f64| {
            let own = &self.parts[part];
            Some((own.first? + k, sign * own.expected[k] / deviation))
        };
        let (of_a, of_b) = (state.errors[a][k], state.errors[b][k]);
        if a == b {
            let off = -of_a / deviation;
            let entries = vec![entry(a, 1.0)?];
            return (sign < 0.0).then_some(Row { entries, off });
        }
        let entries = vec![entry(b, 1.0)?, entry(a, -sign)?];
        let off = -(of_b - sign * of_a) / deviation;
        Some(Row { entries, off })
    }

    /// The covariance; of parts among the numbers of the cameras it is taken from there.
    pub(super) fn spread(&self, normal: &Normal) -> Option<Spread> {
        let mut spread = normal.spread()?;
        for (k, part) in self.parts.iter().enumerate() {
            let Some(first) = part.first else { continue };
            spread.parts[k] = spread.cameras.fixed_view::<NINE, NINE>(first, first).into();
            spread.cross[k] = spread.cameras.fixed_rows::<NINE>(first).into();
        }
        Some(spread)
    }

    /// What each known length comes to in a solution.
    pub(super) fn length_tests(&self, solved: &Solved) -> Vec<Option<LengthTest>> {
        let test = |length: &JointLength| {
            let row = self.length_row(&solved.state, length)?;
            let spread = &solved.spread.cameras;
            let of = |(i, a): &(usize, f64), (j, b): &(usize, f64)| a * b * spread[(*i, *j)];
            let pairs = row.entries.iter().map(|one| {
                let each = row.entries.iter().map(|other| of(one, other));
                each.sum::<f64>()
            });
            let predicted: f64 = pairs.sum();
            let variance = if length.is_kept {
                1.0 - predicted
            } else {
                1.0 + predicted
            };
            Some(LengthTest {
                statistic: row.off * row.off / variance.max(1e-12),
                redundancy: if length.is_kept { 1.0 - predicted } else { 1.0 },
                asked_mm: (length.log - row.off * length.deviation).exp(),
            })
        };
        self.lengths.iter().map(test).collect()
    }
}

/// The known length that contradicts all else most.
pub(super) fn worst(lengths: &[JointLength], tests: &[Option<LengthTest>]) -> Option<usize> {
    let critical = chi_square_quantile(1.0 - CHECKS.mark_level.get(), 1.0);
    let bad = |k: &usize| {
        let test = tests[*k].as_ref().filter(|_| lengths[*k].is_kept);
        test.is_some_and(|t| t.redundancy > CHECKS.uncontrolled.get() && t.statistic > critical)
    };
    let statistic = |k: &usize| tests[*k].map_or(0.0, |t| t.statistic);
    let all = (0..lengths.len()).filter(bad);
    all.max_by(|a, b| statistic(a).total_cmp(&statistic(b)))
}

/// Adds a row; its square.
fn add(normal: &mut Normal, row: &Row, weight: f64) -> f64 {
    for &(i, a) in &row.entries {
        normal.right[i] += weight * a * row.off;
        for &(j, b) in &row.entries {
            normal.cameras[(i, j)] += weight * a * b;
        }
    }
    weight * row.off * row.off
}
