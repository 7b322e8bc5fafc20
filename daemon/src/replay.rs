//! Replaying entries: each printer's go through its pipeline into the store, on their own time. Owns the bundling of
//! many steps into one commit; where the entries come from is the caller's business.

use crate::alarm::IdleHotRule;
use crate::entry::{Entry, HotEnd, PrinterName};
use crate::pipeline::{Pipeline, Step};
use crate::store::{Commit, Store, StoreError};
use crate::tracker::Effect;
use std::collections::HashMap;

/// Steps that are committed together: bounds what is held in memory, and makes the disk's part of a replay small.
const STEPS_MAX: usize = 4096;

/// Feeds entries of the past into a store. Nobody is notified of the past.
#[derive(Debug)]
pub struct Replay<'a> {
    store: &'a Store,
    idle_hot: IdleHotRule,
    hot_ends: HashMap<PrinterName, HotEnd>,
    printers: HashMap<PrinterName, Follow>,
    n_readings: u64,
    n_refused: u64,
}

#[derive(Debug)]
struct Follow {
    pipeline: Pipeline,
    step: Step,
    n_steps: usize,
}

impl<'a> Replay<'a> {
    /// A replay into `store`. Printers that `hot_ends` does not name have separate hot ends.
    #[must_use]
    pub fn new(store: &'a Store, idle_hot: IdleHotRule, hot_ends: HashMap<PrinterName, HotEnd>) -> Self {
        Self { store, idle_hot, hot_ends, printers: HashMap::new(), n_readings: 0, n_refused: 0 }
    }

    /// Takes one entry.
    ///
    /// # Errors
    /// If the record can't be written, or an outcome or a job file finds no print.
    pub fn take(&mut self, printer: &PrinterName, entry: Entry) -> Result<(), StoreError> {
        if !self.printers.contains_key(printer) {
            let follow = self.take_up(printer)?;
            self.printers.insert(printer.clone(), follow);
        }
        let Some(follow) = self.printers.get_mut(printer) else { return Ok(()) };
        match entry {
            Entry::Reading(reading) => {
                let step = follow.pipeline.read(reading);
                self.n_readings += 1;
                self.n_refused += u64::from(step.effects.iter().any(|effect| matches!(effect, Effect::Refused { .. })));
                follow.step.extend(step);
                follow.n_steps += 1;
                if follow.n_steps >= STEPS_MAX { follow.commit(self.store, printer) } else { Ok(()) }
            }
            Entry::Settings(change) => {
                follow.pipeline.set(&change);
                self.store.record_settings(printer, &change)
            }
            Entry::Part(change) => self.store.record_part(printer, &change),
            Entry::Outcome(outcome) => {
                // The print that it speaks of may be among the steps that are not committed yet.
                follow.commit(self.store, printer)?;
                self.store.record_outcome(printer, &outcome)
            }
            Entry::JobFile(file) => {
                follow.commit(self.store, printer)?;
                self.store.record_job_file(printer, &file)?;
                follow.pipeline.plan(&file);
                Ok(())
            }
        }
    }

    /// How many readings were taken in all, and how many of them were counted and left out.
    #[must_use]
    pub fn counts(&self) -> (u64, u64) {
        (self.n_readings, self.n_refused)
    }

    /// Commits what is under way.
    ///
    /// # Errors
    /// If the record can't be written.
    pub fn finish(&mut self) -> Result<(), StoreError> {
        for (printer, follow) in &mut self.printers {
            follow.commit(self.store, printer)?;
        }
        self.store.flush()
    }

    fn take_up(&self, printer: &PrinterName) -> Result<Follow, StoreError> {
        let hot_end = self.hot_ends.get(printer).copied().unwrap_or_default();
        if let Some(told) = self.hot_ends.get(printer) {
            self.store.ensure_printer(printer, *told, 0)?;
        }
        let resume = self.store.reader()?.resume(printer)?;
        let pipeline = Pipeline::resumed(hot_end, self.idle_hot, resume.unwrap_or_default());
        Ok(Follow { pipeline, step: Step::default(), n_steps: 0 })
    }
}

impl Follow {
    fn commit(&mut self, store: &Store, printer: &PrinterName) -> Result<(), StoreError> {
        let Step { effects, alarms } = std::mem::take(&mut self.step);
        self.n_steps = 0;
        store.commit(Commit { printer: printer.clone(), effects, alarms, notices: false }).map(|_| ())
    }
}
