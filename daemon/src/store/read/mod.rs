//! Reading the record: rows straight into the words of the trade. A [`Reader`] sees one consistent state for as long
//! as it is held.

mod alarm_calls;
mod alarms;
mod counts;
mod ended;
mod hot;
mod journal;
mod link;
mod prints;
mod quality;
mod rows;
mod search;
mod spans;
mod stuck;
mod told;

pub use alarm_calls::AlarmCall;
pub use alarms::{AlarmChangeRow, AlarmRow, HoldKind, HoldRow};
pub use counts::{OutcomeCount, PrintCount};
pub use ended::EndedPrint;
pub use hot::{HotDoing, HotTime};
pub use prints::{ChangeRow, OutcomeRow, PrintFilter, PrintRow, PrintTool, VisitRow};
pub use quality::{Reported, ToolSources};
pub use rows::{GapRow, PartRow, PrinterRow, RefusedRow, SettingsRow};
pub use search::{EndedAs, PrintSearch, PrintsFound, SaidOf};
pub use spans::{SpanFilter, SpanRow};
pub use stuck::StuckRow;
pub use told::ToldPrint;

pub(super) use alarms::{alarms, holds};
pub(super) use prints::{outcomes, tool};
pub(super) use rows::settings;

use super::{StoreError, samples, schema, summary};
use crate::entry::PrinterName;
use dwell_analysis::time::Timestamp;
use dwell_analysis::units::Seconds;
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
        const SAMPLES: &str = "SELECT EXISTS (SELECT 1 FROM sample WHERE key >= ?1 AND key < ?2 AND ended_ms >= ?3)";
        const SUMMARIES: &str = "SELECT EXISTS (SELECT 1 FROM summary
            WHERE printer = ?1 AND step_s = 3600 AND began_ms > ?2 - 86400000 AND began_ms < ?3 AND ended_ms > ?2)";
        let (from, to) = (from.as_ms(), to.as_ms());
        for id in self.printer_ids()? {
            let keys = samples::keys(id, from.saturating_sub(samples::HOUR_MS)..to);
            let mut samples = self.db.prepare_cached(SAMPLES)?;
            let mut summaries = self.db.prepare_cached(SUMMARIES)?;
            if samples.query_row((keys.start, keys.end, from), |row| row.get(0))?
                || summaries.query_row((id, from, to), |row| row.get(0))?
            {
                return Ok(true);
            }
        }
        Ok(false)
    }

    pub(super) fn printer_ids(&self) -> Result<Vec<i64>, StoreError> {
        let mut statement = self.db.prepare_cached("SELECT id FROM printer")?;
        let ids = statement.query_map([], |row| row.get(0))?;
        Ok(ids.collect::<rusqlite::Result<_>>()?)
    }

    pub(super) fn printer_id(&self, name: &PrinterName) -> Result<Option<i64>, StoreError> {
        const SQL: &str = "SELECT id FROM printer WHERE name = ?1";
        Ok(self.db.prepare_cached(SQL)?.query_row([name.as_str()], |row| row.get(0)).optional()?)
    }

    /// What holds of every printer's rows, if it has any.
    fn of_printers<T>(
        &self,
        find: impl Fn(&Connection, i64) -> Result<Option<T>, StoreError>,
    ) -> Result<Vec<T>, StoreError> {
        let found = self.printer_ids()?.into_iter().map(|id| find(&self.db, id));
        found.filter_map(Result::transpose).collect()
    }

    /// The newest instant that the record knows of, of any printer: where its timeline goes on.
    ///
    /// # Errors
    /// If the record can't be read.
    pub fn newest(&self) -> Result<Option<Timestamp>, StoreError> {
        Ok(self.of_printers(samples::newest)?.into_iter().max())
    }

    /// A printer's newest reading that was written.
    ///
    /// # Errors
    /// If the record can't be read.
    pub fn newest_of(&self, printer: &PrinterName) -> Result<Option<Timestamp>, StoreError> {
        let Some(id) = self.printer_id(printer)? else { return Ok(None) };
        samples::newest(&self.db, id)
    }

    /// A printer's first reading that is kept.
    pub(super) fn oldest_row(&self, printer: i64) -> Result<Option<Timestamp>, StoreError> {
        samples::oldest(&self.db, printer)
    }

    /// A printer's first reading.
    ///
    /// # Errors
    /// If the record can't be read.
    pub fn oldest_of(&self, printer: &PrinterName) -> Result<Option<Timestamp>, StoreError> {
        let Some(id) = self.printer_id(printer)? else { return Ok(None) };
        samples::oldest(&self.db, id)
    }

    /// Since when a printer has been in contact: the end of its last gap, or its first reading. `None` while
    /// nothing of it was written.
    ///
    /// # Errors
    /// If the record can't be read.
    pub fn contact_since(&self, printer: &PrinterName) -> Result<Option<Timestamp>, StoreError> {
        const SQL: &str = "SELECT ended_ms FROM gap WHERE printer = ?1 AND ended_ms IS NOT NULL
            ORDER BY began_ms DESC LIMIT 1";
        let Some(id) = self.printer_id(printer)? else { return Ok(None) };
        let ended: Option<i64> = self.db.prepare_cached(SQL)?.query_row([id], |row| row.get(0)).optional()?;
        ended.map(Timestamp::from_ms).map_or_else(|| summary::oldest(&self.db, id), |ended| Ok(Some(ended)))
    }

    /// The first that is known of a printer, as a reading or summed up. `None` while nothing of it was written.
    ///
    /// # Errors
    /// If the record can't be read.
    pub fn contact_began(&self, printer: &PrinterName) -> Result<Option<Timestamp>, StoreError> {
        self.printer_id(printer)?.map_or(Ok(None), |id| summary::oldest(&self.db, id))
    }

    /// The first reading of the record, of any printer.
    ///
    /// # Errors
    /// If the record can't be read.
    pub fn oldest(&self) -> Result<Option<Timestamp>, StoreError> {
        Ok(self.of_printers(summary::oldest)?.into_iter().min())
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
