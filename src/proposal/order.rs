//! Which places are proposed, and in which order: each next one is the one that tells most beside those before.
use super::{
    asked::{Asked, ExpectedPlace},
    look::{Looked, Shown},
    places::{Place, Places, is_clear_of},
    settings::PROPOSAL,
};
use crate::{
    frame::Point,
    job::{LandmarkUse, MarkOn, View},
    registration::{
        self, Prediction, Registered,
        adjustment::{self, Expected, Further},
        along_outline_of,
    },
};
use rayon::prelude::*;

/// Datum marks that are proposed at a time.
const MOST_DATUM: usize = 8;

/// A place that was chosen.
pub(super) struct Chosen {
    pub(super) place: usize,
    pub(super) usage: LandmarkUse,
    pub(super) reference: Option<ExpectedPlace>,
    pub(super) gain: f64,
}

/// Clear corners and round things far from all marks and from each other: with no registration that is all there is to go by.
pub(super) fn far_apart(asked: &Asked<'_>, places: &Places) -> Vec<Chosen> {
    let (width, height) = asked.render_size;
    let diagonal = f64::from(width).hypot(f64::from(height)).max(1.0);
    let mut marks: Vec<[f64; 2]> = (asked.view.landmarks.iter().map(|l| l.render.xy())).collect();
    marks.extend(&asked.passed_over);
    let mut chosen: Vec<Chosen> = Vec::new();
    let distance = |place: &Place, marks: &[[f64; 2]]| {
        let middle = [f64::from(width) / 2.0, f64::from(height) / 2.0];
        let to = |[u, v]: [f64; 2]| (place.at[0] - u).hypot(place.at[1] - v);
        // The first one lies far out.
        let nearest = marks.iter().copied().map(to).reduce(f64::min);
        nearest.unwrap_or_else(|| to(middle))
    };
    while chosen.len() < MOST_DATUM {
        let of = |place: &Place| {
            let is_on_part = match place.part {
                Some(_) => PROPOSAL.datum_on_part.get(),
                None => 1.0,
            };
            distance(place, &marks) * place.clearness.min(0.5).sqrt() * is_on_part
        };
        let best = (0..places.all.len())
            .map(|i| (i, of(&places.all[i])))
            .reduce(|a, b| if b.1 > a.1 { b } else { a });
        let Some((i, _)) = best else { break };
        let place = &places.all[i];
        if !is_clear_of(place.at, &marks, places.near) {
            break;
        }
        chosen.push(Chosen {
            place: i,
            usage: LandmarkUse::Datum,
            reference: None,
            gain: (distance(place, &marks) / diagonal).min(1.0),
        });
        marks.push(place.at);
    }
    chosen
}

/// Datum marks while the registration needs them, then part by part.
pub(super) fn by_gain(
    view: &View,
    registered: &Registered,
    places: &Places,
    looked: Option<&mut Looked<'_>>,
) -> Vec<Chosen> {
    let wanted: Vec<_> = (view.regions.iter().map(|r| r.anchor))
        .chain(view.datum().map(|l| l.render))
        .collect();
    let adjustment = &registered.adjustment;
    let Some(further) = Further::new(adjustment, &wanted) else {
        return Vec::new();
    };
    let mut greedy = Greedy {
        places,
        further,
        freedom: adjustment.noise_freedom(),
        looked,
        chosen: Vec::new(),
        taken: Vec::new(),
    };
    let checked = registration::checked_points(view.registration);
    let needed = checked.saturating_sub(view.datum().count());
    greedy.take(&Group::Datum { anywhere: true }, needed);
    let first = PROPOSAL.first_of_part.count();
    let most = PROPOSAL.most_of_part.count();
    let marks = |j: usize| view.regions[j].landmarks.len();
    let missing = |j: usize| first.saturating_sub(marks(j));
    let mut parts: Vec<usize> = (0..view.regions.len()).collect();
    // What was begun is finished first, then the parts come in the job's order.
    parts.sort_by_key(|j| marks(*j) == 0 || missing(*j) == 0);
    for j in &parts {
        greedy.take(&Group::Part(*j), missing(*j));
    }
    for j in &parts {
        greedy.take(&Group::Part(*j), most.saturating_sub(missing(*j)));
    }
    greedy.take(&Group::Datum { anywhere: false }, MOST_DATUM);
    greedy.chosen
}

/// Places that are chosen among.
enum Group {
    /// For the registration: on no part, or anywhere.
    Datum { anywhere: bool },
    /// For the figures of a part.
    Part(usize),
}

/// A place of a group, with all that is known of it.
struct Candidate {
    place: usize,
    expected: Expected,
    /// What the reference shows, once it was looked at.
    shown: Option<Shown>,
    /// By how much its gain counts.
    trust: f64,
}

struct Greedy<'a, 'l, 'p> {
    places: &'a Places,
    further: Further<'a>,
    freedom: f64,
    looked: Option<&'l mut Looked<'p>>,
    chosen: Vec<Chosen>,
    taken: Vec<[f64; 2]>,
}

impl Greedy<'_, '_, '_> {
    /// Takes up to `most` of a group, each the one that tells most beside those before.
    fn take(&mut self, group: &Group, most: usize) {
        if most == 0 {
            return;
        }
        let usage = match group {
            Group::Datum { .. } => LandmarkUse::Datum,
            Group::Part(_) => LandmarkUse::Check,
        };
        let mut candidates = self.candidates(group, usage);
        self.look(&mut candidates);
        for _ in 0..most {
            let best = candidates
                .iter()
                .filter(|c| {
                    let at = self.places.all[c.place].at;
                    is_clear_of(at, &self.taken, self.places.near)
                })
                .map(|c| (c, self.further.gain(&c.expected)))
                .filter(|(_, gain)| *gain >= PROPOSAL.least_gain.get())
                .reduce(|a, b| {
                    if b.1 * b.0.trust > a.1 * a.0.trust {
                        b
                    } else {
                        a
                    }
                });
            let Some((candidate, gain)) = best else {
                break;
            };
            self.chosen.push(Chosen {
                place: candidate.place,
                usage,
                reference: self.in_reference(candidate),
                gain,
            });
            self.taken.push(self.places.all[candidate.place].at);
            self.further.add(&candidate.expected);
        }
    }

    fn candidates(&self, group: &Group, usage: LandmarkUse) -> Vec<Candidate> {
        let belongs = |place: &Place| match group {
            Group::Datum { anywhere } => *anywhere || place.part.is_none(),
            Group::Part(j) => place.part == Some(*j),
        };
        let places = self.places.all.iter().enumerate();
        places
            .filter(|(_, place)| belongs(place))
            .filter_map(|(i, place)| {
                let clear = place.clearness / (place.clearness + PROPOSAL.half_clear.get());
                // A part that is judged may be off.
                let right = match usage == LandmarkUse::Datum && place.part.is_some() {
                    true => PROPOSAL.datum_on_part.get(),
                    false => 1.0,
                };
                Some(Candidate {
                    place: i,
                    expected: self.expected(place, usage)?,
                    shown: None,
                    trust: clear * right * PROPOSAL.unseen.get(),
                })
            })
            .collect()
    }

    /// Looks in the reference for those that would tell most by themselves.
    fn look(&mut self, candidates: &mut [Candidate]) {
        let Some(looked) = self.looked.as_deref_mut() else {
            return;
        };
        let further = &self.further;
        let mut tells: Vec<(usize, f64)> = (candidates.iter().enumerate())
            .map(|(k, c)| (k, further.gain(&c.expected) * c.trust))
            .collect();
        tells.sort_by(|a, b| b.1.total_cmp(&a.1));
        tells.truncate(PROPOSAL.looked_at.count());
        let places = &self.places.all;
        let found: Vec<_> = {
            let looked = &*looked;
            let find = |(k, _): &(usize, f64)| {
                let candidate = &candidates[*k];
                (
                    *k,
                    looked.find(places[candidate.place].at, &candidate.expected),
                )
            };
            tells.par_iter().map(find).collect()
        };
        let mut clear: Vec<(usize, Shown)> = Vec::new();
        for (k, (shown, anew)) in found {
            clear.extend(shown.map(|shown| (k, shown)));
            anew.into_iter().for_each(|found| looked.keep(found));
        }
        let finds: Vec<_> = (clear.iter())
            .map(|(k, shown)| (&candidates[*k].expected, shown.at, shown.covariance))
            .collect();
        let agree = further.agreeing(&finds);
        for ((k, shown), _) in clear.into_iter().zip(agree).filter(|(_, agrees)| *agrees) {
            candidates[k].shown = Some(shown);
            candidates[k].trust /= PROPOSAL.unseen.get();
        }
    }

    fn in_reference(&self, candidate: &Candidate) -> Option<ExpectedPlace> {
        let expected = &candidate.expected;
        let (at, covariance) = match candidate.shown {
            Some(shown) => (shown.at, shown.covariance + expected.mark),
            None => (expected.reference, expected.covariance),
        };
        let prediction = Prediction::of(at.xy(), covariance, self.freedom)?;
        Some(ExpectedPlace {
            prediction,
            is_refined: candidate.shown.is_some(),
        })
    }

    fn expected(&self, place: &Place, usage: LandmarkUse) -> Option<Expected> {
        self.further.expected(&adjustment::Candidate {
            render: Point::new(place.at[0], place.at[1]),
            part: place.part,
            is_datum: usage == LandmarkUse::Datum,
            along: match place.on {
                MarkOn::Outline(tangent) => Some(along_outline_of(tangent)),
                _ => None,
            },
        })
    }
}
