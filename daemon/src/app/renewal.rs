//! What becomes of a daemon whose record is damaged: the record is set aside whole, and a new one begun in its place.
//! Owns when that is done; how a file is set aside is the store's.

use super::{AppError, beside};
use crate::store::{Halt, Store, StoreError, examine, set_aside};
use dwell_analysis::time::Timestamp;
use std::future::Future;
use std::path::{Path, PathBuf};
use std::pin::Pin;
use std::time::Duration;
use tokio::time::Instant;

/// Two damaged records within this time are no accident: the disk, or the program, spoils each. It stops rather than fill
/// the disk with them.
const APART_MIN: Duration = Duration::from_hours(1);

pub(super) struct Renewal {
    database: PathBuf,
    last: Option<Instant>,
}

impl Renewal {
    pub(super) fn new(database: &Path) -> Self {
        Self { database: database.to_owned(), last: None }
    }

    /// A new record in the place of one that is damaged; `None` if the daemon was stopped meanwhile. Every task of the old
    /// one has ended.
    ///
    /// # Errors
    /// With what was given, if the record is not what is wrong; else if it can't be set aside.
    pub(super) async fn renew(
        &mut self,
        error: AppError,
        at: Timestamp,
        stop: Pin<&mut impl Future<Output = ()>>,
    ) -> Result<Option<Store>, AppError> {
        let AppError::Store(error) = error else { return Err(error) };
        if !matches!(
            error,
            StoreError::Damaged { .. } | StoreError::Doubtful(_) | StoreError::NoSuchRow { .. } | StoreError::Other(_)
        ) || self.last.is_some_and(|last| last.elapsed() < APART_MIN)
        {
            return Err(error.into());
        }
        let (halt, database) = (Halt::default(), self.database.clone());
        let its = halt.clone();
        let renewed = beside(&halt, stop, move || renew(&database, error, at, &its)).await?;
        if matches!(renewed, Err(StoreError::Halted)) {
            return Ok(None);
        }
        self.last = Some(Instant::now());
        Ok(Some(renewed?))
    }
}

fn renew(database: &Path, error: StoreError, at: Timestamp, halt: &Halt) -> Result<Store, StoreError> {
    let found = match error {
        StoreError::Damaged { found, .. } => found,
        // SQLite did not say so, and a sound record is not set aside for another fault.
        other => match examine(database, halt) {
            Err(StoreError::Damaged { found, .. }) => found,
            Err(StoreError::Halted) => return Err(StoreError::Halted),
            Ok(()) | Err(_) => return Err(other),
        },
    };
    let aside = set_aside(database, at, &found)?;
    tracing::error!(found, file = %aside.file.display(), "the record is damaged: set aside, a new one begins");
    Store::open(database)
}
