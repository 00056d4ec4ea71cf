//! What the adjustment says of each landmark.
use super::{
    Finding, LandmarkFit,
    adjustment::Adjustment,
    wrong_marks::{DETECTABLE_SQUARE, Roles, critical_square},
};
use crate::statistics::Measured;

/// Below this redundancy nothing else checks a mark.
const UNCONTROLLED: f64 = 0.1;

/// One verdict a landmark; else the index of one whose mark the map takes nowhere.
pub(crate) fn judge(
    adjustment: &Adjustment,
    roles: &Roles,
    swapped: &[(usize, usize)],
) -> Result<Vec<LandmarkFit>, usize> {
    (0..adjustment.problem.pairs.len())
        .map(|i| {
            let took_part = adjustment.active[i];
            let (solved, problem) = (&adjustment.solved, &adjustment.problem);
            let redundancy = solved.redundancy(problem, i, took_part);
            let is_tested = roles.takes_part[i] && redundancy > 0.01;
            let deviation = (solved.rows[i].covariance.trace() / 2.0).sqrt();
            let partner = swapped.iter().find_map(|&(a, b)| match i {
                _ if i == a => Some(b),
                _ if i == b => Some(a),
                _ => None,
            });
            let finding = match partner {
                Some(other) => Some(Finding::SwappedWith(other)),
                None if roles.wrong_place[i] => Some(Finding::WrongPlace),
                None if adjustment.takes_part[i] && !took_part => Some(Finding::Wrong),
                None if roles.off_with_part[i] => roles.part[i].map(Finding::OffWithPart),
                None if roles.takes_part[i] && (!took_part || redundancy < UNCONTROLLED) => {
                    Some(Finding::Uncontrolled)
                }
                None => None,
            };
            let offset = offset(adjustment, i).ok_or(i)?;
            Ok(LandmarkFit {
                residual_px: offset.map(|m| m.value),
                offset_px: offset,
                test_statistic: is_tested.then(|| solved.test_square(problem, i, took_part).sqrt()),
                critical_value: critical_square().sqrt(),
                redundancy,
                smallest_detectable_px: is_tested
                    .then(|| deviation * (DETECTABLE_SQUARE / redundancy).sqrt()),
                finding,
            })
        })
        .collect()
}

/// Mark in the render minus registered mark of the reference, with the noise of both and of the registration; `None`
/// where the mark lies beyond the horizon of the rectified plane, or where the lens shows nothing.
fn offset(adjustment: &Adjustment, i: usize) -> Option<[Measured; 2]> {
    let [x, y] = [0, 1].map(|axis| {
        let (value, gradient) = adjustment.offset(i, axis);
        adjustment.measured(value, &gradient)
    });
    Some([x?, y?])
}
