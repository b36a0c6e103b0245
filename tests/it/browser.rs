//! A real browser, driven over the WebDriver protocol, with a profile of its own.

use std::io::{BufRead, BufReader};
use std::path::PathBuf;
use std::process::{Child, Command, Stdio};
use std::sync::{Mutex, MutexGuard, PoisonError};
use std::time::{Duration, Instant};

use fantoccini::error::CmdError;
use fantoccini::wd::{TimeoutConfiguration, WebDriverCompatibleCommand, WindowHandle};
use fantoccini::{Client, ClientBuilder};
use serde_json::{Value, json};
use tokio::runtime::Runtime;

/// Reached only when something hangs.
const PATIENCE: Duration = Duration::from_secs(60);
/// So long one script looks, before it says that it is not so yet.
const LOOK_MS: u64 = 1_000;
/// One that has not answered by then never will: its page is gone.
const ANSWER_MAX: Duration = Duration::from_secs(15);
const FLAGS: &[&str] = &[
    "--headless",
    "--no-sandbox",
    "--disable-gpu",
    "--disable-quic",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
    // a bench's screen has been touched before; what a browser blocks until then is tested apart
    "--autoplay-policy=no-user-gesture-required",
];

/// One browser at a time: two cores draw one page well and four badly.
static ONE: Mutex<()> = Mutex::new(());

pub struct Browser {
    runtime: Runtime,
    client: Option<Client>,
    driver: Child,
    _profile: tempfile::TempDir,
    _one: Option<MutexGuard<'static, ()>>,
}

impl Browser {
    pub fn new() -> Browser {
        Browser::with(FLAGS, Some(ONE.lock().unwrap_or_else(PoisonError::into_inner)))
    }

    /// One that keeps silent until it is touched.
    pub fn untouched() -> Browser {
        let flags: Vec<&str> = FLAGS.iter().copied().filter(|f| !f.contains("autoplay")).collect();
        Browser::with(&flags, Some(ONE.lock().unwrap_or_else(PoisonError::into_inner)))
    }

    /// One that asks for as little motion as can be.
    pub fn still() -> Browser {
        let mut flags = FLAGS.to_vec();
        flags.push("--force-prefers-reduced-motion");
        Browser::with(&flags, Some(ONE.lock().unwrap_or_else(PoisonError::into_inner)))
    }

    fn with(flags: &[&str], one: Option<MutexGuard<'static, ()>>) -> Browser {
        let profile = tempfile::tempdir().unwrap();
        let mut driver = Command::new("chromedriver")
            .arg("--port=0")
            .stdout(Stdio::piped())
            .stderr(Stdio::null())
            .spawn()
            .expect("chromedriver; tests/run installs it");
        let mut out = BufReader::new(driver.stdout.take().unwrap());
        let mut line = String::new();
        let port: u16 = loop {
            line.clear();
            assert!(out.read_line(&mut line).unwrap() > 0, "chromedriver names no port");
            let named = line.rsplit_once("successfully on port ").map(|(_, port)| port.trim());
            if let Some(port) = named.and_then(|port| port.trim_end_matches('.').parse().ok()) {
                break port;
            }
        };
        // whatever else it says must not block it
        std::thread::spawn(move || std::io::copy(&mut out, &mut std::io::sink()));
        let mut args: Vec<String> = flags.iter().map(|flag| (*flag).to_owned()).collect();
        args.push(format!("--user-data-dir={}", profile.path().display()));
        let wishes = json!({
            "goog:chromeOptions": { "args": args },
            "goog:loggingPrefs": { "browser": "ALL" },
        });
        let runtime = tokio::runtime::Builder::new_current_thread().enable_all().build().unwrap();
        let mut builder =
            ClientBuilder::new(hyper_util::client::legacy::connect::HttpConnector::new());
        builder.capabilities(wishes.as_object().unwrap().clone());
        let client =
            runtime.block_on(builder.connect(&format!("http://127.0.0.1:{port}"))).unwrap();
        Browser { runtime, client: Some(client), driver, _profile: profile, _one: one }
    }

    fn client(&self) -> &Client {
        self.client.as_ref().expect("closed only when dropped")
    }

    pub fn open(&self, url: &str) {
        self.runtime.block_on(self.client().goto(url)).unwrap();
    }

    /// Of what is seen of the page, in CSS pixels; a window cannot be as narrow as a phone.
    pub fn size(&self, width: u32, height: u32) {
        let metrics = json!({
            "width": width, "height": height, "deviceScaleFactor": 1, "mobile": false
        });
        let command = Extra {
            path: "goog/cdp/execute",
            body: json!({ "cmd": "Emulation.setDeviceMetricsOverride", "params": metrics }),
        };
        self.runtime.block_on(self.client().issue_cmd(command)).unwrap();
    }

    /// What the body of a function gives.
    pub fn script(&self, body: &str) -> Value {
        self.runtime.block_on(self.client().execute(body, vec![])).unwrap()
    }

    /// Until the expression is true in the page, or in the one that comes in its place.
    pub fn wait(&self, what: &str, expression: &str) {
        let script = format!(
            "const done = arguments[arguments.length - 1]; const until = Date.now() + {LOOK_MS};
             (function look() {{
               let so = false;
               try {{ so = Boolean({expression}); }} catch (error) {{ so = false; }}
               if (so || Date.now() > until) done(so); else setTimeout(look, 10);
             }})();"
        );
        let began = Instant::now();
        let is_over = || began.elapsed() > PATIENCE;
        loop {
            match self.answer_within(ANSWER_MAX, &script) {
                Ok(so) if so == true => return,
                Ok(_) if is_over() => {
                    let shown = self.text("body");
                    panic!("{what} does not come: `{expression}`; the page shows:\n{shown}");
                }
                Ok(_) => {}
                Err(error) if page_was_left(&error) && !is_over() => {}
                Err(error) => panic!("{what}: {error}"),
            }
        }
    }

    /// What a script hands to its last argument.
    fn answer_within(&self, limit: Duration, script: &str) -> Result<Value, CmdError> {
        let times = TimeoutConfiguration::new(Some(limit), None, None);
        self.runtime.block_on(async {
            self.client().update_timeouts(times).await?;
            self.client().execute_async(script, vec![]).await
        })
    }

    /// The text a person sees.
    pub fn text(&self, selector: &str) -> String {
        let selector = serde_json::to_string(selector).unwrap();
        let text = self.script(&format!("return document.querySelector({selector})?.innerText"));
        text.as_str().unwrap_or_else(|| panic!("nothing is {selector}")).to_owned()
    }

    /// Keys as a keyboard or a pedal sends them, to whatever has the focus.
    pub fn keys(&self, keys: &str) {
        use fantoccini::actions::{InputSource, KeyAction, KeyActions};
        let mut actions = KeyActions::new("keyboard".to_owned());
        for key in keys.chars() {
            actions = actions.then(KeyAction::Down { value: key });
            actions = actions.then(KeyAction::Up { value: key });
        }
        self.runtime.block_on(self.client().perform_actions(actions)).unwrap();
    }

    /// One key held down for so long.
    pub fn hold_key(&self, key: char, ms: u64) {
        use fantoccini::actions::{InputSource, KeyAction, KeyActions};
        let hold = KeyActions::new("keyboard".to_owned())
            .then(KeyAction::Down { value: key })
            .then(KeyAction::Pause { duration: Duration::from_millis(ms) })
            .then(KeyAction::Up { value: key });
        self.runtime.block_on(self.client().perform_actions(hold)).unwrap();
    }

    /// A finger on it for so long.
    pub fn hold(&self, selector: &str, ms: u64) {
        use fantoccini::actions::{InputSource, MOUSE_BUTTON_LEFT, MouseActions, PointerAction};
        let shown = serde_json::to_string(selector).unwrap();
        self.script(&format!(
            "document.querySelector({shown}).scrollIntoView({{block: 'center'}})"
        ));
        let held = self.runtime.block_on(async {
            let element = self.client().find(fantoccini::Locator::Css(selector)).await?;
            let hold = MouseActions::new("finger".to_owned())
                .then(PointerAction::MoveToElement { element, duration: None, x: 0.0, y: 0.0 })
                .then(PointerAction::Down { button: MOUSE_BUTTON_LEFT })
                .then(PointerAction::Pause { duration: Duration::from_millis(ms) })
                .then(PointerAction::Up { button: MOUSE_BUTTON_LEFT });
            self.client().perform_actions(hold).await
        });
        held.unwrap_or_else(|error| panic!("{selector}: {error}"));
    }

    /// Another window of the same browser; gives back the way to the first.
    pub fn second_window(&self) -> (WindowHandle, WindowHandle) {
        self.runtime.block_on(async {
            let first = self.client().window().await.unwrap();
            let second = self.client().new_window(false).await.unwrap().handle;
            (first, second)
        })
    }

    pub fn switch_to(&self, window: &WindowHandle) {
        self.runtime.block_on(self.client().switch_to_window(window.clone())).unwrap();
    }

    /// Where nothing sticky lies over it, as a person would scroll.
    pub fn click(&self, selector: &str) {
        let shown = serde_json::to_string(selector).unwrap();
        self.script(&format!(
            "document.querySelector({shown})?.scrollIntoView({{block: 'center'}})"
        ));
        let clicked = self.runtime.block_on(async {
            self.client().find(fantoccini::Locator::Css(selector)).await?.click().await
        });
        clicked.unwrap_or_else(|error| panic!("{selector}: {error}"));
    }

    /// A picture to look at, below the target folder: `tmp/NAME.png`.
    pub fn picture(&self, name: &str) {
        let png = self.runtime.block_on(self.client().screenshot()).unwrap();
        let file = PathBuf::from(env!("CARGO_TARGET_TMPDIR")).join(format!("{name}.png"));
        std::fs::write(file, png).unwrap();
    }

    /// What reaches over the right edge of the page, so that it would have to be scrolled sideways.
    pub fn too_wide(&self) -> Vec<String> {
        let found = self.script(
            "const root = document.documentElement;
             if (root.scrollWidth <= root.clientWidth) return [];
             return [...document.querySelectorAll('body *')]
               .filter(each => each.getBoundingClientRect().right > root.clientWidth + 1
                 && getComputedStyle(each).position !== 'absolute')
               .map(each => each.outerHTML.slice(0, 120))",
        );
        let found = found.as_array().cloned().unwrap_or_default();
        found.iter().map(|line| line.as_str().unwrap_or_default().to_owned()).collect()
    }

    /// What stands in the console and ought not to, since last asked.
    pub fn complaints(&self) -> Vec<String> {
        let log = Extra { path: "se/log", body: json!({ "type": "browser" }) };
        let log = self.runtime.block_on(self.client().issue_cmd(log)).unwrap();
        let entries = log.as_array().cloned().unwrap_or_default();
        let bad = entries.iter().filter(|entry| {
            ["WARNING", "SEVERE"].contains(&entry["level"].as_str().unwrap_or_default())
        });
        bad.map(|entry| entry["message"].as_str().unwrap_or_default().to_owned()).collect()
    }

    /// What axe-core finds against WCAG 2.2 AA, one line for each place.
    pub fn axe(&self) -> Vec<String> {
        let path = PathBuf::from(env!("CARGO_MANIFEST_DIR"))
            .join("tests/browser/node_modules/axe-core/axe.min.js");
        let axe = std::fs::read_to_string(&path)
            .unwrap_or_else(|error| panic!("{}: {error}; tests/run installs it", path.display()));
        self.script(&axe);
        let tags = r#"["wcag2a","wcag2aa","wcag21a","wcag21aa","wcag22aa","best-practice"]"#;
        let script = format!(
            "const done = arguments[arguments.length - 1];
             axe.run(document, {{ runOnly: {tags} }}).then(
               found => done(found.violations.flatMap(violation => violation.nodes.map(
                 node => violation.id + ': ' + node.target.join(' ') + ' ' + node.failureSummary))),
               error => done(['axe: ' + error]));"
        );
        let found = self.answer_within(PATIENCE, &script).unwrap();
        let found = found.as_array().cloned().unwrap_or_default();
        found.iter().map(|line| line.as_str().unwrap_or_default().to_owned()).collect()
    }
}

/// A page that is left in the middle of a script takes the answer with it; the driver says so in
/// one of three ways.
fn page_was_left(error: &CmdError) -> bool {
    let aborted = |said: &Value| said.as_str().is_some_and(|said| said.contains("navigation"));
    error.is_script_timeout()
        || error.is_javascript_error()
        || matches!(error, CmdError::NotW3C(said) if aborted(said))
}

impl Drop for Browser {
    fn drop(&mut self) {
        if let Some(client) = self.client.take() {
            // the driver is ended anyhow
            let _ = self.runtime.block_on(client.close());
        }
        let _ = self.driver.kill();
        let _ = self.driver.wait();
    }
}

/// What the driver can do beyond WebDriver itself.
#[derive(Debug)]
struct Extra {
    path: &'static str,
    body: Value,
}

impl WebDriverCompatibleCommand for Extra {
    fn endpoint(
        &self,
        base: &url::Url,
        session: Option<&str>,
    ) -> Result<url::Url, url::ParseError> {
        base.join(&format!("session/{}/{}", session.unwrap_or_default(), self.path))
    }

    fn method_and_body(&self, _: &url::Url) -> (http::Method, Option<String>) {
        (http::Method::POST, Some(self.body.to_string()))
    }
}

/// A form that is sent may put another page in the place of the one that is waited on.
#[test]
fn what_is_waited_for_may_come_with_the_next_page() {
    let folder = tempfile::tempdir().unwrap();
    for (name, text) in [("first", "not yet"), ("second", "here it is")] {
        std::fs::write(folder.path().join(format!("{name}.html")), text).unwrap();
    }
    let browser = Browser::new();
    browser.open(&format!("file://{}", folder.path().join("first.html").display()));
    // left by the very look at it, so never before it is waited on
    let here = "document.body.innerText.includes('here it is')";
    browser.wait("the next page", &format!("{here} || (location.href = 'second.html', false)"));
}
