//! The step that carries all that lies on an image over to the image as it is now: the job's marks, and what is begun on the page.
use super::{
    document::{Document, Refusal},
    edits::Edit,
    fit::point,
};
use crate::{
    carry::{CarriedJob, Change},
    job::Side,
    pipeline,
};
use serde_json::{Value, json};

/// Label and edits of the step, for one image of the view of this name.
pub(super) fn step(
    document: &Document,
    view: &str,
    side: Side,
) -> Result<(String, [Edit; 2]), Refusal> {
    let mut draft = document.draft()[view].clone();
    let mut lost = Vec::new();
    let mut also = |change: &Change| lost = carry_draft(&mut draft, side, change);
    let (at, value, carried) =
        pipeline::carry_view(document.job(), document.file(), view, side, &mut also)?;
    let marked = document.job()["views"][at][side.name()]["marked_on"].clone();
    let label = label(&carried, &lost);
    let edits = [
        Edit::Set {
            at: format!("/job/views/{at}"),
            value,
        },
        to_look_at(draft, view, (side, marked), &carried),
    ];
    Ok((label, edits))
}

/// What the page shows until the user has looked at each mark: where it lay on which picture.
fn to_look_at(
    draft: Value,
    view: &str,
    (side, marked): (Side, Value),
    carried: &CarriedJob,
) -> Edit {
    let found = carried.marks.iter().filter(|mark| mark.to.is_ok());
    let marks: Vec<Value> = found
        .map(|mark| json!({ "name": mark.name, "from": mark.from }))
        .collect();
    let mut own = match draft {
        Value::Object(own) => own,
        _ => serde_json::Map::new(),
    };
    let carried = json!({ "side": side.name(), "marked_on": marked, "marks": marks });
    own.insert("carried".to_owned(), carried);
    Edit::Set {
        at: format!("/draft/{}", view.replace('~', "~0").replace('/', "~1")),
        value: Value::Object(own),
    }
}

/// "Carry the marks over: 48 of 50 found, left out: sill front, vessel tip".
fn label(carried: &CarriedJob, of_draft: &[String]) -> String {
    let lost = carried.marks.iter().filter(|mark| mark.to.is_err());
    let lost = lost.map(|mark| mark.name.as_str());
    let lost: Vec<&str> = lost.chain(of_draft.iter().map(String::as_str)).collect();
    let left_out = match lost.is_empty() {
        true => String::new(),
        false => format!(", left out: {}", lost.join(", ")),
    };
    let (found, of) = (carried.found(), carried.marks.len());
    let placed = carried.placed_in_words();
    format!("Carry the marks over: {found} of {of} found{placed}{left_out}")
}

/// Carries what is begun on an image and no part of the job yet. A mark without a partner that is not found again is left out, and
/// its name returned; corners and ends of lines go with the whole picture then.
fn carry_draft(draft: &mut Value, side: Side, change: &Change) -> Vec<String> {
    let mut lost = Vec::new();
    if let Some(singles) = draft["landmarks"].as_array_mut() {
        singles.retain_mut(|single| {
            let Some(from) = point(&single[side.name()]) else {
                return true;
            };
            match change.carry(from, single["on"] == "outline") {
                Ok(carried) => {
                    single[side.name()] = json!(carried.place.map(rounded));
                    true
                }
                Err(_) => {
                    lost.extend(single["name"].as_str().map(str::to_owned));
                    false
                }
            }
        });
    }
    let lists: &[&str] = match side {
        Side::Render => &["/outline", "/skipped"],
        Side::Reference => &["/corners"],
    };
    let begun = ["length", "line"].map(|key| (draft[key]["side"] == side.name(), key));
    let begun = begun.iter().filter(|(is_here, _)| *is_here);
    let begun: Vec<String> = begun.map(|(_, key)| format!("/{key}/points")).collect();
    for at in lists
        .iter()
        .copied()
        .chain(begun.iter().map(String::as_str))
    {
        let points = draft.pointer_mut(at).and_then(Value::as_array_mut);
        for place in points.into_iter().flatten() {
            let Some(from) = point(place) else { continue };
            let found = change.carry(from, false).ok().map(|found| found.place);
            if let Some(to) = found.or_else(|| change.with_the_whole(from)) {
                *place = json!(to.map(rounded));
            }
        }
    }
    lost
}

/// As the page writes places.
fn rounded(value: f64) -> f64 {
    (value * 100.0).round() / 100.0
}

#[cfg(test)]
mod tests {
    use super::*;
    use image::{Rgb, RgbImage};

    /// Boxes of many greys, moved by some pixels.
    fn picture(by: [i32; 2]) -> RgbImage {
        RgbImage::from_fn(400, 300, |x, y| {
            let (u, v) = (x as i32 - by[0], y as i32 - by[1]);
            let cell = [u.div_euclid(31), v.div_euclid(23)].map(f64::from);
            let mixed = (cell[0] * 12.989 + cell[1] * 78.233).sin() * 43_758.545;
            Rgb([(40.0 + 180.0 * (mixed - mixed.floor())) as u8; 3])
        })
    }

    #[test]
    fn what_is_begun_goes_with_the_image_on_which_it_lies() {
        let change = Change::between(&picture([0, 0]), &picture([6, -4]));
        let draft = json!({
            "landmarks": [{"name": "a", "render": [155.0, 115.0]}, {"name": "b", "reference": [50.0, 60.0]},
                          {"name": "c", "render": [1.0, 1.0]}],
            "outline": [[124.0, 92.0], [186.0, 161.0]],
            "corners": [[10.0, 10.0]],
            "length": {"side": "render", "points": [[217.0, 138.0]]},
            "line": {"side": "reference", "points": [[30.0, 31.0]]},
        });
        let mut carried = draft.clone();
        assert_eq!(carry_draft(&mut carried, Side::Render, &change), ["c"]);
        let is_moved = |at: &str| {
            let [from, to] = [&draft, &carried].map(|d| point(d.pointer(at).expect(at)));
            let (from, to) = (from.expect("a point"), to.expect("a point"));
            let off = (to[0] - from[0] - 6.0).hypot(to[1] - from[1] + 4.0);
            assert!(off < 0.1, "{at}: {from:?} {to:?}");
        };
        for at in [
            "/landmarks/0/render",
            "/outline/0",
            "/outline/1",
            "/length/points/0",
        ] {
            is_moved(at);
        }
        assert_eq!(carried["landmarks"][1], draft["landmarks"][1]);
        for key in ["corners", "line"] {
            assert_eq!(carried[key], draft[key]);
        }
        let mut other = draft.clone();
        assert!(carry_draft(&mut other, Side::Reference, &change).is_empty());
        assert_eq!(other["outline"], draft["outline"]);
        assert_ne!(other["corners"], draft["corners"]);
    }
}
