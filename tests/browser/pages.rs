//! The dashboard in a real browser, over a running rehearsal: live, without scripts, by the keyboard alone, on narrow and wide
//! screens, in light and dark. Leaves a picture of each page in `artefacts/`.
#![expect(clippy::unwrap_used, clippy::expect_used, reason = "a test may stop")]

mod every_page;
mod eyes;
mod flows;
mod keyboard;
mod strangers;

use eyes::{Eyes, Running, look};
use std::path::PathBuf;
use std::process::Command;
use tempfile::TempDir;
use thirtyfour::prelude::*;

/// What npm has put there for the tests.
fn things(name: &str) -> PathBuf {
    let folder = PathBuf::from(concat!(env!("CARGO_MANIFEST_DIR"), "/../target/things/node_modules"));
    let folder = folder.canonicalize().expect("no npm packages in target/things; tests/run installs them");
    folder.join(name)
}

async fn with_scripts(eyes: Eyes) {
    eyes.size(1200, 900).await;
    eyes.scheme("light").await;
    eyes.open("").await;
    flows::follows_the_printer(&eyes).await;
    flows::alarms(&eyes).await;
    flows::outcomes(&eyes).await;
    flows::changes(&eyes).await;
    flows::parts(&eyes).await;
    flows::reports(&eyes).await;
    flows::preflight(&eyes).await;
    keyboard::reaches_everything(&eyes).await;
    let kinds = every_page::kinds(&eyes.dashboard).await;
    every_page::are_small_and_valid(&eyes.dashboard, &kinds).await;
    every_page::hold_to_their_promises(&eyes, &kinds).await;
    is_quiet(&eyes).await;
}

/// The page's own HTML has it all; scripts only save reloads.
async fn without_scripts(eyes: Eyes) {
    eyes.open("").await;
    // Only where scripts are off is this an element, and not text.
    let renewals = eyes.driver.find_all(By::Css("noscript > meta[http-equiv=refresh]")).await.unwrap();
    assert_eq!(renewals.len(), 1, "scripts are not off");
    let tools = eyes.driver.find_all(By::Css(".tool")).await.unwrap();
    assert_eq!(tools.len(), 2);
    for (tool, name) in tools.iter().zip(["T0", "T1"]) {
        let text = tool.text().await.unwrap();
        assert!(text.starts_with(name) && text.contains("of the residence budget"), "{text}");
    }
    // Without scripts it stands still for half a minute.
    keyboard::goes_through(&eyes, "").await;
    let kinds = every_page::kinds(&eyes.dashboard).await;
    every_page::hold_without_scripts(&eyes, &kinds).await;
    is_quiet(&eyes).await;
    // What it is refused with stands in the console.
    flows::forged_link(&eyes).await;
}

/// Nothing at all stands in the browser's console.
async fn is_quiet(eyes: &Eyes) {
    let log = eyes.driver.browser_log().await.unwrap();
    assert!(log.is_empty(), "{log:#?}");
}

#[tokio::test]
async fn pages_hold_in_a_browser() {
    if std::env::var("DWELLWATCH_TESTS").is_ok_and(|tests| tests == "quick") {
        #[expect(clippy::print_stdout, reason = "whoever runs the tests should know what was left out")]
        {
            println!("left out: DWELLWATCH_TESTS=quick has no browser");
        }
        return;
    }
    // The HTTP client wants one, though all it asks is on loopback. Another test's is as good.
    drop(rustls::crypto::ring::default_provider().install_default());
    let scratch = TempDir::new().unwrap();
    let driver = Running::start(Command::new("chromedriver").arg("--port=0"), "started successfully on port ");
    let mut demo = Command::new(env!("CARGO_BIN_EXE_dwellwatch-under-test"));
    let demo = Running::start(demo.arg("demo").env("TMPDIR", scratch.path()), "Dashboard     ");
    look(&driver, &demo.told, true, with_scripts).await;
    look(&driver, &demo.told, false, without_scripts).await;
    drop(demo);
    let asks = strangers::daemon(scratch.path());
    let address = format!("http://127.0.0.1:{}/", asks.port());
    look(&driver, &address, true, strangers::are_asked_and_let_in).await;
}
