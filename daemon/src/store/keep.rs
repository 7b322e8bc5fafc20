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
mod tests {
    use super::*;
    use crate::entry::{CentiCelsius, Heater, Job, JobState, PrinterName, Reading};
    use crate::store::Commit;
    use crate::tracker::Effect;
    use dwell_analysis::units::Seconds;
    use std::path::Path;

    const START: Timestamp = Timestamp::from_ms(1_772_409_600_000);

    /// Hundredths of a degree that no packing foresees.
    fn noise(second: i64) -> i64 {
        (((second * 0x9E37_79B9) >> 13) ^ (second * second * 31)) % 700
    }

    /// Two hours of a day, from its tenth hour on, a reading every ten seconds.
    fn day(number: i64) -> Vec<Reading> {
        let at = |second: i64| Timestamp::from_ms(START.as_ms() + number * DAY_MS + (36_000 + second) * 1000);
        let heater = |second: i64| Heater {
            actual: Some(CentiCelsius::from_hundredths(i32::try_from(20_000 + noise(second)).unwrap())),
            target: Some(CentiCelsius::from_hundredths(20_500)),
            duty_thousandths: None,
        };
        let reading = |second: i64| Reading {
            at: at(second),
            after_gap: false,
            job: Job { state: JobState::None, name: None, fraction_millionths: None, byte: None },
            active_tool: None,
            tools: vec![heater(second), Heater::default()],
            bed: None,
        };
        (0..7200).step_by(10).map(reading).collect()
    }

    fn record(path: &Path, days: &[i64]) -> (Store, PrinterName) {
        let (store, bench) = (Store::open(path).unwrap(), PrinterName::new("bench").unwrap());
        for reading in days.iter().flat_map(|number| day(*number)) {
            let effects = vec![Effect::Sample { reading, tools: Vec::new() }];
            store.commit(Commit { printer: bench.clone(), effects, alarms: Vec::new(), notices: false }).unwrap();
        }
        store.flush().unwrap();
        (store, bench)
    }

    fn keep_all(store: &Store, keep: Keep) -> usize {
        (0..1000).position(|_| !store.keep(keep).unwrap()).unwrap()
    }

    #[test]
    fn old_days_become_minutes_and_then_hours_and_the_newest_stay_as_they_were() {
        let folder = tempfile::tempdir().unwrap();
        let (store, bench) = record(&folder.path().join("keep.db"), &[0, 1, 2, 3, 4, 5]);
        let before: Vec<Reading> =
            store.reader().unwrap().readings(&bench, None, None).unwrap().collect::<Result<_, _>>().unwrap();
        assert_eq!(keep_all(&store, Keep { readings_days: 6, minutes_days: 9 }), 0);
        assert!(keep_all(&store, Keep { readings_days: 2, minutes_days: 3 }) >= 5);
        let reader = store.reader().unwrap();
        let left: Vec<Reading> = reader.readings(&bench, None, None).unwrap().collect::<Result<_, _>>().unwrap();
        assert_eq!(left, [day(4), day(5)].concat());
        let steps = |step| reader.summaries(&bench, step, None, None).unwrap().collect::<Result<Vec<_>, _>>().unwrap();
        let (minutes, hours) = (steps(Step::Minute), steps(Step::Hour));
        assert_eq!((minutes.len(), hours.len()), (3 * 120, 4 * 2));
        // A minute again, by hand.
        let whole = &before[720..726];
        let told = || whole.iter().map(|reading| reading.tools[0].actual.unwrap().hundredths());
        let heat = minutes[0].tools[0].unwrap();
        assert_eq!(minutes[0].began, START + Seconds::new(86_400.0 + 36_000.0));
        assert_eq!((minutes[0].n, minutes[0].tools[1], minutes[0].bed), (6, None, None));
        assert_eq!(heat.min.hundredths(), told().min().unwrap());
        assert_eq!(heat.max.hundredths(), told().max().unwrap());
        assert!((f64::from(heat.mean.hundredths()) - f64::from(told().sum::<i32>()) / 6.0).abs() <= 0.5);
        assert_eq!(heat.target.unwrap().hundredths(), 20_500);
        // What is asked for of a time is of that time.
        let second_day = START + Seconds::new(86_400.0);
        let to = Some(second_day + Seconds::new(37_800.0));
        assert_eq!(reader.summaries(&bench, Step::Minute, Some(second_day), to).unwrap().count(), 30);
        // The record still begins where it began, and its journal where the readings do.
        assert_eq!(reader.oldest().unwrap(), Some(before[0].at));
        assert_eq!(reader.let_go_before(&bench).unwrap(), Some(left[0].at));
        assert!(reader.has_readings(START, second_day).unwrap());
        assert!(!reader.has_readings(second_day, second_day + Seconds::new(35_999.0)).unwrap());
        drop(reader);
        assert_eq!(keep_all(&store, Keep { readings_days: 2, minutes_days: 3 }), 0, "nothing is due twice");
    }

    #[test]
    fn a_clock_that_jumps_a_year_lets_nothing_go() {
        let folder = tempfile::tempdir().unwrap();
        let (store, bench) = record(&folder.path().join("jump.db"), &[0, 1, 366]);
        assert_eq!(keep_all(&store, Keep { readings_days: 3, minutes_days: 3 }), 0);
        assert_eq!(store.reader().unwrap().readings(&bench, None, None).unwrap().count(), 3 * 720);
        assert_eq!(store.reader().unwrap().let_go_before(&bench).unwrap(), None);
    }

    #[test]
    fn what_a_restart_has_to_follow_again_stays() {
        let folder = tempfile::tempdir().unwrap();
        let (store, bench) = record(&folder.path().join("open.db"), &[0, 1, 2, 3, 4, 5]);
        let started = day(3)[0].at;
        let effects = vec![Effect::PrintStarted { started, name: None }];
        store.commit(Commit { printer: bench.clone(), effects, alarms: Vec::new(), notices: false }).unwrap();
        let keep = Keep { readings_days: 1, minutes_days: 9 };
        assert_eq!(keep_all(&store, keep), 3, "the print began on the fourth day");
        let kept = store.reader().unwrap().resume(&bench).unwrap().unwrap().readings;
        assert_eq!(kept.first().map(|reading| reading.at), Some(started));
        let end = crate::entry::PrintEnd::Completed;
        let effects = vec![Effect::PrintEnded { started, at: day(5)[9].at, end }];
        store.commit(Commit { printer: bench, effects, alarms: Vec::new(), notices: false }).unwrap();
        assert_eq!(keep_all(&store, keep), 2);
    }

    #[test]
    fn room_that_is_free_goes_back_to_the_disk() {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("room.db");
        let (store, _) = record(&path, &(0..30).collect::<Vec<_>>());
        let pages = || {
            let db = Connection::open(&path).unwrap();
            db.pragma_query_value::<i64, _>(None, "page_count", |row| row.get(0)).unwrap()
        };
        let before = pages();
        let n = keep_all(&store, Keep { readings_days: 1, minutes_days: 1 });
        assert!(n > 57, "29 days of readings, 28 of minutes, and then the room: {n}");
        assert!(n < 57 + 12, "many pages at a time: {n}");
        assert!(pages() * 4 < before * 3, "{} of {before} pages", pages());
    }
}
