//! The dashboard as somebody from elsewhere meets it, with a record in which nothing happened: who does not sign in sees the
//! sign-in alone, who does sees pages that read well though they are empty.

use crate::every_page;
use crate::eyes::{Eyes, LIVE_WITHIN};
use dwell_tests::daemon::Daemon;
use std::collections::BTreeMap;
use std::io::Write;
use std::path::Path;
use std::process::{Command, Stdio};
use thirtyfour::prelude::*;

const PROGRAM: &str = env!("CARGO_BIN_EXE_dwellwatch-under-test");
const PASSWORD: &str = "quiet gulls over slate";
/// A printer whose host is not there.
const PRINTER: &str = "[[printer]]\nname = \"bench\"\n[[printer.document]]\nname = \"all\"\nurl = \"http://127.0.0.1:9/\"\n\
    [printer.job.state]\npath = \"/state\"\n[[printer.tool]]\nactual = { path = \"/t0\" }\n";
const PAGES: [&str; 10] =
    ["", "prints", "causes", "changes", "parts", "alarms", "preflight", "reports", "setup", "sign-in"];

/// A daemon that asks this machine's browser for the password, too.
pub(crate) fn daemon(folder: &Path) -> Daemon {
    let mut made = Command::new(PROGRAM);
    let mut made = made.arg("password").stdin(Stdio::piped()).stdout(Stdio::piped()).spawn().unwrap();
    writeln!(made.stdin.take().unwrap(), "{PASSWORD}").unwrap();
    let line = String::from_utf8(made.wait_with_output().unwrap().stdout).unwrap();
    Daemon::start(PROGRAM, folder, &format!("{line}loopback_signs_in = true\n{PRINTER}"))
}

/// Goes to a page, is asked for the password, gets it wrong and then right, and looks at every page.
pub(crate) async fn are_asked_and_let_in(eyes: Eyes) {
    let mut outside = BTreeMap::from([("sign-in".to_owned(), "sign-in".to_owned())]);
    every_page::are_small_and_valid(&eyes.dashboard, &outside).await;
    every_page::hold_to_their_promises(&eyes, &outside).await;
    eyes.open_as("alarms", "light", 360).await;
    eyes.until("location.pathname === '/sign-in'").await;
    eyes.find("input[type=password]").await.send_keys("loud gulls over slate" + Key::Enter).await.unwrap();
    eyes.wait(LIVE_WITHIN, "[role=alert]", |said| !said.is_empty()).await;
    eyes.shoot("sign-in-wrong.png").await;
    eyes.find("input[type=password]").await.send_keys(PASSWORD + Key::Enter).await.unwrap();
    eyes.until("location.pathname === '/alarms'").await;
    outside
        .extend(PAGES.map(|path| (format!("empty-{}", if path.is_empty() { "now" } else { path }), path.to_owned())));
    every_page::hold_to_their_promises(&eyes, &outside).await;
    eyes.open("sign-in").await;
    eyes.find("main form button").await.click().await.unwrap();
    eyes.open("prints").await;
    eyes.until("location.pathname === '/sign-in'").await;
}
