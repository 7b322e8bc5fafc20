//! The record as it came in: readings, and every entry in time order. Streams; holds a few rows at a time.

use super::{Reader, StoreError, ms_or};
use crate::entry::{Entry, Outcome, PrinterName, Reading, Undo};
use crate::store::packed::unpack;
use crate::store::samples;
use crate::store::summary::{self, DAY_MS, Step, Summary};
use dwell_analysis::time::Timestamp;
use std::collections::VecDeque;
use std::ops::Range;
use std::sync::Arc;

/// How many rows are read from the file at a time: an hour each, or a minute.
const ROWS_READ: u32 = 4;

impl Reader {
    /// A printer's readings from an instant on and before another, in time order.
    ///
    /// # Errors
    /// If the record can't be read; a damaged batch is an error of the item.
    pub fn readings<'a>(
        &'a self,
        printer: &PrinterName,
        from: Option<Timestamp>,
        to: Option<Timestamp>,
    ) -> Result<impl Iterator<Item = Result<Reading, StoreError>> + use<'a>, StoreError> {
        let (from_ms, to_ms) = (ms_or(from, i64::MIN), ms_or(to, i64::MAX));
        let began = from_ms.saturating_sub(samples::HOUR_MS)..to_ms;
        let keys = self.printer_id(printer)?.map_or(0..0, |id| samples::keys(id, began));
        let stream = Stream { reader: self, keys, from_ms };
        let inside = move |reading: &Reading| (from_ms..to_ms).contains(&reading.at.as_ms());
        Ok(stream.flat_map(move |batch| {
            let (readings, fault) = match batch {
                Ok(readings) => (readings, None),
                Err(error) => (Vec::new(), Some(Err(error))),
            };
            readings.into_iter().filter(inside).map(Ok).chain(fault)
        }))
    }

    /// The readings of some rows.
    pub(in crate::store) fn readings_of(&self, keys: Range<i64>) -> Result<Vec<Reading>, StoreError> {
        let mut readings = Vec::new();
        for row in (Stream { reader: self, keys, from_ms: i64::MIN }) {
            readings.extend(row?);
        }
        Ok(readings)
    }

    /// What a printer's readings came to, by steps that begin from an instant on and before another, as far as the
    /// readings themselves are let go.
    ///
    /// # Errors
    /// If the record can't be read.
    pub fn summaries(
        &self,
        printer: &PrinterName,
        step: Step,
        from: Option<Timestamp>,
        to: Option<Timestamp>,
    ) -> Result<impl Iterator<Item = Result<Summary, StoreError>> + use<'_>, StoreError> {
        let range = ms_or(from, i64::MIN)..ms_or(to, i64::MAX);
        let id = self.printer_id(printer)?;
        let mut next_ms = range.start.saturating_sub(DAY_MS);
        let days = std::iter::from_fn(move || {
            let day = summary::next_day(&self.db, id?, step, next_ms..range.end).transpose()?;
            next_ms = day.as_ref().map_or(i64::MAX, |(began, _)| began + 1);
            Some(day)
        });
        let inside = move |summary: &Summary| range.contains(&summary.began.as_ms());
        Ok(days.flat_map(move |day| {
            let (day, fault) = match day {
                Ok((_, day)) => (day, None),
                Err(error) => (Vec::new(), Some(Err(error))),
            };
            day.into_iter().filter(inside.clone()).map(Ok).chain(fault)
        }))
    }

    /// From when on a printer's readings are all there, if those before were let go.
    ///
    /// # Errors
    /// If the record can't be read.
    pub fn let_go_before(&self, printer: &PrinterName) -> Result<Option<Timestamp>, StoreError> {
        let Some(id) = self.printer_id(printer)? else { return Ok(None) };
        let Some(ended) = summary::newest(&self.db, id)? else { return Ok(None) };
        Ok(Some(samples::oldest(&self.db, id)?.unwrap_or(ended)))
    }

    /// Everything that a printer's journal holds, in time order: settings and parts before the reading of the same
    /// instant, what is known of heaters, job files and outcomes after it. Readings, and what is said of their prints, begin where
    /// readings are kept: see [`Self::let_go_before`].
    ///
    /// # Errors
    /// If the record can't be read.
    pub fn entries<'a>(
        &'a self,
        printer: &PrinterName,
        from: Option<Timestamp>,
        to: Option<Timestamp>,
    ) -> Result<impl Iterator<Item = Result<Entry, StoreError>> + use<'a>, StoreError> {
        // What belongs to prints whose readings are gone would find no print when replayed.
        let asked = ms_or(from, i64::MIN);
        let from = from.max(self.let_go_before(printer)?);
        let (from_ms, to_ms) = (ms_or(from, i64::MIN), ms_or(to, i64::MAX));
        let mut others: Vec<(Timestamp, bool, Entry)> = Vec::new();
        for row in self.settings_changes(printer)? {
            others.push((row.change.at, false, Entry::Settings(row.change)));
        }
        for row in self.parts(Some(printer))? {
            others.push((row.change.at, false, Entry::Part(row.change)));
        }
        for fact in self.heater_facts(printer)? {
            others.push((fact.at, true, Entry::Heater(fact)));
        }
        // The job file of a print that began before the period would find no print when replayed.
        for file in self.job_files(printer, from)? {
            others.push((file.at, true, Entry::JobFile(file)));
        }
        // Nor would words on it.
        for (at, entry) in self.journal_words(printer, from_ms)? {
            others.push((at, true, entry));
        }
        // Settings, parts and heaters say what holds, however old their word is.
        let is_of_print = |entry: &Entry| matches!(entry, Entry::JobFile(_) | Entry::Outcome(_) | Entry::Undo(_));
        let since = |entry: &Entry| if is_of_print(entry) { from_ms } else { asked };
        others.retain(|(at, _, entry)| (since(entry)..to_ms).contains(&at.as_ms()));
        others.sort_by_key(|(at, after, _)| (*at, *after));
        let mut others: VecDeque<_> = others.into();
        let mut readings = self.readings(printer, from, to)?.peekable();
        Ok(std::iter::from_fn(move || {
            let next = readings.peek().and_then(|reading| reading.as_ref().ok()).map(|reading| (reading.at, false));
            let is_first = others.front().is_some_and(|(at, after, _)| match next {
                Some((reading_at, _)) => (*at, *after) <= (reading_at, false),
                None => readings.peek().is_none(),
            });
            if is_first {
                return others.pop_front().map(|(_, _, entry)| Ok(entry));
            }
            readings.next().map(|reading| reading.map(Entry::Reading))
        }))
    }

    /// What was said of the prints that began from an instant on, and what of it was taken back, each after the word that
    /// it takes back.
    fn journal_words(&self, printer: &PrinterName, from_ms: i64) -> Result<Vec<(Timestamp, Entry)>, StoreError> {
        let mut words = Vec::new();
        let filter = super::PrintFilter { printer: Some(printer.clone()), ..super::PrintFilter::default() };
        for print in self.prints(&filter)?.into_iter().filter(|print| print.started.as_ms() >= from_ms) {
            let job: Arc<str> = Arc::from(print.name.as_deref().unwrap_or(""));
            let started = print.started;
            for row in print.outcomes {
                let (said, tool, mode, severity) = (row.at, row.tool, row.mode, row.severity);
                let outcome =
                    Outcome { at: said, job: Arc::clone(&job), started, tool, mode, severity, note: row.note };
                words.push((said, Entry::Outcome(outcome)));
                if let Some(at) = row.undone {
                    words.push((at, Entry::Undo(Undo { at, job: Arc::clone(&job), started, said, tool, mode })));
                }
            }
        }
        Ok(words)
    }
}

struct Stream<'a> {
    reader: &'a Reader,
    /// The rows that are left.
    keys: Range<i64>,
    from_ms: i64,
}

impl Iterator for Stream<'_> {
    type Item = Result<Vec<Reading>, StoreError>;

    fn next(&mut self) -> Option<Self::Item> {
        match self.read() {
            Ok(readings) if readings.is_empty() => None,
            Ok(readings) => Some(Ok(readings)),
            Err(error) => {
                // A batch that does not unpack is told once, and the stream ends there.
                self.keys.start = self.keys.end;
                Some(Err(error))
            }
        }
    }
}

impl Stream<'_> {
    fn read(&mut self) -> Result<Vec<Reading>, StoreError> {
        const SQL: &str = "SELECT key, body FROM sample WHERE key >= ?1 AND key < ?2 AND ended_ms >= ?3
            ORDER BY key LIMIT ?4";
        let mut statement = self.reader.db.prepare_cached(SQL)?;
        let mut rows = statement.query((self.keys.start, self.keys.end, self.from_ms, ROWS_READ))?;
        let mut readings = Vec::new();
        while let Some(row) = rows.next()? {
            let key: i64 = row.get(0)?;
            let body = row.get_ref(1)?.as_blob().map_err(|error| StoreError::Other(error.to_string()))?;
            readings.extend(unpack(body)?);
            self.keys.start = key + 1;
        }
        Ok(readings)
    }
}
