//! Tells somebody outside that dwellwatch watches, and falls silent when it does not: whoever misses it looks. Owns what
//! counts as watching.

use super::channel::Heartbeat;
use super::trust;
use crate::app::{AppError, ended};
use crate::store::Store;
use std::sync::{Arc, Mutex, PoisonError};
use std::time::Duration;
use tokio::sync::watch;
use tokio::time::{Instant, sleep, timeout};

/// From connecting to the answer.
const DEADLINE: Duration = Duration::from_secs(10);
/// The store has so long to answer: longer than another process may hold the record.
const STORE_DEADLINE: Duration = Duration::from_secs(20);
/// A printer's task may be late by this much: a poll and a commit have their own deadlines, which come first.
const LATE_MAX: Duration = Duration::from_mins(1);

/// When each printer's task said last that it would be back.
#[derive(Clone, Debug)]
pub(crate) struct Pulse(Arc<Mutex<Vec<Instant>>>);

impl Pulse {
    /// Of so many tasks, all of which are expected at once.
    pub(crate) fn of(n_printers: usize) -> Self {
        Self(Arc::new(Mutex::new(vec![Instant::now(); n_printers])))
    }

    /// The task of that number goes on, and is back by then.
    pub(crate) fn back_by(&self, printer: usize, due: Instant) {
        let mut held = self.0.lock().unwrap_or_else(PoisonError::into_inner);
        if let Some(last) = held.get_mut(printer) {
            *last = due;
        }
    }

    /// Whether no task is overdue.
    fn beats(&self, now: Instant) -> bool {
        self.0.lock().unwrap_or_else(PoisonError::into_inner).iter().all(|due| now < *due + LATE_MAX)
    }
}

/// Asks for a heartbeat's address at its interval, for as long as dwellwatch watches, until the daemon stops.
///
/// # Errors
/// Never; it is a task of the daemon.
pub(crate) async fn beat(
    heartbeat: Heartbeat,
    store: Store,
    pulse: Pulse,
    stopped: watch::Receiver<bool>,
) -> Result<(), AppError> {
    let stop = ended(stopped);
    tokio::pin!(stop);
    let http = match trust::http(DEADLINE, None) {
        Ok(http) => http,
        // Watching goes on; whoever misses the heartbeats looks.
        Err(fault) => {
            tracing::error!(%fault, "heartbeats can't be made ready: none are sent");
            stop.await;
            return Ok(());
        }
    };
    let mut said = Ok(());
    loop {
        let told = async {
            let told = tell(&http, &heartbeat, &store, &pulse).await;
            match (&told, &said) {
                (Err(cause), said) if *said != told => tracing::warn!(cause, said = said.is_ok(), "no heartbeat"),
                (Ok(()), Err(_)) => tracing::info!("heartbeats again"),
                _ => {}
            }
            told
        };
        tokio::select! {
            told = told => said = told,
            () = &mut stop => return Ok(()),
        }
        tokio::select! {
            () = sleep(heartbeat.every) => {}
            () = &mut stop => return Ok(()),
        }
    }
}

/// One heartbeat, or why there is none.
async fn tell(http: &reqwest::Client, heartbeat: &Heartbeat, store: &Store, pulse: &Pulse) -> Result<(), String> {
    if !pulse.beats(Instant::now()) {
        return Err("a printer's task does not go on".to_owned());
    }
    match timeout(STORE_DEADLINE, store.outbox_mark()).await {
        Ok(Ok(_)) => {}
        Ok(Err(error)) => return Err(error.to_string()),
        Err(_) => return Err("the store does not answer".to_owned()),
    }
    // The address may hold a key: it is kept out of the error's text.
    let answer = http.get(heartbeat.url.reveal()).send().await.map_err(|error| error.without_url().to_string())?;
    if answer.status().is_success() { Ok(()) } else { Err(format!("receiver answers {}", answer.status())) }
}

#[cfg(test)]
#[expect(clippy::unwrap_used, reason = "a test may stop")]
mod tests {
    use super::*;
    use crate::config::Secret;
    use std::io::{Read, Write};
    use std::net::TcpListener;
    use std::sync::mpsc;

    /// Where heartbeats go, and what was asked there.
    fn receiver(status: &'static str) -> (Heartbeat, mpsc::Receiver<String>) {
        let listener = TcpListener::bind("127.0.0.1:0").unwrap();
        let url = Secret::new(format!("http://{}/beats?key=hush", listener.local_addr().unwrap()));
        let (told, asked) = mpsc::channel();
        std::thread::spawn(move || {
            for mut connection in listener.incoming().map_while(Result::ok) {
                let mut piece = [0; 4096];
                let n_read = connection.read(&mut piece).unwrap();
                told.send(String::from_utf8_lossy(&piece[..n_read]).into_owned()).unwrap();
                write!(connection, "HTTP/1.1 {status}\r\nContent-Length: 0\r\nConnection: close\r\n\r\n").unwrap();
            }
        });
        (Heartbeat { url, every: Duration::from_mins(1) }, asked)
    }

    fn record() -> (tempfile::TempDir, Store) {
        let folder = tempfile::tempdir().unwrap();
        let store = Store::open(&folder.path().join("bench.db")).unwrap();
        (folder, store)
    }

    #[tokio::test]
    async fn it_beats_while_every_task_goes_on_and_stops_when_one_does_not() {
        let ((_folder, store), (heartbeat, asked)) = (record(), receiver("200 OK"));
        let (http, pulse) = (trust::http(DEADLINE, None).unwrap(), Pulse::of(2));
        assert_eq!(tell(&http, &heartbeat, &store, &pulse).await, Ok(()));
        assert!(asked.try_recv().unwrap().starts_with("GET /beats?key=hush "));
        let now = Instant::now();
        pulse.back_by(0, now + Duration::from_mins(10));
        pulse.back_by(1, now);
        assert!(pulse.beats(now + LATE_MAX - Duration::from_secs(1)));
        assert!(!pulse.beats(now + LATE_MAX), "the first one alone is no watching");
        pulse.back_by(1, now.checked_sub(LATE_MAX).unwrap());
        let silent = tell(&http, &heartbeat, &store, &pulse).await;
        assert_eq!(silent, Err("a printer's task does not go on".to_owned()));
        assert!(asked.try_recv().is_err(), "nobody was told that all is well");
    }

    #[tokio::test]
    async fn an_answer_that_is_none_is_told_without_the_key_in_the_address() {
        let ((_folder, store), (heartbeat, _asked)) = (record(), receiver("503 No"));
        let (http, pulse) = (trust::http(DEADLINE, None).unwrap(), Pulse::of(1));
        let told = tell(&http, &heartbeat, &store, &pulse).await.unwrap_err();
        assert!(told.contains("503"), "{told}");
        let nowhere = Heartbeat { url: Secret::new("http://127.0.0.1:1/beats?key=hush".to_owned()), ..heartbeat };
        let told = tell(&http, &nowhere, &store, &pulse).await.unwrap_err();
        assert!(!told.contains("hush"), "{told}");
    }
}
