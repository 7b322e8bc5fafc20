//! What people say of prints: recording it, taking it back, and which of it stands. Owns that nothing is ever deleted:
//! a word that is taken back keeps its row, and says when.

use super::StoreError;
use super::read::{OutcomeRow, outcomes};
use crate::entry::{Mode, Outcome, PrinterName, Severity, ToolNumber, Undo};
use crate::points::{Point, pass};
use crate::stamp;
use dwell_analysis::time::Timestamp;
use rusqlite::{Connection, OptionalExtension};

/// A word finds its print within this time of the print's start.
const START_SLACK_MS: i64 = 60_000;

/// Whether a mode is a failure.
#[must_use]
pub fn is_failure(mode: Mode) -> bool {
    mode != Mode::Clean
}

/// The words that stand, in time order: those that were not taken back, and that later ones do not replace. `clean`
/// replaces the failures of its scope before it; a failure replaces every `clean` that covered it; the same word on the
/// same scope replaces itself. Once a later word is taken back, those before it stand again.
#[must_use]
pub fn in_force(rows: &[OutcomeRow]) -> Vec<OutcomeRow> {
    standing(rows.iter().filter(|row| row.undone.is_none()))
}

/// The words that stood at an instant.
#[must_use]
pub fn in_force_at(rows: &[OutcomeRow], at: Timestamp) -> Vec<OutcomeRow> {
    standing(rows.iter().filter(|row| row.at <= at && row.undone.is_none_or(|undone| undone > at)))
}

/// When the word of that place was replaced by a later one that was not taken back; `None` if none did.
#[must_use]
pub fn replaced_at(rows: &[OutcomeRow], idx: usize) -> Option<Timestamp> {
    let (word, later) = (rows.get(idx)?, rows.get(idx + 1..)?);
    later.iter().filter(|row| row.undone.is_none()).find(|row| replaces(row, word)).map(|row| row.at)
}

fn standing<'a>(rows: impl Iterator<Item = &'a OutcomeRow>) -> Vec<OutcomeRow> {
    let mut held: Vec<OutcomeRow> = Vec::new();
    for row in rows {
        held.retain(|earlier| !replaces(row, earlier));
        held.push(row.clone());
    }
    held
}

fn replaces(later: &OutcomeRow, earlier: &OutcomeRow) -> bool {
    let same_scope = later.tool == earlier.tool;
    match (is_failure(later.mode), is_failure(earlier.mode)) {
        (false, _) => later.tool.is_none() || same_scope,
        (true, false) => later.tool.is_none() || earlier.tool.is_none() || same_scope,
        (true, true) => same_scope && later.mode == earlier.mode,
    }
}

/// Records a word. The same at the same instant is one.
pub(super) fn record(db: &Connection, printer: &PrinterName, outcome: &Outcome) -> Result<(), StoreError> {
    let print = print_of(db, printer, outcome.started)?;
    insert(db, print, outcome)
}

/// Records a word, unless it stands already: a second tap says nothing new.
pub(super) fn say(db: &Connection, printer: &PrinterName, outcome: &Outcome) -> Result<(), StoreError> {
    let print = print_of(db, printer, outcome.started)?;
    let said = outcomes(db, print)?;
    let is_same = |row: &OutcomeRow| {
        (row.tool, row.mode, row.severity) == (outcome.tool, outcome.mode, outcome.severity) && row.note == outcome.note
    };
    if in_force(&said).iter().any(is_same) {
        return Ok(());
    }
    // A clock that was set back does not bring a word before those that it answers.
    let newest = said.iter().map(|row| row.undone.map_or(row.at, |undone| undone.max(row.at))).max();
    let at = newest.map_or(outcome.at, |newest| outcome.at.max(Timestamp::from_ms(newest.as_ms() + 1)));
    insert(db, print, &Outcome { at, ..outcome.clone() })
}

/// Takes a word back. One that was taken back before stays as it was then.
pub(super) fn undo(db: &Connection, printer: &PrinterName, undo: &Undo) -> Result<(), StoreError> {
    const SQL: &str = "UPDATE outcome SET undone_ms = max(?5, at_ms) WHERE print = ?1 AND at_ms = ?2
        AND ifnull(tool, -1) = ifnull(?3, -1) AND mode = ?4 AND undone_ms IS NULL";
    const IS_THERE: &str = "SELECT EXISTS (SELECT 1 FROM outcome WHERE print = ?1 AND at_ms = ?2
        AND ifnull(tool, -1) = ifnull(?3, -1) AND mode = ?4)";
    let print = print_of(db, printer, undo.started)?;
    let (said, tool, mode) = (undo.said.as_ms(), number(undo.tool), undo.mode.word());
    let is_there: bool = db.prepare_cached(IS_THERE)?.query_row((print, said, tool, mode), |row| row.get(0))?;
    if !is_there {
        return Err(StoreError::NoSuchWord { print, mode, said: stamp::write(undo.said) });
    }
    db.prepare_cached(SQL)?.execute((print, said, tool, mode, undo.at.as_ms()))?;
    pass(Point::WordRecorded);
    Ok(())
}

fn insert(db: &Connection, print: i64, outcome: &Outcome) -> Result<(), StoreError> {
    const SQL: &str = "INSERT OR IGNORE INTO outcome (print, at_ms, tool, mode, severity, note)
        VALUES (?1, ?2, ?3, ?4, ?5, ?6)";
    db.prepare_cached(SQL)?.execute((
        print,
        outcome.at.as_ms(),
        number(outcome.tool),
        outcome.mode.word(),
        outcome.severity.map(Severity::number),
        outcome.note.as_deref(),
    ))?;
    pass(Point::WordRecorded);
    Ok(())
}

fn number(tool: Option<ToolNumber>) -> Option<i64> {
    tool.and_then(|tool| i64::try_from(tool.idx()).ok())
}

fn print_of(db: &Connection, printer: &PrinterName, started: Timestamp) -> Result<i64, StoreError> {
    const SQL: &str = "SELECT print.id FROM print JOIN printer ON printer.id = print.printer
        WHERE printer.name = ?1 AND abs(started_ms - ?2) <= ?3 ORDER BY abs(started_ms - ?2) LIMIT 1";
    let key = (printer.as_str(), started.as_ms(), START_SLACK_MS);
    let print: Option<i64> = db.prepare_cached(SQL)?.query_row(key, |row| row.get(0)).optional()?;
    print.ok_or_else(|| StoreError::NoSuchPrint { printer: printer.to_string(), started: stamp::write(started) })
}

#[cfg(test)]
#[expect(clippy::unwrap_used, reason = "a test may stop")]
mod tests;
