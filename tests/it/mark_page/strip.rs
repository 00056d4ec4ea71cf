//! The one picture, the strip and the marks that are offered, in a real browser.
use super::{
    MARKS, OUTLINE,
    browser::{Browser, mark},
    point, read, starter,
};
use serde_json::{Value, json};
use std::{fs, path::Path};

/// The demo's side pair with its five datum marks and the lantern's outline, no mark on it yet.
fn begun(job: &Path) {
    let mut value = read(job);
    let landmark = |(name, usage, render, reference): &super::Mark| json!({"name": name, "use": usage, "render": render, "reference": reference});
    let view = &mut value["views"][0];
    view["landmarks"] = MARKS[..5].iter().map(landmark).collect();
    view["regions"] = json!([{"name": "lantern", "outline": OUTLINE}]);
    for list in ["known", "spans"] {
        view[list] = json!([]);
    }
    view["reference"]["rectify"] = json!({"corners": super::CORNERS, "aspect": "16:9"});
    fs::write(job, value.to_string()).expect("written");
}

fn landmarks(job: &Path) -> Vec<Value> {
    let list = read(job)["views"][0]["landmarks"].clone();
    list.as_array().expect("a list").clone()
}

fn named(job: &Path, name: &str) -> Value {
    let found = landmarks(job).into_iter().find(|l| l["name"] == name);
    found.unwrap_or_else(|| panic!("{name} is no landmark"))
}

/// The names of the marks that are offered, whether the reference tells their places or not.
async fn offered(browser: &Browser, is_found: bool) -> Vec<String> {
    let script = format!(
        "return [...document.querySelectorAll('.cell.offer')].filter(c => Boolean(c.entry.offer.reference?.refined) === {is_found}).map(c => c.entry.mark.name)"
    );
    let names = browser.run(&script).await;
    let names = names.as_array().expect("a list").iter();
    names
        .map(|n| n.as_str().expect("a name").to_owned())
        .collect()
}

/// Where a place of a cell's picture lies in the window: `at` from the middle of the render's patch or of the reference's.
async fn in_cell(browser: &Browser, name: &str, side: &str, at: [f64; 2]) -> [f64; 2] {
    let script = format!(
        "const c = [...document.querySelectorAll('.cell')].find(c => c.entry.mark.name === {}), b = c.querySelector('canvas').getBoundingClientRect();
         return [b.left + b.width / 2, {} === 'render' ? b.top + b.height / 4 : b.bottom - b.height / 4]",
        json!(name),
        json!(side)
    );
    let middle = point(&browser.run(&script).await);
    [middle[0] + at[0], middle[1] + at[1]]
}

async fn focus(browser: &Browser, name: &str) {
    let script = format!(
        "[...document.querySelectorAll('.cell')].find(c => c.entry.mark.name === {}).focus()",
        json!(name)
    );
    browser.run(&script).await;
}

const OFFERS: &str = "return document.querySelectorAll('.cell.offer').length > 0";

#[tokio::test(flavor = "multi_thread")]
async fn offered_marks_are_taken_moved_and_skipped_in_the_strip_and_nothing_is_lost() {
    let Some(browser) = Browser::open("offered_marks", false).await else {
        return;
    };
    let (_folder, job) = starter();
    begun(&job);
    let (server, address) = mark(&job);
    browser.goto(&address).await;
    // Five pairs are enough for one picture of both.
    browser
        .until("return document.body.dataset.shows === 'over'")
        .await;
    browser.until(OFFERS).await;
    browser.shot("strip").await;

    // Taken: by one key, with the place that was found, as a mark of its part.
    let found = offered(&browser, true).await;
    let name = found.first().expect("one that the reference tells").clone();
    browser.select(&name).await;
    browser.keys("\u{e007}").await;
    browser.saved().await;
    let taken = named(&job, &name);
    let lantern = read(&job)["views"][0]["regions"][0]["landmarks"].clone();
    let is_named = lantern
        .as_array()
        .is_some_and(|all| all.contains(&json!(name)));
    assert_eq!(is_named, taken["use"] == "check", "{taken} {lantern}");

    moved_in_its_cell(&browser, &job, &name).await;

    // Skipped: it is not offered again, also after the page was left.
    browser.until(OFFERS).await;
    let places = "return [...document.querySelectorAll('.cell.offer')].map(c => ({ name: c.entry.offer.name, at: c.entry.offer.render }))";
    let skipped = browser.run(places).await[0].clone();
    let place = point(&skipped["at"]);
    browser
        .select(skipped["name"].as_str().expect("a name"))
        .await;
    browser.keys("x").await;
    browser.saved().await;
    let before = read(&job);
    drop(server);
    let (_server, address) = mark(&job);
    browser.goto(&address).await;
    browser.until(OFFERS).await;
    assert_eq!(read(&job), before);
    // Another place may have its name by now.
    for offer in browser.run(places).await.as_array().expect("a list") {
        let [x, y] = point(&offer["at"]);
        let off = (x - place[0]).hypot(y - place[1]);
        assert!(off > 1.0, "{offer} is offered again");
        assert_ne!(offer["name"], json!(name), "it is marked");
    }
    browser.close().await;
}

/// A click, a drag and keys in a cell move the reference's mark by what they are in the render.
async fn moved_in_its_cell(browser: &Browser, job: &Path, name: &str) {
    browser.select(name).await;
    let was = named(job, name);
    // Render pixels per pixel of the reference, by the marks on both sides of the tank.
    let [front, rear] = [&MARKS[2], &MARKS[3]];
    let scale = (rear.2[0] - front.2[0]) / (rear.3[0] - front.3[0]);
    let step = |now: &Value| {
        let [a, b] = [&was, now].map(|of| point(&of["reference"]));
        (b[0] - a[0]) * scale
    };
    browser
        .drag(
            in_cell(browser, name, "reference", [0.0, 0.0]).await,
            in_cell(browser, name, "reference", [30.0, 0.0]).await,
        )
        .await;
    browser.saved().await;
    // Thirty screen pixels at three to a render pixel; perspective makes some per cent.
    let dragged = step(&named(job, name));
    assert!((dragged - 10.0).abs() < 1.5, "{dragged}");
    assert_eq!(named(job, name)["render"], was["render"]);
    focus(browser, name).await;
    browser
        .keys("\u{e012}\u{e012}\u{e012}\u{e012}\u{e012}")
        .await;
    browser.saved().await;
    let nudged = dragged - step(&named(job, name));
    assert!((nudged - 0.5).abs() < 0.1, "{nudged}");
    // Two steps back.
    for _ in 0..2 {
        browser.press("#undo").await;
        browser.saved().await;
    }
    assert_eq!(named(job, name), was);
}

#[tokio::test(flavor = "multi_thread")]
async fn a_mark_whose_place_nothing_tells_is_not_taken_by_a_key_alone() {
    let Some(browser) = Browser::open("a_mark_whose_place", true).await else {
        return;
    };
    let (_folder, job) = starter();
    begun(&job);
    // A reference that shows nothing of the lantern: its marks can only be expected.
    let photo = job.with_file_name("side-screen.jpg");
    let mut picture = image::open(&photo).expect("read").to_rgb8();
    for (x, y, pixel) in picture.enumerate_pixels_mut() {
        if (600..800).contains(&x) && (300..600).contains(&y) {
            *pixel = image::Rgb([120, 118, 110]);
        }
    }
    picture.save(&photo).expect("written");
    let mut value = read(&job);
    for side in ["render", "reference"] {
        value["views"][0][side]
            .as_object_mut()
            .expect("an object")
            .remove("marked_on");
    }
    fs::write(&job, value.to_string()).expect("written");
    let (_server, address) = mark(&job);
    browser.goto(&address).await;
    browser.until(OFFERS).await;
    browser.choose("#strip-part", "lantern").await;
    browser.until(OFFERS).await;
    assert_eq!(offered(&browser, true).await, Vec::<String>::new());
    let name = offered(&browser, false).await.first().expect("one").clone();
    let before = landmarks(&job).len();
    focus(&browser, &name).await;
    browser.keys("\u{e007}").await;
    browser
        .until("return document.querySelector('#hint-text').textContent.includes('does not tell the place')")
        .await;
    assert_eq!(landmarks(&job).len(), before);
    // A click in the lower half of its cell puts the reference's mark there.
    browser
        .click_at(in_cell(&browser, &name, "reference", [6.0, 0.0]).await)
        .await;
    browser.saved().await;
    assert_eq!(landmarks(&job).len(), before + 1);
    assert_eq!(named(&job, &name)["use"], "check");
    let lantern = read(&job)["views"][0]["regions"][0]["landmarks"].clone();
    assert_eq!(lantern, json!([name]));
    browser.close().await;
}

#[tokio::test(flavor = "multi_thread")]
async fn the_first_pairs_are_asked_for_one_image_at_a_time_and_views_are_added() {
    let Some(browser) = Browser::open("the_first_pairs", false).await else {
        return;
    };
    let (_folder, job) = starter();
    let (_server, address) = mark(&job);
    browser.goto(&address).await;
    browser.press("#hint-act").await;
    browser.saved().await;
    browser
        .run("document.querySelector('#offering').click()")
        .await;
    let shows = "return document.body.dataset.shows";
    for (_, _, render, reference) in &MARKS[..3] {
        assert_eq!(browser.run(shows).await, "render");
        browser.click("render", *render).await;
        browser.saved().await;
        assert_eq!(browser.run(shows).await, "reference");
        browser.click("reference", *reference).await;
        browser.saved().await;
    }
    assert_eq!(browser.run(shows).await, "over");
    assert_eq!(landmarks(&job).len(), 3);
    // In the one picture the same point is clicked twice: the image that is seen changes in between.
    let seen = "return document.querySelector('#blend-word').textContent";
    assert_eq!(browser.run(seen).await, "reference");
    browser.click("over", MARKS[3].2).await;
    browser.saved().await;
    assert_eq!(browser.run(seen).await, "render");
    browser.click("over", MARKS[3].2).await;
    browser.saved().await;
    assert_eq!(browser.run(seen).await, "reference");
    assert_eq!(landmarks(&job).len(), 4);
    browser.shot("first").await;

    // A length between two free points, in the job's unit.
    browser.keys("l").await;
    browser.shows("reference").await;
    for (_, _, _, reference) in &MARKS[2..4] {
        let [x, y] = *reference;
        browser.click("reference", [x, y - 30.0]).await;
        browser.saved().await;
    }
    browser
        .fill("#known-form [name=length]", "800\u{e007}")
        .await;
    browser.saved().await;
    let known = read(&job)["views"][0]["known"][0].clone();
    assert_eq!(known["full_size"], 800.0, "{known}");
    assert_eq!(known["in"], "reference");
    assert!(
        known["from"].is_array() && known["to"].is_array(),
        "{known}"
    );

    // A view with the marks of this one, under another name.
    browser.press("#views-button").await;
    browser.choose("#views-add [name=from]", "this").await;
    browser.press("#views-add button").await;
    browser.saved().await;
    browser
        .until("return document.querySelector('#view').options.length === 2")
        .await;
    browser.press("#views-button").await;
    browser
        .run("document.querySelector('#views-rename [name=name]').value = 'again'")
        .await;
    browser.press("#views-rename button").await;
    browser.saved().await;
    let views = read(&job)["views"].clone();
    assert_eq!(views[1]["name"], "again");
    assert_eq!(views[1]["landmarks"], views[0]["landmarks"]);
    browser.close().await;
}

/// The page's own arithmetic of the map, lens included, is the program's.
#[tokio::test(flavor = "multi_thread")]
async fn marks_lie_in_the_one_picture_where_the_program_puts_them() {
    let Some(browser) = Browser::open("marks_lie", false).await else {
        return;
    };
    let folder = super::demo();
    let (_server, address) = mark(&folder.path().join("pump.json"));
    browser.goto(&address).await;
    let script = "const done = arguments[0];
        Promise.all([import(new URL('page/laid.js', document.baseURI)), fetch('api/state').then(r => r.json())]).then(([laid, state]) => {
            const view = state.fit.views[0], marks = state.job.views[0].landmarks;
            const off = ([a, b], [c, d]) => Math.hypot(a - c, b - d);
            done({ lens: view.map.lens !== null, marks: marks.length,
                there: Math.max(...marks.map((m, i) => off(laid.toRender(view.map, m.reference), view.landmarks[i].in_render))),
                back: Math.max(...marks.map((m, i) => off(laid.toReference(view.map, m.render), view.landmarks[i].in_reference))) });
        })";
    let found = browser
        .client
        .execute_async(script, vec![])
        .await
        .expect("ran");
    assert_eq!(found["lens"], true, "{found}");
    assert!(found["marks"].as_u64().expect("a number") >= 40);
    for way in ["there", "back"] {
        assert!(found[way].as_f64().expect("a number") < 1e-6, "{found}");
    }
    browser.close().await;
}
