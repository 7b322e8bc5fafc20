//! A tool's hot times, waiting and at work, in time order. Owns how they are read, one after the other: there may be
//! millions of them.

use super::{Reader, StoreError, seconds, word};
use crate::entry::{PrinterName, ToolNumber};
use crate::tracker::Context;
use dwell_analysis::time::Timestamp;
use dwell_analysis::units::{Celsius, CubicMm, DoseMinutes, Seconds};
use rusqlite::Row;
use std::iter::Peekable;

/// A time in which a tool was hot.
#[derive(Clone, Copy, Debug)]
pub struct HotTime {
    /// Its beginning.
    pub began: Timestamp,
    /// Its end; `None` while it lasts.
    pub ended: Option<Timestamp>,
    /// The print that it lies in.
    pub print: Option<i64>,
    /// What the tool did.
    pub doing: HotDoing,
    /// Time of it in contact; `None` while it lasts.
    pub lasted: Option<Seconds>,
    /// Mean temperature; `None` where none was measured, or it was not recorded yet.
    pub mean: Option<Celsius>,
    /// Highest temperature, likewise.
    pub max: Option<Celsius>,
}

/// What a hot tool did.
#[derive(Clone, Copy, Debug)]
pub enum HotDoing {
    /// It was at work.
    Work,
    /// It waited.
    Wait {
        /// Why.
        context: Context,
        /// Temperature at the end; `None` where none was measured, or it was not recorded yet.
        end: Option<Celsius>,
        /// Dose taken; `None` if nothing was measured.
        dose: Option<DoseMinutes>,
        /// Melt expected to have left the nozzle.
        ooze: Option<CubicMm>,
    },
}

impl Reader {
    /// Hands over a tool's hot times in time order.
    ///
    /// # Errors
    /// If the record can't be read.
    pub fn hot_times(
        &self,
        printer: &PrinterName,
        tool: ToolNumber,
        mut take: impl FnMut(HotTime),
    ) -> Result<(), StoreError> {
        const SPANS: &str =
            "SELECT began_ms, ended_ms, print, idle_ms, mean_c, max_c, context, end_c, dose_min, ooze_mm3
            FROM span WHERE printer = ?1 AND tool = ?2 ORDER BY began_ms";
        // Both orders are those of a key: nothing is sorted. A print's visits lie within it.
        const VISITS: &str =
            "SELECT began_ms, visit.ended_ms, print.id, visit.ended_ms - began_ms - gap_ms, mean_c, max_c
            FROM print CROSS JOIN visit ON visit.print = print.id AND tool = ?2
            WHERE printer = ?1 ORDER BY started_ms, began_ms";
        let Some(id) = self.printer_id(printer)? else { return Ok(()) };
        let key = (id, u8::try_from(tool.idx()).unwrap_or(u8::MAX));
        let (mut spans, mut visits) = (self.db.prepare_cached(SPANS)?, self.db.prepare_cached(VISITS)?);
        let mut spans = spans.query_map(key, wait)?.peekable();
        let mut visits = visits.query_map(key, |row| time(row, HotDoing::Work))?.peekable();
        while let Some(next) = earlier(&mut spans, &mut visits) {
            take(next?);
        }
        Ok(())
    }
}

type Read = rusqlite::Result<HotTime>;

/// The next of two rows in time order; one that can't be read at once.
fn earlier(
    waits: &mut Peekable<impl Iterator<Item = Read>>,
    visits: &mut Peekable<impl Iterator<Item = Read>>,
) -> Option<Read> {
    let is_visit = match (waits.peek(), visits.peek()) {
        (Some(Ok(wait)), Some(Ok(visit))) => visit.began < wait.began,
        (Some(_), _) => false,
        (None, _) => true,
    };
    if is_visit { visits.next() } else { waits.next() }
}

fn time(row: &Row<'_>, doing: HotDoing) -> Read {
    Ok(HotTime {
        began: Timestamp::from_ms(row.get(0)?),
        ended: row.get::<_, Option<i64>>(1)?.map(Timestamp::from_ms),
        print: row.get(2)?,
        doing,
        lasted: row.get::<_, Option<i64>>(3)?.map(seconds),
        mean: row.get::<_, Option<f64>>(4)?.map(Celsius::new),
        max: row.get::<_, Option<f64>>(5)?.map(Celsius::new),
    })
}

fn wait(row: &Row<'_>) -> Read {
    let context = row.get_ref(6)?.as_str().ok().and_then(Context::of_word);
    let doing = HotDoing::Wait {
        context: word(context, "context")?,
        end: row.get::<_, Option<f64>>(7)?.map(Celsius::new),
        dose: row.get::<_, Option<f64>>(8)?.map(DoseMinutes::new),
        ooze: row.get::<_, Option<f64>>(9)?.map(CubicMm::new),
    };
    time(row, doing)
}
