//! Headless Chromium through its driver, for what only a browser can show: focus, keyboard, both
//! widths, both colour schemes, and life without scripts.

use fantoccini::actions::{InputSource, KeyAction, KeyActions};
use fantoccini::elements::Element;
use fantoccini::key::Key;
use fantoccini::{Client, ClientBuilder, Locator};
use hyper_util::client::legacy::connect::HttpConnector;
use serde_json::{Map, Value, json};
use std::io::{BufRead, BufReader};
use std::os::unix::process::CommandExt;
use std::process::{Child, Command, Stdio};
use tempfile::TempDir;

/// How the browser looks at a page.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Look {
    /// Width and height in CSS pixels.
    pub size: (u32, u32),
    pub is_dark: bool,
    pub has_scripts: bool,
}

impl Look {
    /// A phone held upright.
    pub const PHONE: Look = Look {
        size: (390, 844),
        is_dark: false,
        has_scripts: true,
    };
    /// A desk.
    pub const DESK: Look = Look {
        size: (1280, 900),
        is_dark: false,
        has_scripts: true,
    };

    pub const fn dark(self) -> Look {
        Look {
            is_dark: true,
            ..self
        }
    }

    pub const fn without_scripts(self) -> Look {
        Look {
            has_scripts: false,
            ..self
        }
    }
}

/// A browser with one page open.
pub struct Browser {
    pub page: Client,
    base: String,
    driver: Child,
    port: u16,
    _profile: TempDir,
}

impl Browser {
    /// Opens one for this server.
    pub async fn open(base: &str, look: Look) -> Self {
        let profile = TempDir::with_prefix("overwinter-browser-").expect("a folder");
        let (driver, port) = start_driver();
        let page = ClientBuilder::new(HttpConnector::new())
            .capabilities(capabilities(&profile, look))
            .connect(&format!("http://127.0.0.1:{port}"))
            .await
            .expect("Chromium starts");
        Self {
            page,
            base: base.to_owned(),
            driver,
            port,
            _profile: profile,
        }
    }

    /// Opens a page of the server.
    pub async fn goto(&self, path: &str) {
        self.page
            .goto(&format!("{}{path}", self.base))
            .await
            .expect("the page opens");
    }

    /// The path that is open, with its query.
    pub async fn path(&self) -> String {
        let url = self.page.current_url().await.expect("an address");
        url.as_str().trim_start_matches(&self.base).to_owned()
    }

    /// The first element that fits.
    pub async fn find(&self, selector: &str) -> Element {
        let found = self.page.wait().for_element(Locator::Css(selector)).await;
        found.unwrap_or_else(|_| panic!("nothing fits {selector}"))
    }

    /// The text of the first element that fits.
    pub async fn text(&self, selector: &str) -> String {
        self.find(selector).await.text().await.expect("its text")
    }

    /// Types into whatever has the focus; "\t" and "\n" are the keys.
    pub async fn type_keys(&self, keys: &str) {
        let keys = keys
            .replace('\t', &Key::Tab.to_string())
            .replace('\n', &Key::Enter.to_string());
        let focused = self
            .page
            .active_element()
            .await
            .expect("something has the focus");
        focused.send_keys(&keys).await.expect("it takes keys");
    }

    /// Presses the Tab key itself: what is typed into a field for files is taken for a path.
    pub async fn tab(&self) {
        let tab = char::from(Key::Tab);
        let keys = KeyActions::new("keys".to_owned())
            .then(KeyAction::Down { value: tab })
            .then(KeyAction::Up { value: tab });
        self.page
            .perform_actions(keys)
            .await
            .expect("it takes keys");
    }

    /// The name of the field that has the focus.
    pub async fn focused_field(&self) -> String {
        let focused = self
            .page
            .active_element()
            .await
            .expect("something has the focus");
        focused
            .attr("name")
            .await
            .expect("its name")
            .unwrap_or_default()
    }

    /// A number that an expression of the page comes to.
    pub async fn number(&self, expression: &str) -> f64 {
        let value = self
            .page
            .execute(&format!("return {expression}"), Vec::new())
            .await;
        value.expect("it runs").as_f64().expect("a number")
    }

    /// What a script on the page comes to; the script returns it.
    pub async fn run(&self, script: &str) -> Value {
        let value = self.page.execute(script, Vec::new()).await;
        value.unwrap_or_else(|error| panic!("{error} in {script}"))
    }

    /// What a script on the page comes to that takes its time: the body of an async function.
    pub async fn run_async(&self, body: &str) -> Value {
        let script = format!(
            "const done = arguments[arguments.length - 1];
            (async () => {{ {body} }})().then(
                (value) => done({{ value: value === undefined ? null : value }}),
                (error) => done({{ error: String(error && error.stack || error) }}));"
        );
        let answer = self.page.execute_async(&script, Vec::new()).await;
        let answer = answer.unwrap_or_else(|error| panic!("{error} in {body}"));
        assert!(answer.get("error").is_none(), "{answer} in {body}");
        answer["value"].clone()
    }

    /// Waits until an expression of the page is true, half a minute at most.
    pub async fn until(&self, expression: &str) {
        for _ in 0..600 {
            let script = format!("return !!({expression})");
            // While a page is being exchanged for another there is nothing to ask.
            if matches!(
                self.page.execute(&script, Vec::new()).await,
                Ok(Value::Bool(true))
            ) {
                return;
            }
            tokio::time::sleep(std::time::Duration::from_millis(50)).await;
        }
        let strip = "document.body.innerText.slice(0, 3000)";
        let shown = self
            .page
            .execute(&format!("return {strip}"), Vec::new())
            .await;
        panic!("never true: {expression}; the page says {shown:?}");
    }

    /// Waits until so many entries that were recorded in this browser are acknowledged.
    pub async fn has_sent(&self, count: usize) {
        let sent = "return (await overwinter.outbox.inState('sent')).length;";
        for _ in 0..600 {
            if self.run_async(sent).await == json!(count) {
                return;
            }
            tokio::time::sleep(std::time::Duration::from_millis(50)).await;
        }
        panic!("{} is not {count}", self.run_async(sent).await);
    }

    /// A command to the browser itself (Chrome DevTools protocol).
    pub async fn command(&self, name: &str, parameters: Value) -> Value {
        let session = self.page.session_id().await.expect("asked");
        let session = session.expect("a session");
        let address = format!(
            "http://127.0.0.1:{}/session/{session}/goog/cdp/execute",
            self.port
        );
        let client = overwinter::outbound::client().no_proxy().build();
        let answer = client
            .expect("a client")
            .post(address)
            .json(&json!({ "cmd": name, "params": parameters }))
            .send()
            .await
            .expect("the driver answers");
        assert!(answer.status().is_success(), "{name}: {answer:?}");
        answer.json().await.expect("JSON")
    }

    /// No part of the page is cut off at the side: it is no wider than the screen.
    pub async fn fits_the_screen(&self) {
        let page = self.number("document.documentElement.scrollWidth").await;
        let screen = self.number("document.documentElement.clientWidth").await;
        assert!(
            page <= screen,
            "{} is {page} wide on {screen}",
            self.path().await
        );
    }

    /// Keeps a picture for a person to look at, when `OVERWINTER_SHOTS` names a folder.
    pub async fn picture(&self, name: &str) {
        let Ok(folder) = std::env::var("OVERWINTER_SHOTS") else {
            return;
        };
        let png = self.page.screenshot().await.expect("a picture");
        std::fs::write(format!("{folder}/{name}.png"), png).expect("it is kept");
    }

    /// Closes it tidily. Dropping it without this kills it.
    pub async fn close(self) {
        self.page.clone().close().await.expect("it closes");
    }
}

impl Drop for Browser {
    fn drop(&mut self) {
        // The driver leads a group of its own with the browser in it.
        let group = format!("-{}", self.driver.id());
        let _ = Command::new("kill").args(["-KILL", "--", &group]).status();
        let _ = self.driver.wait();
    }
}

/// Starts the driver on a port that it chooses.
fn start_driver() -> (Child, u16) {
    let mut command = Command::new("chromedriver");
    command
        .arg("--port=0")
        .stdout(Stdio::piped())
        .stderr(Stdio::null())
        .process_group(0);
    let mut driver = command
        .spawn()
        .expect("chromedriver runs (tests/run installs it)");
    let mut lines = BufReader::new(driver.stdout.take().expect("its output is piped")).lines();
    let port = lines.by_ref().find_map(|line| {
        let line = line.ok()?;
        let (_, rest) = line.split_once("started successfully on port ")?;
        rest.trim_end_matches('.').parse().ok()
    });
    std::thread::spawn(move || lines.for_each(drop));
    (driver, port.expect("the driver says its port"))
}

fn capabilities(profile: &TempDir, look: Look) -> Map<String, Value> {
    let (width, height) = look.size;
    let mut arguments = vec![
        "--headless".to_owned(),
        "--no-sandbox".to_owned(),
        "--disable-gpu".to_owned(),
        "--disable-quic".to_owned(),
        "--no-first-run".to_owned(),
        "--disable-background-networking".to_owned(),
        "--disable-component-update".to_owned(),
        "--disable-sync".to_owned(),
        "--disable-dev-shm-usage".to_owned(),
        "--hide-scrollbars".to_owned(),
        format!("--window-size={width},{height}"),
        format!("--user-data-dir={}", profile.path().display()),
    ];
    if look.is_dark {
        arguments.push("--blink-settings=preferredColorScheme=0".to_owned());
    }
    let mut options = json!({ "args": arguments });
    if width < 500 {
        // A window cannot be that narrow; a phone can.
        let metrics = json!({ "width": width, "height": height, "pixelRatio": 2.0, "touch": true });
        options["mobileEmulation"] = json!({ "deviceMetrics": metrics });
    }
    if !look.has_scripts {
        let off = json!({ "profile.managed_default_content_settings.javascript": 2 });
        options["prefs"] = off;
    }
    let wanted = json!({ "browserName": "chrome", "goog:chromeOptions": options });
    wanted.as_object().cloned().expect("an object")
}
