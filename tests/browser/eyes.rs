//! A real browser and what it sees: opening pages, sizes, schemes, pictures. Judges nothing by itself.

use serde_json::json;
use std::fs;
use std::future::Future;
use std::io::{BufRead, BufReader};
use std::path::{Path, PathBuf};
use std::process::{Child, ChildStdout, Command, Stdio};
use std::time::{Duration, Instant};
use thirtyfour::common::capabilities::chrome::ChromeCapabilities;
use thirtyfour::prelude::*;
use thirtyfour::{ChromiumLikeCapabilities, LoggingPrefsLogLevel};

/// Real time in which a page that follows the printer must have changed.
pub(crate) const LIVE_WITHIN: Duration = Duration::from_secs(15);

/// A program that ends with the test, however the test ends.
pub(crate) struct Running {
    child: Child,
    /// Kept open: a program that says more must not find its stdout closed.
    stdout: BufReader<ChildStdout>,
    /// The rest of the first line that has the phrase.
    pub(crate) told: String,
}

impl Running {
    /// Starts the program and reads its stdout up to the line that has the phrase.
    pub(crate) fn start(command: &mut Command, phrase: &str) -> Self {
        let spawned = command.stdin(Stdio::null()).stdout(Stdio::piped()).stderr(Stdio::null()).spawn();
        let mut child = spawned.unwrap_or_else(|error| {
            unreachable!("{:?}: {error}; tests/run installs chromium and chromedriver", command.get_program())
        });
        let stdout = BufReader::new(child.stdout.take().unwrap());
        let mut running = Self { child, stdout, told: String::new() };
        let mut line = String::new();
        while running.stdout.read_line(&mut line).unwrap() > 0 {
            if let Some((_, told)) = line.split_once(phrase) {
                running.told = told.trim().trim_end_matches('.').to_owned();
                return running;
            }
            line.clear();
        }
        unreachable!("{:?} ended without saying {phrase:?}", command.get_program())
    }
}

impl Drop for Running {
    fn drop(&mut self) {
        // It may have ended by itself.
        drop(self.child.kill());
        drop(self.child.wait());
    }
}

/// A browser's start, with a profile of its own.
fn capabilities(profile: &Path, scripts: bool) -> ChromeCapabilities {
    let mut chrome = DesiredCapabilities::chrome();
    let profile = format!("--user-data-dir={}", profile.display());
    for argument in [
        "--headless=new",
        "--no-sandbox",
        "--disable-gpu",
        "--disable-dev-shm-usage",
        "--no-first-run",
        "--disable-background-networking",
        "--disable-component-update",
        "--disable-sync",
        "--hide-scrollbars",
        &profile,
    ] {
        chrome.add_arg(argument).unwrap();
    }
    chrome.set_browser_log_level(LoggingPrefsLogLevel::All).unwrap();
    if !scripts {
        let preferences = json!({ "profile.managed_default_content_settings.javascript": 2 });
        chrome.add_experimental_option("prefs", preferences).unwrap();
    }
    chrome
}

/// The dashboard, seen through one browser.
#[derive(Clone)]
pub(crate) struct Eyes {
    pub(crate) driver: WebDriver,
    pub(crate) dashboard: String,
}

impl Eyes {
    pub(crate) async fn open(&self, path: &str) {
        self.driver.goto(format!("{}{path}", self.dashboard)).await.unwrap();
    }

    /// The text of everything the selector names, in the page's order; none if there is no such thing.
    pub(crate) async fn texts(&self, selector: &str) -> Vec<String> {
        let script = "return [...document.querySelectorAll(arguments[0])].map((each) => each.innerText);";
        self.driver.execute(script, vec![json!(selector)]).await.unwrap().convert().unwrap()
    }

    /// Waits until a text of what the selector names passes, and gives it.
    pub(crate) async fn wait(&self, within: Duration, selector: &str, passes: impl Fn(&str) -> bool) -> String {
        let begun = Instant::now();
        loop {
            let texts = self.texts(selector).await;
            if let Some(text) = texts.iter().find(|text| passes(text)) {
                return text.clone();
            }
            assert!(begun.elapsed() < within, "{selector} after {within:?}: {texts:?}");
            tokio::time::sleep(Duration::from_millis(200)).await;
        }
    }

    /// Where the first such link leads, below the dashboard's address.
    pub(crate) async fn path_of(&self, link: &str) -> String {
        let link = self.driver.find(By::Css(link)).await.unwrap();
        link.attr("href").await.unwrap().unwrap().trim_start_matches('/').to_owned()
    }

    /// Waits until a page says so: one that a form leads to may still be on its way.
    pub(crate) async fn until(&self, condition: &str) {
        let begun = Instant::now();
        while self.number(&format!("return Number({condition});")).await == 0 {
            assert!(begun.elapsed() < LIVE_WITHIN, "{condition} is not so after {LIVE_WITHIN:?}");
            tokio::time::sleep(Duration::from_millis(200)).await;
        }
    }

    pub(crate) async fn find(&self, selector: &str) -> WebElement {
        self.driver.find(By::Css(selector)).await.unwrap_or_else(|error| unreachable!("{selector}: {error}"))
    }

    pub(crate) async fn number(&self, script: &str) -> u32 {
        self.driver.execute(script, vec![]).await.unwrap().convert().unwrap()
    }

    pub(crate) async fn size(&self, width: u32, height: u32) {
        let size = json!({ "width": width, "height": height, "deviceScaleFactor": 1, "mobile": false });
        self.driver.cdp().send_raw("Emulation.setDeviceMetricsOverride", size).await.unwrap();
    }

    pub(crate) async fn scheme(&self, scheme: &str) {
        let media = json!({ "media": "", "features": [{ "name": "prefers-color-scheme", "value": scheme }] });
        self.driver.cdp().send_raw("Emulation.setEmulatedMedia", media).await.unwrap();
    }

    pub(crate) async fn shoot(&self, name: &str) {
        let png = self.driver.screenshot_as_png().await.unwrap();
        fs::write(artefacts().join(name), png).unwrap();
    }

    /// The ground's lightness as the browser paints it, 0 to 255.
    pub(crate) async fn ground(&self) -> u32 {
        self.number("return Number(getComputedStyle(document.body).backgroundColor.match(/\\d+/)[0]);").await
    }

    /// How wide the page needs the window to be, px.
    pub(crate) async fn width_needed(&self) -> u32 {
        self.number("return document.documentElement.scrollWidth;").await
    }

    /// Opens a page in a scheme and at a width, once its style is there; the ground has to follow the reader's choice.
    pub(crate) async fn open_as(&self, path: &str, scheme: &str, width: u32) {
        self.scheme(scheme).await;
        self.size(width, 800).await;
        self.open(path).await;
        let is_light = scheme == "light";
        let mut ground = self.ground().await;
        // The page may be there before its style is.
        for _ in 0..50 {
            if (ground > 128) == is_light {
                break;
            }
            tokio::time::sleep(Duration::from_millis(100)).await;
            ground = self.ground().await;
        }
        assert_eq!(ground > 128, is_light, "{path} in {scheme} has a ground of {ground}");
    }

    /// A picture of the page in its whole height, or the first 4000 px of it.
    pub(crate) async fn shoot_whole(&self, name: &str, width: u32) {
        let height = self.number("return document.documentElement.scrollHeight;").await;
        self.size(width, height.min(4000)).await;
        self.shoot(name).await;
    }
}

pub(crate) fn artefacts() -> PathBuf {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).parent().unwrap().join("artefacts");
    fs::create_dir_all(&folder).unwrap();
    folder
}

/// One browser looks at the dashboard; it is closed whether or not what it finds is right.
pub(crate) async fn look<F, Seen>(driver: &Running, dashboard: &str, scripts: bool, steps: F)
where
    F: FnOnce(Eyes) -> Seen,
    Seen: Future<Output = ()> + Send + 'static,
{
    let profile = tempfile::tempdir().unwrap();
    let at = format!("http://127.0.0.1:{}", driver.told);
    let driver = WebDriver::new(at, capabilities(profile.path(), scripts)).await;
    let driver = driver.expect("chromium does not start; tests/run installs it");
    let eyes = Eyes { driver: driver.clone(), dashboard: dashboard.to_owned() };
    let seen = tokio::spawn(steps(eyes)).await;
    driver.quit().await.unwrap();
    seen.unwrap();
}
