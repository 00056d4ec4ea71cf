//! The rounds: edges of the datum refine the cameras, then those of all parts everything, the window getting narrower. Before, each part
//! is searched for at random; afterwards edges that fit no better than chance, or that lead away from the marks, are left out.
use super::{
    chance::beyond,
    photo::PhotoEdges,
    places::{Group, InPhoto, MeshParts, Owned, Owner},
    search::Search,
};
use crate::{
    edges::{lines::Lines, settings::EDGES},
    registration::space::together::{Adjusted, EdgeMark, EdgesOfPart, EdgesSeen, Fitting, Until},
    stop::{self, Stopped},
};
use rayon::prelude::*;

/// Windows (standard deviations, working pixels) of the rounds on the datum, and of those on all parts.
const DATUM_WINDOWS: [f64; 3] = [9.0, 4.0, NARROW_WINDOW];
const NARROW_WINDOW: f64 = 2.5;
const ALL_WINDOWS: [f64; 3] = [6.0, 3.0, 2.0];

/// Adjusts all cameras and parts by marks and by the edges that the photos have; `photos` are in the order in which they were given,
/// `None` where nothing is looked for. What the edges do not bear out stays as the marks have it.
///
/// # Errors
/// Where the run is asked to stop.
pub(crate) fn refine(
    adjusted: &mut Adjusted<'_>,
    photos: &[Option<PhotoEdges>],
    mesh: &MeshParts<'_>,
) -> Result<(), Stopped> {
    let Some(marks) = adjusted.fitting() else {
        return Ok(());
    };
    let rounds = Rounds {
        photos: marks.photos().iter().map(|&k| photos[k].as_ref()).collect(),
        mesh: mesh.owned(&marks),
    };
    if let Some(fitted) = rounds.fit(&marks)? {
        adjusted.take(fitted);
    }
    Ok(())
}

struct Rounds<'a> {
    /// Those that take part.
    photos: Vec<Option<&'a PhotoEdges>>,
    mesh: Owned<'a>,
}

impl Rounds<'_> {
    fn groups(&self, fitting: &Fitting) -> Result<Vec<Group>, Stopped> {
        let scales: Vec<Option<f64>> = self
            .photos
            .iter()
            .map(|photo| photo.map(|photo| photo.scale))
            .collect();
        self.mesh.seen(fitting, &scales)
    }

    /// Where the photo has the places of a group.
    fn placed(&self, fitting: &Fitting, group: &Group) -> Vec<Option<InPhoto>> {
        let Some(sight) = fitting.sight(group.photo) else {
            return vec![None; group.places.len()];
        };
        let placing = group.part.map(|part| fitting.placing(part));
        let seen = group
            .places
            .iter()
            .map(|place| place.seen(&sight, placing.as_ref()));
        seen.collect()
    }

    /// Looks for the places of a group along their normals.
    fn look(&self, fitting: &Fitting, group: &Group, sigma: f64) -> Option<EdgesSeen> {
        let photo = self.photos[group.photo]?;
        let mut found = Vec::new();
        let mut weights = Vec::new();
        let placed = self.placed(fitting, group);
        for (k, (place, seen)) in group.places.iter().zip(&placed).enumerate() {
            let Some((at, normal)) = *seen else { continue };
            let Some((along, response)) = photo.strongest((at, normal), sigma) else {
                continue;
            };
            let strength = (response / EDGES.full_response.get())
                .clamp(0.0, 1.0)
                .powi(2);
            weights.push((k, strength / EDGES.point_deviation.get().powi(2)));
            found.push(EdgeMark {
                place: place.place,
                found: at + normal * along,
                normal,
                weight: 0.0,
                line: 0,
            });
        }
        let on_grid = placed.iter().map(|seen| {
            let (at, normal) = seen.unwrap_or_default();
            (0, at * photo.scale, normal)
        });
        let variance = EDGES.space_line_deviation.get().powi(2);
        let lines = Lines::of(on_grid);
        let shared = lines.shared_out(&weights, variance);
        for ((mark, weight), (k, _)) in found.iter_mut().zip(shared).zip(&weights) {
            mark.weight = weight * photo.scale.powi(2);
            mark.line = lines.line_of(*k);
        }
        Some(EdgesSeen {
            photo: group.photo,
            part: group.part,
            reach_px: (sigma / 2.0).max(1.0) / photo.scale,
            marks: found,
        })
    }

    /// Looks for these groups and solves; whether that could be done.
    fn round(
        &self,
        fitting: &mut Fitting,
        groups: &[&Group],
        (sigma, until): (f64, Until),
    ) -> Result<bool, Stopped> {
        stop::check()?;
        let look = |group: &&Group| self.look(fitting, group, sigma);
        let seen: Vec<EdgesSeen> = groups.par_iter().filter_map(look).collect();
        stop::check()?;
        Ok(fitting.observe(&seen, until))
    }

    /// The cameras by the edges of the datum beside the marks; those of photos whose marks do not bear it are not used.
    fn by_datum(&self, marks: &Fitting) -> Result<Option<(Fitting, Vec<usize>)>, Stopped> {
        let groups = self.groups(marks)?;
        let mut strained: Vec<usize> = Vec::new();
        for _ in 0..=self.photos.len() {
            let is_used = |g: &&Group| g.part.is_none() && !strained.contains(&g.photo);
            let datum: Vec<&Group> = groups.iter().filter(is_used).collect();
            let mut fitted = marks.clone();
            if datum.is_empty() {
                return Ok(Some((fitted, strained)));
            }
            for sigma in DATUM_WINDOWS {
                if !self.round(&mut fitted, &datum, (sigma, Until::LookedAgain))? {
                    return Ok(None);
                }
            }
            let mut more: Vec<usize> = (fitted.strained(marks).into_iter())
                .chain(self.aside(&fitted, &datum))
                .filter(|photo| !strained.contains(photo))
                .collect();
            more.sort_unstable();
            more.dedup();
            if more.is_empty() {
                return Ok(Some((fitted, strained)));
            }
            strained.extend(more);
        }
        Ok(Some((marks.clone(), strained)))
    }

    /// Photos in which most of the clear edges of the datum lie beside where the fit has them: the marks hold it off them.
    fn aside(&self, fitting: &Fitting, datum: &[&Group]) -> Vec<usize> {
        let off_in = |number: usize| -> Vec<f64> {
            let groups = datum.iter().filter(|group| group.photo == number);
            let Some(photo) = self.photos[number] else {
                return Vec::new();
            };
            groups
                .flat_map(|group| self.placed(fitting, group))
                .flatten()
                .filter_map(|seen| photo.strongest(seen, NARROW_WINDOW))
                .filter(|(_, response)| *response >= EDGES.full_response.get())
                .map(|(along, _)| along.abs() * photo.scale)
                .collect()
        };
        let is_aside = |number: &usize| {
            let mut off = off_in(*number);
            off.sort_by(f64::total_cmp);
            off.len() >= EDGES.least_points.count()
                && off[off.len() / 2] > EDGES.space_datum_aside.get()
        };
        (0..self.photos.len()).filter(is_aside).collect()
    }

    /// Places each part where its edges fit best, as far as is known of it.
    fn place(&self, fitting: &mut Fitting) -> Result<(), Stopped> {
        let groups = self.groups(fitting)?;
        let each = self.each_part(&groups, |part| {
            Search::new(fitting, part, groups.iter(), &self.photos)?.best()
        });
        stop::check()?;
        for (part, best) in each {
            fitting.put(part, best);
        }
        Ok(())
    }

    /// Something of each part with groups, in their order.
    fn each_part<T: Send>(
        &self,
        groups: &[Group],
        of: impl Fn(usize) -> Option<T> + Sync,
    ) -> Vec<(usize, T)> {
        let owned = self.mesh.owners.par_iter().filter_map(|owner| match owner {
            Owner::Part(part) => Some(*part),
            _ => None,
        });
        owned
            .filter(|part| groups.iter().any(|g| g.part == Some(*part)))
            .filter_map(|part| Some((part, of(part)?)))
            .collect()
    }

    /// `None` where nothing could be solved.
    fn fit(&self, marks: &Fitting) -> Result<Option<Fitting>, Stopped> {
        let Some((before, strained)) = self.by_datum(marks)? else {
            return Ok(None);
        };
        let is_used = |group: &&Group| group.part.is_some() || !strained.contains(&group.photo);
        let mut fitted = before.clone();
        self.place(&mut fitted)?;
        let mut groups = Vec::new();
        for sigma in ALL_WINDOWS {
            groups = self.groups(&fitted)?;
            let used: Vec<&Group> = groups.iter().filter(is_used).collect();
            if !self.round(&mut fitted, &used, (sigma, Until::LookedAgain))? {
                return Ok(None);
            }
        }
        let mut said: Vec<EdgesOfPart> = self.unseen(&fitted);
        let good: Vec<&Group> = (groups.par_iter())
            .enumerate()
            .filter(|(k, group)| is_used(group) && self.is_beyond_chance(&fitted, (*k, group)))
            .map(|(_, group)| group)
            .collect();
        for group in &groups {
            if let Some(part) = group.part {
                said[part] = EdgesOfPart::NoBetterThanChance;
            }
        }
        let Some((mut fitted, good)) = self.settled(&before, fitted, good, &mut said)? else {
            return Ok(None);
        };
        self.widen(&before, &mut fitted, &good)?;
        for (part, edges) in said.into_iter().enumerate() {
            fitted.say(part, edges);
        }
        for photo in strained {
            fitted.say_strained(photo);
        }
        Ok(Some(fitted))
    }

    fn unseen(&self, fitting: &Fitting) -> Vec<EdgesOfPart> {
        let mut said = vec![EdgesOfPart::NotLookedFor; fitting.parts()];
        for owner in &self.mesh.owners {
            if let Owner::Part(part) = owner {
                said[*part] = EdgesOfPart::TooFew;
            }
        }
        said
    }

    fn is_beyond_chance(&self, fitting: &Fitting, (seed, group): (usize, &Group)) -> bool {
        let Some(photo) = self.photos[group.photo] else {
            return false;
        };
        let placed: Vec<InPhoto> = self.placed(fitting, group).into_iter().flatten().collect();
        beyond(photo, &placed, seed) > EDGES.space_beyond_chance.get()
    }

    /// The last solution, without parts whose edges contradict their marks.
    fn settled<'g>(
        &self,
        before: &Fitting,
        mut fitted: Fitting,
        mut good: Vec<&'g Group>,
        said: &mut [EdgesOfPart],
    ) -> Result<Option<(Fitting, Vec<&'g Group>)>, Stopped> {
        loop {
            let left_out = |part: usize| good.iter().all(|group| group.part != Some(part));
            for part in (0..fitted.parts()).filter(|part| left_out(*part)) {
                // Where its marks have it.
                fitted.put(part, before.known(part).mean);
            }
            let last = (EDGES.last_window.get(), Until::LookedAgain);
            if !self.round(&mut fitted, &good, last)? {
                return Ok(None);
            }
            fitted.estimate_noise();
            let settling = (EDGES.settling_window.get(), Until::AtRest);
            if !self.round(&mut fitted, &good, settling)? {
                return Ok(None);
            }
            let parts = 0..fitted.parts();
            let against: Vec<usize> = parts
                .filter(|&part| !left_out(part) && fitted.contradicts(before, part))
                .collect();
            if against.is_empty() {
                break;
            }
            good.retain(|group| group.part.is_none_or(|part| !against.contains(&part)));
            for part in against {
                said[part] = EdgesOfPart::AgainstMarks;
            }
        }
        for group in &good {
            if let Some(part) = group.part {
                let own = (group.photo, group.places.len());
                match &mut said[part] {
                    EdgesOfPart::Used(photos) => photos.push(own),
                    other => *other = EdgesOfPart::Used(vec![own]),
                }
            }
        }
        Ok(Some((fitted, good)))
    }

    /// Widens what is known of each part by where else its edges would fit.
    fn widen(
        &self,
        before: &Fitting,
        fitted: &mut Fitting,
        good: &[&Group],
    ) -> Result<(), Stopped> {
        let owned: Vec<Group> = good.iter().map(|group| (*group).clone()).collect();
        let spreads = self.each_part(&owned, |part| {
            let search = Search::new(fitted, part, owned.iter(), &self.photos)?;
            search.spread(&before.known(part))
        });
        stop::check()?;
        for (part, spread) in spreads {
            fitted.widen(before, part, &(spread * EDGES.space_spread_share.get()));
        }
        Ok(())
    }
}
