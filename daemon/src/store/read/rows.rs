//! Printers, gaps, refusals, settings, parts.

use super::prints::tool;
use super::{Reader, StoreError, ms_or, word};
use crate::entry::{HotEnd, Part, PartChange, PartEvent, PartReason, PrinterName, Settings, SettingsChange};
use dwell_analysis::time::Timestamp;
use dwell_analysis::units::{Celsius, CubicMm, Millimetres, Seconds};
use rusqlite::Row;
use std::sync::Arc;

/// A printer.
#[derive(Clone, Debug)]
pub struct PrinterRow {
    /// Its name.
    pub name: PrinterName,
    /// How its hot ends are built.
    pub hot_end: HotEnd,
    /// How many tools it has.
    pub n_tools: usize,
}

/// A stretch without contact.
#[derive(Clone, Debug)]
pub struct GapRow {
    /// The printer.
    pub printer: PrinterName,
    /// The last reading before it.
    pub began: Timestamp,
    /// The first reading after it; `None` while it lasts.
    pub ended: Option<Timestamp>,
}

impl GapRow {
    /// What of it lies in a stretch of time, as long as anything; one that lasts reaches to the stretch's end.
    #[must_use]
    pub fn within(&self, from: Timestamp, to: Timestamp) -> Option<(Timestamp, Timestamp)> {
        let (began, ended) = (self.began.max(from), self.ended.unwrap_or(to).min(to));
        (began < ended).then_some((began, ended))
    }

    /// How long it lasts within a stretch of time.
    #[must_use]
    pub fn lasts_within(&self, from: Timestamp, to: Timestamp) -> Seconds {
        self.within(from, to).map_or(Seconds::ZERO, |(began, ended)| ended - began)
    }
}

/// Readings left out for one reason.
#[derive(Clone, Debug)]
pub struct RefusedRow {
    /// The printer.
    pub printer: PrinterName,
    /// The reason's word.
    pub reason: &'static str,
    /// How many.
    pub n: u32,
}

/// A settings change and its printer.
#[derive(Clone, Debug)]
pub struct SettingsRow {
    /// The change.
    pub change: SettingsChange,
}

/// A part change and its printer.
#[derive(Clone, Debug)]
pub struct PartRow {
    /// The printer.
    pub printer: PrinterName,
    /// The change.
    pub change: PartChange,
}

impl Reader {
    /// Every printer, by name.
    ///
    /// # Errors
    /// If the record can't be read.
    pub fn printers(&self) -> Result<Vec<PrinterRow>, StoreError> {
        const SQL: &str = "SELECT name, hot_end, n_tools FROM printer ORDER BY name";
        let mut statement = self.db.prepare_cached(SQL)?;
        let rows = statement.query_map([], |row| {
            Ok(PrinterRow {
                name: word(PrinterName::new(&row.get::<_, String>(0)?), "name")?,
                hot_end: word(HotEnd::of_word(&row.get::<_, String>(1)?), "hot_end")?,
                n_tools: usize::from(row.get::<_, u8>(2)?),
            })
        })?;
        Ok(rows.collect::<rusqlite::Result<_>>()?)
    }

    /// Stretches without contact that overlap a time, in time order.
    ///
    /// # Errors
    /// If the record can't be read.
    pub fn gaps(&self, from: Option<Timestamp>, to: Option<Timestamp>) -> Result<Vec<GapRow>, StoreError> {
        const SQL: &str = "SELECT name, began_ms, ended_ms FROM gap JOIN printer ON printer.id = gap.printer
            WHERE (ended_ms IS NULL OR ended_ms > ?1) AND began_ms < ?2 ORDER BY began_ms, name";
        let mut statement = self.db.prepare_cached(SQL)?;
        let rows = statement.query_map([ms_or(from, i64::MIN), ms_or(to, i64::MAX)], |row| {
            Ok(GapRow {
                printer: word(PrinterName::new(&row.get::<_, String>(0)?), "name")?,
                began: Timestamp::from_ms(row.get(1)?),
                ended: row.get::<_, Option<i64>>(2)?.map(Timestamp::from_ms),
            })
        })?;
        Ok(rows.collect::<rusqlite::Result<_>>()?)
    }

    /// How many readings were left out, by printer and reason; counted by the hour of their stamps.
    ///
    /// # Errors
    /// If the record can't be read.
    pub fn refused(&self, from: Option<Timestamp>, to: Option<Timestamp>) -> Result<Vec<RefusedRow>, StoreError> {
        const SQL: &str = "SELECT name, reason, sum(n) FROM refused JOIN printer ON printer.id = refused.printer
            WHERE hour_ms >= ?1 AND hour_ms < ?2 GROUP BY name, reason ORDER BY name, reason";
        let mut statement = self.db.prepare_cached(SQL)?;
        let rows = statement.query_map([ms_or(from, i64::MIN), ms_or(to, i64::MAX)], |row| {
            let is_order = row.get::<_, String>(1)? == "out_of_order";
            Ok(RefusedRow {
                printer: word(PrinterName::new(&row.get::<_, String>(0)?), "name")?,
                reason: if is_order { "out_of_order" } else { "tool_out_of_range" },
                n: row.get(2)?,
            })
        })?;
        Ok(rows.collect::<rusqlite::Result<_>>()?)
    }

    /// A printer's settings changes, in time order.
    ///
    /// # Errors
    /// If the record can't be read.
    pub fn settings_changes(&self, printer: &PrinterName) -> Result<Vec<SettingsRow>, StoreError> {
        const SQL: &str = "SELECT tool, at_ms, material, print_c, standby_c, retract_mm, retract_mm_s, prime_mm3,
            ooze_shield, dried FROM settings_change JOIN printer ON printer.id = settings_change.printer
            WHERE name = ?1 ORDER BY at_ms, tool";
        let mut statement = self.db.prepare_cached(SQL)?;
        let rows = statement.query_map([printer.as_str()], |row| {
            let settings = settings(row, 2)?;
            let change = SettingsChange { tool: tool(row, 0)?, at: Timestamp::from_ms(row.get(1)?), settings };
            Ok(SettingsRow { change })
        })?;
        Ok(rows.collect::<rusqlite::Result<_>>()?)
    }

    /// Part changes, in time order.
    ///
    /// # Errors
    /// If the record can't be read.
    pub fn parts(&self, printer: Option<&PrinterName>) -> Result<Vec<PartRow>, StoreError> {
        const SQL: &str = "SELECT name, tool, at_ms, part, event, reason, note
            FROM part_change JOIN printer ON printer.id = part_change.printer
            WHERE ?1 IS NULL OR name = ?1 ORDER BY at_ms, name, tool, event DESC, part";
        let mut statement = self.db.prepare_cached(SQL)?;
        let rows = statement.query_map([printer.map(PrinterName::as_str)], |row| {
            let reason: Option<String> = row.get(5)?;
            let change = PartChange {
                at: Timestamp::from_ms(row.get(2)?),
                tool: tool(row, 1)?,
                part: word(Part::of_word(&row.get::<_, String>(3)?), "part")?,
                event: word(PartEvent::of_word(&row.get::<_, String>(4)?), "event")?,
                reason: reason.map(|reason| word(PartReason::of_word(&reason), "reason")).transpose()?,
                note: row.get(6)?,
            };
            Ok(PartRow { printer: word(PrinterName::new(&row.get::<_, String>(0)?), "name")?, change })
        })?;
        Ok(rows.collect::<rusqlite::Result<_>>()?)
    }

    /// Whether a week's report has been written.
    ///
    /// # Errors
    /// If the record can't be read.
    pub fn report_written(&self, week: &str) -> Result<bool, StoreError> {
        const SQL: &str = "SELECT count(*) FROM report_written WHERE week = ?1";
        Ok(self.db.query_row(SQL, [week], |row| row.get::<_, i64>(0))? > 0)
    }
}

/// From its eight columns, the first at `from`.
pub(in crate::store) fn settings(row: &Row<'_>, from: usize) -> rusqlite::Result<Settings> {
    let number = |idx: usize| row.get::<_, Option<f64>>(from + idx);
    Ok(Settings {
        material: row.get::<_, Option<String>>(from)?.map(Arc::from),
        print: number(1)?.map(Celsius::new),
        standby: number(2)?.map(Celsius::new),
        retract: number(3)?.map(Millimetres::new),
        retract_mm_s: number(4)?,
        prime: number(5)?.map(CubicMm::new),
        ooze_shield: row.get(from + 6)?,
        dried: row.get(from + 7)?,
    })
}
