//! Tells somebody outside that dwellwatch watches, and falls silent when it does not: whoever misses it looks. Owns what
//! counts as watching.

use super::channel::Heartbeat;
use crate::app::{AppError, ended};
use crate::host::ClientError;
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
const LATE_MAX: Duration = Duration::from_secs(60);

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
/// If no HTTP client can be made.
pub(crate) async fn beat(
    heartbeat: Heartbeat,
    store: Store,
    pulse: Pulse,
    stopped: watch::Receiver<bool>,
) -> Result<(), AppError> {
    let http = reqwest::Client::builder()
        .timeout(DEADLINE)
        .redirect(reqwest::redirect::Policy::none())
        .no_proxy()
        .user_agent(concat!("dwellwatch/", env!("CARGO_PKG_VERSION")))
        .build()
        .map_err(ClientError::from)?;
    let stop = ended(stopped);
    tokio::pin!(stop);
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
