//! How good the record is: counts of what is missing in it, and when each way to people last worked.

use super::{Reader, StoreError, word};
use crate::entry::PrinterName;
use dwell_analysis::time::Timestamp;
use rusqlite::OptionalExtension;

/// Prints that ended, and those of them that nobody said a word of.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Reported {
    /// How many ended.
    pub n_ended: u32,
    /// How many of them have no outcome.
    pub n_unreported: u32,
}

/// Where a printer's tool changes came from.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct ToolSources {
    /// Changes by source: the word, and how many.
    pub changes: Vec<(&'static str, u32)>,
    /// Times that the host and the job file did not agree.
    pub n_disagreements: u32,
}

const SOURCES: [&str; 3] = ["host", "job_file", "set_points"];

impl Reader {
    /// How many of a printer's prints that began from an instant on have ended, and how many nobody reported.
    ///
    /// # Errors
    /// If the record can't be read.
    pub fn reported(&self, printer: &PrinterName, from: Timestamp) -> Result<Reported, StoreError> {
        const SQL: &str = "SELECT count(*), count(*) FILTER (WHERE NOT EXISTS
            (SELECT 1 FROM outcome WHERE outcome.print = print.id))
            FROM print WHERE printer = ?1 AND started_ms >= ?2 AND ended_ms IS NOT NULL";
        let Some(id) = self.printer_id(printer)? else { return Ok(Reported::default()) };
        let mut statement = self.db.prepare_cached(SQL)?;
        let read = |row: &rusqlite::Row<'_>| Ok(Reported { n_ended: row.get(0)?, n_unreported: row.get(1)? });
        Ok(statement.query_row((id, from.as_ms()), read)?)
    }

    /// Where the tool changes of a printer's prints that began from an instant on came from.
    ///
    /// # Errors
    /// If the record can't be read.
    pub fn tool_sources(&self, printer: &PrinterName, from: Timestamp) -> Result<ToolSources, StoreError> {
        const CHANGES: &str = "SELECT source, count(*) FROM print JOIN tool_change ON tool_change.print = print.id
            WHERE printer = ?1 AND started_ms >= ?2 GROUP BY source ORDER BY count(*) DESC, source";
        const DISAGREEMENTS: &str = "SELECT count(*) FROM print JOIN tool_disagreement
            ON tool_disagreement.print = print.id WHERE printer = ?1 AND started_ms >= ?2";
        let Some(id) = self.printer_id(printer)? else { return Ok(ToolSources::default()) };
        let mut statement = self.db.prepare_cached(CHANGES)?;
        let rows = statement.query_map((id, from.as_ms()), |row| {
            let source: String = row.get(0)?;
            Ok((word(SOURCES.into_iter().find(|known| *known == source), "source")?, row.get(1)?))
        })?;
        let changes = rows.collect::<rusqlite::Result<_>>()?;
        let mut statement = self.db.prepare_cached(DISAGREEMENTS)?;
        Ok(ToolSources { changes, n_disagreements: statement.query_row((id, from.as_ms()), |row| row.get(0))? })
    }

    /// When a way to people last delivered a message, as far as messages are kept.
    ///
    /// # Errors
    /// If the record can't be read.
    pub fn delivered_last(&self, channel: &str) -> Result<Option<Timestamp>, StoreError> {
        const SQL: &str = "SELECT delivered_ms FROM message WHERE channel = ?1 AND delivered_ms IS NOT NULL
            ORDER BY id DESC LIMIT 1";
        let found: Option<i64> = self.db.prepare_cached(SQL)?.query_row([channel], |row| row.get(0)).optional()?;
        Ok(found.map(Timestamp::from_ms))
    }

    /// The version of the record's tables.
    ///
    /// # Errors
    /// If the record can't be read.
    pub fn schema(&self) -> Result<u32, StoreError> {
        Ok(self.db.pragma_query_value(None, "user_version", |row| row.get(0))?)
    }
}
