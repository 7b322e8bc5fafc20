//! Whether a record is whole: what SQLite's own check finds, and what the packed rows hold. Only looks; what is to be
//! done about damage is the caller's.

use super::{StoreError, job_file, packed, repack, schema, summary};
use crate::entry::Reading;
use rusqlite::{Connection, InterruptHandle, OptionalExtension, Row};
use std::path::Path;
use std::sync::atomic::{AtomicBool, Ordering};
use std::sync::{Arc, Mutex, PoisonError};

/// Stops work on a database that may take long.
#[derive(Clone, Default)]
pub struct Halt(Arc<Halting>);

#[derive(Default)]
struct Halting {
    is_told: AtomicBool,
    under_way: Mutex<Option<InterruptHandle>>,
}

impl Halt {
    /// Stops what is under way, and what begins from now on. A statement that begins at this very moment may miss it:
    /// tell it again until the work has ended.
    pub fn tell(&self) {
        self.0.is_told.store(true, Ordering::Relaxed);
        if let Some(statement) = self.0.under_way.lock().unwrap_or_else(PoisonError::into_inner).as_ref() {
            statement.interrupt();
        }
    }

    /// The work that is under way from now on.
    pub(super) fn over(&self, db: &Connection) -> Result<(), StoreError> {
        *self.0.under_way.lock().unwrap_or_else(PoisonError::into_inner) = Some(db.get_interrupt_handle());
        self.check()
    }

    fn check(&self) -> Result<(), StoreError> {
        if self.0.is_told.load(Ordering::Relaxed) { Err(StoreError::Halted) } else { Ok(()) }
    }
}

/// A table with packed rows, and what tells that one is sound.
struct Packed {
    table: &'static str,
    rows: &'static str,
    check: fn(&Row<'_>) -> Result<(), StoreError>,
}

const PACKED: [Packed; 4] = [
    Packed { table: "sample", rows: "SELECT began_ms, ended_ms, body FROM sample", check: samples },
    // Up to schema 3.
    Packed { table: "sample_batch", rows: "SELECT began_ms, ended_ms, body FROM sample_batch", check: batch },
    Packed { table: "summary", rows: "SELECT body FROM summary", check: summaries },
    Packed { table: "job_file", rows: "SELECT turns FROM job_file", check: turns },
];

/// Looks through a whole database of this or an older schema, on a connection of its own. Reads every page, so it takes
/// as long as the disk needs for the file.
///
/// # Errors
/// [`StoreError::Damaged`] with what was found; else what kept it from looking.
pub fn examine(path: &Path, halt: &Halt) -> Result<(), StoreError> {
    let look = || {
        let db = schema::open_to_examine(path)?;
        halt.over(&db)?;
        pages(&db).map_err(of_the_record)?;
        halt.check()?;
        references(&db).map_err(of_the_record)?;
        PACKED.iter().try_for_each(|packed| rows(&db, packed, halt))
    };
    look().map_err(|error| match error {
        StoreError::Damaged { found, .. } | StoreError::Doubtful(found) => {
            StoreError::Damaged { path: Some(path.to_owned()), found }
        }
        other => other,
    })
}

/// What SQLite's own check refuses to do is no fault of the asking: the tables' own descriptions are damaged.
fn of_the_record(error: StoreError) -> StoreError {
    match error {
        StoreError::Other(found) => StoreError::Doubtful(found),
        other => other,
    }
}

/// The whole check, not the quick one, which leaves the indices out: readings, nearly all of a record, have none, so it
/// reads little more.
fn pages(db: &Connection) -> Result<(), StoreError> {
    let found: String = db.query_row("PRAGMA integrity_check(1)", [], |row| row.get(0))?;
    if found == "ok" { Ok(()) } else { Err(StoreError::Doubtful(found.replace('\n', " "))) }
}

/// Rows that name a row which is not there.
fn references(db: &Connection) -> Result<(), StoreError> {
    let names = |row: &Row<'_>| Ok((row.get::<_, String>(0)?, row.get::<_, String>(2)?));
    match db.query_row("PRAGMA foreign_key_check", [], names).optional()? {
        None => Ok(()),
        Some((table, parent)) => Err(StoreError::Doubtful(format!("a row of {table} names no {parent}"))),
    }
}

fn rows(db: &Connection, packed: &Packed, halt: &Halt) -> Result<(), StoreError> {
    if !schema::has_table(db, packed.table)? {
        return Ok(());
    }
    let mut statement = db.prepare(packed.rows)?;
    let mut rows = statement.query([])?;
    while let Some(row) = rows.next()? {
        halt.check()?;
        (packed.check)(row)?;
    }
    Ok(())
}

fn samples(row: &Row<'_>) -> Result<(), StoreError> {
    times(row, &packed::unpack(blob(row, 2)?)?)
}

fn batch(row: &Row<'_>) -> Result<(), StoreError> {
    times(row, &repack::unpack(blob(row, 2)?)?)
}

/// The readings are in time order, and of the time that their row names.
fn times(row: &Row<'_>, readings: &[Reading]) -> Result<(), StoreError> {
    let (began, ended): (i64, i64) = (row.get(0)?, row.get(1)?);
    let bounds = readings.first().zip(readings.last()).map(|(first, last)| (first.at.as_ms(), last.at.as_ms()));
    if bounds == Some((began, ended)) && readings.is_sorted_by(|before, after| before.at < after.at) {
        Ok(())
    } else {
        Err(StoreError::Doubtful("packed readings are of other times than their row names".to_owned()))
    }
}

fn summaries(row: &Row<'_>) -> Result<(), StoreError> {
    Ok(summary::unpack(blob(row, 0)?).map(|_| ())?)
}

fn turns(row: &Row<'_>) -> Result<(), StoreError> {
    Ok(job_file::unpack(blob(row, 0)?).map(|_| ())?)
}

fn blob<'row>(row: &'row Row<'_>, idx: usize) -> Result<&'row [u8], StoreError> {
    Ok(row.get_ref(idx)?.as_blob().map_err(rusqlite::Error::from)?)
}

#[cfg(test)]
#[expect(clippy::unwrap_used, reason = "a test may stop")]
mod tests;
