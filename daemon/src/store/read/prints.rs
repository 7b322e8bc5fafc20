//! Prints and what belongs to one.

use super::{Reader, StoreError, ms_or, seconds, word};
use crate::entry::{JobFileFrom, Mode, PrintEnd, PrinterName, Severity, ToolNumber};
use crate::tracker::ToolSource;
use dwell_analysis::time::Timestamp;
use dwell_analysis::units::{CubicMm, DoseMinutes, Seconds};
use rusqlite::{Connection, Row, params};

/// Which prints.
#[derive(Clone, Debug, Default)]
pub struct PrintFilter {
    /// Of this printer alone.
    pub printer: Option<PrinterName>,
    /// Begun at or after.
    pub from: Option<Timestamp>,
    /// Begun before.
    pub to: Option<Timestamp>,
    /// At most so many, the newest ones.
    pub limit: Option<u32>,
}

/// A print.
#[derive(Clone, Debug)]
pub struct PrintRow {
    /// Its number.
    pub id: i64,
    /// The printer.
    pub printer: PrinterName,
    /// The job's name.
    pub name: Option<String>,
    /// Its first `printing` reading.
    pub started: Timestamp,
    /// Its end; `None` while it runs.
    pub ended: Option<Timestamp>,
    /// How it ended.
    pub end: Option<PrintEnd>,
    /// Tool changes seen.
    pub tool_changes: u32,
    /// Time that its job file is expected to take from the first filament on; `None` without a job file.
    pub expected: Option<Seconds>,
    /// Where its job file was found; `None` if it is not known, or turned out not to be this print's.
    pub job_file: Option<JobFileFrom>,
    /// How often the host and the job file did not agree on the tool at work.
    pub disagreements: u32,
    /// What each tool's waiting in it came to, T0 first; tools that never worked nor waited are absent.
    pub tools: Vec<PrintTool>,
    /// What people said of it, in time order, what was taken back too: [`crate::store::in_force`] tells what stands.
    pub outcomes: Vec<OutcomeRow>,
}

/// One tool's waiting in one print.
#[derive(Clone, Debug)]
pub struct PrintTool {
    /// The tool.
    pub tool: ToolNumber,
    /// Time waited hot, in contact; `None` while it waits.
    pub idle: Option<Seconds>,
    /// The longest single wait; `None` while it waits.
    pub idle_max: Option<Seconds>,
    /// The largest dose of a single idle span; `None` if none was measured.
    pub dose_max: Option<DoseMinutes>,
    /// Doses of its idle spans, added up.
    pub dose_sum: Option<DoseMinutes>,
    /// Time-weighted mean temperature of its idle spans, °C.
    pub mean_c: Option<f64>,
    /// Highest temperature of its idle spans, °C.
    pub max_c: Option<f64>,
    /// Melt expected to have left the nozzle; `None` if nothing was measured.
    pub ooze: Option<CubicMm>,
}

/// What a person said of a print.
#[derive(Clone, Debug)]
pub struct OutcomeRow {
    /// When.
    pub at: Timestamp,
    /// Of which tool; `None` is the whole print.
    pub tool: Option<ToolNumber>,
    /// What.
    pub mode: Mode,
    /// How bad.
    pub severity: Option<Severity>,
    /// In the person's words.
    pub note: Option<String>,
    /// When it was taken back; `None` is not.
    pub undone: Option<Timestamp>,
}

/// A tool change.
#[derive(Clone, Copy, Debug)]
pub struct ChangeRow {
    /// When it was seen.
    pub at: Timestamp,
    /// The tool before.
    pub from: ToolNumber,
    /// The tool after.
    pub to: ToolNumber,
    /// `host`, `set_points` or `job_file`.
    pub source: &'static str,
}

/// A tool's turn at work.
#[derive(Clone, Copy, Debug)]
pub struct VisitRow {
    /// The tool.
    pub tool: ToolNumber,
    /// Its beginning.
    pub began: Timestamp,
    /// Its end; `None` while it lasts.
    pub ended: Option<Timestamp>,
    /// Time without contact inside it.
    pub gap: Seconds,
}

impl Reader {
    /// Prints, newest first.
    ///
    /// # Errors
    /// If the record can't be read.
    pub fn prints(&self, filter: &PrintFilter) -> Result<Vec<PrintRow>, StoreError> {
        const SQL: &str = "SELECT print.id, printer.name, print.name, started_ms, ended_ms, end,
            (SELECT count(*) FROM tool_change WHERE tool_change.print = print.id), expected_ms, source,
            (SELECT count(*) FROM tool_disagreement AS told WHERE told.print = print.id)
            FROM print JOIN printer ON printer.id = print.printer LEFT JOIN job_file ON job_file.print = print.id AND dropped_ms IS NULL
            WHERE (?1 IS NULL OR printer.name = ?1) AND started_ms >= ?2 AND started_ms < ?3
            ORDER BY started_ms DESC, print.id DESC LIMIT ?4";
        let mut statement = self.db.prepare_cached(SQL)?;
        let printer = filter.printer.as_ref().map(PrinterName::as_str);
        let limit = filter.limit.map_or(-1, i64::from);
        let key = params![printer, ms_or(filter.from, i64::MIN), ms_or(filter.to, i64::MAX), limit];
        let rows = statement.query_map(key, print_row)?.collect::<rusqlite::Result<Vec<_>>>()?;
        rows.into_iter().map(|row| self.with_details(row)).collect()
    }

    /// One print.
    ///
    /// # Errors
    /// If the record can't be read.
    pub fn print(&self, id: i64) -> Result<Option<PrintRow>, StoreError> {
        const SQL: &str = "SELECT print.id, printer.name, print.name, started_ms, ended_ms, end,
            (SELECT count(*) FROM tool_change WHERE tool_change.print = print.id), expected_ms, source,
            (SELECT count(*) FROM tool_disagreement AS told WHERE told.print = print.id)
            FROM print JOIN printer ON printer.id = print.printer LEFT JOIN job_file ON job_file.print = print.id AND dropped_ms IS NULL
            WHERE print.id = ?1";
        let mut statement = self.db.prepare_cached(SQL)?;
        let row = statement.query_map([id], print_row)?.next().transpose()?;
        row.map(|row| self.with_details(row)).transpose()
    }

    /// When the print began that a printer runs; `None` while it runs none.
    ///
    /// # Errors
    /// If the record can't be read.
    pub fn running_print(&self, printer: &PrinterName) -> Result<Option<Timestamp>, StoreError> {
        const SQL: &str = "SELECT max(started_ms) FROM print JOIN printer ON printer.id = print.printer
            WHERE printer.name = ?1 AND ended_ms IS NULL";
        let started: Option<i64> = self.db.query_row(SQL, [printer.as_str()], |row| row.get(0))?;
        Ok(started.map(Timestamp::from_ms))
    }

    fn with_details(&self, mut print: PrintRow) -> Result<PrintRow, StoreError> {
        print.tools = self.print_tools(print.id)?;
        print.outcomes = self.outcomes(print.id)?;
        Ok(print)
    }

    fn print_tools(&self, print: i64) -> Result<Vec<PrintTool>, StoreError> {
        const SQL: &str = "SELECT tool, CASE WHEN count(*) = count(idle_ms) THEN sum(idle_ms) END,
            CASE WHEN count(*) = count(idle_ms) THEN max(idle_ms) END, max(dose_min), sum(dose_min),
            sum(mean_c * idle_ms) / nullif(sum(CASE WHEN mean_c IS NOT NULL THEN idle_ms END), 0), max(max_c),
            sum(ooze_mm3)
            FROM (SELECT tool, idle_ms, dose_min, mean_c, max_c, ooze_mm3 FROM span
                WHERE printer = (SELECT printer FROM print WHERE id = ?1) AND print = ?1
                AND tool IN (SELECT n FROM tool_number) AND began_ms >= (SELECT started_ms FROM print WHERE id = ?1)
                AND began_ms <= (SELECT ifnull(ended_ms, 9223372036854775807) FROM print WHERE id = ?1)
                UNION ALL SELECT tool, 0, NULL, NULL, NULL, NULL FROM visit WHERE print = ?1)
            GROUP BY tool ORDER BY tool";
        let mut statement = self.db.prepare_cached(SQL)?;
        let rows = statement.query_map([print], |row| {
            Ok(PrintTool {
                tool: tool(row, 0)?,
                idle: row.get::<_, Option<i64>>(1)?.map(seconds),
                idle_max: row.get::<_, Option<i64>>(2)?.map(seconds),
                dose_max: row.get::<_, Option<f64>>(3)?.map(DoseMinutes::new),
                dose_sum: row.get::<_, Option<f64>>(4)?.map(DoseMinutes::new),
                mean_c: row.get(5)?,
                max_c: row.get(6)?,
                ooze: row.get::<_, Option<f64>>(7)?.map(CubicMm::new),
            })
        })?;
        Ok(rows.collect::<rusqlite::Result<_>>()?)
    }

    /// What people said of a print, in time order.
    ///
    /// # Errors
    /// If the record can't be read.
    pub fn outcomes(&self, print: i64) -> Result<Vec<OutcomeRow>, StoreError> {
        outcomes(&self.db, print)
    }

    /// A print's tool changes, in time order.
    ///
    /// # Errors
    /// If the record can't be read.
    pub fn tool_changes(&self, print: i64) -> Result<Vec<ChangeRow>, StoreError> {
        const SQL: &str = "SELECT at_ms, from_tool, to_tool, source FROM tool_change WHERE print = ?1 ORDER BY at_ms";
        let mut statement = self.db.prepare_cached(SQL)?;
        let rows = statement.query_map([print], |row| {
            let source = ToolSource::of_word(&row.get::<_, String>(3)?);
            Ok(ChangeRow {
                at: Timestamp::from_ms(row.get(0)?),
                from: tool(row, 1)?,
                to: tool(row, 2)?,
                source: word(source, "source")?.word(),
            })
        })?;
        Ok(rows.collect::<rusqlite::Result<_>>()?)
    }

    /// A print's visits, in time order.
    ///
    /// # Errors
    /// If the record can't be read.
    pub fn visits(&self, print: i64) -> Result<Vec<VisitRow>, StoreError> {
        const SQL: &str =
            "SELECT tool, began_ms, ended_ms, ifnull(gap_ms, 0) FROM visit WHERE print = ?1 ORDER BY began_ms, tool";
        let mut statement = self.db.prepare_cached(SQL)?;
        let rows = statement.query_map([print], visit_row)?;
        Ok(rows.collect::<rusqlite::Result<_>>()?)
    }

    /// A printer's visits that last after `from` and began before `to`, of any print, in time order.
    ///
    /// # Errors
    /// If the record can't be read.
    pub fn visits_between(
        &self,
        printer: &PrinterName,
        from: Timestamp,
        to: Timestamp,
    ) -> Result<Vec<VisitRow>, StoreError> {
        // A printer's prints follow one another: only the last that began before may reach into the time.
        const SQL: &str = "SELECT tool, began_ms, visit.ended_ms, ifnull(gap_ms, 0)
            FROM print JOIN visit ON print.id = visit.print WHERE printer = ?1 AND started_ms < ?3
            AND started_ms >= ifnull((SELECT max(started_ms) FROM print WHERE printer = ?1 AND started_ms <= ?2), ?2)
            AND ifnull(visit.ended_ms, 9223372036854775807) > ?2 AND began_ms < ?3 ORDER BY began_ms, tool";
        let mut statement = self.db.prepare_cached(SQL)?;
        let Some(id) = self.printer_id(printer)? else { return Ok(Vec::new()) };
        let rows = statement.query_map((id, from.as_ms(), to.as_ms()), visit_row)?;
        Ok(rows.collect::<rusqlite::Result<_>>()?)
    }
}

/// What people said of a print, in time order.
pub(in crate::store) fn outcomes(db: &Connection, print: i64) -> Result<Vec<OutcomeRow>, StoreError> {
    const SQL: &str =
        "SELECT at_ms, tool, mode, severity, note, undone_ms FROM outcome WHERE print = ?1 ORDER BY at_ms, id";
    let mut statement = db.prepare_cached(SQL)?;
    let rows = statement.query_map([print], outcome_row)?;
    Ok(rows.collect::<rusqlite::Result<_>>()?)
}

/// From time, tool, mode, severity, note and when it was taken back.
pub(super) fn outcome_row(row: &Row<'_>) -> rusqlite::Result<OutcomeRow> {
    let tool: Option<u8> = row.get(1)?;
    Ok(OutcomeRow {
        at: Timestamp::from_ms(row.get(0)?),
        tool: tool.map(usize::from).and_then(ToolNumber::new),
        mode: word(Mode::of_word(&row.get::<_, String>(2)?), "mode")?,
        severity: row.get::<_, Option<i64>>(3)?.and_then(Severity::new),
        note: row.get(4)?,
        undone: row.get::<_, Option<i64>>(5)?.map(Timestamp::from_ms),
    })
}

fn visit_row(row: &Row<'_>) -> rusqlite::Result<VisitRow> {
    Ok(VisitRow {
        tool: tool(row, 0)?,
        began: Timestamp::from_ms(row.get(1)?),
        ended: row.get::<_, Option<i64>>(2)?.map(Timestamp::from_ms),
        gap: seconds(row.get(3)?),
    })
}

fn print_row(row: &Row<'_>) -> rusqlite::Result<PrintRow> {
    let end: Option<String> = row.get(5)?;
    let job_file: Option<String> = row.get(8)?;
    Ok(PrintRow {
        id: row.get(0)?,
        printer: word(PrinterName::new(&row.get::<_, String>(1)?), "printer")?,
        name: row.get(2)?,
        started: Timestamp::from_ms(row.get(3)?),
        ended: row.get::<_, Option<i64>>(4)?.map(Timestamp::from_ms),
        end: end.map(|end| word(PrintEnd::of_word(&end), "end")).transpose()?,
        tool_changes: row.get(6)?,
        expected: row.get::<_, Option<i64>>(7)?.map(seconds),
        job_file: job_file.map(|from| word(JobFileFrom::of_word(&from), "source")).transpose()?,
        disagreements: row.get(9)?,
        tools: Vec::new(),
        outcomes: Vec::new(),
    })
}

pub(in crate::store) fn tool(row: &Row<'_>, idx: usize) -> rusqlite::Result<ToolNumber> {
    word(ToolNumber::new(usize::from(row.get::<_, u8>(idx)?)), "tool")
}
