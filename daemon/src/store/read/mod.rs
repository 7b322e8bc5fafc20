//! Reading the record: rows straight into the words of the trade. A [`Reader`] sees one consistent state for as long
//! as it is held.

mod journal;
mod prints;
mod rows;
mod spans;

pub use prints::{ChangeRow, OutcomeRow, PrintFilter, PrintRow, PrintTool, VisitRow};
pub use rows::{AlarmRow, GapRow, PartRow, PrinterRow, RefusedRow, SettingsRow};
pub use spans::{SpanFilter, SpanRow};

pub(super) use prints::tool;

use super::{StoreError, schema};
use crate::entry::PrinterName;
use dwell_analysis::time::Timestamp;
use dwell_analysis::units::Seconds;
use rusqlite::types::FromSql;
use rusqlite::{Connection, OptionalExtension};
use std::path::Path;

/// A reading connection, inside one read transaction.
#[derive(Debug)]
pub struct Reader {
    pub(super) db: Connection,
}

impl Reader {
    /// Opens a database that is there.
    ///
    /// # Errors
    /// If there is none, it can't be read, or it is of another version.
    pub fn open(path: &Path) -> Result<Self, StoreError> {
        let db = schema::open_read(path)?;
        db.execute_batch("BEGIN")?;
        Ok(Self { db })
    }

    /// Whether any printer was read in a stretch of time.
    ///
    /// # Errors
    /// If the record can't be read.
    pub fn has_readings(&self, from: Timestamp, to: Timestamp) -> Result<bool, StoreError> {
        const SQL: &str = "SELECT EXISTS (SELECT 1 FROM sample_batch WHERE ended_ms >= ?1 AND began_ms < ?2)";
        Ok(self.db.query_row(SQL, [from.as_ms(), to.as_ms()], |row| row.get(0))?)
    }

    fn scalar<T: FromSql>(&self, sql: &str) -> Result<T, StoreError> {
        Ok(self.db.query_row(sql, [], |row| row.get(0))?)
    }

    /// The newest instant that the record knows of, of any printer: where its timeline goes on.
    ///
    /// # Errors
    /// If the record can't be read.
    pub fn newest(&self) -> Result<Option<Timestamp>, StoreError> {
        let newest: Option<i64> = self.scalar("SELECT max(ended_ms) FROM sample_batch")?;
        Ok(newest.map(Timestamp::from_ms))
    }

    /// A printer's newest reading that was written.
    ///
    /// # Errors
    /// If the record can't be read.
    pub fn newest_of(&self, printer: &PrinterName) -> Result<Option<Timestamp>, StoreError> {
        const SQL: &str = "SELECT max(ended_ms) FROM sample_batch JOIN printer ON printer.id = sample_batch.printer
            WHERE name = ?1";
        let newest: Option<i64> = self.db.query_row(SQL, [printer.as_str()], |row| row.get(0))?;
        Ok(newest.map(Timestamp::from_ms))
    }

    /// Since when a printer has been in contact: the end of its last gap, or its first reading. `None` while
    /// nothing of it was written.
    ///
    /// # Errors
    /// If the record can't be read.
    pub fn contact_since(&self, printer: &PrinterName) -> Result<Option<Timestamp>, StoreError> {
        const SQL: &str = "SELECT ifnull((SELECT max(ended_ms) FROM gap WHERE printer = id),
            (SELECT min(began_ms) FROM sample_batch WHERE printer = id)) FROM printer WHERE name = ?1";
        let since: Option<Option<i64>> = self.db.query_row(SQL, [printer.as_str()], |row| row.get(0)).optional()?;
        Ok(since.flatten().map(Timestamp::from_ms))
    }

    /// The first reading of the record, of any printer.
    ///
    /// # Errors
    /// If the record can't be read.
    pub fn oldest(&self) -> Result<Option<Timestamp>, StoreError> {
        let oldest: Option<i64> = self.scalar("SELECT min(began_ms) FROM sample_batch")?;
        Ok(oldest.map(Timestamp::from_ms))
    }
}

#[expect(clippy::as_conversions, clippy::cast_precision_loss, reason = "2^53 ms are 285,000 years")]
pub(super) fn seconds(ms: i64) -> Seconds {
    Seconds::new(ms as f64 / 1000.0)
}

pub(super) fn ms_or(at: Option<Timestamp>, otherwise: i64) -> i64 {
    at.map_or(otherwise, Timestamp::as_ms)
}

/// A word of a CHECKed column as its value; a word that the program does not know means a damaged file.
pub(super) fn word<T>(value: Option<T>, column: &'static str) -> rusqlite::Result<T> {
    value.ok_or_else(|| rusqlite::Error::InvalidColumnName(column.to_owned()))
}
