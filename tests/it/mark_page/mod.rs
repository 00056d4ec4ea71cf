//! The marking page in a real browser: marks set by pointer and keys give the figures that the same marks give in a
//! job file, and nothing is lost whatever ends.
mod alone;
mod browser;
mod on_model;
mod strip;

use crate::support::process::Process;
use assert_cmd::Command;
use browser::{Browser, mark};
use serde_json::{Value, json};
use std::{
    fs,
    path::{Path, PathBuf},
};
use tempfile::TempDir;

/// Where the demo's job has the marks that the test sets: name, use, render, reference.
type Mark = (&'static str, &'static str, [f64; 2], [f64; 2]);
const MARKS: [Mark; 9] = [
    ("hub front", "datum", [515.1, 950.0], [754.6, 859.8]),
    ("hub rear", "datum", [1134.1, 917.0], [1193.7, 862.7]),
    ("tank front", "datum", [527.5, 704.2], [760.5, 689.8]),
    ("tank rear", "datum", [1194.3, 704.2], [1238.8, 705.7]),
    ("cover rear", "datum", [1207.6, 445.9], [1252.9, 510.1]),
    (
        "lantern foot front",
        "check",
        [356.4, 508.1],
        [645.9, 547.0],
    ),
    ("lantern foot rear", "check", [503.5, 508.2], [740.8, 547.8]),
    (
        "lantern eave front",
        "check",
        [356.2, 362.9],
        [644.0, 445.1],
    ),
    ("lantern eave rear", "check", [502.9, 362.8], [738.8, 442.8]),
];
const CORNERS: [[f64; 2]; 4] = [
    [165.5, 180.4],
    [1828.1, 78.5],
    [1808.5, 1125.4],
    [216.9, 1023.6],
];
const OUTLINE: [[f64; 2]; 4] = [
    [344.0, 238.0],
    [516.0, 238.0],
    [516.0, 540.0],
    [344.0, 540.0],
];

/// A folder with the demo's side pair and the job that `tickstrip new` makes of it.
fn starter() -> (TempDir, PathBuf) {
    let folder = tempfile::tempdir().expect("a folder");
    let demo = Path::new(env!("CARGO_MANIFEST_DIR")).join("fixtures/demo");
    for name in ["side-render.png", "side-screen.jpg"] {
        fs::copy(demo.join(name), folder.path().join(name)).expect("copied");
    }
    Command::new(env!("CARGO_BIN_EXE_tickstrip"))
        .args([
            "new",
            "side-render.png",
            "side-screen.jpg",
            "--out",
            "own.json",
        ])
        .current_dir(folder.path())
        .assert()
        .success();
    let job = folder.path().join("own.json");
    (folder, job)
}

/// A folder with all files of the demo.
fn demo() -> TempDir {
    let folder = tempfile::tempdir().expect("a folder");
    let demo = Path::new(env!("CARGO_MANIFEST_DIR")).join("fixtures/demo");
    for entry in fs::read_dir(demo).expect("there") {
        let path = entry.expect("readable").path();
        fs::copy(&path, folder.path().join(path.file_name().expect("a name"))).expect("copied");
    }
    folder
}

fn read(job: &Path) -> Value {
    serde_json::from_slice(&fs::read(job).expect("there")).expect("JSON")
}

fn point(value: &Value) -> [f64; 2] {
    [0, 1].map(|k| value[k].as_f64().expect("a number"))
}

/// Arrow keys from where a click came down to where it was meant.
fn tenths(from: [f64; 2], to: [f64; 2]) -> [i32; 2] {
    [0, 1].map(|k| ((to[k] - from[k]) * 10.0).round() as i32)
}

/// Both images beside each other, and no mark offered.
async fn by_hand(browser: &Browser) {
    browser.shows("both").await;
    browser
        .run("const box = document.querySelector('#offering'); if (box.checked) box.click()")
        .await;
}

/// Sets both marks of a landmark by clicks, types its name, and moves the marks into place by keys.
async fn set_pair(browser: &Browser, job: &Path, (name, usage, render, reference): Mark) {
    browser
        .press(&format!("input[name=use][value={usage}]"))
        .await;
    browser.click("render", render).await;
    browser.saved().await;
    browser.name_it(name).await;
    browser.click("reference", reference).await;
    browser.saved().await;
    let landmarks = read(job)["views"][0]["landmarks"].clone();
    let set = landmarks
        .as_array()
        .expect("a list")
        .last()
        .expect("a landmark")
        .clone();
    assert_eq!(set["name"], name, "{set}");
    browser
        .nudge("reference", tenths(point(&set["reference"]), reference))
        .await;
    browser
        .nudge("render", tenths(point(&set["render"]), render))
        .await;
    browser.saved().await;
}

async fn rectify(browser: &Browser, job: &Path) {
    browser.press("#job-panel > summary").await;
    browser.fill("#job-form [name=aspect]", "16:9").await;
    browser.press("input[name=tool][value=corners]").await;
    for corner in CORNERS {
        browser.click("reference", corner).await;
    }
    browser.saved().await;
    for (index, corner) in CORNERS.into_iter().enumerate() {
        let rectify = read(job)["views"][0]["reference"]["rectify"].clone();
        assert_eq!(rectify["aspect"], "16:9");
        let clicked = point(&rectify["corners"][index]);
        browser.click("reference", clicked).await;
        browser.nudge("reference", tenths(clicked, corner)).await;
        browser.saved().await;
    }
    browser.press("input[name=tool][value=mark]").await;
}

async fn outline(browser: &Browser) {
    browser.press("input[name=tool][value=region]").await;
    for corner in OUTLINE.into_iter().chain([[600.0, 600.0]]) {
        browser.click("render", corner).await;
        browser.saved().await;
    }
    // Escape takes the last corner back, Enter closes what is left.
    browser.keys("\u{e00c}").await;
    browser.saved().await;
    browser.keys("\u{e007}").await;
    browser
        .until("return document.activeElement.id === 'region-name'")
        .await;
    browser.keys("lantern\u{e007}").await;
    browser.saved().await;
    // Marking goes on with the marks of this part.
    browser
        .until("return document.querySelector('#strip-part').value === 'lantern'")
        .await;
    browser
        .until("return document.querySelector('input[name=tool][value=mark]').checked")
        .await;
    browser.choose("#strip-part", "").await;
}

async fn known_length(browser: &Browser) {
    browser.press("#known-panel > summary").await;
    browser
        .choose("#known-form [name=from]", "tank front")
        .await;
    browser.choose("#known-form [name=to]", "tank rear").await;
    browser
        .fill("#known-form [name=length]", "31 1/2 in\u{e007}")
        .await;
    browser.saved().await;
}

/// What the cell of a landmark says in the strip.
async fn row(browser: &Browser, name: &str) -> String {
    let script = format!(
        "return [...document.querySelectorAll('.cell')].find(c => c.entry.mark.name === {})?.getAttribute('aria-label') ?? ''",
        json!(name)
    );
    browser
        .run(&script)
        .await
        .as_str()
        .expect("text")
        .to_owned()
}

/// Starts the server again after it was killed, and opens its page.
async fn kill_and_start_again(browser: &Browser, server: Process, job: &Path) -> Process {
    drop(server);
    let (server, address) = mark(job);
    browser.goto(&address).await;
    by_hand(browser).await;
    server
}

#[tokio::test(flavor = "multi_thread")]
async fn marks_set_in_the_browser_give_the_expected_figures_and_outlive_the_server() {
    let Some(browser) = Browser::open("marks_set_in_the_browser", false).await else {
        return;
    };
    let (_folder, job) = starter();
    let (server, address) = mark(&job);
    browser.goto(&address).await;
    by_hand(&browser).await;
    browser.press("#hint-act").await;
    browser.saved().await;
    assert_eq!(read(&job)["views"][0]["landmarks"], json!([]));
    rectify(&browser, &job).await;
    assert!(browser.text("#hint-text").await.len() > 10);
    for mark in &MARKS[..4] {
        set_pair(&browser, &job, *mark).await;
    }
    let before = read(&job);
    let server = kill_and_start_again(&browser, server, &job).await;
    assert_eq!(read(&job), before);
    for mark in &MARKS[4..] {
        set_pair(&browser, &job, *mark).await;
    }
    browser.shot("marked").await;
    outline(&browser).await;
    known_length(&browser).await;
    let saved = read(&job);
    for ((name, usage, render, reference), landmark) in MARKS
        .iter()
        .zip(saved["views"][0]["landmarks"].as_array().expect("a list"))
    {
        assert_eq!(
            (landmark["name"].as_str(), landmark["use"].as_str()),
            (Some(*name), Some(*usage))
        );
        // A click falls on a whole screen pixel; keys move it by tenths: half a tenth is left.
        for (found, wanted) in [
            (point(&landmark["render"]), render),
            (point(&landmark["reference"]), reference),
        ] {
            assert!(
                (found[0] - wanted[0]).abs() < 0.06 && (found[1] - wanted[1]).abs() < 0.06,
                "{landmark}"
            );
        }
    }
    let region = &saved["views"][0]["regions"][0];
    assert_eq!(region["name"], "lantern");
    assert_eq!(
        region["landmarks"],
        json!([
            "lantern foot front",
            "lantern foot rear",
            "lantern eave front",
            "lantern eave rear"
        ])
    );
    assert_eq!(saved["views"][0]["known"][0]["full_size"], "31 1/2 in");

    wrong_mark_and_undo(&browser, &job).await;
    centre_of_a_hub(&browser, &job).await;
    let server = kill_and_start_again(&browser, server, &job).await;
    assert_eq!(read(&job), saved);
    // The steps are there as well: back to before the length, and forth again. The page is known by what it would undo,
    // for a step to redo is there all the time.
    let title = "document.querySelector('#undo').title";
    let last = browser.run(&format!("return {title}")).await;
    browser.press("#undo").await;
    browser.until(&format!("return {title} !== {last}")).await;
    browser.press("#redo").await;
    browser.until(&format!("return {title} === {last}")).await;
    browser.saved().await;
    assert_eq!(read(&job), saved);
    drop(server);
    browser.close().await;
    figures(&job);
}

/// A datum mark moved by 60 px is named wrong in the table; undo takes it back, also after a reload.
async fn wrong_mark_and_undo(browser: &Browser, job: &Path) {
    let saved = read(job);
    browser.select("hub rear").await;
    assert!(!row(browser, "hub rear").await.contains("wrong"));
    browser.nudge("reference", [-600, 0]).await;
    browser.saved().await;
    browser
        .until("return document.querySelector('#strip-cells').textContent.includes('wrong')")
        .await;
    assert!(row(browser, "hub rear").await.contains("wrong"));
    // What was said of the last change stands there for some seconds first.
    browser
        .until("return document.querySelector('#hint-text').textContent.includes('\"hub rear\" fits nothing')")
        .await;
    browser.shot("wrong").await;
    browser.client.refresh().await.expect("reloaded");
    browser
        .until("return document.documentElement.dataset.ready")
        .await;
    by_hand(browser).await;
    browser
        .until("return document.querySelector('#strip-cells').textContent.includes('wrong')")
        .await;
    assert_ne!(read(job), saved);
    browser.press("#undo").await;
    browser
        .until("return !document.querySelector('#strip-cells').textContent.includes('wrong')")
        .await;
    browser.saved().await;
    assert_eq!(read(job), saved);
}

/// A mark said to be a centre, 2 px beside the hub, is offered the middle of the hub in both images; one undo takes both back.
async fn centre_of_a_hub(browser: &Browser, job: &Path) {
    let saved = read(job);
    let hub = |job: &Value| {
        let landmarks = job["views"][0]["landmarks"].as_array().expect("a list");
        let found = landmarks.iter().find(|l| l["name"] == "hub rear");
        found.expect("there").clone()
    };
    browser.select("hub rear").await;
    browser.choose("[data-key=mark-on]", "centre").await;
    browser.saved().await;
    assert_eq!(hub(&read(job))["on"], "centre");
    browser.nudge("render", [20, 0]).await;
    browser.saved().await;
    let beside = hub(&read(job));
    let press = |label: &str| {
        format!(
            "[...document.querySelectorAll('#selected button')].find(b => b.textContent === '{label}').click()"
        )
    };
    browser.run(&press("Refine…")).await;
    browser
        .until("return document.querySelector('#selected').textContent.includes('The middles of the round thing')")
        .await;
    browser.shot("centre").await;
    browser.run(&press("Take it")).await;
    browser.saved().await;
    let taken = hub(&read(job));
    let truth = hub(&saved);
    for side in ["render", "reference"] {
        let [found, wanted] = [&taken, &truth].map(|of| point(&of[side]));
        let off = (found[0] - wanted[0]).hypot(found[1] - wanted[1]);
        assert!(off < 1.5, "{side}: {off} px beside the mark as it was");
    }
    browser.press("#undo").await;
    browser.saved().await;
    assert_eq!(hub(&read(job)), beside, "one step back for both images");
    // The place, then what it is on.
    for _ in 0..2 {
        browser.press("#undo").await;
        browser.saved().await;
    }
    assert_eq!(read(job), saved);
}

/// The demo's lantern is 4 % too wide (`fixtures/demo/truth.json`): the saved job says so.
fn figures(job: &Path) {
    let output = Command::new(env!("CARGO_BIN_EXE_tickstrip"))
        .args(["compare", "--json", "--quiet"])
        .arg(job)
        .output()
        .expect("runs");
    let report: Value = serde_json::from_slice(&output.stdout).expect("JSON");
    let width = &report["views"][0]["regions"][0]["width_percent"];
    let end = |key: &str| width[key].as_f64().expect("a figure");
    assert!(
        end("low") < 4.0 && end("high") > 4.0 && end("low") > 0.0,
        "{width}"
    );
    assert!(
        report["views"][0]["registration"]["rms_px"]
            .as_f64()
            .expect("a number")
            < 2.0
    );
}

#[tokio::test(flavor = "multi_thread")]
async fn a_second_page_and_an_editor_overwrite_nothing() {
    let Some(browser) = Browser::open("a_second_page", true).await else {
        return;
    };
    let folder = demo();
    let job = folder.path().join("pump.json");
    let (_server, address) = mark(&job);
    browser.goto(&address).await;
    browser.shows("both").await;
    browser.shot("dark").await;
    // An editor writes the file while the page shows it: the page asks, and takes the file's state when told so.
    let mut edited = read(&job);
    edited["title"] = json!("From the editor");
    // No measure names this landmark.
    edited["views"][0]["landmarks"][4]["name"] = json!("tail edge");
    fs::write(&job, edited.to_string()).expect("written");
    browser
        .until("return document.querySelector('#ask').open")
        .await;
    browser.shot("asked").await;
    assert_eq!(read(&job), edited);
    browser.press("#ask-buttons button:first-child").await;
    browser
        .until("return document.querySelector('#strip-cells').textContent.includes('tail edge')")
        .await;
    // Another page of the same server: what it changes appears here.
    let first = browser.client.window().await.expect("a window");
    let second = browser
        .client
        .new_window(true)
        .await
        .expect("a window")
        .handle;
    browser
        .client
        .switch_to_window(second)
        .await
        .expect("switched");
    browser.goto(&address).await;
    browser.shows("both").await;
    browser
        .run("[...document.querySelectorAll('.cell:not(.offer)')][1].querySelector('.cell-name').click()")
        .await;
    browser.nudge("render", [10, 0]).await;
    browser.saved().await;
    let moved = read(&job);
    assert_ne!(
        moved["views"][0]["landmarks"][1],
        edited["views"][0]["landmarks"][1]
    );
    browser
        .client
        .switch_to_window(first)
        .await
        .expect("switched");
    browser.until("return !document.querySelector('#undo').disabled && document.querySelector('#undo').title.includes('hub rear')").await;
    // "Compare now" shows pictures.
    browser.press("#compare").await;
    browser.until("return [...document.querySelectorAll('#results img')].filter(i => i.complete && i.naturalWidth).length >= 8").await;
    browser.shot("results").await;
    // Of the front view two marks are exchanged: that stands with its changes.
    let warned = browser
        .run("return [...document.querySelectorAll('#results details')].map(d => [d.open, d.textContent])")
        .await;
    let exchanged = warned.as_array().expect("a list").iter();
    let exchanged = exchanged.filter(|told| {
        told[1]
            .as_str()
            .expect("words")
            .contains("are exchanged in one of the images")
    });
    assert_eq!(exchanged.count(), 1, "{warned}");
    // The report's own style and script work, apart from the page's origin; nothing else of it does.
    let report = format!("{}results/report.html", page_address(&address));
    browser.client.goto(&report).await.expect("opened");
    browser
        .until(
            "return document.querySelector('.stage')?.style.getPropertyValue('--wipe') === '50%'",
        )
        .await;
    let position = "return getComputedStyle(document.querySelector('.divider')).position";
    assert_eq!(browser.run(position).await, "absolute");
    assert_eq!(browser.run("return self.origin").await, "null");
    browser
        .run("const s = document.createElement('script'); s.textContent = 'document.title = \"taken over\"'; document.body.append(s)")
        .await;
    assert_ne!(browser.run("return document.title").await, "taken over");
    browser.close().await;
}

/// Where the page stands once its one-time address was opened.
fn page_address(one_time: &str) -> String {
    let (server, _) = one_time.split_once("/open/").expect("a one-time address");
    format!("{server}/")
}

#[cfg(target_os = "linux")]
#[tokio::test(flavor = "multi_thread")]
async fn the_file_that_the_browser_is_told_opens_the_page_and_a_reload_keeps_it() {
    let Some(browser) = Browser::open("the_file_that_the_browser_is_told", false).await else {
        return;
    };
    let (folder, job) = starter();
    let told = folder.path().join("told");
    let (_server, address) = browser::serve_to_desktop(&job, &told);
    let file = browser::until_there(&told);
    browser.goto(&format!("file://{}", file.trim())).await;
    let page = page_address(&address);
    assert_eq!(browser.run("return location.href").await, page);
    assert_eq!(
        browser.run("return document.cookie").await,
        "",
        "scripts do not see it"
    );
    browser.client.refresh().await.expect("reloaded");
    browser.goto(&page).await;
    // The address is used up; in this browser it leads to the page, as from the list of visited addresses.
    browser.goto(&address).await;
    browser.shows("both").await;
    assert_eq!(browser.run("return location.href").await, page);
    browser.close().await;
    let Some(other) = Browser::open("the_file_that_the_browser_is_told", false).await else {
        return;
    };
    for (at, code) in [(&address, "used-address"), (&page, "no-cookie")] {
        other.client.goto(at).await.expect("an answer");
        let text = other.run("return document.body.textContent").await;
        assert!(text.as_str().is_some_and(|t| t.contains(code)), "{text}");
    }
    other.close().await;
}

#[tokio::test(flavor = "multi_thread")]
async fn one_press_carries_all_marks_over_to_the_render_that_was_written_over() {
    let Some(browser) = Browser::open("one_press_carries_all_marks_over", false).await else {
        return;
    };
    let folder = tempfile::tempdir().expect("a folder");
    let demo = Path::new(env!("CARGO_MANIFEST_DIR")).join("fixtures/demo");
    let in_folder = |name: &str| folder.path().join(name);
    for name in ["side-render.png", "side-screen.jpg"] {
        fs::copy(demo.join(name), in_folder(name)).expect("copied");
    }
    let job = in_folder("pump.json");
    let mut document = read(&demo.join("pump.json"));
    document["views"].as_array_mut().expect("views").truncate(1);
    let content = tickstrip::images::content(
        &in_folder("side-render.png"),
        &tickstrip::images::Limits::default(),
    );
    let content = content.expect("readable");
    document["views"][0]["render"]["marked_on"] =
        json!({ "size": content.size, "blake3": content.blake3 });
    fs::write(&job, document.to_string()).expect("written");
    // The page keeps what is marked; then the CAD program renders to the same file again.
    let (server, address) = mark(&job);
    browser.goto(&address).await;
    browser.shows("both").await;
    assert_eq!(
        browser
            .run("return document.getElementById('hint-carry').hidden")
            .await,
        json!(true)
    );
    drop(server);
    fs::copy(
        demo.join("side-corrected.png"),
        in_folder("side-render.png"),
    )
    .expect("written over");
    let (server, address) = mark(&job);
    browser.goto(&address).await;
    browser.shows("both").await;
    browser
        .until("return !document.getElementById('hint-carry').hidden")
        .await;
    browser.shot("changed").await;
    browser.press("#hint-carry").await;
    browser
        .until("return document.getElementById('undo').title === 'Undo: Carry the marks over: 50 of 50 found'")
        .await;
    // Each carried mark is shown before and now, to be confirmed by one key.
    let both = "return [...document.querySelectorAll('#carried img')].filter((i) => i.complete && i.naturalWidth === 288).length === 2";
    browser.until(both).await;
    browser.shot("carried").await;
    let shows = |name: &str| {
        format!(
            "return document.querySelector('#carried h3')?.textContent === 'Carried over: look at {name}'"
        )
    };
    browser.until(&shows("hub front")).await;
    browser.keys("k").await;
    browser.until(&shows("hub rear")).await;
    let all = "[...document.querySelectorAll('#carried button')].find((b) => b.textContent === 'All are right').click()";
    browser.run(all).await;
    browser
        .until("return document.getElementById('carried').hidden && !document.documentElement.dataset.busy")
        .await;
    browser
        .until("return document.getElementById('hint-carry').hidden")
        .await;
    let carried = read(&job);
    assert_ne!(
        carried["views"][0]["landmarks"],
        document["views"][0]["landmarks"]
    );
    assert_eq!(
        carried["views"][0]["landmarks"]
            .as_array()
            .expect("marks")
            .len(),
        50
    );
    drop(server);
    browser.close().await;
}
