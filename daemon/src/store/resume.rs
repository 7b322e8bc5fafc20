//! What a restarted daemon needs to take up a printer again.

use super::{Reader, StoreError, samples};
use crate::alarm::{Rule, Subject};
use crate::entry::{JobFile, PrinterName, Reading, Settings, SettingsChange, ToolNumber};
use dwell_analysis::time::Timestamp;
use rusqlite::OptionalExtension;

/// A printer as the record left it.
#[derive(Clone, Debug, Default)]
pub struct Resume {
    /// Settings in force when the oldest open print or span began, or now if nothing is open; T0 first.
    pub settings: Vec<Settings>,
    /// Changes since then.
    pub changes: Vec<SettingsChange>,
    /// Job files of prints since then, by the time at which they were read.
    pub job_files: Vec<JobFile>,
    /// Readings since then, in time order; without anything open, the newest one alone.
    pub readings: Vec<Reading>,
    /// Alarms that stand, and when each was raised.
    pub alarms: Vec<(Subject, Timestamp)>,
}

impl Reader {
    /// What a restart needs of a printer; `None` if the record does not know it.
    ///
    /// # Errors
    /// If the record can't be read.
    pub fn resume(&self, printer: &PrinterName) -> Result<Option<Resume>, StoreError> {
        const OPEN: &str = "SELECT min(began) FROM (
            SELECT started_ms AS began FROM print WHERE printer = ?1 AND ended_ms IS NULL
            UNION ALL SELECT began_ms FROM span WHERE printer = ?1 AND ended_ms IS NULL)";
        const ALARMS: &str = "SELECT tool, rule, raised_ms FROM alarm WHERE printer = ?1 AND returned_ms IS NULL";
        let find = "SELECT id, n_tools FROM printer WHERE name = ?1";
        let found = self.db.query_row(find, [printer.as_str()], |row| Ok((row.get(0)?, row.get(1)?))).optional()?;
        let Some((id, n_tools)): Option<(i64, u8)> = found else { return Ok(None) };
        let open: Option<i64> = self.db.query_row(OPEN, [id], |row| row.get(0))?;
        let from = open.map(Timestamp::from_ms).map_or_else(|| samples::newest(&self.db, id), |open| Ok(Some(open)))?;
        let (mut settings, mut changes) = (vec![Settings::default(); usize::from(n_tools)], Vec::new());
        for change in self.settings_changes(printer)? {
            let is_old = from.is_none_or(|from| change.change.at <= from);
            match settings.get_mut(change.change.tool.idx()) {
                Some(held) if is_old => held.update(&change.change.settings),
                Some(_) | None => changes.push(change.change),
            }
        }
        let readings = match from {
            Some(from) => self.readings(printer, Some(from), None)?.collect::<Result<_, _>>()?,
            None => Vec::new(),
        };
        let job_files = if from.is_some() { self.job_files(printer, from)? } else { Vec::new() };
        let mut alarms = self.db.prepare(ALARMS)?;
        let alarms = alarms.query_map([id], |row| {
            let (tool, rule): (Option<u8>, String) = (row.get(0)?, row.get(1)?);
            let tool = tool.and_then(|tool| ToolNumber::new(usize::from(tool)));
            let subject = Rule::of_word(&rule).map(|rule| Subject { rule, tool });
            let raised = Timestamp::from_ms(row.get(2)?);
            Ok(subject.map(|subject| (subject, raised)))
        })?;
        let alarms = alarms.filter_map(Result::transpose).collect::<rusqlite::Result<_>>()?;
        Ok(Some(Resume { settings, changes, job_files, readings, alarms }))
    }
}
