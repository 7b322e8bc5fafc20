//! Delivers the outbox to the one webhook, until every channel has its courier. Owns the rhythm of delivery.

use crate::app::{AppError, ended};
use crate::clock::Clock;
use crate::config::Secret;
use crate::host::ClientError;
use crate::points::{Point, pass};
use crate::store::{Notice, Store, StoreError};
use dwell_analysis::units::Seconds;
use std::sync::Arc;
use std::time::Duration;
use tokio::sync::watch;

/// From connecting to the receiver's answer.
const DEADLINE: Duration = Duration::from_secs(10);
/// The longest pause between two tries.
const PAUSE_MAX: Seconds = Seconds::minutes(10.0);
/// How often the outbox is looked at when nothing moves the store.
const LOOK_EVERY: Duration = Duration::from_secs(1);

/// Delivers the outbox.
#[derive(Debug)]
pub struct Notifier {
    webhook: Secret,
    store: Store,
    clock: Arc<Clock>,
    http: reqwest::Client,
}

impl Notifier {
    /// A notifier for one webhook.
    ///
    /// # Errors
    /// If no HTTP client can be made.
    pub fn new(webhook: Secret, store: Store, clock: Arc<Clock>) -> Result<Self, ClientError> {
        let http = reqwest::Client::builder()
            .timeout(DEADLINE)
            .redirect(reqwest::redirect::Policy::none())
            .no_proxy()
            .user_agent(concat!("dwellwatch/", env!("CARGO_PKG_VERSION")))
            .build()
            .map_err(ClientError::from)?;
        Ok(Self { webhook, store, clock, http })
    }

    /// Delivers until the daemon stops; what is left then waits in the store for the next start.
    ///
    /// # Errors
    /// If the store is gone.
    pub async fn run(self, stopped: watch::Receiver<bool>) -> Result<(), AppError> {
        let stop = ended(stopped);
        tokio::pin!(stop);
        loop {
            tokio::select! {
                delivered = self.deliver_due() => match delivered {
                    // The notice waits in the store; the disk's or another process's trouble may pass.
                    Err(error) if error.is_transient() => tracing::warn!(%error, "the outbox can't be used"),
                    other => other?,
                },
                () = &mut stop => return Ok(()),
            }
            tokio::select! {
                () = tokio::time::sleep(LOOK_EVERY) => {}
                () = &mut stop => return Ok(()),
            }
        }
    }

    /// Delivers, in order, until nothing waits or the first one has to wait.
    async fn deliver_due(&self) -> Result<(), StoreError> {
        while let Some(notice) = self.store.next_notice().await? {
            let now = self.clock.now().at;
            if notice.due() > now {
                return Ok(());
            }
            pass(Point::NoticeRead);
            match self.post(&notice).await {
                Ok(()) => {
                    pass(Point::NoticeSent);
                    self.store.delivered(&notice, self.clock.now().at).await?;
                    pass(Point::NoticeDelivered);
                }
                Err(cause) => {
                    let next = now + pause(notice.attempts());
                    tracing::warn!(key = notice.key(), %cause, "a notice was not delivered");
                    self.store.postponed(&notice, next).await?;
                    return Ok(());
                }
            }
        }
        Ok(())
    }

    async fn post(&self, notice: &Notice) -> Result<(), String> {
        let request = self
            .http
            .post(self.webhook.reveal())
            .header("content-type", "application/json")
            .header("idempotency-key", notice.key())
            .body(notice.body().to_owned());
        // The address may hold a key: it is kept out of the error's text.
        let answer = request.send().await.map_err(|error| error.without_url().to_string())?;
        if answer.status().is_success() { Ok(()) } else { Err(format!("receiver answers {}", answer.status())) }
    }
}

/// The pause after so many failed tries: a second, doubled each time, up to ten minutes.
fn pause(attempts: u32) -> Seconds {
    let doubled = 2_u32.checked_pow(attempts).map_or(PAUSE_MAX, |seconds| Seconds::new(f64::from(seconds)));
    if doubled < PAUSE_MAX { doubled } else { PAUSE_MAX }
}
