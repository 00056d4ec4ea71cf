//! Datum parts that are altered as a whole: their marks bear each other out and contradict those of the other datum parts, so
//! that tests of single marks find it late or never. All datum marks of a part are tested together for a shift in space.
//!
//! # Source
//! W. Baarda, "A testing procedure for use in geodetic networks" (1968): the test of an alternative hypothesis of several
//! dimensions; the cost falls by chi-square with three degrees of freedom where there is no shift.
use super::{
    joint::{Joint, JointPart, Plan, State},
    marks::{Cleaned, STEPS, robust},
    part::{NINE, Nine, OFFSET, PartFrame},
};
use crate::{
    registration::{
        checks::settings::CHECKS,
        space::{
            marks::{self, Test},
            solving::Weighing,
        },
    },
    statistics::chi_square_quantile,
    stop,
};

/// Parts that are taken for altered at most.
const MOST_ALTERED: usize = 3;
/// Marks that a shift is told from: two would fit it nearly by themselves.
const LEAST_MARKS: usize = 3;
/// Datum marks of other parts that are left at least, as many as tell a camera and one to check them.
const LEAST_OTHERS: usize = 6;
/// Deviation of what a hypothesis leaves as it is, and of a shift in what is expected of offsets.
const FIXED: f64 = 1e-6;
const FREE: f64 = 10.0;

/// The hypothesis that a datum part is shifted.
struct Hypothesis {
    part: usize,
    /// By how much the cost falls.
    statistic: f64,
    /// Its marks, and which of all marks fit then.
    own: Vec<usize>,
    kept: Vec<bool>,
    state: State,
}

impl Cleaned {
    /// Measures datum parts that contradict the others like any part; where it cannot be told which one is altered, they are
    /// only named.
    pub(super) fn free_altered(&mut self) -> Option<()> {
        let critical = chi_square_quantile(1.0 - CHECKS.part_level.get(), 3.0);
        for _ in 0..MOST_ALTERED {
            let parts = 0..self.joint.parts.len();
            let mut found: Vec<Hypothesis> = parts.filter_map(|k| self.hypothesis(k)).collect();
            found.retain(|hypothesis| hypothesis.statistic > critical);
            found.sort_by(|a, b| b.statistic.total_cmp(&a.statistic));
            let Some(best) = found.first().map(|best| best.statistic) else {
                break;
            };
            let is_rival = |h: &&Hypothesis| best - h.statistic < CHECKS.parts_tell_apart.get();
            let rivals: Vec<usize> = found.iter().filter(is_rival).map(|h| h.part).collect();
            if rivals.len() > 1 {
                self.rivals = rivals;
                break;
            }
            self.free(found.swap_remove(0));
            self.solve(STEPS)?;
        }
        Some(())
    }

    /// `None` where too few marks lie on the part or beside it, or where its marks do not bear each other out.
    fn hypothesis(&self, part: usize) -> Option<Hypothesis> {
        let marks = self.joint.marks.iter().enumerate();
        let is_datum = |mark: &super::joint::JointMark| mark.part.is_none();
        let own: Vec<usize> = marks
            .clone()
            .filter(|(_, mark)| is_datum(mark) && mark.datum_part == Some(part))
            .map(|(k, _)| k)
            .collect();
        let others = marks
            .filter(|(k, mark)| self.kept[*k] && is_datum(mark) && mark.datum_part != Some(part));
        if own.len() < LEAST_MARKS || others.count() < LEAST_OTHERS || stop::is_asked() {
            return None;
        }
        let (joint, mut state) = self.shifted(part, &own);
        let mut kept = self.kept.clone();
        for &k in &own {
            kept[k] = true;
        }
        let tried = robust(&joint, &state, &kept, &self.factors)?;
        for &k in &own {
            let (mark, row) = (&joint.marks[k], &tried.rows[k]);
            let spread = tried.of_prediction(&joint, mark, row);
            let test = Test::of(row.residual, row.covariance, spread, true);
            kept[k] = test.statistic < marks::Cleaned::critical();
        }
        let good = own.iter().filter(|&&k| kept[k]).count();
        if good < LEAST_MARKS || 2 * good <= own.len() {
            return None;
        }
        let plan = Plan {
            kept: &kept,
            weighing: Weighing::LeastSquares,
            factors: &self.factors,
            steps: STEPS,
        };
        let alone = joint.solve(&tried.state, &plan)?;
        let as_datum = self.joint.solve(&self.solved.state, &plan)?;
        state = alone.state;
        Some(Hypothesis {
            part,
            statistic: as_datum.cost - alone.cost,
            own,
            kept,
            state,
        })
    }

    /// The adjustment with these marks on a further part, which may only be shifted.
    fn shifted(&self, part: usize, own: &[usize]) -> (Joint, State) {
        let mut joint = self.joint.clone();
        let mut expected = Nine::repeat(FIXED);
        for k in OFFSET..NINE {
            expected[k] = FREE * joint.parts[part].expected[k];
        }
        let places = own.iter().map(|&k| joint.marks[k].place);
        let frame = PartFrame::about(places, joint.parts[part].frame.axes);
        let number = joint.parts.len();
        joint.parts.push(JointPart {
            frame,
            expected,
            first: None,
        });
        for &k in own {
            joint.marks[k].part = Some(number);
        }
        let mut state = self.solved.state.clone();
        state.errors.push(Nine::zeros());
        (joint, state)
    }

    /// Takes the marks of a datum part as marks of a part that is measured.
    fn free(&mut self, found: Hypothesis) {
        let Hypothesis {
            part,
            own,
            kept,
            mut state,
            ..
        } = found;
        let shift = state.errors.pop().unwrap_or_else(Nine::zeros);
        state.errors[part] = shift;
        for &k in &own {
            self.joint.marks[k].part = Some(part);
        }
        let marks = self.joint.marks.iter();
        let places = marks
            .filter(|mark| mark.part == Some(part))
            .map(|m| m.place);
        let frame = PartFrame::about(places, self.joint.parts[part].frame.axes);
        self.joint.parts[part].frame = frame;
        for end in self
            .joint
            .lengths
            .iter_mut()
            .flat_map(|length| &mut length.ends)
        {
            if end.datum_part == Some(part) {
                end.part = Some(part);
            }
        }
        self.joint.lay_out();
        self.kept = kept;
        self.solved.state = state;
        self.altered.push(part);
    }
}
