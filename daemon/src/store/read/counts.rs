//! How many there are, for whoever collects figures: each a count by an index or of a small table.

use super::{Reader, StoreError, word};
use crate::entry::{Mode, PrintEnd, PrinterName};
use std::sync::Arc;

/// A printer's prints of one end.
#[derive(Clone, Debug, PartialEq)]
pub struct PrintCount {
    /// The printer.
    pub printer: PrinterName,
    /// How they ended; `None` is the one that runs.
    pub end: Option<PrintEnd>,
    /// How many.
    pub n: u64,
}

/// What people said of a printer's prints, of one mode.
#[derive(Clone, Debug, PartialEq)]
pub struct OutcomeCount {
    /// The printer.
    pub printer: PrinterName,
    /// What they said.
    pub mode: Mode,
    /// How often.
    pub n: u64,
}

impl Reader {
    /// Prints by printer and end.
    ///
    /// # Errors
    /// If the record can't be read.
    pub fn print_counts(&self) -> Result<Vec<PrintCount>, StoreError> {
        const SQL: &str = "SELECT printer.name, end, count(*) FROM print JOIN printer ON printer.id = print.printer
            GROUP BY printer.name, end ORDER BY printer.name, end";
        let mut statement = self.db.prepare_cached(SQL)?;
        let rows = statement.query_map([], |row| {
            let end: Option<String> = row.get(1)?;
            Ok(PrintCount {
                printer: word(PrinterName::new(&row.get::<_, String>(0)?), "name")?,
                end: end.map(|end| word(PrintEnd::of_word(&end), "end")).transpose()?,
                n: count(row.get(2)?),
            })
        })?;
        Ok(rows.collect::<rusqlite::Result<_>>()?)
    }

    /// Outcomes by printer and mode, those that were taken back, too.
    ///
    /// # Errors
    /// If the record can't be read.
    pub fn outcome_counts(&self) -> Result<Vec<OutcomeCount>, StoreError> {
        const SQL: &str = "SELECT printer.name, mode, count(*) FROM outcome JOIN print ON print.id = outcome.print
            JOIN printer ON printer.id = print.printer GROUP BY printer.name, mode ORDER BY printer.name, mode";
        let mut statement = self.db.prepare_cached(SQL)?;
        let rows = statement.query_map([], |row| {
            Ok(OutcomeCount {
                printer: word(PrinterName::new(&row.get::<_, String>(0)?), "name")?,
                mode: word(Mode::of_word(&row.get::<_, String>(1)?), "mode")?,
                n: count(row.get(2)?),
            })
        })?;
        Ok(rows.collect::<rusqlite::Result<_>>()?)
    }

    /// Notices that have not arrived by each of these channels.
    ///
    /// # Errors
    /// If the record can't be read.
    pub fn notices_waiting(&self, channels: &[Arc<str>]) -> Result<Vec<u64>, StoreError> {
        // Those that went into a message that is still tried wait, too.
        const SQL: &str = "SELECT count(*) FROM outbox WHERE settled_ms IS NULL AND NOT EXISTS (SELECT 1 FROM delivery
            LEFT JOIN message ON message.id = delivery.message WHERE delivery.channel = ?1 AND notice = outbox.id
            AND (delivery.message IS NULL OR delivered_ms IS NOT NULL))";
        let mut statement = self.db.prepare_cached(SQL)?;
        channels.iter().map(|channel| Ok(count(statement.query_row([channel], |row| row.get(0))?))).collect()
    }
}

fn count(n: i64) -> u64 {
    u64::try_from(n).unwrap_or(0)
}
