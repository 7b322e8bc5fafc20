//! Opening a database: its pragmas and its migrations. A connection that comes from here is at this program's schema.

use super::{StoreError, repack};
use rusqlite::{Connection, OpenFlags, TransactionBehavior};
use std::path::Path;
use std::time::Duration;

/// One step a version, in order, never edited once released.
pub(super) const MIGRATIONS: [&str; 4] = [
    include_str!("schema.sql"),
    include_str!("schema_2.sql"),
    include_str!("schema_3.sql"),
    include_str!("schema_4.sql"),
];

/// The migration after which the rows of readings are brought into hours.
const REPACKED_BY: usize = 3;

/// With 4096 the hour's writing doubles (0.60 against 0.29 MiB, measured).
const PAGE_BYTES: i64 = 1024;

/// How long a writer waits for another process's transaction (`note`, `part`) before it gives up.
const BUSY_MAX: Duration = Duration::from_secs(5);

/// Opens for writing, creating and migrating as needed.
pub(super) fn open_write(path: &Path) -> Result<Connection, StoreError> {
    let mut db = Connection::open(path).map_err(|error| StoreError::opening(path, error))?;
    prepare(&mut db).map_err(|error| error.at(path))?;
    Ok(db)
}

/// Opens a database that is already there, for reading alone.
pub(super) fn open_read(path: &Path) -> Result<Connection, StoreError> {
    if !path.is_file() {
        return Err(StoreError::Absent { path: path.to_owned() });
    }
    let flags = OpenFlags::SQLITE_OPEN_READ_ONLY | OpenFlags::SQLITE_OPEN_NO_MUTEX;
    let db = Connection::open_with_flags(path, flags).map_err(|error| StoreError::opening(path, error))?;
    let found = version(&db).map_err(|error| StoreError::opening(path, error))?;
    let ours = MIGRATIONS.len();
    if found != ours {
        return Err(StoreError::Version { path: path.to_owned(), found, ours });
    }
    db.busy_timeout(BUSY_MAX)?;
    Ok(db)
}

fn prepare(db: &mut Connection) -> Result<(), StoreError> {
    db.busy_timeout(BUSY_MAX)?;
    let found = version(db)?;
    let ours = MIGRATIONS.len();
    if found > ours {
        return Err(StoreError::Version { path: "".into(), found, ours });
    }
    // Small pages: a minute of readings is under 1 KiB, and a commit writes whole pages. Only a new file takes it.
    db.pragma_update(None, "page_size", PAGE_BYTES)?;
    db.pragma_update(None, "auto_vacuum", "INCREMENTAL")?;
    db.pragma_update(None, "journal_mode", "WAL")?;
    db.pragma_update(None, "foreign_keys", true)?;
    db.pragma_update(None, "synchronous", "FULL")?;
    for (idx, migration) in MIGRATIONS.iter().enumerate().skip(found) {
        let step = db.transaction_with_behavior(TransactionBehavior::Immediate)?;
        // Another process may have done it while this one waited.
        if version(&step)? > idx {
            continue;
        }
        step.execute_batch(migration)?;
        if idx == REPACKED_BY {
            repack::all(&step)?;
        }
        step.pragma_update(None, "user_version", i64::try_from(idx + 1).unwrap_or(i64::MAX))?;
        step.commit()?;
    }
    Ok(())
}

fn version(db: &Connection) -> rusqlite::Result<usize> {
    let version: i64 = db.pragma_query_value(None, "user_version", |row| row.get(0))?;
    Ok(usize::try_from(version).unwrap_or(usize::MAX))
}

#[cfg(test)]
#[expect(clippy::unwrap_used, reason = "a test may stop")]
mod tests {
    use super::*;
    use crate::alarm::Rule;
    use crate::store::{Reader, Store};

    /// What a database of the first schema held.
    const FIRST: &str = "PRAGMA user_version = 1;
        INSERT INTO printer VALUES (1, 'bench', 'separate', 2);
        INSERT INTO alarm VALUES (7, 1, 1, 'idle_hot', 1000, 2000, 'returned unacknowledged', 'c', 'd', 'e');
        INSERT INTO alarm VALUES (8, 1, 0, 'residence_budget', 3000, NULL, 'unacknowledged', 'f', 'g', 'h');
        INSERT INTO poll_fault VALUES (1, 5000, 'connection refused');";

    #[test]
    fn a_database_of_the_first_schema_keeps_its_alarms_and_takes_those_of_a_printer() {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("first.db");
        let db = Connection::open(&path).unwrap();
        db.execute_batch(MIGRATIONS[0]).unwrap();
        db.execute_batch(FIRST).unwrap();
        drop(db);
        let refused = Reader::open(&path).unwrap_err().to_string();
        assert!(refused.contains("schema 1") && refused.contains("run"), "{refused}");
        drop(Store::open(&path).unwrap());
        let reader = Reader::open(&path).unwrap();
        let alarms = reader.alarms(None, None).unwrap();
        let told: Vec<_> = alarms.iter().map(|row| (row.id, row.subject.rule, row.returned.is_some())).collect();
        assert_eq!(told, [(7, Rule::IdleHot, true), (8, Rule::ResidenceBudget, false)]);
        let db = Connection::open(&path).unwrap();
        let insert = |tool: &str, rule: &str| {
            let row =
                format!("INSERT INTO alarm VALUES (NULL, 1, {tool}, '{rule}', 9, NULL, 'unacknowledged', '', '', '')");
            db.execute_batch(&row)
        };
        insert("NULL", "host_silent").unwrap();
        assert!(insert("NULL", "host_silent").is_err(), "the same alarm twice");
        assert!(insert("1", "host_silent").is_err() && insert("NULL", "idle_hot").is_err());
    }

    /// What a database of the second schema held.
    const SECOND: &str = "PRAGMA user_version = 2;
        INSERT INTO printer VALUES (1, 'bench', 'separate', 2);
        INSERT INTO print VALUES (4, 1, 1000, 'lantern.gcode', 9000, 'completed');
        INSERT INTO tool_change VALUES (4, 2000, 0, 1, 'host'), (4, 3000, 1, 0, 'set_points');";

    #[test]
    fn a_database_of_the_second_schema_keeps_its_tool_changes_and_takes_those_of_a_job_file() {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("second.db");
        let db = Connection::open(&path).unwrap();
        for migration in &MIGRATIONS[..2] {
            db.execute_batch(migration).unwrap();
        }
        db.execute_batch(SECOND).unwrap();
        drop(db);
        drop(Store::open(&path).unwrap());
        let db = Connection::open(&path).unwrap();
        let insert = |source: &str| db.execute("INSERT INTO tool_change VALUES (4, 4000, 0, 1, ?1)", [source]);
        assert!(insert("hearsay").is_err());
        insert("job_file").unwrap();
        let reader = Reader::open(&path).unwrap();
        let changes = reader.tool_changes(4).unwrap();
        let told: Vec<_> = changes.iter().map(|row| (row.at.as_ms(), row.to.idx(), row.source)).collect();
        assert_eq!(told, [(2000, 1, "host"), (3000, 0, "set_points"), (4000, 1, "job_file")]);
        let print = reader.print(4).unwrap().unwrap();
        assert_eq!((print.expected, print.job_file, print.disagreements), (None, None, 0));
        assert_eq!(reader.job_file(4).unwrap(), None);
    }
}
