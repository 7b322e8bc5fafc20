//! Ends what holds alarms back: shelving whose time is up, and the suppression of printers that nobody sets up any more.
//! Owns when that is looked at; what becomes of the alarms is the store's.

use super::{AppError, ended};
use crate::clock::Clock;
use crate::entry::PrinterName;
use crate::store::{Store, StoreError};
use dwell_analysis::units::Seconds;
use std::sync::Arc;
use std::time::Duration;
use tokio::sync::watch;
use tokio::task::spawn_blocking;
use tokio::time::sleep;

/// How long after its time shelving may last.
const LOOK_EVERY: Seconds = Seconds::new(5.0);

/// A rehearsal's time may fly.
const PAUSE_MIN: Duration = Duration::from_millis(100);

#[derive(Debug)]
pub(super) struct Holds {
    store: Store,
    clock: Arc<Clock>,
    /// Printers whose alarms are not suppressed, until that is written.
    in_use: Option<Vec<PrinterName>>,
}

impl Holds {
    pub(super) fn new(store: Store, clock: Arc<Clock>, in_use: Vec<PrinterName>) -> Self {
        Self { store, clock, in_use: Some(in_use) }
    }

    /// Looks every few seconds until the daemon stops.
    pub(super) async fn run(mut self, stopped: watch::Receiver<bool>) -> Result<(), AppError> {
        let pause = self.clock.real(LOOK_EVERY).max(PAUSE_MIN);
        let ends = ended(stopped);
        tokio::pin!(ends);
        loop {
            tokio::select! {
                () = sleep(pause) => {}
                () = ends.as_mut() => return Ok(()),
            }
            self = spawn_blocking(move || self.look()).await??;
        }
    }

    /// What the disk does not take now is looked at again.
    fn look(mut self) -> Result<Self, StoreError> {
        let now = self.clock.now().at;
        let ended = match &self.in_use {
            Some(in_use) => self.store.end_suppression(in_use.clone(), now).map(|_| ()),
            None => Ok(()),
        };
        match ended.and_then(|()| self.store.end_holds(now)) {
            Ok(_) => {
                self.in_use = None;
                Ok(self)
            }
            Err(error) if error.is_transient() => {
                tracing::debug!(%error, "what holds alarms back could not be ended");
                Ok(self)
            }
            Err(error) => Err(error),
        }
    }
}
