//! Lets go of readings that are kept beyond their time, a day at a time and with pauses, so that nothing waits for it.
//! What is due is the store's to know.

use crate::app::{AppError, ended};
use crate::store::{Keep, Store, StoreError};
use std::time::Duration;
use tokio::sync::watch;

/// How often it is asked whether anything is due: a day falls due once a day.
const LOOK_EVERY: Duration = Duration::from_mins(10);
/// After the start, so that the day's backup is taken before anything goes.
const FIRST_AFTER: Duration = Duration::from_mins(5);
/// Between two days that are let go; each keeps the writing thread for some milliseconds.
const PAUSE: Duration = Duration::from_millis(500);

/// Lets go of what is due.
#[derive(Clone, Debug)]
pub struct Retention {
    store: Store,
    keep: Keep,
}

impl Retention {
    /// A retention of so much.
    #[must_use]
    pub fn new(store: Store, keep: Keep) -> Self {
        Self { store, keep }
    }

    /// Lets go until the daemon stops.
    ///
    /// # Errors
    /// If the record is damaged, or the work can't be handed over; what fails otherwise is told in the log and tried again.
    pub async fn run(self, stopped: watch::Receiver<bool>) -> Result<(), AppError> {
        let stop = ended(stopped);
        tokio::pin!(stop);
        let (mut pause, mut n_steps) = (FIRST_AFTER, 0_u32);
        loop {
            tokio::select! {
                () = tokio::time::sleep(pause) => {}
                () = &mut stop => return Ok(()),
            }
            let (store, keep) = (self.store.clone(), self.keep);
            pause = match tokio::task::spawn_blocking(move || store.keep(keep)).await? {
                Ok(true) => {
                    n_steps += 1;
                    PAUSE
                }
                Ok(false) => {
                    if std::mem::take(&mut n_steps) > 0 {
                        tracing::info!(keep = ?self.keep, "readings beyond their time were summed up and let go");
                    }
                    LOOK_EVERY
                }
                // The daemon sets the record aside and begins a new one.
                Err(error @ (StoreError::Damaged { .. } | StoreError::Doubtful(_))) => return Err(error.into()),
                Err(error) => {
                    tracing::error!(%error, "old readings could not be let go");
                    LOOK_EVERY
                }
            };
        }
    }
}
