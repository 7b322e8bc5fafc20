//! The tasks that reach people: one courier a channel, one task a heartbeat. Owns their start; they end with the daemon.

use super::context::Contexts;
use super::courier::{self, Courier};
use super::heartbeat::{Pulse, beat};
use super::send::Sender;
use crate::app::AppError;
use crate::clock::Clock;
use crate::config::Config;
use crate::store::{Store, StoreError};
use std::sync::Arc;
use tokio::sync::watch;
use tokio::task::JoinSet;

/// Starts them.
///
/// # Errors
/// If the record can't be read.
pub(crate) fn spawn(
    tasks: &mut JoinSet<Result<(), AppError>>,
    config: &Config,
    store: &Store,
    clock: &Arc<Clock>,
    pulse: &Pulse,
    stopped: &watch::Receiver<bool>,
) -> Result<(), StoreError> {
    let channels = config.channels();
    let all: Arc<[String]> = channels.channels.iter().map(|channel| channel.name.clone()).collect();
    let contexts = Contexts::new(store, config)?;
    for channel in &channels.channels {
        let courier = Courier::new(store.clone(), channel, &all);
        let sender = Sender::at_last(channel, store);
        tasks.spawn(courier::run(courier, sender, contexts.clone(), Arc::clone(clock), stopped.clone()));
    }
    for heartbeat in &channels.heartbeats {
        tasks.spawn(beat(heartbeat.clone(), store.clone(), pulse.clone(), stopped.clone()));
    }
    Ok(())
}
