//! The record as it came in: readings, and every entry in time order. Streams; holds a batch at a time.

use super::{Reader, StoreError, ms_or};
use crate::entry::{Entry, Outcome, PrinterName, Reading};
use crate::store::samples;
use dwell_analysis::time::Timestamp;
use std::collections::VecDeque;
use std::sync::Arc;

/// How many batches are read from the file at a time.
const BATCHES_READ: u32 = 256;

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
        let stream = Stream { reader: self, printer: printer.as_str().to_owned(), from_ms, to_ms, next_ms: i64::MIN };
        let inside = move |reading: &Reading| (from_ms..to_ms).contains(&reading.at.as_ms());
        Ok(stream.flat_map(move |batch| {
            let (readings, fault) = match batch {
                Ok(readings) => (readings, None),
                Err(error) => (Vec::new(), Some(Err(error))),
            };
            readings.into_iter().filter(inside).map(Ok).chain(fault)
        }))
    }

    /// Everything that a printer's journal holds, in time order: settings and parts before the reading of the same
    /// instant, job files and outcomes after it.
    ///
    /// # Errors
    /// If the record can't be read.
    pub fn entries<'a>(
        &'a self,
        printer: &PrinterName,
        from: Option<Timestamp>,
        to: Option<Timestamp>,
    ) -> Result<impl Iterator<Item = Result<Entry, StoreError>> + use<'a>, StoreError> {
        let (from_ms, to_ms) = (ms_or(from, i64::MIN), ms_or(to, i64::MAX));
        let inside = |at: Timestamp| (from_ms..to_ms).contains(&at.as_ms());
        let mut others: Vec<(Timestamp, bool, Entry)> = Vec::new();
        for row in self.settings_changes(printer)? {
            others.push((row.change.at, false, Entry::Settings(row.change)));
        }
        for row in self.parts(Some(printer))? {
            others.push((row.change.at, false, Entry::Part(row.change)));
        }
        // The job file of a print that began before the period would find no print when replayed.
        for file in self.job_files(printer, from)? {
            others.push((file.at, true, Entry::JobFile(file)));
        }
        // Nor would words on it.
        for outcome in self.journal_outcomes(printer)?.into_iter().filter(|outcome| outcome.started.as_ms() >= from_ms)
        {
            others.push((outcome.at, true, Entry::Outcome(outcome)));
        }
        others.retain(|(at, _, _)| inside(*at));
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

    fn journal_outcomes(&self, printer: &PrinterName) -> Result<Vec<Outcome>, StoreError> {
        let mut outcomes = Vec::new();
        let filter = super::PrintFilter { printer: Some(printer.clone()), ..super::PrintFilter::default() };
        for print in self.prints(&filter)? {
            let job: Arc<str> = Arc::from(print.name.as_deref().unwrap_or(""));
            for row in print.outcomes {
                let (job, started) = (Arc::clone(&job), print.started);
                let (tool, mode, severity) = (row.tool, row.mode, row.severity);
                outcomes.push(Outcome { at: row.at, job, started, tool, mode, severity, note: row.note });
            }
        }
        Ok(outcomes)
    }
}

struct Stream<'a> {
    reader: &'a Reader,
    printer: String,
    from_ms: i64,
    to_ms: i64,
    next_ms: i64,
}

impl Iterator for Stream<'_> {
    type Item = Result<Vec<Reading>, StoreError>;

    fn next(&mut self) -> Option<Self::Item> {
        match self.read() {
            Ok(readings) if readings.is_empty() => None,
            Ok(readings) => Some(Ok(readings)),
            Err(error) => {
                // A batch that does not unpack is told once, and the stream ends there.
                self.next_ms = i64::MAX;
                Some(Err(error))
            }
        }
    }
}

impl Stream<'_> {
    fn read(&mut self) -> Result<Vec<Reading>, StoreError> {
        const SQL: &str = "SELECT began_ms, body FROM sample_batch JOIN printer ON printer.id = sample_batch.printer
            WHERE name = ?1 AND ended_ms >= ?2 AND began_ms < ?3 AND began_ms >= ?4 ORDER BY began_ms LIMIT ?5";
        let mut statement = self.reader.db.prepare_cached(SQL)?;
        let key = (&self.printer, self.from_ms, self.to_ms, self.next_ms, BATCHES_READ);
        let mut rows = statement.query(key)?;
        let mut readings = Vec::new();
        while let Some(row) = rows.next()? {
            let began: i64 = row.get(0)?;
            let body = row.get_ref(1)?.as_blob().map_err(|error| StoreError::Other(error.to_string()))?;
            readings.extend(samples::unpack(body)?);
            self.next_ms = began.saturating_add(1);
        }
        Ok(readings)
    }
}
