//! Idle spans.

use super::prints::tool;
use super::{Reader, StoreError, ms_or, seconds, word};
use crate::entry::{PrinterName, ToolNumber};
use crate::tracker::Context;
use dwell_analysis::time::Timestamp;
use dwell_analysis::units::{Celsius, CubicMm, DoseMinutes, Seconds};
use rusqlite::{Row, params};

/// Which spans.
#[derive(Clone, Debug, Default)]
pub struct SpanFilter {
    /// Of this printer alone.
    pub printer: Option<PrinterName>,
    /// Of this print alone.
    pub print: Option<i64>,
    /// Lasting after this instant.
    pub from: Option<Timestamp>,
    /// Begun before.
    pub to: Option<Timestamp>,
}

/// An idle span.
#[derive(Clone, Debug)]
pub struct SpanRow {
    /// The printer.
    pub printer: PrinterName,
    /// The print that it waits in.
    pub print: Option<i64>,
    /// The tool.
    pub tool: ToolNumber,
    /// Why it waits.
    pub context: Context,
    /// Its beginning.
    pub began: Timestamp,
    /// Its end; `None` while it lasts.
    pub ended: Option<Timestamp>,
    /// Time waited in contact; `None` while it lasts.
    pub idle: Option<Seconds>,
    /// Time without contact inside it; `None` while it lasts.
    pub gap: Option<Seconds>,
    /// Mean temperature.
    pub mean: Option<Celsius>,
    /// Highest temperature.
    pub max: Option<Celsius>,
    /// Set point in force longest.
    pub target: Option<Celsius>,
    /// Dose taken in it; `None` if nothing was measured.
    pub dose: Option<DoseMinutes>,
    /// Melt expected to have left the nozzle.
    pub ooze: Option<CubicMm>,
}

impl Reader {
    /// Idle spans in time order.
    ///
    /// # Errors
    /// If the record can't be read.
    pub fn spans(&self, filter: &SpanFilter) -> Result<Vec<SpanRow>, StoreError> {
        // A print's spans begin within it.
        const OF_PRINT: &str =
            "SELECT printer.name, span.print, tool, context, began_ms, span.ended_ms, idle_ms, gap_ms, mean_c,
            max_c, target_c, dose_min, ooze_mm3 FROM print JOIN printer ON printer.id = print.printer
            JOIN tool_number ON n < n_tools CROSS JOIN span ON span.printer = print.printer AND tool = n
            AND began_ms BETWEEN started_ms AND ifnull(print.ended_ms, 9223372036854775807)
            WHERE print.id = ?2 AND span.print = ?2 AND (?1 IS NULL OR printer.name = ?1)
            AND ifnull(span.ended_ms, 9223372036854775807) > ?3 AND began_ms < ?4
            ORDER BY began_ms, printer.name, tool";
        // A tool's spans follow one another: only the last that began before may reach into a time.
        const OF_TIME: &str = "SELECT printer.name, print, tool, context, began_ms, ended_ms, idle_ms, gap_ms, mean_c,
            max_c, target_c, dose_min, ooze_mm3 FROM printer JOIN tool_number ON n < n_tools CROSS JOIN span
            ON span.printer = printer.id AND tool = n AND began_ms >= ifnull((SELECT max(began_ms) FROM span AS before
                WHERE before.printer = printer.id AND before.tool = n AND before.began_ms <= ?3), ?3)
            WHERE (?1 IS NULL OR printer.name = ?1)
            AND ifnull(ended_ms, 9223372036854775807) > ?3 AND began_ms < ?4
            ORDER BY began_ms, printer.name, tool";
        let mut statement = self.db.prepare_cached(if filter.print.is_some() { OF_PRINT } else { OF_TIME })?;
        let printer = filter.printer.as_ref().map(PrinterName::as_str);
        let key = params![printer, filter.print, ms_or(filter.from, i64::MIN), ms_or(filter.to, i64::MAX)];
        let rows = statement.query_map(key, span_row)?;
        Ok(rows.collect::<rusqlite::Result<_>>()?)
    }
}

fn span_row(row: &Row<'_>) -> rusqlite::Result<SpanRow> {
    let instant = |idx| row.get::<_, Option<i64>>(idx).map(|ms| ms.map(Timestamp::from_ms));
    let number = |idx| row.get::<_, Option<f64>>(idx);
    Ok(SpanRow {
        printer: word(PrinterName::new(&row.get::<_, String>(0)?), "printer")?,
        print: row.get(1)?,
        tool: tool(row, 2)?,
        context: word(Context::of_word(&row.get::<_, String>(3)?), "context")?,
        began: Timestamp::from_ms(row.get(4)?),
        ended: instant(5)?,
        idle: row.get::<_, Option<i64>>(6)?.map(seconds),
        gap: row.get::<_, Option<i64>>(7)?.map(seconds),
        mean: number(8)?.map(Celsius::new),
        max: number(9)?.map(Celsius::new),
        target: number(10)?.map(Celsius::new),
        dose: number(11)?.map(DoseMinutes::new),
        ooze: number(12)?.map(CubicMm::new),
    })
}
