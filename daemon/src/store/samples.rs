//! The rows of readings: a minute's while an hour is under way, then the hour in one. Owns how they are found, written
//! and closed; what stands in a body is the packing's business.

use super::StoreError;
use super::packed::{pack, same_shape, unpack};
use super::pending::BATCH_MAX;
use crate::entry::Reading;
use dwell_analysis::time::Timestamp;
use rusqlite::{Connection, OptionalExtension};
use std::ops::Range;

/// No row of readings covers more.
pub(super) const HOUR_MS: i64 = 3_600_000;
/// The bits of a key that hold the row's beginning; the printer stands above them. Milliseconds up to the year 2527.
const TIME_BITS: u32 = 44;

/// How many readings a row takes.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Rows {
    /// A minute's, of an hour that goes on.
    Minutes,
    /// An hour's: none of them is written twice.
    Hours,
}

/// A printer's rows that begin in a stretch of time.
pub(super) fn keys(printer: i64, began: Range<i64>) -> Range<i64> {
    let key = |ms: i64| (printer << TIME_BITS) + ms.clamp(0, 1 << TIME_BITS);
    key(began.start)..key(began.end)
}

/// Writes readings in time order. Unless `all`, the last, unfinished row stays out. Gives how many were written.
pub(super) fn write(
    db: &Connection,
    printer: i64,
    readings: &[Reading],
    rows: Rows,
    all: bool,
) -> Result<usize, StoreError> {
    let mut from = 0;
    while let Some(first) = readings.get(from) {
        let rest = &readings[from..];
        let n = rest.iter().take_while(|reading| is_of_row(first, reading, rows)).count();
        if n == rest.len() && !all {
            break;
        }
        insert(db, printer, &rest[..n], rows)?;
        from += n;
    }
    Ok(from)
}

/// Brings the minutes of the oldest hour that was over by then into one row.
pub(super) fn close_hour(db: &Connection, printer: i64, now: Timestamp) -> Result<(), StoreError> {
    const SELECT: &str = "SELECT body FROM sample WHERE key >= ?1 AND key < ?2 ORDER BY key";
    const DELETE: &str = "DELETE FROM sample WHERE key >= ?1 AND key < ?2";
    let Some(first) = open_since(db, printer)? else { return Ok(()) };
    let hour = hour_of(first);
    if hour >= hour_of(now.as_ms()) {
        return Ok(());
    }
    let keys = keys(printer, first..(hour + 1) * HOUR_MS);
    let mut readings = Vec::new();
    let mut select = db.prepare_cached(SELECT)?;
    let mut rows = select.query((keys.start, keys.end))?;
    while let Some(row) = rows.next()? {
        let body = row.get_ref(0)?.as_blob().map_err(|error| StoreError::Other(error.to_string()))?;
        readings.extend(unpack(body)?);
    }
    drop(rows);
    db.prepare_cached(DELETE)?.execute((keys.start, keys.end))?;
    write(db, printer, &readings, Rows::Hours, true)?;
    Ok(())
}

/// When a printer's oldest row began that is not of a closed hour.
fn open_since(db: &Connection, printer: i64) -> Result<Option<i64>, StoreError> {
    // Open rows are the newest ones, an hour's at the most but for one that waits to be closed.
    const SQL: &str = "SELECT began_ms, closed FROM sample WHERE key >= ?1 AND key < ?2 ORDER BY key DESC";
    let keys = keys(printer, 0..i64::MAX);
    let mut statement = db.prepare_cached(SQL)?;
    let mut rows = statement.query((keys.start, keys.end))?;
    let mut since = None;
    while let Some(row) = rows.next()? {
        if row.get(1)? {
            break;
        }
        since = Some(row.get(0)?);
    }
    Ok(since)
}

/// The end of a printer's newest row.
pub(super) fn newest(db: &Connection, printer: i64) -> Result<Option<Timestamp>, StoreError> {
    const SQL: &str = "SELECT ended_ms FROM sample WHERE key >= ?1 AND key < ?2 ORDER BY key DESC LIMIT 1";
    let keys = keys(printer, 0..i64::MAX);
    let found: Option<i64> = db.prepare_cached(SQL)?.query_row((keys.start, keys.end), |row| row.get(0)).optional()?;
    Ok(found.map(Timestamp::from_ms))
}

/// The beginning of a printer's oldest row.
pub(super) fn oldest(db: &Connection, printer: i64) -> Result<Option<Timestamp>, StoreError> {
    const SQL: &str = "SELECT began_ms FROM sample WHERE key >= ?1 AND key < ?2 ORDER BY key LIMIT 1";
    let keys = keys(printer, 0..i64::MAX);
    let found: Option<i64> = db.prepare_cached(SQL)?.query_row((keys.start, keys.end), |row| row.get(0)).optional()?;
    Ok(found.map(Timestamp::from_ms))
}

fn insert(db: &Connection, printer: i64, readings: &[Reading], rows: Rows) -> Result<(), StoreError> {
    const SQL: &str = "INSERT INTO sample (key, printer, began_ms, ended_ms, closed, body)
        VALUES (?1, ?2, ?3, ?4, ?5, ?6)";
    let (Some(first), Some(last)) = (readings.first(), readings.last()) else { return Ok(()) };
    let (began, ended) = (first.at.as_ms(), last.at.as_ms());
    if !(0..1 << TIME_BITS).contains(&began) {
        return Err(StoreError::Other(format!(
            "a reading of {began} ms after 1970 lies outside of the years 1970 to 2527"
        )));
    }
    let body = pack(readings).map_err(|error| StoreError::Other(error.to_string()))?;
    let key = (printer << TIME_BITS) + began;
    db.prepare_cached(SQL)?.execute((key, printer, began, ended, rows == Rows::Hours, body))?;
    Ok(())
}

/// Whether a reading stands in the row that `first` begins.
fn is_of_row(first: &Reading, reading: &Reading, rows: Rows) -> bool {
    let is_near = match rows {
        Rows::Minutes => reading.at - first.at < BATCH_MAX,
        Rows::Hours => true,
    };
    is_near && hour_of(reading.at.as_ms()) == hour_of(first.at.as_ms()) && same_shape(first, reading)
}

fn hour_of(ms: i64) -> i64 {
    ms.div_euclid(HOUR_MS)
}
