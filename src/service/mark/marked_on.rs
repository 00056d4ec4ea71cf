//! Notes in the job which content of its images the marks were set on.
//!
//! An image gets its note with the first change of its view that the page saves. A note that is there stays, whatever is marked:
//! who moves one mark says nothing of the others. It is made anew where no mark is left from before, and where the user says that
//! the marks fit the image as it is now.
use crate::job::{MarkedOn, Side, is_placeholder};
use serde_json::{Map, Value, json};
use std::path::Path;

/// The key of an image.
const KEY: &str = "marked_on";

/// As the job has it.
pub(super) fn as_json(content: &MarkedOn) -> Value {
    json!({ "size": content.size, "blake3": content.blake3 })
}

/// Adds the notes that are missing to the views that differ between two states of a job; image paths are relative to `folder`.
pub(super) fn note(
    before: &Value,
    after: &mut Value,
    folder: &Path,
    content_of: &dyn Fn(&Path) -> Option<MarkedOn>,
) {
    let earlier = before["views"].as_array().map_or(&[][..], Vec::as_slice);
    let views = after.get_mut("views").and_then(Value::as_array_mut);
    for view in views.into_iter().flatten() {
        let old = earlier.iter().find(|old| old["name"] == view["name"]);
        if old == Some(view) || marks(view).next().is_none() {
            continue;
        }
        let is_first = old.is_none_or(|old| marks(old).next().is_none());
        for side in Side::BOTH {
            let Some(image) = view.get_mut(side.name()).and_then(Value::as_object_mut) else {
                continue;
            };
            if image.contains_key(KEY) && !is_first {
                continue;
            }
            let content = named(image).and_then(|file| content_of(&folder.join(file)));
            if let Some(content) = content {
                image.insert(KEY.to_owned(), as_json(&content));
            }
        }
    }
}

/// The file that a render or a reference of a job names; of several shots the first, on which marks are set.
pub(super) fn named(image: &Map<String, Value>) -> Option<&str> {
    let first = || image.get("images")?.get(0);
    image.get("image").or_else(first)?.as_str()
}

/// The checksums of all images of a job that were marked.
pub(super) fn checksums(job: &Value) -> impl Iterator<Item = &str> {
    let views = job["views"].as_array().into_iter().flatten();
    let of_view = |view| Side::BOTH.map(|side| &(view as &Value)[side.name()][KEY]["blake3"]);
    views.flat_map(of_view).filter_map(Value::as_str)
}

/// The landmarks of a view that somebody has set.
fn marks(view: &Value) -> impl Iterator<Item = &Value> {
    let all = view["landmarks"].as_array().into_iter().flatten();
    all.filter(|mark| !mark["name"].as_str().is_some_and(is_placeholder))
}

#[cfg(test)]
mod tests {
    use super::*;

    fn content(digit: char) -> MarkedOn {
        MarkedOn {
            size: [4, 3],
            blake3: digit.to_string().repeat(64),
        }
    }

    fn view(marks: &[&str], noted: Option<char>) -> Value {
        let marks: Vec<Value> = marks.iter().map(|name| json!({ "name": name })).collect();
        let mut view = json!({ "name": "a", "render": { "image": "r.png" }, "reference": { "image": "p.png" }, "landmarks": marks });
        if let Some(digit) = noted {
            view["render"][KEY] = as_json(&content(digit));
        }
        view
    }

    /// The notes of render and reference after a change, where both files have the content `b`.
    fn noted(before: &Value, after: &Value) -> [Option<String>; 2] {
        let (before, mut after) = (json!({ "views": [before] }), json!({ "views": [after] }));
        note(&before, &mut after, Path::new("/f"), &|path| {
            path.starts_with("/f").then(|| content('b'))
        });
        ["render", "reference"].map(|side| {
            let note = after["views"][0][side][KEY]["blake3"].as_str();
            note.map(|text| text[..1].to_owned())
        })
    }

    #[test]
    fn a_note_is_made_with_the_first_change_and_stays_with_the_next() {
        let [b, a] = ["b", "a"].map(|text| Some(text.to_owned()));
        let first = noted(&view(&[], None), &view(&["m"], None));
        assert_eq!(first, [b.clone(), b.clone()]);
        // Of an old job, whose marks nobody noted.
        assert_eq!(noted(&view(&["m"], None), &view(&["m", "n"], None))[0], b);
        // The render was another one when "m" was set.
        let kept = noted(&view(&["m"], Some('a')), &view(&["m", "n"], Some('a')));
        assert_eq!(kept, [a.clone(), b.clone()]);
        // Nothing changed in this view.
        let same = noted(&view(&["m"], Some('a')), &view(&["m"], Some('a')));
        assert_eq!(same, [a, None]);
    }

    #[test]
    fn placeholders_are_no_marks_and_the_first_real_one_makes_the_note_anew() {
        let placeholders = ["PLACEHOLDER top left"];
        let begun = view(&placeholders, Some('a'));
        let with_mark = view(&["PLACEHOLDER top left", "m"], Some('a'));
        assert_eq!(noted(&begun, &with_mark)[0], Some("b".to_owned()));
        let without = view(&[], Some('a'));
        assert_eq!(noted(&begun, &without)[0], Some("a".to_owned()));
    }

    #[test]
    fn of_several_shots_the_first_is_noted() {
        let mut marked = view(&["m"], None);
        marked["reference"] = json!({ "images": ["p.png", "q.png"] });
        let mut after = json!({ "views": [marked] });
        let content_of = |path: &Path| path.ends_with("p.png").then(|| content('c'));
        note(
            &json!({ "views": [] }),
            &mut after,
            Path::new("/f"),
            &content_of,
        );
        let note = &after["views"][0]["reference"][KEY];
        assert_eq!(*note, as_json(&content('c')));
    }
}
