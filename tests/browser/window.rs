//! One browser window with a profile of its own, and what a person can do in it.

use std::sync::Arc;
use std::time::{Duration, Instant};

use fantoccini::actions::{InputSource, KeyAction, KeyActions};
use fantoccini::elements::Element;
use fantoccini::error::CmdError;
use fantoccini::key::Key;
use fantoccini::wd::{PrintConfigurationBuilder, PrintSize};
use fantoccini::{Client, ClientBuilder, Locator};
use hyper_util::client::legacy::connect::HttpConnector;
use serde_json::{Value, json};
use tempfile::TempDir;

use super::driver::{Driver, program};
use crate::stories::site::Site;

/// Longest time for something to appear. Debug builds on a busy machine are slow; nothing waits longer than it has to.
const LONGEST: Duration = Duration::from_secs(60);

const ARGUMENTS: [&str; 9] = [
    "--headless",
    "--no-sandbox",
    "--disable-gpu",
    "--disable-quic",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
    // Containers give little shared memory.
    "--disable-dev-shm-usage",
];

/// Whether pages may run scripts.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Scripts {
    On,
    Off,
}

/// A window; its browser ends with it, also when a test fails.
pub(super) struct Window {
    client: Client,
    session: String,
    base: String,
    driver: Arc<Driver>,
    /// Removed after the browser has ended.
    _profile: TempDir,
}

impl Window {
    pub(super) async fn open(site: &Site, scripts: Scripts) -> Self {
        Self::open_at(&format!("http://{}", site.address()), scripts).await
    }

    /// The same at the address of another server.
    pub(super) async fn open_at(base: &str, scripts: Scripts) -> Self {
        let binary = program("chromium");
        let driver = Driver::shared();
        let profile = tempfile::tempdir().unwrap();
        let mut arguments = ARGUMENTS.map(str::to_owned).to_vec();
        arguments.push(format!("--user-data-dir={}", profile.path().display()));
        let mut options = json!({ "binary": binary, "args": arguments });
        if scripts == Scripts::Off {
            options["prefs"] = json!({ "profile.managed_default_content_settings.javascript": 2 });
        }
        let wanted = json!({ "browserName": "chrome", "goog:chromeOptions": options });
        let client = ClientBuilder::new(HttpConnector::new())
            .capabilities(wanted.as_object().unwrap().clone())
            .connect(&driver.address())
            .await
            .unwrap();
        let session = client.session_id().await.unwrap().unwrap();
        // The window ends its session itself, in `drop`.
        client.persist().await.unwrap();
        Self {
            client,
            session,
            base: base.to_owned(),
            driver,
            _profile: profile,
        }
    }

    /// Gives the page this many pixels of width, as a telephone, a tablet or a screen has them.
    pub(super) async fn widen(&self, width: u32) {
        let metrics = json!({ "width": width, "height": 900, "deviceScaleFactor": 1, "mobile": false });
        self.emulate("Emulation.setDeviceMetricsOverride", metrics).await;
        assert_eq!(self.run("return window.innerWidth").await, json!(width));
    }

    /// Asks pages for their dark or their light colours.
    pub(super) async fn darken(&self, dark: bool) {
        let scheme = if dark { "dark" } else { "light" };
        let features = json!({ "features": [{ "name": "prefers-color-scheme", "value": scheme }] });
        self.emulate("Emulation.setEmulatedMedia", features).await;
        let is_dark = self
            .run("return matchMedia('(prefers-color-scheme: dark)').matches")
            .await;
        assert_eq!(is_dark, json!(dark));
    }

    /// An order that only Chromium's own protocol has.
    async fn emulate(&self, order: &str, params: Value) {
        let client = reqwest::Client::builder().no_proxy().build().unwrap();
        let address = format!("{}/session/{}/goog/cdp/execute", self.driver.address(), self.session);
        let request = client.post(address).header("content-type", "application/json");
        let request = request.body(json!({ "cmd": order, "params": params }).to_string());
        let answer = request.send().await.unwrap();
        assert!(answer.status().is_success(), "{}", answer.text().await.unwrap());
    }

    pub(super) async fn go(&self, path: &str) {
        self.client.goto(&format!("{}{path}", self.base)).await.unwrap();
    }

    /// Puts an empty page in place of this one, as a tab that was closed.
    pub(super) async fn leave(&self) {
        self.client.goto("about:blank").await.unwrap();
    }

    /// Waits until this holds.
    pub(super) async fn until(&self, what: &str, holds: impl AsyncFn() -> bool) {
        let end = Instant::now() + LONGEST;
        while !holds().await {
            assert!(Instant::now() < end, "{what}: not so on {}", self.path().await);
            tokio::time::sleep(Duration::from_millis(50)).await;
        }
    }

    /// Does what leads to another page, be it of the same path, and waits until that stands.
    pub(super) async fn onward(&self, what: &str, act: impl AsyncFnOnce()) {
        self.run("window.old = true").await;
        act().await;
        let stands = "return document.readyState === 'complete' && !window.old";
        self.until(what, async || self.run(stands).await == Value::Bool(true))
            .await;
    }

    /// The page as a printer with this paper gets it, as a PDF; paper that the page itself asks for comes first.
    pub(super) async fn print(&self, size: PrintSize) -> Result<Vec<u8>, CmdError> {
        let wanted = PrintConfigurationBuilder::default().size(size).shrink_to_fit(false);
        self.client.print(wanted.build().unwrap()).await
    }

    /// Path of the page.
    pub(super) async fn path(&self) -> String {
        self.client.current_url().await.unwrap().path().to_owned()
    }

    /// The element, as soon as it is there.
    pub(super) async fn on(&self, css: &str) -> Element {
        let found = self.client.wait().at_most(LONGEST).for_element(Locator::Css(css)).await;
        if let Err(error) = &found {
            let page = self.client.source().await.unwrap();
            assert!(found.is_ok(), "no `{css}` on {}: {error}\n{page}", self.path().await);
        }
        found.unwrap()
    }

    /// All of these elements that are there now.
    pub(super) async fn all(&self, css: &str) -> Vec<Element> {
        self.client.find_all(Locator::Css(css)).await.unwrap()
    }

    /// What a person reads there.
    pub(super) async fn text(&self, css: &str) -> String {
        self.on(css).await.text().await.unwrap()
    }

    /// What stands in a field.
    pub(super) async fn value(&self, css: &str) -> String {
        self.on(css).await.prop("value").await.unwrap().unwrap()
    }

    /// Clicks it with the mouse.
    pub(super) async fn click(&self, css: &str) {
        self.on(css).await.click().await.unwrap();
    }

    /// Puts this in place of what stands in the field.
    pub(super) async fn fill(&self, css: &str, text: &str) {
        let field = self.on(css).await;
        field.clear().await.unwrap();
        field.send_keys(text).await.unwrap();
    }

    /// The same in several fields.
    pub(super) async fn fill_all(&self, all: &[(&str, &str)]) {
        for (css, text) in all {
            self.fill(css, text).await;
        }
    }

    /// Chooses a file.
    pub(super) async fn choose_file(&self, css: &str, file: &std::path::Path) {
        self.on(css).await.send_keys(file.to_str().unwrap()).await.unwrap();
    }

    /// Signs in with mouse and keyboard; comes out on the first page of the person.
    pub(super) async fn sign_in(&self, name: &str, secret: &str) {
        self.client.delete_all_cookies().await.unwrap();
        self.go("/sign-in").await;
        self.fill("#f-name", name).await;
        self.fill("#f-secret", secret).await;
        self.click("button.do").await;
        self.on("form[action='/sign-out']").await;
    }

    /// Result of a script.
    pub(super) async fn run(&self, script: &str) -> Value {
        self.client.execute(script, Vec::new()).await.unwrap()
    }

    /// Result of a script that calls back with it, as its last argument.
    pub(super) async fn run_until_called(&self, script: &str) -> Value {
        self.client.execute_async(script, Vec::new()).await.unwrap()
    }

    /// Presses a key wherever the focus is.
    pub(super) async fn press(&self, key: Key) {
        self.strike(&[key.into()]).await;
    }

    /// Types wherever the focus is.
    pub(super) async fn write(&self, text: &str) {
        self.strike(&text.chars().collect::<Vec<_>>()).await;
    }

    async fn strike(&self, keys: &[char]) {
        let mut actions = KeyActions::new("keyboard".to_owned());
        for key in keys {
            actions = actions
                .then(KeyAction::Down { value: *key })
                .then(KeyAction::Up { value: *key });
        }
        self.client.perform_actions(actions).await.unwrap();
    }

    /// Whether the keyboard is at this element.
    pub(super) async fn is_at(&self, css: &str) -> bool {
        let at = self.client.active_element().await.unwrap();
        at.element_id() == self.on(css).await.element_id()
    }

    /// Presses Tab until the keyboard is at this element.
    pub(super) async fn tab_to(&self, css: &str, at_most: usize) {
        for _ in 0..at_most {
            self.press(Key::Tab).await;
            if self.is_at(css).await {
                return;
            }
        }
        let at = self.client.active_element().await.unwrap().html(false).await.unwrap();
        assert!(
            self.is_at(css).await,
            "`{css}` is not reached with {at_most} tabs; at {at}"
        );
    }
}

impl Drop for Window {
    fn drop(&mut self) {
        self.driver.end(&self.session).ok();
    }
}
