//! `GET /api/proposals/{view}` as the page asks for it.
use super::truth::DEMO;
use crate::support::marking::Marking;
use serde_json::{Value, json};
use std::{collections::BTreeSet, fs, path::Path};
use tempfile::TempDir;

/// The demo's side view with so many of its datum marks and no other.
fn started(datum: usize) -> (TempDir, Marking) {
    let folder = tempfile::tempdir().expect("a folder");
    for name in ["side-render.png", "side-screen.jpg"] {
        fs::copy(Path::new(DEMO).join(name), folder.path().join(name)).expect("copied");
    }
    let text = fs::read(Path::new(DEMO).join("pump.json")).expect("there");
    let mut job: Value = serde_json::from_slice(&text).expect("JSON");
    let mut view = job["views"][0].clone();
    let marks = view["landmarks"].as_array_mut().expect("a list");
    marks.retain(|mark| mark["use"] == "datum");
    marks.truncate(datum);
    for key in ["known", "spans", "angles", "symmetry", "measured"] {
        view.as_object_mut().expect("an object").remove(key);
    }
    for region in view["regions"].as_array_mut().expect("a list") {
        region["landmarks"] = json!([]);
    }
    job["views"] = json!([view]);
    for key in ["model", "together"] {
        job.as_object_mut().expect("an object").remove(key);
    }
    let file = folder.path().join("job.json");
    fs::write(&file, job.to_string()).expect("written");
    let mark = Marking::start(&file);
    (folder, mark)
}

fn read_images(mark: &Marking) {
    for side in ["render", "reference"] {
        mark.get(&format!("/api/picture/0/{side}"));
    }
}

fn list(answer: &Value) -> &Vec<Value> {
    answer["proposals"].as_array().expect("a list")
}

fn point(value: &Value) -> [f64; 2] {
    [0, 1].map(|k| value[k].as_f64().expect("a number"))
}

fn distance(a: &Value, b: &Value) -> f64 {
    let (a, b) = (point(a), point(b));
    (a[0] - b[0]).hypot(a[1] - b[1])
}

#[test]
fn nothing_is_proposed_before_the_images_are_read_and_no_view_beyond_the_last_has_any() {
    let (_folder, mark) = started(3);
    let answer = mark.get("/api/proposals/0");
    assert_eq!(answer["text"], "the images are being read");
    assert_eq!(answer["proposals"], json!([]));
    read_images(&mark);
    let answer = mark.get("/api/proposals/0");
    assert_eq!(answer.get("text"), None);
    assert!(list(&answer).len() > 20, "{answer}");
    let (status, _) = mark.refused("/api/proposals/1");
    assert_eq!(status, 404);
}

#[test]
fn proposals_have_all_that_a_landmark_needs() {
    let (_folder, mark) = started(3);
    read_images(&mark);
    let state = mark.get("/api/state");
    let answer = mark.get("/api/proposals/0");
    assert_eq!(answer["revision"], state["revision"]);
    let all = list(&answer);
    assert!(all.len() <= 60);
    let marked = state["job"]["views"][0]["landmarks"].as_array();
    let marked = marked.expect("a list");
    let names: BTreeSet<&str> = (all.iter().chain(marked))
        .map(|p| p["name"].as_str().expect("a name"))
        .collect();
    assert_eq!(names.len(), all.len() + marked.len(), "a name twice");
    for (k, proposal) in all.iter().enumerate() {
        let others = all[..k].iter().chain(marked);
        for other in others {
            let apart = distance(&proposal["render"], &other["render"]);
            assert!(apart > 4.0, "{proposal} {other}");
        }
        let part = proposal["part"].as_str();
        let is_datum = proposal["use"] == "datum";
        assert!(
            is_datum || (proposal["use"] == "check" && part.is_some()),
            "{proposal}"
        );
        if let Some(part) = part {
            assert!(proposal["name"].as_str().expect("text").starts_with(part));
        }
        let on = proposal["on"].as_str().expect("text");
        assert!(["corner", "outline", "centre"].contains(&on), "{proposal}");
        let gain = proposal["gain"].as_f64().expect("a number");
        assert!(gain > 0.0 && gain <= 1.0, "{proposal}");
        let [x, y] = point(&proposal["reference"]["place"]);
        assert!(
            (0.0..1900.0).contains(&x) && (0.0..1210.0).contains(&y),
            "{proposal}"
        );
        let [long, short] = point(&proposal["reference"]["half_axes"]);
        assert!(long >= short && short > 0.5, "{proposal}");
    }
    // A mark more has to tell a wrong one: it comes first. Seven parts have no landmark yet.
    assert_eq!(all[0]["use"], "datum");
    let missing = json!({ "part": "lantern", "missing": 3 });
    assert_eq!(answer["parts"][0], missing);
    assert_eq!(answer["parts"].as_array().map(Vec::len), Some(7));
}

#[test]
fn what_was_passed_over_or_taken_is_not_proposed_again() {
    let (_folder, mark) = started(3);
    read_images(&mark);
    let before = mark.get("/api/proposals/0");
    let [first, second] = [0, 1].map(|k| list(&before)[k].clone());
    let state = mark.get("/api/state");
    let skip =
        json!({ "op": "set", "at": "/draft/side", "value": { "skipped": [first["render"]] } });
    let state = mark.change(&state, "Pass over", &skip);
    let landmark = json!({
        "name": second["name"], "use": second["use"], "on": second["on"],
        "render": second["render"], "reference": second["reference"]["place"],
    });
    let add = json!({ "op": "set", "at": "/job/views/0/landmarks/-", "value": landmark });
    mark.change(&state, "Take", &add);
    let after = mark.get("/api/proposals/0");
    assert!(list(&after).len() > 20);
    for proposal in list(&after) {
        for gone in [&first, &second] {
            assert!(
                distance(&proposal["render"], &gone["render"]) > 4.0,
                "{proposal}"
            );
        }
        assert_ne!(proposal["name"], second["name"]);
    }
}

#[test]
fn with_no_registration_places_far_from_each_other_are_proposed() {
    let (_folder, mark) = started(0);
    read_images(&mark);
    let answer = mark.get("/api/proposals/0");
    let all = list(&answer);
    assert!(all.len() >= 3, "{answer}");
    for proposal in all {
        assert_eq!(proposal["reference"], Value::Null);
        assert_eq!(proposal["use"], "datum");
    }
    let diagonal = 1530_f64.hypot(1190.0);
    for [a, b] in [[0, 1], [0, 2], [1, 2]] {
        let apart = distance(&all[a]["render"], &all[b]["render"]);
        assert!(apart > 0.3 * diagonal, "{answer}");
    }
}
