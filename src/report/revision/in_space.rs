//! Parts in space held against those of an earlier report.
//!
//! Both rest on the same photos as a rule, but how the noise of each mark goes into each of the nine errors is not written: they are
//! taken for independent, so differences are less well known than they could be.
use super::{
    entry::{Change, RevisionViewEntry},
    pairing::{SharedNoise, are_one, paired},
    told::{DEGREES, MM, PERCENT, Told},
};
use crate::{
    measurement::{MeasureKind, PartKind},
    report::json::SpaceEntry,
};

/// What stands in the place of a view's name.
const IN_SPACE: &str = "in space";

const INDEPENDENT: &str =
    "how the marks of the photos go into the errors of parts in space is not kept";

/// All parts then and now; `None` where neither report has any.
pub(in crate::report) fn compared(
    before: Option<&SpaceEntry>,
    after: Option<&SpaceEntry>,
) -> Option<RevisionViewEntry> {
    before.or(after)?;
    let [then, now] = [before, after].map(|space| space.map_or_else(Vec::new, figures));
    let shared = SharedNoise::of(None, None);
    let mut measures = Vec::new();
    // Along other axes it is another figure.
    let is_along_same = |name: &str| own_axes(before, name) == own_axes(after, name);
    for figure in &now {
        let earlier = (then.iter()).find(|f| f.is_same(figure) && is_along_same(f.name));
        let both = earlier.and_then(|f| f.figure).zip(figure.figure);
        // Nothing that it rests on was changed.
        match both.filter(|(before, after)| are_one(*before, *after)) {
            Some((before, after)) => {
                let pair = paired([after, after], f64::INFINITY);
                let change = pair.map(|pair| pair.change(figure.tolerance));
                let change = change.unwrap_or(Change::CannotTell);
                measures.push(figure.entry([Some(before), Some(after)], pair, change));
            }
            None => measures.extend(figure.since(earlier, &shared, 1.0)),
        }
    }
    let is_gone = |f: &&Told<'_>| now.iter().all(|g| !g.is_same(f)) || !is_along_same(f.name);
    measures.extend(then.iter().filter(is_gone).map(Told::gone));
    Some(RevisionViewEntry {
        name: IN_SPACE.to_owned(),
        independent: before.and(after).map(|_| INDEPENDENT.to_owned()),
        measures,
    })
}

fn own_axes(space: Option<&SpaceEntry>, name: &str) -> Option<[[f64; 3]; 3]> {
    let mut parts = space.iter().flat_map(|space| &space.parts);
    parts.find(|part| part.name == name)?.own_axes
}

fn figures(space: &SpaceEntry) -> Vec<Told<'_>> {
    let of_part = |part| {
        let rows = crate::report::json::SpacePartEntry::rows(part)
            .into_iter()
            .enumerate();
        rows.map(move |(k, (_, _, figure, tolerance))| Told {
            of: PartKind::Part,
            name: &part.name,
            measure: MeasureKind::IN_SPACE[k],
            unit: [PERCENT, DEGREES, MM][k / 3],
            figure,
            tolerance: Some(tolerance),
            is_by_edges: false,
            per_px: 1.0,
        })
    };
    space.parts.iter().flat_map(of_part).collect()
}
