//! What a restarted daemon needs to take up a printer again.

use super::read::word;
use super::{Reader, StoreError, samples};
use crate::alarm::{Called, Rule, State, Subject};
use crate::entry::{HeaterFact, JobFile, PrinterName, Reading, Settings, SettingsChange, ToolNumber};
use dwell_analysis::time::Timestamp;
use rusqlite::OptionalExtension;

/// A tool's waiting is followed from its beginning, through all the spans that it was cut into, but no further back than
/// this: a rule looks at minutes or hours of it.
const CARRIED_MAX_MS: i64 = 24 * 3_600_000;

/// Where the oldest open print or span of a printer began. A span that took over from another one, when a print began,
/// counts from that one's beginning, and so does one that a standing alarm is of; if that lies in a print, from the
/// print's beginning. Of a tool's spans only the newest can be open.
const OPEN: &str = "WITH RECURSIVE waiting (tool, began) AS (
        SELECT tool, began_ms FROM tool_number CROSS JOIN span ON printer = ?1 AND tool = n
            AND began_ms = (SELECT max(began_ms) FROM span AS newest WHERE newest.printer = ?1 AND newest.tool = n)
            WHERE ended_ms IS NULL
        UNION SELECT span.tool, span.began_ms FROM alarm
            JOIN span ON span.printer = ?1 AND span.tool = alarm.tool AND span.began_ms >= ?2
                AND alarm.raised_ms BETWEEN span.began_ms AND span.ended_ms
            WHERE alarm.printer = ?1 AND alarm.returned_ms IS NULL
        UNION SELECT span.tool, span.began_ms FROM waiting
            JOIN span ON span.printer = ?1 AND span.tool = waiting.tool
                AND span.began_ms >= ?2 AND span.began_ms < waiting.began AND span.ended_ms = waiting.began)
    SELECT min(began) FROM (
        SELECT began FROM waiting
        UNION ALL SELECT started_ms FROM print JOIN waiting ON started_ms <= began AND ended_ms > began
            WHERE printer = ?1
        UNION ALL SELECT started_ms FROM print WHERE printer = ?1 AND ended_ms IS NULL)";

/// A printer as the record left it.
#[derive(Clone, Debug, Default)]
pub struct Resume {
    /// Settings in force when the oldest open print or waiting began, or now if nothing is open; T0 first.
    pub settings: Vec<Settings>,
    /// Changes since then.
    pub changes: Vec<SettingsChange>,
    /// Job files of prints since then, by the time at which they were read.
    pub job_files: Vec<JobFile>,
    /// What was known of heaters, in time order; what is older than the readings holds when they begin.
    pub heaters: Vec<HeaterFact>,
    /// Readings since then, in time order; without anything open, the newest one alone.
    pub readings: Vec<Reading>,
    /// Alarms that stand, and when each was raised.
    pub alarms: Vec<(Subject, Timestamp)>,
    /// Alarms of tools that called somebody in the last day, in time order.
    pub called: Vec<Called>,
}

impl Reader {
    /// From which reading on a restart follows a printer again; `None` without any reading.
    pub(super) fn followed_from(&self, printer: i64) -> Result<Option<Timestamp>, StoreError> {
        let newest = samples::newest(&self.db, printer)?;
        let carried_from = newest.map_or(i64::MIN, |newest| newest.as_ms().saturating_sub(CARRIED_MAX_MS));
        let open: Option<i64> = self.db.prepare_cached(OPEN)?.query_row([printer, carried_from], |row| row.get(0))?;
        Ok(open.map(Timestamp::from_ms).or(newest))
    }

    /// What a restart needs of a printer; `None` if the record does not know it.
    ///
    /// # Errors
    /// If the record can't be read.
    pub fn resume(&self, printer: &PrinterName) -> Result<Option<Resume>, StoreError> {
        const ALARMS: &str = "SELECT tool, rule, raised_ms FROM alarm WHERE printer = ?1 AND returned_ms IS NULL";
        let find = "SELECT id, n_tools FROM printer WHERE name = ?1";
        let found = self.db.query_row(find, [printer.as_str()], |row| Ok((row.get(0)?, row.get(1)?))).optional()?;
        let Some((id, n_tools)): Option<(i64, u8)> = found else { return Ok(None) };
        let from = self.followed_from(id)?;
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
        let heaters = self.heater_facts(printer)?;
        let mut alarms = self.db.prepare(ALARMS)?;
        let alarms = alarms.query_map([id], |row| {
            let (tool, rule): (Option<u8>, String) = (row.get(0)?, row.get(1)?);
            let tool = tool.and_then(|tool| ToolNumber::new(usize::from(tool)));
            let subject = Rule::of_word(&rule).map(|rule| Subject { rule, tool });
            let raised = Timestamp::from_ms(row.get(2)?);
            Ok(subject.map(|subject| (subject, raised)))
        })?;
        let alarms = alarms.filter_map(Result::transpose).collect::<rusqlite::Result<_>>()?;
        let called = self.called(id, readings.last().map(|reading: &Reading| reading.at))?;
        Ok(Some(Resume { settings, changes, job_files, heaters, readings, alarms, called }))
    }

    /// Alarms of tools that were raised in the day up to an instant and called somebody, or would have but for a person.
    fn called(&self, printer: i64, newest: Option<Timestamp>) -> Result<Vec<Called>, StoreError> {
        const SQL: &str =
            "SELECT tool, rule, raised_ms, EXISTS (SELECT 1 FROM print WHERE print.printer = alarm.printer
                AND started_ms <= raised_ms AND (ended_ms IS NULL OR ended_ms > raised_ms))
            FROM alarm WHERE printer = ?1 AND tool IS NOT NULL AND raised_ms >= ?2 AND ?3 IS NOT
                (SELECT to_state FROM alarm_change WHERE alarm_change.alarm = alarm.id ORDER BY id LIMIT 1)
            ORDER BY raised_ms, id";
        let Some(newest) = newest else { return Ok(Vec::new()) };
        let from = newest.as_ms().saturating_sub(CARRIED_MAX_MS);
        let mut statement = self.db.prepare(SQL)?;
        let rows = statement.query_map((printer, from, State::SuppressedByDesign.word()), |row| {
            let subject = Subject {
                rule: word(Rule::of_word(&row.get::<_, String>(1)?), "rule")?,
                tool: row.get::<_, Option<u8>>(0)?.and_then(|tool| ToolNumber::new(usize::from(tool))),
            };
            Ok(Called { subject, raised: Timestamp::from_ms(row.get(2)?), in_print: row.get(3)? })
        })?;
        Ok(rows.collect::<rusqlite::Result<_>>()?)
    }
}
