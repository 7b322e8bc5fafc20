//! A journal's entries through the one path as the daemon takes them: a step at a time, each committed before the next.
//! Owns the order of the steps; the record and what is said of each step are the caller's.

use dwell_analysis::units::Seconds;
use dwellwatch::entry::{Entry, HotEnd, PrinterName};
use dwellwatch::pipeline::{Pipeline, Step};
use dwellwatch::store::{Commit, Known, Store, StoreError};
use std::sync::Arc;

/// A daemon looks at the silence a little after it has become a gap.
const LOOKS_LATE: Seconds = Seconds::new(0.3);

/// What a step brought into the record before its call returned.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Brought {
    /// Plain readings, which may wait for their minute.
    Readings,
    /// Something that must be there from now on.
    Events,
}

/// One printer, followed as the daemon follows it.
pub struct Steps<'a> {
    store: &'a Store,
    printer: PrinterName,
    pipeline: Pipeline,
    returned: Box<dyn FnMut(Brought) + 'a>,
}

impl<'a> Steps<'a> {
    /// Takes the printer up where the record left it; `returned` is called after each commit.
    ///
    /// # Errors
    /// If the record can't be read or written.
    pub fn take_up(
        store: &'a Store,
        printer: &PrinterName,
        returned: impl FnMut(Brought) + 'a,
    ) -> Result<Self, StoreError> {
        let resume = store.reader()?.resume(printer)?.unwrap_or_default();
        let pipeline = Pipeline::resumed(Arc::default(), HotEnd::Separate, Arc::default(), resume);
        let known = Known { printer: printer.clone(), hot_end: HotEnd::Separate, n_tools: 2, changes: Vec::new() };
        store.take_up(vec![known])?;
        Ok(Self { store, printer: printer.clone(), pipeline, returned: Box::new(returned) })
    }

    /// Takes one entry. When it returns, what it brought is committed.
    ///
    /// # Errors
    /// If the record can't be written.
    pub fn take(&mut self, entry: Entry) -> Result<(), StoreError> {
        match entry {
            Entry::Reading(reading) => {
                // A daemon looks at a silence before the reading that ends it.
                if let Some(gap) = self.pipeline.gap_at().filter(|gap| *gap + LOOKS_LATE < reading.at) {
                    let silence = self.pipeline.silence(gap + LOOKS_LATE);
                    self.commit(silence)?;
                }
                let step = self.pipeline.read(reading);
                return self.commit(step);
            }
            Entry::Settings(change) => {
                self.pipeline.set(&change);
                self.store.record_settings(&self.printer, &change)?;
            }
            Entry::Heater(fact) => {
                self.store.record_heater(&self.printer, &fact)?;
                self.pipeline.know(&fact);
            }
            Entry::Part(change) => self.store.record_part(&self.printer, &change)?,
            Entry::Outcome(outcome) => self.store.record_outcome(&self.printer, &outcome)?,
            Entry::Undo(undo) => self.store.undo(&self.printer, &undo)?,
            Entry::JobFile(file) => {
                self.store.record_job_file(&self.printer, &file)?;
                self.pipeline.plan(&file);
            }
        }
        (self.returned)(Brought::Events);
        Ok(())
    }

    fn commit(&mut self, step: Step) -> Result<(), StoreError> {
        let Step { effects, alarms } = step;
        let commit = Commit { printer: self.printer.clone(), effects, alarms, notices: true };
        let brought = if commit.has_events() { Brought::Events } else { Brought::Readings };
        self.store.commit(commit)?;
        (self.returned)(brought);
        Ok(())
    }
}
