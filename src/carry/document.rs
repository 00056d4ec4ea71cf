//! The job document with all that lies on an image carried to its next version.
//!
//! The document is changed place by place, so that what has nothing to do with the image stays as it was written. It has been
//! read as a job before: what is looked for is there.
use super::{Carried, CarriedBy, CarriedMark, Change, InSpace, Lost, by_camera, settings::CARRY};
use crate::frame::fit;
use nalgebra::{Matrix3, Vector2};
use serde_json::{Map, Value, json};
use std::collections::BTreeSet;

/// What became of a job's view.
#[derive(Clone, Debug)]
pub struct CarriedJob {
    /// One for each landmark, in its order.
    pub marks: Vec<CarriedMark>,
    /// In plain words, what could not be taken over or should be looked at.
    pub notes: Vec<String>,
}

impl CarriedJob {
    /// How many marks were found again.
    pub fn found(&self) -> usize {
        let found = |mark: &&CarriedMark| mark.to.is_ok_and(|to| to.likeness().is_some());
        self.marks.iter().filter(found).count()
    }

    /// How many were not, and are placed by the camera.
    pub fn placed(&self) -> usize {
        let kept = self.marks.iter().filter(|mark| mark.to.is_ok()).count();
        kept - self.found()
    }

    /// ", 2 placed by the camera", or nothing.
    pub fn placed_in_words(&self) -> String {
        match self.placed() {
            0 => String::new(),
            count => format!(", {count} placed by the camera"),
        }
    }
}

/// A mark that is not as its landmark says is a fault of the program: it is told as one of the document.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
#[error("the view has no {0}: check the job with \"tickstrip check\"")]
pub struct Refused(&'static str);

/// Carries what lies on one image of a view: `image` is "render" or "reference", `file` how the job is to name the new one,
/// `marked_on` its content, `on_outline` tells of each landmark whether it lies on a smooth outline, `space` of places on the model,
/// by which cameras place what was lost.
///
/// # Errors
/// Where the document is not the job that was read.
pub fn carry_job(
    view: &mut Value,
    (image, file, marked_on): (&'static str, &str, Value),
    change: &Change,
    on_outline: &[bool],
    space: Option<&InSpace>,
) -> Result<CarriedJob, Refused> {
    let view = view.as_object_mut().ok_or(Refused("keys"))?;
    let mut notes = Vec::new();
    if !change.is_told {
        notes.push(format!(
            "too little of the old {image} was found in the new one to tell what changed in the whole: look at every mark"
        ));
    }
    let mut found = find_landmarks(view, image, change, on_outline)?;
    if image == "render" {
        find_by_parts(view, change, on_outline, &mut found);
    }
    if let Some(space) = space {
        let base = believed_sigma(view, image);
        notes.extend(by_camera::look_again(
            change, space, on_outline, base, &mut found,
        ));
        for mark in &mut found {
            mark.by_itself_px = by_itself(change, mark.from, &mark.to);
        }
    }
    let marks = carry_landmarks(view, image, on_outline, found)?;
    let lost: BTreeSet<&str> = marks
        .iter()
        .filter(|m| m.to.is_err())
        .map(|m| m.name.as_str())
        .collect();
    drop_what_names(view, &lost, &mut notes);
    carry_known(view, image, change, &mut notes);
    let of_image = view
        .get_mut(image)
        .and_then(Value::as_object_mut)
        .ok_or(Refused("image"))?;
    // The first of several shots that was written over stays one of them; another picture takes the place of all.
    let is_first_shot = of_image
        .get("images")
        .is_some_and(|shots| shots[0] == *file);
    if !is_first_shot {
        of_image.remove("images");
        of_image.insert("image".to_owned(), json!(file));
    }
    of_image.insert("marked_on".to_owned(), marked_on);
    if image == "render" {
        carry_camera(of_image, change, &mut notes);
        carry_regions(view, change, &marks);
    } else {
        carry_rectify(of_image, change, &mut notes);
    }
    drop_further(view, image, &mut notes);
    Ok(CarriedJob { marks, notes })
}

/// Looks for the marks of all landmarks.
fn find_landmarks(
    view: &Map<String, Value>,
    image: &'static str,
    change: &Change,
    on_outline: &[bool],
) -> Result<Vec<CarriedMark>, Refused> {
    let list = view.get("landmarks").and_then(Value::as_array);
    let list = list.ok_or(Refused("landmarks"))?.iter().enumerate();
    list.map(|(i, landmark)| {
        let name = landmark["name"].as_str();
        let from = point(&landmark[image]).ok_or(Refused("mark of a landmark"))?;
        let to = change.carry(from, is_on(on_outline, i));
        Ok(CarriedMark {
            name: name.ok_or(Refused("name of a landmark"))?.to_owned(),
            from,
            to,
            by_itself_px: by_itself(change, from, &to),
        })
    })
    .collect()
}

fn is_on(on_outline: &[bool], i: usize) -> bool {
    on_outline.get(i).is_some_and(|on| *on)
}

fn by_itself(change: &Change, from: [f64; 2], to: &Result<Carried, Lost>) -> Option<f64> {
    let [x, y] = change.with_the_whole(from)?;
    let place = to.as_ref().ok()?.place;
    Some((place[0] - x).hypot(place[1] - y))
}

/// Looks once more where a part's marks tell how it was changed: for marks that were lost, and for those whose surroundings turned or
/// grew with the part. Those stay that are more alike.
fn find_by_parts(
    view: &mut Map<String, Value>,
    change: &Change,
    on_outline: &[bool],
    found: &mut [CarriedMark],
) {
    /// Pixels below which a part went with the whole.
    const CHANGED: f64 = 1.0;
    for region in entries(view, "regions") {
        let names = names_in(region);
        let moved = moves_of(change, found, &names);
        let off = |(a, b): &([f64; 2], [f64; 2])| (a[0] - b[0]).hypot(a[1] - b[1]);
        if moved.len() < 2 || moved.iter().map(off).fold(0.0, f64::max) < CHANGED {
            continue;
        }
        let map = part_map(&moved);
        for (i, mark) in found.iter_mut().enumerate() {
            if !names.contains(&mark.name) {
                continue;
            }
            let likeness = |to: Carried| to.likeness().unwrap_or(0.0);
            let before = mark.to.map_or(0.0, likeness);
            match change.carry_with_part(mark.from, &map, is_on(on_outline, i)) {
                Ok(again) if likeness(again) > before => mark.to = Ok(again),
                _ => continue,
            }
            mark.by_itself_px = by_itself(change, mark.from, &mark.to);
        }
    }
}

/// Names of the landmarks on a part.
fn names_in(region: &Value) -> BTreeSet<String> {
    let list = region["landmarks"].as_array().into_iter().flatten();
    list.filter_map(|name| name.as_str().map(str::to_owned))
        .collect()
}

/// Where the marks with these names went with the whole, and where they were found.
fn moves_of(
    change: &Change,
    marks: &[CarriedMark],
    names: &BTreeSet<String>,
) -> Vec<([f64; 2], [f64; 2])> {
    let on_part = marks.iter().filter(|m| names.contains(&m.name));
    on_part
        .filter_map(|m| Some((change.with_the_whole(m.from)?, m.to.ok()?.place)))
        .collect()
}

/// Moves the marks of all landmarks and leaves those out that are lost.
fn carry_landmarks(
    view: &mut Map<String, Value>,
    image: &'static str,
    on_outline: &[bool],
    found: Vec<CarriedMark>,
) -> Result<Vec<CarriedMark>, Refused> {
    let base = believed_sigma(view, image);
    let list = view.get_mut("landmarks").and_then(Value::as_array_mut);
    let list = list.ok_or(Refused("landmarks"))?;
    let all = std::mem::take(list).into_iter().zip(&found).enumerate();
    for (i, (mut landmark, mark)) in all {
        let Ok(carried) = &mark.to else { continue };
        landmark[image] = json!(rounded(carried.place));
        let deviation = if is_on(on_outline, i) {
            carried.least_deviation
        } else {
            carried.deviation
        };
        if carried.by == CarriedBy::Camera || deviation >= CARRY.told_from.get() {
            state_sigma(&mut landmark, image, deviation, base);
        }
        list.push(landmark);
    }
    Ok(found)
}

/// What the job says of the marks of an image, or what is believed of them where it says nothing.
fn believed_sigma(view: &Map<String, Value>, image: &str) -> f64 {
    let stated = view.get(image).and_then(|i| i["mark_sigma_px"].as_f64());
    let believed = if image == "render" { 0.75 } else { 1.5 };
    stated.unwrap_or(believed)
}

/// A mark that is carried unsurely says so: what it had, and what carrying added.
fn state_sigma(landmark: &mut Value, image: &str, deviation: f64, base: f64) {
    let own = &landmark["sigma_px"];
    let each = |side: &str| own.as_f64().or_else(|| own[side].as_f64());
    let mut sigma = Map::new();
    for side in ["render", "reference"] {
        let had = each(side);
        let has = if side == image {
            let all = had.unwrap_or(base).hypot(deviation);
            Some((all * 1000.0).round() / 1000.0)
        } else {
            had
        };
        sigma.extend(has.map(|v| (side.to_owned(), json!(v))));
    }
    landmark["sigma_px"] = Value::Object(sigma);
}

/// Takes out what names a landmark that is no more, and says so.
fn drop_what_names(view: &mut Map<String, Value>, lost: &BTreeSet<&str>, notes: &mut Vec<String>) {
    let names = |value: &Value| value.as_str().is_some_and(|name| lost.contains(name));
    let is_hit = |entry: &Value| {
        let against = entry["against"].as_array();
        names(&entry["from"]) || names(&entry["to"]) || against.is_some_and(|a| a.iter().any(names))
    };
    for (key, what) in [
        ("spans", "span"),
        ("angles", "angle"),
        ("known", "known length"),
        ("measured", "calliper reading"),
    ] {
        let Some(list) = view.get_mut(key).and_then(Value::as_array_mut) else {
            continue;
        };
        list.retain(|entry| {
            let hit = is_hit(entry);
            if hit {
                let name = entry["name"]
                    .as_str()
                    .or_else(|| entry["full_size"].as_str())
                    .or_else(|| entry["model"].as_str());
                let name = name.map_or_else(String::new, |n| format!(" \"{n}\""));
                notes.push(format!(
                    "the {what}{name} was left out with a landmark that it needs"
                ));
            }
            !hit
        });
    }
    if let Some(symmetry) = view.get_mut("symmetry") {
        for key in ["pairs", "axis"] {
            if let Some(list) = symmetry[key].as_array_mut() {
                list.retain(|e| !names(e) && !e.as_array().is_some_and(|p| p.iter().any(names)));
            }
        }
        if symmetry["pairs"].as_array().is_none_or(Vec::is_empty) {
            view.shift_remove("symmetry");
            notes.push("no symmetric pair is left".to_owned());
        }
    }
    if view.get("origin").is_some_and(names) {
        view.shift_remove("origin");
        notes.push(
            "places are no longer counted from the landmark that \"origin\" named".to_owned(),
        );
    }
    for region in entries(view, "regions") {
        if let Some(list) = region["landmarks"].as_array_mut() {
            list.retain(|name| !names(name));
        }
    }
}

/// The ends of known lengths that are points of this image; one that loses an end is left out.
fn carry_known(
    view: &mut Map<String, Value>,
    image: &str,
    change: &Change,
    notes: &mut Vec<String>,
) {
    let Some(list) = view.get_mut("known").and_then(Value::as_array_mut) else {
        return;
    };
    list.retain_mut(|known| {
        if known["in"] != image {
            return true;
        }
        for end in ["from", "to"] {
            let Some(from) = point(&known[end]) else {
                continue;
            };
            match change.carry(from, false) {
                Ok(carried) => known[end] = json!(rounded(carried.place)),
                Err(lost) => {
                    let [x, y] = from.map(f64::round);
                    notes.push(format!(
                        "the known length that ends at ({x}, {y}) was left out: {lost}; mark it again"
                    ));
                    return false;
                }
            }
        }
        true
    });
}

/// The outline of each part goes with the marks on it: by the similarity that they tell, by their common move, or with the whole.
fn carry_regions(view: &mut Map<String, Value>, change: &Change, marks: &[CarriedMark]) {
    for region in entries(view, "regions") {
        let moved = moves_of(change, marks, &names_in(region));
        let map = part_map(&moved);
        let carried = |place: [f64; 2]| {
            let [x, y] = change.with_the_whole(place).unwrap_or(place);
            let p = map * nalgebra::Vector3::new(x, y, 1.0);
            rounded([p.x / p.z, p.y / p.z])
        };
        if let Some(outline) = region["outline"].as_array_mut() {
            for corner in outline {
                if let Some(place) = point(corner) {
                    *corner = json!(carried(place));
                }
            }
        }
        if let Some(anchor) = region.get("anchor").and_then(point) {
            region["anchor"] = json!(carried(anchor));
        }
    }
}

/// What a part's marks did beside the whole. Two marks or more tell a turn and a size where they lie apart.
fn part_map(moved: &[([f64; 2], [f64; 2])]) -> Matrix3<f64> {
    /// Pixels between marks below which their noise would turn an outline.
    const APART: f64 = 40.0;
    let (from, to): (Vec<[f64; 2]>, Vec<[f64; 2]>) = moved.iter().copied().unzip();
    let extent = from
        .iter()
        .flat_map(|a| from.iter().map(move |b| (a[0] - b[0]).hypot(a[1] - b[1])));
    if extent.fold(0.0, f64::max) > APART
        && let Some(map) = fit::similarity(&from, &to)
    {
        return map;
    }
    let n = moved.len().max(1) as f64;
    let shift: Vector2<f64> = moved
        .iter()
        .map(|(a, b)| Vector2::from(*b) - Vector2::from(*a))
        .sum::<Vector2<f64>>()
        / n;
    Matrix3::new_translation(&shift)
}

/// A camera goes with its picture: exact where that was cropped, moved or scaled.
fn carry_camera(render: &mut Map<String, Value>, change: &Change, notes: &mut Vec<String>) {
    let Some(rows) = render.get("camera").and_then(|c| c["matrix"].as_array()) else {
        return;
    };
    let number = |r: usize, c: usize| rows.get(r).and_then(|row| row[c].as_f64());
    let change = change.matrix();
    let element = |r: usize, c: usize| -> Option<f64> {
        (0..3).map(|k| Some(change[r][k] * number(k, c)?)).sum()
    };
    let carried: Option<Vec<Vec<f64>>> = (0..3)
        .map(|r| (0..4).map(|c| element(r, c)).collect())
        .collect();
    if let Some(carried) = carried {
        render["camera"]["matrix"] = json!(carried);
        notes.push(
            "the render's camera was carried with its picture: state it anew if the camera itself was moved".to_owned(),
        );
    }
}

/// Corners, points and lines by which a reference is rectified go with the whole picture: they may lie at its border.
fn carry_rectify(reference: &mut Map<String, Value>, change: &Change, notes: &mut Vec<String>) {
    let mut lists: Vec<&mut Value> = Vec::new();
    let mut has_any = false;
    for (key, value) in reference.iter_mut() {
        if key == "outline" || key == "rectify" {
            lists.push(value);
        }
    }
    for list in lists {
        has_any |= carry_points(list, change);
    }
    if has_any {
        notes.push(
            "what the reference is rectified or outlined by went with the whole picture: look at it again".to_owned(),
        );
    }
}

/// Moves each pair of numbers in a value; says whether there was one. Lengths of plane figures are texts or stand under "at".
fn carry_points(value: &mut Value, change: &Change) -> bool {
    if let Some(place) = point(value) {
        if let Some(carried) = change.with_the_whole(place) {
            *value = json!(rounded(carried));
        }
        return true;
    }
    let carry = |value: &mut Value| carry_points(value, change);
    match value {
        Value::Array(list) => list.iter_mut().map(carry).fold(false, |a, b| a | b),
        Value::Object(object) => object
            .iter_mut()
            .filter(|(key, _)| *key != "at")
            .map(|(_, value)| carry_points(value, change))
            .fold(false, |a, b| a | b),
        _ => false,
    }
}

/// A silhouette in a file of its own and a further picture of the view belong to the old image.
fn drop_further(view: &mut Map<String, Value>, image: &str, notes: &mut Vec<String>) {
    let Some(of_image) = view.get_mut(image).and_then(Value::as_object_mut) else {
        return;
    };
    let is_file = of_image
        .get("mask")
        .and_then(Value::as_str)
        .is_some_and(|mask| mask != "alpha");
    if is_file {
        of_image.shift_remove("mask");
        notes.push(format!(
            "the mask of the {image} belongs to the old picture and was left out"
        ));
    }
    if image == "render" && of_image.shift_remove("shape").is_some() {
        notes.push(
            "the picture of the render's \"shape\" shows the old version and was left out; name that of the new one".to_owned(),
        );
    }
}

fn entries<'v>(view: &'v mut Map<String, Value>, key: &str) -> impl Iterator<Item = &'v mut Value> {
    view.get_mut(key)
        .and_then(Value::as_array_mut)
        .into_iter()
        .flatten()
}

/// Two numbers.
fn point(value: &Value) -> Option<[f64; 2]> {
    let [x, y] = value.as_array()?.as_slice() else {
        return None;
    };
    Some([x.as_f64()?, y.as_f64()?])
}

/// To a hundredth of a pixel.
fn rounded(place: [f64; 2]) -> [f64; 2] {
    place.map(|v| (v * 100.0).round() / 100.0)
}
