//! The marks that the robust solution keeps. What it leaves far off goes out before least squares, which even a few gross
//! errors pull to where good marks look wrong, or fold over.
use super::settings::CHECKS;
use crate::registration::{
    adjustment::{Problem, Row},
    roles::Roles,
    start,
};

/// Which marks take part in the first solution by least squares: all that may, without the datum marks that the robust
/// one leaves grossly off.
///
/// The marks of a datum part that is off as a whole stay: whether it is altered is for the test of parts to say. So many
/// stay that the datum marks still check themselves.
pub(super) fn kept(problem: &Problem, roles: &Roles, rows: &[Row]) -> Vec<bool> {
    let limit = CHECKS.gross.get().powi(2);
    let square = |i: usize| rows[i].standardised_square();
    let is_gross = |i: usize| {
        roles.takes_part[i] && roles.datum[i] && (square(i) > limit || square(i).is_nan())
    };
    let mut gross: Vec<usize> = (0..problem.pairs.len())
        .filter(|&i| is_gross(i) && !is_off_with_its_part(roles, i, &is_gross))
        .collect();
    gross.sort_by(|&a, &b| square(b).total_cmp(&square(a)));
    let datum = (0..problem.pairs.len()).filter(|&i| roles.takes_part[i] && roles.datum[i]);
    let may_go = datum
        .count()
        .saturating_sub(start::least_points(problem.layout.kind) + 1);
    let mut kept = roles.takes_part.clone();
    for i in gross.into_iter().take(may_go) {
        kept[i] = false;
    }
    kept
}

/// Whether more than half of the datum marks of this one's part, and two at least, are off.
fn is_off_with_its_part(roles: &Roles, i: usize, is_gross: &impl Fn(usize) -> bool) -> bool {
    let Some(part) = roles.part[i] else {
        return false;
    };
    let on_part = (0..roles.part.len()).filter(|&k| roles.part[k] == Some(part) && roles.datum[k]);
    let (off, all) = on_part.fold((0, 0), |(off, all), k| {
        (off + usize::from(is_gross(k)), all + 1)
    });
    off > 1 && 2 * off > all
}
