//! The channels against other ends that are not ours: a mail server, a broker, a verifier of signatures, and programs.
//! What counts as arrived has arrived there, and what no message or log may tell is in none.
#![expect(clippy::unwrap_used, clippy::panic, reason = "a test may stop")]

#[path = "channels/command.rs"]
mod command;
#[path = "channels/mail.rs"]
mod mail;
#[path = "channels/mqtt.rs"]
mod mqtt;
#[path = "channels/secrets.rs"]
mod secrets;
#[path = "channels/webhook.rs"]
mod webhook;

use dwell_analysis::time::Timestamp;
use dwell_analysis::units::Seconds;
use dwellwatch::alarm::{AlarmEffect, Priority, RECORD_FULL, record_full};
use dwellwatch::config::Config;
use dwellwatch::links::{LinkKey, Links};
use dwellwatch::notify::{Channel, Kind, Message, SendContext};
use dwellwatch::store::{Carrier, Store};
use std::path::Path;
use std::sync::Arc;
use std::time::Duration;
use tempfile::TempDir;

const PROGRAM: &str = env!("CARGO_BIN_EXE_dwellwatch-under-test");
const PATIENCE: Duration = Duration::from_secs(30);
const AT: Timestamp = Timestamp::from_ms(1_772_438_400_000);

/// What a configuration has besides its channels.
const PRINTER: &str = r#"
[[printer]]
name = "bench"
[[printer.document]]
name = "all"
url = "http://127.0.0.1:9/all"
[printer.job.state]
path = "/state"
[[printer.tool]]
actual = { path = "/t0" }
"#;

/// A record of its own, and a folder for whatever the test needs.
struct Bench {
    folder: TempDir,
    store: Store,
}

impl Bench {
    fn new() -> Self {
        let folder = tempfile::tempdir().unwrap();
        let store = Store::open(&folder.path().join("bench.db")).unwrap();
        Self { folder, store }
    }

    fn path(&self) -> &Path {
        self.folder.path()
    }

    /// The one channel that a configuration says besides the log.
    fn channel(&self, said: &str) -> Channel {
        let config = Config::parse(&format!("{said}{PRINTER}"), &self.path().join("dwellwatch.toml")).unwrap();
        let [_, channel] = config.channels().channels.as_slice() else { panic!("one channel") };
        channel.clone()
    }

    /// The disk takes nothing, so many seconds after noon.
    async fn raise(&self, after: f64) {
        let at = AT + Seconds::new(after);
        self.store
            .commit_own_async(vec![record_full(at, Priority::High, "no space left", None, None)], true)
            .await
            .unwrap();
    }

    /// What was raised then has returned.
    async fn return_from(&self, after: f64) {
        let raised = AT + Seconds::new(after);
        let at = raised + Seconds::new(5.0);
        let gone = AlarmEffect::Returned { subject: RECORD_FULL, raised, at, is_superseded: false };
        self.store.commit_own_async(vec![gone], true).await.unwrap();
    }

    /// A message of everything that waits.
    async fn message(&self, kind: Kind, key: &str) -> Message {
        let carrier = Carrier { channel: Arc::from("any"), all: Arc::from(["any".to_owned()]) };
        let notices = self.store.outbox(&carrier, 0, AT).await.unwrap().pending;
        Message { key: key.to_owned(), kind, made: AT, notices, n_dropped: 0 }
    }

    /// The message of one alarm that was raised.
    async fn alarm(&self, key: &str) -> Message {
        self.raise(0.0).await;
        let message = self.message(Kind::Single, key).await;
        assert_eq!(message.notices.len(), 1);
        message
    }
}

fn with_links() -> SendContext {
    let links = Links::new("https://bench.example", LinkKey::new(&[7; 32], "word".to_owned()));
    SendContext { links: Some(links), ..SendContext::default() }
}

/// A test message, which needs no alarm.
fn trial(key: &str) -> Message {
    Message { key: key.to_owned(), kind: Kind::Test, made: AT, notices: Vec::new(), n_dropped: 0 }
}
