//! Prints that have ended, as whoever learns from all of them takes them: a few queries for any number of prints.

use super::prints::{OutcomeRow, outcome_row, tool};
use super::rows::settings;
use super::{Reader, StoreError, word};
use crate::entry::{PrintEnd, PrinterName, Settings, ToolNumber};
use dwell_analysis::time::Timestamp;
use std::collections::HashMap;

/// A print that has ended.
#[derive(Clone, Debug)]
pub struct EndedPrint {
    /// Its number.
    pub id: i64,
    /// Its first `printing` reading.
    pub started: Timestamp,
    /// Its end.
    pub ended: Timestamp,
    /// How it ended.
    pub end: PrintEnd,
    /// Progress that was last told while it was on, 0 to 1; `None` if it never was, or was not recorded yet.
    pub fraction: Option<f64>,
    /// Tool changes seen.
    pub tool_changes: usize,
    /// What people said of it, in time order, what was taken back too.
    pub outcomes: Vec<OutcomeRow>,
    /// What its job file asks of its tools, unless it turned out to be another print's.
    pub asked: Vec<(ToolNumber, Settings)>,
}

impl Reader {
    /// A printer's prints that have ended, oldest first.
    ///
    /// # Errors
    /// If the record can't be read.
    pub fn ended_prints(&self, printer: &PrinterName) -> Result<Vec<EndedPrint>, StoreError> {
        const SQL: &str = "SELECT id, started_ms, ended_ms, end, fraction,
            (SELECT count(*) FROM tool_change WHERE tool_change.print = print.id)
            FROM print WHERE printer = ?1 AND ended_ms IS NOT NULL ORDER BY started_ms";
        let Some(printer) = self.printer_id(printer)? else { return Ok(Vec::new()) };
        let (mut outcomes, mut asked) = (self.outcomes_of(printer)?, self.asked_of(printer)?);
        let mut statement = self.db.prepare_cached(SQL)?;
        let rows = statement.query_map([printer], |row| {
            let id = row.get(0)?;
            Ok(EndedPrint {
                id,
                started: Timestamp::from_ms(row.get(1)?),
                ended: Timestamp::from_ms(row.get(2)?),
                end: word(row.get_ref(3)?.as_str().ok().and_then(PrintEnd::of_word), "end")?,
                fraction: row.get(4)?,
                tool_changes: usize::try_from(row.get::<_, u32>(5)?).unwrap_or(usize::MAX),
                outcomes: outcomes.remove(&id).unwrap_or_default(),
                asked: asked.remove(&id).unwrap_or_default(),
            })
        })?;
        Ok(rows.collect::<rusqlite::Result<_>>()?)
    }

    fn outcomes_of(&self, printer: i64) -> Result<HashMap<i64, Vec<OutcomeRow>>, StoreError> {
        const SQL: &str = "SELECT at_ms, tool, mode, severity, note, undone_ms, print FROM print CROSS JOIN outcome
            ON outcome.print = print.id WHERE printer = ?1 ORDER BY print, at_ms, outcome.id";
        let mut statement = self.db.prepare_cached(SQL)?;
        let rows = statement.query_map([printer], |row| Ok((row.get::<_, i64>(6)?, outcome_row(row)?)))?;
        grouped(rows)
    }

    fn asked_of(&self, printer: i64) -> Result<HashMap<i64, Vec<(ToolNumber, Settings)>>, StoreError> {
        const SQL: &str =
            "SELECT tool, job_file.print, material, print_c, standby_c, retract_mm, retract_mm_s, prime_mm3,
            ooze_shield, dried FROM job_file JOIN print ON print.id = job_file.print
            JOIN job_file_tool ON job_file_tool.print = job_file.print WHERE printer = ?1 AND dropped_ms IS NULL";
        let mut statement = self.db.prepare_cached(SQL)?;
        let rows =
            statement.query_map([printer], |row| Ok((row.get::<_, i64>(1)?, (tool(row, 0)?, settings(row, 2)?))))?;
        grouped(rows)
    }
}

fn grouped<T>(rows: impl Iterator<Item = rusqlite::Result<(i64, T)>>) -> Result<HashMap<i64, Vec<T>>, StoreError> {
    let mut of_print: HashMap<i64, Vec<T>> = HashMap::new();
    for row in rows {
        let (print, row) = row?;
        of_print.entry(print).or_default().push(row);
    }
    Ok(of_print)
}
