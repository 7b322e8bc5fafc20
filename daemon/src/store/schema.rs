//! Opening a database: whose it is, its pragmas and its migrations. A connection that comes from here is at this
//! program's schema, and what is not ours has not been written.

use super::aside::extended;
use super::{StoreError, backup, repack};
use crate::points::{Point, pass};
use rusqlite::config::DbConfig;
use rusqlite::{Connection, OpenFlags, TransactionBehavior};
use std::collections::BTreeSet;
use std::fs;
use std::ops::Range;
use std::path::{Path, PathBuf};
use std::time::Duration;

/// One step a version, in order, never edited once released.
pub(super) const MIGRATIONS: [&str; 8] = [
    include_str!("schema.sql"),
    include_str!("schema_2.sql"),
    include_str!("schema_3.sql"),
    include_str!("schema_4.sql"),
    include_str!("schema_5.sql"),
    include_str!("schema_6.sql"),
    include_str!("schema_7.sql"),
    include_str!("schema_8.sql"),
];

/// The migration after which the rows of readings are brought into hours.
const REPACKED_BY: usize = 3;

/// A commit writes whole pages: a day of printing with 767 commits of events writes 11.7 MiB with these and 13.6 with
/// pages of 1024 (measured); SQLite takes none smaller.
const PAGE_BYTES: i64 = 512;

/// Pages in the log before they are brought into the file. The same few pages change with every commit, so that the
/// longer it waits, the less is written: SQLite's own 1000 made a day of printing 14.6 MiB.
const LOG_PAGES_MAX: i64 = 4000;

/// How long a writer waits for another process's transaction (`note`, `part`) before it gives up.
const BUSY_MAX: Duration = Duration::from_secs(5);

/// Copies that are kept of databases of one schema at one place; more are a migration that fails again and again.
const COPIES_MAX: u32 = 9;

/// Opens for writing, creating and migrating as needed.
pub(super) fn open_write(path: &Path) -> Result<Connection, StoreError> {
    // First without the means to write: opening a database for writing can already change it.
    if fs::metadata(path).is_ok_and(|found| found.len() > 0) {
        open_raw(path).and_then(|db| take(&db)).map_err(|error| error.at(path))?;
    }
    let mut db = Connection::open(path).map_err(|error| StoreError::opening(path, error))?;
    prepare(&mut db, path).map_err(|error| error.at(path))?;
    Ok(db)
}

/// Opens a database that is already there, for reading alone.
pub(super) fn open_read(path: &Path) -> Result<Connection, StoreError> {
    let db = open_raw(path)?;
    let found = version(&db).map_err(|error| unopened(error).at(path))?;
    let ours = MIGRATIONS.len();
    if found != ours {
        take(&db).map_err(|error| error.at(path))?;
        return Err(StoreError::Version { path: path.to_owned(), found, ours });
    }
    Ok(db)
}

/// Opens a database of any schema, for reading alone.
pub(super) fn open_raw(path: &Path) -> Result<Connection, StoreError> {
    open_as(path, OpenFlags::SQLITE_OPEN_READ_ONLY)
}

/// Opens a database of any schema so that it can be examined: SQLite checks the rows' CHECKs only where it could write.
/// Nothing is written, not even the log into the database at the end.
pub(super) fn open_to_examine(path: &Path) -> Result<Connection, StoreError> {
    let db = open_as(path, OpenFlags::SQLITE_OPEN_READ_WRITE)?;
    db.set_db_config(DbConfig::SQLITE_DBCONFIG_NO_CKPT_ON_CLOSE, true)?;
    db.pragma_update(None, "query_only", true)?;
    Ok(db)
}

fn open_as(path: &Path, right: OpenFlags) -> Result<Connection, StoreError> {
    if !path.is_file() {
        return Err(StoreError::Absent { path: path.to_owned() });
    }
    let flags = right | OpenFlags::SQLITE_OPEN_NO_MUTEX;
    let db = Connection::open_with_flags(path, flags).map_err(|error| StoreError::opening(path, error))?;
    db.busy_timeout(BUSY_MAX)?;
    Ok(db)
}

pub(super) fn has_table(db: &Connection, name: &str) -> Result<bool, StoreError> {
    const SQL: &str = "SELECT EXISTS (SELECT 1 FROM sqlite_master WHERE type = 'table' AND name = ?1)";
    Ok(db.query_row(SQL, [name], |row| row.get(0))?)
}

/// The schema of a database that may be written: 0 if it is new.
fn take(db: &Connection) -> Result<usize, StoreError> {
    let found = version(db).map_err(unopened)?;
    let ours = MIGRATIONS.len();
    let foreign = |found: String| Err(StoreError::Foreign { path: PathBuf::new(), found });
    let tables = tables(db)?;
    if found == 0 {
        return if tables.is_empty() { Ok(0) } else { foreign("it holds another program's tables".to_owned()) };
    }
    if found > ours {
        let known = ["printer", "print"].iter().all(|name| tables.contains(*name));
        let newer = StoreError::Version { path: PathBuf::new(), found, ours };
        return if known { Err(newer) } else { foreign("it holds another program's tables".to_owned()) };
    }
    let (then, now) = (tables_of(found)?, tables_of(ours)?);
    // A person may have added tables; those that only later schemas have can't be there yet.
    let is_whole = then.is_subset(&tables) && now.difference(&then).all(|later| !tables.contains(later));
    if is_whole { Ok(found) } else { foreign(format!("its tables are not those of schema {found}")) }
}

/// What is read first fails on a file that is no database.
fn unopened(error: rusqlite::Error) -> StoreError {
    if error.sqlite_error_code() == Some(rusqlite::ErrorCode::NotADatabase) {
        let found = "it is no SQLite database, or its beginning is damaged".to_owned();
        return StoreError::Foreign { path: PathBuf::new(), found };
    }
    error.into()
}

fn tables(db: &Connection) -> Result<BTreeSet<String>, StoreError> {
    let mut statement =
        db.prepare("SELECT name FROM sqlite_master WHERE type = 'table' AND name NOT LIKE 'sqlite\\_%' ESCAPE '\\'")?;
    let names = statement.query_map([], |row| row.get(0))?;
    Ok(names.collect::<rusqlite::Result<_>>()?)
}

/// The tables that a schema has.
fn tables_of(version: usize) -> Result<BTreeSet<String>, StoreError> {
    let db = Connection::open_in_memory()?;
    bring(&db, 0..version)?;
    tables(&db)
}

fn prepare(db: &mut Connection, path: &Path) -> Result<(), StoreError> {
    db.busy_timeout(BUSY_MAX)?;
    // Plans do not hang on the values that are bound: else a statement is planned anew with every use.
    db.set_db_config(DbConfig::SQLITE_DBCONFIG_ENABLE_QPSG, true)?;
    let found = take(db)?;
    if found == 0 {
        // Only a new file takes these two.
        db.pragma_update(None, "page_size", PAGE_BYTES)?;
        db.pragma_update(None, "auto_vacuum", "INCREMENTAL")?;
    }
    db.pragma_update(None, "journal_mode", "WAL")?;
    db.pragma_update(None, "wal_autocheckpoint", LOG_PAGES_MAX)?;
    db.pragma_update(None, "foreign_keys", true)?;
    db.pragma_update(None, "synchronous", "FULL")?;
    #[cfg(feature = "points")]
    pass_checkpoints(db)?;
    if found < MIGRATIONS.len() { migrate(db, path) } else { Ok(()) }
}

/// Brings a database to this program's schema in one step: it is at the old one, with its copy, or at the new one.
fn migrate(db: &mut Connection, path: &Path) -> Result<(), StoreError> {
    let step = db.transaction_with_behavior(TransactionBehavior::Immediate)?;
    // Another process may have done it while this one waited.
    let found = version(&step)?;
    let ours = MIGRATIONS.len();
    if found >= ours {
        return Ok(());
    }
    // From here on nobody else writes, and what was written can be read.
    let kept = if found == 0 { None } else { Some(keep_copy(path, found)?) };
    let migrated = bring(&step, found..ours).and_then(|()| {
        pass(Point::MigrationWritten);
        step.commit()?;
        pass(Point::MigrationCommitted);
        Ok(())
    });
    match (&migrated, kept) {
        (Ok(()), Some(copy)) => {
            tracing::info!(from = found, to = ours, copy = %copy.display(), "the database was migrated");
            take_up_vacuum(db);
        }
        (Err(_), Some(copy)) => {
            // Nothing has changed, so its copy is one too many.
            if let Err(error) = fs::remove_file(&copy) {
                tracing::warn!(%error, copy = %copy.display(), "a copy that is of no use could not be removed");
            }
        }
        (Ok(()) | Err(_), None) => {}
    }
    migrated
}

/// Takes these steps.
fn bring(db: &Connection, steps: Range<usize>) -> Result<(), StoreError> {
    for idx in steps {
        db.execute_batch(MIGRATIONS.get(idx).copied().unwrap_or_default())?;
        if idx == REPACKED_BY {
            repack::all(db)?;
        }
        db.pragma_update(None, "user_version", i64::try_from(idx + 1).unwrap_or(i64::MAX))?;
    }
    Ok(())
}

/// Does after a commit what SQLite would do by itself, and comes by a place before and after.
#[cfg(feature = "points")]
fn pass_checkpoints(db: &mut Connection) -> rusqlite::Result<()> {
    // Sooner than else, so that a short run comes by.
    let pages_max = db.pragma_query_value(None, "wal_autocheckpoint", |row| row.get::<_, i32>(0))?.min(1000);
    db.wal_hook(Some(move |log: &mut rusqlite::hooks::Wal, pages: i32| {
        if pages_max > 0 && pages >= pages_max {
            pass(Point::CheckpointDue);
            // As SQLite's own: one that can't be made now is made after a later commit.
            drop(log.checkpoint());
            pass(Point::CheckpointMade);
        }
        Ok(())
    }))
}

/// Copies a database of an older schema beside itself.
fn keep_copy(path: &Path, found: usize) -> Result<PathBuf, StoreError> {
    let first = extended(path, &format!(".schema-{found}"));
    let numbered = (2..=COPIES_MAX).map(|n| extended(&first, &format!("-{n}")));
    let refused = |reason| StoreError::NotBackedUp { path: path.to_owned(), found, reason };
    let free = std::iter::once(first.clone()).chain(numbered).find(|copy| !copy.exists());
    let copy = free.ok_or_else(|| refused(format!("{} and {COPIES_MAX} such are there already", first.display())))?;
    match backup::write(&open_raw(path)?, &copy) {
        Ok(()) => Ok(copy),
        Err(error @ StoreError::Damaged { .. }) => Err(error),
        Err(StoreError::Backup { reason, .. }) => Err(refused(reason)),
        Err(other) => Err(refused(other.to_string())),
    }
}

/// Lets an older database give back free pages a few at a time. It has to be written anew once for that; where there is
/// no room, it goes on as it was.
fn take_up_vacuum(db: &Connection) {
    let switched = db.pragma_update(None, "auto_vacuum", "INCREMENTAL").and_then(|()| db.execute_batch("VACUUM"));
    if let Err(error) = switched {
        tracing::warn!(%error, "the database was not written anew: its file will not shrink");
    }
    // The whole database stands in the log beside it now.
    if let Err(error) = db.query_row("PRAGMA wal_checkpoint(TRUNCATE)", [], |_| Ok(())) {
        tracing::warn!(%error, "the log of the database was not emptied");
    }
}

fn version(db: &Connection) -> rusqlite::Result<usize> {
    let version: i64 = db.pragma_query_value(None, "user_version", |row| row.get(0))?;
    Ok(usize::try_from(version).unwrap_or(usize::MAX))
}

#[cfg(test)]
#[expect(clippy::unwrap_used, reason = "a test may stop")]
mod tests;
