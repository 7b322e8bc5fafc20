//! How long readings are kept, and doing it: the oldest day beyond is summed up by the minute and the hour and then let
//! go; later its minutes go too. Owns what is due; when it is asked for is the schedule's business.
//!
//! Days are counted that hold readings, not days of the calendar: a clock that jumps a year ahead, or a printer that
//! stood still for one, lets nothing go before its time.

use super::samples::{self, HOUR_MS, keys};
use super::summary::{self, DAY_MS, Step, Summary, summarize};
use super::writer::Writer;
use super::{Reader, Store, StoreError};
use dwell_analysis::time::Timestamp;
use rusqlite::{Connection, OptionalExtension};

/// Free pages are given back to the disk when they are more than this share of the file; under it, new rows take them.
const FREE_SHARE: i64 = 8;
/// Pages given back at a time: 64 KiB are moved in a few milliseconds.
const PAGES_A_STEP: u32 = 128;

/// How many days with readings are kept, and as what; hours stay for ever, as do spans, prints and outcomes.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Keep {
    /// Days of which every reading is kept.
    pub readings_days: u32,
    /// Days of which the minutes are kept, after those.
    pub minutes_days: u32,
}

/// A season of readings is what fits and comparisons look at; two years of minutes are 5 MB a printer.
impl Default for Keep {
    fn default() -> Self {
        Self { readings_days: 90, minutes_days: 730 }
    }
}

/// A day that is due, of one printer.
struct Day {
    printer: i64,
    began: i64,
}

impl Store {
    /// Lets go of one day that is due, or of some free pages. `false` when nothing is due. Other writing goes on
    /// between two calls; within one, it waits for some milliseconds.
    ///
    /// # Errors
    /// If the record can't be read or written; nothing of the day is gone then.
    pub fn keep(&self, keep: Keep) -> Result<bool, StoreError> {
        let reader = self.reader()?;
        if let Some(day) = readings_due(&reader, keep)? {
            let (mut minutes, mut hours) = (Vec::new(), Vec::new());
            // An hour at a time is in memory.
            for hour in 0..24 {
                let began = day.began + hour * HOUR_MS;
                let readings = reader.readings_of(keys(day.printer, began..began + HOUR_MS))?;
                minutes.extend(summarize(&readings, Step::Minute));
                hours.extend(summarize(&readings, Step::Hour));
            }
            let Some(first) = reader.oldest_row(day.printer)? else { return Ok(false) };
            drop(reader);
            self.call(move |writer| writer.let_go(&day, first, &minutes, &hours))?;
            return Ok(true);
        }
        if let Some(day) = minutes_due(&reader, keep)? {
            drop(reader);
            self.call(move |writer| writer.let_minutes_go(&day))?;
            return Ok(true);
        }
        drop(reader);
        self.call(Writer::give_back)
    }
}

impl Writer {
    fn let_go(
        &mut self,
        day: &Day,
        first: Timestamp,
        minutes: &[Summary],
        hours: &[Summary],
    ) -> Result<(), StoreError> {
        const DELETE: &str = "DELETE FROM sample WHERE key >= ?1 AND key < ?2";
        let keys = keys(day.printer, day.began..day.began + DAY_MS);
        self.relaxed(|db| {
            summary::write(db, day.printer, Step::Minute, first, minutes)?;
            summary::write(db, day.printer, Step::Hour, first, hours)?;
            db.prepare_cached(DELETE)?.execute((keys.start, keys.end))?;
            Ok(())
        })
    }

    fn let_minutes_go(&mut self, day: &Day) -> Result<(), StoreError> {
        const DELETE: &str =
            "DELETE FROM summary WHERE printer = ?1 AND step_s = 60 AND began_ms >= ?2 AND began_ms < ?3";
        self.relaxed(|db| {
            db.prepare_cached(DELETE)?.execute((day.printer, day.began, day.began + DAY_MS))?;
            Ok(())
        })
    }

    fn give_back(&mut self) -> Result<bool, StoreError> {
        let pages = |what| self.db.pragma_query_value::<i64, _>(None, what, |row| row.get(0));
        let (free, all) = (pages("freelist_count")?, pages("page_count")?);
        // A file that was not made for it gives nothing back.
        let gives_back = pages("auto_vacuum")? == 2;
        if !gives_back || free * FREE_SHARE <= all {
            return Ok(false);
        }
        self.relaxed(|db| {
            // Gives back one page with each step of the statement.
            let mut vacuum = db.prepare(&format!("PRAGMA incremental_vacuum({PAGES_A_STEP})"))?;
            let mut steps = vacuum.query(())?;
            while steps.next()?.is_some() {}
            Ok(())
        })?;
        Ok(pages_left(&self.db)? < free)
    }
}

fn pages_left(db: &Connection) -> rusqlite::Result<i64> {
    db.pragma_query_value(None, "freelist_count", |row| row.get(0))
}

/// The oldest day of which readings are kept beyond their time, of any printer.
fn readings_due(reader: &Reader, keep: Keep) -> Result<Option<Day>, StoreError> {
    const BEFORE: &str = "SELECT began_ms FROM sample WHERE key >= ?1 AND key < ?2 ORDER BY key DESC LIMIT 1";
    let before = |printer: i64, ms: i64| {
        let keys = keys(printer, 0..ms);
        reader.db.prepare_cached(BEFORE)?.query_row((keys.start, keys.end), |row| row.get(0)).optional()
    };
    let oldest = |printer| Ok(samples::oldest(&reader.db, printer)?.map(Timestamp::as_ms));
    due(reader, keep.readings_days, before, oldest, |printer, day| {
        // A restart follows the readings of what is open again.
        Ok(reader.followed_from(printer)?.is_none_or(|from| day + DAY_MS <= from.as_ms()))
    })
}

/// The oldest day of which the minutes are kept beyond their time.
fn minutes_due(reader: &Reader, keep: Keep) -> Result<Option<Day>, StoreError> {
    const BEFORE: &str = "SELECT began_ms FROM summary WHERE printer = ?1 AND step_s = 60 AND began_ms < ?2
        ORDER BY began_ms DESC LIMIT 1";
    const OLDEST: &str = "SELECT min(began_ms) FROM summary WHERE printer = ?1 AND step_s = 60";
    let before =
        |printer: i64, ms: i64| reader.db.prepare_cached(BEFORE)?.query_row((printer, ms), |row| row.get(0)).optional();
    let oldest = |printer| Ok(reader.db.prepare_cached(OLDEST)?.query_row([printer], |row| row.get(0))?);
    due(reader, keep.minutes_days, before, oldest, |_, _| Ok(true))
}

/// The oldest day of any printer that has more than `n_days` after it. `before` finds the newest row that began before
/// an instant, `oldest` the first; `may_go` says whether nothing needs that day.
fn due(
    reader: &Reader,
    n_days: u32,
    before: impl Fn(i64, i64) -> rusqlite::Result<Option<i64>>,
    oldest: impl Fn(i64) -> Result<Option<i64>, StoreError>,
    may_go: impl Fn(i64, i64) -> Result<bool, StoreError>,
) -> Result<Option<Day>, StoreError> {
    for printer in reader.printer_ids()? {
        let Some(oldest) = oldest(printer)?.map(day_of) else { continue };
        let mut day = i64::MAX;
        let mut n_newer = 0;
        while n_newer < n_days {
            match before(printer, day)? {
                Some(began) => day = day_of(began),
                None => break,
            }
            n_newer += 1;
        }
        if n_newer == n_days && oldest < day && may_go(printer, oldest)? {
            return Ok(Some(Day { printer, began: oldest }));
        }
    }
    Ok(None)
}

/// The beginning of the day, UTC.
fn day_of(ms: i64) -> i64 {
    ms.div_euclid(DAY_MS) * DAY_MS
}

#[cfg(test)]
#[expect(clippy::unwrap_used, reason = "a test may stop")]
mod tests;
