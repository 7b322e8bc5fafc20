//! What is recorded beside the tracker's effects: printers, settings, parts, written reports.

use super::StoreError;
use super::samples::HOUR_MS;
use crate::entry::{HotEnd, PartChange, PartReason, PrinterName, SettingsChange};
use crate::points::{Point, pass};
use dwell_analysis::time::Timestamp;
use dwell_analysis::units::{Celsius, CubicMm, Millimetres};
use rusqlite::Connection;

/// Adds the printer, or updates it: its hot end if that is told, its number of tools only upwards, since older rows
/// name them.
pub(super) fn printer(
    db: &Connection,
    name: &PrinterName,
    hot_end: Option<HotEnd>,
    n_tools: usize,
) -> Result<i64, StoreError> {
    const SQL: &str = "INSERT INTO printer (name, hot_end, n_tools) VALUES (?1, ifnull(?2, 'separate'), ?3)
        ON CONFLICT (name) DO UPDATE SET hot_end = ifnull(?2, hot_end), n_tools = max(n_tools, excluded.n_tools)
        RETURNING id";
    let n_tools = i64::try_from(n_tools).unwrap_or(i64::MAX);
    Ok(db.query_row(SQL, (name.as_str(), hot_end.map(HotEnd::word), n_tools), |row| row.get(0))?)
}

pub(super) fn settings(db: &Connection, printer: i64, change: &SettingsChange) -> Result<(), StoreError> {
    // A later word on the same instant adds to it.
    const SQL: &str = "INSERT INTO settings_change
        (printer, tool, at_ms, material, print_c, standby_c, retract_mm, retract_mm_s, prime_mm3, ooze_shield, dried)
        VALUES (?1, ?2, ?3, ?4, ?5, ?6, ?7, ?8, ?9, ?10, ?11)
        ON CONFLICT (printer, tool, at_ms) DO UPDATE SET
        material = ifnull(excluded.material, material), print_c = ifnull(excluded.print_c, print_c),
        standby_c = ifnull(excluded.standby_c, standby_c), retract_mm = ifnull(excluded.retract_mm, retract_mm),
        retract_mm_s = ifnull(excluded.retract_mm_s, retract_mm_s), prime_mm3 = ifnull(excluded.prime_mm3, prime_mm3),
        ooze_shield = ifnull(excluded.ooze_shield, ooze_shield), dried = ifnull(excluded.dried, dried)";
    let settings = &change.settings;
    db.prepare_cached(SQL)?.execute((
        printer,
        i64::try_from(change.tool.idx()).unwrap_or(i64::MAX),
        change.at.as_ms(),
        settings.material.as_deref(),
        settings.print.map(Celsius::get),
        settings.standby.map(Celsius::get),
        settings.retract.map(Millimetres::get),
        settings.retract_mm_s,
        settings.prime.map(CubicMm::get),
        settings.ooze_shield,
        settings.dried,
    ))?;
    pass(Point::WordRecorded);
    Ok(())
}

pub(super) fn part(db: &Connection, printer: i64, change: &PartChange) -> Result<(), StoreError> {
    const SQL: &str = "INSERT OR IGNORE INTO part_change (printer, tool, at_ms, part, event, reason, note)
        VALUES (?1, ?2, ?3, ?4, ?5, ?6, ?7)";
    db.prepare_cached(SQL)?.execute((
        printer,
        i64::try_from(change.tool.idx()).unwrap_or(i64::MAX),
        change.at.as_ms(),
        change.part.word(),
        change.event.word(),
        change.reason.map(PartReason::word),
        change.note.as_deref(),
    ))?;
    pass(Point::WordRecorded);
    Ok(())
}

pub(super) fn refused(db: &Connection, printer: i64, reason: &str, at: Timestamp) -> Result<(), StoreError> {
    const SQL: &str = "INSERT INTO refused (printer, reason, hour_ms, n) VALUES (?1, ?2, ?3, 1)
        ON CONFLICT (printer, reason, hour_ms) DO UPDATE SET n = n + 1";
    let hour_ms = at.as_ms().div_euclid(HOUR_MS).saturating_mul(HOUR_MS);
    db.prepare_cached(SQL)?.execute((printer, reason, hour_ms))?;
    Ok(())
}

pub(super) fn report_written(db: &Connection, week: &str, at: Timestamp) -> Result<(), StoreError> {
    db.execute("INSERT OR REPLACE INTO report_written (week, at_ms) VALUES (?1, ?2)", (week, at.as_ms()))?;
    Ok(())
}
