//! Looks on: asks for every document about once a second. Sends nothing but GET, and makes nothing of what comes.

use super::found::{Found, Snapshot};
use crate::host::{Client, Credentials};
use dwell_analysis::units::Seconds;
use std::time::Duration;
use tokio::time::{Instant, MissedTickBehavior, interval};

/// Between two looks: as often as a printer is polled by default.
const EVERY: Duration = Duration::from_secs(1);

/// Looks on for `lasting`, at least once; `looked` is told after each look how much of it has passed.
pub async fn watch(
    client: &Client,
    found: &Found,
    credentials: &Credentials,
    lasting: Duration,
    mut looked: impl FnMut(Duration),
) -> Vec<Snapshot> {
    let began = Instant::now();
    let mut every = interval(EVERY);
    // A slow host is not asked twice at once to make up for it.
    every.set_missed_tick_behavior(MissedTickBehavior::Delay);
    let mut snapshots = Vec::new();
    loop {
        every.tick().await;
        let after = began.elapsed();
        let asked = found.documents.iter().map(|document| client.get(&document.address, credentials));
        let documents = futures_util::future::join_all(asked).await;
        let after_s = Seconds::new(after.as_secs_f64());
        snapshots.push(Snapshot { after: after_s, documents: documents.into_iter().map(Result::ok).collect() });
        looked(began.elapsed().min(lasting));
        if began.elapsed() + EVERY > lasting {
            return snapshots;
        }
    }
}
