//! Effects → rows, inside one transaction. Each statement finds its row by what identifies it in the world.

use super::StoreError;
use super::{alarm, record};
use crate::alarm::AlarmEffect;
use crate::entry::{PrinterName, ToolNumber};
use crate::points::{Point, pass};
use crate::tracker::Effect;
use dwell_analysis::idle::SpanMeasure;
use dwell_analysis::time::Timestamp;
use dwell_analysis::units::{Celsius, CubicMm, Seconds};
use rusqlite::{Connection, OptionalExtension, Transaction};

/// What one printer's step, or several steps in a row, ask to be committed.
#[derive(Clone, Debug)]
pub struct Commit {
    /// The printer.
    pub printer: PrinterName,
    /// What the tracker said, in order.
    pub effects: Vec<Effect>,
    /// What the alarm ledger said, in order.
    pub alarms: Vec<AlarmEffect>,
    /// Whether alarms go to the outbox too; not when the past is replayed.
    pub notices: bool,
}

impl Commit {
    /// Whether anything must be durable at once; else there are plain readings alone.
    #[must_use]
    pub fn has_events(&self) -> bool {
        !self.alarms.is_empty() || self.effects.iter().any(|effect| !matches!(effect, Effect::Sample { .. }))
    }

    /// Leaves out what needs a row that is not there, as [`StoreError::NoSuchRow`] names it. Gives the beginnings among
    /// it, whose ends will have no row either; `None` if nothing went.
    pub(super) fn leave_out(&mut self, what: &str, began: Timestamp) -> Option<Vec<Timestamp>> {
        let n_before = self.effects.len() + self.alarms.len();
        let gone = self.effects.iter().filter(|effect| needs(effect, what, began));
        let cut_short = gone.filter_map(|effect| match effect {
            Effect::VisitBegan { began, .. } | Effect::SpanBegan { began, .. } => Some(*began),
            _ => None,
        });
        let cut_short = cut_short.collect();
        self.effects.retain(|effect| !needs(effect, what, began));
        self.alarms.retain(|alarm| what != "alarm" || alarm.is_raise() || alarm.key().1 != began);
        (self.effects.len() + self.alarms.len() < n_before).then_some(cut_short)
    }
}

/// Whether an effect can't be written without that row.
fn needs(effect: &Effect, what: &str, row: Timestamp) -> bool {
    let (of, began) = match effect {
        Effect::Sample { .. } | Effect::Refused { .. } | Effect::PrintStarted { .. } | Effect::ContactLost { .. } => {
            return false;
        }
        Effect::PrintPaused { started, .. }
        | Effect::PrintResumed { started, .. }
        | Effect::PrintEnded { started, .. }
        | Effect::ToolChanged { started, .. }
        | Effect::ToolDisagreed { started, .. }
        | Effect::VisitBegan { started, .. } => ("print", Some(*started)),
        Effect::JobFileDropped { started, .. } => (if what == "print" { "print" } else { "job file" }, Some(*started)),
        Effect::SpanBegan { print, .. } => ("print", *print),
        Effect::VisitEnded { began, .. } => ("visit", Some(*began)),
        Effect::SpanEnded { began, .. } => ("span", Some(*began)),
        Effect::ContactRegained { since, .. } => ("gap", Some(*since)),
    };
    of == what && began == Some(row)
}

pub(super) fn events(
    db: &Transaction<'_>,
    printer: i64,
    name: &PrinterName,
    effects: &[Effect],
    alarms: &[AlarmEffect],
    notices: bool,
) -> Result<(), StoreError> {
    for effect in effects {
        event(db, printer, name, effect)?;
        pass(Point::EventWritten);
    }
    alarm::write(db, Some((printer, name)), alarms, notices)
}

fn event(db: &Connection, printer: i64, name: &PrinterName, effect: &Effect) -> Result<(), StoreError> {
    let print_of = |started: Timestamp| print_row(db, printer, started, name);
    match effect {
        Effect::Sample { .. } => {}
        Effect::Refused { at, reason } => record::refused(db, printer, reason.word(), *at)?,
        Effect::PrintStarted { started, name } => {
            const SQL: &str = "INSERT INTO print (printer, started_ms, name) VALUES (?1, ?2, ?3)";
            db.prepare_cached(SQL)?.execute((printer, started.as_ms(), name.as_deref()))?;
        }
        Effect::PrintPaused { started, at } => print_event(db, print_of(*started)?, *at, "paused")?,
        Effect::PrintResumed { started, at } => print_event(db, print_of(*started)?, *at, "resumed")?,
        Effect::PrintEnded { started, at, end, fraction_millionths } => {
            const SQL: &str =
                "UPDATE print SET ended_ms = ?2, end = ?3, fraction = ?4 WHERE id = ?1 AND ended_ms IS NULL";
            let fraction = fraction_millionths.map(|millionths| f64::from(millionths) / 1e6);
            let n = db.prepare_cached(SQL)?.execute((print_of(*started)?, at.as_ms(), end.word(), fraction))?;
            found(n, "print", name.as_str(), *started)?;
        }
        Effect::ToolChanged { started, at, from, to, source } => {
            const SQL: &str =
                "INSERT INTO tool_change (print, at_ms, from_tool, to_tool, source) VALUES (?1, ?2, ?3, ?4, ?5)";
            let row = (print_of(*started)?, at.as_ms(), number(*from), number(*to), source.word());
            db.prepare_cached(SQL)?.execute(row)?;
        }
        Effect::ToolDisagreed { started, at, host, file } => {
            const SQL: &str = "INSERT INTO tool_disagreement (print, at_ms, host_tool, file_tool)
                VALUES (?1, ?2, ?3, ?4)";
            db.prepare_cached(SQL)?.execute((print_of(*started)?, at.as_ms(), number(*host), number(*file)))?;
        }
        Effect::JobFileDropped { started, at } => {
            const SQL: &str = "UPDATE job_file SET dropped_ms = ?2 WHERE print = ?1 AND dropped_ms IS NULL";
            found(
                db.prepare_cached(SQL)?.execute((print_of(*started)?, at.as_ms()))?,
                "job file",
                name.as_str(),
                *started,
            )?;
        }
        Effect::VisitBegan { started, tool, began } => {
            const SQL: &str = "INSERT INTO visit (print, tool, began_ms) VALUES (?1, ?2, ?3)";
            db.prepare_cached(SQL)?.execute((print_of(*started)?, number(*tool), began.as_ms()))?;
        }
        Effect::VisitEnded { tool, began, ended, gap, mean, max } => {
            end_visit(db, printer, name, (*tool, *began), (*ended, *gap), (*mean, *max))?;
        }
        Effect::SpanBegan { tool, began, context, print, target } => {
            const SQL: &str = "INSERT INTO span (printer, tool, began_ms, print, context, target_c)
                VALUES (?1, ?2, ?3, ?4, ?5, ?6)";
            let print = print.map(print_of).transpose()?;
            let row = (printer, number(*tool), began.as_ms(), print, context.word(), target.map(Celsius::get));
            db.prepare_cached(SQL)?.execute(row)?;
        }
        Effect::SpanEnded { tool, began, ended, measure, end, target } => {
            end_span(db, printer, name, (*tool, *began), (*ended, *end), measure, *target)?;
        }
        Effect::ContactLost { since } => {
            // Said again after a restart: the same silence is one gap.
            const SQL: &str = "INSERT OR IGNORE INTO gap (printer, began_ms) VALUES (?1, ?2)";
            db.prepare_cached(SQL)?.execute((printer, since.as_ms()))?;
        }
        Effect::ContactRegained { since, at } => {
            const SQL: &str = "UPDATE gap SET ended_ms = ?3 WHERE printer = ?1 AND began_ms = ?2 AND ended_ms IS NULL";
            let n = db.prepare_cached(SQL)?.execute((printer, since.as_ms(), at.as_ms()))?;
            found(n, "gap", name.as_str(), *since)?;
        }
    }
    Ok(())
}

fn end_visit(
    db: &Connection,
    printer: i64,
    name: &PrinterName,
    (tool, began): (ToolNumber, Timestamp),
    (ended, gap): (Timestamp, Seconds),
    (mean, max): (Option<Celsius>, Option<Celsius>),
) -> Result<(), StoreError> {
    const SQL: &str = "UPDATE visit SET ended_ms = ?4, gap_ms = ?5, mean_c = ?6, max_c = ?7
        WHERE print IN (SELECT id FROM print WHERE printer = ?1 AND started_ms <= ?3 ORDER BY started_ms DESC LIMIT 1)
        AND tool = ?2 AND began_ms = ?3 AND ended_ms IS NULL";
    let heat = (mean.map(Celsius::get), max.map(Celsius::get));
    let row = (printer, number(tool), began.as_ms(), ended.as_ms(), ms(gap), heat.0, heat.1);
    found(db.prepare_cached(SQL)?.execute(row)?, "visit", name.as_str(), began)
}

fn end_span(
    db: &Connection,
    printer: i64,
    name: &PrinterName,
    (tool, began): (ToolNumber, Timestamp),
    (ended, end): (Timestamp, Option<Celsius>),
    measure: &SpanMeasure,
    target: Option<Celsius>,
) -> Result<(), StoreError> {
    const SQL: &str = "UPDATE span SET ended_ms = ?4, idle_ms = ?5, gap_ms = ?6, mean_c = ?7, max_c = ?8,
        target_c = ifnull(?9, target_c), dose_min = ?10, ooze_mm3 = ?11, end_c = ?12
        WHERE printer = ?1 AND tool = ?2 AND began_ms = ?3 AND ended_ms IS NULL";
    // Nothing measured is no dose at all, not a dose of nothing.
    let dose = measure.mean.map(|_| measure.dose.get());
    let n = db.prepare_cached(SQL)?.execute((
        printer,
        number(tool),
        began.as_ms(),
        ended.as_ms(),
        ms(measure.idle),
        ms(measure.gap),
        measure.mean.map(Celsius::get),
        measure.max.map(Celsius::get),
        target.map(Celsius::get),
        dose,
        measure.ooze.map(CubicMm::get),
        end.map(Celsius::get),
    ))?;
    found(n, "span", name.as_str(), began)
}

fn print_event(db: &Connection, print: i64, at: Timestamp, kind: &str) -> Result<(), StoreError> {
    const SQL: &str = "INSERT INTO print_event (print, at_ms, kind) VALUES (?1, ?2, ?3)";
    db.prepare_cached(SQL)?.execute((print, at.as_ms(), kind))?;
    Ok(())
}

fn print_row(db: &Connection, printer: i64, started: Timestamp, name: &PrinterName) -> Result<i64, StoreError> {
    const SQL: &str = "SELECT id FROM print WHERE printer = ?1 AND started_ms = ?2";
    let id = db.prepare_cached(SQL)?.query_row((printer, started.as_ms()), |row| row.get(0)).optional()?;
    id.ok_or_else(|| StoreError::NoSuchRow { what: "print", printer: name.to_string(), began: started })
}

fn found(n_rows: usize, what: &'static str, whose: &str, began: Timestamp) -> Result<(), StoreError> {
    if n_rows == 1 { Ok(()) } else { Err(StoreError::NoSuchRow { what, printer: whose.to_owned(), began }) }
}

fn number(tool: ToolNumber) -> i64 {
    // A tool's number is below 16.
    i64::try_from(tool.idx()).unwrap_or(i64::MAX)
}

#[expect(clippy::as_conversions, clippy::cast_possible_truncation, reason = "float-to-int casts saturate")]
fn ms(length: Seconds) -> i64 {
    (length.get() * 1000.0).round() as i64
}
