//! A real browser on the marking page, driven like a user: pointer and keys.
use crate::support::process::{Process, serve, start};
use fantoccini::{
    Client, ClientBuilder, Locator,
    actions::{InputSource, MOUSE_BUTTON_LEFT, MouseActions, PointerAction},
    key::Key,
};
use hyper_util::client::legacy::connect::HttpConnector;
use serde_json::{Value, json};
use std::{
    path::Path,
    process::{Command, Stdio},
    time::{Duration, Instant},
};

/// The driver, which takes its browser with it only when it is asked to end.
struct Driver(Process);

impl Drop for Driver {
    fn drop(&mut self) {
        let child = &mut self.0.0;
        let _ = Command::new("kill").arg(child.id().to_string()).status();
        let begun = Instant::now();
        while matches!(child.try_wait(), Ok(None)) && begun.elapsed() < Duration::from_secs(3) {
            std::thread::sleep(Duration::from_millis(20));
        }
    }
}

/// `tickstrip mark`, and the address of its page.
pub fn mark(job: &Path) -> (Process, String) {
    let mut command = Command::new(env!("CARGO_BIN_EXE_tickstrip"));
    command.arg("mark").arg(job).arg("--no-browser");
    command.stderr(Stdio::null());
    serve(command)
}

/// `tickstrip mark` on a desktop whose browser only writes down what it was told, into a file.
#[cfg(target_os = "linux")]
pub fn serve_to_desktop(job: &Path, told: &Path) -> (Process, String) {
    let bin = tempfile::tempdir().expect("a folder");
    let opener = bin.path().join("xdg-open");
    let script = format!(
        "#!/bin/sh\nprintf '%s' \"$*\" > '{0}.new'\nmv '{0}.new' '{0}'\n",
        told.display()
    );
    std::fs::write(&opener, script).expect("written");
    let mode = std::os::unix::fs::PermissionsExt::from_mode(0o755);
    std::fs::set_permissions(&opener, mode).expect("executable");
    let path = std::env::var("PATH").unwrap_or_default();
    let mut command = Command::new(env!("CARGO_BIN_EXE_tickstrip"));
    command.arg("mark").arg(job).env("DISPLAY", ":99");
    command.env("PATH", format!("{}:{path}", bin.path().display()));
    let address = |line: &str| line.starts_with("http://").then(|| line.to_owned());
    let served = start(command, address).expect("the page is served");
    until_there(told);
    served
}

/// The text of a file that another program writes.
#[cfg(target_os = "linux")]
pub fn until_there(file: &Path) -> String {
    let begun = Instant::now();
    loop {
        match std::fs::read_to_string(file) {
            Ok(text) => return text,
            Err(error) if begun.elapsed() > Duration::from_secs(60) => panic!("in vain: {error}"),
            Err(_) => std::thread::sleep(Duration::from_millis(20)),
        }
    }
}

/// A browser window, with the driver that steers it.
pub struct Browser {
    pub client: Client,
    _driver: Driver,
}

impl Browser {
    /// `None` with a line that says so where there is no browser.
    ///
    /// # Panics
    /// Where there is none and `CI` is set: there the checks must run.
    pub async fn open(test: &str, dark: bool) -> Option<Self> {
        let mut driver = Command::new("chromedriver");
        driver.arg("--port=0").stderr(Stdio::null());
        let port = |line: &str| {
            let (_, rest) = line.split_once("started successfully on port ")?;
            rest.trim_end_matches('.').parse::<u16>().ok()
        };
        let Some((driver, port)) = start(driver, port) else {
            assert!(
                std::env::var_os("CI").is_none(),
                "{test}: chromedriver is missing"
            );
            #[expect(clippy::print_stdout, reason = "scripts/test counts these lines")]
            {
                println!("SKIPPED: {test}: chromedriver is missing");
            }
            return None;
        };
        let scheme = format!("--blink-settings=preferredColorScheme={}", u8::from(!dark));
        let options = json!({ "args": ["--headless=new", "--no-sandbox", "--disable-gpu", "--window-size=1280,720",
            "--force-device-scale-factor=1", "--hide-scrollbars", scheme] });
        let capabilities = json!({ "goog:chromeOptions": options });
        let client = ClientBuilder::new(HttpConnector::new())
            .capabilities(capabilities.as_object().expect("an object").clone())
            .connect(&format!("http://127.0.0.1:{port}"))
            .await
            .expect("the browser starts");
        Some(Self {
            client,
            _driver: Driver(driver),
        })
    }

    /// Opens an address and waits until the page stands.
    pub async fn goto(&self, address: &str) {
        self.client.goto(address).await.expect("opened");
        self.until("return document.documentElement.dataset.ready && ['render', 'reference', 'over'].every(p => document.querySelector('#' + p).dataset.view && !document.querySelector(`#${p}-state`).textContent)").await;
    }

    /// Has the page show both images beside each other ("both"), one of them, or both in one picture ("over"); "" for what the
    /// next mark needs.
    pub async fn shows(&self, what: &str) {
        self.choose("#shows", what).await;
    }

    /// Chooses a landmark by the name in its cell of the strip.
    pub async fn select(&self, name: &str) {
        let script = format!(
            "[...document.querySelectorAll('.cell')].find(c => c.entry.mark.name === {}).querySelector('.cell-name').click()",
            json!(name)
        );
        self.run(&script).await;
    }

    pub async fn run(&self, script: &str) -> Value {
        self.client.execute(script, vec![]).await.expect(script)
    }

    /// Waits until a script returns something true.
    pub async fn until(&self, script: &str) {
        let begun = Instant::now();
        loop {
            let value = self.run(script).await;
            if !matches!(value, Value::Null | Value::Bool(false)) && value != "" && value != 0 {
                return;
            }
            if begun.elapsed() > Duration::from_secs(60) {
                self.shot("failed").await;
                panic!("in vain: {script}");
            }
            tokio::time::sleep(Duration::from_millis(20)).await;
        }
    }

    /// Waits until all changes are saved.
    pub async fn saved(&self) {
        self.until("return !document.documentElement.dataset.busy && document.querySelector('#saved').textContent.startsWith('Saved ')")
            .await;
    }

    /// Types the name of the mark that is selected.
    pub async fn name_it(&self, name: &str) {
        self.keys("e").await;
        self.until("return document.activeElement.id === 'mark-name'")
            .await;
        self.keys(name).await;
    }

    pub async fn press(&self, css: &str) {
        let element = self.client.find(Locator::Css(css)).await.expect(css);
        element.click().await.expect(css);
    }

    pub async fn text(&self, css: &str) -> String {
        let script = format!("return document.querySelector({}).textContent", json!(css));
        self.run(&script).await.as_str().expect("text").to_owned()
    }

    /// Types into what has the focus.
    pub async fn keys(&self, keys: &str) {
        let element = self.client.active_element().await.expect("a focus");
        element.send_keys(keys).await.expect("typed");
    }

    /// Types into a field.
    pub async fn fill(&self, css: &str, text: &str) {
        let element = self.client.find(Locator::Css(css)).await.expect(css);
        element.send_keys(text).await.expect(css);
    }

    /// Chooses an entry of a list. The page may make its entries anew between the look for one and the click on it: then once more.
    pub async fn choose(&self, css: &str, value: &str) {
        for _ in 0..20 {
            let element = self.client.find(Locator::Css(css)).await.expect(css);
            match element.select_by_value(value).await {
                Err(error) if error.is_stale_element_reference() => {}
                chosen => return chosen.expect(css),
            }
            tokio::time::sleep(Duration::from_millis(50)).await;
        }
        panic!("{css} changes all the time");
    }

    /// Clicks the point of a picture that lies nearest to this one, the whole picture being shown.
    pub async fn click(&self, side: &str, point: [f64; 2]) {
        let at = self.in_window(side, point).await;
        self.click_at(at).await;
    }

    /// Where the window shows a point of a picture, the whole picture being shown.
    pub async fn in_window(&self, side: &str, point: [f64; 2]) -> [f64; 2] {
        self.press(&format!("[data-pane={side}][data-zoom=fit]"))
            .await;
        // The picture is drawn with the next frame.
        self.client
            .execute_async(
                "requestAnimationFrame(() => requestAnimationFrame(arguments[0]))",
                vec![],
            )
            .await
            .expect("drawn");
        let script = format!(
            "const c = document.querySelector('#{side}'), b = c.getBoundingClientRect(), [x, y, s] = c.dataset.view.split(' ').map(Number);
             return [b.left + x + s * {}, b.top + y + s * {}]",
            point[0], point[1]
        );
        let at = self.run(&script).await;
        [0, 1].map(|k| at[k].as_f64().expect("a number"))
    }

    /// Clicks a place of the window.
    pub async fn click_at(&self, [x, y]: [f64; 2]) {
        let left = MOUSE_BUTTON_LEFT;
        let actions = MouseActions::new("mouse".to_owned())
            .then(PointerAction::MoveTo {
                duration: None,
                x: x.round(),
                y: y.round(),
            })
            .then(PointerAction::Down { button: left })
            .then(PointerAction::Up { button: left });
        self.client.perform_actions(actions).await.expect("clicked");
    }

    /// Drags from one place of the window to another.
    pub async fn drag(&self, from: [f64; 2], to: [f64; 2]) {
        let at = |[x, y]: [f64; 2]| PointerAction::MoveTo {
            duration: None,
            x: x.round(),
            y: y.round(),
        };
        let left = MOUSE_BUTTON_LEFT;
        let actions = MouseActions::new("mouse".to_owned())
            .then(at(from))
            .then(PointerAction::Down { button: left })
            .then(at([(from[0] + to[0]) / 2.0, (from[1] + to[1]) / 2.0]))
            .then(at(to))
            .then(PointerAction::Up { button: left });
        self.client.perform_actions(actions).await.expect("dragged");
    }

    /// Moves what is selected by arrow keys: `by` in tenths of a pixel.
    pub async fn nudge(&self, side: &str, by: [i32; 2]) {
        self.run(&format!("document.querySelector('#{side}').focus()"))
            .await;
        let mut keys = String::new();
        for (tenths, [less, more]) in by
            .into_iter()
            .zip([[Key::Left, Key::Right], [Key::Up, Key::Down]])
        {
            let arrow = char::from(if tenths < 0 { less } else { more });
            let (whole, rest) = (tenths.unsigned_abs() / 10, tenths.unsigned_abs() % 10);
            keys.extend(std::iter::repeat_n(arrow, rest as usize));
            if whole > 0 {
                keys.push(char::from(Key::Shift));
                keys.extend(std::iter::repeat_n(arrow, whole as usize));
                keys.push(char::from(Key::Null));
            }
        }
        if !keys.is_empty() {
            self.keys(&keys).await;
        }
    }

    /// Writes what the window shows into `$TICKSTRIP_SCREENSHOTS`, where that is set.
    pub async fn shot(&self, name: &str) {
        if let Some(folder) = std::env::var_os("TICKSTRIP_SCREENSHOTS") {
            let bytes = self.client.screenshot().await.expect("a picture");
            std::fs::write(Path::new(&folder).join(format!("{name}.png")), bytes).expect("written");
        }
    }

    pub async fn close(self) {
        self.client.close().await.expect("closed");
    }
}
