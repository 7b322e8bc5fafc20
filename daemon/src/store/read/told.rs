//! Prints with people's words on them and nothing else, for whoever counts many: two queries for any number of prints.

use super::prints::{OutcomeRow, outcome_row};
use super::{Reader, StoreError};
use dwell_analysis::time::Timestamp;
use std::collections::HashMap;

/// A print and what people said of it.
#[derive(Clone, Debug)]
pub struct ToldPrint {
    /// Its first `printing` reading.
    pub started: Timestamp,
    /// Whether it has ended.
    pub has_ended: bool,
    /// What people said, in time order.
    pub outcomes: Vec<OutcomeRow>,
}

impl Reader {
    /// Prints of every printer that began in a time, oldest first.
    ///
    /// # Errors
    /// If the record can't be read.
    pub fn told_prints(&self, from: Timestamp, to: Timestamp) -> Result<Vec<ToldPrint>, StoreError> {
        const PRINTS: &str = "SELECT id, started_ms, ended_ms IS NOT NULL FROM print
            WHERE started_ms >= ?1 AND started_ms < ?2 ORDER BY started_ms, id";
        const OUTCOMES: &str = "SELECT at_ms, tool, mode, severity, note, undone_ms, print FROM outcome
            WHERE print IN (SELECT id FROM print WHERE started_ms >= ?1 AND started_ms < ?2) ORDER BY at_ms, id";
        let key = (from.as_ms(), to.as_ms());
        let mut outcomes: HashMap<i64, Vec<OutcomeRow>> = HashMap::new();
        let mut statement = self.db.prepare_cached(OUTCOMES)?;
        for row in statement.query_map(key, |row| Ok((row.get(6)?, outcome_row(row)?)))? {
            let (print, outcome) = row?;
            outcomes.entry(print).or_default().push(outcome);
        }
        let mut statement = self.db.prepare_cached(PRINTS)?;
        let rows = statement.query_map(key, |row| {
            let outcomes = outcomes.remove(&row.get(0)?).unwrap_or_default();
            Ok(ToldPrint { started: Timestamp::from_ms(row.get(1)?), has_ended: row.get(2)?, outcomes })
        })?;
        Ok(rows.collect::<rusqlite::Result<_>>()?)
    }
}
