//! The tasks that reach people: one courier a channel, one task a heartbeat. Owns their start; they end with the daemon.

use super::channel::Channels;
use super::context::Contexts;
use super::courier::{self, Courier};
use super::heartbeat::{Pulse, beat};
use super::send::Sender;
use crate::app::AppError;
use crate::clock::Clock;
use crate::store::Store;
use jiff::tz::TimeZone;
use std::sync::Arc;
use tokio::sync::watch;
use tokio::task::JoinSet;

/// Starts them.
///
/// # Errors
/// If a channel can't be made ready.
pub(crate) fn spawn(
    tasks: &mut JoinSet<Result<(), AppError>>,
    channels: &Channels,
    zone: &TimeZone,
    store: &Store,
    clock: &Arc<Clock>,
    pulse: &Pulse,
    stopped: &watch::Receiver<bool>,
) -> Result<(), AppError> {
    let all: Arc<[String]> = channels.channels.iter().map(|channel| channel.name.clone()).collect();
    let contexts = Contexts::new(store, channels, zone)?;
    for channel in &channels.channels {
        let courier = Courier::new(store.clone(), channel, &all);
        let sender =
            Sender::new(channel, store).map_err(|fault| AppError::Channel { channel: channel.name.clone(), fault })?;
        tasks.spawn(courier::run(courier, sender, contexts.clone(), Arc::clone(clock), stopped.clone()));
    }
    for heartbeat in &channels.heartbeats {
        tasks.spawn(beat(heartbeat.clone(), store.clone(), pulse.clone(), stopped.clone()));
    }
    Ok(())
}
