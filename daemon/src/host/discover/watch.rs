//! Looks on: asks for every document about once a second, as a poll would, and keeps what comes. Sends nothing but GET, and
//! makes nothing of what comes. Owns the bounds of a watch.

use super::found::{Found, Snapshot};
use crate::host::memory::Memory;
use crate::host::{Client, Credentials, Document, FetchError, Question};
use dwell_analysis::time::Timestamp;
use dwell_analysis::units::Seconds;
use futures_util::StreamExt;
use serde_json::Value;
use std::time::Duration;
use tokio::time::{Instant, MissedTickBehavior, interval};

/// Between two looks: as often as a printer is polled by default.
const EVERY: Duration = Duration::from_secs(1);

/// Requests under way at once: a small host has as many connections as that, and a search may have found 64 documents.
const ABREAST: usize = 8;

/// Bodies that are kept, bytes: an hour of a few usual documents. As values they take several times as much memory.
pub const WATCH_BYTES_MAX: usize = 32 * 1024 * 1024;

/// What a watch has seen.
#[derive(Debug, Default)]
pub struct Watched {
    /// One a look.
    pub snapshots: Vec<Snapshot>,
    /// What a person should know of it, a line each: documents that did not come, keys that stand twice, an early end.
    pub remarks: Vec<String>,
}

/// A document under watch.
struct Looked {
    document: Document,
    memory: Memory,
    n_missed: usize,
    /// Why it did not come when it last did not, or what was wrong with it.
    trouble: Option<String>,
}

/// Looks on for `lasting`, at least once; `looked` is told after each look how much of it has passed. Ends early when
/// [`WATCH_BYTES_MAX`] have come. A host that wants to be left alone is, as in a poll.
pub async fn watch(
    client: &Client,
    found: &Found,
    credentials: &Credentials,
    lasting: Duration,
    mut looked: impl FnMut(Duration),
) -> Watched {
    let began = Instant::now();
    let mut every = interval(EVERY);
    // A slow host is not asked twice at once to make up for it.
    every.set_missed_tick_behavior(MissedTickBehavior::Delay);
    let mut all: Vec<Looked> = found.documents.iter().map(Looked::new).collect();
    let (mut watched, mut n_bytes) = (Watched::default(), 0);
    loop {
        every.tick().await;
        let after = Seconds::new(began.elapsed().as_secs_f64());
        let asked = all.iter().map(|looked| looked.ask(client, credentials, after));
        let came: Vec<_> = futures_util::stream::iter(asked).buffered(ABREAST).collect().await;
        let mut documents = Vec::with_capacity(all.len());
        for (looked, came) in all.iter_mut().zip(came) {
            n_bytes += came.as_ref().and_then(|came| came.as_ref().ok()).map_or(0, |(_, n)| *n);
            documents.push(looked.take(came, Seconds::new(began.elapsed().as_secs_f64())));
        }
        watched.snapshots.push(Snapshot { after, documents });
        looked(began.elapsed().min(lasting));
        if n_bytes > WATCH_BYTES_MAX {
            let mebi = WATCH_BYTES_MAX / 1024 / 1024;
            watched.remarks.push(format!("looked on for {:.0} s only: {mebi} MiB have come by then", after.get()));
        }
        if n_bytes > WATCH_BYTES_MAX || began.elapsed() + EVERY > lasting {
            let n_looks = watched.snapshots.len();
            watched.remarks.extend(all.iter().filter_map(|looked| looked.remark(n_looks)));
            return watched;
        }
    }
}

/// What came of one document: its value and keys that stand twice, and its size. `None` where it was not asked for.
type Came = Option<Result<((Value, Vec<String>), usize), FetchError>>;

impl Looked {
    fn new(found: &super::found::FoundDocument) -> Self {
        let document = Document { name: found.name.clone(), address: found.address.clone(), every: None };
        Self { document, memory: Memory::default(), n_missed: 0, trouble: None }
    }

    async fn ask(&self, client: &Client, credentials: &Credentials, after: Seconds) -> Came {
        if !self.memory.is_due(since_the_beginning(after)) {
            return None;
        }
        let question = Question { address: &self.document.address, credentials, tag: None };
        let came = client.ask(&question).await.and_then(|answer| {
            let body = answer.document()?;
            Ok(((body.value, body.doubled), answer.body.len()))
        });
        Some(came)
    }

    fn take(&mut self, came: Came, after: Seconds) -> Option<Value> {
        let now = since_the_beginning(after);
        let Some(Ok(((value, doubled), _))) = came else {
            self.n_missed += 1;
            if let Some(Err(fault)) = came {
                self.trouble = Some(fault.to_string());
                self.memory.failed(&self.document, now, fault);
            }
            return None;
        };
        self.memory.came(&self.document, now);
        self.memory.changed(None, doubled);
        self.trouble = self.memory.doubled().or(self.trouble.take());
        Some(value)
    }

    fn remark(&self, n_looks: usize) -> Option<String> {
        let (trouble, name) = (self.trouble.as_ref()?, &self.document.name);
        Some(match self.n_missed {
            0 => format!("document {name}: {trouble}"),
            n_missed => format!("document {name} did not come at {n_missed} of {n_looks} looks: {trouble}"),
        })
    }
}

/// The watch's own time line: what is remembered of a document knows instants alone.
fn since_the_beginning(after: Seconds) -> Timestamp {
    Timestamp::from_ms(0) + after
}

#[cfg(test)]
#[expect(clippy::unwrap_used, reason = "a test may stop")]
mod tests {
    use super::*;
    use crate::host::discover::FoundDocument;
    use crate::host::loopback::{http, serve};
    use crate::host::{Address, BODY_BYTES_MAX, DEADLINE};
    use std::sync::{Arc, Mutex};

    async fn watched(
        paths: &[&str],
        answer: impl Fn(&str) -> Vec<u8> + Send + Sync + 'static,
    ) -> (Watched, Vec<String>) {
        let asked: Arc<Mutex<Vec<String>>> = Arc::default();
        let kept = Arc::clone(&asked);
        let by_path = move |head: &str| {
            let path = head.split(' ').nth(1).unwrap_or_default().to_owned();
            kept.lock().unwrap().push(path.clone());
            answer(&path)
        };
        let port = serve(by_path, Duration::ZERO, Duration::ZERO).await;
        let document = |path: &&str| FoundDocument {
            name: path.trim_start_matches('/').to_owned(),
            address: Address::parse(&format!("http://127.0.0.1:{port}{path}")).unwrap(),
            origin: "given".to_owned(),
            hints: Vec::new(),
        };
        let found = Found { documents: paths.iter().map(document).collect(), ..Found::default() };
        let client = Client::new(DEADLINE).unwrap();
        let watched = watch(&client, &found, &Credentials::default(), Duration::from_millis(3200), |_| {}).await;
        let asked = asked.lock().unwrap().clone();
        (watched, asked)
    }

    #[tokio::test]
    async fn a_host_that_wants_to_be_left_alone_is_and_what_was_wrong_is_told() {
        let (watched, asked) = watched(&["/state", "/busy", "/shut"], |path| match path {
            "/state" => http("200 OK", "", "{\"a\": 1, \"a\": 2, \"b\": 3}"),
            "/busy" => http("429 Slow", "Retry-After: 60\r\n", ""),
            _ => http("401 Who", "", ""),
        })
        .await;
        let count = |path: &str| asked.iter().filter(|asked| *asked == path).count();
        assert_eq!((count("/busy"), count("/shut")), (1, 1), "{asked:?}");
        assert!(count("/state") >= 3 && watched.snapshots.len() == count("/state"), "{asked:?}");
        let told = |name: &str| watched.remarks.iter().any(|line| line.contains(name));
        assert!(told("document state: key /a stands twice") && told("did not come at"), "{:?}", watched.remarks);
        assert!(
            told("host answers 429") && told("sign-in (401)") && watched.remarks.len() == 3,
            "{:?}",
            watched.remarks
        );
        // The key that stands twice tells nothing, its neighbour does.
        let first = watched.snapshots[0].documents[0].as_ref().unwrap();
        assert_eq!((first.get("a"), first.get("b").and_then(Value::as_u64)), (None, Some(3)));
    }

    #[tokio::test]
    async fn a_watch_ends_when_its_bytes_are_full() {
        let paths: Vec<String> = (0..40).map(|number| format!("/{number}")).collect();
        let paths: Vec<&str> = paths.iter().map(String::as_str).collect();
        let (watched, asked) =
            watched(&paths, |_| http("200 OK", "", &format!("\"{}\"", "x".repeat(BODY_BYTES_MAX - 2)))).await;
        assert_eq!((watched.snapshots.len(), asked.len()), (1, 40));
        assert!(watched.remarks[0].contains("32 MiB"), "{:?}", watched.remarks);
    }
}
