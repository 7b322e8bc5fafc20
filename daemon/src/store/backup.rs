//! A copy of the record as of one moment, whole and on the disk when it is there at all. Owns how it comes to be; when
//! one is due is the schedule's.

use super::aside::extended;
use super::{Halt, Reader, StoreError, schema};
use rusqlite::Connection;
use std::fs::{self, File};
use std::io;
use std::path::Path;

/// What a copy is called while it is written.
pub(crate) const UNFINISHED: &str = ".unfinished";
/// What SQLite keeps beside it meanwhile.
pub(crate) const JOURNAL: &str = "-journal";

impl Reader {
    /// Copies the database as of now into a new file, while others go on writing. What fails leaves nothing behind.
    ///
    /// # Errors
    /// If the file exists or can't be written, or the database is damaged.
    pub fn backup(&self, to: &Path) -> Result<(), StoreError> {
        self.db.execute_batch("COMMIT")?;
        let copied = write(&self.db, to);
        self.db.execute_batch("BEGIN")?;
        copied
    }
}

/// Copies a database as [`Reader::backup`] does, until it is told to stop.
///
/// # Errors
/// As there, or if it was told to stop.
pub fn backup(from: &Path, to: &Path, halt: &Halt) -> Result<(), StoreError> {
    let db = schema::open_raw(from)?;
    halt.over(&db)?;
    write(&db, to)
}

/// `VACUUM INTO` reads from one snapshot and writes anew: the writer is not held up, a writer that is busy does not make
/// it begin again as it does the stepwise copy, free pages are left behind, and a page that is damaged ends it, which
/// the copy of pages would take along.
pub(super) fn write(db: &Connection, to: &Path) -> Result<(), StoreError> {
    let failed = |reason: String| StoreError::Backup { path: to.to_owned(), reason };
    if to.exists() {
        return Err(failed("is there already; a backup never overwrites".to_owned()));
    }
    let folder = to.parent().filter(|folder| !folder.as_os_str().is_empty()).unwrap_or(Path::new("."));
    let mut prefix = to.file_name().unwrap_or_default().to_owned();
    prefix.push(".");
    let unfinished = tempfile::Builder::new().prefix(&prefix).suffix(UNFINISHED).tempfile_in(folder);
    let unfinished = unfinished.map_err(|error| failed(error.to_string()))?;
    let name = unfinished.path().to_str().ok_or_else(|| failed("the path is not UTF-8".to_owned()))?;
    let copied = db.execute("VACUUM INTO ?1", [name]);
    if copied.is_err() {
        // SQLite leaves it behind on a disk that is full.
        match fs::remove_file(extended(unfinished.path(), JOURNAL)) {
            Err(error) if error.kind() != io::ErrorKind::NotFound => {
                tracing::warn!(%error, "something is left of a backup that failed");
            }
            Ok(()) | Err(_) => {}
        }
    }
    copied.map_err(|error| match StoreError::from(error) {
        StoreError::Full => failed("no room left on its disk".to_owned()),
        error @ (StoreError::Damaged { .. } | StoreError::Halted) => error,
        other => failed(other.to_string()),
    })?;
    let file = unfinished.as_file();
    // Whoever may read the database may read its copy.
    let rights = db.path().and_then(|path| fs::metadata(path).ok()).map(|found| found.permissions());
    let done = rights.map_or(Ok(()), |rights| file.set_permissions(rights)).and_then(|()| file.sync_all());
    done.map_err(|error| failed(error.to_string()))?;
    unfinished.persist_noclobber(to).map_err(|error| failed(error.error.to_string()))?;
    File::open(folder).and_then(|folder| folder.sync_all()).map_err(|error| failed(error.to_string()))
}

#[cfg(test)]
#[expect(clippy::unwrap_used, reason = "a test may stop")]
mod tests;
