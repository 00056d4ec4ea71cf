//! A photo marked on the drawn model, in a real browser: from nothing to its camera, and on to the next photo.
use super::{
    browser::{Browser, mark},
    point, read,
};
use crate::support::run::run;
use serde_json::{Value, json};
use std::{
    fs,
    path::{Path, PathBuf},
};

const DEMO: &str = concat!(env!("CARGO_MANIFEST_DIR"), "/fixtures/camera-demo");
/// Where the drawn model is looked at from, degrees of azimuth and elevation: about as the photo does.
const FROM: [f64; 2] = [303.0, 22.0];
/// Landmarks of the demo that are corners of the mesh: first three on one plane, as three always are, then some off it.
const IN_PLANE: [&str; 3] = [
    "tank left front top",
    "tank right rear top",
    "tank right front top",
];
const OFF_PLANE: [&str; 5] = [
    "sole plate right front foot",
    "front post left rear top",
    "rear post right rear top",
    "sole plate left front top",
    "sole plate right rear top",
];

/// A folder with the files of the demo, and what its job has for a view.
fn demo() -> (tempfile::TempDir, PathBuf, Value) {
    let folder = tempfile::tempdir().expect("a folder");
    for name in ["gate.jpg", "market.jpg", "pump.3mf"] {
        fs::copy(Path::new(DEMO).join(name), folder.path().join(name)).expect("copied");
    }
    let job = folder.path().join("own.json");
    (folder, job, read(&Path::new(DEMO).join("pump.json")))
}

fn landmark<'a>(view: &'a Value, name: &str) -> &'a Value {
    let mut all = view["landmarks"].as_array().expect("a list").iter();
    all.find(|l| l["name"] == name)
        .unwrap_or_else(|| panic!("no {name}"))
}

fn place_on_model(landmark: &Value) -> [f64; 3] {
    [0, 1, 2].map(|k| landmark["model_mm"][k].as_f64().expect("a place"))
}

/// Where the turntable shows a place: parallel, the middle of the model's box in the middle of the picture, z up.
fn on_turntable(about: &Value, [x, y, z]: [f64; 3]) -> [f64; 2] {
    let number = |value: &Value| value.as_f64().expect("a number");
    let [a, b, c] = [0, 1, 2].map(|k| [x, y, z][k] - number(&about["middle"][k]));
    let (sin, cos) = FROM[0].to_radians().sin_cos();
    let (rise, level) = FROM[1].to_radians().sin_cos();
    let scale = number(&about["scale"]);
    let across = cos * b - sin * a;
    let up = level * c - rise * (cos * a + sin * b);
    [
        number(&about["size"][0]) / 2.0 + scale * across,
        number(&about["size"][1]) / 2.0 - scale * up,
    ]
}

/// Turns the model, and answers what the page knows of it.
async fn turned(browser: &Browser) -> Value {
    browser
        .until("return document.querySelector('#model-file').title.includes('facets')")
        .await;
    let script = format!(
        "for (const [id, value] of [['azimuth', {}], ['elevation', {}]]) {{
           const slider = document.querySelector('#model-' + id);
           slider.value = value;
           for (const sort of ['input', 'change']) slider.dispatchEvent(new Event(sort, {{ bubbles: true }}));
         }}
         window.about = null;
         fetch('api/model').then((answer) => answer.json()).then((about) => {{ window.about = about; }});",
        FROM[0], FROM[1]
    );
    browser.run(&script).await;
    browser.until("return Boolean(window.about)").await;
    browser.run("return window.about").await
}

/// A click in the photo, moved into place by keys, and a click on the same point of the model.
async fn pair(browser: &Browser, about: &Value, wanted: &Value) {
    let reference = point(&wanted["reference"]);
    browser.click("reference", reference).await;
    browser.saved().await;
    browser
        .click("model", on_turntable(about, place_on_model(wanted)))
        .await;
    browser.saved().await;
}

async fn says(browser: &Browser, css: &str, words: &str) {
    let script = format!(
        "return document.querySelector({}).textContent.includes({})",
        json!(css),
        json!(words)
    );
    browser.until(&script).await;
}

#[tokio::test(flavor = "multi_thread")]
async fn a_photo_is_marked_on_the_drawn_model_and_its_camera_found() {
    let Some(browser) = Browser::open("a_photo_on_the_drawn_model", false).await else {
        return;
    };
    let (folder, job, demo) = demo();
    let new = [
        "new", "gate.jpg", "--model", "pump.3mf", "--out", "own.json",
    ];
    let made = run(folder.path(), &new);
    assert_eq!(made.status, 0, "{}", made.err);
    let (server, address) = mark(&job);
    browser.goto(&address).await;
    let about = turned(&browser).await;
    says(
        &browser,
        "#hint-text",
        "Click a point in the photo, then the same point on the drawn model",
    )
    .await;
    browser.shot("model-begun").await;
    let gate = &demo["views"][0];

    for name in IN_PLANE {
        pair(&browser, &about, landmark(gate, name)).await;
    }
    refused_and_cleared(&browser, &job, &about).await;
    // What was said of the last change stands there for some seconds first.
    says(
        &browser,
        "#hint-text",
        "Two more datum marks tell the camera; those that are there lie in a plane: mark one off the plane.",
    )
    .await;
    browser.shot("model-plane").await;
    for name in OFF_PLANE {
        pair(&browser, &about, landmark(gate, name)).await;
    }
    says(&browser, "#strip-scale", "camera by 8 datum marks").await;
    browser.shot("model-marked").await;

    // Every place is that of the corner that was meant, named after its part.
    let view = read(&job)["views"][0].clone();
    let marked = view["landmarks"].as_array().expect("a list").clone();
    for (found, name) in marked.iter().zip(IN_PLANE.iter().chain(&OFF_PLANE)) {
        let wanted = landmark(gate, name);
        assert_eq!(found["part"], wanted["part"], "{name}");
        let off = (0..3).map(|k| (place_on_model(found)[k] - place_on_model(wanted)[k]).abs());
        assert!(off.fold(0.0, f64::max) < 1e-3, "{name}: {found}");
        let own = found["name"].as_str().expect("a name");
        assert!(
            own.starts_with(wanted["part"].as_str().expect("a part")),
            "{own}"
        );
    }
    lines_lie_on_the_photo(&browser, &view).await;
    the_chosen_one_is_dragged_and_a_hidden_one_is_not_chosen(&browser, &job, &about).await;
    drop(server);
    browser.close().await;

    let told = run(folder.path(), &["camera", "own.json", "--json"]);
    assert_eq!(told.status, 0, "{}", told.err);
    let told: Value = serde_json::from_str(&told.out).expect("JSON");
    let camera = &told["views"][0]["camera"]["first"];
    let truth = read(&Path::new(DEMO).join("truth.json"));
    let centre = &camera["exterior"]["centre_model_mm"];
    for (k, told) in centre.as_array().expect("a place").iter().enumerate() {
        let end = |key: &str| told[key].as_f64().expect("told");
        let truth = truth["gate"]["centre_model_mm"][k]
            .as_f64()
            .expect("a number");
        // Clicks fall on whole pixels of a window that shows one in three: the interval is that of the clicks, and wide.
        let half = (end("high") - end("low")) / 2.0;
        assert!((end("value") - truth).abs() < 1.5 * half, "{told} {truth}");
        assert!(half < 60.0, "{told}");
    }
}

/// A place that was drawn to a corner is taken as it was clicked instead; cleared, the mark waits for another; undone, it is back.
async fn refused_and_cleared(browser: &Browser, job: &Path, about: &Value) {
    let last = |job: &Path| {
        let landmarks = read(job)["views"][0]["landmarks"].clone();
        landmarks.as_array().expect("a list").last().cloned()
    };
    let corner = last(job).expect("a landmark");
    let press = |words: &str| {
        format!(
            "[...document.querySelectorAll('#selected button')].find((b) => b.textContent.startsWith({})).click()",
            json!(words)
        )
    };
    says(browser, "#mark-part", "A corner of the tank.").await;
    browser.run(&press("Not the corner: as clicked")).await;
    says(browser, "#mark-part", "surface").await;
    browser.saved().await;
    let as_clicked = last(job).expect("a landmark");
    assert_ne!(as_clicked["model_mm"], corner["model_mm"]);
    let apart =
        (0..3).map(|k| (place_on_model(&as_clicked)[k] - place_on_model(&corner)[k]).powi(2));
    assert!(apart.sum::<f64>().sqrt() < 3.0, "{as_clicked}");
    browser.run(&press("Clear")).await;
    browser.saved().await;
    assert_eq!(
        read(job)["views"][0]["landmarks"]
            .as_array()
            .expect("a list")
            .len(),
        2
    );
    says(browser, "#foot", "on the drawn model").await;
    // The next click on the model gives it the place again.
    browser
        .click("model", on_turntable(about, place_on_model(&corner)))
        .await;
    browser.saved().await;
    let again = last(job).expect("a landmark");
    for key in ["name", "model_mm", "part", "reference", "use"] {
        assert_eq!(again[key], corner[key], "{key}");
    }
}

/// The first landmark, a corner of the tank, is dragged to the next corner and taken back; from another mark the same drag turns the model.
/// From behind neither is it chosen nor dragged.
async fn the_chosen_one_is_dragged_and_a_hidden_one_is_not_chosen(
    browser: &Browser,
    job: &Path,
    about: &Value,
) {
    let first = |job: &Path| read(job)["views"][0]["landmarks"][0].clone();
    let before = first(job);
    let place = place_on_model(&before);
    let other = [-place[0], place[1], place[2]];
    let [from, to] = [place, other].map(|place| on_turntable(about, place));
    let from = browser.in_window("model", from).await;
    let to = browser.in_window("model", to).await;
    browser.click_at(from).await;
    let name = before["name"].as_str().expect("a name");
    browser
        .until(&format!(
            "return document.querySelector('#mark-name')?.value === {}",
            json!(name)
        ))
        .await;
    browser.drag(from, to).await;
    browser.saved().await;
    let after = first(job);
    assert_eq!(place_on_model(&after), other, "{after}");
    assert_eq!(
        (&after["name"], &after["part"]),
        (&before["name"], &before["part"])
    );
    browser.shot("model-dragged").await;
    browser.run("document.activeElement.blur()").await;
    browser.press("#undo").await;
    browser.saved().await;
    assert_eq!(first(job), before);

    // From below all corners of the tank's top are hidden.
    browser
        .run("const slider = document.querySelector('#model-elevation'); slider.value = -80; for (const sort of ['input', 'change']) slider.dispatchEvent(new Event(sort, { bubbles: true }))")
        .await;
    browser
        .until("return Number(document.querySelector('#model').dataset.hidden) >= 3")
        .await;
    browser.shot("model-from-below").await;
}

/// With key D the model's lines lie over the photo: each corner that is marked has a line that ends near it.
async fn lines_lie_on_the_photo(browser: &Browser, view: &Value) {
    browser.run("document.activeElement.blur()").await;
    browser.keys("d").await;
    browser
        .until("return document.querySelector('#model-lines').checked")
        .await;
    browser
        .run("window.path = null; fetch('api/lines/0').then((answer) => answer.json()).then((lines) => { window.path = lines.path; })")
        .await;
    browser.until("return Boolean(window.path)").await;
    let path = browser.run("return window.path").await;
    let path = path.as_str().expect("a path");
    let corners: Vec<[f64; 2]> = path
        .split(['M', 'L'])
        .filter_map(|corner| {
            let (x, y) = corner.split_once(' ')?;
            Some([x.parse().ok()?, y.parse().ok()?])
        })
        .collect();
    for landmark in view["landmarks"].as_array().expect("a list") {
        let mark = point(&landmark["reference"]);
        let nearest = corners
            .iter()
            .map(|c| (c[0] - mark[0]).hypot(c[1] - mark[1]))
            .fold(f64::INFINITY, f64::min);
        assert!(nearest < 8.0, "{landmark}: {nearest} px");
    }
    // The picture is painted with the next frame.
    tokio::time::sleep(std::time::Duration::from_millis(600)).await;
    browser.shot("model-lines").await;
}

#[tokio::test(flavor = "multi_thread")]
async fn the_marks_of_one_photo_are_offered_in_the_next() {
    let Some(browser) = Browser::open("the_marks_of_one_photo", true).await else {
        return;
    };
    let (_folder, job, mut demo) = demo();
    // The second photo has its datum marks so far, but for some.
    let whole = demo["views"][1]["landmarks"]
        .as_array()
        .expect("marks")
        .clone();
    let lacks = ["tank left rear top", "sole plate right rear top"];
    let begun = whole.iter().filter(|l| l["use"] == "datum");
    let begun = begun.filter(|l| !lacks.contains(&l["name"].as_str().expect("a name")));
    demo["views"][1]["landmarks"] = begun.cloned().collect();
    fs::write(&job, demo.to_string()).expect("written");
    let (_server, address) = mark(&job);
    browser.goto(&address).await;
    browser.choose("#view", "market").await;
    // A part that the first photo shows and the second one has no mark of yet.
    let offer = "[...document.querySelectorAll('.cell.offer')]";
    browser.until(&format!("return {offer}.length > 5")).await;
    let names = browser
        .run(&format!("return {offer}.map((c) => c.entry.mark.name)"))
        .await;
    assert!(
        names
            .as_array()
            .expect("names")
            .iter()
            .all(|n| whole.iter().any(|l| l["name"] == *n)),
        "{names}: all of them are seen from the market"
    );
    // The datum mark that only the first photo has comes first.
    let first = names[0].as_str().expect("a name").to_owned();
    assert_eq!(first, "sole plate right rear top");
    let offered = browser
        .run(&format!("return {offer}[0].entry.offer.reference"))
        .await;
    let truth = whole
        .iter()
        .find(|l| l["name"] == first.as_str())
        .expect("there");
    let truth = point(&truth["reference"]);
    let place = point(&offered["place"]);
    let off = (place[0] - truth[0]).hypot(place[1] - truth[1]);
    let half = offered["half_axes"][0].as_f64().expect("a number");
    assert!(off < 1.5 * half && half < 20.0, "{off} px, {half} px");
    browser.shot("model-offers").await;

    // What is only expected needs a click: Enter does not take it.
    let before = read(&job);
    browser
        .run("document.querySelector('#reference').focus()")
        .await;
    browser.keys("\u{e007}").await;
    says(&browser, "#hint-text", "click the point itself in the ring").await;
    assert_eq!(read(&job), before);
    browser.click("reference", truth).await;
    browser.saved().await;
    let after = read(&job);
    let landmarks = after["views"][1]["landmarks"].as_array().expect("a list");
    let taken = landmarks.last().expect("a landmark");
    let of_first = landmark(&after["views"][0], &first);
    for key in ["name", "use", "part"] {
        assert_eq!(taken[key], of_first[key], "{key}");
    }
    assert_eq!(place_on_model(taken), place_on_model(of_first));
    let clicked = point(&taken["reference"]);
    assert!(
        (clicked[0] - truth[0]).hypot(clicked[1] - truth[1]) < 3.0,
        "{taken}"
    );
    // The next one is offered; X passes it over for good.
    browser
        .until(&format!(
            "return {offer}.length > 5 && {offer}[0].entry.mark.name !== {}",
            json!(first)
        ))
        .await;
    let second = browser
        .run(&format!("return {offer}[0].entry.mark.name"))
        .await;
    browser
        .run("document.querySelector('#reference').focus()")
        .await;
    browser.keys("x").await;
    browser.saved().await;
    browser.client.refresh().await.expect("reloaded");
    browser
        .until("return document.documentElement.dataset.ready")
        .await;
    browser.choose("#view", "market").await;
    browser.until(&format!("return {offer}.length > 4")).await;
    let names = browser
        .run(&format!("return {offer}.map((c) => c.entry.mark.name)"))
        .await;
    assert!(
        !names.as_array().expect("names").contains(&second),
        "{names}"
    );
    // Marked by hand all the same, it is the same point: it gets the name and the use that the other photo has.
    let second = second.as_str().expect("a name");
    let about = turned(&browser).await;
    let of_second = landmark(&demo["views"][0], second).clone();
    let mut there = whole.iter().filter(|l| l["name"] == second);
    let there = there.next().expect("seen from the market");
    browser
        .click("model", on_turntable(&about, place_on_model(&of_second)))
        .await;
    browser.saved().await;
    browser.click("reference", point(&there["reference"])).await;
    browser.saved().await;
    let after = read(&job);
    let marked = landmark(&after["views"][1], second);
    assert_eq!(marked["use"], of_second["use"]);
    assert_eq!(place_on_model(marked), place_on_model(&of_second));
    browser.close().await;
}

#[tokio::test(flavor = "multi_thread")]
async fn a_further_photo_is_taken_together_with_the_first_and_forgotten_when_it_goes() {
    let Some(browser) = Browser::open("a_further_photo", true).await else {
        return;
    };
    let (_folder, job, mut demo) = demo();
    let views = demo["views"].as_array_mut().expect("views");
    views.truncate(1);
    let whole = demo.as_object_mut().expect("a job");
    whole.remove("together");
    whole["model"]
        .as_object_mut()
        .expect("a model")
        .remove("symmetry");
    fs::write(&job, demo.to_string()).expect("written");
    let (server, address) = mark(&job);
    browser.goto(&address).await;
    browser.press("#views-button").await;
    for (field, value) in [("name", "market"), ("reference", "market.jpg")] {
        browser
            .run(&format!(
                "document.querySelector('#views-add [name={field}]').value = '{value}'"
            ))
            .await;
    }
    browser.press("#views-add button").await;
    browser.saved().await;
    browser
        .until("return document.querySelector('#view').value === 'market'")
        .await;
    let both = read(&job);
    assert_eq!(both["together"], json!(["gate", "market"]));
    assert_eq!(both["views"][1]["render"], json!({ "drawn": true }));
    // The first photo tells the second one's focal length too, until it goes.
    let mut same = both;
    same["views"][1]["reference"]["interior"] = json!({ "same_as": "gate" });
    drop(server);
    fs::write(&job, same.to_string()).expect("written");
    let (_server, address) = mark(&job);
    browser.goto(&address).await;
    browser.choose("#view", "gate").await;
    browser.press("#views-button").await;
    browser.press("#views-remove").await;
    browser.saved().await;
    browser
        .until("return document.querySelector('#view').options.length === 1")
        .await;
    let after = read(&job);
    assert_eq!(after["together"], json!(["market"]));
    assert_eq!(after["views"].as_array().map(Vec::len), Some(1));
    assert_eq!(after["views"][0]["reference"].get("interior"), None);
    browser.close().await;
}

#[tokio::test(flavor = "multi_thread")]
async fn a_click_in_a_render_with_a_camera_tells_the_place_on_the_model() {
    let Some(browser) = Browser::open("a_click_in_a_render_with_a_camera", false).await else {
        return;
    };
    let folder = tempfile::tempdir().expect("a folder");
    let space = Path::new(env!("CARGO_MANIFEST_DIR")).join("fixtures/space");
    for name in [
        "render.png",
        "quay.jpg",
        "yard.jpg",
        "hall.jpg",
        "model.obj",
    ] {
        fs::copy(space.join(name), folder.path().join(name)).expect("copied");
    }
    let mut whole = read(&space.join("together.json"));
    whole["model"] = json!({ "files": ["model.obj"], "unit": "mm" });
    whole.as_object_mut().expect("a job").remove("together");
    let wanted = whole["views"][0]["landmarks"][0].clone();
    // That landmark is marked anew.
    for view in whole["views"].as_array_mut().expect("views") {
        let marks = view["landmarks"].as_array_mut().expect("marks");
        marks.retain(|l| l["name"] != wanted["name"]);
        for region in view["regions"].as_array_mut().into_iter().flatten() {
            if let Some(names) = region["landmarks"].as_array_mut() {
                names.retain(|name| *name != wanted["name"]);
            }
        }
    }
    let job = folder.path().join("own.json");
    fs::write(&job, whole.to_string()).expect("written");
    let (_server, address) = mark(&job);
    browser.goto(&address).await;
    super::by_hand(&browser).await;
    browser.click("render", point(&wanted["render"])).await;
    browser.saved().await;
    says(&browser, "#mark-place", "mm").await;
    browser
        .click("reference", point(&wanted["reference"]))
        .await;
    browser.saved().await;
    let last = |job: &Path| {
        let landmarks = read(job)["views"][0]["landmarks"].clone();
        landmarks
            .as_array()
            .expect("a list")
            .last()
            .expect("one")
            .clone()
    };
    let marked = last(&job);
    let off = (0..3).map(|k| (place_on_model(&marked)[k] - place_on_model(&wanted)[k]).abs());
    assert!(off.fold(0.0, f64::max) < 1e-3, "{marked} {wanted}");
    browser.shot("model-render").await;
    // Cleared, it stays so when the mark is moved.
    browser
        .run("[...document.querySelectorAll('#selected button')].find((b) => b.textContent === 'Clear').click()")
        .await;
    browser.saved().await;
    assert!(last(&job).get("model_mm").is_none());
    browser.nudge("render", [3, 0]).await;
    browser.saved().await;
    assert!(last(&job).get("model_mm").is_none());
    browser.close().await;
}

/// A round post of 24 sides, with its middle on the z axis.
fn post(radius: f64, height: f64) -> String {
    let sides = 24;
    let corner = |k: usize, z: f64| {
        let (sin, cos) = (std::f64::consts::TAU * k as f64 / f64::from(sides)).sin_cos();
        format!("v {:.4} {:.4} {z}\n", radius * cos, radius * sin)
    };
    let sides = sides as usize;
    let below = (0..sides).map(|k| corner(k, 0.0));
    let above = (0..sides).map(|k| corner(k, height));
    let facets = (0..sides).flat_map(|k| {
        let (here, next) = (k + 1, (k + 1) % sides + 1);
        let mut own = vec![
            [here, next, sides + next],
            [here, sides + next, sides + here],
        ];
        if (1..sides - 1).contains(&k) {
            own.extend([[1, next, here], [sides + 1, sides + here, sides + next]]);
        }
        own.into_iter().map(|[a, b, c]| format!("f {a} {b} {c}\n"))
    });
    let head = std::iter::once("o post\n".to_owned());
    head.chain(below).chain(above).chain(facets).collect()
}

#[tokio::test(flavor = "multi_thread")]
async fn a_click_in_a_round_rim_means_its_middle() {
    let Some(browser) = Browser::open("a_click_in_a_round_rim", false).await else {
        return;
    };
    let (folder, job, _) = demo();
    fs::write(folder.path().join("post.obj"), post(10.0, 30.0)).expect("written");
    let new = [
        "new", "gate.jpg", "--model", "post.obj", "--unit", "mm", "--out", "own.json",
    ];
    let made = run(folder.path(), &new);
    assert_eq!(made.status, 0, "{}", made.err);
    let (server, address) = mark(&job);
    browser.goto(&address).await;
    let about = turned(&browser).await;
    browser.click("reference", [400.0, 300.0]).await;
    browser.saved().await;
    // Half a millimetre beside the middle of the top.
    browser
        .click("model", on_turntable(&about, [0.5, 0.0, 30.0]))
        .await;
    browser.saved().await;
    says(&browser, "#mark-part", "middle of a round").await;
    browser.shot("model-round").await;
    let found = read(&job)["views"][0]["landmarks"][0].clone();
    let off = place_on_model(&found);
    assert!(
        off.iter()
            .zip([0.0, 0.0, 30.0])
            .all(|(found, truth)| (found - truth).abs() < 1e-3),
        "{found}"
    );
    drop(server);
    browser.close().await;
}
