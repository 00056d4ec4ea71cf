//! Views that are adjusted together: names to indices, regions and landmarks of one part to parts, and what contradicts itself between
//! views.
use crate::{
    job::{
        End, Landmark, LandmarkUse, MirroredPart, ModelSymmetry, PartAxes, Region, Side, Together,
        TogetherEnd, TogetherLength, TogetherPart, Tolerance, View,
        error::{FaultKind, Faults},
        names::{listed_with_nearest, nearest},
        part_axes::NoAxes,
        raw::{RawJob, RawModelAxis, RawModelSymmetry, RawPartAxes, RawReference},
    },
    printable::{listed, shortened},
    units::ModelMm,
};
use std::collections::HashMap;

/// Places of one landmark that differ by less are one, millimetres: what people write has three decimals at most.
const SAME_PLACE: f64 = 1e-3;

/// What is adjusted together; `None` where nothing is stated or something is wrong.
pub(super) fn together(
    raw: &RawJob,
    views: &[View],
    tolerance: Tolerance,
    faults: &mut Faults,
) -> Option<Together> {
    let symmetry = raw.model.as_ref().and_then(|m| m.symmetry.as_ref());
    let Some(names) = raw.together.as_ref() else {
        if symmetry.is_some() {
            faults.push("/model/symmetry", FaultKind::SymmetryWithoutTogether);
        }
        if raw.model.as_ref().is_some_and(|m| !m.axes.is_empty()) {
            faults.push("/model/axes", FaultKind::AxesWithoutTogether);
        }
        return None;
    };
    let mut indices = Vec::new();
    for (number, name) in names.iter().enumerate() {
        let at = format!("/together/{number}");
        match view_of(name, views, &at, faults) {
            Some(index) if indices.contains(&index) => {
                let name = shortened(name);
                faults.push(&at, FaultKind::ViewListedTwice { name });
            }
            Some(index) => indices.push(index),
            None => {}
        }
    }
    check_landmarks(views, &indices, faults);
    let mut parts = parts(views, &indices, tolerance, faults);
    let axes = raw.model.iter().flat_map(|model| &model.axes);
    give_axes(axes, &mut parts, faults);
    let symmetry = symmetry.map(|raw| mirrored(raw, &parts, faults));
    let lengths = lengths(views, &indices, &parts);
    faults.is_empty().then_some(Together {
        views: indices,
        parts,
        lengths,
        symmetry,
    })
}

/// The parts that the symmetry of the model names, with where.
pub(super) fn mirrored_parts(raw: Option<&RawModelSymmetry>) -> Vec<MirroredPart> {
    let part = |name: &String, pointer: String| MirroredPart {
        pointer,
        name: name.clone(),
    };
    let Some(raw) = raw else { return Vec::new() };
    let pairs = raw.pairs.iter().enumerate().flat_map(|(k, pair)| {
        let sides = pair.iter().enumerate();
        sides.map(move |(side, name)| part(name, format!("/model/symmetry/pairs/{k}/{side}")))
    });
    let own = raw.parts.iter().enumerate();
    let own = own.map(|(k, name)| part(name, format!("/model/symmetry/parts/{k}")));
    pairs.chain(own).collect()
}

/// Names of parts to indices.
fn mirrored(raw: &RawModelSymmetry, parts: &[TogetherPart], faults: &mut Faults) -> ModelSymmetry {
    let mut seen: Vec<usize> = Vec::new();
    let mut index = |name: &str, at: String| {
        let Some(found) = parts.iter().position(|part| part.name == name) else {
            let all = parts.iter().map(|p| p.name.as_str());
            let (name, known) = (shortened(name), listed_with_nearest(name, all));
            faults.push(&at, FaultKind::UnknownPartOfSymmetry { name, known });
            return 0;
        };
        if seen.contains(&found) {
            let name = shortened(name);
            faults.push(&at, FaultKind::PartMirroredTwice { name });
        }
        seen.push(found);
        found
    };
    let mut pairs = Vec::new();
    for (k, pair) in raw.pairs.iter().enumerate() {
        let at = |side: usize| format!("/model/symmetry/pairs/{k}/{side}");
        pairs.push([index(&pair[0], at(0)), index(&pair[1], at(1))]);
    }
    let mut own = Vec::new();
    for (k, name) in raw.parts.iter().enumerate() {
        own.push(index(name, format!("/model/symmetry/parts/{k}")));
    }
    let symmetry = ModelSymmetry {
        axis: match raw.across {
            RawModelAxis::X => 0,
            RawModelAxis::Y => 1,
            RawModelAxis::Z => 2,
        },
        at_mm: raw.at_mm,
        pairs,
        own,
    };
    check_mirrored_axes(&symmetry, parts, faults);
    symmetry
}

/// The errors of both sides are held against each other axis by axis, so the axes have to mirror each other too.
fn check_mirrored_axes(symmetry: &ModelSymmetry, parts: &[TogetherPart], faults: &mut Faults) {
    let axis = ["x", "y", "z"][symmetry.axis];
    let mirror = |a: usize, b: usize| {
        let [a, b] = [a, b].map(|part| parts.get(part).and_then(|part| part.axes));
        let has_own = a.or(b).is_some();
        let [a, b] = [a, b].map(|axes| axes.unwrap_or(PartAxes::OF_MODEL));
        !has_own || a.mirror(&b, symmetry.axis)
    };
    let name = |part: usize| {
        parts
            .get(part)
            .map_or_else(String::new, |p| shortened(&p.name))
    };
    for (k, &[a, b]) in symmetry.pairs.iter().enumerate() {
        if !mirror(a, b) {
            let (first, second) = (name(a), name(b));
            let kind = FaultKind::AxesNotMirrored {
                first,
                second,
                axis,
            };
            faults.push(&format!("/model/symmetry/pairs/{k}"), kind);
        }
    }
    for (k, &part) in symmetry.own.iter().enumerate() {
        if !mirror(part, part) {
            let name = name(part);
            let kind = FaultKind::AxesNotAcross { name, axis };
            faults.push(&format!("/model/symmetry/parts/{k}"), kind);
        }
    }
}

/// Gives the parts the axes that are stated of them.
fn give_axes<'a>(
    stated: impl Iterator<Item = &'a RawPartAxes>,
    parts: &mut [TogetherPart],
    faults: &mut Faults,
) {
    let mut seen: Vec<&str> = Vec::new();
    for (k, raw) in stated.enumerate() {
        let at = |key: &str| format!("/model/axes/{k}/{key}");
        let name = || shortened(&raw.part);
        if seen.contains(&raw.part.as_str()) {
            let kind = FaultKind::AxesStatedTwice { name: name() };
            faults.push(&at("part"), kind);
        }
        seen.push(&raw.part);
        let axes = match PartAxes::checked(raw.width, raw.height) {
            Ok(axes) => Some(axes),
            Err(NoAxes::Width) => {
                let direction = raw.width;
                faults.push(&at("width"), FaultKind::NoDirection { direction });
                None
            }
            Err(NoAxes::Height) => {
                let direction = raw.height;
                faults.push(&at("height"), FaultKind::NoDirection { direction });
                None
            }
            Err(NoAxes::Angle(degrees)) => {
                faults.push(&at("height"), FaultKind::AxesNotSquare { degrees });
                None
            }
        };
        match parts.iter_mut().find(|part| part.name == raw.part) {
            Some(part) => part.axes = axes,
            None => {
                let all = parts.iter().map(|p| p.name.as_str());
                let known = listed_with_nearest(&raw.part, all);
                let kind = FaultKind::UnknownPartOfAxes {
                    name: name(),
                    known,
                };
                faults.push(&at("part"), kind);
            }
        }
    }
}

/// The known lengths of the references between two landmarks with places on the model, each once.
fn lengths(views: &[View], indices: &[usize], parts: &[TogetherPart]) -> Vec<TogetherLength> {
    let mut found: Vec<TogetherLength> = Vec::new();
    for (number, &index) in indices.iter().enumerate() {
        let view = &views[index];
        let end = |end: End| {
            let End::Landmark(k) = end else { return None };
            let landmark = &view.landmarks[k];
            let is_datum = landmark.usage == LandmarkUse::Datum;
            let lists = |part: &TogetherPart| {
                let list = if is_datum {
                    &part.datum
                } else {
                    &part.landmarks
                };
                list[number].contains(&k)
            };
            Some(TogetherEnd {
                name: landmark.name.clone(),
                place: landmark.model_mm?,
                part: parts.iter().position(lists),
                is_datum,
            })
        };
        let stated = view.known.iter();
        for known in stated.filter(|k| k.side == Side::Reference && k.along.is_none()) {
            let (Some(from), Some(to), Some(length)) =
                (end(known.from), end(known.to), known.length)
            else {
                continue;
            };
            let length = TogetherLength {
                ends: [from, to],
                length,
            };
            if !found.contains(&length) {
                found.push(length);
            }
        }
    }
    found
}

fn view_of(name: &str, views: &[View], at: &str, faults: &mut Faults) -> Option<usize> {
    let found = views.iter().position(|view| view.name == name);
    if found.is_none() {
        let all = || views.iter().map(|view| view.name.as_str());
        let near = nearest(name, all());
        let shown: Vec<&str> = if near.is_empty() {
            all().take(6).collect()
        } else {
            near
        };
        let known: Vec<String> = shown
            .iter()
            .map(|n| format!("\"{}\"", shortened(n)))
            .collect();
        faults.push(
            at,
            FaultKind::UnknownView {
                name: shortened(name),
                known: known.join(", "),
            },
        );
    }
    found
}

/// A landmark with a place on the model is the same point for the same use in all views.
fn check_landmarks(views: &[View], indices: &[usize], faults: &mut Faults) {
    let mut seen: HashMap<&str, (usize, &Landmark)> = HashMap::new();
    for &index in indices {
        let mut apart: Vec<Apart<'_>> = Vec::new();
        for (number, landmark) in views[index].landmarks.iter().enumerate() {
            let Some(place) = landmark.model_mm else {
                continue;
            };
            let Some(&(first, before)) = seen.get(landmark.name.as_str()) else {
                seen.insert(&landmark.name, (index, landmark));
                continue;
            };
            let other = before.model_mm.unwrap_or(place);
            let distance = distance(place, other);
            if distance.is_nan() || distance > SAME_PLACE {
                apart.push(Apart {
                    number,
                    name: &landmark.name,
                    places: [place, other],
                    view: first,
                });
            }
            if landmark.usage != before.usage {
                let name = shortened(&landmark.name);
                let view = shortened(&views[first].name);
                let at = format!("/views/{index}/landmarks/{number}/use");
                faults.push(&at, FaultKind::UseDiffers { name, view });
            }
        }
        for (first, view) in views.iter().enumerate() {
            let of_view: Vec<&Apart<'_>> = apart.iter().filter(|a| a.view == first).collect();
            tell_apart(&of_view, index, &view.name, faults);
        }
    }
}

/// A landmark that has another place on the model than in an earlier view.
struct Apart<'a> {
    number: usize,
    name: &'a str,
    /// Here, and in the earlier view.
    places: [[f64; 3]; 2],
    /// The earlier view.
    view: usize,
}

/// Landmarks of one view that are told one by one where they lie elsewhere than in another; more have one cause (a judgement).
const ONE_BY_ONE: usize = 3;
/// How near the ratios of distances come to one number, so that it is told, as parts of it: places are written to three digits.
const SAME_RATIO: f64 = 0.01;

fn tell_apart(apart: &[&Apart<'_>], index: usize, view: &str, faults: &mut Faults) {
    let at = format!("/views/{index}/landmarks");
    let view = shortened(view);
    if apart.len() > ONE_BY_ONE {
        let kind = FaultKind::PlacesDiffer {
            count: apart.len(),
            view,
            times: times(apart),
            names: listed(apart.iter().take(ONE_BY_ONE).map(|a| a.name)),
        };
        return faults.push(&at, kind);
    }
    for a in apart {
        let [place, other] = a.places;
        let kind = FaultKind::PlaceDiffers {
            name: shortened(a.name),
            place,
            view: view.clone(),
            other,
        };
        faults.push(&format!("{at}/{}/model_mm", a.number), kind);
    }
}

fn distance(a: [f64; 3], b: [f64; 3]) -> f64 {
    let squares = (0..3).map(|k| (a[k] - b[k]).powi(2));
    squares.sum::<f64>().sqrt()
}

/// Distances between the places here over those of the earlier view, where one number other than 1 says it.
fn times(apart: &[&Apart<'_>]) -> Option<f64> {
    let (first, others) = apart.split_first()?;
    let from_first = |a: &&Apart<'_>, k: usize| distance(a.places[k], first.places[k]);
    let ratios = others.iter().map(|a| from_first(a, 0) / from_first(a, 1));
    let mut ratios: Vec<f64> = ratios.filter(|r| r.is_finite() && *r > 0.0).collect();
    ratios.sort_by(f64::total_cmp);
    let [least, median, most] =
        [ratios.first(), ratios.get(ratios.len() / 2), ratios.last()].map(|r| r.copied());
    let is_near = |r: f64, to: f64| (r / to - 1.0).abs() <= SAME_RATIO;
    let median = median.filter(|m| !is_near(*m, 1.0))?;
    (is_near(least?, median) && is_near(most?, median)).then_some(median)
}

/// What a view calls a part: a region that it states; where it states none, what its landmarks name as their part.
struct Group<'a> {
    name: &'a str,
    tolerance: Tolerance,
    /// Landmarks, and the pointer to where each is said to lie on the part.
    landmarks: Vec<(usize, String)>,
}

fn groups<'a>(view: &'a View, index: usize, tolerance: Tolerance) -> Vec<Group<'a>> {
    if !view.regions.is_empty() {
        let region = |(k, region): (usize, &'a Region)| {
            let at = format!("/views/{index}/regions/{k}/landmarks");
            let marks = region.landmarks.iter();
            Group {
                name: &region.name,
                tolerance: region.tolerance,
                landmarks: marks.map(|&mark| (mark, at.clone())).collect(),
            }
        };
        return view.regions.iter().enumerate().map(region).collect();
    }
    let mut groups: Vec<Group<'a>> = Vec::new();
    for (k, landmark) in view.landmarks.iter().enumerate() {
        let Some(name) = landmark.part.as_deref() else {
            continue;
        };
        let own = groups.iter().position(|group| group.name == name);
        let own = own.unwrap_or_else(|| {
            groups.push(Group {
                name,
                tolerance,
                landmarks: Vec::new(),
            });
            groups.len() - 1
        });
        let at = format!("/views/{index}/landmarks/{k}/part");
        groups[own].landmarks.push((k, at));
    }
    groups
}

/// Groups of one name are one part.
fn parts(
    views: &[View],
    indices: &[usize],
    tolerance: Tolerance,
    faults: &mut Faults,
) -> Vec<TogetherPart> {
    let mut parts: Vec<TogetherPart> = Vec::new();
    let mut numbers: HashMap<&str, usize> = HashMap::new();
    let mut owners: HashMap<&str, usize> = HashMap::new();
    for (number, &index) in indices.iter().enumerate() {
        for group in groups(&views[index], index, tolerance) {
            let part = *numbers.entry(group.name).or_insert_with(|| {
                parts.push(TogetherPart {
                    name: group.name.to_owned(),
                    axes: None,
                    tolerance: group.tolerance,
                    landmarks: vec![Vec::new(); indices.len()],
                    datum: vec![Vec::new(); indices.len()],
                });
                parts.len() - 1
            });
            parts[part].tolerance = tightest(parts[part].tolerance, group.tolerance);
            for (mark, at) in group.landmarks {
                let landmark = &views[index].landmarks[mark];
                if landmark.model_mm.is_none() {
                    continue;
                }
                if landmark.usage == LandmarkUse::Datum {
                    parts[part].datum[number].push(mark);
                    continue;
                }
                let owner = *owners.entry(landmark.name.as_str()).or_insert(part);
                if owner != part {
                    let kind = FaultKind::LandmarkOfTwoParts {
                        name: shortened(&landmark.name),
                        first: shortened(&parts[owner].name),
                        second: shortened(group.name),
                    };
                    faults.push(&at, kind);
                }
                parts[part].landmarks[number].push(mark);
            }
        }
    }
    let is_marked = |lists: &[Vec<usize>]| lists.iter().any(|marks| !marks.is_empty());
    parts.retain(|part| is_marked(&part.landmarks) || is_marked(&part.datum));
    parts
}

fn tightest(a: Tolerance, b: Tolerance) -> Tolerance {
    Tolerance {
        proportion_percent: a.proportion_percent.min(b.proportion_percent),
        offset: ModelMm(a.offset.0.min(b.offset.0)),
        angle_deg: a.angle_deg.min(b.angle_deg),
        edge_overlap: a.edge_overlap.max(b.edge_overlap),
    }
}

/// Gives the references that were taken with the camera of another view what is stated of that one.
pub(super) fn same_cameras(raw: &RawJob, views: &mut [View], faults: &mut Faults) {
    for (index, raw_view) in raw.views.iter().enumerate() {
        let Some(name) = &raw_view.reference.interior.same_as else {
            continue;
        };
        let at = format!("/views/{index}/reference/interior/same_as");
        let Some(other) = view_of(name, views, &at, faults) else {
            continue;
        };
        let master = &raw.views[other].reference;
        let name = shortened(name);
        if other == index || master.interior.same_as.is_some() {
            faults.push(&at, FaultKind::SameAsChain { name });
        } else if states_more(&raw_view.reference) {
            faults.push(&at, FaultKind::SameAsAndMore { name });
        } else if is_of_screen(&raw_view.reference) || is_of_screen(master) {
            faults.push(&at, FaultKind::SameAsOfScreen { name });
        } else {
            let mut interior = views[other].reference.interior;
            interior.same_as = Some(other);
            views[index].reference.interior = interior;
        }
    }
}

/// Whether anything but the other view is stated of the camera.
fn states_more(reference: &RawReference) -> bool {
    let mut rest = reference.interior.clone();
    rest.same_as = None;
    rest.screen_corners = None;
    rest != Default::default()
}

fn is_of_screen(reference: &RawReference) -> bool {
    use crate::job::raw::RawScreenCorners;
    let has_corners = reference
        .rectify
        .as_ref()
        .is_some_and(|r| r.corners.is_some());
    match reference.interior.screen_corners {
        Some(corners) => corners != RawScreenCorners::None,
        None => has_corners,
    }
}
