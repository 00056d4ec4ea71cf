//! Who may use the marking page: the browser that opens the printed address first, and nobody else.
use super::{client::Refusal, folder};
use crate::support::marking::Started;
use serde_json::{Value, json};
use std::{fs, path::Path, process::Command, time::Duration};

/// Opens the way in; the header that shows the cookie.
fn enter(mark: &Started) -> String {
    let answer = mark.get(&mark.way_in, "");
    assert_eq!(answer.status, 200);
    let cookie = answer.header("set-cookie").expect("a cookie");
    let (pair, attributes) = cookie.split_once(';').expect("attributes");
    assert_eq!(attributes, " HttpOnly; SameSite=Strict; Path=/");
    format!("Cookie: other=1; {pair}\r\n")
}

#[test]
fn the_printed_address_works_once_and_only_its_cookie_opens_the_page() {
    let folder = folder();
    let job = folder.path().join("job.json");
    let mark = Started::start(&job);
    let before = fs::read(&job).expect("there");
    let change = json!({ "base": "", "label": "x", "edits": [] }).to_string();
    let kind = "Content-Type: application/json\r\n";
    for path in [
        "/",
        "/api/state",
        "/page/main.js",
        "/results/report.html",
        "/open/",
        "/open/0",
    ] {
        let answer = mark.get(path, "");
        assert!([403, 404].contains(&answer.status), "{path}: {answer:?}");
        assert_eq!(answer.header("set-cookie"), None);
    }
    assert_eq!(
        mark.ask("POST", "/api/change", kind, &change).code(),
        "no-cookie"
    );
    let cookie = enter(&mark);
    assert!(
        !cookie.contains(&mark.way_in["/open/".len()..]),
        "the cookie is another secret"
    );
    for _ in 0..2 {
        let again = mark.get(&mark.way_in, "");
        assert_eq!((again.status, again.code().as_str()), (403, "used-address"));
    }
    assert_eq!(mark.get(&mark.way_in, &cookie).status, 200);
    for headers in ["", "Cookie: tickstrip=1\r\n"] {
        assert_eq!(mark.get("/api/state", headers).code(), "no-cookie");
    }
    for _ in 0..2 {
        assert_eq!(
            mark.get("/", &cookie).status,
            200,
            "a reload goes on working"
        );
    }
    let state = mark.get("/api/state", &cookie).json();
    assert_eq!(state["job"]["title"], "Three boxes");
    assert_eq!(fs::read(&job).expect("there"), before);
}

#[test]
fn a_page_of_another_program_may_not_ask_even_with_the_cookie() {
    let folder = folder();
    let job = folder.path().join("job.json");
    let mark = Started::start(&job);
    let cookie = enter(&mark);
    let revision = mark.get("/api/state", &cookie).json()["revision"].clone();
    let before = fs::read(&job).expect("there");
    let edit = json!([{ "op": "set", "at": "/job/title", "value": "taken over" }]);
    let change = json!({ "base": revision, "label": "x", "edits": edit }).to_string();
    for origin in [
        "http://127.0.0.1",
        "http://127.0.0.1:1",
        "https://page.example",
        "null",
    ] {
        let headers = format!("{cookie}Origin: {origin}\r\nContent-Type: application/json\r\n");
        let answer = mark.ask("POST", "/api/change", &headers, &change);
        assert_eq!(answer.code(), "foreign-page", "{origin}");
    }
    let forged = format!("{cookie}Content-Type: text/plain\r\n");
    assert_eq!(
        mark.ask("POST", "/api/change", &forged, &change).status,
        415,
        "a form is no change"
    );
    assert_eq!(fs::read(&job).expect("there"), before);
    let headers = format!(
        "{cookie}Origin: http://{}\r\nContent-Type: application/json\r\n",
        mark.host
    );
    let answer = mark.ask("POST", "/api/change", &headers, &change);
    assert_eq!(
        answer.status,
        200,
        "{}",
        String::from_utf8_lossy(&answer.body)
    );
    let after: Value = serde_json::from_slice(&fs::read(&job).expect("there")).expect("JSON");
    assert_eq!(after["title"], "taken over");
}

#[test]
fn requests_that_cannot_be_used_are_refused_in_one_form() {
    let folder = folder();
    let mark = Started::start(&folder.path().join("job.json"));
    let cookie = enter(&mark);
    for path in [
        "/page/%ff",
        "/api/picture/x/render",
        "/api/tile/0/-1/0/0",
        "/open/%ff",
    ] {
        assert_eq!(mark.get(path, &cookie).code(), "not-found", "{path}");
    }
    let json = format!("{cookie}Content-Type: application/json\r\n");
    for (headers, body, status) in [
        (&json, "{", 400),
        (&json, "{\"base\": 1}", 422),
        (&cookie, "{\"base\": \"\"}", 415),
    ] {
        let answer = mark.ask("POST", "/api/undo", headers, body);
        assert_eq!(
            (answer.status, answer.code().as_str()),
            (status, "bad-body"),
            "{body}"
        );
    }
    let endless = format!("{{\"{}\": 1}}", "x".repeat(1 << 20));
    let answer = mark.ask("POST", "/api/refine", &json, &endless);
    assert!(answer.status == 422 && answer.body.len() < 2000);
}

#[test]
fn every_answer_of_the_page_is_closed_to_other_pages() {
    let folder = folder();
    let mark = Started::start(&folder.path().join("job.json"));
    let cookie = enter(&mark);
    for path in [
        "/",
        "/page/main.js",
        "/page/page.css",
        "/api/state",
        "/nothing",
    ] {
        for headers in ["", &cookie] {
            super::assert_closed(path, &mark.get(path, headers));
        }
    }
}

#[cfg(target_os = "linux")]
#[test]
fn no_command_line_holds_what_opens_the_page() {
    use std::os::unix::fs::PermissionsExt;
    let folder = folder();
    let told = folder.path().join("told");
    let opener = folder.path().join("xdg-open");
    // What the browser's command line would be, and what stands in the file that it names.
    let script = format!(
        "#!/bin/sh\nprintf '%s' \"$*\" > '{0}.new'\nmv '{0}.new' '{0}'\n",
        told.display()
    );
    fs::write(&opener, script).expect("written");
    fs::set_permissions(&opener, fs::Permissions::from_mode(0o755)).expect("executable");
    let path = std::env::var("PATH").unwrap_or_default();
    let mut command = Command::new(env!("CARGO_BIN_EXE_tickstrip"));
    command
        .arg("mark")
        .arg(folder.path().join("job.json"))
        .env("DISPLAY", ":99")
        .env("PATH", format!("{}:{path}", folder.path().display()));
    let mut mark = Started::of(command);
    let begun = std::time::Instant::now();
    while !told.exists() {
        assert!(
            begun.elapsed() < Duration::from_secs(60),
            "no browser was asked for"
        );
        std::thread::sleep(Duration::from_millis(10));
    }
    let file = fs::read_to_string(&told).expect("told");
    let code = &mark.way_in["/open/".len()..];
    let own =
        fs::read_to_string(format!("/proc/{}/cmdline", mark.child.id())).expect("Linux has it");
    assert!(!file.contains(code) && !own.contains(code), "{file} {own}");
    let mode = |path: &Path| fs::metadata(path).expect("there").permissions().mode() & 0o777;
    let file = Path::new(&file);
    assert_eq!(
        (mode(file), mode(file.parent().expect("a folder"))),
        (0o600, 0o700)
    );
    let page = fs::read_to_string(file).expect("readable");
    assert!(
        page.contains(&format!("http://{}{}", mark.host, mark.way_in)),
        "{page}"
    );
    let kill = Command::new("kill")
        .args(["-INT", &mark.child.id().to_string()])
        .status();
    assert!(kill.expect("kill is there").success());
    assert_eq!(mark.child.wait().expect("ended").code(), Some(0));
    assert!(!file.exists(), "the file goes with the program");
}
